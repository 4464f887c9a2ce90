package picture

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/testtool"
)

// shot draws something like a photo: soft light, flat sheets with hard edges, rows
// of rivets, texture and grain. It is the same on every run.
func shot(w, h int) *image.NRGBA {
	img := noise(w, h) // becomes the grain
	for y := range h {
		for x := range w {
			at := img.PixOffset(x, y)
			grain := (float64(img.Pix[at]) + float64(img.Pix[at+1]) + float64(img.Pix[at+2]) - 382) / 90
			u, v := float64(x)/float64(w), float64(y)/float64(h)
			light := 120 + 70*math.Sin(5*u+1)*math.Cos(4*v) + 14*math.Sin(90*u*v) + grain
			if sheet := (int(7*u) + int(5*v)) % 3; sheet == 1 {
				light -= 45
			}
			if dx, dy := math.Mod(40*u, 1)-0.5, math.Mod(28*v, 1)-0.5; dx*dx+dy*dy < 0.02 {
				light += 40
			}
			warm := 22 * math.Sin(3*v)
			for i, c := range [3]float64{light + warm, light, light - warm + 12*math.Cos(6*u)} {
				img.Pix[at+i] = uint8(max(0, min(255, c)))
			}
		}
	}
	return img
}

// run ends the test unless a program ends well.
func run(t testing.TB, program string, args ...string) {
	t.Helper()
	if said, err := exec.Command(testtool.Need(t, program), args...).CombinedOutput(); err != nil {
		t.Fatalf("%s %q: %v: %s", program, args, err, said)
	}
}

