package photo

import (
	"bytes"
	_ "embed"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math/bits"

	pigo "github.com/esimov/pigo/core"
)

// LookWidth is how wide a copy is looked at, in pixels: wide enough to tell a
// sharp edge from a soft one, and small enough to be quick.
const LookWidth = 800

// Seen is what a program makes of a picture. All of it is guesswork.
type Seen struct {
	Hash  Hash    `json:"hash"`  // alike for pictures that look alike
	Sharp float64 `json:"sharp"` // variance of the Laplacian of its brightness, in squared levels of 255
	Faces []Spot  `json:"faces,omitempty"`
}

// Spot is the middle of something in a picture, in fractions of its width and
// height from the top left corner.
type Spot struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// Finder finds what looks like a face in a picture's brightness.
type Finder interface {
	Faces(*image.Gray) []Spot
}

// Look looks at a public copy: a JPEG, upright, with its hide boxes filled.
func Look(copy []byte, faces Finder) (Seen, error) {
	img, err := jpeg.Decode(bytes.NewReader(copy))
	if err != nil {
		return Seen{}, fmt.Errorf("photo: a public copy cannot be read; make the pictures again: %w", err)
	}
	grey := brightness(img)
	return Seen{Hash: hash(grey), Sharp: sharpness(grey), Faces: faces.Faces(grey)}, nil
}

// brightness takes the luma of a picture.
func brightness(img image.Image) *image.Gray {
	b := img.Bounds()
	grey := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	ycc, isYCC := img.(*image.YCbCr)
	for y := range b.Dy() {
		row := grey.Pix[y*grey.Stride:][:b.Dx()]
		if isYCC {
			copy(row, ycc.Y[ycc.YOffset(b.Min.X, b.Min.Y+y):])
			continue
		}
		for x := range row {
			row[x] = color.GrayModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.Gray).Y
		}
	}
	return grey
}

// Hash is a 64-bit difference hash: whether brightness rises from each field to
// the next in a grid of 9 × 8 (N. Krawetz, "Kind of Like That", The Hacker Factor
// Blog, 2013).
type Hash uint64

const hashWide, hashHigh = 9, 8

func hash(grey *image.Gray) Hash {
	size := grey.Rect.Size()
	mean := func(row, column int) float64 {
		field := image.Rect(column*size.X/hashWide, row*size.Y/hashHigh, (column+1)*size.X/hashWide, (row+1)*size.Y/hashHigh)
		sum := 0
		for y := field.Min.Y; y < field.Max.Y; y++ {
			for _, v := range grey.Pix[y*grey.Stride:][field.Min.X:field.Max.X] {
				sum += int(v)
			}
		}
		return float64(sum) / float64(max(1, field.Dx()*field.Dy()))
	}
	var h Hash
	for row := range hashHigh {
		before := mean(row, 0)
		for column := 1; column < hashWide; column++ {
			next := mean(row, column)
			h <<= 1
			if before < next {
				h |= 1
			}
			before = next
		}
	}
	return h
}

// Distance counts the bits in which two hashes differ, from 0 to 64.
func (h Hash) Distance(other Hash) int { return bits.OnesCount64(uint64(h ^ other)) }

// sharpness is the variance of the Laplacian of the brightness (Pech-Pacheco,
// Cristóbal, Chamorro-Martínez and Fernández-Valdivia, "Diatom autofocusing in
// brightfield microscopy: a comparative study", ICPR 2000).
func sharpness(grey *image.Gray) float64 {
	w, h := grey.Rect.Dx(), grey.Rect.Dy()
	if w < 3 || h < 3 {
		return 0
	}
	var sum, squares float64
	for y := 1; y < h-1; y++ {
		above, row, below := grey.Pix[(y-1)*grey.Stride:], grey.Pix[y*grey.Stride:], grey.Pix[(y+1)*grey.Stride:]
		for x := 1; x < w-1; x++ {
			l := float64(int(above[x]) + int(below[x]) + int(row[x-1]) + int(row[x+1]) - 4*int(row[x]))
			sum += l
			squares += l * l
		}
	}
	n := float64((w - 2) * (h - 2))
	return squares/n - sum/n*(sum/n)
}

// facefinder is the cascade that comes with the detector's module, unchanged.
//
//go:embed cascade/facefinder
var facefinder []byte

// detector finds faces with a cascade of decision trees (N. Markuš et al.,
// arXiv 1305.4537, on which its module says that it is based). It sees upright faces
// from the front, and things that resemble them.
type detector struct{ cascade *pigo.Pigo }

// NewFinder makes the finder of faces ready.
func NewFinder() (Finder, error) {
	cascade, err := pigo.NewPigo().Unpack(facefinder)
	if err != nil {
		return nil, fmt.Errorf("photo: the finder of faces cannot be made ready: %w", err)
	}
	return &detector{cascade}, nil
}

// The detector's settings are those of its own manual: a window that moves by a
// tenth of its size and grows by a tenth, clusters that overlap by a fifth, and a
// score above 5.
const (
	faceShift   = 0.1
	faceGrowth  = 1.1
	faceOverlap = 0.2
	faceScore   = 5
	// Of the picture's longer side. A smaller face is hardly known on a page.
	faceLeast = 20
)

// Faces returns the middles of what looks like a face, the surest first.
func (d *detector) Faces(grey *image.Gray) []Spot {
	grey = halved(grey)
	size := grey.Rect.Size()
	found := d.cascade.RunCascade(pigo.CascadeParams{
		MinSize: max(20, max(size.X, size.Y)/faceLeast), MaxSize: min(size.X, size.Y), ShiftFactor: faceShift, ScaleFactor: faceGrowth,
		ImageParams: pigo.ImageParams{Pixels: grey.Pix, Rows: size.Y, Cols: size.X, Dim: grey.Stride},
	}, 0)
	var spots []Spot
	clusters := d.cascade.ClusterDetections(found, faceOverlap)
	for i := len(clusters) - 1; i >= 0; i-- {
		if c := clusters[i]; c.Q > faceScore {
			spots = append(spots, Spot{hundredth(c.Col, size.X), hundredth(c.Row, size.Y)})
		}
	}
	return spots
}

// halved is a picture at half its size, which is enough for the finder and lets it
// work in the machine's nearest memory.
func halved(grey *image.Gray) *image.Gray {
	half := image.NewGray(image.Rect(0, 0, grey.Rect.Dx()/2, grey.Rect.Dy()/2))
	for y := range half.Rect.Dy() {
		above, below := grey.Pix[2*y*grey.Stride:], grey.Pix[(2*y+1)*grey.Stride:]
		row := half.Pix[y*half.Stride:][:half.Rect.Dx()]
		for x := range row {
			row[x] = uint8((int(above[2*x]) + int(above[2*x+1]) + int(below[2*x]) + int(below[2*x+1]) + 2) / 4)
		}
	}
	return half
}

// hundredth is a share of a length, to two places.
func hundredth(at, of int) float64 { return float64((200*at+of)/(2*of)) / 100 }
