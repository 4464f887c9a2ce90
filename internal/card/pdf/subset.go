package pdf

import (
	"encoding/binary"
	"errors"
	"fmt"

	"example.org/opencowl/internal/card/typeset"
)

// errFont is for a font whose tables contradict one another.
var errFont = errors.New("the font file is damaged; take a fresh copy of it")

// glyphSource reads the outlines of a TrueType font (OpenType 1.9, glyf, loca, hmtx).
type glyphSource struct {
	glyf, loca, hmtx []byte
	longLoca         bool
	metrics          int // glyphs that have an advance of their own
	glyphs           int
}

func openGlyphs(f *typeset.Font) (glyphSource, error) {
	head, hhea, maxp := f.Table("head"), f.Table("hhea"), f.Table("maxp")
	s := glyphSource{glyf: f.Table("glyf"), loca: f.Table("loca"), hmtx: f.Table("hmtx")}
	if len(head) < 54 || len(hhea) < 36 || len(maxp) < 32 {
		return s, fmt.Errorf("%s: %w", f.Name(), errFont)
	}
	s.longLoca = binary.BigEndian.Uint16(head[50:]) == 1
	s.metrics = int(binary.BigEndian.Uint16(hhea[34:]))
	s.glyphs = int(binary.BigEndian.Uint16(maxp[4:]))
	entry := 2
	if s.longLoca {
		entry = 4
	}
	if len(s.loca) < (s.glyphs+1)*entry || s.metrics < 1 || s.metrics > s.glyphs || len(s.hmtx) < s.metrics*4+(s.glyphs-s.metrics)*2 {
		return s, fmt.Errorf("%s: %w", f.Name(), errFont)
	}
	return s, nil
}

// outline returns the bytes of one glyph; none for an empty one.
func (s glyphSource) outline(id uint16) ([]byte, error) {
	if int(id) >= s.glyphs {
		return nil, errFont
	}
	from, to := 0, 0
	if s.longLoca {
		from, to = int(binary.BigEndian.Uint32(s.loca[4*int(id):])), int(binary.BigEndian.Uint32(s.loca[4*int(id)+4:]))
	} else {
		from, to = 2*int(binary.BigEndian.Uint16(s.loca[2*int(id):])), 2*int(binary.BigEndian.Uint16(s.loca[2*int(id)+2:]))
	}
	if from > to || to > len(s.glyf) {
		return nil, errFont
	}
	return s.glyf[from:to], nil
}

// advance returns the advance and the left side bearing of one glyph, font units.
func (s glyphSource) advance(id uint16) (advance uint16, bearing int16) {
	i := int(id)
	if i < s.metrics {
		return binary.BigEndian.Uint16(s.hmtx[4*i:]), int16(binary.BigEndian.Uint16(s.hmtx[4*i+2:]))
	}
	last := 4 * (s.metrics - 1)
	return binary.BigEndian.Uint16(s.hmtx[last:]), int16(binary.BigEndian.Uint16(s.hmtx[4*s.metrics+2*(i-s.metrics):]))
}

// Flags of a component of a composite glyph (OpenType 1.9, glyf).
const (
	argsAreWords    = 0x0001
	hasScale        = 0x0008
	moreComponents  = 0x0020
	hasXYScale      = 0x0040
	hasTwoByTwo     = 0x0080
	hasInstructions = 0x0100
)

