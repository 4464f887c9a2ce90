package card

import (
	"errors"
	"fmt"
	"image"
	"math/rand/v2"
	"strings"
	"testing"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/cleared"
)

// wordy is a story whose talk is too long for one side of A6.
func wordy(t testing.TB, id string, sentences int) cleared.Story {
	f := short(t)
	f.ID = id
	f.Props = []cleared.Prop{{What: "old strip", HandRound: cleared.TwoHands, Cautions: []cleared.Caution{sharp}}}
	f.Questions = []cleared.Question{{Ask: "Could you have saved it?", Answer: "No. It would have been too thin."}}
	var talk []string
	for i := range sentences {
		talk = append(talk, fmt.Sprintf("Number %d is told here, and it takes a while.", i+1))
	}
	f.Talk = strings.Join(talk, " ")
	return cleared.NewStory(f)
}

// A guide an hour before the talk gets paper: what does not fit the back stands on
// further sides behind the card, whole and in order, with the cautions first.
func TestBackThatDoesNotFitRunsOnWholeAndInOrder(t *testing.T) {
	for _, paper := range []string{"a6", "a5"} {
		o := options(paper)
		o.Large = paper == "a5"
		tr := tourOf(stopOf(3, wordy(t, "wordy", 30)), stopNamed("bow", 4, cleared.NewStory(short(t))))
		sheets := mustDeck(t, tr, o)
		if len(sheets.Unfit) > 0 || len(sheets.RunsOn) == 0 || sheets.RunsOn[0].Sides < 2 {
			t.Fatalf("%s: unfit %v, runs on %v", paper, sheets.Unfit, sheets.RunsOn)
		}
		first := sheets.RunsOn[0]
		var full *Overflow
		if said := first.Error(); !errors.As(first, &full) || !strings.Contains(said, "card 3 (wordy), back: it takes ") || !strings.Contains(said, `words out of "talk"`) || !strings.Contains(said, "or print it on a") {
			t.Errorf("%s: %q; want the card, the words to lose, and the paper that would do", paper, said)
		}
		pages := strings.Split(strings.TrimSuffix(run(t, "pdftotext", "-raw", saved(t, sheets), "-"), "\f"), "\f")
		if len(pages)%2 != 0 {
			t.Errorf("%s: %d pages; want both sides of every sheet", paper, len(pages))
		}
		var told strings.Builder
		for i := range first.Sides {
			page := strings.Join(strings.Fields(pages[1+i]), " ")
			if mark := fmt.Sprintf("For the guide, %d of %d", i+1, first.Sides); !strings.Contains(page, mark) || (i > 0) != strings.Contains(page, ", continued") {
				t.Errorf("%s: side %d does not say %q:\n%s", paper, i+1, mark, page)
			}
			head, foot := "continued ", "As of 25 January 2031"
			if i == 0 {
				head = "Hull floor, port side "
			}
			_, words, _ := strings.Cut(page, head)
			words, _, _ = strings.Cut(words, foot)
			told.WriteString(words)
		}
		order := []string{"Allow", "Take care Sharp edges. Hold it by the flat", "Trip hazard.", "Talk"}
		for i := range 30 {
			order = append(order, fmt.Sprintf("Number %d is told here, and it takes a while.", i+1))
		}
		order = append(order, "To show Old strip. Two hands:", "Likely questions Could you have saved it? No.")
		flat := strings.Join(strings.Fields(told.String()), " ")
		checkOrder(t, flat, order)
		if n := strings.Count(flat, "is told here"); n != 30 {
			t.Errorf("%s: %d of 30 sentences are told:\n%s", paper, n, flat)
		}
		if front := pages[0]; strings.Contains(front, "is told here") || strings.Contains(front, "continued") {
			t.Errorf("%s: visitors read the talk:\n%s", paper, front)
		}
	}
}

