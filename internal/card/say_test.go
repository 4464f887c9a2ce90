package card

import (
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
)

// How numbers are said aloud in English: common practice, no source.
func TestNumbersAndUnitsAreSpeltAsTheyAreSpoken(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"It was 1.63 mm thick.", "It was one point six three millimetres thick."},
		{"lost 15 % of 16 SWG sheet, 0.064 in", "lost fifteen per cent of sixteen standard wire gauge sheet, zero point zero six four inches"},
		{"1 mm, 25%, 12 in the hull", "one millimetre, twenty-five per cent, twelve in the hull"},
		{"on 3 January 1934 and in 1906", "on the third of January nineteen thirty-four and in nineteen oh six"},
		{"As of 25 January 2031.", "As of the twenty-fifth of January twenty thirty-one."},
		{"1,500 rivets; 2005 of them; 100; 1,000,040", "one thousand five hundred rivets; two thousand and five of them; one hundred; one million and forty"},
		{"a 3/8 bolt, 1/2 full, 2 3/4 turns", "a three eighths bolt, one half full, two and three quarters turns"},
		{"3-4 people, 94 × 137 mm", "three to four people, ninety-four by one hundred and thirty-seven millimetres"},
		{"It cost £12.50, then GBP 1.", "It cost twelve pounds fifty, then one pound."},
		{"Allow 6 min 40 s at 130 words a minute.", "Allow six minutes forty seconds at one hundred and thirty words a minute."},
		{"The FO-7, card 3a.", "The F O seven, card three a."},
		{"No numbers at all.", "No numbers at all."},
	} {
		if got := spoken(c.text, "en-GB"); got != c.want {
			t.Errorf("%q is said\n%q; want\n%q", c.text, got, c.want)
		}
	}
	if text := "1,63 mm et 15 %"; spoken(text, "fr") != text {
		t.Errorf("French is said %q; want it left to a French voice", spoken(text, "fr"))
	}
}

func TestCardsAreSaidWithCautionsFirst(t *testing.T) {
	said, err := Say(settings(), fullTour(t), options("a5"))
	if err != nil {
		t.Fatal(err)
	}
	checkOrder(t, said, []string{
		"Card three a. The floor that rotted from inside. Hull floor, port side.", "Take care: Sharp edges. Trip hazard.",
		"Photo: A thin metal strip", "What came off. A thin aluminium strip", "one point six three millimetres", "fifteen per cent", "not an airworthiness statement",
		"For the guide.", "Talk. Hold both up", "To show. Old strip. Two hands", "Take care. Sharp edges. Hold it by the flat",
		"As of the twenty-fifth of January twenty thirty-one.", "Card three b.", "For the guide only.", "Card four.", "Rudder cables",
	})
	draft, err := DraftSay(cleared.NewDraft(settings()), cleared.NewDraft(fullTour(t)), options("a5", front))
	if err != nil {
		t.Fatal(err)
	}
	for card := range strings.SplitSeq(draft, "\n\n") {
		if !strings.HasPrefix(card, "DRAFT") {
			t.Errorf("a draft card begins %q", card[:min(40, len(card))])
		}
	}
	if strings.Contains(draft, "Talk.") {
		t.Error("the back was said though only the front was asked for")
	}
}
