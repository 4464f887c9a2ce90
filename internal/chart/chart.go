// Package chart draws how the parts of a season come back on, week by week, against
// the day on which the machine is to roll out: the line of parts fitted so far, how
// many came off as its ceiling, the roll-out day, and a fan for what past weeks say
// of those to come.
//
// There is one drawing, made once: whatever shows it, the picture in a letter, the
// archive's page or a sheet of paper, takes it from the same list of things to draw.
// It promises that nothing in it is told by colour alone (each line has its own
// stroke and its own words beside it), that its contrasts are those of WCAG 2.2
// (4.5 to 1 for words, 3 to 1 for lines), that it stands on a light ground of its
// own, and that the same figures give the same bytes.
//
// It knows an edition's figures and the theme's fonts, and no part, story or record.
package chart

import (
	"fmt"
	"image/color"
	"io/fs"
	"math"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
)

// Points is a length in a drawing. On a screen one point is one CSS pixel.
type Points = typeset.Points

// Drawing is a chart, ready to be shown.
type Drawing struct {
	Width, Height Points
	Items         []draw.Item // in the order of painting; none belongs to a node
	Title         string
	Alt           string // what it shows, in words
}

// Colours. Words and lines stand on white paper; fanFill is a ground of its own that no
// words stand on.
var (
	paper   = draw.Colour{R: 0xff, G: 0xff, B: 0xff}
	ink     = draw.Colour{R: 0x14, G: 0x27, B: 0x2d}
	soft    = draw.Colour{R: 0x4a, G: 0x5c, B: 0x62}
	sea     = draw.Colour{R: 0x0b, G: 0x55, B: 0x63}
	warm    = draw.Colour{R: 0x97, G: 0x40, B: 0x1c}
	fanFill = draw.Colour{R: 0xfb, G: 0xe9, B: 0xd7}
	faint   = draw.Colour{R: 0xe3, G: 0xdc, B: 0xcb}
)

const (
	regular  = "fonts/SourceSans3-Regular.ttf"
	semibold = "fonts/SourceSans3-Semibold.ttf"
	typeface = "Source Sans 3"
)

// Press draws charts in a theme's fonts.
type Press struct {
	fonts  map[font.Weight]*typeset.Font
	styles text.Plain
}

// NewPress reads the fonts of a theme.
func NewPress(theme fs.FS) (*Press, error) {
	p := &Press{fonts: map[font.Weight]*typeset.Font{}}
	var all plotfont.Collection
	for weight, file := range map[font.Weight]string{font.WeightNormal: regular, font.WeightSemiBold: semibold} {
		data, err := fs.ReadFile(theme, file)
		if err != nil {
			return nil, fmt.Errorf("chart: the font %s cannot be read: %w", file, err)
		}
		outlines, err := opentype.Parse(data)
		if err != nil {
			return nil, fmt.Errorf("chart: %s is not a font that can be read: %w", file, err)
		}
		name := strings.TrimSuffix(strings.TrimPrefix(file, "fonts/"), ".ttf")
		if p.fonts[weight], err = typeset.ParseFont(name, data); err != nil {
			return nil, fmt.Errorf("chart: %w", err)
		}
		all = append(all, plotfont.Face{Font: face(weight, 0), Face: outlines})
	}
	p.styles = text.Plain{Fonts: plotfont.NewCache(all)}
	return p, nil
}

func face(weight font.Weight, size vg.Length) plotfont.Font {
	return plotfont.Font{Typeface: typeface, Weight: weight, Size: size}
}

