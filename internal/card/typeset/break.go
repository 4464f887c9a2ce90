package typeset

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

const (
	noBreakSpace = '\u00a0'
	softHyphen   = '\u00ad'
)

// Span is text set in one font and size.
type Span struct {
	Text string
	Font *Font
	Size Points
	Mark int // the caller's own number, handed on to the pieces made from the span
}

// Piece is a part of a line in one font and size, from one span.
type Piece struct {
	Font   *Font
	Size   Points
	Mark   int
	X      Points // from the left end of the line
	Width  Points // without a space at the end of the line
	Glyphs []Glyph
}

// Text returns what the piece says.
func (p Piece) Text() string {
	var b strings.Builder
	for _, g := range p.Glyphs {
		b.WriteString(g.Text)
	}
	return b.String()
}

// Line is one line of a paragraph.
type Line struct {
	Pieces       []Piece
	Width        Points
	Chars        int
	Above, Below Points // extent of the ink about the baseline, both positive
}

// Measure says what room a paragraph has.
type Measure struct {
	Width Points
	Chars int // the most characters in a line; 0: no limit
	// Even asks for lines of like length, the last one too: for titles.
	Even bool
}

// TooWide is the error for a word that is wider than the line it must stand in.
type TooWide struct{ Word string }

func (e TooWide) Error() string {
	return fmt.Sprintf("the word %q is wider than its line; use a shorter word, or put a soft hyphen (U+00AD) where it may be broken", e.Word)
}

// token is text that is kept on one line, and what may follow it.
type token struct {
	text   string
	span   *Span
	word   word
	width  Points
	chars  int
	after  breakKind
	spaced bool   // the text ends with a space, which is kept as a glyph
	space  Points // width of a space in this font and size
	hyphen Points // width of the hyphen that is printed if the line ends here
}

type breakKind int

const (
	joined      breakKind = iota // the next token belongs to the same word
	atSpace                      // a space, dropped where the line ends
	atHyphen                     // after a hyphen, dash or slash that is printed anyway
	atSoft                       // a hyphen is printed only where the line ends
	atParagraph                  // the end of the text
)

// Break sets text in lines that fit the measure. It uses as few lines as it
// can, and among those ways the one whose right edge is most even and whose
// last line is not one word (after Knuth and Plass, "Breaking Paragraphs
// into Lines", 1981, for text that is set ragged right).
func Break(spans []Span, m Measure) ([]Line, error) { return new(Breaker).Break(spans, m) }

// Breaker breaks one text after another, and uses the same memory again for its
// workings. A nil Breaker works too.
type Breaker struct {
	tokens []token
	best   []choice
}

// Break is the function of the same name.
func (b *Breaker) Break(spans []Span, m Measure) ([]Line, error) { return b.lines(spans, m, true) }

// Try is Break for whoever only asks how much room a text takes: the lines have no
// pieces.
func (b *Breaker) Try(spans []Span, m Measure) ([]Line, error) { return b.lines(spans, m, false) }

func (b *Breaker) lines(spans []Span, m Measure, pieces bool) ([]Line, error) {
	if b == nil {
		b = new(Breaker)
	}
	if err := b.tokenise(spans); err != nil || len(b.tokens) == 0 {
		return nil, err
	}
	ends, err := b.bestBreaks(m)
	if err != nil {
		return nil, err
	}
	lines := make([]Line, 0, len(ends))
	start := 0
	for _, end := range ends {
		line, err := setLine(b.tokens[start:end], pieces)
		if err != nil {
			return nil, err
		}
		lines = append(lines, line)
		start = end
	}
	return lines, nil
}

