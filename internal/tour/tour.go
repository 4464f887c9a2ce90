// Package tour works out how long a tour takes: the time at each stop and the
// walk between stops.
//
// It works on cleared values alone and never sees the engineering record.
package tour

import (
	"math"
	"strings"
	"time"

	"example.org/opencowl/internal/cleared"
)

// Seconds that one prop takes for each person of the group (common practice, no
// source; the figures are the workshop's own).
const (
	dropProofEach = 3 * time.Second
	twoHandsEach  = 5 * time.Second
)

// Timing is how long one stop takes.
type Timing struct {
	Talk  time.Duration // the words at the tour's pace
	Props time.Duration // handing things round the whole group
	Stop  time.Duration // the greatest of the planned minutes, Talk and Props
	Walk  time.Duration // from the stop before, or from the start
}

// Timings returns the time of each stop of a tour, in order.
func Timings(t cleared.Tour) []Timing {
	x, y := t.StartX(), t.StartY()
	var all []Timing
	for _, s := range t.Stops() {
		timing := atStop(t, s)
		metres := math.Hypot(s.X()-x, s.Y()-y)
		if s.WalkFromLast() > 0 {
			metres = s.WalkFromLast()
		}
		timing.Walk = seconds(metres / t.Walk())
		x, y = s.X(), s.Y()
		all = append(all, timing)
	}
	return all
}

func atStop(t cleared.Tour, s cleared.Stop) Timing {
	var timing Timing
	words := 0
	for _, story := range s.Stories() {
		words += len(strings.Fields(story.Talk()))
		for _, p := range story.Props() {
			switch p.HandRound {
			case cleared.DropProof:
				timing.Props += time.Duration(t.Group()) * dropProofEach
			case cleared.TwoHands:
				timing.Props += time.Duration(t.Group()) * twoHandsEach
			}
		}
	}
	timing.Talk = seconds(float64(words) / t.Pace() * 60)
	timing.Stop = max(s.Minutes(), timing.Talk, timing.Props)
	return timing
}

func seconds(s float64) time.Duration {
	return time.Duration(math.Round(s)) * time.Second
}
