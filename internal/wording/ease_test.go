package wording

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
)

// The formulas alone, from published counts to published scores, so that no
// syllable counter has a part in it.
func TestFormulasGiveThePublishedScores(t *testing.T) {
	for _, c := range []struct {
		source                      string
		score                       func(sentences, words, syllables int) float64
		sentences, words, syllables int
		want, within                float64
	}{
		{"npm flesch readme: The cat sat on the mat.", FleschEase, 1, 6, 6, 116.145, 0.0005},
		{"npm flesch: The Australian platypus is seemingly a hybrid ...", FleschEase, 1, 12, 23, 32.505, 0.0005},
		{"npm text-readability, the same with 13 words", FleschEase, 1, 13, 26, 24.44, 0.005},
		{"npm flesch-kincaid, the same with 13 words", Grade, 1, 13, 26, 13.08, 0.005},
		{"textatistic readme: There was a king with a large jaw ...", FleschEase, 2, 16, 16, 114.115, 0.0005},
		{"Flesch's chart: 15 words a sentence, 150 syllables a hundred words", FleschEase, 20, 300, 450, 64.71, 0.005},
		{"Flesch's chart: 20 words a sentence, 120 syllables a hundred words (prints 85.02)", FleschEase, 5, 100, 120, 85.02, 0.0051},
		{"worked by hand from the formula: The cat sat on the mat.", Grade, 1, 6, 6, -1.45, 0.0005},
	} {
		if got := c.score(c.sentences, c.words, c.syllables); math.Abs(got-c.want) > c.within {
			t.Errorf("%s: %d sentences, %d words, %d syllables: got %.4f, want %v", c.source, c.sentences, c.words, c.syllables, got, c.want)
		}
	}
}

func TestSyllablesAgreeWithTheCMUDictionary(t *testing.T) {
	data, err := os.ReadFile("testdata/syllables.txt")
	if err != nil {
		t.Fatal(err)
	}
	total, agreed := map[int]int{}, map[int]int{}
	var wrong []string
	for line := range strings.Lines(string(data)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		var word string
		var want int
		if _, err := fmt.Sscan(line, &word, &want); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		group := min(want, 4)
		total[group]++
		if got := syllables(word); got == want {
			agreed[group]++
		} else {
			wrong = append(wrong, fmt.Sprintf("%s %d not %d", word, got, want))
		}
	}
	all, good := 0, 0
	for _, group := range []int{1, 2, 3, 4} {
		all, good = all+total[group], good+agreed[group]
		if total[group] != 100 || agreed[group] < 90 {
			t.Errorf("words of %d syllables: %d of %d agree; want 90 of 100", group, agreed[group], total[group])
		}
	}
	if float64(good) < 0.9*float64(all) {
		t.Errorf("%d of %d words agree; want nine of ten", good, all)
	}
	t.Logf("%d of %d agree; others: %s", good, all, strings.Join(wrong, ", "))
}

func TestTradeWordsHaveTheirSyllables(t *testing.T) {
	for source, words := range map[string]string{
		"CMU Pronouncing Dictionary": "aircraft 2 aileron 3 fuselage 3 rivet 2 riveted 3 corrosion 3 corroded 3 propeller 3 cowling 2 hydraulic 3 exfoliation 5 bulkhead 2 " +
			"elevator 4 gauge 1 thickness 2 spar 1 airworthiness 4 restoration 4 replaced 2 failed 1 fatigue 2 undercarriage 4",
		"our own list, common practice, no source": "aeroplane 3 longeron 3 carburettor 4 magneto 3 intergranular 5 nacelle 2 tailplane 2 aluminium 5 stiffener 3 " +
			"chromate 2 galvanic 3 keelson 2 seaplane 2 framework 2 centre 2 painted 2 cleaned 1 handled 2 café 2 naïve 2",
	} {
		fields := strings.Fields(words)
		for i := 0; i < len(fields); i += 2 {
			if got := fmt.Sprint(syllables(fields[i])); got != fields[i+1] {
				t.Errorf("%s (%s): got %s, want %s", fields[i], source, got, fields[i+1])
			}
		}
	}
}

