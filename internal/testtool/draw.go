package testtool

import (
	"image"
	"image/color"
	"image/draw"
	"math"
)

// DrawFace draws a face of nobody, from the front, in plain shades: a pale oval with
// hair, brows, eyes, a nose's shadow and a mouth. cx, cy is its middle and r half its
// height.
func DrawFace(img *image.RGBA, cx, cy, r float64) {
	ellipse := func(x, y, rx, ry float64, level uint8) {
		soft := 0.08 * r
		for py := int(cy + (y-ry)*r - soft); py <= int(cy+(y+ry)*r+soft); py++ {
			for px := int(cx + (x-rx)*r - soft); px <= int(cx+(x+rx)*r+soft); px++ {
				d := math.Hypot((float64(px)-cx-x*r)/(rx*r), (float64(py)-cy-y*r)/(ry*r))
				cover := math.Max(0, math.Min(1, (1-d)*8+0.5))
				if cover == 0 || !(image.Point{X: px, Y: py}).In(img.Rect) {
					continue
				}
				was := img.RGBAAt(px, py).R
				v := uint8(float64(was)*(1-cover) + float64(level)*cover)
				img.SetRGBA(px, py, color.RGBA{v, v, v, 255})
			}
		}
	}
	ellipse(0, -0.2, 0.82, 0.95, 40)  // hair
	ellipse(0, 0.12, 0.66, 0.88, 200) // face
	ellipse(0, -0.3, 0.5, 0.25, 215)  // forehead
	for _, side := range []float64{-1, 1} {
		ellipse(side*0.28, -0.05, 0.2, 0.13, 130) // eye socket
		ellipse(side*0.28, -0.14, 0.18, 0.04, 60) // brow
		ellipse(side*0.28, 0, 0.11, 0.055, 50)    // eye
		ellipse(side*0.36, 0.3, 0.16, 0.16, 215)  // cheek
		ellipse(side*0.09, 0.34, 0.05, 0.03, 90)  // nostril
	}
	ellipse(0, 0.18, 0.07, 0.2, 225)  // bridge of the nose
	ellipse(0, 0.37, 0.12, 0.04, 130) // under the nose
	ellipse(0, 0.6, 0.24, 0.05, 80)   // mouth
	ellipse(0, 0.7, 0.18, 0.04, 160)  // under the lip
	ellipse(0, 0.85, 0.2, 0.1, 205)   // chin
}

// DrawBench draws a bench top with boards and a part on it, another for each number.
func DrawBench(width, height, n int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			grain := 12 * math.Sin(float64(y)*0.9+3*math.Sin(float64(x)/97+float64(n)))
			v := uint8(110 + grain + 20*math.Sin(float64(x*(n+1))/float64(width)*7))
			img.SetRGBA(x, y, color.RGBA{v, v, v, 255})
		}
	}
	part := image.Rect(width/5, height/2, width*4/5, height*3/4).Add(image.Pt(n*width/40, -n*height/20))
	draw.Draw(img, part, image.NewUniform(color.RGBA{70, 75, 80, 255}), image.Point{}, draw.Src)
	return img
}
