package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/cleared"
)

// unitReport is a unit as machine output.
type unitReport struct {
	ID       string              `json:"id"`
	Kind     string              `json:"kind"`
	Title    string              `json:"title"`
	Standing clearance.Standing  `json:"standing"`
	By       string              `json:"by,omitempty"`
	On       string              `json:"on,omitempty"`
	Digest   string              `json:"digest,omitempty"`
	Facts    []clearance.Fact    `json:"facts,omitempty"`
	Photos   []string            `json:"photos,omitempty"`
	Findings []clearance.Finding `json:"findings,omitempty"`

	Original string           `json:"original,omitempty"` // of a translation
	Beside   []clearance.Pair `json:"beside,omitempty"`   // the texts of both, as they print
	Released []clearance.Pair `json:"released,omitempty"` // the facts of both, as they print
}

func (s *session) report(u *clearance.Unit) unitReport {
	original, _ := u.Translates()
	texts, facts := s.desk.Beside(u)
	return unitReport{u.ID, u.Kind, u.Title, u.Standing, u.By, u.On.String(), u.Digest, u.Facts, u.Photos, u.Findings, original, texts, facts}
}

func (a *app) decideCommand() *cobra.Command {
	var decision clearance.Decision
	var accept string
	cmd := &cobra.Command{
		Use:   "decide [ID...] --by WHO",
		Short: "Show what would leave, with its released facts and pictures, and record the decision",
		Long: `Without an id, list every unit of public text and how it stands. With ids, show
each with its released facts and pictures, and record the decision in the ledger.

Engineers decide; officers decide editions. Under two_people nobody decides on their
own words or their own photo. A translation is shown beside its original, text by text,
with each released fact as either prints it; it lapses when the original changes. On a
terminal each decision is asked for; elsewhere the command itself is the decision, and
units with pictures need --nothing-readable: the answer that no face, plate, drawing,
paper or screen is readable in them.

--accept CODE says of one unit's finding, by the code that opencowl check --json shows,
that it is none after all, with --why. That is recorded, shown ever after, and lapses
when the words change. What is airworthy or safe only an engineer may accept.

--by trusts the person at the machine.`,
		Example: `  opencowl decide
  opencowl decide story/floor-stiffener --by ines --nothing-readable
  opencowl decide story/floor-stiffener --by ines --refuse --why "the loss is not settled yet"
  opencowl decide story/floor-stiffener --by ines --accept private-number --why "the sheet's size is in every catalogue"`,
		Args: args(0, 1000, "ids"),
		RunE: func(cmd *cobra.Command, ids []string) error {
			if len(ids) == 0 {
				return a.listUnits(cmd.Context())
			}
			if decision.By == "" {
				return use(errors.New("--by is missing; say who decides"))
			}
			if decision.Refuse && strings.TrimSpace(decision.Why) == "" {
				return use(errors.New("a refusal needs a reason; say it with --why"))
			}
			if accept != "" {
				return a.accept(cmd.Context(), ids, accept, decision)
			}
			return a.decide(cmd.Context(), ids, decision)
		},
	}
	cmd.Flags().StringVar(&decision.By, "by", "", "who decides: an id from workshop.yaml")
	cmd.Flags().BoolVar(&decision.Refuse, "refuse", false, "refuse instead of clearing")
	cmd.Flags().StringVar(&decision.Why, "why", "", "the reason")
	cmd.Flags().StringVar(&accept, "accept", "", "the code of a finding that is none after all")
	cmd.Flags().BoolVar(&decision.NothingReadable, "nothing-readable", false, "no face, plate, drawing, paper or screen is readable in the pictures")
	return cmd
}

func (a *app) listUnits(ctx context.Context) error {
	s, err := a.open(ctx, "")
	if err != nil {
		return err
	}
	defer s.close()
	var reports []unitReport
	for _, u := range s.desk.Units() {
		reports = append(reports, s.report(u))
		who := ""
		if u.By != "" {
			who = fmt.Sprintf("  (%s, %s)", u.By, u.On)
		}
		note := ""
		if u.Standing == clearance.Refused {
			why, err := s.desk.LastReason(ctx, u)
			if err != nil {
				return err
			}
			note = "  - " + why
		}
		if u.Stops() && note == "" {
			note = "  - has problems; opencowl check tells them"
		}
		a.say("%-8s  %-34s %s%s%s", u.Standing, u.ID, u.Title, who, note)
	}
	return a.print(reports)
}

