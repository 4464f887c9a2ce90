// Package day holds the two ways in which this work counts time: a calendar
// date with no clock attached, and an ISO 8601 week (Monday 00:00 to Sunday
// 24:00 in the workshop's time zone). Nothing here reads the clock; the day
// that counts as today is always passed in.
package day

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Date is a calendar date. The zero Date means "not set".
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// Of returns the date on which t falls in t's own time zone.
func Of(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// Parse reads a date written as YYYY-MM-DD (ISO 8601, extended format). Dates
// that no calendar has, such as 2031-02-30, are errors.
func Parse(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fmt.Errorf("%q is not a date; write it as 2031-01-14", s)
	}
	return Of(t), nil
}

// MustParse is Parse for dates fixed in code and tests; it panics on an error.
func MustParse(s string) Date {
	d, err := Parse(s)
	if err != nil {
		panic(err)
	}
	return d
}

// String writes the date as YYYY-MM-DD; a zero Date is the empty string.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day)
}

// IsZero reports whether the date is not set.
func (d Date) IsZero() bool { return d == Date{} }

// Before reports whether d comes before other.
func (d Date) Before(other Date) bool {
	return cmp.Or(cmp.Compare(d.Year, other.Year), cmp.Compare(d.Month, other.Month), cmp.Compare(d.Day, other.Day)) < 0
}

// After reports whether d comes after other.
func (d Date) After(other Date) bool { return other.Before(d) }

// AddDays returns the date n days later; n may be negative.
func (d Date) AddDays(n int) Date { return Of(d.Time(time.UTC).AddDate(0, 0, n)) }

// DaysUntil counts the days from d to other; negative when other is earlier.
func (d Date) DaysUntil(other Date) int {
	return int(other.Time(time.UTC).Sub(d.Time(time.UTC)).Hours() / 24)
}

// Time returns the first moment of the date in loc: midnight, or where the clock
// skips that, the moment after the skip; of a midnight that comes twice, the
// first. A date that loc skipped altogether begins with the one after it.
func (d Date) Time(loc *time.Location) time.Time {
	t := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, loc)
	since, until := t.ZoneBounds()
	if Of(t).Before(d) { // time.Date fell on the near side of a skip
		return until
	}
	if !since.IsZero() {
		if last := since.Add(-1); Of(last) == d { // the clock went back within the date
			return last.Add(-sinceMidnight(last))
		}
	}
	return t
}

// sinceMidnight is the time of day as a clock shows it.
func sinceMidnight(t time.Time) time.Duration {
	h, m, s := t.Clock()
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second + time.Duration(t.Nanosecond())
}

// Words writes the date for a reader: "14 January 2031".
func (d Date) Words() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%d %s %d", d.Day, d.Month, d.Year)
}

// MonthWords writes the month for a reader: "January 2031".
func (d Date) MonthWords() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%s %d", d.Month, d.Year)
}

// MarshalText writes the date as YYYY-MM-DD.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads YYYY-MM-DD; empty text is the zero Date.
func (d *Date) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = Date{}
		return nil
	}
	parsed, err := Parse(string(text))
	if err != nil {
		return err
	}
	*d = parsed
	return nil
}

// Week returns the ISO 8601 week in which the date falls.
func (d Date) Week() Week {
	y, w := d.Time(time.UTC).ISOWeek()
	return Week{y, w}
}

// Week is an ISO 8601 week, the number of an edition: 2031-W07.
type Week struct {
	Year int
	Week int
}

// ParseWeek reads a week written as 2031-W07. A week 53 in a year that has
// only 52 is an error.
func ParseWeek(s string) (Week, error) {
	bad := fmt.Errorf("%q is not a week; write it as 2031-W07", s)
	year, week, ok := strings.Cut(s, "-W")
	if !ok || len(year) != 4 || len(week) != 2 {
		return Week{}, bad
	}
	y, err1 := strconv.ParseUint(year, 10, 16)
	w, err2 := strconv.ParseUint(week, 10, 8)
	if err1 != nil || err2 != nil || w < 1 {
		return Week{}, bad
	}
	got := Week{int(y), int(w)}
	if got.Monday().Week() != got {
		return Week{}, fmt.Errorf("%q: %d has no week %d", s, y, w)
	}
	return got, nil
}

// MustParseWeek is ParseWeek for weeks fixed in code and tests; it panics on an error.
func MustParseWeek(s string) Week {
	w, err := ParseWeek(s)
	if err != nil {
		panic(err)
	}
	return w
}

// String writes the week as 2031-W07.
func (w Week) String() string { return fmt.Sprintf("%04d-W%02d", w.Year, w.Week) }

// IsZero reports whether the week is not set.
func (w Week) IsZero() bool { return w == Week{} }

// Monday returns the first day of the week. ISO 8601: week 1 holds 4 January.
func (w Week) Monday() Date {
	jan4 := Date{w.Year, time.January, 4}
	back := (int(jan4.Time(time.UTC).Weekday()) + 6) % 7
	return jan4.AddDays(-back + 7*(w.Week-1))
}

// Sunday returns the last day of the week.
func (w Week) Sunday() Date { return w.Monday().AddDays(6) }

// Next returns the week after w.
func (w Week) Next() Week { return w.Monday().AddDays(7).Week() }

// Previous returns the week before w.
func (w Week) Previous() Week { return w.Monday().AddDays(-7).Week() }

// Before reports whether w comes before other.
func (w Week) Before(other Week) bool { return w.Monday().Before(other.Monday()) }

// WeeksUntil counts the weeks from w to other; negative when other is earlier.
func (w Week) WeeksUntil(other Week) int { return w.Monday().DaysUntil(other.Monday()) / 7 }

// YearBefore returns the week of the same number in the year before. No year of
// 53 weeks follows another, so a week 53 has none; it gives the week that lies 52
// weeks back, which is week 1 of its own year and holds nearly the same dates.
func (w Week) YearBefore() Week {
	if w.Week == 53 {
		return Week{w.Year, 1}
	}
	return Week{w.Year - 1, w.Week}
}

// MarshalText writes the week as 2031-W07.
func (w Week) MarshalText() ([]byte, error) { return []byte(w.String()), nil }

// UnmarshalText reads a week written as 2031-W07.
func (w *Week) UnmarshalText(text []byte) error {
	parsed, err := ParseWeek(string(text))
	if err != nil {
		return err
	}
	*w = parsed
	return nil
}
