package card

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/tour"
)

// ground is a place on the floor, in millimetres; Y grows away from the reader,
// as on a plan drawn with its origin at the lower left. Whole numbers give the
// same drawing on every machine.
type ground struct{ x, y int64 }

func groundAt(x, y float64) ground {
	return ground{int64(math.Round(x * 1000)), int64(math.Round(y * 1000))}
}

// floorPlan is a plan being drawn.
type floorPlan struct {
	composer
	node *draw.Node // the figure that all of it belongs to
	tour cleared.Tour
	plan tour.Plan

	frame     draw.Rect // within which everything stands
	low       ground    // what lies at the lower left of the drawing
	num, den  int64     // thousandths of a point to millimetres of floor
	left, top typeset.Points
	height    typeset.Points // of the drawing inside the frame

	route []draw.Item // under the marks
	marks []draw.Item
	taken []draw.Rect // where no other mark or label may stand
}

// smallestSpan keeps a plan whose stops lie together from being drawn as if the
// hangar were a bench.
const smallestSpan = 4000 // mm

// drawFloorPlan draws the stops at their places, the route between those that
// are in, the start, the areas by name, and a scale.
func (c composer) drawFloorPlan(t cleared.Tour, p tour.Plan, width, most typeset.Points) (block, error) {
	f := &floorPlan{composer: c, tour: t, plan: p, node: &draw.Node{Role: draw.RoleFigure, Alt: floorPlanAlt(t, p)}}
	f.layOut(width, most)
	for _, draw := range []func() error{f.drawRoute, f.drawStops, f.drawStart, f.drawAreas} {
		if err := draw(); err != nil {
			return block{}, err
		}
	}
	scale, err := f.scaleBar()
	if err != nil {
		return block{}, err
	}
	b := block{width: width, height: f.frame.H, nodes: []*draw.Node{f.node}}
	// The edge comes first and belongs to the figure, so that the figure's extent is the frame's.
	b.items = append(b.items, f.edge()...)
	b.items = append(b.items, f.route...)
	b.items = append(b.items, f.marks...)
	b.put(scale, 0, f.frame.H+c.gap/2)
	return b, nil
}

// layOut finds the scale at which all places fit the width and the height.
func (f *floorPlan) layOut(width, most typeset.Points) {
	high := groundAt(f.tour.StartX(), f.tour.StartY())
	f.low = high
	for _, s := range f.tour.Stops() {
		g := groundAt(s.X(), s.Y())
		f.low = ground{min(f.low.x, g.x), min(f.low.y, g.y)}
		high = ground{max(high.x, g.x), max(high.y, g.y)}
	}
	spanX, spanY := high.x-f.low.x, high.y-f.low.y
	if grow := smallestSpan - spanX; grow > 0 {
		f.low.x, spanX = f.low.x-grow/2, smallestSpan
	}
	if grow := smallestSpan - spanY; grow > 0 {
		f.low.y, spanY = f.low.y-grow/2, smallestSpan
	}
	// Room about the outermost places for a mark beside each.
	pad := f.markSide() * 2
	innerW, innerH := width-2*pad, most-2*pad
	f.num, f.den = int64(innerW), spanX
	if int64(innerW)*spanY > int64(innerH)*spanX {
		f.num, f.den = int64(innerH), spanY
	}
	f.height = f.onPaper(spanY)
	f.left, f.top = (width-f.onPaper(spanX))/2, pad
	f.frame = draw.Rect{W: width, H: f.height + 2*pad}
}

// onPaper is a length of floor at the plan's scale.
func (f *floorPlan) onPaper(mm int64) typeset.Points { return typeset.Points(mm).Scale(f.num, f.den) }

// place is where a place on the floor lies in the drawing.
func (f *floorPlan) place(g ground) draw.Point {
	return draw.Point{X: f.left + f.onPaper(g.x-f.low.x), Y: f.top + f.height - f.onPaper(g.y-f.low.y)}
}

func (f *floorPlan) placeOf(s cleared.Stop) draw.Point { return f.place(groundAt(s.X(), s.Y())) }

func (f *floorPlan) start() draw.Point { return f.place(groundAt(f.tour.StartX(), f.tour.StartY())) }

// markSide is the side of a stop's mark: its number stands in it in small type.
func (f *floorPlan) markSide() typeset.Points { return f.paper.Small.Scale(3, 2) }

// under adds something that marks may stand on.
func (f *floorPlan) under(p draw.Path, box draw.Rect) {
	f.route = append(f.route, draw.Item{Box: box, Node: f.node, Ground: true, Shape: p})
}

