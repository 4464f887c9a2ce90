package tongue_test

import (
	"errors"
	"io/fs"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/tongue"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/themes"
)

func read(t *testing.T, lang string) *tongue.Words {
	t.Helper()
	w, err := tongue.Read(themes.Embedded(), lang)
	if err != nil {
		t.Fatalf("%s: %v", lang, err)
	}
	return w
}

func TestTheLanguagesThatAreBuiltIn(t *testing.T) {
	if got, want := tongue.Languages(themes.Embedded()), []string{"cy", "de", "en-GB", "fr", "nl"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestEveryCautionHasItsWordsInEveryLanguage(t *testing.T) {
	// What tells people to keep their hands off.
	hands := map[string]string{"en-GB": "do not touch", "fr": "ne touchez pas", "de": "nicht anfassen", "cy": "eidiwch â chyffwrdd", "nl": "niet aanraken"}
	judged := map[string][]string{"en-GB": {"is safe", "harmless", "airworthy"}, "fr": {"sans danger", "sûr"}, "de": {"ungefährlich", "ist sicher"},
		"cy": {"yn ddiogel", "diniwed"}, "nl": {"ongevaarlijk", "is veilig"}}
	for _, lang := range tongue.Languages(themes.Embedded()) {
		w := read(t, lang)
		for _, key := range wording.CautionKeys() {
			c, ok := w.Caution(key)
			if !ok || c.Label == "" || !strings.HasSuffix(c.Advice, ".") {
				t.Errorf("%s, %s: %+v", lang, key, c)
			}
			// A card has room for little more than this, and it is read at arm's length.
			if n := len(strings.Fields(c.Advice)); n > 36 || len([]rune(c.Label)) > 26 {
				t.Errorf("%s, %s: %d words of advice under a label of %d letters", lang, key, n, len([]rune(c.Label)))
			}
			for _, claim := range judged[lang] {
				if strings.Contains(c.Advice, claim) {
					t.Errorf("%s, %s: the advice says %q, which is not ours to say", lang, key, claim)
				}
			}
			off := strings.Contains(strings.ToLower(c.Advice), hands[lang]) || strings.Contains(c.Advice, "raak niets aan")
			if wording.Hazardous(key) && !off {
				t.Errorf("%s, %s: the advice lets people touch it: %s", lang, key, c.Advice)
			}
		}
		if c, ok := w.Caution("sharp-edges"); ok {
			t.Errorf("an unknown caution gave %+v", c)
		}
	}
}

func TestPilesAndSourcesHaveWords(t *testing.T) {
	for _, lang := range tongue.Languages(themes.Embedded()) {
		w := read(t, lang)
		for _, key := range []string{"serviceable", "rework", "unserviceable", "quarantine"} {
			if w.Pile(key) == "" {
				t.Errorf("%s: no words for the pile %s", lang, key)
			}
		}
		for _, key := range []string{"made-here", "made-outside", "stores", "loan", "repaired"} {
			if w.Source(key) == "" {
				t.Errorf("%s: no words for the source %s", lang, key)
			}
		}
	}
}

// How numbers look is CLDR's, as golang.org/x/text has it; the expected values are
// what its charts show for these languages (from memory). Dates, money and inches
// are those of our own files.
func TestNumbersDatesAndMoney(t *testing.T) {
	date, first := day.MustParse("2031-01-15"), day.MustParse("2031-08-01")
	for _, c := range []struct{ lang, mm, inch, percent, half, date, first, month, pounds, euros, yen string }{
		{"en-GB", "1.63_mm", "0.064_in", "15%", "12.5%", "15 January 2031", "1 August 2031", "January 2031", "£1,250.50", "€12.00", "JPY_900"},
		{"fr", "1,63_mm", "0,064_po", "15_%", "12,5_%", "15_janvier 2031", "1er_août 2031", "janvier 2031", "1_250,50_£", "12,00_€", "900_JPY"},
		{"de", "1,63_mm", "0,064_Zoll", "15_%", "12,5_%", "15._Januar 2031", "1._August 2031", "Januar 2031", "1.250,50_£", "12,00_€", "900_JPY"},
		{"cy", "1.63_mm", "0.064_modfedd", "15%", "12.5%", "15_Ionawr 2031", "1_Awst 2031", "Ionawr 2031", "£1,250.50", "€12.00", "JPY_900"},
		{"nl", "1,63_mm", "0,064_inch", "15%", "12,5%", "15_januari 2031", "1_augustus 2031", "januari 2031", "£_1.250,50", "€_12,00", "JPY_900"},
	} {
		w := read(t, c.lang)
		must := func(s string, err error) string {
			if err != nil {
				t.Errorf("%s: %v", c.lang, err)
			}
			return s
		}
		for _, v := range []struct{ got, want string }{
			{must(w.MM("1.63")), c.mm}, {must(w.Inches("0.064")), c.inch}, {must(w.Percent("15")), c.percent}, {must(w.Percent("12.5")), c.half},
			{w.Day(date), c.date}, {w.Day(first), c.first}, {w.Month(date), c.month},
			{must(w.Money("GBP", "1250.50")), c.pounds}, {must(w.Money("EUR", "12.00")), c.euros}, {must(w.Money("JPY", "900")), c.yen},
		} {
			// Either no-break space is right.
			if got := strings.NewReplacer("\u00a0", "_", "\u202f", "_").Replace(v.got); got != v.want {
				t.Errorf("%s: got %q, want %q", c.lang, got, v.want)
			}
		}
		if _, err := w.Number("1,63"); err == nil {
			t.Errorf("%s: what is no plain number was written", c.lang)
		}
		if w.Day(day.Date{})+w.Month(day.Date{}) != "" {
			t.Errorf("%s: a day that is not set has words", c.lang)
		}
	}
}

// In English nothing but the file has changed: what the record writes is what a
// reader meets.
func TestEnglishIsAsTheRecordWritesIt(t *testing.T) {
	w := read(t, "en-GB")
	length, err := measure.Parse("16 swg")
	if err != nil {
		t.Fatal(err)
	}
	number, _, _ := strings.Cut(length.Length.MM(), "\u00a0")
	if got, err := w.MM(number); err != nil || got != length.Length.MM() {
		t.Errorf("got %q (%v), want %q", got, err, length.Length.MM())
	}
	for _, s := range []string{"GBP 0.05", "GBP 1250.00", "USD 12345678.90", "JPY 900", "CHF 12.50"} {
		m, err := measure.ParseMoney(s)
		if err != nil {
			t.Fatal(err)
		}
		code, amount, _ := strings.Cut(s, " ")
		if got, err := w.Money(code, amount); err != nil || got != m.String() {
			t.Errorf("%s: got %q (%v), want %q", s, got, err, m.String())
		}
	}
	for _, thousandths := range []measure.Percent{0, 500, 12500, 29000, 57000, 99999, 100000} {
		plain := strings.TrimSuffix(thousandths.String(), "%")
		if got, err := w.Percent(plain); err != nil || got != thousandths.String() {
			t.Errorf("got %q (%v), want %q", got, err, thousandths.String())
		}
	}
}

func TestALanguageIsServedByItsNearestKin(t *testing.T) {
	for _, c := range [][2]string{{"fr-CA", "Read on: Lire la suite"}, {"en", "Read on: Read on"}, {"en-US", "Read on: Read on"}, {"FR", "Read on: Lire la suite"}} {
		if got := "Read on: " + read(t, c[0]).Front.ReadOn; got != c[1] {
			t.Errorf("%s: got %q, want %q", c[0], got, c[1])
		}
	}
	if w := read(t, "en-US"); !w.English() || read(t, "fr").English() {
		t.Error("English is not told from French")
	}
	if got := read(t, "fr").NameOf("en-GB"); got != "anglais" {
		t.Errorf("English in French is %q", got)
	}
}

func TestALanguageWithoutWordsIsAnError(t *testing.T) {
	_, err := tongue.Read(themes.Embedded(), "it")
	if !errors.Is(err, tongue.ErrNoWords) || !strings.Contains(err.Error(), "cy, de, en-GB, fr, nl; write themes/words/it.yaml") {
		t.Errorf("got %v", err)
	}
	if _, err := tongue.Read(themes.Embedded(), "no language at all"); !errors.Is(err, tongue.ErrNoWords) {
		t.Errorf("got %v", err)
	}
}

// over lays a changed French over the built-in one.
func over(t *testing.T, from, to string) fs.FS {
	t.Helper()
	src, err := fs.ReadFile(themes.Embedded(), "words/fr.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(src), from) {
		t.Fatalf("fr.yaml does not hold %q", from)
	}
	return themes.Over(fstest.MapFS{"words/fr.yaml": {Data: []byte(strings.Replace(string(src), from, to, 1))}})
}

func TestWordsThatAreMissingAreNamed(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"  talk: À dire\n", "", `themes/words/fr.yaml:18:3: the words "back.talk" are missing`},
		{"  talk: À dire\n", "  talk: \"\"\n", `themes/words/fr.yaml:18:9: the words "back.talk" are missing`},
		{"  trip: {label: Risque de trébucher, advice", "  trip: {advice", `the words "cautions.trip.label" are missing`},
		{"  talk: À dire\n", "  tlak: À dire\n", `the key "tlak" is not known here; did you mean "talk"?`},
		{"État au {day}", "État", "front.as_of does not say where {day} goes; write {day} where it belongs"},
		{"[janvier, ", "[", "formats.months has 11 months; name all twelve"},
		{"DRAFT", "BROUILLON", "does not begin with DRAFT"},
	} {
		_, err := tongue.Read(over(t, c.from, c.to), "fr")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: got %v\nwant %s", c.to, err, c.want)
		}
	}
}

