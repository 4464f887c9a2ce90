package workspace

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// file is what writing needs of a file; tests put a failing one in its place.
type file interface {
	io.WriteCloser
	Name() string
	Sync() error
}

// Writer writes files whole or not at all. The zero Writer writes to the disk.
type Writer struct {
	create func(dir, pattern string) (file, error)
}

func (w Writer) open(dir, pattern string) (file, error) {
	if w.create != nil {
		return w.create(dir, pattern)
	}
	return os.CreateTemp(dir, pattern)
}

// stage writes data to a temporary file beside path and syncs it.
func (w Writer) stage(path string, data []byte, mode fs.FileMode) (temp string, err error) {
	f, err := w.open(filepath.Dir(path), ".opencowl-*.part")
	if err != nil {
		return "", err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err := f.Write(data); err != nil {
		return "", err
	}
	if err := os.Chmod(f.Name(), mode); err != nil {
		return "", err
	}
	if err := f.Sync(); err != nil {
		return "", err
	}
	return f.Name(), f.Close()
}

// WriteFile writes a file whole: to a temporary file beside it, synced, then
// renamed. On any error the file is as it was before. Missing folders are made.
// Only a plain file is replaced: never a device, a pipe, a folder or a link.
func (w Writer) WriteFile(path string, data []byte, mode fs.FileMode) error {
	if err := replaceable(path); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return writeError(path, err)
	}
	temp, err := w.stage(path, data, mode)
	if err != nil {
		return writeError(path, err)
	}
	if err := os.Rename(temp, path); err != nil {
		os.Remove(temp)
		return writeError(path, err)
	}
	return writeError(path, syncDir(filepath.Dir(path)))
}

// Create writes a new file whole, as WriteFile does, and never replaces one: a file
// that is there already gives fs.ErrExist. The folder, if it is missing, is made
// for its owner alone.
func (w Writer) Create(path string, data []byte, mode fs.FileMode) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return writeError(path, err)
	}
	temp, err := w.stage(path, data, mode)
	if err != nil {
		return writeError(path, err)
	}
	defer os.Remove(temp)
	if err := os.Link(temp, path); errors.Is(err, fs.ErrExist) {
		return err
	} else if err != nil {
		// Some file systems have no links. The file may then be made twice at once,
		// which the look before makes unlikely.
		if _, err := os.Lstat(path); err == nil {
			return fmt.Errorf("%s: %w", path, fs.ErrExist)
		}
		if err := os.Rename(temp, path); err != nil {
			return writeError(path, err)
		}
	}
	return writeError(path, syncDir(filepath.Dir(path)))
}

// Append adds whole lines to the end of a file, which is made when it is missing,
// and has them on the disk when it returns. A line that an earlier writing left
// unfinished is ended first, so that it spoils no other.
func (w Writer) Append(path string, lines []byte, mode fs.FileMode) (err error) {
	if err := replaceable(path); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return writeError(path, err)
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, mode)
	if err != nil {
		return writeError(path, err)
	}
	defer func() { err = errors.Join(err, writeError(path, f.Close())) }()
	if info, err := f.Stat(); err != nil {
		return writeError(path, err)
	} else if n := info.Size(); n > 0 {
		last := make([]byte, 1)
		if _, err := f.ReadAt(last, n-1); err != nil {
			return writeError(path, err)
		}
		if last[0] != '\n' {
			lines = append([]byte("\n"), lines...)
		}
	}
	if _, err := f.Write(lines); err != nil {
		return writeError(path, err)
	}
	if err := f.Sync(); err != nil {
		return writeError(path, err)
	}
	return writeError(path, syncDir(filepath.Dir(path)))
}

// ErrNotAFile says that what stands at a path is no plain file, so that writing
// there would take away something else.
var ErrNotAFile = errors.New("this is not a plain file, so it is not written over")

// replaceable refuses a path at which something stands that is no plain file. A
// rename would put a file in the place of a device, for the whole machine.
func replaceable(path string) error {
	info, err := os.Lstat(path)
	if err != nil || info.Mode().IsRegular() {
		return nil // what else is wrong, the writing itself will say
	}
	return fmt.Errorf("%s: %w; name a new file", path, ErrNotAFile)
}

// insideOnly refuses a path below dir that passes through a link: it could lead
// anywhere.
func insideOnly(dir, name string) error {
	for sub := filepath.Dir(filepath.FromSlash(name)); sub != "."; sub = filepath.Dir(sub) {
		if info, err := os.Lstat(filepath.Join(dir, sub)); err == nil && !info.IsDir() {
			return fmt.Errorf("%s: %w; a folder is needed here: move it away", filepath.Join(dir, sub), ErrNotAFile)
		}
	}
	return nil
}

