package card

import (
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/tour"
)

// propList is a list of props being set: what to fetch, and a box to tick when it
// is fetched and another when it is brought back.
type propList struct {
	paged
	tick, column typeset.Points // side of a box; width of a column of boxes
}

// The heads of the two columns of boxes.
const fetchedHead, backHead = "Fetched", "Back"

// document sets the list in the order of its face.
func (l *propList) document() (*draw.Document, error) {
	if err := l.head(l.summary()); err != nil {
		return nil, roomOr(err)
	}
	parts := map[string]func() error{fieldProps: l.rows, fieldOnSite: l.onSite}
	for _, field := range l.face.Fields {
		if err := parts[field](); err != nil {
			return nil, roomOr(err)
		}
	}
	return l.finish()
}

func (l *propList) summary() string {
	props := l.plan.Props()
	var stops []int
	for _, f := range props {
		for _, n := range f.Stops() {
			if !slices.Contains(stops, n) {
				stops = append(stops, n)
			}
		}
	}
	return fmt.Sprintf("%s for %s, in the order of the walk. Tick each when you have it, and again when it is back in its place.",
		counted(len(props), "prop", "props"), counted(len(stops), "stop", "stops"))
}

func counted(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// rows sets each prop beside its boxes.
func (l *propList) rows() error {
	l.tick = l.text.Scale(12, 10)
	heads, err := l.heads(true)
	if err != nil {
		return err
	}
	if l.again, err = l.heads(false); err != nil {
		return err
	}
	l.add(heads, l.gap, true)
	list := &draw.Node{Role: draw.RoleList}
	for i, f := range l.plan.Props() {
		b, err := l.row(f, list)
		if err != nil {
			return fmt.Errorf("%q: %w", f.What, err)
		}
		if i == 0 {
			b.nodes = []*draw.Node{list}
		}
		l.add(b, l.gap/2, false)
	}
	return nil
}

// heads names the columns; those of further pages are read once.
func (l *propList) heads(read bool) (block, error) {
	var node *draw.Node
	var b block
	if read {
		node = &draw.Node{Role: draw.RoleParagraph}
		b.nodes = []*draw.Node{node}
	}
	var wide typeset.Points
	var cells []block
	for _, words := range []string{fetchedHead + " ", backHead + " ", "What, where, and how"} {
		cell, err := l.set([]ink{{words, l.face.strong, l.face.Colours.Quiet, node}}, l.paper.Small, 110, typeset.Measure{Width: l.measure()})
		if err != nil {
			return b, err
		}
		cells = append(cells, cell)
		if len(cells) < 3 {
			wide = max(wide, cell.width)
		}
	}
	l.column = max(wide, l.tick) + l.text/2
	for i, cell := range cells {
		b.put(cell, typeset.Points(i)*l.column, 0)
	}
	return b, nil
}

// row sets one prop under a thin rule.
func (l *propList) row(f tour.Fetch, list *draw.Node) (block, error) {
	body := &draw.Node{Role: draw.RoleListBody, Language: other(f.Language, l.language)}
	list.Kids = append(list.Kids, &draw.Node{Role: draw.RoleListItem, Kids: []*draw.Node{body}})
	x := 2 * l.column
	width := l.measure() - x
	name, err := l.set([]ink{{sentence(capital(f.What)) + " ", l.face.heavy, l.face.Colours.Heading, body}}, l.text.Scale(11, 10), l.leading, typeset.Measure{Width: width})
	if err != nil {
		return block{}, err
	}
	var b block
	line := l.text.Scale(11, 10).Scale(int64(l.leading), 100)
	for i := range typeset.Points(2) {
		b.items = append(b.items, l.box().at(i*l.column, max(0, (line-l.tick)/2))...)
	}
	b.put(name, x, 0)
	b.height = max(b.height, l.tick)
	inks := []ink{{placesWords(f) + " ", l.face.strong, l.face.Colours.Quiet, body}, {l.handlingWords(f), l.face.text, l.face.Colours.Text, body}}
	words, err := l.set(inks, l.text, l.leading, typeset.Measure{Width: width})
	if err != nil {
		return block{}, err
	}
	b.put(words, x, b.height)
	care := cautionsWords(f.Cautions())
	if care != "" {
		sign := cautionSymbol(l.text.Scale(12, 10), l.face.Colours.OnCaution, l.face.Colours.Caution)
		indent := sign.width + l.text/2
		set, err := l.set([]ink{{" Take care: ", l.face.heavy, l.face.Colours.Text, body}, {care, l.face.text, l.face.Colours.Text, body}}, l.text, l.leading, typeset.Measure{Width: width - indent})
		if err != nil {
			return block{}, err
		}
		y := b.height
		b.put(sign, x, y+max(0, (l.text.Scale(int64(l.leading), 100)-sign.height)/2))
		b.put(set, x+indent, y)
	}
	return l.ruled(b), nil
}

// box draws an empty box to tick.
func (l *propList) box() block {
	side, thin := l.tick, typeset.Point*5/4
	p := draw.Path{Fill: l.face.Colours.Text}
	p.Rectangle(draw.Rect{W: side, H: thin})
	p.Rectangle(draw.Rect{Y: side - thin, W: side, H: thin})
	p.Rectangle(draw.Rect{Y: thin, W: thin, H: side - 2*thin})
	p.Rectangle(draw.Rect{X: side - thin, Y: thin, W: thin, H: side - 2*thin})
	return block{width: side, height: side, items: []draw.Item{{Box: draw.Rect{W: side, H: side}, Shape: p}}}
}

// stopWords names stops by their numbers.
func stopWords(numbers []int) string {
	var all []string
	for _, n := range numbers {
		all = append(all, fmt.Sprint(n))
	}
	if len(all) == 1 {
		return "stop\u00a0" + all[0]
	}
	return "stops\u00a0" + listed(all, "and")
}

// placesWords names the stops of a prop with their places.
func placesWords(f tour.Fetch) string {
	var all []string
	var met []int
	for _, s := range f.Shown {
		if n := s.Stop.Number(); !slices.Contains(met, n) {
			met = append(met, n)
			words := fmt.Sprintf("stop\u00a0%d", n)
			if at := lowered(s.Stop.At()); at != "" {
				words += " (" + at + ")"
			}
			all = append(all, words)
		}
	}
	return capital(listed(all, "and")) + "."
}

// handlingWords says how a prop is handed round, and how it was made safe; stop by
// stop where that differs.
func (v voice) handlingWords(f tour.Fetch) string {
	var ways []string // in the order of the walk
	at := map[string][]int{}
	for _, s := range f.Shown {
		way := v.handRoundWords(s.Prop)
		if len(at[way]) == 0 {
			ways = append(ways, way)
		}
		if n := s.Stop.Number(); !slices.Contains(at[way], n) {
			at[way] = append(at[way], n)
		}
	}
	if len(ways) == 1 {
		return ways[0]
	}
	for i, way := range ways {
		ways[i] = "At " + stopWords(at[way]) + ": " + lowerFirst(way)
	}
	return strings.Join(ways, " ")
}

func lowerFirst(s string) string {
	runes := []rune(s)
	return strings.ToLower(string(runes[:min(1, len(runes))])) + string(runes[min(1, len(runes)):])
}

// handRoundWords says how one prop is handed round, as the back of its card does.
func (v voice) handRoundWords(p cleared.Prop) string {
	p.Cautions = nil
	return v.propEntries([]cleared.Prop{p})[0].Text
}

// careLabels names cautions, the gravest first, behind other words.
func careLabels(all []cleared.Caution) string {
	if len(all) == 0 {
		return ""
	}
	var labels []string
	for _, c := range gravestFirst(all) {
		labels = append(labels, c.Label)
	}
	return " Take care: " + sentence(strings.Join(labels, ", "))
}

func gravestFirst(all []cleared.Caution) []cleared.Caution {
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b cleared.Caution) int { return gravity(a) - gravity(b) })
	return all
}

// cautionsWords names cautions with what to do, the gravest first.
func cautionsWords(all []cleared.Caution) string {
	var words []string
	for _, c := range gravestFirst(all) {
		words = append(words, strings.TrimSpace(sentence(c.Label)+" "+c.Advice))
	}
	return strings.Join(words, " ")
}
