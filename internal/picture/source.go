package picture

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"io"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/picture/jpeg"
)

// What an original may ask of the machine. The largest camera pictures in
// ordinary use, at 45 to 60 million pixels, still fit.
const (
	maxBytes  = 60_000_000  // of the file
	maxPixels = 60_000_000  // width × height
	maxSide   = 20_000      // pixels
	minSide   = 16          // pixels
	maxMemory = 450_000_000 // bytes that the decoder takes for pixels and coefficients
	maxScans  = 100         // in one JPEG; programs write about ten
)

// source is an original that has passed every check short of decoding.
type source struct {
	format      string      // "JPEG" or "PNG"
	size        image.Point // as stored, before it is turned upright
	orientation int         // 1 to 8
	block       image.Point // pixels that were coded together
	profile     []byte      // ICC profile, nil for none
	space       *space      // colours that are named without a profile, nil for sRGB
	private     []Private

	// Bytes that the decoder takes at full size: for what becomes pixels, and for
	// what it holds beside them whatever the size.
	pixels, held int64

	// parts hold the original with everything left out that the decoder does
	// not need for the pixels. It never gets to read the rest.
	parts [][]byte
}

// upright is the size once the picture has been turned.
func (s *source) upright() image.Point {
	if s.orientation >= 5 {
		return image.Pt(s.size.Y, s.size.X)
	}
	return s.size
}

// open tells what the bytes are, applies the limits, and reads the header.
func open(original []byte) (*source, error) {
	if len(original) > maxBytes {
		return nil, &Error{
			Code:    TooLarge,
			Message: fmt.Sprintf("this file has %d million bytes, and %d million is the limit", len(original)/1_000_000, maxBytes/1_000_000),
			Remedy:  "save it as a JPEG of ordinary quality",
		}
	}
	switch {
	case bytes.HasPrefix(original, []byte("\xff\xd8\xff")):
		return openJPEG(original)
	case bytes.HasPrefix(original, []byte(pngSignature)):
		return openPNG(original)
	}
	return nil, refuse(original)
}

// foreign lists pictures known by their first bytes and not read here.
var foreign = [...]struct{ at, magic, name string }{
	{"", "GIF87a", "GIF"},
	{"", "GIF89a", "GIF"},
	{"", "II*\x00", "TIFF or camera raw"},
	{"", "MM\x00*", "TIFF or camera raw"},
	{"", "II+\x00", "TIFF"},
	{"", "MM\x00+", "TIFF"},
	{"RIFF????", "WEBP", "WebP"},
	{"????ftyp", "avif", "AVIF"},
	{"????ftyp", "avis", "AVIF"},
	{"????ftyp", "heic", "HEIC"},
	{"????ftyp", "heix", "HEIC"},
	{"????ftyp", "heim", "HEIC"},
	{"????ftyp", "heis", "HEIC"},
	{"????ftyp", "hevc", "HEIC"},
	{"????ftyp", "hevx", "HEIC"},
	{"????ftyp", "mif1", "HEIC"},
	{"????ftyp", "msf1", "HEIC"},
	{"", "BM", "BMP"},
	{"", "8BPS", "PSD"},
	{"", "\x00\x00\x00\x0cjP  ", "JPEG 2000"},
	{"", "\xff\x0a", "JPEG XL"},
	{"", "\x00\x00\x00\x0cJXL ", "JPEG XL"},
}

// phoneRemedy is for pictures as phones save them to take less room. The menus
// are those of iOS 11 and later, as several guides to it give them; of other phones,
// from memory.
const phoneRemedy = "save it as JPEG; to have an iPhone save JPEG from now on choose Settings, Camera, Formats, Most Compatible, " +
	"and on other phones turn off HEIF or \"high efficiency\" in the camera's settings"

// refuse says what the bytes are, when they are neither JPEG nor PNG.
func refuse(original []byte) *Error {
	for _, f := range foreign {
		if startsWith(original, f.at+f.magic) {
			if f.name == "HEIC" {
				return unsupported("this is a HEIC picture, whatever its name says", phoneRemedy)
			}
			return unsupported("this is a "+f.name+" picture, whatever its name says", "save it as JPEG")
		}
	}
	message := "this is not a picture"
	if len(original) == 0 {
		message = "this file is empty"
	}
	return &Error{Code: NotAPicture, Message: message, Remedy: "choose a JPEG or PNG file"}
}

// startsWith compares the first bytes with a pattern in which ? stands for any.
func startsWith(data []byte, pattern string) bool {
	if len(data) < len(pattern) {
		return false
	}
	for i := range len(pattern) {
		if pattern[i] != '?' && pattern[i] != data[i] {
			return false
		}
	}
	return true
}

