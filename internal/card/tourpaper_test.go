package card

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/tongue"
	"example.org/opencowl/internal/tour"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/themes"
)

func paperOptions(paper string) PaperOptions {
	o := sheetOptions()
	o.Paper = paper
	return o
}

// propped is a walk that shows one strip at two stops, in two ways, and leaves a
// stop with a prop of its own out.
func propped(t testing.TB) cleared.Tour {
	story := func(id string, props ...cleared.Prop) cleared.Story {
		f := short(t)
		f.ID, f.Props, f.Cautions = id, props, nil
		return cleared.NewStory(f)
	}
	stop := func(number int, at, wants string, minutes int, s cleared.Story) cleared.Stop {
		return cleared.NewStop(cleared.StopFields{ID: fmt.Sprint("stop-", number), Number: number, At: at, X: float64(number), Wants: wants,
			Minutes: time.Duration(minutes) * time.Minute, Stories: []cleared.Story{s}})
	}
	asbestos := cleared.Caution{Key: "asbestos", Label: "Asbestos", Advice: "Stay back and do not touch."}
	return cleared.NewTour(cleared.TourFields{ID: "winter-hangar", Title: "Winter in the hangar", Slot: 20 * time.Minute, Group: 1, Pace: 130, Walk: 1, Stops: []cleared.Stop{
		stop(1, "Hull floor", "must", 5, story("a", cleared.Prop{What: "the old strip", HandRound: cleared.TwoHands, Cautions: []cleared.Caution{sharp}},
			cleared.Prop{What: "a rivet", HandRound: cleared.DropProof})),
		stop(2, "The lamp bench", "could", 15, story("b", cleared.Prop{What: "a lamp", HandRound: cleared.LookOnly})),
		stop(4, "By the bow", "must", 5, story("c", cleared.Prop{What: "The old  strip.", HandRound: cleared.LookOnly, Cautions: []cleared.Caution{sharp, asbestos}, MadeSafe: "edges taped"})),
	}})
}

func TestPropListNamesEachPropOnceWithAllItsStops(t *testing.T) {
	for _, paper := range []string{"a5", "a4", "letter"} {
		text := flatText(t, paperOf(t, PropList, propped(t), 0, paperOptions(paper)))
		checkOrder(t, text, []string{
			"Winter in the hangar: prop list", "For the guide, not for visitors. As of 12 February 2031.", "2 props for 2 stops, in the order of the walk.",
			"Fetched Back", "The old strip. Stop 1 (Hull floor) and stop 4 (By the bow).",
			"At stop 1: two hands: pass it from person to person, and do not let it drop.", "At stop 4: look only: it stays in your hands. Made safe: edges taped.",
			"Take care: Asbestos. Stay back and do not touch. Sharp edges. Hold it by the flat",
			"A rivet. Stop 1 (Hull floor). Drop-proof: pass it round.",
			"On site", "Fire exits are the slip door", "the engineer on duty come before this sheet", "For the guide, not for visitors.", "1 of 1",
		})
		if strings.Count(strings.ToLower(text), "old strip") != 1 {
			t.Errorf("%s: the strip is named more than once:\n%s", paper, text)
		}
		if strings.Contains(text, "lamp") {
			t.Errorf("%s: the list has a prop of a stop that is left out:\n%s", paper, text)
		}
	}
}

// Two empty boxes stand beside each prop, apart from all words.
func TestPropListHasTwoBoxesForEachProp(t *testing.T) {
	tr := propped(t)
	doc, err := layPaper(t.Context(), PropList, siteSettings(), tr, tour.Choose(tr, 0), paperOptions("a4"), false)
	if err != nil {
		t.Fatal(err)
	}
	var boxes []draw.Rect
	for _, p := range doc.Pages {
		for _, it := range p.Items {
			if s, ok := it.Shape.(draw.Path); ok && it.Node == nil && it.Box.W == it.Box.H && !it.Ground && len(s.Steps) == 4 {
				boxes = append(boxes, it.Box)
			}
		}
	}
	if len(boxes) != 4 || boxes[0].Y != boxes[1].Y || boxes[0].X != boxes[2].X || boxes[0].X == boxes[1].X {
		t.Fatalf("boxes at %+v; want two for each of two props, in two columns", boxes)
	}
	if boxes[0].W < 12*1000 {
		t.Errorf("a box is %v pt wide, too small to tick", boxes[0].W)
	}
}

