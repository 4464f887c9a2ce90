package card

import (
	"errors"
	"fmt"
	"maps"
	"strings"

	"example.org/opencowl/internal/card/draw"
)

// Overflow is the error for text that does not fit. Several are joined with
// errors.Join when more than one field must give way.
type Overflow struct {
	Card  string // its number: "3a"
	Story string // id; "stop ID" on a sheet for the guide alone
	Paper string // a6, a5, a4 or letter
	Face  string // front or back
	Field string // title, came_off, failed, talk …
	Words int    // how many to lose
}

func (e *Overflow) Error() string {
	words := "words"
	if e.Words == 1 {
		words = "word"
	}
	return fmt.Sprintf("card %s (%s), %s: the text does not fit on %s; take %d %s out of %q, or choose larger paper",
		e.Card, e.Story, e.Face, e.Paper, e.Words, words, e.Field)
}

// overflow finds which fields must lose how many words: one word at a time from
// whichever field is then the longest, until all fits.
func (c composer) overflow(k content, sheet layout) error {
	lost := map[string]int{}
	short := k.clone()
	for {
		field := short.longest(c.side)
		if field == "" {
			return fmt.Errorf("the card does not fit on %s even without its text; choose larger paper, or fewer credits and cautions", c.paperName)
		}
		short.shorten(c.side, field)
		lost[field]++
		page, err := c.smallest(short, sheet)
		if err != nil {
			return err
		}
		if page {
			break
		}
	}
	var all []error
	for _, field := range k.shortenable(c.side) {
		if lost[field] > 0 {
			all = append(all, &Overflow{Card: k.Number, Story: k.name(), Paper: c.paperName, Face: c.side, Field: field, Words: lost[field]})
		}
	}
	return errors.Join(all...)
}

// smallest reports whether a card fits in the smallest type.
func (c composer) smallest(k content, sheet layout) (bool, error) {
	_, err := c.at(0, k, sheet, &draw.Node{})
	if errors.Is(err, errNoRoom) {
		return false, nil
	}
	return err == nil, err
}

// shortenable lists the fields that a writer can take words out of.
func (k content) shortenable(side string) []string {
	switch {
	case k.GuideOnly:
		return []string{fieldWithheld}
	case side == front:
		return []string{fieldTitle, fieldCameOff, fieldFailed, fieldReplaced, fieldCredits}
	}
	return []string{fieldTitle, fieldTalk, fieldProps, fieldQuestions, fieldClaims}
}

func (k content) clone() content {
	k.Front, k.Back = maps.Clone(k.Front), maps.Clone(k.Back)
	return k
}

func (k content) sections(side string) map[string]section {
	if side == front && !k.GuideOnly {
		return k.Front
	}
	return k.Back
}

// longest names the field with the most words, and more than one of them.
func (k content) longest(side string) string {
	best, most := "", 1
	for _, field := range k.shortenable(side) {
		n := len(strings.Fields(k.Title))
		if field != fieldTitle {
			n = k.sections(side)[field].words()
		}
		if n > most {
			best, most = field, n
		}
	}
	return best
}

func (s section) words() int {
	n := 0
	for _, e := range s.Entries {
		n += len(strings.Fields(e.Lead)) + len(strings.Fields(e.Text))
	}
	return n
}

// shorten takes the last word out of a field.
func (k *content) shorten(side, field string) {
	if field == fieldTitle {
		k.Title = withoutLast(k.Title)
		return
	}
	s := k.sections(side)[field]
	s.Entries = append([]entry(nil), s.Entries...)
	last := &s.Entries[len(s.Entries)-1]
	switch {
	case strings.TrimSpace(last.Text) != "":
		last.Text = withoutLast(last.Text)
	default:
		last.Lead = withoutLast(last.Lead)
	}
	if strings.TrimSpace(last.Lead+last.Text) == "" {
		s.Entries = s.Entries[:len(s.Entries)-1]
	}
	k.sections(side)[field] = s
}

func withoutLast(s string) string {
	words := strings.Fields(s)
	return strings.Join(words[:max(0, len(words)-1)], " ")
}
