package measure_test

import (
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"example.org/opencowl/internal/measure"
)

// told lists what was found as "written = length ± tolerance" in nanometres.
func told(text string) string {
	var all []string
	for _, f := range measure.Find(text) {
		all = append(all, fmt.Sprintf("%s = %d ± %d", f.Written, f.Length, f.Tolerance))
	}
	return strings.Join(all, "; ")
}

func TestFindReadsFiguresAndUnits(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"It was 1.38 mm thick.", "1.38 mm = 1380000 ± 5000"},
		{"It was 1.38mm.", "1.38mm = 1380000 ± 5000"},
		{"It was 1.38\u00a0mm.", "1.38\u00a0mm = 1380000 ± 5000"},
		{"It was 1.38\nmillimetres.", "1.38\nmillimetres = 1380000 ± 5000"},
		{"a 1.4-mm sheet", "1.4-mm = 1400000 ± 50000"},
		{"2 mm", "2 mm = 2000000 ± 500000"},
		{"1·38 mm", "1·38 mm = 1380000 ± 5000"},
		{"1,38 mm", "1,38 mm = 1380000 ± 5000"},
		{"1,625 mm", "1,625 mm = 1625000 ± 500; 1,625 mm = 1625000000 ± 500000"},
		{"12,345.5 mm", "12,345.5 mm = 12345500000 ± 50000"},
		{"0.064 inch", "0.064 inch = 1625600 ± 12700"},
		{".064 in", ".064 in = 1625600 ± 12700"},
		{"0.064″", "0.064″ = 1625600 ± 12700"},
		{"0.064”", "0.064” = 1625600 ± 12700"},
		{"0.064''", "0.064'' = 1625600 ± 12700"},
		{`0.064"`, `0.064" = 1625600 ± 12700`},
		{"64 thou", "64 thou = 1625600 ± 12700"},
		{"64 thousandths of an inch", "64 thousandths of an inch = 1625600 ± 12700"},
		{"64 mil", "64 mil = 1625600 ± 12700; 64 mil = 64000000 ± 500000"},
		{"250 microns", "250 microns = 250000 ± 500"},
		{"250 µm", "250 µm = 250000 ± 500"},
		{"3 ft 6 in", "3 ft = 914400000 ± 152400000; 6 in = 152400000 ± 12700000"},
		{"2.5 cm or 1.2 metres", "2.5 cm = 25000000 ± 500000; 1.2 metres = 1200000000 ± 50000000"},
	} {
		if got := told(c.in); got != c.want {
			t.Errorf("Find(%q)\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}

func TestFindReadsGauges(t *testing.T) {
	const both = "%[1]s = 1625600 ± 5000; %[1]s = 1290846 ± 5000"
	for _, c := range []struct{ in, want string }{
		{"16 SWG", "16 SWG = 1625600 ± 5000"},
		{"16swg", "16swg = 1625600 ± 5000"},
		{"16 s.w.g.", "16 s.w.g = 1625600 ± 5000"},
		{"14 AWG", "14 AWG = 1627727 ± 5000"},
		{"14 B&S", "14 B&S = 1627727 ± 5000"},
		{"16 standard wire gauge", "16 standard wire gauge = 1625600 ± 5000"},
		{"4/0 AWG", "4/0 AWG = 11684000 ± 5000"},
		{"0000 AWG", "0000 AWG = 11684000 ± 5000"},
		{"16 gauge", fmt.Sprintf(both, "16 gauge")},
		{"16-gauge sheet", fmt.Sprintf(both, "16-gauge")},
		{"16g sheet", fmt.Sprintf(both, "16g")},
		{"sixteen-gauge", fmt.Sprintf(both, "sixteen-gauge")},
		{"SWG 16", "SWG 16 = 1625600 ± 5000"},
		{"SWG No. 16 sheet", "SWG No. 16 = 1625600 ± 5000"},
		{"gauge 16", fmt.Sprintf(both, "gauge 16")},
		{"gauge: 1.5 mm", "1.5 mm = 1500000 ± 50000"},
		{"gauge 3 mm", "3 mm = 3000000 ± 500000"},
		{"99 gauge", ""},
		{"16.5 gauge", ""},
	} {
		if got := told(c.in); got != c.want {
			t.Errorf("Find(%q)\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}

func TestFindReadsFractionsAndWords(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"1/16 in", "1/16 in = 1587500 ± 198438"},
		{"1⁄16 in", "1⁄16 in = 1587500 ± 198438"},
		{"1/16\" rivets", "1/16\" = 1587500 ± 198438"},
		{"½ inch", "½ inch = 12700000 ± 1587500"},
		{"1 1/16 in", "1 1/16 in = 26987500 ± 198438"},
		{"1-1/16 in", "1-1/16 in = 26987500 ± 198438"},
		{"1½ in", "1½ in = 38100000 ± 1587500"},
		{"frames 14 and 1/16 in", "14 and 1/16 in = 357187500 ± 198438; 14 and 1/16 in = 1587500 ± 198438"},
		{"a sixteenth of an inch", "a sixteenth of an inch = 1587500 ± 198438"},
		{"three thirty-seconds of an inch", "three thirty-seconds of an inch = 2381250 ± 99219"},
		{"one sixty-fourth of an inch", "one sixty-fourth of an inch = 396875 ± 49609"},
		{"half a millimetre", "half a millimetre = 500000 ± 62500"},
		{"a quarter-inch plate", "a quarter-inch = 6350000 ± 793750"},
		{"three quarters of an inch", "three quarters of an inch = 19050000 ± 793750"},
		{"one and a half millimetres", "one and a half millimetres = 1500000 ± 62500"},
		{"2 inches and a half", "2 inches and a half = 63500000 ± 1587500"},
		{"1 mm and half an inch", "1 mm = 1000000 ± 500000; half an inch = 12700000 ± 1587500"},
		{"three thou", "three thou = 76200 ± 12700"},
		{"four thousandths of an inch", "four thousandths of an inch = 101600 ± 12700"},
		{"one point three eight millimetres", "one point three eight millimetres = 1380000 ± 5000"},
		{"nought point oh six four inches", "nought point oh six four inches = 1625600 ± 12700"},
		{"point oh six four inches", "point oh six four inches = 1625600 ± 12700"},
		{"sixty-four thou", "sixty-four thou = 1625600 ± 12700"},
		{"a hundred and five millimetres", "a hundred and five millimetres = 105000000 ± 500000"},
		{"two thousand and ten millimetres", "two thousand and ten millimetres = 2010000000 ± 500000"},
	} {
		if got := told(c.in); got != c.want {
			t.Errorf("Find(%q)\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}

func TestFindLendsAUnitAlongARow(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"1.3 to 1.4 mm", "1.3 = 1300000 ± 50000; 1.4 mm = 1400000 ± 50000"},
		{"1.3–1.4 mm", "1.3 = 1300000 ± 50000; 1.4 mm = 1400000 ± 50000"},
		{"from 1.63 down to 1.38 mm", "1.38 mm = 1380000 ± 5000"},
		{"1.2, 1.3 and 1.4 mm", "1.2 = 1200000 ± 50000; 1.3 = 1300000 ± 50000; 1.4 mm = 1400000 ± 50000"},
		{"14 or 16 SWG", "14 = 2032000 ± 5000; 16 SWG = 1625600 ± 5000"},
		{"1.6 x 30 mm", "1.6 = 1600000 ± 50000; 30 mm = 30000000 ± 500000"},
	} {
		if got := told(c.in); got != c.want {
			t.Errorf("Find(%q)\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}

func TestFindLeavesOtherNumbersAlone(t *testing.T) {
	for _, in := range []string{
		"", "no numbers", "Frame 14, port side.", "16 in the hangar", "3 in 4 rivets", "12 in all", "9 in 1943", "In 1943 it flew.",
		"six in the morning", "a third visitor", "half an hour", "the second man", "one of a kind", "£12.50", "D-2217 sheet 3", "25%", "1.2.3 mm", "1/2/2031",
		"five more", "9999999999999999999 mm", "100000 m",
	} {
		if got := told(in); got != "" {
			t.Errorf("Find(%q) found %s, want nothing", in, got)
		}
	}
}

func TestFindCoversWhatTheWordsCouldStandFor(t *testing.T) {
	for _, c := range []struct {
		words, private string
		covers         bool
	}{
		{"1.63 mm", "16 swg", true}, // rounded
		{"1.6 mm", "16 swg", true},
		{"0.064 in", "16 swg", true},
		{"16 SWG", "1.63 mm", true}, // the gauge told for a measured reading
		{"16 SWG", "14 awg", true},  // TRAP: the near coincidence
		{"a sixteenth of an inch", "16 swg", true},
		{"1.38 mm", "1.384 mm", true},
		{"1.38 mm", "1.386 mm", false},
		{"1.38 mm", "1.37 mm", false},
		{"16 SWG", "1.62 mm", false},
		{"16 AWG", "16 swg", false},
		{"an eighth of an inch", "16 swg", false},
	} {
		covers := false
		for _, f := range measure.Find(c.words) {
			covers = covers || f.Covers(mustParse(t, c.private).Length)
		}
		if covers != c.covers {
			t.Errorf("%q stands for %s: %t, want %t", c.words, c.private, covers, c.covers)
		}
	}
}

func TestFindPercents(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"It lost 25%.", "25% = 25% ± 0.5%"},
		{"25 %", "25 % = 25% ± 0.5%"},
		{"25 per cent", "25 per cent = 25% ± 0.5%"},
		{"25 percent", "25 percent = 25% ± 0.5%"},
		{"a 25-per-cent loss", "25-per-cent = 25% ± 0.5%"},
		{"15.3%", "15.3% = 15.3% ± 0.05%"},
		{"twenty-five per cent", "twenty-five per cent = 25% ± 0.5%"},
		{"half a per cent", "half a per cent = 0.5% ± 0.062%"},
		{"10 to 15%", "10 = 10% ± 0.5%; 15% = 15% ± 0.5%"},
		{"a quarter of its thickness", "a quarter = 25% ± 3.125%"},
		{"it had lost a quarter", "a quarter = 25% ± 3.125%"},
		{"two thirds gone", "two thirds = 66.667% ± 4.167%"},
		{"half the metal", "half = 50% ± 6.25%"},
		{"¼ of the sheet", "¼ = 25% ± 3.125%"},
		{"1/4 of the sheet", "1/4 = 25% ± 3.125%"},
		{"one tenth of its thickness", "one tenth = 10% ± 5%"},
		{"half an hour", ""}, {"a quarter of an inch", ""}, {"a third visitor", ""}, {"half past two", ""}, {"1.38 mm", ""}, {"16 SWG", ""},
		{"The third stop", ""}, {"1/16 in", ""}, {"99999999%", ""},
	} {
		var all []string
		for _, f := range measure.FindPercents(c.in) {
			all = append(all, fmt.Sprintf("%s = %s ± %s", f.Written, f.Percent, f.Tolerance))
		}
		if got := strings.Join(all, "; "); got != c.want {
			t.Errorf("FindPercents(%q)\n got %s\nwant %s", c.in, got, c.want)
		}
	}
	f := measure.FindPercents("25%")[0]
	if !f.Covers(25*measure.OnePercent+500) || f.Covers(25*measure.OnePercent+501) || !f.Covers(24*measure.OnePercent+500) {
		t.Errorf("25%% covers the wrong shares: %+v", f)
	}
}

func FuzzFind(f *testing.F) {
	for _, s := range []string{"1.38 mm", "1,625 mm", "16 gauge", "one and a half inches and a quarter", "point oh", "gauge no. 16", "1/0 swg", "½ of a mil",
		"two thirds gone", "1 and 1 and 1 and 1/16 in", "\xff1.5\xffmm", "a hundred and a thousand", "sixty-", "3 ten-thousandths of an inch"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		last := 0
		for _, m := range measure.Find(s) {
			if m.Start < last || m.End <= m.Start || m.End > len(s) || s[m.Start:m.End] != m.Written {
				t.Fatalf("Find(%q) gave a bad span %+v", s, m)
			}
			if m.Length < 0 || m.Length > 1000*measure.Metre || m.Tolerance < 0 {
				t.Fatalf("Find(%q) gave a bad length %+v", s, m)
			}
			if utf8.ValidString(s) && !utf8.ValidString(m.Written) {
				t.Fatalf("Find(%q) cut a letter in two: %q", s, m.Written)
			}
			last = m.Start
		}
		for _, m := range measure.FindPercents(s) {
			if m.End <= m.Start || s[m.Start:m.End] != m.Written || m.Percent < 0 || m.Tolerance < 0 {
				t.Fatalf("FindPercents(%q) gave %+v", s, m)
			}
		}
	})
}
