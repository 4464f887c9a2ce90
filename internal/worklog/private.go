package worklog

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
)

// Private is something in the record that must not leave by itself.
type Private struct {
	Kind  string // see Identifiers and Notes
	Value string
	Place reading.Place
}

// list gathers private values, leaving out empty ones.
type list []Private

func (l *list) add(kind, value string, place reading.Place) {
	if strings.TrimSpace(value) != "" {
		*l = append(*l, Private{kind, value, place})
	}
}

// Identifiers returns every private name of a thing or person: the kinds are
// number, serial, drawing, location, supplier, approval, report, cost and
// person. A cost comes twice, as it was written (GBP 12.50) and as readers would
// see it (£12.50). A person is somebody in a photo, a guardian, or a credit
// without credit_ok, where it looks like a name ("Ada Quill", not "someone at
// the bench"). Those of entries come first, by date, then parts and photos by name.
func (l *Log) Identifiers() []Private {
	var found list
	for _, e := range l.entries {
		found.add("supplier", e.Replacement.Supplier, e.Doc.At("replacement.supplier"))
		found.add("approval", e.Replacement.Approval, e.Doc.At("replacement.approval"))
		found.add("report", e.Replacement.Report, e.Doc.At("replacement.report"))
		found.add("cost", e.Replacement.Cost.Written(), e.Doc.At("replacement.cost"))
		if shown := strings.ReplaceAll(e.Replacement.Cost.String(), "\u00a0", " "); shown != e.Replacement.Cost.Written() {
			found.add("cost", shown, e.Doc.At("replacement.cost"))
		}
	}
	for _, p := range l.Parts() {
		found.add("number", p.Number, p.Doc.At("number"))
		found.add("serial", p.Serial, p.Doc.At("serial"))
		found.add("drawing", p.Drawing, p.Doc.At("drawing"))
		found.add("location", p.Location, p.Doc.At("location"))
	}
	for _, t := range l.Tags() {
		if t.CreditOK.IsZero() {
			found.add("person", ifName(t.Credit), t.Doc.At("credit"))
		}
		for i, p := range t.People {
			found.add("person", ifName(p.Who), t.Doc.At(fmt.Sprintf("people[%d].who", i)))
			found.add("person", ifName(p.Guardian), t.Doc.At(fmt.Sprintf("people[%d].guardian", i)))
		}
	}
	return found
}

// ifName returns s if it looks like a person's name: two words or more, each of
// which begins with a capital letter. Otherwise it returns nothing.
func ifName(s string) string {
	words := strings.Fields(s)
	for _, w := range words {
		if first, _ := utf8.DecodeRuneInString(w); !unicode.IsUpper(first) {
			return ""
		}
	}
	if len(words) < 2 {
		return ""
	}
	return s
}

// Notes returns every private free text: the kinds are notes (of parts and
// entries), detail (of findings), why (of boxes), who and guardian (of people in
// photos).
func (l *Log) Notes() []Private {
	var found list
	for _, e := range l.entries {
		found.add("detail", e.Finding.Detail, e.Doc.At("finding.detail"))
		found.add("notes", e.Notes, reading.Place{File: e.File, Line: e.notesLine})
	}
	for _, p := range l.Parts() {
		found.add("notes", p.Notes, reading.Place{File: p.File, Line: p.notesLine})
	}
	for _, t := range l.Tags() {
		for i, b := range t.Hide {
			found.add("why", b.Why, t.Doc.At(fmt.Sprintf("hide[%d].why", i)))
		}
		for i, p := range t.People {
			found.add("who", p.Who, t.Doc.At(fmt.Sprintf("people[%d].who", i)))
			found.add("guardian", p.Guardian, t.Doc.At(fmt.Sprintf("people[%d].guardian", i)))
		}
	}
	return found
}

// Reading is one private measurement.
type Reading struct {
	Kind   string // thickness, least_thickness or limit
	Length measure.Length
	Date   day.Date // zero for thickness and limit
	Place  reading.Place
}

// Readings returns all measurements of a part: its thickness when new, every
// least thickness, and the thickness at which its loss limit is reached.
func (l *Log) Readings(part string) []Reading {
	p, ok := l.parts[part]
	if !ok {
		return nil
	}
	var found []Reading
	if p.Thickness.IsSet() {
		found = append(found, Reading{Kind: "thickness", Length: p.Thickness.Length, Place: p.Doc.At("thickness")})
		if p.LossLimit > 0 {
			found = append(found, Reading{Kind: "limit", Length: measure.Left(p.Thickness.Length, p.LossLimit), Place: p.Doc.At("loss_limit")})
		}
	}
	for _, e := range l.byPart[part] {
		if least := e.Finding.LeastThickness; least.IsSet() {
			found = append(found, Reading{"least_thickness", least.Length, e.Date, e.Doc.At("finding.least_thickness")})
		}
	}
	return found
}