// subsetFont makes a font file with the given glyphs, in that order; the first
// must be glyph 0. Parts of composite glyphs are added behind them. Hinting is
// left out: it serves screens of few dots, and the cards are printed.
func subsetFont(f *typeset.Font, ids []uint16) ([]byte, error) {
	src, err := openGlyphs(f)
	if err != nil {
		return nil, err
	}
	all := append([]uint16(nil), ids...)
	part := map[uint16]uint16{} // old number of a part to its new one
	var glyf, loca, hmtx []byte
	for i := 0; i < len(all); i++ {
		loca = binary.BigEndian.AppendUint32(loca, uint32(len(glyf)))
		advance, bearing := src.advance(all[i])
		hmtx = binary.BigEndian.AppendUint16(hmtx, advance)
		hmtx = binary.BigEndian.AppendUint16(hmtx, uint16(bearing))
		data, err := src.outline(all[i])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.Name(), err)
		}
		plain, err := unhint(data, func(old uint16) uint16 {
			if n, ok := part[old]; ok {
				return n
			}
			part[old] = uint16(len(all))
			all = append(all, old)
			return part[old]
		})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.Name(), err)
		}
		glyf = append(glyf, plain...)
		glyf = append(glyf, make([]byte, -len(glyf)&3)...)
	}
	loca = binary.BigEndian.AppendUint32(loca, uint32(len(glyf)))

	head := append([]byte(nil), f.Table("head")[:54]...)
	binary.BigEndian.PutUint32(head[8:], 0)
	binary.BigEndian.PutUint16(head[50:], 1)
	hhea := append([]byte(nil), f.Table("hhea")[:36]...)
	binary.BigEndian.PutUint16(hhea[34:], uint16(len(all)))
	maxp := append([]byte(nil), f.Table("maxp")[:32]...)
	binary.BigEndian.PutUint16(maxp[4:], uint16(len(all)))
	for at := 16; at <= 26; at += 2 { // the sizes of hinting programs
		binary.BigEndian.PutUint16(maxp[at:], 0)
	}
	return sfnt([]table{
		{"glyf", glyf}, {"head", head}, {"hhea", hhea}, {"hmtx", hmtx}, {"loca", loca}, {"maxp", maxp},
	}), nil
}

// unhint returns a glyph without its hinting program and with the parts of a
// composite renumbered.
func unhint(data []byte, renumber func(uint16) uint16) ([]byte, error) {
	if len(data) == 0 {
		return nil, nil
	}
	if len(data) < 12 {
		return nil, errFont
	}
	contours := int(int16(binary.BigEndian.Uint16(data)))
	if contours < 0 {
		return renumberParts(data, renumber)
	}
	at := 10 + 2*contours
	if at+2 > len(data) {
		return nil, errFont
	}
	rest := at + 2 + int(binary.BigEndian.Uint16(data[at:]))
	if rest > len(data) {
		return nil, errFont
	}
	out := append([]byte(nil), data[:at]...)
	out = append(out, 0, 0)
	return append(out, data[rest:]...), nil
}

func renumberParts(data []byte, renumber func(uint16) uint16) ([]byte, error) {
	out := append([]byte(nil), data...)
	for at := 10; ; {
		if at+4 > len(out) {
			return nil, errFont
		}
		flags := binary.BigEndian.Uint16(out[at:])
		binary.BigEndian.PutUint16(out[at:], flags&^hasInstructions)
		binary.BigEndian.PutUint16(out[at+2:], renumber(binary.BigEndian.Uint16(out[at+2:])))
		at += 4 + 2
		if flags&argsAreWords != 0 {
			at += 2
		}
		switch {
		case flags&hasScale != 0:
			at += 2
		case flags&hasXYScale != 0:
			at += 4
		case flags&hasTwoByTwo != 0:
			at += 8
		}
		if at > len(out) {
			return nil, errFont
		}
		if flags&moreComponents == 0 {
			return out[:at], nil
		}
	}
}

type table struct {
	tag  string
	data []byte
}

// sfnt puts tables, sorted by tag, into a font file (OpenType 1.9, "Organization
// of an OpenType font").
func sfnt(tables []table) []byte {
	n := len(tables)
	search, selector := 1, 0
	for search*2 <= n {
		search, selector = search*2, selector+1
	}
	out := binary.BigEndian.AppendUint32(nil, 0x00010000)
	for _, v := range []int{n, search * 16, selector, (n - search) * 16} {
		out = binary.BigEndian.AppendUint16(out, uint16(v))
	}
	at, headAt := 12+16*n, 0
	for _, t := range tables {
		if t.tag == "head" {
			headAt = at
		}
		out = append(out, t.tag...)
		for _, v := range []uint32{checksum(t.data), uint32(at), uint32(len(t.data))} {
			out = binary.BigEndian.AppendUint32(out, v)
		}
		at += (len(t.data) + 3) &^ 3
	}
	for _, t := range tables {
		out = append(out, t.data...)
		out = append(out, make([]byte, -len(t.data)&3)...)
	}
	binary.BigEndian.PutUint32(out[headAt+8:], 0xB1B0AFBA-checksum(out))
	return out
}

func checksum(data []byte) uint32 {
	var sum uint32
	for ; len(data) >= 4; data = data[4:] {
		sum += binary.BigEndian.Uint32(data)
	}
	var tail [4]byte
	copy(tail[:], data)
	return sum + binary.BigEndian.Uint32(tail[:])
}
