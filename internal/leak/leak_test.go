package leak_test

import (
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/leak/planted"
	"example.org/opencowl/internal/measure"
)

func length(t *testing.T, s string) measure.Length {
	t.Helper()
	l, err := measure.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return l.Length
}

// private is a small workshop's secrets.
func private(t *testing.T) leak.Private {
	p := leak.Private{
		Readings: []leak.Reading{
			{Part: "floor-stiffener", Kind: "thickness", Length: length(t, "16 swg"), Where: "parts/floor-stiffener.md:8"},
			{Part: "floor-stiffener", Kind: "least thickness", Length: length(t, "1.38 mm"), Where: "log/a.md:6"},
			{Part: "bow-hatch", Kind: "thickness", Length: length(t, "3 mm"), Where: "parts/bow-hatch.md:8"},
		},
		Credited: []string{"Tam Reddle"},
		Allowed:  func(s string) bool { return s == "DN55 1PT" || s == "returns@example.org" },
	}
	for _, v := range [][2]string{
		{"number", "FO7-2217-4"}, {"serial", "S/N 88"}, {"drawing", "D-2217 sheet 3"}, {"approval", "MOD-031"}, {"supplier", "Hexworth Castings"}, {"cost", "GBP 412.50"}, {"term", "Quayside Alloys"},
		{"person", "Gus Penhallick"}, {"person", "Tam Reddle"},
	} {
		p.Values = append(p.Values, leak.Value{Kind: v[0], Value: v[1], Where: "where " + v[1] + " stands"})
	}
	for _, n := range []string{"Drilled out sixty rivets on the port side before the lower flange came away clean.", "Pits to a quarter of a millimetre under the paint along the lower flange."} {
		p.Notes = append(p.Notes, leak.Note{Text: n, Where: "log"})
	}
	return p
}

func TestPrivateThingsAreFound(t *testing.T) {
	x := leak.NewIndex(private(t))
	for _, c := range []struct{ words, code, hidden string }{
		{"It was FO7-2217-4 on the list.", "private-name", "FO7-2217-4"},
		{"It was fo7 2217 4 on the list.", "private-name", "2217 4"},
		{"It was FO7-22l7-4 on the list.", "private-name", "22l7"},
		{"It was FO7-**2217**-4 on the list.", "private-name", "2217"},
		{"It was FO7-22\u200b17-4 on the list.", "private-name", "17-4"},
		{"It was ＦＯ７-2217-4 on the list.", "private-name", "2217"},
		{"See D-2217, sheet 3.", "private-name", "sheet 3"},
		{"Bought from Hexworth   castings.", "private-name", "castings"},
		{"Metal from QUAYSIDE-ALLOYS came.", "private-name", "ALLOYS"},
		{"Under Mod 031 we went on.", "private-name", "031"},
		{"Gus Penhallick folded it.", "private-name", "Penhallick"},
		{"Old Penhallick folded it.", "private-name", "Penhallick"},
		{"We drilled out sixty rivets on the port side before tea.", "copied-sentence", "port side before"},
		{"It was down to 1.38 mm.", "private-number", "1.38"},
		{"It was down to 0.0543 in.", "private-number", "0.0543"},
		{"It had lost 15 % there.", "private-number", "15"},
		{"It had lost 15 per cent there.", "private-number", "15"},
		{"It was 16 SWG sheet.", "private-number", "16 SWG"},
		{"It cost us £412.50 in all.", "private-number", "412"},
		{"Write to gus@example.net.", "contact", "gus@example.net"},
		{"Ring 01632 960123.", "contact", "960123"},
		{"Come to SW1A 1AA.", "contact", "1AA"},
	} {
		found := x.Find(c.words)
		if len(found) == 0 || found[0].Code != c.code {
			t.Errorf("%q: %+v, want %s", c.words, found, c.code)
			continue
		}
		if strings.Contains(found[0].Shown, c.hidden) {
			t.Errorf("%q: the hint %q tells it again", c.words, found[0].Shown)
		}
	}
}

func TestOrdinaryWordsAreLeftAlone(t *testing.T) {
	x := leak.NewIndex(private(t))
	for _, words := range []string{
		"Frame 14 stands on the port side.", "We drilled out sixty rivets.", "It took 88 hours.", "It was 1.9 mm sheet.", "The 2217th visitor came.",
		"Tam Reddle folded it.", "Come to The Slip Hangar, Marram Quay, DN55 1PT.", "Write to returns@example.org.", "On 14 January 2031 at 10:30.", "It cost 412 hours.",
	} {
		if found := x.Find(words); len(found) > 0 {
			t.Errorf("%q: %+v", words, found)
		}
	}
}

