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
func (t Text) At(offset int) reading.Place {
	offset = min(max(offset, 0), len(t.Value))
	if t.source == "" {
		return advance(t.Place, t.Value[:offset])
	}
	begin := start(t.source, t.Place)
	if strings.HasPrefix(t.source[begin:], t.Value) {
		return advance(t.Place, t.Value[:offset])
	}
	if n, ok := follow(t.source[begin:], t.Value, offset); ok {
		return advance(t.Place, t.source[begin:begin+n])
	}
	return t.Place
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

// follow walks along a YAML scalar at the start of the source and the value it
// stands for, and returns how far into the source the byte at offset stands.
func follow(source, value string, offset int) (int, bool) {
	i, quote := scalarBegin(source)
	for j := 0; ; {
		for j < len(value) && space(value[j]) {
			if j >= offset {
				return i, true
			}
			j++
		}
		// An escaped space or line break stands for space in the value.
		for i < len(source) {
			n := gap(source[i:], quote)
			if n == 0 {
				break
			}
			i += n
		}
		if j >= offset {
			return i, true
		}
		if i >= len(source) {
			return 0, false
		}
		n, ok := same(source[i:], value[j], quote)
		if !ok {
			return 0, false
		}
		i += n
		j++
	}
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
