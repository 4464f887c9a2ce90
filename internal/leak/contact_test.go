package leak_test

import (
	"testing"

	"example.org/opencowl/internal/leak"
)

func kinds(found []leak.Finding) []string {
	var all []string
	for _, f := range found {
		all = append(all, f.Kind)
	}
	return all
}

// BS 7666 2.0 as published in the Cabinet Office's XML schema; the examples are
// those that it and Royal Mail's formats name. BFPO numbers are missing in both
// published expressions and are found here.
func TestPostcodes(t *testing.T) {
	x := leak.NewIndex(leak.Private{})
	for _, code := range []string{"SW1A 1AA", "M1 1AE", "B33 8TH", "CR2 6XH", "DN55 1PT", "EC1A 1BB", "W1A 0AX", "GIR 0AA", "SW1A1AA", "BFPO 801"} {
		if found := x.Find("Send it to " + code + ", please."); len(found) != 1 || found[0].Kind != leak.KindPostcode {
			t.Errorf("%q: %v, want a postal code", code, kinds(found))
		}
	}
	for _, code := range []string{
		"Q1 1AA", "AI1 1AA", "M1 1AC", "A1 2BC", "16 SWG", "AA 1AA",
		"xxSW1A 1AA", "GIR 0AAjunk", // ^ and $ of the bulk transfer expression on GOV.UK (12 November 2015) bind one alternative each, so that it takes both
	} {
		if found := x.Find("Send it to " + code + ", please."); len(found) != 0 {
			t.Errorf("%q: %v, want nothing", code, kinds(found))
		}
	}
}

// Numbers that Ofcom keeps for drama: a check for numbers that are in use would
// let the first two pass.
func TestTelephoneNumbers(t *testing.T) {
	x := leak.NewIndex(leak.Private{})
	for _, number := range []string{
		"01632 960000", "07700 900123", "020 7946 0018", "0113 496 0123", "0131 496 0123", "0191 498 0123", "028 9649 6123", "029 2018 0123", "0808 157 0123", "08081 570123", "0909 879 0123", "0306 999 0123",
		"+441632960000", "+442079460018", "+44 7700 900123", "020 7946 0018 ext 12", "202-555-0143",
	} {
		if found := x.Find("Ask for us under " + number + " after six."); len(found) == 0 || found[0].Kind != leak.KindTelephone {
			t.Errorf("%q: %v, want a telephone number", number, kinds(found))
		}
	}
	for _, number := range []string{"01632", "0800", "2031-01-14 10:30", "978-0-306-40615-7", "0.0123456789", "01/02/2031 03/04/2031", "1,000,000,000 and 0"} {
		if found := x.Find("Ask for us under " + number + " after six."); len(found) != 0 {
			t.Errorf("%q: %v, want nothing", number, kinds(found))
		}
	}
}

func TestPublicAddressesMayBeTold(t *testing.T) {
	x := leak.NewIndex(leak.Private{Allowed: func(s string) bool { return s == "update@example.org" || s == "DN55 1PT" || s == "01632 960123" }})
	for _, text := range []string{"update@example.org", "update at example dot org", "update (at) example.org", "DN55 1PT", "01632 960123"} {
		if found := x.Find("Write to " + text + "."); len(found) != 0 {
			t.Errorf("%q: %v, want nothing", text, kinds(found))
		}
	}
	if found := x.Find("Write to updates@example.org."); len(found) != 1 {
		t.Errorf("another address: %v", kinds(found))
	}
}
