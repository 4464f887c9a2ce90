package card

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
)

func mustLay(t testing.TB, tour cleared.Tour, o Options, draft bool) *draw.Document {
	t.Helper()
	l, err := lay(t.Context(), settings(), tour, o, draft)
	if err != nil {
		t.Fatalf("%s: %v", o.Paper, err)
	}
	return l.doc
}

// describe names an item in a failure message.
func describe(it draw.Item) string {
	switch s := it.Shape.(type) {
	case draw.Text:
		return fmt.Sprintf("%q", textOf(s))
	case draw.Picture:
		return "the photo"
	}
	if it.Node != nil {
		return "a " + string(it.Node.Role)
	}
	return "a decoration"
}

func textOf(s draw.Text) string { return typeset.Piece{Glyphs: s.Glyphs}.Text() }

// checkPage holds a page to the rules that every page must keep.
func checkPage(t *testing.T, where string, p draw.Page) {
	t.Helper()
	sheet := draw.Rect{W: p.Width, H: p.Height}
	for i, a := range p.Items {
		if !a.Box.Inside(sheet) {
			t.Errorf("%s: %s leaves the page: %+v", where, describe(a), a.Box)
		}
		if s, ok := a.Shape.(draw.Text); ok && s.Size < 12*typeset.Point {
			t.Errorf("%s: %s is set in %v pt", where, describe(a), s.Size)
		}
		if a.Ground {
			continue
		}
		for _, b := range p.Items[i+1:] {
			if !b.Ground && a.Box.Overlaps(b.Box) {
				t.Errorf("%s: %s overlaps %s: %+v and %+v", where, describe(a), describe(b), a.Box, b.Box)
			}
		}
	}
}

func TestNothingOverlapsOnTheCardsOfATour(t *testing.T) {
	for _, paper := range papers()[1:] {
		for _, draft := range []bool{false, true} {
			for i, p := range mustLay(t, fullTour(t), options(paper), draft).Pages {
				checkPage(t, fmt.Sprintf("%s page %d, draft %v", paper, i+1, draft), p)
			}
		}
	}
}

var words = strings.Fields("the a of in and hull floor strip salt water paint had crept under rotted stiffener corrosion flying-boat wing office fitted aluminium undercarriage " +
	"16 SWG 1.63 mm 15 % Élan ÅNGSTRÖM Ώρα работы щёки (twice) “quoted” half-inch it we cut folded off effort Ǻ ŷ")

func sentenceOf(r *rand.Rand, most int) string {
	var all []string
	for range 1 + r.IntN(most) {
		all = append(all, words[r.IntN(len(words))])
	}
	return strings.Join(all, " ") + "."
}

// randomStory is a story of any shape, small to far too long.
func randomStory(t testing.TB, r *rand.Rand, photo cleared.Photo) cleared.Story {
	f := cleared.StoryFields{
		ID: "random", Language: "en-GB", Title: sentenceOf(r, 8),
		CameOff: sentenceOf(r, 35), Failed: sentenceOf(r, 40), Replaced: sentenceOf(r, 30), Talk: sentenceOf(r, 90),
	}
	for range r.IntN(3) {
		f.Claims = append(f.Claims, cleared.Claim{Say: sentenceOf(r, 12), Status: "likely", Evidence: sentenceOf(r, 10)})
		f.Questions = append(f.Questions, cleared.Question{Ask: sentenceOf(r, 8), Answer: sentenceOf(r, 20)})
	}
	for range r.IntN(3) {
		f.Props = append(f.Props, cleared.Prop{
			What: sentenceOf(r, 4), HandRound: []cleared.HandRound{cleared.DropProof, cleared.TwoHands, cleared.LookOnly}[r.IntN(3)],
		})
		f.Credits = append(f.Credits, sentenceOf(r, 8))
	}
	if r.IntN(2) == 0 {
		f.Cautions = []cleared.Caution{sharp, {Key: "x", Label: sentenceOf(r, 5), Advice: sentenceOf(r, 12)}}
	}
	if r.IntN(3) > 0 {
		f.Photos = []cleared.Photo{photo}
	}
	return cleared.NewStory(f)
}

// Whatever the words, a card either keeps every rule or says what to lose.
func TestRandomCardsKeepTheRulesOrSayWhatToLose(t *testing.T) {
	r := rand.New(rand.NewPCG(2031, 4))
	photo := photoOf(t)
	printed, ranOn, refused := 0, 0, 0
	for i := range 150 {
		paper := papers()[i%4]
		tour := tourOf(stopOf(1+r.IntN(40), randomStory(t, r, photo)))
		l, err := lay(t.Context(), settings(), tour, options(paper), i%5 == 0)
		if err != nil {
			var o *Overflow
			var wide typeset.TooWide
			if !errors.As(err, &o) && !errors.As(err, &wide) && !strings.Contains(err.Error(), "choose larger paper") {
				t.Errorf("card %d on %s: %v", i, paper, err)
			}
			refused++
			continue
		}
		printed++
		ranOn += len(l.runsOn)
		for n, p := range l.doc.Pages {
			checkPage(t, fmt.Sprintf("card %d on %s, page %d", i, paper, n+1), p)
		}
	}
	if printed < 50 || ranOn < 5 || refused < 1 {
		t.Errorf("%d cards printed, %d of them with backs that run on, and %d refused; the words should bring all of that", printed, ranOn, refused)
	}
}

