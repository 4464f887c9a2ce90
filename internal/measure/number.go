package measure

import (
	"math/big"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

type tokenKind int

const (
	word tokenKind = iota
	number
	sign
)

// token is a word, a number in figures or one other character. Its text is in
// lower case.
type token struct {
	kind       tokenKind
	start, end int
	text       string
}

// tokenise cuts text into tokens and drops the space between them.
func tokenise(text string) []token {
	var tokens []token
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		start, kind := i, sign
		switch {
		case unicode.IsSpace(r):
			i += n
			continue
		case isDigit(text, i) || r == '.' && isDigit(text, i+1) && !letterBefore(text, i):
			kind, i = number, numberEnd(text, i)
		case unicode.IsLetter(r):
			kind = word
			for i < len(text) && unicode.IsLetter(r) {
				i += n
				r, n = utf8.DecodeRuneInString(text[i:])
			}
		default:
			i += n
		}
		tokens = append(tokens, token{kind, start, i, strings.ToLower(text[start:i])})
	}
	return tokens
}

func isDigit(text string, i int) bool { return i < len(text) && text[i] >= '0' && text[i] <= '9' }

// letterBefore keeps "No.16" from being read as a sixteen hundredth.
func letterBefore(text string, i int) bool {
	r, _ := utf8.DecodeLastRuneInString(text[:i])
	return unicode.IsLetter(r)
}

// numberEnd finds the end of a number in figures, with points, commas or raised
// dots inside it.
func numberEnd(text string, i int) int {
	for {
		for isDigit(text, i) {
			i++
		}
		r, n := utf8.DecodeRuneInString(text[i:])
		if !strings.ContainsRune(".,·", r) || n == 0 || !isDigit(text, i+n) {
			return i
		}
		i += n
	}
}

var hyphens = []string{"-", "‐", "‑", "–"}

// skip passes over one token if it is one of the words.
func skip(tokens []token, i int, words ...string) int {
	if i < len(tokens) {
		for _, w := range words {
			if tokens[i].text == w {
				return i + 1
			}
		}
	}
	return i
}

// follows reports whether the next tokens are the words.
func follows(tokens []token, i int, words []string) bool {
	if i+len(words) > len(tokens) {
		return false
	}
	for k, w := range words {
		if tokens[i+k].text != w {
			return false
		}
	}
	return true
}

// quantity is a number without its unit.
type quantity struct {
	value     *big.Rat // nil where only a gauge can be meant: 4/0
	tolerance *big.Rat
	gauge     string // the number as a gauge is numbered, or ""
	fraction  bool   // written as a fraction below 1
	words     bool   // spelt out
}

func (q quantity) plus(other quantity) quantity {
	if q.value == nil {
		return q
	}
	return quantity{value: new(big.Rat).Add(q.value, other.value), tolerance: other.tolerance}
}

// fractionOf makes a quantity of n/d. Tenths, hundredths and so on are read
// like decimals; see Find for the tolerance of other fractions.
func fractionOf(n *big.Rat, d int64) quantity {
	tolerance := ratio(1, 8*d)
	if d == 10 || d == 100 || d == 1000 || d == 10_000 {
		tolerance = ratio(1, 2*d)
	}
	return quantity{value: new(big.Rat).Quo(n, ratio(d, 1)), tolerance: tolerance, fraction: true}
}

// quantitiesAt reads a number in figures or words. More than one reading comes
// back where it is not clear what a comma means. next is i where there is none.
func quantitiesAt(tokens []token, i int) (readings []quantity, next int) {
	if i >= len(tokens) {
		return nil, i
	}
	if q, next := fractionFigures(tokens, i); next > i {
		return []quantity{q}, next
	}
	if tokens[i].kind == number {
		readings := figures(tokens[i].text)
		if readings == nil {
			return nil, i
		}
		whole := readings[0].gauge != ""
		if mixed, next := mixedFigures(tokens, i, readings[0]); whole && next > i {
			return mixed, next
		}
		if d, next := denominator(tokens, i+1, true); next > i+1 && whole {
			q := fractionOf(readings[0].value, d)
			return []quantity{q}, next
		}
		return readings, i + 1
	}
	if q, next := fractionWords(tokens, i); next > i {
		return []quantity{q}, next
	}
	if q, next := numberWords(tokens, i); next > i {
		return []quantity{q}, next
	}
	return nil, i
}

