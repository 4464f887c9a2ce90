package wording

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"example.org/opencowl/internal/reading"
)

// FactRef is one released fact that a text names: {fact:PART.FIELD|FORM}.
type FactRef struct {
	Part  string // the id of a part; it never leaves
	Field string // "thickness", "date.removed"
	Form  string // "mm", "day"
	Place reading.Place
	Raw   string // as written, braces and all
}

// ErrFact is wrapped by the errors of Expand about a fact that is not written
// as one.
var ErrFact = errors.New("not a released fact")

// FactFields returns the fields that a fact may name, date.STEP written out.
func FactFields() []string {
	fields := []string{"thickness", "least_thickness", "loss", "material", "pile", "source", "cost"}
	for _, step := range Steps() {
		fields = append(fields, "date."+step)
	}
	return fields
}

// Steps returns the steps of work, in the order in which they usually come.
func Steps() []string {
	return []string{"removed", "inspected", "cleaned", "sent-away", "made", "bought", "borrowed", "tested", "painted", "fitted", "note"}
}

// FactForms returns the forms in which a field can be told, or nil for an
// unknown field.
func FactForms(field string) []string {
	switch field {
	case "thickness", "least_thickness":
		return []string{"mm", "inch", "gauge"}
	case "loss":
		return []string{"percent"}
	case "material", "pile", "source":
		return []string{"words"}
	case "cost":
		return []string{"money"}
	}
	if step, ok := strings.CutPrefix(field, "date."); ok && slices.Contains(Steps(), step) {
		return []string{"day", "month"}
	}
	return nil
}

func allForms() []string {
	return []string{"mm", "inch", "gauge", "percent", "words", "day", "month", "money"}
}

// AllowsFacts reports whether facts may stand in a field, given by its path.
func AllowsFacts(field string) bool {
	return slices.Contains([]string{"came_off", "failed", "replaced", "say", "answer", "talk", "body"}, last(field)) ||
		slices.Contains([]string{"opening", "ask.text", "ask.earlier"}, field)
}

// Facts finds the released facts that a text names. What is meant for a fact
// and is not one is a problem: it would be printed as it stands. Two braces,
// {{fact:, print one and name nothing.
func Facts(t Text) ([]FactRef, []reading.Problem) {
	var refs []FactRef
	var problems []reading.Problem
	places := newCursor(t)
	for _, p := range pieces(t.Value) {
		if p.kind != factPiece {
			continue
		}
		place := places.to(p.offset)
		if !AllowsFacts(t.Field) {
			problems = append(problems, reading.Problem{Place: place, Code: "fact-not-here", Value: reading.Shorten(p.raw),
				Message: "a fact cannot stand in " + fieldName(t.Field),
				Remedy:  "move it to came_off, failed, replaced, say, answer, talk, the body, an edition's opening or its ask, or write the words out"})
			continue
		}
		ref, fault := parseFact(p.raw)
		if fault != nil {
			problems = append(problems, reading.Problem{Place: places.to(p.offset + fault.offset), Code: fault.code,
				Value: reading.Shorten(p.raw), Message: fault.message, Remedy: fault.remedy})
			continue
		}
		ref.Place = place
		refs = append(refs, ref)
	}
	return refs, problems
}

// fieldName is a field for a person: "ask" of "questions[0].ask".
func fieldName(field string) string {
	name, _, _ := strings.Cut(last(field), "[")
	if name == "" {
		return "this text"
	}
	return name
}

// Expand replaces every fact in a text with what resolve says, and {{fact:
// with {fact:. What resolve returns is not looked at again. The refs that
// resolve gets have no Place. The error names the fact and wraps ErrFact or
// the error of resolve; there is no text with it.
func Expand(text string, resolve func(FactRef) (string, error)) (string, error) {
	var out strings.Builder
	for _, p := range pieces(text) {
		switch p.kind {
		case plainPiece:
			out.WriteString(p.raw)
		case literalPiece:
			out.WriteString(p.raw[1:])
		case factPiece:
			ref, fault := parseFact(p.raw)
			if fault != nil {
				return "", fmt.Errorf("%w: %s; %s", ErrFact, fault.message, fault.remedy)
			}
			value, err := resolve(ref)
			if err != nil {
				return "", fmt.Errorf("fact %s: %w", p.raw, err)
			}
			out.WriteString(value)
		}
	}
	return out.String(), nil
}

type pieceKind int

