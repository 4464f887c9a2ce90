package site

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
)

func TestWordsAreLinkedOnceAndOnlyWhole(t *testing.T) {
	known := []cleared.Word{
		cleared.NewWord(cleared.WordFields{ID: "spar", Word: "spar", Also: []string{"spars"}}),
		cleared.NewWord(cleared.WordFields{ID: "main-spar", Word: "main spar"}),
		cleared.NewWord(cleared.WordFields{ID: "elan", Word: "élan"}),
		cleared.NewWord(cleared.WordFields{ID: "gauge", Word: "gauge", Also: []string{"SWG"}}),
	}
	for _, c := range []struct{ in, want string }{
		{"A spar and a spar.", "A [spar](/word/spar/) and a spar."},
		{"Two spars.", "Two [spars](/word/spar/)."},
		{"Main spar, then a spar.", "[Main spar](/word/main-spar/), then a [spar](/word/spar/)."},
		{"The SPAR of Main Spars is a song.", "The SPAR of Main [Spars](/word/spar/) is a song."},
		{"In swg, not SWG.", "In swg, not [SWG](/word/gauge/)."},
		{"A box-spar, a spar-web and a jury‑spar; the spar’s end.", "A box-spar, a spar-web and a jury‑spar; the [spar](/word/spar/)’s end."},
		{"From spar- to float-fitting.", "From [spar](/word/spar/)- to float-fitting."},
		{"Sparrows spark; unspar; spar2.", "Sparrows spark; unspar; spar2."},
		{"*spar*", "*[spar](/word/spar/)*"},
		{"`spar` [a spar](/x/) ![spar](y)", "`spar` [a spar](/x/) ![spar](y)"},
		{"# A spar\n\nspar", "# A spar\n\n[spar](/word/spar/)"},
		{"```\nspar\n```\n\n    spar\n\nspar", "```\nspar\n```\n\n    spar\n\n[spar](/word/spar/)"},
		{"| a |\n|---|\n| spar |", "| a |\n|---|\n| [spar](/word/spar/) |"},
		{"Élan: élan.", "[Élan](/word/elan/): élan."},
		{"https://example.org/spar", "https://example.org/spar"},
	} {
		if got := newLinker(known).inMarkdown(c.in); got != c.want {
			t.Errorf("%q\n got %q\nwant %q", c.in, got, c.want)
		}
	}
}

func TestPlainTextIsCutAtItsTradeWords(t *testing.T) {
	l := newLinker(words())
	got := l.inText("The main spar and a rivet.")
	want := []stretch{{Text: "The "}, {"main spar", "spar"}, {Text: " and a "}, {"rivet", "rivet"}, {Text: "."}}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if again := l.inText("Another spar."); !slices.Equal(again, []stretch{{Text: "Another spar."}}) {
		t.Errorf("a word used before was linked again: %v", again)
	}
}

var addedLink = regexp.MustCompile(`\[([^\[\]]+)\]\(/word/[a-z]+/\)`)

// FuzzLinkingAddsLinksOnly takes the links out again and wants the text back.
func FuzzLinkingAddsLinksOnly(f *testing.F) {
	for _, w := range hostile {
		f.Add(w)
	}
	f.Add("a spar | rivet\n\n- spars\n1. `rivet` *stringer*")
	f.Fuzz(func(t *testing.T, s string) {
		safe := inert(s)
		if strings.Contains(safe, "<") || strings.Contains(safe, "{{") {
			t.Fatalf("inert(%q) = %q", s, safe)
		}
		linked := newLinker(words()).inMarkdown(safe)
		if strings.Contains(safe, "](/word/") {
			return
		}
		if got := addedLink.ReplaceAllString(linked, "$1"); got != safe {
			t.Fatalf("got %q, want %q", got, safe)
		}
	})
}

func TestStandInsNeverComeFromPeople(t *testing.T) {
	for in, want := range map[string]string{
		"a \uFDD0 b": "a  b", "{\uFDD0{": "{{", "\uFDD1b>": "b>", "{{<": "{{&lt;", "{{{": "{{{", "a<b": "a&lt;b", "<https://example.org/>": "https://example.org/",
	} {
		if got := string(typed([]byte(inert(in)))); got != want {
			t.Errorf("typed(inert(%q)) = %q, want %q", in, got, want)
		}
	}
}
