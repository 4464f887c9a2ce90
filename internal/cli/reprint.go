package cli

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/card"
	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
)

// Kinds of ledger rows that say which cards are about.
const (
	kindPrinted = "printed"
	kindBinned  = "binned"
)

// printing is what the ledger keeps of a printed card: the card, and what it said
// and rested on. Rows from before that was kept have none.
type printing struct {
	printedCard
	Told *clearance.Told `json:"told,omitempty"`
}

// binning is what the ledger keeps of a card that was thrown away.
type binning struct {
	Tour    string   `json:"tour"`
	Stop    string   `json:"stop"`
	Story   string   `json:"story"`
	Paper   string   `json:"paper"`
	Faces   []string `json:"faces"`
	Printed int64    `json:"printed"` // the row of its printing
	// Language is the one that was asked for; none is the workshop's.
	Language string `json:"language,omitempty"`
}

// reprintLine is one printed card that is no longer true.
type reprintLine struct {
	Card    string   `json:"card"` // STOP/STORY/PAPER, and /LANGUAGE where it is not the workshop's
	Tour    string   `json:"tour"`
	Stop    string   `json:"stop"`
	Story   string   `json:"story"`
	Number  string   `json:"number"` // as it was printed
	Paper   string   `json:"paper"`
	Faces   []string `json:"faces"`
	Printed string   `json:"printed"`
	By      string   `json:"by,omitempty"`
	Why     []string `json:"why"`

	Language string `json:"language,omitempty"`
}

func (a *app) reprintCommand() *cobra.Command {
	var binned, by string
	cmd := &cobra.Command{
		Use:   "reprint [TOUR]",
		Short: "Which printed cards are no longer true, and why",
		Long: `List the printed cards, of one tour or of all, whose story, released facts, photo, part
or place on the tour has changed since, or whose story was corrected, withdrawn or held
back; and those that are in the workshop's language for want of a translation, once one
is cleared. Printing a card anew takes its line for the same paper, language and face off
the list; so does saying that the old card is in the bin. The exit code is 1 while the
list is not empty.`,
		Example: `  opencowl reprint winter-hangar
  opencowl cards winter-hangar --changed --by tam
  opencowl reprint --binned hull-floor/floor-stiffener/a5 --by tam
  opencowl reprint --binned hull-floor/floor-stiffener/a5/fr --by tam`,
		Args: args(0, 1, "the id of one tour, or nothing"),
		RunE: func(cmd *cobra.Command, args []string) error {
			tour := strings.Join(args, "")
			if binned != "" {
				return a.bin(cmd.Context(), tour, binned, by)
			}
			if by != "" {
				return use(errors.New("--by says who threw a card away; name the card with --binned"))
			}
			return a.listReprints(cmd.Context(), tour)
		},
	}
	cmd.Flags().StringVar(&binned, "binned", "", "a printed card that was thrown away: STOP/STORY/PAPER or STOP/STORY/PAPER/LANGUAGE as the list has it, or the story's id for all its cards")
	cmd.Flags().StringVar(&by, "by", "", "who threw it away: an id from workshop.yaml")
	return cmd
}

func (a *app) listReprints(ctx context.Context, tour string) error {
	s, err := a.open(ctx, "")
	if err != nil {
		return err
	}
	defer s.close()
	if err := s.knowsTour(ctx, tour); err != nil {
		return err
	}
	cards, err := s.cardsAbout(ctx, tour)
	if err != nil {
		return err
	}
	lines := s.untrue(cards)
	for _, l := range lines {
		by := ""
		if l.By != "" {
			by = " by " + l.By
		}
		a.say("%s  card %s of %s, %s, printed %s%s", l.Card, l.Number, l.Tour, strings.Join(l.Faces, " and "), l.Printed, by)
		for _, why := range l.Why {
			a.say("    %s", why)
		}
	}
	switch {
	case len(cards) == 0:
		a.say("no card is about: none was printed, or all are in the bin")
	case len(lines) == 0:
		a.say("every printed card is as true as it was")
	default:
		a.say("print anew what may be shown (opencowl cards TOUR --changed), and say what went in the bin (opencowl reprint --binned CARD --by WHO)")
	}
	if err := a.print(append([]reprintLine{}, lines...)); err != nil {
		return err
	}
	if len(lines) > 0 {
		return &found{len(lines)}
	}
	return nil
}

