package card

import (
	"fmt"
	"testing"

	"example.org/opencowl/internal/cleared"
)

// BenchmarkDeck lays out and writes a hundred A5 cards with both faces.
func BenchmarkDeck(b *testing.B) {
	var stops []cleared.Stop
	photo := []cleared.Photo{photoOf(b)}
	plain := stiffener(b)
	for i := range 100 {
		story := plain
		story.Photos = photo
		story.ID = fmt.Sprintf("story-%d", i)
		story.Title = fmt.Sprintf("The floor that rotted from inside, part %d", i)
		stops = append(stops, stopNamed(fmt.Sprintf("hull-floor-%d", i), i+1, cleared.NewStory(story)))
	}
	t := tourOf(stops...)
	for b.Loop() {
		mustDeck(b, t, options("a5"))
	}
}
