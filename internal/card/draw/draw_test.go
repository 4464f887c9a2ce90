package draw

import (
	"math"
	"testing"
)

// Ratios computed from the formula of WCAG 2.2 (SC 1.4.3); #767676 and #949494
// are the greys it is usually quoted for, and #777777 and #959595 the ones that
// pass only if the ratio is rounded first.
func TestContrastAgreesWithWCAG(t *testing.T) {
	white, black := "#ffffff", "#000000"
	for _, c := range []struct {
		a, b string
		want float64
	}{
		{black, white, 21}, {"#767676", white, 4.5422}, {"#777777", white, 4.4781}, {"#595959", white, 7.0047}, {"#5a5a5a", white, 6.8969},
		{"#949494", white, 3.0335}, {"#959595", white, 2.9953}, {"#ff0000", white, 3.9985}, {"#0000ff", white, 8.5925},
		{"#0000ee", white, 9.3976}, {"#ffff00", white, 1.0738}, {"#808080", white, 3.9494}, {"#336699", white, 5.9978},
		{"#ffff00", black, 19.556}, {"#ff0000", black, 5.252}, {white, white, 1},
	} {
		got := Contrast(colour(t, c.a), colour(t, c.b))
		if math.Abs(got-c.want) > 0.0005 {
			t.Errorf("Contrast(%s, %s) = %.4f; want %.4f", c.a, c.b, got, c.want)
		}
		if back := Contrast(colour(t, c.b), colour(t, c.a)); back != got {
			t.Errorf("Contrast(%s, %s) depends on the order", c.a, c.b)
		}
	}
}

func colour(t *testing.T, s string) Colour {
	t.Helper()
	var c Colour
	if err := c.UnmarshalText([]byte(s)); err != nil {
		t.Fatal(err)
	}
	return c
}

func TestOnlySixFigureColoursAreRead(t *testing.T) {
	for _, bad := range []string{"", "#", "#fff", "ffffff", "#ggffff", "red", "#ffffff00"} {
		var c Colour
		if err := c.UnmarshalText([]byte(bad)); err == nil {
			t.Errorf("%q was read as %v; want an error", bad, c)
		}
	}
}