func save(t testing.TB, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func readPNG(t testing.TB, path string) image.Image {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// ssim is the mean structural similarity of the luma of two pictures of one size:
// Wang, Bovik, Sheikh and Simoncelli, "Image Quality Assessment: From Error
// Visibility to Structural Similarity", IEEE Transactions on Image Processing 13(4),
// 2004, equation 13 with K1 = 0.01, K2 = 0.03 and L = 255, over a round Gaussian
// window of 11 × 11 with a deviation of 1.5, at every place where it fits.
func ssim(a, b image.Image) float64 {
	const side, deviation = 11, 1.5
	var window [side]float64
	sum := 0.0
	for i := range window {
		d := float64(i - side/2)
		window[i] = math.Exp(-d * d / (2 * deviation * deviation))
		sum += window[i]
	}
	for i := range window {
		window[i] /= sum
	}
	w, h := a.Bounds().Dx(), a.Bounds().Dy()
	x, y := lumaOf(a), lumaOf(b)
	weighted := func(f func(i int) float64) []float64 {
		across := make([]float64, w*h)
		for r := range h {
			for c := side / 2; c < w-side/2; c++ {
				for k, weight := range window {
					across[r*w+c] += weight * f(r*w+c+k-side/2)
				}
			}
		}
		both := make([]float64, 0, w*h)
		for r := side / 2; r < h-side/2; r++ {
			for c := side / 2; c < w-side/2; c++ {
				v := 0.0
				for k, weight := range window {
					v += weight * across[(r+k-side/2)*w+c]
				}
				both = append(both, v)
			}
		}
		return both
	}
	mx, my := weighted(func(i int) float64 { return x[i] }), weighted(func(i int) float64 { return y[i] })
	xx, yy := weighted(func(i int) float64 { return x[i] * x[i] }), weighted(func(i int) float64 { return y[i] * y[i] })
	xy := weighted(func(i int) float64 { return x[i] * y[i] })
	const c1, c2 = (0.01 * 255) * (0.01 * 255), (0.03 * 255) * (0.03 * 255)
	total := 0.0
	for i := range mx {
		vx, vy, cov := xx[i]-mx[i]*mx[i], yy[i]-my[i]*my[i], xy[i]-mx[i]*my[i]
		total += (2*mx[i]*my[i] + c1) * (2*cov + c2) / ((mx[i]*mx[i] + my[i]*my[i] + c1) * (vx + vy + c2))
	}
	return total / float64(len(mx))
}

func lumaOf(img image.Image) []float64 {
	var all []float64
	for y := img.Bounds().Min.Y; y < img.Bounds().Max.Y; y++ {
		for x := img.Bounds().Min.X; x < img.Bounds().Max.X; x++ {
			r, g, b, _ := img.At(x, y).RGBA()
			all = append(all, (0.299*float64(r)+0.587*float64(g)+0.114*float64(b))/257) // ITU-R BT.601
		}
	}
	return all
}

func TestSSIMKnowsAlikeFromUnlike(t *testing.T) {
	a := shot(120, 90)
	if got := ssim(a, a); math.Abs(got-1) > 1e-12 {
		t.Errorf("a picture and itself: got %v, want 1", got)
	}
	// Two flat pictures have no variance, so that equation 13 is that of luminance:
	// (2·100·120 + C1) ÷ (100² + 120² + C1) with C1 = 6.5025.
	flat := func(v uint8) image.Image {
		g := image.NewGray(image.Rect(0, 0, 20, 20))
		for i := range g.Pix {
			g.Pix[i] = v
		}
		return g
	}
	if got, want := ssim(flat(100), flat(120)), (2*100*120+6.5025)/(100*100+120*120+6.5025); math.Abs(got-want) > 1e-9 {
		t.Errorf("grey 100 and 120: got %v, want %v", got, want)
	}
	moved := image.NewNRGBA(a.Rect)
	copy(moved.Pix[4*2:], a.Pix)
	if got := ssim(a, moved); got > 0.9 {
		t.Errorf("a picture and itself moved by two pixels: got %.3f, which is no measure", got)
	}
}

// The yardstick is the Lanczos reduction of libvips, on the same photo: one that is
// reduced while it is decoded, and one that is not. Most of what is left between
// them is the coding as JPEG.
func TestCopyIsAsGoodAsLanczosByLibvips(t *testing.T) {
	for size, shrink := range map[image.Point]int{{4200, 2800}: 2, {3001, 2003}: 1} {
		original := asJPEG(t, shot(size.X, size.Y))
		file, out := save(t, "photo.jpg", original), filepath.Join(t.TempDir(), "out.png")
		run(t, "vipsthumbnail", file, "--size", "1200x", "-o", out)
		want := readPNG(t, out)
		c := copyFor(t, mustMake(t, original, Recipe{}), cleared.Web1200)
		got := decoded(t, c)
		if got.Bounds().Size() != want.Bounds().Size() {
			t.Fatalf("%v: got %v, want %v", size, got.Bounds(), want.Bounds())
		}
		src, err := open(original)
		if err != nil {
			t.Fatal(err)
		}
		if s := src.shrink(everyUse[:]); s != shrink {
			t.Errorf("%v: reduced by %d while decoding, want %d", size, s, shrink)
		}
		img, err := src.decode(t.Context(), shrink)
		if err != nil {
			t.Fatal(err)
		}
		work, err := reduce(t.Context(), img, src, everyUse[:])
		if err != nil {
			t.Fatal(err)
		}
		uncoded := ladder{src.upright(), []*image.NRGBA{work}}
		coded, bare := ssim(got, want), ssim(uncoded.at(1200), want)
		t.Logf("%v: SSIM %.4f, before it is coded %.4f", size, coded, bare)
		if coded < 0.98 || bare < 0.99 {
			t.Errorf("%v: SSIM %.4f, want at least 0.98; before it is coded %.4f, want at least 0.99", size, coded, bare)
		}
	}
}

// ImageMagick turns each picture by the tag that exiftool wrote. The pictures are
// large enough to be reduced while they are decoded.
func TestEveryOrientationIsUprightAsOthersSeeIt(t *testing.T) {
	scene := shot(1804, 1202)
	var first image.Image
	for n := 1; n <= 8; n++ {
		file := save(t, "stored.jpg", asJPEG(t, storedAs(scene, n)))
		run(t, "exiftool", "-q", "-overwrite_original", "-n", fmt.Sprintf("-Orientation=%d", n), file)
		original, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if info, err := Inspect(original); err != nil || info.Orientation != n || info.Width != 1804 || info.Height != 1202 {
			t.Errorf("orientation %d: Inspect gives %+v, %v", n, info, err)
		}
		c := copyFor(t, mustMake(t, original, Recipe{Uses: []cleared.Use{cleared.Web400}}), cleared.Web400)
		got := decoded(t, c)
		out := filepath.Join(t.TempDir(), "upright.png")
		run(t, "convert", file, "-auto-orient", "-strip", "-filter", "Lanczos", "-resize", "400x267!", out)
		want := readPNG(t, out)
		if d := difference(got, want); d > 4 {
			t.Errorf("orientation %d: differs from ImageMagick's by %.1f on average", n, d)
		}
		if first == nil {
			first = got
		}
		if d := difference(got, first); d > 3 {
			t.Errorf("orientation %d: differs from orientation 1 by %.1f on average", n, d)
		}
	}
	if d := difference(storedAs(toNRGBA(first), 3), first); d < 20 {
		t.Errorf("upside down the scene differs by %.1f only, so that this test shows little", d)
	}
}

// deltaE2000 is CIEDE2000 with all weights 1: CIE 142-2001, in the form of Sharma,
// Wu and Dalal, "The CIEDE2000 Color-Difference Formula", Color Research and
// Application 30(1), 2005.
func deltaE2000(p, q [3]float64) float64 {
	const far = 6103515625 // 25^7
	degrees := func(v float64) float64 { return v * math.Pi / 180 }
	c7 := math.Pow((math.Hypot(p[1], p[2])+math.Hypot(q[1], q[2]))/2, 7)
	g := 0.5 * (1 - math.Sqrt(c7/(c7+far)))
	a1, a2 := (1+g)*p[1], (1+g)*q[1]
	c1, c2 := math.Hypot(a1, p[2]), math.Hypot(a2, q[2])
	hue := func(b, a float64) float64 {
		if a == 0 && b == 0 {
			return 0
		}
		return math.Mod(math.Atan2(b, a)*180/math.Pi+360, 360)
	}
	h1, h2 := hue(p[2], a1), hue(q[2], a2)
	dh, mean := h2-h1, (h1+h2)/2
	switch {
	case c1*c2 == 0:
		dh, mean = 0, h1+h2
	case math.Abs(h1-h2) > 180:
		if dh > 0 {
			dh -= 360
		} else {
			dh += 360
		}
		if h1+h2 < 360 {
			mean += 180
		} else {
			mean -= 180
		}
	}
	dL, dC, dH := q[0]-p[0], c2-c1, 2*math.Sqrt(c1*c2)*math.Sin(degrees(dh)/2)
	mL, mC := (p[0]+q[0])/2, (c1+c2)/2
	t := 1 - 0.17*math.Cos(degrees(mean-30)) + 0.24*math.Cos(degrees(2*mean)) + 0.32*math.Cos(degrees(3*mean+6)) - 0.20*math.Cos(degrees(4*mean-63))
	mC7 := math.Pow(mC, 7)
	turn := -2 * math.Sqrt(mC7/(mC7+far)) * math.Sin(degrees(60*math.Exp(-math.Pow((mean-275)/25, 2))))
	sL := 1 + 0.015*(mL-50)*(mL-50)/math.Sqrt(20+(mL-50)*(mL-50))
	sC, sH := 1+0.045*mC, 1+0.015*mC*t
	l, c, h := dL/sL, dC/sC, dH/sH
	return math.Sqrt(l*l + c*c + h*h + turn*c*h)
}

// Pairs 1, 4, 7, 13, 17, 20, 25 and 34 of table 1 of Sharma, Wu and Dalal (2005).
func TestColourDifferenceIsThePublishedOne(t *testing.T) {
	for _, tt := range []struct {
		p, q [3]float64
		want float64
	}{
		{[3]float64{50, 2.6772, -79.7751}, [3]float64{50, 0, -82.7485}, 2.0425},
		{[3]float64{50, -1.3802, -84.2814}, [3]float64{50, 0, -82.7485}, 1.0000},
		{[3]float64{50, 0, 0}, [3]float64{50, -1, 2}, 2.3669},
		{[3]float64{50, -0.0010, 2.4900}, [3]float64{50, 0.0009, -2.4900}, 4.8045},
		{[3]float64{50, 2.5, 0}, [3]float64{73, 25, -18}, 27.1492},
		{[3]float64{50, 2.5, 0}, [3]float64{58, 24, 15}, 19.4535},
		{[3]float64{60.2574, -34.0099, 36.2677}, [3]float64{60.4626, -34.1751, 39.4387}, 1.2644},
		{[3]float64{2.0776, 0.0795, -1.1350}, [3]float64{0.9033, -0.0636, -0.5514}, 0.9082},
	} {
		if got := deltaE2000(tt.p, tt.q); math.Abs(got-tt.want) > 5e-5 {
			t.Errorf("%v and %v: got %.4f, want %.4f", tt.p, tt.q, got, tt.want)
		}
	}
}

// A whole photo, not a chart: littlecms, through ImageMagick, converts the file by
// its profile, and so do we. As PNG every pixel is held to it. JPEG decoders round
// in different places, by a level, which shows as more than 2 in some dark pixels.
func TestWidePhotosComeOutAsLittlecmsHasThem(t *testing.T) {
	standard := save(t, "srgb.icc", rgbProfile(primarySRGB, curveSRGB))
	plain := asPNG(t, shot(640, 420))
	fine := filepath.Join(t.TempDir(), "fine.jpg")
	run(t, "convert", save(t, "plain.png", plain), "-sampling-factor", "1x1", "-quality", "100", fine) // colour as fine as light
	coded, err := os.ReadFile(fine)
	if err != nil {
		t.Fatal(err)
	}
	adobe, p3 := rgbProfile(primaryAdobe, curveGamma), rgbProfile(primaryP3, curveSRGB)
	for _, tt := range []struct {
		name     string
		original []byte
		share    float64 // of the pixels
	}{
		{"Display P3, PNG", pngProfile(t, plain, p3), 1},
		{"Adobe RGB, PNG", pngProfile(t, plain, adobe), 1},
		{"Display P3, JPEG", jpegProfile(coded, p3), 0.99},
		{"Adobe RGB, JPEG", jpegProfile(coded, adobe), 0.99},
	} {
		file, out := save(t, "photo", tt.original), filepath.Join(t.TempDir(), "out.png")
		run(t, "convert", file, "+black-point-compensation", "-intent", "relative", "-profile", standard, "-depth", "16", "PNG48:"+out)
		want := readPNG(t, out)
		most, mean := apart2000(reduced(t, tt.original), want, tt.share)
		bare, _ := apart2000(shot(640, 420), want, tt.share)
		t.Logf("%s: ΔE2000 up to %.2f, %.2f on average; profile left out, up to %.2f", tt.name, most, mean, bare)
		if most > 2 || mean > 0.5 {
			t.Errorf("%s: ΔE2000 up to %.2f, %.2f on average; want at most 2 and 0.5", tt.name, most, mean)
		}
		if bare < 2.5 {
			t.Errorf("%s: with the profile left out ΔE2000 is up to %.2f, so that this test shows little", tt.name, bare)
		}
	}
}

// apart2000 gives the CIEDE2000 difference of two pictures that a share of the
// pixels keeps within, and the mean.
func apart2000(a, b image.Image, share float64) (most, mean float64) {
	var all []float64
	for y := range a.Bounds().Dy() {
		for x := range a.Bounds().Dx() {
			all = append(all, deltaE2000(lab(a.At(x, y)), lab(b.At(x, y))))
			mean += all[len(all)-1]
		}
	}
	slices.Sort(all)
	return all[int(share*float64(len(all)-1))], mean / float64(len(all))
}

// Every JPEG picture with which a metadata library is tested: cameras of many
// makers, phones, agencies and editors.
func TestNoPrivateTagIsLeftOfAnyPublishedPicture(t *testing.T) {
	root := publishedDir(t, "github.com/bep/imagemeta")
	names, err := filepath.Glob(filepath.Join(root, "testdata/images/*.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	for _, folder := range []string{"bep", "goexif", "metadata-extractor", "smoke"} {
		more, err := filepath.Glob(filepath.Join(root, "testdata/images", folder, "*.[jJ][pP]*[gG]"))
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, more...)
	}
	dir := t.TempDir()
	originals := map[string][]byte{"burdened.jpg": burdened(t, asJPEG(t, hangar(700, 500)))}
	for _, name := range names {
		if originals[filepath.Base(name)], err = os.ReadFile(name); err != nil {
			t.Fatal(err)
		}
	}
	kinds := map[string]int{}
	made := 0
	for name, original := range originals {
		copies, err := Make(t.Context(), original, Recipe{Alt: "a bench", Credit: "Tam Reddle", Copyright: "© Marram Sound Flying Boat Trust"})
		if err != nil {
			continue // cut short on purpose, or smaller than any use
		}
		made++
		for tag := range listTags(t, original) {
			group, _, _ := strings.Cut(tag, ":")
			kinds[group]++
		}
		for _, c := range copies {
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%s.jpg", name, c.Use)), c.JPEG, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("%d of %d originals have copies; groups of tags in them: %v", made, len(originals), kinds)
	if made < 12 {
		t.Errorf("only %d originals have copies, want 12 or more", made)
	}
	for _, group := range []string{"IFD0", "ExifIFD", "GPS", "IFD1", "IPTC", "XMP-dc", "ICC-header", "JFIF", "Adobe", "Photoshop", "InteropIFD"} {
		if kinds[group] == 0 {
			t.Errorf("none of the originals has tags of the group %s", group)
		}
	}
	may := append(slices.Clone(structure), "XMP-iptcCore:AltTextAccessibility", "XMP-dc:Creator", "XMP-photoshop:Credit", "XMP-dc:Rights", "XMP-xmpRights:Marked")
	for file, tags := range listAllTags(t, dir) {
		for tag, value := range tags {
			if !slices.Contains(may, tag) {
				t.Errorf("%s: exiftool finds %s, %q", filepath.Base(file), tag, value)
			}
		}
	}
}

// Originals of a size that is reduced while it is decoded, alike but for what is
// under the box. How their colour is sampled decides which blocks the box touches.
func TestWhatIsUnderAHideBoxShapesNothingThatIsReduced(t *testing.T) {
	const w, h = 2431, 1620
	r := Recipe{Hide: []Box{{0.3001, 0.4025, 0.0927, 0.1101}}, Focus: Point{0.35, 0.45}}
	under := r.Hide[0].pixels(image.Pt(w, h))
	scenes := [2]*image.NRGBA{}
	for i := range scenes {
		scenes[i] = shot(w, h)
		for y := under.Min.Y; y < under.Max.Y; y++ {
			for x := under.Min.X; x < under.Max.X; x++ {
				if (x/3+y/5)%3 > 0 {
					scenes[i].SetNRGBA(x, y, []color.NRGBA{{250, 250, 20, 255}, {0, 0, 200, 255}}[i])
				}
			}
		}
	}
	for _, tt := range []struct {
		sampling, interlace string
		orientation         int
	}{{"2x2", "none", 1}, {"4x1", "none", 6}, {"1x1", "JPEG", 3}, {"2x1", "JPEG", 8}} {
		var originals [2][]byte
		for i, scene := range scenes {
			in, out := save(t, "in.png", asPNG(t, storedAs(scene, tt.orientation))), filepath.Join(t.TempDir(), "out.jpg")
			run(t, "convert", in, "-sampling-factor", tt.sampling, "-interlace", tt.interlace, "-quality", "90", out)
			data, err := os.ReadFile(out)
			if err != nil {
				t.Fatal(err)
			}
			originals[i] = withSegment(data, markAPP1, exifHeader+orientationOnly(tt.orientation))
		}
		for shrink, uses := range map[int][]cleared.Use{2: {cleared.Web800}, 4: {cleared.Web400, cleared.Thumbnail}, 8: {cleared.Thumbnail}} {
			r := r
			r.Uses = uses
			src, err := open(originals[0])
			if err != nil {
				t.Fatal(err)
			}
			if got := src.shrink(r.uses()); got != shrink {
				t.Errorf("%v, %v: reduced by %d while decoding, want %d", tt, uses, got, shrink)
			}
			if a, b := names(mustMake(t, originals[0], r)), names(mustMake(t, originals[1], r)); a != b {
				t.Errorf("%v, %v: two originals that differ under the box alone give different copies", tt, uses)
			}
			r.Hide = nil
			if a, b := names(mustMake(t, originals[0], r)), names(mustMake(t, originals[1], r)); a == b {
				t.Errorf("%v, %v: without the box the copies are alike, so that this test shows nothing", tt, uses)
			}
		}
	}
}

func TestShrinkLeavesEnoughToBeSharp(t *testing.T) {
	for _, tt := range []struct {
		size        image.Point
		orientation int
		uses        []cleared.Use
		want        int
	}{
		{image.Pt(6000, 4000), 1, nil, 2},
		{image.Pt(6000, 4000), 6, nil, 2}, // 4000 wide when upright: 2000 is 1.25 × 1600
		{image.Pt(3999, 6000), 1, nil, 1},
		{image.Pt(4000, 3000), 1, []cleared.Use{cleared.Web1600}, 2},
		{image.Pt(3999, 3000), 1, []cleared.Use{cleared.Web1600}, 1},
		{image.Pt(6000, 4000), 1, []cleared.Use{cleared.Web400}, 8},
		{image.Pt(6000, 4000), 1, []cleared.Use{cleared.Thumbnail}, 8},
		{image.Pt(6000, 4000), 1, []cleared.Use{cleared.Web800}, 4},
		{image.Pt(10000, 2000), 1, []cleared.Use{cleared.Card}, 1}, // the crop is 3000 wide
		{image.Pt(640, 480), 1, nil, 1},
	} {
		s := source{format: "JPEG", size: tt.size, orientation: tt.orientation}
		if got := s.shrink(Recipe{Uses: tt.uses}.uses()); got != tt.want {
			t.Errorf("%v, orientation %d, %v: ÷ %d, want %d", tt.size, tt.orientation, tt.uses, got, tt.want)
		}
		if s.format = "PNG"; s.shrink(everyUse[:]) != 1 {
			t.Errorf("a PNG is reduced while decoding")
		}
	}
}
