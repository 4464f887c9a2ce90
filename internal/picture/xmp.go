package picture

import (
	"encoding/binary"
	"encoding/xml"
	"fmt"
	"strings"
)

// maxPacket is what one APP1 segment can hold beside its length and header.
const maxPacket = 65535 - 2 - len(xmpHeader)

// packet returns the words of a recipe as a JPEG APP1 segment holding XMP
// (ISO 16684-1), under the names of the IPTC Photo Metadata Standard. The
// same words give the same bytes; where there are none it is empty.
func (r Recipe) packet() ([]byte, error) {
	var b strings.Builder
	alternatives(&b, "dc:description", r.Caption)
	alternatives(&b, "Iptc4xmpCore:AltTextAccessibility", r.Alt)
	if r.Credit != "" {
		b.WriteString("<dc:creator><rdf:Seq><rdf:li>" + escape(r.Credit) + "</rdf:li></rdf:Seq></dc:creator>")
		b.WriteString("<photoshop:Credit>" + escape(r.Credit) + "</photoshop:Credit>")
	}
	alternatives(&b, "dc:rights", r.Copyright)
	if r.Copyright != "" {
		b.WriteString("<xmpRights:Marked>True</xmpRights:Marked>")
	}
	if b.Len() == 0 {
		return nil, nil
	}
	packet := "<?xpacket begin=\"\ufeff\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>" + // fixed by ISO 16684-1, 7.3.2
		`<x:xmpmeta xmlns:x="adobe:ns:meta/">` +
		`<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">` +
		`<rdf:Description rdf:about=""` +
		` xmlns:dc="http://purl.org/dc/elements/1.1/"` +
		` xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/"` +
		` xmlns:xmpRights="http://ns.adobe.com/xap/1.0/rights/"` +
		` xmlns:Iptc4xmpCore="http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/">` +
		b.String() +
		`</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="r"?>`
	if len(packet) > maxPacket {
		return nil, &Error{
			Code:    BadRecipe,
			Message: fmt.Sprintf("the words about this picture take %d bytes, and %d is the limit", len(packet), maxPacket),
			Remedy:  "shorten the alternative text, the caption, the credit or the copyright notice",
		}
	}
	segment := []byte{0xff, markAPP1}
	segment = binary.BigEndian.AppendUint16(segment, uint16(2+len(xmpHeader)+len(packet)))
	segment = append(segment, xmpHeader...)
	return append(segment, packet...), nil
}

// alternatives writes a text that may stand in several languages, in one.
func alternatives(b *strings.Builder, name, text string) {
	if text == "" {
		return
	}
	fmt.Fprintf(b, `<%s><rdf:Alt><rdf:li xml:lang="x-default">%s</rdf:li></rdf:Alt></%s>`, name, escape(text), name)
}

// escape makes text safe inside XML. Characters that XML forbids become U+FFFD.
func escape(text string) string {
	var b strings.Builder
	// A strings.Builder cannot fail, and it is all that EscapeText can fail on.
	_ = xml.EscapeText(&b, []byte(text))
	return b.String()
}
