package clearance_test

import (
	"fmt"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
)

// log writes entries of one part: "2031-01-14 inspected".
func (b *bench) log(part string, entries ...string) {
	b.t.Helper()
	for i, e := range entries {
		date, step, _ := strings.Cut(e, " ")
		b.write(fmt.Sprintf("log/%s/%s-%s-%d.md", date[:4], date, part, i), fmt.Sprintf("---\ndate: %s\nby: tam\npart: %s\nstep: %s\n---\n", date, part, step))
	}
}

// logged makes a part without a story, with its entries.
func (b *bench) logged(part string, entries ...string) {
	b.t.Helper()
	b.write("parts/"+part+".md", "---\nname: "+part+"\narea: hull\n---\n")
	b.log(part, entries...)
}

// weeks says a history shortly: the Sunday, came off, stood fitted, fitted for good.
func weeks(h cleared.History) string {
	var all []string
	for _, w := range h.Weeks() {
		all = append(all, fmt.Sprintf("%s %d %d %d", w.Ended.String()[5:], w.CameOff, w.Stood, w.Fitted))
	}
	return strings.Join(all, ", ")
}

// onMonday has the stiffener removed on Monday 2 December 2030; it is inspected on 14
// January.
func (b *bench) onMonday() {
	b.edit("log/2030/2030-12-01-stiffener-removed.md", "date: 2030-12-01", "date: 2030-12-02")
}

func TestHistoryCountsWholeWeeksOfTheSeason(t *testing.T) {
	for _, c := range []struct {
		name, today string
		change      func(*bench)
		want        string
	}{
		{"a Sunday is not over", "2031-01-19", func(b *bench) {}, "12-08 1 0 0, 12-15 1 0 0, 12-22 1 0 0, 12-29 1 0 0, 01-05 1 0 0, 01-12 1 0 0"},
		{"the Monday after", "2031-01-20", func(b *bench) {}, "12-08 1 0 0, 12-15 1 0 0, 12-22 1 0 0, 12-29 1 0 0, 01-05 1 0 0, 01-12 1 0 0, 01-19 1 0 0"},
		{"fitted on a Sunday", "2030-12-24", func(b *bench) { b.logged("strut", "2030-12-02 removed", "2030-12-15 fitted") }, "12-08 2 0 0, 12-15 2 1 1, 12-22 2 1 0"},
		{"fitted on a Monday", "2030-12-24", func(b *bench) { b.logged("strut", "2030-12-02 removed", "2030-12-16 fitted") }, "12-08 2 0 0, 12-15 2 0 0, 12-22 2 1 1"},
		{"fitted this week", "2030-12-24", func(b *bench) { b.logged("strut", "2030-12-02 removed", "2030-12-23 fitted") }, "12-08 2 0 0, 12-15 2 0 0, 12-22 2 0 0"},
		{"off again", "2030-12-31", func(b *bench) {
			b.logged("strut", "2030-12-02 removed", "2030-12-09 fitted", "2030-12-16 removed", "2030-12-23 fitted")
		}, "12-08 2 0 0, 12-15 2 1 0, 12-22 2 0 0, 12-29 2 1 1"},
		{"off again this week", "2030-12-31", func(b *bench) {
			b.logged("strut", "2030-12-02 removed", "2030-12-09 fitted", "2030-12-30 removed")
		}, "12-08 2 0 0, 12-15 2 1 0, 12-22 2 1 0, 12-29 2 1 0"},
		{"on and off within a week", "2030-12-16", func(b *bench) { b.logged("strut", "2030-12-02 removed", "2030-12-09 fitted", "2030-12-10 removed") }, "12-08 2 0 0, 12-15 2 0 0"},
		{"a note moves nothing", "2030-12-16", func(b *bench) { b.logged("strut", "2030-11-01 note") }, "12-08 1 0 0, 12-15 1 0 0"},
		{"what is dated later has not happened", "2030-12-16", func(b *bench) { b.logged("strut", "2030-12-20 removed") }, "12-08 1 0 0, 12-15 1 0 0"},
		{"a part without figures", "2030-12-16", func(b *bench) {
			b.logged("strut", "2030-11-20 removed", "2030-12-10 fitted")
			b.edit("parts/strut.md", "area: hull", "area: hull\nfigures: no")
		}, "12-08 1 0 0, 12-15 1 0 0"},
		{"what was fitted last season stands, and sets no pace", "2030-12-16", func(b *bench) {
			b.logged("strut", "2030-02-01 removed", "2030-05-01 fitted")
		}, "12-08 2 1 0, 12-15 2 1 0"},
		{"a pause of thirteen weeks is of the season", "2030-12-11", func(b *bench) { b.logged("strut", "2030-09-02 removed") },
			"09-08 1 0 0, 09-15 1 0 0, 09-22 1 0 0, 09-29 1 0 0, 10-06 1 0 0, 10-13 1 0 0, 10-20 1 0 0, 10-27 1 0 0, 11-03 1 0 0, 11-10 1 0 0, 11-17 1 0 0, 11-24 1 0 0, 12-01 1 0 0, 12-08 2 0 0"},
		{"one of more is not", "2030-12-11", func(b *bench) { b.logged("strut", "2030-09-01 removed") }, "12-08 2 0 0"},
		{"the first week", "2030-12-06", func(b *bench) {}, ""},
		{"a machine that is out", "2031-09-01", func(b *bench) {}, ""},
		// In 2031 British clocks go forward on 30 March; a week has 167 hours and seven days.
		{"over the change of the clocks", "2031-04-08", func(b *bench) { b.logged("strut", "2031-03-24 removed", "2031-03-30 fitted") }, "12-08 1 0 0, 12-15 1 0 0, 12-22 1 0 0, 12-29 1 0 0, " +
			"01-05 1 0 0, 01-12 1 0 0, 01-19 1 0 0, 01-26 1 0 0, 02-02 1 0 0, 02-09 1 0 0, 02-16 1 0 0, 02-23 1 0 0, 03-02 1 0 0, 03-09 1 0 0, 03-16 1 0 0, 03-23 1 0 0, 03-30 2 1 1, 04-06 2 1 0"},
	} {
		b := newBench(t)
		b.onMonday()
		b.today = day.MustParse(c.today)
		c.change(b)
		h := b.desk().History()
		if got := weeks(h); got != c.want {
			t.Errorf("%s, on %s:\n got %s\nwant %s", c.name, c.today, got, c.want)
		}
		if h.On() != b.today {
			t.Errorf("%s: as of %s", c.name, h.On())
		}
	}
}

