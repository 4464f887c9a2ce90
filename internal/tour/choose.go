package tour

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/cleared"
)

// What a stop is worth, by what the tour wants of it, and what it is worth more
// when something is new there for somebody who comes back. A must is in whatever
// it is worth (the workshop's own figures; no source).
const (
	worthShould = 3
	worthCould  = 1
	worthNew    = 2
)

// forQuestions is the share of the slot that is left for them: a tenth.
const forQuestions = 10

// Visit is one stop that is in, at its time.
type Visit struct {
	Stop   cleared.Stop
	Timing Timing        // Walk is from the stop before that is in, or from the start
	Metres float64       // of that walk
	Starts time.Duration // after the tour's start; the walk is over
}

// Ends is when the talk at the stop is over, after the tour's start.
func (v Visit) Ends() time.Duration { return v.Starts + v.Timing.Stop }

// Reason says why a stop is left out.
type Reason string

const (
	NothingToTell Reason = "nothing to tell" // no story of it may be told today
	NoTime        Reason = "no time"         // the slot is better spent
)

// LeftOut is a stop that the plan does without.
type LeftOut struct {
	Stop   cleared.Stop
	Reason Reason
	// Costs is how much longer the tour would be with it.
	Costs time.Duration
}

// Cut is a stop to leave out when running late.
type Cut struct {
	Stop  cleared.Stop
	Saves time.Duration // once those before it in the list are out as well
}

// Plan is what fits a slot.
type Plan struct {
	Title     string // of the tour
	Group     int    // people
	Slot      time.Duration
	Questions time.Duration // kept free at the end
	Visits    []Visit       // in the tour's order
	LeftOut   []LeftOut     // in the tour's order
	Takes     time.Duration // walks and stops
	Worth     int           // of the stops that are in beside the musts
	// Over is by how much the must stops alone overrun what the slot leaves when
	// the questions have theirs; the plan then holds them and nothing else.
	Over time.Duration
	// Late are the stops to leave out when running late, in this order. Where the
	// musts alone overrun they are all there, in the tour's order, each with what
	// it would save by itself: which of them can go is for a person to say.
	Late []Cut

	draft bool
}

// Draft reports whether the plan is of a tour that has not been cleared. Whatever
// prints such a plan stamps DRAFT on every page.
func (p Plan) Draft() bool { return p.draft }

// SlotFor is the shortest slot of whole minutes that the plan's visits fit.
func (p Plan) SlotFor() time.Duration {
	slot := p.Takes.Truncate(time.Minute)
	for slot-slot/forQuestions < p.Takes {
		slot += time.Minute
	}
	return slot
}

// Choose picks the stops of a tour for a slot; a slot of zero is the tour's own.
// Every must that has something to tell is in, then whichever of the others are
// worth most together: a should 3, a could 1, and 2 more with something new
// since a returning visitor last came. Walks are counted between the stops that
// are in, in the tour's order. Of choices worth the same, the one that keeps the
// earlier stops of the tour is taken. No other choice is worth more.
func Choose(t cleared.Tour, slot time.Duration) Plan {
	if slot == 0 {
		slot = t.Slot()
	}
	p := Plan{Title: t.Title(), Group: t.Group(), Slot: slot, Questions: slot / forQuestions}
	r := routeOf(t)
	room := slot - p.Questions
	kept, fits := r.best(room)
	if !fits {
		kept = r.musts()
	}
	p.Visits, p.Takes = visits(t, r, kept)
	if !fits {
		p.Over = p.Takes - room
	}
	for _, i := range kept {
		if !r.stops[i].must {
			p.Worth += r.stops[i].worth
		}
	}
	p.LeftOut = leftOut(t, r, kept, p.Takes)
	p.Late = late(r, kept, !fits)
	return p
}

// ChooseDraft is Choose for a tour that has not been cleared.
func ChooseDraft(t cleared.Draft[cleared.Tour], slot time.Duration) Plan {
	p := Choose(t.Preview(), slot)
	p.draft = true
	return p
}