// drawRoute draws the way from the start through the stops that are in, with an
// arrow half way along each leg that is long enough for one.
func (f *floorPlan) drawRoute() error {
	from := f.start()
	for _, v := range f.plan.Visits {
		to := f.placeOf(v.Stop)
		f.line(from, to, 2*typeset.Point, f.face.Colours.Heading)
		if distance(from, to) > f.markSide()*5/2 {
			f.arrow(from, to)
		}
		from = to
	}
	return nil
}

// distance is whole, so that it is the same on every machine.
func distance(a, b draw.Point) typeset.Points {
	dx, dy := int64(b.X-a.X), int64(b.Y-a.Y)
	return typeset.Points(math.Round(math.Sqrt(float64(dx*dx + dy*dy))))
}

// aside is the point beside p at a distance to the right of the way from a to b.
func aside(p, a, b draw.Point, by typeset.Points) draw.Point {
	d := int64(distance(a, b))
	return draw.Point{X: p.X - by.Scale(int64(b.Y-a.Y), d), Y: p.Y + by.Scale(int64(b.X-a.X), d)}
}

// along is the point at a distance on the way from a to b.
func along(a, b draw.Point, by typeset.Points) draw.Point {
	d := int64(distance(a, b))
	return draw.Point{X: a.X + by.Scale(int64(b.X-a.X), d), Y: a.Y + by.Scale(int64(b.Y-a.Y), d)}
}

func boxOf(points ...draw.Point) draw.Rect {
	low, high := points[0], points[0]
	for _, p := range points {
		low = draw.Point{X: min(low.X, p.X), Y: min(low.Y, p.Y)}
		high = draw.Point{X: max(high.X, p.X), Y: max(high.Y, p.Y)}
	}
	return draw.Rect{X: low.X, Y: low.Y, W: high.X - low.X, H: high.Y - low.Y}
}

// line draws a straight line as the thin outline that it is.
func (f *floorPlan) line(a, b draw.Point, wide typeset.Points, colour draw.Colour) {
	if distance(a, b) == 0 {
		return
	}
	corners := []draw.Point{aside(a, a, b, wide/2), aside(b, a, b, wide/2), aside(b, a, b, -wide/2), aside(a, a, b, -wide/2)}
	p := draw.Path{Fill: colour}
	p.Polygon(corners...)
	f.under(p, boxOf(corners...))
}

func (f *floorPlan) arrow(a, b draw.Point) {
	long, wide := f.paper.Small.Scale(7, 10), f.paper.Small.Scale(3, 10)
	middle := distance(a, b) / 2
	back := along(a, b, middle-long/2)
	corners := []draw.Point{along(a, b, middle+long/2), aside(back, a, b, wide), aside(back, a, b, -wide)}
	p := draw.Path{Fill: f.face.Colours.Heading}
	p.Polygon(corners...)
	f.under(p, boxOf(corners...))
}

// drawStops marks every stop with its number: dark where the plan goes, white
// where it does not. A mark that would cover another moves aside, with a thin
// line to its place.
func (f *floorPlan) drawStops() error {
	in := func(s cleared.Stop) bool {
		return slices.ContainsFunc(f.plan.Visits, func(v tour.Visit) bool { return v.Stop.Number() == s.Number() })
	}
	for _, wanted := range []bool{true, false} {
		for _, s := range f.tour.Stops() {
			if in(s) != wanted {
				continue
			}
			mark, err := f.mark(fmt.Sprint(s.Number()), wanted)
			if err != nil {
				return err
			}
			f.stand(mark, f.placeOf(s))
		}
	}
	return nil
}

// mark draws the number of a stop in its square.
func (f *floorPlan) mark(number string, in bool) (block, error) {
	colour, font := f.face.Colours.OnBadge, f.face.heavy
	if !in {
		colour, font = f.face.Colours.Quiet, f.face.text
	}
	set, err := f.set([]ink{{number, font, colour, f.node}}, f.paper.Small, 100, typeset.Measure{Width: f.measure()})
	if err != nil {
		return block{}, err
	}
	side := f.markSide()
	box := draw.Rect{W: max(side, set.width+f.paper.Small.Scale(7, 10)), H: side}
	var b block
	ground := func(r draw.Rect, colour draw.Colour) {
		b.items = append(b.items, draw.Item{Box: r, Node: f.node, Ground: true, Shape: draw.Rounded(r, side/6, colour)})
	}
	ground(box, f.face.Colours.Badge)
	if !in {
		edge := typeset.Point
		ground(draw.Rect{X: edge, Y: edge, W: box.W - 2*edge, H: box.H - 2*edge}, draw.Colour{R: 255, G: 255, B: 255})
	}
	b.put(set, (box.W-set.width)/2, (box.H-set.height)/2)
	b.width, b.height = box.W, box.H
	return b, nil
}

