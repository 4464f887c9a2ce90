package cli

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/card"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/tour"
	"example.org/opencowl/internal/workspace"
)

type planOptions struct {
	slot, returning, start, on, paper, out, sheets string
	draft                                          bool
}

// planReport is the machine output of plan. Times are whole seconds.
type planReport struct {
	Files     []sheetFile `json:"files"`
	Tour      string      `json:"tour"`
	Draft     bool        `json:"draft"`
	AsOf      string      `json:"as_of"`
	Returning string      `json:"returning,omitempty"`
	Start     string      `json:"start,omitempty"`
	Slot      int         `json:"slot_s"`
	Takes     int         `json:"takes_s"`
	Questions int         `json:"questions_s"` // left of the slot
	Over      int         `json:"over_s"`      // by which the musts overrun
	SlotFor   int         `json:"slot_for_s"`  // the shortest slot for these stops
	Worth     int         `json:"worth"`       // of the stops beside the musts

	Stops    []plannedStop     `json:"stops"`
	LeftOut  []leftOutStop     `json:"left_out"`
	Late     []lateStop        `json:"late"`
	Fetch    []fetchedProp     `json:"fetch"`
	Withheld map[string]string `json:"withheld,omitempty"` // stop → why
	Season   *edition.Progress `json:"season,omitempty"`
}

type plannedStop struct {
	Number int      `json:"number"`
	Stop   string   `json:"stop"`
	At     string   `json:"at"`
	Wants  string   `json:"wants"`
	Starts int      `json:"starts_s"` // after the tour's start
	Clock  string   `json:"clock,omitempty"`
	Metres float64  `json:"walk_m"`
	Walk   int      `json:"walk_s"`
	Stays  int      `json:"stop_s"`
	Talk   int      `json:"talk_s"`
	Props  int      `json:"props_s"`
	New    []string `json:"new,omitempty"` // stories with something new
}

type leftOutStop struct {
	Number int    `json:"number"`
	Stop   string `json:"stop"`
	At     string `json:"at"`
	Wants  string `json:"wants"`
	Why    string `json:"why"`
	Costs  int    `json:"costs_s,omitempty"`
}

type lateStop struct {
	Number int    `json:"number"`
	Stop   string `json:"stop"`
	Saves  int    `json:"saves_s"`
}

type fetchedProp struct {
	What      string   `json:"what"`
	HandRound []string `json:"hand_round"` // each way, once
	Cautions  []string `json:"cautions,omitempty"`
	Stops     []int    `json:"stops"`
}

// sheetFile is one file that plan wrote.
type sheetFile struct {
	Sheet string `json:"sheet"` // run, props or cautions
	File  string `json:"file"`
}

// tourSheet is a sheet that plan prints: as --sheets names it, as its file is named,
// and what it is.
type tourSheet struct {
	key, file string
	paper     card.TourPaper
}

func tourSheets() []tourSheet {
	return []tourSheet{{"run", "run-sheet", card.RunSheet}, {"props", "prop-list", card.PropList}, {"cautions", "caution-strips", card.CautionStrips}}
}

// sheetsOf reads --sheets: all, or a list of sheets.
func sheetsOf(s string) ([]tourSheet, error) {
	if strings.EqualFold(strings.TrimSpace(s), "all") {
		return tourSheets(), nil
	}
	var chosen []tourSheet
	for key := range strings.SplitSeq(strings.ToLower(s), ",") {
		key = strings.TrimSpace(key)
		i := slices.IndexFunc(tourSheets(), func(t tourSheet) bool { return t.key == key })
		switch {
		case i < 0:
			return nil, use(fmt.Errorf("--sheets: %q is none of run, props, cautions, all", key))
		case slices.ContainsFunc(chosen, func(t tourSheet) bool { return t.key == key }):
			return nil, use(fmt.Errorf("--sheets: %s stands twice; name it once", key))
		}
		chosen = append(chosen, tourSheets()[i])
	}
	return chosen, nil
}

