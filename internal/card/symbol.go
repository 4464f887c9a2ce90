package card

import (
	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// cautionSymbol draws our sign for caution: a dark diamond with a bar and a dot
// in the colour of its ground. The words beside it say what it means.
func cautionSymbol(side typeset.Points, dark, light draw.Colour) block {
	half := side / 2
	box := draw.Rect{W: side, H: side}
	diamond := draw.Path{Fill: dark}
	diamond.Polygon(draw.Point{X: half}, draw.Point{X: side, Y: half}, draw.Point{X: half, Y: side}, draw.Point{Y: half})
	bar := draw.Path{Fill: light}
	thick := side.Scale(6, 100)
	bar.Polygon(
		draw.Point{X: half - thick, Y: side.Scale(24, 100)}, draw.Point{X: half + thick, Y: side.Scale(24, 100)},
		draw.Point{X: half + thick.Scale(7, 10), Y: side.Scale(58, 100)}, draw.Point{X: half - thick.Scale(7, 10), Y: side.Scale(58, 100)},
	)
	dot := draw.Rect{X: half - thick, Y: side.Scale(65, 100), W: 2 * thick, H: 2 * thick}
	bar.Rectangle(dot)
	return block{width: side, height: side, items: []draw.Item{
		{Box: box, Ground: true, Shape: diamond},
		{Box: box, Ground: true, Shape: bar},
	}}
}
