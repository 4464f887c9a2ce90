package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"html"
	"image/png"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/outgoing"
	"example.org/opencowl/internal/testtool"
	"example.org/opencowl/themes"
)

// season is an invented one: so many whole weeks before 12 February 2031, with the
// parts that had come off and those that were fitted in each.
func season(t testing.TB, weeks, off int, rollOut string, fitted func(week int) int) edition.Progress {
	t.Helper()
	on := day.MustParse("2031-02-12")
	f := cleared.HistoryFields{On: on}
	stood := 0
	for i := range weeks {
		n := fitted(i)
		stood += n
		came := max(min(off, 4+i*off/6), stood)
		f.Weeks = append(f.Weeks, cleared.HistoryWeek{Ended: on.Week().Monday().AddDays(-1 - 7*(weeks-1-i)), CameOff: came, Stood: stood, Fitted: n})
	}
	var now []cleared.PartMovement
	for i := range off {
		phase := cleared.Ready
		if i < stood {
			phase = cleared.Fitted
		}
		now = append(now, cleared.PartMovement{Phase: phase})
	}
	var rolls day.Date
	if rollOut != "" {
		rolls = day.MustParse(rollOut)
	}
	p := edition.ProgressOf(cleared.NewHistory(f), now, rolls)
	if p == nil {
		t.Fatal("a season with weeks has no progress")
	}
	return *p
}

func seasons(t testing.TB) map[string]edition.Progress {
	some := func(all ...int) func(int) int { return func(i int) int { return all[i%len(all)] } }
	return map[string]edition.Progress{
		"1 week":           season(t, 1, 5, "2031-05-03", some(0)),
		"3 weeks":          season(t, 3, 12, "2031-05-03", some(0, 1, 2)),
		"12 weeks":         season(t, 12, 33, "2031-05-03", some(0, 0, 1, 2, 0, 3)),
		"12 weeks, no day": season(t, 12, 33, "", some(0, 0, 1, 2, 0, 3)),
		"16 weeks, bursts": season(t, 16, 60, "2031-05-03", some(0, 0, 0, 9, 0, 0)),
		"52 weeks":         season(t, 52, 120, "2031-05-03", some(2, 0, 1, 3, 0, 2)),
		"60 weeks, far":    season(t, 60, 420, "2032-03-03", some(2, 5, 1, 8, 0, 2)),
		"all fitted":       season(t, 12, 18, "2031-05-03", some(1, 2)),
		"nearly all":       season(t, 12, 20, "2031-05-03", some(1, 2)),
		"none fitted":      season(t, 12, 18, "2031-05-03", some(0)),
		"few fitted":       season(t, 12, 40, "2031-05-03", func(i int) int { return i / 11 }),
		"rolled out":       season(t, 12, 20, "2031-02-01", some(1, 2)),
		"many":             season(t, 20, 1450, "2031-05-03", some(40, 12, 60)),
	}
}

