package card

import (
	"os"
	"testing"
	"testing/fstest"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// A face is laid over by a workspace, so any of it may come from outside.
func FuzzFace(f *testing.F) {
	font, err := os.ReadFile("../../themes/fonts/SourceSans3-Regular.ttf")
	if err != nil {
		f.Fatal(err)
	}
	one, err := typeset.ParseFont("SourceSans3-Regular", font)
	if err != nil {
		f.Fatal(err)
	}
	for _, name := range []string{front, back} {
		src, err := os.ReadFile("../../themes/faces/" + name + ".yaml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(src, name == front)
	}
	f.Add([]byte("fonts: {text: ../../a}\ncolours: {text: \"#\", badge: \"#00000g\"}\npapers: {a5: {}, a6: ~}\n"), true)
	f.Add([]byte("papers: {a5: {margin: 999999.999 in, text: {least: 0 pt, most: -1 pt}}}\n"), false)
	f.Fuzz(func(t *testing.T, src []byte, isFront bool) {
		name := back
		if isFront {
			name = front
		}
		theme := fstest.MapFS{"faces/" + name + ".yaml": {Data: src}}
		// One font stands for every file, so that what is tried is the face.
		fonts := map[string]*typeset.Font{"fonts/SourceSans3-Regular.ttf": one, "fonts/SourceSans3-Semibold.ttf": one, "fonts/SourceSans3-Bold.ttf": one, "fonts/SourceSans3-Black.ttf": one}
		face, err := readFace(theme, name, false, fonts)
		if err != nil {
			if err.Error() == "" || face != nil {
				t.Fatalf("%q: a face that was refused (%v) came back: %+v", src, err, face)
			}
			return
		}
		white := draw.Colour{R: 255, G: 255, B: 255}
		if draw.Contrast(white, face.Colours.Text) < leastContrast || face.text == nil || face.strong == nil || face.heavy == nil {
			t.Fatalf("%q: a face that cannot be read was taken: %+v", src, face)
		}
		for paper := range paperSizes() {
			size, p, err := face.paper(paper)
			if err != nil {
				continue
			}
			for _, l := range []limits{p.Text, p.Title} {
				for step := range 9 {
					if at := l.at(step, 8); at < leastType-typeset.Point/4 || at > l.Most {
						t.Fatalf("%q: step %d of %+v is %v pt", src, step, l, at)
					}
				}
			}
			if p.Small < leastType || p.Number < leastType || size.width-2*p.Margin < size.width/2 {
				t.Fatalf("%q: a paper that cannot be read was taken: %+v", src, p)
			}
		}
	})
}
