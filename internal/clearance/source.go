package clearance

import (
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/leak"
)

// sources finds out from which unit the words of a page come.
type sources struct {
	texts []*sourceText
	at    map[string][]spot // by word
}

// sourceText is one text of a unit as it leaves, in words.
type sourceText struct {
	unit  *Unit
	index int // of the unit's texts
	words []leak.Word
}

type spot struct{ text, word int32 }

func (d *Desk) sources() *sources {
	s := &sources{at: map[string][]spot{}}
	for _, u := range d.units {
		for i, t := range u.Texts {
			text := &sourceText{u, i, leak.Words(t.Value)}
			for w, word := range text.words {
				s.at[word.Text] = append(s.at[word.Text], spot{int32(len(s.texts)), int32(w)})
			}
			s.texts = append(s.texts, text)
		}
	}
	return s
}

// Words beside a finding tell whose it is: as many as three on each side are
// looked for, and two in all must be the same. A segment that has no more than
// the finding and a word must be the whole of a unit's text.
const (
	beside = 3
	enough = 2
)

// around lists the places in units where the words of a finding stand among the
// same neighbours, those with the most in common first.
func (s *sources) around(words []leak.Word, first, end int) []spot {
	before, after := min(beside, first), min(beside, len(words)-end)
	if first+len(words)-end < enough {
		return slices.DeleteFunc(s.places(words, 0, len(words), first), func(p spot) bool { return len(s.texts[p.text].words) != len(words) })
	}
	var all []spot
	for shared := before + after; shared >= enough; shared-- {
		for b := min(before, shared); b >= max(0, shared-after); b-- {
			all = append(all, s.places(words, first-b, end+shared-b, first)...)
		}
	}
	return all
}

// honours says where the words of a finding in a segment come from, and whether
// that unit may say them: as a released fact, as a finding that somebody
// accepted, or, for a story and a correction to it, as a number of a part that it
// is not about.
func (s *sources) honours(d *Desk, segment string, l leak.Finding) (from string, honoured bool) {
	words := leak.Words(segment)
	first := slices.IndexFunc(words, func(w leak.Word) bool { return w.End > l.Start })
	end := first
	for first >= 0 && end < len(words) && words[end].Start < l.End {
		end++
	}
	if first < 0 || end == first { // in a tag or the target of a link
		return "no text that was decided on", false
	}
	places := s.around(words, first, end)
	from = "the template"
	for _, p := range places {
		text := s.texts[p.text]
		start, stop := text.words[p.word].Start, text.words[int(p.word)+end-first-1].End
		if d.mayBeSaid(text, start, stop, l.Code) {
			return "", true
		}
		t := text.unit.Texts[text.index]
		from = fmt.Sprintf("%s (%s)", t.Place.String(), t.Field)
	}
	return from, len(places) == 0 && l.Code == leak.CodeNumber
}

// places lists where units have the words from one index up to another. Each is
// the place of the word at the index that is asked for.
func (s *sources) places(words []leak.Word, from, to, of int) []spot {
	rarest := from
	for i := from; i < to; i++ {
		if len(s.at[words[i].Text]) < len(s.at[words[rarest].Text]) {
			rarest = i
		}
	}
	var found []spot
	for _, p := range s.at[words[rarest].Text] {
		text := s.texts[p.text].words
		begin := int(p.word) - (rarest - from)
		if begin < 0 || begin+to-from > len(text) {
			continue
		}
		same := true
		for i := from; same && i < to; i++ {
			same = text[begin+i-from].Text == words[i].Text
		}
		if same {
			found = append(found, spot{p.text, int32(begin + of - from)})
		}
	}
	return found
}

// mayBeSaid reports whether a unit may say what stands at a place of its text.
func (d *Desk) mayBeSaid(text *sourceText, start, end int, code string) bool {
	u := text.unit
	if u.accepted[code] {
		return true
	}
	number := code == leak.CodeNumber
	for _, f := range u.factSpans[text.index] {
		if f.start <= start && end <= f.end || number && f.start < end && start < f.end {
			return true
		}
	}
	story := u.about()
	if u.correction != nil {
		story, _ = d.words.Story(u.correction.Story)
	}
	if story == nil || !number {
		return false
	}
	value := u.Texts[text.index].Value
	return !slices.ContainsFunc(d.private.FindAbout(value, story.Parts), func(l leak.Finding) bool {
		return l.Code == leak.CodeNumber && l.Start < end && start < l.End
	})
}

// span is a stretch of a text, in bytes.
type span struct{ start, end int }

// Marks around a fact while its place in the finished text is worked out. They
// are for private use in Unicode and are taken out of what anybody wrote.
const (
	factBegins = "\uf8f0"
	factEnds   = "\uf8f1"
)

var factMarks = strings.NewReplacer(factBegins, "", factEnds, "")

// unmark takes the marks out of a text and says what stood between them.
func unmark(marked string) (text string, facts []span) {
	var b strings.Builder
	for {
		before, rest, ok := strings.Cut(marked, factBegins)
		b.WriteString(before)
		if !ok {
			return b.String(), facts
		}
		value, after, _ := strings.Cut(rest, factEnds)
		facts = append(facts, span{b.Len(), b.Len() + len(value)})
		b.WriteString(value)
		marked = after
	}
}
