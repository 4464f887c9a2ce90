package card

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
)

// Say returns the cards of a tour as plain text, to be read aloud or by a screen
// reader: each card's cautions first, then its sides in the order of reading, with
// numbers and units spelt as they are spoken. Options.Paper and all that is about
// the look of a card do not matter.
func Say(s cleared.Settings, t cleared.Tour, o Options) (string, error) {
	return say(s, t, o, false)
}

// DraftSay is Say for a tour that has not been cleared: every card begins with
// DRAFT.
func DraftSay(s cleared.Draft[cleared.Settings], t cleared.Draft[cleared.Tour], o Options) (string, error) {
	return say(s.Preview(), t.Preview(), o, true)
}

func say(s cleared.Settings, t cleared.Tour, o Options, draft bool) (string, error) {
	if o.AsOf.IsZero() {
		return "", errors.New("the cards need the day on which they are true; name it with AsOf")
	}
	faces := map[string]*face{}
	for _, side := range []string{front, back} {
		f, err := readFaceOnly(o.Theme, side, o.Large)
		if err != nil {
			return "", err
		}
		faces[side] = f
	}
	var all []string
	for _, k := range contents(s, t) {
		speech := speech{asOf: o.AsOf.Words(), content: k}
		all = append(all, speech.card(faces, o.Faces, draft))
	}
	return strings.Join(all, "\n\n"), nil
}

// speech writes one card as paragraphs.
type speech struct {
	content
	asOf  string
	lines []string
}

func (s *speech) add(parts ...string) {
	var said []string
	for _, p := range parts {
		if p = strings.TrimSpace(p); p != "" {
			said = append(said, sentence(p))
		}
	}
	if len(said) == 0 {
		return
	}
	s.lines = append(s.lines, spoken(strings.Join(said, " "), s.Language))
}

func (s *speech) card(faces map[string]*face, sides []string, draft bool) string {
	if draft {
		s.add("DRAFT: not cleared, not for use")
	}
	if s.GuideOnly {
		s.add("For the guide only")
	}
	s.add("Card "+s.Number, s.Title, s.Place)
	if len(s.Cautions) > 0 {
		s.add("Take care: " + strings.Join(s.Cautions, ". "))
	}
	if s.GuideOnly {
		s.section(s.Back[fieldWithheld])
		s.section(s.Back[fieldAdvice])
	}
	for _, side := range sides {
		if s.GuideOnly {
			break
		}
		f, sections := faces[side], s.Front
		if side == back {
			sections = s.Back
			s.add("For the guide")
		} else if s.Photo != nil {
			s.add("Photo: " + s.Photo.Alt)
		}
		for _, field := range slices.Concat(f.Fields, f.Foot) {
			// The labels of the cautions are said already; the back adds what to do.
			if field != fieldCautions || side == back {
				s.section(sections[field])
			}
		}
	}
	s.add("As of " + s.asOf)
	return strings.Join(s.lines, "\n")
}

func (s *speech) section(field section) {
	for i, e := range field.Entries {
		heading := ""
		if i == 0 {
			heading = field.Heading
		}
		s.add(heading, fmt.Sprint(e.Lead, " ", e.Text))
	}
}
