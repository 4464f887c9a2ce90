package card

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/tour"
	"example.org/opencowl/themes"
)

func siteSettings() cleared.Settings {
	return cleared.NewSettings(cleared.SettingsFields{
		Workshop: "Marram Sound Flying Boat Trust", Machine: "Oystercatcher FO-7", Language: "en-GB", Site: "https://example.org/",
		SiteRules: []string{"Fire exits are the slip door and the small door.", "First aid boxes hang by the tea hatch"},
	})
}

const someHead = "f55dfed1cf4fe9550025acfd0d27df503e72da909166250958121b4d218a9567"

func sheetOptions() PaperOptions {
	return PaperOptions{Paper: "a4", AsOf: day.MustParse("2031-02-12"), Start: 14 * time.Hour, LedgerHead: someHead, Theme: themes.Embedded()}
}

// guidedTour has a stop with a story that is new, one with two stories of which
// one is held back, one with nothing to tell, and one for which there is no time.
func guidedTour(t testing.TB) cleared.Tour {
	first, second, last := stiffener(t), stiffener(t), stiffener(t)
	first.Changes, first.Area = cleared.Changes{Work: true}, cleared.Area{Key: "hull", Name: "Hull"}
	second.ID, second.Title, second.Talk = "bow", "The bow that was sat on", "Knock on it twice. Listen."
	last.Title = "A lamp with a borrowed eye"
	stop := func(number int, at string, x, y float64, wants string, minutes int, withheld []string, stories ...cleared.Story) cleared.Stop {
		return cleared.NewStop(cleared.StopFields{ID: fmt.Sprintf("stop-%d", number), Number: number, At: at, X: x, Y: y, Wants: wants,
			Minutes: time.Duration(minutes) * time.Minute, Stories: stories, Withheld: withheld, Cautions: []cleared.Caution{trip}})
	}
	return cleared.NewTour(cleared.TourFields{ID: "winter-hangar", Title: "Winter in the hangar", Slot: 20 * time.Minute, Group: 10, Pace: 130, Walk: 1, Stops: []cleared.Stop{
		stop(1, "Hull floor, port side", 6, 2, "must", 5, nil, cleared.NewStory(first)),
		stop(2, "Under the tail", 20, 4, "must", 4, []string{"the story “Rudder cables” waits for a decision by somebody"}),
		stop(3, "By the bow", 1, 9, "should", 5, []string{"the story “Anchor” was refused"}, cleared.NewStory(second)),
		stop(4, "The lamp bench", 30, 9, "could", 9, nil, cleared.NewStory(last)),
	}})
}

func runSheetOf(t testing.TB, tr cleared.Tour, slot time.Duration, o PaperOptions) []byte {
	t.Helper()
	return paperOf(t, RunSheet, tr, slot, o)
}

