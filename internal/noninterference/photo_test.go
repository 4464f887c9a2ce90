package noninterference

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"testing"
)

// drawPhoto makes a small picture, another one for each number.
func drawPhoto(t testing.TB, n int) []byte {
	t.Helper()
	return encodeJPEG(t, 960, 640, n)
}

func encodeJPEG(t testing.TB, width, height, n int) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			img.SetRGBA(x, y, color.RGBA{uint8(x * 255 / width), uint8(y * 255 / height), uint8(40 + 50*n), 255})
		}
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: 80}); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// The segments of a JPEG file that hold words rather than pixels (ITU-T T.81
// table B.1).
const (
	app1  = 0xe1 // Exif and XMP
	app13 = 0xed // IPTC, in Photoshop's wrapping
	com   = 0xfe
)

// withSegment puts a segment behind the start of a JPEG file.
func withSegment(picture []byte, marker byte, payload []byte) []byte {
	out := append([]byte{}, picture[:2]...)
	out = append(out, 0xff, marker)
	out = binary.BigEndian.AppendUint16(out, uint16(len(payload)+2))
	out = append(out, payload...)
	return append(out, picture[2:]...)
}

// saying is a picture that tells something in every place beside its pixels that
// cameras and programs write to. The thumbnail is a picture of its own, with a
// comment in it.
func saying(t testing.TB, picture []byte, words string) []byte {
	t.Helper()
	thumb := withSegment(encodeJPEG(t, 48, 32, 0), com, []byte(words+" thumbnail"))
	picture = withSegment(picture, com, []byte(words+" comment"))
	picture = withSegment(picture, app13, iptc(words+" iptc"))
	picture = withSegment(picture, app1, append([]byte("http://ns.adobe.com/xap/1.0/\x00"), xmp(words+" xmp")...))
	picture = withSegment(picture, app1, exif(words+" exif", thumb))
	return append(picture, []byte(words+" trailing")...)
}

func xmp(words string) []byte {
	return fmt.Appendf(nil, `<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">`+
		`<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:description><rdf:Alt><rdf:li xml:lang="x-default">%s</rdf:li></rdf:Alt></dc:description></rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="r"?>`, words)
}

// iptc is a caption: record 2, data set 120 (IPTC-IIM 4.2), in an image resource
// 0x0404.
func iptc(words string) []byte {
	set := append([]byte{0x1c, 2, 120}, binary.BigEndian.AppendUint16(nil, uint16(len(words)))...)
	set = append(set, words...)
	if len(set)%2 == 1 {
		set = append(set, 0)
	}
	out := append([]byte("Photoshop 3.0\x008BIM"), 0x04, 0x04, 0, 0)
	out = binary.BigEndian.AppendUint32(out, uint32(len(set)))
	return append(out, set...)
}

// exif is a little-endian TIFF (Exif 2.32, 4.5) with a description, a maker, an
// owner, a position, and a thumbnail.
func exif(words string, thumb []byte) []byte {
	type field struct {
		tag, kind uint16
		count     uint32
		data      []byte // more than four bytes stand behind the fields
	}
	le := binary.LittleEndian
	ascii := func(tag uint16, s string) field { return field{tag, 2, uint32(len(s) + 1), append([]byte(s), 0)} }
	long := func(tag uint16, v uint32) field { return field{tag, 4, 1, le.AppendUint32(nil, v)} }
	rationals := func(tag uint16, vs ...uint32) field {
		var data []byte
		for _, v := range vs {
			data = le.AppendUint32(le.AppendUint32(data, v), 1)
		}
		return field{tag, 5, uint32(len(vs)), data}
	}
	tiff := append([]byte("II*\x00"), 8, 0, 0, 0)
	// directory writes fields, their data, and where the next directory is.
	directory := func(fields []field, more bool) {
		data := len(tiff) + 2 + 12*len(fields) + 4
		var behind []byte
		tiff = le.AppendUint16(tiff, uint16(len(fields)))
		for _, f := range fields {
			tiff = le.AppendUint32(le.AppendUint16(le.AppendUint16(tiff, f.tag), f.kind), f.count)
			if len(f.data) <= 4 {
				tiff = append(tiff, append(f.data, make([]byte, 4-len(f.data))...)...)
				continue
			}
			tiff = le.AppendUint32(tiff, uint32(data+len(behind)))
			behind = append(behind, f.data...)
			if len(behind)%2 == 1 {
				behind = append(behind, 0)
			}
		}
		next := uint32(0)
		if more {
			next = uint32(data + len(behind))
		}
		tiff = append(le.AppendUint32(tiff, next), behind...)
	}
	main := func(gps uint32) []field {
		return []field{ascii(0x010e, words+" description"), ascii(0x010f, words+" maker"), ascii(0x013b, words+" artist"),
			long(0x8825, gps), ascii(0xa430, words+" owner")}
	}
	start := len(tiff)
	directory(main(0), true)
	second := uint32(len(tiff))
	directory([]field{long(0x0201, 0), long(0x0202, uint32(len(thumb)))}, false)
	third := uint32(len(tiff))
	position := []field{ascii(0x0001, "N"), rationals(0x0002, 53, 38, 20), ascii(0x0003, "W"), rationals(0x0004, 0, 13, 5), ascii(0x001d, words)}
	directory(position, false)
	at := uint32(len(tiff))
	// The places are known now: write all of it again.
	tiff = tiff[:start]
	directory(main(third), true)
	directory([]field{long(0x0201, at), long(0x0202, uint32(len(thumb)))}, false)
	if uint32(len(tiff)) != third || second >= third {
		panic("the directories moved")
	}
	directory(position, false)
	return append([]byte("Exif\x00\x00"), append(tiff, thumb...)...)
}