// tokenise takes spans apart into b.tokens.
func (b *Breaker) tokenise(spans []Span) error {
	tokens := b.tokens[:0]
	for i := range spans {
		span := &spans[i]
		pieces, err := span.Font.pieces(span.Text)
		if err != nil {
			return err
		}
		if len(tokens) > 0 && startsWithSpace(span.Text) {
			tokens[len(tokens)-1].after = atSpace
		}
		space, err := advanceOf(" ", span)
		if err != nil {
			return err
		}
		hyphen := Points(-1)
		tokens = slices.Grow(tokens, len(pieces))
		for _, p := range pieces {
			t := token{
				text: p.text, span: span, word: p.word, after: p.after,
				width: span.Size.Scale(p.word.width, span.Font.UnitsPerEm()), chars: p.chars, space: space,
			}
			if p.after == atSoft {
				if hyphen < 0 {
					if hyphen, err = advanceOf("-", span); err != nil {
						return err
					}
				}
				t.hyphen = hyphen
			}
			tokens = append(tokens, t)
		}
	}
	if n := len(tokens); n > 0 {
		tokens[n-1].spaced = tokens[n-1].after == atSpace
		tokens[n-1].after = atParagraph
	}
	b.tokens = tokens
	return nil
}

// piece is text that is kept on one line, whatever its size.
type piece struct {
	text  string
	word  word
	chars int
	after breakKind
}

// pieces takes a text apart and shapes it. It is remembered, since a text is tried
// in several sizes and widths.
func (f *Font) pieces(text string) ([]piece, error) {
	if known, ok := f.texts.Load(text); ok {
		return known.([]piece), nil
	}
	var all []piece
	for rest := Tidy(text); rest != ""; {
		var p piece
		p.text, p.after, rest = cut(rest)
		if rest == "" && p.after == atParagraph && endsWithSpace(text) {
			p.after = atSpace
		} else if rest == "" && p.after == atParagraph {
			p.after = joined
		}
		var err error
		if p.word, err = f.shape(p.text); err != nil {
			return nil, err
		}
		p.chars = utf8.RuneCountInString(p.text)
		all = append(all, p)
	}
	f.texts.Store(text, all)
	return all, nil
}

func startsWithSpace(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return breakingSpace(r)
}

func endsWithSpace(s string) bool {
	r, _ := utf8.DecodeLastRuneInString(s)
	return breakingSpace(r)
}

func breakingSpace(r rune) bool {
	return unicode.IsSpace(r) && r != noBreakSpace && r != '\u202f' && r != '\u2007'
}

// cut takes from the front of tidied text what must stay together.
func cut(text string) (piece string, after breakKind, rest string) {
	for i, r := range text {
		next := text[i+utf8.RuneLen(r):]
		switch {
		case r == ' ':
			return text[:i], atSpace, next
		case r == softHyphen && i > 0 && next != "":
			return text[:i], atSoft, next
		case breaksAfter(r) && letterAround(text[:i], next):
			return text[:i] + string(r), atHyphen, next
		}
	}
	return text, atParagraph, ""
}

func breaksAfter(r rune) bool {
	return r == '-' || r == '\u2010' || r == '\u2013' || r == '\u2014' || r == '/'
}

// letterAround keeps ranges such as 3-4 and marks at the edge of a word whole.
func letterAround(before, after string) bool {
	b, _ := utf8.DecodeLastRuneInString(before)
	a, _ := utf8.DecodeRuneInString(after)
	return unicode.IsLetter(b) && unicode.IsLetter(a)
}

// Tidy composes letters with their marks (Unicode NFC), makes every run of
// white space one space, and puts no-break spaces where a line must not end.
func Tidy(s string) string {
	words := strings.FieldsFunc(norm.NFC.String(s), breakingSpace)
	var b strings.Builder
	for i, w := range words {
		if i > 0 {
			if keepsTogether(words[i-1], w) {
				b.WriteRune(noBreakSpace)
			} else {
				b.WriteByte(' ')
			}
		}
		b.WriteString(w)
	}
	return b.String()
}

// keepsTogether reports whether two words are a number and its unit, or a day
// and its month.
func keepsTogether(before, after string) bool {
	last, _ := utf8.DecodeLastRuneInString(before)
	if !unicode.IsDigit(last) {
		return false
	}
	unit := strings.TrimRightFunc(after, func(r rune) bool {
		return unicode.IsPunct(r) && r != '%' || r == '"' || r == '”' || r == '’'
	})
	return isUnit(unit)
}

