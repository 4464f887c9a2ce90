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

// Broder, Glassman, Manasse, Zweig: Syntactic clustering of the Web, 1997.
func TestShinglesAreThePublishedExample(t *testing.T) {
	got := leak.Shingles(strings.Fields("a rose is a rose is a rose"), 4)
	want := []string{"a rose is a", "rose is a rose", "is a rose is"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if r := leak.Resemblance(got, want[:2]); r < 0.666 || r > 0.667 {
		t.Errorf("resemblance %v, want 2/3", r)
	}
	if c := leak.Containment(want[:2], got); c != 1 {
		t.Errorf("containment %v, want 1: all of the first is in the second", c)
	}
	if c := leak.Containment(got, want[:2]); c < 0.666 || c > 0.667 {
		t.Errorf("containment %v, want 2/3", c)
	}
	if c, r := leak.Containment(nil, got), leak.Resemblance[string](nil, nil); c != 0 || r != 0 {
		t.Errorf("of nothing: %v, %v", c, r)
	}
}

// Leskovec, Rajaraman, Ullman: Mining of Massive Datasets, section 3.3.5,
// example 3.8.
func TestMinHashIsThePublishedExample(t *testing.T) {
	hashes := []func(int) uint64{
		func(x int) uint64 { return uint64((x + 1) % 5) },
		func(x int) uint64 { return uint64((3*x + 1) % 5) },
	}
	for _, c := range []struct {
		set  []int
		want []uint64
	}{{[]int{0, 3}, []uint64{1, 0}}, {[]int{2}, []uint64{3, 2}}, {[]int{1, 3, 4}, []uint64{0, 0}}, {[]int{0, 2, 3}, []uint64{1, 0}}} {
		if got := leak.MinHash(c.set, hashes); !slices.Equal(got, c.want) {
			t.Errorf("%v: %v, want %v", c.set, got, c.want)
		}
	}
}