// rings are the places tried about a spot, nearest first: which way, and how far
// in widths of what is to stand there.
func rings(b block) []draw.Point {
	all := []draw.Point{{}}
	for ring := typeset.Points(1); ring <= 6; ring++ {
		for _, way := range [...][2]typeset.Points{{1, 0}, {0, -1}, {-1, 0}, {0, 1}, {1, -1}, {-1, -1}, {-1, 1}, {1, 1}} {
			all = append(all, draw.Point{X: way[0] * ring * (b.width + b.height) / 2 * 11 / 20, Y: way[1] * ring * b.height * 11 / 20})
		}
	}
	return all
}

// free finds a free place for a block near a spot; it may be kept off the route
// too. False: there is none.
func (f *floorPlan) free(b block, at draw.Point, offRoute bool) (draw.Rect, bool) {
	fits := func(r draw.Rect) bool {
		return r.Inside(f.frame) && !slices.ContainsFunc(f.taken, r.Overlaps) && !(offRoute && f.onRoute(widened(r, 4*typeset.Point)))
	}
	for _, by := range rings(b) {
		r := draw.Rect{X: at.X + by.X - b.width/2, Y: at.Y + by.Y - b.height/2, W: b.width, H: b.height}
		if fits(r) {
			return r, true
		}
	}
	// All about the spot is taken: the nearest place on the whole plan.
	best, found := draw.Rect{}, false
	off := func(r draw.Rect) typeset.Points {
		return distance(at, draw.Point{X: r.X + r.W/2, Y: r.Y + r.H/2})
	}
	for y := f.frame.Y; y < f.frame.Y+f.frame.H; y += b.height / 2 {
		for x := f.frame.X; x < f.frame.X+f.frame.W; x += b.height / 2 {
			r := draw.Rect{X: x, Y: y, W: b.width, H: b.height}
			if (!found || off(r) < off(best)) && fits(r) {
				best, found = r, true
			}
		}
	}
	return best, found
}

func widened(r draw.Rect, by typeset.Points) draw.Rect {
	return draw.Rect{X: r.X - by, Y: r.Y - by, W: r.W + 2*by, H: r.H + 2*by}
}

// onRoute reports whether the route runs through a rectangle.
func (f *floorPlan) onRoute(r draw.Rect) bool {
	from := f.start()
	for _, v := range f.plan.Visits {
		to := f.placeOf(v.Stop)
		for at := typeset.Points(0); at < distance(from, to); at += 3 * typeset.Point {
			p := along(from, to, at)
			if p.X >= r.X && p.X <= r.X+r.W && p.Y >= r.Y && p.Y <= r.Y+r.H {
				return true
			}
		}
		from = to
	}
	return false
}

// stand puts a mark at a place, or as near as there is room; where there is none
// at all it stands on whatever is there, for a stop is never left off the plan.
func (f *floorPlan) stand(b block, at draw.Point) {
	r, ok := f.free(b, at, false)
	if !ok {
		r = draw.Rect{X: at.X - b.width/2, Y: at.Y - b.height/2, W: b.width, H: b.height}
	}
	f.taken = append(f.taken, r)
	if middle := (draw.Point{X: r.X + r.W/2, Y: r.Y + r.H/2}); distance(middle, at) > typeset.Point {
		f.line(at, middle, typeset.Point*3/4, f.face.Colours.Quiet)
		f.dot(at, 2*typeset.Point)
	}
	f.marks = append(f.marks, b.at(r.X, r.Y)...)
}

// dot marks a place exactly.
func (f *floorPlan) dot(at draw.Point, radius typeset.Points) {
	box := draw.Rect{X: at.X - radius, Y: at.Y - radius, W: 2 * radius, H: 2 * radius}
	f.under(draw.Rounded(box, radius, f.face.Colours.Badge), box)
}

// label sets a word of the plan.
func (f *floorPlan) label(words string, font *typeset.Font, colour draw.Colour) (block, error) {
	return f.set([]ink{{words, font, colour, f.node}}, f.paper.Small, 100, typeset.Measure{Width: f.measure()})
}

func (f *floorPlan) drawStart() error {
	at := f.start()
	f.dot(at, 4*typeset.Point)
	f.taken = append(f.taken, draw.Rect{X: at.X - 4*typeset.Point, Y: at.Y - 4*typeset.Point, W: 8 * typeset.Point, H: 8 * typeset.Point})
	set, err := f.label("Start", f.face.heavy, f.face.Colours.Heading)
	if err != nil {
		return err
	}
	f.write(set, at)
	return nil
}

