package outgoing

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"image"
	"image/jpeg"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/card"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/testtool"
	"example.org/opencowl/themes"
)

// packet is metadata as our pictures carry it.
const packet = `<x:xmpmeta xmlns:x="adobe:ns:meta/"><dc:rights>Copyright Marram Sound</dc:rights></x:xmpmeta>`

func photo(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewRGBA(image.Rect(0, 0, 900, 600)), nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// with puts an application segment into a JPEG.
func with(jpeg []byte, mark byte, payload string) []byte {
	n := len(payload) + 2
	segment := append([]byte{0xff, mark, byte(n >> 8), byte(n)}, payload...)
	return slices.Concat(jpeg[:2], segment, jpeg[2:])
}

func drawing(t testing.TB, chunks ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 3, 3))); err != nil {
		t.Fatal(err)
	}
	data := b.Bytes()
	end := len(data) - 12 // IEND
	var more []byte
	for _, c := range chunks {
		n := len(c) - 4
		more = slices.Concat(more, []byte{byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)}, []byte(c), []byte("crc!"))
	}
	return slices.Concat(data[:end], more, data[end:])
}

func deck(t testing.TB) []byte {
	t.Helper()
	settings := cleared.NewSettings(cleared.SettingsFields{Workshop: "Marram Sound Flying Boat Trust", Machine: "Oystercatcher FO-7", Language: "en-GB", Site: "https://example.org/"})
	data := with(photo(t), 0xe1, "http://ns.adobe.com/xap/1.0/\x00"+packet)
	picture := cleared.NewPhoto(cleared.PhotoFields{Alt: "A thin metal strip, its edge eaten away.", Credit: "Tam Reddle",
		Copies: []cleared.Copy{cleared.NewCopy(cleared.CopyFields{Use: cleared.Card, Width: 900, Height: 600, Name: "5d1f.jpg", Open: func() ([]byte, error) { return data, nil }})}})
	story := cleared.NewStory(cleared.StoryFields{ID: "floor-stiffener", Language: "en-GB", Title: "The floor that rotted from inside",
		CameOff: "A thin strip that stiffened the offset fillets of the hull.", Failed: "Salt water had crept under the paint all along its flange.",
		Replaced: "We cut and folded a new one.", Talk: strings.Repeat("Hold both up side by side, and ask which one they would trust to sea. ", 12),
		ForVisitors: true, Photos: []cleared.Photo{picture}, Digest: "d"})
	tour := cleared.NewTour(cleared.TourFields{ID: "winter", Title: "Winter in the hangar", Slot: 45 * time.Minute, Group: 25, Pace: 130, Walk: 1,
		Stops: []cleared.Stop{cleared.NewStop(cleared.StopFields{ID: "hull-floor", Number: 1, At: "Hull floor, port side", Minutes: 5 * time.Minute, Stories: []cleared.Story{story}})}})
	sheets, err := card.Deck(context.Background(), settings, tour, card.Options{Paper: "a5", Faces: []string{"front", "back"}, AsOf: day.MustParse("2031-02-12"), Theme: themes.Embedded()})
	if err != nil {
		t.Fatal(err)
	}
	return sheets.PDF
}

// said joins the texts of a file with single spaces.
func said(t *testing.T, name string, data []byte) string {
	t.Helper()
	segments, err := Read(name, data)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	var all []string
	for _, s := range segments {
		all = append(all, strings.Join(strings.Fields(s.Text), " "))
	}
	return strings.Join(all, "\n")
}

func TestEveryTextOfAFileIsRead(t *testing.T) {
	letter := "From: =?UTF-8?q?Marram_S=C3=B6und?= <update@example.org>\r\nSubject: Listen\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n" +
		"--b\r\nContent-Type: text/plain; charset=UTF-8\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\nSalt w=\r\nater, 7 =C2=B0C\r\n" +
		"--b\r\nContent-Type: text/html\r\nContent-Transfer-Encoding: base64\r\n\r\nPHA+SXQgPGI+cm90PC9iPnRlZC48L3A+\r\n" +
		"--b\r\nContent-Type: image/png; name=\"seal.png\"\r\nContent-Transfer-Encoding: base64\r\n\r\n" + base64Of(drawing(t, "tEXtAuthor\x00Wyn")) + "\r\n--b--\r\n"
	for _, c := range []struct {
		name string
		data []byte
		want []string
	}{
		{"a.html", []byte(`<title>Floor</title><p>FO<b>7-22</b>17</p><!-- frame 14 --><img alt="a strip" src="x.jpg"><a href="/stop/hull">on</a>`),
			[]string{"Floor", "FO7-2217", "frame 14", "a strip", "x.jpg", "/stop/hull"}},
		{"feed.xml", []byte(`<rss><description>&lt;p&gt;It ro&amp;shy;tted&lt;/p&gt;</description><x><![CDATA[a <b>strip</b>]]></x></rss>`), []string{"<p>It ro&shy;tted</p>", "a <b>strip</b>"}},
		{"a.txt", []byte("One line\r\nand more.\r\n\r\nAnother."), []string{"One line and more.\nAnother."}},
		{"a.json", []byte(`{"key":["v\u0061lue",{"x":"y"}],"n":3}`), []string{"key", "value", "y"}},
		{"search-index.js", []byte(`var archiveIndex = [{"t":"The \u003cb\u003e"}];`), []string{"The <b>"}},
		{"other.js", []byte(`f("part")`), []string{`f("part")`}},
		{"photo.jpg", with(photo(t), 0xe1, "http://ns.adobe.com/xap/1.0/\x00"+packet), []string{"photo.jpg", "Copyright Marram Sound"}},
		{"chart.png", drawing(t, "tEXtComment\x00from frame 14", "iTXtTitle\x00\x00\x00\x00\x00Fitted"), []string{"Comment from frame 14", "Fitted"}},
		{"letter.eml", []byte(letter), []string{"Marram Söund", "Salt water, 7 °C", "It rotted.", "seal.png", "Author Wyn"}},
		{"cards.pdf", deck(t), []string{
			"A thin strip that stiffened the offset fillets of the hull.", // ligatures, and across a line
			"A thin metal strip, its edge eaten away.",                    // the alternative text
			"Winter in the hangar",                                        // the title, beside the pages
			"https://example.org/stop/hull-floor/",                        // where the QR code leads
			"Copyright Marram Sound",                                      // inside the photo inside the PDF
			strings.TrimSpace(strings.Repeat("Hold both up side by side, and ask which one they would trust to sea. ", 12)),
		}},
	} {
		got := said(t, c.name, c.data)
		for _, want := range c.want {
			if !strings.Contains(got, want) {
				t.Errorf("%s: %q was not read; got\n%s", c.name, want, got)
			}
		}
	}
}

