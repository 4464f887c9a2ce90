package chart

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// canvas takes down what a plot draws as a list of things to draw: filled outlines
// and shaped words. A stroke becomes the outline that it covers. Its origin is at the
// lower left; that of the list is at the upper left.
type canvas struct {
	press  *Press
	height Points
	items  []draw.Item
	err    error

	state
	saved []state
}

type state struct {
	colour draw.Colour
	width  vg.Length
	dashes []vg.Length
	origin vg.Point
}

func (c *canvas) SetLineWidth(w vg.Length)                     { c.width = w }
func (c *canvas) SetLineDash(pattern []vg.Length, _ vg.Length) { c.dashes = pattern }

func (c *canvas) SetColor(to color.Color) {
	if to == nil {
		to = color.Black
	}
	r, g, b, a := to.RGBA()
	if a != 0xffff {
		c.fail(errors.New("a colour that one sees through cannot be drawn"))
	}
	c.colour = draw.Colour{R: uint8(r >> 8), G: uint8(g >> 8), B: uint8(b >> 8)}
}

func (c *canvas) Translate(by vg.Point) { c.origin = c.origin.Add(by) }

// Nothing in a chart of ours is turned, stretched or a picture.
func (c *canvas) Rotate(float64)         { c.fail(errors.New("nothing may be turned")) }
func (c *canvas) Scale(float64, float64) { c.fail(errors.New("nothing may be stretched")) }
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {
	c.fail(errors.New("a chart holds no picture"))
}

func (c *canvas) Push() { c.saved = append(c.saved, c.state) }

func (c *canvas) Pop() {
	if n := len(c.saved); n > 0 {
		c.state, c.saved = c.saved[n-1], c.saved[:n-1]
	}
}

func (c *canvas) fail(err error) { c.err = errors.Join(c.err, err) }

// place is where a point of the plot lies in the drawing.
func (c *canvas) place(p vg.Point) draw.Point {
	p = p.Add(c.origin)
	return draw.Point{X: points(p.X), Y: c.height - points(p.Y)}
}

// points rounds a length to what a drawing is measured in.
func points(l vg.Length) Points { return Points(math.Round(l.Points() * 1000)) }

// Fill draws an outline filled.
func (c *canvas) Fill(p vg.Path) {
	path := draw.Path{Fill: c.colour}
	for _, line := range c.flat(p) {
		corners := make([]draw.Point, len(line))
		for i, at := range line {
			corners[i] = c.place(at)
		}
		path.Polygon(corners...)
	}
	c.add(path, true)
}

// Stroke draws the outline of a line: a strip for each straight piece, and where two
// meet, a disc.
func (c *canvas) Stroke(p vg.Path) {
	if c.width <= 0 {
		return
	}
	path := draw.Path{Fill: c.colour}
	for _, line := range c.flat(p) {
		if len(c.dashes) > 0 {
			for _, piece := range dashed(line, c.dashes) {
				c.strips(&path, piece)
			}
			continue
		}
		c.strips(&path, line)
	}
	c.add(path, false)
}

// strips adds the strips and the discs of one line.
func (c *canvas) strips(path *draw.Path, line []vg.Point) {
	for i, a := range line[:max(0, len(line)-1)] {
		b := line[i+1]
		long := vg.Length(math.Hypot(float64(b.X-a.X), float64(b.Y-a.Y)))
		if long == 0 {
			continue
		}
		side := vg.Point{X: -(b.Y - a.Y) / long * c.width / 2, Y: (b.X - a.X) / long * c.width / 2}
		// It begins across the line: an outline that begins along the level may be
		// written as a rectangle, which winds the other way, and leaves holes at discs.
		path.Polygon(c.place(a.Sub(side)), c.place(a.Add(side)), c.place(b.Add(side)), c.place(b.Sub(side)))
		if i > 0 {
			var disc []draw.Point
			for k := range 12 {
				sin, cos := math.Sincos(-2 * math.Pi * float64(k) / 12)
				disc = append(disc, c.place(a.Add(vg.Point{X: vg.Length(cos) * c.width / 2, Y: vg.Length(sin) * c.width / 2})))
			}
			path.Polygon(disc...)
		}
	}
}