// route is a tour as the choice sees it: the stops with something to tell.
type route struct {
	tour  cleared.Tour
	stops []candidate
	// leg is the walk between two stops, by their places in stops; -1 is the start.
	leg func(from, to int) time.Duration
}

type candidate struct {
	at    int // place in the tour
	must  bool
	worth int
	stays time.Duration
}

func routeOf(t cleared.Tour) route {
	r := route{tour: t}
	for i, s := range t.Stops() {
		if len(s.Stories()) == 0 {
			continue
		}
		r.stops = append(r.stops, candidate{at: i, must: s.Wants() == "must", worth: worth(s), stays: atStop(t, s).Stop})
	}
	r.leg = func(from, to int) time.Duration {
		at := -1
		if from >= 0 {
			at = r.stops[from].at
		}
		return seconds(metres(t, at, r.stops[to].at) / t.Walk())
	}
	return r
}

func worth(s cleared.Stop) int {
	n := map[string]int{"should": worthShould, "could": worthCould}[s.Wants()]
	if slices.ContainsFunc(s.Stories(), func(s cleared.Story) bool { return s.Changes().Any() }) {
		n += worthNew
	}
	return n
}

// state is the least time in which the rest of a tour yields some worth.
type state struct {
	worth int
	takes time.Duration
}

// best returns the places of the choice worth most that takes no longer than the
// room, or false when the musts alone take longer.
//
// A walk depends on the stop it comes from and on nothing earlier. So it is
// enough to know, for each stop as the last one told, which worths the stops
// after it can still yield and the least time for each; of those, any that
// yields no more and takes no less than another is dropped. That is exact for
// any times and worths, and small: worths are few.
func (r route) best(room time.Duration) ([]int, bool) {
	n := len(r.stops)
	rest := make([][]state, n+1) // rest[i+1]: after stop i; rest[0]: from the start
	for i := n - 1; i >= -1; i-- {
		var all []state
		if !slices.ContainsFunc(r.stops[i+1:], func(c candidate) bool { return c.must }) {
			all = append(all, state{})
		}
		for j := i + 1; j < n; j++ {
			takes := r.leg(i, j) + r.stops[j].stays
			for _, s := range rest[j+1] {
				if s.takes+takes <= room {
					all = append(all, state{s.worth + r.stops[j].worth, s.takes + takes})
				}
			}
			if r.stops[j].must {
				break // nothing may step over it
			}
		}
		rest[i+1] = undominated(all)
	}
	if len(rest[0]) == 0 {
		return nil, false
	}
	return r.first(rest, rest[0][0].worth, room), true
}

// undominated keeps what yields most first, and after it only what is quicker.
func undominated(all []state) []state {
	slices.SortFunc(all, func(a, b state) int {
		return cmp.Or(cmp.Compare(b.worth, a.worth), cmp.Compare(a.takes, b.takes))
	})
	kept := all[:0]
	for _, s := range all {
		if len(kept) == 0 || s.takes < kept[len(kept)-1].takes {
			kept = append(kept, s)
		}
	}
	return slices.Clip(kept)
}

// first walks through the tour, and at each step goes to the earliest stop from
// which the wanted worth can still be had in the time.
func (r route) first(rest [][]state, wanted int, room time.Duration) []int {
	var kept []int
	at, gained, spent := -1, 0, time.Duration(0)
	for {
		next := -1
		for j := at + 1; j < len(r.stops) && next < 0; j++ {
			takes := r.leg(at, j) + r.stops[j].stays
			for _, s := range rest[j+1] {
				if gained+r.stops[j].worth+s.worth >= wanted && spent+takes+s.takes <= room {
					next = j
				}
			}
			if r.stops[j].must {
				break
			}
		}
		if next < 0 {
			return kept
		}
		spent += r.leg(at, next) + r.stops[next].stays
		gained += r.stops[next].worth
		kept = append(kept, next)
		at = next
	}
}

func (r route) musts() []int {
	var all []int
	for i, c := range r.stops {
		if c.must {
			all = append(all, i)
		}
	}
	return all
}

// takes is how long a choice lasts, walks included.
func (r route) takes(kept []int) time.Duration {
	var sum time.Duration
	last := -1
	for _, i := range kept {
		sum += r.leg(last, i) + r.stops[i].stays
		last = i
	}
	return sum
}

