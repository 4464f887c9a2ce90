// Package tour works out how long a tour takes, the time at each stop and the
// walk between stops, and chooses which stops fit its slot.
//
// It promises that a choice is the best there is, that the same tour gives the
// same choice, and that a stop keeps its number whatever is left out. It works
// on cleared values alone and never sees the engineering record.
package tour

import (
	"fmt"
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
	var all []Timing
	for i, s := range t.Stops() {
		timing := atStop(t, s)
		timing.Walk = seconds(metres(t, i-1, i) / t.Walk())
		all = append(all, timing)
	}
	return all
}

// metres is the way to a stop of a tour from an earlier one; -1 is the start. A
// stop's own measure holds from the stop before it in the tour. From anywhere
// else the longer of it and the plan's distance counts: what stands in the way
// is still there, and no walk is promised too short.
func metres(t cleared.Tour, from, to int) float64 {
	x, y := t.StartX(), t.StartY()
	if from >= 0 {
		x, y = t.Stops()[from].X(), t.Stops()[from].Y()
	}
	s := t.Stops()[to]
	plan := math.Hypot(s.X()-x, s.Y()-y)
	switch measured := s.WalkFromLast(); {
	case measured > 0 && from == to-1:
		return measured
	default:
		return max(plan, measured)
	}
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

// DurationWords writes a length of time as people say it: "4 min 12 s".
func DurationWords(d time.Duration) string {
	d = d.Round(time.Second)
	minutes, seconds := int(d/time.Minute), int(d%time.Minute/time.Second)
	switch {
	case minutes == 0:
		return fmt.Sprintf("%d s", seconds)
	case seconds == 0:
		return fmt.Sprintf("%d min", minutes)
	}
	return fmt.Sprintf("%d min %d s", minutes, seconds)
}
