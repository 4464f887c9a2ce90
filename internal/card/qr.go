package card

import (
	"fmt"
	"sync"

	"rsc.io/qr/coding"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// quietModules is the clear border of a QR code on each side (ISO/IEC 18004).
const quietModules = 4

// qrSize returns the smallest version that holds an address with at least 15 % of it
// recoverable (level M), and the highest level of recovery that costs no larger a code.
func qrSize(address string) (coding.Version, coding.Level, error) {
	text := coding.String(address)
	for version := coding.Version(coding.MinVersion); version <= coding.MaxVersion; version++ {
		for level := coding.H; level >= coding.M; level-- {
			if text.Bits(version) <= version.DataBytes(level)*8 {
				return version, level, nil
			}
		}
	}
	return 0, 0, fmt.Errorf("the address %q does not fit in a QR code; shorten the site's address or the stop's id", address)
}

// qrModules are the modules of a code, row by row; true is dark.
type qrModules struct {
	side int
	dark []bool
}

func (m qrModules) at(x, y int) bool { return m.dark[y*m.side+x] }

// qrMasks is how many masks there are to choose from (ISO/IEC 18004, 7.8.2).
const qrMasks = 8

// qrSizes has the plans of the codes made so far, one for each mask: the codes of a
// deck are nearly all of one size. Several goroutines may use it at once.
type qrSizes struct {
	guard sync.Mutex
	plans map[[2]int][]*coding.Plan // by version and level
}

func (s *qrSizes) of(version coding.Version, level coding.Level) ([]*coding.Plan, error) {
	s.guard.Lock()
	defer s.guard.Unlock()
	size := [2]int{int(version), int(level)}
	if known, ok := s.plans[size]; ok {
		return known, nil
	}
	var plans []*coding.Plan
	for mask := range coding.Mask(qrMasks) {
		plan, err := coding.NewPlan(version, level, mask)
		if err != nil {
			return nil, err
		}
		plans = append(plans, plan)
	}
	if s.plans == nil {
		s.plans = map[[2]int][]*coding.Plan{}
	}
	s.plans[size] = plans
	return plans, nil
}

// encode makes the code of an address, with the mask that disturbs a reader the
// least (ISO/IEC 18004, 7.8.3).
func (s *qrSizes) encode(address string) (qrModules, error) {
	version, level, err := qrSize(address)
	if err != nil {
		return qrModules{}, err
	}
	plans, err := s.of(version, level)
	if err != nil {
		return qrModules{}, err
	}
	var best qrModules
	least := 0
	for i, plan := range plans {
		code, err := plan.Encode(coding.String(address))
		if err != nil {
			return best, err
		}
		m := qrModules{side: code.Size, dark: make([]bool, code.Size*code.Size)}
		for y := range m.side {
			for x := range m.side {
				m.dark[y*m.side+x] = code.Black(x, y)
			}
		}
		if p := m.penalty(); i == 0 || p < least {
			best, least = m, p
		}
	}
	return best, nil
}

// penalty counts what disturbs a reader (ISO/IEC 18004, 7.8.3.1, N1 to N4).
func (m qrModules) penalty() int {
	sum, dark := 0, 0
	columns := make([]qrLine, m.side)
	var above []bool
	for at := 0; at < len(m.dark); at += m.side {
		row := m.dark[at:][:m.side]
		var line qrLine
		for x, here := range row {
			sum += line.next(here) + columns[x].next(here)
			if here {
				dark++
			}
			if above != nil && x > 0 && here == row[x-1] && here == above[x] && here == above[x-1] {
				sum += 3 // a block of two by two in one colour
			}
		}
		above = row
	}
	// Ten for each full twentieth that the share of dark modules is off a half.
	off := max(2*dark, 2*len(m.dark)-2*dark) - len(m.dark)
	return sum + 10*(off*10/len(m.dark))
}

// qrLine reads a row or a column of a code.
type qrLine struct {
	read, run int
	last      bool
	window    uint // the last eleven modules
}

// next adds a module, and returns what it adds to the penalty.
func (l *qrLine) next(dark bool) int {
	const finder, finderAfterLight, windowSize = 0b10111010000, 0b00001011101, 11
	l.run++
	if dark != l.last {
		l.run, l.last = 1, dark
	}
	l.window = l.window << 1 & (1<<windowSize - 1)
	if dark {
		l.window |= 1
	}
	l.read++
	sum := 0
	switch {
	case l.run == 5:
		sum = 3
	case l.run > 5:
		sum = 1
	}
	if l.read >= windowSize && (l.window == finder || l.window == finderAfterLight) {
		sum += 40
	}
	return sum
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
	modules, err := c.sizes.encode(address)
	if err != nil {
		return drawnQR{}, err
	}
	code := drawQR(modules, c.paper.Module)
	c.guard.Lock()
	c.codes[address] = code
	c.guard.Unlock()
	return code, nil
}

// drawQR draws the dark modules as one shape, rows joined left to right.
func drawQR(code qrModules, module typeset.Points) drawnQR {
	p := draw.Path{Steps: make([]draw.Step, 0, len(code.dark)/3)} // about a quarter of the modules begin a run
	for y := range code.side {
		for x := 0; x < code.side; x++ {
			start := x
			for x < code.side && code.at(x, y) {
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
	return drawnQR{path: p, side: module * typeset.Points(code.side+2*quietModules)}
}
