package picture

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"image"
	"strings"
	"testing"
)

// Formats by their first bytes, as the specifications give them: GIF89a, TIFF
// 6.0, ISO/IEC 23008-12 (HEIF), RFC 9649 (WebP).
func TestOtherFormatsAreNamedByTheirContent(t *testing.T) {
	for name, data := range map[string]string{
		"GIF":                "GIF89a\x10\x00\x10\x00\x00\x00\x00;",
		"TIFF or camera raw": "II*\x00\x08\x00\x00\x00",
		"HEIC":               "\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic",
		"AVIF":               "\x00\x00\x00\x18ftypavif\x00\x00\x00\x00",
		"WebP":               "RIFF\x1a\x00\x00\x00WEBPVP8L",
	} {
		_, err := Make(t.Context(), []byte(data), Recipe{})
		wantCode(t, err, Unsupported)
		if !strings.Contains(err.Error(), name) || !strings.Contains(err.Error(), "save it as JPEG") {
			t.Errorf("%s: the error says %q", name, err)
		}
		_, err = Inspect([]byte(data))
		wantCode(t, err, Unsupported)
	}
	for _, name := range []string{"iphone.heic", "sony.heif"} {
		_, err := Make(t.Context(), published(t, "github.com/bep/imagemeta", "testdata/images/"+name), Recipe{})
		wantCode(t, err, Unsupported)
		if !strings.Contains(err.Error(), "Most Compatible") || !strings.Contains(err.Error(), "high efficiency") {
			t.Errorf("%s: the error does not say how to have the phone save JPEG: %q", name, err)
		}
	}
}

func TestWhatIsNoPictureIsRefused(t *testing.T) {
	for _, data := range []string{"", "\xff", "\xff\xd8", "%PDF-1.7", "<svg xmlns='http://www.w3.org/2000/svg'/>", "\x89PNG", "hello"} {
		_, err := Make(t.Context(), []byte(data), Recipe{})
		wantCode(t, err, NotAPicture)
	}
}

func TestLimitsAreReadFromTheHeader(t *testing.T) {
	small := asJPEG(t, hangar(64, 64))
	ping := asPNG(t, hangar(64, 64))
	clear := asPNG(t, image.NewNRGBA(image.Rect(0, 0, 64, 64)))
	fullColour := bytes.Clone(small) // every component as fine as the first
	fullColour[bytes.Index(small, []byte{0xff, markSOF0})+11] = 0x11
	scan := small[bytes.Index(small, []byte{0xff, markSOS}) : len(small)-2]
	manyScans := append(bytes.Clone(small[:len(small)-2]), bytes.Repeat(scan, 100)...)
	manyScans = append(manyScans, 0xff, markEOI)
	for name, tt := range map[string]struct {
		data []byte
		code Code
	}{
		"65,500 × 65,500 JPEG":           {withJPEGSize(small, markSOF0, 65500, 65500), TooLarge},
		"20,001 × 64 JPEG":               {withJPEGSize(small, markSOF0, 20001, 64), TooLarge},
		"8,000 × 8,000 JPEG":             {withJPEGSize(small, markSOF0, 8000, 8000), TooLarge},
		"7,700 × 7,700 progressive JPEG": {withJPEGSize(fullColour, markSOF2, 7700, 7700), TooLarge},
		"JPEG without height":            {withJPEGSize(small, markSOF0, 64, 0), Damaged},
		"15 pixels high JPEG":            {withJPEGSize(small, markSOF0, 64, 15), TooSmall},
		"JPEG in 101 passes":             {manyScans, TooLarge},
		"JPEG with passes in a table":    {withSegment(small, markDQT, strings.Repeat("\xff\xda", 101)), TooLarge},
		"lossless JPEG":                  {withJPEGSize(small, 0xc3, 64, 64), Unsupported},
		"arithmetic JPEG":                {withJPEGSize(small, 0xc9, 64, 64), Unsupported},
		"60 million bytes and one":       {append(bytes.Clone(small), make([]byte, maxBytes)...), TooLarge},
		"50,000 × 50,000 PNG":            {withPNGSize(ping, 50000, 50000), TooLarge},
		"PNG wider than allowed":         {withPNGSize(ping, 1<<31, 64), Damaged},
		"PNG without width":              {withPNGSize(ping, 0, 64), Damaged},
		"15 pixels wide PNG":             {withPNGSize(ping, 15, 64), TooSmall},
		"40 million pixels, interlaced":  {interlaced(withPNGSize(clear, 6500, 6200)), TooLarge},
		"PNG without a header":           {[]byte(pngSignature + string(chunk("IEND", ""))), Damaged},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Inspect(tt.data)
			wantCode(t, err, tt.code)
			_, err = Make(t.Context(), tt.data, Recipe{})
			wantCode(t, err, tt.code)
		})
	}
	for name, data := range map[string][]byte{
		"a JPEG of 59 million pixels":             withJPEGSize(fullColour, markSOF0, 7700, 7700),
		"a progressive JPEG of 24 million pixels": withJPEGSize(fullColour, markSOF2, 6000, 4000),
		"a PNG of 40 million pixels":              withPNGSize(clear, 6500, 6200),
		"a JPEG in 100 passes":                    append(append(bytes.Clone(small[:len(small)-2]), bytes.Repeat(scan, 99)...), 0xff, markEOI),
	} {
		if _, err := Inspect(data); err != nil {
			t.Errorf("%s is refused: %v", name, err)
		}
	}
}

