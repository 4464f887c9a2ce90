package measure

import (
	"fmt"
	"strings"

	"golang.org/x/text/currency"

	"example.org/opencowl/internal/reading"
)

// Money is an amount in the minor unit of a currency (pence, cents). The zero
// Money means that none is on record; a cost of GBP 0.00 is not zero.
type Money struct {
	Currency string // ISO 4217 code
	Minor    int64
}

// IsSet reports whether there is an amount on record.
func (m Money) IsSet() bool { return m.Currency != "" }

// minorDigits tells how many digits a currency has after the point (ISO 4217,
// from memory; all that are not named here have two).
func minorDigits(code string) int {
	switch code {
	case "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF":
		return 0
	case "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND":
		return 3
	}
	return 2
}

// ParseMoney reads an ISO 4217 code and an amount: "GBP 12.50".
func ParseMoney(s string) (Money, error) {
	code, amount, _ := strings.Cut(strings.TrimSpace(strings.ReplaceAll(s, noBreak, " ")), " ")
	amount = strings.TrimSpace(amount)
	if _, err := currency.ParseISO(code); err != nil || len(code) != 3 || code != strings.ToUpper(code) {
		return Money{}, fmt.Errorf("%q does not begin with a currency code; write it as GBP 12.50", reading.Shorten(s))
	}
	value, ok := plainDecimal(amount)
	if !ok || len(amount) > 15 {
		return Money{}, fmt.Errorf("%q is not an amount; write it as %s 12.50, without commas", reading.Shorten(s), code)
	}
	digits := minorDigits(code)
	for range digits {
		value.Mul(value, ratio(10, 1))
	}
	if !value.IsInt() {
		return Money{}, fmt.Errorf("%q has more decimal places than %s has (%d)", reading.Shorten(s), code, digits)
	}
	return Money{code, value.Num().Int64()}, nil
}

// Written writes the amount as it stands in the record: "GBP 12.50".
func (m Money) Written() string {
	if !m.IsSet() {
		return ""
	}
	whole, part := m.split()
	return fmt.Sprintf("%s %d%s", m.Currency, whole, part)
}

// split cuts the amount into its whole units and the digits after them.
func (m Money) split() (whole int64, part string) {
	digits := minorDigits(m.Currency)
	scale := int64(1)
	for range digits {
		scale *= 10
	}
	if digits > 0 {
		part = fmt.Sprintf(".%0*d", digits, m.Minor%scale)
	}
	return m.Minor / scale, part
}

// String writes the amount for a reader: "£12.50", "€1,250.00", "JPY 900".
func (m Money) String() string {
	if !m.IsSet() {
		return ""
	}
	whole, part := m.split()
	amount := grouped(whole) + part
	switch m.Currency {
	case "GBP":
		return "£" + amount
	case "EUR":
		return "€" + amount
	case "USD":
		return "$" + amount
	}
	return m.Currency + noBreak + amount
}

// grouped writes a whole number with a comma before each three digits.
func grouped(n int64) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// UnmarshalText reads an amount; empty text leaves it unset.
func (m *Money) UnmarshalText(text []byte) error { return readText(m, text, ParseMoney) }
