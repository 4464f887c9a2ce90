package picture

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"os"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"example.org/opencowl/internal/cleared"
)

func TestRoomHoldsNoMoreThanItsSize(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRoom(10)
		var mu sync.Mutex
		inside, most := int64(0), int64(0)
		var wait sync.WaitGroup
		for i := range 40 {
			size := []int64{3, 4, 10, 25}[i%4]
			wait.Go(func() {
				leave, err := r.enter(t.Context(), size)
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				inside += min(size, 10)
				most = max(most, inside)
				mu.Unlock()
				runtime.Gosched()
				mu.Lock()
				inside -= min(size, 10)
				mu.Unlock()
				leave()
			})
		}
		wait.Wait()
		if most > 10 || most < 7 || r.taken != 0 {
			t.Errorf("held up to %d at once and %d at the end; want 7 to 10, and 0", most, r.taken)
		}
		leave, err := r.enter(t.Context(), 10)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		wait.Go(func() {
			if _, err := r.enter(ctx, 1); !errors.Is(err, context.Canceled) {
				t.Errorf("waiting when it is called off: got %v", err)
			}
		})
		synctest.Wait()
		cancel()
		wait.Wait()
		leave()
	})
}

func TestMemoryIsReckonedFromTheHeader(t *testing.T) {
	small := asJPEG(t, hangar(64, 64)) // 4:2:0
	for name, tt := range map[string]struct {
		original    []byte
		uses        []cleared.Use
		least, most int64 // million bytes
	}{
		"24 million pixels, reduced by half":       {withJPEGSize(small, markSOF0, 6000, 4000), nil, 35, 60},
		"the same for a thumbnail":                 {withJPEGSize(small, markSOF0, 6000, 4000), []cleared.Use{cleared.Thumbnail}, 1, 5},
		"the same, progressive":                    {withJPEGSize(small, markSOF2, 6000, 4000), nil, 180, 205},
		"a panorama that cannot be reduced so far": {withJPEGSize(small, markSOF0, 10000, 2000), []cleared.Use{cleared.Card}, 70, 160},
	} {
		got, err := memory(tt.original, Recipe{Uses: tt.uses})
		if err != nil || got < tt.least*1_000_000 || got > tt.most*1_000_000 {
			t.Errorf("%s: got %d million bytes, %v; want %d to %d", name, got/1_000_000, err, tt.least, tt.most)
		}
	}
}

// allocated is how many bytes f takes from the heap, in all.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// What is refused must be refused for next to nothing, and what is read must not
// take more than its picture does.
func TestHostileFilesTakeNoMemory(t *testing.T) {
	small, ping := asJPEG(t, hangar(64, 64)), asPNG(t, hangar(64, 64))
	loop := "MM\x00*\x00\x00\x00\x08\x00\x02\x87\x69\x00\x04\x00\x00\x00\x01\x00\x00\x00\x08\x88\x25\x00\x04\x00\x00\x00\x01\x00\x00\x00\x08\x00\x00\x00\x08"
	palette := image.NewPaletted(image.Rect(0, 0, 40, 40), make(color.Palette, 17))
	for i := range palette.Palette {
		palette.Palette[i] = color.NRGBA{uint8(i), 1, 2, 255}
	}
	for i := range palette.Pix {
		palette.Pix[i] = 200 // past its end
	}
	scan := small[bytes.Index(small, []byte{0xff, markSOS}) : len(small)-2]
	progressive := withJPEGSize(small, markSOF2, 64, 64)
	dc := []byte{0xff, markSOS, 0, 8, 1, 1, 0, 0, 0, 0}
	passes := bytes.Join([][]byte{progressive[:bytes.Index(progressive, []byte{0xff, markSOS})], bytes.Repeat(dc, 5000), {0xff, markEOI}}, nil)
	archive := "PK\x03\x04\x14\x00\x00\x00" + canary + "PK\x05\x06" + strings.Repeat("\x00", 18)
	const refused = 4 << 20
	for name, tt := range map[string]struct {
		data []byte
		code Code // empty: it is read
		most uint64
	}{
		"nothing":                               {nil, NotAPicture, refused},
		"a GIF by the name of .jpg":             {[]byte("GIF89a\x10\x00\x10\x00\x00\x00\x00;"), Unsupported, refused},
		"60,000 pixels across":                  {withJPEGSize(small, markSOF0, 60000, 400), TooLarge, refused},
		"60,000 pixels across, PNG":             {withPNGSize(ping, 60000, 400), TooLarge, refused},
		"a PNG that says 900 million bytes":     {withPNGSize(ping, 15000, 15000), TooLarge, refused},
		"a JPEG that says 4 billion pixels":     {withJPEGSize(small, markSOF2, 65535, 65535), TooLarge, refused},
		"5,000 passes":                          {passes, TooLarge, refused},
		"5,000 passes of a plain JPEG":          {bytes.Join([][]byte{small[:len(small)-2], bytes.Repeat(scan, 5000), {0xff, markEOI}}, nil), TooLarge, 64 << 20},
		"cut short":                             {small[:len(small)/2], Damaged, refused},
		"a JPEG with an archive behind it":      {append(bytes.Clone(small), archive...), "", 64 << 20},
		"a PNG with an archive behind it":       {append(bytes.Clone(ping), archive...), "", 64 << 20},
		"an archive before a JPEG":              {append([]byte(archive), small...), NotAPicture, refused},
		"directories in a circle":               {withSegment(small, markAPP1, exifHeader+loop), "", 64 << 20},
		"an orientation of 65535":               {withSegment(small, markAPP1, exifHeader+orientationOnly(65535)), "", 64 << 20},
		"an index past the end of its palette":  {asPNG(t, palette), "", 64 << 20},
		"a small picture that says it is large": {withJPEGSize(small, markSOF0, 7000, 7000), Damaged, 128 << 20},
	} {
		var made []Copy
		var err error
		took := allocated(func() { made, err = Make(t.Context(), tt.data, Recipe{}) })
		if tt.code != "" {
			wantCode(t, err, tt.code)
		} else if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for _, c := range made {
			if bytes.Contains(c.JPEG, []byte("PK\x03\x04")) || bytes.Contains(c.JPEG, []byte(canary)) {
				t.Errorf("%s: %s holds the archive", name, c.Use)
			}
		}
		if took > tt.most {
			t.Errorf("%s: took %d bytes, want at most %d", name, took, tt.most)
		}
	}
}