// interlaced marks a PNG as stored in seven passes.
func interlaced(data []byte) []byte {
	data[28] = 1
	return withPNGSize(data, binary.BigEndian.Uint32(data[16:]), binary.BigEndian.Uint32(data[20:]))
}

func TestCutShortFilesAreDamaged(t *testing.T) {
	for name, whole := range map[string][]byte{"JPEG": asJPEG(t, hangar(48, 40)), "PNG": asPNG(t, hangar(48, 40))} {
		mustMake(t, whole, Recipe{})
		for n := 8; n < len(whole); n++ {
			_, err := Make(t.Context(), whole[:n], Recipe{})
			if err == nil {
				t.Fatalf("%s cut to %d of %d bytes is accepted", name, n, len(whole))
			}
			wantCode(t, err, Damaged)
		}
	}
}

func TestPrintingInksAreRefused(t *testing.T) {
	small := asJPEG(t, hangar(64, 64))
	at := bytes.Index(small, []byte{0xff, markSOF0})
	four := bytes.Join([][]byte{small[:at+2], {0, 8 + 12}, small[at+4 : at+9], {4}, small[at+10 : at+19], {4, 0x11, 0}, small[at+19:]}, nil)
	_, err := Inspect(four)
	wantCode(t, err, Unsupported)
	if !strings.Contains(err.Error(), "CMYK") {
		t.Errorf("the error says %q", err)
	}
}

func TestSwollenColourProfileIsRefused(t *testing.T) {
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	if _, err := z.Write(make([]byte, maxProfile+1)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	_, err := Inspect(withChunk(asPNG(t, hangar(64, 64)), "iCCP", "p\x00\x00"+packed.String()))
	wantCode(t, err, Damaged)
}

func TestErrorsQuoteNothingOfTheOriginal(t *testing.T) {
	small := asJPEG(t, hangar(64, 64))
	burden := burdened(t, small)
	cut := burden[:bytes.Index(burden, small[2:])+len(small)/2]
	for _, data := range [][]byte{cut, []byte(canary), []byte("GIF89a" + canary), burdened(t, withJPEGSize(small, markSOF0, 65500, 65500))} {
		if _, err := Make(t.Context(), data, Recipe{}); err == nil || strings.Contains(err.Error(), "CANARY") {
			t.Errorf("got %v", err)
		}
	}
}

// Fill bytes before a marker, stray bytes between segments and a late restart
// marker are allowed or common (ITU-T T.81, B.1.1.2).
func TestOddButWholeJPEGsAreRead(t *testing.T) {
	plain := asJPEG(t, hangar(64, 64))
	start := bytes.Index(plain, []byte{0xff, markSOS})
	want := names(mustMake(t, plain, Recipe{}))
	for name, odd := range map[string][]byte{
		"fill bytes":     bytes.Join([][]byte{plain[:2], {0xff, 0xff, 0xff}, plain[2:]}, nil),
		"stray bytes":    bytes.Join([][]byte{plain[:start], {0x00, 0x41}, plain[start:]}, nil),
		"fill at end":    bytes.Join([][]byte{plain[:len(plain)-2], {0xff}, plain[len(plain)-2:]}, nil),
		"late restart":   bytes.Join([][]byte{plain[:len(plain)-2], {0xff, markRST0}, plain[len(plain)-2:]}, nil),
		"zeros behind":   append(bytes.Clone(plain), 0, 0, 0),
		"another behind": append(bytes.Clone(plain), plain...),
	} {
		made, err := Make(t.Context(), odd, Recipe{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if names(made) != want {
			t.Errorf("%s: the copies differ from those of the plain file", name)
		}
	}
}

func TestLongThinPicturesAreMade(t *testing.T) {
	for _, size := range []image.Point{{4000, 16}, {16, 4000}} {
		for _, c := range mustMake(t, asPNG(t, hangar(size.X, size.Y)), Recipe{Focus: Point{1, 1}}) {
			if got := decoded(t, c).Bounds().Max; got != image.Pt(c.Width, c.Height) {
				t.Errorf("%v: %s says %d × %d and has %v", size, c.Use, c.Width, c.Height, got)
			}
		}
	}
}