// dashed cuts a line into its dashes.
func dashed(line []vg.Point, pattern []vg.Length) (pieces [][]vg.Point) {
	at, left, on := 0, pattern[0], true
	piece := []vg.Point{line[0]}
	turn := func(p vg.Point) {
		if on {
			pieces = append(pieces, append(piece, p))
		}
		at, on = (at+1)%len(pattern), !on
		left, piece = pattern[at], []vg.Point{p}
	}
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		for {
			long := vg.Length(math.Hypot(float64(b.X-a.X), float64(b.Y-a.Y)))
			if long <= left {
				left -= long
				break
			}
			a = a.Add(vg.Point{X: (b.X - a.X) * left / long, Y: (b.Y - a.Y) * left / long})
			turn(a)
		}
		piece = append(piece, b)
	}
	if on {
		pieces = append(pieces, piece)
	}
	return pieces
}

// flat returns the lines of a path, an arc as many short pieces.
func (c *canvas) flat(p vg.Path) (lines [][]vg.Point) {
	var line []vg.Point
	end := func() {
		if len(line) > 1 {
			lines = append(lines, line)
		}
		line = nil
	}
	for _, step := range p {
		switch step.Type {
		case vg.MoveComp:
			end()
			line = []vg.Point{step.Pos}
		case vg.LineComp:
			line = append(line, step.Pos)
		case vg.ArcComp:
			const pieces = 32
			for k := range pieces + 1 {
				sin, cos := math.Sincos(step.Start + step.Angle*float64(k)/pieces)
				line = append(line, step.Pos.Add(vg.Point{X: step.Radius * vg.Length(cos), Y: step.Radius * vg.Length(sin)}))
			}
		case vg.CloseComp:
			if len(line) > 0 && line[0] != line[len(line)-1] {
				line = append(line, line[0])
			}
		default:
			c.fail(fmt.Errorf("a step of kind %d in an outline cannot be drawn", step.Type))
		}
	}
	end()
	return lines
}

func (c *canvas) add(p draw.Path, ground bool) {
	if len(p.Steps) == 0 {
		return
	}
	var low, high draw.Point
	first := true
	for _, s := range p.Steps {
		if s.Op == draw.Close {
			continue
		}
		at := s.To[0]
		if first {
			low, high, first = at, at, false
		}
		low = draw.Point{X: min(low.X, at.X), Y: min(low.Y, at.Y)}
		high = draw.Point{X: max(high.X, at.X), Y: max(high.Y, at.Y)}
	}
	c.items = append(c.items, draw.Item{Box: draw.Rect{X: low.X, Y: low.Y, W: high.X - low.X, H: high.Y - low.Y}, Ground: ground, Shape: p})
}

// FillString shapes words and draws them on a baseline.
func (c *canvas) FillString(face font.Face, at vg.Point, words string) {
	f, ok := c.press.fonts[face.Font.Weight]
	if !ok {
		c.fail(fmt.Errorf("there is no font for %q", words))
		return
	}
	size := points(face.Font.Size)
	lines, err := typeset.Break([]typeset.Span{{Text: words, Font: f, Size: size}}, typeset.Measure{Width: 1 << 40})
	if err != nil {
		c.fail(err)
		return
	}
	from := c.place(at)
	for _, line := range lines {
		for _, p := range line.Pieces {
			c.items = append(c.items, draw.Item{
				Box:   draw.Rect{X: from.X + p.X, Y: from.Y - line.Above, W: p.Width, H: line.Above + line.Below},
				Shape: draw.Text{X: from.X + p.X, Y: from.Y, Font: f, Size: p.Size, Colour: c.colour, Glyphs: p.Glyphs},
			})
		}
	}
}
