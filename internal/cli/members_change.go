package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/member"
)

// personFlags are what is said of somebody who is brought in.
type personFlags struct {
	name, basis, source, wording, on, from, until, by string
	terms                                             member.Terms
}

func (p *personFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&p.name, "name", "", "the person's name")
	f.StringVar(&p.basis, "basis", string(member.Consented), "consent or charity-soft-opt-in")
	f.StringVar(&p.source, "source", "", "where they agreed, such as: paper form, open day")
	f.StringVar(&p.wording, "wording", "", "what they were told: VERSION of consent/VERSION.md")
	f.StringVar(&p.on, "on", "", "the day they agreed, YYYY-MM-DD; today if left out")
	f.StringVar(&p.from, "giving-from", "", "the first day of their giving, YYYY-MM-DD")
	f.StringVar(&p.until, "giving-until", "", "the last day of their giving, YYYY-MM-DD")
	f.StringVar(&p.terms.Collected, "collected", "", "for charity-soft-opt-in: directly or third-party")
	f.StringVar(&p.terms.Because, "because", "", "for charity-soft-opt-in: support or interest")
	f.StringVar(&p.terms.Purpose, "purpose", "", "for charity-soft-opt-in: charitable or mixed")
	f.StringVar(&p.terms.Refusal, "refusal", "", "for charity-soft-opt-in: offered or not-offered")
	byFlag(cmd, &p.by)
}

// person reads the flags; what they say is looked at where it is kept.
func (p *personFlags) person(address string) (member.Person, error) {
	var days [3]day.Date
	for i, flag := range []struct{ name, value string }{{"--on", p.on}, {"--giving-from", p.from}, {"--giving-until", p.until}} {
		if flag.value == "" {
			continue
		}
		d, err := day.Parse(flag.value)
		if err != nil {
			return member.Person{}, use(fmt.Errorf("%s: %w", flag.name, err))
		}
		days[i] = d
	}
	who := member.Person{Address: address, Name: p.name, GivingFrom: days[1], GivingUntil: days[2],
		Consent: member.Consent{Basis: member.Basis(p.basis), Source: p.source, WordingVersion: p.wording, SoftOptIn: p.terms}}
	if !days[0].IsZero() {
		who.Consent.At = days[0].Time(time.UTC)
	}
	return who, nil
}

func (a *app) membersAdd() *cobra.Command {
	var p personFlags
	cmd := &cobra.Command{
		Use:   "add ADDRESS --wording VERSION --source WHERE --by WHO",
		Short: "Add somebody whose agreement you hold, such as a signed form",
		Long: `Add one person, joined at once, on the strength of an agreement that the workshop can show.
Whoever only gave an address is asked first: opencowl members join. Somebody who left or
asked to be forgotten comes back that way alone.`,
		Example: `  opencowl members add ada@example.org --name "Ada Fenn" --wording 2029-join-2 \
      --source "paper form, open day" --on 2031-02-08 --by nell`,
		Args: args(1, 1, "one address"),
		RunE: a.keep("", &p.by, func(ctx context.Context, k *keeping, args []string) error {
			who, err := p.person(args[0])
			if err != nil {
				return err
			}
			m, err := k.register.Add(ctx, who, p.by)
			if errors.Is(err, member.ErrLeft) {
				return fmt.Errorf("%s: %w; ask them with opencowl members join", args[0], err)
			}
			if err != nil {
				return err
			}
			a.say("%s has joined", m.Address)
			if err := k.sayAlike(ctx, m.Address); err != nil {
				return err
			}
			return a.print(standing{m.Address, string(m.State)})
		}),
	}
	p.add(cmd)
	return cmd
}

// sayAlike names members who may be the same person.
func (k *keeping) sayAlike(ctx context.Context, address string) error {
	others, err := member.Alike(ctx, k.db, address)
	for _, other := range others {
		k.app.say("advice: %s is here, and differs only by dots or a tag; if it is one person, keep one", other)
	}
	return err
}

// standing is how somebody stands, as machine output.
type standing struct {
	Address string `json:"address"`
	State   string `json:"state"`
}

// askedReport is the machine output of members join.
type askedReport struct {
	standing
	Until   string `json:"until,omitempty"`
	Subject string `json:"subject,omitempty"`
	Text    string `json:"text,omitempty"`
}

func (a *app) membersJoin() *cobra.Command {
	var p personFlags
	cmd := &cobra.Command{
		Use:   "join ADDRESS --wording VERSION --source WHERE --by WHO",
		Short: "Ask somebody who gave an address whether they want the update",
		Long: `Write down that somebody asked for the update, and print the letter that asks the owner of
the address to confirm it. Send it to them. They get nothing else until they do; after 14
days without an answer what was written down goes. So somebody who left, or asked to be
forgotten, comes back: by their own word.`,
		Example: `  opencowl members join ada@example.org --wording 2029-join-2 --source "tour desk" --by nell > letter.txt`,
		Args:    args(1, 1, "one address"),
		RunE: a.keep("", &p.by, func(ctx context.Context, k *keeping, args []string) error {
			who, err := p.person(args[0])
			if err != nil {
				return err
			}
			asked, err := k.register.Join(ctx, who, p.by)
			if err != nil {
				return err
			}
			m := asked.Member
			if asked.Token == "" {
				a.say("%s is here already (%s); nothing is to be confirmed", m.Address, m.State)
				return a.print(askedReport{standing: standing{m.Address, string(m.State)}})
			}
			if err := k.sayAlike(ctx, m.Address); err != nil {
				return err
			}
			return k.tellAsked(asked, p.wording)
		}),
	}
	p.add(cmd)
	return cmd
}