// bodySize is the largest size that a story's own text is set in on a page.
func bodySize(p draw.Page, words string) typeset.Points {
	for _, it := range p.Items {
		if s, ok := it.Shape.(draw.Text); ok && strings.HasPrefix(textOf(s), words) {
			return s.Size
		}
	}
	return 0
}

// The type shrinks as the text grows, within the face's limits (12 to 16.5 pt
// for A5).
func TestTypeIsAsLargeAsTheTextAllows(t *testing.T) {
	last := 17 * typeset.Point
	sizes := map[typeset.Points]bool{}
	for n := 1; n <= 9; n++ {
		f := short(t)
		f.CameOff = strings.TrimSpace(strings.Repeat("Zinc strip from the hull. ", 2*n))
		f.Failed, f.Replaced = "Salt.", "A new one."
		doc := mustLay(t, tourOf(stopOf(3, cleared.NewStory(f))), options("a5", front), false)
		size := bodySize(doc.Pages[0], "Zinc")
		if size > last || size < 12*typeset.Point || size > 16*typeset.Point+typeset.Point/2 {
			t.Errorf("%d sentences are set in %v pt, after %v pt for fewer", n, size, last)
		}
		last = size
		sizes[size] = true
	}
	if len(sizes) < 3 || !sizes[16*typeset.Point+typeset.Point/2] {
		t.Errorf("sizes %v; want the largest for a short text, and smaller ones as it grows", sizes)
	}
}

// Smithsonian Guidelines for Accessible Exhibition Design, section III: a label's
// line holds at most 55 characters. RNIB: 60 to 70 in print that is held in the hand.
func TestLinesHoldAtMost55CharactersAnd70OnTheBack(t *testing.T) {
	for _, paper := range papers()[1:] {
		most := map[string]int{"front": 55, "back": 70}
		for n, p := range mustLay(t, fullTour(t), options(paper), false).Pages {
			limit := most["back"]
			if n%2 == 0 && n < 4 { // after the two cards come the guide's sheets
				limit = most["front"]
			}
			lines := map[typeset.Points]int{}
			for _, it := range p.Items {
				if s, ok := it.Shape.(draw.Text); ok && it.Node.Role != draw.RoleHeading1 && s.X < p.Width/2 {
					lines[s.Y] += len([]rune(strings.TrimRight(textOf(s), " ")))
				}
			}
			for y, chars := range lines {
				if chars > limit {
					t.Errorf("%s page %d: the line at %v pt has %d characters, want at most %d", paper, n+1, y, chars, limit)
				}
			}
		}
	}
}

// ISO/IEC 18004: four clear modules on each side of the code.
func TestQRCodeHasItsClearBorder(t *testing.T) {
	for _, paper := range papers()[1:] {
		doc := mustLay(t, fullTour(t), options(paper, front), false)
		p := doc.Pages[0]
		for _, it := range p.Items {
			path, ok := it.Shape.(draw.Path)
			if !ok || it.Node == nil || it.Node.Role != draw.RoleFigure {
				continue
			}
			module := path.Steps[0].To[1].Y - path.Steps[0].To[0].Y
			if module < typeset.Micrometres(500) {
				t.Errorf("%s: a module of the QR code is %v pt; want 0.5 mm or more", paper, module)
			}
			for _, s := range path.Steps {
				run := draw.Rect{X: s.To[0].X, Y: s.To[0].Y, W: s.To[1].X - s.To[0].X, H: s.To[1].Y - s.To[0].Y}.Shift(path.At.X, path.At.Y)
				inner := draw.Rect{X: it.Box.X + 4*module, Y: it.Box.Y + 4*module, W: it.Box.W - 8*module, H: it.Box.H - 8*module}
				if s.Op != draw.Box || !run.Inside(inner) {
					t.Fatalf("%s: a run of modules %+v lies in the clear border of %+v", paper, run, it.Box)
				}
			}
			for _, other := range p.Items {
				if !other.Ground && other.Node != it.Node && other.Box.Overlaps(it.Box) {
					t.Errorf("%s: %s stands in the clear border of the QR code", paper, describe(other))
				}
			}
		}
	}
}

// The tree holds headings that begin at 1 and skip no level, alt text for every
// figure, and an item for every leaf.
func TestStructureIsWhole(t *testing.T) {
	doc := mustLay(t, fullTour(t), options("a5"), true)
	drawn := map[*draw.Node]bool{}
	for _, p := range doc.Pages {
		for _, it := range p.Items {
			drawn[it.Node] = true
		}
	}
	for _, card := range doc.Root.Kids {
		for _, side := range card.Kids {
			level := 0
			var walk func(n *draw.Node)
			walk = func(n *draw.Node) {
				switch {
				case n.Role == draw.RoleHeading1:
					level = 1
				case n.Role == draw.RoleHeading2 && level == 0:
					t.Error("a second-level heading comes before the first-level one")
				case n.Role == draw.RoleFigure && n.Alt == "":
					t.Error("a figure has no alt text")
				}
				if len(n.Kids) == 0 && !drawn[n] {
					t.Errorf("a %s in the structure is not drawn", n.Role)
				}
				for _, kid := range n.Kids {
					walk(kid)
				}
			}
			walk(side)
			if level == 0 {
				t.Error("a side has no heading")
			}
		}
	}
}
