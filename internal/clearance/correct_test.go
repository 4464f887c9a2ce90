package clearance_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
)

// told is a bench whose one story members have had.
func told(t *testing.T) *bench {
	t.Helper()
	b := newBench(t)
	b.decide("settings", "photo/stiffener.jpg", "story/floor-stiffener", "tour/winter-hangar")
	b.send("2031-W04", "2031-01-22", "floor-stiffener")
	return b
}

// correct writes a correction by gus.
func (b *bench) correct(say string) *clearance.Unit {
	b.t.Helper()
	d := b.desk()
	u, err := d.Correct(context.Background(), b.unit(d, "story/floor-stiffener"), say, "gus")
	if err != nil {
		b.t.Fatal(err)
	}
	return u
}

func correctionIDs(all []cleared.Correction) []string {
	ids := []string{}
	for _, c := range all {
		ids = append(ids, c.ID())
	}
	return ids
}

func TestOnlyWhatWasToldIsCorrected(t *testing.T) {
	at := day.MustParse("2031-01-20").Time(time.UTC)
	for name, tell := range map[string]func(*bench) error{
		"an edition": func(b *bench) error { b.send("2031-W04", "2031-01-22", "floor-stiffener"); return nil },
		"a card": func(b *bench) error {
			_, err := b.db.Append(context.Background(), store.Entry{At: at, Kind: "printed", Unit: "story/floor-stiffener"})
			return err
		},
		"a page": func(b *bench) error {
			_, err := b.db.Append(context.Background(), store.Entry{At: at, Kind: "published", Unit: "story/floor-stiffener"})
			return err
		},
	} {
		b := newBench(t)
		d := b.desk()
		story := b.unit(d, "story/floor-stiffener")
		_, err := d.Correct(context.Background(), story, "It was a spare.", "gus")
		if !errors.Is(err, clearance.ErrNotTold) || !strings.Contains(fmt.Sprint(err), "change its words in wording/floor-stiffener.md") {
			t.Errorf("before %s: %v", name, err)
		}
		if err := tell(b); err != nil {
			t.Fatal(err)
		}
		if u := b.correct("It was a spare."); u.ID != "correction/floor-stiffener-1" || u.Standing != clearance.Waiting {
			t.Errorf("after %s: %s is %s", name, u.ID, u.Standing)
		}
	}
}

func TestWhatIsNoCorrectionIsRefused(t *testing.T) {
	b := told(t)
	d := b.desk()
	for _, c := range []struct{ unit, say, by, want string }{
		{"word/stiffener", "It was a spare.", "gus", "only a story is corrected"},
		{"story/floor-stiffener", "It was a spare.", "nobody", "nobody of that name"},
		{"story/floor-stiffener", " \n", "gus", "needs words"},
		{"story/floor-stiffener", "It was\u202e a spare.", "gus", `does not show (It was\u202e`},
	} {
		if _, err := d.Correct(context.Background(), b.unit(d, c.unit), c.say, c.by); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s, %q by %s: got %v, want %q", c.unit, c.say, c.by, err, c.want)
		}
	}
	if got := b.desk().CorrectionsOf(b.unit(d, "story/floor-stiffener")); len(got) != 0 {
		t.Errorf("%d corrections were written", len(got))
	}
}

// A correction is checked as its story is: names, copies, numbers, facts, and what
// is the engineer's to say.
func TestCorrectionsAreChecked(t *testing.T) {
	for say, want := range map[string]string{
		"It was the spare strip, and not the original one.":         "",
		"It had lost {fact:floor-stiffener.loss|percent}.":          "",
		"Tam Reddle folded it.":                                     "",
		"It was FO7-2217-4 on the list.":                            "private-name",
		"Bought from Hexworth Castings.":                            "private-name",
		"We drilled out sixty rivets on the port side before tea.":  "copied-sentence",
		"It had lost 15 % there.":                                   "private-number",
		"Write to gus@example.net.":                                 "contact",
		"It is now airworthy.":                                      "assertion",
		"It has been fitted again.":                                 "contradiction",
		"It had lost {fact:floor-stiffener.depth|percent}.":         "unknown-field",
		"It was taken out on {fact:floor-stiffener.date.made|day}.": "no-fact",
		"It was {fact:keel-bolt.thickness|mm} thick.":               "no-fact",
	} {
		b := told(t)
		u := b.correct(say)
		got := ""
		if len(u.Findings) > 0 {
			got = u.Findings[0].Code
			if !strings.HasPrefix(u.Findings[0].Place.String(), "correction/floor-stiffener-1:1:") || !strings.Contains(u.Findings[0].Remedy, "refuse it and write another") {
				t.Errorf("%q: %v", say, u.Findings[0].Error())
			}
		}
		if got != want || len(u.Findings) > 1 {
			t.Errorf("%q: found %v, want %q", say, u.Findings, want)
		}
		d := b.desk()
		if err := d.Ready(b.unit(d, u.ID)); (err == nil) != (want == "") {
			t.Errorf("%q: ready to be cleared: %v", say, err)
		}
		if found := len(b.findings()); (found == 0) != (want == "") {
			t.Errorf("%q: check tells %d problems", say, found)
		}
	}
}

func TestRefusedCorrectionIsSettled(t *testing.T) {
	b := told(t)
	u := b.correct("It was FO7-2217-4 on the list.")
	d := b.desk()
	if err := d.Decide(context.Background(), []*clearance.Unit{b.unit(d, u.ID)}, clearance.Decision{By: "ines", Refuse: true, Why: "it names the part"}); err != nil {
		t.Fatal(err)
	}
	if got := b.findings(); len(got) > 0 {
		t.Errorf("check still tells %q", got)
	}
	if next := b.correct("It was a spare."); next.ID != "correction/floor-stiffener-2" {
		t.Errorf("the next is %s", next.ID)
	}
}

