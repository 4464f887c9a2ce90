package wording

import (
	"strings"
	"testing"

	"example.org/opencowl/internal/reading"
)

// Every way in which YAML lets a value be written, with the place of the word
// "spot" as an editor shows it.
func TestAPlaceInAValueIsThePlaceInTheFile(t *testing.T) {
	for name, c := range map[string]struct{ yaml, want string }{
		"plain":              {"talk: one spot", "a.md:2:11"},
		"plain, next line":   {"talk:\n  one spot", "a.md:3:7"},
		"plain, folded":      {"talk: one\n  two   spot", "a.md:3:9"},
		"plain, paragraphs":  {"talk: one\n\n  two\n\n  spot", "a.md:6:3"},
		"letters with marks": {"talk: é café spot", "a.md:2:14"},
		"double quotes":      {`talk: "say \"now\" at the\tspot"`, "a.md:2:28"},
		"double, folded":     {"talk: \"one\n  two\\\n  spot\"", "a.md:4:3"},
		"single quotes":      {"talk: 'it''s the spot'", "a.md:2:18"},
		"block":              {"talk: |\n  one\n\n    two spot\n", "a.md:5:9"},
		"block, folded":      {"talk: >-\n  one\n  two\n  spot\n", "a.md:5:3"},
		"in a list of keys":  {"questions:\n  - {ask: \"é\", answer: \"the spot\"}", "a.md:3:29"},
		"an escape by code":  {`talk: "\x41 spot"`, "a.md:2:7"},
	} {
		s, problems := readStory("a.md", []byte("---\r\n"+strings.ReplaceAll(c.yaml, "\n", "\r\n")+"\r\n---\r\n"), ReadOptions{})
		found := false
		for _, text := range s.Texts() {
			if i := strings.Index(text.Value, "spot"); i >= 0 {
				found = true
				if got := text.At(i).String(); got != c.want {
					t.Errorf("%s: %s: got %s, want %s", name, c.yaml, got, c.want)
				}
				end := text.At(len(text.Value))
				if begin := text.At(i); name != "an escape by code" && end.Line == begin.Line && end.Column != begin.Column+4 {
					t.Errorf("%s: the end is at %v, four letters after %v", name, end, begin)
				}
			}
		}
		if !found {
			t.Errorf("%s: no text holds the word; problems: %v", name, problems)
		}
	}
}

func TestAPlaceInTheBodyIsThePlaceInTheFile(t *testing.T) {
	for body, want := range map[string]string{
		"the spot\n":         "a.md:4:5",
		"\n\nthe spot\n":     "a.md:6:5",
		"| a | spot |\n":     "a.md:4:7",
		"\"one\"\n\n> spot":  "a.md:6:3",
		"> it''s\n> é spot.": "a.md:5:5",
	} {
		s, _ := readStory("a.md", []byte("---\ntitle: A\n---\n"+body), ReadOptions{})
		texts := s.Texts()
		text := texts[len(texts)-1]
		if got := text.At(strings.Index(text.Value, "spot")).String(); text.Field != "body" || got != want {
			t.Errorf("%q: got %s in %s, want %s", body, got, text.Field, want)
		}
	}
}

func TestAPlaceOutsideTheValueIsHeldAtItsEnds(t *testing.T) {
	text := Text{Value: "ab", Place: reading.Place{File: "f", Line: 2, Column: 3}}
	if got := text.At(-1).String() + " " + text.At(9).String(); got != "f:2:3 f:2:5" {
		t.Errorf("got %s", got)
	}
}

// Each place is found from the last one. Counted anew from the beginning for
// each fact, this text would take most of a minute.
func TestALongTextOfFactsKeepsItsPlaces(t *testing.T) {
	const line = "{fact:a.loss|percent} é\n"
	refs, problems := Facts(Text{Field: "body", Value: strings.Repeat(line, 40000), Place: reading.Place{File: "f", Line: 3, Column: 1}})
	if len(refs) != 40000 || len(problems) > 0 {
		t.Fatalf("got %d facts and %d problems", len(refs), len(problems))
	}
	for i, r := range refs {
		if r.Place.Line != 3+i || r.Place.Column != 1 {
			t.Fatalf("fact %d is at %v", i, r.Place)
		}
	}
}