func TestPapersWithNothingOnThemAreNotPrinted(t *testing.T) {
	f := short(t)
	f.Props, f.Cautions = nil, nil
	tr := cleared.NewTour(cleared.TourFields{ID: "t", Slot: time.Hour, Group: 1, Pace: 130, Walk: 1, Stops: []cleared.Stop{
		cleared.NewStop(cleared.StopFields{ID: "s", Number: 1, Stories: []cleared.Story{cleared.NewStory(f)}})}})
	for _, what := range []TourPaper{PropList, CautionStrips} {
		if _, err := PrintPaper(t.Context(), what, siteSettings(), tr, tour.Choose(tr, 0), paperOptions("a4")); !errors.Is(err, ErrNothingToPrint) {
			t.Errorf("%s: %v; want ErrNothingToPrint", what, err)
		}
	}
}

func TestStripsGiveEachCautionOfEachStopThatIsIn(t *testing.T) {
	tr := guidedTour(t)
	text := flatText(t, paperOf(t, CautionStrips, tr, 0, paperOptions("a4")))
	one := func(label, advice, stop string) []string {
		return []string{label, advice, stop, "As of 12 February 2031", "The site’s rules and the person in charge come first."}
	}
	var order []string
	for _, s := range []string{"1 Hull floor, port side", "3 By the bow"} {
		order = append(order, one("Sharp edges", "Hold it by the flat; keep fingers off the edges.", s)...)
		order = append(order, one("Trip hazard", "Cables cross the floor here; keep the group behind the tape.", s)...)
	}
	checkOrder(t, text, order)
	if n := strings.Count(text, "Print at 100 %, one side. Cut at the marks."); n != 2 {
		t.Errorf("%d of 2 sheets say how to print and cut them", n)
	}
	for _, not := range []string{"lamp bench", "Under the tail", "For the guide", "Rudder", "refused"} {
		if strings.Contains(text, not) {
			t.Errorf("the strips say %q:\n%s", not, text)
		}
	}
	plain := plainFile(t, &Sheets{PDF: paperOf(t, CautionStrips, tr, 0, paperOptions("a4"))})
	for _, want := range []string{"/PrintScaling /None", "/Duplex /Simplex"} {
		if !strings.Contains(plain, want) {
			t.Errorf("the file does not hold %s", want)
		}
	}
}

// The height of capitals as printed, measured on the page as poppler draws it. 2010
// ADA Standards for Accessible Design, 703.5.5: 5/8 inch up to 72 inches, and 1/8
// inch for each foot above; at 2 m that is 17.66 mm.
func TestCautionIsReadAtTwoMetres(t *testing.T) {
	const perInch = 300
	const most = 25.4 * (5.0/8 + (2000/25.4-72)/12/8)
	label := draw.Colour{R: 0x14, G: 0x18, B: 0x1c}
	for _, paper := range []string{"a5", "a4", "letter"} {
		// Of these words every letter is as high as a capital, and none hangs low. The
		// longest words take the smallest type.
		f := short(t)
		f.Cautions, f.Props = []cleared.Caution{{Key: "x", Label: "HILT ELLE", Advice: strings.Repeat("ILL TELL IT ", 9)}}, nil
		tr := cleared.NewTour(cleared.TourFields{ID: "t", Slot: time.Hour, Group: 1, Pace: 130, Walk: 1, Stops: []cleared.Stop{
			cleared.NewStop(cleared.StopFields{ID: "s", Number: 1, At: "By the bow", Stories: []cleared.Story{cleared.NewStory(f)}})}})
		data := paperOf(t, CautionStrips, tr, 0, paperOptions(paper))
		page := raster(t, savedSheet(t, data), 1, perInch)
		band := extent(page, page.Bounds(), draw.Colour{R: 0xff, G: 0xdf, B: 0x8a})
		ink := extent(page, band, label)
		got := float64(ink.Dy()) * 25.4 / perInch
		t.Logf("%s: capitals are %.1f mm high; the least for 2 m is %.2f", paper, got, most)
		if got < most-25.4/perInch {
			t.Errorf("%s: capitals are %.2f mm high on the page; to be read at 2 m they need %.2f", paper, got, most)
		}
		// The first line below the band: 20 minutes of arc at 1 m are 5.82 mm.
		below := image.Rect(band.Min.X, band.Max.Y+1, band.Max.X, page.Bounds().Max.Y)
		line := firstLine(page, below, label)
		if got := float64(line.Dy()) * 25.4 / perInch; got < 5.82-25.4/perInch || got > 30 {
			t.Errorf("%s: what to do is set in capitals of %.2f mm; to be read at 1 m they need 5.82", paper, got)
		}
	}
}

