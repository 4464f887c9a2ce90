package clearance_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
)

const fittedEntry = "---\ndate: 2031-02-03\nby: tam\npart: floor-stiffener\nstep: fitted\n---\n"

// onTheTour clears the story for visitors and lets its edition go out.
func (b *bench) onTheTour() {
	b.t.Helper()
	b.decide("settings", "photo/stiffener.jpg", "story/floor-stiffener", "tour/winter-hangar")
	b.send("2031-W04", "2031-01-24", "floor-stiffener")
	b.today = day.MustParse("2031-01-25")
}

// withdraw takes a unit back today.
func (b *bench) withdraw(id string) {
	b.t.Helper()
	d := b.desk()
	if err := d.Withdraw(context.Background(), b.unit(d, id), "ines", "the date was wrong"); err != nil {
		b.t.Fatal(err)
	}
}

// Each way in which a printed card stops being true is told in words, and a day
// alone is none.
func TestPrintedCardIsTrueUntilSomethingChanges(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*bench)
		want   []string // part of each reason
	}{
		{"another day", func(b *bench) { b.today = day.MustParse("2031-03-01") }, nil},
		{"a note in the log", func(b *bench) {
			b.write("log/2031/2031-02-02-note.md", "---\ndate: 2031-02-02\nby: tam\npart: floor-stiffener\nstep: note\n---\nStill there.\n")
		}, nil},
		{"the longer account, which no card holds", func(b *bench) {
			b.edit("wording/floor-stiffener.md", "The longer account.", "The much longer account.")
			b.decide("story/floor-stiffener")
		}, nil},
		{"words, cleared again", func(b *bench) {
			b.edit("wording/floor-stiffener.md", "Salt water", "The sea")
			b.decide("story/floor-stiffener")
		}, []string{"its words changed"}},
		{"words that wait", func(b *bench) { b.edit("wording/floor-stiffener.md", "Salt water", "The sea") }, []string{"its story changed since it was cleared", "its words changed"}},
		{"how sure we are", func(b *bench) {
			b.edit("wording/floor-stiffener.md", "status: likely", "status: told")
			b.decide("story/floor-stiffener")
		}, []string{"its words changed"}},
		{"a fact", func(b *bench) {
			b.edit("log/2031/2031-01-14-stiffener-inspected.md", "1.38 mm", "1.30 mm")
			b.decide("story/floor-stiffener")
		}, []string{"a fact changed: floor-stiffener.loss was 15% and is 20%"}},
		{"the photo", func(b *bench) {
			b.edit("photos/stiffener.jpg.yaml", "A thin metal strip", "A thin strip of metal")
			b.decide("photo/stiffener.jpg", "story/floor-stiffener")
		}, []string{"its photo changed"}},
		{"the photo is withdrawn", func(b *bench) { b.withdraw("photo/stiffener.jpg") }, []string{"its story photo/stiffener.jpg was withdrawn"}},
		{"the story is withdrawn", func(b *bench) { b.withdraw("story/floor-stiffener") }, []string{"its story was withdrawn on 25 January 2031"}},
		{"the part comes further", func(b *bench) {
			b.write("log/2031/2031-01-25-fitted.md", strings.Replace(fittedEntry, "02-03", "01-25", 1))
		}, []string{"a part of it has come further: inspected then, fitted now"}},
		{"the part changes piles", func(b *bench) {
			b.write("log/2031/2031-01-25-again.md", "---\ndate: 2031-01-25\nby: tam\npart: floor-stiffener\nstep: inspected\npile: rework\n---\n")
		}, []string{"a part of it changed piles: unserviceable then, rework now"}},
		{"the part is left out of the figures", func(b *bench) { b.edit("parts/floor-stiffener.md", "area: hull", "area: hull\nfigures: no") },
			[]string{"a part of it is no longer counted"}},
		{"a correction is cleared", func(b *bench) { b.decide(b.correct("The strip was a spare.").ID) }, []string{"it was corrected on 25 January 2031: The strip was a spare."}},
		{"a correction waits", func(b *bench) { b.correct("The strip was a spare.") }, nil},
		{"the story's file is gone", func(b *bench) {
			b.write("wording/floor-stiffener.md", "")
		}, []string{"its story"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			b.onTheTour()
			was := b.desk().ToldNow("floor-stiffener", "")
			digest := b.desk().DigestOf("floor-stiffener", "")
			if got := b.desk().NoLongerTrue(clearance.CardOf{Story: "floor-stiffener", Digest: digest, Told: &was}); len(got) > 0 {
				t.Fatalf("at once: %q", got)
			}
			c.change(b)
			got := b.desk().NoLongerTrue(clearance.CardOf{Story: "floor-stiffener", Digest: digest, Told: &was})
			same := slices.EqualFunc(got, c.want, func(g, w string) bool { return strings.Contains(g, w) })
			if !same && !(c.name == "the story's file is gone" && len(got) > 0) {
				t.Errorf("got %q; want %q", got, c.want)
			}
			// A row from before all of that was kept says what it can.
			old := b.desk().NoLongerTrue(clearance.CardOf{Story: "floor-stiffener", Digest: digest})
			if changed := b.desk().DigestOf("floor-stiffener", "") != digest; changed && !slices.Contains(old, "its words, a fact or a photo changed") && !strings.Contains(strings.Join(old, ""), "gone") {
				t.Errorf("of an older row: %q", old)
			}
			for _, why := range append(got, old...) {
				if strings.Contains(why, "the date was wrong") {
					t.Errorf("%q tells why somebody took it back", why)
				}
			}
		})
	}
	if got := newBench(t).desk().NoLongerTrue(clearance.CardOf{Story: "no-such-story"}); !slices.Equal(got, []string{"its story is gone from wording/"}) {
		t.Errorf("a story without a file: %q", got)
	}
}

