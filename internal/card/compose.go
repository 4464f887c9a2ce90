package card

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/tongue"
)

// errNoRoom is for a layout that does not fit at the size tried.
var errNoRoom = errors.New("no room")

// sizeSteps is how many sizes are tried between a face's limits.
const sizeSteps = 18

// layout sets one side of a card at the composer's size, or says errNoRoom.
type layout func(composer, content, *draw.Node) ([]draw.Item, error)

// composer sets text on one side of a card.
type composer struct {
	*press
	face        *face
	paper       *facePaper
	side        string
	voice                      // in which the card says its own words
	tongue      string         // language of the story, where it is not that of the voice
	text, title typeset.Points // the sizes being tried
	gap         typeset.Points // between blocks
	room        typeset.Points // what the rest of a front leaves for its title and photo
	leading     int            // distance of lines, percent of the size of the text
	tight       bool           // the photo may be as small as it may ever be
	breaks      bool           // words may be broken at the end of a line
	trial       bool           // only the room is asked for: text is set without its shapes
	lines       *typeset.Breaker
}

// largest sets a side in the largest type that fits; the next size up does not.
// A small photo is for a side that does not fit otherwise, and after it, words are broken, since broken words are hard to read (clear print, UKAAF G003: words are
// not split).
func (c composer) largest(k content, sheet layout, into *draw.Node) (draw.Page, error) {
	trial := c
	trial.trial = true
	_, err := trial.at(0, k, sheet, into)
	for _, last := range []bool{false, true} {
		if isTight(err) {
			trial.tight, trial.breaks = true, last
			_, err = trial.at(0, k, sheet, into)
		}
	}
	if tooWide := (typeset.TooWide{}); errors.As(err, &tooWide) {
		return draw.Page{}, tooWide
	}
	if errors.Is(err, errNoRoom) {
		return draw.Page{}, c.overflow(k, sheet)
	}
	fits, tooLarge := 0, sizeSteps+1
	for err == nil && tooLarge-fits > 1 {
		step := (fits + tooLarge) / 2
		_, err = trial.at(step, k, sheet, into)
		switch {
		case err == nil:
			fits = step
		case errors.Is(err, errNoRoom):
			tooLarge, err = step, nil
		}
	}
	if err != nil {
		return draw.Page{}, err
	}
	c.tight, c.breaks = trial.tight, trial.breaks
	return c.at(fits, k, sheet, into)
}

// at sets a side at one of the sizes.
func (c composer) at(step int, k content, sheet layout, into *draw.Node) (draw.Page, error) {
	c.sized(step)
	into.Kids = nil
	page := draw.Page{Width: c.size.width, Height: c.size.height}
	if c.draft {
		stamp, err := c.stamp(into)
		if err != nil {
			return page, err
		}
		page.Items = stamp
	}
	items, err := sheet(c, k, into)
	page.Items = append(page.Items, items...)
	return page, roomOr(err)
}

// sized takes one of the sizes between the face's limits.
func (c *composer) sized(step int) {
	c.text, c.title = c.paper.Text.at(step, sizeSteps), c.paper.Title.at(step, sizeSteps)
	c.leading, c.gap = c.paper.Leading.at(step, sizeSteps), c.paper.Gap.at(step, sizeSteps)
}

// isTight reports whether narrower words would help.
func isTight(err error) bool {
	tooWide := typeset.TooWide{}
	return errors.Is(err, errNoRoom) || errors.As(err, &tooWide)
}

// measure is the width between the margins.
func (c composer) measure() typeset.Points { return c.size.width - 2*c.paper.Margin }

// block is something set, with its top left corner at the origin.
type block struct {
	width, height typeset.Points
	items         []draw.Item
	nodes         []*draw.Node // in the order of reading
	cuts          []cut        // between the lines of a paragraph
}

// empty reports whether a block draws nothing; then it takes no room, and no gap.
func (b block) empty() bool { return b.height == 0 }

