package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/card"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
)

type cardsOptions struct {
	on, paper, faces, out, by, returning string
	language                             string
	sheet                                card.Sheet
	png                                  string
	draft, changed, large, say           bool
}

// printedCard is what the ledger keeps of a printed card.
type printedCard struct {
	Tour   string   `json:"tour"`
	Stop   string   `json:"stop"`
	Story  string   `json:"story"`
	Number string   `json:"number"`
	Paper  string   `json:"paper"`
	Faces  []string `json:"faces"`
	Digest string   `json:"digest"` // of the card
	Words  string   `json:"words"`  // of the story or its translation
	// Language is the one that was asked for; none is the workshop's.
	Language string `json:"language,omitempty"`
	// Fallback says that the card is in the workshop's language all the same, since
	// there was no translation to print.
	Fallback bool `json:"fallback,omitempty"`
}

// in is the language that the card is in; "" is the workshop's.
func (p printedCard) in() string {
	if p.Fallback {
		return ""
	}
	return p.Language
}

// cardsReport is the machine output of cards.
type cardsReport struct {
	File     string            `json:"file"`
	AsOf     string            `json:"as_of"`
	Draft    bool              `json:"draft"`
	Cards    []printedCard     `json:"cards"`
	Withheld map[string]string `json:"withheld,omitempty"` // stop → why
	Said     string            `json:"said,omitempty"`     // with --say: the cards as text
	Unfit    []string          `json:"unfit,omitempty"`    // cards that do not fit, and what to lose
	RunsOn   []string          `json:"runs_on,omitempty"`  // backs that take more sides than one, and what to lose
	Print    string            `json:"print,omitempty"`    // the settings to print with
	Language string            `json:"language,omitempty"` // asked for
	// Untranslated says of what comes in the workshop's language all the same why it does.
	Untranslated map[string]string `json:"untranslated,omitempty"`
}

