package typeset

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"
)

func sans(t testing.TB) *Font {
	t.Helper()
	data, err := os.ReadFile("../../../themes/fonts/SourceSans3-Regular.ttf")
	if err != nil {
		t.Fatal(err)
	}
	f, err := ParseFont("SourceSans3-Regular", data)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// ISO 216 sheet sizes in points to three places, and the metric height of
// common type sizes: computed from 1 in = 25.4 mm (NIST SP 811, appendix B).
func TestLengthsConvertExactly(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"297.638 pt", "297.638"}, {"105 mm", "297.638"}, {"148 mm", "419.528"}, {"210 mm", "595.276"}, {"297 mm", "841.89"},
		{"8.5 in", "612"}, {"11in", "792"}, {"0.5 mm", "1.417"}, {"12 pt", "12"},
	} {
		got, err := ParsePoints(c.text)
		if err != nil || got.String() != c.want {
			t.Errorf("ParsePoints(%q) = %v, %v; want %s", c.text, got, err, c.want)
		}
	}
	for _, bad := range []string{"", "12", "pt", "-3 mm", "1.2345 mm", "1e3 pt", "12 px", "NaN pt", "1..2 mm"} {
		if got, err := ParsePoints(bad); err == nil {
			t.Errorf("ParsePoints(%q) = %v; want an error", bad, got)
		}
	}
}

func TestNumbersKeepTheirUnits(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"It was 16 SWG  and\n1.63 mm thick.", "It was 16·SWG and 1.63·mm thick."},
		{"lost 15 %, after 40 years.", "lost 15·%, after 40·years."},
		{"on 14 January 2031 (0.064 in)", "on 14·January 2031 (0.064·in)"},
		{"14 AWG; frame 14 in the hull", "14·AWG; frame 14·in the hull"},
		{"two mm and mm 12", "two mm and mm 12"},
		{"caf\u0065\u0301 25 people", "café 25 people"},
	} {
		if got := strings.ReplaceAll(Tidy(c.text), "\u00a0", "·"); got != c.want {
			t.Errorf("Tidy(%q) = %q; want %q", c.text, got, c.want)
		}
	}
}

// A ligature must stand for all of its letters.
func TestClustersKeepTheirWholeText(t *testing.T) {
	f := sans(t)
	ligatures := 0
	for _, text := range []string{"off", "fitted", "office", "Waffle", "Ώρα", "Ъёж", "e\u0308\u0323x"} {
		w, err := f.shape(text)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, g := range w.glyphs {
			got += g.Text
			if utf8.RuneCountInString(g.Text) > 1 {
				ligatures++
			}
		}
		if got != text {
			t.Errorf("the glyphs of %q say %q", text, got)
		}
	}
	if ligatures == 0 {
		t.Error("no cluster had more than one letter; the font should have ligatures for ff")
	}
}

func TestMissingGlyphIsNamed(t *testing.T) {
	_, err := Break([]Span{{Text: "a 船 hull", Font: sans(t), Size: 12 * Point}}, Measure{Width: 200 * Point})
	var missing MissingGlyph
	if !errors.As(err, &missing) || missing.Rune != '船' {
		t.Fatalf("Break = %v; want MissingGlyph for 船", err)
	}
	if !strings.Contains(err.Error(), "U+8239") || !strings.Contains(err.Error(), "SourceSans3-Regular") {
		t.Errorf("%q does not name character and font", err)
	}
}

func TestWordWiderThanItsLineIsNamed(t *testing.T) {
	text := "the Donaudampfschifffahrtsgesellschaft of old"
	_, err := Break([]Span{{Text: text, Font: sans(t), Size: 12 * Point}}, Measure{Width: 90 * Point})
	var wide TooWide
	if !errors.As(err, &wide) || wide.Word != "Donaudampfschifffahrtsgesellschaft" {
		t.Fatalf("Break = %v; want TooWide for the long word", err)
	}
	lines, err := Break([]Span{{Text: strings.Replace(text, "schiff", "\u00adschiff", 1), Font: sans(t), Size: 12 * Point}}, Measure{Width: 150 * Point})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasSuffix(text1(lines[0]), "Donaudampf\u00ad") || strings.Contains(text1(lines[1]), "\u00ad") {
		t.Errorf("lines %q and %q; want the break at the soft hyphen", text1(lines[0]), text1(lines[1]))
	}
}