func paperOf(t testing.TB, what TourPaper, tr cleared.Tour, slot time.Duration, o PaperOptions) []byte {
	t.Helper()
	data, err := PrintPaper(t.Context(), what, siteSettings(), tr, tour.Choose(tr, slot), o)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func savedSheet(t *testing.T, data []byte) string {
	return saved(t, &Sheets{PDF: data})
}

func flatText(t *testing.T, data []byte) string {
	return strings.Join(strings.Fields(run(t, "pdftotext", "-raw", savedSheet(t, data), "-")), " ")
}

func TestRunSheetIsReadInTheOrderOfTheWalk(t *testing.T) {
	o := sheetOptions()
	o.Returning = day.MustParse("2031-01-12")
	text := flatText(t, runSheetOf(t, guidedTour(t), 0, o))
	checkOrder(t, text, []string{
		"Winter in the hangar: run sheet", "For the guide, not for visitors. As of 12 February 2031.",
		"A slot of 20 min, 14:00 to 14:20. Stops and walks take", "are left for questions", "A group of 10.", "For visitors who last came on 12 January 2031.",
		"14:00 1 Hull floor, port side", "Walk 6 m, 6 s. Stop 5 min: talk 14 s, handing round 1 min 20 s.", "The floor that rotted from inside. New: the work has moved on.",
		"Show: old strip (two hands); new strip (drop-proof).", "Take care: Sharp edges. Trip hazard.",
		"14:05 3 By the bow", "The bow that was sat on.", "Another story of this stop is held back today: tell nothing of it.", "Take care:",
		"14:10 Questions, until the slot ends at 14:20.",
		"The way round", "10 m", "White numbers: left out",
		"If you run late", "Leave out the first of these", "Stop 3, By the bow: saves 5 min 9 s.",
		"Not on this walk", "Stop 2, Under the tail: nothing is cleared to tell. Walk past.", "Stop 4, The lamp bench: no time; it would take 9 min 29 s more.",
		"Fetch before you start", "Old strip, stops 1 and 3. Two hands: pass it from person to person, and do not let it drop. Take care: Sharp edges.", "New strip, stops 1 and 3. Drop-proof: pass it round. Made safe: edges filed and taped.",
		"Take care", "Sharp edges, stops 1 and 3. Hold it by the flat", "Trip hazard, stops 1 and 3.",
		"On site", "Fire exits are the slip door", "First aid boxes hang by the tea hatch.", "the engineer on duty come before this sheet",
		"Ledger", "Head before this printing: f55dfed1 cf4fe955 0025acfd 0d27df50 3e72da90 91662509 58121b4d 218a9567",
		"The talk", "Stop 1: The floor that rotted from inside", "Hold both up side by side.", "Stop 3: The bow that was sat on", "Knock on it twice. Listen.",
	})
	// Of what is held back the sheet says no more than that.
	for _, private := range []string{"Rudder cables", "Anchor", "somebody", "refused", "borrowed eye"} {
		if strings.Contains(text, private) {
			t.Errorf("the sheet says %q", private)
		}
	}
}

func TestRunSheetWithoutAStartCountsMinutes(t *testing.T) {
	o := sheetOptions()
	o.Start, o.LedgerHead = -1, ""
	text := flatText(t, runSheetOf(t, guidedTour(t), 0, o))
	checkOrder(t, text, []string{"Times are minutes after the start.", "0 min 1 Hull floor", "5 min 3 By the bow", "10 min Questions, until the slot ends at 20 min.", "Empty before this printing."})
}

func TestRunSheetWarnsWhenTheMustsOverrun(t *testing.T) {
	text := flatText(t, runSheetOf(t, guidedTour(t), 5*time.Minute, sheetOptions()))
	// 5 min and a walk of 6 s; 5 minutes leave 4 min 30 s.
	checkOrder(t, text, []string{"Too long by 36 s: the stops that must be in need a slot of 6 min. Leave one out before you start", "14:00 1 Hull floor", "The end, past the slot.",
		"If you run late", "Somebody has to choose", "Stop 1, Hull floor, port side: saves 5 min 6 s."})
}

func TestRunSheetIsSoundAndTagged(t *testing.T) {
	for paper, size := range map[string]string{"a4": "(A4)", "letter": "612 x 792 pts (letter)"} {
		o := sheetOptions()
		o.Paper = paper
		file := savedSheet(t, runSheetOf(t, guidedTour(t), 0, o))
		if out := run(t, "qpdf", "--check", file); !strings.Contains(out, "No syntax or stream encoding errors found") {
			t.Errorf("%s: %s", paper, out)
		}
		info := run(t, "pdfinfo", file)
		for _, want := range []string{"Tagged:          yes", "Title:           Winter in the hangar: run sheet", size} {
			if !strings.Contains(info, want) {
				t.Errorf("%s: pdfinfo does not say %q:\n%s", paper, want, info)
			}
		}
		tree := run(t, "pdfinfo", "-struct-text", file)
		checkOrder(t, tree, []string{"Document", "H1 (block)", "Winter in the hangar: run sheet", "H2", "14:00", "Hull floor", "Figure", "Start", "H2", "If you run late", "LBody"})
		plain := filepath.Join(t.TempDir(), "plain.pdf")
		run(t, "qpdf", "--qdf", "--object-streams=disable", file, plain)
		raw, err := os.ReadFile(plain)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(raw, []byte("/Alt")) {
			t.Errorf("%s: the plan has no words for who cannot see it", paper)
		}
		for _, s := range regexp.MustCompile(`/F\d+ ([\d.]+) Tf`).FindAllStringSubmatch(string(raw), -1) {
			if size, err := strconv.ParseFloat(s[1], 64); err != nil || size < 12 {
				t.Errorf("%s: type of %s pt", paper, s[1])
			}
		}
		for n, page := range regexp.MustCompile(`(?s)stream\n(/(?:Artifact BMC|\w+<</MCID).*?)endstream`).FindAllStringSubmatch(string(raw), -1) {
			if err := checkMarked(page[1]); err != nil {
				t.Errorf("%s, page %d: %v", paper, n+1, err)
			}
		}
		pages := strings.Split(strings.TrimSuffix(run(t, "pdftotext", "-raw", file, "-"), "\f"), "\f")
		for n, page := range pages {
			if want := fmt.Sprintf("%d of %d", n+1, len(pages)); !strings.Contains(page, "For the guide, not for visitors.") || !strings.Contains(page, want) {
				t.Errorf("%s: page %d does not say whom it is for, or %q:\n%s", paper, n+1, want, page)
			}
		}
	}
}

func TestPlanIsToldInWords(t *testing.T) {
	tr := guidedTour(t)
	got := floorPlanAlt(tr, tour.Choose(tr, 0))
	want := "Floor plan with the route. From the start 6\u00a0m to stop 1, Hull floor, port side. From stop 1 9\u00a0m to stop 3, By the bow. Left out: 2 and 4."
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestSameRunSheetIsTheSameBytes(t *testing.T) {
	first := runSheetOf(t, guidedTour(t), 0, sheetOptions())
	if !bytes.Equal(first, runSheetOf(t, guidedTour(t), 0, sheetOptions())) {
		t.Error("two printings of the same differ")
	}
	o := sheetOptions()
	o.LedgerHead = strings.Repeat("0", 64)
	if bytes.Equal(first, runSheetOf(t, guidedTour(t), 0, o)) {
		t.Error("the ledger's head is not on the sheet")
	}
}

func TestRunSheetIsNotForSmallPaper(t *testing.T) {
	o := sheetOptions()
	o.Paper = "a5"
	tr := guidedTour(t)
	if _, err := PrintPaper(t.Context(), RunSheet, siteSettings(), tr, tour.Choose(tr, 0), o); !errors.Is(err, ErrPaper) {
		t.Errorf("got %v; want ErrPaper", err)
	}
}

// Stops of any number anywhere, many on one spot: every one has its mark, no word
// overlaps another or leaves the page, and the plan keeps its distances.
func TestRandomRunSheetsKeepTheRules(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 2031))
	photo := photoOf(t)
	for i := range 25 {
		var stops []cleared.Stop
		n := 1 + r.IntN(40)
		spread := []float64{0, 2, 30, 2000}[i%4]
		for number := 1; number <= n; number++ {
			f := cleared.StopFields{ID: fmt.Sprint("s", number), Number: number, At: sentenceOf(r, 6), X: 7 + r.Float64()*spread, Y: r.Float64() * spread / 2,
				Wants: []string{"must", "should", "could"}[r.IntN(3)], Minutes: time.Duration(1+r.IntN(6)) * time.Minute}
			if r.IntN(5) > 0 {
				f.Stories = []cleared.Story{randomStory(t, r, photo)}
			}
			stops = append(stops, cleared.NewStop(f))
		}
		tr := cleared.NewTour(cleared.TourFields{ID: "t", Title: "Tour", Slot: time.Hour, Group: 9, Pace: 130, Walk: 1, Stops: stops})
		p := tour.Choose(tr, 0)
		o := sheetOptions()
		o.Paper = []string{"a4", "letter"}[i%2]
		doc, err := layPaper(t.Context(), RunSheet, siteSettings(), tr, p, o, i%5 == 0)
		if err != nil {
			t.Fatalf("tour %d: %v", i, err)
		}
		var marks []string
		for n, page := range doc.Pages {
			checkPage(t, fmt.Sprintf("tour %d, page %d", i, n+1), page)
			for _, it := range page.Items {
				if s, ok := it.Shape.(draw.Text); ok && it.Node != nil && it.Node.Role == draw.RoleFigure {
					marks = append(marks, strings.TrimSpace(textOf(s)))
				}
			}
		}
		for number := 1; number <= n; number++ {
			if !slices.Contains(marks, fmt.Sprint(number)) {
				t.Errorf("tour %d: stop %d has no mark on the plan", i, number)
			}
		}
	}
}

