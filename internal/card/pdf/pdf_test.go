package pdf

import (
	"bytes"
	"errors"
	"image"
	"image/jpeg"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/go-text/typesetting/font"
	ot "github.com/go-text/typesetting/font/opentype"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

func sans(t testing.TB) (*typeset.Font, *font.Font) {
	t.Helper()
	data, err := os.ReadFile("../../../themes/fonts/SourceSans3-Regular.ttf")
	if err != nil {
		t.Fatal(err)
	}
	f, err := typeset.ParseFont("SourceSans3-Regular", data)
	if err != nil {
		t.Fatal(err)
	}
	face, err := font.ParseTTF(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return f, face.Font
}

// addCmap gives a subset the one table that the reader used in this test wants
// and a PDF does not: an empty map from characters (OpenType 1.9, cmap format 4).
func addCmap(t *testing.T, subset []byte) []byte {
	t.Helper()
	ld, err := ot.NewLoader(bytes.NewReader(subset))
	if err != nil {
		t.Fatal(err)
	}
	cmap := []byte{0, 0, 0, 1, 0, 3, 0, 1, 0, 0, 0, 12, 0, 4, 0, 24, 0, 0, 0, 2, 0, 2, 0, 0, 0, 0, 0xff, 0xff, 0, 0, 0xff, 0xff, 0, 1, 0, 0}
	tables := []table{{"cmap", cmap}}
	for _, tag := range []string{"glyf", "head", "hhea", "hmtx", "loca", "maxp"} {
		raw, err := ld.RawTable(ot.MustNewTag(tag))
		if err != nil {
			t.Fatal(err)
		}
		tables = append(tables, table{tag, raw})
	}
	return sfnt(tables)
}

// Every glyph of the font, plain or composite, must look the same in a subset
// and be as wide.
func TestSubsetKeepsEveryOutline(t *testing.T) {
	f, whole := sans(t)
	full := font.NewFace(whole)
	source, err := openGlyphs(f)
	if err != nil {
		t.Fatal(err)
	}
	// Backwards, so that no glyph keeps its number by chance.
	ids := []uint16{0}
	for id := source.glyphs - 1; id > 0; id-- {
		ids = append(ids, uint16(id))
	}
	subset, err := subsetFont(f, ids)
	if err != nil {
		t.Fatal(err)
	}
	if len(subset) >= len(f.Table("glyf")) {
		t.Errorf("the font without hinting has %d bytes, its outlines alone had %d", len(subset), len(f.Table("glyf")))
	}
	face, err := font.ParseTTF(bytes.NewReader(addCmap(t, subset)))
	if err != nil {
		t.Fatal(err)
	}
	composites := 0
	for n, id := range ids {
		got, want := face.GlyphData(font.GID(n)), full.GlyphData(font.GID(id))
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("glyph %d, number %d in the subset, has another outline", id, n)
		}
		if got, want := face.HorizontalAdvance(font.GID(n)), full.HorizontalAdvance(font.GID(id)); got != want {
			t.Errorf("glyph %d is %v wide in the subset; want %v", id, got, want)
		}
		if data, err := source.outline(id); err == nil && len(data) > 0 && data[0] == 0xff {
			composites++
		}
	}
	if composites < 100 {
		t.Errorf("%d composite glyphs were seen; the font has many", composites)
	}
}

// The checksum of a whole font file is a constant (OpenType 1.9, head).
func TestSubsetChecksums(t *testing.T) {
	f, _ := sans(t)
	subset, err := subsetFont(f, []uint16{0, 40, 41})
	if err != nil {
		t.Fatal(err)
	}
	if sum := checksum(subset); sum != 0xB1B0AFBA {
		t.Errorf("the file sums to %#x; want 0xB1B0AFBA", sum)
	}
}

func TestDamagedFontsAreRefused(t *testing.T) {
	for name, data := range map[string][]byte{
		"cut glyph":       {0, 1, 0, 0, 0},
		"cut endpoints":   {0, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1},
		"long program":    {0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 99},
		"cut composite":   {0xff, 0xff, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x21},
		"endless of them": {0xff, 0xff, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x20, 0, 1, 0, 0},
	} {
		if _, err := unhint(data, func(n uint16) uint16 { return n }); !errors.Is(err, errFont) {
			t.Errorf("%s: %v; want errFont", name, err)
		}
	}
}

// page is a document of one page with what is given on it.
func page(root *draw.Node, items ...draw.Item) draw.Document {
	return draw.Document{Title: "A card", Language: "en-GB", Root: root, Pages: []draw.Page{{Width: 300 * typeset.Point, Height: 400 * typeset.Point, Items: items}}}
}

func jpegOf(t *testing.T, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// fourColours is the head of a JPEG with four components (ITU-T T.81, B.2.2).
func fourColours() []byte {
	return []byte{0xff, 0xd8, 0xff, 0xc0, 0, 20, 8, 0, 1, 0, 1, 4, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0, 4, 0x11, 0, 0xff, 0xda, 0, 2}
}

// A file that would break the rules for tagged files is not written.
func TestUntaggedContentIsRefused(t *testing.T) {
	box := draw.Rect{W: typeset.Point, H: typeset.Point}
	rectangle := func(n *draw.Node) draw.Item {
		return draw.Item{Box: box, Node: n, Shape: draw.Rectangle(box, draw.Colour{})}
	}
	paragraph := func() *draw.Node { return &draw.Node{Role: draw.RoleParagraph} }
	stray, empty, blind, shouting := paragraph(), paragraph(), &draw.Node{Role: draw.RoleFigure}, &draw.Node{Role: draw.RoleParagraph, Language: "en) /X"}
	gray := jpegOf(t, image.NewGray(image.Rect(0, 0, 3, 2)))
	good := &draw.Node{Role: draw.RoleFigure, Alt: "A part."}
	for _, c := range []struct {
		name string
		doc  draw.Document
		want string // "" if it is fine
	}{
		{"all in order", page(&draw.Node{Role: draw.RoleDocument, Kids: []*draw.Node{good}}, draw.Item{Box: box, Node: good, Shape: draw.Picture{Name: "g", JPEG: gray}}), ""},
		{"outside the structure", page(&draw.Node{Role: draw.RoleDocument}, rectangle(stray)), "not in the structure"},
		{"empty element", page(&draw.Node{Role: draw.RoleDocument, Kids: []*draw.Node{empty}}), "no content"},
		{"figure without words", page(&draw.Node{Role: draw.RoleDocument, Kids: []*draw.Node{blind}}, rectangle(blind)), "alt text"},
		{"language that is none", page(&draw.Node{Role: draw.RoleDocument, Kids: []*draw.Node{shouting}}, rectangle(shouting)), "language tag"},
		{"no title", draw.Document{Language: "en"}, "title"},
		{"no language", draw.Document{Title: "A card"}, "language"},
		{"printer's colours", page(&draw.Node{Role: draw.RoleDocument}, draw.Item{Box: box, Shape: draw.Picture{Name: "x", JPEG: fourColours()}}), "sRGB"},
		{"no JPEG", page(&draw.Node{Role: draw.RoleDocument}, draw.Item{Box: box, Shape: draw.Picture{Name: "x", JPEG: []byte("PNG")}}), "not a JPEG"},
	} {
		err := Write(&bytes.Buffer{}, c.doc)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: Write = %v; want an error that says %q", c.name, err, c.want)
		}
	}
}

// A space and a no-break space may be one shape; both come out as what a reader
// would type. A ligature comes out as its letters.
func TestGlyphsAreNumberedByWhatTheyStandFor(t *testing.T) {
	f, _ := sans(t)
	b := &builder{fonts: map[*typeset.Font]*fontUse{}}
	u, err := b.use(f)
	if err != nil {
		t.Fatal(err)
	}
	number := func(id uint16, text string) uint16 { return u.glyph(id, text).number }
	space, noBreak := number(3, " "), number(3, "\u00a0")
	letter, ligature := number(40, "f"), number(40, "ff")
	if space != noBreak || letter == ligature || space == letter {
		t.Errorf("numbers %d %d %d %d; want the spaces alike and the rest apart", space, noBreak, letter, ligature)
	}
	cmap := string(u.toUnicode())
	for _, row := range []string{"<0001> <0020>\n", "<0002> <0066>\n", "<0003> <00660066>\n"} {
		if !strings.Contains(cmap, row) {
			t.Errorf("the map to Unicode lacks %q:\n%s", row, cmap)
		}
	}
}
