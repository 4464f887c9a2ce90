package day_test

import (
	"os/exec"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the same zones on every machine

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/testtool"
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

// Source: the On-Line Encyclopedia of Integer Sequences, A249404, "Number of ISO
// 8601 weeks associated with the Gregorian year n", from 2000 on; its comment counts
// 71 long years in 400.
func TestYearsWith53Weeks(t *testing.T) {
	long := map[int]bool{}
	for _, y := range []int{2004, 2009, 2015, 2020, 2026, 2032, 2037, 2043, 2048, 2054, 2060, 2065} {
		long[y] = true
	}
	for y := 2000; y <= 2068; y++ {
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

// Python's datetime counts ISO weeks by code of its own.
func TestEveryDayIsInTheWeekThatPythonFinds(t *testing.T) {
	python := testtool.Need(t, "python3")
	out, err := exec.Command(python, "-c", `
from datetime import date, timedelta
d = date(2000, 1, 1)
while d.year <= 2060:
    print("%s %04d-W%02d" % (d, *d.isocalendar()[:2]))
    d += timedelta(1)
`).Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) != 22281 { // 61 years, 16 of them leap years
		t.Fatalf("%d days", len(lines))
	}
	for _, line := range lines {
		date, week, _ := strings.Cut(strings.TrimSpace(line), " ")
		if got := day.MustParse(date).Week().String(); got != week {
			t.Errorf("%s is in %s; Python says %s", date, got, week)
		}
	}
}

// zones are some whose clocks change at midnight, or skipped a whole day, beside
// plain ones. From the IANA time zone database.
var zones = []string{"UTC", "Europe/London", "Europe/Lisbon", "America/New_York", "America/Sao_Paulo", "America/Havana", "America/Santiago",
	"America/St_Johns", "Asia/Beirut", "Asia/Gaza", "Asia/Kathmandu", "Africa/Cairo", "Australia/Lord_Howe", "Pacific/Apia", "Pacific/Chatham", "Pacific/Kiritimati"}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// A week lasts from the first moment of its Monday to that of the next, and each
// moment is in one week: that in which its date falls.
func TestWeeksTileTimeInEveryZone(t *testing.T) {
	for _, name := range zones {
		t.Run(strings.ReplaceAll(name, "/", " "), func(t *testing.T) {
			loc := zone(t, name)
			weekAt := func(at time.Time) day.Week { return day.Of(at.In(loc)).Week() }
			for w, last := day.MustParseWeek("2000-W01"), day.MustParseWeek("2060-W53"); !last.Before(w); w = w.Next() {
				from, to := w.Monday().Time(loc), w.Next().Monday().Time(loc)
				if got := weekAt(from); got != w {
					t.Fatalf("%s begins at %s, which is in %s", w, from, got)
				}
				if got := weekAt(from.Add(-1)); got != w.Previous() {
					t.Fatalf("the moment before %s, which begins at %s, is in %s", w, from, got)
				}
				for at := from; at.Before(to); at = at.Add(90 * time.Minute) {
					if got := weekAt(at); got != w {
						t.Fatalf("%s lasts from %s to %s, and %s is in %s", w, from, to, at, got)
					}
				}
				switch hours := to.Sub(from).Hours(); {
				case hours >= 7*24-1 && hours <= 7*24+1:
				case name == "Pacific/Apia" && w.String() == "2011-W52" && hours == 6*24: // it skipped 30 December 2011
				default:
					t.Fatalf("%s has %v hours", w, hours)
				}
			}
		})
	}
}

// When clocks changed at midnight is from the IANA time zone database.
func TestDateBeginsWithItsFirstMoment(t *testing.T) {
	for _, c := range []struct{ zone, date, want string }{
		{"Europe/London", "2031-03-30", "2031-03-30T00:00:00Z"},          // the hour that is skipped comes later
		{"America/Havana", "2023-03-12", "2023-03-12T01:00:00-04:00"},    // 00:00 was skipped
		{"America/Havana", "2023-11-05", "2023-11-05T00:00:00-04:00"},    // 00:00 came twice
		{"America/Sao_Paulo", "2018-11-04", "2018-11-04T01:00:00-02:00"}, // 00:00 was skipped
		{"America/Sao_Paulo", "2018-02-18", "2018-02-18T00:00:00-03:00"}, // 23:00 came twice the day before
		{"Asia/Beirut", "2022-03-27", "2022-03-27T01:00:00+03:00"},       // 00:00 was skipped
		{"America/St_Johns", "2010-03-14", "2010-03-14T00:00:00-03:30"},  // 00:01 was skipped
		{"Pacific/Apia", "2011-12-30", "2011-12-31T00:00:00+14:00"},      // the whole day was skipped
		{"Pacific/Apia", "2011-12-31", "2011-12-31T00:00:00+14:00"},
	} {
		if got := day.MustParse(c.date).Time(zone(t, c.zone)).Format(time.RFC3339); got != c.want {
			t.Errorf("%s in %s begins at %s, want %s", c.date, c.zone, got, c.want)
		}
	}
}

// A year before is the week of the same number; 2026 and 2032 have 53 weeks (OEIS
// A249404). 28 December 2026 to 3 January 2027 lies a year after 29 December 2025
// to 4 January 2026, but for a day.
func TestAYearBefore(t *testing.T) {
	for week, want := range map[string]string{
		"2031-W07": "2030-W07", "2027-W10": "2026-W10", "2033-W52": "2032-W52", "2027-W01": "2026-W01", "2026-W52": "2025-W52",
		"2026-W53": "2026-W01", "2032-W53": "2032-W01",
	} {
		if got := day.MustParseWeek(week).YearBefore().String(); got != want {
			t.Errorf("a year before %s is %s, want %s", week, got, want)
		}
	}
	for w := day.MustParseWeek("2000-W01"); w.Year <= 2060; w = w.Next() {
		y := w.YearBefore()
		if again, err := day.ParseWeek(y.String()); err != nil || again != y {
			t.Fatalf("a year before %s is %s: %v", w, y, err)
		}
		if weeks := y.WeeksUntil(w); weeks != 52 && weeks != 53 {
			t.Fatalf("a year before %s is %s, %d weeks earlier", w, y, weeks)
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