// figures reads a number in figures. A lone comma may be a decimal sign.
func figures(text string) []quantity {
	text = strings.ReplaceAll(text, "·", ".")
	if len(text) > 18 {
		return nil
	}
	decimalOf := func(s string) []quantity {
		value, ok := plainDecimal(s)
		if !ok {
			return nil
		}
		_, part, _ := strings.Cut(s, ".")
		step := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(len(part))), nil))
		q := quantity{value: value, tolerance: step.Quo(step, ratio(2, 1))}
		if part == "" && !strings.Contains(s, ".") {
			q.gauge = s
		}
		return []quantity{q}
	}
	if !strings.Contains(text, ",") {
		return decimalOf(text)
	}
	var readings []quantity
	if strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		readings = decimalOf(strings.Replace(text, ",", ".", 1))
	}
	groups := strings.Split(strings.SplitN(text, ".", 2)[0], ",")
	grouped := len(groups[0]) <= 3
	for _, g := range groups[1:] {
		grouped = grouped && len(g) == 3
	}
	if grouped {
		readings = append(readings, decimalOf(strings.ReplaceAll(text, ",", ""))...)
	}
	return readings
}

// fractionFigures reads 1/16, 1⁄16 and ½, and gauge numbers such as 4/0.
func fractionFigures(tokens []token, i int) (quantity, int) {
	if top, bottom, ok := vulgar(tokens[i].text); ok {
		return fractionOf(ratio(top, 1), bottom), i + 1
	}
	if tokens[i].kind != number || i+2 >= len(tokens) || tokens[i+2].kind != number || !strings.Contains("/⁄∕", tokens[i+1].text) {
		return quantity{}, i
	}
	top, err1 := strconv.ParseUint(tokens[i].text, 10, 16)
	bottom, err2 := strconv.ParseUint(tokens[i+2].text, 10, 16)
	switch {
	case err1 != nil || err2 != nil:
		return quantity{}, i
	case bottom == 0:
		return quantity{gauge: tokens[i].text + "/0"}, i + 3
	}
	return fractionOf(ratio(int64(top), 1), int64(bottom)), i + 3
}

func vulgar(s string) (top, bottom int64, ok bool) {
	switch s {
	case "½":
		return 1, 2, true
	case "⅓":
		return 1, 3, true
	case "⅔":
		return 2, 3, true
	case "¼":
		return 1, 4, true
	case "¾":
		return 3, 4, true
	case "⅕":
		return 1, 5, true
	case "⅖":
		return 2, 5, true
	case "⅗":
		return 3, 5, true
	case "⅘":
		return 4, 5, true
	case "⅙":
		return 1, 6, true
	case "⅚":
		return 5, 6, true
	case "⅛":
		return 1, 8, true
	case "⅜":
		return 3, 8, true
	case "⅝":
		return 5, 8, true
	case "⅞":
		return 7, 8, true
	case "⅒":
		return 1, 10, true
	}
	return 0, 0, false
}

// mixedFigures reads the fraction in 1 1/16, 1-1/16 and 1½. In "frames 14 and
// 1/16 in" the fraction stands by itself, so that both readings come back.
func mixedFigures(tokens []token, i int, whole quantity) ([]quantity, int) {
	j := skip(tokens, i+1, hyphens...)
	joined := skip(tokens, j, "and")
	if joined >= len(tokens) {
		return nil, i
	}
	part, end := fractionFigures(tokens, joined)
	if end == joined || part.value == nil {
		return nil, i
	}
	if joined > j {
		return []quantity{whole.plus(part), part}, end
	}
	return []quantity{whole.plus(part)}, end
}

// denominator reads the lower number of a fraction in words: half, sixteenths,
// thirty-second. Plain seconds are time and firsts are order.
func denominator(tokens []token, i int, many bool) (d int64, next int) {
	if i >= len(tokens) {
		return 0, i
	}
	i0 := i
	i = skip(tokens, i, hyphens...)
	if i >= len(tokens) {
		return 0, i0
	}
	text := tokens[i].text
	if many {
		text = strings.TrimSuffix(text, "s")
	}
	switch text {
	case "half", "halve":
		return 2, i + 1
	case "third":
		return 3, i + 1
	case "quarter", "fourth":
		return 4, i + 1
	case "fifth":
		return 5, i + 1
	case "sixth":
		return 6, i + 1
	case "seventh":
		return 7, i + 1
	case "eighth":
		return 8, i + 1
	case "ninth":
		return 9, i + 1
	case "tenth":
		return 10, i + 1
	case "twelfth":
		return 12, i + 1
	case "sixteenth":
		return 16, i + 1
	case "twentieth":
		return 20, i + 1
	case "hundredth":
		return 100, i + 1
	case "thousandth":
		return 1000, i + 1
	case "thirty", "sixty", "ten":
		j := skip(tokens, i+1, hyphens...)
		if j < len(tokens) {
			switch text + " " + strings.TrimSuffix(tokens[j].text, "s") {
			case "thirty second":
				return 32, j + 1
			case "sixty fourth":
				return 64, j + 1
			case "ten thousandth":
				return 10_000, j + 1
			}
		}
	}
	return 0, i0
}

