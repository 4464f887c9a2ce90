// Package typeset turns plain text into lines of placed glyphs.
//
// Text is shaped by a real shaper (kerning, ligatures, marks) and broken into
// lines by looking at the whole paragraph at once, so that the rag on the right
// is even. It promises that the same text in the same font gives the same lines
// on every machine: all lengths are whole numbers. A character that the font
// lacks is an error that names it.
//
// It must not know what a card is, nor how a page is written to a file.
package typeset

import (
	"bytes"
	"fmt"
	"math"
	"sync"
	"unicode"

	"github.com/go-text/typesetting/di"
	"github.com/go-text/typesetting/font"
	ot "github.com/go-text/typesetting/font/opentype"
	"github.com/go-text/typesetting/language"
	"github.com/go-text/typesetting/shaping"
	"golang.org/x/image/math/fixed"
)

// Font is a TrueType font that can shape text. It remembers the texts it has
// shaped; several goroutines may use it at once.
type Font struct {
	name   string
	face   *font.Face
	loader *ot.Loader

	// What has been shaped, by text.
	texts sync.Map // []piece
	words sync.Map // word

	guard  sync.Mutex // over the shaper
	shaper shaping.HarfbuzzShaper
}

// Glyph is one shape of a font, with distances in font units.
type Glyph struct {
	ID      uint16
	Advance int32 // to the next glyph, kerning included
	X, Y    int32 // how far the shape is moved from its place, y upwards
	// Text is what the glyph stands for. In a cluster of several glyphs the
	// first carries the whole text and the rest have none.
	Text string
}

// word is a run of text shaped on its own.
type word struct {
	glyphs      []Glyph
	width       int64 // font units
	top, bottom int32 // extent of the ink about the baseline, font units, y upwards
}

// MissingGlyph is the error for a character that a font does not have.
type MissingGlyph struct {
	Rune rune
	Font string
}

func (e MissingGlyph) Error() string {
	return fmt.Sprintf("the font %s has no shape for %q (U+%04X); choose another character, or name a font that has it in the card face",
		e.Font, e.Rune, e.Rune)
}

// ParseFont reads a TrueType font with glyf outlines. The name is used in
// messages and, with a tag in front of it, in files.
func ParseFont(name string, data []byte) (*Font, error) {
	loader, err := ot.NewLoader(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("%s is not a font that can be read: %w", name, err)
	}
	if !loader.HasTable(ot.MustNewTag("glyf")) || loader.HasTable(ot.MustNewTag("fvar")) {
		return nil, fmt.Errorf("%s is not a static TrueType font; use a .ttf file with one weight", name)
	}
	f, err := font.NewFont(loader)
	if err != nil {
		return nil, fmt.Errorf("%s is not a font that can be read: %w", name, err)
	}
	return &Font{name: name, face: font.NewFace(f), loader: loader}, nil
}

// Name returns the font's name.
func (f *Font) Name() string { return f.name }

// UnitsPerEm returns how many font units one em has.
func (f *Font) UnitsPerEm() int64 { return int64(f.face.Upem()) }

// Table returns the bytes of one table of the font file; none when it has no such table.
func (f *Font) Table(tag string) []byte {
	data, err := f.loader.RawTable(ot.MustNewTag(tag))
	if err != nil {
		return nil
	}
	return data
}

// CapHeight returns the height of capitals in font units.
func (f *Font) CapHeight() int64 {
	return int64(math.Round(float64(f.face.LineMetric(font.CapHeight))))
}

// shape returns the glyphs of a run of text that will not be broken.
func (f *Font) shape(s string) (word, error) {
	if w, ok := f.words.Load(s); ok {
		return w.(word), nil
	}
	f.guard.Lock()
	defer f.guard.Unlock()
	var w word
	runes := []rune(s)
	for start := 0; start < len(runes); {
		end, script := scriptRun(runes, start)
		if err := f.shapeRun(&w, runes, start, end, script); err != nil {
			return word{}, err
		}
		start = end
	}
	f.words.Store(s, w)
	return w, nil
}

func (f *Font) shapeRun(w *word, runes []rune, start, end int, script language.Script) error {
	out := f.shaper.Shape(shaping.Input{
		Text: runes, RunStart: start, RunEnd: end,
		Direction: di.DirectionLTR, Face: f.face, Script: script,
		// At one unit an em the shaper's answers are font units.
		Size: fixed.I(int(f.face.Upem())),
	})
	seen := -1
	for _, g := range out.Glyphs {
		text := ""
		if at := g.TextIndex(); at != seen {
			seen = at
			text = string(runes[at : at+g.RunesCount()])
		}
		if g.GlyphID == 0 {
			return MissingGlyph{Rune: runes[g.TextIndex()], Font: f.name}
		}
		w.glyphs = append(w.glyphs, Glyph{
			ID: uint16(g.GlyphID), Advance: units(g.Advance), X: units(g.XOffset), Y: units(g.YOffset), Text: text,
		})
		w.width += int64(units(g.Advance))
		if g.Height != 0 {
			w.top = max(w.top, units(g.YOffset+g.YBearing))
			w.bottom = min(w.bottom, units(g.YOffset+g.YBearing+g.Height))
		}
	}
	return nil
}

// units rounds a shaper's length to whole font units.
func units(x fixed.Int26_6) int32 { return int32(x.Round()) }

// scriptRun finds the end of the run that begins at start and is in one script.
// Marks, digits and punctuation belong to whatever script is about them.
func scriptRun(runes []rune, start int) (int, language.Script) {
	script := language.Common
	end := start
	for ; end < len(runes); end++ {
		s := language.LookupScript(runes[end])
		if s == language.Common || s == language.Inherited || unicode.IsMark(runes[end]) {
			continue
		}
		if script == language.Common {
			script = s
		} else if s != script {
			break
		}
	}
	if script == language.Common {
		script = language.Latin
	}
	return end, script
}

// Pen draws an outline. Lengths are font units, y upwards.
type Pen interface {
	MoveTo(x, y float32)
	LineTo(x, y float32)
	QuadTo(ax, ay, bx, by float32) // a control, then the end
	Close()
}

// Outline draws the shape of a glyph, which is made of straight lines and
// quadratic curves in a TrueType font.
func (f *Font) Outline(id uint16, pen Pen) error {
	outline, ok := f.face.GlyphData(font.GID(id)).(font.GlyphOutline)
	if !ok {
		return fmt.Errorf("glyph %d of %s has no outline", id, f.name)
	}
	for _, s := range outline.Segments {
		switch a := s.Args; s.Op {
		case ot.SegmentOpMoveTo:
			pen.MoveTo(a[0].X, a[0].Y)
		case ot.SegmentOpLineTo:
			pen.LineTo(a[0].X, a[0].Y)
		case ot.SegmentOpQuadTo:
			pen.QuadTo(a[0].X, a[0].Y, a[1].X, a[1].Y)
		case ot.SegmentOpCubeTo:
			return fmt.Errorf("glyph %d of %s has curves that no TrueType font has", id, f.name)
		}
	}
	pen.Close()
	return nil
}