// Draw draws a season at a width, its words in a size of type. All lengths hang on
// these two.
func (p *Press) Draw(s edition.Progress, width, size Points) (Drawing, error) {
	height := width * 5 / 8
	f := &figure{press: p, season: s, unit: vg.Length(size) / 1000}
	d := Drawing{Width: width, Height: height, Title: title, Alt: Alt(s)}
	pl := plot.New()
	f.axes(pl)
	for _, part := range []func(*plot.Plot) error{f.fan, f.ceiling, f.rollOut, f.fitted} {
		if err := part(pl); err != nil {
			return Drawing{}, fmt.Errorf("chart: %w", err)
		}
	}
	pl.Add(words{f})
	c := &canvas{press: p, height: height, state: state{colour: ink, width: vg.Points(1)}}
	all := vgdraw.NewCanvas(c, vg.Length(width)/1000, vg.Length(height)/1000)
	// A light border on all sides, and above the plot the title and the roll-out day.
	edge := f.unit * 3 / 4
	f.heading(all, edge)
	pl.Draw(vgdraw.Crop(all, edge, -edge, edge, -edge-f.unit*33/10))
	if c.err != nil {
		return Drawing{}, fmt.Errorf("chart: %w", c.err)
	}
	d.Items = c.items
	return d, nil
}

const title = "Parts back on, week by week"

// Alt says a chart in one text.
func Alt(s edition.Progress) string {
	all := []string{"Chart: " + strings.ToLower(title[:1]) + title[1:] + ", against how many came off."}
	if first := s.Weeks[0]; len(s.Weeks) > 1 {
		all = append(all, fmt.Sprintf("The week to %s ended with %d of %d.", first.Ended.Words(), first.Fitted, first.CameOff))
	}
	all = append(all, s.Words()...)
	if !s.RollOut.IsZero() && s.Ahead == nil {
		all = append(all, "The roll-out day is "+s.RollOut.Words()+".")
	}
	return strings.Join(all, " ")
}

// figure is a chart being drawn.
type figure struct {
	press  *Press
	season edition.Progress
	unit   vg.Length // the size of type
}

// begin is the Monday on which the chart begins.
func (f *figure) begin() day.Date { return f.season.Weeks[0].Ended.AddDays(-6) }

// day is the end of a day on the level axis, in days since the chart's beginning.
func (f *figure) day(d day.Date) float64 { return float64(f.begin().DaysUntil(d) + 1) }

func (f *figure) now() float64 { return f.day(f.season.On) }

func (f *figure) style(weight font.Weight, colour draw.Colour) text.Style {
	return text.Style{Color: rgba(colour), Font: face(weight, f.unit), Handler: f.press.styles}
}

func rgba(c draw.Colour) color.Color { return color.RGBA{R: c.R, G: c.G, B: c.B, A: 0xff} }

// most is the highest number in the chart.
func (f *figure) most() int {
	most := max(f.season.CameOff, 1)
	for _, w := range f.season.Weeks {
		most = max(most, w.CameOff)
	}
	return most
}

func (f *figure) line(xys plotter.XYs, colour draw.Colour, wide float64, dashes ...float64) (*plotter.Line, error) {
	l, err := plotter.NewLine(xys)
	if err != nil {
		return nil, err
	}
	l.Color, l.Width = rgba(colour), f.unit*vg.Length(wide)/17
	for _, d := range dashes {
		l.Dashes = append(l.Dashes, f.unit*vg.Length(d)/17)
	}
	return l, nil
}

// ceiling is how many parts had come off, drawn on to the roll-out day.
func (f *figure) ceiling(pl *plot.Plot) error {
	xys := plotter.XYs{}
	for _, w := range f.season.Weeks {
		xys = append(xys, plotter.XY{X: f.day(w.Ended), Y: float64(w.CameOff)})
	}
	xys = append(xys, plotter.XY{X: f.now(), Y: float64(f.season.CameOff)})
	if f.rollsOut() {
		xys = append(xys, plotter.XY{X: f.day(f.season.RollOut), Y: float64(f.season.CameOff)})
	}
	l, err := f.line(xys, soft, 2, 9, 5)
	if err != nil {
		return err
	}
	pl.Add(l)
	return nil
}

