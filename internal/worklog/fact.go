package worklog

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
)

// What can stand in the way of a fact.
var (
	ErrNoPart  = errors.New("there is no such part")
	ErrNoField = errors.New("there is no such fact")
	ErrNoValue = errors.New("no value on record")
	ErrNoForm  = errors.New("does not suit this fact")
)

// Kind is the kind of a fact's value.
type Kind string

// The kinds of values.
const (
	Thickness Kind = "thickness"
	Percent   Kind = "percent"
	Words     Kind = "words"
	Date      Kind = "date"
	Money     Kind = "money"
)

// Value is one fact of the record. Only the field that its kind names is set.
type Value struct {
	Kind      Kind
	Thickness measure.Thickness
	Percent   measure.Percent
	Words     string // as readers are told it in English
	Key       string // of a pile or a source, as it is logged; "" for words of the record
	Date      day.Date
	Money     measure.Money
}

// forms returns the ways in which a kind of value can be written.
func (k Kind) forms() []string {
	switch k {
	case Thickness:
		return []string{"mm", "inch", "gauge"}
	case Percent:
		return []string{"percent"}
	case Words:
		return []string{"words"}
	case Date:
		return []string{"day", "month"}
	}
	return []string{"money"}
}

// Format writes the value in a form: mm, inch, gauge, percent, words, day,
// month or money. A form that does not suit the value is ErrNoForm; a thickness
// that is no gauge's size is measure.ErrNoGauge.
func (v Value) Format(form string) (string, error) {
	if !slices.Contains(v.Kind.forms(), form) {
		return "", fmt.Errorf("the form %q %w; use %s", reading.Shorten(form), ErrNoForm, strings.Join(v.Kind.forms(), ", "))
	}
	switch form {
	case "mm":
		return v.Thickness.Length.MM(), nil
	case "inch":
		return v.Thickness.Length.Inches(), nil
	case "gauge":
		return v.Thickness.Gauge()
	case "percent":
		return v.Percent.String(), nil
	case "day":
		return v.Date.Words(), nil
	case "month":
		return v.Date.MonthWords(), nil
	case "money":
		return v.Money.String(), nil
	}
	return v.Words, nil
}

// Fields returns the names of the facts that can be asked for.
func Fields() []string {
	fields := []string{"thickness", "least_thickness", "loss", "material", "pile", "source", "cost"}
	for _, step := range Steps() {
		if step != "note" {
			fields = append(fields, "date."+step)
		}
	}
	return fields
}

// Fact answers what the record says of a part on a date. A zero date means the
// whole record. The error is ErrNoPart, ErrNoField or ErrNoValue, and says what
// to log.
func (l *Log) Fact(part, field string, on day.Date) (Value, error) {
	p, ok := l.parts[part]
	if !ok {
		var ids []string
		for _, p := range l.Parts() {
			ids = append(ids, p.ID)
		}
		return Value{}, fmt.Errorf("%w as %q; %s", ErrNoPart, reading.Shorten(part), hint(part, ids, "check the id in the parts folder"))
	}
	if !slices.Contains(Fields(), field) {
		return Value{}, fmt.Errorf("%w as %q; %s", ErrNoField, reading.Shorten(field), hint(field, Fields(), "use "+strings.Join(Fields(), ", ")))
	}
	v, remedy := l.fact(p, field, on)
	if remedy == "" {
		return v, nil
	}
	when := ""
	if !on.IsZero() {
		when = " by " + on.Words()
	}
	return Value{}, fmt.Errorf("the fact \"%s.%s\" has %w%s; %s, or drop the fact", part, field, ErrNoValue, when, remedy)
}

func hint(value string, choices []string, otherwise string) string {
	if near := reading.Nearest(value, choices); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return otherwise
}

