package pdf

import (
	"fmt"
	"strconv"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// content writes the drawing operators of one page.
type content struct {
	*builder
	out    []byte
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
		c.out = fmt.Appendf(c.out, "q %v 0 0 %v %v %v cm /P%d Do Q\n", it.Box.W, it.Box.H, it.Box.X, c.y(it.Box.Y+it.Box.H), n)
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
		c.say("/Artifact BMC\n")
		return nil
	}
	id, err := c.tags.content(it.Node, c.page, c.number)
	if err != nil {
		return err
	}
	c.cover(it)
	c.out = fmt.Appendf(c.out, "/%s<</MCID %d>>BDC\n", it.Node.Role, id)
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
		c.say("EMC\n")
	}
	c.open = false
}

func (c *content) fill(col draw.Colour) {
	if c.colour != nil && *c.colour == col {
		return
	}
	c.colour = &col
	c.numbers(channel(col.R), channel(col.G), channel(col.B))
	c.say("rg\n")
}

// channel writes an eight-bit value as a share of one to four places.
func channel(v uint8) draw.Points { return draw.Points((int64(v)*1000 + 127) / 255) }

func (c *content) path(p draw.Path) {
	c.fill(p.Fill)
	for _, s := range p.Steps {
		points, operator := 0, "h "
		switch s.Op {
		case draw.Box:
			corner, size := s.To[0], draw.Point{X: s.To[1].X - s.To[0].X, Y: s.To[1].Y - s.To[0].Y}
			c.numbers(p.At.X+corner.X, c.y(p.At.Y+corner.Y+size.Y), size.X, size.Y)
			operator = "re "
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
		c.say(operator)
	}
	c.say("f\n")
}

// numbers writes lengths with a space behind each.
func (c *content) numbers(all ...draw.Points) {
	for _, n := range all {
		c.out = append(n.Append(c.out), ' ')
	}
}

// say writes operators.
func (c *content) say(s string) { c.out = append(c.out, s...) }

func (c *content) text(t draw.Text) error {
	u, err := c.use(t.Font)
	if err != nil {
		return err
	}
	c.fill(t.Colour)
	c.say("BT ")
	if c.font != u.number || c.size != t.Size {
		c.font, c.size = u.number, t.Size
		c.out = fmt.Appendf(c.out, "/F%d %v Tf ", u.number, t.Size)
	}
	c.numbers(t.X, c.y(t.Y))
	c.say("Td ")
	line := showing{content: c, use: u, size: t.Size}
	for i := 0; i < len(t.Glyphs); {
		n := clusterLength(t.Glyphs[i:])
		if n > 1 {
			line.end()
			c.out = fmt.Appendf(c.out, "/Span<</ActualText %s>>BDC ", textString(plainSpaces(t.Glyphs[i].Text)))
		}
		for _, g := range t.Glyphs[i : i+n] {
			line.show(g)
		}
		if n > 1 {
			line.end()
			c.say("EMC ")
		}
		i += n
	}
	line.end()
	c.say("ET\n")
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
		s.numbers(s.size.Scale(int64(g.Y), s.use.font.UnitsPerEm()))
		s.say("Ts ")
		s.raised = g.Y != 0
	}
	s.moveTo(s.use.thousandths(s.ideal + int64(g.X)))
	if !s.inText {
		s.begin()
		s.say("<")
		s.inText = true
	}
	shown := s.use.glyph(g.ID, g.Text)
	s.out = appendHex(s.out, shown.number)
	s.actual += shown.width
	s.ideal += int64(g.Advance)
}

func (s *showing) begin() {
	if !s.open {
		s.say("[")
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
	s.out = strconv.AppendInt(s.out, s.actual-at, 10)
	s.actual = at
}

func (s *showing) endText() {
	if s.inText {
		s.say(">")
	}
	s.inText = false
}

func (s *showing) end() {
	s.endText()
	if s.open {
		s.say("]TJ ")
	}
	s.open = false
}
