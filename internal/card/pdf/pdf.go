// Package pdf writes a drawn document as a tagged PDF 1.7 file (ISO 32000-1).
//
// It promises that the same document is the same bytes; that every font is
// embedded with just the glyphs in use and gives back whole words when text is
// copied or searched; and that the file holds the rules of PDF/UA-1 (ISO
// 14289-1) that a machine can check: title and language stated, all content
// either in the structure or marked as decoration, a text alternative for every
// figure, headings that skip no level.
//
// It must not know what a card is.
package pdf

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/color"
	"image/jpeg"
	"io"
	"strings"
	"unicode/utf16"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// Write writes a document.
func Write(w io.Writer, d draw.Document) error {
	b := &builder{file: newFile(), pictures: map[string]int{}, fonts: map[*typeset.Font]*fontUse{}}
	defer b.close()
	return b.write(w, d)
}

type builder struct {
	*file
	fonts    map[*typeset.Font]*fontUse
	fontList []*fontUse     // in order of first use
	pictures map[string]int // by name; the place in images, from 1
	images   []ref          // in order of first use
	tags     *tags
}

func (b *builder) write(w io.Writer, d draw.Document) error {
	if d.Title == "" || !plainTag(d.Language) {
		return errors.New("a document needs a title and a language, such as en-GB, before it can be written as PDF")
	}
	catalog, pages, info := b.reserve(), b.reserve(), b.reserve()
	b.tags = newTags(b.file, d.Root)
	resources := b.reserve()
	var kids []string
	var own []ref
	var contents []*stream
	for i, p := range d.Pages {
		page := b.reserve()
		content, err := b.content(i, p, page)
		if err != nil {
			return fmt.Errorf("page %d: %w", i+1, err)
		}
		own, contents, kids = append(own, page), append(contents, b.deflating("", content)), append(kids, page.String())
	}
	streams := make([]ref, len(contents))
	for i, content := range contents {
		streams[i] = b.put(content)
	}
	for i, p := range d.Pages {
		b.set(own[i], fmt.Sprintf("<</Type/Page/Parent %v/MediaBox[0 0 %v %v]/Resources %v/Contents %v/StructParents %d/Tabs/S>>",
			pages, p.Width, p.Height, resources, streams[i], i))
	}
	if err := b.setResources(resources); err != nil {
		return err
	}
	tree, err := b.tags.write(d)
	if err != nil {
		return err
	}
	metadata := b.stream("/Type/Metadata/Subtype/XML", packet(d.Title, d.Language))
	b.set(info, "<</Title "+textString(d.Title)+">>")
	b.set(pages, fmt.Sprintf("<</Type/Pages/Count %d/Kids[%s]>>", len(kids), strings.Join(kids, " ")))
	b.set(catalog, fmt.Sprintf("<</Type/Catalog/Pages %v/Lang(%s)/MarkInfo<</Marked true>>/ViewerPreferences<</DisplayDocTitle true%s>>/StructTreeRoot %v/Metadata %v>>",
		pages, d.Language, printing(d.Print), tree, metadata))
	return b.writeTo(w, catalog, info)
}

// printing writes what the dialogue of a printer begins with (ISO 32000-1, 12.2).
func printing(p draw.Print) string {
	s := ""
	if p.ActualSize {
		s += "/PrintScaling/None"
	}
	if p.Sides != "" {
		s += "/Duplex/" + string(p.Sides)
	}
	return s
}

// content returns the drawing operators of a page.
func (b *builder) content(number int, p draw.Page, page ref) ([]byte, error) {
	const usual = 12 << 10 // bytes of a page
	c := content{builder: b, out: make([]byte, 0, usual), page: page, number: number, width: p.Width, height: p.Height, turned: p.Turned}
	if p.Turned {
		c.out = fmt.Appendf(c.out, "-1 0 0 -1 %v %v cm\n", p.Width, p.Height)
	}
	for _, it := range p.Items {
		if err := c.item(it); err != nil {
			return nil, err
		}
	}
	c.endMarked()
	return c.out, nil
}

// setResources writes the one list of fonts and pictures that all pages share.
func (b *builder) setResources(r ref) error {
	var fonts, pictures strings.Builder
	for i, u := range b.fontList {
		font, err := u.write(b.file)
		if err != nil {
			return err
		}
		fmt.Fprintf(&fonts, "/F%d %v", i+1, font)
	}
	for i, image := range b.images {
		fmt.Fprintf(&pictures, "/P%d %v", i+1, image)
	}
	b.set(r, "<</Font<<"+fonts.String()+">>/XObject<<"+pictures.String()+">>>>")
	return nil
}

// picture embeds a JPEG as it is, once.
func (b *builder) picture(p draw.Picture) (int, error) {
	if n, ok := b.pictures[p.Name]; ok {
		return n, nil
	}
	config, err := jpeg.DecodeConfig(bytes.NewReader(p.JPEG))
	if err != nil {
		return 0, fmt.Errorf("picture %s is not a JPEG that can be read: %w", p.Name, err)
	}
	space := "/DeviceRGB"
	switch config.ColorModel {
	case color.GrayModel:
		space = "/DeviceGray"
	case color.CMYKModel:
		return 0, fmt.Errorf("picture %s has printer's colours (CMYK); save it as an sRGB JPEG", p.Name)
	}
	r := b.stream(fmt.Sprintf("/Type/XObject/Subtype/Image/Width %d/Height %d/ColorSpace%s/BitsPerComponent 8/Filter/DCTDecode",
		config.Width, config.Height, space), p.JPEG)
	b.images = append(b.images, r)
	b.pictures[p.Name] = len(b.images)
	return len(b.images), nil
}

// textString writes text as a UTF-16 hexadecimal string (ISO 32000-1, 7.9.2.2).
func textString(s string) string { return "<FEFF" + utf16Hex(s) + ">" }

func utf16Hex(s string) string {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = appendHex(b, u)
	}
	return string(b)
}

// appendHex appends four hexadecimal digits.
func appendHex(b []byte, v uint16) []byte {
	const digits = "0123456789ABCDEF"
	return append(b, digits[v>>12], digits[v>>8&15], digits[v>>4&15], digits[v&15])
}

// packet writes the XMP metadata (ISO 16684-1) that PDF/UA-1 asks for.
func packet(title, language string) []byte {
	esc := func(s string) string {
		var b strings.Builder
		if err := xml.EscapeText(&b, []byte(s)); err != nil {
			return ""
		}
		return b.String()
	}
	return []byte(`<?xpacket begin="` + "\ufeff" + `" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">` + esc(title) + `</rdf:li></rdf:Alt></dc:title>
<dc:language><rdf:Bag><rdf:li>` + esc(language) + `</rdf:li></rdf:Bag></dc:language>
<pdfuaid:part>1</pdfuaid:part>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="r"?>`)
}