// firstLine is the box about the topmost rows of ink.
func firstLine(m *image.RGBA, in image.Rectangle, ink draw.Colour) image.Rectangle {
	box := image.Rectangle{}
	for y := in.Min.Y; y < in.Max.Y; y++ {
		row := extent(m, image.Rect(in.Min.X, y, in.Max.X, y+1), ink)
		if row.Empty() && !box.Empty() {
			return box
		}
		box = box.Union(row)
	}
	return box
}

// Every caution that a workspace can name has a strip on every paper, in each of the
// languages that are built in.
func TestEveryCautionFitsAStrip(t *testing.T) {
	for _, language := range []string{"en-GB", "fr", "de", "cy", "nl"} {
		words, err := tongue.Read(themes.Embedded(), language)
		if err != nil {
			t.Fatal(err)
		}
		var all []cleared.Caution
		for _, key := range wording.CautionKeys() {
			c, _ := words.Caution(key)
			all = append(all, cleared.Caution{Key: key, Label: c.Label, Advice: c.Advice})
		}
		f := short(t)
		f.Cautions, f.Props = all, nil
		tr := cleared.NewTour(cleared.TourFields{ID: "t", Slot: time.Hour, Group: 1, Pace: 130, Walk: 1, Stops: []cleared.Stop{
			cleared.NewStop(cleared.StopFields{ID: "s", Number: 12, At: "The step, half way along the hull and under the wing", Stories: []cleared.Story{cleared.NewStory(f)}})}})
		s := cleared.NewSettings(cleared.SettingsFields{Workshop: "Marram Sound Flying Boat Trust", Language: language, Site: "https://example.org/"})
		for _, paper := range []string{"a5", "a4", "letter"} {
			doc, err := layPaper(t.Context(), CautionStrips, s, tr, tour.Choose(tr, 0), paperOptions(paper), false)
			if err != nil {
				// Dutch has no patterns to break its longest word by.
				if language != "nl" || paper != "a5" || !strings.Contains(err.Error(), "choose larger paper") {
					t.Errorf("%s, %s: %v", language, paper, err)
				}
				continue
			}
			for i, p := range doc.Pages {
				checkPage(t, fmt.Sprintf("%s, %s page %d", language, paper, i+1), p)
			}
			if n := len(doc.Root.Kids); n != len(all) {
				t.Errorf("%s, %s: %d strips for %d cautions", language, paper, n, len(all))
			}
			// Two strips of A4 or Letter share a sheet, all but the wordiest.
			if want := len(all)/2 + 3; paper != "a5" && language == "en-GB" && len(doc.Pages) > want {
				t.Errorf("%s: %d strips take %d sheets; want %d at the most", paper, len(all), len(doc.Pages), want)
			}
		}
	}
}

// The lines that a strip is cut at run through no words, and each strip has the
// whole of what it says.
func TestCutsRunBetweenStrips(t *testing.T) {
	tr := guidedTour(t)
	for _, paper := range []string{"a4", "letter"} {
		for _, draft := range []bool{false, true} {
			doc, err := layPaper(t.Context(), CautionStrips, siteSettings(), tr, tour.Choose(tr, 0), paperOptions(paper), draft)
			if err != nil {
				t.Fatal(err)
			}
			for i, p := range doc.Pages {
				checkPage(t, fmt.Sprintf("%s page %d, draft %v", paper, i+1, draft), p)
				middle, stamps := p.Height/2, 0
				for _, it := range p.Items {
					if it.Node != nil && it.Box.Y < middle && it.Box.Y+it.Box.H > middle {
						t.Errorf("%s page %d: %s is cut through", paper, i+1, describe(it))
					}
					if s, ok := it.Shape.(draw.Text); ok && strings.HasPrefix(textOf(s), "DRAFT: not cleared") {
						stamps++
					}
				}
				if want := map[bool]int{false: 0, true: 4}[draft]; stamps != want {
					t.Errorf("%s page %d, draft %v: %d stamps; want %d, two on each strip", paper, i+1, draft, stamps, want)
				}
			}
		}
	}
}

