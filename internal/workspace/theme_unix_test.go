//go:build unix

package workspace

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

func TestThemeDoesNotWaitAtAPipe(t *testing.T) {
	w, _ := open(t, goodSettings)
	dir := filepath.Join(w.Dir, "themes", "faces")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(filepath.Join(dir, "front.yaml"), 0o600); err != nil {
		t.Skipf("pipes cannot be made here: %v", err)
	}
	theme, err := w.Theme()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := fs.ReadFile(theme, "faces/front.yaml"); !errors.Is(err, ErrThemeFile) {
		t.Errorf("got %v, want ErrThemeFile", err)
	}
}
