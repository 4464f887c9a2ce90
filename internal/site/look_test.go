package site

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/themes"
	"golang.org/x/net/html"
)

func TestAStyleSheetThatALetterCannotCarryIsRefused(t *testing.T) {
	for sheet, want := range map[string]string{
		"p { color: red }\n@import \"https://example.org/a.css\";":      "letter.css:2: @import cannot be used here",
		"p { color: red }\n@font-face { font-family: x; }":              "letter.css:2: @font-face cannot be used here",
		"@media print { @media screen { p { color: red } } }":           "letter.css:1: @media cannot be used here",
		"@supports (color: red) { p { color: red } }":                   "letter.css:1: @supports cannot be used here",
		"p {\n  background: url(https://example.org/a.png) }":           "letter.css:2: background: url(https://example.org/a.png) would have a mailbox fetch",
		"p {\n\n  background: URL(a.png) }":                             "letter.css:3: background: url(a.png) would have a mailbox fetch",
		"p { width: expression(alert(1)) }":                             "would have a mailbox fetch or run something",
		"p { color: red }\nh1..x { color: red }":                        `letter.css:2: the selector "h1..x" is not one that a letter can follow`,
		"p { color: red }\n.a, h1..x { color: red }":                    "is not one that a letter can follow",
		"p { color: red }\nh1 { color: red":                             "a brace is not closed",
		"p { color: red }\n@media (max-width: 1px) { h1 { color: red }": "a brace is not closed",
		"p { color: red }\nh1 color: red }":                             "letter.css:2: ",
		"p { color }":                                                   "letter.css:1: ",
		"p { color: red }</style><script>alert(1)</script>":             "</ would end the style sheet",
	} {
		m := copied(t)
		m["letter/letter.css"].Data = []byte(sheet)
		_, err := MakeLetter(context.Background(), m, cleared.NewSettings(settings()), weekly())
		if err == nil || !strings.Contains(err.Error(), "themes/letter/") || !strings.Contains(err.Error(), want) {
			t.Errorf("%s\n got %v\nwant %s", sheet, err, want)
		}
	}
	m := copied(t)
	delete(m, "letter/letter.css")
	if _, err := MakeLetter(context.Background(), m, cleared.NewSettings(settings()), weekly()); err == nil || !strings.Contains(err.Error(), "a letter needs its style sheet") {
		t.Errorf("without a style sheet: %v", err)
	}
	m = copied(t)
	name := "letter/layouts/letter.letterhtml.html"
	m[name].Data = bytes.ReplaceAll(m[name].Data, []byte("</head>"), nil)
	if _, err := MakeLetter(context.Background(), m, cleared.NewSettings(settings()), weekly()); err == nil || !strings.Contains(err.Error(), "has no </head>") {
		t.Errorf("without a head: %v", err)
	}
}