func TestEveryPageOfADraftPaperSaysDraft(t *testing.T) {
	d := cleared.NewDraft(guidedTour(t))
	p := tour.ChooseDraft(d, 0)
	if !p.Draft() || tour.Choose(guidedTour(t), 0).Draft() {
		t.Error("a plan does not know whether it is a draft")
	}
	for _, what := range []TourPaper{RunSheet, PropList, CautionStrips} {
		data, err := PrintDraftPaper(t.Context(), what, cleared.NewDraft(siteSettings()), d, p, paperOptions("a4"))
		if err != nil {
			t.Fatal(err)
		}
		file := savedSheet(t, data)
		pages := strings.Split(strings.TrimSuffix(run(t, "pdftotext", "-raw", file, "-"), "\f"), "\f")
		for n, page := range pages {
			if strings.Count(page, "DRAFT") < 2 {
				t.Errorf("%s, page %d is not stamped:\n%s", what, n+1, page)
			}
		}
		if info := run(t, "pdfinfo", file); !strings.Contains(info, "Title:           DRAFT Winter in the hangar: "+string(what)) {
			t.Errorf("%s: its title does not say DRAFT:\n%s", what, info)
		}
		if text := strings.Join(pages, ""); strings.Contains(text, "f55dfed1") {
			t.Errorf("%s: a draft, which nobody keeps, carries the ledger's head", what)
		}
		if _, err := PrintPaper(t.Context(), what, siteSettings(), guidedTour(t), p, paperOptions("a4")); err == nil {
			t.Errorf("%s: a draft plan is printed as if it were cleared", what)
		}
	}
}

func TestPapersAreSoundAndTheSameTwice(t *testing.T) {
	for _, what := range []TourPaper{PropList, CautionStrips} {
		for _, paper := range what.papers() {
			first := paperOf(t, what, guidedTour(t), 0, paperOptions(paper))
			if !bytes.Equal(first, paperOf(t, what, guidedTour(t), 0, paperOptions(paper))) {
				t.Errorf("%s on %s: two printings of the same differ", what, paper)
			}
			file := savedSheet(t, first)
			if out := run(t, "qpdf", "--check", file); !strings.Contains(out, "No syntax or stream encoding errors found") {
				t.Errorf("%s on %s: %s", what, paper, out)
			}
			tree := run(t, "pdfinfo", "-struct-text", file)
			want := []string{"Document", "H1 (block)", "LBody"}
			if what == CautionStrips {
				want = []string{"Document", "Sect", "H1 (block)", "Sharp edges", "P (block)"}
			}
			checkOrder(t, tree, want)
			plain := filepath.Join(t.TempDir(), "plain.pdf")
			run(t, "qpdf", "--qdf", "--object-streams=disable", file, plain)
			raw, err := os.ReadFile(plain)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Contains(raw, []byte("/Marked true")) {
				t.Errorf("%s on %s is not tagged", what, paper)
			}
		}
	}
}

// Whatever the stops hold: nothing overlaps or leaves the page.
func TestRandomPapersKeepTheRules(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 2031))
	photo := photoOf(t)
	for i := range 20 {
		var stops []cleared.Stop
		for number := 1; number <= 1+r.IntN(20); number++ {
			stops = append(stops, cleared.NewStop(cleared.StopFields{ID: fmt.Sprint("s", number), Number: number, At: sentenceOf(r, 6), Wants: "must",
				Stories: []cleared.Story{randomStory(t, r, photo)}, Cautions: []cleared.Caution{trip}}))
		}
		tr := cleared.NewTour(cleared.TourFields{ID: "t", Title: sentenceOf(r, 5), Slot: time.Hour, Group: 9, Pace: 130, Walk: 1, Stops: stops})
		for _, what := range []TourPaper{PropList, CautionStrips} {
			paper := []string{"a5", "a4", "letter"}[i%3]
			doc, err := layPaper(t.Context(), what, siteSettings(), tr, tour.Choose(tr, 0), paperOptions(paper), i%4 == 0)
			switch {
			case errors.Is(err, ErrNothingToPrint):
				continue
			case err != nil:
				t.Fatalf("tour %d, the %s: %v", i, what, err)
			}
			for n, p := range doc.Pages {
				checkPage(t, fmt.Sprintf("tour %d, the %s, page %d", i, what, n+1), p)
			}
		}
	}
}