func TestWhatCannotBeReadMustNotLeave(t *testing.T) {
	jpeg, png, pdf := photo(t), drawing(t), deck(t)
	for name, data := range map[string][]byte{
		"a position":                    with(jpeg, 0xe1, "Exif\x00\x00II*\x00"),
		"a comment":                     with(jpeg, 0xfe, "bench 4"),
		"another program's block":       with(jpeg, 0xed, "Photoshop 3.0\x00"),
		"a small picture in the header": with(jpeg, 0xe0, "JFIF\x00\x01\x02\x00\x00\x01\x00\x01\x02\x02"+strings.Repeat("x", 12)),
		"a profile":                     with(jpeg, 0xe2, "ICC_PROFILE\x00\x01\x01"),
		"more after the end":            append(slices.Clone(jpeg), "second picture"...),
		"a picture cut short":           jpeg[:len(jpeg)/2],
		"a PNG's position":              drawing(t, "eXIfII*\x00"),
		"a PNG's own chunk":             drawing(t, "noTeserial 88"),
		"a PNG with more after its end": append(slices.Clone(png), "x"...),
		"a PDF cut short":               pdf[:len(pdf)/2],
		"a database":                    []byte("SQLite format 3\x00"),
		"another encoding":              {0xe9, 't', 0xe9},
		"broken.json":                   []byte(`{"a":`),
		"no.eml":                        []byte("no header here"),
		"attached.eml":                  []byte("Content-Type: application/zip\r\n\r\nPK"),
	} {
		if segments, err := Read(name, data); !errors.Is(err, ErrUnreadable) {
			t.Errorf("%s: %v, %v; want ErrUnreadable", name, segments, err)
		}
	}
}

// Poppler's pdftotext is the outside reader: every word that it finds on the
// pages must be among the words that are read here.
func TestPDFReadsAsPopplerReadsIt(t *testing.T) {
	tool := testtool.Need(t, "pdftotext")
	data := deck(t)
	file := filepath.Join(t.TempDir(), "cards.pdf")
	if err := os.WriteFile(file, data, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-enc", "UTF-8", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	ours := strings.Fields(said(t, "cards.pdf", data))
	theirs := strings.Fields(string(out))
	if len(theirs) < 200 {
		t.Fatalf("pdftotext found %d words", len(theirs))
	}
	for _, word := range theirs {
		if !slices.Contains(ours, word) {
			t.Errorf("%q is on a page and was not read", word)
		}
	}
}

// What exiftool writes into a picture is either read or refused.
func TestMetadataThatExiftoolWrites(t *testing.T) {
	tool := testtool.Need(t, "exiftool")
	for _, tag := range []string{"-EXIF:Artist=FO7-2217-4", "-XMP-dc:Creator=FO7-2217-4", "-IPTC:Caption-Abstract=FO7-2217-4", "-Comment=FO7-2217-4", "-JFIF:XResolution=300"} {
		file := filepath.Join(t.TempDir(), "a.jpg")
		if err := os.WriteFile(file, photo(t), 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(tool, "-q", "-overwrite_original", tag, file).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		segments, err := Read("a.jpg", data)
		read := slices.ContainsFunc(segments, func(s Segment) bool { return strings.Contains(s.Text, "FO7-2217-4") })
		if !errors.Is(err, ErrUnreadable) && !read && !strings.HasPrefix(tag, "-JFIF") {
			t.Errorf("%s: it was let through unread (%v)", tag, err)
		}
		if strings.HasPrefix(tag, "-JFIF") && err != nil {
			t.Errorf("%s: %v", tag, err)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add("a.html", []byte("<p>a<b>b</b></p>"))
	f.Add("a.jpg", photo(f))
	f.Add("a.png", drawing(f, "tEXta\x00b"))
	f.Add("a.eml", []byte("Subject: a\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\n\r\nx\r\n--b--\r\n"))
	f.Add("a.pdf", deck(f))
	f.Add("a.js", []byte("var a = [1];"))
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		segments, err := Read(name, data)
		if err != nil && !errors.Is(err, ErrUnreadable) {
			t.Errorf("%v does not say that it cannot be told", err)
		}
		if len(segments) == 0 || segments[0].Text != name {
			t.Errorf("the name %q is not the first of %v", name, segments)
		}
	})
}

func base64Of(data []byte) string { return base64.StdEncoding.EncodeToString(data) }
