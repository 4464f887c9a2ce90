// Package leak finds private things in public words: names of things however
// they are disguised, copied sentences, and numbers that equal a private one.
//
// An Index is made once from everything that is private and then asked about
// any number of texts. It is a function of those two alone: it reads no files,
// no database and no clock, and it knows nothing of where values come from or
// of who may see them. A finding says where it stands in the text and never
// tells the private value again in full.
//
// A text is first folded to what a reader sees (fold.go): markup, invisible
// characters, look-alike letters and compatibility forms are undone, and each
// folded byte remembers where it came from. Names are sought in the folded text
// with all spacing taken out, at the edges of words. Copied sentences are sought
// by winnowing, and by the containment of shingles where words were dropped or
// swapped; DEVELOPERS.md tells how the thresholds were chosen. A paraphrase cannot
// be found by a program. Weights, pressures and other quantities are looked for only
// where a private value is one (quantities.go).
package leak

import (
	"cmp"
	"slices"
	"strings"
	"unicode"

	"example.org/opencowl/internal/measure"
)

// The codes of findings.
const (
	CodeName   = "private-name"
	CodeCopied = "copied-sentence"
	CodeNumber = "private-number"
	CodeCall   = "contact"
)

// The kinds of contact that are found by their form alone.
const (
	KindEmail     = "email address"
	KindPostcode  = "postal code"
	KindTelephone = "telephone number"
)

// Value is one private thing. Kind says what it is, in anybody's words: a person,
// a supplier, a term, a sum of money, a measurement or a share, an address or
// telephone number, or an identifier ("number", "serialNo", "drawing ref").
// Where the kind leaves it open, the form of the value decides. Where says where
// it stands; it comes back with a finding and is not read.
type Value struct{ Kind, Value, Where string }

// Note is private text that must not be copied.
type Note struct{ Text, Where string }

// Reading is a private measurement: a length, or a share if IsShare. Two
// lengths of one part also give their difference, the share lost and the share
// left. A Part of "" belongs to every text.
type Reading struct {
	Part    string
	Kind    string
	Length  measure.Length
	Share   measure.Percent
	IsShare bool
	Where   string
}

// Private is everything that must not be told.
type Private struct {
	Values   []Value
	Notes    []Note
	Readings []Reading
	// Credited are names and contacts that may be told although a Value has them,
	// however they are spaced and cased.
	Credited []string
	// RunOfWords is how many words in a row count as copied; 8 if it is 0.
	RunOfWords int
	// Allowed reports whether a name or an address, as it stands in the text,
	// is one that anybody may know. It may be nil.
	Allowed func(string) bool
}

// Finding is a private thing in a text. Text[Start:End] is where, in bytes.
// Shown is a hint that never repeats the private value in full.
type Finding struct {
	Code, Kind string
	Start, End int
	Where      string
	Shown      string
}

// Index finds the private things that it was made from. It does not change and
// may be used by several goroutines at once.
type Index struct {
	names     nameTable
	merged    nameTable // the same with rn as m and vv as w
	copies    *copyIndex
	readings  readingIndex
	amounts   quantityIndex
	costs     []cost
	addresses []address
	credited  credited
	allowed   func(string) bool
}

const (
	usualRun    = 8
	longestName = 200 // bytes; a longer value is prose, and held against the text as a note
)

// builder gathers what an Index is made of.
type builder struct {
	credited  credited
	senses    map[string]kindSense
	keys      []key
	costs     []cost
	addresses []address
	readings  []Reading
	notes     []Note

	quantities []privateQuantity
}

// NewIndex makes an index.
func NewIndex(p Private) *Index {
	x := &Index{allowed: p.Allowed}
	if x.allowed == nil {
		x.allowed = func(string) bool { return false }
	}
	b := builder{senses: map[string]kindSense{}, credited: creditedNames(p.Credited), notes: slices.Clone(p.Notes), readings: slices.Clone(p.Readings)}
	for _, v := range p.Values {
		if len(v.Value) > longestName {
			b.notes = append(b.notes, Note{v.Value, v.Where})
			continue
		}
		b.keep(v)
	}
	x.copies = newCopyIndex(b.notes, cmp.Or(p.RunOfWords, usualRun))
	x.names, x.merged = newNameTable(b.keys), newNameTable(mergedKeys(b.keys))
	x.readings = newReadingIndex(b.readings)
	x.amounts = newQuantityIndex(b.quantities)
	x.costs, x.addresses, x.credited = b.costs, b.addresses, b.credited
	slices.SortStableFunc(x.costs, func(a, b cost) int { return cmp.Compare(a.thousandths, b.thousandths) })
	return x
}

// Find returns what is private in a text, in the order of the text. Numbers
// are held against the readings of all parts; a share in words ("half the
// team") counts only in FindAbout.
func (x *Index) Find(text string) []Finding { return x.find(text, nil, true) }

// FindAbout is Find for a text that is about some parts: its numbers are held
// against the readings of those alone.
func (x *Index) FindAbout(text string, parts []string) []Finding { return x.find(text, parts, false) }

func (x *Index) find(text string, parts []string, anyPart bool) []Finding {
	var found []Finding
	for _, p := range fold(text) {
		p.read()
		var here []Finding
		here = append(here, x.namesIn(p)...)
		here = append(here, x.contactsIn(p)...)
		here = append(here, x.copies.in(p)...)
		here = append(here, x.costsIn(p)...)
		here = append(here, x.readings.in(p, parts, anyPart)...)
		here = append(here, x.amounts.in(p)...)
		for _, f := range here {
			f.Start, f.End = p.source(f.Start, f.End)
			found = append(found, f)
		}
	}
	slices.SortStableFunc(found, func(a, b Finding) int {
		return cmp.Or(a.Start-b.Start, b.End-a.End, strings.Compare(a.Code, b.Code), strings.Compare(a.Kind, b.Kind))
	})
	return slices.CompactFunc(found, func(a, b Finding) bool { return a.Code == b.Code && a.Kind == b.Kind && b.End <= a.End })
}

// hint shows the beginning of a text: three characters, and never more than half
// of it.
func hint(s string) string {
	const most = 3
	r := []rune(strings.Join(strings.Fields(s), " "))
	n := min(most, len(r)/2)
	return string(r[:n]) + "..."
}

// numberHint shows how long a number is, its unit, and of two figures or more
// the first: "1.xx mm". A number in words is shown as hint does.
func numberHint(s string) string {
	figures := 0
	for _, r := range s {
		if unicode.IsDigit(r) {
			figures++
		}
	}
	if figures == 0 {
		return hint(s)
	}
	seen := 0
	return strings.Map(func(r rune) rune {
		if !unicode.IsDigit(r) {
			return r
		}
		if seen++; seen == 1 && figures > 1 {
			return r
		}
		return 'x'
	}, s)
}
