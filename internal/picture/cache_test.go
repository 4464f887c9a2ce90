package picture

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"example.org/opencowl/internal/cleared"
)

// counted is a cache that counts how often it decodes.
func counted(dir string) (*Cache, *int) {
	c, times := NewCache(dir, nil), 0
	c.make = func(ctx context.Context, original []byte, r Recipe) ([]Copy, error) {
		times++
		return Make(ctx, original, r)
	}
	return c, &times
}

func TestUnchangedPhotoIsDecodedOnce(t *testing.T) {
	dir := t.TempDir()
	original := asJPEG(t, hangar(900, 600))
	r := Recipe{Alt: "a strip", Hide: []Box{{0.1, 0.1, 0.1, 0.1}}}
	want := mustMake(t, original, r)
	for _, run := range []string{"first", "second"} {
		c, times := counted(dir)
		for range 2 {
			got, err := c.Copies(t.Context(), original, r)
			if err != nil {
				t.Fatal(err)
			}
			if len(got) != len(want) {
				t.Fatalf("got %d copies, want %d", len(got), len(want))
			}
			for i, g := range got {
				data, err := g.Open()
				if err != nil {
					t.Fatal(err)
				}
				if g.Use != want[i].Use || g.Width != want[i].Width || g.Height != want[i].Height || g.Name != want[i].Name || !bytes.Equal(data, want[i].JPEG) {
					t.Errorf("%s run: copy %d is %s %d×%d %s, want %s %d×%d %s", run, i, g.Use, g.Width, g.Height, g.Name,
						want[i].Use, want[i].Width, want[i].Height, want[i].Name)
				}
			}
		}
		if n := map[string]int{"first": 1, "second": 0}[run]; *times != n {
			t.Errorf("%s run: decoded %d times, want %d", run, *times, n)
		}
	}
}

func TestEveryChangeRemakesThePhoto(t *testing.T) {
	original := asJPEG(t, hangar(300, 200))
	base := Recipe{Focus: Point{0.4, 0.4}, Hide: []Box{{0.1, 0.2, 0.3, 0.4}}, Alt: "a", Caption: "b", Credit: "c", Copyright: "d", Uses: []cleared.Use{cleared.Card}}
	c, times := counted(t.TempDir())
	ask := func(name string, data []byte, change func(*Recipe)) {
		t.Helper()
		r := base
		r.Hide = append([]Box(nil), base.Hide...)
		change(&r)
		before := *times
		if _, err := c.Copies(t.Context(), data, r); err != nil {
			t.Fatal(err)
		}
		if *times != before+1 {
			t.Errorf("%s: the photo was not decoded again", name)
		}
	}
	ask("the first time", original, func(*Recipe) {})
	ask("another original", asJPEG(t, hangar(300, 201)), func(*Recipe) {})
	ask("focus", original, func(r *Recipe) { r.Focus.X = 0.41 })
	ask("focus, down", original, func(r *Recipe) { r.Focus.Y = 0.41 })
	ask("hide x", original, func(r *Recipe) { r.Hide[0].X = 0.11 })
	ask("hide y", original, func(r *Recipe) { r.Hide[0].Y = 0.21 })
	ask("hide w", original, func(r *Recipe) { r.Hide[0].W = 0.31 })
	ask("hide h", original, func(r *Recipe) { r.Hide[0].H = 0.41 })
	ask("another box", original, func(r *Recipe) { r.Hide = append(r.Hide, Box{0.5, 0.5, 0.1, 0.1}) })
	ask("no box", original, func(r *Recipe) { r.Hide = nil })
	ask("alt", original, func(r *Recipe) { r.Alt = "ab"; r.Caption = "" })
	ask("caption", original, func(r *Recipe) { r.Caption = "B" })
	ask("credit", original, func(r *Recipe) { r.Credit = "C" })
	ask("copyright", original, func(r *Recipe) { r.Copyright = "D" })
	ask("uses", original, func(r *Recipe) { r.Uses = nil })
	before := *times
	same := base
	same.Uses = []cleared.Use{cleared.Card, cleared.Card}
	if _, err := c.Copies(t.Context(), original, same); err != nil || *times != before {
		t.Errorf("the same recipe, its use named twice: decoded again (%v)", err)
	}
}

