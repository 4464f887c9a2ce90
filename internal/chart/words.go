package chart

import (
	"fmt"
	"math"
	"time"

	"golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"example.org/opencowl/internal/day"
)

// mostTicks is how many numbers a scale may have before they crowd.
const mostTicks = 6

// countTicks are round numbers of parts, from nought to what came off.
func (f *figure) countTicks() []plot.Tick {
	step := 1
	for _, s := range []int{2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000} {
		if f.most()/step < mostTicks {
			break
		}
		step = s
	}
	var ticks []plot.Tick
	for n := 0; n <= f.most(); n += step {
		ticks = append(ticks, plot.Tick{Value: float64(n), Label: fmt.Sprint(n)})
	}
	return ticks
}

// dayTicks name days or months, whichever the span has room for.
func (f *figure) dayTicks(span float64) []plot.Tick {
	last := f.begin().AddDays(int(span) - 1)
	if span <= 70 {
		return f.weekTicks(last, int(math.Ceil(span/7/mostTicks)))
	}
	for _, months := range []int{1, 2, 3, 6} {
		if ticks := f.monthTicks(last, months); len(ticks) <= mostTicks+1 {
			return ticks
		}
	}
	return f.monthTicks(last, 12)
}

// weekTicks name the Mondays of every so many weeks.
func (f *figure) weekTicks(last day.Date, weeks int) []plot.Tick {
	var ticks []plot.Tick
	for d := f.begin(); !d.After(last); d = d.AddDays(7 * weeks) {
		ticks = append(ticks, plot.Tick{Value: f.day(d) - 1, Label: dayWords(d)})
	}
	return ticks
}

// monthTicks name the first days of every so many months, with the year where one begins.
func (f *figure) monthTicks(last day.Date, months int) []plot.Tick {
	var ticks []plot.Tick
	d := day.Date{Year: f.begin().Year, Month: time.January, Day: 1}
	for ; !d.After(last); d = day.Of(d.Time(time.UTC).AddDate(0, months, 0)) {
		if d.Before(f.begin()) {
			continue
		}
		label := d.Month.String()[:3]
		if d.Month == time.January {
			label = fmt.Sprint(d.Year)
		}
		ticks = append(ticks, plot.Tick{Value: f.day(d) - 1, Label: label})
	}
	return ticks
}

// dayWords writes a day for a scale: "3 May".
func dayWords(d day.Date) string { return fmt.Sprintf("%d %s", d.Day, d.Month.String()[:3]) }

// heading sets the title over the whole.
func (f *figure) heading(c vgdraw.Canvas, edge vg.Length) {
	style := f.style(font.WeightSemiBold, ink)
	style.YAlign = text.YTop
	c.FillText(style, vg.Point{X: c.Min.X + edge, Y: c.Max.Y - edge/2}, title)
}

// words are what stands beside the lines of a chart.
type words struct{ *figure }

// Plot writes the words where they cross no line.
func (w words) Plot(c vgdraw.Canvas, pl *plot.Plot) {
	x, y := pl.Transforms(&c)
	l := &labels{figure: w.figure, canvas: c, x: x, y: y}
	l.rollOutDay()
	l.cameOff()
	l.backOn()
	l.rangeAhead()
}

// labels sets words by the lines of a plot.
type labels struct {
	*figure
	canvas vgdraw.Canvas
	x, y   func(float64) vg.Length
	taken  vg.Rectangle // by the words at today's dot
}

// put writes lines of words with their left lower corner at a place.
func (l *labels) put(style text.Style, x, y vg.Length, lines ...string) {
	style.YAlign = text.YBottom
	descent := style.FontExtents().Descent
	for i, line := range lines {
		up := l.leading() * vg.Length(len(lines)-1-i)
		l.canvas.FillText(style, vg.Point{X: x, Y: y + up + descent - l.unit/5}, line)
	}
}

func (l *labels) leading() vg.Length { return l.unit * 6 / 5 }

func (l *labels) wide(style text.Style, lines ...string) (most vg.Length) {
	for _, line := range lines {
		most = max(most, style.Width(line))
	}
	return most
}

// rollOutDay stands over its line, within the picture.
func (l *labels) rollOutDay() {
	if !l.rollsOut() {
		return
	}
	style := l.style(font.WeightSemiBold, ink)
	label := "Roll-out " + dayWords(l.season.RollOut)
	l.put(style, l.x(l.day(l.season.RollOut))-l.wide(style, label), l.canvas.Max.Y+l.unit/3, label)
}

