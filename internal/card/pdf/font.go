package pdf

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strings"

	"example.org/opencowl/internal/card/typeset"
)

// glyphKey is a shape together with what it stands for: the same shape may
// stand for two things (a space and a no-break space), and each has its own
// number in the file so that text comes out as it went in.
type glyphKey struct {
	id   uint16
	text string
}

// fontUse gathers the glyphs of one font that a document uses.
type fontUse struct {
	number  int
	font    *typeset.Font
	source  glyphSource
	numbers map[glyphKey]uint16
	keys    []glyphKey // by number; the first is .notdef
	shown   []shown    // by glyph of the font: as it was shown last
}

// shown is a glyph as a page shows it.
type shown struct {
	text   string
	number uint16 // in the subset; 0 is none
	width  int64  // thousandths of an em
}

// use returns what is known of a font so far.
func (b *builder) use(f *typeset.Font) (*fontUse, error) {
	if u, ok := b.fonts[f]; ok {
		return u, nil
	}
	source, err := openGlyphs(f)
	if err != nil {
		return nil, err
	}
	u := &fontUse{
		number: len(b.fontList) + 1, font: f, source: source,
		numbers: map[glyphKey]uint16{}, keys: []glyphKey{{}}, shown: make([]shown, source.glyphs),
	}
	b.fonts[f] = u
	b.fontList = append(b.fontList, u)
	return u, nil
}

// glyph returns a glyph as it stands in the subset. Nearly all glyphs stand for the
// same text whenever they are shown, so that the last time is remembered.
func (u *fontUse) glyph(id uint16, text string) shown {
	if last := u.shown[id]; last.number > 0 && last.text == text {
		return last
	}
	key := glyphKey{id, plainSpaces(text)}
	n, ok := u.numbers[key]
	if !ok {
		n = uint16(len(u.keys))
		u.numbers[key] = n
		u.keys = append(u.keys, key)
	}
	u.shown[id] = shown{text, n, u.width(id)}
	return u.shown[id]
}

// plainSpaces lets a search for "16 SWG" find text that was set with a
// no-break space.
func plainSpaces(s string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case '\u00a0', '\u202f', '\u2007':
			return ' '
		}
		return r
	}, s)
}

// thousandths turns font units into thousandths of an em, as PDF counts widths.
func (u *fontUse) thousandths(units int64) int64 {
	em := u.font.UnitsPerEm()
	n := units*1000*2 + em
	if n < 0 {
		return -((-n + 2*em - 1) / (2 * em))
	}
	return n / (2 * em)
}

// width is the advance that the file states for a glyph, thousandths of an em.
func (u *fontUse) width(id uint16) int64 {
	advance, _ := u.source.advance(id)
	return u.thousandths(int64(advance))
}

// write adds the font with its subset to the file and returns its number
// (ISO 32000-1, 9.7: a composite font with two-byte codes).
func (u *fontUse) write(f *file) (ref, error) {
	ids := make([]uint16, len(u.keys))
	var widths strings.Builder
	for i, k := range u.keys {
		ids[i] = k.id
		fmt.Fprintf(&widths, "%d ", u.width(k.id))
	}
	program, err := subsetFont(u.font, ids)
	if err != nil {
		return 0, err
	}
	name := subsetTag(program) + "+" + u.font.Name()
	embedded := f.deflated(fmt.Sprintf("/Length1 %d", len(program)), program)
	unicode := f.deflated("", u.toUnicode())
	descriptor := f.add(u.descriptor(name, embedded))
	descendant := f.add(fmt.Sprintf("<</Type/Font/Subtype/CIDFontType2/BaseFont/%s/CIDSystemInfo<</Registry(Adobe)/Ordering(Identity)/Supplement 0>>/FontDescriptor %v/CIDToGIDMap/Identity/DW 0/W[0[%s]]>>",
		name, descriptor, strings.TrimSpace(widths.String())))
	return f.add(fmt.Sprintf("<</Type/Font/Subtype/Type0/BaseFont/%s/Encoding/Identity-H/DescendantFonts[%v]/ToUnicode %v>>",
		name, descendant, unicode)), nil
}

func (u *fontUse) descriptor(name string, embedded ref) string {
	head, hhea := u.font.Table("head"), u.font.Table("hhea")
	signed := func(table []byte, at int) int64 {
		return u.thousandths(int64(int16(binary.BigEndian.Uint16(table[at:]))))
	}
	// Flag 4 (symbolic) is right for a font addressed by glyph number. The width
	// of stems is not in the file; readers use it only to imitate a missing font.
	return fmt.Sprintf("<</Type/FontDescriptor/FontName/%s/Flags 4/FontBBox[%d %d %d %d]/ItalicAngle 0/Ascent %d/Descent %d/CapHeight %d/StemV 80/FontFile2 %v>>",
		name, signed(head, 36), signed(head, 38), signed(head, 40), signed(head, 42),
		signed(hhea, 4), signed(hhea, 6), u.thousandths(u.font.CapHeight()), embedded)
}

// toUnicode maps every glyph to the whole text of its cluster, so that a
// ligature is found as the letters it was made from.
func (u *fontUse) toUnicode() []byte {
	var b strings.Builder
	b.WriteString("/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n" +
		"/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n" +
		"/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n" +
		"1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n")
	const most = 100 // entries in one block
	for from := 1; from < len(u.keys); from += most {
		to := min(from+most, len(u.keys))
		fmt.Fprintf(&b, "%d beginbfchar\n", to-from)
		for n := from; n < to; n++ {
			text := u.keys[n].text
			if text == "" {
				// A further glyph of a cluster, whose text is stated where it is shown.
				text = "\u200b"
			}
			fmt.Fprintf(&b, "<%04X> <%s>\n", n, utf16Hex(text))
		}
		b.WriteString("endbfchar\n")
	}
	b.WriteString("endcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n")
	return []byte(b.String())
}

// subsetTag makes the six capitals that mark a subset (ISO 32000-1, 9.6.4).
func subsetTag(program []byte) string {
	sum := sha256.Sum256(program)
	tag := make([]byte, 6)
	for i := range tag {
		tag[i] = 'A' + sum[i]%26
	}
	return string(tag)
}
