// Package draw holds a laid-out document as a list of things to draw, and the
// structure that says what they mean and in which order they are read.
//
// Layout makes one such list; whatever writes a file or a picture draws from
// it alone, so that all of them show the same page. The package must not know
// what a card is, nor any file format.
package draw

import "example.org/opencowl/internal/card/typeset"

// Points is a length on paper.
type Points = typeset.Points

// Rect is an upright rectangle; X and Y are its top left corner, Y downwards
// from the top of the page.
type Rect struct{ X, Y, W, H Points }

// Shift returns the rectangle moved by dx and dy.
func (r Rect) Shift(dx, dy Points) Rect { return Rect{r.X + dx, r.Y + dy, r.W, r.H} }

// Overlaps reports whether two rectangles share more than an edge.
func (r Rect) Overlaps(o Rect) bool {
	return r.X < o.X+o.W && o.X < r.X+r.W && r.Y < o.Y+o.H && o.Y < r.Y+r.H
}

// Inside reports whether r lies wholly within o.
func (r Rect) Inside(o Rect) bool {
	return r.X >= o.X && r.Y >= o.Y && r.X+r.W <= o.X+o.W && r.Y+r.H <= o.Y+o.H
}

// Union returns the smallest rectangle that holds both.
func (r Rect) Union(o Rect) Rect {
	if r.W == 0 && r.H == 0 {
		return o
	}
	x, y := min(r.X, o.X), min(r.Y, o.Y)
	return Rect{x, y, max(r.X+r.W, o.X+o.W) - x, max(r.Y+r.H, o.Y+o.H) - y}
}

// Document is a whole file to be.
type Document struct {
	Title    string
	Language string // BCP 47
	Pages    []Page
	Root     *Node // the whole structure; its role is RoleDocument
	Print    Print
}

// Print is what whoever prints the file is asked to set; the zero value asks for
// nothing.
type Print struct {
	ActualSize bool // not fitted to the paper
	Sides      Sides
}

// Sides is how sheets of paper are printed.
type Sides string

const (
	OneSide       Sides = "Simplex"
	FlipLongEdge  Sides = "DuplexFlipLongEdge"
	FlipShortEdge Sides = "DuplexFlipShortEdge"
)

// Page is one side of paper.
type Page struct {
	Width, Height Points
	Items         []Item // in the order of painting, which is that of reading
	Turned        bool   // the whole page is turned by half a turn, for the other side of a sheet
}

// Role is what a node of the structure is (ISO 32000-1, 14.8.4).
type Role string

const (
	RoleDocument  Role = "Document"
	RoleSection   Role = "Sect"
	RoleHeading1  Role = "H1"
	RoleHeading2  Role = "H2"
	RoleParagraph Role = "P"
	RoleList      Role = "L"
	RoleListItem  Role = "LI"
	RoleListBody  Role = "LBody"
	RoleFigure    Role = "Figure"
)

// Node is one element of the structure. The order of Kids is the order of reading.
type Node struct {
	Role     Role
	Language string // when it differs from its parent's
	Alt      string // for a figure: what it shows
	Kids     []*Node
}

// Item is one thing on a page.
type Item struct {
	Box  Rect  // what it covers; for text, the extent of its ink
	Node *Node // the element it belongs to; nil for decoration
	// Ground marks a surface that other things are meant to stand on.
	Ground bool
	Shape  Shape
}

// Shape is what an item draws: a Text, a Path or a Picture.
type Shape interface{ shape() }

// Text is a run of glyphs. X and Y are where its baseline begins.
type Text struct {
	X, Y   Points
	Font   *typeset.Font
	Size   Points
	Colour Colour
	Glyphs []typeset.Glyph
}

// Op is a step of a path.
type Op uint8

const (
	Move  Op = iota // one point
	Line            // one point
	Curve           // three points: two controls and the end
	Box             // two points: the top left and the bottom right corner of a closed rectangle, drawn clockwise
	Close           // none
)

// Point is a place on the page.
type Point struct{ X, Y Points }

// Step is one operation of a path with as many points as it needs.
type Step struct {
	Op Op
	To [3]Point
}

// Path is a filled outline. Fill rule: non-zero winding.
type Path struct {
	Fill  Colour
	At    Point // where the origin of the steps lies on the page
	Steps []Step
}

// Picture is a JPEG that fills its item's box.
type Picture struct {
	Name string // the same for the same bytes
	JPEG []byte
}

func (Text) shape()    {}
func (Path) shape()    {}
func (Picture) shape() {}

// Rectangle returns the path of a filled rectangle.
func Rectangle(r Rect, fill Colour) Path {
	var p Path
	p.Fill = fill
	p.Rectangle(r)
	return p
}

// Rectangle adds a rectangle to the path.
func (p *Path) Rectangle(r Rect) {
	p.Steps = append(p.Steps, Step{Op: Box, To: [3]Point{{r.X, r.Y}, {r.X + r.W, r.Y + r.H}}})
}

// Moved returns the path moved by dx and dy.
func (p Path) Moved(dx, dy Points) Path {
	p.At.X += dx
	p.At.Y += dy
	return p
}

// Polygon adds a closed outline with straight sides.
func (p *Path) Polygon(corners ...Point) {
	for i, c := range corners {
		op := Line
		if i == 0 {
			op = Move
		}
		p.Steps = append(p.Steps, Step{Op: op, To: [3]Point{c}})
	}
	p.Steps = append(p.Steps, Step{Op: Close})
}

// Rounded returns the path of a filled rectangle whose corners have a radius.
func Rounded(r Rect, radius Points, fill Colour) Path {
	// The usual cubic for a quarter circle: controls at 0.5523 of the radius.
	k := radius - radius.Scale(5523, 10000)
	x0, y0, x1, y1 := r.X, r.Y, r.X+r.W, r.Y+r.H
	line := func(x, y Points) Step { return Step{Op: Line, To: [3]Point{{x, y}}} }
	curve := func(a, b, c Point) Step { return Step{Op: Curve, To: [3]Point{a, b, c}} }
	return Path{Fill: fill, Steps: []Step{
		{Op: Move, To: [3]Point{{x0 + radius, y0}}},
		line(x1-radius, y0), curve(Point{x1 - k, y0}, Point{x1, y0 + k}, Point{x1, y0 + radius}),
		line(x1, y1-radius), curve(Point{x1, y1 - k}, Point{x1 - k, y1}, Point{x1 - radius, y1}),
		line(x0+radius, y1), curve(Point{x0 + k, y1}, Point{x0, y1 - k}, Point{x0, y1 - radius}),
		line(x0, y0+radius), curve(Point{x0, y0 + k}, Point{x0 + k, y0}, Point{x0 + radius, y0}),
		{Op: Close},
	}}
}

// Shift returns the item moved by dx and dy.
func (it Item) Shift(dx, dy Points) Item {
	it.Box = it.Box.Shift(dx, dy)
	switch s := it.Shape.(type) {
	case Text:
		s.X += dx
		s.Y += dy
		it.Shape = s
	case Path:
		s.At.X += dx
		s.At.Y += dy
		it.Shape = s
	}
	return it
}