// What the ledger keeps of a printing names no part.
func TestToldNamesNoPart(t *testing.T) {
	b := newBench(t)
	b.onTheTour()
	told := b.desk().ToldNow("floor-stiffener", "")
	if len(told.Parts) != 1 || told.Parts[0].Step != "inspected" || told.Parts[0].Pile != "unserviceable" || strings.Contains(told.Parts[0].Key, "stiffener") {
		t.Errorf("got %+v; want one part, inspected, by an opaque key", told.Parts)
	}
	if len(told.Facts) != 2 || len(told.Photo) != 64 || len(told.Words) != 64 {
		t.Errorf("got %+v; want both facts, the photo and a digest of the words", told)
	}
}

func TestReturningVisitorsAreToldWhatIsNew(t *testing.T) {
	for _, c := range []struct {
		name   string
		since  string
		change func(*bench)
		want   cleared.Changes
	}{
		{"nothing was asked", "", func(b *bench) {
			b.edit("wording/floor-stiffener.md", "Salt water", "The sea")
			b.decide("story/floor-stiffener")
		}, cleared.Changes{}},
		{"nothing changed", "2031-01-25", func(*bench) {}, cleared.Changes{}},
		{"they came before it was cleared", "2031-01-10", func(*bench) {}, cleared.Changes{Story: true}},
		{"they came before members had heard it", "2031-01-23", func(*bench) {}, cleared.Changes{Story: true}},
		{"they came on the day that members heard it", "2031-01-24", func(*bench) {}, cleared.Changes{}},
		{"other words", "2031-01-25", func(b *bench) {
			b.edit("wording/floor-stiffener.md", "Salt water", "The sea")
			b.decide("story/floor-stiffener")
		}, cleared.Changes{Words: true}},
		{"other words, and back", "2031-01-25", func(b *bench) {
			b.edit("wording/floor-stiffener.md", "Salt water", "The sea")
			b.decide("story/floor-stiffener")
			b.edit("wording/floor-stiffener.md", "The sea", "Salt water")
			b.decide("story/floor-stiffener")
		}, cleared.Changes{}},
		{"the part comes further", "2031-01-25", func(b *bench) { b.write("log/2031/2031-02-03-fitted.md", fittedEntry) }, cleared.Changes{Work: true}},
		{"the part had come further then", "2031-02-03", func(b *bench) { b.write("log/2031/2031-02-03-fitted.md", fittedEntry) }, cleared.Changes{}},
		{"the part is not in the figures", "2031-01-25", func(b *bench) {
			b.edit("parts/floor-stiffener.md", "area: hull", "area: hull\nfigures: no")
			b.write("log/2031/2031-02-03-fitted.md", fittedEntry)
		}, cleared.Changes{}},
		{"it was withdrawn then", "2031-02-05", func(b *bench) {
			b.today = day.MustParse("2031-02-04")
			b.withdraw("story/floor-stiffener")
			b.today = day.MustParse("2031-02-06")
			b.decide("story/floor-stiffener")
		}, cleared.Changes{Story: true}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			b.onTheTour()
			b.today = day.MustParse("2031-02-08")
			c.change(b)
			b.today = day.MustParse("2031-02-10")
			var since day.Date
			if c.since != "" {
				since = day.MustParse(c.since)
			}
			tour, err := b.desk().TourSince("winter-hangar", since)
			if err != nil || len(tour.Stops()[0].Stories()) != 1 {
				t.Fatalf("%v; withheld %q", err, tour.Stops()[0].Withheld())
			}
			if got := tour.Stops()[0].Stories()[0].Changes(); got != c.want {
				t.Errorf("got %+v; want %+v", got, c.want)
			}
		})
	}
}
