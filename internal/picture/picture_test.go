package picture

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"image"
	"image/color"
	"math"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
)

func TestEachUseHasItsSize(t *testing.T) {
	tests := []struct {
		name string
		w, h int
		want string
	}{
		{"a camera's 3:2", 2400, 1600,
			"web-400 400×267, web-800 800×533, web-1200 1200×800, web-1600 1600×1067, letter 1200×800, card 1500×1000, thumbnail 240×160"},
		{"upright 3:4", 1800, 2400,
			"web-400 400×533, web-800 800×1067, web-1200 1200×1600, web-1600 1600×2133, letter 1200×1600, card 1500×1000, thumbnail 240×160"},
		{"wide and low", 4500, 900,
			"web-400 400×80, web-800 800×160, web-1200 1200×240, web-1600 1600×320, letter 1200×240, card 1350×900, thumbnail 240×160"},
		{"narrower than three of the widths", 600, 400,
			"web-400 400×267, web-800 600×400, letter 600×400, card 600×400, thumbnail 240×160"},
		{"narrower than all", 120, 200,
			"web-400 120×200, letter 120×200, card 120×80, thumbnail 120×80"},
		{"just one of the widths", 800, 600,
			"web-400 400×300, web-800 800×600, letter 800×600, card 800×533, thumbnail 240×160"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got []string
			for _, c := range mustMake(t, asJPEG(t, hangar(tt.w, tt.h)), Recipe{}) {
				got = append(got, fmt.Sprintf("%s %d×%d", c.Use, c.Width, c.Height))
				if size := decoded(t, c).Bounds().Max; size != image.Pt(c.Width, c.Height) {
					t.Errorf("%s says %d×%d and has %v", c.Use, c.Width, c.Height, size)
				}
			}
			if g := strings.Join(got, ", "); g != tt.want {
				t.Errorf("a picture of %d × %d\n got %s\nwant %s", tt.w, tt.h, g, tt.want)
			}
		})
	}
}

func TestOnlyWhatIsAskedForIsMadeAndInOneOrder(t *testing.T) {
	original := asJPEG(t, hangar(900, 600))
	var got []cleared.Use
	for _, c := range mustMake(t, original, Recipe{Uses: []cleared.Use{cleared.Card, cleared.Web400, cleared.Card}}) {
		got = append(got, c.Use)
	}
	if want := []cleared.Use{cleared.Web400, cleared.Card}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	narrow := mustMake(t, original, Recipe{Uses: []cleared.Use{cleared.Web1600}})
	if len(narrow) != 1 || narrow[0].Width != 900 {
		t.Errorf("a picture 900 wide, asked for web-1600 alone: got %d copies, the first %d wide; want one, 900 wide", len(narrow), narrow[0].Width)
	}
}

func TestNameIsTheDigestOfTheBytes(t *testing.T) {
	for _, c := range mustMake(t, asJPEG(t, hangar(500, 400)), Recipe{Alt: "a strip"}) {
		sum := sha256.Sum256(c.JPEG)
		if want := fmt.Sprintf("%x.jpg", sum)[:32] + ".jpg"; c.Name != want {
			t.Errorf("%s: got name %s, want %s", c.Use, c.Name, want)
		}
	}
}

func TestLetterFits250kB(t *testing.T) {
	original := asJPEG(t, noise(1400, 1400))
	c := copyFor(t, mustMake(t, original, Recipe{Uses: []cleared.Use{cleared.Letter}}), cleared.Letter)
	if len(c.JPEG) > 250_000 {
		t.Errorf("got %d bytes, want at most 250,000", len(c.JPEG))
	}
	if size := decoded(t, c).Bounds().Max; size != image.Pt(c.Width, c.Height) || size.X != size.Y {
		t.Errorf("says %d×%d, has %v; want a square", c.Width, c.Height, size)
	}
	plain := copyFor(t, mustMake(t, asJPEG(t, hangar(1400, 1000)), Recipe{}), cleared.Letter)
	if plain.Width != 1200 {
		t.Errorf("a picture that fits: got %d wide, want 1200", plain.Width)
	}
}

