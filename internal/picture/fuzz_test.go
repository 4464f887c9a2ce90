package picture

import (
	"encoding/binary"
	"errors"
	"testing"

	"example.org/opencowl/internal/cleared"
)

// seeds are whole and broken originals of every kind that is read.
func seeds(f *testing.F) [][]byte {
	jpegged, pinged := asJPEG(f, hangar(24, 20)), asPNG(f, hangar(24, 20))
	profile := rgbProfile(primaryP3, curveSRGB)
	exif := exifBlock(binary.LittleEndian, []field{{tag: tagOrientation, short: 6}, {tag: tagExif, sub: []field{{tag: tagBodySerial, text: "12345"}}}}, []field{{tag: 0x0201, short: 1}})
	return [][]byte{
		jpegged, pinged,
		jpegProfile(jpegged, profile), pngProfile(f, pinged, profile),
		withSegment(jpegged, markAPP1, exifHeader+exif), withChunk(pinged, "eXIf", exif),
		jpegged[:len(jpegged)/2], pinged[:len(pinged)/2],
		append(jpegged[:len(jpegged):len(jpegged)], jpegged...),
		withChunk(pinged, "cICP", "\x0c\x0d\x00\x01"),
		withJPEGSize(jpegged, markSOF2, 24, 20),
		[]byte("GIF89a"), {},
	}
}

func FuzzInspect(f *testing.F) {
	for _, s := range seeds(f) {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		info, err := Inspect(data)
		if err != nil {
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("got %v, which is no *Error", err)
			}
			return
		}
		if info.Width < minSide || info.Height < minSide || info.Width*info.Height > maxPixels || info.Orientation < 1 || info.Orientation > 8 {
			t.Errorf("got %+v, past the limits", info)
		}
	})
}

func FuzzMake(f *testing.F) {
	for _, s := range seeds(f) {
		f.Add(s, 0.5, 0.5, 0.1, 0.2, "words")
	}
	f.Fuzz(func(t *testing.T, data []byte, x, y, w, h float64, words string) {
		info, err := Inspect(data)
		if err != nil || info.Width*info.Height > 1<<16 {
			return // FuzzInspect looks at those; this one has to be quick
		}
		made, err := Make(t.Context(), data, Recipe{
			Focus: Point{x, y}, Hide: []Box{{x, y, w, h}}, Alt: words,
			Uses: []cleared.Use{cleared.Web400, cleared.Card},
		})
		if err != nil {
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("got %v, which is no *Error", err)
			}
			return
		}
		for _, c := range made {
			if c.Width < minSide || c.Height < minSide {
				continue // a crop may be smaller than what Inspect takes
			}
			out, err := Inspect(c.JPEG)
			if err != nil || out.Width != c.Width || out.Height != c.Height || out.Format != "JPEG" || out.Orientation != 1 {
				t.Errorf("%s: Inspect gives %+v, %v", c.Use, out, err)
			}
			for _, p := range out.Private {
				if p != Description {
					t.Errorf("%s: carries %s", c.Use, p)
				}
			}
		}
	})
}

func FuzzExif(f *testing.F) {
	f.Add([]byte(orientationOnly(6)))
	f.Add([]byte(exifBlock(binary.LittleEndian, []field{
		{tag: tagExif, sub: []field{{tag: tagInterop, sub: []field{{tag: tagInteropIndex, text: "R03"}}}}},
		{tag: tagGPS, sub: []field{{tag: 1, text: "N"}}},
	}, []field{{tag: 0x0201, short: 9}})))
	f.Fuzz(func(t *testing.T, data []byte) {
		s := source{orientation: 1}
		s.readExif(data)
		if s.orientation < 1 || s.orientation > 8 {
			t.Errorf("got orientation %d", s.orientation)
		}
	})
}

func FuzzProfile(f *testing.F) {
	for _, p := range profiles() {
		f.Add(p)
	}
	f.Add(profileFile("GRAY", "XYZ ", []tag{{"kTRC", curveGamma}}))
	f.Fuzz(func(t *testing.T, data []byte) {
		sp, err := readProfile(data)
		if err != nil {
			return
		}
		sp.conversion().apply(chart())
	})
}
