package wording

import (
	"strings"
	"unicode/utf8"

	"example.org/opencowl/internal/reading"
)

// Text is one text that the public can read, as it was written.
type Text struct {
	Field string // its path in the unit: "claims[0].say", "body"
	Value string
	Place reading.Place // where it begins

	source string // the whole file, from which At counts lines and columns
}

// At returns the place of a byte of the value in the file. Quotes, escapes and
// folded lines of YAML are followed; where they cannot be, the place is that
// of the value's beginning. Without a file, the place is counted in the value.
func (t Text) At(offset int) reading.Place { return newCursor(t).to(offset) }

// cursor finds the places of one byte of a text after another. It goes forward
// only, so that a long text with many facts is walked along once.
type cursor struct {
	value, source string // what is left to walk along, and what it stands for
	walked        int    // bytes of the value behind the cursor
	quote         byte
	direct        bool // the source is the value, letter by letter
	lost          bool // the source cannot be followed any more
	at, begin     reading.Place
}

func newCursor(t Text) *cursor {
	c := &cursor{value: t.Value, source: t.Value, direct: true, at: t.Place, begin: t.Place}
	if t.source == "" {
		return c
	}
	written := t.source[start(t.source, t.Place):]
	if strings.HasPrefix(written, t.Value) {
		return c
	}
	c.source, c.direct = written, false
	n := 0
	n, c.quote = scalarBegin(written)
	c.pass(n)
	return c
}

// to moves the cursor to a byte of the value, held to its ends, and returns
// its place there. The byte must not lie behind the cursor.
func (c *cursor) to(offset int) reading.Place {
	n := min(max(offset-c.walked, 0), len(c.value))
	for n > 0 && n < len(c.value) && !utf8.RuneStart(c.value[n]) {
		n-- // half a letter has no column
	}
	if c.direct {
		c.pass(n)
	} else if !c.follow(n) {
		c.lost = true
	}
	c.value = c.value[n:]
	c.walked += n
	if c.lost {
		return c.begin
	}
	return c.at
}

// pass moves over bytes of the source.
func (c *cursor) pass(n int) {
	c.at = advance(c.at, c.source[:n])
	c.source = c.source[n:]
}

// advance moves a place over text. Columns count characters, as the YAML
// reader counts them.
func advance(p reading.Place, over string) reading.Place {
	if p.Column == 0 {
		p.Column = 1
	}
	if i := strings.LastIndexByte(over, '\n'); i >= 0 {
		p.Line += strings.Count(over, "\n")
		p.Column = 1
		over = over[i+1:]
	}
	p.Column += utf8.RuneCountInString(over)
	return p
}

// start returns the byte of the source at which a place stands.
func start(source string, p reading.Place) int {
	i := 0
	for line := 1; line < p.Line; line++ {
		n := strings.IndexByte(source[i:], '\n')
		if n < 0 {
			return len(source)
		}
		i += n + 1
	}
	for column := 1; column < p.Column && i < len(source); column++ {
		_, n := utf8.DecodeRuneInString(source[i:])
		i += n
	}
	return i
}

// follow walks along a YAML scalar for n bytes of the value it stands for. Any
// space stands for any other: folding makes one of the other.
func (c *cursor) follow(n int) bool {
	i := 0
	skip := func() {
		for i < len(c.source) {
			step := gap(c.source[i:], c.quote)
			if step == 0 {
				return
			}
			i += step
		}
	}
	for j := 0; j < n; j++ {
		if space(c.value[j]) {
			continue
		}
		skip()
		if i >= len(c.source) {
			return false
		}
		step, ok := same(c.source[i:], c.value[j], c.quote)
		if !ok {
			return false
		}
		i += step
	}
	if n < len(c.value) && !space(c.value[n]) {
		skip()
	}
	c.pass(i)
	return true
}

// scalarBegin passes the opening quote, or the header of a block.
func scalarBegin(source string) (i int, quote byte) {
	if source == "" {
		return 0, 0
	}
	switch source[0] {
	case '"', '\'':
		return 1, source[0]
	case '|', '>':
		if n := strings.IndexByte(source, '\n'); n >= 0 {
			return n + 1, 0
		}
	}
	return 0, 0
}

func space(c byte) bool { return c == ' ' || c == '\n' || c == '\t' || c == '\r' }

// gap returns the length of one piece of space in the source, or 0.
func gap(source string, quote byte) int {
	if space(source[0]) {
		return 1
	}
	if quote == '"' && len(source) > 1 && source[0] == '\\' && strings.IndexByte("nrt \n", source[1]) >= 0 {
		return 2
	}
	return 0
}

// same returns the length of the source that stands for one byte of the value.
func same(source string, want, quote byte) (int, bool) {
	switch {
	case quote == '"' && source[0] == '\\' && len(source) > 1:
		return 2, source[1] == want
	case quote == '\'' && strings.HasPrefix(source, "''"):
		return 2, want == '\''
	}
	return 1, source[0] == want
}
