// Package planted holds texts in which something private was planted on
// purpose, and texts that come close and hold nothing. Package leak is measured
// against them.
//
// Usual is made from tables: each private value in each disguise. Other was
// written by hand, without looking at what the rules do. Both are always the
// same.
package planted

import (
	"fmt"

	"example.org/opencowl/internal/leak"
)

// Value is a private value of a case.
type Value struct {
	Kind  string `json:"kind"`
	Value string `json:"value"`
}

// Case is one text, what is private beside it, and whether it leaks.
type Case struct {
	ID       string   `json:"id"`
	Text     string   `json:"text"`
	Private  []Value  `json:"private"`
	Notes    []string `json:"notes"`
	Credited []string `json:"credited"`
	Leak     bool     `json:"leak"`
}

// Index makes the index of a case.
func (c Case) Index() *leak.Index {
	p := leak.Private{Credited: c.Credited}
	for i, v := range c.Private {
		p.Values = append(p.Values, leak.Value{Kind: v.Kind, Value: v.Value, Where: fmt.Sprintf("private[%d]", i)})
	}
	for i, n := range c.Notes {
		p.Notes = append(p.Notes, leak.Note{Text: n, Where: fmt.Sprintf("notes[%d]", i)})
	}
	return leak.NewIndex(p)
}

// Tally counts what was found in a row of cases.
type Tally struct {
	Leaks, Found  int
	Clean, Alarms int
}

// Add counts one case.
func (t *Tally) Add(c Case, found bool) {
	switch {
	case c.Leak && found:
		t.Leaks, t.Found = t.Leaks+1, t.Found+1
	case c.Leak:
		t.Leaks++
	case found:
		t.Clean, t.Alarms = t.Clean+1, t.Alarms+1
	default:
		t.Clean++
	}
}

// String writes the tally with its shares.
func (t Tally) String() string {
	share := func(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }
	return fmt.Sprintf("found %d of %d leaks (%.1f %%); %d false alarms in %d clean texts (%.1f %%)", t.Found, t.Leaks, share(t.Found, t.Leaks), t.Alarms, t.Clean, share(t.Alarms, t.Clean))
}
