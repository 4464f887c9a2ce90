package edition_test

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
)

// world is an invented workshop that lives through some years of weeks: parts move,
// stories are cleared and taken back, an officer chooses, skips, leaves weeks out and
// thaws. It keeps its own books, and holds each edition to them.
type world struct {
	t       *testing.T
	seed    uint64
	r       *rand.Rand
	stories []storyOf
	parts   []cleared.PartMovement
	letIn   []bool // story is cleared today

	told        []edition.Record         // as they are read back
	frozen      [][]cleared.PartMovement // movement at each freeze
	corrections []string                 // cleared by now, oldest first
	seen        map[string]int           // what came about, so that the test looks at something
}

// start lies before a year of 53 weeks, 2032 (OEIS A249404).
var start = day.MustParseWeek("2031-W30")

func newWorld(t *testing.T, seed uint64, seen map[string]int) *world {
	w := &world{t: t, seed: seed, r: rand.New(rand.NewPCG(seed, 11)), seen: seen}
	for i := range 16 {
		o := storyOf{id: fmt.Sprintf("s%02d", i), evergreen: w.r.IntN(3) == 0, photo: w.r.IntN(2) == 0, visitorsOnly: w.r.IntN(6) == 0,
			clearedOn: start.Monday().AddDays(w.r.IntN(5)).String(), publicFrom: start.Monday().AddDays(w.r.IntN(500)).String()}
		if w.r.IntN(3) == 0 {
			o.notBefore = start.Monday().AddDays(w.r.IntN(300)).String()
		}
		w.stories = append(w.stories, o)
		w.letIn = append(w.letIn, true)
	}
	for i := range 10 {
		p := part(fmt.Sprintf("p%d", i), cleared.Off, w.stories[i].id)
		if other := w.stories[w.r.IntN(len(w.stories))].id; other != w.stories[i].id {
			p.Stories = append(p.Stories, other)
		}
		w.parts = append(w.parts, p)
	}
	return w
}

func (w *world) fail(week day.Week, format string, values ...any) {
	w.t.Helper()
	w.t.Fatalf("seed %d, %s: %s", w.seed, week, fmt.Sprintf(format, values...))
}

// lastTold is the last edition that told a story.
func (w *world) lastTold(id string) (day.Week, bool) {
	for _, r := range slices.Backward(w.told) {
		for _, s := range r.Stories {
			if s.ID == id {
				return r.Week, true
			}
		}
	}
	return day.Week{}, false
}

func (w *world) before() []cleared.PartMovement {
	if len(w.frozen) == 0 {
		return nil
	}
	return w.frozen[len(w.frozen)-1]
}

// live has a week go by: parts move, stories are cleared and taken back, and
// somebody finds a mistake.
func (w *world) live(week day.Week) {
	if w.r.IntN(3) > 0 { // else a quiet week
		for range w.r.IntN(6) {
			p := &w.parts[w.r.IntN(len(w.parts))]
			p.Phase = []cleared.Phase{cleared.Off, cleared.Inspected, cleared.Waiting, cleared.Ready, cleared.Fitted}[w.r.IntN(5)]
			p.Step = fmt.Sprint(p.Phase, w.r.IntN(2))
			p.Pile = []string{"", "rework"}[w.r.IntN(2)]
		}
	}
	for i := range w.letIn {
		if w.r.IntN(8) == 0 {
			w.letIn[i] = !w.letIn[i]
		}
	}
	if w.r.IntN(6) == 0 {
		w.corrections = append(w.corrections, fmt.Sprintf("s%02d-%d", w.r.IntN(len(w.stories)), len(w.corrections)))
	}
}

// material is what clearance would hand over.
func (w *world) material(on day.Date) edition.Material {
	m := material(w.before(), slices.Clone(w.parts))
	m.On, m.Told, m.Held = on, w.told, map[string]edition.Held{}
	for i, o := range w.stories {
		if last, told := w.lastTold(o.id); told {
			o.toldIn = last.String()
		}
		if w.letIn[i] {
			m.Stories = append(m.Stories, story(o))
		} else {
			m.Held[o.id] = edition.Held{Title: o.id, Why: "it waits", Remedy: "decide", Wanted: !o.visitorsOnly && o.toldIn == ""}
		}
	}
	for _, id := range w.corrections {
		toldIn := ""
		for _, r := range w.told {
			if slices.Contains(r.Corrections, id) {
				toldIn = r.Week.String()
			}
		}
		m.Corrections = append(m.Corrections, correction(id, toldIn))
	}
	return m
}

// mayBeTold says by the world's own books why a story may not be in an edition.
func (w *world) whyNot(i int, week day.Week, on day.Date) string {
	o := w.stories[i]
	last, told := w.lastTold(o.id)
	switch {
	case !w.letIn[i]:
		return "not cleared"
	case o.visitorsOnly:
		return "not for members"
	case o.notBefore != "" && on.String() < o.notBefore:
		return "before its day"
	case told && !o.evergreen:
		return "told"
	case told && last.Monday().DaysUntil(week.Monday()) < 52*7:
		return "told within 52 weeks"
	}
	return ""
}

