package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/testtool"
	"example.org/opencowl/internal/workspace"
)

// opened is a workspace of a few files.
func opened(t *testing.T, more map[string]string) *workspace.Workspace {
	t.Helper()
	files := map[string]string{
		"workshop.yaml": "workshop: {name: Marram Sound Flying Boat Trust, machine: Oystercatcher FO-7, language: en-GB, timezone: Europe/London, postal_address: \"The Slipway, Marram Sound\", site: https://example.org/}\n" +
			"people: [{id: tam, name: Tam Reddle, roles: [restorer]}, {id: ines, name: Ines Hallow, roles: [engineer]}]\nareas: {hull: Hull}\npost: {from: \"Marram Sound <update@example.org>\", returns: returns@example.org, smtp: \"smtp://127.0.0.1:2525\"}\n",
		"parts/strip.md": "---\nname: strip\narea: hull\n---\n",
	}
	for name, text := range more {
		files[name] = text
	}
	ws, problems, err := workspace.Open(lay(t, files))
	if err != nil || reading.Stops(problems) {
		t.Fatal(err, problems)
	}
	t.Cleanup(func() { ws.Close() })
	return ws
}

// takenJPEG is a picture that says when it was taken (Exif 2.32, DateTime).
func takenJPEG(t testing.TB, n int, when string) string {
	t.Helper()
	data := encode(t, testtool.DrawBench(320, 200, n))
	exif := []byte("Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x32\x00\x02\x00\x00\x00\x14\x00\x00\x00\x1a\x00\x00\x00\x00" + when + "\x00")
	segment := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(exif)+2))
	return string(data[:2]) + string(segment) + string(exif) + string(data[2:])
}

const heic = "\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"

func plan(t *testing.T, ws *workspace.Workspace, e Edit, files ...string) []*Job {
	t.Helper()
	jobs, err := Plan(ws, files, e, today)
	if err != nil {
		t.Fatal(err)
	}
	return jobs
}

func says(jobs []*Job) string {
	var b strings.Builder
	for _, j := range jobs {
		for _, n := range j.Notes {
			b.WriteString(n + "\n")
		}
		for _, p := range j.Problems {
			b.WriteString(p.Error() + "\n")
		}
	}
	return b.String()
}

func TestAPhotoComesInWholeUnderAPlainName(t *testing.T) {
	ws := opened(t, nil)
	photo := takenJPEG(t, 1, "2031:02:10 09:30:00")
	upload := lay(t, map[string]string{"IMG 0042 (über).PNG": photo})
	jobs := plan(t, ws, Edit{Parts: []string{"strip"}, By: "tam"}, filepath.Join(upload, "IMG 0042 (über).PNG"))
	j := jobs[0]
	if j.Photo != "photos/img-0042-uber.jpg" || !j.New || j.Stops() || j.Text != "parts: [strip]\ntaken: 2031-02-10\nby: tam\npublish: no\n" {
		t.Fatalf("%+v", j)
	}
	if said := says(jobs); !strings.Contains(said, "taken on 2031-02-10 by the camera's own clock") {
		t.Errorf("the day that comes from the camera must be told: %s", said)
	}
	if _, err := os.Stat(ws.Path("photos")); err == nil {
		t.Error("a plan wrote something")
	}
	if err := Write(ws, jobs); err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(ws.Path("photos/img-0042-uber.jpg")); err != nil || string(got) != photo {
		t.Errorf("the copy is not the photo (%v)", err)
	}
	again := plan(t, ws, Edit{By: "tam"}, filepath.Join(upload, "IMG 0042 (über).PNG"))[0]
	if again.From != "" || !again.Same || again.Photo != j.Photo {
		t.Errorf("the same bytes again: %+v", again)
	}
	byName := plan(t, ws, Edit{Rights: "ours"}, "img-0042-uber.jpg")[0]
	if byName.From != "" || byName.New || !strings.HasSuffix(byName.Text, "publish: no\nrights: ours\n") {
		t.Errorf("by its name: %+v", byName)
	}
	inPlace := plan(t, ws, Edit{Rights: "ours"}, ws.Path("photos/img-0042-uber.jpg"))[0]
	if inPlace.From != "" || inPlace.Photo != j.Photo {
		t.Errorf("by its path: %+v", inPlace)
	}
}