// cut is where a block may be taken apart: the items from here on stand below y.
type cut struct {
	y    typeset.Points
	item int
}

// lines takes a paragraph apart at its cuts. Its nodes go with the first line.
func (b block) lines() []block {
	all := make([]block, 0, len(b.cuts)+1)
	top, first := typeset.Points(0), 0
	for _, end := range append(slices.Clone(b.cuts), cut{b.height, len(b.items)}) {
		line := block{width: b.width, height: end.y - top}
		for _, it := range b.items[first:end.item] {
			line.items = append(line.items, it.Shift(0, -top))
		}
		all = append(all, line)
		top, first = end.y, end.item
	}
	all[0].nodes = b.nodes
	return all
}

// at returns the block's items moved to a place.
func (b block) at(x, y typeset.Points) []draw.Item {
	out := make([]draw.Item, len(b.items))
	for i, it := range b.items {
		out[i] = it.Shift(x, y)
	}
	return out
}

// put adds another block to this one, at a place in it.
func (b *block) put(o block, x, y typeset.Points) {
	b.items = append(b.items, o.at(x, y)...)
	b.nodes = append(b.nodes, o.nodes...)
	b.width, b.height = max(b.width, x+o.width), max(b.height, y+o.height)
}

// below adds another block under this one.
func (b *block) below(o block, gap typeset.Points) {
	if o.empty() {
		return
	}
	if b.empty() {
		gap = 0
	}
	b.put(o, 0, b.height+gap)
}

// ink is text in one style that belongs to one node.
type ink struct {
	text   string
	font   *typeset.Font
	colour draw.Colour
	node   *draw.Node
}

// set breaks text into lines and places them. The capitals stand in the middle
// of each line's height; a line whose accents or tails would touch its
// neighbour stands farther off.
func (c composer) set(inks []ink, size typeset.Points, percent int, m typeset.Measure) (block, error) {
	spans := make([]typeset.Span, len(inks))
	for i, k := range inks {
		text := k.text
		if h := c.hyphenation(k.node); c.breaks && h != nil {
			text = h.Soften(text)
		}
		spans[i] = typeset.Span{Text: text, Font: k.font, Size: size, Mark: i}
	}
	how := c.lines.Break
	if c.trial {
		how = c.lines.Try
	}
	lines, err := how(spans, m)
	if err != nil || len(lines) == 0 {
		return block{}, err
	}
	font := inks[0].font
	pitch := size.Scale(int64(percent), 100)
	capital := size.Scale(font.CapHeight(), font.UnitsPerEm())
	var b block
	var baseline, below typeset.Points
	for i, line := range lines {
		if i == 0 {
			baseline = max((pitch+capital)/2, line.Above)
		} else {
			baseline += max(pitch, below+line.Above)
			b.cuts = append(b.cuts, cut{baseline - max((pitch+capital)/2, line.Above), len(b.items)})
		}
		below = line.Below
		for _, piece := range line.Pieces {
			k := inks[piece.Mark]
			b.items = append(b.items, draw.Item{
				Node: k.node,
				Box:  draw.Rect{X: piece.X, Y: baseline - line.Above, W: piece.Width, H: line.Above + line.Below},
				Shape: draw.Text{
					X: piece.X, Y: baseline, Font: piece.Font, Size: piece.Size, Colour: k.colour, Glyphs: piece.Glyphs,
				},
			})
		}
		b.width = max(b.width, line.Width)
	}
	b.height = baseline + max((pitch-capital)/2, below)
	return b, nil
}

// paragraph sets text as one paragraph of body type.
func (c composer) paragraph(text string, font *typeset.Font, colour draw.Colour, size, width typeset.Points) (block, error) {
	return c.paragraphIn("", text, font, colour, size, width)
}

