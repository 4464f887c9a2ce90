package card

import (
	"errors"
	"slices"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// sheetOfBack sets the side for the guide.
func sheetOfBack(c composer, k content, into *draw.Node) ([]draw.Item, error) {
	head, err := c.head(k, c.measure())
	if err != nil {
		return nil, err
	}
	mark, err := c.notTranslated(k)
	if err != nil {
		return nil, err
	}
	blocks := []block{head, mark, c.rule()}
	columns, right := c.columns()
	var strips []strip
	for _, field := range c.face.Fields {
		set, err := c.strips(k.back(field), columns)
		if err != nil {
			return nil, fieldError(field, err)
		}
		if len(set) > 0 && c.paper.Columns != 2 {
			blocks = append(blocks, stack(set))
		} else if len(set) > 0 {
			set[0].gap = c.gap
			strips = append(strips, set...)
		}
	}
	if len(strips) > 0 {
		blocks = append(blocks, twoColumns(strips, right))
	}
	foot, err := c.backFoot(k.whose())
	if err != nil {
		return nil, err
	}
	return c.pile(blocks, foot, into)
}

// columns returns the width of a column, and where the right one of two begins.
func (c composer) columns() (width, right typeset.Points) {
	if c.paper.Columns != 2 {
		return c.measure(), 0
	}
	width = (c.measure() - 2*c.gap) / 2
	return width, c.measure() - width
}

// backFoot sets the as-of date and, at the right, whom the side is for.
func (c composer) backFoot(whose string) (block, error) {
	var foot block
	left, err := c.asOfLine(c.measure())
	if err != nil {
		return foot, err
	}
	right, err := c.paragraph(whose, c.face.strong, c.face.Colours.Quiet, c.paper.Small, c.measure())
	if err != nil {
		return foot, err
	}
	foot.put(left, 0, 0)
	if left.width+c.gap+right.width <= c.measure() {
		foot.put(right, c.measure()-right.width, 0)
	} else {
		foot.put(right, 0, left.height)
	}
	return foot, nil
}

// sheetOfGuideOnly sets the sheet that stands in for a card: marked so that
// nobody hands it out.
func sheetOfGuideOnly(c composer, k content, into *draw.Node) ([]draw.Item, error) {
	band, err := c.warningBand(c.words.Guide.Band)
	if err != nil {
		return nil, err
	}
	head, err := c.head(k, c.measure())
	if err != nil {
		return nil, err
	}
	blocks := []block{band, head}
	for _, field := range []string{fieldWithheld, fieldAdvice} {
		b, err := c.section(c.printable(k.Back[field]), c.measure())
		if err != nil {
			return nil, fieldError(field, err)
		}
		blocks = append(blocks, b)
	}
	foot, err := c.backFoot(c.words.Guide.Only)
	if err != nil {
		return nil, err
	}
	return c.pile(blocks, foot, into)
}

// printable changes what cannot be set: a character that the font lacks becomes
// a question mark, and long words may be broken. The sheet quotes titles that
// nobody has cleared, and one of them must not keep the rest of the tour from
// the guide.
func (c composer) printable(s section) section {
	hyphenated := false
	for {
		_, err := c.section(s, c.measure())
		var missing typeset.MissingGlyph
		switch wide := (typeset.TooWide{}); {
		case errors.As(err, &missing):
			s = s.mapped(func(text string) string { return strings.ReplaceAll(text, string(missing.Rune), "?") })
		case errors.As(err, &wide) && !hyphenated:
			s, hyphenated = s.mapped(breakLongWords), true
		default:
			return s
		}
	}
}

// mapped returns the section with its texts changed.
func (s section) mapped(change func(string) string) section {
	entries := make([]entry, len(s.Entries))
	for i, e := range s.Entries {
		entries[i] = entry{Lead: change(e.Lead), Text: change(e.Text), Language: e.Language}
	}
	s.Entries = entries
	return s
}

// breakLongWords puts a soft hyphen after every eight characters of a word of
// more than sixteen.
func breakLongWords(text string) string {
	words := strings.Split(text, " ")
	for i, word := range words {
		runes := []rune(word)
		if len(runes) <= 16 {
			continue
		}
		var pieces []string
		for piece := range slices.Chunk(runes, 8) {
			pieces = append(pieces, string(piece))
		}
		words[i] = strings.Join(pieces, "\u00ad")
	}
	return strings.Join(words, " ")
}

// warningBand sets words on the warning colour, across the column.
func (c composer) warningBand(words string) (block, error) {
	pad := c.text.Scale(3, 4)
	node := &draw.Node{Role: draw.RoleParagraph}
	size := c.title
	set, err := c.set([]ink{{words, c.face.heavy, c.face.Colours.OnWarning, node}}, size, c.leading, typeset.Measure{Width: c.measure() - 2*pad, Even: true})
	if err != nil {
		return block{}, err
	}
	box := draw.Rect{W: c.measure(), H: set.height + 2*pad}
	b := block{nodes: []*draw.Node{node}}
	b.items = []draw.Item{{Box: box, Ground: true, Shape: draw.Rectangle(box, c.face.Colours.Warning)}}
	b.put(set, pad, pad)
	b.width, b.height = box.W, box.H
	return b, nil
}
