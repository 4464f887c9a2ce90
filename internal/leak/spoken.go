package leak

import (
	"strconv"
	"strings"
	"sync"
)

// spokenForm reads numbers that are said in words, and the letters of the
// spelling alphabet, as figures and letters: "two two one seven" as 2217,
// "thirty-one" as 31, "foxtrot oscar seven" as F O 7. It returns nothing if the
// text has none.
func spokenForm(ps []piece) []piece {
	var out []piece
	said := false
	for i := 0; i < len(ps); {
		if digits, next := sayDigits(ps, i); next > i {
			said = true
			out = append(out, piece{text: digits, digits: true, start: ps[i].start, end: ps[next-1].end, capital: ps[i].capital, spoken: next - i})
			i = next
			continue
		}
		p := ps[i]
		if p.text == "x" && i+1 < len(ps) && ps[i+1].text == "ray" {
			p.text, p.end, i = "xray", ps[i+1].end, i+1
		}
		if letter := spelling(p.text); letter != "" && !p.joined && nearSpelling(ps, i) {
			said = true
			p.text, p.spoken = letter, 1
		}
		if i > 0 && i+1 < len(ps) && isSaidMark(p.text) {
			said = said || ps[i-1].digits || ps[i+1].digits
			i++ // "D dash two two one seven"
			continue
		}
		out = append(out, p)
		i++
	}
	if !said {
		return nil
	}
	return out
}

func isSaidMark(s string) bool {
	switch s {
	case "dash", "hyphen", "slash", "stroke", "oblique", "dot", "point":
		return true
	}
	return false
}

// sayDigits reads a row of number words as the figures that one would write
// down.
func sayDigits(ps []piece, i int) (digits string, next int) {
	var b strings.Builder
	for next = i; next < len(ps); {
		many := 1
		at := next
		switch ps[at].text {
		case "double":
			many, at = 2, at+1
		case "triple", "treble":
			many, at = 3, at+1
		}
		n, after := cardinal(ps, at)
		if after == at {
			break
		}
		b.WriteString(strings.Repeat(n, many))
		next = after
	}
	return b.String(), next
}

// cardinal reads one number in words: "zero", "seventeen", "thirty-one", "two
// thousand two hundred and seventeen".
func cardinal(ps []piece, i int) (digits string, next int) {
	word := func(k int) string {
		if k < len(ps) && !ps[k].digits {
			return ps[k].text
		}
		return ""
	}
	if isZero(word(i)) {
		return "0", i + 1
	}
	small := func(k int) (n, next int) {
		if t := tensOf(word(k)); t > 0 {
			if u := unitOf(word(k + 1)); u > 0 && u < 10 {
				return t + u, k + 2
			}
			return t, k + 1
		}
		if u := unitOf(word(k)); u > 0 {
			return u, k + 1
		}
		return 0, k
	}
	hundreds := func(k int) (n, next int) {
		n, next = small(k)
		if next == k && word(k) == "a" && (word(k+1) == "hundred" || word(k+1) == "thousand") {
			n, next = 1, k+1
		}
		if next == k || word(next) != "hundred" {
			return n, next
		}
		n, next = n*100, next+1
		at := next
		if word(at) == "and" {
			at++
		}
		if rest, after := small(at); after > at {
			return n + rest, after
		}
		return n, next
	}
	n, next := hundreds(i)
	if next == i {
		return "", i
	}
	if word(next) == "thousand" {
		n, next = n*1000, next+1
		at := next
		if word(at) == "and" {
			at++
		}
		if rest, after := hundreds(at); after > at && rest < 1000 {
			n, next = n+rest, after
		}
	}
	return strconv.Itoa(n), next
}

func isZero(s string) bool {
	switch s {
	case "zero", "oh", "nought", "naught", "nil", "aught":
		return true
	}
	return false
}

// saidNumbers are the number words under a hundred that are one word.
var saidNumbers = sync.OnceValue(func() map[string]int {
	all := map[string]int{}
	for i, w := range strings.Fields("one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen") {
		all[w] = i + 1
	}
	for i, w := range strings.Fields("twenty thirty forty fifty sixty seventy eighty ninety") {
		all[w] = 10*i + 20
	}
	return all
})

// unitOf is a number word under twenty; 0 for anything else.
func unitOf(s string) int {
	if n := saidNumbers()[s]; n < 20 {
		return n
	}
	return 0
}

// tensOf is a number word that ends in ty; 0 for anything else.
func tensOf(s string) int {
	if n := saidNumbers()[s]; n >= 20 {
		return n
	}
	return 0
}

// spellingAlphabet is that of the ICAO (Annex 10, volume II, from memory), with
// the usual other ways to write its words.
var spellingAlphabet = sync.OnceValue(func() map[string]string {
	all := map[string]string{"alpha": "a", "juliet": "j", "whisky": "w"}
	// The names of letters that are not words of their own.
	for i, w := range strings.Fields("aitch cee cue dee eff ell ess gee jay kay pee tee vee wye zed zee") {
		all[w] = "hcqdflsgjkptvyzz"[i : i+1]
	}
	for i, w := range strings.Fields("alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november oscar papa quebec romeo sierra tango uniform victor whiskey xray yankee zulu") {
		all[w] = string(rune('a' + i))
	}
	return all
})

// spelling is the letter of a word of the spelling alphabet.
func spelling(s string) string { return spellingAlphabet()[s] }

// nearSpelling: a word of the alphabet is a letter only beside another or beside
// a number, and "november" and "hotel" are usually just that.
func nearSpelling(ps []piece, i int) bool {
	for _, k := range [...]int{i - 1, i + 1, i + 2} {
		if k < 0 || k >= len(ps) {
			continue
		}
		t := ps[k].text
		if spelling(t) != "" || t == "ray" || isZero(t) || unitOf(t) > 0 || tensOf(t) > 0 || ps[k].digits {
			return true
		}
	}
	return false
}