// moved reports by the world's own books whether a part of a story moved, and
// whether it was newly fitted or is new.
func (w *world) moved(id string) (any, fitted, isNew bool) {
	for i, p := range w.parts {
		if !slices.Contains(p.Stories, id) {
			continue
		}
		if w.before() == nil {
			any, isNew, fitted = true, true, fitted || p.Phase == cleared.Fitted
			continue
		}
		b := w.before()[i]
		any = any || b.Step != p.Step || b.Pile != p.Pile
		fitted = fitted || p.Phase == cleared.Fitted && b.Phase != cleared.Fitted
	}
	return any, fitted, isNew
}

// choose makes an officer's choice, a wild one at times.
func (w *world) choose(week day.Week) cleared.EditionWordsFields {
	f := cleared.EditionWordsFields{Week: week, Subject: "A week", Opening: "Hello."}
	pick := func() string { return w.stories[w.r.IntN(len(w.stories))].id }
	for range w.r.IntN(4) {
		f.Skip = append(f.Skip, pick())
	}
	if w.r.IntN(3) == 0 {
		f.Lead = pick()
	}
	if w.r.IntN(4) == 0 {
		for range 1 + w.r.IntN(3) {
			f.Stories = append(f.Stories, pick())
		}
	}
	f.Skip = slices.DeleteFunc(f.Skip, func(id string) bool { return id == f.Lead || slices.Contains(f.Stories, id) }) // check refuses that
	return f
}

// expect is what should be in the edition, by the world's own books; false where it
// is to be refused.
func (w *world) expect(f cleared.EditionWordsFields, on day.Date) ([]string, bool) {
	want, good := []string{}, true
	add := func(id string) {
		if id == "" || slices.Contains(want, id) {
			return
		}
		i := slices.IndexFunc(w.stories, func(o storyOf) bool { return o.id == id })
		if why := w.whyNot(i, f.Week, on); why != "" {
			good = false
			w.seen["refused: "+why]++
			return
		}
		if _, again := w.lastTold(id); again {
			w.seen["told again"]++
		}
		want = append(want, id)
	}
	add(f.Lead)
	for _, id := range f.Stories {
		add(id)
	}
	if len(f.Stories) > 0 || !good {
		return want, good
	}
	type weight struct{ id, key string }
	var found []weight
	for i, o := range w.stories {
		any, fitted, isNew := w.moved(o.id)
		_, told := w.lastTold(o.id)
		if why := w.whyNot(i, f.Week, on); why != "" || told || !any || slices.Contains(want, o.id) {
			continue
		}
		if slices.Contains(f.Skip, o.id) {
			w.seen["skipped"]++
			continue
		}
		no := func(b bool) string { return map[bool]string{true: "0", false: "1"}[b] }
		found = append(found, weight{o.id, no(fitted) + no(isNew) + no(o.photo) + o.clearedOn + o.id})
	}
	slices.SortFunc(found, func(a, b weight) int { return map[bool]int{true: -1, false: 1}[a.key < b.key] })
	for _, f := range found {
		if len(want) < 4 {
			want = append(want, f.id)
		} else {
			w.seen["full"]++
		}
	}
	return want, good
}

// untold are the corrections that no kept edition has told.
func (w *world) untold() []string {
	var ids []string
	for _, id := range w.corrections {
		if !slices.ContainsFunc(w.told, func(r edition.Record) bool { return slices.Contains(r.Corrections, id) }) {
			ids = append(ids, id)
		}
	}
	return ids
}

// freeze assembles an edition, holds it to the books, and keeps it.
func (w *world) freeze(week day.Week, on day.Date) {
	f := w.choose(week)
	m := w.material(on)
	e, err := edition.Assemble(cleared.NewEditionWords(f), m)
	want, good := w.expect(f, on)
	if good != (err == nil) {
		w.fail(week, "%+v: error %v; by the books it is to be refused: %t", f, err, !good)
	}
	for _, s := range e.Stories { // whether refused or not
		i := slices.IndexFunc(w.stories, func(o storyOf) bool { return o.id == s.ID() })
		if why := w.whyNot(i, week, on); why != "" {
			w.fail(week, "%s is in it: %s", s.ID(), why)
		}
		if slices.Contains(f.Skip, s.ID()) {
			w.fail(week, "%s is in it and was skipped", s.ID())
		}
	}
	if got := e.CorrectionIDs(); !slices.Equal(got, w.untold()) {
		w.fail(week, "corrections %q, want %q", got, w.untold())
	}
	w.holdYearAgo(e, week, on)
	w.holdOverview(e, m, f)
	if err != nil {
		var refusal *edition.Refusal
		if !errors.As(err, &refusal) {
			w.fail(week, "%v is no refusal", err)
		}
		return
	}
	if got := e.StoryIDs(); !slices.Equal(got, want) {
		w.fail(week, "%+v: stories %q, want %q", f, got, want)
	}
	if errors.Is(e.Freezable(), edition.ErrNothing) {
		w.seen["nothing to tell"]++
		return
	}
	text, err := json.Marshal(e.Record())
	if err != nil {
		w.t.Fatal(err)
	}
	var r edition.Record
	if err := json.Unmarshal(text, &r); err != nil {
		w.t.Fatal(err)
	}
	if week.Week == 53 {
		w.seen["week 53"]++
	}
	if len(r.Corrections) > 0 {
		w.seen["corrected"]++
	}
	if len(r.Stories) == 0 {
		w.seen["quiet"]++
	}
	w.told, w.frozen = append(w.told, r), append(w.frozen, slices.Clone(w.parts))
}