func newPress(t testing.TB) *Press {
	t.Helper()
	p, err := NewPress(themes.Embedded())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func drawAll(t *testing.T) map[string]Drawing {
	t.Helper()
	p, all := newPress(t), map[string]Drawing{}
	for name, s := range seasons(t) {
		d, err := p.Draw(s, 560*typeset.Point, 19*typeset.Point)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all[name] = d
	}
	return all
}

func TestWordsStandInTheDrawingAndApart(t *testing.T) {
	for name, d := range drawAll(t) {
		whole := draw.Rect{W: d.Width, H: d.Height}
		var words []draw.Item
		for _, it := range d.Items {
			if !it.Box.Inside(whole) {
				t.Errorf("%s: %T %v reaches out of the drawing", name, it.Shape, it.Box)
			}
			if _, is := it.Shape.(draw.Text); is {
				for _, other := range words {
					if it.Box.Overlaps(other.Box) {
						t.Errorf("%s: %q lies on %q", name, said(it.Shape.(draw.Text)), said(other.Shape.(draw.Text)))
					}
				}
				words = append(words, it)
			}
		}
		// Nor does a line of the chart run through them, grid and ceiling apart.
		for _, it := range d.Items {
			path, is := it.Shape.(draw.Path)
			if !is || path.Fill != sea && path.Fill != warm && path.Fill != ink {
				continue
			}
			for _, piece := range pieces(path) {
				for _, w := range words {
					if piece.Overlaps(w.Box) {
						t.Errorf("%s: a line runs through %q", name, said(w.Shape.(draw.Text)))
					}
				}
			}
		}
	}
}

// pieces are the extents of a path's closed outlines.
func pieces(p draw.Path) (all []draw.Rect) {
	var box draw.Rect
	begun := false
	for _, s := range p.Steps {
		switch s.Op {
		case draw.Close:
			all, begun = append(all, box), false
		default:
			at := s.To[0]
			if !begun {
				box, begun = draw.Rect{X: at.X, Y: at.Y}, true
			}
			x, y := max(box.X+box.W, at.X), max(box.Y+box.H, at.Y)
			box.X, box.Y = min(box.X, at.X), min(box.Y, at.Y)
			box.W, box.H = x-box.X, y-box.Y
		}
	}
	return all
}

// WCAG 2.2: 4.5 to 1 for words (SC 1.4.3), 3 to 1 for lines (SC 1.4.11). The grid is
// decoration.
func TestContrastsAreEnough(t *testing.T) {
	for name, d := range drawAll(t) {
		for _, it := range d.Items {
			switch shape := it.Shape.(type) {
			case draw.Text:
				if r := draw.Contrast(shape.Colour, paper); r < 4.5 {
					t.Errorf("%s: %q has %.2f to 1", name, said(shape), r)
				}
				if shape.Size < 19*typeset.Point {
					t.Errorf("%s: %q is set in %v pt", name, said(shape), shape.Size)
				}
			case draw.Path:
				if shape.Fill == faint || shape.Fill == fanFill || shape.Fill == paper {
					continue
				}
				if a, b := draw.Contrast(shape.Fill, paper), draw.Contrast(shape.Fill, fanFill); min(a, b) < 3 {
					t.Errorf("%s: a line of %v has %.2f and %.2f to 1", name, shape.Fill, a, b)
				}
			}
		}
	}
}

// Without colours: what is fitted is drawn through, the ceiling and the fan are
// broken, in pieces of another length each, and words stand by all of them.
func TestLinesAreToldApartWithoutColour(t *testing.T) {
	d := drawAll(t)["12 weeks"]
	longest := map[draw.Colour]Points{}
	for _, it := range d.Items {
		if p, is := it.Shape.(draw.Path); is {
			for _, piece := range pieces(p) {
				longest[p.Fill] = max(longest[p.Fill], piece.W)
			}
		}
	}
	if dash, dots := longest[soft], longest[warm]; dots == 0 || dots > 5*typeset.Point {
		t.Errorf("the fan's edges have pieces of up to %v, and the ceiling's of %v", dots, dash)
	}
	said := strings.Join(d.Labels(), "; ")
	for _, want := range []string{"33 came off", "12 back on", "5 to 21 more", "four times in five", "Roll-out 3\u00a0May", "Parts back on, week by week"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q does not stand in %q", want, said)
		}
	}
}

func TestPictureIsSmallDenseAndTheSameEachTime(t *testing.T) {
	again := drawAll(t)
	for name, d := range drawAll(t) {
		data, err := d.PNG()
		if err != nil {
			t.Fatal(err)
		}
		if len(data) > 60_000 {
			t.Errorf("%s: %d bytes", name, len(data))
		}
		picture, err := png.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if w, h := picture.Bounds().Dx(), picture.Bounds().Dy(); w != 1120 || h != 700 {
			t.Errorf("%s: %d × %d pixels, want two to a point", name, w, h)
		}
		if opaque, can := picture.(interface{ Opaque() bool }); !can || !opaque.Opaque() {
			t.Errorf("%s: one sees through it, and a dark page would show", name)
		}
		other, err := again[name].PNG()
		if err != nil || !bytes.Equal(data, other) || d.SVG("a") != again[name].SVG("a") {
			t.Errorf("%s: drawn twice, it is not the same (%v)", name, err)
		}
	}
}

