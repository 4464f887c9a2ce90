package tour_test

import (
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/tour"
)

func TestStopTakesTheGreatestOfPlanTalkAndProps(t *testing.T) {
	story := func(words int, props ...cleared.Prop) []cleared.Story {
		return []cleared.Story{cleared.NewStory(cleared.StoryFields{Talk: strings.Repeat("word ", words), Props: props})}
	}
	stop := func(minutes int, x float64, stories []cleared.Story) cleared.Stop {
		return cleared.NewStop(cleared.StopFields{Minutes: time.Duration(minutes) * time.Minute, X: x, Stories: stories})
	}
	for _, c := range []struct {
		name       string
		pace, walk float64
		stop       cleared.Stop
		want       tour.Timing
	}{
		// 300 words at 130 a minute take 138.46 s (650 words = 5.0 min in the same
		// published speech-length table, which divides by 130).
		{"talk", 130, 1, stop(1, 0, story(300)), tour.Timing{Talk: 138 * time.Second, Stop: 138 * time.Second}},
		{"650 words are five minutes", 130, 1, stop(1, 0, story(650)), tour.Timing{Talk: 300 * time.Second, Stop: 300 * time.Second}},
		{"planned minutes", 130, 1, stop(5, 0, story(300)), tour.Timing{Talk: 138 * time.Second, Stop: 300 * time.Second}},
		{"props", 130, 1, stop(2, 0, story(0, cleared.Prop{HandRound: cleared.DropProof}, cleared.Prop{HandRound: cleared.TwoHands}, cleared.Prop{HandRound: cleared.LookOnly})),
			tour.Timing{Props: 200 * time.Second, Stop: 200 * time.Second}},
		// Walking: 120 m at 1.2 m/s (UK LTN 2/95) take 100 s; at 3.5 ft/s (MUTCD 2009) 112.49 s.
		{"walk at 1.2 m/s", 130, 1.2, stop(1, 120, story(0)), tour.Timing{Stop: time.Minute, Walk: 100 * time.Second}},
		{"walk at 3.5 ft/s", 130, 1.0668, stop(1, 120, story(0)), tour.Timing{Stop: time.Minute, Walk: 112 * time.Second}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := tour.Timings(cleared.NewTour(cleared.TourFields{Group: 25, Pace: c.pace, Walk: c.walk, Stops: []cleared.Stop{c.stop}}))
			if got[0] != c.want {
				t.Errorf("got %+v, want %+v", got[0], c.want)
			}
		})
	}
}