// write puts a label near a place, off the route where that can be; without room
// for it the words about the plan must do.
func (f *floorPlan) write(set block, near draw.Point) {
	r, ok := f.free(set, near, true)
	if !ok {
		if r, ok = f.free(set, near, false); !ok {
			return
		}
	}
	f.taken = append(f.taken, r)
	f.marks = append(f.marks, set.at(r.X, r.Y)...)
}

// drawAreas names each area of the machine amid the stops that tell of it.
func (f *floorPlan) drawAreas() error {
	type spot struct {
		name string
		x, y typeset.Points
		n    int64
	}
	var spots []spot
	for _, s := range f.tour.Stops() {
		for _, story := range s.Stories() {
			name := strings.TrimSpace(story.Area().Name)
			if name == "" {
				continue
			}
			i := slices.IndexFunc(spots, func(s spot) bool { return s.name == name })
			if i < 0 {
				i = len(spots)
				spots = append(spots, spot{name: name})
			}
			at := f.placeOf(s)
			spots[i].x, spots[i].y, spots[i].n = spots[i].x+at.X, spots[i].y+at.Y, spots[i].n+1
		}
	}
	for _, s := range spots {
		set, err := f.label(s.name, f.face.text, f.face.Colours.Quiet)
		if err != nil {
			return err
		}
		f.write(set, draw.Point{X: s.x.Scale(1, s.n), Y: s.y.Scale(1, s.n)})
	}
	return nil
}

// edge draws a thin line about the plan.
func (f *floorPlan) edge() []draw.Item {
	thin, r := typeset.Point*3/4, f.frame
	p := draw.Path{Fill: f.face.Colours.Rule}
	p.Rectangle(draw.Rect{W: r.W, H: thin})
	p.Rectangle(draw.Rect{Y: r.H - thin, W: r.W, H: thin})
	p.Rectangle(draw.Rect{Y: thin, W: thin, H: r.H - 2*thin})
	p.Rectangle(draw.Rect{X: r.W - thin, Y: thin, W: thin, H: r.H - 2*thin})
	return []draw.Item{{Box: r, Node: f.node, Ground: true, Shape: p}}
}

// scaleBar draws a bar of a round length, at most a third of the plan's width.
func (f *floorPlan) scaleBar() (block, error) {
	metres := int64(1)
	for _, m := range [...]int64{2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000} {
		if f.onPaper(m*1000) <= f.frame.W/3 {
			metres = m
		}
	}
	long, thin := f.onPaper(metres*1000), typeset.Point*3/2
	tick := f.paper.Small / 2
	p := draw.Path{Fill: f.face.Colours.Text}
	p.Rectangle(draw.Rect{Y: (tick - thin) / 2, W: long, H: thin})
	p.Rectangle(draw.Rect{W: thin, H: tick})
	p.Rectangle(draw.Rect{X: long - thin, W: thin, H: tick})
	words, err := f.label(fmt.Sprintf("%d\u00a0m", metres), f.face.text, f.face.Colours.Text)
	if err != nil {
		return block{}, err
	}
	var b block
	middle := max(tick, words.height) / 2
	b.items = []draw.Item{{Box: draw.Rect{Y: middle - tick/2, W: long, H: tick}, Node: f.node, Shape: p.Moved(0, middle-tick/2)}}
	b.put(words, long+f.paper.Small/2, middle-words.height/2)
	if len(f.plan.LeftOut) > 0 {
		key, err := f.label("White numbers: left out", f.face.text, f.face.Colours.Quiet)
		if err != nil {
			return block{}, err
		}
		b.put(key, f.frame.W-key.width, middle-key.height/2)
	}
	return b, nil
}

// floorPlanAlt says the plan in words.
func floorPlanAlt(t cleared.Tour, p tour.Plan) string {
	var b strings.Builder
	b.WriteString("Floor plan with the route.")
	from := "the start"
	for _, v := range p.Visits {
		fmt.Fprintf(&b, " From %s %s to stop %d, %s.", from, metresWords(v.Metres), v.Stop.Number(), strings.TrimRight(v.Stop.At(), "."))
		from = fmt.Sprintf("stop %d", v.Stop.Number())
	}
	var out []string
	for _, l := range p.LeftOut {
		out = append(out, fmt.Sprint(l.Stop.Number()))
	}
	if len(out) > 0 {
		fmt.Fprintf(&b, " Left out: %s.", listed(out, "and"))
	}
	return b.String()
}

func metresWords(m float64) string { return fmt.Sprintf("%.0f\u00a0m", m) }
