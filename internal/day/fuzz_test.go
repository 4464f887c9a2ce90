package day_test

import (
	"testing"

	"example.org/opencowl/internal/day"
)

func FuzzDate(f *testing.F) {
	for _, s := range []string{"2031-01-14", "2032-02-29", "2031-02-29", "0001-01-01", "0000-01-01", "9999-12-31", "2031-1-4", "+031-01-04", "2031-W07"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := day.Parse(s)
		if err != nil {
			if d != (day.Date{}) {
				t.Fatalf("Parse(%q) failed and still gave %v", s, d)
			}
			return
		}
		if d.String() != s {
			t.Fatalf("Parse(%q) writes itself %q", s, d)
		}
		w := d.Week()
		if d.Before(w.Monday()) || d.After(w.Sunday()) {
			t.Fatalf("%v is not in its own week %v", d, w)
		}
		if next := d.AddDays(1); d.DaysUntil(next) != 1 || !d.Before(next) || next.AddDays(-1) != d {
			t.Fatalf("the day after %v is %v", d, next)
		}
	})
}

func FuzzWeek(f *testing.F) {
	for _, s := range []string{"2031-W07", "2026-W53", "2031-W53", "0000-W01", "0001-W01", "9999-W52", "9999-W53", "2031-W00", "2031-w07", "2031-07", "+031-W07"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		w, err := day.ParseWeek(s)
		if err != nil {
			if w != (day.Week{}) {
				t.Fatalf("ParseWeek(%q) failed and still gave %v", s, w)
			}
			return
		}
		if w.String() != s {
			t.Fatalf("ParseWeek(%q) writes itself %q", s, w)
		}
		if w.Monday().Week() != w || w.Sunday().Week() != w || w.Next().Previous() != w || !w.Before(w.Next()) {
			t.Fatalf("%v: Monday %v, Sunday %v, next %v", w, w.Monday(), w.Sunday(), w.Next())
		}
	})
}
