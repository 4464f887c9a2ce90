package clearance_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/store"
)

// book is what the world's own books say of one story and its part.
type book struct {
	id                string
	members, visitors bool
	notBefore         day.Date
	words             int      // each change makes other words
	clearedAs         string   // what was cleared; empty: nothing, or it was taken back
	first             day.Date // when it was first cleared
	gone              bool     // refused or withdrawn last
	goneAs            string
	entries           [][3]string // of its part: date, file, step
	atFreeze          string      // step at the last freeze; empty: not counted
}

// world is a workshop on disk that lives through half a year: stories are written,
// cleared, changed, refused and withdrawn, entries are logged, some of them late,
// editions are frozen, thawed and sent, and corrections follow.
type world struct {
	*bench
	r         *rand.Rand
	seed      uint64
	stories   []*book
	editions  []sentEdition
	corrected []string // ids of the corrections that were cleared, in order
	count     int
	seen      map[string]int
}

type sentEdition struct {
	record   edition.Record
	sent     day.Date // zero: frozen only
	atFreeze []string
}

func newWorld(t *testing.T, seed uint64, seen map[string]int) *world {
	w := &world{bench: newBench(t), r: rand.New(rand.NewPCG(seed, 5)), seed: seed, seen: seen}
	for _, name := range []string{"parts", "log", "photos", "wording", "editions", "glossary"} {
		if err := os.RemoveAll(filepath.Join(w.dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	w.today = day.MustParse("2031-10-01")
	tour := "title: Round the boat\nwritten_by: tam\nslot: 45m\nstops:\n"
	for i := range 6 {
		s := &book{id: fmt.Sprintf("s%d", i), members: w.r.IntN(4) > 0, visitors: w.r.IntN(4) > 0}
		s.visitors = s.visitors || !s.members
		if w.r.IntN(2) == 0 {
			s.notBefore = w.today.AddDays(w.r.IntN(120))
		}
		w.stories = append(w.stories, s)
		w.write("parts/part-"+s.id+".md", "---\nname: a strip\narea: hull\n---\n")
		w.log(s, w.today.AddDays(-40), "made")
		w.wording(s)
		if s.visitors {
			tour += fmt.Sprintf("  - {id: stop-%s, at: By the hull, x: %d, y: 2, stories: [%s], wants: must, minutes: 5}\n", s.id, i, s.id)
		}
	}
	w.write("tours/winter-hangar.yaml", tour)
	w.decide("settings", "tour/winter-hangar")
	return w
}

func (w *world) fail(format string, values ...any) {
	w.t.Helper()
	w.t.Fatalf("seed %d, %s: %s", w.seed, w.today, fmt.Sprintf(format, values...))
}

func (w *world) log(s *book, on day.Date, step string) {
	w.count++
	file := fmt.Sprintf("%s-part-%s-%03d.md", on, s.id, w.count)
	w.write("log/2031/"+file, fmt.Sprintf("---\ndate: %s\nby: tam\npart: part-%s\nstep: %s\n---\n", on, s.id, step))
	s.entries = append(s.entries, [3]string{on.String(), file, step})
}

// latest is the latest of the entries of a step; of any, where none is named.
func (s *book) latest(step string) (last [3]string) {
	for _, e := range s.entries {
		if (step == "" || e[2] == step) && e[0]+e[1] > last[0]+last[1] {
			last = e
		}
	}
	return last
}

// public is all that a reader would see of a story: its words and its released fact.
func (s *book) public() string { return fmt.Sprint(s.words, s.latest("made")[0]) }

func (s *book) cleared() bool { return s.clearedAs == s.public() }

func (w *world) wording(s *book) {
	var to []string
	if s.members {
		to = append(to, "members")
	}
	if s.visitors {
		to = append(to, "visitors")
	}
	wait := ""
	if !s.notBefore.IsZero() {
		wait = "not_before: " + s.notBefore.String() + "\n"
	}
	w.write("wording/"+s.id+".md", fmt.Sprintf(`---
title: The strip
written_by: gus
parts: [part-%s]
area: hull
came_off: A strip, as somebody told us%s.
failed: It was bent.
replaced: We have had another since {fact:part-%s.date.made|day}.
for: [%s]
%s---
`, s.id, strings.Repeat(" and told us", s.words), s.id, strings.Join(to, ", "), wait))
}

// live has some days go by.
func (w *world) live() {
	w.today = w.today.AddDays(1 + w.r.IntN(6))
	for range w.r.IntN(5) {
		s := w.stories[w.r.IntN(len(w.stories))]
		d := w.desk()
		u := w.unit(d, "story/"+s.id)
		var err error
		switch w.r.IntN(12) {
		case 0:
			s.words++
			w.wording(s)
		case 1:
			err = d.Decide(context.Background(), []*clearance.Unit{u}, clearance.Decision{By: "ines", Refuse: true, Why: "not like that"})
			s.clearedAs, s.gone, s.goneAs = "", true, s.public()
		case 2:
			if err = d.Withdraw(context.Background(), u, "ines", "it was another strip"); s.first.IsZero() || u.Standing == clearance.Withdrawn && err != nil {
				err = nil // there is nothing to take back
				continue
			}
			s.clearedAs, s.gone, s.goneAs = "", true, ""
		case 3, 4: // logged today, for a day up to three weeks ago
			w.log(s, w.today.AddDays(-w.r.IntN(21)), []string{"removed", "inspected", "made", "painted", "fitted"}[w.r.IntN(5)])
		default:
			if err = d.Decide(context.Background(), []*clearance.Unit{u}, clearance.Decision{By: "ines"}); err == nil {
				s.clearedAs, s.gone = s.public(), false
				if s.first.IsZero() {
					s.first = w.today
				}
			}
		}
		if err != nil {
			w.fail("%s: %v", s.id, err)
		}
	}
	if s := w.stories[w.r.IntN(len(w.stories))]; w.r.IntN(4) == 0 && w.isTold(s.id) {
		d := w.desk()
		u, err := d.Correct(context.Background(), w.unit(d, "story/"+s.id), "It was a spare.", "gus")
		if err == nil && w.r.IntN(3) > 0 {
			err = d.Decide(context.Background(), []*clearance.Unit{u}, clearance.Decision{By: "ines"})
			w.corrected = append(w.corrected, strings.TrimPrefix(u.ID, "correction/"))
		}
		if err != nil {
			w.fail("%v", err)
		}
	}
}

func (w *world) isTold(id string) bool {
	return slices.ContainsFunc(w.editions, func(e sentEdition) bool { return tells(e.record, id) })
}

func tells(r edition.Record, id string) bool {
	return slices.ContainsFunc(r.Stories, func(s edition.ToldStory) bool { return s.ID == id })
}

// sentOn is the day on which members first had a story.
func (w *world) sentOn(id string) day.Date {
	for _, e := range w.editions {
		if tells(e.record, id) && !e.sent.IsZero() {
			return e.sent
		}
	}
	return day.Date{}
}

// publicFrom is the day from which anybody may read a story: members first.
func (w *world) publicFrom(s *book) day.Date {
	from := s.first
	if s.members {
		if from = w.sentOn(s.id); !from.IsZero() {
			from = from.AddDays(28)
		}
	}
	if from.IsZero() || from.String() > s.notBefore.String() {
		return from
	}
	return s.notBefore
}

func reached(from, today day.Date) bool { return !from.IsZero() && from.String() <= today.String() }

// step is where a part stands by the books, as far as readers may know: a part whose
// only story waits keeps the place it had at the last freeze.
func (w *world) step(s *book) string {
	if s.notBefore.String() > w.today.String() {
		return s.atFreeze
	}
	return s.latest("")[2]
}

// hold compares the desk with the books, today.
func (w *world) hold() edition.Material {
	d := w.desk()
	m := d.Material()
	if problems := d.Check(); len(problems) > 0 {
		for _, p := range problems {
			if !p.Advice {
				w.fail("%v", p.Error())
			}
		}
	}
	var free, open, public, comes, wanted []string
	for _, s := range w.stories {
		from := w.publicFrom(s)
		if !s.cleared() {
			w.seen["not cleared"]++
			if s.clearedAs != "" {
				w.seen["stale"]++
			}
			if s.members && !w.isTold(s.id) && !(s.gone && (s.goneAs == "" || s.goneAs == s.public())) {
				wanted = append(wanted, s.id)
			}
			continue
		}
		free = append(free, s.id)
		if s.visitors && s.notBefore.String() <= w.today.String() && (!s.members || reached(w.sentOn(s.id), w.today)) {
			open = append(open, s.id)
		}
		if reached(from, w.today) {
			public = append(public, s.id)
		}
		if s.members && s.visitors && !from.IsZero() {
			w.seen[map[bool]string{true: "members have read it first, then all", false: "members alone have read it"}[reached(from, w.today)]]++
		}
		if s.visitors && !from.IsZero() {
			comes = append(comes, s.id+" "+from.String())
		}
	}
	same := func(what string, got, want []string) {
		w.t.Helper()
		w.seen[what] += len(want)
		if !slices.Equal(got, want) {
			w.fail("%s: %q, want %q", what, got, want)
		}
	}
	same("cleared", storyIDs(m.Stories), free)
	same("in the archive", storyIDs(d.PublicStories()), public)
	tour, err := d.Tour("winter-hangar")
	if err != nil {
		w.fail("%v", err)
	}
	var cards, stops []string
	for _, stop := range tour.Stops() {
		cards = append(cards, storyIDs(stop.Stories())...)
	}
	same("on cards", cards, open)
	for _, stop := range d.ArchiveTours()[0].Stops() {
		for _, s := range stop.Stories() {
			stops = append(stops, s.ID()+" "+s.PublicFrom().String())
		}
	}
	same("at a stop, with the day to come back", stops, comes)
	var waits []string
	for id, h := range m.Held {
		if h.Wanted {
			waits = append(waits, id)
		}
	}
	slices.Sort(waits)
	same("held back", waits, wanted)
	moves := edition.Moves(m.Before, m.Movement.Parts())
	for _, s := range w.stories {
		// The first freeze compares with nothing, so that whatever counts has moved.
		if want := w.step(s) != s.atFreeze; moves[s.id].Any != want {
			w.fail("%s moved: %t, want %t: %q at the last freeze, %q now; entries %q", s.id, !want, want, s.atFreeze, w.step(s), s.entries)
		}
		if last := s.entries[len(s.entries)-1]; len(w.editions) > 0 && moves[s.id].Any && last[0] < w.editions[len(w.editions)-1].record.Week.Monday().String() {
			w.seen["moved by a late entry"]++
		}
	}
	return m
}

func storyIDs(all []cleared.Story) (ids []string) {
	for _, s := range all {
		ids = append(ids, s.ID())
	}
	return ids
}

// freeze makes an edition as the command does, and holds it to the books.
func (w *world) freeze(m edition.Material) {
	f := cleared.EditionWordsFields{Week: w.today.Week(), Subject: "A week", Opening: "Hello."}
	if w.r.IntN(3) == 0 {
		f.Lead = w.stories[w.r.IntN(len(w.stories))].id
	}
	e, err := edition.Assemble(cleared.NewEditionWords(f), m)
	for _, id := range e.StoryIDs() {
		s := w.stories[slices.IndexFunc(w.stories, func(s *book) bool { return s.id == id })]
		if !s.cleared() || !s.members || s.notBefore.String() > w.today.String() || w.isTold(id) {
			w.fail("%s is in the edition: cleared %t, for members %t, not before %s, told %t", id, s.cleared(), s.members, s.notBefore, w.isTold(id))
		}
	}
	var untold []string
	for _, id := range w.corrected {
		told := slices.ContainsFunc(w.editions, func(e sentEdition) bool { return slices.Contains(e.record.Corrections, id) })
		if story, _, _ := strings.Cut(id, "-"); !told && w.isTold(story) {
			untold = append(untold, id)
		}
	}
	if !slices.Equal(e.CorrectionIDs(), untold) {
		w.fail("corrections %q, want %q", e.CorrectionIDs(), untold)
	}
	if err != nil {
		w.seen["refused"]++
		return
	}
	r := e.Record()
	record, err1 := json.Marshal(r)
	movement, err2 := json.Marshal(m.Movement.Parts())
	if err1 != nil || err2 != nil {
		w.fail("%v, %v", err1, err2)
	}
	kept := sentEdition{record: r}
	at := w.today.Time(time.UTC)
	frozen := store.Edition{Week: r.Week.String(), Record: record, Movement: movement, FrozenAt: at}
	if err := w.db.Freeze(context.Background(), frozen, store.Entry{At: at, Who: "nell", Kind: "frozen"}); err != nil {
		w.fail("%v", err)
	}
	for _, s := range w.stories {
		s.atFreeze = w.step(s)
		kept.atFreeze = append(kept.atFreeze, s.atFreeze)
	}
	w.seen["stories told"] += len(r.Stories)
	w.seen["corrections told"] += len(r.Corrections)
	switch w.r.IntN(6) {
	case 0: // it stays frozen
	case 1: // thawed: as if it had not been
		if err := w.db.Thaw(context.Background(), r.Week.String(), store.Entry{At: at, Who: "nell", Kind: "thawed"}); err != nil {
			w.fail("%v", err)
		}
		for i, s := range w.stories {
			s.atFreeze = ""
			if n := len(w.editions); n > 0 {
				s.atFreeze = w.editions[n-1].atFreeze[i]
			}
		}
		w.seen["thawed"]++
		return
	default:
		kept.sent = w.today.AddDays(w.r.IntN(3))
		for _, state := range []string{store.Sending, store.Sent} {
			if err := w.db.SetEditionState(context.Background(), r.Week.String(), state, kept.sent.Time(time.UTC)); err != nil {
				w.fail("%v", err)
			}
		}
	}
	w.editions = append(w.editions, kept)
}

var long = flag.Bool("long", false, "more generated worlds, for scripts/full")

// Over generated worlds: nothing undecided, changed since, refused or withdrawn is
// handed over; members hear first, then visitors, then everybody, each on its day;
// what was logged late has moved; and corrections go out once.
func TestDeskKeepsItsBooksInEveryWorld(t *testing.T) {
	seeds := uint64(3)
	if *long {
		seeds = 60
	}
	seen := map[string]int{}
	for seed := range seeds {
		w := newWorld(t, seed, seen)
		for range 40 {
			w.live()
			m := w.hold()
			if n := len(w.editions); (n == 0 || w.editions[n-1].record.Week.Before(w.today.Week())) && w.r.IntN(3) > 0 {
				w.freeze(m)
				w.hold()
			}
		}
		if w.today.Before(day.MustParse("2032-01-04")) {
			t.Fatalf("seed %d ended on %s, before the turn of the year", seed, w.today)
		}
	}
	for _, what := range []string{"cleared", "not cleared", "stale", "on cards", "in the archive", "at a stop, with the day to come back", "held back", "moved by a late entry",
		"members alone have read it", "members have read it first, then all",
		"refused", "thawed", "stories told", "corrections told"} {
		if seen[what] == 0 {
			t.Errorf("%q never came about; the test does not look at it", what)
		}
	}
	t.Log(seen)
}
