package photo

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/disintegration/imaging"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/picture"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/testtool"
	"example.org/opencowl/internal/worklog"
)

func finder(t testing.TB) Finder {
	t.Helper()
	f, err := NewFinder()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func look(t testing.TB, img image.Image) Seen {
	t.Helper()
	seen, err := Look(encode(t, img), finder(t))
	if err != nil {
		t.Fatal(err)
	}
	return seen
}

func TestTheCascadeIsTheOneOfItsModule(t *testing.T) {
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/esimov/pigo").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"cascade/facefinder", "LICENSE"} {
		want, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(dir)), name))
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join("cascade", filepath.Base(name)))
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is not that of the module (%v)", name, err)
		}
	}
}

func TestADrawnFaceIsFoundWhereItIs(t *testing.T) {
	for _, c := range []struct{ x, y, r float64 }{{400, 260, 60}, {200, 150, 100}, {600, 300, 150}} {
		img := testtool.DrawBench(800, 533, 1)
		testtool.DrawFace(img, c.x, c.y, c.r)
		faces := look(t, img).Faces
		if len(faces) != 1 || math.Abs(faces[0].X-c.x/800) > 0.06 || math.Abs(faces[0].Y-c.y/533) > 0.06 {
			t.Errorf("a face at %.2f, %.2f was found at %v", c.x/800, c.y/533, faces)
		}
	}
	if faces := look(t, testtool.DrawBench(800, 533, 1)).Faces; len(faces) > 0 {
		t.Errorf("an empty bench has faces at %v", faces)
	}
	tiny := image.NewRGBA(image.Rect(0, 0, 16, 16))
	if faces := look(t, tiny).Faces; len(faces) > 0 {
		t.Errorf("16 × 16 pixels have faces at %v", faces)
	}
}

func TestAHiddenFaceIsNotFound(t *testing.T) {
	img := testtool.DrawBench(1200, 800, 1)
	testtool.DrawFace(img, 600, 400, 120)
	original := encode(t, img)
	for _, c := range []struct {
		hide []picture.Box
		want int
	}{{nil, 1}, {[]picture.Box{{X: 0.38, Y: 0.3, W: 0.24, H: 0.42}}, 0}} {
		copies, err := picture.Make(context.Background(), original, picture.Recipe{Hide: c.hide, Uses: []cleared.Use{cleared.Web800}})
		if err != nil {
			t.Fatal(err)
		}
		seen, err := Look(copies[0].JPEG, finder(t))
		if err != nil || len(seen.Faces) != c.want {
			t.Errorf("hidden %v: faces at %v, %v; want %d", c.hide, seen.Faces, err, c.want)
		}
	}
}

// The hash by its definition: a bit is set where brightness rises to the right.
func TestTheHashSaysWhereBrightnessRises(t *testing.T) {
	for _, c := range []struct {
		level func(x, y int) uint8
		want  Hash
	}{
		{func(x, _ int) uint8 { return uint8(x * 20) }, math.MaxUint64},
		{func(x, _ int) uint8 { return uint8(250 - x*20) }, 0},
		{func(_, _ int) uint8 { return 77 }, 0},
		{func(x, _ int) uint8 { return uint8(x % 2 * 200) }, 0xaaaaaaaaaaaaaaaa},
		{func(x, y int) uint8 { return uint8(x * 20 * (y % 2)) }, 0x00ff00ff00ff00ff},
	} {
		grey := image.NewGray(image.Rect(0, 0, 9*5, 8*3))
		for y := range 8 * 3 {
			for x := range 9 * 5 {
				grey.Pix[y*grey.Stride+x] = c.level(x/5, y/3)
			}
		}
		if got := hash(grey); got != c.want {
			t.Errorf("got %016x, want %016x", uint64(got), uint64(c.want))
		}
	}
	if d := Hash(0xff).Distance(0x0f); d != 4 {
		t.Errorf("distance %d, want 4", d)
	}
}

// The variance of the Laplacian of one bright pixel among 5 × 5 dark ones, by hand:
// of the nine inner values one is -400, four are 100, and four are 0, so that the
// mean is 0 and the variance (160,000 + 4 × 10,000) ÷ 9.
func TestSharpnessIsTheVarianceOfTheLaplacian(t *testing.T) {
	grey := image.NewGray(image.Rect(0, 0, 5, 5))
	grey.Pix[2*grey.Stride+2] = 100
	if got, want := sharpness(grey), 200_000.0/9; math.Abs(got-want) > 1e-9 {
		t.Errorf("got %g, want %g", got, want)
	}
	for i := range grey.Pix {
		grey.Pix[i] = 9
	}
	if got := sharpness(grey); got != 0 {
		t.Errorf("a plain surface has %g", got)
	}
}

