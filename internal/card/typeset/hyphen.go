package typeset

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
)

// Hyphenation says where the words of a language may be broken (Liang, "Word
// Hy-phen-a-tion by Com-put-er", 1983): patterns of letters with a digit between
// them, where the highest digit that any pattern gives decides, and an odd one
// allows a break.
type Hyphenation struct {
	levels  map[string][]byte // by the letters of the pattern; one more level than letters
	longest int               // letters
	listed  map[string][]byte // words that are broken as listed, whatever the patterns say
}

// leastPart is how many letters a broken word keeps on either side (common
// practice, no source; the patterns ask for 2 or 3).
const leastPart = 3

// longestWord is the most letters of a word that is looked at.
const longestWord = 100

// ParseHyphenation reads patterns as TeX has them, one or more on a line
// (".ab3s"), and whole words with their breaks ("how-ever").
func ParseHyphenation(data []byte) (*Hyphenation, error) {
	h := &Hyphenation{levels: map[string][]byte{}, listed: map[string][]byte{}}
	for pattern := range strings.FieldsSeq(string(data)) {
		if strings.Contains(pattern, "-") && !strings.ContainsAny(pattern, "0123456789") {
			h.list(pattern)
			continue
		}
		var letters []rune
		levels := []byte{0}
		for _, r := range pattern {
			switch {
			case r >= '0' && r <= '9':
				levels[len(levels)-1] = byte(r - '0')
			case r == '.' || r == '\'' || r == '’' || r == '-' || unicode.IsLetter(r) || unicode.IsMark(r):
				letters, levels = append(letters, r), append(levels, 0)
			default:
				return nil, fmt.Errorf("%q is not a pattern; write letters, digits and dots, such as .ab3s", pattern)
			}
		}
		h.levels[string(letters)] = levels
		h.longest = max(h.longest, len(letters))
	}
	if len(h.levels) == 0 {
		return nil, errors.New("there are no patterns; take the file away, or put the language's patterns in it")
	}
	return h, nil
}

// list keeps a word that is written with its breaks, as levels about its letters
// and the dots at its ends.
func (h *Hyphenation) list(word string) {
	levels := []byte{0}
	var letters []rune
	for _, r := range word {
		if r == '-' {
			levels[len(levels)-1] = 1
			continue
		}
		letters, levels = append(letters, r), append(levels, 0)
	}
	h.listed[string(letters)] = append([]byte{0}, append(levels, 0)...)
}

// levelsOf returns the levels about the letters of a word and its two dots.
func (h *Hyphenation) levelsOf(word []rune) []byte {
	lower := strings.ToLower(string(word))
	if levels, ok := h.listed[lower]; ok {
		return levels
	}
	dotted := []rune("." + lower + ".")
	best := make([]byte, len(dotted)+1)
	for from := range dotted {
		for to := from + 1; to <= min(len(dotted), from+h.longest); to++ {
			for i, level := range h.levels[string(dotted[from:to])] {
				best[from+i] = max(best[from+i], level)
			}
		}
	}
	return best
}

// Soften puts a soft hyphen (U+00AD) wherever a word may be broken. A word that
// has one already is left as its writer wants it.
func (h *Hyphenation) Soften(text string) string {
	var b strings.Builder
	runes := []rune(text)
	for start := 0; start < len(runes); {
		end := start
		for end < len(runes) && (unicode.IsLetter(runes[end]) || unicode.IsMark(runes[end]) || runes[end] == softHyphen) {
			end++
		}
		if end == start {
			b.WriteRune(runes[start])
			start++
			continue
		}
		b.WriteString(h.word(runes[start:end]))
		start = end
	}
	return b.String()
}

func (h *Hyphenation) word(word []rune) string {
	if len(word) < 2*leastPart || len(word) > longestWord || strings.ContainsRune(string(word), softHyphen) {
		return string(word)
	}
	levels := h.levelsOf(word)
	if len(levels) < len(word)+2 {
		return string(word) // a letter whose small form is written otherwise
	}
	var b strings.Builder
	for i, r := range word {
		// The level before the i-th letter stands one further on, behind the dot.
		if i >= leastPart && len(word)-i >= leastPart && levels[i+1]%2 == 1 && !unicode.IsMark(r) {
			b.WriteRune(softHyphen)
		}
		b.WriteRune(r)
	}
	return b.String()
}
