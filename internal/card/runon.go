package card

import (
	"errors"
	"fmt"
	"slices"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/tongue"
)

// RunsOn says of a back that it takes more sides than the one behind its front, and
// why: an *Overflow for each field that is too long for one.
type RunsOn struct {
	Card, Story, Paper string
	Sides              int
	Why                error
}

func (r *RunsOn) Error() string {
	said := fmt.Sprintf("card %s (%s), back: it takes %d sides of %s", r.Card, r.Story, r.Sides, r.Paper)
	if full := (crowded{}); errors.As(r.Why, &full) {
		said += "; for one, " + full.remedy()
	}
	return said
}

func (r *RunsOn) Unwrap() error { return r.Why }

// runOn sets a back that does not fit one side on as many as it needs, in the
// largest type that takes no more of them than the smallest does. The guide keeps
// the sheets together; visitors never see them.
func (c composer) runOn(k content) ([]draw.Page, []*draw.Node, error) {
	pages, nodes, err := c.sidesAt(0, k)
	if isTight(err) && !c.breaks {
		c.breaks = true
		pages, nodes, err = c.sidesAt(0, k)
	}
	if err != nil {
		return nil, nil, err
	}
	fits, tooLarge := 0, sizeSteps+1
	for tooLarge-fits > 1 {
		step := (fits + tooLarge) / 2
		larger, named, err := c.sidesAt(step, k)
		switch {
		case err == nil && len(larger) == len(pages):
			fits, pages, nodes = step, larger, named
		case err == nil, errors.Is(err, errNoRoom):
			tooLarge = step
		default:
			return nil, nil, err
		}
	}
	return pages, nodes, nil
}

// sidesAt sets the sides of a back at one of the sizes.
func (c composer) sidesAt(step int, k content) ([]draw.Page, []*draw.Node, error) {
	c.sized(step)
	columns, right := c.columns()
	var strips []strip
	for _, field := range cautionsEarly(c.face.Fields) {
		set, err := c.strips(k.back(field), columns)
		if err != nil {
			return nil, nil, roomOr(fieldError(field, err))
		}
		if len(set) > 0 {
			set[0].gap = c.gap
			strips = append(strips, set...)
		}
	}
	var pages []draw.Page
	var sections []*draw.Node
	lists := listsOf(strips)
	// How many sides there are is known once they are set; until then the foot has
	// room for as many as it would take two figures to count.
	rest := strips
	for len(rest) > 0 {
		side, err := c.sideOf(k, len(pages), 0)
		if err != nil {
			return nil, nil, roomOr(err)
		}
		before := len(rest)
		var filled []block
		for range max(1, c.paper.Columns) {
			var column []strip
			column, rest = fillColumn(rest, side.room)
			filled = append(filled, stack(column))
		}
		if len(rest) == before {
			return nil, nil, errNoRoom
		}
		var body block
		for i, b := range filled {
			body.put(b, typeset.Points(i)*right, 0)
		}
		body.nodes = ownNodes(body.items, lists)
		section := &draw.Node{Role: draw.RoleSection}
		page, err := c.sidePage(side, body, section)
		if err != nil {
			return nil, nil, err
		}
		pages, sections = append(pages, page), append(sections, section)
	}
	for i := range pages {
		side, err := c.sideOf(k, i, len(pages))
		if err != nil {
			return nil, nil, roomOr(err)
		}
		pages[i].Items = append(pages[i].Items, side.foot.at(c.paper.Margin, c.size.height-c.paper.Margin-side.foot.height)...)
		sections[i].Kids = append(sections[i].Kids, side.foot.nodes...)
	}
	return pages, sections, nil
}

// cautionsEarly moves the cautions up, behind the timing, so that they stay on the
// card's own back.
func cautionsEarly(fields []string) []string {
	if !slices.Contains(fields, fieldCautions) {
		return fields
	}
	rest := slices.DeleteFunc(slices.Clone(fields), func(f string) bool { return f == fieldCautions })
	return slices.Insert(rest, slices.Index(rest, fieldTiming)+1, fieldCautions)
}

// oneSide is what stands about the words on one of several sides of a back.
type oneSide struct {
	head, foot block
	room       typeset.Points // for the words between them
}

