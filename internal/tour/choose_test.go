package tour_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/tour"
)

func told(news bool) []cleared.Story {
	return []cleared.Story{cleared.NewStory(cleared.StoryFields{ID: "a", Changes: cleared.Changes{Work: news}})}
}

// stops numbers stops in their order.
func stops(all ...cleared.StopFields) []cleared.Stop {
	var out []cleared.Stop
	for i, f := range all {
		f.Number, f.ID = i+1, fmt.Sprintf("s%d", i+1)
		out = append(out, cleared.NewStop(f))
	}
	return out
}

func walk(slot time.Duration, all ...cleared.StopFields) cleared.Tour {
	return cleared.NewTour(cleared.TourFields{ID: "t", Slot: slot, Group: 25, Pace: 130, Walk: 1, Stops: stops(all...)})
}

func numbers(p tour.Plan) []int {
	all := []int{}
	for _, v := range p.Visits {
		all = append(all, v.Stop.Number())
	}
	return all
}

// randomTour has up to ten stops, some of them with nothing to tell, and whole
// minutes, so that many choices are worth the same.
func randomTour(r *rand.Rand) cleared.Tour {
	var all []cleared.StopFields
	for range 1 + r.IntN(10) {
		f := cleared.StopFields{X: float64(r.IntN(200)), Y: float64(r.IntN(60)), Minutes: time.Duration(1+r.IntN(8)) * time.Minute,
			Wants: []string{"must", "should", "should", "could", "could", "could"}[r.IntN(6)]}
		if r.IntN(4) == 0 {
			f.WalkFromLast = float64(1 + r.IntN(150))
		}
		if r.IntN(8) > 0 {
			f.Stories = told(r.IntN(3) == 0)
		}
		all = append(all, f)
	}
	t := cleared.TourFields{ID: "t", Slot: time.Duration(5+r.IntN(45)) * time.Minute, Group: 25, Pace: 130, Walk: 0.5 + r.Float64(), Stops: stops(all...)}
	return cleared.NewTour(t)
}

// lasts is how long a choice takes, worked out anew from the rule.
func lasts(t cleared.Tour, chosen []int) time.Duration {
	var sum time.Duration
	x, y, last := t.StartX(), t.StartY(), 0
	for _, n := range chosen {
		s := t.Stops()[n-1]
		metres := math.Hypot(s.X()-x, s.Y()-y)
		if s.WalkFromLast() > 0 && (last == n-1 || s.WalkFromLast() > metres) {
			metres = s.WalkFromLast()
		}
		sum += time.Duration(math.Round(metres/t.Walk()))*time.Second + s.Minutes()
		x, y, last = s.X(), s.Y(), n
	}
	return sum
}

// tryAll looks at every choice; of those worth the same it takes the one that
// keeps the earlier stops. Nil: the musts alone do not fit.
func tryAll(t cleared.Tour, room time.Duration) (best []int, worth int) {
	worth = -1
	n := len(t.Stops())
	// The first stop is the highest bit, so that counting down meets choices with
	// the earlier stops first.
	for bits := 1<<n - 1; bits >= 0; bits-- {
		chosen, w, ok := []int{}, 0, true
		for i, s := range t.Stops() {
			in := bits>>(n-1-i)&1 == 1
			switch {
			case len(s.Stories()) == 0:
				ok = ok && !in
			case s.Wants() == "must":
				ok = ok && in
			case in:
				w += map[string]int{"should": 3, "could": 1}[s.Wants()]
			}
			if !in {
				continue
			}
			if s.Wants() != "must" && len(s.Stories()) > 0 && s.Stories()[0].Changes().Any() {
				w += 2
			}
			chosen = append(chosen, i+1)
		}
		if ok && w > worth && lasts(t, chosen) <= room {
			best, worth = chosen, w
		}
	}
	return best, worth
}

