package backup

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/workspace"
)

// TestDamageIsRefused changes single bytes all over a backup, cuts it and adds to it.
func TestDamageIsRefused(t *testing.T) {
	w := newWorld(t, 1)
	w.backup(t, "b.zip", Options{})
	sound, err := os.ReadFile(w.path("b.zip"))
	if err != nil {
		t.Fatal(err)
	}
	refused := func(what string, data []byte) error {
		t.Helper()
		if err := os.WriteFile(w.path("bad.zip"), data, 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Check(t.Context(), w.path("bad.zip"))
		if !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrNotBackup) && !errors.Is(err, ErrHostile) || !strings.Contains(err.Error(), "bad.zip") {
			t.Errorf("%s: %v", what, err)
		}
		return err
	}
	// Everywhere in coarse steps, and each byte of the index and the seal.
	tail := len(sound) - 1200
	for i := 0; i < len(sound); i++ {
		if i < tail && i%97 != 0 {
			continue
		}
		bad := slices.Clone(sound)
		bad[i] ^= 0x20
		if err := refused("a byte", bad); err == nil {
			t.Fatalf("byte %d of %d", i, len(sound))
		}
	}
	for cut := 0; cut < len(sound); cut += 211 {
		refused("cut short", sound[:cut])
	}
	refused("one byte less", sound[:len(sound)-1])
	refused("one byte more", append(slices.Clone(sound), 0))
	refused("a byte before it", append([]byte{0}, sound...))

	// What is damaged inside a file is named by that file, and nothing is restored of it.
	at := strings.Index(string(sound), "not looked at") // a photo is not packed
	bad := slices.Clone(sound)
	bad[at] ^= 1
	if err := refused("a photo", bad); !strings.Contains(err.Error(), "photos/floor.jpg") {
		t.Errorf("a photo: %v", err)
	}
	if _, err := Restore(t.Context(), w.path("bad.zip"), w.path("again"), w.restoring()); !errors.Is(err, ErrDamaged) {
		t.Errorf("restored: %v", err)
	}
	if slices.Contains(below(t, w.dir), "again") {
		t.Error("something was restored")
	}
}

// entry is a file of a backup that is made up.
type entry struct {
	name, text string
	mode       os.FileMode
	says       int64 // size in the manifest, if not that of the text
	unlisted   bool
}

// sealed writes a backup with a seal that holds, whatever is in it.
func sealed(t *testing.T, path string, entries []entry, change func(*Manifest)) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w := &writer{zip: zip.NewWriter(f), m: Manifest{Format: format, Made: friday}}
	for _, e := range entries {
		h := &zip.FileHeader{Name: e.name, Method: zip.Deflate}
		h.SetMode(e.mode | 0o600)
		to, err := w.zip.CreateHeader(h)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := to.Write([]byte(e.text)); err != nil {
			t.Fatal(err)
		}
		if e.unlisted {
			continue
		}
		sum, _ := digest(strings.NewReader(e.text))
		size := int64(len(e.text))
		if e.says != 0 {
			size = e.says
		}
		w.m.Files = append(w.m.Files, File{e.name, size, sum, 0o644})
	}
	if change != nil {
		change(&w.m)
	}
	if err := w.seal(f); err != nil {
		t.Fatal(err)
	}
}