func visits(t cleared.Tour, r route, kept []int) ([]Visit, time.Duration) {
	var all []Visit
	var now time.Duration
	last := -1
	for _, i := range kept {
		stop := t.Stops()[r.stops[i].at]
		v := Visit{Stop: stop, Timing: atStop(t, stop)}
		from := -1
		if last >= 0 {
			from = r.stops[last].at
		}
		v.Metres = metres(t, from, r.stops[i].at)
		v.Timing.Walk = r.leg(last, i)
		v.Starts = now + v.Timing.Walk
		now = v.Ends()
		all = append(all, v)
		last = i
	}
	return all, now
}

// leftOut lists what the choice does without, each with what it would cost.
func leftOut(t cleared.Tour, r route, kept []int, takes time.Duration) []LeftOut {
	var all []LeftOut
	for at, s := range t.Stops() {
		i := slices.IndexFunc(r.stops, func(c candidate) bool { return c.at == at })
		switch {
		case i < 0:
			all = append(all, LeftOut{Stop: s, Reason: NothingToTell})
		case !slices.Contains(kept, i):
			with := slices.Clone(kept)
			where, _ := slices.BinarySearch(with, i)
			all = append(all, LeftOut{Stop: s, Reason: NoTime, Costs: r.takes(slices.Insert(with, where, i)) - takes})
		}
	}
	return all
}

// late lists what to leave out when running late: the least worth first, and of
// stops worth the same the last one on the way.
func late(r route, kept []int, over bool) []Cut {
	var order []int
	for _, i := range kept {
		if over || !r.stops[i].must {
			order = append(order, i)
		}
	}
	if !over {
		slices.SortFunc(order, func(a, b int) int {
			return cmp.Or(cmp.Compare(r.stops[a].worth, r.stops[b].worth), cmp.Compare(b, a))
		})
	}
	var all []Cut
	left := slices.Clone(kept)
	for _, i := range order {
		without := slices.DeleteFunc(slices.Clone(left), func(k int) bool { return k == i })
		// Where the plan's way round is shorter than a measured one, to leave a
		// stop out may save nothing.
		if saves := r.takes(left) - r.takes(without); saves > 0 {
			all = append(all, Cut{Stop: r.tour.Stops()[r.stops[i].at], Saves: saves})
		}
		if !over {
			left = without
		}
	}
	return all
}

// Fetch is a prop to fetch once, and where it is shown.
type Fetch struct {
	What     string
	Language string // of its words, BCP 47
	Shown    []Showing
}

// Showing is a prop at one stop, handled as its story there says.
type Showing struct {
	Stop cleared.Stop
	Prop cleared.Prop
}

// Cautions are those of a prop wherever it is shown, each once.
func (f Fetch) Cautions() []cleared.Caution {
	var all []cleared.Caution
	for _, s := range f.Shown {
		for _, c := range s.Prop.Cautions {
			if !slices.ContainsFunc(all, func(a cleared.Caution) bool { return a.Key == c.Key }) {
				all = append(all, c)
			}
		}
	}
	return all
}

// Stops are the numbers of the stops at which a prop is shown.
func (f Fetch) Stops() []int {
	var all []int
	for _, s := range f.Shown {
		if n := s.Stop.Number(); !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	return all
}

// Props lists what to fetch for the visits, in the order in which it is first
// shown. What goes by the same words is the same thing, and is there once.
func (p Plan) Props() []Fetch {
	var all []Fetch
	at := map[string]int{}
	for _, v := range p.Visits {
		for _, s := range v.Stop.Stories() {
			for _, prop := range s.Props() {
				name := strings.ToLower(strings.TrimRight(strings.Join(strings.Fields(prop.What), " "), "."))
				if name == "" {
					continue
				}
				if _, met := at[name]; !met {
					at[name] = len(all)
					all = append(all, Fetch{What: prop.What, Language: s.Language()})
				}
				f := &all[at[name]]
				f.Shown = append(f.Shown, Showing{v.Stop, prop})
			}
		}
	}
	return all
}