// cameOff stands on the ceiling, over today.
func (l *labels) cameOff() {
	style := l.style(font.WeightSemiBold, soft)
	label := fmt.Sprintf("%d came off", l.season.CameOff)
	x := max(l.canvas.Min.X+l.unit/3, l.x(l.now())-l.wide(style, label))
	l.put(style, x, l.y(float64(l.most()))+l.unit/4, label)
}

// backOn stands by today's dot: to the left and above the line, which never comes
// down from there, where the ceiling leaves room for it; to the right, where there is
// no fan; else under the line.
func (l *labels) backOn() {
	style := l.style(font.WeightSemiBold, sea)
	label := fmt.Sprintf("%d back on", l.season.Fitted)
	wide, gap := l.wide(style, label), l.unit/2
	x, y := l.x(l.now()), l.y(float64(l.season.Fitted))
	left, right := x-gap-wide, min(x+gap, l.canvas.Max.X-wide)
	over := func(at vg.Length) bool { return y+gap+l.leading() < l.y(l.ceilingAt(at)) }
	at := vg.Point{X: right, Y: max(l.y(l.lowestAt(right))-gap-l.leading(), l.canvas.Min.Y)}
	switch {
	case left > l.canvas.Min.X+gap && over(left):
		at = vg.Point{X: left, Y: y + gap}
	case l.season.Ahead == nil && right > x && over(right):
		at = vg.Point{X: right, Y: y + gap}
	}
	l.put(style, at.X, at.Y, label)
	l.taken = vg.Rectangle{Min: at, Max: at.Add(vg.Point{X: wide, Y: l.leading()})}
}

// rangeAhead names the fan's end: under it, or over it.
func (l *labels) rangeAhead() {
	if l.season.Ahead == nil {
		return
	}
	style := l.style(font.WeightSemiBold, warm)
	lines := []string{rangeLabel(l.season.Ahead.RollOutRange().Low, l.season.Ahead.RollOutRange().High), "four times in five"}
	gap := l.unit / 2
	left := l.x(l.day(l.season.RollOut)) - gap - l.wide(style, lines...)
	tall := 2 * l.leading()
	under := l.y(l.lowestAt(left)) - gap - tall
	if left < l.taken.Max.X+gap && under < l.taken.Max.Y {
		under = min(under, l.taken.Min.Y-tall)
	}
	if under > l.canvas.Min.Y {
		l.put(style, left, under, lines...)
		return
	}
	high := l.y(float64(l.season.Fitted + l.season.Ahead.RollOutRange().High))
	if over := high + gap; over+tall < l.y(float64(l.season.CameOff)) {
		l.put(style, left, over, lines...)
		return
	}
	// Between the edges, on a ground of its own.
	low := l.y(float64(l.season.Fitted + l.season.Ahead.RollOutRange().Low))
	y := (low+high)/2 - tall/2
	l.canvas.FillPolygon(rgba(paper), []vg.Point{{X: left - gap/2, Y: y - gap/3}, {X: left + l.wide(style, lines...) + gap/4, Y: y - gap/3},
		{X: left + l.wide(style, lines...) + gap/4, Y: y + tall}, {X: left - gap/2, Y: y + tall}})
	l.put(style, left, y, lines...)
}

// lowestAt is the lower of the lines at a place: the parts fitted until today, then
// the fan's lower edge.
func (l *labels) lowestAt(place vg.Length) float64 {
	at := 0
	for _, w := range l.season.Weeks {
		if l.x(l.day(w.Ended)) <= place {
			at = w.Fitted
		}
	}
	if l.x(l.now()) <= place {
		at = l.season.Fitted
	}
	if l.season.Ahead != nil {
		for _, p := range l.season.Ahead.Fan {
			if l.x(l.day(p.By)) <= place {
				at = l.season.Fitted + p.Low
			}
		}
	}
	return float64(at)
}

// ceilingAt is how many parts had come off at a place.
func (l *labels) ceilingAt(place vg.Length) float64 {
	at := 0
	for _, w := range l.season.Weeks {
		if l.x(l.day(w.Ended)) <= place {
			at = w.CameOff
		}
	}
	if l.x(l.now()) <= place {
		at = l.season.CameOff
	}
	return float64(at)
}

func rangeLabel(low, high int) string {
	if low == high {
		return fmt.Sprintf("%d more,", low)
	}
	return fmt.Sprintf("%d to %d more,", low, high)
}
