package card

import (
	"fmt"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// quietModules is the clear border of a QR code on each side (ISO/IEC 18004).
const quietModules = 4

// encodeQR makes the smallest code that holds the address with at least 15 % of
// it recoverable (level M), at the highest level which that size has room for.
func encodeQR(address string) (barcode.Barcode, error) {
	best, err := qr.Encode(address, qr.M, qr.Auto)
	if err != nil {
		return nil, fmt.Errorf("the address %q does not fit in a QR code; shorten the site's address or the stop's id: %w", address, err)
	}
	for _, level := range []qr.ErrorCorrectionLevel{qr.Q, qr.H} {
		code, err := qr.Encode(address, level, qr.Auto)
		if err != nil || code.Bounds().Dx() > best.Bounds().Dx() {
			break
		}
		best = code
	}
	return best, nil
}

// drawQR draws the dark modules as one shape, rows joined left to right.
func drawQR(code barcode.Barcode, at draw.Point, module typeset.Points, dark draw.Colour) draw.Path {
	p := draw.Path{Fill: dark}
	n := code.Bounds().Dx()
	isDark := func(x, y int) bool {
		r, _, _, _ := code.At(x, y).RGBA()
		return r < 0x8000
	}
	for y := range n {
		for x := 0; x < n; x++ {
			start := x
			for x < n && isDark(x, y) {
				x++
			}
			if x > start {
				p.Rectangle(draw.Rect{
					X: at.X + module*typeset.Points(start), Y: at.Y + module*typeset.Points(y),
					W: module * typeset.Points(x-start), H: module,
				})
			}
		}
	}
	return p
}
