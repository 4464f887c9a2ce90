package edition_test

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/forecast"
)

// seasonOf is a history of whole weeks before 12 February 2031 in which parts were
// fitted, of off that came off, and where they stand today.
func seasonOf(off int, fitted ...int) (cleared.History, []cleared.PartMovement) {
	on := day.MustParse("2031-02-12")
	f := cleared.HistoryFields{On: on}
	stood := 0
	for i, n := range fitted {
		stood += n
		f.Weeks = append(f.Weeks, cleared.HistoryWeek{Ended: on.Week().Monday().AddDays(-1 - 7*(len(fitted)-1-i)), CameOff: off, Stood: stood, Fitted: n})
	}
	var now []cleared.PartMovement
	for i := range off {
		phase := cleared.Off
		if i < stood {
			phase = cleared.Fitted
		}
		now = append(now, part(fmt.Sprint(i), phase))
	}
	return cleared.NewHistory(f), now
}

func progress(rollOut string, off int, fitted ...int) *edition.Progress {
	h, now := seasonOf(off, fitted...)
	var rolls day.Date
	if rollOut != "" {
		rolls = day.MustParse(rollOut)
	}
	return edition.ProgressOf(h, now, rolls)
}

func TestProgressSaysWhatIsKnownAndPromisesNothing(t *testing.T) {
	eight := []int{1, 0, 2, 1, 0, 3, 1, 1} // 9
	for _, c := range []struct {
		name string
		p    *edition.Progress
		want []string
	}{
		{"a range", progress("2031-03-26", 60, eight...), []string{
			"By 12 February 2031, 9 of the 60 parts that came off were back on.",
			"At the pace of the last 8 weeks, four times in five, between 3 and 12 more parts would be back on by the roll-out day, 26 March 2031. That is what those weeks would give, and no promise: other parts may come off, and weeks differ."}},
		{"no more than are off", progress("2031-03-26", 17, eight...), []string{
			"By 12 February 2031, 9 of the 17 parts that came off were back on.",
			"At the pace of the last 8 weeks, four times in five, between 3 and all 8 of the parts that are still off would be back on by the roll-out day, 26 March 2031."}},
		{"all of them", progress("2031-03-26", 11, eight...), []string{
			"By 12 February 2031, 9 of the 11 parts that came off were back on.",
			"At the pace of the last 8 weeks, four times in five, all 2 parts that are still off would be back on by"}},
		{"the last one", progress("2031-03-26", 10, eight...), []string{
			"By 12 February 2031, 9 of the 10 parts that came off were back on.",
			"four times in five, the one part that is still off would be back on by"}},
		{"one that may", progress("2031-02-14", 10, eight...), []string{"9 of the 10", "four times in five, the one part that is still off may or may not be back on by"}},
		{"few", progress("2031-02-14", 60, eight...), []string{"9 of the 60", "at most 1 more part would be back on by"}},
		{"some", progress("2031-02-19", 60, eight...), []string{"9 of the 60", "at most 3 more parts would be back on by"}},
		{"too short", progress("2031-05-03", 20, 0, 1, 0), []string{
			"By 12 February 2031, 1 of the 20 parts that came off was back on.",
			"What the pace says of the weeks to come is shown once there are 8 whole weeks of work to go by; so far there are 3."}},
		{"idle", progress("2031-05-03", 20, make([]int, 9)...), []string{
			"By 12 February 2031, 20 parts had come off, and none was back on yet.",
			"No part went back on in the past weeks, so their pace does not say when the next one will."}},
		{"too far", progress("2031-07-01", 20, eight...), []string{"By 12 February 2031, 9 of the 20 parts that came off were back on."}},
		{"no day", progress("", 20, eight...), []string{"By 12 February 2031, 9 of the 20 parts that came off were back on."}},
		{"past", progress("2031-02-12", 20, eight...), []string{"By 12 February 2031, 9 of the 20 parts that came off were back on."}},
		{"done", progress("2031-05-03", 9, eight...), []string{"By 12 February 2031 all 9 parts that came off were back on."}},
		{"one, done", progress("2031-05-03", 1, 0, 1), []string{"By 12 February 2031 the one part that came off was back on."}},
		{"one, off", progress("2031-05-03", 1, 0), []string{"By 12 February 2031, 1 part had come off, and none was back on yet.", "What the pace says"}},
	} {
		got := c.p.Words()
		if len(got) != len(c.want) {
			t.Errorf("%s: %q", c.name, got)
			continue
		}
		for i := range got {
			if !strings.Contains(got[i], c.want[i]) {
				t.Errorf("%s: got %q, want %q in it", c.name, got[i], c.want[i])
			}
		}
		if c.p.Ahead == nil && strings.Contains(strings.Join(got, " "), "four times") {
			t.Errorf("%s: a range out of nothing: %q", c.name, got)
		}
		if loud := regexp.MustCompile(`!|only|hurry|deadline|on time|late|safe|airworth|fly`).FindString(strings.Join(got, " ")); loud != "" {
			t.Errorf("%s: %q presses or promises", c.name, loud)
		}
	}
	if edition.ProgressOf(cleared.NewHistory(cleared.HistoryFields{}), []cleared.PartMovement{part("1", cleared.Off)}, day.MustParse("2031-05-03")) != nil {
		t.Error("a season without a whole week has a chart")
	}
}