// knowsTour makes sure that a tour exists, or did when cards of it were printed.
func (s *session) knowsTour(ctx context.Context, tour string) error {
	if tour == "" || slices.Contains(s.desk.Tours(), tour) {
		return nil
	}
	cards, err := s.cardsAbout(ctx, tour)
	if err == nil && len(cards) == 0 {
		err = use(fmt.Errorf("there is no tour %q, and no printed card of one; the tours are %s", tour, list(s.desk.Tours())))
	}
	return err
}

// cardAbout is a printed card, or the sides of one, that nobody has printed anew
// or thrown away.
type cardAbout struct {
	printing
	row   store.Row
	faces []string // those of its faces that are still the newest
}

// id names a card as a person types it.
func (c cardAbout) id() string { return cardID(c.Stop, c.Story, c.Paper, c.Language) }

// cardID names a card; one in the workshop's own language by stop, story and paper
// alone.
func cardID(stop, story, paper, language string) string {
	id := stop + "/" + story + "/" + paper
	if language != "" {
		id += "/" + language
	}
	return id
}

// side is one face of a card on one paper and in one language: what a new printing
// takes the place of.
type side struct{ tour, stop, story, paper, language, face string }

// cardsAbout lists the printed cards of a tour, or of all, in the order of their
// printing.
func (s *session) cardsAbout(ctx context.Context, tour string) ([]cardAbout, error) {
	rows, err := s.db.Ledger(ctx, store.Filter{})
	if err != nil {
		return nil, err
	}
	newest := map[side]int64{} // → the row that printed it
	byRow := map[int64]*cardAbout{}
	for _, row := range rows {
		switch row.Kind {
		case kindPrinted:
			c := cardAbout{row: row}
			if err := readBack(row, &c.printing); err != nil {
				return nil, err
			}
			byRow[row.Seq] = &c
			for _, face := range c.Faces {
				newest[side{c.Tour, c.Stop, c.Story, c.Paper, c.Language, face}] = row.Seq
			}
		case kindBinned:
			var b binning
			if err := readBack(row, &b); err != nil {
				return nil, err
			}
			for _, face := range b.Faces {
				if k := (side{b.Tour, b.Stop, b.Story, b.Paper, b.Language, face}); newest[k] == b.Printed {
					delete(newest, k)
				}
			}
		}
	}
	for k, seq := range newest {
		byRow[seq].faces = append(byRow[seq].faces, k.face)
	}
	var all []cardAbout
	for _, c := range byRow {
		if len(c.faces) > 0 && (tour == "" || c.Tour == tour) {
			slices.SortFunc(c.faces, func(a, b string) int { return cmp.Compare(slices.Index(c.Faces, a), slices.Index(c.Faces, b)) })
			all = append(all, *c)
		}
	}
	slices.SortFunc(all, func(a, b cardAbout) int { return cmp.Compare(a.row.Seq, b.row.Seq) })
	return all, nil
}

func readBack(row store.Row, into any) error {
	if err := json.Unmarshal(row.Detail, into); err != nil {
		return fmt.Errorf("ledger row %d cannot be read back: %w", row.Seq, err)
	}
	return nil
}

// untrue lists those cards that are no longer true, with the reasons.
func (s *session) untrue(cards []cardAbout) []reprintLine {
	type tourIn struct{ tour, language string }
	today := map[tourIn]func(cardAbout) string{}
	var lines []reprintLine
	for _, c := range cards {
		why := s.desk.NoLongerTrue(clearance.CardOf{Story: c.Story, Asked: c.Language, In: c.in(), Digest: c.Words, Told: c.Told})
		if len(why) == 0 {
			key := tourIn{c.Tour, c.Language}
			about, known := today[key]
			if !known {
				about = s.onTour(c.Tour, c.Language)
				today[key] = about
			}
			if reason := about(c); reason != "" {
				why = []string{reason}
			}
		}
		if len(why) == 0 {
			continue
		}
		lines = append(lines, reprintLine{Card: c.id(), Tour: c.Tour, Stop: c.Stop, Story: c.Story, Number: c.Number, Paper: c.Paper, Faces: c.faces,
			Printed: day.Of(c.row.At.In(s.ws.Settings.Workshop.Timezone.Location)).String(), By: c.row.Who, Why: why, Language: c.Language})
	}
	return lines
}