// A square of floor is a square on paper, and Y grows upwards.
func TestPlanIsToScale(t *testing.T) {
	var stops []cleared.Stop
	for i, at := range [][2]float64{{10, 0}, {10, 10}, {0, 10}} {
		stops = append(stops, cleared.NewStop(cleared.StopFields{ID: fmt.Sprint(i), Number: i + 1, X: at[0], Y: at[1]}))
	}
	tr := cleared.NewTour(cleared.TourFields{ID: "t", Slot: time.Hour, Group: 9, Pace: 130, Walk: 1, Stops: stops})
	c, err := paperComposer(RunSheet, siteSettings(), sheetOptions(), false)
	if err != nil {
		t.Fatal(err)
	}
	f := &floorPlan{composer: c, tour: tr}
	f.layOut(f.measure(), f.size.height/3)
	start, right, corner := f.start(), f.placeOf(stops[0]), f.placeOf(stops[1])
	if right.X-start.X != start.Y-corner.Y || right.Y != start.Y || corner.X != right.X || right.X <= start.X {
		t.Errorf("start %v, 10 m to the right %v, then 10 m away %v", start, right, corner)
	}
}

func TestLongTalkIsSplitAtSentences(t *testing.T) {
	long := strings.Repeat("One two three four five six\u00a0mm seven. ", 40)
	got := shortParagraphs(long + "\n\nShort.")
	if len(got) != 4 || got[3] != "Short." {
		t.Fatalf("%d paragraphs: %q", len(got), got)
	}
	for _, p := range got {
		if !strings.HasSuffix(p, ".") || len(strings.Fields(p)) > mostWords+mostWords/2 {
			t.Errorf("a paragraph of %d words ends in %q", len(strings.Fields(p)), p[max(0, len(p)-8):])
		}
	}
	if joined := strings.Join(got, " "); strings.Count(joined, "six\u00a0mm") != 40 {
		t.Error("words or no-break spaces were lost")
	}
}