// The last gate reads every word of a chart, whichever way it leaves.
func TestWordsAreReadAtTheGate(t *testing.T) {
	for name, d := range drawAll(t) {
		data, err := d.PNG()
		if err != nil {
			t.Fatal(err)
		}
		for file, content := range map[string][]byte{"chart.png": data, "chart.svg": []byte(d.SVG("chart")), "page.html": []byte("<p>x</p>" + d.SVG("chart"))} {
			segments, err := outgoing.Read(file, content)
			if err != nil {
				t.Fatalf("%s, %s: %v", name, file, err)
			}
			read := ""
			for _, s := range segments {
				read += html.UnescapeString(s.Text) + "\n"
			}
			for _, want := range append(d.Labels(), d.Alt) {
				if !strings.Contains(read, want) {
					t.Errorf("%s, %s: %q is not read", name, file, want)
				}
			}
		}
	}
}

// exiftool reads the text of the PNG by code of its own.
func TestPictureSaysWhatItShows(t *testing.T) {
	exiftool := testtool.Need(t, "exiftool")
	d := drawAll(t)["52 weeks"]
	data, err := d.PNG()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exiftool, "-s3", "-Description", "-")
	cmd.Stdin = bytes.NewReader(data)
	out, err := cmd.Output()
	if err != nil || !strings.Contains(string(out), d.Alt) {
		t.Errorf("exiftool: %v, %q", err, out)
	}
}

func TestSVGIsXMLWithWordsAsWords(t *testing.T) {
	for name, d := range drawAll(t) {
		svg := d.SVG("x")
		r := xml.NewDecoder(strings.NewReader(svg))
		var texts []string
		in := ""
		for {
			token, err := r.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			switch token := token.(type) {
			case xml.StartElement:
				if in = token.Name.Local; !slices.Contains([]string{"svg", "title", "desc", "path", "text"}, in) {
					t.Errorf("%s: there is a %s in it", name, in)
				}
				for _, a := range token.Attr {
					if strings.Contains(a.Name.Local, "href") || a.Name.Local == "style" || strings.HasPrefix(a.Name.Local, "on") {
						t.Errorf("%s: there is a %s in it", name, a.Name.Local)
					}
				}
			case xml.CharData:
				if in == "text" && strings.TrimSpace(string(token)) != "" {
					texts = append(texts, string(token))
				}
			}
		}
		if !slices.Equal(texts, d.Labels()) {
			t.Errorf("%s: the words are %q, want %q", name, texts, d.Labels())
		}
		for _, want := range []string{`role="img"`, `aria-labelledby="x-title x-desc"`, `<title id="x-title">Parts back on`, `<desc id="x-desc">Chart: parts back on`} {
			if !strings.Contains(svg, want) {
				t.Errorf("%s: %s is missing", name, want)
			}
		}
	}
}

// A theme whose fonts cannot draw a chart is named in the error.
func TestFontThatIsMissingIsNamed(t *testing.T) {
	if _, err := NewPress(fstest.MapFS{}); err == nil || !strings.Contains(err.Error(), "fonts/SourceSans3") {
		t.Errorf("got %v", err)
	}
}

func TestScalesAreRoundAndUncrowded(t *testing.T) {
	for _, c := range []struct {
		most, weeks int
		counts      string
	}{{1, 3, "0 1"}, {5, 9, "0 1 2 3 4 5"}, {6, 12, "0 2 4 6"}, {33, 12, "0 10 20 30"}, {120, 52, "0 50 100"}, {1450, 80, "0 500 1000"}} {
		f := &figure{season: season(t, c.weeks, c.most, "", func(int) int { return 0 })}
		var counts []string
		for _, tick := range f.countTicks() {
			counts = append(counts, tick.Label)
		}
		if got := strings.Join(counts, " "); got != c.counts {
			t.Errorf("up to %d: %s, want %s", c.most, got, c.counts)
		}
		if n := len(f.dayTicks(float64(7 * c.weeks))); n < 2 || n > mostTicks+1 {
			t.Errorf("%d weeks have %d ticks", c.weeks, n)
		}
	}
}