func (a *app) planCommand() *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan TOUR [--slot 45m] [--start 14:00] [-o FILE.pdf]",
		Short: "Choose the stops that fit the slot, and print the guide's sheets for them",
		Long: `Choose the stops of a tour: every must, then whichever of the others are worth most in
the time, walks included; a tenth of the slot stays for questions. A should is worth 3, a
could 1, and 2 more when something is new there since --returning, the day on which
visitors last came. No other choice is worth more. A stop keeps its number, whatever is
left out.

--sheets says what is printed for those stops, each in a file of its own:
  run       the run sheet: times, the way round on a floor plan, props to fetch, cautions,
            and what to leave out when running late; on a4 or letter
  props     the prop list: each thing once, with its stops, how to hand it round, its
            cautions, a box to tick when it is fetched and one when it is back
  cautions  strips to cut and stand at the stops, for visitors: each caution in letters
            that are read at 2 m, with what to do
The first two are for the guide, not for visitors. Print the strips at 100 %.

Stops with nothing cleared to tell are left out. Where that is so, or where the musts
alone overrun, the sheets are written all the same, and the exit code is 1. --draft plans
with every story as it stands, stamped DRAFT on every page. Planning records nothing.`,
		Example: `  opencowl plan winter-hangar --start 14:00
  opencowl plan winter-hangar --start 14:00 --sheets all
  opencowl plan winter-hangar --sheets props --paper a5 -o props.pdf
  opencowl plan winter-hangar --slot 30m --returning 2031-01-12 --on 2031-02-15 -o run.pdf`,
		Args: args(1, 1, "the id of one tour"),
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.planTour(cmd.Context(), args[0], o)
			if err != nil {
				return err
			}
			if err := a.print(r); err != nil {
				return err
			}
			if n := len(r.Withheld); n > 0 || r.Over > 0 {
				return &found{max(n, 1)}
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&o.slot, "slot", "", "how long the tour may take: 45m, 1h30m (default: the tour's own)")
	cmd.Flags().StringVar(&o.returning, "returning", "", "the day on which returning visitors last came, YYYY-MM-DD")
	cmd.Flags().StringVar(&o.start, "start", "", "when the tour starts, HH:MM: the sheet then has clock times")
	cmd.Flags().StringVar(&o.on, "on", "", "the day of the tour, YYYY-MM-DD")
	cmd.Flags().StringVar(&o.sheets, "sheets", "run", "run, props, cautions, some of them with commas between, or all")
	cmd.Flags().StringVar(&o.paper, "paper", "a4", "a4 or letter; a5 for props and cautions")
	cmd.Flags().StringVarP(&o.out, "out", "o", "", "the PDF file, or the folder for several sheets (default: out in the workspace)")
	cmd.Flags().BoolVar(&o.draft, "draft", false, "a preview with every story as it stands, stamped DRAFT")
	return cmd
}

// planFor is what the flags of plan say.
type planFor struct {
	slot      time.Duration // zero: the tour's own
	start     time.Duration // after midnight; negative: not known
	returning day.Date
	on        day.Date
	paper     string
	sheets    []tourSheet
	draft     bool
}

func (a *app) readPlanOptions(o planOptions) (f planFor, err error) {
	if f.on, err = a.givenToday(); err != nil {
		return f, err
	}
	if o.on != "" {
		if f.on, err = day.Parse(o.on); err != nil {
			return f, use(fmt.Errorf("--on: %w", err))
		}
	}
	if f.returning, err = returningDay(o.returning); err != nil {
		return f, err
	}
	if o.slot != "" {
		f.slot, err = time.ParseDuration(o.slot)
		if err != nil || f.slot < time.Minute || f.slot > 8*time.Hour || f.slot%time.Minute != 0 {
			return f, use(fmt.Errorf("--slot: %q is not a slot of whole minutes between 1m and 8h; write it as 45m or 1h30m", o.slot))
		}
	}
	f.start = -1
	if o.start != "" {
		at, err := time.Parse("15:04", o.start)
		if err != nil {
			return f, use(fmt.Errorf("--start: %q is not a time of day; write it as 14:00", o.start))
		}
		f.start = time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute
	}
	if f.sheets, err = sheetsOf(o.sheets); err != nil {
		return f, err
	}
	f.draft = o.draft
	f.paper = strings.ToLower(o.paper)
	run := slices.ContainsFunc(f.sheets, func(t tourSheet) bool { return t.paper == card.RunSheet })
	switch {
	case !slices.Contains([]string{"a5", "a4", "letter"}, f.paper):
		return f, use(fmt.Errorf("--paper: %q is none of a5, a4, letter", o.paper))
	case f.paper == "a5" && run:
		return f, use(errors.New("--paper: the run sheet is for a4 or letter; for the others alone on a5 add --sheets props,cautions"))
	}
	return f, nil
}

