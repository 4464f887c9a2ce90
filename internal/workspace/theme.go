package workspace

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"example.org/opencowl/themes"
)

// maxThemeFile is the largest file of a theme that is read, in bytes. The
// built-in fonts, the largest there are, have under half a million.
const maxThemeFile = 16 << 20

// ErrThemeFile says that a file in themes/ is not one to read.
var ErrThemeFile = errors.New("this file of the theme cannot be used")

// Theme returns the built-in themes with the workspace's own laid over them.
func (w *Workspace) Theme() (fs.FS, error) {
	return themes.Over(themeFiles{w.Root}), nil
}

// themeFiles are the files of themes/ that are plain files of a sane size. What
// each is gets looked at before it is opened: opening a pipe would wait for ever.
type themeFiles struct{ root *os.Root }

func (t themeFiles) Open(name string) (fs.File, error) {
	if !fs.ValidPath(name) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
	}
	path := "themes"
	if name != "." {
		path += "/" + name
	}
	info, err := t.root.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, err
	case err != nil:
		return nil, fmt.Errorf("%s: %w (%w); put the file itself there, or take it out", path, ErrThemeFile, err)
	case !info.IsDir() && !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s: %w: it is a pipe or a device; put a plain file there, or take it out", path, ErrThemeFile)
	case info.Size() > maxThemeFile:
		return nil, fmt.Errorf("%s: %w: it has %d bytes, and the most taken is %d; make it smaller, or take it out", path, ErrThemeFile, info.Size(), maxThemeFile)
	}
	return t.root.Open(path)
}