func (a *app) decide(ctx context.Context, ids []string, decision clearance.Decision) error {
	s, err := a.open(ctx, "decide")
	if err != nil {
		return err
	}
	defer s.close()
	units, err := s.desk.Find(ids)
	if err != nil {
		return use(err)
	}
	asks := a.terminal()
	var taken []*clearance.Unit
	for _, u := range units {
		a.show(s, u)
		switch {
		case !asks:
			taken = append(taken, u)
			continue
		case decision.Refuse:
			if a.ask("Refuse %s? [y/N] ", u.ID) {
				taken = append(taken, u)
			}
			continue
		}
		if u.HasPictures() && !decision.NothingReadable &&
			!a.ask("Is no face, plate, drawing, paper or screen readable in its pictures? [y/N] ") {
			a.say("%s is left as it is; hide what can be read, then decide again", u.ID)
			continue
		}
		if a.ask("Clear %s? [y/N] ", u.ID) {
			taken = append(taken, u)
		}
	}
	if asks {
		decision.NothingReadable = true // each answered above
	}
	if len(taken) == 0 {
		a.say("nothing was decided")
		return a.print([]unitReport{})
	}
	if err := s.desk.Decide(ctx, taken, decision); err != nil {
		return err
	}
	var reports []unitReport
	for _, u := range taken {
		reports = append(reports, s.report(u))
		a.say("%s: %s by %s", u.ID, u.Standing, decision.By)
		for _, photo := range s.desk.PhotosWaiting(u) {
			a.say("  its picture %s still waits for a decision", photo)
		}
	}
	return a.print(reports)
}

// accept records that a finding of a unit is none after all.
func (a *app) accept(ctx context.Context, ids []string, code string, d clearance.Decision) error {
	if len(ids) != 1 || d.Refuse || strings.TrimSpace(d.Why) == "" {
		return use(errors.New("--accept takes one unit and a reason, --why"))
	}
	s, err := a.open(ctx, "decide")
	if err != nil {
		return err
	}
	defer s.close()
	units, err := s.desk.Find(ids)
	if err != nil {
		return use(err)
	}
	if err := s.desk.Accept(ctx, units[0], code, d.By, d.Why); err != nil {
		return err
	}
	a.say("%s: %s is accepted by %s while these words stand", units[0].ID, code, d.By)
	return a.print(s.report(units[0]))
}

// terminal reports whether a person sits at the other end.
func (a *app) terminal() bool {
	f, ok := a.In.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

func (a *app) ask(format string, values ...any) bool {
	fmt.Fprintf(a.Err, format, values...)
	line, _ := bufio.NewReader(a.In).ReadString('\n')
	answer := strings.ToLower(strings.TrimSpace(line))
	return answer == "y" || answer == "yes"
}

// show prints all of a unit that a reader would see.
func (a *app) show(s *session, u *clearance.Unit) {
	a.say("\n%s  %s\n%s", u.ID, u.Standing, strings.Repeat("=", len(u.ID)))
	original, language := u.Translates()
	texts, facts := s.desk.Beside(u)
	if original != "" {
		a.beside("the original ("+s.ws.Settings.Workshop.Language+")", "the translation ("+language+")", texts)
		if len(facts) > 0 {
			a.beside("released facts, as they print", "", facts)
		}
	} else {
		for _, t := range u.Texts {
			a.say("%-16s %s", t.Field, strings.ReplaceAll(strings.TrimSpace(t.Value), "\n", "\n                 "))
		}
	}
	if original == "" && len(u.Facts) > 0 {
		a.say("\nReleased facts:")
		for _, f := range u.Facts {
			a.say("  %-44s %s", f.Name, f.Value)
		}
	}
	pictures := u.Photos
	if u.Kind == "photo" {
		pictures = []string{u.ID}
	}
	if len(pictures) > 0 {
		a.say("\nPictures, as they would leave:")
		for _, id := range pictures {
			if name := s.desk.LookAt(id, cleared.Web1200); name != "" {
				a.say("  %-34s %s", id, filepath.Join(s.ws.CopiesDir(), name))
			}
		}
	}
	if len(u.LeftBehind) > 0 {
		a.say("\nIn the original, and in no copy: %s", list(u.LeftBehind))
	}
	for _, f := range u.Findings {
		mark := "stops: "
		if f.Advice {
			mark = "advice: "
		}
		a.say("%s%s", mark, f.Error())
	}
	a.say("")
}

// besideWidth is how many letters each of two texts takes across, beside the name of
// its field, on a terminal of a hundred.
const besideWidth = 40

// beside shows two texts next to each other, pair by pair.
func (a *app) beside(left, right string, pairs []clearance.Pair) {
	a.say("%-16s %-*s  %s", "", besideWidth, left, right)
	for _, p := range pairs {
		l, r := wrapped(p.Original), wrapped(p.Translation)
		for i := range max(len(l), len(r)) {
			field := ""
			if i == 0 {
				field = p.Field
			}
			if i == 0 && len(field) > 16 {
				a.say("%s", field)
				field = ""
			}
			one, other := lineOf(l, i), lineOf(r, i)
			a.say("%-16s %s%s  %s", field, one, strings.Repeat(" ", max(0, besideWidth-utf8.RuneCountInString(one))), other)
		}
	}
}

func lineOf(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return ""
}

// wrapped breaks a text into lines that are as long as one side has room for, and a
// word that is longer by itself.
func wrapped(text string) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line+" "+word) > besideWidth {
			lines, line = append(lines, line), ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(lines, line)
}
