package draw

import (
	"encoding/hex"
	"fmt"
	"math"
)

// Colour is an sRGB colour.
type Colour struct{ R, G, B uint8 }

// UnmarshalText reads a colour written as "#1a2b3c".
func (c *Colour) UnmarshalText(text []byte) error {
	raw, err := hex.DecodeString(string(text[min(1, len(text)):]))
	if err != nil || len(raw) != 3 || text[0] != '#' {
		return fmt.Errorf("%q is not a colour; write it as \"#1a2b3c\"", text)
	}
	*c = Colour{raw[0], raw[1], raw[2]}
	return nil
}

// Contrast returns the contrast ratio of two colours, 1 to 21 (WCAG 2.2,
// "contrast ratio" and "relative luminance"). Compare it unrounded.
func Contrast(a, b Colour) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(c Colour) float64 {
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

func linear(v uint8) float64 {
	s := float64(v) / 255
	if s <= 0.04045 {
		return s / 12.92
	}
	return math.Pow((s+0.055)/1.055, 2.4)
}

// String writes the colour as faces do: "#1a2b3c".
func (c Colour) String() string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }
