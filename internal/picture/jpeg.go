package picture

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
)

// JPEG markers: ITU-T T.81, table B.1.
const (
	markSOF0 = 0xc0
	markSOF2 = 0xc2
	markDHT  = 0xc4
	markJPG  = 0xc8
	markDAC  = 0xcc
	markSOFf = 0xcf
	markRST0 = 0xd0
	markRST7 = 0xd7
	markEOI  = 0xd9
	markSOS  = 0xda
	markDQT  = 0xdb
	markDRI  = 0xdd
	markAPP0 = 0xe0
	markAPP1 = 0xe1
	markAPP2 = 0xe2
	markAPPd = 0xed
	markAPPe = 0xee
	markCOM  = 0xfe
)

const (
	exifHeader    = "Exif\x00\x00"
	xmpHeader     = "http://ns.adobe.com/xap/1.0/\x00"
	profileHeader = "ICC_PROFILE\x00" // ICC.1:2022 annex B.4: then a number and a count
	agencyHeader  = "Photoshop 3.0\x00"
)

// jpegWalk gathers what openJPEG needs while going through the segments.
type jpegWalk struct {
	source

	frame    []byte // payload of the first frame header
	coding   byte   // its marker
	exif     []byte
	chunks   map[int][]byte // of the ICC profile, by number
	trailing []byte
}

// openJPEG walks the segments of a JPEG file as the decoder will, keeps those
// that shape pixels, and reads the rest for what they say.
func openJPEG(original []byte) (*source, error) {
	w := jpegWalk{source: source{format: "JPEG", orientation: 1}, chunks: map[int][]byte{}}
	if err := w.walk(original); err != nil {
		return nil, err
	}
	if err := w.checkFrame(); err != nil {
		return nil, err
	}
	if _, err := jpeg.DecodeConfig(w.stream()); err != nil {
		return nil, w.refusal(err)
	}
	if err := w.checkScans(); err != nil {
		return nil, err
	}
	w.profile = w.joinProfile()
	w.readExif(w.exif)
	if len(w.trailing) > 0 {
		w.note(Trailing)
	}
	return &w.source, nil
}

// walk goes from marker to marker: image/jpeg's own loop, without decoding.
func (w *jpegWalk) walk(data []byte) error {
	w.parts = append(w.parts, []byte{0xff, 0xd8})
	for at := 2; ; {
		skip := bytes.IndexByte(data[at:], 0xff)
		if skip < 0 {
			// No end marker. The decoder will find the same and call it damaged.
			return nil
		}
		at += skip
		for at < len(data) && data[at] == 0xff { // fill bytes
			at++
		}
		if at >= len(data) {
			return nil
		}
		mark := data[at]
		at++
		switch {
		case mark == 0 || mark >= markRST0 && mark <= markRST7:
			continue
		case mark == markEOI:
			w.parts = append(w.parts, []byte{0xff, markEOI})
			w.trailing = bytes.TrimRight(data[at:], "\x00")
			return nil
		}
		if at+2 > len(data) {
			return nil
		}
		length := int(binary.BigEndian.Uint16(data[at:]))
		if length < 2 || at+length > len(data) {
			return damaged("JPEG", fmt.Errorf("segment %#x is cut short", mark))
		}
		w.segment(mark, data[at:at+length])
		at += length
		if mark == markSOS {
			end := scanEnd(data, at)
			w.parts = append(w.parts, data[at:end])
			at = end
		}
	}
}

// scanEnd returns where the coded data that begin at at come to an end: at the
// next marker that does not belong to them.
func scanEnd(data []byte, at int) int {
	for {
		skip := bytes.IndexByte(data[at:], 0xff)
		if skip < 0 || at+skip+1 >= len(data) {
			return len(data)
		}
		at += skip
		next := data[at+1]
		if next != 0 && next != 0xff && (next < markRST0 || next > markRST7) {
			return at
		}
		if next != 0xff {
			at++
		}
		at++
	}
}

