// Package paint draws a page of a drawn document as a picture.
//
// It promises the same page that the PDF shows: every place, size and colour is
// taken from the one list of things to draw. It must not know what a card is.
package paint

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"

	xdraw "golang.org/x/image/draw"
	"golang.org/x/image/vector"

	"example.org/opencowl/internal/card/draw"
)

// Page draws a page on white paper at so many pixels an inch.
func Page(p draw.Page, perInch int) (*image.RGBA, error) {
	if perInch < 20 || perInch > 600 {
		return nil, fmt.Errorf("%d pixels an inch is too coarse or too fine for a picture of a card; choose 20 to 600", perInch)
	}
	s := &surface{scale: float64(perInch) / float64(72*1000)}
	s.image = image.NewRGBA(image.Rect(0, 0, int(math.Ceil(float64(s.at(p.Width)))), int(math.Ceil(float64(s.at(p.Height))))))
	xdraw.Draw(s.image, s.image.Bounds(), image.White, image.Point{}, xdraw.Src)
	for _, it := range p.Items {
		if err := s.item(it); err != nil {
			return nil, err
		}
	}
	if p.Turned {
		turn(s.image)
	}
	return s.image, nil
}

type surface struct {
	image *image.RGBA
	scale float64 // pixels a thousandth of a point
	fill  vector.Rasterizer
}

// pixels rounds a length to whole pixels.
func (s *surface) pixels(p draw.Points) int { return int(math.Round(float64(p) * s.scale)) }

// at is a length in pixels.
func (s *surface) at(p draw.Points) float32 { return float32(float64(p) * s.scale) }

func (s *surface) item(it draw.Item) error {
	switch shape := it.Shape.(type) {
	case draw.Text:
		return s.text(shape, it.Box)
	case draw.Path:
		s.path(shape, it.Box)
		return nil
	case draw.Picture:
		return s.picture(shape, it.Box)
	}
	return fmt.Errorf("a %T cannot be drawn", it.Shape)
}

// begin readies the rasteriser for what lies in a box, and returns the box in
// pixels, with a pixel to spare on each side as far as the picture goes.
func (s *surface) begin(box draw.Rect) image.Rectangle {
	r := image.Rect(
		int(math.Floor(float64(s.at(box.X))))-1, int(math.Floor(float64(s.at(box.Y))))-1,
		int(math.Ceil(float64(s.at(box.X+box.W))))+1, int(math.Ceil(float64(s.at(box.Y+box.H))))+1,
	).Intersect(s.image.Bounds())
	s.fill.Reset(r.Dx(), r.Dy())
	return r
}

// end fills what was outlined.
func (s *surface) end(r image.Rectangle, c draw.Colour) {
	s.fill.Draw(s.image, r, image.NewUniform(color.RGBA{R: c.R, G: c.G, B: c.B, A: 255}), image.Point{})
}

func (s *surface) path(p draw.Path, box draw.Rect) {
	r := s.begin(box)
	dx, dy := s.at(p.At.X)-float32(r.Min.X), s.at(p.At.Y)-float32(r.Min.Y)
	x := func(to draw.Point) float32 { return s.at(to.X) + dx }
	y := func(to draw.Point) float32 { return s.at(to.Y) + dy }
	for _, step := range p.Steps {
		a, b, c := step.To[0], step.To[1], step.To[2]
		switch step.Op {
		case draw.Move:
			s.fill.MoveTo(x(a), y(a))
		case draw.Line:
			s.fill.LineTo(x(a), y(a))
		case draw.Curve:
			s.fill.CubeTo(x(a), y(a), x(b), y(b), x(c), y(c))
		case draw.Box:
			s.fill.MoveTo(x(a), y(a))
			s.fill.LineTo(x(b), y(a))
			s.fill.LineTo(x(b), y(b))
			s.fill.LineTo(x(a), y(b))
			s.fill.ClosePath()
		case draw.Close:
			s.fill.ClosePath()
		}
	}
	s.end(r, p.Fill)
}

// text fills the outlines of a run of glyphs. They may reach a little to the left
// and right of the run's own box, which is as wide as its advances.
func (s *surface) text(t draw.Text, box draw.Rect) error {
	box.X -= t.Size / 2
	box.W += t.Size
	r := s.begin(box)
	em := t.Font.UnitsPerEm()
	unit := float64(t.Size) * s.scale / float64(em)
	pen := &pen{fill: &s.fill, unit: float32(unit), y: s.at(t.Y) - float32(r.Min.Y)}
	along := int64(0)
	for _, g := range t.Glyphs {
		pen.x = s.at(t.X) - float32(r.Min.X) + float32(float64(along+int64(g.X))*unit)
		pen.rise = float32(float64(g.Y) * unit)
		if err := t.Font.Outline(g.ID, pen); err != nil {
			return err
		}
		along += int64(g.Advance)
	}
	s.end(r, t.Colour)
	return nil
}

// pen turns an outline in font units, y upwards, into pixels.
type pen struct {
	fill       *vector.Rasterizer
	unit       float32
	x, y, rise float32
}

func (p *pen) to(x, y float32) (float32, float32) { return p.x + x*p.unit, p.y - p.rise - y*p.unit }

func (p *pen) MoveTo(x, y float32) {
	p.fill.ClosePath()
	p.fill.MoveTo(p.to(x, y))
}

func (p *pen) LineTo(x, y float32) { p.fill.LineTo(p.to(x, y)) }

func (p *pen) QuadTo(ax, ay, bx, by float32) {
	ax, ay = p.to(ax, ay)
	bx, by = p.to(bx, by)
	p.fill.QuadTo(ax, ay, bx, by)
}

func (p *pen) Close() { p.fill.ClosePath() }

func (s *surface) picture(p draw.Picture, box draw.Rect) error {
	photo, err := jpeg.Decode(bytes.NewReader(p.JPEG))
	if err != nil {
		return fmt.Errorf("picture %s is not a JPEG that can be read: %w", p.Name, err)
	}
	r := image.Rect(s.pixels(box.X), s.pixels(box.Y), s.pixels(box.X+box.W), s.pixels(box.Y+box.H))
	xdraw.CatmullRom.Scale(s.image, r, photo, photo.Bounds(), xdraw.Src, nil)
	return nil
}

// turn turns a picture by half a turn.
func turn(m *image.RGBA) {
	b := m.Bounds()
	for i, n := 0, b.Dx()*b.Dy(); i < n/2; i++ {
		x, y := i%b.Dx(), i/b.Dx()
		ox, oy := b.Dx()-1-x, b.Dy()-1-y
		one, other := m.RGBAAt(x, y), m.RGBAAt(ox, oy)
		m.SetRGBA(x, y, other)
		m.SetRGBA(ox, oy, one)
	}
}
