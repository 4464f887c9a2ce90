package leak

import (
	"sort"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

// eitherLetter are Latin letters that a Greek or Cyrillic one may stand for beside
// the one that it looks like by UTS 39: what its other case looks like ("η" for H,
// since its capital is Η), and what it is commonly put for in play with letters
// (from memory).
var eitherLetter = sync.OnceValue(func() map[rune]string {
	all := map[rune]string{
		'ρ': "r", 'ν': "n", 'η': "n", 'β': "v", 'υ': "uv", 'ω': "ow", 'π': "np", 'σ': "s", 'ς': "sc", 'λ': "al", 'Δ': "ad", 'δ': "d", 'Σ': "es", 'Γ': "rg", 'γ': "gy", 'Θ': "o", 'Ξ': "e",
		'Π': "np", 'Ω': "ow", 'Λ': "alv", 'Ψ': "w", 'Φ': "of", 'φ': "of", 'ε': "e", 'ξ': "e", 'χ': "x", 'μ': "um", 'ά': "a", 'έ': "e", 'ή': "n", 'ί': "i", 'ό': "o", 'ύ': "u", 'ώ': "w",
		'и': "nu", 'И': "nu", 'й': "nu", 'я': "r", 'Я': "r", 'в': "bv", 'В': "bv", 'н': "hn", 'Н': "hn", 'р': "pr", 'Р': "pr", 'с': "cs", 'С': "cs", 'у': "yu", 'У': "yu", 'х': "xh", 'Х': "xh", 'п': "np", 'П': "np", 'г': "rg", 'Г': "rg", 'д': "ad", 'Д': "ad",
		'л': "l", 'Л': "l", 'ш': "w", 'Ш': "w", 'щ': "w", 'Щ': "w", 'ц': "u", 'Ц': "u", 'э': "e", 'Э': "e", 'ё': "e", 'Ё': "e", 'ф': "f", 'Ф': "f", 'з': "ze", 'З': "ze", 'є': "e", 'Є': "e", 'ч': "y", 'б': "b", 'Б': "b",
	}
	for _, table := range [...]*unicode.RangeTable{unicode.Greek, unicode.Cyrillic} {
		for _, span := range table.R16 {
			for r := rune(span.Lo); r <= rune(span.Hi); r += rune(span.Stride) {
				for _, other := range [...]rune{r, unicode.ToLower(r), unicode.ToUpper(r)} {
					if s := strings.ToLower(foldRune(other)); len(s) == 1 && s[0] >= 'a' && s[0] <= 'z' && !strings.Contains(all[r], s) {
						all[r] += s
					}
				}
			}
		}
	}
	return all
})

// foreignLetter is a Greek or Cyrillic letter in a folded text, and what it may be
// read as.
type foreignLetter struct {
	from, to int
	letters  string
}

// isForeign: Greek and Cyrillic have small and capital letters that look like
// other Latin ones each.
func isForeign(r rune) bool { return r >= 0x370 && r < 0x530 }

// foreignPieces are the pieces of a text in which words with Greek or Cyrillic
// letters are read as the names that they may stand for; nil if there are none.
func foreignPieces(p plain, keys nameTable) []piece {
	if len(p.foreign) == 0 || len(keys) == 0 {
		return nil
	}
	var out []piece
	changed := false
	for i := 0; i < len(p.pieces); {
		r := foreignReader{plain: p, search: search{keys: keys}, steps: mostSteps}
		if r.from(i, 0, len(keys), 0, nil, false); r.best != nil {
			out, changed, i = append(out, r.best...), true, r.next
			continue
		}
		out = append(out, p.pieces[i])
		i++
	}
	if !changed {
		return nil
	}
	return out
}

const mostSteps = 4000 // of one reading

// foreignReader follows a text through the keys, with each letter as any that it
// may stand for.
type foreignReader struct {
	plain
	search search
	steps  int

	best []piece
	next int
}

// from reads the word at piece i, after the words that were read before.
func (r *foreignReader) from(i, lo, hi, depth int, before []piece, foreign bool) {
	if i >= len(r.pieces) || r.pieces[i].joined && i > 0 && before == nil {
		return
	}
	end := i + 1
	for end < len(r.pieces) && r.pieces[end].joined {
		end++
	}
	word := r.pieces[i]
	word.end, word.digits, word.text = r.pieces[end-1].end, false, ""
	r.letters(word.start, end, lo, hi, depth, before, word, foreign)
}

// letters reads on at a byte of a word.
func (r *foreignReader) letters(at, end, lo, hi, depth int, before []piece, word piece, foreign bool) {
	if r.steps--; r.steps < 0 {
		return
	}
	if at >= word.end {
		words := append(before[:len(before):len(before)], word)
		if foreign && len(r.search.keys[lo].similar) == depth {
			r.best, r.next = words, end
		}
		r.from(end, lo, hi, depth, words, foreign)
		return
	}
	_, n := utf8.DecodeRuneInString(r.text[at:])
	choices, next, isForeign := r.text[at:at+n], at+n, false
	if k := sort.Search(len(r.foreign), func(k int) bool { return r.foreign[k].from >= at }); k < len(r.foreign) && r.foreign[k].from == at {
		choices, next, isForeign = r.foreign[k].letters, r.foreign[k].to, true
	}
	for _, c := range strings.ToLower(choices) {
		like := similar(string(c))
		l, h, d := lo, hi, depth
		for k := 0; k < len(like) && l < h; k++ {
			l, h = r.search.narrow(l, h, d, like[k])
			d++
		}
		if l < h {
			longer := word
			longer.text += string(c)
			r.letters(next, end, l, h, d, before, longer, foreign || isForeign)
		}
	}
}