// fileOf is where a sheet goes: in the file that was named for it, or by its own
// name in the folder that was named for several.
func (f planFor) fileOf(t tourSheet, ws *workspace.Workspace, tour, out string) string {
	name := t.file + "-" + tour + ".pdf"
	switch {
	case out == "":
		return ws.Path("out/" + name)
	case len(f.sheets) == 1:
		return out
	}
	return filepath.Join(out, name)
}

// returningDay reads --returning; nothing is a zero day.
func returningDay(s string) (day.Date, error) {
	if s == "" {
		return day.Date{}, nil
	}
	d, err := day.Parse(s)
	if err != nil {
		return d, use(fmt.Errorf("--returning: %w", err))
	}
	return d, nil
}

// came makes sure that visitors came before the day of the tour.
func (s *session) came(returning day.Date) error {
	if !returning.IsZero() && !returning.Before(s.today) {
		return use(fmt.Errorf("--returning: %s is not before the tour, which is on %s", returning, s.today))
	}
	return nil
}

func (a *app) planTour(ctx context.Context, id string, o planOptions) (*planReport, error) {
	f, err := a.readPlanOptions(o)
	if err != nil {
		return nil, err
	}
	s, err := a.openOn(ctx, a.workspace, "plan", f.on, a.now)
	if err != nil {
		return nil, err
	}
	defer s.close()
	if !slices.Contains(s.desk.Tours(), id) {
		return nil, use(fmt.Errorf("there is no tour %q; the tours are %s", id, list(s.desk.Tours())))
	}
	if err := s.came(f.returning); err != nil {
		return nil, err
	}
	if len(f.sheets) > 1 && strings.EqualFold(filepath.Ext(o.out), ".pdf") {
		return nil, use(fmt.Errorf("-o: several sheets go into a folder, each under its own name, and %s is named as a file", o.out))
	}
	p, print, err := s.planned(id, f)
	if err != nil {
		return nil, err
	}
	files, err := s.writeSheets(ctx, id, f, o.out, print)
	if err != nil {
		return nil, err
	}
	s.sayPlan(p, f)
	season := s.season()
	for _, line := range seasonLines(season) {
		s.app.say("%s", line)
	}
	for _, file := range files {
		s.app.say("%s: the %s, as of %s", file.File, paperOf(file.Sheet), s.today.Words())
	}
	if slices.ContainsFunc(files, func(f sheetFile) bool { return paperOf(f.Sheet) == card.CautionStrips }) {
		s.app.say("print the caution strips at 100 %%, on one side, and cut where there are marks; the site's rules and the person in charge come first")
	}
	r := s.planReport(p, f, files)
	r.Season = season
	return r, nil
}

// plannedTour is a tour, cleared or as a draft, and what fits its slot.
type plannedTour struct {
	tour.Plan
	id       string
	withheld map[string]string // stop → why
}

// sheetPrinter prints a sheet for a walk that was planned.
type sheetPrinter func(context.Context, card.TourPaper, card.PaperOptions) ([]byte, error)

// planned chooses the stops, and says how a sheet for them is printed.
func (s *session) planned(id string, f planFor) (p plannedTour, print sheetPrinter, err error) {
	if f.draft {
		settings := s.desk.DraftSettings()
		t, err := s.desk.DraftTourSince(id, f.returning)
		if err != nil {
			return p, nil, err
		}
		p = plannedTour{Plan: tour.ChooseDraft(t, f.slot), id: id}
		return p, func(ctx context.Context, what card.TourPaper, o card.PaperOptions) ([]byte, error) {
			return card.PrintDraftPaper(ctx, what, settings, t, p.Plan, o)
		}, nil
	}
	settings, err1 := s.desk.Settings()
	t, err2 := s.desk.TourSince(id, f.returning)
	if err := errors.Join(err1, err2); err != nil {
		return p, nil, err
	}
	p = plannedTour{Plan: tour.Choose(t, f.slot), id: id, withheld: withheld(t)}
	return p, func(ctx context.Context, what card.TourPaper, o card.PaperOptions) ([]byte, error) {
		return card.PrintPaper(ctx, what, settings, t, p.Plan, o)
	}, nil
}

