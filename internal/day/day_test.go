package day_test

import (
	"testing"
	"time"

	"example.org/opencowl/internal/day"
)

// Sources: the Go project's own table (package time, isoWeekTests) for the first
// six; the others are computed from ISO 8601's rule that week 1 holds 4 January.
func TestWeeksAgreeWithPublishedTables(t *testing.T) {
	for date, want := range map[string]string{
		"2027-01-01": "2026-W53", "2021-01-01": "2020-W53", "2033-01-01": "2032-W53", "2025-01-01": "2025-W01", "2012-12-31": "2013-W01", "1982-01-01": "1981-W53",
		"2004-12-31": "2004-W53", "2005-01-02": "2004-W53", "2007-12-31": "2008-W01", "2008-12-28": "2008-W52", "2008-12-29": "2009-W01", "2010-01-03": "2009-W53",
		"2020-12-31": "2020-W53", "2021-01-03": "2020-W53", "2021-01-04": "2021-W01", "2024-12-30": "2025-W01", "2025-12-29": "2026-W01",
		"2026-12-31": "2026-W53", "2027-01-03": "2026-W53", "2027-01-04": "2027-W01", "2032-12-31": "2032-W53",
	} {
		if got := day.MustParse(date).Week().String(); got != want {
			t.Errorf("%s is in %s, want %s", date, got, want)
		}
	}
}

func TestYearsWith53Weeks(t *testing.T) {
	long := map[int]bool{}
	for _, y := range []int{2004, 2009, 2015, 2020, 2026, 2032, 2037, 2043, 2048} {
		long[y] = true
	}
	for y := 2000; y <= 2050; y++ {
		_, err := day.ParseWeek(day.Week{Year: y, Week: 53}.String())
		if (err == nil) != long[y] {
			t.Errorf("%d-W53: error %v; the year has 53 weeks: %t", y, err, long[y])
		}
	}
	count := 0
	for y := 2000; y < 2400; y++ {
		if (day.Week{Year: y, Week: 53}).Monday().Week().Week == 53 {
			count++
		}
	}
	if count != 71 {
		t.Errorf("%d of 400 years have 53 weeks, want 71", count)
	}
}

func TestWeeksTileTheYears(t *testing.T) {
	w := day.MustParseWeek("2000-W01")
	for d := w.Monday(); d.Year <= 2060; d = d.AddDays(1) {
		if got := d.Week(); got != w {
			if got != w.Next() || d != got.Monday() {
				t.Fatalf("%s is in %s, after %s", d, got, w)
			}
			if got.Previous() != w || w.Sunday().AddDays(1) != d {
				t.Fatalf("%s and %s do not meet", w, got)
			}
			w = got
		}
		if d.Month == time.January && d.Day == 4 && w.Week != 1 {
			t.Fatalf("4 January %d is in %s", d.Year, w)
		}
	}
}

func TestWhatIsNoDateIsAnError(t *testing.T) {
	for _, s := range []string{"2031-02-30", "2031-2-3", "14 January 2031", "20310114", "", "2031-13-01"} {
		if d, err := day.Parse(s); err == nil {
			t.Errorf("Parse(%q) = %s, want an error", s, d)
		}
	}
	for _, s := range []string{"2031-W00", "2031-W53", "2031-07", "2031W07", "31-W07", "2031-W7", "2031-W+7"} {
		if w, err := day.ParseWeek(s); err == nil {
			t.Errorf("ParseWeek(%q) = %s, want an error", s, w)
		}
	}
}

func TestDatesInWords(t *testing.T) {
	d := day.MustParse("2031-01-04")
	if got := d.Words() + " / " + d.MonthWords(); got != "4 January 2031 / January 2031" {
		t.Errorf("got %q", got)
	}
}
