package workspace

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

func TestThemeTakesPlainFilesOfASaneSize(t *testing.T) {
	w, _ := open(t, goodSettings)
	put := func(name string, data string) string {
		path := filepath.Join(w.Dir, "themes", filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	put("faces/front.yaml", "ours")
	if err := os.Truncate(put("archive/static/big.css", ""), maxThemeFile+1); err != nil {
		t.Fatal(err)
	}
	theme, err := w.Theme()
	if err != nil {
		t.Fatal(err)
	}
	if data, err := fs.ReadFile(theme, "faces/front.yaml"); err != nil || string(data) != "ours" {
		t.Errorf("the workspace's own file: %q, %v", data, err)
	}
	if data, err := fs.ReadFile(theme, "faces/back.yaml"); err != nil || len(data) == 0 {
		t.Errorf("the built-in file: %d bytes, %v", len(data), err)
	}
	if _, err := fs.ReadFile(theme, "archive/static/big.css"); !errors.Is(err, ErrThemeFile) {
		t.Errorf("a huge file: got %v, want ErrThemeFile", err)
	}
	for to, name := range map[string]string{"/etc/passwd": "out.css", os.DevNull: "device.css"} {
		if err := os.Symlink(to, filepath.Join(w.Dir, "themes/archive/static", name)); err != nil {
			t.Skipf("links cannot be made here: %v", err)
		}
		if _, err := fs.ReadFile(theme, "archive/static/"+name); !errors.Is(err, ErrThemeFile) {
			t.Errorf("%s: got %v, want ErrThemeFile", name, err)
		}
	}
}