// The fan ends on the roll-out day with the range that the words name, and is the
// forecast for each week's end before.
func TestFanIsTheForecastWeekByWeek(t *testing.T) {
	weekly := []int{0, 0, 2, 1, 0, 3, 0, 1, 1, 4, 0, 0}
	p := progress("2031-05-03", 40, weekly...)
	if p.Ahead == nil || p.Ahead.Weeks != 12 {
		t.Fatalf("got %+v", p)
	}
	days := p.On.DaysUntil(p.RollOut)
	for i, f := range p.Ahead.Fan {
		at := min(7*(i+1), days)
		want, err := forecast.Fits(weekly, at)
		if err != nil || f.By != p.On.AddDays(at) || f.Low != min(want.Low, p.Off()) || f.High != min(want.High, p.Off()) {
			t.Errorf("day %d: got %+v, want %+v (%v)", at, f, want, err)
		}
	}
	if last := p.Ahead.RollOutRange(); last.By != p.RollOut || len(p.Ahead.Fan) != 12 {
		t.Errorf("the fan ends with %+v of %d", last, len(p.Ahead.Fan))
	}
}

// What an edition keeps of its chart is what its letter showed, and an edition from
// before there was one is still read.
func TestRecordKeepsTheChart(t *testing.T) {
	h, now := seasonOf(40, 0, 0, 2, 1, 0, 3, 0, 1, 1, 4, 0, 0)
	m := material(nil, now)
	m.History, m.RollOut = h, day.MustParse("2031-05-03")
	e, err := edition.Assemble(words("", nil, nil), m)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(e.Record())
	if err != nil {
		t.Fatal(err)
	}
	var back edition.Record
	if err := json.Unmarshal(data, &back); err != nil {
		t.Fatal(err)
	}
	if back.Progress == nil || !slices.Equal(back.Progress.Words(), e.Progress.Words()) || !slices.Equal(back.Progress.Weeks, e.Progress.Weeks) || !slices.Equal(back.Progress.Ahead.Fan, e.Progress.Ahead.Fan) {
		t.Errorf("kept %+v of %+v", back.Progress, e.Progress)
	}
	if strings.Contains(string(data), `"key"`) {
		t.Errorf("a part's key is kept with what is public: %s", data)
	}
	old := `{"week":"2031-W02","subject":"A week","preheader":"","opening":"Hello.","stories":[],"figures":[]}`
	var before edition.Record
	if err := json.Unmarshal([]byte(old), &before); err != nil || before.Progress != nil {
		t.Errorf("an older record: %v, %+v", err, before.Progress)
	}
}
