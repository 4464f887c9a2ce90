package cli

import (
	"cmp"
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/post"
	"example.org/opencowl/internal/store"
)

// telling is one place where a story, or a correction to it, has been told.
type telling struct {
	Story      string        `json:"story"`
	Where      string        `json:"where"` // card, edition or page; correction: that it was written
	What       string        `json:"what"`
	On         string        `json:"on"`
	Count      int           `json:"count"` // cards printed, members who got the letter
	Old        bool          `json:"old"`   // the words have changed since
	Correction string        `json:"correction,omitempty"`
	Binned     []binnedSides `json:"binned,omitempty"` // of a card
}

// binnedSides are the faces of a printed card that were thrown away on a day.
type binnedSides struct {
	Faces []string `json:"faces"`
	On    string   `json:"on"`
}

// words says of a telling what and where, and what has become of it.
func (t telling) words() string {
	said := t.What
	if t.Old {
		said += ", in old words"
	}
	for _, b := range t.Binned {
		said += fmt.Sprintf("; %s in the bin since %s", strings.Join(b.Faces, " and "), b.On)
	}
	return said
}

func (a *app) traceCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "trace PART|STORY",
		Short: "Where it has been told: cards, editions, pages, with dates",
		Long: `List every place where a story, or every story about a part, has been told: printed
cards, editions with the number of members who got them, never who, and pages of the
archive. What was told in words that have changed since is marked old, and of a card that
was thrown away it says since when it is in the bin. Corrections follow their story, each with
where it has gone.`,
		Example: "  opencowl trace hull-floor-stiffener\n  opencowl trace floor-stiffener --json",
		Args:    args(1, 1, "the id of a part or of a story"),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := a.open(cmd.Context(), "")
			if err != nil {
				return err
			}
			defer s.close()
			units, err := s.desk.About(args[0])
			if err != nil {
				return use(err)
			}
			all := []telling{}
			for _, u := range units {
				a.say("%s (%s): %s", u.ID, u.Standing, u.Title)
				told, err := s.tellings(cmd.Context(), u)
				if err != nil {
					return err
				}
				for _, t := range told {
					a.say("  %s  %-8s %s", t.On, t.Where, t.words())
				}
				if len(told) == 0 {
					a.say("  not told anywhere yet")
				}
				all = append(all, told...)
				corrections, err := s.traceCorrections(cmd.Context(), u)
				if err != nil {
					return err
				}
				all = append(all, corrections...)
			}
			return a.print(all)
		},
	}
}

// traceCorrections lists the corrections to a story, each with where it has gone.
func (s *session) traceCorrections(ctx context.Context, story *clearance.Unit) ([]telling, error) {
	var all []telling
	for _, u := range s.desk.CorrectionsOf(story) {
		words, written := u.Written()
		told, err := s.tellings(ctx, u)
		if err != nil {
			return nil, err
		}
		s.app.say("  %s  %s (%s): %s", written, u.ID, u.Standing, words)
		all = append(all, telling{Story: story.ID, Where: "correction", What: words, On: written.String(), Correction: u.ID})
		members := false
		for _, t := range told {
			s.app.say("    %s  %-8s %s", t.On, t.Where, t.What)
			t.Story, t.Correction = story.ID, u.ID
			all = append(all, t)
			members = members || t.Where == "edition"
		}
		switch {
		case u.Standing == clearance.Cleared && !members:
			s.app.say("    leads the next edition")
		case len(told) == 0:
			s.app.say("    has not gone out")
		}
	}
	return all, nil
}

