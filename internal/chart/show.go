package chart

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"html"
	"image"
	"image/color"
	"image/png"
	"strconv"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/paint"
)

// perInch makes two pixels of each point, for screens of twice the density.
const perInch = 144

// PNG paints the chart, two pixels to a point. What it shows stands in it as text
// too, so that the last gate reads what readers see.
func (d Drawing) PNG() ([]byte, error) {
	picture, err := paint.Page(draw.Page{Width: d.Width, Height: d.Height, Items: d.Items}, perInch)
	if err != nil {
		return nil, fmt.Errorf("chart: %w", err)
	}
	var out bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, inPalette(picture)); err != nil {
		return nil, fmt.Errorf("chart: %w", err)
	}
	return withText(out.Bytes(), "Description", strings.Join(append(d.Labels(), d.Alt), "\n")), nil
}

// shades are how many steps lie between an ink and its ground, at the edges of lines
// and letters.
const shades = 16

// inPalette brings a picture to at most 256 colours, each the nearest of those that a
// chart is drawn in and their shades: a quarter of the bytes.
func inPalette(picture *image.RGBA) *image.Paletted {
	palette := color.Palette{rgba(paper), rgba(fanFill)}
	for _, ground := range []draw.Colour{paper, fanFill} {
		for _, over := range []draw.Colour{ink, soft, sea, warm, faint} {
			for k := 1; k <= shades; k++ {
				mix := func(a, b uint8) uint8 { return uint8((int(a)*(shades-k) + int(b)*k + shades/2) / shades) }
				palette = append(palette, color.RGBA{R: mix(ground.R, over.R), G: mix(ground.G, over.G), B: mix(ground.B, over.B), A: 0xff})
			}
		}
	}
	out := image.NewPaletted(picture.Bounds(), palette)
	nearest := map[color.RGBA]uint8{}
	for y := range picture.Bounds().Dy() {
		for x := range picture.Bounds().Dx() {
			c := picture.RGBAAt(x, y)
			i, known := nearest[c]
			if !known {
				i = uint8(palette.Index(c))
				nearest[c] = i
			}
			out.SetColorIndex(x, y, i)
		}
	}
	return out
}

// withText puts an international text into a PNG, before its end (W3C PNG, third
// edition, 11.3.3.4).
func withText(data []byte, keyword, words string) []byte {
	body := "iTXt" + keyword + "\x00\x00\x00\x00\x00" + words
	chunk := binary.BigEndian.AppendUint32(nil, uint32(len(body)-4))
	chunk = append(chunk, body...)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE([]byte(body)))
	end := len(data) - 12 // IEND
	return append(append(append([]byte{}, data[:end]...), chunk...), data[end:]...)
}

// Labels are the words that stand in the drawing, in the order of painting.
func (d Drawing) Labels() []string {
	var all []string
	for _, it := range d.Items {
		if t, ok := it.Shape.(draw.Text); ok {
			all = append(all, said(t))
		}
	}
	return all
}

func said(t draw.Text) string {
	var b strings.Builder
	for _, g := range t.Glyphs {
		b.WriteString(g.Text)
	}
	return strings.TrimSpace(b.String())
}

// SVG writes the chart to stand in a page of HTML: words as words, in the page's own
// font, as wide as they were set whatever font that is; its title and what it shows
// for those who cannot see it; no script, no style sheet, nothing from elsewhere. It
// brings its light ground along. The ids in it begin with a prefix.
func (d Drawing) SVG(prefix string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-title %s-desc">`, svgLength(d.Width), svgLength(d.Height), prefix, prefix)
	fmt.Fprintf(&b, "\n<title id=\"%s-title\">%s</title>\n<desc id=\"%s-desc\">%s</desc>\n", prefix, html.EscapeString(d.Title), prefix, html.EscapeString(d.Alt))
	fmt.Fprintf(&b, "<path fill=\"%s\" d=\"M0 0H%sV%sH0Z\"/>\n", svgColour(paper), svgLength(d.Width), svgLength(d.Height))
	for _, it := range d.Items {
		switch shape := it.Shape.(type) {
		case draw.Path:
			fmt.Fprintf(&b, "<path fill=\"%s\" d=\"%s\"/>\n", svgColour(shape.Fill), svgSteps(shape))
		case draw.Text:
			weight := 400
			if strings.Contains(shape.Font.Name(), "Semibold") {
				weight = 600
			}
			fmt.Fprintf(&b, "<text x=\"%s\" y=\"%s\" textLength=\"%s\" lengthAdjust=\"spacingAndGlyphs\" font-size=\"%s\" font-weight=\"%d\" fill=\"%s\">%s</text>\n",
				svgLength(shape.X), svgLength(shape.Y), svgLength(it.Box.W), svgLength(shape.Size), weight, svgColour(shape.Colour), html.EscapeString(said(shape)))
		}
	}
	b.WriteString("</svg>")
	return b.String()
}

func svgColour(c draw.Colour) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// svgLength writes a length in points, to a hundredth.
func svgLength(p Points) string {
	s := strconv.FormatFloat(float64(p)/1000, 'f', 2, 64)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

func svgSteps(p draw.Path) string {
	var b strings.Builder
	for _, s := range p.Steps {
		switch s.Op {
		case draw.Close:
			b.WriteString("Z")
		default: // a chart has no curves: its canvas lays them out in short pieces
			b.WriteString(map[draw.Op]string{draw.Move: "M", draw.Line: "L"}[s.Op])
			b.WriteString(svgLength(s.To[0].X+p.At.X) + " " + svgLength(s.To[0].Y+p.At.Y))
		}
	}
	return b.String()
}
