package card

import (
	"errors"
	"fmt"
	"maps"
	"sort"
	"strings"

	"example.org/opencowl/internal/card/draw"
)

// Overflow is the error for text that does not fit.
type Overflow struct {
	Card  string // its number: "3a"
	Story string // id; "stop ID" on a sheet for the guide alone
	Paper string // a6, a5, a4 or letter
	Face  string // front or back
	Field string // title, came_off, failed, talk …
	Words int    // how many to lose

	// Fits names the next larger papers that hold the face as it stands; none
	// if no paper does.
	Fits []string
}

func (e *Overflow) Error() string {
	return crowded{e}.Error()
}

// crowded is one face of a card that is too full, with each field that must
// give way.
type crowded []*Overflow

func (all crowded) Error() string {
	first := all[0]
	return fmt.Sprintf("card %s (%s), %s: the text does not fit on %s; %s", first.Card, first.Story, first.Face, first.Paper, all.remedy())
}

// remedy says which words to lose, and on which paper none need to go.
func (all crowded) remedy() string {
	var lose []string
	for i, o := range all {
		words := ""
		if i == 0 {
			words = " words"
			if o.Words == 1 {
				words = " word"
			}
		}
		lose = append(lose, fmt.Sprintf("%d%s out of %q", o.Words, words, o.Field))
	}
	said := "take " + listed(lose, "and")
	if len(all[0].Fits) > 0 {
		said += ", or print it on " + listed(all[0].Fits, "or")
	}
	return said
}

func (all crowded) Unwrap() []error {
	errs := make([]error, len(all))
	for i, o := range all {
		errs[i] = o
	}
	return errs
}

// listed joins words as a sentence does: "a, b and c".
func listed(all []string, last string) string {
	if len(all) < 2 {
		return strings.Join(all, "")
	}
	return strings.Join(all[:len(all)-1], ", ") + " " + last + " " + all[len(all)-1]
}

// overflow finds which fields must lose how many words: one word at a time from
// whichever field is then the longest, until all fits.
func (c composer) overflow(k content, sheet layout) error {
	drops := k.drops(c.side)
	var failure error
	// The fewest words without which it fits; a shorter card fits where a longer does.
	words := sort.Search(len(drops)+1, func(n int) bool {
		if failure != nil {
			return true
		}
		fits, err := c.smallest(k.without(c.side, drops[:n]), sheet)
		failure = err
		return fits
	})
	switch {
	case failure != nil:
		return failure
	case words > len(drops):
		return fmt.Errorf("%w on %s even without its text; choose larger paper, or fewer credits and cautions", errNoRoom, c.paperName)
	}
	lost := map[string]int{}
	for _, field := range drops[:words] {
		lost[field]++
	}
	fits := c.largerPapers(k, sheet)
	var all crowded
	for _, field := range k.shortenable(c.side) {
		if lost[field] > 0 {
			all = append(all, &Overflow{Card: k.Number, Story: k.name(), Paper: c.paperName, Face: c.side, Field: field, Words: lost[field], Fits: fits})
		}
	}
	return all
}

// largerPapers names the smallest papers above the one in use on which a face
// fits as it stands.
func (c composer) largerPapers(k content, sheet layout) []string {
	larger := map[string][][]string{"a6": {{"a5"}, {"a4", "letter"}}, "a5": {{"a4", "letter"}}}[c.paperName]
	for _, alike := range larger {
		var fit []string
		for _, name := range alike {
			if d, err := c.on(name); err == nil {
				if ok, err := d.smallest(k, sheet); ok && err == nil {
					fit = append(fit, name)
				}
			}
		}
		if len(fit) > 0 {
			return fit
		}
	}
	return nil
}

// on is the composer for the same face on another paper.
func (c composer) on(paper string) (composer, error) {
	size, p, err := c.face.paper(paper)
	if err != nil {
		return c, err
	}
	press := *c.press
	press.size, press.paperName = size, paper
	// A code drawn for one paper has modules of that paper's size.
	press.codes = map[string]drawnQR{}
	c.press, c.paper = &press, p
	return c, nil
}

// smallest reports whether a card fits in the smallest type.
func (c composer) smallest(k content, sheet layout) (bool, error) {
	c.tight, c.breaks, c.trial = true, true, true
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

// drops lists the fields that give way, one for each word, in order.
func (k content) drops(side string) []string {
	var all []string
	short := k.clone()
	for field := short.longest(side); field != ""; field = short.longest(side) {
		short.shorten(side, field)
		all = append(all, field)
	}
	return all
}

// without is the card with one word fewer in each of the fields.
func (k content) without(side string, fields []string) content {
	short := k.clone()
	for _, field := range fields {
		short.shorten(side, field)
	}
	return short
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