// paperOf is what a sheet is called.
func paperOf(key string) card.TourPaper {
	for _, t := range tourSheets() {
		if t.key == key {
			return t.paper
		}
	}
	return ""
}

// writeSheets makes all sheets, and then writes them. What visitors read passes the
// last gate; the others are inside papers, which it does not look at.
func (s *session) writeSheets(ctx context.Context, id string, f planFor, out string, print sheetPrinter) ([]sheetFile, error) {
	theme, err := s.ws.Theme()
	if err != nil {
		return nil, err
	}
	head, err := s.db.Head(ctx)
	if err != nil {
		return nil, err
	}
	var files []sheetFile
	var made [][]byte
	for _, t := range f.sheets {
		file := f.fileOf(t, s.ws, id, out)
		path, err := filepath.Abs(file)
		if err != nil {
			return nil, err
		}
		data, err := print(ctx, t.paper, card.PaperOptions{Paper: f.paper, AsOf: s.today, Returning: f.returning, Start: f.start, LedgerHead: head, Season: s.season(), Theme: theme})
		if errors.Is(err, card.ErrNothingToPrint) {
			s.app.say("%v", notPrinted(err, file))
			continue
		}
		if err == nil {
			err = onlyOverPDF(path)
		}
		if err == nil && t.paper.ForVisitors() && !f.draft {
			err = s.desk.Gate(map[string][]byte{filepath.Base(path): data})
		}
		if err != nil {
			return nil, notPrinted(err, file)
		}
		files, made = append(files, sheetFile{t.key, file}), append(made, data)
	}
	for i, file := range files {
		path, err := filepath.Abs(file.File)
		if err != nil {
			return nil, err
		}
		if err := s.ws.Writer.WriteFile(path, made[i], 0o644); err != nil {
			return nil, err
		}
	}
	return files, nil
}

// when is a time on the tour: of day, or minutes after the start.
func (f planFor) when(after time.Duration) string {
	if f.start < 0 {
		return fmt.Sprintf("%d min", int(after/time.Minute))
	}
	return f.clock(after)
}

func (f planFor) clock(after time.Duration) string {
	if f.start < 0 {
		return ""
	}
	at := f.start + after
	return fmt.Sprintf("%02d:%02d", int(at/time.Hour)%24, int(at/time.Minute)%60)
}

// sayPlan tells the plan to the guide.
func (s *session) sayPlan(p plannedTour, f planFor) {
	say := s.app.say
	words := tour.DurationWords
	if f.draft {
		say("DRAFT: with every story as it stands, cleared or not")
	}
	say("%s, %s: a slot of %s, %d people", p.Title, s.today.Words(), words(p.Slot), p.Group)
	for _, v := range p.Visits {
		fresh := ""
		if len(newStories(v.Stop)) > 0 {
			fresh = "; new since " + f.returning.Words()
		}
		say("  %6s  %2d  %s: %s, after a walk of %s%s", f.when(v.Starts), v.Stop.Number(), v.Stop.At(), words(v.Timing.Stop), words(v.Timing.Walk), fresh)
	}
	if p.Over == 0 {
		say("  %6s      questions: %s are left of the slot", f.when(p.Takes), words(p.Slot-p.Takes))
	} else {
		sayOverrun(say, p.Plan, p.id)
	}
	why := p.withheld
	for _, l := range p.LeftOut {
		must := ""
		if l.Stop.Wants() == "must" {
			must = ", a must"
		}
		say("  left out: %d  %s%s: %s", l.Stop.Number(), l.Stop.At(), must, leftOutWords(l, why))
	}
	for _, v := range p.Visits {
		if held := why[v.Stop.ID()]; held != "" {
			say("  held back at stop %d: %s", v.Stop.Number(), held)
		}
	}
	if len(p.Late) > 0 && p.Over == 0 {
		var all []string
		for _, c := range p.Late {
			all = append(all, fmt.Sprintf("%d (saves %s)", c.Stop.Number(), words(c.Saves)))
		}
		say("  running late, leave out in this order: %s", list(all))
	}
	for _, got := range p.Props() {
		say("  fetch: %s (%s), %s", got.What, list(handRounds(got)), stopsWords(got.Stops()))
	}
}