func text1(l Line) string {
	s := ""
	for _, p := range l.Pieces {
		s += p.Text()
	}
	return s
}

var vocabulary = strings.Fields("a the of hull strip floor salt water paint rotted stiffener corrosion flying-boat wing and in 16 SWG office fitted aluminium undercarriage we it new cut folded")

func randomText(r *rand.Rand, words int) string {
	var all []string
	for range words {
		all = append(all, vocabulary[r.IntN(len(vocabulary))])
	}
	return strings.Join(all, " ")
}

// Filling each line as full as it goes uses the fewest lines there can be; the
// breaking must use no more, hold its measure, say every word in order, and end
// on no lone word where another way exists.
func TestParagraphsAreSetInTheFewestLines(t *testing.T) {
	f := sans(t)
	r := rand.New(rand.NewPCG(7, 2031))
	for range 400 {
		text := randomText(r, 1+r.IntN(60))
		m := Measure{Width: Points(150+r.IntN(250)) * Point, Chars: 55, Even: r.IntN(4) == 0}
		size := Points(12+r.IntN(8)) * Point
		spans := []Span{{Text: text, Font: f, Size: size}}
		lines, err := Break(spans, m)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		said := ""
		for _, l := range lines {
			if l.Width > m.Width {
				t.Errorf("%q: a line is %v wide, more than %v", text, l.Width, m.Width)
			}
			if l.Chars > m.Chars {
				t.Errorf("%q: a line has %d characters: %q", text, l.Chars, text1(l))
			}
			said += text1(l)
		}
		if said != Tidy(text) {
			t.Errorf("set %q, want %q", said, Tidy(text))
		}
		if want := greedyLines(t, spans, m); len(lines) != want {
			t.Errorf("%q: %d lines at %v, want %d", text, len(lines), m.Width, want)
		}
		if n := len(lines); n > 1 && !m.Even {
			last, before := text1(lines[n-1]), lines[n-2]
			if !strings.Contains(last, " ") && canMoveDown(t, spans, before, lines[n-1], m) {
				t.Errorf("%q ends on the lone word %q", text, last)
			}
		}
	}
}

// A try says of each line what its setting does, whatever was set before with the
// same breaker.
func TestTryTakesTheRoomThatTheLinesDo(t *testing.T) {
	f := sans(t)
	r := rand.New(rand.NewPCG(8, 2031))
	var used Breaker
	for range 400 {
		text := randomText(r, 1+r.IntN(60))
		if r.IntN(2) == 0 {
			text = strings.ReplaceAll(text, "er", "e\u00adr")
		}
		m := Measure{Width: Points(60+r.IntN(340)) * Point, Chars: 55, Even: r.IntN(4) == 0}
		spans := []Span{{Text: text, Font: f, Size: Points(12+r.IntN(8)) * Point}}
		lines, err := Break(spans, m)
		tried, tryErr := used.Try(spans, m)
		if fmt.Sprint(err) != fmt.Sprint(tryErr) {
			t.Fatalf("%q: setting says %v, trying %v", text, err, tryErr)
		}
		for i := range lines {
			lines[i].Pieces = nil
		}
		if !reflect.DeepEqual(lines, tried) {
			t.Errorf("%q at %v: set as %+v, tried as %+v", text, m.Width, lines, tried)
		}
	}
}

// greedyLines counts lines when each is filled before the next begins.
func greedyLines(t *testing.T, spans []Span, m Measure) int {
	var b Breaker
	if err := b.tokenise(spans); err != nil {
		t.Fatal(err)
	}
	tokens := b.tokens
	n, width, chars := 0, Points(0), 0
	for i := 0; i < len(tokens); i++ {
		tok := tokens[i]
		if n == 0 || width+tok.width > m.Width || chars+tok.chars > m.Chars {
			n, width, chars = n+1, 0, 0
		}
		width += tok.width
		chars += tok.chars
		if tok.after == atSpace {
			width += tok.space
			chars++
		}
	}
	return n
}

