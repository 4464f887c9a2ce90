// Package planted holds texts in which something private was planted on
// purpose, and texts that come close and hold nothing. Package leak is measured
// against them.
//
// Usual is made from tables: each private value in each disguise. Other was
// written by hand, without looking at what the rules do. Both are always the
// same.
package planted

import (
	"encoding/json"
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

// UnmarshalJSON reads a case as others may write it: one note or one credit need
// not be in a list, and a value may be a number.
func (c *Case) UnmarshalJSON(data []byte) error {
	var read struct {
		ID      any    `json:"id"`
		Text    string `json:"text"`
		Private []struct {
			Kind  string `json:"kind"`
			Value any    `json:"value"`
		} `json:"private"`
		Notes    oneOrMore `json:"notes"`
		Credited oneOrMore `json:"credited"`
		Leak     bool      `json:"leak"`
	}
	if err := json.Unmarshal(data, &read); err != nil {
		return err
	}
	*c = Case{ID: fmt.Sprint(read.ID), Text: read.Text, Notes: read.Notes, Credited: read.Credited, Leak: read.Leak}
	for _, v := range read.Private {
		c.Private = append(c.Private, Value{v.Kind, fmt.Sprint(v.Value)})
	}
	return nil
}

type oneOrMore []string

// UnmarshalJSON reads a list of texts, or one text.
func (o *oneOrMore) UnmarshalJSON(data []byte) error {
	var one string
	if err := json.Unmarshal(data, &one); err == nil {
		*o = nil
		if one != "" {
			*o = oneOrMore{one}
		}
		return nil
	}
	return json.Unmarshal(data, (*[]string)(o))
}
