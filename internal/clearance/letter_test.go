package clearance_test

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
)

const asking = `ask:
  text: A sheet of new metal would keep the bench at work for a month.
  url: https://example.org/give
  earlier: In the autumn you gave {fact:floor-stiffener.cost|money}, and it is in the floor.
`

// gives writes an ask that names what earlier gifts bought.
func gives(t *testing.T) *bench {
	t.Helper()
	b := newBench(t)
	b.edit("editions/2031-W04.md", "written_by: nell\n", "written_by: nell\n"+asking)
	b.edit("editions/2031-W04.md", "A good week in the cold.", "It had lost {fact:floor-stiffener.loss|percent}, on a Tuesday.")
	return b
}

// A fact in an edition is shown with its value to whoever clears it, stands in the
// words that leave, and is honoured by the gate there and nowhere else.
func TestAnEditionMayNameReleasedFacts(t *testing.T) {
	b := gives(t)
	u := b.unit(b.desk(), "edition/2031-W04")
	want := []clearance.Fact{{Name: "floor-stiffener.loss", Form: "percent", Value: "15%"}, {Name: "floor-stiffener.cost", Form: "money", Value: "£412.50"}}
	if !slices.Equal(u.Facts, want) || u.Stops() {
		t.Errorf("facts %v, findings %v; want %v and none", u.Facts, u.Findings, want)
	}
	b.decide("edition/2031-W04")
	d := b.desk()
	words, err := d.EditionWords(day.MustParseWeek("2031-W04"))
	if err != nil {
		t.Fatal(err)
	}
	if strings.TrimSpace(words.Opening()) != "It had lost 15%, on a Tuesday." || words.Ask().Earlier != "In the autumn you gave £412.50, and it is in the floor." {
		t.Errorf("the words are %q and %q", words.Opening(), words.Ask().Earlier)
	}
	if _, message := stopped(t, d, "letter.html", "<p>In the autumn you gave £412.50, and it is in the floor.</p>"); message != "" {
		t.Errorf("where it was released: %s", message)
	}
	b.edit("glossary/stiffener.md", "A strip that keeps a sheet from bending.", "A strip that keeps a sheet from bending, £412.50 the piece.")
	if code, _ := stopped(t, b.desk(), "word.html", "<p>A strip that keeps a sheet from bending, £412.50 the piece.</p>"); code == "" {
		t.Error("the cost leaves in the words of a unit that does not release it")
	}
}

func TestAFactOfAnEditionWithoutAValueStopsIt(t *testing.T) {
	b := gives(t)
	b.edit("log/2031/2031-01-14-stiffener-inspected.md", ", cost: GBP 412.50", "")
	if found := strings.Join(b.findings(), "\n"); !strings.Contains(found, "no-fact editions/2031-W04.md:9:") {
		t.Errorf("findings: %s", found)
	}
}

func TestADecisionOnAnEditionLapsesWithItsFacts(t *testing.T) {
	b := gives(t)
	b.decide("edition/2031-W04")
	b.edit("log/2031/2031-01-14-stiffener-inspected.md", "GBP 412.50", "GBP 421.50")
	if u := b.unit(b.desk(), "edition/2031-W04"); u.Standing != clearance.Stale {
		t.Errorf("another cost: %s, want stale", u.Standing)
	}
}

// An edition without facts keeps the digest that it had before facts could stand in
// one, or every old decision would lapse.
func TestAnEditionWithoutFactsKeepsItsDigest(t *testing.T) {
	b := newBench(t)
	public, err := json.Marshal([]string{"subject", "The floor is coming back", "preheader", "One strip, and what it taught us", "opening", "A good week in the cold.\n"})
	if err != nil {
		t.Fatal(err)
	}
	if u := b.unit(b.desk(), "edition/2031-W04"); u.Digest != fmt.Sprintf("%x", sha256.Sum256(public)) {
		t.Errorf("digest %s of %q", u.Digest, u.Texts)
	}
}

func TestAdviceOnALettersFaceAndOnWordsThatPress(t *testing.T) {
	b := newBench(t)
	b.edit("editions/2031-W04.md", "subject: The floor is coming back", "subject: The floor is coming back, and this is a very long way of saying it to a telephone")
	b.edit("editions/2031-W04.md", "preheader: One strip, and what it taught us\n", "")
	b.edit("editions/2031-W04.md", "written_by: nell\n", "written_by: nell\nask: {text: \"Only three places left: act now, it is your last chance!\", url: \"https://example.org/\"}\n")
	var got []string
	for _, f := range b.unit(b.desk(), "edition/2031-W04").Findings {
		if !f.Advice {
			t.Errorf("%v stops the edition", f)
		}
		got = append(got, f.Code+" "+f.Value)
	}
	want := []string{"long-subject 81", "no-preheader ", "pressing act now", "pressing last chance"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Words that thank, tell or invite press nobody.
func TestPlainWordsDoNotPress(t *testing.T) {
	for _, words := range []string{
		"If you have a clean paint brush or two to spare, the Tuesday bench would be glad of them.",
		"We are short of guides for the spring. If you know the boat and like people, come and walk round with one of us.",
		"Last time you sent us so many jam jars that every bolt in the tail now has a home.",
		"Only the tail is left to paint, and we have until May.", "The last rivet went in at four. Nobody was in a hurry.", "It would have been too late in the year to fly.",
	} {
		b := newBench(t)
		b.edit("editions/2031-W04.md", "A good week in the cold.", words)
		for _, f := range b.unit(b.desk(), "edition/2031-W04").Findings {
			t.Errorf("%q: %v", words, f)
		}
	}
}
