package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/workspace"
)

func (a *app) membersCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "members",
		Short: "People who get the update, with how they agreed to it",
		Long: `The people who get the update. Whoever is brought in has a basis on record: what they
agreed to, word for word (consent/VERSION.md), where and when. An officer keeps the list,
and --by says who; what is done is written down by random ids, never by address.`,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		Example: "  opencowl members import members.csv --by nell\n  opencowl members list --state joined --by nell",
	}
	cmd.AddCommand(a.membersAdd(), a.membersJoin(), a.membersConfirm(), a.membersLeft(), a.membersPause(), a.membersResume(),
		a.membersImport(), a.membersExport(), a.membersList(), a.membersShow(), a.membersForget(), a.membersKeys())
	cmd.Args = func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		var has []string
		for _, c := range cmd.Commands() {
			has = append(has, c.Name())
		}
		return use(fmt.Errorf("members has no command %q; it has %s", args[0], list(has)))
	}
	return cmd
}

// keeping is a session of somebody who may see and change who the members are.
type keeping struct {
	*session
	register member.Register
	by       string
}

// members opens the workspace for an officer. A command that must not wait for a run
// that posts gives no writer.
func (a *app) members(ctx context.Context, writer, by string) (*keeping, error) {
	if by == "" {
		return nil, use(errors.New("--by is missing; say who asks: an officer's id from workshop.yaml"))
	}
	s, err := a.open(ctx, writer)
	if err != nil {
		return nil, err
	}
	k := &keeping{session: s, by: by, register: member.Register{DB: s.db, Keys: member.KeysIn(s.ws.MemberKeys(), s.db.Now, nil),
		Charity: s.ws.Settings.Charity, Words: member.WordingsIn(s.ws.Root)}}
	if err := k.mayKeep(); err != nil {
		s.close()
		return nil, err
	}
	if _, err := member.Lapse(ctx, s.db); err != nil {
		s.close()
		return nil, err
	}
	return k, nil
}

// keep is what a command for members runs: the workspace opened for whoever --by
// names, and closed again.
func (a *app) keep(writer string, by *string, do func(context.Context, *keeping, []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		k, err := a.members(cmd.Context(), writer, *by)
		if err != nil {
			return err
		}
		defer k.close()
		return do(cmd.Context(), k, args)
	}
}

func (k *keeping) mayKeep() error {
	if err := somebody(k.ws.Settings, k.by); err != nil {
		return err
	}
	if p, _ := k.ws.Settings.PersonByID(k.by); !p.Has(workspace.Officer) {
		return fmt.Errorf("%s %w: an officer keeps the list of members", k.by, clearance.ErrMayNot)
	}
	return nil
}

// byFlag is how every command for members asks who is at it.
func byFlag(cmd *cobra.Command, by *string) {
	cmd.Flags().StringVar(by, "by", "", "who asks: an officer's id from workshop.yaml")
}