// checkSize applies the limits to what a header says. memory is what the
// decoder will take, in bytes.
func checkSize(width, height int, memory int64) error {
	const remedy = "save a smaller copy of it and use that"
	switch {
	case width <= 0 || height <= 0:
		return &Error{Code: Damaged, Message: "this picture says that it has no pixels", Remedy: "copy it from the camera or phone again"}
	case width > maxSide || height > maxSide:
		return &Error{
			Code:    TooLarge,
			Message: fmt.Sprintf("this picture is %d × %d pixels, and no side may have more than %d", width, height, maxSide),
			Remedy:  remedy,
		}
	case int64(width)*int64(height) > maxPixels:
		return &Error{
			Code:    TooLarge,
			Message: fmt.Sprintf("this picture is %d × %d pixels, and %d million is the limit", width, height, maxPixels/1_000_000),
			Remedy:  remedy,
		}
	case memory > maxMemory:
		return &Error{
			Code:    TooLarge,
			Message: fmt.Sprintf("this picture of %d × %d pixels is stored in a way that takes too much memory to open", width, height),
			Remedy:  "save it as an ordinary JPEG (not progressive, 8 bits a colour), or a smaller one",
		}
	case width < minSide || height < minSide:
		return &Error{
			Code:    TooSmall,
			Message: fmt.Sprintf("this picture is only %d × %d pixels", width, height),
			Remedy:  "use the original from the camera or phone",
		}
	}
	return nil
}

// spare is how much wider than the widest copy a picture must still be after it
// was reduced while decoding, as a ratio to be divided by spareOf: enough for the
// last step, by a better filter, to decide how sharp the copies are.
const spare, spareOf = 5, 4

// shrink returns by how much the picture is reduced while it is decoded.
func (s *source) shrink(uses []cleared.Use) int {
	if s.format != "JPEG" {
		return 1
	}
	shrink := 8
	for need := needed(s.upright(), uses) * spare; shrink > 1 && s.upright().X/shrink*spareOf < need; {
		shrink /= 2
	}
	return shrink
}

// decode returns the pixels as stored, their number divided by shrink both ways:
// a *image.YCbCr, a *image.Gray, or an opaque *image.RGBA. It goes straight to the
// decoder of the format that open found; a registry of decoders would let other
// formats in by the back door.
func (s *source) decode(ctx context.Context, shrink int) (img image.Image, err error) {
	// The decoders are sound as far as is known. Should hostile bytes find a
	// fault in one, it must cost one photo and not the whole program.
	defer func() {
		if fault := recover(); fault != nil {
			img, err = nil, damaged(s.format, fmt.Errorf("the decoder failed: %v", fault))
		}
	}()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	from := &stoppable{ctx, s.stream()}
	if s.format == "PNG" {
		img, err = png.Decode(from)
	} else {
		img, err = jpeg.DecodeReduced(from, shrink)
	}
	size := image.Pt(divided(s.size.X, shrink), divided(s.size.Y, shrink))
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		return nil, s.refusal(err)
	case img.Bounds() != image.Rectangle{Max: size}:
		return nil, damaged(s.format, errors.New("the pixels are not those that the header promised"))
	}
	return flatten(img)
}

// divided returns n ÷ by, rounded up.
func divided(n, by int) int { return (n + by - 1) / by }

// stream is what the decoder may read.
func (s *source) stream() io.Reader {
	readers := make([]io.Reader, len(s.parts))
	for i, p := range s.parts {
		readers[i] = bytes.NewReader(p)
	}
	return io.MultiReader(readers...)
}

// refusal puts a decoder's error in words.
func (s *source) refusal(err error) *Error {
	var rareJPEG jpeg.UnsupportedError
	var rarePNG png.UnsupportedError
	if errors.As(err, &rareJPEG) || errors.As(err, &rarePNG) {
		e := unsupported("this "+s.format+" picture is coded in a rare way", "open it in a picture program and save it as an ordinary JPEG")
		e.cause = err
		return e
	}
	return damaged(s.format, err)
}

// stoppable is a reader that fails once its context has ended, so that a
// decoder stops in the middle of a picture.
type stoppable struct {
	ctx  context.Context
	from io.Reader
}

func (r *stoppable) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.from.Read(p)
}

// flatten brings every pixel format to one of three that the rest of the
// package handles, with anything see-through laid on white. Palettes and 16-bit
// samples end here: the resizing library reads them on goroutines of its own,
// where a fault could not be caught.
func flatten(img image.Image) (image.Image, error) {
	switch img := img.(type) {
	case *image.YCbCr, *image.Gray:
		return img, nil
	case *image.RGBA:
		if img.Opaque() {
			return img, nil
		}
	case *image.CMYK:
		return nil, inks()
	}
	flat := image.NewRGBA(img.Bounds())
	draw.Draw(flat, flat.Rect, image.White, image.Point{}, draw.Src)
	draw.Draw(flat, flat.Rect, img, img.Bounds().Min, draw.Over)
	return flat, nil
}

// inks refuses a picture made for a printing press.
func inks() *Error {
	return unsupported("this picture is in printing inks (CMYK)", "save it as an RGB JPEG")
}
