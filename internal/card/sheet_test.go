package card

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"
	"testing/fstest"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/testtool"
	"example.org/opencowl/themes"
)

// tiny is a story that fits on a quarter of Letter, front and back.
func tiny(t testing.TB, id string) cleared.Story {
	f := short(t)
	f.ID = id
	f.CameOff, f.Failed, f.Replaced = "A strip from the hull.", "Salt water.", "A new strip."
	f.Claims, f.Props, f.Photos = nil, nil, nil
	return cleared.NewStory(f)
}

// fiveCards is one more than a sheet of four holds.
func fiveCards(t testing.TB) cleared.Tour {
	var stops []cleared.Stop
	for i := range 5 {
		stops = append(stops, stopNamed(fmt.Sprintf("stop-%d", i+1), i+1, tiny(t, fmt.Sprintf("story-%d", i+1))))
	}
	return tourOf(stops...)
}

// sheetCase is one way to put cards on sheets.
type sheetCase struct {
	up          int
	card, sheet string
	flip        string
	shrink      bool
}

func (c sheetCase) String() string {
	return fmt.Sprintf("%d %s on %s, flipped on the %s edge, shrunk %v", c.up, c.card, c.sheet, c.flip, c.shrink)
}

func (c sheetCase) options(faces ...string) Options {
	o := options(c.card, faces...)
	o.Sheet = Sheet{Up: c.up, Paper: c.sheet, Flip: c.flip, Shrink: c.shrink}
	return o
}

func sheetCases() []sheetCase {
	var all []sheetCase
	for _, sheet := range []string{"a4", "letter"} {
		for _, flip := range []string{"long", "short"} {
			for _, shrink := range []bool{false, true} {
				all = append(all, sheetCase{2, "a5", sheet, flip, shrink}, sheetCase{4, "a6", sheet, flip, shrink})
			}
		}
	}
	return append(all, sheetCase{2, "a6", "a4", "long", false})
}

