package card

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
)

// notice is one caution at one stop, in words for whoever stands there.
type notice struct {
	stop    cleared.Stop
	caution cleared.Caution
}

// localRules stands on every strip: what is printed orders nobody about.
const localRules = "The site’s rules and the person in charge come first."

// notices lists the cautions of a walk, stop by stop, the gravest of each first.
func (w walk) notices() []notice {
	var all []notice
	for _, v := range w.plan.Visits {
		for _, c := range stopCautions(v.Stop) {
			all = append(all, notice{v.Stop, c})
		}
	}
	return all
}

// layStrips sets a strip for each caution of each stop, and puts them on sheets to
// be cut. A strip that is too full for its share of a sheet has a sheet of its own.
func layStrips(ctx context.Context, c composer, w walk) (*draw.Document, error) {
	all := w.notices()
	if len(all) == 0 {
		return nil, fmt.Errorf("%w: no stop of this walk has a caution", ErrNothingToPrint)
	}
	sheets := []*grid{c.stripGrid(c.paper.Strips)}
	if c.paper.Strips > 1 {
		sheets = append(sheets, c.stripGrid(1))
	}
	doc := &draw.Document{Title: w.fileTitle(CautionStrips, c.draft), Language: c.language, Root: &draw.Node{Role: draw.RoleDocument}, Print: draw.Print{ActualSize: true, Sides: draw.OneSide}}
	var alike []draw.Page // strips that share sheets, not yet on one
	var on *grid
	flush := func() error {
		if len(alike) == 0 {
			return nil
		}
		pages, err := c.imposed(on, alike, 1)
		doc.Pages, alike = append(doc.Pages, pages...), nil
		return err
	}
	for _, n := range all {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		section := &draw.Node{Role: draw.RoleSection}
		page, g, err := c.notice(n, sheets, section)
		if err != nil {
			return nil, fmt.Errorf("stop %d (%s), %q: %w", n.stop.Number(), n.stop.ID(), n.caution.Label, err)
		}
		if g != on {
			if err := flush(); err != nil {
				return nil, err
			}
		}
		on = g
		alike = append(alike, page)
		doc.Root.Kids = append(doc.Root.Kids, section)
	}
	return doc, flush()
}

// stripGrid is where a number of strips lie on a sheet on its side. One alone is
// the sheet, and is not cut.
func (c composer) stripGrid(strips int) *grid {
	g := &grid{paper: paperSize{c.size.height, c.size.width}, cols: 1, rows: strips}
	if strips == 1 {
		g.cell = g.paper
		return g
	}
	g.x, g.y = sheetMargin, sheetMargin
	g.cell = paperSize{g.paper.width - 2*sheetMargin, (g.paper.height - 2*sheetMargin) / typeset.Points(strips)}
	g.words = []string{"Print at 100 %, one side. Cut at the marks. Stand it where it is seen before the stop is reached."}
	return g
}

// notice sets a strip in the largest type that fits the first of the sheets that
// holds it: the caution as large as may be, and then what to do. A caution on one
// line is read sooner than a larger one on two; a word is broken only where there is
// no other way.
func (c composer) notice(n notice, sheets []*grid, into *draw.Node) (draw.Page, *grid, error) {
	var why error
	for _, g := range sheets {
		press := *c.press
		press.size = g.cell
		d := c
		d.press = &press
		for _, how := range [...]struct{ oneLine, breaks bool }{{oneLine: true}, {}, {breaks: true}} {
			d.breaks = how.breaks
			for _, steps := range stripSteps() {
				page, err := d.at(steps.caution, content{}, func(c composer, _ content, into *draw.Node) ([]draw.Item, error) {
					c.text = c.paper.Text.at(steps.advice, sizeSteps)
					return c.strip(n, how.oneLine, into)
				}, into)
				if err == nil {
					return page, g, nil
				}
				if why = err; !errors.Is(err, errNoRoom) {
					return page, g, err
				}
			}
		}
	}
	return draw.Page{}, nil, fmt.Errorf("%s is too small for a strip that is read from where people stand; choose larger paper (%w)", c.paperName, why)
}

// stepsOf are the sizes that are tried for a strip.
type stepsOf struct{ caution, advice int }

