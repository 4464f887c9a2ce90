package card

import (
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// Sheet says how several cards share a sheet of paper, to be cut apart.
type Sheet struct {
	Up    int    // cards on a side: 2 or 4
	Paper string // a4 or letter
	// Flip is the edge of the sheet about which the printer turns it: long or short.
	Flip string
	// Shrink makes cards that would fill the sheet a little smaller, for a margin
	// that holds marks and words for whoever prints. Otherwise each card has its
	// full share of the sheet, and the marks stand where the cuts go.
	Shrink bool
}

// sheetMargin is what is left around the cards for marks and a line of words;
// common office printers leave 4 to 6 mm white (common practice, no source).
var sheetMargin = typeset.Millimetres(11)

// A card on a sheet may be narrower or lower than its own paper, or the other
// way round, by as much as a half or a quarter of Letter is from A5 and A6, and a
// margin more (percent).
const smallestShare, largestShare = 85, 105

// grid is where the cards of one sheet lie.
type grid struct {
	paper      paperSize
	cols, rows int
	cell       paperSize
	x, y       typeset.Points // the top left corner of the first card
	turned     bool           // the back of a sheet is turned by half a turn
	filled     bool           // the cards fill the sheet, so that all cuts run between two cards
	// words tell whoever prints and cuts how to: in the bottom margin, one below each
	// column, and the next in the top margin.
	words []string
}

// grid works out where cards of a paper lie. Two cards lie side by side on a
// sheet on its side, four in two rows on an upright one. A card on the back of a
// sheet lies behind its front; whichever edge the sheet turns about, each card
// turns like the page of a book.
func (s Sheet) grid(card string, size paperSize, duplex bool) (*grid, error) {
	if s.Paper != "a4" && s.Paper != "letter" {
		return nil, fmt.Errorf("%w: %q is no sheet to put several cards on; choose a4 or letter", ErrSheet, s.Paper)
	}
	if s.Flip != "long" && s.Flip != "short" {
		return nil, fmt.Errorf("%w: a sheet is flipped on its long or its short edge, not on %q", ErrSheet, s.Flip)
	}
	g := &grid{paper: paperSizes()[s.Paper], cols: 2, rows: 2}
	upright := true
	switch s.Up {
	case 2:
		g.rows, upright = 1, false
		g.paper.width, g.paper.height = g.paper.height, g.paper.width
	case 4:
	default:
		return nil, fmt.Errorf("%w: %d to a sheet; put 2 or 4 on one", ErrSheet, s.Up)
	}
	// The axis of the turn is the vertical one where it is the edge that stands.
	g.turned = (s.Flip == "long") != upright
	cols, rows := typeset.Points(g.cols), typeset.Points(g.rows)
	share := paperSize{g.paper.width / cols, g.paper.height / rows}
	room := paperSize{(g.paper.width - 2*sheetMargin) / cols, (g.paper.height - 2*sheetMargin) / rows}
	switch {
	case size.width <= room.width && size.height <= room.height:
		g.cell = size
	case s.Shrink && isLike(room, size):
		g.cell = paperSize{min(size.width, room.width), min(size.height, room.height)}
	case !s.Shrink && isLike(share, size):
		g.cell, g.filled = share, true
	default:
		return nil, fmt.Errorf("%w: %d %s cards are too large for one side of %s; put 2 a5 or 4 a6 on it", ErrSheet, s.Up, card, s.Paper)
	}
	g.x = (g.paper.width - typeset.Points(g.cols)*g.cell.width) / 2
	g.y = (g.paper.height - typeset.Points(g.rows)*g.cell.height) / 2
	cut := "Cut at the marks: " + strings.ToUpper(card) + "."
	switch {
	case g.filled:
		cut = "Cut through the middle, at the marks."
	case g.cell != size:
		cut = fmt.Sprintf("Cut at the marks: %d × %d mm, not %s.", millimetres(g.cell.width), millimetres(g.cell.height), strings.ToUpper(card))
	}
	g.words = append(howToPrint(duplex, s.Flip), cut)
	return g, nil
}

// howToPrint says how sides are printed so that each back lies behind its front.
func howToPrint(duplex bool, flip string) []string {
	if duplex {
		return []string{"Print at 100 %, double-sided.", fmt.Sprintf("Flip on the %s edge.", flip)}
	}
	return []string{"Print at 100 %, one side."}
}

// howToPrint tells whoever prints these cards which settings to choose.
func (o Options) howToPrint() string {
	words := howToPrint(len(o.Faces) > 1, "long")
	if o.Sheet.Up > 1 {
		if g, err := o.Sheet.grid(o.Paper, paperSizes()[o.Paper], len(o.Faces) > 1); err == nil {
			words = g.words
		}
	}
	return strings.Join(words, " ")
}

// isLike reports whether a card can be set on a cell of a sheet.
func isLike(cell, card paperSize) bool {
	near := func(a, b typeset.Points) bool {
		return a >= b.Scale(smallestShare, 100) && a <= b.Scale(largestShare, 100)
	}
	return near(cell.width, card.width) && near(cell.height, card.height)
}

// millimetres rounds down to whole millimetres.
func millimetres(p typeset.Points) int64 { return int64(p) * 254 / (10 * int64(typeset.Inch)) }

// place is the top left corner of a card's cell. On the back of a sheet the
// columns run the other way.
func (g *grid) place(i int, back bool) (x, y typeset.Points) {
	col, row := i%g.cols, i/g.cols
	if back {
		col = g.cols - 1 - col
	}
	return g.x + typeset.Points(col)*g.cell.width, g.y + typeset.Points(row)*g.cell.height
}

// imposed lays the pages of cards out on sheets: the fronts of so many cards,
// then their backs.
func (c composer) imposed(g *grid, pages []draw.Page, faces int) ([]draw.Page, error) {
	var sheets []draw.Page
	for cards := range slices.Chunk(pages, g.cols*g.rows*faces) {
		for face := range faces {
			sheet := draw.Page{Width: g.paper.width, Height: g.paper.height, Turned: face == 1 && g.turned}
			for i := 0; i*faces < len(cards); i++ {
				x, y := g.place(i, face == 1)
				for _, it := range cards[i*faces+face].Items {
					sheet.Items = append(sheet.Items, it.Shift(x, y))
				}
			}
			marks, err := c.marks(g)
			if err != nil {
				return nil, err
			}
			sheet.Items = append(sheet.Items, marks...)
			sheets = append(sheets, sheet)
		}
	}
	return sheets, nil
}

// marks draws where to cut. Where there is a margin it holds the marks, and says
// how to print the sheet; or else they stand on the lines of the cuts, away from
// the edges that a printer leaves white.
func (c composer) marks(g *grid) ([]draw.Item, error) {
	if g.cell == g.paper {
		return nil, nil
	}
	black := draw.Colour{}
	thick, off, long := typeset.Point/2, typeset.Millimetres(1), typeset.Millimetres(5)
	var items []draw.Item
	across := func(x, y typeset.Points) {
		r := draw.Rect{X: x, Y: y - thick/2, W: long, H: thick}
		items = append(items, draw.Item{Box: r, Shape: draw.Rectangle(r, black)})
	}
	down := func(x, y typeset.Points) {
		r := draw.Rect{X: x - thick/2, Y: y, W: thick, H: long}
		items = append(items, draw.Item{Box: r, Shape: draw.Rectangle(r, black)})
	}
	if g.filled {
		x, y := g.paper.width/2, g.paper.height/2
		down(x, long)
		down(x, g.paper.height-2*long)
		if g.rows > 1 {
			across(long, y)
			across(g.paper.width-2*long, y)
			cross := draw.Path{Fill: black}
			cross.Rectangle(draw.Rect{X: x - long/2, Y: y - thick/2, W: long, H: thick})
			cross.Rectangle(draw.Rect{X: x - thick/2, Y: y - long/2, W: thick, H: long})
			items = append(items, draw.Item{Box: draw.Rect{X: x - long/2, Y: y - long/2, W: long, H: long}, Shape: cross})
		}
		return items, nil
	}
	right, bottom := g.x+typeset.Points(g.cols)*g.cell.width, g.y+typeset.Points(g.rows)*g.cell.height
	for col := range g.cols + 1 {
		x := g.x + typeset.Points(col)*g.cell.width
		down(x, g.y-off-long)
		down(x, bottom+off)
	}
	for row := range g.rows + 1 {
		y := g.y + typeset.Points(row)*g.cell.height
		across(g.x-off-long, y)
		across(right+off, y)
	}
	c.breaks = false
	for i, words := range g.words {
		set, err := c.set([]ink{{words, c.face.text, c.face.Colours.Text, nil}}, leastType, 100, typeset.Measure{Width: 1 << 40})
		if err != nil {
			return nil, err
		}
		x, y := g.x+typeset.Points(i%g.cols)*g.cell.width+typeset.Millimetres(3), bottom+off+typeset.Micrometres(500)
		if i >= g.cols {
			y = g.y - off - typeset.Micrometres(500) - set.height
		}
		items = append(items, set.at(x, y)...)
	}
	return items, nil
}
