package picture

import (
	"bytes"
	"encoding/binary"
	"time"
)

// TakenOn returns the day on which a camera says that it took a picture: Exif
// DateTimeOriginal, or DateTime where that is missing, as the camera's own clock
// had it. It reports false where the original says nothing that is a date. A
// camera's clock may be wrong: this is a hint.
func TakenOn(original []byte) (year int, month time.Month, dayOfMonth int, ok bool) {
	t, first, ok := openTIFF(exifOf(original))
	if !ok {
		return 0, 0, 0, false
	}
	var exif uint32
	var changed, taken []byte
	t.entries(first, func(e entry) {
		switch e.tag {
		case tagExif:
			exif = e.number()
		case tagDateTime:
			changed = t.date(e)
		}
	})
	t.entries(exif, func(e entry) {
		if e.tag == tagOriginalDate {
			taken = t.date(e)
		}
	})
	for _, text := range [][]byte{taken, changed} {
		// Exif 2.32, 4.6.5: "YYYY:MM:DD HH:MM:SS", blank where it is not known.
		if at, err := time.Parse("2006:01:02", string(text)); err == nil {
			return at.Year(), at.Month(), at.Day(), true
		}
	}
	return 0, 0, 0, false
}

// date is the day in a value that stands elsewhere in the data, as any of more
// than four bytes does.
func (t tiff) date(e entry) []byte {
	const ascii, length = 2, len("2006:01:02")
	at := uint64(e.order.Uint32(e.value))
	if e.kind != ascii || at+uint64(length) > uint64(len(t.data)) {
		return nil
	}
	return t.data[at:][:length]
}

// exifOf finds the Exif data of a JPEG or PNG, and nothing where there are none.
func exifOf(original []byte) []byte {
	if bytes.HasPrefix(original, []byte(pngSignature)) {
		return exifOfPNG(original[len(pngSignature):])
	}
	const app1, startOfScan = 0xe1, 0xda
	for rest := bytes.TrimPrefix(original, []byte("\xff\xd8")); len(rest) >= 4 && rest[0] == 0xff; {
		marker, length := rest[1], int(binary.BigEndian.Uint16(rest[2:]))
		if marker == startOfScan || length < 2 || len(rest) < 2+length {
			return nil
		}
		if data, found := bytes.CutPrefix(rest[4:2+length], []byte("Exif\x00\x00")); found && marker == app1 {
			return data
		}
		rest = rest[2+length:]
	}
	return nil
}

// exifOfPNG looks through the chunks behind the signature (PNG third edition, 5.3).
func exifOfPNG(rest []byte) []byte {
	for len(rest) >= 12 {
		length := uint64(binary.BigEndian.Uint32(rest))
		if length+12 > uint64(len(rest)) {
			return nil
		}
		if string(rest[4:8]) == "eXIf" {
			return rest[8:][:length]
		}
		rest = rest[length+12:]
	}
	return nil
}
