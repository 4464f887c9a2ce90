package picture

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"

	"github.com/disintegration/imaging"

	"example.org/opencowl/internal/cleared"
)

// Sizes of the copies, in pixels and bytes.
const (
	letterWidth = 1200
	letterBytes = 250_000
	cardWidth   = 1500
	thumbWidth  = 240

	// Cards and thumbnails are three wide to two high.
	cropWide, cropHigh = 3, 2
)

// JPEG qualities. Letters come down in steps until they fit: first they grow
// coarser, then smaller, and neither beyond what is still worth looking at.
const (
	quality     = 90
	qualityStep = 8
	qualityLow  = 45
	letterLeast = 480 // pixels of width
)

// cover is the grey of a hide box: plain to see as a cover, and quiet on a page.
var cover = color.RGBA{R: 96, G: 96, B: 96, A: 255}

// width returns the widest that a copy for a use may be, and whether it is cropped.
func width(u cleared.Use) (pixels int, cropped bool) {
	switch u {
	case cleared.Web400:
		return 400, false
	case cleared.Web800:
		return 800, false
	case cleared.Web1200:
		return 1200, false
	case cleared.Web1600:
		return 1600, false
	case cleared.Letter:
		return letterWidth, false
	case cleared.Card:
		return cardWidth, true
	}
	return thumbWidth, true
}

// stored returns where a rectangle of the upright picture lies in the picture
// as stored. Orientations: Exif 2.32, Orientation (0x0112).
func stored(r image.Rectangle, orientation int, upright image.Point) image.Rectangle {
	w, h := upright.X, upright.Y
	switch orientation {
	case 2:
		return image.Rect(w-r.Max.X, r.Min.Y, w-r.Min.X, r.Max.Y)
	case 3:
		return image.Rect(w-r.Max.X, h-r.Max.Y, w-r.Min.X, h-r.Min.Y)
	case 4:
		return image.Rect(r.Min.X, h-r.Max.Y, r.Max.X, h-r.Min.Y)
	case 5:
		return image.Rect(r.Min.Y, r.Min.X, r.Max.Y, r.Max.X)
	case 6:
		return image.Rect(r.Min.Y, w-r.Max.X, r.Max.Y, w-r.Min.X)
	case 7:
		return image.Rect(h-r.Max.Y, w-r.Max.X, h-r.Min.Y, w-r.Min.X)
	case 8:
		return image.Rect(h-r.Max.Y, r.Min.X, h-r.Min.Y, r.Max.X)
	}
	return r
}

// turn makes a stored picture upright.
func turn(img *image.NRGBA, orientation int) *image.NRGBA {
	switch orientation {
	case 2:
		return imaging.FlipH(img)
	case 3:
		return imaging.Rotate180(img)
	case 4:
		return imaging.FlipV(img)
	case 5:
		return imaging.Transpose(img)
	case 6:
		return imaging.Rotate270(img) // the library turns anticlockwise
	case 7:
		return imaging.Transverse(img)
	case 8:
		return imaging.Rotate90(img)
	}
	return img
}

// hide fills a rectangle of a stored picture that was reduced while it was
// decoded. It is grown to whole blocks of the original's coding: within a block
// every pixel holds traces of its neighbours, from which lettering just inside the
// edge could be guessed. A reduced picture mixes pixels within one block only, and
// eight, the side of the smallest, can be divided by every shrink: what is filled
// is all that the covered blocks gave.
func hide(img image.Image, r image.Rectangle, block image.Point, shrink int) {
	r = image.Rect(
		r.Min.X/block.X*block.X/shrink, r.Min.Y/block.Y*block.Y/shrink,
		divided(r.Max.X, block.X)*block.X/shrink, divided(r.Max.Y, block.Y)*block.Y/shrink,
	).Intersect(img.Bounds())
	switch img := img.(type) {
	case draw.Image:
		draw.Draw(img, r, image.NewUniform(cover), image.Point{}, draw.Src)
	case *image.YCbCr:
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				img.Y[img.YOffset(x, y)] = cover.G
				c := img.COffset(x, y)
				img.Cb[c], img.Cr[c] = 128, 128
			}
		}
	}
}

// crop returns the largest rectangle of the crop shape inside a picture, as
// near to having the focus in its middle as the edges allow.
func crop(size image.Point, focus Point) image.Rectangle {
	w := min(size.X, scale(size.Y, cropWide, cropHigh))
	h := min(size.Y, scale(size.X, cropHigh, cropWide))
	place := func(at float64, length, room int) int {
		return max(0, min(int(math.Round(at*float64(room)-float64(length)/2)), room-length))
	}
	left, top := place(focus.X, w, size.X), place(focus.Y, h, size.Y)
	return image.Rect(left, top, left+w, top+h)
}

// scale returns n × a ÷ b, to the nearest whole number, and never less than one.
func scale(n, a, b int) int {
	return max(1, int((2*int64(n)*int64(a)+int64(b))/(2*int64(b))))
}

