package jpeg

import (
	"bytes"
	"encoding/binary"
	"math/rand/v2"
)

// coder writes sequential JPEG files of invented coefficients, in every way of
// laying out components that the decoder knows. Its Huffman codes are 4 bits long
// for DC, and for AC 8 bits or 12, so that some are in the look-up table and others
// are not.
type coder struct {
	random        *rand.Rand
	width, height int
	factors       [][2]int // sampling of each component, across and down
	ids           string   // of the components, "\x01\x02\x03" where empty
	restart       int      // units between restart markers, 0 for none
	adobe         int      // transform of an Adobe segment, -1 for no segment
	separate      bool     // one scan a component
	busy          int      // coefficients of a block, at most

	out  bytes.Buffer
	acc  uint64
	have int
}

func (c *coder) segment(mark byte, body ...byte) {
	c.out.Write([]byte{0xff, mark})
	c.out.Write(binary.BigEndian.AppendUint16(nil, uint16(len(body)+2)))
	c.out.Write(body)
}

const shortCodes = 200 // of the AC codes, in order of their symbols

func (c *coder) file() []byte {
	if c.ids == "" {
		c.ids = "\x01\x02\x03\x04"
	}
	c.out.Write([]byte{0xff, 0xd8})
	if c.adobe >= 0 {
		c.segment(app14Marker, append([]byte("Adobe\x00\x64\x00\x00\x00\x00"), byte(c.adobe))...)
	}
	for table := range byte(2) {
		quant := []byte{table}
		for range blockSize {
			quant = append(quant, byte(1+c.random.IntN(9)))
		}
		c.segment(dqtMarker, quant...)
	}
	dc := append([]byte{0x00}, 0, 0, 0, 12, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
	for i := range byte(12) {
		dc = append(dc, i)
	}
	ac := append([]byte{0x10}, 0, 0, 0, 0, 0, 0, 0, shortCodes, 0, 0, 0, 256-shortCodes, 0, 0, 0, 0)
	for i := range 256 {
		ac = append(ac, byte(i))
	}
	c.segment(dhtMarker, dc...)
	c.segment(dhtMarker, ac...)
	if c.restart > 0 {
		c.segment(driMarker, byte(c.restart>>8), byte(c.restart))
	}
	frame := []byte{8, byte(c.height >> 8), byte(c.height), byte(c.width >> 8), byte(c.width), byte(len(c.factors))}
	for i, f := range c.factors {
		frame = append(frame, c.ids[i], byte(f[0]<<4|f[1]), byte(min(i, 1)))
	}
	c.segment(sof0Marker, frame...)
	if c.separate {
		for i := range c.factors {
			c.scan(i)
		}
	} else {
		all := make([]int, len(c.factors))
		for i := range all {
			all[i] = i
		}
		c.scan(all...)
	}
	c.out.Write([]byte{0xff, eoiMarker})
	return c.out.Bytes()
}

func (c *coder) scan(components ...int) {
	header := []byte{byte(len(components))}
	for _, i := range components {
		header = append(header, c.ids[i], 0)
	}
	c.segment(sosMarker, append(header, 0, 63, 0)...)
	h, v := c.factors[0][0], c.factors[0][1]
	if len(c.factors) == 1 {
		h, v = 1, 1 // T.81, A.2.2
	}
	across, down := (c.width+8*h-1)/(8*h), (c.height+8*v-1)/(8*v)
	unit := func() {
		for _, i := range components {
			for range c.factors[i][0] * c.factors[i][1] {
				c.block()
			}
		}
	}
	if len(c.factors) == 1 {
		unit = c.block
	}
	if len(components) == 1 && len(c.factors) > 1 {
		// Not interleaved: the blocks that show anything, row by row. image/jpeg
		// counts them as if every component were as fine as the first.
		f := c.factors[components[0]]
		blocks := 0
		for y := range down * f[1] {
			for x := range across * f[0] {
				if x*8 < c.width && y*8 < c.height {
					blocks++
				}
			}
		}
		for range blocks {
			c.block()
		}
		c.flush()
		return
	}
	for n := range across * down {
		if c.restart > 0 && n > 0 && n%c.restart == 0 {
			c.flush()
			c.out.Write([]byte{0xff, rst0Marker + byte(n/c.restart-1)%8})
		}
		unit()
	}
	c.flush()
}

// block codes a few coefficients at random places (section F.1.2).
func (c *coder) block() {
	size := c.random.IntN(8)
	c.bits(uint64(size), 4)
	c.bits(c.random.Uint64()&(1<<size-1), size)
	zig := 1
	for range c.random.IntN(c.busy + 1) {
		if zig == blockSize {
			return
		}
		skip := c.random.IntN(6)
		if zig < 30 && c.random.IntN(20) == 0 {
			c.symbol(0xf0)
			zig += 16
		}
		if zig += skip; zig >= blockSize {
			c.symbol(skip<<4 | 1) // a run past the end, which ends the block
			return
		}
		size := 1 + c.random.IntN(7)
		if c.random.IntN(40) == 0 {
			size = 8 + c.random.IntN(8)
		}
		c.symbol(skip<<4 | size)
		c.bits(c.random.Uint64()&(1<<size-1), size)
		zig++
	}
	if zig < blockSize {
		c.symbol(0)
	}
}

func (c *coder) symbol(s int) {
	if s < shortCodes {
		c.bits(uint64(s), 8)
		return
	}
	c.bits(uint64(shortCodes<<4+s-shortCodes), 12)
}

func (c *coder) bits(v uint64, n int) {
	c.acc, c.have = c.acc<<n|v, c.have+n
	for c.have >= 8 {
		c.have -= 8
		b := byte(c.acc >> c.have)
		c.out.WriteByte(b)
		if b == 0xff {
			c.out.WriteByte(0)
		}
	}
}

// flush fills the last byte with ones (section F.1.2.3).
func (c *coder) flush() {
	if c.have > 0 {
		n := 8 - c.have
		c.bits(1<<n-1, n)
	}
}