// fitted is the line of parts that stood fitted, with a dot for today.
func (f *figure) fitted(pl *plot.Plot) error {
	xys := plotter.XYs{}
	for _, w := range f.season.Weeks {
		xys = append(xys, plotter.XY{X: f.day(w.Ended), Y: float64(w.Fitted)})
	}
	today := plotter.XY{X: f.now(), Y: float64(f.season.Fitted)}
	l, err := f.line(append(xys, today), sea, 3.6)
	if err != nil {
		return err
	}
	dot, err := plotter.NewScatter(plotter.XYs{today})
	if err != nil {
		return err
	}
	dot.GlyphStyle = vgdraw.GlyphStyle{Color: rgba(sea), Radius: f.unit * 6 / 17, Shape: vgdraw.CircleGlyph{}}
	pl.Add(l, dot)
	return nil
}

// fan is the range between its lower and its upper edge, each a line of its own.
func (f *figure) fan(pl *plot.Plot) error {
	if f.season.Ahead == nil {
		return nil
	}
	low, high := plotter.XYs{{X: f.now(), Y: float64(f.season.Fitted)}}, plotter.XYs{{X: f.now(), Y: float64(f.season.Fitted)}}
	for _, p := range f.season.Ahead.Fan {
		low = append(low, plotter.XY{X: f.day(p.By), Y: float64(f.season.Fitted + p.Low)})
		high = append(high, plotter.XY{X: f.day(p.By), Y: float64(f.season.Fitted + p.High)})
	}
	around := append(plotter.XYs{}, low...)
	for i := len(high) - 1; i >= 0; i-- {
		around = append(around, high[i])
	}
	area, err := plotter.NewPolygon(around)
	if err != nil {
		return err
	}
	area.Color, area.LineStyle.Width = rgba(fanFill), 0
	pl.Add(area)
	for _, edge := range []plotter.XYs{low, high} {
		l, err := f.line(edge, warm, 1.8, 3, 3)
		if err != nil {
			return err
		}
		pl.Add(l)
	}
	return nil
}

func (f *figure) rollsOut() bool {
	return !f.season.RollOut.IsZero() && f.season.On.Before(f.season.RollOut)
}

// rollOut is an upright line on the roll-out day.
func (f *figure) rollOut(pl *plot.Plot) error {
	if !f.rollsOut() {
		return nil
	}
	x := f.day(f.season.RollOut)
	l, err := f.line(plotter.XYs{{X: x, Y: 0}, {X: x, Y: pl.Y.Max}}, ink, 1.8)
	if err != nil {
		return err
	}
	pl.Add(l)
	return nil
}

// axes sets the scales, their ticks and the grid.
func (f *figure) axes(pl *plot.Plot) {
	pl.BackgroundColor = nil
	pl.X.Min, pl.X.Max = 0, math.Max(f.now(), 7)
	if f.rollsOut() {
		pl.X.Max = f.day(f.season.RollOut)
	}
	pl.Y.Min, pl.Y.Max = 0, float64(f.most())*1.18
	for _, a := range []*plot.Axis{&pl.X, &pl.Y} {
		a.Padding = 0
		a.LineStyle = vgdraw.LineStyle{Color: rgba(soft), Width: f.unit / 14}
		a.Tick.LineStyle = a.LineStyle
		a.Tick.Length = f.unit / 3
		a.Tick.Label.Font, a.Tick.Label.Handler, a.Tick.Label.Color = face(font.WeightNormal, f.unit), f.press.styles, rgba(soft)
	}
	pl.X.Tick.Marker, pl.Y.Tick.Marker = plot.ConstantTicks(f.dayTicks(pl.X.Max)), plot.ConstantTicks(f.countTicks())
	grid := plotter.NewGrid()
	grid.Vertical.Width = 0
	grid.Horizontal = vgdraw.LineStyle{Color: rgba(faint), Width: f.unit / 17}
	pl.Add(grid)
}
