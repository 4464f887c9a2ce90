package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/store"
)

// consentReport is one agreement as machine output.
type consentReport struct {
	Basis     string `json:"basis"`
	Source    string `json:"source"`
	Wording   string `json:"wording_version"`
	Words     string `json:"words,omitempty"` // what they were told
	At        string `json:"consented_at"`
	Confirmed string `json:"confirmed_at,omitempty"`
	Withdrawn string `json:"withdrawn_at,omitempty"`
	Collected string `json:"collected,omitempty"`
	Because   string `json:"because,omitempty"`
	Purpose   string `json:"purpose,omitempty"`
	Refusal   string `json:"refusal,omitempty"`
}

// heldReport is the machine output of members show.
type heldReport struct {
	Name     string              `json:"name"`
	Address  string              `json:"address"`
	State    string              `json:"state"`
	From     string              `json:"giving_from,omitempty"`
	Until    string              `json:"giving_until,omitempty"`
	Added    string              `json:"added_at"`
	Consents []consentReport     `json:"consents"`
	Asked    *consentReport      `json:"asked_to_join,omitempty"`
	Letters  []member.HeldLetter `json:"letters"`
	Events   []member.HeldEvent  `json:"events"`
}

func (a *app) membersShow() *cobra.Command {
	var by string
	cmd := &cobra.Command{
		Use:   "show ADDRESS --by WHO",
		Short: "All that is held about somebody who asks",
		Long: `All that the database holds about one person, for that person: who they are, what they agreed
to, word for word, which editions were sent to them and what was done about them. --json
gives the same in a form that a machine reads. Make sure first that it is they who ask.`,
		Example: "  opencowl members show ada@example.org --by nell",
		Args:    args(1, 1, "one address"),
		RunE: a.keep("", &by, func(ctx context.Context, k *keeping, args []string) error {
			h, err := k.register.Held(ctx, args[0], by)
			if err != nil {
				return err
			}
			k.tellHeld(h)
			return a.print(heldOf(h))
		}),
	}
	byFlag(cmd, &by)
	return cmd
}

func heldOf(h member.Held) heldReport {
	m := h.Member
	r := heldReport{Name: m.Name, Address: m.Address, State: string(m.State), From: m.GivingFrom.String(), Until: m.GivingUntil.String(),
		Added: store.FormatTime(m.AddedAt), Consents: []consentReport{}, Letters: h.Letters, Events: h.Events}
	for _, c := range h.Consents {
		r.Consents = append(r.Consents, consentOf(c, h))
	}
	if h.Asked != nil {
		asked := consentOf(*h.Asked, h)
		r.Asked = &asked
	}
	return r
}

func consentOf(c member.Consent, h member.Held) consentReport {
	r := consentReport{string(c.Basis), c.Source, c.WordingVersion, "", store.FormatTime(c.At), store.FormatTime(c.ConfirmedAt), store.FormatTime(c.WithdrawnAt),
		c.SoftOptIn.Collected, c.SoftOptIn.Because, c.SoftOptIn.Purpose, c.SoftOptIn.Refusal}
	for _, w := range h.Words {
		if w.Version == c.WordingVersion && w.Digest == c.WordingDigest {
			r.Words = w.Words
		}
	}
	return r
}

// tellHeld says to a person what is held about them.
func (k *keeping) tellHeld(h member.Held) {
	r := heldOf(h)
	say := k.app.say
	day := func(at string) string { return strings.SplitN(at, "T", 2)[0] }
	say("%s <%s>, %s; here since %s", r.Name, r.Address, r.State, day(r.Added))
	if r.From != "" || r.Until != "" {
		say("gives from %s until %s", orOpen(r.From), orOpen(r.Until))
	}
	tell := func(verb string, c consentReport) {
		say("%s on %s: %s, at: %s, told: %s", verb, day(c.At), c.Basis, c.Source, c.Wording)
		if c.Basis == string(member.SoftOptIn) {
			say("  collected %s, because of %s, purpose %s, refusal %s", c.Collected, c.Because, c.Purpose, c.Refusal)
		}
		if c.Confirmed != "" {
			say("  confirmed by the owner of the address on %s", day(c.Confirmed))
		}
		if c.Withdrawn != "" {
			say("  withdrawn on %s", day(c.Withdrawn))
		}
		if c.Words == "" {
			say("  the words they were told were never seen here")
		}
		for line := range strings.Lines(c.Words) {
			say("  | %s", strings.TrimRight(line, "\n"))
		}
	}
	for _, c := range r.Consents {
		tell("agreed", c)
	}
	if r.Asked != nil {
		tell("asked to join, and has not confirmed,", *r.Asked)
	}
	for _, l := range r.Letters {
		say("edition %s: %s %s", l.Week, l.State, l.Reply)
	}
	for _, e := range r.Events {
		say("%s: %s, by %s", e.At.Format(time.RFC3339), e.What, e.By)
	}
}

func orOpen(date string) string {
	if date == "" {
		return "(open)"
	}
	return date
}

// forgetReport is the machine output of members forget.
type forgetReport struct {
	Known bool `json:"known"`
	member.Traces
}

