package picture

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/testtool"
)

// chromaticity is a colour as CIE x, y.
type chromaticity [2]float64

// Published primaries. sRGB: IEC 61966-2-1. Adobe RGB: Adobe RGB (1998) Color
// Image Encoding, 4.3.1. Display P3: SMPTE EG 432-1 with the white of sRGB.
var (
	d65          = chromaticity{0.3127, 0.3290}
	primarySRGB  = [3]chromaticity{{0.64, 0.33}, {0.30, 0.60}, {0.15, 0.06}}
	primaryAdobe = [3]chromaticity{{0.64, 0.33}, {0.21, 0.71}, {0.15, 0.06}}
	primaryP3    = [3]chromaticity{{0.680, 0.320}, {0.265, 0.690}, {0.150, 0.060}}
)

// whiteD50 is the white of profile connection: ICC.1:2022, 7.2.16.
var whiteD50 = [3]float64{0.9642, 1, 0.8249}

// bradford is the cone response matrix of ICC.1:2022, annex E.3.
var bradford = matrix{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}

type matrix [3][3]float64

func (m matrix) times(v [3]float64) (out [3]float64) {
	for i := range 3 {
		for j := range 3 {
			out[i] += m[i][j] * v[j]
		}
	}
	return out
}

func (m matrix) by(n matrix) (out matrix) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out[i][j] += m[i][k] * n[k][j]
			}
		}
	}
	return out
}

func (m matrix) inverse() (out matrix) {
	det := 0.0
	for i := range 3 {
		for j := range 3 {
			out[j][i] = m[(i+1)%3][(j+1)%3]*m[(i+2)%3][(j+2)%3] - m[(i+1)%3][(j+2)%3]*m[(i+2)%3][(j+1)%3]
		}
	}
	for k := range 3 {
		det += m[0][k] * out[k][0]
	}
	for i := range 3 {
		for j := range 3 {
			out[i][j] /= det
		}
	}
	return out
}

func (c chromaticity) xyz() [3]float64 { return [3]float64{c[0] / c[1], 1, (1 - c[0] - c[1]) / c[1]} }

// primaries works out the matrix from RGB to XYZ relative to D50: scaled so that
// equal amounts give the white, then adapted to D50 by the Bradford method.
func primaries(p [3]chromaticity) matrix {
	var m matrix
	for j := range 3 {
		for i, v := range p[j].xyz() {
			m[i][j] = v
		}
	}
	amounts := m.inverse().times(d65.xyz())
	for i := range 3 {
		for j := range 3 {
			m[i][j] *= amounts[j]
		}
	}
	from, to := bradford.times(d65.xyz()), bradford.times(whiteD50)
	adapt := bradford.inverse().by(matrix{{to[0] / from[0]}, {0, to[1] / from[1]}, {0, 0, to[2] / from[2]}}.by(bradford))
	return adapt.by(m)
}

func TestMatricesFollowFromThePublishedPrimaries(t *testing.T) {
	for name, tt := range map[string]struct{ got, want matrix }{
		"Adobe RGB":     {spaceAdobe.toXYZ, primaries(primaryAdobe)},
		"Display P3":    {spaceP3.toXYZ, primaries(primaryP3)},
		"XYZ to linear": {xyzToSRGB, primaries(primarySRGB).inverse()},
	} {
		for i := range 3 {
			for j := range 3 {
				// D50 and D65 are rounded differently from one source to another.
				if math.Abs(tt.got[i][j]-tt.want[i][j]) > 0.002 {
					t.Errorf("%s, row %d, column %d: got %.5f, want %.5f", name, i, j, tt.got[i][j], tt.want[i][j])
				}
			}
		}
	}
}

// Curves as ICC profiles write them.
var (
	curveGamma = "curv\x00\x00\x00\x00\x00\x00\x00\x01\x02\x33" // 563/256
	curveLine  = "curv\x00\x00\x00\x00\x00\x00\x00\x00"
	curveSRGB  = parametric(3, 2.4, 1/1.055, 0.055/1.055, 1/12.92, 0.04045)
)