// While a part's only story waits, the weeks show what the editions of the time did,
// and none of what has happened to it since.
func TestHistoryKeepsAWaitingPartAsEditionsHadIt(t *testing.T) {
	b := newBench(t)
	b.onMonday()
	b.logged("strut", "2030-12-03 removed")
	b.today = day.MustParse("2031-01-10")
	b.send("2031-W02", "2031-01-10")
	b.today = day.MustParse("2031-01-17")
	b.send("2031-W03", "2031-01-17")
	b.today = day.MustParse("2031-02-05")
	free := weeks(b.desk().History())
	if want := "12-08 2 0 0, 12-15 2 0 0, 12-22 2 0 0, 12-29 2 0 0, 01-05 2 0 0, 01-12 2 0 0, 01-19 2 0 0, 01-26 2 0 0, 02-02 2 0 0"; free != want {
		t.Fatalf("before anything waits:\n got %s\nwant %s", free, want)
	}
	b.edit("wording/floor-stiffener.md", "for: [visitors, members]", "for: [visitors, members]\nnot_before: 2031-03-01")
	waits := weeks(b.desk().History())
	if want := "12-08 1 0 0, 12-15 1 0 0, 12-22 1 0 0, 12-29 1 0 0, 01-05 1 0 0, 01-12 2 0 0, 01-19 2 0 0, 01-26 2 0 0, 02-02 2 0 0"; waits != want {
		t.Fatalf("while it waits:\n got %s\nwant %s", waits, want)
	}
	// Nothing that is logged of it makes a difference, whenever it is dated.
	b.log("floor-stiffener", "2030-12-10 fitted", "2031-01-21 fitted", "2030-09-30 removed", "2031-02-04 removed")
	if got := weeks(b.desk().History()); got != waits {
		t.Errorf("its record shows while it waits:\n got %s\nwant %s", got, waits)
	}
	b.today = day.MustParse("2031-03-01")
	if got := weeks(b.desk().History()); !strings.HasPrefix(got, "10-06 1 0 0") {
		t.Errorf("once its day has come, its course is told: %s", got)
	}
}