func (w *world) holdYearAgo(e edition.Edition, week day.Week, on day.Date) {
	if e.YearAgo == nil {
		return
	}
	w.seen["a year ago"]++
	i := slices.IndexFunc(w.stories, func(o storyOf) bool { return o.id == e.YearAgo.ID })
	then := slices.IndexFunc(w.told, func(r edition.Record) bool {
		return r.Week == week.YearBefore() && slices.ContainsFunc(r.Stories, func(s edition.ToldStory) bool { return s.ID == e.YearAgo.ID })
	})
	if len(e.Stories) > 0 || then < 0 || !w.letIn[i] || w.stories[i].publicFrom > on.String() {
		w.fail(week, "a year ago: %+v, cleared %t, public from %s, told then %t, beside %q", e.YearAgo, w.letIn[i], w.stories[i].publicFrom, then >= 0, e.StoryIDs())
	}
}

// holdOverview: each story for members that was never told is in the edition or in
// the list of what is held back, with a reason; and the store is counted.
func (w *world) holdOverview(e edition.Edition, m edition.Material, f cleared.EditionWordsFields) {
	o := e.Overview(m)
	var got, want []string
	for _, h := range o.HeldBack {
		if got = append(got, h.ID); h.Why == "" {
			w.fail(f.Week, "%s is held back and nobody says why", h.ID)
		}
	}
	left, later := 0, 0
	for i, s := range w.stories {
		if _, told := w.lastTold(s.id); told || s.visitorsOnly || slices.Contains(e.StoryIDs(), s.id) {
			continue
		}
		want = append(want, s.id)
		switch {
		case !w.letIn[i]:
		case s.notBefore > m.On.String():
			later++
		default:
			left++
		}
	}
	if !slices.Equal(got, want) {
		w.fail(f.Week, "held back %q, want %q", got, want)
	}
	used, weeks := 0, 0
	for i, r := range w.told {
		back := r.Week.Monday().DaysUntil(f.Week.Monday()) / 7
		if back > 12 {
			weeks = 12
			continue
		}
		weeks = max(weeks, back)
		for _, s := range r.Stories {
			if !slices.ContainsFunc(w.told[:i], func(r edition.Record) bool {
				return slices.ContainsFunc(r.Stories, func(t edition.ToldStory) bool { return t.ID == s.ID })
			}) {
				used++
			}
		}
	}
	if o.Stock.Left != left || o.Stock.Later != later || o.Stock.Used != used || o.Stock.Weeks != weeks || o.Stock.Known != (used > 0) {
		w.fail(f.Week, "the store: %+v; want %d left, %d later, %d used in %d weeks", o.Stock, left, later, used, weeks)
	}
	for _, c := range o.Contents {
		if c.Why == "" {
			w.fail(f.Week, "nobody says why %s is in", c.ID)
		}
	}
}

var long = flag.Bool("long", false, "more generated worlds, for scripts/full")

// Over generated worlds: a story leads or fills an edition once, an evergreen one
// again after 52 weeks; nothing goes before its day, uncleared, or skipped; a late
// entry, a week left out, a thaw or a turn of the year lose nothing; corrections go
// once, in the next edition, whatever else there is.
func TestEditionsKeepTheRulesInEveryWorld(t *testing.T) {
	seeds := uint64(80)
	if *long {
		seeds = 3000
	}
	seen := map[string]int{}
	for seed := range seeds {
		w := newWorld(t, seed, seen)
		for week, last := start, day.MustParseWeek("2033-W20"); week.Before(last); week = week.Next() {
			w.live(week)
			if w.r.IntN(5) == 0 {
				seen["left out"]++
				continue
			}
			w.freeze(week, week.Monday().AddDays(w.r.IntN(7)))
			if n := len(w.told); n > 0 && w.told[n-1].Week == week && w.r.IntN(12) == 0 {
				w.told, w.frozen = w.told[:n-1], w.frozen[:n-1]
				seen["thawed"]++
				w.freeze(week, week.Sunday())
			}
		}
	}
	for _, what := range []string{"refused: not cleared", "refused: not for members", "refused: before its day", "refused: told", "refused: told within 52 weeks",
		"told again", "skipped", "full", "left out", "thawed", "week 53", "corrected", "quiet", "a year ago", "nothing to tell"} {
		if seen[what] == 0 {
			t.Errorf("%q never came about; the test does not look at it", what)
		}
	}
	t.Log(seen)
}
