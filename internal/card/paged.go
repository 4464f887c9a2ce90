package card

import (
	"fmt"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// paged is a paper for the guide that runs over as many pages as it needs.
type paged struct {
	composer
	walk
	what TourPaper

	root   *draw.Node
	blocks []placed
	again  block // stands at the top of each further page, and is read once
}

// placed is a block with the gap above it. One that is held stays on the page of
// the block after it.
type placed struct {
	block
	gap  typeset.Points
	held bool
}

func newPaged(c composer, w walk, what TourPaper, step int) paged {
	c.sized(step)
	return paged{composer: c, walk: w, what: what, root: &draw.Node{Role: draw.RoleDocument}}
}

// finish stands the blocks on pages.
func (p *paged) finish() (*draw.Document, error) {
	doc := &draw.Document{Title: p.fileTitle(p.what, p.draft), Language: p.language, Root: p.root}
	if err := p.fill(doc); err != nil {
		return nil, roomOr(err)
	}
	for i := range doc.Pages {
		foot, err := p.foot(i+1, len(doc.Pages))
		if err != nil {
			return nil, roomOr(err)
		}
		doc.Pages[i].Items = append(doc.Pages[i].Items, foot.at(p.paper.Margin, p.size.height-p.paper.Margin-foot.height)...)
	}
	return doc, nil
}

// fill stands the blocks on as many pages as they need.
func (p *paged) fill(doc *draw.Document) error {
	foot, err := p.foot(1, 1)
	if err != nil {
		return err
	}
	room := p.size.height - 2*p.paper.Margin - foot.height - p.gap
	y := room + 1 // no page yet
	for i, b := range p.blocks {
		needs := b.gap + b.height
		for j := i; p.blocks[j].held && j+1 < len(p.blocks); j++ {
			needs += p.blocks[j+1].gap + p.blocks[j+1].height
		}
		// What is held together and longer than a page is broken all the same.
		if y+b.gap+b.height > room || y+needs > room && needs-b.gap <= room {
			if y, err = p.turn(doc, b.gap); err != nil {
				return err
			}
		}
		y += b.gap
		if y+b.height > room {
			return errNoRoom
		}
		page := &doc.Pages[len(doc.Pages)-1]
		page.Items = append(page.Items, b.at(p.paper.Margin, p.paper.Margin+y)...)
		p.root.Kids = append(p.root.Kids, b.nodes...)
		y += b.height
	}
	return nil
}

// turn begins a page, and returns how far down it is taken: the gap of its first
// block is left out.
func (p *paged) turn(doc *draw.Document, gap typeset.Points) (typeset.Points, error) {
	page := draw.Page{Width: p.size.width, Height: p.size.height}
	if p.draft {
		stamp, err := p.stamp(p.root)
		if err != nil {
			return 0, err
		}
		page.Items = stamp
	}
	y := -gap
	if len(doc.Pages) > 0 && len(p.again.items) > 0 {
		page.Items = append(page.Items, p.again.at(p.paper.Margin, p.paper.Margin)...)
		y = p.again.height
	}
	doc.Pages = append(doc.Pages, page)
	return y, nil
}

// insideOnly says whom the paper is for.
const insideOnly = "For the guide, not for visitors."

// foot stands on every page. It repeats what the head says, so that it is not
// read out again.
func (p *paged) foot(page, of int) (block, error) {
	line := func(words string, font *typeset.Font) (block, error) {
		return p.set([]ink{{words, font, p.face.Colours.Quiet, nil}}, p.paper.Small, 120, typeset.Measure{Width: p.measure()})
	}
	right, err := line(fmt.Sprintf("%d of %d", page, of), p.face.text)
	if err != nil {
		return block{}, err
	}
	left, err := line(insideOnly+" As of "+p.asOf.Words()+".", p.face.strong)
	if err != nil {
		return block{}, err
	}
	b := p.rule()
	y := p.gap / 2
	b.put(left, 0, y)
	if left.width+p.gap+right.width > p.measure() {
		y = b.height
	}
	b.put(right, p.measure()-right.width, y)
	return b, nil
}

func (p *paged) add(b block, gap typeset.Points, held bool) {
	if len(b.items) > 0 {
		p.blocks = append(p.blocks, placed{b, gap, held})
	}
}

// line sets a paragraph in the paper's type.
func (p *paged) line(words string, font *typeset.Font, colour draw.Colour, size, width typeset.Points) (block, error) {
	node := &draw.Node{Role: draw.RoleParagraph}
	b, err := p.set([]ink{{words, font, colour, node}}, size, p.leading, typeset.Measure{Width: width})
	b.nodes = []*draw.Node{node}
	return b, err
}

// head names the paper, says whom it is for, and sums it up.
func (p *paged) head(summary string) error {
	heading := &draw.Node{Role: draw.RoleHeading1}
	b, err := p.set([]ink{{p.name() + ": " + string(p.what), p.face.heavy, p.face.Colours.Heading, heading}}, p.title, p.face.TitleLeading, typeset.Measure{Width: p.measure()})
	if err != nil {
		return err
	}
	b.nodes = []*draw.Node{heading}
	p.add(b, 0, true)
	inside, err := p.line(insideOnly+" As of "+p.asOf.Words()+".", p.face.strong, p.face.Colours.Quiet, p.text, p.measure())
	if err != nil {
		return err
	}
	p.add(inside, 0, true)
	words, err := p.line(summary, p.face.text, p.face.Colours.Text, p.text, p.measure())
	p.add(words, p.gap/3, false)
	return err
}

// ruled puts a thin rule above a block.
func (p *paged) ruled(b block) block {
	out := p.rule()
	out.put(b, 0, p.gap/3)
	return out
}

// heading begins a section on the page of what follows.
func (p *paged) heading(words string) error {
	node := &draw.Node{Role: draw.RoleHeading2}
	b, err := p.set([]ink{{words, p.face.heavy, p.face.Colours.Heading, node}}, p.text.Scale(6, 5), 110, typeset.Measure{Width: p.measure()})
	b.nodes = []*draw.Node{node}
	p.add(b, p.gap*3/2, true)
	return err
}

// entries sets a list under a heading; a list of nothing is left out. The list
// may run on to another page, if it is not held together.
func (p *paged) entries(heading, opening string, all []entry, together bool) error {
	if len(all) == 0 {
		return nil
	}
	if err := p.heading(heading); err != nil {
		return err
	}
	if opening != "" {
		b, err := p.line(opening, p.face.text, p.face.Colours.Text, p.text, p.measure())
		if err != nil {
			return err
		}
		p.add(b, p.gap/4, true)
	}
	list := &draw.Node{Role: draw.RoleList}
	for i, e := range all {
		body := &draw.Node{Role: draw.RoleListBody}
		list.Kids = append(list.Kids, &draw.Node{Role: draw.RoleListItem, Kids: []*draw.Node{body}})
		b, err := p.set(e.inks(p.face, body), p.text, p.leading, typeset.Measure{Width: p.measure()})
		if err != nil {
			return err
		}
		if i == 0 {
			b.nodes = []*draw.Node{list}
		}
		p.add(b, p.gap/4, together && i+1 < len(all))
	}
	return nil
}

// onSite prints the workshop's own rules: fire exits, first aid.
func (p *paged) onSite() error {
	var all []entry
	for _, rule := range p.settings.SiteRules() {
		all = append(all, entry{Text: sentence(rule)})
	}
	all = append(all, entry{Text: "The site’s rules and the engineer on duty come before this sheet. Nothing on it says that anything may fly."})
	return p.entries("On site", "", all, true)
}
