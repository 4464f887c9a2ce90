// Package reading reads the files that people write: strict YAML and Markdown
// with front matter.
//
// It promises that a file which is not as it should be gives a Problem with
// file, line, column, the offending value and the remedy; that all problems of
// a file come back in one reading; and that no file, however large, looped or
// hostile, is taken in past its limit. It must not know what the files mean:
// callers bring the types.
package reading

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Place is where in a file something stands. Lines and columns count from 1;
// zero means the whole file or the whole line.
type Place struct {
	File   string `json:"file"`
	Line   int    `json:"line,omitempty"`
	Column int    `json:"column,omitempty"`
}

// String writes the place as file:line:column, as far as it is known.
func (p Place) String() string {
	switch {
	case p.Line == 0:
		return p.File
	case p.Column == 0:
		return fmt.Sprintf("%s:%d", p.File, p.Line)
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// Problem is one thing that is not as it should be, for the person who can mend it.
type Problem struct {
	Place
	Code    string `json:"code"`            // short and stable, for programs: "unknown-key"
	Value   string `json:"value,omitempty"` // the offending value, shortened; empty where it is private
	Message string `json:"message"`         // what is wrong, as the start of a sentence
	Remedy  string `json:"remedy"`          // what to do about it
	Advice  bool   `json:"advice,omitempty"`
}

// Error writes the problem as one line, fit for a terminal: what would move the
// cursor, change colours or reorder the line is written out.
func (p Problem) Error() string {
	s := p.Place.String()
	if s != "" {
		s += ": "
	}
	s += p.Message
	if p.Remedy != "" {
		s += "; " + p.Remedy
	}
	return Visible(s)
}

// Visible writes out the characters that a terminal would obey instead of
// showing: controls, line ends, bytes that are not UTF-8, and the signs that
// reorder text.
func Visible(s string) string {
	var b strings.Builder
	for i, r := range s {
		_, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case unseen(r):
			q := strconv.QuoteRuneToASCII(r)
			b.WriteString(q[1 : len(q)-1])
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// unseen reports whether a character steers the output instead of showing: a
// control (categories Cc, Zl and Zp), or an explicit directional formatting
// character (Unicode Standard Annex 9, section 2), which can make a line read
// otherwise than it is.
func unseen(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp) || reorders(r)
}

func reorders(r rune) bool { return r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 }

// hidden finds the first character that no written text needs and that could
// make it read otherwise than it leaves: a control other than tab and line end,
// or a reordering sign. It returns its byte, or -1.
func hidden(s string) int {
	return strings.IndexFunc(s, func(r rune) bool {
		return reorders(r) || unicode.IsControl(r) && r != '\t' && r != '\n' && r != '\r'
	})
}

const hiddenRemedy = "delete it; it does not show, and could make the text read otherwise than it leaves"

// Sort orders problems by file, line and column.
func Sort(problems []Problem) {
	slices.SortStableFunc(problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Column, b.Column), cmp.Compare(a.Code, b.Code))
	})
}

// Stops reports whether any of the problems is more than advice.
func Stops(problems []Problem) bool {
	return slices.ContainsFunc(problems, func(p Problem) bool { return !p.Advice })
}

// Shorten cuts a value to what fits in a message.
func Shorten(value string) string {
	value = strings.Join(strings.Fields(strings.ToValidUTF8(value, "�")), " ")
	if r := []rune(value); len(r) > 60 {
		return string(r[:57]) + "..."
	}
	return value
}

// OneOf checks that a value is one of the choices; the error lists them and
// names the nearest.
func OneOf(value string, choices ...string) error {
	if slices.Contains(choices, value) {
		return nil
	}
	hint := ""
	if near := Nearest(value, choices); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return fmt.Errorf("%q is not one of %s%s", Shorten(value), strings.Join(choices, ", "), hint)
}

// Nearest returns the choice that is within a small number of slips of the
// value, or "".
// Curly quotation marks, which a phone puts in by itself, count for nothing.
func Nearest(value string, choices []string) string {
	value = strings.Trim(value, "“”‘’«»„\"' ")
	best, bestSlips := "", 1+len(value)/3
	for _, c := range choices {
		if n := slips(value, c); n <= bestSlips && (best == "" || n < bestSlips) {
			best, bestSlips = c, n
		}
	}
	return best
}

// slips is the Levenshtein distance between two short words.
func slips(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}

// IsID reports whether s is an id: lower-case words and digits joined by
// single hyphens.
func IsID(s string) bool {
	if s == "" || len(s) > 80 {
		return false
	}
	for word := range strings.SplitSeq(s, "-") {
		if word == "" || strings.Trim(word, "abcdefghijklmnopqrstuvwxyz0123456789") != "" {
			return false
		}
	}
	return true
}