// A workspace styles the papers as it does the cards, and within what readers need.
func TestFacesOfPapersAreHeldToTheirLimits(t *testing.T) {
	face := func(file, old, new string) PaperOptions {
		o := paperOptions("a4")
		o.Theme = themed(t, file, old, new).Theme
		return o
	}
	for _, c := range []struct {
		what           TourPaper
		old, new, want string
	}{
		{RunSheet, "text: {least: 12 pt, most: 17 pt}", "text: {least: 11 pt, most: 17 pt}", "the type is 11 pt; nothing on this paper is smaller than 12 pt"},
		{RunSheet, "fields: [visits, way_round, late, left_out, fetch, cautions, on_site, season, ledger, talk]", "fields: [visits, way_round, late, left_out, fetch, on_site, ledger, talk]", "leave none out but way_round, late, left_out, fetch, season and talk"},
		{RunSheet, "fields: [visits, way_round, late, left_out, fetch, cautions, on_site, season, ledger, talk]", "fields: [visits, cautions, on_site]", "leave none out"},
		{RunSheet, `quiet: "#3d4953"`, `quiet: "#777777"`, "text needs 4.5 to 1"},
		{RunSheet, "number: 13 pt", "number: 13 pt\n    photo: {least: 20 mm, most: 30 mm}", "photo says nothing about this paper; take it out"},
		{PropList, "fields: [props, on_site]", "fields: [props]", "leave none out"},
		{PropList, "title_leading: 110", "title_leading: 110\nline_chars: 55", "this paper has no line_chars; take it out"},
		{CautionStrips, `caution: "#ffdf8a"`, `caution: "#8c6a00"`, "text needs 7 to 1"},
		{CautionStrips, `quiet: "#3d4953"`, `quiet: "#5a5a5a"`, "the contrast of quiet (#5a5a5a) on the white paper (#ffffff) is 6.90 to 1; text needs 7 to 1"},
		{CautionStrips, "title: {least: 77 pt, most: 130 pt}", "title: {least: 60 pt, most: 130 pt}", "capitals are 14.0 mm high, too low to be read at 2 m; write 76 pt or more"},
		{CautionStrips, "text: {least: 26 pt, most: 40 pt}", "text: {least: 20 pt, most: 40 pt}", "too low to be read at 1 m; write 25 pt or more"},
		{CautionStrips, "small: 16 pt", "small: 12 pt", "nothing in large print is smaller than 16 pt"},
		{CautionStrips, "strips: 2", "strips: 9", "9 is not a number of strips for one sheet"},
		{CautionStrips, "foot: [stop, as_of, on_site]", "foot: [stop, as_of]", "leave none out"},
	} {
		tr := guidedTour(t)
		_, err := PrintPaper(t.Context(), c.what, siteSettings(), tr, tour.Choose(tr, 0), face("faces/"+c.what.face()+".yaml", c.old, c.new))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("the %s with %q: %v; want an error that says %q", c.what, c.new, err, c.want)
		}
	}
	o := face("faces/run-sheet.yaml", "fields: [visits, way_round, late, left_out, fetch, cautions, on_site, season, ledger, talk]", "fields: [cautions, on_site, visits, ledger]")
	text := flatText(t, runSheetOf(t, guidedTour(t), 0, o))
	checkOrder(t, text, []string{"run sheet", "Take care Sharp edges, stops 1 and 3.", "On site", "14:00 1 Hull floor", "Ledger"})
	if strings.Contains(text, "The talk") || strings.Contains(text, "If you run late") {
		t.Errorf("what the face leaves out is on the sheet:\n%s", text)
	}
	o = paperOptions("a4")
	o.Theme = themes.Over(fstest.MapFS{"faces/caution-strip.yaml": {Data: bytes.Replace(readTheme(t, "faces/caution-strip.yaml"), []byte("fields: [cautions, advice]"), []byte("fields: [advice, cautions]"), 1)}})
	checkOrder(t, flatText(t, paperOf(t, CautionStrips, guidedTour(t), 0, o)), []string{"Hold it by the flat", "Sharp edges"})
}
