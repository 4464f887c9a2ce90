package card

import (
	"bytes"
	"errors"
	"fmt"
	"image/jpeg"
	"iter"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/tongue"
)

// How many widths of the photo, and sizes of the title, are tried where the one
// stands beside the other.
const photoSteps, titleSteps = 4, 4

// sheetOfFront sets the side for visitors. The photo goes across the column if
// the text leaves room for it, or else beside the title, as large as may be.
func sheetOfFront(c composer, k content, into *draw.Node) ([]draw.Item, error) {
	rest, foot, err := c.frontText(k)
	if err != nil {
		return nil, err
	}
	c.room = c.size.height - 2*c.paper.Margin - foot.height - c.gap
	for _, b := range rest {
		if !b.empty() {
			c.room -= b.height + c.gap
		}
	}
	var why error // the plainest arrangement does not fit
	for head := range c.frontHeads(k) {
		blocks, err := head()
		if err == nil {
			var items []draw.Item
			if items, err = c.pile(append(blocks, rest...), foot, into); err == nil {
				return items, nil
			}
		}
		if err = roomOr(err); !errors.Is(err, errNoRoom) {
			return nil, err
		}
		if why == nil {
			why = err
		}
		if c.room < 0 {
			break // no arrangement of title and photo makes room for the rest
		}
	}
	return nil, why
}

// frontHeads gives the arrangements of title and photo, the best first.
func (c composer) frontHeads(k content) iter.Seq[func() ([]block, error)] {
	return func(yield func(func() ([]block, error)) bool) {
		across := func() ([]block, error) {
			head, err := c.head(k, c.measure())
			if err != nil {
				return nil, err
			}
			if k.Photo == nil {
				return []block{head}, nil
			}
			picture, err := c.picture(k.Photo, c.measure())
			return []block{head, picture}, err
		}
		if !yield(across) || k.Photo == nil {
			return
		}
		for _, a := range c.besides() {
			d := c
			d.title = a.title
			for step := photoSteps; step >= 0; step-- {
				head := func() ([]block, error) {
					head, err := d.headBesidePhoto(k, a.widths.at(step, photoSteps), a.how)
					return []block{head}, err
				}
				if !yield(head) {
					return
				}
			}
		}
	}
}

// beside is a way to set a title beside the photo, in the widths that it may have.
type beside struct {
	title  typeset.Points
	widths limits
	how    photoHead
}

// besides lists the ways to set the title beside the photo, the best first.
func (c composer) besides() []beside {
	var all []beside
	// A narrower column may want a smaller title than the page would.
	sizes := limits{Least: c.paper.Title.Least, Most: c.title}
	for step := titleSteps; step >= 0; step-- {
		all = append(all, beside{sizes.at(step, titleSteps), c.paper.Photo, photoHead{}})
	}
	all = append(all, beside{c.paper.Title.Least, c.paper.Photo, photoHead{mayHang: true}})
	if c.tight {
		tight := limits{c.paper.TightPhoto, c.paper.Photo.Least}
		all = append(all,
			beside{c.paper.Title.Least, tight, photoHead{mayHang: true, flat: true}},
			beside{c.paper.Title.Least, tight, photoHead{mayHang: true}})
	}
	return all
}

// photoHead is how number and title share what a photo leaves of the column.
type photoHead struct {
	mayHang bool // the title may hang below the photo, which looks cramped
	flat    bool // the number stands to the left of the title, not above it
}

// headBesidePhoto sets number, title and place in what the photo leaves of the
// column.
func (c composer) headBesidePhoto(k content, width typeset.Points, how photoHead) (block, error) {
	heading := &draw.Node{Role: draw.RoleHeading1, Language: c.tongue}
	picture, err := c.picture(k.Photo, width)
	if err != nil {
		return block{}, err
	}
	left := c.measure() - picture.width - c.gap.Scale(3, 2)
	b, err := c.badge(k.Number, heading)
	if err != nil {
		return b, err
	}
	b.nodes = []*draw.Node{heading}
	x, y := typeset.Points(0), b.height+c.gap/2
	if how.flat {
		x, y = b.width+c.gap, 0
	}
	lines, err := c.titleLines(k, heading, left-x)
	if err != nil {
		return b, err
	}
	b.put(lines, x, y)
	if !how.mayHang && b.height > picture.height+c.gap {
		err = errNoRoom
	}
	b.put(picture, c.measure()-picture.width, 0)
	return b, err
}

// picture places the photo in its own shape, as large as goes into a box of the
// width that is 3 to 2: a tall photo is narrower, so that it crowds out no words.
func (c composer) picture(p *photo, width typeset.Points) (block, error) {
	data, err := c.jpeg(p)
	if err != nil {
		return block{}, err
	}
	node := &draw.Node{Role: draw.RoleFigure, Alt: p.Alt, Language: c.tongue}
	box := draw.Rect{W: width, H: width.Scale(data.height, data.width)}
	if tallest := width.Scale(2, 3); box.H > tallest {
		box = draw.Rect{W: tallest.Scale(data.width, data.height), H: tallest}
	}
	if box.H > c.room {
		return block{}, errNoRoom
	}
	return block{
		width: box.W, height: box.H, nodes: []*draw.Node{node},
		items: []draw.Item{{Box: box, Node: node, Shape: draw.Picture{Name: p.Name, JPEG: data.bytes}}},
	}, nil
}

// jpegData is a photo's copy for print and its size in pixels.
type jpegData struct {
	bytes         []byte
	width, height int64
}

