package card

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/pdf"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/testtool"
)

// pdfjs is the folder of pdf.js, which .ci/run installs from npm.
func pdfjs(t *testing.T) string {
	t.Helper()
	testtool.Need(t, "node")
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(cache, "opencowl-checks", "node_modules", "pdfjs-dist")
	if _, err := os.Stat(folder); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatalf("pdf.js is not in %s; .ci/run must install it", folder)
		}
		t.Skipf("pdf.js is not in %s, so this check is left out; .ci/run shows how to install it", folder)
	}
	return folder
}

// element is one of the structure, as a reader finds it.
type element struct {
	Role string `json:"role"`
	Lang string `json:"lang"`
	Alt  string `json:"alt"`
	Text string `json:"text"`
}

// elementsOf lists the elements that the structure has on a page, by our own list.
func elementsOf(d *draw.Document, page int) []element {
	text, drawn := map[*draw.Node]string{}, map[*draw.Node]bool{}
	for _, it := range d.Pages[page].Items {
		drawn[it.Node] = true
		if s, ok := it.Shape.(draw.Text); ok {
			text[it.Node] += textOf(s)
		}
	}
	var here func(n *draw.Node) bool
	here = func(n *draw.Node) bool {
		for _, kid := range n.Kids {
			if here(kid) {
				return true
			}
		}
		return drawn[n]
	}
	var all []element
	var walk func(n *draw.Node)
	walk = func(n *draw.Node) {
		if !here(n) {
			return
		}
		all = append(all, element{string(n.Role), n.Language, n.Alt, plain(text[n])})
		for _, kid := range n.Kids {
			walk(kid)
		}
	}
	walk(d.Root)
	return all
}

// plain makes every white space one space, and none after a hyphen at the end of a
// line.
func plain(s string) string {
	return strings.ReplaceAll(strings.Join(strings.Fields(s), " "), "\u00ad ", "\u00ad")
}

// Another reader finds the very structure that was laid out: roles, languages,
// alternative texts, and the words of each element, in order. That is what it
// says; no more is claimed of the file.
func TestOtherReadersFindTheStructure(t *testing.T) {
	folder := pdfjs(t)
	greek := short(t)
	greek.ID, greek.Language, greek.CameOff = "greek", "el", "Μια λεπτή λωρίδα αλουμινίου."
	tour := tourOf(stopOf(3, cleared.NewStory(stiffener(t)), cleared.NewStory(greek)), withheldStop())
	for name, o := range map[string]Options{
		"a5": options("a5"), "a4 in two columns": options("a4"), "two to a sheet": sheetCase{2, "a5", "a4", "long", true}.options(front, back),
	} {
		l, err := lay(t.Context(), settings(), tour, o, false)
		if err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(testtool.Need(t, "node"), "testdata/structure.mjs", folder, saved(t, mustDeck(t, tour, o))).Output()
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, out)
		}
		var got struct {
			Title, Language string
			Marked          bool
			Pages           [][]element
		}
		// What pdf.js warns of stands on lines of its own.
		if err := json.Unmarshal(out[max(0, bytes.LastIndexByte(bytes.TrimSpace(out), '\n')):], &got); err != nil {
			t.Fatalf("%s: %v\n%s", name, err, out)
		}
		for line := range strings.Lines(string(out)) {
			// Without a canvas package it cannot draw, which nobody asks of it here.
			if strings.HasPrefix(line, "Warning") && !strings.Contains(line, "canvas") && !strings.Contains(line, "polyfill") {
				t.Errorf("%s: pdf.js says %s", name, line)
			}
		}
		if got.Title != "Winter in the hangar: stop cards" || got.Language != "en-GB" || !got.Marked || len(got.Pages) != len(l.doc.Pages) {
			t.Errorf("%s: title %q, language %q, marked %v, %d pages", name, got.Title, got.Language, got.Marked, len(got.Pages))
		}
		for n := range l.doc.Pages {
			for i := range got.Pages[n] {
				got.Pages[n][i].Text = plain(got.Pages[n][i].Text)
			}
			if want := elementsOf(l.doc, n); !reflect.DeepEqual(got.Pages[n], want) {
				t.Errorf("%s page %d: read\n%+v\nwant\n%+v", name, n+1, got.Pages[n], want)
			}
		}
	}
}

// Two more readers draw every page without a complaint.
func TestOtherReadersDrawEveryPage(t *testing.T) {
	for name, o := range map[string]Options{"a5": options("a5"), "turned sheets": sheetCase{4, "a6", "a4", "short", false}.options(front, back)} {
		sheets, err := DraftDeck(t.Context(), cleared.NewDraft(settings()), cleared.NewDraft(fiveCards(t)), o)
		if err != nil {
			t.Fatal(err)
		}
		file := saved(t, sheets)
		for _, tool := range [][]string{
			{"mutool", "draw", "-q", "-N", "-o", filepath.Join(t.TempDir(), "p%d.png"), file},
			{"gs", "-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sDEVICE=nullpage", file},
		} {
			if out := strings.TrimSpace(run(t, tool[0], tool[1:]...)); out != "" {
				t.Errorf("%s: %s says %s", name, tool[0], out)
			}
		}
	}
}