// handRounds lists the ways in which a prop is handed round, each once.
func handRounds(f tour.Fetch) []string {
	var all []string
	for _, s := range f.Shown {
		if way := string(s.Prop.HandRound); !slices.Contains(all, way) {
			all = append(all, way)
		}
	}
	return all
}

func stopsWords(numbers []int) string {
	if len(numbers) == 1 {
		return fmt.Sprintf("stop %d", numbers[0])
	}
	var all []string
	for _, n := range numbers {
		all = append(all, fmt.Sprint(n))
	}
	return "stops " + list(all)
}

// sayOverrun says by how much the musts overrun, and what can be done.
func sayOverrun(say func(string, ...any), p tour.Plan, id string) {
	words := tour.DurationWords
	say("the must stops alone take %s with their walks; a slot of %s leaves %s, with a tenth for questions: %s too long",
		words(p.Takes), words(p.Slot), words(p.Slot-p.Questions), words(p.Over))
	say("either ask for a slot of %s (--slot %dm), or make one of these a should in tours/%s.yaml:", words(p.SlotFor()), int(p.SlotFor()/time.Minute), id)
	for _, c := range p.Late {
		enough := ""
		if c.Saves >= p.Over {
			enough = ", which is enough"
		}
		say("  %d  %s: without it the tour is %s shorter%s", c.Stop.Number(), c.Stop.ID(), words(c.Saves), enough)
	}
}

func leftOutWords(l tour.LeftOut, withheld map[string]string) string {
	switch {
	case l.Reason == tour.NothingToTell && withheld[l.Stop.ID()] != "":
		return "nothing is cleared to tell: " + withheld[l.Stop.ID()]
	case l.Reason == tour.NothingToTell:
		return "the tour names no story for it"
	case l.Costs > 0:
		return "no time; it would take " + tour.DurationWords(l.Costs) + " more"
	}
	return "no time"
}

// newStories lists the stories of a stop with something new.
func newStories(s cleared.Stop) []string {
	var all []string
	for _, story := range s.Stories() {
		if story.Changes().Any() {
			all = append(all, story.ID())
		}
	}
	return all
}

func (s *session) planReport(p plannedTour, f planFor, files []sheetFile) *planReport {
	seconds := func(d time.Duration) int { return int(d / time.Second) }
	r := &planReport{Files: append([]sheetFile{}, files...), Tour: p.id, Draft: f.draft, AsOf: s.today.String(), Start: f.clock(0),
		Slot: seconds(p.Slot), Takes: seconds(p.Takes), Questions: max(0, seconds(p.Slot-p.Takes)), Over: seconds(p.Over), SlotFor: seconds(p.SlotFor()),
		Worth: p.Worth, Stops: []plannedStop{}, LeftOut: []leftOutStop{}, Late: []lateStop{}, Fetch: []fetchedProp{}, Withheld: p.withheld}
	if !f.returning.IsZero() {
		r.Returning = f.returning.String()
	}
	for _, v := range p.Visits {
		r.Stops = append(r.Stops, plannedStop{Number: v.Stop.Number(), Stop: v.Stop.ID(), At: v.Stop.At(), Wants: v.Stop.Wants(),
			Starts: seconds(v.Starts), Clock: f.clock(v.Starts), Metres: v.Metres, Walk: seconds(v.Timing.Walk), Stays: seconds(v.Timing.Stop),
			Talk: seconds(v.Timing.Talk), Props: seconds(v.Timing.Props), New: newStories(v.Stop)})
	}
	for _, l := range p.LeftOut {
		r.LeftOut = append(r.LeftOut, leftOutStop{l.Stop.Number(), l.Stop.ID(), l.Stop.At(), l.Stop.Wants(), leftOutWords(l, r.Withheld), seconds(l.Costs)})
	}
	for _, c := range p.Late {
		r.Late = append(r.Late, lateStop{c.Stop.Number(), c.Stop.ID(), seconds(c.Saves)})
	}
	for _, got := range p.Props() {
		prop := fetchedProp{What: got.What, HandRound: handRounds(got), Stops: got.Stops()}
		for _, c := range got.Cautions() {
			prop.Cautions = append(prop.Cautions, c.Key)
		}
		r.Fetch = append(r.Fetch, prop)
	}
	return r
}
