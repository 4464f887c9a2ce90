package leak_test

import (
	"encoding/json"
	"slices"
	"testing"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/leak/planted"
)

func codesOf(kind, value, text string) []string {
	x := leak.NewIndex(leak.Private{Values: []leak.Value{{Kind: kind, Value: value}}})
	var all []string
	for _, f := range x.Find(text) {
		all = append(all, f.Code)
	}
	return slices.Compact(all)
}

func TestTheKindOrElseTheFormOfAValueSaysWhatItIs(t *testing.T) {
	for _, c := range []struct{ kind, value, text, code string }{
		{"contactName", "Gus Penhallick", "We asked Penhallick.", leak.CodeName},
		{"supplier_name", "Gus Penhallick", "We asked Penhallick.", ""}, // a firm is named in full
		{"supplier part number", "KQ-4471", "It was kq4471.", leak.CodeName},
		{"Invoice Cost", "4180", "We paid £4,180.", leak.CodeNumber},
		{"invoice number", "4180", "We paid £4,180.", ""},
		{"invoice number", "4180", "See invoice 4180.", leak.CodeName},
		{"leastThickness", "1.38", "It was 1.4 mm.", leak.CodeNumber},
		{"thickness_in", "0.064", "It was 64 thou.", leak.CodeNumber},
		{"loss (%)", "15", "It had lost fifteen per cent.", leak.CodeNumber},
		{"anything", "1.38 mm", "It was 1.4 mm.", leak.CodeNumber},
		{"anything", "£4,180", "It cost four thousand one hundred and eighty pounds.", leak.CodeNumber},
		{"anything", "Winter Orchid", "The winter-orchid talks went on.", leak.CodeName},
		{"part name", "floor stiffener", "The stiffener was bent.", ""},
	} {
		got := codesOf(c.kind, c.value, c.text)
		if c.code == "" && got != nil || c.code != "" && !slices.Equal(got, []string{c.code}) {
			t.Errorf("%s %q in %q: %v, want %q", c.kind, c.value, c.text, got, c.code)
		}
	}
}

// Sizes: BS 3737:1964 (16 SWG is 0.064 in), ASTM B258 (14 AWG is 0.0641 in, from
// memory), and 1 in = 25.4 mm (NIST SP 811, appendix B).
func TestSizesAreFoundHoweverTheyAreSaid(t *testing.T) {
	for _, c := range []struct {
		value, text string
		found       bool
	}{
		{"16 swg", "1 630 µm", true}, {"16 swg", "sixteen on the standard wire gauge", true}, {"16 swg", "0.064 of an inch", true}, {"16 swg", "one and five eighths of a millimetre", true},
		{"16 swg", "14 AWG", true}, {"16 swg", "16 AWG", false}, {"16 swg", "15 SWG", false}, {"16 swg", "a 2 mm drill", false}, {"16 swg", "1,700 microns", false},
		{"14 awg", "0.0641 in", true}, {"14 awg", "l.63 mm", true}, {"25.4 mm", "one inch", true}, {"25.4 mm", "two inches", false},
	} {
		if found := codesOf("thickness", c.value, c.text) != nil; found != c.found {
			t.Errorf("%s in %q: found %t, want %t", c.value, c.text, found, c.found)
		}
	}
}

func TestTwoReadingsTellWhatWasLost(t *testing.T) {
	// 0.064 in to 0.048 in is a quarter lost; 0.048 to 0.040 is a sixth.
	for text, found := range map[string]bool{
		"A quarter of it was gone.": true, "Three quarters was left.": true, "one part in four had gone": true, "25 parts in a hundred had gone": true, "sixteen thou had gone": true,
		"A sixth of it was gone.": false, "A quarter of the visitors had gone.": false, "25 % off in the shop": false, "a quarter of an hour": false,
	} {
		if got := codesOf("thickness", "0.064 in to 0.048 in", text) != nil; got != found {
			t.Errorf("%q: found %t, want %t", text, got, found)
		}
	}
	if codesOf("readings", "18 swg; 19 swg", "A sixth of it was gone.") == nil {
		t.Error("a sixth between 18 and 19 SWG is not found")
	}
}

func TestCasesAreReadAsOthersWriteThem(t *testing.T) {
	var c planted.Case
	if err := json.Unmarshal([]byte(`{"id": 7, "text": "It was 4 mm.", "private": [{"kind": "mm", "value": 4}], "notes": "one", "credited": null, "leak": true}`), &c); err != nil {
		t.Fatal(err)
	}
	if c.ID != "7" || len(c.Notes) != 1 || c.Private[0].Value != "4" || len(c.Index().Find(c.Text)) != 1 {
		t.Errorf("%+v", c)
	}
	if err := json.Unmarshal([]byte(`{"notes": 3}`), &c); err == nil {
		t.Error("a number was taken for a note")
	}
}