func s15Fixed16(v float64) string {
	return string(binary.BigEndian.AppendUint32(nil, uint32(int32(math.Round(v*65536)))))
}

func parametric(form byte, numbers ...float64) string {
	s := "para\x00\x00\x00\x00\x00" + string(form) + "\x00\x00"
	for _, n := range numbers {
		s += s15Fixed16(n)
	}
	return s
}

func sampled(points int, f func(float64) float64) string {
	s := binary.BigEndian.AppendUint32([]byte("curv\x00\x00\x00\x00"), uint32(points))
	for i := range points {
		s = binary.BigEndian.AppendUint16(s, uint16(math.Round(65535*f(float64(i)/float64(points-1)))))
	}
	return string(s)
}

type tag struct{ name, data string }

// matrixProfile writes the tags of an RGB profile.
func matrixProfile(m matrix, curve string) []tag {
	column := func(j int) string {
		return "XYZ \x00\x00\x00\x00" + s15Fixed16(m[0][j]) + s15Fixed16(m[1][j]) + s15Fixed16(m[2][j])
	}
	white := "XYZ \x00\x00\x00\x00" + s15Fixed16(whiteD50[0]) + s15Fixed16(whiteD50[1]) + s15Fixed16(whiteD50[2])
	return []tag{
		{"desc", "desc\x00\x00\x00\x00\x00\x00\x00\x05test\x00" + string(make([]byte, 78))},
		{"wtpt", white},
		{"rXYZ", column(0)}, {"gXYZ", column(1)}, {"bXYZ", column(2)},
		{"rTRC", curve}, {"gTRC", curve}, {"bTRC", curve},
		{"cprt", "text\x00\x00\x00\x00none\x00"},
	}
}

// profileFile writes a display profile: ICC.1:2022, 7.2 and 7.3.
func profileFile(colours, connection string, tags []tag) []byte {
	table := binary.BigEndian.AppendUint32(nil, uint32(len(tags)))
	var data []byte
	at := 128 + 4 + 12*len(tags)
	for _, tg := range tags {
		table = append(table, tg.name...)
		table = binary.BigEndian.AppendUint32(table, uint32(at+len(data)))
		table = binary.BigEndian.AppendUint32(table, uint32(len(tg.data)))
		data = append(data, tg.data...)
		for len(data)%4 != 0 {
			data = append(data, 0)
		}
	}
	header := make([]byte, 128)
	binary.BigEndian.PutUint32(header, uint32(at+len(data)))
	copy(header[8:], "\x04\x30\x00\x00mntr"+colours+connection)
	copy(header[36:], "acsp")
	copy(header[68:], s15Fixed16(whiteD50[0])+s15Fixed16(whiteD50[1])+s15Fixed16(whiteD50[2]))
	return append(append(header, table...), data...)
}

func rgbProfile(p [3]chromaticity, curve string) []byte {
	return profileFile("RGB ", "XYZ ", matrixProfile(primaries(p), curve))
}

func pngProfile(t testing.TB, data, profile []byte) []byte {
	t.Helper()
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	if _, err := z.Write(profile); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return withChunk(data, "iCCP", "test\x00\x00"+packed.String())
}

func jpegProfile(data, profile []byte) []byte {
	const most = 300 // far less than fits, so that the profile comes in pieces
	count := (len(profile) + most - 1) / most
	for i := count; i >= 1; i-- { // each goes to the front
		piece := profile[(i-1)*most : min(i*most, len(profile))]
		data = withSegment(data, markAPP2, profileHeader+string([]byte{byte(i), byte(count)})+string(piece))
	}
	return data
}

// chart holds colours from all over the cube.
func chart() *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, 64, 64))
	for i := range 64 * 64 {
		img.SetNRGBA(i%64, i/64, color.NRGBA{uint8(i % 16 * 17), uint8(i / 16 % 16 * 17), uint8(i / 256 * 17), 255})
	}
	return img
}