// The thresholds, held against the demo's drawn photos as they would leave.
func TestTheThresholdsPartTheDemosPhotos(t *testing.T) {
	files, err := filepath.Glob("../../content/demo/photos/*.jpg")
	if err != nil || len(files) < 15 {
		t.Fatalf("%d photos, %v", len(files), err)
	}
	var hashes []Hash
	blurred, faces := 0, 0
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		copies, err := picture.Make(context.Background(), data, picture.Recipe{Uses: []cleared.Use{cleared.Web800}})
		if err != nil {
			t.Fatal(err)
		}
		img, err := jpeg.Decode(bytes.NewReader(copies[0].JPEG))
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Base(file)
		seen, blur := look(t, img), look(t, imaging.Blur(img, 2))
		if seen.Sharp < 5*soft {
			t.Errorf("%s: sharpness %.1f", name, seen.Sharp)
		}
		faces += len(seen.Faces)
		if blur.Sharp < soft {
			blurred++
		}
		smaller := look(t, imaging.Resize(img, 500, 0, imaging.Box))
		for what, other := range map[string]Seen{"blurred": blur, "smaller": smaller} {
			if d := seen.Hash.Distance(other.Hash); d > alike/2 {
				t.Errorf("%s: %d bits from its copy that is %s", name, d, what)
			}
		}
		for i, h := range hashes {
			if d := seen.Hash.Distance(h); d <= alike {
				t.Errorf("%s and %s look alike: %d bits", name, filepath.Base(files[i]), d)
			}
		}
		hashes = append(hashes, seen.Hash)
	}
	// Nobody is in them; one wrong hint is what a finder of faces may give.
	if faces > 1 {
		t.Errorf("%d faces are seen where there is none", faces)
	}
	if blurred < len(files)-1 {
		t.Errorf("of %d blurred photos only %d look blurred", len(files), blurred)
	}
}

func TestAdviceSaysWhatMayBeWrong(t *testing.T) {
	log := readLog(t, map[string]string{
		"parts/strip.md":             "---\nname: strip\narea: hull\n---\n",
		"parts/plate.md":             "---\nname: plate\narea: hull\n---\n",
		"parts/untold.md":            "---\nname: untold\narea: hull\n---\n",
		"log/2031-01-14-strip.md":    "---\ndate: 2031-01-14\nby: tam\npart: strip\nstep: removed\n---\n",
		"log/2031-02-04-plate.md":    "---\ndate: 2031-02-04\nby: tam\npart: plate\nstep: note\nphotos: [named.jpg]\n---\n",
		"photos/named.jpg":           "x",
		"photos/week.jpg.yaml":       "parts: [strip]\ntaken: 2031-01-19\nby: tam\n",
		"photos/late.jpg.yaml":       "parts: [strip, plate]\ntaken: 2031-01-20\nby: tam\n",
		"photos/named.jpg.yaml":      "parts: [strip]\ntaken: 2031-02-09\nby: tam\n",
		"photos/untold.jpg.yaml":     "parts: [untold]\ntaken: 2031-01-20\nby: tam\n",
		"photos/one-person.jpg.yaml": "taken: 2031-01-20\nby: tam\npeople: [{who: a, consent: refused}]\n",
		"photos/none-noted.jpg.yaml": "taken: 2031-01-20\nby: tam\n",
	})
	sharp := Seen{Sharp: 100, Hash: 0}
	shot := func(name string, seen Seen) Shot {
		tag, ok := log.Tag(name)
		if !ok {
			t.Fatalf("no tag for %s", name)
		}
		return Shot{tag, seen}
	}
	faces := func(n int) Seen { return Seen{Sharp: 100, Faces: make([]Spot, n)} }
	for _, c := range []struct {
		name   string
		shot   Shot
		others []Shot
		want   []string
	}{
		{"nothing", shot("week.jpg", sharp), nil, nil},
		{"the week after", shot("late.jpg", sharp), nil, []string{CodeWeek}},
		{"an entry that names it, on that week's Sunday", shot("named.jpg", sharp), nil, nil},
		{"no entry at all", shot("untold.jpg", sharp), nil, nil},
		{"blurred", shot("week.jpg", Seen{Sharp: soft - 0.1}), nil, []string{CodeBlurred}},
		{"as sharp as the threshold", shot("week.jpg", Seen{Sharp: soft}), nil, nil},
		{"a face and nobody", shot("none-noted.jpg", faces(1)), nil, []string{CodeFace}},
		{"a face and somebody", shot("one-person.jpg", faces(1)), nil, nil},
		{"two faces and one person", shot("one-person.jpg", faces(2)), nil, []string{CodeFace}},
		{"itself", shot("week.jpg", sharp), []Shot{shot("week.jpg", sharp)}, nil},
		{"ten bits from another", shot("week.jpg", sharp), []Shot{shot("untold.jpg", Seen{Hash: 0x3ff})}, []string{CodeAlike}},
		{"eleven bits from another", shot("week.jpg", sharp), []Shot{shot("untold.jpg", Seen{Hash: 0x7ff})}, nil},
	} {
		var codes []string
		for _, p := range Advise(log, c.shot, c.others) {
			if codes = append(codes, p.Code); !p.Advice || p.Line == 0 || p.Remedy == "" {
				t.Errorf("%s: %+v stops something, or has no place or remedy", c.name, p)
			}
		}
		if !slices.Equal(codes, c.want) {
			t.Errorf("%s: %v, want %v", c.name, codes, c.want)
		}
	}
	said := Advise(log, shot("none-noted.jpg", Seen{Sharp: 100, Faces: []Spot{{0.25, 0.5}}}), nil)[0]
	if !strings.Contains(said.Message, "0.25,0.50 (a guess, not a fact)") {
		t.Errorf("a face must be told as a guess, with its place: %s", said.Message)
	}
}

