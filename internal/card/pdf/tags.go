package pdf

import (
	"fmt"
	"strings"

	"example.org/opencowl/internal/card/draw"
)

// tags gathers what the structure tree needs to know about the pages
// (ISO 32000-1, 14.7).
type tags struct {
	file    *file
	numbers map[*draw.Node]ref
	onPage  map[*draw.Node]ref
	marks   map[*draw.Node][]int // marked-content numbers of each node
	cells   map[*draw.Node]draw.Rect
	parents [][]ref // by page, by marked-content number
}

func newTags(f *file, root *draw.Node) *tags {
	t := &tags{
		file: f, numbers: map[*draw.Node]ref{}, onPage: map[*draw.Node]ref{},
		marks: map[*draw.Node][]int{}, cells: map[*draw.Node]draw.Rect{},
	}
	t.number(root)
	return t
}

func (t *tags) number(n *draw.Node) {
	t.numbers[n] = t.file.reserve()
	for _, kid := range n.Kids {
		t.number(kid)
	}
}

// content gives out the number of a stretch of marked content.
func (t *tags) content(n *draw.Node, page ref, number int) (int, error) {
	r, ok := t.numbers[n]
	if !ok {
		return 0, fmt.Errorf("something of role %s is drawn but is not in the structure", n.Role)
	}
	if at, ok := t.onPage[n]; ok && at != page {
		return 0, fmt.Errorf("a node of role %s is drawn on two pages", n.Role)
	}
	t.onPage[n] = page
	for len(t.parents) <= number {
		t.parents = append(t.parents, nil)
	}
	id := len(t.parents[number])
	t.parents[number] = append(t.parents[number], r)
	t.marks[n] = append(t.marks[n], id)
	return id, nil
}

// cover adds to the room that a node's content takes, in PDF's own direction.
func (t *tags) cover(n *draw.Node, box draw.Rect) { t.cells[n] = t.cells[n].Union(box) }

// write adds the tree and returns its root.
func (t *tags) write(d draw.Document) (ref, error) {
	root := t.file.reserve()
	if err := t.element(d.Root, root); err != nil {
		return 0, err
	}
	var nums strings.Builder
	for page := range d.Pages {
		var row []string
		if page < len(t.parents) {
			for _, r := range t.parents[page] {
				row = append(row, r.String())
			}
		}
		fmt.Fprintf(&nums, "%d[%s]", page, strings.Join(row, " "))
	}
	t.file.set(root, fmt.Sprintf("<</Type/StructTreeRoot/K %v/ParentTree<</Nums[%s]>>/ParentTreeNextKey %d>>",
		t.numbers[d.Root], nums.String(), len(d.Pages)))
	return root, nil
}

func (t *tags) element(n *draw.Node, parent ref) error {
	self := t.numbers[n]
	var kids []string
	for _, id := range t.marks[n] {
		kids = append(kids, fmt.Sprint(id))
	}
	for _, kid := range n.Kids {
		kids = append(kids, t.numbers[kid].String())
	}
	if len(kids) == 0 {
		return fmt.Errorf("a node of role %s has no content", n.Role)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "<</Type/StructElem/S/%s/P %v/K[%s]", n.Role, parent, strings.Join(kids, " "))
	if page, ok := t.onPage[n]; ok {
		fmt.Fprintf(&b, "/Pg %v", page)
	}
	if n.Language != "" {
		if !plainTag(n.Language) {
			return fmt.Errorf("%q is not a language tag; write it as en-GB", n.Language)
		}
		b.WriteString("/Lang(" + n.Language + ")")
	}
	if n.Role == draw.RoleFigure {
		if n.Alt == "" {
			return fmt.Errorf("a figure has no words for those who cannot see it; give the photo its alt text")
		}
		box := t.cells[n]
		fmt.Fprintf(&b, "/Alt %s/A<</O/Layout/Placement/Block/BBox[%v %v %v %v]>>", textString(n.Alt), box.X, box.Y, box.X+box.W, box.Y+box.H)
	}
	b.WriteString(">>")
	t.file.set(self, b.String())
	for _, kid := range n.Kids {
		if err := t.element(kid, self); err != nil {
			return err
		}
	}
	return nil
}

// plainTag reports whether a language tag holds only what BCP 47 allows, so
// that it can stand in the file as it is.
func plainTag(s string) bool {
	for _, r := range s {
		if r != '-' && (r < '0' || r > '9') && (r < 'A' || r > 'Z') && (r < 'a' || r > 'z') {
			return false
		}
	}
	return s != ""
}