func TestNoOtherChoiceIsWorthMore(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 31))
	overran, full := 0, 0
	for i := range 3000 {
		tr := randomTour(r)
		p := tour.Choose(tr, 0)
		room := tr.Slot() - tr.Slot()/10
		want, worth := tryAll(tr, room)
		got := numbers(p)
		if p.Takes != lasts(tr, got) {
			t.Fatalf("tour %d: %v takes %s; the plan says %s", i, got, lasts(tr, got), p.Takes)
		}
		if worth < 0 {
			overran++
			if p.Over != p.Takes-room || p.Over <= 0 {
				t.Fatalf("tour %d: the musts do not fit, and the plan is %s over with %v", i, p.Over, got)
			}
			continue
		}
		if !slices.Equal(got, want) || p.Worth != worth || p.Over != 0 {
			t.Fatalf("tour %d: got %v, worth %d, %s over; want %v, worth %d", i, got, p.Worth, p.Over, want, worth)
		}
		if len(got) == len(tr.Stops()) {
			full++
		}
		if len(got)+len(p.LeftOut) != len(tr.Stops()) {
			t.Fatalf("tour %d: %d in and %d out of %d stops", i, len(got), len(p.LeftOut), len(tr.Stops()))
		}
		// Each stop begins when the walk from the one before is over.
		now := time.Duration(0)
		for _, v := range p.Visits {
			if v.Starts != now+v.Timing.Walk {
				t.Fatalf("tour %d: stop %d starts at %s; want %s", i, v.Stop.Number(), v.Starts, now+v.Timing.Walk)
			}
			now = v.Ends()
		}
		// Leaving out all that may go, one after another, leaves the musts.
		left := p.Takes
		for _, c := range p.Late {
			left -= c.Saves
		}
		if musts := tour.Choose(tr, time.Minute); len(p.Late) == len(p.Visits)-len(musts.Visits) && musts.Over > 0 && left != musts.Takes {
			t.Fatalf("tour %d: %s are left of the musts; want %s", i, left, musts.Takes)
		}
	}
	if overran < 100 || full < 100 || overran+full > 2500 {
		t.Errorf("%d tours overran and %d fitted whole; the tours try too little", overran, full)
	}
}

func TestMustsAloneOverrun(t *testing.T) {
	tr := walk(20*time.Minute,
		cleared.StopFields{X: 60, Wants: "must", Minutes: 10 * time.Minute, Stories: told(false)},
		cleared.StopFields{X: 60, Wants: "should", Minutes: time.Minute, Stories: told(true)},
		cleared.StopFields{X: 120, Wants: "must", Minutes: 9 * time.Minute, Stories: told(false)})
	p := tour.Choose(tr, 0)
	// 10 and 9 minutes and two walks of one minute are 21; the slot leaves 18.
	if got := numbers(p); !slices.Equal(got, []int{1, 3}) || p.Takes != 21*time.Minute || p.Over != 3*time.Minute {
		t.Errorf("got %v, %s, %s over; want [1 3], 21m, 3m over", got, p.Takes, p.Over)
	}
	// 23m20s × 0.9 = 21m; the next whole minute is 24.
	if p.SlotFor() != 24*time.Minute {
		t.Errorf("a slot of %s would do; want 24m", p.SlotFor())
	}
	if again := tour.Choose(tr, p.SlotFor()); again.Over != 0 {
		t.Errorf("a slot of %s is %s too short", p.SlotFor(), again.Over)
	}
	if again := tour.Choose(tr, p.SlotFor()-time.Minute); again.Over == 0 {
		t.Errorf("a slot of %s would have done", p.SlotFor()-time.Minute)
	}
	// Each by itself, from the whole: the first is 10 minutes, for the walk to the
	// last is as long without it; the last is 9 and its walk.
	if len(p.Late) != 2 || p.Late[0].Saves != 10*time.Minute || p.Late[1].Saves != 10*time.Minute {
		t.Errorf("left out by themselves, the musts save %+v; want 10m each", p.Late)
	}
}

func TestStopWithNothingToTellIsLeftOutEvenIfAMust(t *testing.T) {
	p := tour.Choose(walk(20*time.Minute,
		cleared.StopFields{Wants: "must", Minutes: 5 * time.Minute, Withheld: []string{"A story: is stale"}},
		cleared.StopFields{Wants: "could", Minutes: 5 * time.Minute, Stories: told(false)}), 0)
	if got := numbers(p); !slices.Equal(got, []int{2}) || len(p.LeftOut) != 1 || p.LeftOut[0].Reason != tour.NothingToTell {
		t.Errorf("got %v and %+v left out; want stop 2 alone, and stop 1 out for want of a story", got, p.LeftOut)
	}
	if empty := tour.Choose(walk(20*time.Minute, cleared.StopFields{Wants: "must"}), 0); len(empty.Visits) > 0 || empty.Takes != 0 || empty.Over != 0 {
		t.Errorf("a tour with nothing to tell: got %+v", empty)
	}
}

