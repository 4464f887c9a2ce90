package pdf

import (
	"bytes"
	"fmt"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// content writes the drawing operators of one page.
type content struct {
	*builder
	out    bytes.Buffer
	page   ref
	number int
	width  draw.Points
	height draw.Points
	turned bool
	open   bool
	node   *draw.Node // whose marked content is open; nil while decoration is
	font   int
	size   draw.Points
	colour *draw.Colour
}

// y turns a distance from the top of the page into PDF's, from the bottom.
func (c *content) y(y draw.Points) draw.Points { return c.height - y }

func (c *content) item(it draw.Item) error {
	if err := c.mark(it); err != nil {
		return err
	}
	switch s := it.Shape.(type) {
	case draw.Text:
		return c.text(s)
	case draw.Path:
		c.path(s)
		return nil
	case draw.Picture:
		n, err := c.picture(s)
		if err != nil {
			return err
		}
		fmt.Fprintf(&c.out, "q %v 0 0 %v %v %v cm /P%d Do Q\n", it.Box.W, it.Box.H, it.Box.X, c.y(it.Box.Y+it.Box.H), n)
		return nil
	}
	return fmt.Errorf("a %T cannot be written as PDF", it.Shape)
}

// mark opens the marked content that an item belongs to, unless it is open already.
func (c *content) mark(it draw.Item) error {
	if c.open && c.node == it.Node {
		if it.Node != nil {
			c.cover(it)
		}
		return nil
	}
	c.endMarked()
	c.open, c.node = true, it.Node
	if it.Node == nil {
		c.out.WriteString("/Artifact BMC\n")
		return nil
	}
	id, err := c.tags.content(it.Node, c.page, c.number)
	if err != nil {
		return err
	}
	c.cover(it)
	fmt.Fprintf(&c.out, "/%s<</MCID %d>>BDC\n", it.Node.Role, id)
	return nil
}

// cover notes where an item lies on the page, in PDF's own direction.
func (c *content) cover(it draw.Item) {
	box := it.Box
	box.Y = c.y(box.Y + box.H)
	if c.turned {
		box.X, box.Y = c.width-box.X-box.W, c.height-box.Y-box.H
	}
	c.tags.cover(it.Node, box)
}

func (c *content) endMarked() {
	if c.open {
		c.out.WriteString("EMC\n")
	}
	c.open = false
}

func (c *content) fill(col draw.Colour) {
	if c.colour != nil && *c.colour == col {
		return
	}
	c.colour = &col
	fmt.Fprintf(&c.out, "%s %s %s rg\n", channel(col.R), channel(col.G), channel(col.B))
}

// channel writes an eight-bit value as a share of one to four places.
func channel(v uint8) string {
	return typeset.Points((int64(v)*1000 + 127) / 255).String()
}

func (c *content) path(p draw.Path) {
	c.fill(p.Fill)
	for i := 0; i < len(p.Steps); i++ {
		if x, y, w, h, ok := rectangle(p.Steps[i:]); ok {
			c.numbers(p.At.X+x, c.y(p.At.Y+y+h), w, h)
			c.out.WriteString("re ")
			i += rectangleSteps - 1
			continue
		}
		s := p.Steps[i]
		points, operator := 0, "h "
		switch s.Op {
		case draw.Move:
			points, operator = 1, "m "
		case draw.Line:
			points, operator = 1, "l "
		case draw.Curve:
			points, operator = 3, "c "
		}
		for _, to := range s.To[:points] {
			c.numbers(p.At.X+to.X, c.y(p.At.Y+to.Y))
		}
		c.out.WriteString(operator)
	}
	c.out.WriteString("f\n")
}

// numbers writes lengths with a space behind each.
func (c *content) numbers(all ...draw.Points) {
	b := c.out.AvailableBuffer()
	for _, n := range all {
		b = append(n.Append(b), ' ')
	}
	c.out.Write(b)
}

const rectangleSteps = 5

// rectangle reads an upright rectangle off the front of a path: its top left
// corner, then clockwise about it. Most of a QR code is such.
func rectangle(steps []draw.Step) (x, y, w, h draw.Points, ok bool) {
	if len(steps) < rectangleSteps || steps[0].Op != draw.Move || steps[4].Op != draw.Close {
		return 0, 0, 0, 0, false
	}
	for _, s := range steps[1:4] {
		if s.Op != draw.Line {
			return 0, 0, 0, 0, false
		}
	}
	a, b, c, d := steps[0].To[0], steps[1].To[0], steps[2].To[0], steps[3].To[0]
	return a.X, a.Y, b.X - a.X, d.Y - a.Y, a.Y == b.Y && b.X == c.X && c.Y == d.Y && d.X == a.X
}

func (c *content) text(t draw.Text) error {
	u, err := c.use(t.Font)
	if err != nil {
		return err
	}
	c.fill(t.Colour)
	c.out.WriteString("BT ")
	if c.font != u.number || c.size != t.Size {
		c.font, c.size = u.number, t.Size
		fmt.Fprintf(&c.out, "/F%d %v Tf ", u.number, t.Size)
	}
	fmt.Fprintf(&c.out, "%v %v Td ", t.X, c.y(t.Y))
	line := showing{content: c, use: u, size: t.Size}
	for i := 0; i < len(t.Glyphs); {
		n := clusterLength(t.Glyphs[i:])
		if n > 1 {
			line.end()
			fmt.Fprintf(&c.out, "/Span<</ActualText %s>>BDC ", textString(plainSpaces(t.Glyphs[i].Text)))
		}
		for _, g := range t.Glyphs[i : i+n] {
			line.show(g)
		}
		if n > 1 {
			line.end()
			c.out.WriteString("EMC ")
		}
		i += n
	}
	line.end()
	c.out.WriteString("ET\n")
	return nil
}

// clusterLength counts the glyphs that together stand for the first one's text.
func clusterLength(glyphs []typeset.Glyph) int {
	n := 1
	for n < len(glyphs) && glyphs[n].Text == "" {
		n++
	}
	return n
}

// showing writes glyphs with the moves between them. Positions are kept in
// thousandths of an em; what rounding leaves is carried to the next glyph.
type showing struct {
	*content
	use          *fontUse
	size         draw.Points
	ideal        int64 // font units from the start of the run
	actual       int64 // thousandths of an em where the reader's pen stands
	open, inText bool
	raised       bool
}

func (s *showing) show(g typeset.Glyph) {
	if (g.Y != 0) != s.raised || g.Y != 0 {
		s.end()
		fmt.Fprintf(&s.out, "%v Ts ", s.size.Scale(int64(g.Y), s.use.font.UnitsPerEm()))
		s.raised = g.Y != 0
	}
	s.moveTo(s.use.thousandths(s.ideal + int64(g.X)))
	if !s.inText {
		s.begin()
		s.out.WriteByte('<')
		s.inText = true
	}
	fmt.Fprintf(&s.out, "%04X", s.use.glyph(g.ID, g.Text))
	s.actual += s.use.width(g.ID)
	s.ideal += int64(g.Advance)
}

func (s *showing) begin() {
	if !s.open {
		s.out.WriteByte('[')
		s.open = true
	}
}

// moveTo shifts the pen to a place along the line.
func (s *showing) moveTo(at int64) {
	if at == s.actual {
		return
	}
	s.endText()
	s.begin()
	fmt.Fprintf(&s.out, "%d", s.actual-at)
	s.actual = at
}

func (s *showing) endText() {
	if s.inText {
		s.out.WriteByte('>')
	}
	s.inText = false
}

func (s *showing) end() {
	s.endText()
	if s.open {
		s.out.WriteString("]TJ ")
	}
	s.open = false
}