// fractionWords reads half, a quarter, three sixteenths.
func fractionWords(tokens []token, i int) (quantity, int) {
	if i >= len(tokens) || tokens[i].kind != word {
		return quantity{}, i
	}
	one := ratio(1, 1)
	spelt := func(n *big.Rat, d int64, next int) (quantity, int) {
		q := fractionOf(n, d)
		q.words = true
		return q, next
	}
	if after := skip(tokens, i, "a", "an"); after > i {
		if d, next := denominator(tokens, after, false); next > after {
			return spelt(one, d, next)
		}
		return quantity{}, i
	}
	if d, next := denominator(tokens, i, false); next > i {
		return spelt(one, d, next)
	}
	n, after := underHundred(tokens, i)
	if after == i {
		return quantity{}, i
	}
	if d, next := denominator(tokens, after, true); next > after {
		return spelt(ratio(n, 1), d, next)
	}
	return quantity{}, i
}

func smallNumber(s string) (int64, bool) {
	for n, w := range [...]string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
		"thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"} {
		if s == w {
			return int64(n), true
		}
	}
	return 0, s == "nought" || s == "nil"
}

func tens(s string) (int64, bool) {
	for n, w := range [...]string{"twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"} {
		if s == w {
			return int64(20 + 10*n), true
		}
	}
	return 0, false
}

// underHundred reads a whole number below a hundred in words.
func underHundred(tokens []token, i int) (n int64, next int) {
	if i >= len(tokens) {
		return 0, i
	}
	if n, ok := smallNumber(tokens[i].text); ok {
		return n, i + 1
	}
	n, ok := tens(tokens[i].text)
	if !ok {
		return 0, i
	}
	j := skip(tokens, i+1, hyphens...)
	if j < len(tokens) {
		if unit, ok := smallNumber(tokens[j].text); ok && unit >= 1 && unit <= 9 {
			return n + unit, j + 1
		}
	}
	return n, i + 1
}

// numberWords reads a number in words: sixteen, a hundred and five, one point
// three eight, two and a half.
func numberWords(tokens []token, i int) (quantity, int) {
	n, next := wholeWords(tokens, i)
	q := quantity{value: ratio(n, 1), tolerance: ratio(1, 2), gauge: strconv.FormatInt(n, 10), words: true}
	if value, step, end := pointWords(tokens, next); end > next {
		return quantity{value: value.Add(value, q.value), tolerance: step.Quo(step, ratio(2, 1)), words: true}, end
	}
	if next == i {
		return quantity{}, i
	}
	if next < len(tokens) && tokens[next].text == "and" {
		if part, end := fractionWords(tokens, next+1); end > next+1 {
			sum := q.plus(part)
			sum.words = true
			return sum, end
		}
	}
	return q, next
}

func wholeWords(tokens []token, i int) (n int64, next int) {
	n, next = underHundred(tokens, i)
	if after := skip(tokens, i, "a"); after > i && next == i {
		n, next = 1, after
		if next >= len(tokens) || tokens[next].text != "hundred" && tokens[next].text != "thousand" {
			return 0, i
		}
	}
	for _, scale := range []struct {
		word string
		by   int64
	}{{"thousand", 1000}, {"hundred", 100}} {
		if next == i || next >= len(tokens) || tokens[next].text != scale.word {
			continue
		}
		n, next = n*scale.by, next+1
		after := skip(tokens, next, "and")
		if rest, end := underHundred(tokens, after); end > after {
			n, next = n+rest, end
		}
	}
	return n, next
}

// pointWords reads "point oh six four": its value and the step of its last digit.
func pointWords(tokens []token, i int) (value, step *big.Rat, next int) {
	if i >= len(tokens) || tokens[i].text != "point" {
		return nil, nil, i
	}
	value, step, next = new(big.Rat), ratio(1, 1), i+1
	for next < len(tokens) && next-i <= 9 {
		d, ok := smallNumber(tokens[next].text)
		if tokens[next].text == "oh" || tokens[next].text == "o" {
			d, ok = 0, true
		}
		if !ok || d > 9 {
			break
		}
		step.Quo(step, ratio(10, 1))
		value.Add(value, new(big.Rat).Mul(step, ratio(d, 1)))
		next++
	}
	if next == i+1 {
		return nil, nil, i
	}
	return value, step, next
}