func TestFindingSaysWhereItStandsAndWhereItIsFrom(t *testing.T) {
	x := leak.NewIndex(private(t))
	for text, want := range map[string]string{
		"Café: F<b>O7</b>-22\u200b17&#45;4, they say.": "F<b>O7</b>-22\u200b17&#45;4",
		"It was made by Gus **Pen**hallick.":           "Gus **Pen**hallick",
		"[Hexworth](x.html) castings":                  "Hexworth](x.html) castings",
		"<a href=\"fo7-2217-4.html\">the part</a>":     "fo7-2217-4",
		"\u202e4-7122-7OF\u202c it was":                "4-7122-7OF",
		"Ask gus&#64;example.net.":                     "gus&#64;example.net",
	} {
		found := x.Find(text)
		if len(found) != 1 || text[found[0].Start:found[0].End] != want {
			t.Errorf("%q: %+v, want %q", text, found, want)
		}
	}
	if found := x.Find("See D-2217."); len(found) != 1 || found[0].Where != "where D-2217 sheet 3 stands" || found[0].Kind != "drawing" {
		t.Errorf("the place of a drawing: %+v", found)
	}
}

func TestFindingsComeInTheOrderOfTheText(t *testing.T) {
	found := leak.NewIndex(private(t)).Find("At 1.38 mm, Penhallick rang 01632 960123 about D-2217 and FO7-2217-4. See 1.38 mm.")
	if !slices.IsSortedFunc(found, func(a, b leak.Finding) int { return a.Start - b.Start }) || len(found) != 6 {
		t.Errorf("%+v", found)
	}
}

func TestReadingsOfOtherPartsMayBeNamedInATextAboutOne(t *testing.T) {
	x := leak.NewIndex(private(t))
	for _, c := range []struct {
		text  string
		parts []string
		want  int
	}{
		{"It was 3 mm thick.", []string{"floor-stiffener"}, 0},
		{"It was 3 mm thick.", []string{"bow-hatch"}, 1},
		{"It was 3 mm thick.", nil, 0},
		{"It had lost 15%.", []string{"floor-stiffener"}, 1},
		{"It had lost 15%.", []string{"bow-hatch"}, 0},
		{"It was a quarter of a millimetre thinner.", []string{"floor-stiffener"}, 1},
		{"It was 1.62 mm thinner.", []string{"floor-stiffener", "bow-hatch"}, 0}, // 3 − 1.38: readings of two parts
	} {
		if found := x.FindAbout(c.text, c.parts); len(found) != c.want {
			t.Errorf("%q about %q: %+v, want %d findings", c.text, c.parts, found, c.want)
		}
	}
	if found := x.Find("It was 3 mm thick."); len(found) != 1 {
		t.Errorf("about no part in particular: %+v", found)
	}
	if found := x.Find("Fifteen per cent of the team were away."); len(found) != 0 {
		t.Errorf("a share in words, about no part: %+v", found)
	}
}

func TestRunOfWordsIsTheSetting(t *testing.T) {
	const note = "Somebody borrowed the reamer and put it back blunt before the weekend."
	for _, c := range []struct {
		run  int
		text string
		want int
	}{
		{0, "Then somebody borrowed the reamer and put it back.", 1},
		{8, "Then somebody borrowed the reamer and put it away.", 0},
		{5, "Then somebody borrowed the reamer and left.", 1},
		{12, "Then somebody borrowed the reamer and put it back blunt.", 0},
	} {
		x := leak.NewIndex(leak.Private{Notes: []leak.Note{{Text: note}}, RunOfWords: c.run})
		if found := x.Find(c.text); len(found) != c.want {
			t.Errorf("%d words, %q: %+v, want %d", c.run, c.text, found, c.want)
		}
	}
}

