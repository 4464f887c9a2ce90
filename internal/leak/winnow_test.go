package leak_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode"

	"example.org/opencowl/internal/leak"
)

// Schleimer, Wilkerson, Aiken: Winnowing, SIGMOD 2003, figure 2.
func TestWinnowingIsThePublishedExample(t *testing.T) {
	text := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, "A do run run run, a do run run")
	if text != "adorunrunrunadorunrun" {
		t.Fatalf("the text squeezes to %q", text)
	}
	grams := strings.Fields("adoru dorun orunr runru unrun nrunr runru unrun nruna runad unado nador adoru dorun orunr runru unrun")
	for i, g := range grams {
		if text[i:i+5] != g {
			t.Errorf("5-gram %d is %q, want %q", i, text[i:i+5], g)
		}
	}
	hashes := []uint64{77, 74, 42, 17, 98, 50, 17, 98, 8, 88, 67, 39, 77, 74, 42, 17, 98}
	want := []leak.Fingerprint{{Hash: 17, Position: 3}, {Hash: 17, Position: 6}, {Hash: 8, Position: 8}, {Hash: 39, Position: 11}, {Hash: 17, Position: 15}}
	if got := leak.Winnow(hashes, 4); !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	hashes[1], hashes[13] = 72, 72 // as some copies of the figure print it
	if got := leak.Winnow(hashes, 4); !reflect.DeepEqual(got, want) {
		t.Errorf("with 72 for 74: got %v, want %v", got, want)
	}
}

// Worked out by hand from the rule: the rightmost smallest of each window.
func TestWinnowingSlidesOverEqualHashes(t *testing.T) {
	got := leak.Winnow(slices.Repeat([]uint64{17}, 17), 4)
	if len(got) != 14 {
		t.Fatalf("%d picks of 17 equal hashes, want 14: %v", len(got), got)
	}
	for i, f := range got {
		if f.Position != i+3 {
			t.Errorf("pick %d at %d, want %d", i, f.Position, i+3)
		}
	}
}

// The promise of section 3: whatever is w+k−1 long and shared, is found.
func TestWinnowingPicksInEveryWindow(t *testing.T) {
	state := uint64(1)
	hashes := make([]uint64, 500)
	for i := range hashes {
		state = state*6364136223846793005 + 1442695040888963407
		hashes[i] = state >> 60 // few values, so that many are equal
	}
	for w := 1; w < 9; w++ {
		picks := leak.Winnow(hashes, w)
		for start := 0; start+w <= len(hashes); start++ {
			if !slices.ContainsFunc(picks, func(f leak.Fingerprint) bool { return start <= f.Position && f.Position < start+w }) {
				t.Errorf("window of %d at %d has no pick", w, start)
			}
		}
	}
	if got := leak.Winnow([]uint64{3, 1, 2}, 4); len(got) != 1 || got[0].Position != 1 {
		t.Errorf("fewer hashes than a window: %v", got)
	}
	if got := leak.Winnow(nil, 4); got != nil {
		t.Errorf("no hashes: %v", got)
	}
}