func TestWhatIsNewIsWorthMoreToWhoComesBack(t *testing.T) {
	could := func(news bool) cleared.StopFields {
		return cleared.StopFields{Wants: "could", Minutes: 8 * time.Minute, Stories: told(news)}
	}
	// Room for one of two: the earlier, unless the later has something new.
	if got := numbers(tour.Choose(walk(10*time.Minute, could(false), could(false)), 0)); !slices.Equal(got, []int{1}) {
		t.Errorf("two alike: got %v; want the earlier", got)
	}
	if got := numbers(tour.Choose(walk(10*time.Minute, could(false), could(true)), 0)); !slices.Equal(got, []int{2}) {
		t.Errorf("something new at the second: got %v; want it", got)
	}
	// A could with something new is worth no more than a should: the earlier stays.
	should := could(false)
	should.Wants = "should"
	if got := numbers(tour.Choose(walk(10*time.Minute, should, could(true)), 0)); !slices.Equal(got, []int{1}) {
		t.Errorf("a should and a new could: got %v; want the earlier", got)
	}
}

// A measured way holds from the stop before it; from farther back the longer of
// it and the plan's distance.
func TestMeasuredWalkHoldsFromTheStopBefore(t *testing.T) {
	minute := func(x, measured float64, wants string) cleared.StopFields {
		f := cleared.StopFields{X: x, WalkFromLast: measured, Wants: wants, Minutes: time.Minute}
		if wants != "" {
			f.Stories = told(false)
		}
		return f
	}
	for _, c := range []struct {
		name string
		tour cleared.Tour
		want float64 // metres to the last visit
	}{
		{"from the stop before", walk(time.Hour, minute(0, 0, "must"), minute(10, 40, "must")), 40},
		{"shorter than the plan, from the stop before", walk(time.Hour, minute(0, 0, "must"), minute(50, 40, "must")), 40},
		{"from the start", walk(time.Hour, minute(10, 40, "must")), 40},
		{"the stop before is out, and the way is longer than the plan", walk(time.Hour, minute(0, 0, "must"), minute(5, 0, ""), minute(10, 40, "must")), 40},
		{"the stop before is out, and the plan is longer", walk(time.Hour, minute(0, 0, "must"), minute(90, 0, ""), minute(100, 40, "must")), 100},
	} {
		p := tour.Choose(c.tour, 0)
		if got := p.Visits[len(p.Visits)-1].Metres; got != c.want {
			t.Errorf("%s: got %v m; want %v m", c.name, got, c.want)
		}
	}
}

func TestLateLeavesOutTheLeastWorthFirst(t *testing.T) {
	stop := func(wants string, news bool) cleared.StopFields {
		return cleared.StopFields{Wants: wants, Minutes: 2 * time.Minute, Stories: told(news)}
	}
	p := tour.Choose(walk(time.Hour, stop("could", false), stop("should", false), stop("must", false), stop("could", true), stop("should", false), stop("could", false)), 0)
	var got []int
	for _, c := range p.Late {
		got = append(got, c.Stop.Number())
	}
	// Worth 1: stops 1 and 6, the later first; worth 3: stops 2, 4 and 5.
	if want := []int{6, 1, 5, 4, 2}; !slices.Equal(got, want) {
		t.Errorf("got %v; want %v", got, want)
	}
}

func TestManyStopsGiveTheSamePlanAgain(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var all []cleared.StopFields
	for range 40 {
		all = append(all, cleared.StopFields{X: r.Float64() * 100, Y: r.Float64() * 40, Minutes: time.Duration(60+r.IntN(400)) * time.Second,
			Wants: []string{"must", "should", "could"}[r.IntN(3)], Stories: told(r.IntN(2) == 0)})
	}
	tr := walk(3*time.Hour, all...)
	first := tour.Choose(tr, 0)
	if first.Over > 0 || len(first.LeftOut) == 0 {
		t.Fatalf("%s over, %d left out; the tour tries nothing", first.Over, len(first.LeftOut))
	}
	for range 3 {
		if again := numbers(tour.Choose(tr, 0)); !slices.Equal(again, numbers(first)) {
			t.Fatalf("got %v, then %v", numbers(first), again)
		}
	}
}

func TestDurationsReadAsPeopleSayThem(t *testing.T) {
	for d, want := range map[time.Duration]string{0: "0 s", 59 * time.Second: "59 s", 4 * time.Minute: "4 min", 252 * time.Second: "4 min 12 s", 90*time.Minute + 400*time.Millisecond: "90 min"} {
		if got := tour.DurationWords(d); got != want {
			t.Errorf("%s: got %q; want %q", d, got, want)
		}
	}
}