func (a *app) cardsCommand() *cobra.Command {
	var o cardsOptions
	cmd := &cobra.Command{
		Use:   "cards TOUR [-o FILE.pdf]",
		Short: "Print the stop cards of a tour: fronts for visitors, backs for the guide",
		Long: `Make one PDF with a card for each story of each stop. A stop with nothing cleared
gets a sheet for the guide only that says why, and so does a card whose text does not
fit, with the words to lose; the other cards print all the same, and the exit code is 1. A
back that does not fit runs on to further sheets for the guide, after its card, marked
"2 of 3". Printing is recorded, card by card.

--draft shows every story as it stands, stamped DRAFT on every page, and records nothing.
--changed prints the cards that are no longer true (see opencowl reprint) or were never
printed on this paper. --returning says on the backs what is new since visitors last came.

--language prints in another language of the workshop (languages: in workshop.yaml). A
story whose translation is not cleared comes in the workshop's own, with a line in the
language that was asked for that says so.`,
		Example: `  opencowl cards winter-hangar -o cards.pdf
  opencowl cards winter-hangar --on 2031-02-15 --paper a4 --faces front
  opencowl cards winter-hangar --up 2 --flip long -o sheets.pdf
  opencowl cards winter-hangar --changed --returning 2031-01-12 --by tam
  opencowl cards winter-hangar --language fr -o fiches.pdf`,
		Args: args(1, 1, "the id of one tour"),
		RunE: func(cmd *cobra.Command, args []string) error {
			// It is over in a moment: what it no longer needs is seldom looked for.
			defer debug.SetGCPercent(debug.SetGCPercent(card.Unhurried))
			if o.sheet.Up == 4 && !cmd.Flags().Changed("paper") {
				o.paper = "a6"
			}
			r, err := a.cards(cmd.Context(), args[0], o)
			if err != nil {
				return err
			}
			if err := a.print(r); err != nil {
				return err
			}
			if n := len(r.Withheld) + len(r.Unfit); n > 0 {
				return &found{n}
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&o.on, "on", "", "the day of the tour, YYYY-MM-DD")
	cmd.Flags().StringVar(&o.paper, "paper", "a5", "a6, a5, a4 or letter")
	cmd.Flags().StringVar(&o.faces, "faces", "front,back", "front, back or both")
	cmd.Flags().StringVar(&o.language, "language", "", "one of the workshop's languages, such as fr (default: its own)")
	cmd.Flags().StringVarP(&o.out, "out", "o", "", "the PDF file (default: out/cards-TOUR.pdf in the workspace)")
	cmd.Flags().StringVar(&o.by, "by", "", "who prints them")
	cmd.Flags().BoolVar(&o.draft, "draft", false, "a preview of everything, stamped DRAFT and not recorded")
	cmd.Flags().BoolVar(&o.large, "large", false, "large print: nothing under 16 pt; on a5, a4 or letter")
	cmd.Flags().BoolVar(&o.say, "say", false, "the cards as plain text for a screen reader or for reading aloud, on stdout or in the file of -o; not recorded")
	cmd.Flags().StringVar(&o.png, "png", "", "also a picture of each page, in this folder")
	cmd.Flags().IntVar(&o.sheet.Up, "up", 1, "cards to a side of a sheet: 1, 2 (a5) or 4 (a6), with marks to cut at")
	cmd.Flags().StringVar(&o.sheet.Paper, "sheet", "a4", "the sheet that several cards go on: a4 or letter")
	cmd.Flags().StringVar(&o.sheet.Flip, "flip", "long", "the edge on which the printer flips a sheet: long or short")
	cmd.Flags().BoolVar(&o.sheet.Shrink, "shrink", false, "make cards on a shared sheet a little smaller, for a margin with marks and words")
	cmd.Flags().BoolVar(&o.changed, "changed", false, "only the cards that are no longer true or were never printed")
	cmd.Flags().StringVar(&o.returning, "returning", "", "the day on which returning visitors last came, YYYY-MM-DD")
	return cmd
}

func (a *app) cards(ctx context.Context, tour string, o cardsOptions) (*cardsReport, error) {
	given, err := a.givenToday()
	if err != nil {
		return nil, err
	}
	if o.on != "" {
		if given, err = day.Parse(o.on); err != nil {
			return nil, use(fmt.Errorf("--on: %w", err))
		}
	}
	faces, err := facesOf(o.faces)
	if err != nil {
		return nil, use(err)
	}
	o.paper = strings.ToLower(o.paper)
	o.sheet.Paper, o.sheet.Flip = strings.ToLower(o.sheet.Paper), strings.ToLower(o.sheet.Flip)
	if !slices.Contains([]int{1, 2, 4}, o.sheet.Up) {
		return nil, use(fmt.Errorf("--up: %d is none of 1, 2, 4", o.sheet.Up))
	}
	if !slices.Contains([]string{"a6", "a5", "a4", "letter"}, o.paper) {
		return nil, use(fmt.Errorf("--paper: %q is none of a6, a5, a4, letter", o.paper))
	}
	if o.draft && o.changed {
		return nil, use(errors.New("--draft and --changed do not go together: drafts are not recorded, so none can have changed"))
	}
	returning, err := returningDay(o.returning)
	if err != nil {
		return nil, err
	}
	s, err := a.openOn(ctx, a.workspace, "cards", given, a.now)
	if err != nil {
		return nil, err
	}
	defer s.close()
	if !slices.Contains(s.desk.Tours(), tour) {
		return nil, use(fmt.Errorf("there is no tour %q; the tours are %s", tour, list(s.desk.Tours())))
	}
	if o.language, err = s.desk.Offers(o.language); err != nil {
		return nil, use(fmt.Errorf("--language: %w", err))
	}
	if o.by != "" {
		if err := somebody(s.ws.Settings, o.by); err != nil {
			return nil, err
		}
	}
	if err := s.came(returning); err != nil {
		return nil, err
	}
	if o.say {
		return s.sayCards(tour, faces, o)
	}
	if o.out == "" {
		o.out = s.ws.Path("out/cards-" + tour + ".pdf")
		if o.language != "" {
			o.out = s.ws.Path("out/cards-" + tour + "-" + o.language + ".pdf")
		}
	}
	return s.printCards(ctx, tour, faces, returning, o)
}

// facesOf reads --faces: front, back, both, or a list of them.
func facesOf(s string) ([]string, error) {
	if strings.EqualFold(strings.TrimSpace(s), "both") {
		s = "front,back"
	}
	var faces []string
	for f := range strings.SplitSeq(strings.ToLower(s), ",") {
		f = strings.TrimSpace(f)
		switch {
		case f != "front" && f != "back":
			return nil, fmt.Errorf("--faces: %q is neither front nor back", f)
		case slices.Contains(faces, f):
			return nil, fmt.Errorf("--faces: %s stands twice; name it once", f)
		}
		faces = append(faces, f)
	}
	return faces, nil
}

// asUse tells apart what the flags ask for in vain from what the words cause.
func asUse(err error) error {
	if errors.Is(err, card.ErrSheet) || errors.Is(err, card.ErrPaper) || errors.Is(err, card.ErrNoWords) {
		return use(err)
	}
	return err
}

// notPrinted adds that a file from an earlier printing is still there, so that
// nobody hands it out for the new one.
func notPrinted(err error, file string) error {
	if _, gone := os.Stat(file); gone != nil {
		return err
	}
	return fmt.Errorf("%w\nnothing was printed: %s is from an earlier printing", err, file)
}

// printCards makes the PDF and records what was printed.
func (s *session) printCards(ctx context.Context, tour string, faces []string, returning day.Date, o cardsOptions) (*cardsReport, error) {
	theme, err := s.ws.Theme()
	if err != nil {
		return nil, err
	}
	opt := card.Options{Paper: o.paper, Language: o.language, Faces: faces, AsOf: s.today, Theme: theme, Large: o.large, Sheet: o.sheet, Returning: returning}
	if o.png != "" {
		opt.Pictures = perInch
	}
	if o.changed {
		if opt.Only, err = s.changed(ctx, tour, o.paper, o.language, faces); err != nil {
			return nil, err
		}
	}
	report := &cardsReport{File: o.out, AsOf: s.today.String(), Draft: o.draft, Withheld: map[string]string{}, Language: o.language}
	var sheets *card.Sheets
	if o.draft {
		draft, err := s.desk.DraftTourIn(tour, o.language, returning)
		if err != nil {
			return nil, err
		}
		if sheets, err = card.DraftDeck(ctx, s.desk.DraftSettings(), draft, opt); err != nil {
			return nil, notPrinted(asUse(err), o.out)
		}
	} else {
		settings, err1 := s.desk.Settings()
		t, err2 := s.desk.TourIn(tour, o.language, returning)
		if err := errors.Join(err1, err2); err != nil {
			return nil, err
		}
		report.Withheld, report.Untranslated = withheld(t), s.desk.Untranslated(tour, o.language)
		sheets, err = card.Deck(ctx, settings, t, opt)
		if errors.Is(err, card.ErrNothingToPrint) {
			report.File = ""
			s.app.say("nothing to print: every card that may be shown is about on %s, as true as it was", o.paper)
			s.sayWithheld(report.Withheld)
			return report, nil
		}
		if err != nil {
			return nil, notPrinted(asUse(err), o.out)
		}
	}
	var entries []store.Entry
	for _, c := range sheets.Cards {
		if c.GuideOnly {
			continue
		}
		p := printedCard{Tour: tour, Stop: c.Stop, Story: c.Story, Number: c.Number, Paper: o.paper, Faces: faces, Digest: c.Digest,
			Language: o.language, Fallback: o.language != "" && c.Language != o.language}
		p.Words = s.desk.DigestOf(c.Story, p.in())
		report.Cards = append(report.Cards, p)
		told := s.desk.ToldNow(c.Story, p.in())
		entries = append(entries, store.Entry{At: s.db.Now(), Who: o.by, Kind: kindPrinted, Unit: "story/" + c.Story, Digest: c.Digest, Detail: printing{p, &told}})
	}
	path, err := filepath.Abs(o.out)
	if err != nil {
		return nil, err
	}
	if err := onlyOverPDF(path); err != nil {
		return nil, err
	}
	if !o.draft {
		if err := s.desk.Gate(map[string][]byte{filepath.Base(path): sheets.PDF}); err != nil {
			return nil, notPrinted(err, o.out)
		}
	}
	if err := s.ws.Writer.WriteFile(path, sheets.PDF, 0o644); err != nil {
		return nil, err
	}
	if err := s.writePictures(o.png, sheets.PNG); err != nil {
		return nil, err
	}
	if !o.draft {
		if _, err := s.db.Append(ctx, entries...); err != nil {
			return nil, err
		}
	}
	s.app.say("%s: %d cards as of %s", o.out, len(report.Cards), s.today.Words())
	report.Print = sheets.HowToPrint
	s.app.say("%s", report.Print)
	s.sayWithheld(report.Withheld)
	s.sayUntranslated(report)
	for _, err := range sheets.RunsOn {
		report.RunsOn = append(report.RunsOn, lines(err)...)
	}
	if n := len(report.RunsOn); n > 0 {
		s.app.say("%s on to further sheets, for the guide, which come after their cards:", map[bool]string{true: "1 back runs", false: fmt.Sprintf("%d backs run", n)}[n == 1])
	}
	for _, why := range report.RunsOn {
		s.app.say("  %s", why)
	}
	for _, err := range sheets.Unfit {
		report.Unfit = append(report.Unfit, lines(err)...)
	}
	for _, why := range report.Unfit {
		s.app.say("%s", why)
	}
	if sheets.Instead != "" {
		s.app.say("%s", sheets.Instead)
	}
	return report, nil
}

// sayCards writes the cards as text. Nothing is printed, so nothing is recorded.
func (s *session) sayCards(tour string, faces []string, o cardsOptions) (*cardsReport, error) {
	theme, err := s.ws.Theme()
	if err != nil {
		return nil, err
	}
	opt := card.Options{Language: o.language, Faces: faces, AsOf: s.today, Theme: theme, Large: o.large}
	report := &cardsReport{File: o.out, AsOf: s.today.String(), Draft: o.draft, Language: o.language}
	if o.draft {
		t, err := s.desk.DraftTourIn(tour, o.language, day.Date{})
		if err != nil {
			return nil, err
		}
		if report.Said, err = card.DraftSay(s.desk.DraftSettings(), t, opt); err != nil {
			return nil, asUse(err)
		}
	} else {
		settings, err1 := s.desk.Settings()
		t, err2 := s.desk.TourIn(tour, o.language, day.Date{})
		if err := errors.Join(err1, err2); err != nil {
			return nil, err
		}
		if report.Said, err = card.Say(settings, t, opt); err != nil {
			return nil, asUse(err)
		}
		if err := s.desk.Gate(map[string][]byte{"cards.txt": []byte(report.Said)}); err != nil {
			return nil, err
		}
		report.Withheld, report.Untranslated = withheld(t), s.desk.Untranslated(tour, o.language)
		s.sayUntranslated(report)
	}
	if o.out != "" {
		path, err := filepath.Abs(o.out)
		if err != nil {
			return nil, err
		}
		if _, err := os.Stat(path); err == nil && filepath.Ext(path) != ".txt" {
			return nil, use(fmt.Errorf("%s is there already and is no .txt file; name another file with -o", path))
		}
		return report, s.ws.Writer.WriteFile(path, []byte(report.Said+"\n"), 0o644)
	}
	if !s.app.json {
		_, err = fmt.Fprintln(s.app.Out, report.Said)
	}
	return report, err
}

// perInch is how fine the pictures of pages are, in pixels an inch: a phone still
// reads the code off them.
const perInch = 150

// writePictures writes the picture of each page.
func (s *session) writePictures(folder string, pictures [][]byte) error {
	for i, picture := range pictures {
		path, err := filepath.Abs(filepath.Join(folder, fmt.Sprintf("page-%03d.png", i+1)))
		if err != nil {
			return err
		}
		if err := s.ws.Writer.WriteFile(path, picture, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// sayWithheld tells the guide what is held back at which stop.
func (s *session) sayWithheld(why map[string]string) {
	for _, stop := range slices.Sorted(maps.Keys(why)) {
		s.app.say("stop %s: held back: %s", stop, why[stop])
	}
}

// sayUntranslated tells the guide what comes in the workshop's own language.
func (s *session) sayUntranslated(r *cardsReport) {
	for _, unit := range slices.Sorted(maps.Keys(r.Untranslated)) {
		s.app.say("%s comes in %s, not in %s: %s", unit, s.ws.Settings.Workshop.Language, r.Language, r.Untranslated[unit])
	}
}

// onlyOverPDF refuses to write over a file that is no PDF: a slip of -o must not
// cost a database or a log.
func onlyOverPDF(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return nil // not there; what else is wrong shows in writing
	}
	defer f.Close()
	head := make([]byte, 5)
	if n, _ := io.ReadFull(f, head); n > 0 && string(head[:n]) != "%PDF-" {
		return use(fmt.Errorf("%s holds something that is not a PDF; name another file with -o", path))
	}
	return nil
}

// withheld says of each stop what its visitors will not hear, and why.
func withheld(t cleared.Tour) map[string]string {
	why := map[string]string{}
	for _, stop := range t.Stops() {
		if w := stop.Withheld(); len(w) > 0 {
			why[stop.ID()] = strings.Join(w, "; ")
		}
	}
	return why
}