func TestDamagedCacheIsNoticedAndRemade(t *testing.T) {
	original := asJPEG(t, hangar(500, 300))
	for name, harm := range map[string]func(file string, data []byte) error{
		"a byte changed": func(file string, data []byte) error {
			data[len(data)/2] ^= 1
			return os.WriteFile(file, data, 0o600)
		},
		"cut short": func(file string, data []byte) error { return os.WriteFile(file, data[:len(data)-3], 0o600) },
		"emptied":   func(file string, data []byte) error { return os.WriteFile(file, nil, 0o600) },
		"gone":      func(file string, data []byte) error { return os.Remove(file) },
	} {
		dir := t.TempDir()
		c, times := counted(dir)
		first, err := c.Copies(t.Context(), original, Recipe{})
		if err != nil {
			t.Fatal(err)
		}
		files, err := filepath.Glob(filepath.Join(dir, "*"))
		if err != nil || len(files) < 5 {
			t.Fatalf("got %d files in the cache, %v", len(files), err)
		}
		for _, file := range files {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if err := harm(file, bytes.Clone(data)); err != nil {
				t.Fatal(err)
			}
			for _, info := range first {
				if info.Name == filepath.Base(file) {
					if _, err := info.Open(); err == nil {
						t.Errorf("%s: Open hands out a copy that is not what its name says", name)
					}
				}
			}
			*times = 0
			if _, err := c.Copies(t.Context(), original, Recipe{}); err != nil {
				t.Fatal(err)
			}
			if *times != 1 {
				t.Errorf("%s, %s: remade %d times, want once", name, filepath.Ext(file), *times)
			}
			if again, err := os.ReadFile(file); err != nil || !bytes.Equal(again, data) {
				t.Errorf("%s, %s: the file was not put back as it was (%v)", name, filepath.Ext(file), err)
			}
		}
	}
}

func TestCacheHoldsNothingHalfWritten(t *testing.T) {
	dir := t.TempDir()
	original := asJPEG(t, hangar(500, 300))
	full := errors.New("the disk is full")
	for failing := range 6 {
		writes := 0
		c := NewCache(dir, nil)
		atomically := c.write
		c.write = func(name string, data []byte) error {
			if writes++; writes > failing {
				return full
			}
			return atomically(name, data)
		}
		if _, err := c.Copies(t.Context(), original, Recipe{}); err != nil && !errors.Is(err, full) {
			t.Fatalf("got %v, want the disk's own error inside", err)
		}
		lists, err := filepath.Glob(filepath.Join(dir, "*.list"))
		if err != nil {
			t.Fatal(err)
		}
		if infos, ok := c.kept(key(original, Recipe{}) + ".list"); len(lists) > 0 && (!ok || len(infos) == 0) {
			t.Fatalf("after %d writes there is a list without its copies", failing)
		}
	}
	c, _ := counted(dir)
	if _, err := c.Copies(t.Context(), original, Recipe{}); err != nil {
		t.Fatal(err)
	}
}

func TestCacheWritesBareNamesThroughItsCaller(t *testing.T) {
	dir := t.TempDir()
	var written []string
	c := NewCache(dir, func(name string, data []byte) error {
		written = append(written, name)
		return os.WriteFile(filepath.Join(dir, name), data, 0o600)
	})
	infos, err := c.Copies(t.Context(), asJPEG(t, hangar(500, 300)), Recipe{Uses: []cleared.Use{cleared.Web400, cleared.Card}})
	if err != nil {
		t.Fatal(err)
	}
	if len(written) != 3 || written[0] != infos[0].Name || written[1] != infos[1].Name || !strings.HasSuffix(written[2], ".list") {
		t.Errorf("got %q, want the two copies and then their list", written)
	}
}

func TestCacheIsSharedSafely(t *testing.T) {
	dir := t.TempDir()
	original := asJPEG(t, hangar(500, 300))
	want := names(mustMake(t, original, Recipe{}))
	var wait sync.WaitGroup
	for range 6 {
		wait.Go(func() {
			infos, err := NewCache(dir, nil).Copies(t.Context(), original, Recipe{})
			if err != nil {
				t.Error(err)
				return
			}
			var made []Copy
			for _, i := range infos {
				if _, err := i.Open(); err != nil {
					t.Error(err)
				}
				made = append(made, Copy{Use: i.Use, Name: i.Name})
			}
			if names(made) != want {
				t.Error("one of several at work got other copies")
			}
		})
	}
	wait.Wait()
	if left, err := filepath.Glob(filepath.Join(dir, "new-*")); err != nil || len(left) > 0 {
		t.Errorf("left over: %q, %v", left, err)
	}
}

func TestCacheKeepsNoErrors(t *testing.T) {
	dir := t.TempDir()
	c := NewCache(dir, nil)
	_, err := c.Copies(t.Context(), []byte("GIF89a"), Recipe{})
	wantCode(t, err, Unsupported)
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := c.Copies(ended, asJPEG(t, hangar(100, 80)), Recipe{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
	if files, err := os.ReadDir(dir); err != nil || len(files) > 0 {
		t.Errorf("got %d files, %v; want none", len(files), err)
	}
}