// paragraphIn is paragraph in a language; "" is that of the card.
func (c composer) paragraphIn(language, text string, font *typeset.Font, colour draw.Colour, size, width typeset.Points) (block, error) {
	node := &draw.Node{Role: draw.RoleParagraph, Language: language}
	b, err := c.set([]ink{{text, font, colour, node}}, size, c.leading, typeset.Measure{Width: width, Chars: c.face.LineChars})
	b.nodes = []*draw.Node{node}
	return b, err
}

// section sets a field under its heading.
func (c composer) section(s section, width typeset.Points) (block, error) {
	strips, err := c.strips(s, width)
	return stack(strips), err
}

// shortEntry is the most lines of an entry that is not parted by a column's end.
const shortEntry = 5

// strip is a line or a heading, and how it hangs together with what follows.
type strip struct {
	block
	gap   typeset.Points // above it
	stays bool           // with the next strip, in one column
}

// stack puts strips under one another. The first one's gap is left out.
func stack(strips []strip) block {
	var b block
	for _, s := range strips {
		b.below(s.block, s.gap)
	}
	return b
}

// strips sets a field as lines that a column may end between: not behind a
// heading, and not so that one line of a paragraph stands alone.
func (c composer) strips(s section, width typeset.Points) ([]strip, error) {
	if len(s.Entries) == 0 {
		return nil, nil
	}
	var all []strip
	var heading []ink
	m := typeset.Measure{Width: width, Chars: c.face.LineChars}
	var above []*draw.Node // nodes that are read before those of the next strip
	if s.Heading != "" {
		node := &draw.Node{Role: draw.RoleHeading2}
		heading = []ink{{s.Heading, c.face.strong, c.face.Colours.Heading, node}}
		above = append(above, node)
	}
	if heading != nil && (c.paper.Heading != runIn || s.List) {
		set, err := c.set(heading, c.text, c.leading, m)
		if err != nil {
			return nil, err
		}
		set.nodes, above, heading = above, nil, nil
		all = append(all, strip{block: set, stays: true})
	}
	list := &draw.Node{Role: draw.RoleList}
	if s.List {
		above = append(above, list)
	}
	for i, e := range s.Entries {
		body := &draw.Node{Role: draw.RoleParagraph, Language: cmp.Or(e.Language, c.tongue)}
		if s.List {
			body.Role = draw.RoleListBody
			list.Kids = append(list.Kids, &draw.Node{Role: draw.RoleListItem, Kids: []*draw.Node{body}})
		} else {
			above = append(above, body)
		}
		inks := e.inks(c.face, body)
		if i == 0 && heading != nil {
			heading[0].text = c.words.Lead(heading[0].text) + " "
			inks = append(heading, inks...)
		}
		set, err := c.set(inks, c.text, c.leading, m)
		if err != nil {
			return nil, err
		}
		set.nodes, above = above, nil
		lines := set.lines()
		for n, line := range lines {
			one := strip{block: line, stays: n+1 < len(lines) && (len(lines) <= shortEntry || n == 0 || n == len(lines)-2)}
			if n == 0 && i > 0 {
				one.gap = c.gap / 2
			}
			all = append(all, one)
		}
	}
	return all, nil
}

// twoColumns sets strips in two columns of like height, the left one the taller.
func twoColumns(strips []strip, right typeset.Points) block {
	height := func(strips []strip) typeset.Points { return stack(strips).height }
	best, least := len(strips), height(strips)
	for i := len(strips) - 1; i > 0; i-- {
		if strips[i-1].stays {
			continue
		}
		if h := max(height(strips[:i]), height(strips[i:])); h < least {
			best, least = i, h
		}
	}
	b := stack(strips[:best])
	b.put(stack(strips[best:]), right, 0)
	return b
}

// inks returns an entry's text in its two weights.
func (e entry) inks(f *face, node *draw.Node) []ink {
	var all []ink
	if e.Lead != "" {
		all = append(all, ink{e.Lead + " ", f.strong, f.Colours.Text, node})
	}
	if e.Text != "" {
		all = append(all, ink{e.Text, f.text, f.Colours.Text, node})
	}
	return all
}