func (c composer) sideOf(k content, number, of int) (oneSide, error) {
	if number > 0 {
		k.Title, k.Place = tongue.Fill(c.words.Back.RunsOn, "title", k.Title), ""
		c.title = c.paper.Title.Least
	}
	var s oneSide
	var err error
	if s.head, err = c.head(k, c.measure()); err != nil {
		return s, err
	}
	rule := c.rule()
	s.head.below(rule, c.gap)
	side, sides := "88", "88"
	if of > 0 {
		side, sides = fmt.Sprint(number+1), fmt.Sprint(of)
	}
	if s.foot, err = c.backFoot(tongue.Fill(c.words.Back.Side, "whose", k.whose(), "side", side, "sides", sides)); err != nil {
		return s, err
	}
	s.room = c.size.height - 2*c.paper.Margin - s.head.height - s.foot.height - 2*c.gap
	return s, nil
}

// sidePage stands head and words on a page; its foot comes last.
func (c composer) sidePage(s oneSide, body block, into *draw.Node) (draw.Page, error) {
	page := draw.Page{Width: c.size.width, Height: c.size.height}
	if c.draft {
		stamp, err := c.stamp(into)
		if err != nil {
			return page, err
		}
		page.Items = stamp
	}
	page.Items = append(page.Items, s.head.at(c.paper.Margin, c.paper.Margin)...)
	page.Items = append(page.Items, body.at(c.paper.Margin, c.paper.Margin+s.head.height+c.gap)...)
	into.Kids = append(into.Kids, slices.Concat(s.head.nodes, body.nodes)...)
	return page, nil
}

// blank is an empty side, behind the last one of a back that runs on.
func (c composer) blank(into *draw.Node) (draw.Page, error) {
	page := draw.Page{Width: c.size.width, Height: c.size.height}
	if !c.draft {
		return page, nil
	}
	side := &draw.Node{Role: draw.RoleSection}
	into.Kids = append(into.Kids, side)
	var err error
	page.Items, err = c.stamp(side)
	return page, err
}

// fillColumn takes as many strips as stand under one another in a height. What is
// held together is parted only where it is longer than an empty column.
func fillColumn(strips []strip, height typeset.Points) (column, rest []strip) {
	y := typeset.Points(0)
	for len(strips) > 0 {
		n := 1
		for n < len(strips) && strips[n-1].stays {
			n++
		}
		need := typeset.Points(0)
		for i, s := range strips[:n] {
			if i > 0 || len(column) > 0 {
				need += s.gap
			}
			need += s.height
		}
		if y+need > height && len(column) > 0 {
			break
		}
		if y+need > height {
			n, need = 1, strips[0].height
		}
		if y+need > height {
			break
		}
		y += need
		column, strips = append(column, strips[:n]...), strips[n:]
	}
	return column, strips
}

// listsOf finds the list that each body of a list's item belongs to.
func listsOf(strips []strip) map[*draw.Node]*draw.Node {
	lists := map[*draw.Node]*draw.Node{}
	for _, s := range strips {
		for _, n := range s.nodes {
			for _, item := range n.Kids {
				for _, body := range item.Kids {
					lists[body] = n
				}
			}
		}
	}
	return lists
}

// ownNodes gives a page nodes of its own, in the order of reading: what ran over
// from the page before is a paragraph, or a list, anew. The items are changed to
// belong to them.
func ownNodes(items []draw.Item, lists map[*draw.Node]*draw.Node) []*draw.Node {
	var nodes []*draw.Node
	fresh := map[*draw.Node]*draw.Node{}
	list := map[*draw.Node]*draw.Node{} // of this page, by that of the whole
	for i, it := range items {
		n := it.Node
		if n == nil {
			continue
		}
		own, known := fresh[n]
		if !known {
			own = &draw.Node{Role: n.Role, Language: n.Language}
			fresh[n] = own
			if whole, is := lists[n]; is {
				if list[whole] == nil {
					list[whole] = &draw.Node{Role: draw.RoleList}
					nodes = append(nodes, list[whole])
				}
				list[whole].Kids = append(list[whole].Kids, &draw.Node{Role: draw.RoleListItem, Kids: []*draw.Node{own}})
			} else {
				nodes = append(nodes, own)
			}
		}
		items[i].Node = own
	}
	return nodes
}
