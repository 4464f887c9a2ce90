package card

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/tongue"
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
	v, err := readVoices(s, o)
	if err != nil {
		return "", err
	}
	if err := v.learnAll(t); err != nil {
		return "", err
	}
	var all []string
	for _, k := range v.contents(s, t) {
		speech := speech{asOf: tongue.Fill(k.words.Front.AsOf, "day", k.words.Day(o.AsOf)), content: k}
		all = append(all, speech.card(faces, o.Faces, draft))
	}
	return strings.Join(all, "\n\n"), nil
}

// speech writes one card as paragraphs.
type speech struct {
	content
	asOf  string // as the card says it
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
		s.add(s.words.Draft)
	}
	if s.GuideOnly {
		s.add(s.words.Guide.Only)
	}
	s.add(s.NotTranslated)
	s.add(tongue.Fill(s.words.Card, "number", s.Number), s.Title, s.Place)
	if len(s.Cautions) > 0 {
		s.add(s.words.Lead(s.words.TakeCare) + " " + strings.Join(s.Cautions, ". "))
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
			s.add(s.words.Back.ForGuide)
		} else if s.Photo != nil {
			s.add(s.words.Lead(s.words.Photo) + " " + s.Photo.Alt)
		}
		for _, field := range slices.Concat(f.Fields, f.Foot) {
			// The labels of the cautions are said already; the back adds what to do.
			if field != fieldCautions || side == back {
				s.section(sections[field])
			}
		}
	}
	s.add(s.asOf)
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