func TestCorrectionNeedsASecondPerson(t *testing.T) {
	b := told(t)
	b.edit("workshop.yaml", "{id: gus, name: Gus Penhallick, roles: [restorer]}", "{id: gus, name: Gus Penhallick, roles: [restorer, engineer]}")
	b.decide("settings")
	u := b.correct("It was a spare.")
	d := b.desk()
	for by, want := range map[string]string{"gus": "their own work", "tam": "is decided by an engineer", "orla": "is decided by an engineer", "ines": ""} {
		err := d.MayDecide(b.unit(d, u.ID), by)
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("by %s: got %v, want %q", by, err, want)
		}
	}
	if got := correctionIDs(b.desk().Corrections()); len(got) > 0 {
		t.Errorf("undecided, %q are handed over", got)
	}
	b.decide(u.ID)
	if got := correctionIDs(b.desk().Corrections()); !slices.Equal(got, []string{"floor-stiffener-1"}) {
		t.Errorf("cleared, %q are handed over", got)
	}
}

// What readers get of a correction was cleared with it: its story's title too,
// which may wait for a decision.
func TestCorrectionKeepsTheTitleThatWasTold(t *testing.T) {
	b := told(t)
	b.correct("It was a spare.")
	b.decide("correction/floor-stiffener-1")
	b.edit("wording/floor-stiffener.md", "title: The floor that rotted from inside", "title: A name nobody has cleared")
	c := b.desk().Corrections()[0]
	if c.Title() != "Told of floor-stiffener" || c.Say() != "It was a spare." || c.Story() != "floor-stiffener" {
		t.Errorf("%+v", c)
	}
	if !c.PublicFrom().IsZero() {
		t.Errorf("public from %s, while its story is not cleared", c.PublicFrom())
	}
}

func TestCorrectionIsPublicWhenItsStoryIs(t *testing.T) {
	b := told(t)
	b.correct("It was a spare.")
	b.decide("correction/floor-stiffener-1")
	for on, want := range map[string]int{"2031-01-22": 0, "2031-02-18": 0, "2031-02-19": 1} { // 28 days after 2031-01-22
		b.today = day.MustParse(on)
		if got := len(b.desk().PublicCorrections()); got != want {
			t.Errorf("on %s: %d corrections are public, want %d", on, got, want)
		}
	}
	b.today = day.MustParse("2031-03-01")
	b.correct("It was on the port side.")
	b.decide("correction/floor-stiffener-2")
	var days []string
	for _, c := range b.desk().PublicCorrections() {
		days = append(days, c.PublicFrom().String())
	}
	if want := []string{"2031-02-19", "2031-03-01"}; !slices.Equal(days, want) {
		t.Errorf("public from %q, want %q", days, want)
	}
	d := b.desk()
	if err := d.Withdraw(context.Background(), b.unit(d, "story/floor-stiffener"), "ines", "not ours"); err != nil {
		t.Fatal(err)
	}
	if got := len(d.PublicCorrections()); got != 0 {
		t.Errorf("%d corrections to a withdrawn story are public", got)
	}
	if got := correctionIDs(d.Corrections()); len(got) != 2 {
		t.Errorf("members get %q of them", got)
	}
}

func TestCorrectionWhoseFactChangedIsNotLeftOutUnsaid(t *testing.T) {
	b := told(t)
	b.correct("It had lost {fact:floor-stiffener.loss|percent}.")
	b.decide("correction/floor-stiffener-1")
	if err := b.desk().HeldCorrections(); err != nil {
		t.Errorf("as it was cleared: %v", err)
	}
	b.edit("log/2031/2031-01-14-stiffener-inspected.md", "1.38 mm", "1.20 mm")
	d := b.desk()
	var held *clearance.NotCleared
	if err := d.HeldCorrections(); !errors.As(err, &held) || held.Unit != "correction/floor-stiffener-1" || len(d.Corrections()) != 0 {
		t.Errorf("changed: %v, with %d handed over", err, len(d.Corrections()))
	}
	b.decide("correction/floor-stiffener-1")
	// (1.6256 − 1.20) / 1.6256 = 26.2 %
	if got := b.desk().Corrections(); len(got) != 1 || !strings.Contains(got[0].Say(), "26") {
		t.Errorf("cleared again: %+v", got)
	}
}

func TestLastGateHonoursFactsOfACorrection(t *testing.T) {
	b := told(t)
	// The sheet of a float is 5 mm thick, which is nothing to the strip.
	b.write("parts/float-sheet.md", "---\nname: float sheet\narea: hull\nthickness: 5 mm\n---\n")
	b.write("log/2031/2031-01-02-float-removed.md", "---\ndate: 2031-01-02\nby: tam\npart: float-sheet\nstep: removed\n---\n")
	u := b.correct("The strip had lost {fact:floor-stiffener.loss|percent} under 5 mm of ice.")
	if len(u.Findings) > 0 {
		t.Fatal(u.Findings)
	}
	b.decide(u.ID)
	d := b.desk()
	say := d.Corrections()[0].Say()
	for page, passes := range map[string]bool{"<p>" + say + "</p>": true, "<p>It had a loss of 15%, private as it is.</p>": true, "<p>" + say + " From Hexworth Castings.</p>": false} {
		if err := d.Gate(map[string][]byte{"a.html": []byte(page)}); (err == nil) != passes {
			t.Errorf("%s: %v", page, err)
		}
	}
}