// badge draws the stop's number, which is the first word of the heading.
func (c composer) badge(number string, heading *draw.Node) (block, error) {
	// The space keeps the number and the title apart for whoever hears them read.
	set, err := c.set([]ink{{number + " ", c.face.heavy, c.face.Colours.OnBadge, heading}}, c.paper.Number, 100, typeset.Measure{Width: c.measure()})
	if err != nil {
		return block{}, err
	}
	side := c.paper.Number.Scale(3, 2)
	width := max(side, set.width+c.paper.Number.Scale(7, 10))
	box := draw.Rect{W: width, H: side}
	var b block
	b.items = []draw.Item{{Box: box, Ground: true, Shape: draw.Rounded(box, side/6, c.face.Colours.Badge)}}
	b.put(set, (width-set.width)/2, (side-set.height)/2)
	b.width, b.height = width, side
	return b, nil
}

// titleLines sets the title and the place below it.
func (c composer) titleLines(k content, heading *draw.Node, width typeset.Points) (block, error) {
	title := []ink{{k.Title, c.face.heavy, c.face.Colours.Heading, heading}}
	whole := c
	whole.breaks = false
	b, err := whole.set(title, c.title, c.face.TitleLeading, typeset.Measure{Width: width, Even: true})
	if tooWide := (typeset.TooWide{}); c.breaks && errors.As(err, &tooWide) {
		b, err = c.set(title, c.title, c.face.TitleLeading, typeset.Measure{Width: width, Even: true})
	}
	if err != nil {
		return b, err
	}
	if strings.TrimSpace(k.Place) == "" {
		return b, nil
	}
	place, err := c.paragraphIn(k.PlaceLanguage, k.Place, c.face.strong, c.face.Colours.Quiet, c.paper.Small, width)
	b.below(place, 0)
	return b, err
}

// head sets the number to the left of the title.
func (c composer) head(k content, width typeset.Points) (block, error) {
	heading := &draw.Node{Role: draw.RoleHeading1, Language: c.tongue}
	b, err := c.badge(k.Number, heading)
	if err != nil {
		return b, err
	}
	b.nodes = []*draw.Node{heading}
	x := b.width + c.gap
	lines, err := c.titleLines(k, heading, width-x)
	b.put(lines, x, 0)
	return b, err
}

// stamp marks a page that may not be used: a band in each margin, and the word
// in pale letters behind everything.
func (c composer) stamp(into *draw.Node) ([]draw.Item, error) {
	node := &draw.Node{Role: draw.RoleParagraph}
	into.Kids = append(into.Kids, node)
	// Dark enough for a printer that loses its palest tints, and the outer
	// millimetres where the bands stand.
	pale := draw.Colour{R: 0xe8, G: 0xcf, B: 0xcc}
	behind, err := c.set([]ink{{"DRAFT", c.face.heavy, pale, nil}}, 100*typeset.Point, 100, typeset.Measure{Width: 1 << 40})
	if err != nil {
		return nil, err
	}
	size := (100 * typeset.Point).Scale(int64(c.measure()), int64(behind.width))
	if behind, err = c.set([]ink{{"DRAFT", c.face.heavy, pale, nil}}, size, 100, typeset.Measure{Width: 1 << 40}); err != nil {
		return nil, err
	}
	items := behind.at((c.size.width-behind.width)/2, (c.size.height-behind.height)/2)
	for i := range items {
		items[i].Ground = true
	}
	height := c.face.least.Scale(13, 10)
	inset := (c.paper.Margin - height) / 2
	for _, y := range []typeset.Points{inset, c.size.height - inset - height} {
		box := draw.Rect{X: c.paper.Margin, Y: y, W: c.measure(), H: height}
		set, err := c.stampWords(box.W, node)
		if err != nil {
			return nil, err
		}
		items = append(items, draw.Item{Box: box, Ground: true, Shape: draw.Rectangle(box, c.face.Colours.Warning)})
		items = append(items, set.at(box.X+(box.W-set.width)/2, box.Y)...)
		// The band at the foot repeats the one at the head, and is not read twice.
		node = nil
	}
	return items, nil
}