func TestSameInputSameBytes(t *testing.T) {
	original := asJPEG(t, hangar(1700, 1100))
	r := Recipe{Focus: Point{0.2, 0.7}, Hide: []Box{{0.5, 0.5, 0.1, 0.1}}, Alt: "a", Credit: "c"}
	first := names(mustMake(t, original, r))
	for range 3 {
		if again := names(mustMake(t, original, r)); again != first {
			t.Fatalf("two runs differ:\n%s\n%s", first, again)
		}
	}
}

func TestWhatIsUnderAHideBoxShapesNothing(t *testing.T) {
	plate := func(text color.NRGBA) *image.NRGBA {
		img := hangar(1000, 750)
		for y := 301; y < 407; y++ { // within the box below, to its last pixel
			for x := 500; x < 633; x++ {
				if (x+y)%3 > 0 {
					img.SetNRGBA(x, y, text)
				}
			}
		}
		return img
	}
	// Touches pixels 500 to 632 across and 301 to 406 down.
	r := Recipe{Hide: []Box{{0.5001, 0.4025, 0.1327, 0.1401}}, Focus: Point{0.55, 0.45}}
	one, other := plate(color.NRGBA{250, 250, 20, 255}), plate(color.NRGBA{0, 0, 200, 255})
	for _, coded := range []struct {
		name string
		as   func(testing.TB, image.Image) []byte
	}{{"PNG", asPNG}, {"JPEG", asJPEG}} {
		a, b := coded.as(t, one), coded.as(t, other)
		if hidden, too := names(mustMake(t, a, r)), names(mustMake(t, b, r)); hidden != too {
			t.Errorf("%s: two originals that differ under the box alone give different copies", coded.name)
		}
		if bare, too := names(mustMake(t, a, Recipe{})), names(mustMake(t, b, Recipe{})); bare == too {
			t.Errorf("%s: without the box the copies are alike, so that this test shows nothing", coded.name)
		}
	}
}

func TestHideBoxCoversEveryPixelItTouches(t *testing.T) {
	white := image.NewNRGBA(image.Rect(0, 0, 300, 200))
	for i := range white.Pix {
		white.Pix[i] = 255
	}
	// 30.3 to 60.6 across and 50.5 to 100.5 down: pixels 30 to 60, 50 to 100.
	img := openHidden(t, asPNG(t, white), Box{0.101, 0.2525, 0.101, 0.25})
	for y := range 200 {
		for x := range 300 {
			inside := x >= 30 && x <= 60 && y >= 50 && y <= 100
			want := color.Color(color.White)
			if inside {
				want = cover
			}
			if !near(img.At(x, y), want, 0) {
				t.Fatalf("pixel %d, %d: got %v, want %v", x, y, img.At(x, y), want)
			}
		}
	}
}

