package picture

import (
	"encoding/binary"
	"fmt"
	"image"
	"slices"
	"testing"

	"example.org/opencowl/internal/cleared"
)

// Exif 2.32 (CIPA DC-008-2019), Orientation: which side of the scene the first
// row and the first column of the stored picture show.
var sides = [...]struct{ row, column string }{
	1: {"top", "left"},
	2: {"top", "right"},
	3: {"bottom", "right"},
	4: {"bottom", "left"},
	5: {"left", "top"},
	6: {"right", "top"},
	7: {"right", "bottom"},
	8: {"left", "bottom"},
}

// storedAs is a scene as a camera stores it under an orientation.
func storedAs(scene *image.NRGBA, orientation int) *image.NRGBA {
	w, h := scene.Rect.Dx(), scene.Rect.Dy()
	out := image.NewNRGBA(image.Rect(0, 0, w, h))
	if orientation >= 5 {
		out = image.NewNRGBA(image.Rect(0, 0, h, w))
	}
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			var at image.Point
			for side, away := range map[string]int{sides[orientation].row: y, sides[orientation].column: x} {
				switch side {
				case "top":
					at.Y = away
				case "bottom":
					at.Y = h - 1 - away
				case "left":
					at.X = away
				case "right":
					at.X = w - 1 - away
				}
			}
			out.SetNRGBA(x, y, scene.NRGBAAt(at.X, at.Y))
		}
	}
	return out
}

func TestOrientationChangesNothingThatIsSeen(t *testing.T) {
	scene := hangar(90, 56)
	r := Recipe{Hide: []Box{{0.61, 0.1, 0.2, 0.3}}, Focus: Point{0.9, 0.2}}
	want := names(mustMake(t, asPNG(t, scene), r))
	for n := 1; n <= 8; n++ {
		original := withChunk(asPNG(t, storedAs(scene, n)), "eXIf", orientationOnly(n))
		if got := names(mustMake(t, original, r)); got != want {
			t.Errorf("orientation %d: the copies differ from those of the upright picture", n)
		}
		info, err := Inspect(original)
		if err != nil || info.Width != 90 || info.Height != 56 || info.Orientation != n {
			t.Errorf("orientation %d: Inspect gives %+v, %v; want 90 × 56", n, info, err)
		}
	}
}

func TestTurnedPictureIsReducedToTheSameSize(t *testing.T) {
	scene := hangar(1000, 640)
	want := copyFor(t, mustMake(t, asPNG(t, scene), Recipe{}), cleared.Web400)
	for n := 2; n <= 8; n++ {
		got := copyFor(t, mustMake(t, withChunk(asPNG(t, storedAs(scene, n)), "eXIf", orientationOnly(n)), Recipe{}), cleared.Web400)
		if got.Width != want.Width || got.Height != want.Height {
			t.Errorf("orientation %d: got %d × %d, want %d × %d", n, got.Width, got.Height, want.Width, want.Height)
		}
		if d := difference(decoded(t, got), decoded(t, want)); d > 1 {
			t.Errorf("orientation %d: the pixels differ by %.2f on average", n, d)
		}
	}
}

// difference is the mean difference of two pictures of one size, in steps of 255.
func difference(a, b image.Image) float64 {
	sum, count := 0, 0
	for y := a.Bounds().Min.Y; y < a.Bounds().Max.Y; y++ {
		for x := a.Bounds().Min.X; x < a.Bounds().Max.X; x++ {
			r1, g1, b1, _ := a.At(x, y).RGBA()
			r2, g2, b2, _ := b.At(x, y).RGBA()
			for _, d := range []int{int(r1>>8) - int(r2>>8), int(g1>>8) - int(g2>>8), int(b1>>8) - int(b2>>8)} {
				sum, count = sum+max(d, -d), count+1
			}
		}
	}
	return float64(sum) / float64(count)
}

// The set that the resizing library publishes: one scene stored in every
// orientation, each compressed by itself, and one without Exif data.
func TestPublishedOrientationSetIsUpright(t *testing.T) {
	read := func(n int) image.Image {
		data := published(t, "github.com/disintegration/imaging", fmt.Sprintf("testdata/orientation_%d.jpg", n))
		if info, err := Inspect(data); err != nil || info.Orientation != max(n, 1) {
			t.Errorf("orientation_%d.jpg: Inspect gives %+v, %v", n, info, err)
		}
		return decoded(t, copyFor(t, mustMake(t, data, Recipe{}), cleared.Web400))
	}
	want := read(0)
	for n := 1; n <= 8; n++ {
		got := read(n)
		if got.Bounds() != want.Bounds() {
			t.Errorf("orientation_%d.jpg: got %v, want %v", n, got.Bounds(), want.Bounds())
			continue
		}
		if d := difference(got, want); d > 8 {
			t.Errorf("orientation_%d.jpg differs from the upright one by %.1f on average", n, d)
		}
	}
	if d := difference(storedAs(toNRGBA(want), 3), want); d < 30 {
		t.Errorf("upside down the scene differs by %.1f only, so that the check above shows little", d)
	}
}

