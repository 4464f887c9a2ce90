package member

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Terms are the circumstances on which the charity's soft opt-in rests: PECR reg
// 22(3A), inserted by the Data (Use and Access) Act 2025 s 114.
type Terms struct {
	Collected string // "directly" from the person, or by a "third-party"
	Because   string // they gave "support" or showed "interest" in the charity's purposes
	Purpose   string // "charitable" alone, or "mixed" with selling
	Refusal   string // a simple way to refuse was "offered" there and then, or "not-offered"
}

// words are the values that the columns of Terms may have; the first ones are good.
func (t Terms) words() []struct {
	column, value string
	good, bad     []string
	remedy        string
} {
	return []struct {
		column, value string
		good, bad     []string
		remedy        string
	}{
		{"collected", t.Collected, []string{"directly"}, []string{"third-party"}, "this basis covers only details that the person gave you directly, and not through somebody else's platform; ask the person for consent"},
		{"because", t.Because, []string{"support", "interest"}, nil, "this basis is for people who gave support or showed interest"},
		{"purpose", t.Purpose, []string{"charitable"}, []string{"mixed"}, "this basis covers only letters whose sole purpose is the charity's own, and no selling; ask the person for consent"},
		{"refusal", t.Refusal, []string{"offered"}, []string{"not-offered"}, "this basis needs a simple way to refuse, offered when the details were given; ask the person for consent"},
	}
}

// softOptInFrom is the first day on which details may be collected under PECR
// reg 22(3A): in force 5 February 2026, and not for details from before (Data
// (Use and Access) Act 2025 s 114).
func softOptInFrom() time.Time { return time.Date(2026, time.February, 5, 0, 0, 0, 0, time.UTC) }

// earliestConsent is the year before which nobody can have agreed to letters by
// email: the first were sent between machines in 1971 (from memory).
const earliestConsent = 1971

// slip is what is wrong with one thing that is known of a person.
type slip struct{ column, remedy string }

// faults says why a consent is no good ground for writing to somebody.
func (c Consent) faults(now time.Time, charity bool) []slip {
	var all []slip
	say := func(column, remedy string, args ...any) {
		all = append(all, slip{column, fmt.Sprintf(remedy, args...)})
	}
	if c.Basis != Consented && c.Basis != SoftOptIn {
		say("basis", "write consent or charity-soft-opt-in; without a basis nobody may be written to")
		return all
	}
	for _, need := range []struct{ column, value, remedy string }{
		{"source", c.Source, "say where the person agreed, such as: gate form, open day"},
		{"wording_version", c.WordingVersion, "say which wording the person was shown"},
	} {
		if need.value == "" {
			say(need.column, "%s", need.remedy)
		} else if r, hidden := unseen(need.value); hidden {
			say(need.column, unseenRemedy, r)
		}
	}
	switch {
	case c.At.IsZero():
		say("consented_at", "say when the person agreed, as 2031-01-14")
	case c.At.After(now):
		say("consented_at", "it lies in the future; check the year")
	case c.At.Year() < earliestConsent:
		say("consented_at", "it lies before there were addresses like these; check the year")
	}
	for column, at := range map[string]time.Time{"confirmed_at": c.ConfirmedAt, "withdrawn_at": c.WithdrawnAt} {
		switch {
		case at.IsZero():
		case at.After(now):
			say(column, "it lies in the future; check the year")
		case at.Before(c.At):
			say(column, "it lies before they agreed; check the two")
		}
	}
	if c.Basis == SoftOptIn {
		all = append(all, c.softOptInFaults(charity)...)
	}
	slices.SortStableFunc(all, func(a, b slip) int { return place(a.column) - place(b.column) })
	return all
}

func place(column string) int { return slices.Index(Columns(), column) }

func (c Consent) softOptInFaults(charity bool) []slip {
	var all []slip
	if !charity {
		all = append(all, slip{"basis", "this basis is for charities alone; if the workshop is one, set charity: true in workshop.yaml"})
	}
	if !c.At.IsZero() && c.At.Before(softOptInFrom()) {
		all = append(all, slip{"consented_at", "this basis covers only details collected on or after 2026-02-05; ask the person for consent"})
	}
	for _, w := range c.SoftOptIn.words() {
		if slices.Contains(w.good, w.value) {
			continue
		}
		remedy := w.remedy
		if !slices.Contains(w.bad, w.value) {
			remedy = "say how it was for this basis: " + strings.Join(append(w.good, w.bad...), " or ")
		}
		all = append(all, slip{w.column, remedy})
	}
	return all
}

// maxName keeps a name that is clearly something else out of a letter's header.
const maxName = 200 // characters

func nameFaults(name string) []slip {
	var all []slip
	if r, hidden := unseen(name); hidden {
		all = append(all, slip{"name", fmt.Sprintf(unseenRemedy, r)})
	}
	if utf8.RuneCountInString(name) > maxName {
		all = append(all, slip{"name", fmt.Sprintf("it is longer than %d characters; write the name alone", maxName)})
	}
	return all
}

func givingFaults(m Member) []slip {
	if m.GivingUntil.IsZero() || !m.GivingUntil.Before(m.GivingFrom) {
		return nil
	}
	return []slip{{"giving_until", fmt.Sprintf("it is before giving_from (%s); correct one of the two", m.GivingFrom)}}
}

const unseenRemedy = "it holds a line break or another character that cannot be seen (U+%04X); type it again"

// unseen finds what cannot be seen in a text: it would break a header, or make two
// names that look the same.
func unseen(text string) (rune, bool) {
	for _, r := range text {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == utf8.RuneError {
			return r, true
		}
	}
	return 0, false
}
