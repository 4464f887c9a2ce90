package clearance_test

import (
	"bytes"
	"image/jpeg"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/testtool"
)

// pictureCodes are the codes of what check says of a file.
func (b *bench) pictureCodes(d *clearance.Desk, file string) []string {
	var codes []string
	for _, p := range d.Check() {
		if p.File == file {
			if codes = append(codes, p.Code); !p.Advice {
				b.t.Errorf("%s stops: %s", p.Code, p.Error())
			}
		}
	}
	slices.Sort(codes)
	return codes
}

func (b *bench) drawnFace(name string) {
	b.t.Helper()
	img := testtool.DrawBench(1500, 1000, 2)
	testtool.DrawFace(img, 600, 400, 200)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: 85}); err != nil {
		b.t.Fatal(err)
	}
	b.write(name, out.String())
}

func TestAdviceOnAPhotoStopsNothingAndEndsWithTheDecision(t *testing.T) {
	b := newBench(t)
	const unit, tag = "photo/stiffener.jpg", "photos/stiffener.jpg.yaml"
	b.drawnFace("photos/stiffener.jpg")
	before := b.unit(b.desk(), unit).Digest
	if got := b.pictureCodes(b.desk(), tag); !slices.Equal(got, []string{"face-guess"}) {
		t.Fatalf("%v, want the face alone", got)
	}
	b.edit(tag, "taken: 2031-01-14", "taken: 2030-01-14")
	d := b.desk()
	if got, want := b.pictureCodes(d, tag), []string{"face-guess", "outside-week"}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if u := b.unit(d, unit); u.Digest != before || u.Stops() {
		t.Errorf("advice changed what leaves: stops %t", u.Stops())
	}
	b.decide(unit)
	d = b.desk()
	if got := b.pictureCodes(d, tag); len(got) > 0 {
		t.Errorf("whoever cleared it saw it, and is told again: %v", got)
	}
	b.edit(tag, "pitted under", "pitted below") // stale: somebody is to look again
	if got := b.pictureCodes(b.desk(), tag); len(got) != 2 {
		t.Errorf("a stale photo has %v", got)
	}
}

func TestLooksThatCannotBeKeptStopNothing(t *testing.T) {
	b := newBench(t)
	b.drawnFace("photos/stiffener.jpg")
	file := filepath.Join(b.dir, ".opencowl", "looks.json")
	want := b.pictureCodes(b.desk(), "photos/stiffener.jpg.yaml")
	if _, err := os.Stat(file); err != nil {
		t.Fatalf("what was seen is not kept: %v", err)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(file, 0o755); err != nil {
		t.Fatal(err)
	}
	if got := b.pictureCodes(b.desk(), "photos/stiffener.jpg.yaml"); !slices.Equal(got, want) || len(got) == 0 {
		t.Errorf("%v, want %v", got, want)
	}
}