// fact returns the value, or what to do so that there is one.
func (l *Log) fact(p *Part, field string, on day.Date) (v Value, remedy string) {
	entries := l.Entries(p.ID, on)
	switch field {
	case "thickness":
		return Value{Kind: Thickness, Thickness: p.Thickness}, unless(p.Thickness.IsSet(), "write the part's thickness")
	case "least_thickness":
		least, ok := leastOf(entries)
		return Value{Kind: Thickness, Thickness: least}, unless(ok, "log a least_thickness")
	case "loss":
		loss, remedy := lossOf(p, entries)
		if remedy != "" {
			return Value{}, remedy
		}
		return Value{Kind: Percent, Percent: loss.Percent()}, ""
	case "material":
		words := fromReplacement(entries, func(r Replacement) string { return r.Material })
		if words == "" {
			words = p.Material
		}
		return Value{Kind: Words, Words: words}, unless(words != "", "write the part's material")
	case "source":
		source := fromReplacement(entries, func(r Replacement) string { return r.Source })
		return Value{Kind: Words, Words: sourceWords(source), Key: source}, unless(source != "", "log a replacement with its source")
	case "cost":
		cost := fromReplacement(entries, func(r Replacement) measure.Money { return r.Cost })
		return Value{Kind: Money, Money: cost}, unless(cost.IsSet(), "log the replacement's cost as GBP 12.50")
	case "pile":
		pile := l.StateOn(p.ID, on).Pile
		return Value{Kind: Words, Words: pileWords(pile), Key: pile}, unless(pile != "", "log a pile")
	}
	step := strings.TrimPrefix(field, "date.")
	date := latest(entries, step)
	return Value{Kind: Date, Date: date}, unless(!date.IsZero(), "log the step "+step)
}

func unless(ok bool, remedy string) string {
	if ok {
		return ""
	}
	return remedy
}

// Loss returns how much of a part's thickness is gone by a date, exactly, from
// the same readings as the fact "loss". It is false where there is none.
func (l *Log) Loss(part string, on day.Date) (measure.Loss, bool) {
	p, ok := l.parts[part]
	if !ok {
		return measure.Loss{}, false
	}
	loss, remedy := lossOf(p, l.Entries(part, on))
	return loss, remedy == ""
}

func lossOf(p *Part, entries []*Entry) (measure.Loss, string) {
	least, ok := leastOf(entries)
	switch {
	case !p.Thickness.IsSet():
		return measure.Loss{}, "write the part's thickness"
	case !ok:
		return measure.Loss{}, "log a least_thickness"
	}
	loss, err := measure.LossOf(p.Thickness.Length, least.Length)
	if err != nil {
		return measure.Loss{}, "correct the part's thickness or its least_thickness, which do not fit together"
	}
	return loss, ""
}

// leastOf returns the smallest reading of the latest article that has one. An
// article begins where a part is removed or its replacement is named, and ends
// where the next begins: the new piece is not as worn as the old one.
func leastOf(entries []*Entry) (least measure.Thickness, ok bool) {
	fresh := true // the next reading is the first of its article
	for _, e := range entries {
		if e.Step == "removed" || e.Replacement.Source != "" {
			fresh = true
		}
		reading := e.Finding.LeastThickness
		if reading.IsSet() && (fresh || reading.Length < least.Length) {
			least, ok, fresh = reading, true, false
		}
	}
	return least, ok
}

// fromReplacement returns a value of the newest replacement: as said last since
// the entry that named its source, or nothing.
func fromReplacement[T comparable](entries []*Entry, field func(Replacement) T) T {
	var none, found T
	named := false
	for _, e := range entries {
		if e.Replacement.Source != "" {
			named, found = true, none
		}
		if v := field(e.Replacement); named && v != none {
			found = v
		}
	}
	return found
}

// latest returns the date of the last entry with a step.
func latest(entries []*Entry, step string) day.Date {
	var date day.Date
	for _, e := range entries {
		if e.Step == step {
			date = e.Date
		}
	}
	return date
}

// pileWords and sourceWords are how the trade says it (common practice, no source).
func pileWords(pile string) string {
	switch pile {
	case "rework":
		return "for rework"
	case "quarantine":
		return "in quarantine"
	}
	return pile
}

func sourceWords(source string) string {
	switch source {
	case "made-here":
		return "made here"
	case "made-outside":
		return "made outside"
	case "stores":
		return "from stores"
	case "loan":
		return "on loan"
	}
	return source
}