// Limits are of no use where the reader of a header and the decoder see different
// headers: a second one must not get past the first.
func TestASecondFrameHeaderIsNoWayIn(t *testing.T) {
	small := asJPEG(t, hangar(64, 64))
	at := bytes.Index(small, []byte{0xff, markSOF0})
	frame := bytes.Clone(small[at : at+19])
	binary.BigEndian.PutUint16(frame[5:], 20000)
	binary.BigEndian.PutUint16(frame[7:], 20000)
	for name, data := range map[string][]byte{
		"behind the first": bytes.Join([][]byte{small[:at+19], frame, small[at+19:]}, nil),
		"before it":        bytes.Join([][]byte{small[:at], frame, small[at:]}, nil),
	} {
		var err error
		took := allocated(func() { _, err = Make(t.Context(), data, Recipe{}) })
		if err == nil || took > 4<<20 {
			t.Errorf("%s: got %v, and %d bytes taken", name, err, took)
		}
	}
}

func TestLetterThatCannotFitIsRefusedClearly(t *testing.T) {
	original := asPNG(t, noise(600, 4000))
	_, err := Make(t.Context(), original, Recipe{Uses: []cleared.Use{cleared.Letter}})
	wantCode(t, err, TooLarge)
	if !strings.Contains(err.Error(), "letter") || !strings.Contains(err.Error(), "crop") {
		t.Errorf("the error says %q", err)
	}
	for _, size := range []image.Point{{1400, 1400}, {1200, 900}, {1000, 400}} {
		c := copyFor(t, mustMake(t, asJPEG(t, noise(size.X, size.Y)), Recipe{Uses: []cleared.Use{cleared.Letter}}), cleared.Letter)
		if len(c.JPEG) > letterBytes || c.Width < letterLeast {
			t.Errorf("%v: %d bytes, %d pixels wide; want at most %d, at least %d", size, len(c.JPEG), c.Width, letterBytes, letterLeast)
		}
	}
}

// 300 dpi at the widest that any of our cards prints a photo.
func TestCardCopyHas300DotsAnInch(t *testing.T) {
	face, err := os.ReadFile("../../themes/faces/front.yaml")
	if err != nil {
		t.Fatal(err)
	}
	widths := regexp.MustCompile(`photo: \{least: \d+ mm, most: (\d+) mm\}`).FindAllSubmatch(face, -1)
	if len(widths) < 4 {
		t.Fatalf("found %d papers in front.yaml, want 4", len(widths))
	}
	c := copyFor(t, mustMake(t, asJPEG(t, shot(1800, 1200)), Recipe{}), cleared.Card)
	for _, m := range widths {
		mm, err := strconv.Atoi(string(m[1]))
		if err != nil {
			t.Fatal(err)
		}
		if dpi := float64(c.Width) * 25.4 / float64(mm); dpi < 300 {
			t.Errorf("printed %d mm wide the copy of %d pixels has %.0f dots an inch, want 300", mm, c.Width, dpi)
		}
	}
}
