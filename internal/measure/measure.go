// Package measure holds the sizes that a workshop writes down: lengths and
// thicknesses of metal, wire and sheet gauges, shares lost, and money.
//
// It promises exact arithmetic: lengths are whole nanometres, gauge tables are
// integers, and every rounding is half to even (NIST SP 811, B.7.1: a dropped
// digit of exactly 5 rounds to the even digit; the rule is given from memory).
// A thickness remembers how it was written, so that 16 SWG is never told as
// 14 AWG, which differs by two thousandths of a millimetre.
//
// It must not know where a size was recorded or whether it may be told. It
// never says whether a loss is acceptable: that is a licensed engineer's to say.
package measure

import (
	"errors"
	"fmt"
	"math/big"
	"strings"
	"unicode/utf8"

	"example.org/opencowl/internal/reading"
)

// Length is a length in nanometres.
type Length int64

// 1 in = 25.4 mm and 1 ft = 0.3048 m, both exactly (NIST SP 811, appendix B).
const (
	Nanometre  Length = 1
	Micrometre        = 1000 * Nanometre
	Millimetre        = 1000 * Micrometre
	Centimetre        = 10 * Millimetre
	Metre             = 1000 * Millimetre
	Thou              = 25_400 * Nanometre
	Inch              = 1000 * Thou
	Foot              = 12 * Inch
)

// longest is the most that is taken in: far beyond any aircraft, and far from
// the end of an int64.
const longest = 1000 * Metre

// noBreak stands between a number and its unit, so that no line ends there.
const noBreak = "\u00a0"

// ErrNoGauge means that a length is the size of no gauge, or of two.
var ErrNoGauge = errors.New("not the size of one SWG or AWG gauge")

// MM writes the length in millimetres to two places: "1.63 mm".
func (l Length) MM() string { return decimal(l, Millimetre, 2) + noBreak + "mm" }

// Inches writes the length in inches to three places: "0.064 in".
func (l Length) Inches() string { return decimal(l, Inch, 3) + noBreak + "in" }

// decimal writes l in a unit to a number of places, half to even.
func decimal(l, unit Length, places int) string {
	sign := ""
	if l < 0 {
		sign, l = "-", -l
	}
	scale := int64(1)
	for range places {
		scale *= 10
	}
	n := roundInt(ratio(int64(l)*scale, int64(unit)))
	if n == 0 {
		sign = ""
	}
	return fmt.Sprintf("%s%d.%0*d", sign, n/scale, places, n%scale)
}

func ratio(a, b int64) *big.Rat { return big.NewRat(a, b) }

// roundInt rounds to the nearest whole number, half to even.
func roundInt(r *big.Rat) int64 {
	floor, rest := new(big.Int).DivMod(r.Num(), r.Denom(), new(big.Int))
	twice := rest.Lsh(rest, 1).Cmp(r.Denom())
	if twice > 0 || twice == 0 && floor.Bit(0) == 1 {
		floor.Add(floor, big.NewInt(1))
	}
	return floor.Int64()
}

// Unit is how a thickness was written.
type Unit string

// The units that Parse takes.
const (
	MM        Unit = "mm"
	CM        Unit = "cm"
	M         Unit = "m"
	InchUnit  Unit = "in"
	ThouUnit  Unit = "thou"
	FootUnit  Unit = "ft"
	SWG       Unit = "SWG" // Imperial Standard Wire Gauge
	AWG       Unit = "AWG" // American Wire Gauge, the same as Brown & Sharpe
	noUnit    Unit = ""
	bareGauge Unit = "gauge"
)

// IsGauge reports whether the unit counts gauge numbers.
func (u Unit) IsGauge() bool { return u == SWG || u == AWG }

// lengths of the units that are lengths.
func (u Unit) length() Length {
	switch u {
	case MM:
		return Millimetre
	case CM:
		return Centimetre
	case M:
		return Metre
	case InchUnit:
		return Inch
	case ThouUnit:
		return Thou
	case FootUnit:
		return Foot
	}
	return 0
}

// unitNamed reads a unit as people write it.
func unitNamed(s string) (Unit, bool) {
	switch strings.ToLower(s) {
	case "mm", "millimetre", "millimetres", "millimeter", "millimeters":
		return MM, true
	case "cm", "centimetre", "centimetres", "centimeter", "centimeters":
		return CM, true
	case "m", "metre", "metres", "meter", "meters":
		return M, true
	case "in", "in.", "inch", "inches", `"`, "″", "”", "''":
		return InchUnit, true
	case "thou":
		return ThouUnit, true
	case "ft", "foot", "feet", "'", "′":
		return FootUnit, true
	case "swg", "s.w.g.", "s.w.g":
		return SWG, true
	case "awg", "a.w.g.", "a.w.g", "b&s":
		return AWG, true
	case "gauge", "ga", "g", "gage":
		return bareGauge, true
	}
	return noUnit, false
}

// Thickness is a length and how it was written. The zero Thickness means that
// none is on record; a thickness of 0 mm (eaten right through) is not zero.
type Thickness struct {
	Length Length
	Unit   Unit
	Digits string // the number as written: "1.63", "1/16", "16"
}

// IsSet reports whether there is a thickness on record.
func (t Thickness) IsSet() bool { return t.Unit != noUnit }

// String writes the thickness as it was written, with a plain space, for
// messages: "16 SWG", "1.63 mm".
func (t Thickness) String() string {
	if !t.IsSet() {
		return ""
	}
	return t.Digits + " " + string(t.Unit)
}