// canMoveDown reports whether the last word of the line before would fit on the
// last line.
func canMoveDown(t *testing.T, spans []Span, before, last Line, m Measure) bool {
	words := strings.FieldsFunc(text1(before), func(r rune) bool { return r == ' ' || r == '-' })
	if len(words) < 2 {
		return false
	}
	s := spans[0]
	s.Text = words[len(words)-1] + "- " + text1(last)
	whole, err := Break([]Span{s}, Measure{Width: 1 << 40})
	if err != nil {
		t.Fatal(err)
	}
	return whole[0].Width <= m.Width && utf8.RuneCountInString(s.Text) <= m.Chars
}

func TestTitlesAreSetInEvenLines(t *testing.T) {
	lines, err := Break([]Span{{Text: "The floor that rotted away from the inside", Font: sans(t), Size: 20 * Point}}, Measure{Width: 250 * Point, Even: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(lines) != 2 || lines[0].Width > lines[1].Width.Scale(14, 10) || lines[1].Width > lines[0].Width.Scale(14, 10) {
		t.Errorf("%d lines of widths %v and %v; want two of like width", len(lines), lines[0].Width, lines[len(lines)-1].Width)
	}
}

func patterns(t testing.TB, language string) *Hyphenation {
	t.Helper()
	data, err := os.ReadFile("../../../themes/hyphenation/" + language + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	h, err := ParseHyphenation(data)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// The English words and their breaks are those that hyph-en-gb.tex lists by hand
// beside its patterns, as far as three letters stay on either side. The others are
// compounds, broken where their parts meet, and words that no dictionary would
// break.
func TestWordsAreBrokenByTheirLanguage(t *testing.T) {
	for language, words := range map[string][]string{
		"en-gb": {"how-ever", "through-out", "some-thing", "strip", "hull", "1.63", "it's", "spare"},
		"de":    {"Flug-boot", "Schiffs-rumpf", "Boden"},
		"fr":    {"hydra-vion", "alu-mi-nium", "coque"},
		"cy":    {"halen", "dŵr"},
	} {
		h := patterns(t, language)
		for _, want := range words {
			word := strings.ReplaceAll(want, "-", "")
			if got := strings.ReplaceAll(h.Soften(word), "\u00ad", "-"); got != want {
				t.Errorf("%s: %q breaks as %q; want %q", language, word, got, want)
			}
		}
	}
}

func TestSofteningChangesNothingButBreaks(t *testing.T) {
	h := patterns(t, "en-gb")
	for _, text := range []string{"", "The floor, fitted “again”: 1.63\u00a0mm; Ώρα corrosion-proof.", "e\u0301le\u0301ment", strings.Repeat("a", 500)} {
		if got := strings.ReplaceAll(h.Soften(text), "\u00ad", ""); got != text {
			t.Errorf("Soften(%q) = %q", text, got)
		}
	}
	if own := "Donau\u00addampfschiff"; h.Soften(own) != own {
		t.Errorf("the writer's own break was joined by others: %q", h.Soften(own))
	}
	if _, err := ParseHyphenation([]byte(" \n")); err == nil {
		t.Error("an empty file was taken for patterns")
	}
	if _, err := ParseHyphenation([]byte(".ab3s <html>")); err == nil {
		t.Error("a web page was taken for patterns")
	}
}

// A word that could be broken and was not is set as if it could not: ligatures,
// kerning and all.
func TestUnbrokenWordsAreSetWhole(t *testing.T) {
	f := sans(t)
	m := Measure{Width: 200 * Point}
	soft, err1 := Break([]Span{{Text: "ef\u00adfort of\u00adfice Wa\u00advy To\u00adday fit\u00adted", Font: f, Size: 12 * Point}}, m)
	plain, err2 := Break([]Span{{Text: "effort office Wavy Today fitted", Font: f, Size: 12 * Point}}, m)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(soft, plain) {
		t.Errorf("set as %+v\nwant %+v", soft, plain)
	}
}
