package clearance_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/workspace"
)

// open reads the workspace, as somebody who watches.
func (b *bench) open(ctx context.Context, watch func(done, of int)) (*workspace.Workspace, *clearance.Desk, error) {
	b.t.Helper()
	ws, problems, err := workspace.Open(b.dir)
	if err != nil || len(problems) > 0 {
		b.t.Fatal(err, problems)
	}
	b.t.Cleanup(func() { ws.Close() })
	clock := func() time.Time { return b.today.Time(time.UTC).Add(12 * time.Hour) }
	d, err := clearance.Open(ctx, ws, b.db, clearance.Options{Today: b.today, Now: clock, Watch: watch})
	return ws, d, err
}

// Photos are made ready several at a time, of different sizes, some refused and
// some kept back: their units come in the order of their tags all the same, and
// whoever watches is told of each once.
func TestPhotosKeepTheirOrderAndAreAllTold(t *testing.T) {
	b := newBench(t)
	tag, err := os.ReadFile(filepath.Join(b.dir, "photos", "stiffener.jpg.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"photo/stiffener.jpg"}
	for i := range 11 {
		name := fmt.Sprintf("bench-%02d", i)
		data, text := string(photo(t)), string(tag)
		switch i % 4 {
		case 1:
			data = "GIF89a" // refused at once, while others are still at work
		case 2:
			text = strings.Replace(text, "publish: offered", "publish: no", 1)
		case 3:
			text = strings.Replace(text, "credit:", "focus: {x: 0.2, y: 0.2}\ncredit:", 1)
		}
		b.write("photos/"+name+".jpg", data)
		b.write("photos/"+name+".jpg.yaml", text)
		want = append(want, "photo/"+name+".jpg")
	}
	slices.Sort(want)
	var told []string
	ws, d, err := b.open(t.Context(), func(done, of int) { told = append(told, fmt.Sprintf("%d of %d", done, of)) })
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, u := range d.Units() {
		if u.Kind == "photo" {
			got = append(got, u.ID)
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	var all []string
	for i := range want {
		all = append(all, fmt.Sprintf("%d of %d", i+1, len(want)))
	}
	if !slices.Equal(told, all) {
		t.Errorf("told %v, want %v", told, all)
	}
	names := d.PublicCopies()
	for _, u := range d.Units() {
		if u.Kind != "photo" {
			continue
		}
		i := slices.Index(want, u.ID)
		if shown := u.Digest != ""; shown != (i == len(want)-1 || i%4 == 0 || i%4 == 3) {
			t.Errorf("%s has public copies: %v", u.ID, shown)
		}
	}
	files, err := os.ReadDir(ws.CopiesDir())
	if err != nil {
		t.Fatal(err)
	}
	for name := range names {
		if !slices.ContainsFunc(files, func(f os.DirEntry) bool { return f.Name() == name }) {
			t.Errorf("%s is among the public copies and not in their folder", name)
		}
	}
	if len(names) == 0 {
		t.Error("there are no public copies")
	}
}

func TestPhotosStopWhenCalledOff(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := b.open(ctx, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
}