// A workspace's own style sheet takes the place of the built-in one.
func TestAWorkspaceMayChangeTheLook(t *testing.T) {
	m := copied(t)
	m["letter/letter.css"].Data = []byte("/* ours */ h1 { color: #123456; font-family: Georgia, 'Times New Roman', serif }\n.soft { color: #111 !important }\n@media (max-width: 480px) { h1 { color: #654321 } }")
	l, err := MakeLetter(context.Background(), m, cleared.NewSettings(settings()), weekly())
	if err != nil {
		t.Fatal(err)
	}
	page := string(l.HTML)
	for _, want := range []string{`<h1 style="color:#123456;font-family:Georgia, &#39;Times New Roman&#39;, serif">`, `style="color:#111"`, "@media (max-width: 480px)", "color: #654321 !important"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if strings.Contains(page, "ours") || strings.Contains(page, "#14272d") {
		t.Error("a comment or the built-in look is in the page")
	}
	letterForm(t, "a letter of another look", l)
}

// The library keeps elements in a map; the letter must not show its order.
func TestTheLookIsWrittenInTheSameBytesEachTime(t *testing.T) {
	w := letterWriter{s: cleared.NewSettings(settings()), e: letters()["everything"], pictures: map[string]bool{}}
	made, err := w.pages(context.Background(), themes.Embedded(), false)
	if err != nil {
		t.Fatal(err)
	}
	look, err := readLook(themes.Embedded())
	if err != nil {
		t.Fatal(err)
	}
	first, err := dress(made.html, look)
	if err != nil {
		t.Fatal(err)
	}
	for range 20 {
		if again, err := dress(made.html, look); err != nil || !bytes.Equal(first, again) {
			t.Fatalf("the same page comes out otherwise (%v)", err)
		}
	}
}

// Dressing a page changes its looks and nothing that is read.
func TestDressingKeepsEveryWordAndComment(t *testing.T) {
	const page = `<!doctype html><html lang="en"><head><title>A &amp; B</title> </head><body> <p title="a &quot;b&quot;">é &lt;b&gt; &amp;amp; it’s "so" 1&nbsp;mm</p>` +
		`<!--[if mso]><table width="640"><tr><td><![endif]--><pre>
  kept
   as it was</pre><!--[if mso]></td></tr></table><![endif]--></body></html>`
	got, err := dress([]byte(page), []byte("p { color: #000000 }\n.none { color: #ffffff }"))
	if err != nil {
		t.Fatal(err)
	}
	if a, b := textOfPage(t, []byte(page)), textOfPage(t, got); a != b {
		t.Errorf("the words were %q and are %q", a, b)
	}
	for _, want := range []string{`<!--[if mso]><table width="640"><tr><td><![endif]-->`, "  kept\n   as it was</pre>", "1\u00a0mm", `title="a &#34;b&#34;"`, `style="color:#000000"`} {
		if !bytes.Contains(got, []byte(want)) {
			t.Errorf("%s lacks %q", got, want)
		}
	}
}

// Gmail drops a style sheet of more than 16 kB, by caniemail.com's note 6 on
// <style>; older tellings say 8 kB (from memory).
func TestWhatIsLeftOfTheStyleSheetIsSmall(t *testing.T) {
	for name, e := range letters() {
		l := letter(t, settings(), e)
		from, to := bytes.Index(l.HTML, []byte("<style")), bytes.Index(l.HTML, []byte("</style>"))
		if from < 0 || to < from || to-from > 8000 || bytes.Count(l.HTML, []byte("<style")) != 1 {
			t.Errorf("%s: the style sheet runs from %d to %d", name, from, to)
		}
	}
}

// A letter of the greatest weight is made, and one a little heavier is not.
func TestTheLetterAtTheEdgeOfItsWeight(t *testing.T) {
	heavy := func(more int) (Letter, error) {
		e := weekly()
		f := story("long", "Long", cleared.Area{Key: "hull", Name: "Hull"}, "2031-01-01")
		f.Body = strings.Repeat("word ", 14000) + strings.Repeat("x", more)
		e.Stories = []cleared.Story{cleared.NewStory(f)}
		return MakeLetter(context.Background(), themes.Embedded(), cleared.NewSettings(settings()), e)
	}
	bare, err := heavy(1)
	if err != nil {
		t.Fatal(err)
	}
	room := largestHTML - len(bare.HTML)
	if edge, err := heavy(1 + room); err != nil || len(edge.HTML) != largestHTML {
		t.Errorf("at the edge: %d bytes, %v", len(edge.HTML), err)
	}
	if _, err := heavy(2 + room); err == nil || !strings.Contains(err.Error(), "100001 bytes") {
		t.Errorf("a byte more: %v", err)
	}
}

// The preheader comes first in the page, hidden from it, and what a list of letters
// shows after it is filled with space, not with words of the page.
func TestThePreheaderIsWhatAListShows(t *testing.T) {
	page := letter(t, settings(), weekly()).HTML
	var shown strings.Builder
	inBody := false
	tree, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	for n := range tree.Descendants() {
		inBody = inBody || n.Data == "body"
		if inBody && n.Type == html.TextNode {
			shown.WriteString(n.Data)
		}
	}
	list := []rune(strings.TrimSpace(shown.String()))
	const want = "One hull stiffener, and what salt did to it."
	if got := string(list[:140]); strings.Trim(got, "\u00a0\u200c") != want {
		t.Errorf("the first 140 characters are %q, want %q and space", got, want)
	}
	e := letters()["bare"]
	if bytes.Contains(letter(t, settings(), e).HTML, []byte("preheader")) {
		t.Error("an edition without a preheader has an empty one")
	}
}

// shades finds what stands behind and in each text of a page: the colours of the
// elements themselves, in their own style attributes.
func shades(t *testing.T, what string, page []byte, seen func(text, ink, ground string)) {
	t.Helper()
	tree, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	property := func(n *html.Node, name string) string {
		for ; n != nil; n = n.Parent {
			for _, d := range strings.Split(attr(n, "style"), ";") {
				if k, v, _ := strings.Cut(d, ":"); strings.TrimSpace(k) == name {
					return strings.TrimSpace(v)
				}
			}
		}
		return ""
	}
	texts := 0
	for n := range tree.Descendants() {
		text := strings.TrimSpace(n.Data)
		if n.Type == html.ElementNode && n.Data == "img" {
			text = attr(n, "alt")
		} else if n.Type != html.TextNode || text == "" || n.Parent.Data == "style" || n.Parent.Data == "title" || strings.Contains(attr(n.Parent, "style"), "display:none") {
			continue
		}
		texts++
		of := n
		if n.Type == html.TextNode {
			of = n.Parent
		}
		seen(text, property(of, "color"), property(of, "background"))
	}
	if texts < 10 {
		t.Errorf("%s: only %d texts were looked at", what, texts)
	}
}

// contrast is that of WCAG 2.2, "relative luminance" and "contrast ratio".
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	luminance := func(colour string) float64 {
		if !regexp.MustCompile(`^#[0-9a-f]{6}$`).MatchString(colour) {
			t.Fatalf("%q is no colour of six digits", colour)
		}
		var sum float64
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			n, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			c := float64(n) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			sum += weight * c
		}
		return sum
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// Every text has a ground of its own colour behind it and 4.5:1 against it, in the
// light and in the dark (WCAG 2.2 success criterion 1.4.3). The dark look is written
// into the elements for this, as a mailbox would apply it.
func TestEveryTextStandsOutInTheLightAndInTheDark(t *testing.T) {
	if got := contrast(t, "#777777", "#ffffff"); fmt.Sprintf("%.2f", got) != "4.48" { // WCAG's usual example (from memory)
		t.Fatalf("the contrast of #777777 on white is %.2f", got)
	}
	look, err := readLook(themes.Embedded())
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(look, []byte("@media (prefers-color-scheme: dark) {"))
	if at < 0 {
		t.Fatal("the style sheet has no dark look")
	}
	dark := bytes.TrimSuffix(bytes.TrimSpace(look[at+len("@media (prefers-color-scheme: dark) {"):]), []byte("}"))
	dark = regexp.MustCompile(`;`).ReplaceAll(bytes.ReplaceAll(dark, []byte(" }"), []byte("; }")), []byte(" !important;"))
	dark = bytes.ReplaceAll(dark, []byte("; !important;"), []byte(";"))
	for name, e := range letters() {
		w := letterWriter{s: cleared.NewSettings(settings()), e: e, pictures: map[string]bool{}}
		made, err := w.pages(context.Background(), themes.Embedded(), true)
		if err != nil {
			t.Fatal(err)
		}
		turned, err := dress(made.html, append(bytes.Clone(look[:at]), dark...))
		if err != nil {
			t.Fatal(err)
		}
		texts, lit := 0, 0
		for what, page := range map[string][]byte{name + ", light": letter(t, settings(), e).HTML, name + ", dark": turned} {
			shades(t, what, page, func(text, ink, ground string) {
				if c := contrast(t, ink, ground); c < 4.5 {
					t.Errorf("%s: %q is %s on %s, %.1f:1", what, text, ink, ground, c)
				}
				if strings.HasSuffix(what, "dark") {
					texts++
					if contrast(t, ground, "#000000") > 2 {
						lit++
					}
				}
			})
		}
		// The stamp of a draft keeps its red, and a button turns light.
		if lit > 4 {
			t.Errorf("%s: in the dark, %d of %d texts stand on a light ground", name, lit, texts)
		}
	}
}

// A forced turning round of colours needs a ground for every ink: none is transparent.
func TestNoPictureOrTextIsMadeForOneGroundAlone(t *testing.T) {
	l := letter(t, settings(), letters()["everything"])
	elements(t, "everything", l.HTML, func(n *html.Node) {
		if n.Data == "img" && !strings.Contains(attr(n, "style"), "background:#") {
			t.Errorf("a picture has no ground of its own: %s", attr(n, "style"))
		}
	})
	for _, p := range l.Pictures {
		if !bytes.HasPrefix(p.JPEG, []byte{0xFF, 0xD8}) { // a JPEG knows no transparency
			t.Errorf("%s is no JPEG", p.Name)
		}
	}
}
