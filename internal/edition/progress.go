package edition

import (
	"errors"
	"fmt"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/forecast"
)

// Progress is how the parts of a season come back on, week by week, against the day
// on which the machine is to roll out: what the chart shows. It is kept with a
// frozen edition.
type Progress struct {
	On      day.Date       `json:"on"`
	CameOff int            `json:"came_off"` // by On
	Fitted  int            `json:"fitted"`   // standing fitted on On
	RollOut day.Date       `json:"roll_out"` // zero: not set
	Weeks   []ProgressWeek `json:"weeks"`    // whole weeks of the season, oldest first
	Ahead   *Ahead         `json:"ahead,omitempty"`
	// Why there is no range: short, idle, far; "" where there is one, or nothing to
	// be said.
	Why string `json:"why,omitempty"`
}

// ProgressWeek is how things stood when a week ended.
type ProgressWeek struct {
	Ended   day.Date `json:"ended"`
	CameOff int      `json:"came_off"`
	Fitted  int      `json:"fitted"`
}

// Ahead is what the pace of past weeks says of the parts that are still off.
type Ahead struct {
	Weeks int        `json:"weeks"` // of history that it rests on
	Fan   []FanPoint `json:"fan"`   // from a week after On to the roll-out day
}

// FanPoint is the range for how many parts more stand fitted by a day, four times in
// five. No more than are off.
type FanPoint struct {
	By   day.Date `json:"by"`
	Low  int      `json:"low"`
	High int      `json:"high"`
}

// RollOutRange is the range for the roll-out day.
func (a Ahead) RollOutRange() FanPoint { return a.Fan[len(a.Fan)-1] }

// Off is how many parts are still off.
func (p Progress) Off() int { return p.CameOff - p.Fitted }

// ProgressOf sets the season's past beside where the parts stand today. It is nil
// where nothing has moved this season.
func ProgressOf(history cleared.History, now []cleared.PartMovement, rollOut day.Date) *Progress {
	weeks := history.Weeks()
	if len(weeks) == 0 {
		return nil
	}
	p := &Progress{On: history.On(), CameOff: len(now), RollOut: rollOut}
	for _, m := range now {
		if m.Phase == cleared.Fitted {
			p.Fitted++
		}
	}
	var weekly []int
	for _, w := range weeks {
		p.Weeks = append(p.Weeks, ProgressWeek{w.Ended, w.CameOff, w.Stood})
		weekly = append(weekly, w.Fitted)
	}
	p.lookAhead(weekly)
	return p
}

// lookAhead adds the range for each week's end until the roll-out day, or why there
// is none.
func (p *Progress) lookAhead(weekly []int) {
	if p.RollOut.IsZero() || p.Off() == 0 {
		return
	}
	ahead := &Ahead{Weeks: min(len(weekly), forecast.MostWeeks)}
	days := p.On.DaysUntil(p.RollOut)
	last, err := forecast.Fits(weekly, days)
	for _, why := range []struct {
		err  error
		code string
	}{{forecast.ErrShort, "short"}, {forecast.ErrIdle, "idle"}, {forecast.ErrFar, "far"}} {
		if errors.Is(err, why.err) {
			p.Why = why.code
		}
	}
	if err != nil {
		return
	}
	point := func(r forecast.Range, by day.Date) {
		ahead.Fan = append(ahead.Fan, FanPoint{by, min(r.Low, p.Off()), min(r.High, p.Off())})
	}
	for at := 7; at < days; at += 7 {
		// The farthest day has a range, and nearer ones have it too.
		r, err := forecast.Fits(weekly, at)
		if err != nil {
			return
		}
		point(r, p.On.AddDays(at))
	}
	point(last, p.RollOut)
	p.Ahead = ahead
}

// Words says in sentences what the chart shows.
func (p Progress) Words() []string {
	words := []string{p.nowWords()}
	if s := p.aheadWords(); s != "" {
		words = append(words, s)
	}
	return words
}

func (p Progress) nowWords() string {
	switch {
	case p.CameOff == 0:
		return fmt.Sprintf("By %s no part had come off.", p.On.Words())
	case p.Fitted == 0:
		return fmt.Sprintf("By %s, %s come off, and none was back on yet.", p.On.Words(), parts(p.CameOff, "had"))
	case p.Off() == 0 && p.CameOff == 1:
		return fmt.Sprintf("By %s the one part that came off was back on.", p.On.Words())
	case p.Off() == 0:
		return fmt.Sprintf("By %s all %d parts that came off were back on.", p.On.Words(), p.CameOff)
	case p.Fitted == 1:
		return fmt.Sprintf("By %s, 1 of the %d parts that came off was back on.", p.On.Words(), p.CameOff)
	}
	return fmt.Sprintf("By %s, %d of the %d parts that came off were back on.", p.On.Words(), p.Fitted, p.CameOff)
}

// parts counts parts with a verb: "12 parts had".
func parts(n int, verb string) string {
	if n == 1 {
		return "1 part " + verb
	}
	return fmt.Sprintf("%d parts %s", n, verb)
}

// aheadWords says what the past weeks say of those to come: a range, never a
// promise. Nothing where nothing can be said that is of use.
func (p Progress) aheadWords() string {
	by := p.RollOut.Words()
	switch {
	case p.Ahead != nil:
		return fmt.Sprintf("At the pace of the last %d weeks, four times in five, %s by the roll-out day, %s. That is what those weeks would give, and no promise: other parts may come off, and weeks differ.",
			p.Ahead.Weeks, p.rangeWords(), by)
	case p.Why == "short":
		return fmt.Sprintf("What the pace says of the weeks to come is shown once there are %d whole weeks of work to go by; so far there are %d.", forecast.LeastWeeks, len(p.Weeks))
	case p.Why == "idle":
		return "No part went back on in the past weeks, so their pace does not say when the next one will."
	}
	return ""
}

// rangeWords says the range for the roll-out day, of the parts that are off.
func (p Progress) rangeWords() string {
	r, off := p.Ahead.RollOutRange(), p.Off()
	switch {
	case off == 1 && r.Low == 1:
		return "the one part that is still off would be back on"
	case r.Low == off:
		return fmt.Sprintf("all %d parts that are still off would be back on", off)
	case r.High == 0:
		return "no more parts would be back on"
	case r.Low == r.High:
		return fmt.Sprintf("about %d more of the %d parts that are still off would be back on", r.High, off)
	case off == 1:
		return "the one part that is still off may or may not be back on"
	case r.High == off && r.Low == 0:
		return fmt.Sprintf("anything from none to all %d of the parts that are still off would be back on", off)
	case r.High == off:
		return fmt.Sprintf("between %d and all %d of the parts that are still off would be back on", r.Low, off)
	case r.Low == 0 && r.High == 1:
		return "at most 1 more part would be back on"
	case r.Low == 0:
		return fmt.Sprintf("at most %d more parts would be back on", r.High)
	}
	return fmt.Sprintf("between %d and %d more parts would be back on", r.Low, r.High)
}