// Flesch's test sheet: contractions, hyphenated words, abbreviations, figures
// and symbols are single words; the last three have one syllable.
func TestCountingRules(t *testing.T) {
	for _, c := range []struct {
		text                        string
		sentences, words, syllables int
	}{
		{"The cat sat on the mat.", 1, 6, 6},
		{"There was a king with a large jaw. There was a queen with a plain face.", 2, 16, 16},
		{"The Australian platypus is seemingly a hybrid of mammal and reptilian creature.", 1, 12, 23},
		// prose, testdata/summarize.json: one sentence of 16 words. The syllables are counted by hand.
		{"He teaches science (He previously worked for 5 years as an engineer.) at the local University.", 1, 16, 28},
		{"It was 1.63 mm thick.", 1, 5, 5},
		{"A 16 SWG sheet, or 16-gauge.", 1, 6, 7},
		{"The FO-7 flew in 1936.", 1, 5, 5},
		{"It didn't fit; it'd split, we'll say.", 1, 7, 9},
		{"The bench's well-worn vice.", 1, 4, 6},
		{"Dr. Reddle saw No. 2 engine, e.g. the port one. It ran.", 2, 12, 14},
		{"Could you save it? No. It was gone!", 3, 8, 8},
		{"It lost {fact:floor-stiffener.loss|percent}. We made a new one.", 2, 8, 8},
		{"# A heading that is long\n\nOne line\nof text.\n\n- an item\n- two items here\n", 3, 9, 11},
		{"Under a\nTitle\n=====\nHere it is.", 1, 3, 3},
		{"![A long caption](x.jpg) See [the old strip](https://example.org/).\n\n```\nno words here\n```\n| a | table |\n", 1, 4, 4},
		{"> *Old* __paint__ <b>lifts</b>.<!-- a\nnote -->", 1, 3, 3},
		{"Salt & water — both.", 1, 4, 5},
		{"", 0, 0, 0},
		{"# Only a heading\n\n---\n", 0, 0, 0},
	} {
		r := Ease(c.text)
		if r.Sentences != c.sentences || r.Words != c.words || r.Syllables != c.syllables {
			t.Errorf("%q: got %d sentences, %d words, %d syllables; want %d, %d, %d", c.text, r.Sentences, r.Words, r.Syllables, c.sentences, c.words, c.syllables)
		}
		if math.IsNaN(r.FleschEase) || math.IsNaN(r.Grade) {
			t.Errorf("%q: the score is not a number: %+v", c.text, r)
		}
	}
}

func TestScoresAreNotHeldInBounds(t *testing.T) {
	if r := Ease("The cat sat on the mat."); math.Abs(r.FleschEase-116.145) > 0.0005 {
		t.Errorf("got %v, want 116.145", r.FleschEase)
	}
	if r := Ease("Intergranular exfoliation necessitated immediate rehabilitation."); r.FleschEase >= 0 {
		t.Errorf("got %v, want a score below zero", r.FleschEase)
	}
}

func TestTheHardestSentencesComeHardestFirst(t *testing.T) {
	r := Ease("Unserviceable. It was a thin old strip. The inspection of the aluminium stiffener had established intergranular corrosion. " +
		"We cut a new one here. The restoration of it took several winter weeks of work.")
	want := []string{
		"The inspection of the aluminium stiffener had established intergranular corrosion.",
		"The restoration of it took several winter weeks of work.",
		"It was a thin old strip.",
	}
	if !slices.Equal(r.Hardest, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(r.Hardest, "\n"), strings.Join(want, "\n"))
	}
}

func FuzzEase(f *testing.F) {
	f.Add("Dr. Reddle saw No. 2 engine. It didn't run!")
	f.Add("# H\n\n- a [b](c) ![d](e)\n```\nx")
	f.Fuzz(func(t *testing.T, text string) {
		r := Ease(text)
		if r.Syllables < r.Words || r.Words < r.Sentences || len(r.Hardest) > 3 || math.IsNaN(r.Grade) {
			t.Errorf("%q: impossible counts: %+v", text, r)
		}
	})
}