// Running on makes no other card of it: its digest is that of its words.
func TestCardThatRunsOnIsTheSameCard(t *testing.T) {
	tr := tourOf(stopOf(3, wordy(t, "wordy", 30)))
	small, large := mustDeck(t, tr, options("a6")), mustDeck(t, tr, options("a4"))
	listed, err := Cards(settings(), tr, options("a4"))
	if err != nil {
		t.Fatal(err)
	}
	if len(small.RunsOn) != 1 || len(large.RunsOn) != 0 {
		t.Fatalf("runs on: %v on a6, %v on a4", small.RunsOn, large.RunsOn)
	}
	if len(small.Cards) != 1 || small.Cards[0] != large.Cards[0] || small.Cards[0] != listed[0] {
		t.Errorf("cards %+v on a6, %+v on a4, %+v listed", small.Cards, large.Cards, listed)
	}
}

// A front that does not fit is still an error: nothing that visitors read is parted.
func TestFrontsDoNotRunOn(t *testing.T) {
	f := short(t)
	f.CameOff = strings.Repeat("It came off with a bang. ", 40)
	f.Talk = strings.Repeat("Tell them how it was found and what it cost. ", 30)
	_, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a6"))
	all := overflows(err)
	if len(all) != 1 || all[0].Face != front {
		t.Errorf("Deck = %v; want the front alone to be too full", err)
	}
}

// Whatever the words, the sides of a back keep every rule, each element stands on
// one page, and all is in the structure.
func TestRandomBacksRunOnByTheRules(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 2031))
	ranOn := 0
	for i := range 60 {
		var f = short(t)
		f.Talk, f.Claims, f.Questions = sentenceOf(r, 250), nil, nil
		for range r.IntN(9) {
			f.Claims = append(f.Claims, cleared.Claim{Say: sentenceOf(r, 30), Status: "likely", Evidence: sentenceOf(r, 90)})
			f.Questions = append(f.Questions, cleared.Question{Ask: sentenceOf(r, 12), Answer: sentenceOf(r, 120)})
		}
		paper := papers()[i%4]
		o := options(paper)
		if i%3 == 0 {
			o = options(paper, back)
		}
		o.Large = i%5 == 0 && paper != "a6"
		l, err := lay(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), o, i%7 == 0)
		if err != nil {
			t.Errorf("card %d on %s: %v", i, paper, err)
			continue
		}
		ranOn += len(l.runsOn)
		where := fmt.Sprintf("card %d on %s", i, paper)
		checkGenerated(t, where, l.doc, leastType, i%10 == 0)
		in := map[*draw.Node]bool{}
		var walk func(n *draw.Node)
		walk = func(n *draw.Node) {
			in[n] = true
			for _, kid := range n.Kids {
				walk(kid)
			}
		}
		walk(l.doc.Root)
		on := map[*draw.Node]int{}
		for n, p := range l.doc.Pages {
			for _, it := range p.Items {
				if it.Node == nil {
					continue
				}
				if at, met := on[it.Node]; met && at != n {
					t.Errorf("%s: %s is on pages %d and %d", where, describe(it), at+1, n+1)
				}
				if on[it.Node] = n; !in[it.Node] {
					t.Errorf("%s: %s is not in the structure", where, describe(it))
				}
			}
		}
	}
	if ranOn < 20 {
		t.Errorf("%d of 60 backs ran on; the words should make that common", ranOn)
	}
}