// onTour says of a card whose story is as it was what else about it has changed.
func (s *session) onTour(id, language string) func(cardAbout) string {
	settings, err1 := s.desk.Settings()
	t, err2 := s.desk.TourIn(id, language, day.Date{})
	theme, err3 := s.ws.Theme()
	now, err := []card.Printed(nil), errors.Join(err1, err2, err3)
	if err == nil {
		now, err = card.Cards(settings, t, card.Options{Theme: theme, Language: language})
	}
	if err != nil {
		return func(cardAbout) string { return err.Error() }
	}
	return func(c cardAbout) string {
		i := slices.IndexFunc(now, func(p card.Printed) bool { return p.Stop == c.Stop && p.Story == c.Story })
		switch {
		case i < 0:
			return "its stop or story is no longer on the tour"
		case now[i].Number != c.Number:
			return fmt.Sprintf("it is card %s now", now[i].Number)
		case now[i].Digest != c.Digest:
			return "what stands about its story changed: the place, cautions, times, handling, or the workshop's name or address"
		}
		return ""
	}
}

// bin records that printed cards were thrown away.
func (a *app) bin(ctx context.Context, tour, name, by string) error {
	if by == "" {
		return use(errors.New("--by is needed; say who threw the card away"))
	}
	s, err := a.open(ctx, "reprint")
	if err != nil {
		return err
	}
	defer s.close()
	if err := somebody(s.ws.Settings, by); err != nil {
		return err
	}
	if err := s.knowsTour(ctx, tour); err != nil {
		return err
	}
	cards, err := s.cardsAbout(ctx, tour)
	if err != nil {
		return err
	}
	var entries []store.Entry
	gone := []binning{}
	var ids []string
	for _, c := range cards {
		ids = append(ids, c.id())
		if !slices.Contains([]string{c.id(), c.Stop + "/" + c.Story, c.Story, "story/" + c.Story}, name) {
			continue
		}
		b := binning{c.Tour, c.Stop, c.Story, c.Paper, c.faces, c.row.Seq, c.Language}
		gone = append(gone, b)
		entries = append(entries, store.Entry{At: s.db.Now(), Who: by, Kind: kindBinned, Unit: c.row.Unit, Digest: c.row.Digest, Detail: b})
	}
	if len(entries) == 0 {
		if len(ids) == 0 {
			return use(errors.New("no card is about: none was printed, or all are in the bin"))
		}
		slices.Sort(ids)
		return use(fmt.Errorf("no printed card is called %q; these are about: %s", name, list(slices.Compact(ids))))
	}
	if _, err := s.db.Append(ctx, entries...); err != nil {
		return err
	}
	for _, b := range gone {
		a.say("%s: %s in the bin", cardID(b.Stop, b.Story, b.Paper, b.Language), strings.Join(b.Faces, " and "))
	}
	return a.print(gone)
}

// changed chooses the cards to print so that none about is untrue and none is
// missing, on one paper, in one language, with these faces. A sheet for the guide alone is among
// them where an old card of its stop is still about.
func (s *session) changed(ctx context.Context, tour, paper, language string, faces []string) (func(card.Printed) bool, error) {
	cards, err := s.cardsAbout(ctx, tour)
	if err != nil {
		return nil, err
	}
	lines := s.untrue(cards)
	good := map[side]bool{}
	for _, c := range cards {
		bad := slices.ContainsFunc(lines, func(l reprintLine) bool { return l.Card == c.id() && slices.Equal(l.Faces, c.faces) })
		for _, face := range c.faces {
			good[side{tour, c.Stop, c.Story, c.Paper, c.Language, face}] = !bad
		}
	}
	return func(p card.Printed) bool {
		if p.GuideOnly {
			return slices.ContainsFunc(lines, func(l reprintLine) bool { return l.Stop == p.Stop })
		}
		return slices.ContainsFunc(faces, func(face string) bool { return !good[side{tour, p.Stop, p.Story, paper, language, face}] })
	}, nil
}