// isUnit knows the units and month names of a restoration log. Common
// practice, no source: the list is what the cards are likely to hold.
func isUnit(s string) bool {
	switch s {
	case "mm", "cm", "m", "km", "in", "ft", "thou", "inch", "inches", "foot", "feet", "metre", "metres", "miles", "knots",
		"SWG", "AWG", "swg", "awg", "gauge", "%", "per", "percent",
		"g", "kg", "lb", "lbs", "tonnes", "tons", "litres", "gallons", "psi", "bar", "hp", "kW", "V", "°C", "°F", "rpm",
		"s", "second", "seconds", "min", "minute", "minutes", "hour", "hours", "day", "days", "week", "weeks", "month", "months", "year", "years",
		"January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December":
		return true
	}
	return false
}

// choice is the best way found to set the tokens up to a place.
type choice struct {
	reached bool
	lines   int
	cost    int64
	from    int
}

// better orders ways by their lines, then by how even they are.
func (c choice) better(o choice) bool {
	return !o.reached || c.lines < o.lines || c.lines == o.lines && c.cost < o.cost
}

// bestBreaks returns the index after the last token of each line.
func (b *Breaker) bestBreaks(m Measure) ([]int, error) {
	tokens := b.tokens
	b.best = append(b.best[:0], choice{reached: true})
	b.best = append(b.best, make([]choice, len(tokens))...)
	best := b.best
	for start := range tokens {
		if !best[start].reached {
			continue
		}
		extendFrom(best, tokens, start, m)
	}
	if !best[len(tokens)].reached {
		return nil, widest(tokens, m)
	}
	var ends []int
	for at := len(tokens); at > 0; at = best[at].from {
		ends = append(ends, at)
	}
	for i, j := 0, len(ends)-1; i < j; i, j = i+1, j-1 {
		ends[i], ends[j] = ends[j], ends[i]
	}
	return ends, nil
}

// extendFrom tries every line that begins with the token at start.
func extendFrom(best []choice, tokens []token, start int, m Measure) {
	var width Points
	chars, words := 0, 1
	for end := start + 1; end <= len(tokens); end++ {
		t := tokens[end-1]
		width += t.width
		chars += t.chars
		if width > m.Width || m.Chars > 0 && chars > m.Chars && words > 1 {
			return
		}
		if t.after != joined {
			w, n := width, chars
			if t.after == atSoft {
				w += t.hyphen
				n++
			}
			if w <= m.Width && (m.Chars == 0 || n <= m.Chars || words == 1) {
				way := choice{
					reached: true, lines: best[start].lines + 1, from: start,
					cost: best[start].cost + lineCost(w, words, start, t.after, m),
				}
				if way.better(best[end]) {
					best[end] = way
				}
			}
		}
		if t.after == atSpace {
			width += t.space
			chars++
			words++
		}
	}
}

// lineCost says how ill a line looks: the square of its empty share in
// thousandths, and more for a broken word or a lone last word.
func lineCost(width Points, words, start int, after breakKind, m Measure) int64 {
	const loneWord, brokenWord, brokenAtHyphen = 1 << 40, 1 << 32, 40_000
	empty := int64((m.Width - width) * 1000 / max(m.Width, 1))
	switch {
	case after == atParagraph && !m.Even:
		cost := int64(0)
		if start > 0 && words == 1 {
			cost += loneWord
		}
		if short := max(0, empty-600); start > 0 {
			cost += short * short
		}
		return cost
	case after == atSoft:
		return empty*empty + brokenWord
	case after == atHyphen:
		return empty*empty + brokenAtHyphen
	}
	return empty * empty
}

// widest names the word that stopped a paragraph from being set.
func widest(tokens []token, m Measure) error {
	var width Points
	text := ""
	for _, t := range tokens {
		width += t.width
		text += t.text
		if width > m.Width {
			return TooWide{Word: text}
		}
		if t.after != joined {
			width, text = 0, ""
		}
	}
	return TooWide{Word: text}
}