func stripSteps() []stepsOf {
	var all []stepsOf
	for caution := sizeSteps; caution >= 0; caution-- {
		for advice := sizeSteps; advice >= 0; advice -= 3 {
			all = append(all, stepsOf{caution, advice})
		}
	}
	return all
}

// strip sets one caution at the composer's size.
func (c composer) strip(n notice, oneLine bool, into *draw.Node) ([]draw.Item, error) {
	heading := &draw.Node{Role: draw.RoleHeading1}
	parts := map[string]func() (block, error){
		fieldCautions: func() (block, error) { return c.cautionBand(n.caution.Label, oneLine, heading) },
		fieldAdvice: func() (block, error) {
			return c.stripLine(n.caution.Advice, c.face.text, c.face.Colours.Text, c.text)
		},
		fieldStop: func() (block, error) { return c.stopLine(n.stop) },
		fieldOnSite: func() (block, error) {
			return c.stripLine(localRules, c.face.strong, c.face.Colours.Text, c.paper.Small)
		},
		fieldAsOf: func() (block, error) { return c.asOfLine(c.measure()) },
	}
	var blocks []block
	for _, field := range c.face.Fields {
		b, err := parts[field]()
		if err != nil {
			return nil, fieldError(field, err)
		}
		blocks = append(blocks, b)
	}
	var lines []block
	day := 0 // the place of the as-of date among them
	for i, field := range c.face.Foot {
		b, err := parts[field]()
		if err != nil {
			return nil, fieldError(field, err)
		}
		if field == fieldAsOf {
			day = i
		}
		lines = append(lines, b)
	}
	var foot block
	for _, line := range c.dayBeside(lines, day) {
		foot.below(line, c.gap/2)
	}
	return c.pile(blocks, foot, into)
}

// dayBeside moves the as-of date to the right of the line above or below it, if
// there is room.
func (c composer) dayBeside(lines []block, day int) []block {
	b := lines[day]
	for _, i := range []int{day - 1, day + 1} {
		if i < 0 || i >= len(lines) || lines[i].width+c.gap+b.width > c.measure() {
			continue
		}
		lines[i].put(b, c.measure()-b.width, max(0, (lines[i].height-b.height)/2))
		return slices.Delete(lines, day, day+1)
	}
	return lines
}

// stripLine sets words across a strip; no words take no room.
func (c composer) stripLine(words string, font *typeset.Font, colour draw.Colour, size typeset.Points) (block, error) {
	if strings.TrimSpace(words) == "" {
		return block{}, nil
	}
	node := &draw.Node{Role: draw.RoleParagraph}
	b, err := c.set([]ink{{words, font, colour, node}}, size, c.leading, typeset.Measure{Width: c.measure(), Even: true})
	b.nodes = []*draw.Node{node}
	return b, err
}

// cautionBand sets the caution on a ground of its own.
func (c composer) cautionBand(label string, oneLine bool, heading *draw.Node) (block, error) {
	pad := c.title / 5
	set, err := c.set([]ink{{strings.TrimRight(label, "."), c.face.heavy, c.face.Colours.OnCaution, heading}}, c.title, 100, typeset.Measure{Width: c.measure() - 2*pad, Even: true})
	if err != nil {
		return block{}, err
	}
	if oneLine && len(set.cuts) > 0 {
		return block{}, errNoRoom
	}
	box := draw.Rect{W: c.measure(), H: set.height + pad}
	b := block{nodes: []*draw.Node{heading}}
	b.items = []draw.Item{{Box: box, Ground: true, Shape: draw.Rounded(box, pad/2, c.face.Colours.Caution)}}
	b.put(set, pad, pad/2)
	b.width, b.height = box.W, box.H
	return b, nil
}

// stopLine sets the stop's number beside its place.
func (c composer) stopLine(stop cleared.Stop) (block, error) {
	node := &draw.Node{Role: draw.RoleParagraph}
	b, err := c.badge(fmt.Sprint(stop.Number()), node)
	if err != nil {
		return b, err
	}
	b.nodes = []*draw.Node{node}
	x := b.width + c.paper.Number/2
	place, err := c.set([]ink{{stop.At(), c.face.strong, c.face.Colours.Heading, node}}, c.paper.Number, 110, typeset.Measure{Width: c.measure() - x})
	if err != nil {
		return b, err
	}
	b.put(place, x, max(0, (b.height-place.height)/2))
	return b, nil
}