func TestNamesAreMadePlain(t *testing.T) {
	for name, want := range map[string]string{
		"IMG_0042": "img-0042", "  Ærø -- Café!! ": "aero-cafe", "": "photo", "…": "photo", "CON": "photo-con", "com1": "photo-com1", "console": "console",
		"船": "photo", "2031-01-14-stiffener": "2031-01-14-stiffener", "a.b.c": "a-b-c", "--x--": "x", strings.Repeat("long ", 40): strings.TrimSuffix(strings.Repeat("long-", 12), "-"), strings.Repeat("x", 90): strings.Repeat("x", 60), strings.Repeat("x", 60) + "-1": strings.Repeat("x", 60),
	} {
		if got := Plain(name); got != want || len(got) > nameLength {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

func TestWhatCannotComeInIsRefusedAtOnce(t *testing.T) {
	taken := takenJPEG(t, 1, "2031:02:10 09:30:00")
	ws := opened(t, map[string]string{"photos/strip.jpg": taken, "photos/old.heic": heic})
	upload := lay(t, map[string]string{"a.jpg": heic, "b.jpg": "", "c.txt": "hello", "STRIP.JPEG": takenJPEG(t, 2, "2031:02:10 09:30:00"), "fine.jpg": takenJPEG(t, 3, "2031:02:10 09:30:00")})
	var files []string
	for _, name := range []string{"a.jpg", "b.jpg", "c.txt", "STRIP.JPEG", "fine.jpg"} {
		files = append(files, filepath.Join(upload, name))
	}
	jobs := plan(t, ws, Edit{Parts: []string{"stripe"}, By: "tom", Rights: "mine"}, append(files, "old.heic")...)
	said := says(jobs)
	for _, want := range []string{"a.jpg: this is a HEIC picture", "save it as JPEG", "b.jpg: this file is empty", "c.txt: this is not a picture",
		"STRIP.JPEG: another photo is called photos/strip.jpg already; rename this one",
		`photos/fine.jpg.yaml:1:9: there is no part "stripe"; did you mean "strip"?`, `photos/fine.jpg.yaml:3:5: there is no person "tom"; did you mean "tam"?`, `photos/fine.jpg.yaml:5:9: rights: "mine" is not one of`,
		"photos/old.heic: its name does not end in"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not said in\n%s", want, said)
		}
	}
	for _, j := range jobs {
		if j.Sound() {
			t.Errorf("%s is sound", j.Photo)
		}
	}
	for _, c := range []struct {
		files []string
		edit  Edit
	}{{[]string{"nowhere.jpg"}, Edit{}}, {[]string{"photos/strip.jpg"}, Edit{Caption: "two\nlines"}}, {[]string{"photos/strip.jpg"}, Edit{Alt: "\u202e"}}, {[]string{"photos/strip.jpg"}, Edit{Credit: "\xff"}}, {[]string{"photos/strip.jpg"}, Edit{Drop: []string{"captoin"}}}} {
		if jobs, err := Plan(ws, c.files, c.edit, today); !errors.Is(err, ErrUse) {
			t.Errorf("%v %+v: %+v, %v", c.files, c.edit, jobs, err)
		}
	}
}

func TestADayThatCannotBeIsNotTaken(t *testing.T) {
	for when, want := range map[string]string{"2031:02:12 23:59:59": "taken: 2031-02-12", "2031:02:13 00:00:00": "cannot be", "2010:01:01 00:00:00": "cannot be", "0000:00:00 00:00:00": "does not say when"} {
		ws := opened(t, map[string]string{"photos/a.jpg": takenJPEG(t, 1, when)})
		j := plan(t, ws, Edit{By: "tam"}, "a.jpg")[0]
		if all := j.Text + says([]*Job{j}); !strings.Contains(all, want) || j.Stops() == strings.HasPrefix(want, "taken") {
			t.Errorf("%s: want %q in\n%s", when, want, all)
		}
		if own := plan(t, ws, Edit{By: "tam", Taken: "2031-01-14"}, "a.jpg")[0]; own.Stops() || !strings.Contains(own.Text, "taken: 2031-01-14") {
			t.Errorf("%s: --taken does not win: %s", when, own.Text)
		}
	}
}

func TestATagThatReadsOtherwiseIsNotWritten(t *testing.T) {
	photo := takenJPEG(t, 1, "2031:02:10 09:30:00")
	for src, want := range map[string]string{
		"{taken: 2031-01-14, by: tam}\n":               "not written one key to a line",
		"taken: 2031-01-14\nby: tam\ncaptoin: x\n":     `photos/a.jpg.yaml:3:1: the key "captoin" is not known here; did you mean "caption"?`,
		"taken: 2031-01-14\nby: tam\nby: tam\n":        "stands twice",
		"taken: 2031-01-14\n\tby: tam\n":               "a tab stands before the key",
		"taken: 2031-01-14\nby: &me tam\n":             "anchors, aliases and tags are not used here",
		"taken: 2031-01-14\nby: tam\nparts: [gone]\n":  `there is no part "gone"`,
		"taken: 2031-01-14\nby: tam\nhide: [{x: 2}]\n": "write a fraction",
	} {
		ws := opened(t, map[string]string{"photos/a.jpg": photo, "photos/a.jpg.yaml": src})
		jobs := plan(t, ws, Edit{Rights: "ours"}, "a.jpg")
		if said := says(jobs); !strings.Contains(said, want) || jobs[0].Sound() {
			t.Errorf("%q: want %q in %q", src, want, said)
		}
	}
	// What is wrong in a tag can be mended by naming it.
	ws := opened(t, map[string]string{"photos/a.jpg": photo, "photos/a.jpg.yaml": "taken: soon\nby: tom # or his brother\nparts: [gone]\n"})
	j := plan(t, ws, Edit{Taken: "2031-01-14", By: "tam", Drop: []string{"parts"}, Parts: []string{"strip"}}, "a.jpg")[0]
	if want := "taken: 2031-01-14\nby: tam # or his brother\nparts:\n  - strip\n"; j.Text != want || j.Stops() {
		t.Errorf("%q, %v; want %q", j.Text, j.Problems, want)
	}
}

func TestEitherAllIsWrittenOrNothing(t *testing.T) {
	ws := opened(t, map[string]string{"photos/a.jpg": takenJPEG(t, 1, "2031:02:10 09:30:00"), "photos/a.jpg.yaml": "taken: 2031-01-14\nby: tam\n"})
	upload := lay(t, map[string]string{"b.jpg": takenJPEG(t, 2, "2031:02:10 09:30:00"), "c.jpg": takenJPEG(t, 3, "2031:02:10 09:30:00")})
	jobs := plan(t, ws, Edit{By: "ines"}, "a.jpg", filepath.Join(upload, "b.jpg"), filepath.Join(upload, "c.jpg"))
	if err := os.Mkdir(ws.Path("photos/c.jpg.yaml"), 0o755); err != nil { // between the plan and the writing
		t.Fatal(err)
	}
	if err := Write(ws, jobs); err == nil {
		t.Fatal("a folder was written over")
	}
	if got, err := os.ReadFile(ws.Path("photos/a.jpg.yaml")); err != nil || string(got) != "taken: 2031-01-14\nby: tam\n" {
		t.Errorf("%q, %v", got, err)
	}
	for _, name := range []string{"b.jpg", "b.jpg.yaml", "c.jpg"} {
		if _, err := os.Stat(ws.Path("photos/" + name)); err == nil {
			t.Errorf("%s was left behind", name)
		}
	}
}

func TestTheListSaysWhatIsMissing(t *testing.T) {
	ws := opened(t, map[string]string{"photos/b.jpg": "x", "photos/a.PNG": "x", "photos/note.txt": "x", "photos/c.jpg": "x",
		"photos/b.jpg.yaml": "taken: 2031-01-14\nby: tam\npublish: offered\npeople: [{who: a smith, consent: refused}, {who: his boy, consent: given, on: 2031-01-14, adult: no}]\n",
		"photos/c.jpg.yaml": "parts: [strip]\ntaken: 2031-01-14\nby: tam\ncaption: c\nalt: a\nrights: ours\n"})
	var got bytes.Buffer
	for _, r := range List(ws) {
		got.WriteString(r.Photo + " " + strings.Join(r.Missing, ", ") + "\n")
	}
	if want := "a.PNG a tag\nb.jpg parts, caption, alt, rights, consent of a smith, guardian of his boy\nc.jpg \n"; got.String() != want {
		t.Errorf("got\n%s\nwant\n%s", &got, want)
	}
}
