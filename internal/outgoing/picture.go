package outgoing

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"io"
	"strings"
)

// Segments of JPEG that a public picture may have: what shapes its pixels, and
// those application segments that our own pictures carry (ITU-T T.81, table B.1).
const (
	jpegSOI  = 0xd8
	jpegEOI  = 0xd9
	jpegSOS  = 0xda
	jpegAPP0 = 0xe0
	jpegAPP1 = 0xe1
	jpegAPPf = 0xef
	jpegCOM  = 0xfe
	xmpMark  = "http://ns.adobe.com/xap/1.0/\x00"
)

// readJPEG returns what a JPEG says beside its pixels. Only a JFIF header and an
// XMP packet may stand there: public pictures are sRGB and carry no profile.
func readJPEG(data []byte) ([]Segment, error) {
	var all []Segment
	at := 2
	for {
		mark, segment, next, err := jpegSegment(data, at)
		if err != nil {
			return nil, err
		}
		switch {
		case mark == jpegEOI:
			if rest := len(data) - next; rest > 0 {
				return nil, unreadable("%d bytes follow the end of the picture", rest)
			}
			return all, nil
		case mark == jpegAPP0 && bytes.HasPrefix(segment, []byte("JFIF\x00")):
			if len(segment) != 14 {
				return nil, unreadable("it has a small picture inside its header")
			}
		case mark == jpegAPP1 && bytes.HasPrefix(segment, []byte(xmpMark)):
			for _, s := range readMarkup(segment[len(xmpMark):]) {
				all = append(all, Segment{"the picture's metadata", s.Text})
			}
		case mark >= jpegAPP0 && mark <= jpegAPPf, mark == jpegCOM:
			return nil, unreadable("the picture carries metadata of another program (segment %#x)", mark)
		case mark == jpegSOS:
			next = scanEnd(data, next)
		}
		at = next
	}
}

// jpegSegment reads the segment at a place and says where the next begins.
func jpegSegment(data []byte, at int) (mark byte, payload []byte, next int, err error) {
	if at+2 > len(data) || data[at] != 0xff {
		return 0, nil, 0, unreadable("the picture is cut short or damaged at byte %d", at)
	}
	mark = data[at+1]
	if mark == jpegEOI {
		return mark, nil, at + 2, nil
	}
	if at+4 > len(data) {
		return 0, nil, 0, unreadable("the picture is cut short at byte %d", at)
	}
	length := int(binary.BigEndian.Uint16(data[at+2:]))
	next = at + 2 + length
	if length < 2 || next > len(data) {
		return 0, nil, 0, unreadable("the picture is cut short at byte %d", at)
	}
	return mark, data[at+4 : next], next, nil
}

// scanEnd is where coded data end: at the next marker that is neither a stuffed
// byte nor a restart.
func scanEnd(data []byte, at int) int {
	for ; at+1 < len(data); at++ {
		if data[at] == 0xff && data[at+1] != 0 && (data[at+1] < 0xd0 || data[at+1] > 0xd7) {
			return at
		}
	}
	return len(data)
}

const pngSignature = "\x89PNG\r\n\x1a\n"

// readPNG returns the texts of a PNG. A chunk that nothing here writes is an
// error (W3C PNG, third edition, section 11).
func readPNG(data []byte) ([]Segment, error) {
	var all []Segment
	for at := len(pngSignature); ; {
		if at+12 > len(data) {
			return nil, unreadable("the picture is cut short at byte %d", at)
		}
		length := int(binary.BigEndian.Uint32(data[at:]))
		kind := string(data[at+4 : at+8])
		if length < 0 || length > len(data)-at-12 {
			return nil, unreadable("the picture is cut short at byte %d", at)
		}
		body := data[at+8 : at+8+length]
		at += 12 + length
		switch kind {
		case "IHDR", "PLTE", "IDAT", "tRNS", "gAMA", "cHRM", "sRGB", "pHYs", "bKGD", "sBIT":
		case "tEXt", "iTXt":
			all = append(all, Segment{"the picture's metadata", strings.ReplaceAll(string(body), "\x00", " ")})
		case "zTXt":
			text, err := inflatedText(body)
			if err != nil {
				return nil, err
			}
			all = append(all, Segment{"the picture's metadata", text})
		case "IEND":
			if rest := len(data) - at; rest > 0 {
				return nil, unreadable("%d bytes follow the end of the picture", rest)
			}
			return all, nil
		default:
			return nil, unreadable("the picture carries data of another program (chunk %s)", kind)
		}
	}
}

// mostText is how much a compressed text may unpack to.
const mostText = 1 << 20

func inflatedText(chunk []byte) (string, error) {
	key, rest, ok := bytes.Cut(chunk, []byte{0})
	if !ok || len(rest) < 1 {
		return "", unreadable("a text of the picture is damaged")
	}
	z, err := zlib.NewReader(bytes.NewReader(rest[1:]))
	if err != nil {
		return "", unreadable("a text of the picture is damaged: %v", err)
	}
	text, err := io.ReadAll(io.LimitReader(z, mostText+1))
	if err != nil || len(text) > mostText {
		return "", unreadable("a text of the picture is damaged or too long")
	}
	return string(key) + " " + string(text), nil
}