// openHidden decodes an original and applies one hide box.
func openHidden(t *testing.T, original []byte, b Box) image.Image {
	t.Helper()
	src, err := open(original)
	if err != nil {
		t.Fatal(err)
	}
	img, err := src.decode(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	hide(img, stored(b.pixels(src.upright()), src.orientation, src.upright()), src.block, 1)
	return img
}

func TestHideBoxPastTheEdgeIsCutOffThere(t *testing.T) {
	img := decoded(t, copyFor(t, mustMake(t, asPNG(t, hangar(320, 240)), Recipe{Hide: []Box{{-0.5, -0.5, 0.75, 0.75}}}), cleared.Web400))
	if got := img.At(10, 10); !near(got, cover, 3) {
		t.Errorf("inside the box: got %v, want %v", got, cover)
	}
	if got := img.At(200, 200); near(got, cover, 3) {
		t.Errorf("outside the box: got the cover's colour")
	}
}

func TestCropKeepsTheFocusInView(t *testing.T) {
	tests := []struct {
		size  image.Point
		focus Point
		want  image.Rectangle
	}{
		{image.Pt(3000, 1000), Point{0.5, 0.5}, image.Rect(750, 0, 2250, 1000)},
		{image.Pt(3000, 1000), Point{0, 1}, image.Rect(0, 0, 1500, 1000)},
		{image.Pt(3000, 1000), Point{1, 0}, image.Rect(1500, 0, 3000, 1000)},
		{image.Pt(3000, 1000), Point{0.3, 0.5}, image.Rect(150, 0, 1650, 1000)},
		{image.Pt(900, 1200), Point{0.5, 0.25}, image.Rect(0, 0, 900, 600)},
		{image.Pt(900, 1200), Point{0.5, 0.4}, image.Rect(0, 180, 900, 780)},
		{image.Pt(900, 600), Point{0.9, 0.9}, image.Rect(0, 0, 900, 600)},
		{image.Pt(20000, 16), Point{0.5, 0.5}, image.Rect(9988, 0, 10012, 16)},
	}
	for _, tt := range tests {
		if got := crop(tt.size, tt.focus); got != tt.want {
			t.Errorf("crop of %v about %v: got %v, want %v", tt.size, tt.focus, got, tt.want)
		}
	}
	if (Recipe{}).focus() != (Point{0.5, 0.5}) {
		t.Errorf("a recipe without a focus crops about %v, want the middle", (Recipe{}).focus())
	}
}

func TestRecipeThatCannotBeFollowedIsRefused(t *testing.T) {
	original := asPNG(t, hangar(60, 40))
	for name, r := range map[string]Recipe{
		"a box in percent":      {Hide: []Box{{10, 20, 5, 4}}},
		"a box without width":   {Hide: []Box{{0.1, 0.1, 0, 0.1}}},
		"a box of no number":    {Hide: []Box{{0.1, math.NaN(), 0.1, 0.1}}},
		"an endless box":        {Hide: []Box{{0.1, 0.1, math.Inf(1), 0.1}}},
		"a box left of it":      {Hide: []Box{{-0.2, 0.1, 0.1, 0.1}}},
		"a focus in pixels":     {Focus: Point{400, 300}},
		"a focus of no number":  {Focus: Point{math.NaN(), 0.5}},
		"an unknown use":        {Uses: []cleared.Use{"poster"}},
		"more words than fit":   {Caption: strings.Repeat("long ", 14_000)},
		"words that grow a lot": {Caption: strings.Repeat("<", 20_000)},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Make(t.Context(), original, r)
			wantCode(t, err, BadRecipe)
		})
	}
}