func (a *app) membersForget() *cobra.Command {
	var by string
	var yes bool
	cmd := &cobra.Command{
		Use:   "forget ADDRESS --by WHO",
		Short: "Erase somebody who asks for it, everywhere in the workspace",
		Long: `Erase a person: from the database and its log, from lists of members in the workspace, from
letters filed in it and from whatever the program can make again. Deliveries stay, known by
a random id. A keyed mark of the address stays too, so that no later list brings them back;
its key is in a file of its own. There is no way back but their own joining.

Files that people wrote are searched and named, not changed; so are lists that were
exported elsewhere. Backups and compressed files are not searched: delete or replace those
from before. While anything is left to do by hand the exit code is 1; do it, and run this
again.`,
		Example: "  opencowl members forget ada@example.org --by nell",
		Args:    args(1, 1, "one address"),
		RunE: a.keep("members forget", &by, func(ctx context.Context, k *keeping, args []string) error {
			if _, err := member.Normalise(args[0]); err != nil {
				return use(fmt.Errorf("%q: %w", args[0], err))
			}
			if err := a.confirmForget(yes); err != nil {
				return err
			}
			return k.forget(ctx, args[0])
		}),
	}
	cmd.Flags().BoolVar(&yes, "yes", false, "erase without asking, for scripts")
	byFlag(cmd, &by)
	return cmd
}

// confirmForget has the word typed, so that nobody is erased by a slip.
func (a *app) confirmForget(yes bool) error {
	if yes {
		return nil
	}
	if !a.terminal() {
		return use(errors.New("nobody was erased: say --yes, since this cannot be undone"))
	}
	fmt.Fprint(a.Err, "This cannot be undone. To erase them, type forget: ")
	line, _ := bufio.NewReader(a.In).ReadString('\n')
	if strings.TrimSpace(line) != "forget" {
		return use(errors.New("nobody was erased"))
	}
	return nil
}

func (k *keeping) forget(ctx context.Context, address string) error {
	a := k.app
	known, err := k.register.Forget(ctx, address, k.by)
	if err != nil {
		return err
	}
	if known {
		a.say("they are erased from the list of members, and no list brings them back")
	} else {
		a.say("nobody here has that address; no list brings it in")
	}
	traces, err := k.register.EraseFiles(ctx, k.ws, address)
	k.tellTraces(traces)
	if err := errors.Join(err, k.db.Scrub(ctx)); err != nil {
		return fmt.Errorf("not all is done; run this again: %w", err)
	}
	if err := a.print(forgetReport{known, traces}); err != nil {
		return err
	}
	if n := len(traces.Still) + len(traces.Elsewhere); n > 0 {
		return &found{n}
	}
	return nil
}

func (k *keeping) tellTraces(t member.Traces) {
	say := k.app.say
	for _, name := range t.Rewritten {
		say("%s: their rows are out", name)
	}
	for _, name := range t.Removed {
		say("%s: deleted", name)
	}
	for _, name := range t.Still {
		say("%s: the address stands there; take it out by hand", name)
	}
	for _, path := range t.Elsewhere {
		say("%s: a list was written there, and holds the address; take it out by hand", path)
	}
	for _, path := range t.Moved {
		say("%s: a list was written there and is there no more; if you moved it, take the address out of it", path)
	}
	say("%s searched; backups from before hold the address until you delete them", count(t.Searched, "file", "files"))
}

func (a *app) membersKeys() *cobra.Command {
	var by string
	var rotate bool
	cmd := &cobra.Command{
		Use:   "keys --by WHO",
		Short: "The keys of links in letters; --rotate makes a new one",
		Long: `Say which keys guard the members, and where they are: in a file of their own, outside the
database and its backups (members.key_file in workshop.yaml). Keep a copy of it in another
safe place. The keys themselves are not shown.

--rotate makes a new key for links, when somebody may have seen the file. Links made
before still let people leave; they no longer let anybody join.`,
		Example: "  opencowl members keys --by nell\n  opencowl members keys --rotate --by nell",
		Args:    args(0, 0, "no arguments"),
		RunE: a.keep("", &by, func(ctx context.Context, k *keeping, _ []string) error {
			if rotate {
				if err := k.rotate(ctx); err != nil {
					return err
				}
			}
			keys, err := k.register.Keys.List()
			if err != nil {
				return err
			}
			a.say("%s; marks of who left: %s", k.register.Keys.Path(), k.register.Keys.MarksPath())
			if len(keys) == 0 {
				a.say("no key was needed so far; the file is made when one is")
			}
			for _, x := range keys {
				a.say("%s  %s  made %s", x.Use, x.ID, x.Made)
			}
			return a.print(struct {
				File  string           `json:"file"`
				Marks string           `json:"marks"`
				Keys  []member.KeyInfo `json:"keys"`
			}{k.register.Keys.Path(), k.register.Keys.MarksPath(), keys})
		}),
	}
	cmd.Flags().BoolVar(&rotate, "rotate", false, "make a new key for links")
	byFlag(cmd, &by)
	return cmd
}

func (k *keeping) rotate(ctx context.Context) error {
	info, err := k.register.Keys.Rotate()
	if err != nil {
		return err
	}
	_, err = k.db.Append(ctx, store.Entry{Who: k.by, Kind: "member-keys", Unit: "members", Detail: map[string]string{"new": info.ID, "made": info.Made.String()}})
	return err
}
