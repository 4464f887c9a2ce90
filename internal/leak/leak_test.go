package leak_test

import (
	"testing"

	"example.org/opencowl/internal/leak"
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

func workshop(t *testing.T) *leak.Index {
	return leak.NewIndex(leak.Private{
		Values: []leak.Value{
			{"number", "FO7-2217-4", "parts/floor-stiffener.md:4"}, {"serial", "S/N 88", "parts/floor-stiffener.md:5"}, {"drawing", "D-2217 sheet 3", "parts/floor-stiffener.md:6"},
			{"approval", "MOD-031", "log/a.md:9"}, {"supplier", "Hexworth Castings", "log/a.md:9"}, {"cost", "GBP 412.50", "log/a.md:9"}, {"term", "Quayside Alloys", "workshop.yaml:9"},
			{"person", "Gus Penhallick", "workshop.yaml:5"}, {"person", "Tam Reddle", "workshop.yaml:4"},
		},
		Notes: []leak.Note{
			{"Drilled out sixty rivets on the port side before the lower flange came away clean.", "log/b.md:8"},
			{"Pits to a quarter of a millimetre under the paint along the lower flange.", "log/a.md:7"},
		},
		Readings: []leak.Reading{
			{Part: "floor-stiffener", Kind: "thickness", Length: length(t, "16 swg"), Where: "parts/floor-stiffener.md:8"},
			{Part: "floor-stiffener", Kind: "least thickness", Length: length(t, "1.38 mm"), Where: "log/a.md:6"},
		},
		Credited: []string{"Tam Reddle"},
		Allowed:  func(s string) bool { return s == "DN55 1PT" || s == "returns@example.org" },
	})
}

// What was found before must still be found, and what was left alone too.
func TestPrivateThingsAreFound(t *testing.T) {
	x := workshop(t)
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
		}
	}
}

func TestOrdinaryWordsAreLeftAlone(t *testing.T) {
	x := workshop(t)
	for _, words := range []string{
		"Frame 14 stands on the port side.", "We drilled out sixty rivets.", "It took 88 hours.", "It was 1.9 mm sheet.", "The 2217th visitor came.",
		"Tam Reddle folded it.", "Come to The Slip Hangar, Marram Quay, DN55 1PT.", "Write to returns@example.org.", "On 14 January 2031 at 10:30.", "It cost 412 hours.",
	} {
		if found := x.Find(words); len(found) > 0 {
			t.Errorf("%q: %+v", words, found)
		}
	}
}
