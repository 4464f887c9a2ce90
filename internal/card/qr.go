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

// qrRoom returns how many bytes a code of the version holds at levels M, Q and
// H, for the ten smallest versions (ISO/IEC 18004, table 7).
func qrRoom(version int) (m, q, h int) {
	room := [...][3]int{
		{14, 11, 7}, {26, 20, 14}, {42, 32, 24}, {62, 46, 34}, {84, 60, 44},
		{106, 74, 58}, {122, 86, 64}, {152, 108, 84}, {180, 130, 98}, {213, 151, 119},
	}[version-1]
	return room[0], room[1], room[2]
}

// qrLevel returns the highest level of recovery, M or better, that costs no
// larger a code than M does.
func qrLevel(bytes int) qr.ErrorCorrectionLevel {
	for version := 1; version <= 10; version++ {
		m, q, h := qrRoom(version)
		switch {
		case bytes <= h:
			return qr.H
		case bytes <= q:
			return qr.Q
		case bytes <= m:
			return qr.M
		}
	}
	return qr.M
}

// encodeQR makes the smallest code that holds the address with at least 15 % of
// it recoverable (level M).
func encodeQR(address string) (barcode.Barcode, error) {
	code, err := qr.Encode(address, qrLevel(len(address)), qr.Unicode)
	if err != nil {
		return nil, fmt.Errorf("the address %q does not fit in a QR code; shorten the site's address or the stop's id: %w", address, err)
	}
	return code, nil
}

// drawnQR is a code as one shape whose quiet border begins at the origin.
type drawnQR struct {
	path draw.Path
	side typeset.Points // quiet border included
}

// code returns the QR code of an address, made once for a whole deck.
func (c composer) code(address string) (drawnQR, error) {
	c.guard.Lock()
	known, ok := c.codes[address]
	c.guard.Unlock()
	if ok {
		return known, nil
	}
	bars, err := encodeQR(address)
	if err != nil {
		return drawnQR{}, err
	}
	code := drawQR(bars, c.paper.Module)
	c.guard.Lock()
	c.codes[address] = code
	c.guard.Unlock()
	return code, nil
}

// drawQR draws the dark modules as one shape, rows joined left to right.
func drawQR(code barcode.Barcode, module typeset.Points) drawnQR {
	var p draw.Path
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
					X: module * typeset.Points(start+quietModules), Y: module * typeset.Points(y+quietModules),
					W: module * typeset.Points(x-start), H: module,
				})
			}
		}
	}
	return drawnQR{path: p, side: module * typeset.Points(n+2*quietModules)}
}
