package picture

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
)

// hangar draws a picture with soft slopes and hard edges, no two corners alike.
func hangar(w, h int) *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.NRGBA{uint8(255 * x / w), uint8(255 * y / h), 90, 255}
			if x < w/3 && y < h/4 {
				c = color.NRGBA{220, 30, 30, 255}
			}
			if (x/7+y/5)%9 == 0 {
				c.B = 210
			}
			img.SetNRGBA(x, y, c)
		}
	}
	return img
}

// noise is a picture that compresses badly, the same on every run.
func noise(w, h int) *image.NRGBA {
	random := rand.New(rand.NewPCG(7, 9))
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for i := range img.Pix {
		img.Pix[i] = uint8(random.Uint32())
		if i%4 == 3 {
			img.Pix[i] = 255
		}
	}
	return img
}

func asJPEG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asPNG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withSegment puts a segment behind the start marker of a JPEG.
func withSegment(data []byte, mark byte, payload string) []byte {
	segment := []byte{0xff, mark}
	segment = binary.BigEndian.AppendUint16(segment, uint16(len(payload)+2))
	return bytes.Join([][]byte{data[:2], append(segment, payload...), data[2:]}, nil)
}

// withChunk puts a chunk behind the image header of a PNG.
func withChunk(data []byte, name, body string) []byte {
	const headerEnd = 8 + 12 + 13
	return bytes.Join([][]byte{data[:headerEnd], chunk(name, body), data[headerEnd:]}, nil)
}

func chunk(name, body string) []byte {
	c := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	c = append(c, name+body...)
	return binary.BigEndian.AppendUint32(c, crc32.ChecksumIEEE([]byte(name+body)))
}

// withJPEGSize writes another size into the frame header of a JPEG.
func withJPEGSize(data []byte, mark byte, w, h int) []byte {
	data = bytes.Clone(data)
	at := bytes.Index(data, []byte{0xff, 0xc0})
	data[at+1] = mark
	binary.BigEndian.PutUint16(data[at+5:], uint16(h))
	binary.BigEndian.PutUint16(data[at+7:], uint16(w))
	return data
}

// withPNGSize writes another size into the image header of a PNG.
func withPNGSize(data []byte, w, h uint32) []byte {
	data = bytes.Clone(data)
	binary.BigEndian.PutUint32(data[16:], w)
	binary.BigEndian.PutUint32(data[20:], h)
	binary.BigEndian.PutUint32(data[29:], crc32.ChecksumIEEE(data[12:29]))
	return data
}

// field is an entry of an Exif directory; text longer than four bytes and
// sub-directories stand behind it.
type field struct {
	tag   uint16
	short uint16
	text  string
	sub   []field
}

// exifBlock writes Exif data (Exif 2.32, 4.6.2): the first directory, and after it
// perhaps a second one, as for a small picture.
func exifBlock(order binary.AppendByteOrder, first, second []field) string {
	header := "II"
	if order == binary.AppendByteOrder(binary.BigEndian) {
		header = "MM"
	}
	data := order.AppendUint32(order.AppendUint16([]byte(header), 42), 8)
	data = append(data, directory(order, 8, first, second)...)
	return string(data)
}

func directory(order binary.AppendByteOrder, at int, fields, next []field) []byte {
	var head, tail []byte
	behind := at + 2 + 12*len(fields) + 4
	head = order.AppendUint16(head, uint16(len(fields)))
	for _, f := range fields {
		head = order.AppendUint16(head, f.tag)
		switch {
		case f.sub != nil:
			head = order.AppendUint32(order.AppendUint16(head, 4), 1)
			head = order.AppendUint32(head, uint32(behind+len(tail)))
			tail = append(tail, directory(order, behind+len(tail), f.sub, nil)...)
		case f.text != "":
			head = order.AppendUint32(order.AppendUint16(head, 2), uint32(len(f.text)+1))
			if len(f.text) < 4 {
				head = append(head, (f.text + "\x00\x00\x00\x00")[:4]...)
				break
			}
			head = order.AppendUint32(head, uint32(behind+len(tail)))
			tail = append(append(tail, f.text...), 0)
		default:
			head = order.AppendUint32(order.AppendUint16(head, 3), 1)
			head = order.AppendUint16(order.AppendUint16(head, f.short), 0)
		}
	}
	if next == nil {
		return append(order.AppendUint32(head, 0), tail...)
	}
	head = order.AppendUint32(head, uint32(behind+len(tail)))
	tail = append(tail, directory(order, behind+len(tail), next, nil)...)
	return append(head, tail...)
}

// orientationOnly is Exif data that say how to turn a picture.
func orientationOnly(n int) string {
	return exifBlock(binary.BigEndian, []field{{tag: tagOrientation, short: uint16(n)}}, nil)
}

// mustMake makes copies or ends the test.
func mustMake(t testing.TB, original []byte, r Recipe) []Copy {
	t.Helper()
	made, err := Make(t.Context(), original, r)
	if err != nil {
		t.Fatalf("Make: %v", err)
	}
	return made
}

func copyFor(t testing.TB, made []Copy, u cleared.Use) Copy {
	t.Helper()
	for _, c := range made {
		if c.Use == u {
			return c
		}
	}
	t.Fatalf("there is no %s among the copies", u)
	return Copy{}
}

func names(made []Copy) string {
	var all []string
	for _, c := range made {
		all = append(all, string(c.Use)+" "+c.Name)
	}
	return strings.Join(all, "\n")
}

func decoded(t testing.TB, c Copy) image.Image {
	t.Helper()
	img, err := jpeg.Decode(bytes.NewReader(c.JPEG))
	if err != nil {
		t.Fatalf("%s does not decode: %v", c.Use, err)
	}
	return img
}

// wantCode fails the test unless err is an *Error with the code.
func wantCode(t testing.TB, err error, code Code) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("got error %v, want one with the code %s", err, code)
	}
	if e.Code != code {
		t.Errorf("got %s (%v), want %s", e.Code, err, code)
	}
	if e.Message == "" || e.Remedy == "" {
		t.Errorf("%#v lacks a message or a remedy", e)
	}
}

// near reports whether two colours differ by no more than tolerance in any channel.
func near(a, b color.Color, tolerance int) bool {
	r1, g1, b1, _ := a.RGBA()
	r2, g2, b2, _ := b.RGBA()
	for _, d := range []int{int(r1>>8) - int(r2>>8), int(g1>>8) - int(g2>>8), int(b1>>8) - int(b2>>8)} {
		if d > tolerance || d < -tolerance {
			return false
		}
	}
	return true
}

// publishedDir is where the source of a module of the build is, with its test
// files. It ends the test when it is not there.
func publishedDir(t testing.TB, module string) string {
	t.Helper()
	out, err := exec.Command("go", "mod", "download", "-json", module).Output()
	var source struct{ Dir string }
	if err == nil {
		err = json.Unmarshal(out, &source)
	}
	if err != nil || source.Dir == "" {
		t.Fatalf("finding the source of %s: %v\n%s", module, err, out)
	}
	return source.Dir
}

// published reads a test file that a module of the build carries.
func published(t testing.TB, module, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(publishedDir(t, module), name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}