func (a *app) membersImport() *cobra.Command {
	var whole bool
	var by string
	cmd := &cobra.Command{
		Use:   "import FILE.csv --by WHO",
		Short: "Bring in a list of people; every refused row is reported",
		Long: `Bring in people from a CSV file. Its columns, in any order:
  name, email, state (joining joined paused left dead), giving_from, giving_until;
  how they agreed: basis (consent or charity-soft-opt-in), source, wording_version
  (whose words are in consent/VERSION.md), consented_at, confirmed_at, withdrawn_at;
  for charity-soft-opt-in: collected (directly third-party), because (support interest),
  purpose (charitable mixed), refusal (offered not-offered).
email, basis and state must be there. Rows that cannot be taken are reported with row,
column, value and remedy, and the exit code is 1. Bringing in a list twice changes nothing.
Somebody who is here already stays as they are, and nobody who left or asked to be forgotten
is brought back; but a list that has them as left, dead or paused is believed, and they are
written to no more.`,
		Example: "  opencowl members import members.csv --by nell\n  opencowl members import members.csv --all-or-nothing --by nell",
		Args:    args(1, 1, "one CSV file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := os.Open(args[0])
			if err != nil {
				return use(fmt.Errorf("%s: cannot be read (%v); check the name", args[0], reason(err)))
			}
			defer f.Close()
			k, err := a.members(cmd.Context(), "members import", by)
			if err != nil {
				return err
			}
			defer k.close()
			if info, err := f.Stat(); err != nil || info.IsDir() {
				return use(fmt.Errorf("%s: is a folder; name a CSV file", args[0]))
			}
			opt := member.ImportOptions{Charity: k.register.Charity, AllOrNothing: whole, By: by, Keys: k.register.Keys, Words: k.register.Words}
			if !a.json {
				opt.Refuse = func(x member.Refusal) { a.tellRefusal(args[0], x) }
			}
			step, end := a.bar("kB of the list")
			opt.Progress = step
			r, err := member.Import(cmd.Context(), k.db, f, opt)
			end()
			a.tellRefused(args[0], r)
			for _, x := range r.Advice {
				at := args[0]
				if x.Row > 0 {
					at = fmt.Sprintf("%s:%d", at, x.Row)
				}
				a.say("advice: %s: %s", at, x.Says)
			}
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			a.say("%s: %s", args[0], r)
			if err := a.print(r); err != nil {
				return err
			}
			if n := r.RefusedRows(); n > 0 {
				return &found{n}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&whole, "all-or-nothing", false, "bring in nobody when a row is refused")
	byFlag(cmd, &by)
	return cmd
}

// tellRefused lists the rows of a list that were not taken.
func (a *app) tellRefused(file string, r member.ImportReport) {
	for _, x := range r.Refused {
		a.tellRefusal(file, x)
	}
}

func (a *app) tellRefusal(file string, x member.Refusal) {
	if x.Column == "" {
		a.say("%s:%d: %s", file, x.Row, x.Remedy)
		return
	}
	a.say("%s:%d: %s: %q; %s", file, x.Row, x.Column, x.Value, x.Remedy)
}

// personReport is a member as machine output.
type personReport struct {
	Name    string `json:"name"`
	Address string `json:"address"`
	State   string `json:"state"`
	Basis   string `json:"basis"`
	Source  string `json:"source"`
	At      string `json:"consented_at"`
	From    string `json:"giving_from,omitempty"`
	Until   string `json:"giving_until,omitempty"`
}

func (a *app) membersList() *cobra.Command {
	var state, basis, by string
	cmd := &cobra.Command{
		Use:     "list --by WHO",
		Short:   "List people and how they stand",
		Example: "  opencowl members list --by nell\n  opencowl members list --state left --json --by nell\n  opencowl members list --basis charity-soft-opt-in --by nell",
		Args:    args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			f, err := filter(state, basis)
			if err != nil {
				return err
			}
			k, err := a.members(cmd.Context(), "", by)
			if err != nil {
				return err
			}
			defer k.close()
			people, err := member.List(cmd.Context(), k.db, f)
			if err != nil {
				return err
			}
			all := []personReport{}
			for _, m := range people {
				all = append(all, personReport{m.Name, m.Address, string(m.State), string(m.Consent.Basis), m.Consent.Source,
					m.Consent.At.Format("2006-01-02"), m.GivingFrom.String(), m.GivingUntil.String()})
				a.say("%-8s %-36s %s", m.State, m.Address, m.Name)
			}
			if len(people) == 1 {
				a.say("1 person")
			} else {
				a.say("%d people", len(people))
			}
			return a.print(all)
		},
	}
	filterFlags(cmd, &state, &basis)
	byFlag(cmd, &by)
	return cmd
}

func filterFlags(cmd *cobra.Command, state, basis *string) {
	cmd.Flags().StringVar(state, "state", "", "only those in this state")
	cmd.Flags().StringVar(basis, "basis", "", "only those on this basis: consent or charity-soft-opt-in")
}

func filter(state, basis string) (member.Filter, error) {
	f := member.Filter{State: member.State(state), Basis: member.Basis(basis)}
	if state != "" && !slices.Contains(member.States(), f.State) {
		return f, use(fmt.Errorf("--state: %q is none of joining, joined, paused, left and dead", state))
	}
	if basis != "" && f.Basis != member.Consented && f.Basis != member.SoftOptIn {
		return f, use(fmt.Errorf("--basis: %q is neither consent nor charity-soft-opt-in", basis))
	}
	return f, nil
}