// needed returns how wide the whole upright picture must be for the wanted copies.
func needed(full image.Point, uses []cleared.Use) int {
	window := crop(full, Point{0.5, 0.5}).Dx()
	need := 1
	for _, u := range uses {
		pixels, cropped := width(u)
		if cropped {
			pixels = divided(pixels*full.X, window)
		}
		need = max(need, pixels)
	}
	return need
}

// reduce returns the whole picture, upright, as small as the wanted copies
// allow: one pass over the many pixels of the original serves all of them.
func reduce(ctx context.Context, img image.Image, src *source, uses []cleared.Use) (*image.NRGBA, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	full := src.upright()
	size := image.Pt(min(needed(full, uses), full.X), 0)
	size.Y = scale(full.Y, size.X, full.X)
	if src.orientation >= 5 {
		size.X, size.Y = size.Y, size.X
	}
	return turn(imaging.Resize(img, size.X, size.Y, imaging.Lanczos), src.orientation), nil
}

// copies makes what is asked for out of the reduced picture, from the largest
// to the smallest, each from one that is at least twice its size if there is one.
// full is the size of the upright original, from which every shape is reckoned.
func copies(ctx context.Context, work *image.NRGBA, full image.Point, r Recipe, packet []byte) ([]Copy, error) {
	uses := oneOfEachWidth(r.uses(), work.Rect.Dx())
	made := make([]Copy, len(uses))
	whole := ladder{full, []*image.NRGBA{work}}
	part := ladder{crop(full, r.focus()).Size(), []*image.NRGBA{imaging.Crop(work, crop(work.Rect.Max, r.focus()))}}
	for i := len(uses) - 1; i >= 0; i-- {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		from := &whole
		pixels, cropped := width(uses[i])
		if cropped {
			from = &part
		}
		c, err := encode(from.at(pixels), uses[i], packet)
		if err != nil {
			return nil, err
		}
		made[i] = c
	}
	return made, nil
}

// ladder is one picture at several sizes, the largest first. shape is its
// size before it was reduced, in which nothing has been rounded yet.
type ladder struct {
	shape image.Point
	rungs []*image.NRGBA
}

// at returns the picture at a width, or as wide as it is.
func (l *ladder) at(width int) *image.NRGBA {
	from := l.rungs[0]
	width = min(width, from.Rect.Dx())
	for _, rung := range l.rungs {
		if rung.Rect.Dx() == width {
			return rung
		}
		if rung.Rect.Dx() >= 2*width && rung.Rect.Dx() < from.Rect.Dx() {
			from = rung
		}
	}
	rung := imaging.Resize(from, width, scale(l.shape.Y, width, l.shape.X), imaging.Lanczos)
	l.rungs = append(l.rungs, rung)
	return rung
}

// oneOfEachWidth drops the web copies that would be no wider than a narrower
// one, in a picture of a given width.
func oneOfEachWidth(uses []cleared.Use, full int) []cleared.Use {
	var kept []cleared.Use
	reached := false
	for _, u := range uses {
		switch u {
		case cleared.Web400, cleared.Web800, cleared.Web1200, cleared.Web1600:
			if reached {
				continue
			}
			pixels, _ := width(u)
			reached = pixels >= full
		}
		kept = append(kept, u)
	}
	return kept
}

// encode writes a copy with its words. A letter is written again, coarser and
// then smaller, until it fits.
func encode(img *image.NRGBA, use cleared.Use, packet []byte) (Copy, error) {
	q := quality
	for {
		data, err := write(img, q, packet)
		if err != nil {
			return Copy{}, err
		}
		if use != cleared.Letter || len(data) <= letterBytes {
			return Copy{Use: use, Width: img.Rect.Dx(), Height: img.Rect.Dy(), Name: nameOf(data), JPEG: data}, nil
		}
		if q -= qualityStep; q < qualityLow {
			q = quality
			size := img.Rect.Max
			if scale(size.X, 4, 5) < letterLeast {
				return Copy{}, &Error{
					Code:    TooLarge,
					Message: fmt.Sprintf("this picture does not fit into a letter: %d pixels wide it still takes more than %d bytes", size.X, letterBytes),
					Remedy:  "crop it to what matters, or use a sharper one with less noise, taken in better light",
				}
			}
			img = imaging.Resize(img, scale(size.X, 4, 5), scale(size.Y, 4, 5), imaging.Lanczos)
		}
	}
}

// write codes the pixels and puts the packet behind the start marker.
func write(img *image.NRGBA, q int, packet []byte) ([]byte, error) {
	var out bytes.Buffer
	// Nothing is see-through here, so that the same bytes are an RGBA picture,
	// which the encoder reads several times faster.
	opaque := &image.RGBA{Pix: img.Pix, Stride: img.Stride, Rect: img.Rect}
	if err := jpeg.Encode(&out, opaque, &jpeg.Options{Quality: q}); err != nil {
		return nil, fmt.Errorf("picture: writing a public copy: %w", err)
	}
	data := out.Bytes()
	return append(append(append(make([]byte, 0, len(data)+len(packet)), data[:2]...), packet...), data[2:]...), nil
}
