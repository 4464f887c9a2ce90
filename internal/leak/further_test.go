package leak_test

import (
	"math"
	"testing"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/leak/planted"
)

// TestQuantitiesAreConverted holds conversions against NIST Special Publication
// 811 (2008), Appendix B.8: each private value is one unit of the first column, the
// text has the factor as it is printed there. The last two are from memory: the
// imperial pint is an eighth of the gallon, and water boils at 212 °F.
func TestQuantitiesAreConverted(t *testing.T) {
	for _, c := range []struct{ private, told, off string }{
		{"1 lb", "0.453 592 4 kg", "0.453 7 kg"},
		{"1 oz", "28.349 52 g", "28.36 g"},
		{"1 stone", "6.350 293 kg", "6.351 kg"},
		{"1 psi", "6.894 757 kPa", "6.896 kPa"},
		{"1 bar", "100 kPa", "101 kPa"},
		{"1 lbf", "4.448 222 N", "4.449 N"},
		{"1 lbf ft", "1.355 818 N m", "1.357 N m"},
		{"1 lbf in", "0.112 984 8 N m", "0.113 1 N m"},
		{"1 imperial gallon", "4.546 09 litres", "4.547 litres"},
		{"1 US gallon", "3.785 412 litres", "3.787 litres"},
		{"1 mph", "0.447 04 m/s", "0.448 m/s"},
		{"1 knot", "0.514 444 4 m/s", "0.515 m/s"},
		{"1 hp", "745.699 9 W", "745.8 W"},
		{"1 sq ft", "0.092 903 04 m2", "0.094 m2"},
		{"1 hour", "3600 s", "3601 s"},
		{"1 inch of mercury", "3.386 389 kPa", "3.388 kPa"},
		{"68 °F", "20 °C", "21 °C"},
		{"1 pint", "568.261 25 ml", "568.4 ml"},
		{"100 °C", "212 °F", "213 °F"},
	} {
		x := leak.NewIndex(leak.Private{Values: []leak.Value{{Kind: "measurement", Value: c.private}}})
		if told := "It was " + joinGroups(c.told) + "."; len(x.Find(told)) == 0 {
			t.Errorf("private %q, text %q: nothing found", c.private, told)
		}
		if off := "It was " + joinGroups(c.off) + "."; len(x.Find(off)) > 0 {
			t.Errorf("private %q, text %q: found %v", c.private, off, x.Find(off))
		}
	}
}

// joinGroups takes the spaces out of the figures that SP 811 prints in groups.
func joinGroups(s string) string {
	var b []byte
	for i := range len(s) {
		digit := func(k int) bool { return k >= 0 && k < len(s) && s[k] >= '0' && s[k] <= '9' }
		if s[i] != ' ' || !digit(i-1) || !digit(i+1) {
			b = append(b, s[i])
		}
	}
	return string(b)
}

// TestNameAtTheVeryStartBehindASign: nothing stands before it, and an everyday
// surname looks at what does.
func TestNameAtTheVeryStartBehindASign(t *testing.T) {
	for _, v := range []leak.Value{{Kind: "person", Value: "Digby Bell"}, {Kind: "supplier", Value: "Weirside Sailcloth"}} {
		x := leak.NewIndex(leak.Private{Values: []leak.Value{v}})
		for _, text := range []string{"@Bell is here", "@Weirside is here", "=Bell", "~Weirside"} {
			for _, f := range x.Find(text) {
				if f.Start < 0 || f.End > len(text) || f.Start >= f.End {
					t.Errorf("%q: finding %v is outside the text", text, f)
				}
			}
		}
		if text := map[string]string{"person": "@Bell is here", "supplier": "@Weirside is here"}[v.Kind]; len(x.Find(text)) == 0 {
			t.Errorf("%s %q is not found in %q", v.Kind, v.Value, text)
		}
	}
}

// TestCreditedContactsMayBeTold in whatever writing, and no other.
func TestCreditedContactsMayBeTold(t *testing.T) {
	x := leak.NewIndex(leak.Private{Credited: []string{"01632 960123", "dn551pt", "Kit@Example.org"}})
	for _, text := range []string{"+44 (0)1632 960 123", "(01632) 960123", "oh one six three two nine six oh one two three", "DN55 1PT", "KIT@EXAMPLE.ORG", "kit at example dot org"} {
		if found := x.Find("Find us under " + text + "."); len(found) > 0 {
			t.Errorf("%q is credited, got %v", text, found)
		}
	}
	for _, text := range []string{"01632 960124", "DN55 1PR", "kat@example.org"} {
		if len(x.Find("Find us under "+text+".")) == 0 {
			t.Errorf("%q is not credited and was not found", text)
		}
	}
}

// TestFamiliesHoldTheBar: no family of the hand-written cases is carried by the
// others.
func TestFamiliesHoldTheBar(t *testing.T) {
	families := map[string]*planted.Tally{}
	for _, c := range planted.Other() {
		family := c.ID[:len(c.ID)-len("-0000")]
		if families[family] == nil {
			families[family] = &planted.Tally{}
		}
		families[family].Add(c, len(c.Index().Find(c.Text)) > 0)
	}
	for family, tally := range families {
		const bar = 0.03 // a family may have 30 cases
		missed, alarms := float64(tally.Leaks-tally.Found), float64(tally.Alarms)
		if missed > math.Ceil(bar*float64(tally.Leaks)) || alarms > math.Ceil(bar*float64(tally.Clean)) {
			t.Errorf("%s: %v", family, tally)
		}
	}
}
