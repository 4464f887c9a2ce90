package tongue

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/message"
	"golang.org/x/text/number"

	"example.org/opencowl/internal/day"
)

// noBreak stands between a number and its unit, so that no line ends there.
const noBreak = "\u00a0"

// Formats is how a language writes dates, money and inches.
type Formats struct {
	Months []string `yaml:"months"`
	First  string   `yaml:"first"` // the first day of a month
	Day    string   `yaml:"day"`   // {day}, {month}, {year}
	Month  string   `yaml:"month"` // {month}, {year}
	Money  string   `yaml:"money"` // {amount}, {currency}
	Inch   string   `yaml:"inch"`
}

// Day writes a date for a reader; "" for a date that is not set.
func (w *Words) Day(d day.Date) string {
	if d.IsZero() {
		return ""
	}
	n := strconv.Itoa(d.Day)
	if d.Day == 1 {
		n = w.Formats.First
	}
	return Fill(w.Formats.Day, "day", n, "month", w.Formats.Months[d.Month-1], "year", strconv.Itoa(d.Year))
}

// Month writes the month of a date.
func (w *Words) Month(d day.Date) string {
	if d.IsZero() {
		return ""
	}
	return Fill(w.Formats.Month, "month", w.Formats.Months[d.Month-1], "year", strconv.Itoa(d.Year))
}

// Number writes a plain decimal number, such as "1.63", with as many places as it
// has. Decimal sign and groups are those of CLDR.
func (w *Words) Number(plain string) (string, error) {
	return w.number(plain, 1, func(x any, places ...number.Option) any { return number.Decimal(x, places...) })
}

// Percent writes a plain decimal number as a percentage, with the sign and the
// space of CLDR.
func (w *Words) Percent(plain string) (string, error) {
	return w.number(plain, 100, func(x any, places ...number.Option) any { return number.Percent(x, places...) })
}

func (w *Words) number(plain string, by float64, format func(any, ...number.Option) any) (string, error) {
	n, err := strconv.ParseFloat(plain, 64)
	if err != nil {
		return "", fmt.Errorf("%q is not a plain number: %w", plain, err)
	}
	_, part, _ := strings.Cut(plain, ".")
	return message.NewPrinter(w.tag).Sprint(format(n/by, number.Scale(len(part)))), nil
}

// MM and Inches write a length that is given as a plain number. The sign of the
// millimetre is the same in all languages (SI brochure, section 5.2).
func (w *Words) MM(plain string) (string, error)     { return w.measured(plain, "mm") }
func (w *Words) Inches(plain string) (string, error) { return w.measured(plain, w.Formats.Inch) }

func (w *Words) measured(plain, unit string) (string, error) {
	n, err := w.Number(plain)
	return n + noBreak + unit, err
}

// Money writes a plain amount of a currency, given by its ISO 4217 code.
func (w *Words) Money(code, plain string) (string, error) {
	amount, err := w.Number(plain)
	sign := code
	switch code {
	case "GBP":
		sign = "£"
	case "EUR":
		sign = "€"
	case "USD":
		sign = "$"
	default: // letters do not touch figures
		return Fill(strings.Replace(w.Formats.Money, "{currency}{amount}", "{currency}"+noBreak+"{amount}", 1), "amount", amount, "currency", sign), err
	}
	return Fill(w.Formats.Money, "amount", amount, "currency", sign), err
}

// Duration writes a length of time to the second: "4 min 12 s".
func (w *Words) Duration(d time.Duration) string {
	d = d.Round(time.Second)
	minutes, seconds := int(d/time.Minute), int(d%time.Minute/time.Second)
	var parts []string
	if minutes > 0 {
		parts = append(parts, Fill(w.Timing.Minutes, "n", strconv.Itoa(minutes)))
	}
	if seconds > 0 || minutes == 0 {
		parts = append(parts, Fill(w.Timing.Seconds, "n", strconv.Itoa(seconds)))
	}
	return strings.Join(parts, " ")
}