// advanceOf returns the width of a text in a span's font and size.
func advanceOf(text string, span *Span) (Points, error) {
	w, err := span.Font.shape(text)
	return span.Size.Scale(w.width, span.Font.UnitsPerEm()), err
}

// whole joins the parts of words that were not broken after all, so that letters
// are kerned and tied together as in any other word. Where the whole would be
// wider than its parts, the parts stay, since the line was measured with them.
func whole(tokens []token) ([]token, error) {
	if !slices.ContainsFunc(tokens[:len(tokens)-1], func(t token) bool { return t.after == atSoft }) {
		return tokens, nil
	}
	var joined []token
	for start := 0; start < len(tokens); {
		end := start
		t := tokens[start]
		for t.after == atSoft && end+1 < len(tokens) && tokens[end+1].span == t.span {
			end++
			next := tokens[end]
			t.text += next.text
			t.width += next.width
			t.chars += next.chars
			t.after, t.spaced, t.hyphen = next.after, next.spaced, next.hyphen
		}
		if end > start {
			w, err := t.span.Font.shape(t.text)
			if err != nil {
				return nil, err
			}
			width := t.span.Size.Scale(w.width, t.span.Font.UnitsPerEm())
			if width > t.width {
				joined = append(joined, tokens[start:end+1]...)
				start = end + 1
				continue
			}
			t.word, t.width = w, width
		}
		joined = append(joined, t)
		start = end + 1
	}
	return joined, nil
}

// setLine places the tokens of one line, with or without its pieces. A line that
// ends at a space keeps the space as a glyph, so that words stay apart for whoever
// reads the text aloud.
func setLine(parts []token, pieces bool) (Line, error) {
	tokens, err := whole(parts)
	if err != nil {
		return Line{}, err
	}
	var line Line
	room := 0
	for _, t := range tokens {
		room += len(t.word.glyphs) + 1
	}
	for i, t := range tokens {
		end := i == len(tokens)-1
		if pieces {
			if err := line.add(t, end, room); err != nil {
				return Line{}, err
			}
			room -= len(t.word.glyphs) + 1
		}
		line.Width += t.width
		line.Chars += t.chars
		line.extend(t)
		switch {
		case end && t.after == atSoft:
			line.Width += t.hyphen
			line.Chars++
		case !end && t.after == atSpace:
			line.Width += t.space
			line.Chars++
		}
	}
	return line, nil
}

// add puts a token at the end of a line, with the space or the hyphen behind it.
func (l *Line) add(t token, end bool, room int) error {
	p := l.piece(t, l.Width, room)
	p.Glyphs = append(p.Glyphs, t.word.glyphs...)
	p.Width = l.Width + t.width - p.X
	switch {
	case t.after == atSpace || t.spaced:
		space, err := t.span.Font.shape(" ")
		if err != nil {
			return err
		}
		p.Glyphs = append(p.Glyphs, space.glyphs...)
	case t.after == atSoft && end:
		hyphen, err := t.span.Font.shape("-")
		if err != nil {
			return err
		}
		g := hyphen.glyphs[0]
		g.Text = string(softHyphen)
		p.Glyphs = append(p.Glyphs, g)
		p.Width += t.hyphen
	}
	return nil
}

// piece returns the piece that a token goes to: the last one while font, size
// and mark stay the same, or else a new one at x, with room for so many glyphs.
func (l *Line) piece(t token, x Points, room int) *Piece {
	if n := len(l.Pieces); n > 0 {
		last := &l.Pieces[n-1]
		if last.Font == t.span.Font && last.Size == t.span.Size && last.Mark == t.span.Mark {
			return last
		}
	}
	l.Pieces = append(l.Pieces, Piece{Font: t.span.Font, Size: t.span.Size, Mark: t.span.Mark, X: x, Glyphs: make([]Glyph, 0, room)})
	return &l.Pieces[len(l.Pieces)-1]
}

func (l *Line) extend(t token) {
	em := t.span.Font.UnitsPerEm()
	l.Above = max(l.Above, t.span.Size.Scale(int64(t.word.top), em))
	l.Below = max(l.Below, t.span.Size.Scale(int64(-t.word.bottom), em))
}