func TestWhatOpencowlWouldNotWriteIsRefused(t *testing.T) {
	w := newWorld(t, 1)
	w.backup(t, "b.zip", Options{})
	database := entry{name: databaseName, text: contents(t, w.path("b.zip"))[databaseName]}
	yaml := entry{name: "workshop.yaml", text: settings}
	head, err := inBackup(t, w.path("b.zip")).Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		entries []entry
		change  func(*Manifest)
		want    error
	}{
		"out of the folder":          {[]entry{{name: "../evil.md", text: "x"}}, nil, ErrHostile},
		"out of the folder, further": {[]entry{{name: "wording/../../evil.md", text: "x"}}, nil, ErrHostile},
		"from the root":              {[]entry{{name: "/tmp/evil.md", text: "x"}}, nil, ErrHostile},
		"a backslash":                {[]entry{{name: `..\evil.md`, text: "x"}}, nil, ErrHostile},
		"no name":                    {[]entry{{name: "", text: "x"}}, nil, ErrHostile},
		"a folder":                   {[]entry{{name: "wording/", text: ""}}, nil, ErrHostile},
		"a link":                     {[]entry{{name: "log/link", text: "/etc", mode: os.ModeSymlink}}, nil, ErrHostile},
		"a device":                   {[]entry{{name: "log/null", text: "", mode: os.ModeDevice | os.ModeCharDevice}}, nil, ErrHostile},
		"a name twice":               {[]entry{{name: "wording/a.md", text: "x"}, {name: "wording/a.md", text: "x"}}, nil, ErrHostile},
		"a second database":          {[]entry{database}, nil, ErrHostile},
		"a log of the database":      {[]entry{{name: "opencowl.db-wal", text: "x"}}, nil, ErrHostile},
		"not listed":                 {[]entry{{name: "wording/a.md", text: "x", unlisted: true}}, nil, ErrHostile},
		"another size":               {[]entry{{name: "wording/a.md", text: "x", says: 5}}, nil, ErrHostile},
		"a bomb":                     {[]entry{{name: "wording/a.md", text: strings.Repeat("0", 100<<20)}}, nil, ErrHostile},
		"listed and not there":       {nil, func(m *Manifest) { m.Files = append(m.Files, File{Name: "a", Mode: 0o644}) }, ErrHostile},
		"another digest":             {nil, func(m *Manifest) { m.Files[0].SHA256 = strings.Repeat("0", 64) }, ErrDamaged},
		"another ledger":             {nil, func(m *Manifest) { m.Head = "f00" }, ErrHostile},
		"a later form":               {nil, func(m *Manifest) { m.Format = "opencowl backup 2" }, ErrLater},
		"later tables":               {nil, func(m *Manifest) { m.Tables = 99 }, ErrLater},
	} {
		t.Run(name, func(t *testing.T) {
			sealed(t, w.path("bad.zip"), append([]entry{database, yaml}, c.entries...), func(m *Manifest) {
				m.Head = head
				if c.change != nil {
					c.change(m)
				}
			})
			opt := w.restoring()
			opt.MarksLost = true
			_, err := Restore(t.Context(), w.path("bad.zip"), w.path("again/here"), opt)
			if !errors.Is(err, c.want) {
				t.Errorf("%v, want %v", err, c.want)
			}
			for _, left := range below(t, w.dir) {
				if strings.Contains(left, "evil") || strings.HasPrefix(left, "again/here") || strings.Contains(left, ".opencowl-new-") {
					t.Errorf("left behind: %s", left)
				}
			}
		})
	}
	// The made-up backup is refused for what was changed in it, and for nothing else.
	sealed(t, w.path("fine.zip"), []entry{database, yaml}, func(m *Manifest) { m.Head = head })
	opt := RestoreOptions{MarksLost: true, Clock: func(*workspace.Workspace) func() time.Time { return now }}
	if _, err := Restore(t.Context(), w.path("fine.zip"), w.path("fine"), opt); err != nil {
		t.Error(err)
	}
}

func TestAnotherZipIsNoBackup(t *testing.T) {
	w := newWorld(t, 1)
	for name, data := range map[string]string{"empty": "", "text": strings.Repeat("words ", 200)} {
		if err := os.WriteFile(w.path(name), []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Check(t.Context(), w.path(name)); !errors.Is(err, ErrNotBackup) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Check(t.Context(), w.dir); !errors.Is(err, ErrNotBackup) {
		t.Errorf("a folder: %v", err)
	}
}

// FuzzIndex holds reading an index against whatever it is given: it ends, and says no.
func FuzzIndex(f *testing.F) {
	m, _ := json.Marshal(Manifest{Format: format})
	f.Add(string(m), "workshop.yaml")
	f.Add("{}", "../x")
	f.Fuzz(func(t *testing.T, manifest, name string) {
		path := t.TempDir() + "/b.zip"
		out, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		z := zip.NewWriter(out)
		name = name[:min(len(name), 1<<16-1)] // APPNOTE.TXT 4.4.10: the length has two bytes
		for _, e := range []struct{ name, text string }{{name, "x"}, {manifestName, manifest}} {
			to, err := z.Create(e.name)
			if err != nil {
				t.Fatal(err)
			}
			if strings.HasSuffix(e.name, "/") {
				continue // a folder, which holds no bytes
			}
			if _, err := to.Write([]byte(e.text)); err != nil {
				t.Fatal(err)
			}
		}
		if err := errors.Join(z.Close(), out.Close()); err != nil {
			t.Fatal(err)
		}
		in, size, err := open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer in.Close()
		if _, err := readIndex(in, size, path); err == nil {
			t.Errorf("%q with %q was taken for a backup", name, manifest)
		}
	})
}

func TestFilesThatLieOverEachOtherAreRefused(t *testing.T) {
	w := newWorld(t, 1)
	w.backup(t, "b.zip", Options{})
	data, err := os.ReadFile(w.path("b.zip"))
	if err != nil {
		t.Fatal(err)
	}
	// Each file is said to take up half of the backup, in the index: APPNOTE.TXT 4.3.12 has
	// the packed size 20 bytes after the signature.
	changed := 0
	for at := 0; ; changed++ {
		next := bytes.Index(data[at:], []byte("PK\x01\x02"))
		if next < 0 {
			break
		}
		at += next + 20
		binary.LittleEndian.PutUint32(data[at:], uint32(len(data)/2))
	}
	if changed < 3 {
		t.Fatalf("%d files were changed", changed)
	}
	if _, err := readIndex(bytes.NewReader(data), int64(len(data)), "b.zip"); !errors.Is(err, ErrHostile) || !strings.Contains(err.Error(), "over each other") {
		t.Errorf("%v", err)
	}
}