// Every way in which PNG stores colour: PNG (third edition), table 12.
func TestPNGOfEveryKindIsLaidOnWhite(t *testing.T) {
	half := color.NRGBA{200, 0, 0, 128}
	onWhite := color.NRGBA{227, 127, 127, 255} // 200 × 128/255 + 255 × 127/255; 127
	bounds := image.Rect(0, 0, 40, 40)
	fill := func(img interface {
		image.Image
		Set(x, y int, c color.Color)
	}, c color.Color) image.Image {
		for y := range 40 {
			for x := range 40 {
				img.Set(x, y, c)
			}
		}
		return img
	}
	many := color.Palette{half}
	for i := range 16 {
		many = append(many, color.NRGBA{uint8(i), 1, 2, 255})
	}
	broken := image.NewPaletted(bounds, many)
	for i := range broken.Pix {
		broken.Pix[i] = 200 // past the end of the palette
	}
	for _, tt := range []struct {
		name string
		img  image.Image
		want color.Color
	}{
		{"palette, see-through", fill(image.NewPaletted(bounds, color.Palette{half, color.Black}), half), onWhite},
		{"palette, index past its end", broken, color.Black},
		{"8-bit grey", fill(image.NewGray(bounds), color.Gray{77}), color.Gray{77}},
		{"16-bit grey", fill(image.NewGray16(bounds), color.Gray16{0x4d4d}), color.Gray{77}},
		{"8-bit colour", fill(image.NewRGBA(bounds), color.RGBA{9, 99, 199, 255}), color.RGBA{9, 99, 199, 255}},
		{"8-bit colour, see-through", fill(image.NewNRGBA(bounds), half), onWhite},
		{"16-bit colour, see-through", fill(image.NewNRGBA64(bounds), half), onWhite},
		{"16-bit colour", fill(image.NewRGBA64(bounds), color.RGBA{9, 99, 199, 255}), color.RGBA{9, 99, 199, 255}},
		{"all clear", fill(image.NewNRGBA(bounds), color.NRGBA{}), color.White},
	} {
		t.Run(tt.name, func(t *testing.T) {
			img := decoded(t, copyFor(t, mustMake(t, asPNG(t, tt.img), Recipe{}), cleared.Web400))
			if got := img.At(20, 20); !near(got, tt.want, 3) {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}

// countdown is a context that ends after it has been asked a number of times.
type countdown struct {
	context.Context
	left int
}

func (c *countdown) Err() error {
	if c.left--; c.left < 0 {
		return context.Canceled
	}
	return nil
}

func TestCancelledMakeStopsAtEveryStep(t *testing.T) {
	original := asJPEG(t, noise(300, 200))
	steps := 0
	for ; ; steps++ {
		made, err := Make(&countdown{t.Context(), steps}, original, Recipe{})
		if err == nil {
			break
		}
		if err != context.Canceled || made != nil {
			t.Fatalf("cancelled after %d questions: got %d copies and %v, want none and context.Canceled", steps, len(made), err)
		}
	}
	// Decoding alone asks once for every few thousand bytes.
	if want := len(original)/4096 + 5; steps < want {
		t.Errorf("asked whether to go on %d times, want at least %d", steps, want)
	}
}

func TestInspectTellsSizeAndFormat(t *testing.T) {
	jpegged := withSegment(asJPEG(t, hangar(90, 60)), markAPP1, exifHeader+orientationOnly(6))
	got, err := Inspect(jpegged)
	if err != nil {
		t.Fatal(err)
	}
	if got.Width != 60 || got.Height != 90 || got.Format != "JPEG" || got.Orientation != 6 || len(got.Private) != 0 {
		t.Errorf("got %+v, want 60 × 90, JPEG, orientation 6, nothing private", got)
	}
	got, err = Inspect(asPNG(t, hangar(90, 60)))
	if err != nil {
		t.Fatal(err)
	}
	if got.Width != 90 || got.Height != 60 || got.Format != "PNG" || got.Orientation != 1 || len(got.Private) != 0 {
		t.Errorf("got %+v, want 90 × 60, PNG, orientation 1, nothing private", got)
	}
}

func TestReducedPictureKeepsItsColoursFlat(t *testing.T) {
	flat := image.NewNRGBA(image.Rect(0, 0, 2000, 1500))
	paint := color.NRGBA{52, 78, 65, 255}
	for i := range flat.Pix {
		flat.Pix[i] = []byte{paint.R, paint.G, paint.B, paint.A}[i%4]
	}
	for _, c := range mustMake(t, asPNG(t, flat), Recipe{}) {
		img := decoded(t, c)
		for _, at := range []image.Point{{}, {c.Width / 2, c.Height / 2}, {c.Width - 1, c.Height - 1}} {
			if got := img.At(at.X, at.Y); !near(got, paint, 2) {
				t.Errorf("%s at %v: got %v, want %v", c.Use, at, got, paint)
			}
		}
	}
}

func TestCopiesHoldOnePictureEach(t *testing.T) {
	for _, c := range mustMake(t, asJPEG(t, hangar(400, 300)), Recipe{Credit: "Tam Reddle"}) {
		if n := bytes.Count(c.JPEG, []byte{0xff, 0xd8, 0xff}); n != 1 || !bytes.HasSuffix(c.JPEG, []byte{0xff, 0xd9}) {
			t.Errorf("%s: got %d start markers, want 1 and an end marker last", c.Use, n)
		}
	}
}
