package clearance

import (
	"slices"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/worklog"
)

// seasonGap is how many weeks in a row without any movement part two seasons: the
// machine is out earning its keep (our own figure).
const seasonGap = 13

// published is the movement that an edition was frozen with.
type published struct {
	week  day.Week
	parts []cleared.PartMovement
}

// History hands over how the season went: for each whole week from its first
// movement to the last one before today, how many parts had come off and how many
// stood fitted. A part whose only stories still wait for their day stands where the
// editions of the time had it; nothing else of it is told.
func (d *Desk) History() cleared.History {
	f := cleared.HistoryFields{On: d.today}
	var courses []course
	for _, p := range d.log.Parts() {
		if p.Figures {
			courses = append(courses, d.courseOf(p))
		}
	}
	first, ok := season(courses, d.today.Week())
	if !ok {
		return cleared.NewHistory(f)
	}
	for week := first; week.Before(d.today.Week()); week = week.Next() {
		f.Weeks = append(f.Weeks, cleared.HistoryWeek{Ended: week.Sunday()})
	}
	for _, c := range courses {
		c.countIn(f.Weeks, first, d.today)
	}
	return cleared.NewHistory(f)
}

// course is where a part stood from week to week: its moves, in order.
type course []move

// move is what a part's phase was from a week's end on.
type move struct {
	week  day.Week
	phase cleared.Phase // "": it did not count
}

// courseOf is a part's course, one move for each week in which it moved.
func (d *Desk) courseOf(p *worklog.Part) course {
	var c course
	set := func(week day.Week, phase cleared.Phase) {
		if n := len(c); n > 0 && c[n-1].week == week {
			c[n-1].phase = phase
			return
		}
		c = append(c, move{week, phase})
	}
	if _, waits := d.storiesAbout(p.ID); !waits {
		for _, e := range d.log.Entries(p.ID, d.today) {
			if phase := worklog.PhaseOf(e.Step); phase != "" {
				set(e.Date.Week(), cleared.Phase(phase))
			}
		}
		return c
	}
	key := movementKey(p.ID)
	last := cleared.PartMovement{}
	for _, e := range d.published {
		if d.today.Week().Before(e.week) {
			break
		}
		i := slices.IndexFunc(e.parts, func(m cleared.PartMovement) bool { return m.Key == key })
		now := cleared.PartMovement{}
		if i >= 0 {
			now = e.parts[i]
		}
		if now.Step != last.Step || now.Pile != last.Pile {
			set(e.week, now.Phase)
		}
		last = now
	}
	return c
}

// season is the week of the first movement of the season that goes on this week;
// false when nothing has moved for so long that none does.
func season(courses []course, this day.Week) (day.Week, bool) {
	var weeks []day.Week
	for _, c := range courses {
		for _, m := range c {
			weeks = append(weeks, m.week)
		}
	}
	slices.SortFunc(weeks, func(a, b day.Week) int { return a.Monday().DaysUntil(b.Monday()) })
	first, ok := this, false
	for _, w := range weeks { // the latest first
		if w.Monday().DaysUntil(first.Monday()) > 7*seasonGap {
			break
		}
		first, ok = w, true
	}
	return first, ok
}

// countIn adds a part to the weeks of a season.
func (c course) countIn(weeks []cleared.HistoryWeek, first day.Week, today day.Date) {
	phase, at := cleared.Phase(""), 0
	for ; at < len(c) && c[at].week.Before(first); at++ {
		phase = c[at].phase
	}
	fittedIn := -1 // the week in which it was fitted for good
	for i := range weeks {
		before := phase
		if at < len(c) && c[at].week == weeks[i].Ended.Week() {
			phase = c[at].phase
			at++
		}
		if phase != "" {
			weeks[i].CameOff++
		}
		if phase != cleared.Fitted {
			fittedIn = -1
			continue
		}
		weeks[i].Stood++
		if before != cleared.Fitted {
			fittedIn = i
		}
	}
	if at < len(c) { // it moved this week
		phase = c[at].phase
	}
	if fittedIn >= 0 && phase == cleared.Fitted {
		weeks[fittedIn].Fitted++
	}
}