// reduced is what copies are made from: upright, in sRGB, not yet coded.
func reduced(t testing.TB, original []byte) *image.NRGBA {
	t.Helper()
	src, err := open(original)
	if err != nil {
		t.Fatal(err)
	}
	toSRGB, err := src.colours()
	if err != nil {
		t.Fatal(err)
	}
	img, err := src.decode(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	work, err := reduce(t.Context(), img, src, everyUse[:])
	if err != nil {
		t.Fatal(err)
	}
	toSRGB.apply(work)
	return work
}

// lab gives an sRGB colour as CIE L*a*b* relative to D50.
func lab(c color.Color) [3]float64 {
	r, g, b, _ := c.RGBA()
	xyz := primaries(primarySRGB).times([3]float64{
		srgbLinear(float64(r) / 65535), srgbLinear(float64(g) / 65535), srgbLinear(float64(b) / 65535),
	})
	f := func(i int) float64 {
		v := xyz[i] / whiteD50[i]
		if v > 216.0/24389 {
			return math.Cbrt(v)
		}
		return (24389.0/27*v + 16) / 116
	}
	return [3]float64{116*f(1) - 16, 500 * (f(0) - f(1)), 200 * (f(1) - f(2))}
}

// apart gives the largest and the mean CIE 1976 colour difference of two pictures.
func apart(a, b image.Image) (most, mean float64) {
	bounds := a.Bounds()
	for y := bounds.Min.Y; y < bounds.Max.Y; y++ {
		for x := bounds.Min.X; x < bounds.Max.X; x++ {
			p, q := lab(a.At(x, y)), lab(b.At(x, y))
			d := math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
			most, mean = max(most, d), mean+d
		}
	}
	return most, mean / float64(bounds.Dx()*bounds.Dy())
}

// profiles are those that the product promises to read, by every kind of curve.
func profiles() map[string][]byte {
	gamma := func(v float64) float64 { return math.Pow(v, 1.8) }
	return map[string][]byte{
		"Display P3, formula":  rgbProfile(primaryP3, curveSRGB),
		"Adobe RGB, gamma":     rgbProfile(primaryAdobe, curveGamma),
		"P3, 1024 points":      rgbProfile(primaryP3, sampled(1024, srgbLinear)),
		"Adobe, points of 1.8": rgbProfile(primaryAdobe, sampled(256, gamma)),
		"linear sRGB":          rgbProfile(primarySRGB, curveLine),
		"P3, form 0":           rgbProfile(primaryP3, parametric(0, 2.2)),
		"P3, form 1":           rgbProfile(primaryP3, parametric(1, 2.2, 1.1, -0.1)),
		"P3, form 2":           rgbProfile(primaryP3, parametric(2, 2.2, 1, -0.1, 0.05)),
		"P3, form 4":           rgbProfile(primaryP3, parametric(4, 2.4, 0.93, 0.05, 0.07, 0.05, 0.01, 0.002)),
	}
}

// littlecms, through ImageMagick, is the reference: both read the same file.
func TestColoursAgreeWithLittlecms(t *testing.T) {
	convert := testtool.Need(t, "convert")
	dir := t.TempDir()
	standard := filepath.Join(dir, "standard.icc")
	if err := os.WriteFile(standard, rgbProfile(primarySRGB, curveSRGB), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, profile := range profiles() {
		t.Run(name, func(t *testing.T) {
			original := pngProfile(t, asPNG(t, chart()), profile)
			in, out := filepath.Join(dir, "in.png"), filepath.Join(dir, "out.png")
			if err := os.WriteFile(in, original, 0o600); err != nil {
				t.Fatal(err)
			}
			if said, err := exec.Command(convert, in, "+black-point-compensation", "-intent", "relative", "-profile", standard, "-depth", "16", "PNG48:"+out).CombinedOutput(); err != nil {
				t.Fatalf("convert: %v: %s", err, said)
			}
			data, err := os.ReadFile(out)
			if err != nil {
				t.Fatal(err)
			}
			want, err := png.Decode(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			got := reduced(t, original)
			most, mean := apart(got, want)
			t.Logf("ΔE*ab: largest %.2f, mean %.3f", most, mean)
			// Rounding to 8 bits alone gives up to 0.8, and 0.2 on average.
			if most > 1 || mean > 0.25 {
				t.Errorf("ΔE*ab: largest %.2f, mean %.3f; want at most 1 and 0.25", most, mean)
			}
			if _, mean := apart(chart(), want); mean < 0.5 {
				t.Errorf("littlecms changes the chart by ΔE*ab %.2f only, so that this test shows little", mean)
			}
		})
	}
}

// A paint colour inside all three gamuts, worked out from the published
// primaries without this package's tables.
func TestPaintColourStaysThatColour(t *testing.T) {
	paint := [3]byte{52, 78, 65} // in sRGB
	linear := [3]float64{}
	for i, v := range paint {
		linear[i] = srgbLinear(float64(v) / 255)
	}
	xyz := primaries(primarySRGB).times(linear)
	for name, tt := range map[string]struct {
		primaries [3]chromaticity
		coded     func(float64) float64
		curve     string
	}{
		"Display P3": {primaryP3, srgbCoded, curveSRGB},
		"Adobe RGB":  {primaryAdobe, func(v float64) float64 { return math.Pow(v, 256.0/563) }, curveGamma},
	} {
		var in [3]byte
		for i, v := range primaries(tt.primaries).inverse().times(xyz) {
			in[i] = byte(math.Round(255 * tt.coded(v)))
		}
		if in == paint {
			t.Fatalf("%s: the colour has the same numbers, so that this test shows nothing", name)
		}
		flat := image.NewNRGBA(image.Rect(0, 0, 96, 64))
		for i := range flat.Pix {
			flat.Pix[i] = append(in[:], 255)[i%4]
		}
		want := color.NRGBA{paint[0], paint[1], paint[2], 255}
		profile := rgbProfile(tt.primaries, tt.curve)
		for kind, original := range map[string][]byte{
			"PNG":  pngProfile(t, asPNG(t, flat), profile),
			"JPEG": jpegProfile(asJPEG(t, flat), profile),
		} {
			got := decoded(t, copyFor(t, mustMake(t, original, Recipe{}), cleared.Web400)).At(40, 30)
			if !near(got, want, 3) { // coded as JPEG once or twice
				t.Errorf("%s in %s: got %v, want %v", name, kind, got, want)
			}
		}
	}
}

func TestColoursNamedWithoutAProfile(t *testing.T) {
	adobe := exifBlock(binary.LittleEndian, []field{{tag: tagExif, sub: []field{
		{tag: tagInterop, sub: []field{{tag: tagInteropIndex, text: "R03"}}},
	}}}, nil)
	standard := exifBlock(binary.LittleEndian, []field{{tag: tagExif, sub: []field{
		{tag: tagInterop, sub: []field{{tag: tagInteropIndex, text: "R98"}}},
	}}}, nil)
	plain := asPNG(t, chart())
	for name, tt := range map[string]struct{ got, want []byte }{
		"Exif says Adobe RGB":     {withChunk(plain, "eXIf", adobe), pngProfile(t, plain, rgbProfile(primaryAdobe, curveGamma))},
		"PNG code says P3":        {withChunk(plain, "cICP", "\x0c\x0d\x00\x01"), pngProfile(t, plain, rgbProfile(primaryP3, curveSRGB))},
		"Exif says sRGB":          {withChunk(plain, "eXIf", standard), plain},
		"PNG code says sRGB":      {withChunk(withChunk(plain, "eXIf", adobe), "cICP", "\x01\x0d\x00\x01"), plain},
		"profile comes over Exif": {withChunk(pngProfile(t, plain, rgbProfile(primarySRGB, curveSRGB)), "eXIf", adobe), plain},
	} {
		if most, _ := apart(reduced(t, tt.got), reduced(t, tt.want)); most > 1 {
			t.Errorf("%s: ΔE*ab %.2f, want at most 1", name, most)
		}
	}
	_, err := Make(t.Context(), withChunk(plain, "cICP", "\x09\x10\x00\x01"), Recipe{}) // BT.2020, PQ
	wantCode(t, err, Unsupported)
}

func TestStandardColoursAreNotTouched(t *testing.T) {
	plain := asPNG(t, chart())
	for name, profile := range map[string][]byte{
		"formula":     rgbProfile(primarySRGB, curveSRGB),
		"1024 points": rgbProfile(primarySRGB, sampled(1024, srgbLinear)),
	} {
		if !bytes.Equal(reduced(t, pngProfile(t, plain, profile)).Pix, chart().Pix) {
			t.Errorf("an sRGB profile (%s) changes pixels", name)
		}
	}
	if !bytes.Equal(reduced(t, plain).Pix, chart().Pix) {
		t.Error("pixels without a profile are changed")
	}
}

func TestGreyProfileKeepsGrey(t *testing.T) {
	grey := image.NewGray(image.Rect(0, 0, 256, 32))
	for i := range grey.Pix {
		grey.Pix[i] = uint8(i % 256)
	}
	original := pngProfile(t, asPNG(t, grey), profileFile("GRAY", "XYZ ", []tag{{"kTRC", "curv\x00\x00\x00\x00\x00\x00\x00\x01\x01\xcd"}})) // 1.80
	got := reduced(t, original)
	for x := range 256 {
		want := byte(math.Round(255 * srgbCoded(math.Pow(float64(x)/255, 461.0/256))))
		if c := got.NRGBAAt(x, 5); !near(c, color.Gray{want}, 1) {
			t.Fatalf("grey %d: got %v, want %d", x, c, want)
		}
	}
}

func TestProfilesThatAreNotReadAreRefusedClearly(t *testing.T) {
	plain := asPNG(t, chart())
	good := matrixProfile(primaries(primaryP3), curveSRGB)
	whole := profileFile("RGB ", "XYZ ", good)
	far := bytes.Clone(whole)
	binary.BigEndian.PutUint32(far[136:], 0xfffffff0)
	many := bytes.Clone(whole)
	binary.BigEndian.PutUint32(many[128:], 0xffffffff)
	for name, tt := range map[string]struct {
		profile []byte
		code    Code
	}{
		"printing inks":     {profileFile("CMYK", "Lab ", nil), Unsupported},
		"a table":           {profileFile("RGB ", "XYZ ", append(good[:len(good):len(good)], tag{"A2B0", "mft2"})), Unsupported},
		"Lab connection":    {profileFile("RGB ", "Lab ", good), Unsupported},
		"Lab pixels":        {profileFile("Lab ", "XYZ ", good), Unsupported},
		"no header":         {[]byte("not a profile"), Damaged},
		"cut short":         {whole[:300], Damaged},
		"no primaries":      {profileFile("RGB ", "XYZ ", nil), Damaged},
		"no curve":          {profileFile("RGB ", "XYZ ", good[:5]), Damaged},
		"curve cut short":   {profileFile("RGB ", "XYZ ", matrixProfile(primaries(primaryP3), "curv\x00\x00\x00\x00\xff\xff\xff\xff\x00\x00")), Damaged},
		"unknown formula":   {profileFile("RGB ", "XYZ ", matrixProfile(primaries(primaryP3), parametric(5, 1, 1, 1, 1, 1, 1, 1))), Damaged},
		"a tag far off":     {far, Damaged},
		"no end of tags":    {many, Damaged},
		"grey, no curve":    {profileFile("GRAY", "XYZ ", nil), Damaged},
		"formula too short": {profileFile("RGB ", "XYZ ", matrixProfile(primaries(primaryP3), parametric(3, 2.4))), Damaged},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Make(t.Context(), pngProfile(t, plain, tt.profile), Recipe{})
			wantCode(t, err, tt.code)
		})
	}
	pieces := jpegProfile(asJPEG(t, chart()), whole)
	at := bytes.LastIndex(pieces, []byte(profileHeader))
	_, err := Make(t.Context(), append(bytes.Clone(pieces[:at-4]), pieces[at+len(profileHeader)+2+len(whole)%300:]...), Recipe{})
	wantCode(t, err, Damaged)
}
