package chart

import (
	"os"
	"testing"

	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/themes"
)

// season is an invented one: so many whole weeks before 12 February 2031, with the
// parts that had come off and those that were fitted in each.
func season(t testing.TB, weeks, off int, rollOut string, fitted func(week int) int) edition.Progress {
	t.Helper()
	on := day.MustParse("2031-02-12")
	f := cleared.HistoryFields{On: on}
	stood := 0
	for i := range weeks {
		n := fitted(i)
		stood += n
		came := max(min(off, 4+i*off/6), stood)
		f.Weeks = append(f.Weeks, cleared.HistoryWeek{Ended: on.Week().Monday().AddDays(-1 - 7*(weeks-1-i)), CameOff: came, Stood: stood, Fitted: n})
	}
	var now []cleared.PartMovement
	for i := range off {
		phase := cleared.Ready
		if i < stood {
			phase = cleared.Fitted
		}
		now = append(now, cleared.PartMovement{Phase: phase})
	}
	var day0 day.Date
	if rollOut != "" {
		day0 = day.MustParse(rollOut)
	}
	p := edition.ProgressOf(cleared.NewHistory(f), now, day0)
	if p == nil {
		t.Fatal("a season with weeks has no progress")
	}
	return *p
}

func seasons(t testing.TB) map[string]edition.Progress {
	some := func(all ...int) func(int) int { return func(i int) int { return all[i%len(all)] } }
	return map[string]edition.Progress{
		"1 week":           season(t, 1, 5, "2031-05-03", some(0)),
		"3 weeks":          season(t, 3, 12, "2031-05-03", some(0, 1, 2)),
		"12 weeks":         season(t, 12, 33, "2031-05-03", some(0, 0, 1, 2, 0, 3)),
		"12 weeks, no day": season(t, 12, 33, "", some(0, 0, 1, 2, 0, 3)),
		"16 weeks, bursts": season(t, 16, 60, "2031-05-03", some(0, 0, 0, 9, 0, 0)),
		"52 weeks":         season(t, 52, 120, "2031-05-03", some(2, 0, 1, 3, 0, 2)),
		"60 weeks, far":    season(t, 60, 420, "2032-03-03", some(2, 5, 1, 8, 0, 2)),
		"all fitted":       season(t, 12, 18, "2031-05-03", some(1, 2)),
		"nearly all":       season(t, 12, 20, "2031-05-03", some(1, 2)),
		"none fitted":      season(t, 12, 18, "2031-05-03", some(0)),
		"few fitted":       season(t, 12, 40, "2031-05-03", func(i int) int { return i / 11 }),
		"rolled out":       season(t, 12, 20, "2031-02-01", some(1, 2)),
		"many":             season(t, 20, 1450, "2031-05-03", some(40, 12, 60)),
	}
}

func newPress(t testing.TB) *Press {
	t.Helper()
	p, err := NewPress(themes.Embedded())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestLook(t *testing.T) {
	p := newPress(t)
	for name, s := range seasons(t) {
		d, err := p.Draw(s, 560*typeset.Point, 17*typeset.Point)
		if err != nil {
			t.Fatal(name, err)
		}
		png, err := d.PNG()
		if err != nil {
			t.Fatal(err)
		}
		os.WriteFile("/tmp/fc/out/"+name+".png", png, 0o644)
		os.WriteFile("/tmp/fc/out/"+name+".svg", []byte(d.SVG("c")), 0o644)
		t.Log(name, len(png), len(d.SVG("c")), d.Labels(), d.Alt)
	}
}