// readLog reads a record from files.
func readLog(t *testing.T, files map[string]string) *worklog.Log {
	t.Helper()
	root, err := os.OpenRoot(lay(t, files))
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	log, problems := worklog.Read(root, []string{"hull"}, []string{"tam", "wyn"})
	if reading.Stops(slices.DeleteFunc(problems, func(p reading.Problem) bool { return p.Code == "no-photo" })) {
		t.Fatal(problems)
	}
	return log
}

// lay writes files in a new folder.
func lay(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		file := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestACopyIsLookedAtOnce(t *testing.T) {
	file := filepath.Join(t.TempDir(), "looks.json")
	write := func(data []byte) error { return os.WriteFile(file, data, 0o644) }
	img := testtool.DrawBench(800, 533, 1)
	testtool.DrawFace(img, 400, 260, 100)
	data := encode(t, img)
	opened := 0
	open := func() ([]byte, error) { opened++; return data, nil }
	at := func(l *Looks, name string) Seen {
		seen, err := l.At(context.Background(), name, open)
		if err != nil {
			t.Fatal(err)
		}
		return seen
	}
	keep := func(l *Looks) {
		if err := l.Keep(); err != nil {
			t.Fatal(err)
		}
	}
	first := OpenLooks(file, write)
	want := at(first, "a.jpg")
	at(first, "b.jpg")
	keep(first)

	second := OpenLooks(file, write)
	if got := at(second, "a.jpg"); opened != 2 || got.Hash != want.Hash || got.Sharp != want.Sharp || !slices.Equal(got.Faces, want.Faces) || len(want.Faces) != 1 {
		t.Errorf("after %d looks: %+v, want %+v", opened, got, want)
	}
	keep(second) // b.jpg was not asked for
	kept, err := os.ReadFile(file)
	if err != nil || strings.Contains(string(kept), "b.jpg") || !strings.Contains(string(kept), "a.jpg") {
		t.Errorf("%s, %v", kept, err)
	}
	keep(OpenLooks(filepath.Join(t.TempDir(), "none"), func([]byte) error { t.Error("nothing to keep was written"); return nil }))

	if err := os.WriteFile(file, []byte("{"), 0o644); err != nil {
		t.Fatal(err)
	}
	if at(OpenLooks(file, write), "a.jpg"); opened != 3 {
		t.Errorf("a spoilt file was believed")
	}
	broken := OpenLooks(file, write)
	if _, err := broken.At(context.Background(), "c.jpg", func() ([]byte, error) { return []byte("no picture"), nil }); err == nil {
		t.Error("what is no picture was looked at")
	}
	stopped, stop := context.WithCancel(context.Background())
	stop()
	if _, err := broken.At(stopped, "a.jpg", open); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

var today = day.MustParse("2031-02-12")
