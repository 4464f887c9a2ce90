package leak

import (
	"html"
	"net/url"
	"regexp"
	"slices"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// plain is a text as a reader sees it: no markup, no invisible characters, and
// ASCII letters and digits for all that look like them. Case, spacing and
// punctuation stay.
type plain struct {
	text     string
	from, to []int32 // where in the source each byte of text begins and ends

	pieces []piece
	spoken []piece   // pieces with numbers in words as figures; nil if there are none
	others [][]piece // further ways in which names may be read
	digits bool      // it has figures

	foreign []foreignLetter // in order
}

// read cuts the text into pieces.
func (p *plain) read() {
	p.pieces = pieces(p.text)
	p.spoken = spokenForm(p.pieces)
	p.others = otherForms(p.text, p.pieces)
	p.digits = strings.ContainsAny(p.text, "0123456789")
}

// source turns a span of the folded text into one of the source.
func (p plain) source(start, end int) (int, int) {
	from, to := int(p.from[start]), int(p.to[end-1])
	if from > to { // text that is shown backwards
		return int(p.from[end-1]), int(p.to[start])
	}
	return from, to
}

func (p *plain) add(s string, from, to int) {
	p.text += s
	for range len(s) {
		p.from, p.to = append(p.from, int32(from)), append(p.to, int32(to))
	}
}

// has reports whether any of some words is in the text.
func (p *plain) has(words ...string) bool {
	return slices.ContainsFunc(p.pieces, func(piece piece) bool { return slices.Contains(words, piece.text) })
}

type folder struct {
	source string
	out    strings.Builder
	from   []int32
	to     []int32
	side   []plain // what stands in tags and link targets
	skip   map[int]int
	// unclosed: no comment is closed from here on, so that none is looked for.
	unclosed bool
	broken   bool // the last thing written is the line end of a tag
	foreign  []foreignLetter
}

// fold returns the text as it is read, and after it the pieces that stand beside
// it: attributes of tags, targets of links, text that is shown backwards.
func fold(source string) []plain {
	f := &folder{source: source, skip: map[int]int{}}
	f.run()
	main := plain{text: f.out.String(), from: f.from, to: f.to, foreign: f.foreign}
	all := append([]plain{main}, f.side...)
	return append(all, backwards(source, main)...)
}

func (f *folder) emit(s string, from, to int) {
	f.broken = f.broken && s == ""
	f.out.WriteString(s)
	for range len(s) {
		f.from, f.to = append(f.from, int32(from)), append(f.to, int32(to))
	}
}

func (f *folder) run() {
	for i := 0; i < len(f.source); {
		if next, ok := f.skip[i]; ok {
			i = next
			continue
		}
		next := f.markup(i)
		if next == i {
			r, n := utf8.DecodeRuneInString(f.source[i:])
			at := f.out.Len()
			f.emit(foldRune(r), i, i+n)
			if isForeign(r) {
				if s := eitherLetter()[r]; s != "" && f.out.Len() > at {
					f.foreign = append(f.foreign, foreignLetter{at, f.out.Len(), s})
				}
			}
			next = i + n
		}
		i = next
	}
}

var (
	// A tag in which a hard or narrow space stands is still taken for one.
	tag    = regexp.MustCompile(`^(?:<!--|</?[\x{a0}\x{2000}-\x{200a}\x{202f}\x{3000}]?(?i:a|b|code|em|i|mark|small|span|strong|sub|sup|u)(?:[\x{a0}\x{2000}-\x{200a}\x{202f}\x{3000}][^<>]*)?/?>|-->|</?[a-zA-Z][a-zA-Z0-9-]*(?:\s[^<>]*)?/?>|<![a-zA-Z][^<>]*>)`)
	entity = regexp.MustCompile(`^&(?:#[0-9]{1,7}|#[xX][0-9a-fA-F]{1,6}|[a-zA-Z][a-zA-Z0-9]{1,30});`)
	target = regexp.MustCompile(`^!?\[([^\[\]\n]*)\](?:\(([^()\n]*(?:\([^()\n]*\)[^()\n]*)*)\)|\[([^\[\]\n]*)\])`)
	// inlineTags do not break a word.
	inlineTag = regexp.MustCompile(`^</?[\x{a0}\x{2000}-\x{200a}\x{202f}\x{3000}]?(?i:a|abbr|b|bdi|bdo|big|cite|code|del|dfn|em|font|i|ins|kbd|mark|q|s|samp|small|span|strike|strong|sub|sup|tt|u|var|wbr)\b`)
)

// markup handles HTML and Markdown at i and returns where reading goes on; i
// if there is none.
func (f *folder) markup(i int) int {
	rest := f.source[i:]
	switch rest[0] {
	case '<', '-':
		t := tag.FindString(rest)
		if t == "" {
			return i
		}
		if t == "<!--" {
			if end, ok := f.commentEnd(i + len(t)); ok {
				f.beside(i+len(t), end)
				return end + len("-->")
			}
		}
		if !inlineTag.MatchString(t) && !f.broken {
			f.emit("\n", i, i+len(t)) // one line end for a row of tags
			f.broken = true
		}
		if at := strings.IndexAny(t, " \t\n"); at > 0 && strings.Contains(t, "=") {
			f.beside(i+at, i+len(t)-1)
		}
		return i + len(t)
	case '&':
		e := entity.FindString(rest)
		decoded := html.UnescapeString(e)
		if e == "" || decoded == e {
			return i
		}
		for _, r := range decoded {
			f.emit(foldRune(r), i, i+len(e))
		}
		return i + len(e)
	case '%':
		// A bare address may have marks in it as %2D.
		if s, ok := percentCode(rest); ok && f.insideWord(i, i+3) {
			f.emit(s, i, i+3)
			return i + 3
		}
	case '[', '!':
		m := target.FindStringSubmatchIndex(rest)
		if m == nil {
			return i
		}
		f.skip[i+m[3]] = i + m[1] // from the closing bracket on
		for k := 4; k < len(m); k += 2 {
			if m[k] >= 0 {
				f.beside(i+m[k], i+m[k+1])
			}
		}
		return i + m[2]
	case '*', '`', '~':
		const most = 3 // marks of emphasis in a row
		n := 1
		for n < len(rest) && n <= most && rest[n] == rest[0] {
			n++
		}
		if n <= most && f.insideWord(i, i+n) {
			return i + n
		}
	}
	return i
}

// commentEnd is where the comment whose text begins at i is closed, if it is.
func (f *folder) commentEnd(i int) (end int, ok bool) {
	if f.unclosed {
		return 0, false
	}
	n := strings.Index(f.source[i:], "-->")
	f.unclosed = n < 0
	return i + n, n >= 0
}

// insideWord reports whether marks of emphasis stand in the middle of a word.
// "3*4" is a sum.
func (f *folder) insideWord(start, end int) bool {
	before, _ := utf8.DecodeLastRuneInString(f.source[:start])
	after, _ := utf8.DecodeRuneInString(f.source[end:])
	if unicode.IsDigit(before) && unicode.IsDigit(after) {
		return end-start > 1
	}
	return (unicode.IsLetter(before) || unicode.IsDigit(before)) && (unicode.IsLetter(after) || unicode.IsDigit(after))
}

// percentCode reads a printable ASCII character that an address writes as a
// percent sign and two figures.
func percentCode(s string) (string, bool) {
	if len(s) < 3 || s[0] != '%' {
		return "", false
	}
	decoded, err := url.PathUnescape(s[:3])
	return decoded, err == nil && decoded[0] >= ' ' && decoded[0] < utf8.RuneSelf
}

// beside reads a part of the source by itself, percent signs of addresses
// undone.
func (f *folder) beside(start, end int) {
	inner := folder{source: f.source[:end], skip: map[int]int{}}
	for i := start; i < end; {
		r, n := utf8.DecodeRuneInString(f.source[i:end])
		if e := entity.FindString(f.source[i:end]); e != "" {
			inner.emit(html.UnescapeString(e), i, i+len(e))
			i += len(e)
			continue
		}
		if s, ok := percentCode(f.source[i:end]); ok {
			inner.emit(s, i, i+3)
			i += 3
			continue
		}
		inner.emit(foldRune(r), i, i+n)
		i += n
	}
	if inner.out.Len() > 0 {
		f.side = append(f.side, plain{text: inner.out.String(), from: inner.from, to: inner.to})
	}
}

// backwards reads what a right-to-left override shows from its end.
func backwards(source string, main plain) []plain {
	const override, pop = '\u202e', "\u202c\n"
	var all []plain
	end := 0
	for at, r := range source {
		if r != override || at < end {
			continue
		}
		end = len(source)
		if n := strings.IndexAny(source[at:], pop); n >= 0 {
			end = at + n
		}
		var p plain
		first, last := sort.Search(len(main.from), func(k int) bool { return int(main.from[k]) >= at }), len(main.text)
		last = sort.Search(len(main.from), func(k int) bool { return int(main.from[k]) >= end })
		runes := []rune(main.text[first:last])
		slices.Reverse(runes)
		k := last
		for _, r := range runes {
			k -= utf8.RuneLen(r)
			p.add(string(r), int(main.from[k]), int(main.to[k]))
		}
		if len(p.text) > 0 {
			all = append(all, p)
		}
	}
	return all
}

type lookalike struct {
	r    rune
	like string
}

// foldRune is what a reader takes one character for.
func foldRune(r rune) string {
	switch {
	case r < utf8.RuneSelf:
		if r < ' ' && r != '\n' && r != '\t' && r != '\r' || r == 0x7f {
			return ""
		}
		return asciiText[r : r+1]
	case isHidden(r):
		return ""
	case unicode.IsSpace(r), r == '\u2800':
		if r == '\u2028' || r == '\u2029' || r == '\u0085' {
			return "\n"
		}
		return " "
	}
	if s, ok := foldSpecial(r); ok {
		return s
	}
	if d, ok := digitValue(r); ok {
		return asciiText['0'+d : '0'+d+1]
	}
	if s, ok := looksLike(r); ok {
		return s
	}
	decomposed := norm.NFKD.String(string(r))
	if strings.ContainsRune(decomposed, '⁄') || decomposed == string(r) {
		return string(r) // measure reads fractions as they stand
	}
	var b strings.Builder
	for _, d := range decomposed {
		if isHidden(d) {
			continue
		}
		if s, ok := looksLike(d); ok {
			b.WriteString(s)
		} else {
			b.WriteRune(d)
		}
	}
	return b.String()
}

const asciiText = "\x00\x01\x02\x03\x04\x05\x06\x07\x08\t\n\x0b\x0c\r\x0e\x0f\x10\x11\x12\x13\x14\x15\x16\x17\x18\x19\x1a\x1b\x1c\x1d\x1e\x1f" +
	" !\"#$%&'()*+,-./0123456789:;<=>?@ABCDEFGHIJKLMNOPQRSTUVWXYZ[\\]^_`abcdefghijklmnopqrstuvwxyz{|}~\x7f"

// isHidden: controls, joiners, soft hyphens, marks above and below letters, and
// the fillers that count as letters and show nothing.
func isHidden(r rune) bool {
	switch r {
	case '\u115f', '\u1160', '\u17b4', '\u17b5', '\u3164', '\uffa0', utf8.RuneError:
		return true
	case '\u0085':
		return false
	}
	return unicode.In(r, unicode.Cf, unicode.Mn, unicode.Me, unicode.Cc)
}

// smallCapitals are letters used as such that UTS 39 does not list.
const smallCapitals = "ᴀaʙbᴄcᴅdᴇeꜰfɢgʜhɪiᴊjᴋkʟlᴍmɴnᴏoᴘpꞯqʀrꜱsᴛtᴜuᴠvᴡwʏyᴢz"

func foldSpecial(r rune) (string, bool) {
	switch r {
	case 'µ', 'μ':
		return "µ", true
	case '×', '″', '”', '“', '′', '·', '£', '€', '¢', '¥':
		return string(r), true
	case '‘', '’', 'ʼ', 'ʹ', '＇', '‛':
		return "'", true
	case '−', '‒', '⁃', '˗', '➖':
		return "-", true
	case 'ß', 'ẞ':
		return "ss", true
	}
	switch {
	case unicode.Is(unicode.Pd, r):
		return "-", true
	case r >= '🇦' && r <= '🇿': // regional indicators
		return string('A' + r - '🇦'), true
	case r >= '🅐' && r <= '🅩':
		return string('A' + r - '🅐'), true
	case r >= '🅰' && r <= '🆉':
		return string('A' + r - '🅰'), true
	case r >= '❶' && r <= '➓': // dingbat figures, ten to a row
		n := (r-'❶')%10 + 1
		if n == 10 {
			return "10", true
		}
		return string('0' + n), true
	case r == '⓿':
		return "0", true
	case r >= '⓵' && r <= '⓽':
		return string('1' + r - '⓵'), true
	}
	if i := strings.IndexRune(smallCapitals, r); i >= 0 {
		n := utf8.RuneLen(r)
		return smallCapitals[i+n : i+n+1], true
	}
	return "", false
}

// digitValue of a decimal digit in any script: they stand in rows of ten.
func digitValue(r rune) (rune, bool) {
	if !unicode.Is(unicode.Nd, r) {
		return 0, false
	}
	if '𝟎' <= r && r <= '𝟿' { // five rows that do not begin at a multiple of ten
		return (r - '𝟎') % 10, true
	}
	d := r
	for unicode.Is(unicode.Nd, d-1) && r-d < 9 {
		d--
	}
	return r - d, true
}

func looksLike(r rune) (string, bool) {
	if r < utf8.RuneSelf {
		return "", false
	}
	i, found := slices.BinarySearchFunc(lookalikes[:], r, func(l lookalike, r rune) int { return int(l.r - r) })
	if !found {
		return "", false
	}
	return lookalikes[i].like, true
}
