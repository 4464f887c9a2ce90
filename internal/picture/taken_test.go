package picture

import (
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"example.org/opencowl/internal/testtool"
)

func TestTheDayComesFromTheCamerasOwnClock(t *testing.T) {
	plain := asJPEG(t, hangar(64, 48))
	png := asPNG(t, hangar(64, 48))
	original := []field{{tag: tagExif, sub: []field{{tag: tagOriginalDate, text: "2031:01:14 09:30:00"}}}}
	changed := []field{{tag: tagDateTime, text: "2031:02:01 10:00:00"}}
	for _, c := range []struct {
		name string
		data []byte
		want string // "" for none
	}{
		{"JPEG, big-endian", withSegment(plain, 0xe1, "Exif\x00\x00"+exifBlock(binary.BigEndian, original, nil)), "2031-01-14"},
		{"JPEG, little-endian", withSegment(plain, 0xe1, "Exif\x00\x00"+exifBlock(binary.LittleEndian, original, nil)), "2031-01-14"},
		{"behind another segment", withSegment(withSegment(plain, 0xe1, "Exif\x00\x00"+exifBlock(binary.BigEndian, original, nil)), 0xfe, "a remark"), "2031-01-14"},
		{"PNG", withChunk(png, "eXIf", exifBlock(binary.BigEndian, original, nil)), "2031-01-14"},
		{"only the day of the last change", withSegment(plain, 0xe1, "Exif\x00\x00"+exifBlock(binary.BigEndian, changed, nil)), "2031-02-01"},
		{"both", withSegment(plain, 0xe1, "Exif\x00\x00"+exifBlock(binary.BigEndian, append(changed, original...), nil)), "2031-01-14"},
		{"blank, as Exif writes an unknown day", withSegment(plain, 0xe1, "Exif\x00\x00"+exifBlock(binary.BigEndian, []field{{tag: tagDateTime, text: "    :  :     :  :  "}}, nil)), ""},
		{"no such day", withSegment(plain, 0xe1, "Exif\x00\x00"+exifBlock(binary.BigEndian, []field{{tag: tagDateTime, text: "2031:02:30 10:00:00"}}, nil)), ""},
		{"a text too short", withSegment(plain, 0xe1, "Exif\x00\x00"+exifBlock(binary.BigEndian, []field{{tag: tagDateTime, text: "2031:02"}}, nil)), ""},
		{"nothing", plain, ""}, {"a PNG with nothing", png, ""}, {"no picture", []byte("hello"), ""}, {"no bytes", nil, ""},
	} {
		y, m, d, ok := TakenOn(c.data)
		got := ""
		if ok {
			got = time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
		for cut := range c.data { // cut short anywhere: read or not, never a panic
			TakenOn(c.data[:cut])
		}
	}
}

func TestTheDayIsTheOneThatExiftoolWrote(t *testing.T) {
	exiftool := testtool.Need(t, "exiftool")
	for name, data := range map[string][]byte{"a.jpg": asJPEG(t, hangar(64, 48)), "a.png": asPNG(t, hangar(64, 48))} {
		file := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(exiftool, "-q", "-overwrite_original", "-EXIF:DateTimeOriginal=2031:01:14 23:59:59", "-EXIF:ModifyDate=2031:02:01 00:00:00", "-EXIF:Artist=Nobody", file).CombinedOutput(); err != nil {
			t.Fatalf("exiftool: %v\n%s", err, out)
		}
		written, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if y, m, d, ok := TakenOn(written); !ok || y != 2031 || m != time.January || d != 14 {
			t.Errorf("%s: %d-%d-%d, %t; want 2031-1-14", name, y, m, d, ok)
		}
	}
}