func toNRGBA(img image.Image) *image.NRGBA {
	out := image.NewNRGBA(img.Bounds())
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			out.Set(x, y, img.At(x, y))
		}
	}
	return out
}

func TestExifReaderIsNotMisled(t *testing.T) {
	loop := []byte("MM\x00*\x00\x00\x00\x08\x00\x01\x87\x69\x00\x04\x00\x00\x00\x01\x00\x00\x00\x08\x00\x00\x00\x08")
	crowded := append([]byte("MM\x00*\x00\x00\x00\x08\xff\xff"), make([]byte, 12*0xffff)...)
	for name, tt := range map[string]struct {
		data string
		want int
	}{
		"big-endian":            {orientationOnly(6), 6},
		"little-endian":         {exifBlock(binary.LittleEndian, []field{{tag: tagOrientation, short: 8}}, nil), 8},
		"0 is none":             {orientationOnly(0), 1},
		"9 is none":             {orientationOnly(9), 1},
		"65535 is none":         {orientationOnly(65535), 1},
		"text is none":          {exifBlock(binary.BigEndian, []field{{tag: tagOrientation, text: "6"}}, nil), 1},
		"empty":                 {"", 1},
		"cut short":             {orientationOnly(6)[:18], 1},
		"a directory far off":   {"MM\x00*\xff\xff\xff\xf0", 1},
		"a directory in a loop": {string(loop), 1},
		"a crowded directory":   {string(crowded), 1},
		"not Exif at all":       {"GPSLatitude and more", 1},
	} {
		t.Run(name, func(t *testing.T) {
			s := source{orientation: 1}
			s.readExif([]byte(tt.data))
			if s.orientation != tt.want {
				t.Errorf("got orientation %d, want %d", s.orientation, tt.want)
			}
		})
	}
}

func TestFirstExifSegmentCounts(t *testing.T) {
	data := withSegment(asJPEG(t, hangar(90, 60)), markAPP1, exifHeader+orientationOnly(3))
	data = withSegment(data, markAPP1, exifHeader+orientationOnly(6)) // comes before the other
	if info, err := Inspect(data); err != nil || info.Orientation != 6 {
		t.Errorf("got %+v, %v; want the orientation of the first, 6", info, err)
	}
}

func TestCrowdedDirectoryIsNotFollowed(t *testing.T) {
	data := []byte("MM\x00*\x00\x00\x00\x08")
	data = binary.BigEndian.AppendUint16(data, maxEntries+1)
	data = append(data, make([]byte, 12*maxEntries)...)
	data = append(data, 0, 0, 0, 8) // an entry, which must not be taken for an offset
	data = append(data, make([]byte, 12)...)
	s := source{orientation: 1}
	if s.readExif(data); len(s.private) > 0 {
		t.Errorf("got %q, want nothing", s.private)
	}
}

func TestInspectNamesWhatIsPrivate(t *testing.T) {
	exif := exifBlock(binary.LittleEndian, []field{
		{tag: tagOrientation, short: 1},
		{tag: tagArtist, text: "Tam Reddle"},
		{tag: tagExif, sub: []field{
			{tag: tagOriginalDate, text: "2031:01:14 10:00:00"},
			{tag: tagMakerNote, text: "notes of the maker"},
			{tag: tagBodySerial, text: "0042137"},
		}},
		{tag: tagGPS, sub: []field{{tag: 1, text: "N"}}},
	}, []field{{tag: 0x0201, short: 99}})
	original := withSegment(asJPEG(t, hangar(90, 60)), markAPP1, exifHeader+exif)
	original = withSegment(original, markAPP1, xmpHeader+"<x:xmpmeta/>")
	original = withSegment(original, markCOM, "hello")
	original = append(original, "PK\x03\x04 a whole archive"...)
	info, err := Inspect(original)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []Private{Position, Serial, Owner, Taken, MakerNotes, SmallPicture, Description, Comment, Trailing} {
		if !slices.Contains(info.Private, want) {
			t.Errorf("%q is not named; got %q", want, info.Private)
		}
	}

	noted := withChunk(withChunk(asPNG(t, hangar(90, 60)), "tEXt", "Comment\x00hello"), "tIME", "\x07\xef\x01\x0e\x0a\x00\x00")
	noted = withChunk(noted, "iTXt", "XML:com.adobe.xmp\x00\x00\x00\x00\x00<exif:GPSLatitude/><aux:SerialNumber/>")
	info, err = Inspect(noted)
	if err != nil {
		t.Fatal(err)
	}
	if want := []Private{Description, Position, Serial, Taken, Comment}; !slices.Equal(info.Private, want) {
		t.Errorf("PNG: got %q, want %q", info.Private, want)
	}
}
