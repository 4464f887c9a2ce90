package paint

import (
	"image/color"
	"testing"

	"example.org/opencowl/internal/card/draw"
)

// What reaches the edge of the paper, or beyond it, is painted as far as the paper
// goes, and what lies outside not at all.
func TestPaintEndsWithThePaper(t *testing.T) {
	const point = 1000
	red, blue := draw.Colour{R: 0xc0}, draw.Colour{B: 0xc0}
	page := draw.Page{Width: 40 * point, Height: 30 * point}
	for _, r := range []struct {
		at     draw.Rect
		colour draw.Colour
	}{
		{draw.Rect{X: -5 * point, Y: -5 * point, W: 50 * point, H: 40 * point}, red},
		{draw.Rect{X: 200, Y: 200, W: 10 * point, H: 10 * point}, blue},
		{draw.Rect{X: 60 * point, Y: -60 * point, W: 10 * point, H: 10 * point}, blue},
	} {
		page.Items = append(page.Items, draw.Item{Box: r.at, Shape: draw.Rectangle(r.at, r.colour)})
	}
	for _, perInch := range []int{20, 72, 101, 150, 600} {
		img, err := Page(page, perInch)
		if err != nil {
			t.Fatal(err)
		}
		edge := img.Bounds().Max
		for _, c := range []struct {
			what string
			x, y int
			want draw.Colour
		}{
			{"5 points in from the top left corner", 5 * perInch / 72, 5 * perInch / 72, blue},
			{"the bottom left corner", 0, edge.Y - 1, red},
			{"the bottom right corner", edge.X - 1, edge.Y - 1, red},
			{"the top right corner", edge.X - 1, 0, red},
		} {
			if got, want := img.RGBAAt(c.x, c.y), (color.RGBA{R: c.want.R, G: c.want.G, B: c.want.B, A: 255}); got != want {
				t.Errorf("at %d pixels an inch, %s is %v; want %v", perInch, c.what, got, want)
			}
		}
	}
}