// A word that was broken at the end of a line comes out as one word: the hyphen is
// a soft one (U+00AD), which readers drop.
func TestBrokenWordsComeOutWhole(t *testing.T) {
	f := short(t)
	f.Photos, f.Props, f.Claims = nil, nil, nil
	word := "restoration"
	f.CameOff = strings.TrimSpace(strings.Repeat(word+" ", 60))
	f.Failed, f.Replaced = "Salt.", "A new one."
	broken := 0
	for n := 60; n <= 120 && broken == 0; n++ {
		f.CameOff = strings.TrimSpace(strings.Repeat(word+" ", n))
		sheets, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a5", front))
		if err != nil {
			break
		}
		text := run(t, "pdftotext", "-raw", saved(t, sheets), "-")
		broken = strings.Count(text, "\u00ad")
		if got := strings.Count(regexp.MustCompile("\u00ad\\s*").ReplaceAllString(text, ""), word); got != n {
			t.Errorf("%d of %d words come out whole:\n%s", got, n, text)
		}
	}
	if broken == 0 {
		t.Error("no word was broken on any card; the widest text should need it")
	}
}

// The size that counts is that of the letters on the page, not the points: the
// least x-height as measured, against the font's own, which readers were shown.
func TestLettersOnThePageAreAsTallAsTheFontSays(t *testing.T) {
	const perInch = 600
	for _, c := range []struct {
		size  typeset.Points
		least float64 // millimetres
	}{{leastType, 2.0}, {leastLarge, 2.7}} {
		f, err := openFont(options("a5").Theme, "fonts/SourceSans3-Regular.ttf", map[string]*typeset.Font{})
		if err != nil {
			t.Fatal(err)
		}
		lines, err := typeset.Break([]typeset.Span{{Text: "xxxx", Font: f, Size: c.size}}, typeset.Measure{Width: 300 * typeset.Point})
		if err != nil {
			t.Fatal(err)
		}
		root := &draw.Node{Role: draw.RoleParagraph}
		doc := draw.Document{Title: "x", Language: "en-GB", Root: root, Pages: []draw.Page{{Width: 100 * typeset.Point, Height: 100 * typeset.Point, Items: []draw.Item{{
			Node: root, Box: draw.Rect{X: 0, Y: 0, W: 100 * typeset.Point, H: 100 * typeset.Point},
			Shape: draw.Text{X: 10 * typeset.Point, Y: 50 * typeset.Point, Font: f, Size: c.size, Glyphs: lines[0].Pieces[0].Glyphs},
		}}}}}
		var out bytes.Buffer
		if err := pdf.Write(&out, doc); err != nil {
			t.Fatal(err)
		}
		page := raster(t, saved(t, &Sheets{PDF: out.Bytes()}), 1, perInch)
		ink := inkOf(page)
		got := float64(ink.Dy()) * 25.4 / perInch
		os2 := f.Table("OS/2") // sxHeight stands at 86 (OpenType, OS/2 version 2 and later)
		want := float64(int16(binary.BigEndian.Uint16(os2[86:]))) / float64(f.UnitsPerEm()) * float64(c.size) / 72000 * 25.4
		t.Logf("%v pt: an x is %.2f mm tall on the page", c.size, got)
		if got < want-0.1 || got > want+0.1 || got < c.least {
			t.Errorf("%v pt: an x is %.2f mm tall on the page; the font says %.2f, and %.1f is the least", c.size, got, want, c.least)
		}
	}
}

// inkOf is the box about all dark pixels.
func inkOf(m *image.RGBA) image.Rectangle {
	var box image.Rectangle
	for y := range m.Bounds().Dy() {
		for x := range m.Bounds().Dx() {
			if m.Pix[m.PixOffset(x, y)] < 128 {
				box = box.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	return box
}

// ppm reads a picture as pdftoppm writes it (netpbm, ppm(5)).
func ppm(data []byte) (*image.RGBA, error) {
	var width, height, most int
	if _, err := fmt.Sscanf(string(data[:min(40, len(data))]), "P6\n%d %d\n%d\n", &width, &height, &most); err != nil {
		return nil, err
	}
	pixels := data[len(data)-3*width*height:]
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	for i := range width * height {
		copy(m.Pix[4*i:], pixels[3*i:3*i+3])
		m.Pix[4*i+3] = 255
	}
	return m, nil
}
