package site

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"example.org/opencowl/internal/cleared"
	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/text"
)

// Two noncharacters stand in for signs that must print as typed while wording
// is on its way through Hugo; typed puts the signs back in every file. Unicode
// keeps noncharacters for such inside use and no text may hold them.
const (
	splitBrace = "\uFDD0" // between the two braces of {{, which would open a shortcode
	lessThan   = "\uFDD1" // for <, which would open raw HTML
)

var angleLink = regexp.MustCompile(`<((?:https?://|mailto:)[^\s<>]+)>`)

// inert makes Markdown safe to hand to Hugo: shortcodes and raw HTML in it
// print as they were typed. <https://…> stays a link.
func inert(markdown string) string {
	s := strings.ReplaceAll(markdown, "\r\n", "\n")
	s = plain(s)
	s = angleLink.ReplaceAllString(s, "$1")
	s = strings.ReplaceAll(s, "<", lessThan)
	for strings.Contains(s, "{{") { // twice for {{{
		s = strings.ReplaceAll(s, "{{", "{"+splitBrace+"{")
	}
	return s
}

// plain drops the two stand-ins from text that people wrote.
func plain(s string) string {
	return strings.NewReplacer(splitBrace, "", lessThan, "").Replace(s)
}

// typed puts the signs back that inert took out.
func typed(out []byte) []byte {
	out = bytes.ReplaceAll(out, []byte(splitBrace), nil)
	out = bytes.ReplaceAll(out, []byte(lessThan), []byte("&lt;"))
	out = bytes.ReplaceAll(out, []byte("%EF%B7%90"), nil)
	return bytes.ReplaceAll(out, []byte("%EF%B7%91"), []byte("%3C"))
}

// linker links each glossary word where a story first uses it.
type linker struct {
	forms []form
	used  map[string]bool // word ids linked already in this story
}

type form struct{ id, text string }

// newLinker knows the words and their other forms, longest first, so that
// "main spar" wins over "spar".
func newLinker(words []cleared.Word) *linker {
	l := &linker{used: map[string]bool{}}
	for _, w := range words {
		for _, t := range append([]string{w.Word()}, w.Also()...) {
			if t = strings.TrimSpace(t); t != "" {
				l.forms = append(l.forms, form{w.ID(), t})
			}
		}
	}
	slices.SortStableFunc(l.forms, func(a, b form) int {
		if n := len(b.text) - len(a.text); n != 0 {
			return n
		}
		return strings.Compare(a.text+a.id, b.text+b.id)
	})
	return l
}

// fresh returns the linker for another story, with nothing used yet.
func (l *linker) fresh() *linker { return &linker{forms: l.forms, used: map[string]bool{}} }

// hit is a glossary word found at bytes from…to of a text.
type hit struct {
	from, to int
	id       string
}

// find returns the first use of each word not yet used, in source[from:to], in
// order and without overlaps. What stands just outside the range still counts
// as a neighbour, so that no word is found inside a longer one.
func (l *linker) find(source string, from, to int) []hit {
	var hits []hit
	for _, f := range l.forms {
		if l.used[f.id] {
			continue
		}
		at, ok := firstUse(source, from, to, f.text, hits)
		if !ok {
			continue
		}
		l.used[f.id] = true
		hits = append(hits, hit{at, at + len(f.text), f.id})
	}
	slices.SortFunc(hits, func(a, b hit) int { return a.from - b.from })
	return hits
}

func firstUse(source string, from, to int, want string, taken []hit) (int, bool) {
	for at := from; at+len(want) <= to; at++ {
		if !utf8.RuneStart(source[at]) || !strings.EqualFold(source[at:at+len(want)], want) {
			continue
		}
		before, _ := utf8.DecodeLastRuneInString(source[:at])
		after, _ := utf8.DecodeRuneInString(source[at+len(want):])
		if inWord(before) || inWord(after) {
			continue
		}
		if !slices.ContainsFunc(taken, func(h hit) bool { return at < h.to && h.from < at+len(want) }) {
			return at, true
		}
	}
	return 0, false
}

func inWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }

// stretch is a run of plain text, linked to a glossary word when Word is set.
type stretch struct {
	Text string `json:"text"`
	Word string `json:"word,omitempty"`
}

// inText cuts plain text into stretches.
func (l *linker) inText(s string) []stretch {
	s = plain(s)
	var out []stretch
	last := 0
	for _, h := range l.find(s, 0, len(s)) {
		if h.from > last {
			out = append(out, stretch{Text: s[last:h.from]})
		}
		out = append(out, stretch{Text: s[h.from:h.to], Word: h.id})
		last = h.to
	}
	if last < len(s) {
		out = append(out, stretch{Text: s[last:]})
	}
	return out
}

// inMarkdown writes links into Markdown that inert has been through. Links,
// pictures, headings and code are left alone.
func (l *linker) inMarkdown(s string) string {
	source := []byte(s)
	tree := goldmark.New(goldmark.WithExtensions(extension.GFM, extension.DefinitionList)).
		Parser().Parse(text.NewReader(source))
	var hits []hit
	_ = ast.Walk(tree, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		switch n := n.(type) {
		case *ast.Link, *ast.AutoLink, *ast.Image, *ast.Heading, *ast.CodeSpan:
			return ast.WalkSkipChildren, nil
		case *ast.Text:
			hits = append(hits, l.find(s, n.Segment.Start, n.Segment.Stop)...)
		}
		return ast.WalkContinue, nil
	})
	slices.SortFunc(hits, func(a, b hit) int { return a.from - b.from })
	var b strings.Builder
	last := 0
	for _, h := range hits {
		b.WriteString(s[last:h.from] + "[" + s[h.from:h.to] + "](/word/" + h.id + "/)")
		last = h.to
	}
	return b.String() + s[last:]
}
