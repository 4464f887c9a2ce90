package site

import (
	"bytes"
	"maps"
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

// linker links each glossary word where a page first uses it in a story's text.
type linker struct {
	forms map[string][]form // by their first word in lower case, longest first
	used  map[string]bool   // word ids linked already on this page
}

type form struct{ id, text string }

// newLinker knows the words and their other forms. The longest wins, so that
// "main spar" goes before "main".
func newLinker(words []cleared.Word) *linker {
	l := &linker{forms: map[string][]form{}, used: map[string]bool{}}
	for _, w := range words {
		for _, t := range append([]string{w.Word()}, w.Also()...) {
			t = strings.TrimSpace(t)
			if key := strings.ToLower(firstWord(t)); key != "" {
				l.forms[key] = append(l.forms[key], form{w.ID(), t})
			}
		}
	}
	for _, forms := range l.forms {
		slices.SortStableFunc(forms, func(a, b form) int {
			if n := len(b.text) - len(a.text); n != 0 {
				return n
			}
			return strings.Compare(a.text+a.id, b.text+b.id)
		})
	}
	return l
}

// fresh returns the linker for another page, on which nothing has been used yet but
// the words that it explains itself.
func (l *linker) fresh(explained ...string) *linker {
	page := &linker{forms: l.forms, used: map[string]bool{}}
	for _, id := range explained {
		page.used[id] = true
	}
	return page
}

// firstWord is the letters and digits that s begins with.
func firstWord(s string) string {
	if end := strings.IndexFunc(s, func(r rune) bool { return !inWord(r) }); end >= 0 {
		return s[:end]
	}
	return s
}

// hit is a glossary word found at bytes from…to of a text.
type hit struct {
	from, to int
	id       string
}

// find returns the first use of each word not yet used, in source[from:to], in
// order. What stands just outside the range still counts as a neighbour, so that
// no word is found inside a longer one.
func (l *linker) find(source string, from, to int) []hit {
	var hits []hit
	for at := from; at < to; {
		r, size := utf8.DecodeRuneInString(source[at:])
		if !inWord(r) || goesOn(source[:at]) {
			at += size
			continue
		}
		f, ok := l.formAt(source, at, to)
		if !ok {
			at += size
			continue
		}
		l.used[f.id] = true
		hits = append(hits, hit{at, at + len(f.text), f.id})
		at += len(f.text)
	}
	return hits
}

// formAt is the form that stands at the start of a word, as a whole.
func (l *linker) formAt(source string, at, to int) (form, bool) {
	for _, f := range l.forms[strings.ToLower(firstWord(source[at:to]))] {
		end := at + len(f.text)
		if l.used[f.id] || end > to || !sameWord(source[at:end], f.text) {
			continue
		}
		if !joined(source[end:]) {
			return f, true
		}
	}
	return form{}, false
}

// sameWord holds a text against a form. A small letter may be a capital at the
// beginning, as of a sentence; anywhere else case counts, so that the name of a
// place or an abbreviation is not taken for a word of the trade.
func sameWord(text, form string) bool {
	if text == form {
		return true
	}
	t, n := utf8.DecodeRuneInString(text)
	f, m := utf8.DecodeRuneInString(form)
	return text[n:] == form[m:] && unicode.ToLower(t) == f
}

// joined reports whether a word goes on here: with a letter, or with a hyphen and one.
func joined(after string) bool {
	r, n := utf8.DecodeRuneInString(after)
	if r == '-' || r == '\u2010' || r == '\u2011' {
		r, _ = utf8.DecodeRuneInString(after[n:])
	}
	return inWord(r)
}

// goesOn reports whether a word that begins behind this text belongs to one before it.
func goesOn(before string) bool {
	r, n := utf8.DecodeLastRuneInString(before)
	if r == '-' || r == '\u2010' || r == '\u2011' {
		r, _ = utf8.DecodeLastRuneInString(before[:len(before)-n])
	}
	return inWord(r)
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

// wordPage is where the pages of words stand.
const wordPage = "/word/"

// inMarkdown writes links into Markdown that inert has been through. Links,
// pictures, headings and code are left alone.
func (l *linker) inMarkdown(s string) string {
	if trial := (&linker{l.forms, maps.Clone(l.used)}); len(trial.find(s, 0, len(s))) == 0 && !strings.Contains(s, wordPage) {
		return s
	}
	var hits []hit
	_ = ast.Walk(parsed(s), func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		switch n := n.(type) {
		case *ast.Link:
			if id, ok := strings.CutPrefix(string(n.Destination), wordPage); ok {
				l.used[strings.TrimSuffix(id, "/")] = true // linked by hand
			}
			return ast.WalkSkipChildren, nil
		case *ast.AutoLink, *ast.Image, *ast.Heading, *ast.CodeSpan:
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
		b.WriteString(s[last:h.from] + "[" + s[h.from:h.to] + "](" + wordPage + h.id + "/)")
		last = h.to
	}
	return b.String() + s[last:]
}

// parsed is the tree of Markdown, as Hugo reads it.
func parsed(markdown string) ast.Node {
	return goldmark.New(goldmark.WithExtensions(extension.GFM, extension.DefinitionList)).Parser().Parse(text.NewReader([]byte(markdown)))
}

// markdownText is what Markdown says, without its marks.
func markdownText(markdown string) string {
	source := []byte(plain(markdown))
	var b strings.Builder
	_ = ast.Walk(parsed(string(source)), func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if t, ok := n.(*ast.Text); ok && entering {
			b.Write(t.Value(source))
			if t.SoftLineBreak() || t.HardLineBreak() {
				b.WriteByte(' ')
			}
		} else if n.Type() == ast.TypeBlock && !entering {
			b.WriteByte(' ')
		}
		return ast.WalkContinue, nil
	})
	return b.String()
}