// raster is a page as poppler draws it.
func raster(t *testing.T, file string, page, perInch int) *image.RGBA {
	t.Helper()
	out := filepath.Join(t.TempDir(), "page")
	run(t, "pdftoppm", "-r", fmt.Sprint(perInch), "-singlefile", "-f", fmt.Sprint(page), "-l", fmt.Sprint(page), file, out)
	data, err := os.ReadFile(out + ".ppm")
	if err != nil {
		t.Fatal(err)
	}
	m, err := ppm(data)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// seen is a picture with its rows or columns the other way round where asked: the
// back of a sheet as it lies behind the front, after the sheet was turned about
// its vertical or its horizontal axis.
func seen(m *image.RGBA, columns, rows bool) *image.RGBA {
	b := m.Bounds()
	out := image.NewRGBA(b)
	for y := range b.Dy() {
		from := y
		if rows {
			from = b.Dy() - 1 - y
		}
		for x := range b.Dx() {
			at := x
			if columns {
				at = b.Dx() - 1 - x
			}
			copy(out.Pix[out.PixOffset(x, y):][:4], m.Pix[m.PixOffset(at, from):][:4])
		}
	}
	return out
}

// extent is the box about all pixels of a colour within a part of a picture.
func extent(m *image.RGBA, in image.Rectangle, want draw.Colour) image.Rectangle {
	var box image.Rectangle
	near := func(a, b uint8) bool { d := int(a) - int(b); return d*d < 100 }
	for y := in.Min.Y; y < in.Max.Y; y++ {
		for x := in.Min.X; x < in.Max.X; x++ {
			if p := m.Pix[m.PixOffset(x, y):]; near(p[0], want.R) && near(p[1], want.G) && near(p[2], want.B) {
				box = box.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	return box
}

// The bands that a draft has in both margins lie in the same place on the front
// and the back of a card, and are as wide as its column, so they show where the
// printer puts the two sides. The budget is 0.5 mm, measured at 150 pixels an inch.
func TestBacksRegisterWithFronts(t *testing.T) {
	src, err := os.ReadFile("../../themes/faces/back.yaml")
	if err != nil {
		t.Fatal(err)
	}
	const perInch = 150
	const half = perInch / 50.8 // pixels in 0.5 mm
	warning, badge := draw.Colour{R: 0x8c, G: 0x1d, B: 0x18}, draw.Colour{R: 0x0f, G: 0x2c, B: 0x40}
	for _, c := range sheetCases() {
		o := c.options(front, back)
		// The same margin as the front has.
		o.Theme = themes.Over(fstest.MapFS{"faces/back.yaml": {Data: bytes.Replace(src, []byte("margin: 8 mm"), []byte("margin: 10 mm"), 1)}})
		sheets, err := DraftDeck(t.Context(), cleared.NewDraft(settings()), cleared.NewDraft(fiveCards(t)), o)
		if err != nil {
			t.Fatalf("%v: %v", c, err)
		}
		file := saved(t, sheets)
		f := raster(t, file, 1, perInch)
		upright := f.Bounds().Dy() > f.Bounds().Dx()
		// The edge that the sheet turns about stands upright when it is the long edge
		// of an upright sheet or the short edge of one on its side.
		vertical := (c.flip == "long") == upright
		behind := seen(raster(t, file, 2, perInch), vertical, !vertical)
		cols, rows := 2, c.up/2
		w, h := f.Bounds().Dx()/cols, f.Bounds().Dy()/rows
		for i := range c.up {
			cell := image.Rect(i%cols*w, i/cols*h, (i%cols+1)*w, (i/cols+1)*h)
			one, other := extent(f, cell, warning), extent(behind, cell, warning)
			if one.Empty() || other.Empty() {
				t.Fatalf("%v: cell %d has no bands", c, i)
			}
			for _, d := range []int{one.Min.X - other.Min.X, one.Max.X - other.Max.X, one.Min.Y - other.Min.Y, one.Max.Y - other.Max.Y} {
				if float64(d) > half || float64(-d) > half {
					t.Errorf("%v: cell %d lies at %v in front and %v behind, more than 0.5 mm off", c, i, one, other)
					break
				}
			}
			// A cut card is turned like the page of a book: what is at the top stays at the
			// top, and the badge at the left of each side lies at the right seen through.
			frontBadge, backBadge := extent(f, cell, badge), extent(behind, cell, badge)
			middle := cell.Min.Add(cell.Size().Div(2))
			if frontBadge.Max.X > middle.X || frontBadge.Max.Y > middle.Y || backBadge.Min.X < middle.X || backBadge.Max.Y > middle.Y {
				t.Errorf("%v: cell %d has its badge at %v in front and, seen through, at %v behind; want the top left and the top right", c, i, frontBadge, backBadge)
			}
		}
	}
}

// numbersAt lists which card's heading stands in which cell of a sheet.
func numbersAt(p draw.Page, cols, rows int) map[[2]int]string {
	got := map[[2]int]string{}
	for _, it := range p.Items {
		s, ok := it.Shape.(draw.Text)
		if !ok || it.Node == nil || it.Node.Role != draw.RoleHeading1 {
			continue
		}
		cell := [2]int{int(it.Box.X * typeset.Points(cols) / p.Width), int(it.Box.Y * typeset.Points(rows) / p.Height)}
		if p.Turned {
			cell = [2]int{cols - 1 - cell[0], rows - 1 - cell[1]}
		}
		if text := strings.TrimSpace(textOf(s)); len(text) == 1 {
			got[cell] = text
		}
	}
	return got
}

func TestEachBackLiesBehindItsFront(t *testing.T) {
	for _, c := range sheetCases() {
		pages := mustLay(t, fiveCards(t), c.options(front, back), false).Pages
		if want := 2 * (5 + c.up - 1) / c.up; len(pages) < want-1 || len(pages)%2 != 0 {
			t.Fatalf("%v: %d pages", c, len(pages))
		}
		cols, rows := 2, c.up/2
		cards := 0
		for n := 0; n < len(pages); n += 2 {
			upright := pages[n].Height > pages[n].Width
			fronts, backs := numbersAt(pages[n], cols, rows), numbersAt(pages[n+1], cols, rows)
			for cell, number := range fronts {
				behind := [2]int{cols - 1 - cell[0], cell[1]}
				if (c.flip == "long") != upright {
					behind = [2]int{cell[0], rows - 1 - cell[1]}
				}
				if backs[behind] != number {
					t.Errorf("%v: behind card %s at %v lies %q", c, number, cell, backs[behind])
				}
				cards++
			}
		}
		if cards != 5 {
			t.Errorf("%v: %d cards on the sheets; want 5", c, cards)
		}
	}
}

func TestNothingOverlapsOnASheet(t *testing.T) {
	for _, c := range sheetCases() {
		for i, p := range mustLay(t, fiveCards(t), c.options(front, back), true).Pages {
			checkPage(t, fmt.Sprintf("%v page %d", c, i+1), p)
		}
	}
}

// Printers on a desk leave 4 to 6 mm white at the edges (common practice, no
// source): what a card says and the marks to cut at stay clear of them.
func TestSheetsKeepClearOfTheEdgesThatPrintersLeaveWhite(t *testing.T) {
	white := typeset.Millimetres(4)
	for _, c := range sheetCases() {
		for i, p := range mustLay(t, fiveCards(t), c.options(front, back), false).Pages {
			inner := draw.Rect{X: white, Y: white, W: p.Width - 2*white, H: p.Height - 2*white}
			for _, it := range p.Items {
				if !it.Box.Inside(inner) && !it.Ground {
					t.Errorf("%v page %d: %s at %+v would be cut off", c, i+1, describe(it), it.Box)
				}
			}
		}
	}
}

func TestShrunkSheetSaysHowToPrintAndCutIt(t *testing.T) {
	o := sheetCase{4, "a6", "a4", "short", true}.options(front, back)
	text := strings.Join(strings.Fields(run(t, "pdftotext", "-raw", saved(t, mustDeck(t, fiveCards(t), o)), "-")), " ")
	for _, want := range []string{"Print at 100 %, double-sided.", "Flip on the short edge.", "Cut at the marks: 94 × 137 mm, not A6."} {
		if strings.Count(text, want) != 4 {
			t.Errorf("%q stands on %d of 4 pages:\n%s", want, strings.Count(text, want), text)
		}
	}
}

func TestCardsThatDoNotFitASheetAreRefused(t *testing.T) {
	for _, c := range []sheetCase{{4, "a5", "a4", "long", false}, {2, "a4", "a4", "long", false}, {3, "a6", "a4", "long", false}, {2, "a5", "a5", "long", false}, {2, "a5", "a4", "left", false}, {4, "a5", "letter", "long", true}} {
		if _, err := Deck(t.Context(), settings(), fiveCards(t), c.options(front)); !errors.Is(err, ErrSheet) {
			t.Errorf("%v: %v; want ErrSheet", c, err)
		}
	}
}

func TestPhoneReadsEveryQRCodeOffASheetOfFour(t *testing.T) {
	testtool.Need(t, "zbarimg")
	for _, sheet := range []string{"a4", "letter"} {
		file := saved(t, mustDeck(t, fiveCards(t), sheetCase{4, "a6", sheet, "long", false}.options(front)))
		var got []string
		for page := 1; page <= 2; page++ {
			out := filepath.Join(t.TempDir(), "page")
			run(t, "pdftoppm", "-r", "150", "-png", "-singlefile", "-f", fmt.Sprint(page), "-l", fmt.Sprint(page), file, out)
			read, err := exec.Command(testtool.Need(t, "zbarimg"), "--raw", "-q", out+".png").Output()
			if err != nil {
				t.Fatalf("%s page %d: zbarimg: %v", sheet, page, err)
			}
			got = append(got, strings.Fields(string(read))...)
		}
		slices.Sort(got)
		var want []string
		for i := range 5 {
			want = append(want, fmt.Sprintf("https://example.org/stop/stop-%d/", i+1))
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: the codes read %q; want %q", sheet, got, want)
		}
	}
}

// UKAAF G003: large print is 16 pt or more, all of it.
func TestLargePrintIsAtLeast16Points(t *testing.T) {
	for _, paper := range []string{"a5", "a4", "letter"} {
		o := options(paper)
		o.Large = true
		for n, p := range mustLay(t, tourOf(stopOf(3, tiny(t, "tiny")), withheldStop()), o, true).Pages {
			checkPage(t, fmt.Sprintf("%s page %d", paper, n+1), p)
			for _, it := range p.Items {
				if s, ok := it.Shape.(draw.Text); ok && s.Size < 16*typeset.Point {
					t.Errorf("%s page %d: %s is set in %v pt", paper, n+1, describe(it), s.Size)
				}
			}
		}
	}
	o := options("a6")
	o.Large = true
	if _, err := Deck(t.Context(), settings(), fullTour(t), o); !errors.Is(err, ErrPaper) {
		t.Errorf("large print on a6: %v; want ErrPaper", err)
	}
	o.Theme, o.Paper = themes.Over(fstest.MapFS{"faces/front-large.yaml": {Data: bytes.Replace(readTheme(t, "faces/front-large.yaml"), []byte("small: 16 pt"), []byte("small: 15 pt"), 1)}}), "a5"
	if _, err := Deck(t.Context(), settings(), fullTour(t), o); err == nil || !strings.Contains(err.Error(), "nothing in large print is smaller than 16 pt") {
		t.Errorf("a large face with type of 15 pt: %v", err)
	}
}

func readTheme(t *testing.T, file string) []byte {
	t.Helper()
	src, err := os.ReadFile("../../themes/" + file)
	if err != nil {
		t.Fatal(err)
	}
	return src
}

// blocks are the mean brightnesses of the squares of side n in a picture, whose
// top left corner is moved by dy.
func blocks(m image.Image, n, dy int) [][]float64 {
	b := m.Bounds()
	var all [][]float64
	for y := n; y+2*n < b.Dy(); y += n {
		var row []float64
		for x := 0; x+n <= b.Dx(); x += n {
			sum := 0.0
			for j := range n {
				for i := range n {
					sum += float64(color.GrayModel.Convert(m.At(x+i, y+j+dy)).(color.Gray).Y)
				}
			}
			row = append(row, sum/float64(n*n))
		}
		all = append(all, row)
	}
	return all
}

// Readers of PDF place a page to the whole pixel by its lower edge and the picture
// by its upper one, so the two may be a pixel apart; more they may not.
func TestPictureShowsWhatThePDFShows(t *testing.T) {
	for _, c := range []struct {
		name    string
		o       Options
		perInch int // at which the page is a whole number of pixels
	}{
		{"a5", options("a5"), 127}, {"a6", options("a6", front), 127}, {"letter", options("letter"), 100},
		{"two to a sheet", sheetCase{2, "a5", "a4", "long", false}.options(front, back), 127},
	} {
		c.o.Pictures = c.perInch
		sheets := mustDeck(t, tourOf(stopOf(3, cleared.NewStory(short(t)))), c.o)
		file := saved(t, sheets)
		for i, picture := range sheets.PNG {
			ours, err := png.Decode(bytes.NewReader(picture))
			if err != nil {
				t.Fatal(err)
			}
			theirs := raster(t, file, i+1, c.perInch)
			if ours.Bounds() != theirs.Bounds() {
				t.Errorf("%s page %d: the picture is %v and the page %v", c.name, i+1, ours.Bounds(), theirs.Bounds())
				continue
			}
			best := 1000.0
			for dy := -1; dy <= 1; dy++ {
				a, b := blocks(ours, 12, 0), blocks(theirs, 12, dy)
				var off []float64
				for y := range a {
					for x := range a[y] {
						off = append(off, max(a[y][x]-b[y][x], b[y][x]-a[y][x]))
					}
				}
				sort.Float64s(off)
				best = min(best, off[len(off)*995/1000])
			}
			t.Logf("%s page %d: 99.5 %% of the squares differ by no more than %.1f of 255", c.name, i+1, best)
			if best > 25 {
				t.Errorf("%s page %d: one square in 200 differs by %.1f levels or more", c.name, i+1, best)
			}
		}
		if len(sheets.PNG) == 0 {
			t.Errorf("%s: no pictures", c.name)
		}
	}
}