func TestBackSaysWhatIsNew(t *testing.T) {
	f := short(t)
	since := day.MustParse("2031-01-12")
	for _, c := range []struct {
		news  cleared.Changes
		since day.Date
		want  string
	}{
		{cleared.Changes{Story: true}, since, "New since 12 January 2031: the whole story."},
		{cleared.Changes{Words: true}, since, "New since 12 January 2031: the words have changed."},
		{cleared.Changes{Work: true}, since, "New since 12 January 2031: the work has moved on."},
		{cleared.Changes{Words: true, Work: true}, since, "New since 12 January 2031: the words have changed, and the work has moved on."},
		{cleared.Changes{}, since, ""},
		{cleared.Changes{Work: true}, day.Date{}, ""},
	} {
		f.Changes = c.news
		o := options("a4")
		o.Returning = c.since
		sheets := mustDeck(t, tourOf(stopOf(3, cleared.NewStory(f))), o)
		pages := strings.Split(run(t, "pdftotext", "-raw", saved(t, sheets), "-"), "\f")
		front, back := strings.Join(strings.Fields(pages[0]), " "), strings.Join(strings.Fields(pages[1]), " ")
		if strings.Contains(front, "New since") {
			t.Errorf("%+v: visitors read it:\n%s", c.news, front)
		}
		if got := strings.Contains(back, "New since"); got != (c.want != "") || !strings.Contains(back, c.want) {
			t.Errorf("%+v since %s: the back says\n%s\nwant %q", c.news, c.since, back, c.want)
		}
		f.Changes = cleared.Changes{}
		plain := mustDeck(t, tourOf(stopOf(3, cleared.NewStory(f))), options("a4"))
		if sheets.Cards[0].Digest != plain.Cards[0].Digest {
			t.Errorf("%+v: what is new makes another card of it", c.news)
		}
	}
}

// A back that is full already keeps to its paper: the mark stands in the foot.
func TestFullBackMarksInItsFootWhatIsNew(t *testing.T) {
	f := short(t)
	for f.Talk = "Look."; len(mustDeck(t, tourOf(stopOf(3, cleared.NewStory(f))), options("a5", back)).RunsOn) == 0; {
		f.Talk += " Look at it."
	}
	f.Talk = strings.TrimSuffix(f.Talk, " Look at it.")
	f.Changes = cleared.Changes{Work: true}
	o := options("a5", back)
	o.Returning = day.MustParse("2031-01-12")
	text := run(t, "pdftotext", "-raw", saved(t, mustDeck(t, tourOf(stopOf(3, cleared.NewStory(f))), o)), "-")
	checkOrder(t, strings.Join(strings.Fields(text), " "), []string{"Talk", "Take care", "As of 25 January 2031", "New since 12 January 2031. For the guide"})
}

func TestOnlyTheChosenCardsArePrinted(t *testing.T) {
	o := options("a5")
	o.Only = func(p Printed) bool { return p.Story == "keel-office" }
	sheets := mustDeck(t, fullTour(t), o)
	if len(sheets.Cards) != 1 || sheets.Cards[0].Story != "keel-office" || sheets.Cards[0].Number != "3b" {
		t.Errorf("got %+v; want the office in the keel alone, by its number", sheets.Cards)
	}
	o.Only = func(Printed) bool { return false }
	if _, err := Deck(t.Context(), settings(), fullTour(t), o); !errors.Is(err, ErrNothingToPrint) {
		t.Errorf("got %v; want ErrNothingToPrint", err)
	}
}