const (
	plainPiece   pieceKind = iota
	literalPiece           // {{fact:
	factPiece              // a fact, or what is meant for one
)

// piece is a stretch of a text.
type piece struct {
	kind   pieceKind
	offset int
	raw    string
}

// meant finds where somebody meant a fact: its beginning in any spelling, or
// the whole of one that lacks the word.
var meant = regexp.MustCompile(`\{\{fact:|\{\s*(?i:facts?)\s*[:|.]|\{[a-z0-9-]+\.[a-z_]+(\.[a-z-]+)?\|[a-z]*\}`)

// pieces cuts a text into facts, literal beginnings of facts and the rest.
// Joined, they are the text.
func pieces(text string) []piece {
	var all []piece
	done := 0
	plain := func(to int) {
		if to > done {
			all = append(all, piece{plainPiece, done, text[done:to]})
		}
	}
	for {
		at := meant.FindStringIndex(text[done:])
		if at == nil {
			plain(len(text))
			return all
		}
		from, to := done+at[0], done+at[1]
		plain(from)
		kind := literalPiece
		if text[from:to] != "{{fact:" {
			kind, to = factPiece, from+factLength(text[from:])
		}
		all = append(all, piece{kind, from, text[from:to]})
		done = to
	}
}

// factLength is how far a fact reaches: to its closing brace or, when it is
// not closed, to the next brace or space after its name has begun.
func factLength(text string) int {
	begun := strings.IndexAny(text, ":|.") + 1
	end := len(text)
	if n := strings.IndexAny(text[begun:], "{}\n"); n >= 0 {
		end = begun + n
		if text[end] == '}' {
			return end + 1
		}
	}
	if n := strings.IndexAny(text[begun:end], " \t\r"); n >= 0 {
		return begun + n
	}
	return end
}

// fault is what is wrong with a fact, and how far into it.
type fault struct {
	offset                int
	code, message, remedy string
}

// shape is what every fact looks like.
const shape = "write it as {fact:PART.FIELD|FORM}, such as {fact:floor-stiffener.thickness|mm}"

// parseFact reads one fact. The place of a fault is in bytes from its brace.
func parseFact(raw string) (FactRef, *fault) {
	malformed := func(offset int, message string) (FactRef, *fault) {
		return FactRef{}, &fault{offset, "bad-fact", fmt.Sprintf("%q %s", reading.Shorten(raw), message), shape}
	}
	if !strings.HasSuffix(raw, "}") {
		return malformed(0, "has no closing brace")
	}
	inner, ok := strings.CutPrefix(raw[:len(raw)-1], "{fact:")
	if !ok {
		return malformed(0, `does not begin with "{fact:"`)
	}
	part, rest, ok := strings.Cut(inner, ".")
	partAt := len("{fact:")
	fieldAt := partAt + len(part) + 1
	switch {
	case !reading.IsID(part):
		return malformed(partAt, "does not name a part by its id")
	case !ok:
		return malformed(len(raw)-1, "names no field")
	}
	field, form, ok := strings.Cut(rest, "|")
	formAt := fieldAt + len(field) + 1
	if FactForms(field) == nil {
		return FactRef{}, &fault{fieldAt, "unknown-field", fmt.Sprintf("the fact has no field %q", reading.Shorten(field)), fieldRemedy(field)}
	}
	if !ok {
		return malformed(len(raw)-1, "names no form")
	}
	forms := FactForms(field)
	if !slices.Contains(forms, form) {
		message := fmt.Sprintf("the fact has no form %q", reading.Shorten(form))
		if slices.Contains(allForms(), form) {
			message = fmt.Sprintf("%s cannot be told as %q", field, form)
		}
		return FactRef{}, &fault{formAt, "unknown-form", message, "the forms of " + field + " are " + strings.Join(forms, ", ")}
	}
	return FactRef{Part: part, Field: field, Form: form, Raw: raw}, nil
}

// fieldRemedy lists the fields that could be meant, and the nearest.
func fieldRemedy(field string) string {
	remedy := "the fields are thickness, least_thickness, loss, material, pile, source, cost and date.STEP"
	if strings.HasPrefix(field, "date") {
		remedy = "the dates are date. and one of " + strings.Join(Steps(), ", ")
	}
	if near := reading.Nearest(field, FactFields()); near != "" {
		remedy += fmt.Sprintf("; did you mean %q?", near)
	}
	return remedy
}
