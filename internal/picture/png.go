package picture

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
)

const pngSignature = "\x89PNG\r\n\x1a\n"

// maxProfile bounds an ICC profile once it is unpacked, in bytes. Matrix
// profiles take a few thousand.
const maxProfile = 4 << 20

// openPNG walks the chunks of a PNG file, keeps those that shape pixels, and
// reads the rest for what they say. Names and layouts: PNG (third edition), W3C.
func openPNG(original []byte) (*source, error) {
	s := &source{format: "PNG", orientation: 1, block: image.Pt(1, 1)}
	s.parts = append(s.parts, []byte(pngSignature))
	var header, code, profile, exif []byte
	seeThrough := false
	data := original[len(pngSignature):]
	for len(data) >= 12 {
		length := binary.BigEndian.Uint32(data)
		if uint64(length)+12 > uint64(len(data)) {
			break // the decoder will find the same and call it damaged
		}
		name, body, whole := string(data[4:8]), data[8:8+length], data[:12+length]
		data = data[12+length:]
		switch name {
		case "IHDR", "PLTE", "tRNS", "IDAT", "IEND":
			s.parts = append(s.parts, whole)
			if name == "IHDR" && header == nil {
				header = body
			}
			seeThrough = seeThrough || name == "tRNS"
		case "iCCP":
			profile = body
		case "cICP":
			code = body
		case "eXIf":
			exif = body
		case "tEXt", "zTXt", "iTXt":
			if bytes.HasPrefix(body, []byte("XML:com.adobe.xmp\x00")) {
				s.readXMP(body)
			} else {
				s.note(Comment)
			}
		case "tIME":
			s.note(Taken)
		}
		if name == "IEND" {
			if len(data) > 0 {
				s.note(Trailing)
			}
			break
		}
	}
	if err := s.checkHeader(header, seeThrough); err != nil {
		return nil, err
	}
	if _, err := png.DecodeConfig(s.stream()); err != nil {
		return nil, s.refusal(err)
	}
	s.readExif(exif)
	if err := s.readColours(code, profile); err != nil {
		return nil, err
	}
	return s, nil
}

// checkHeader reads the image header (IHDR) and applies the limits to it.
func (s *source) checkHeader(h []byte, seeThrough bool) error {
	if len(h) != 13 {
		return damaged("PNG", errors.New("it has no image header"))
	}
	width, height := binary.BigEndian.Uint32(h), binary.BigEndian.Uint32(h[4:])
	depth, kind, interlaced := h[8], h[9], h[12] != 0
	const grey, colour, palette = 0, 2, 3
	var each int64 // bytes a pixel: as decoded, and once more where it is flattened
	switch {
	case depth == 16:
		each = 8 + 4
	case kind == palette:
		each = 1 + 4
	case kind == grey && !seeThrough:
		each = 1
	case kind == colour && !seeThrough:
		each = 4
	default:
		each = 4 + 4
	}
	// A size past 31 bits is not allowed; as a negative one it is refused too.
	s.size = image.Pt(int(int32(width)), int(int32(height)))
	s.pixels = each * int64(s.size.X) * int64(s.size.Y)
	if interlaced {
		s.held = s.pixels / 2 // the last pass is decoded beside the whole
	}
	return checkSize(s.size.X, s.size.Y, s.pixels+s.held)
}

// readColours finds out what the numbers mean: a colour code (cICP) comes
// before a profile (iCCP), as the PNG specification has it.
func (s *source) readColours(code, profile []byte) error {
	if code != nil {
		return s.readCode(code)
	}
	if profile == nil {
		return nil
	}
	unpacked, err := unpackProfile(profile)
	if err != nil {
		return damaged("PNG", err)
	}
	s.profile, s.space = unpacked, nil
	return nil
}

// readCode reads the code points of ITU-T H.273 for primaries and transfer.
func (s *source) readCode(code []byte) error {
	const bt709, displayP3, srgbCurve = 1, 12, 13
	if len(code) == 4 && code[1] == srgbCurve {
		switch code[0] {
		case bt709:
			s.space = nil
			return nil
		case displayP3:
			s.space = &spaceP3
			return nil
		}
	}
	return unsupported("the colours of this PNG picture are coded for a special screen", "save it with sRGB colours")
}

// unpackProfile takes the profile out of an iCCP chunk: a name, a zero, the
// number of the method (0), and zlib data.
func unpackProfile(chunk []byte) ([]byte, error) {
	_, packed, ok := bytes.Cut(chunk, []byte{0})
	if !ok || len(packed) < 1 || packed[0] != 0 {
		return nil, errors.New("its colour profile is broken")
	}
	unzip, err := zlib.NewReader(bytes.NewReader(packed[1:]))
	if err != nil {
		return nil, fmt.Errorf("its colour profile is broken: %w", err)
	}
	profile, err := io.ReadAll(io.LimitReader(unzip, maxProfile+1))
	if err != nil {
		return nil, fmt.Errorf("its colour profile is broken: %w", err)
	}
	if len(profile) > maxProfile {
		return nil, errors.New("its colour profile is too long")
	}
	return profile, nil
}