// segment sorts one segment, which begins with its length: to the decoder, to
// be read, or to neither.
func (w *jpegWalk) segment(mark byte, data []byte) {
	payload := data[2:]
	switch {
	case mark == markDHT || mark == markDQT || mark == markDRI || mark == markSOS:
		w.parts = append(w.parts, []byte{0xff, mark}, data)
	case mark >= markSOF0 && mark <= markSOFf && mark != markJPG && mark != markDAC:
		if w.frame == nil {
			w.frame, w.coding = payload, mark
		}
		w.parts = append(w.parts, []byte{0xff, mark}, data)
	case mark == markAPP0 && bytes.HasPrefix(payload, []byte("JFIF\x00")):
		// Only its presence matters: it says that the colours are YCbCr.
		w.parts = append(w.parts, []byte("\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"))
	case mark == markAPPe && bytes.HasPrefix(payload, []byte("Adobe")) && len(payload) >= 12:
		// The last of these bytes says how the colours are coded.
		w.parts = append(w.parts, []byte("\xff\xee\x00\x0e"), payload[:12])
	case mark == markAPP1 && bytes.HasPrefix(payload, []byte(exifHeader)):
		if w.exif == nil {
			w.exif = payload[len(exifHeader):]
		}
	case mark == markAPP1 && bytes.HasPrefix(payload, []byte(xmpHeader)):
		w.readXMP(payload[len(xmpHeader):])
	case mark == markAPP2 && bytes.HasPrefix(payload, []byte(profileHeader)) && len(payload) > len(profileHeader)+2:
		w.chunks[int(payload[len(profileHeader)])] = payload[len(profileHeader)+2:]
	case mark == markAPPd && bytes.HasPrefix(payload, []byte(agencyHeader)):
		w.note(Description)
	case mark == markCOM:
		w.note(Comment)
	}
}

// checkFrame reads the frame header (T.81, B.2.2) and applies the limits to it.
func (w *jpegWalk) checkFrame() error {
	f := w.frame
	if f == nil {
		return damaged("JPEG", errors.New("it has no frame header"))
	}
	if w.coding > markSOF2 {
		return unsupported("this JPEG picture is coded in a rare way", "open it in a picture program and save it as an ordinary JPEG")
	}
	if len(f) < 6 || len(f) < 6+3*int(f[5]) {
		return damaged("JPEG", errors.New("the frame header is cut short"))
	}
	w.size = image.Pt(int(binary.BigEndian.Uint16(f[3:])), int(binary.BigEndian.Uint16(f[1:])))
	components := int(f[5])
	if components == 4 {
		return inks()
	}
	most := image.Pt(1, 1)
	samples := 0 // in the smallest unit that is coded together
	for i := range components {
		h, v := int(f[7+3*i]>>4), int(f[7+3*i]&15)
		most.X, most.Y = max(most.X, h), max(most.Y, v)
		samples += h * v
	}
	if components == 1 { // T.81, A.2.2: a single component is never interleaved
		most, samples = image.Pt(1, 1), 1
	}
	w.block = most.Mul(8)
	units := int64((w.size.X+w.block.X-1)/w.block.X) * int64((w.size.Y+w.block.Y-1)/w.block.Y)
	w.pixels = units * int64(samples) * 64
	if w.coding == markSOF2 {
		w.held = 4 * w.pixels // each coefficient takes four bytes until the last scan
	}
	return checkSize(w.size.X, w.size.Y, w.pixels+w.held)
}

// checkScans refuses a progressive picture made to keep the decoder busy: a few
// bytes of scan can ask for a pass over every block. It counts byte pairs, not
// segments, so that a scan hidden inside another segment counts too.
func (w *jpegWalk) checkScans() error {
	scans := 0
	for _, p := range w.parts {
		scans += bytes.Count(p, []byte{0xff, markSOS})
	}
	if scans <= maxScans {
		return nil
	}
	return &Error{
		Code:    TooLarge,
		Message: fmt.Sprintf("this JPEG picture is built up in %d passes, and %d is the limit", scans, maxScans),
		Remedy:  "open it in a picture program and save it as an ordinary JPEG",
	}
}

// joinProfile puts the pieces of the ICC profile in order. A missing piece
// leaves a profile that is too short, which is noticed when it is read.
func (w *jpegWalk) joinProfile() []byte {
	var profile []byte
	for i := range 256 {
		profile = append(profile, w.chunks[i]...)
	}
	return profile
}