// UnmarshalText reads a thickness as Parse does; empty text leaves it unset.
func (t *Thickness) UnmarshalText(text []byte) error { return readText(t, text, Parse) }

// readText reads a value with its parser; empty text gives the zero value.
func readText[T any](into *T, text []byte, parse func(string) (T, error)) error {
	var value T
	if len(text) > 0 {
		parsed, err := parse(string(text))
		if err != nil {
			return err
		}
		value = parsed
	}
	*into = value
	return nil
}

// Parse reads a thickness or another length: "1.63 mm", "0.064 in", "1/16 in",
// "1 1/16 in", "16 swg", "14 awg", "3 thou". A number without a unit and a
// gauge without its system are errors: the gauge systems differ.
func Parse(s string) (Thickness, error) {
	text := strings.TrimSpace(strings.ReplaceAll(s, noBreak, " "))
	number, name := splitNumber(text)
	if number == "" {
		return Thickness{}, fmt.Errorf("%q does not begin with a number; write it as 1.63 mm, 0.064 in or 16 swg", reading.Shorten(s))
	}
	unit, known := unitNamed(name)
	switch {
	case name == "":
		return Thickness{}, fmt.Errorf("%q has no unit; write it as 1.63 mm, 0.064 in, 16 swg or 14 awg", reading.Shorten(s))
	case !known:
		return Thickness{}, fmt.Errorf("the unit %q is not known; use mm, cm, m, in, thou, ft, swg or awg", reading.Shorten(name))
	case unit == bareGauge:
		return Thickness{}, bareGaugeError(s, number)
	case unit.IsGauge():
		l, ok := unit.size(number)
		if !ok {
			return Thickness{}, fmt.Errorf("there is no %s size %q; it goes from %s", unit, reading.Shorten(number), unit.span())
		}
		return Thickness{Length: l, Unit: unit, Digits: number}, nil
	}
	value, err := parseNumber(number)
	if err != nil {
		return Thickness{}, err
	}
	value.Mul(value, ratio(int64(unit.length()), 1))
	if value.Cmp(ratio(int64(longest), 1)) > 0 {
		return Thickness{}, fmt.Errorf("%q is longer than a kilometre; check the number and the unit", reading.Shorten(s))
	}
	return Thickness{Length: Length(roundInt(value)), Unit: unit, Digits: number}, nil
}

// bareGaugeError says what the number would be in the two systems known here.
func bareGaugeError(s, number string) error {
	var sizes []string
	for _, u := range []Unit{SWG, AWG} {
		if l, ok := u.size(number); ok {
			sizes = append(sizes, fmt.Sprintf("%s %s is %s", number, u, plain(l.MM())))
		}
	}
	why := "the gauge systems differ"
	if len(sizes) == 2 {
		why = strings.Join(sizes, ", ") + ", and the gauge for steel sheet differs from both"
	}
	return fmt.Errorf("%q does not say which gauge (%s); write swg or awg after the number, or the thickness in mm or in", reading.Shorten(s), why)
}

// splitNumber cuts text into its leading number and the rest.
func splitNumber(text string) (number, rest string) {
	i := 0
	for i < len(text) && strings.IndexByte("0123456789./, -+", text[i]) >= 0 {
		i++
	}
	return strings.TrimSpace(text[:i]), strings.TrimSpace(text[i:])
}

// parseNumber reads a decimal, a fraction or a whole number with a fraction.
func parseNumber(s string) (*big.Rat, error) {
	bad := func(why string) (*big.Rat, error) {
		return nil, fmt.Errorf("%q is not a number that can be read (%s); write it as 1.63 or 1/16", reading.Shorten(s), why)
	}
	switch {
	case utf8.RuneCountInString(s) > 20:
		return bad("it is too long")
	case strings.Contains(s, ","):
		return bad("it holds a comma; the decimal sign here is a point")
	case strings.ContainsAny(s, "+-"):
		return bad("a thickness has no sign")
	}
	whole, fraction, mixed := strings.Cut(s, " ")
	fraction = strings.TrimSpace(fraction)
	if !mixed {
		if !strings.Contains(s, "/") {
			v, ok := plainDecimal(s)
			if !ok {
				return bad("digits and one point at most")
			}
			return v, nil
		}
		whole, fraction = "0", s
	}
	top, bottom, ok := strings.Cut(fraction, "/")
	w, ok1 := digitsOnly(whole)
	t, ok2 := digitsOnly(top)
	b, ok3 := digitsOnly(bottom)
	if !ok || !ok1 || !ok2 || !ok3 {
		return bad("a fraction is two whole numbers")
	}
	if b.Sign() == 0 {
		return bad("the lower number of a fraction cannot be 0")
	}
	return w.Add(w, t.Quo(t, b)), nil
}

func digitsOnly(s string) (*big.Rat, bool) {
	if s == "" || strings.Trim(s, "0123456789") != "" {
		return nil, false
	}
	return new(big.Rat).SetString(s)
}

// plainDecimal reads 12, 1.63 and .064.
func plainDecimal(s string) (*big.Rat, bool) {
	whole, part, point := strings.Cut(s, ".")
	if point && part == "" || strings.Trim(whole+part, "0123456789") != "" || whole+part == "" {
		return nil, false
	}
	return new(big.Rat).SetString("0" + s)
}
