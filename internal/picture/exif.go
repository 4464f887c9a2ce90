package picture

import (
	"bytes"
	"encoding/binary"
	"slices"
)

// Exif tags: CIPA DC-008 (Exif 2.32), and TIFF 6.0 for those of the first image.
const (
	tagOrientation  = 0x0112
	tagDateTime     = 0x0132
	tagArtist       = 0x013b
	tagExif         = 0x8769
	tagGPS          = 0x8825
	tagOriginalDate = 0x9003
	tagMakerNote    = 0x927c
	tagInterop      = 0xa005
	tagOwner        = 0xa430
	tagBodySerial   = 0xa431
	tagLensSerial   = 0xa435
	tagInteropIndex = 0x0001
)

// maxEntries is how many entries of one directory are looked at. Cameras write
// fewer than a hundred.
const maxEntries = 1000

// note records that the original carries something private.
func (s *source) note(p Private) {
	if !slices.Contains(s.private, p) {
		s.private = append(s.private, p)
	}
}

// readExif takes from Exif data how the picture is to be turned and which
// colours it has, and notes what is private. Broken data end the reading and
// are no error: nothing in them reaches a copy.
func (s *source) readExif(data []byte) {
	t, first, ok := openTIFF(data)
	if !ok {
		return
	}
	exif, gps := uint32(0), uint32(0)
	second := t.entries(first, func(e entry) {
		switch e.tag {
		case tagOrientation:
			if v := e.number(); v >= 1 && v <= 8 {
				s.orientation = int(v)
			}
		case tagArtist:
			s.note(Owner)
		case tagDateTime:
			s.note(Taken)
		case tagExif:
			exif = e.number()
		case tagGPS:
			gps = e.number()
		}
	})
	t.entries(gps, func(entry) { s.note(Position) })
	t.entries(second, func(entry) { s.note(SmallPicture) })
	interop := uint32(0)
	t.entries(exif, func(e entry) {
		switch e.tag {
		case tagOriginalDate:
			s.note(Taken)
		case tagMakerNote:
			s.note(MakerNotes)
		case tagOwner:
			s.note(Owner)
		case tagBodySerial, tagLensSerial:
			s.note(Serial)
		case tagInterop:
			interop = e.number()
		}
	})
	t.entries(interop, func(e entry) {
		// DCF 2.0: a camera set to Adobe RGB writes R03 here, often with no profile.
		if e.tag == tagInteropIndex && string(e.value[:3]) == "R03" {
			s.space = &spaceAdobe
		}
	})
}

// readXMP notes what is private in an XMP packet, by the names that it uses.
func (s *source) readXMP(packet []byte) {
	s.note(Description)
	if bytes.Contains(packet, []byte("GPSLatitude")) {
		s.note(Position)
	}
	if bytes.Contains(packet, []byte("SerialNumber")) {
		s.note(Serial)
	}
}

// tiff is a block of Exif data in its byte order.
type tiff struct {
	data  []byte
	order binary.ByteOrder
}

// entry is one value in a directory. Values of four bytes or fewer stand in it.
type entry struct {
	tag, kind uint16
	value     []byte // always four bytes
	order     binary.ByteOrder
}

// number reads a SHORT or a LONG; any other type gives 0.
func (e entry) number() uint32 {
	const short, long = 3, 4
	switch e.kind {
	case short:
		return uint32(e.order.Uint16(e.value))
	case long:
		return e.order.Uint32(e.value)
	}
	return 0
}

// openTIFF reads the header and returns where the first directory is.
func openTIFF(data []byte) (t tiff, first uint32, ok bool) {
	if len(data) < 8 {
		return tiff{}, 0, false
	}
	switch string(data[:4]) {
	case "II*\x00":
		t = tiff{data, binary.LittleEndian}
	case "MM\x00*":
		t = tiff{data, binary.BigEndian}
	default:
		return tiff{}, 0, false
	}
	return t, t.order.Uint32(data[4:]), true
}

// entries hands over the entries of the directory at an offset, and returns the
// offset of the next directory, or 0. It follows no pointer itself, so that no
// loop in the data can keep it.
func (t tiff) entries(at uint32, each func(entry)) (next uint32) {
	if at < 8 || uint64(at)+2 > uint64(len(t.data)) {
		return 0
	}
	rest := t.data[at:]
	count := int(t.order.Uint16(rest))
	rest = rest[2:]
	for range min(count, maxEntries) {
		if len(rest) < 12 {
			return 0
		}
		each(entry{
			tag:   t.order.Uint16(rest),
			kind:  t.order.Uint16(rest[2:]),
			value: rest[8:12],
			order: t.order,
		})
		rest = rest[12:]
	}
	if count > maxEntries || len(rest) < 4 {
		return 0
	}
	return t.order.Uint32(rest)
}