// stampWords sets what the stamp says on one line: as much as there is room for, a
// clause at a time, and DRAFT at the least.
func (c composer) stampWords(room typeset.Points, node *draw.Node) (block, error) {
	clauses := strings.Split(c.words.Draft, ",")
	for n := len(clauses); n > 0; n-- {
		set, err := c.set([]ink{{strings.Join(clauses[:n], ","), c.face.strong, c.face.Colours.OnWarning, node}}, c.face.least, 130, typeset.Measure{Width: 1 << 40})
		if err != nil || set.width <= room {
			return set, err
		}
	}
	return c.set([]ink{{"DRAFT", c.face.strong, c.face.Colours.OnWarning, node}}, c.face.least, 130, typeset.Measure{Width: room})
}

// pile stacks blocks from the top margin down and stands the foot on the bottom
// margin. Room that is left over widens the gaps a little.
func (c composer) pile(blocks []block, foot block, into *draw.Node) ([]draw.Item, error) {
	gap := c.gap
	used := foot.height
	gaps := 0
	for _, b := range blocks {
		if !b.empty() {
			used += b.height
			gaps++
		}
	}
	spare := c.size.height - 2*c.paper.Margin - used - gap*typeset.Points(gaps)
	if spare < 0 {
		return nil, errNoRoom
	}
	gap += min(spare/typeset.Points(gaps+1), gap)
	var items []draw.Item
	y := c.paper.Margin
	for _, b := range blocks {
		if b.empty() {
			continue
		}
		items = append(items, b.at(c.paper.Margin, y)...)
		into.Kids = append(into.Kids, b.nodes...)
		y += b.height + gap
	}
	items = append(items, foot.at(c.paper.Margin, c.size.height-c.paper.Margin-foot.height)...)
	into.Kids = append(into.Kids, foot.nodes...)
	return items, nil
}

// asOfLine says on which day the card was true.
func (c composer) asOfLine(width typeset.Points) (block, error) {
	return c.paragraph(tongue.Fill(c.words.Front.AsOf, "day", c.words.Day(c.asOf)), c.face.text, c.face.Colours.Quiet, c.paper.Small, width)
}

// notTranslated says, in the language that was asked for, that the card is in another:
// a line on a ground of its own, below the title of either side.
func (c composer) notTranslated(k content) (block, error) {
	if k.NotTranslated == "" {
		return block{}, nil
	}
	pad := c.text / 2
	node := &draw.Node{Role: draw.RoleParagraph, Language: other(c.language, c.labels)}
	set, err := c.set([]ink{{k.NotTranslated, c.face.strong, c.face.Colours.OnBadge, node}}, c.paper.Small, c.leading, typeset.Measure{Width: c.measure() - 2*pad, Chars: c.face.LineChars})
	if err != nil {
		return block{}, err
	}
	box := draw.Rect{W: c.measure(), H: set.height + pad/2}
	b := block{nodes: []*draw.Node{node}}
	b.items = []draw.Item{{Box: box, Ground: true, Shape: draw.Rounded(box, pad/2, c.face.Colours.Badge)}}
	b.put(set, pad, pad/4)
	b.width, b.height = box.W, box.H
	return b, nil
}

// rule draws a thin line across the column.
func (c composer) rule() block {
	box := draw.Rect{W: c.measure(), H: typeset.Point * 3 / 4}
	return block{width: box.W, height: box.H, items: []draw.Item{{Box: box, Shape: draw.Rectangle(box, c.face.Colours.Rule)}}}
}

// roomOr turns a word too wide for a narrow column into lack of room, since
// another arrangement or a smaller size may hold it.
func roomOr(err error) error {
	if tooWide := (typeset.TooWide{}); errors.As(err, &tooWide) {
		return fmt.Errorf("%w: %w", errNoRoom, err)
	}
	return err
}