// tellings lists where a story, a translation of one, or a correction has been told,
// oldest first within each kind. The cards of a story are in any language.
func (s *session) tellings(ctx context.Context, u *clearance.Unit) ([]telling, error) {
	var all []telling
	original, language := u.Translates()
	rows, err := s.db.Ledger(ctx, store.Filter{Unit: cmp.Or(original, u.ID)})
	if err != nil {
		return nil, err
	}
	cards := map[int64]int{} // the row of a printing → its place in all
	for _, r := range rows {
		on := r.At.In(s.ws.Settings.Workshop.Timezone.Location).Format("2006-01-02")
		switch r.Kind {
		case kindBinned:
			var b binning
			if err := readBack(r, &b); err != nil {
				return nil, err
			}
			if i, printed := cards[b.Printed]; printed {
				all[i].Binned = append(all[i].Binned, binnedSides{b.Faces, on})
			}
		case kindPrinted:
			var p printedCard
			if err := readBack(r, &p); err != nil {
				return nil, err
			}
			if original != "" && p.in() != language {
				continue
			}
			what := fmt.Sprintf("card %s of %s, %s", p.Number, p.Tour, p.Paper)
			if p.Language != "" {
				what += ", " + p.Language
			}
			cards[r.Seq] = len(all)
			all = append(all, telling{Story: u.ID, Where: "card", What: what, On: on, Count: 1, Old: p.Words != s.desk.DigestOf(p.Story, p.in())})
		case "published":
			if original != "" {
				continue // the archive is in the workshop's language
			}
			all = append(all, telling{Story: u.ID, Where: "page", What: "the archive", On: on, Count: 1, Old: r.Digest != u.Digest})
		}
	}
	told, err := s.toldTo(ctx)
	if err != nil {
		return nil, err
	}
	for _, t := range told {
		if t.unit == u.ID {
			all = append(all, telling{Story: u.ID, Where: "edition", What: t.words(), On: cmp.Or(t.On, t.State), Count: t.Members, Old: t.digest != "" && t.digest != u.Digest})
		}
	}
	return all, nil
}

// toldTo is one edition that told a story or a correction, and to how many:
// numbers, never members.
type toldTo struct {
	Story      string `json:"story,omitempty"`
	Correction string `json:"correction,omitempty"` // that the edition told; empty: the story itself
	Edition    string `json:"edition"`
	State      string `json:"state"`
	On         string `json:"on,omitempty"` // the day it was sent
	Members    int    `json:"members"`      // who got it
	Unsure     int    `json:"unsure,omitempty"`
	Elsewhere  bool   `json:"elsewhere,omitempty"` // sent some other way: to how many is not on record

	unit, digest string
}

// words says it for a line: "2031-W07, to 60 members".
func (t toldTo) words() string {
	members := fmt.Sprintf("%d members", t.Members)
	if t.Members == 1 {
		members = "1 member"
	}
	text := t.Edition + ", to " + members
	switch {
	case t.State == store.Frozen:
		text = t.Edition + ", not posted yet"
	case t.Elsewhere:
		text = t.Edition + ", to how many is not on record"
	case t.State != store.Sent:
		text += " so far"
	}
	if t.Unsure > 0 {
		text += fmt.Sprintf(", %d unsure", t.Unsure)
	}
	return text
}

// reached says how many an edition has reached.
func (s *session) reached(ctx context.Context, e store.Edition) (toldTo, error) {
	report, err := post.Status(ctx, s.db, e.Week)
	return toldTo{Edition: e.Week, State: e.State, On: e.On, Members: report.Sent, Unsure: report.Unsure, Elsewhere: e.State == store.Sent && report.Total == 0}, err
}

// toldTo lists what each frozen edition told, and to how many, oldest first.
func (s *session) toldTo(ctx context.Context) ([]toldTo, error) {
	editions, err := s.db.Editions(ctx)
	if err != nil {
		return nil, err
	}
	of := map[string]string{} // correction → its story
	for _, u := range s.desk.Units() {
		of[u.ID] = u.Corrects()
	}
	var all []toldTo
	for _, e := range editions {
		record, err := recordOf(e)
		if err != nil {
			return nil, err
		}
		t, err := s.reached(ctx, e)
		if err != nil {
			return nil, err
		}
		for _, story := range record.Stories {
			t.Story, t.unit, t.digest = story.ID, "story/"+story.ID, story.Digest
			all = append(all, t)
		}
		t.digest = ""
		for _, id := range record.Corrections {
			t.unit, t.Correction = "correction/"+id, id
			t.Story = of[t.unit]
			all = append(all, t)
		}
	}
	return all, nil
}