// On a shared sheet what runs on has a place of its own, front and back, and lies as
// true as the cards do: within 0.5 mm, measured at 150 pixels an inch.
func TestSheetsThatRunOnRegister(t *testing.T) {
	const perInch = 150
	const half = perInch / 50.8
	warning := draw.Colour{R: 0x8c, G: 0x1d, B: 0x18}
	for _, flip := range []string{"long", "short"} {
		c := sheetCase{4, "a6", "a4", flip, false}
		tr := tourOf(stopNamed("one", 1, wordy(t, "one", 22)), stopNamed("two", 2, tiny(t, "two")), stopNamed("three", 3, wordy(t, "three", 70)))
		sheets, err := DraftDeck(t.Context(), cleared.NewDraft(settings()), cleared.NewDraft(tr), c.options(front, back))
		if err != nil {
			t.Fatal(err)
		}
		if len(sheets.RunsOn) != 2 || sheets.RunsOn[0].Sides != 2 || sheets.RunsOn[1].Sides < 4 {
			t.Fatalf("runs on: %v", sheets.RunsOn)
		}
		file := saved(t, sheets)
		cells := 0
		for page := 1; page < strings.Count(run(t, "pdftotext", file, "-"), "\f"); page += 2 {
			f := raster(t, file, page, perInch)
			behind := seen(raster(t, file, page+1, perInch), flip == "long", flip != "long")
			w, h := f.Bounds().Dx()/2, f.Bounds().Dy()/2
			for i := range 4 {
				cell := image.Rect(i%2*w, i/2*h, (i%2+1)*w, (i/2+1)*h)
				one, other := extent(f, cell, warning), extent(behind, cell, warning)
				if one.Empty() != other.Empty() {
					t.Errorf("%v: page %d, cell %d has one side only", c, page, i)
				}
				if one.Empty() {
					continue
				}
				cells++
				for _, d := range []int{one.Min.X - other.Min.X, one.Max.X - other.Max.X, one.Min.Y - other.Min.Y, one.Max.Y - other.Max.Y} {
					if float64(d) > half || float64(-d) > half {
						t.Errorf("%v: page %d, cell %d lies at %v in front and %v behind, more than 0.5 mm off", c, page, i, one, other)
						break
					}
				}
			}
		}
		// Three cards; one further sheet for the one side more, and one for each two of the rest.
		if want := 3 + 1 + sheets.RunsOn[1].Sides/2; cells != want {
			t.Errorf("%v: %d cells are filled; want %d", c, cells, want)
		}
	}
}

// What a printer's dialogue begins with, and what whoever prints is told.
func TestFileAsksThePrinterForActualSizeAndTheRightFlip(t *testing.T) {
	up := func(flip string, shrink bool, faces ...string) Options {
		return sheetCase{2, "a5", "a4", flip, shrink}.options(faces...)
	}
	for _, c := range []struct {
		o            Options
		duplex, says string
	}{
		{options("a5"), "DuplexFlipLongEdge", "Print at 100 %, double-sided. Flip on the long edge."},
		{options("a5", front), "Simplex", "Print at 100 %, one side."},
		{up("long", false, front, back), "DuplexFlipLongEdge", "Print at 100 %, double-sided. Flip on the long edge. Cut through the middle, at the marks."},
		{up("short", false, front, back), "DuplexFlipShortEdge", "Print at 100 %, double-sided. Flip on the short edge. Cut through the middle, at the marks."},
		{up("short", true, front, back), "DuplexFlipShortEdge", "Print at 100 %, double-sided. Flip on the short edge. Cut at the marks: 137 × 188 mm, not A5."},
		{up("short", false, front), "Simplex", "Print at 100 %, one side. Cut through the middle, at the marks."},
	} {
		sheets := mustDeck(t, fiveCards(t), c.o)
		if sheets.HowToPrint != c.says {
			t.Errorf("it says %q; want %q", sheets.HowToPrint, c.says)
		}
		plain := plainFile(t, sheets)
		for _, want := range []string{"/PrintScaling /None", "/Duplex /" + c.duplex} {
			if !strings.Contains(plain, want) {
				t.Errorf("%q: the file does not hold %s", c.says, want)
			}
		}
		text := strings.Join(strings.Fields(run(t, "pdftotext", "-raw", saved(t, sheets), "-")), " ")
		for words := range strings.SplitSeq(c.says, ". ") {
			if got := strings.Contains(text, words); got != c.o.Sheet.Shrink {
				t.Errorf("%q stands on the sheets: %v; they have a margin: %v", words, got, c.o.Sheet.Shrink)
			}
		}
	}
}