func TestAWorkspaceOverridesAndAdds(t *testing.T) {
	w, err := tongue.Read(over(t, "Lire la suite\n", "La suite\n"), "fr")
	if err != nil || w.Front.ReadOn != "La suite" {
		t.Errorf("got %v, %v", w, err)
	}
	src, err := fs.ReadFile(themes.Embedded(), "words/fr.yaml")
	if err != nil {
		t.Fatal(err)
	}
	added := themes.Over(fstest.MapFS{"words/oc.yaml": {Data: src}})
	if _, err := tongue.Read(added, "oc"); err != nil {
		t.Error(err)
	}
	if got := tongue.Languages(added); !slices.Contains(got, "oc") || !slices.Contains(got, "fr") {
		t.Errorf("got %v", got)
	}
}

func TestDurations(t *testing.T) {
	w := read(t, "en-GB")
	for d, want := range map[time.Duration]string{0: "0 s", 42 * time.Second: "42 s", 5 * time.Minute: "5 min", 4*time.Minute + 12*time.Second: "4 min 12 s"} {
		if got := w.Duration(d); got != want {
			t.Errorf("%s: got %q, want %q", d, got, want)
		}
	}
}

// A file of words that a workspace brings is read whole or refused.
func FuzzWords(f *testing.F) {
	for _, lang := range tongue.Languages(themes.Embedded()) {
		src, err := fs.ReadFile(themes.Embedded(), "words/"+lang+".yaml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(src))
	}
	f.Add("front: {came_off: a}\nformats: {months: [a, b]}\n")
	f.Fuzz(func(t *testing.T, src string) {
		w, err := tongue.Read(themes.Over(fstest.MapFS{"words/fr.yaml": {Data: []byte(src)}}), "fr")
		if (w == nil) == (err == nil) {
			t.Fatalf("got %v and %v", w, err)
		}
		if w == nil {
			return
		}
		for _, said := range []string{w.Day(day.MustParse("2031-12-01")), w.Month(day.MustParse("2031-01-01")), w.Status("told"), w.Pile("rework"), w.Source("loan"), w.Duration(61 * time.Second)} {
			if strings.TrimSpace(said) == "" {
				t.Errorf("%q leaves something unsaid", src)
			}
		}
		if _, err := w.Money("GBP", "12.50"); err != nil {
			t.Error(err)
		}
	})
}
