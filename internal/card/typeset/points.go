package typeset

import (
	"fmt"
	"strconv"
	"strings"
)

// Points is a length on paper in thousandths of a DTP point. It is whole, so
// that every machine computes the same place for the same text.
type Points int64

const (
	// Point is one DTP point, 1/72 inch.
	Point Points = 1000
	// Inch is 72 points.
	Inch = 72 * Point
)

// Micrometres returns the length nearest to n millionths of a metre. An inch
// is 25,400 micrometres exactly (NIST SP 811, appendix B).
func Micrometres(n int64) Points {
	num := n * int64(Inch)
	if num < 0 {
		return -Micrometres(-n)
	}
	return Points((num + 12700) / 25400)
}

// Millimetres returns the length nearest to n whole millimetres.
func Millimetres(n int64) Points { return Micrometres(n * 1000) }

// ParsePoints reads a length written as "12 pt", "7.5 mm" or "0.25 in".
func ParsePoints(s string) (Points, error) {
	bad := fmt.Errorf("%q is not a length; write it as 12 pt, 7.5 mm or 0.25 in", s)
	s = strings.TrimSpace(s)
	if len(s) < 3 {
		return 0, bad
	}
	unit := s[len(s)-2:]
	milli, err := parseThousandths(strings.TrimSpace(s[:len(s)-2]))
	if err != nil {
		return 0, bad
	}
	switch unit {
	case "pt":
		return Points(milli), nil
	case "mm":
		return Micrometres(milli), nil
	case "in":
		return Points(milli * int64(Inch) / 1000), nil
	}
	return 0, bad
}

// parseThousandths reads a plain decimal of at most three places.
func parseThousandths(s string) (int64, error) {
	whole, part, _ := strings.Cut(s, ".")
	if len(part) > 3 || len(whole) > 6 {
		return 0, fmt.Errorf("%q has too many digits", s)
	}
	n, err := strconv.ParseUint(whole+part+strings.Repeat("0", 3-len(part)), 10, 32)
	return int64(n), err
}

// String writes the length in points, as short as it is exact: "12", "13.25".
func (p Points) String() string { return string(p.Append(nil)) }

// Append appends what String writes.
func (p Points) Append(b []byte) []byte {
	if p < 0 {
		b, p = append(b, '-'), -p
	}
	b = strconv.AppendInt(b, int64(p/Point), 10)
	part := int64(p % Point)
	if part == 0 {
		return b
	}
	b = append(b, '.', byte('0'+part/100), byte('0'+part/10%10), byte('0'+part%10))
	for b[len(b)-1] == '0' {
		b = b[:len(b)-1]
	}
	return b
}

// Scale returns p × num ÷ den, rounded to the nearest thousandth of a point.
func (p Points) Scale(num, den int64) Points {
	n := int64(p) * num
	if n < 0 {
		return Points((n - den/2) / den)
	}
	return Points((n + den/2) / den)
}

// UnmarshalText reads a length as ParsePoints does.
func (p *Points) UnmarshalText(text []byte) error {
	parsed, err := ParsePoints(string(text))
	if err != nil {
		return err
	}
	*p = parsed
	return nil
}
