package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/card"
	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/picture"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

func (a *app) checkCommand() *cobra.Command {
	var ledger, prune bool
	var head string
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Read everything and report every problem with its place and its remedy",
		Long: `Read the log, the photos and the public words, set them side by side, and
report every problem with file, line and remedy. Advice is marked; it stops nothing.
Exit code 1 when something stops a unit from leaving. wording/NAME.LANG.md and
tours/NAME.LANG.yaml are translations, held to their originals: the same claims, props and
photos in the same order, and nothing that is the original's to say.

--ledger looks instead whether any row of the ledger was changed, put in or taken out.
Rows cut off its end leave no trace in it: for that, give a head that was kept
elsewhere, from a freeze or a run sheet, with --head.

--prune instead removes public copies of photos that no tag asks for any more, as after
a hide box was moved or a photo was taken back. Originals are never touched.`,
		Example: "  opencowl check --workspace demo\n  opencowl check --prune\n  opencowl check --ledger --head eba36f4332dbc4590ca65f7644d3bf1594e48d441f434819872114ca68ce4166",
		Args:    args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if prune && ledger {
				return use(errors.New("--prune and --ledger are two jobs; give one of them"))
			}
			if prune {
				return a.prune(cmd.Context())
			}
			s, err := a.open(cmd.Context(), "check")
			if err != nil {
				return err
			}
			defer s.close()
			if ledger {
				// A run sheet has it in groups.
				return s.checkLedger(cmd.Context(), strings.Join(strings.Fields(head), ""))
			}
			all := append(s.faults, s.desk.Check()...)
			cards, err := s.checkCards(cmd.Context())
			if err != nil {
				return err
			}
			all = append(all, cards...)
			stops := 0
			for _, p := range all {
				if !p.Advice {
					stops++
				}
			}
			a.tell(all)
			c := s.desk.Counts()
			translations := ""
			if c.Translations > 0 {
				translations = ", " + count(c.Translations, "translation", "translations")
			}
			a.say("read %d parts, %d entries, %d photos, %d stories, %d glossary words, %d tours, %d editions%s on %s",
				c.Parts, c.Entries, c.Photos, c.Stories, c.Words, c.Tours, c.Editions, translations, s.today)
			advice := count(len(all)-stops, "piece of advice", "pieces of advice")
			if stops == 0 {
				a.say("nothing stops; %s", advice)
			} else {
				a.say("%s and %s", count(stops, "problem", "problems"), advice)
			}
			if all == nil {
				all = []reading.Problem{}
			}
			if err := a.print(struct {
				Today    string            `json:"today"`
				Counts   clearance.Counts  `json:"counts"`
				Problems []reading.Problem `json:"problems"`
			}{s.today.String(), c, all}); err != nil {
				return err
			}
			if stops > 0 {
				return &found{stops}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&ledger, "ledger", false, "look whether the ledger is whole")
	cmd.Flags().BoolVar(&prune, "prune", false, "remove public copies of photos that no tag asks for any more")
	cmd.Flags().StringVar(&head, "head", "", "the ledger's head as it was written down elsewhere")
	return cmd
}