func (k *keeping) tellAsked(asked member.Asked, version string) error {
	words, err := k.register.Words(version)
	if err != nil {
		return err
	}
	set := k.ws.Settings
	letter := member.Invitation{Workshop: set.Workshop.Name, Address: set.Workshop.PostalAddress, Code: asked.Token, Reply: set.Post.Returns,
		Words: words.Words, Until: asked.Until.In(set.Workshop.Timezone.Location)}
	if set.PublicURL != "" {
		letter.Link = member.Link(set.PublicURL, member.ToJoin, asked.Token)
	}
	subject, text := letter.Letter()
	k.app.say("%s has not confirmed yet: send them the letter; it counts until %s", asked.Member.Address, letter.Until.Format("2 January 2006"))
	if !k.app.json {
		_, err := fmt.Fprintf(k.app.Out, "To: %s\nSubject: %s\n\n%s", asked.Member.Address, subject, text)
		return err
	}
	return k.app.print(askedReport{standing{asked.Member.Address, string(asked.Member.State)}, letter.Until.Format(time.RFC3339), subject, text})
}

func (a *app) membersConfirm() *cobra.Command {
	var by string
	cmd := &cobra.Command{
		Use:   "confirm CODE|ADDRESS --by WHO",
		Short: "Somebody said yes to the letter that asked them",
		Long: `Join somebody who was asked: by the code that they sent back, or by their address, when they
have told you beyond doubt that it is theirs and that they want the update.`,
		Example: "  opencowl members confirm ada@example.org --by nell",
		Args:    args(1, 1, "one code or address"),
		RunE: a.keep("", &by, func(ctx context.Context, k *keeping, args []string) error {
			var m member.Member
			var err error
			if strings.Contains(args[0], "@") {
				if m, err = member.ByAddress(ctx, k.db, args[0]); err == nil {
					m, err = k.register.ConfirmInPerson(ctx, m.ID, by)
				}
			} else {
				m, err = k.register.Confirm(ctx, args[0], by)
			}
			if err != nil {
				return err
			}
			a.say("%s has joined", m.Address)
			return a.print(standing{m.Address, string(m.State)})
		}),
	}
	byFlag(cmd, &by)
	return cmd
}

// membersLeft is how an officer keeps the promise in every letter's foot.
func (a *app) membersLeft() *cobra.Command {
	return a.membersMove("left", "Somebody asked to leave: write to them no more",
		`Somebody wrote "leave", or said so: their consent is withdrawn, they get no further
letter, not even one that is waiting to be sent, and no list brings them back, nor any
backup.`, "has left and is written to no more",
		func(ctx context.Context, k *keeping, id string) error { return k.register.Leave(ctx, id, k.by) })
}

func (a *app) membersPause() *cobra.Command {
	return a.membersMove("pause", "Somebody asked for a pause: hold their letters back",
		`Somebody asked, by telephone or otherwise, to have no letters for a while. What they agreed
to stands; opencowl members resume ends the pause.`, "is paused and gets no letters until resumed",
		func(ctx context.Context, k *keeping, id string) error { return k.register.Pause(ctx, id, k.by) })
}

func (a *app) membersResume() *cobra.Command {
	return a.membersMove("resume", "Somebody wants their letters again after a pause",
		`End a pause, or write again to an address that was taken for dead and has proved alive.
Whoever left comes back by opencowl members join alone.`, "gets the update again",
		func(ctx context.Context, k *keeping, id string) error { return k.register.Resume(ctx, id, k.by) })
}

// membersMove is a command that moves one person to another state. A run that posts
// holds the lock, and must not keep anybody from leaving: none is taken.
func (a *app) membersMove(name, short, long, said string, move func(context.Context, *keeping, string) error) *cobra.Command {
	var by string
	cmd := &cobra.Command{
		Use:     name + " ADDRESS --by WHO",
		Short:   short,
		Long:    long,
		Example: "  opencowl members " + name + " ada@example.org --by nell",
		Args:    args(1, 1, "one address"),
		RunE: a.keep("", &by, func(ctx context.Context, k *keeping, args []string) error {
			m, err := member.ByAddress(ctx, k.db, args[0])
			if err != nil {
				return err
			}
			if err := move(ctx, k, m.ID); err != nil {
				return err
			}
			if m, err = member.ByAddress(ctx, k.db, args[0]); err != nil {
				return err
			}
			a.say("%s %s", m.Address, said)
			return a.print(standing{m.Address, string(m.State)})
		}),
	}
	byFlag(cmd, &by)
	return cmd
}