// jpeg reads a photo's copy for print, once for a whole deck.
func (p *press) jpeg(ph *photo) (jpegData, error) {
	p.guard.Lock()
	known, ok := p.photos[ph.Name]
	p.guard.Unlock()
	if ok {
		return known, nil
	}
	if ph.Open == nil {
		return jpegData{}, errors.New("the photo has no copy for print; make its public copies again")
	}
	raw, err := ph.Open()
	if err != nil {
		return jpegData{}, fmt.Errorf("the photo's copy for print cannot be read: %w", err)
	}
	size, err := jpeg.DecodeConfig(bytes.NewReader(raw))
	if err != nil {
		return jpegData{}, fmt.Errorf("the photo's copy for print is not a JPEG that can be read: %w", err)
	}
	data := jpegData{raw, int64(size.Width), int64(size.Height)}
	p.guard.Lock()
	p.photos[ph.Name] = data
	p.guard.Unlock()
	return data, nil
}

// frontText sets all of the front but title and photo.
func (c composer) frontText(k content) (blocks []block, foot block, err error) {
	mark, err := c.notTranslated(k)
	if err != nil {
		return nil, foot, err
	}
	blocks = append(blocks, mark)
	for _, field := range c.face.Fields {
		var b block
		switch field {
		case fieldCautions:
			b, err = c.cautionStrip(k.Cautions)
		case fieldHandling:
			b, err = c.plain("", k.Front[field], c.face.text, c.measure())
		default:
			b, err = c.section(k.Front[field], c.measure())
		}
		if err != nil {
			return nil, foot, fieldError(field, err)
		}
		blocks = append(blocks, b)
	}
	foot, err = c.frontFoot(k)
	return blocks, foot, err
}

// plain sets a field as one paragraph of small type, in a language; "" is that of the
// card.
func (c composer) plain(language string, s section, font *typeset.Font, width typeset.Points) (block, error) {
	var texts []string
	for _, e := range s.Entries {
		texts = append(texts, e.Text)
	}
	if len(texts) == 0 {
		return block{}, nil
	}
	return c.paragraphIn(language, strings.Join(texts, " "), font, c.face.Colours.Quiet, c.paper.Small, width)
}

// fieldError names the field in which something went wrong.
func fieldError(field string, err error) error { return fmt.Errorf("%q: %w", field, err) }

// cautionStrip says what to take care of, on a ground of its own.
func (c composer) cautionStrip(labels []string) (block, error) {
	if len(labels) == 0 {
		return block{}, nil
	}
	node := &draw.Node{Role: draw.RoleParagraph}
	pad := c.text / 2
	symbol := cautionSymbol(c.text.Scale(16, 10), c.face.Colours.OnCaution, c.face.Colours.Caution)
	x := pad + symbol.width + pad
	dark := c.face.Colours.OnCaution
	var words []string
	for _, label := range labels {
		words = append(words, sentence(label))
	}
	set, err := c.set([]ink{
		{c.words.Lead(c.words.TakeCare) + " ", c.face.heavy, dark, node},
		{strings.Join(words, " "), c.face.strong, dark, node},
	}, c.text, c.leading, typeset.Measure{Width: c.measure() - x - pad, Chars: c.face.LineChars})
	if err != nil {
		return block{}, err
	}
	inner := max(set.height, symbol.height)
	box := draw.Rect{W: c.measure(), H: inner + pad}
	b := block{nodes: []*draw.Node{node}}
	b.items = []draw.Item{{Box: box, Ground: true, Shape: draw.Rounded(box, pad/2, c.face.Colours.Caution)}}
	b.put(symbol, pad, (box.H-symbol.height)/2)
	b.put(set, x, (box.H-set.height)/2)
	b.width, b.height = box.W, box.H
	return b, nil
}

// frontFoot sets credits, workshop and as-of date, and the QR code to the right
// of them. The dark part of the code ends at the margin; its clear border
// reaches into it.
func (c composer) frontFoot(k content) (block, error) {
	code, err := c.codeWithLine(k)
	if err != nil {
		return block{}, err
	}
	quiet := c.paper.Module * quietModules
	codeX := c.measure() + quiet - code.width
	var lines block
	for _, field := range c.face.Foot {
		b := block{}
		if field == fieldAsOf {
			b, err = c.asOfLine(codeX - c.gap)
		} else {
			font, language := c.face.text, ""
			if field == fieldWorkshop {
				font, language = c.face.strong, other(k.workshopIn, c.labels)
			}
			b, err = c.plain(language, k.Front[field], font, codeX-c.gap)
		}
		if err != nil {
			return block{}, fieldError(field, err)
		}
		lines.below(b, 0)
	}
	foot := c.rule()
	top := foot.height + c.gap/4
	height := max(lines.height, code.height)
	foot.put(lines, 0, top+(height-lines.height))
	foot.put(code, codeX, top+(height-code.height))
	return foot, nil
}

// codeWithLine sets the QR code with its line below it.
func (c composer) codeWithLine(k content) (block, error) {
	code, err := c.code(k.Address)
	if err != nil {
		return block{}, err
	}
	side := code.side
	figure := &draw.Node{Role: draw.RoleFigure, Alt: tongue.Fill(c.words.Front.Code, "address", k.Address)}
	box := draw.Rect{W: side, H: side}
	b := block{width: side, height: side, nodes: []*draw.Node{figure}}
	b.items = []draw.Item{
		{Box: box, Ground: true, Shape: draw.Rectangle(box, draw.Colour{R: 255, G: 255, B: 255})},
		{Box: box, Node: figure, Shape: code.path},
	}
	said := k.QRLine
	if c.breaks {
		said = k.QRMore
	}
	line, err := c.paragraph(said, c.face.strong, c.face.Colours.Heading, c.paper.Small, side)
	if err != nil {
		return b, err
	}
	b.put(line, (side-line.width)/2, side-c.paper.Module)
	return b, nil
}