// treeList is the file that remembers which files of a folder WriteTree wrote.
const treeList = ".opencowl-files"

// ErrForeignFolder says that a folder holds files that WriteTree did not write.
var ErrForeignFolder = errors.New("the folder is not empty and was not written by opencowl")

// Change counts what WriteTree did.
type Change struct {
	Written int `json:"written"`
	Removed int `json:"removed"`
	Same    int `json:"same"`
}

// WriteTree makes the folder dir hold these files (slash paths): it writes
// those whose bytes changed and removes those that it wrote earlier and that are
// gone. All new bytes are on the disk before the first file changes its name, so
// that a full disk changes nothing. A folder with other people's files is refused.
func (w Writer) WriteTree(dir string, files map[string][]byte) (change Change, err error) {
	earlier, err := readTreeList(dir)
	if err != nil {
		return change, err
	}
	type move struct{ temp, path string }
	var staged []move
	defer func() {
		for _, m := range staged {
			os.Remove(m.temp)
		}
	}()
	names := slices.Sorted(maps.Keys(files))
	for _, name := range names {
		if !filepath.IsLocal(filepath.FromSlash(name)) {
			return change, fmt.Errorf("%s: the path leads out of the folder", name)
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := errors.Join(insideOnly(dir, name), replaceable(path)); err != nil {
			return Change{}, err
		}
		if old, err := os.ReadFile(path); err == nil && bytes.Equal(old, files[name]) {
			change.Same++
			continue
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return Change{}, writeError(path, err)
		}
		temp, err := w.stage(path, files[name], 0o644)
		if err != nil {
			return Change{}, writeError(path, err)
		}
		staged = append(staged, move{temp, path})
	}
	// The list is written first and holds old and new names: whatever stops this,
	// the next run still knows which files are its own.
	all := slices.Concat(names, earlier)
	slices.Sort(all)
	if err := w.writeTreeList(dir, slices.Compact(all)); err != nil {
		return Change{}, err
	}
	for i, m := range staged {
		if err := os.Rename(m.temp, m.path); err != nil {
			staged = staged[i:]
			return change, writeError(m.path, err)
		}
		change.Written++
	}
	staged = nil
	for _, name := range earlier {
		if _, kept := files[name]; kept {
			continue
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := insideOnly(dir, name); err != nil {
			return change, err
		}
		if err := os.Remove(path); err == nil {
			change.Removed++
		} else if !errors.Is(err, fs.ErrNotExist) {
			return change, writeError(path, err)
		}
		removeEmpty(dir, filepath.Dir(path))
	}
	return change, w.writeTreeList(dir, names)
}

func (w Writer) writeTreeList(dir string, names []string) error {
	text := []byte(strings.Join(names, "\n") + "\n")
	path := filepath.Join(dir, treeList)
	if old, err := os.ReadFile(path); err == nil && bytes.Equal(old, text) {
		return nil
	}
	return w.WriteFile(path, text, 0o644)
}

func readTreeList(dir string) ([]string, error) {
	text, err := os.ReadFile(filepath.Join(dir, treeList))
	if err == nil {
		var names []string
		for name := range strings.FieldsFuncSeq(string(text), func(r rune) bool { return r == '\n' }) {
			if filepath.IsLocal(filepath.FromSlash(name)) {
				names = append(names, name)
			}
		}
		return names, nil
	}
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, writeError(dir, err)
	case len(entries) > 0:
		return nil, fmt.Errorf("%s: %w; name an empty or a new folder", dir, ErrForeignFolder)
	}
	return nil, nil
}

// removeEmpty removes folders that have become empty, up to but not including top.
func removeEmpty(top, dir string) {
	for dir != top && strings.HasPrefix(dir, top) {
		if os.Remove(dir) != nil {
			return
		}
		dir = filepath.Dir(dir)
	}
}

// ErrOutside marks a failure of the machine rather than of the work: a full
// disk, a folder that may not be written.
var ErrOutside = errors.New("the machine refused")

func writeError(path string, err error) error {
	if err == nil {
		return nil
	}
	var pe *fs.PathError
	reason := err
	if errors.As(err, &pe) {
		reason = pe.Err
	}
	remedy := "check the disk"
	switch {
	case errors.Is(err, fs.ErrPermission):
		remedy = "ask the folder's owner for permission to write, or name another folder"
	case isFull(err):
		remedy = "make room on the disk and run the command again; nothing was changed"
	}
	return &outside{fmt.Sprintf("%s: cannot be written (%v); %s", path, reason, remedy), err}
}

type outside struct {
	text  string
	cause error
}

func (o *outside) Error() string        { return o.text }
func (o *outside) Unwrap() error        { return o.cause }
func (o *outside) Is(target error) bool { return target == ErrOutside }