// count writes a number with its noun.
func count(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// checkCards lays out every card of every tour, in each language of the workshop, and
// reads how the other papers look, so that whoever writes learns
// what does not fit, and not the guide an hour before the talk. Text that does not
// fit on A5 is advice, since it may fit on another paper, and a back runs on; anything
// else stops.
func (s *session) checkCards(ctx context.Context) ([]reading.Problem, error) {
	theme, err := s.ws.Theme()
	if err != nil {
		return nil, err
	}
	var all []reading.Problem
	all = append(all, faceProblems(card.CheckPapers(theme))...)
	for _, id := range s.desk.Tours() {
		for i, language := range s.desk.Languages() {
			opt := card.Options{Paper: "a5", Language: language, Faces: []string{"front", "back"}, AsOf: s.today, Theme: theme}
			in := ""
			if i > 0 {
				opt.Only = func(p card.Printed) bool { return p.Language == language && !p.GuideOnly }
				in = "in " + language + ": "
			}
			tour, err := s.desk.DraftTourIn(id, language, day.Date{})
			if err != nil {
				return nil, err
			}
			sheets, err := card.DraftDeck(ctx, s.desk.DraftSettings(), tour, opt)
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			failures := []error{err}
			switch {
			case err == nil:
				failures = sheets.Unfit
				for _, back := range sheets.RunsOn {
					failures = append(failures, back)
				}
			case errors.Is(err, card.ErrNothingToPrint):
				failures = nil
			}
			for _, failure := range failures {
				var overflow *card.Overflow
				var runsOn *card.RunsOn
				advice := errors.As(failure, &overflow) || errors.As(failure, &runsOn)
				for _, line := range lines(failure) {
					all = append(all, reading.Problem{Place: reading.Place{File: "tours/" + id + ".yaml"}, Code: "card", Message: in + line, Advice: advice})
				}
			}
		}
	}
	return all, nil
}

// faceProblems takes an error about faces apart.
func faceProblems(err error) []reading.Problem {
	var one reading.Problem
	joined, several := err.(interface{ Unwrap() []error })
	switch {
	case err == nil:
		return nil
	case several:
		var all []reading.Problem
		for _, e := range joined.Unwrap() {
			all = append(all, faceProblems(e)...)
		}
		return all
	case errors.As(err, &one):
		return []reading.Problem{one}
	}
	return []reading.Problem{{Place: reading.Place{File: "themes/faces"}, Code: "face", Message: err.Error()}}
}

// ledgerReport is the machine output of check --ledger.
type ledgerReport struct {
	Rows     int      `json:"rows"`
	Head     string   `json:"head"`
	Broken   []string `json:"broken"`
	TailSeen bool     `json:"tail_seen"` // a head kept elsewhere was found in it
}

func (s *session) checkLedger(ctx context.Context, head string) error {
	broken, err := s.db.VerifyLedger(ctx)
	if err != nil {
		return err
	}
	rows, err := s.db.Ledger(ctx, store.Filter{})
	if err != nil {
		return err
	}
	r := ledgerReport{Rows: len(rows), Broken: []string{}}
	for _, row := range rows {
		r.Head = row.Hash
		r.TailSeen = r.TailSeen || head != "" && row.Hash == head
	}
	for _, b := range broken {
		r.Broken = append(r.Broken, fmt.Sprintf("row %d: %s", b.Seq, b.Why))
	}
	if head != "" && !r.TailSeen {
		r.Broken = append(r.Broken, fmt.Sprintf("no row has the head %s: rows were cut off or changed since it was written down", head))
	}
	for _, b := range r.Broken {
		s.app.say("%s", b)
	}
	s.app.say("%d rows; head %s", r.Rows, r.Head)
	if head == "" {
		s.app.say("without a head kept elsewhere (--head) it cannot be seen whether rows were cut off the end")
	}
	if err := s.app.print(r); err != nil {
		return err
	}
	if len(r.Broken) > 0 {
		return &found{len(r.Broken)}
	}
	return nil
}

// prune removes the public copies that no tag asks for. It looks at what there is
// before it reads the tags, so that it takes away nothing that was made since.
func (a *app) prune(ctx context.Context) error {
	ws, _, err := workspace.Open(a.workspace)
	if err != nil {
		return err
	}
	defer ws.Close()
	there, err := picture.LookAt(ws.CopiesDir())
	if err != nil {
		return err
	}
	s, err := a.open(ctx, "check --prune")
	if err != nil {
		return err
	}
	defer s.close()
	wanted := s.desk.PublicCopies()
	gone, err := there.Prune(func(name string) bool { return wanted[name] })
	if err != nil {
		return err
	}
	a.say("removed %s (%.1f MB) that no tag asks for; %d in use", count(gone.Copies, "public copy", "public copies"), float64(gone.Bytes)/1e6, len(wanted))
	return a.print(struct {
		Removed int   `json:"removed"`
		Bytes   int64 `json:"bytes"`
		Wanted  int   `json:"wanted"`
	}{gone.Copies, gone.Bytes, len(wanted)})
}