// planted leaks: the figures that DEVELOPERS.md states.
func TestPlantedLeaksAreFound(t *testing.T) {
	for name, cases := range map[string][]planted.Case{"usual": planted.Usual(), "other": planted.Other()} {
		var tally planted.Tally
		for _, c := range cases {
			found := c.Index().Find(c.Text)
			tally.Add(c, len(found) > 0)
			for _, f := range found {
				if f.Start < 0 || f.Start >= f.End || f.End > len(c.Text) {
					t.Errorf("%s: the finding is not in the text: %+v", c.ID, f)
				}
				for _, v := range c.Private {
					if strings.Contains(f.Shown, v.Value) {
						t.Errorf("%s: the hint %q tells %q", c.ID, f.Shown, v.Value)
					}
				}
			}
		}
		t.Logf("%s: %s", name, tally)
		if 100*tally.Found < 99*tally.Leaks || 100*tally.Alarms > tally.Clean || tally.Leaks < 250 || tally.Clean < 400 {
			t.Errorf("%s: %s; want 99 %% found and 1 %% alarms at most", name, tally)
		}
	}
	if usual := planted.Usual(); len(usual) < 800 {
		t.Errorf("%d planted cases, want 400 of each kind", len(usual))
	}
}

// A number for a part is no temperature, whatever its kind is called.
func TestIdentifierIsNoQuantity(t *testing.T) {
	for _, kind := range []string{"partnum", "thing", "number"} {
		x := leak.NewIndex(leak.Private{Values: []leak.Value{{Kind: kind, Value: "728-5295-K"}}})
		if got := x.Find("So 728-5296-K came home."); len(got) > 0 {
			t.Errorf("%s: another number is found: %v", kind, got)
		}
		if got := x.Find("So 728-5295-K came home."); len(got) != 1 || got[0].Code != leak.CodeName {
			t.Errorf("%s: got %v", kind, got)
		}
	}
}

// Figures alone are an identifier before a small word too, however they are parted;
// a measure is none.
func TestFiguresBeforeASmallWord(t *testing.T) {
	x := leak.NewIndex(leak.Private{Values: []leak.Value{{Kind: "serial", Value: "563-6160"}, {Kind: "number", Value: "2217"}}})
	for text, want := range map[string]int{
		"It went through as 563-6160 in the end.": 1, "It went through as 563.6160 in the end.": 1, "It went through as ５６３－６１６０ in the end.": 1,
		"We called it 2217 in the log.": 1, "A rope 2217 in long": 1, "A rope of 2217 in.": 0, "2217 in of rope": 1, "2217 of them came": 0,
	} {
		if got := x.Find(text); len(got) != want {
			t.Errorf("%q: %v, want %d", text, got, want)
		}
	}
}

func FuzzFind(f *testing.F) {
	for _, c := range planted.Other() {
		f.Add(c.Text)
	}
	f.Add("<!--")
	f.Add("[a](b[c](d)")
	f.Add("\u202e\u202e&#0;&#x10ffff;\xff")
	p := leak.Private{Values: []leak.Value{{Kind: "number", Value: "FO7-2217-4"}, {Kind: "person", Value: "Rose Marsh"}, {Kind: "cost", Value: "GBP 412.50"}, {Kind: "reading", Value: "1.38 mm"},
		{Kind: "weight", Value: "12.5 kg"}, {Kind: "temperature", Value: "180"}, {Kind: "length", Value: "2.35 m"}, {Kind: "supplier", Value: "Weirside Sailcloth"}, {Kind: "loss", Value: "12%"}},
		Notes:    []leak.Note{{Text: "Drilled out sixty rivets on the port side before the lower flange came away clean."}},
		Credited: []string{"Marsh & Sons", "01632 960123"}}
	f.Add("βARNABY ηAΝERLΟCK")
	x := leak.NewIndex(p)
	f.Fuzz(func(t *testing.T, text string) {
		found := x.Find(text)
		for _, f := range found {
			if f.Start < 0 || f.Start >= f.End || f.End > len(text) {
				t.Fatalf("%q: the finding is not in the text: %+v", text, f)
			}
		}
		if again := x.Find(text); !slices.Equal(found, again) {
			t.Fatalf("%q: %+v, then %+v", text, found, again)
		}
		leak.NewIndex(leak.Private{Values: []leak.Value{{Kind: "person", Value: text}, {Kind: "supplier", Value: text}, {Kind: "serial", Value: text}, {Kind: "cost", Value: text}, {Kind: "reading", Value: text}, {Kind: "weight_kg", Value: text}},
			Notes: []leak.Note{{Text: text}}, Credited: []string{text}}).Find("It was on the list.")
	})
}
