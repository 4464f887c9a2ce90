package cli

import (
	"fmt"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/member"
)

func (a *app) membersCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "members",
		Short: "People who get the update, with how they agreed to it",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return use(fmt.Errorf("members has no command %q; it has import, left and list", args[0]))
			}
			return nil
		},
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		Example: "  opencowl members import members.csv\n  opencowl members list --state joined",
	}
	cmd.AddCommand(a.membersImport(), a.membersLeft(), a.membersList())
	return cmd
}

func (a *app) membersImport() *cobra.Command {
	var whole bool
	cmd := &cobra.Command{
		Use:   "import FILE.csv",
		Short: "Bring in a list of people; every refused row is reported",
		Long: `Bring in people from a CSV file with the columns ` + list(member.Columns()) + `.
Rows that cannot be taken are reported with row, column, value and remedy, and the exit
code is 1. Bringing in a list twice changes nothing. Somebody who is here already stays as
they are, and nobody who left is brought back; but a list that has them as left, dead or
paused is believed, and they are written to no more.`,
		Example: "  opencowl members import members.csv\n  opencowl members import members.csv --all-or-nothing",
		Args:    args(1, 1, "one CSV file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := os.Open(args[0])
			if err != nil {
				return use(fmt.Errorf("%s: cannot be read (%v); check the name", args[0], reason(err)))
			}
			defer f.Close()
			s, err := a.open(cmd.Context(), "members import")
			if err != nil {
				return err
			}
			defer s.close()
			if info, err := f.Stat(); err != nil || info.IsDir() {
				return use(fmt.Errorf("%s: is a folder; name a CSV file", args[0]))
			}
			r, err := member.Import(cmd.Context(), s.db, f, member.ImportOptions{Charity: s.ws.Settings.Charity, AllOrNothing: whole})
			a.tellRefused(args[0], r)
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
	return cmd
}

// tellRefused lists the rows of a list that were not taken.
func (a *app) tellRefused(file string, r member.ImportReport) {
	for _, x := range r.Refused {
		if x.Column == "" {
			a.say("%s:%d: %s", file, x.Row, x.Remedy)
			continue
		}
		a.say("%s:%d: %s: %q; %s", file, x.Row, x.Column, x.Value, x.Remedy)
	}
}

// membersLeft is how an officer keeps the promise in every letter's foot.
func (a *app) membersLeft() *cobra.Command {
	return &cobra.Command{
		Use:   "left ADDRESS",
		Short: "Somebody asked to leave: write to them no more",
		Long: `Somebody wrote "leave", or said so: their consent is withdrawn, they get no further
letter, not even one that is waiting to be sent, and no list brings them back.`,
		Example: "  opencowl members left ada@example.org",
		Args:    args(1, 1, "one address"),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := a.open(cmd.Context(), "") // a run that posts holds the lock, and must not keep anybody from leaving
			if err != nil {
				return err
			}
			defer s.close()
			m, err := member.ByAddress(cmd.Context(), s.db, args[0])
			if err != nil {
				return err
			}
			if err := member.SetState(cmd.Context(), s.db, m.ID, member.Left, s.db.Now()); err != nil {
				return err
			}
			a.say("%s has left and is written to no more", m.Address)
			return a.print(map[string]string{"address": m.Address, "state": string(member.Left)})
		},
	}
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
	var state string
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List people and how they stand",
		Example: "  opencowl members list\n  opencowl members list --state left --json",
		Args:    args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if state != "" && !slices.Contains(member.States(), member.State(state)) {
				return use(fmt.Errorf("--state: %q is none of joining, joined, paused, left and dead", state))
			}
			s, err := a.open(cmd.Context(), "")
			if err != nil {
				return err
			}
			defer s.close()
			people, err := member.List(cmd.Context(), s.db, member.Filter{State: member.State(state)})
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
	cmd.Flags().StringVar(&state, "state", "", "only those in this state")
	return cmd
}
