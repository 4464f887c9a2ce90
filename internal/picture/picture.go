// Package picture makes the public copies of a photo.
//
// An original and a recipe go in as values, and JPEG files come out as bytes.
// Nothing of the original file is carried over but its visible pixels: they are
// turned upright, brought to sRGB, covered where the recipe says so, scaled and
// coded afresh. What little is said about the picture in the copy (alternative
// text, caption, credit, copyright) comes from the recipe alone. Two originals
// that differ only under a hide box, or only in what the file says beside how to
// turn the picture and what its colours mean, therefore give the same bytes.
//
// JPEG and PNG are read, known by their content and never by a name. How much
// an original may ask of the machine is read from its header, before decoding.
//
// The package reads and writes no files, except that a Cache keeps copies in a
// folder of its own. It must not know whose photo it is, where it is kept, or
// whether anybody has cleared it.
package picture

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"math"
	"slices"

	"example.org/opencowl/internal/cleared"
)

// Point is a place in the upright picture, as fractions of its width and
// height from the top left corner.
type Point struct{ X, Y float64 }

// Box is a rectangle in the upright picture, as fractions of its width and
// height; X, Y is its top left corner.
type Box struct{ X, Y, W, H float64 }

// Recipe says what the public copies look like and what they say.
type Recipe struct {
	Focus Point // crops keep this in view; the zero Point means the middle
	Hide  []Box // covered before anything is scaled

	Alt, Caption, Credit, Copyright string // plain text; an empty one is left out

	Uses []cleared.Use // the copies to make, in any order; none means all of them
}

// Copy is one public copy.
type Copy struct {
	Use           cleared.Use
	Width, Height int    // pixels
	Name          string // the first 32 hexadecimal digits of the SHA-256 of JPEG, and ".jpg"
	JPEG          []byte
}

// Make returns the public copies of an original, in the order of the Use
// constants of package cleared. No copy is larger than the original: where the
// original is narrower than a web width, that copy has the original's width, and
// wider ones are left out, so that there is only one of each width.
//
// What is wrong with the original or the recipe is reported as an *Error. When
// ctx ends Make stops at the next step and returns its error. One call holds
// one decoded picture, reduced while it was decoded as far as the copies allow;
// many calls at once hold as many, unless they go through one Cache.
func Make(ctx context.Context, original []byte, r Recipe) ([]Copy, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	packet, err := r.packet()
	if err != nil {
		return nil, err
	}
	src, err := open(original)
	if err != nil {
		return nil, err
	}
	toSRGB, err := src.colours()
	if err != nil {
		return nil, err
	}
	shrink := src.shrink(r.uses())
	img, err := src.decode(ctx, shrink)
	if err != nil {
		return nil, err
	}
	for _, b := range r.Hide {
		hide(img, stored(b.pixels(src.upright()), src.orientation, src.upright()), src.block, shrink)
	}
	work, err := reduce(ctx, img, src, r.uses())
	if err != nil {
		return nil, err
	}
	toSRGB.apply(work)
	return copies(ctx, work, src.upright(), r, packet)
}

// Info is what can be said of an original without decoding it.
type Info struct {
	Width, Height int    // pixels, upright
	Format        string // "JPEG" or "PNG"
	Orientation   int    // Exif Orientation, 1 to 8; 1 where there is none that is valid
	Private       []Private
}

// Private names something that an original says beside its pixels. It is meant
// for warnings: every copy is free of all of them, named here or not.
type Private string

const (
	Position     Private = "the place where it was taken"
	Serial       Private = "the serial number of a camera or lens"
	Owner        Private = "the name of a person"
	Taken        Private = "when it was taken"
	MakerNotes   Private = "the camera maker's notes"
	SmallPicture Private = "a small picture of the whole scene"
	Description  Private = "a description for picture agencies"
	Comment      Private = "a written comment"
	Trailing     Private = "data after the end of the picture"
)

// Inspect reads the header of an original: its size when upright, and which
// private things it carries. It applies the same limits as Make, and reports
// what is wrong as an *Error. It does not decode, so that a picture which
// passes may still prove damaged.
func Inspect(original []byte) (Info, error) {
	src, err := open(original)
	if err != nil {
		return Info{}, err
	}
	size := src.upright()
	return Info{
		Width:       size.X,
		Height:      size.Y,
		Format:      src.format,
		Orientation: src.orientation,
		Private:     src.private,
	}, nil
}

// everyUse is the order in which copies are made and returned.
var everyUse = [...]cleared.Use{
	cleared.Web400, cleared.Web800, cleared.Web1200, cleared.Web1600,
	cleared.Letter, cleared.Card, cleared.Thumbnail,
}

// uses returns what is asked for, each use once, in the order of everyUse.
func (r Recipe) uses() []cleared.Use {
	if len(r.Uses) == 0 {
		return everyUse[:]
	}
	var wanted []cleared.Use
	for _, u := range everyUse {
		if slices.Contains(r.Uses, u) {
			wanted = append(wanted, u)
		}
	}
	return wanted
}

// focus returns the point that crops keep in view.
func (r Recipe) focus() Point {
	if r.Focus == (Point{}) {
		return Point{0.5, 0.5}
	}
	return r.Focus
}

// check refuses a recipe that cannot be followed. A hide box that covers
// nothing is refused rather than passed over: somebody meant to hide something,
// and may have given percentages or pixels for fractions.
func (r Recipe) check() error {
	for _, u := range r.Uses {
		if !slices.Contains(everyUse[:], u) {
			return &Error{
				Code:    BadRecipe,
				Message: fmt.Sprintf("there is no public copy for %q", u),
				Remedy:  "ask for one of the uses that package cleared names",
			}
		}
	}
	// Written so that a NaN is refused as well.
	if !(r.Focus.X >= 0 && r.Focus.X <= 1 && r.Focus.Y >= 0 && r.Focus.Y <= 1) {
		return &Error{
			Code:    BadRecipe,
			Message: fmt.Sprintf("the focus %g, %g is outside the picture", r.Focus.X, r.Focus.Y),
			Remedy:  "give x and y as fractions from 0 to 1 of the upright picture",
		}
	}
	for i, b := range r.Hide {
		if !b.valid() {
			return &Error{
				Code:    BadRecipe,
				Message: fmt.Sprintf("hide box %d (x %g, y %g, w %g, h %g) covers nothing in the picture", i+1, b.X, b.Y, b.W, b.H),
				Remedy:  "give x, y, w and h as fractions from 0 to 1 of the upright picture",
			}
		}
	}
	return nil
}

// valid reports whether b is made of ordinary numbers and covers some of the picture.
func (b Box) valid() bool {
	for _, v := range []float64{b.X, b.Y, b.W, b.H} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return b.W > 0 && b.H > 0 && b.X < 1 && b.Y < 1 && b.X+b.W > 0 && b.Y+b.H > 0
}

// pixels returns the pixels of an upright picture that b touches, however little.
func (b Box) pixels(size image.Point) image.Rectangle {
	w, h := float64(size.X), float64(size.Y)
	clip := func(v, most float64) int { return int(math.Max(0, math.Min(v, most))) }
	return image.Rect(
		clip(math.Floor(b.X*w), w), clip(math.Floor(b.Y*h), h),
		clip(math.Ceil((b.X+b.W)*w), w), clip(math.Ceil((b.Y+b.H)*h), h),
	)
}

// nameOf is the public name of a copy: it says nothing but what the bytes are.
func nameOf(jpeg []byte) string {
	sum := sha256.Sum256(jpeg)
	return hex.EncodeToString(sum[:16]) + ".jpg"
}
