package workspace

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// file is what writing needs of a file.
type file interface {
	io.WriteCloser
	Name() string
	Sync() error
}

// disk is what writing needs of the machine; tests put a failing one in its place.
type disk interface {
	create(dir, pattern string) (file, error)
	chmod(path string, mode fs.FileMode) error
	rename(from, to string) error
	remove(path string) error
	mkdir(dir string) error // and those above it
	syncDir(dir string) error
}

type realDisk struct{}

func (realDisk) create(dir, pattern string) (file, error)  { return os.CreateTemp(dir, pattern) }
func (realDisk) chmod(path string, mode fs.FileMode) error { return os.Chmod(path, mode) }
func (realDisk) rename(from, to string) error              { return os.Rename(from, to) }
func (realDisk) remove(path string) error                  { return os.Remove(path) }
func (realDisk) mkdir(dir string) error                    { return os.MkdirAll(dir, 0o755) }
func (realDisk) syncDir(dir string) error                  { return syncDir(dir) }

// Writer writes files whole or not at all. The zero Writer writes to the disk.
type Writer struct {
	on    disk
	hands int // how many files of a tree are synced at once; 0 is the usual number
}

func (w Writer) disk() disk {
	if w.on != nil {
		return w.on
	}
	return realDisk{}
}

// stage writes data to a temporary file in a folder and syncs it.
func (w Writer) stage(dir string, data []byte, mode fs.FileMode) (temp string, err error) {
	f, err := w.begin(dir, data, mode)
	if err != nil {
		return "", err
	}
	return w.finish(f)
}

// begin writes data to a temporary file, and finish syncs it. Where either fails
// the file is gone.
func (w Writer) begin(dir string, data []byte, mode fs.FileMode) (file, error) {
	f, err := w.disk().create(dir, ".opencowl-*.part")
	if err != nil {
		return nil, err
	}
	_, err = f.Write(data)
	if err == nil {
		err = w.disk().chmod(f.Name(), mode)
	}
	if err != nil {
		f.Close()
		w.disk().remove(f.Name())
		return nil, err
	}
	return f, nil
}

func (w Writer) finish(f file) (temp string, err error) {
	err = f.Sync()
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		w.disk().remove(f.Name())
	}
	return f.Name(), err
}

// WriteFile writes a file whole: to a temporary file beside it, synced, then
// renamed. On any error the file is as it was before. Missing folders are made.
// Only a plain file is replaced: never a device, a pipe, a folder or a link.
func (w Writer) WriteFile(path string, data []byte, mode fs.FileMode) error {
	if err := replaceable(path); err != nil {
		return err
	}
	dir := filepath.Dir(path)
	if err := w.disk().mkdir(dir); err != nil {
		return writeError(path, err)
	}
	temp, err := w.stage(dir, data, mode)
	if err != nil {
		return writeError(path, err)
	}
	return w.settle(temp, path)
}

// settle gives a staged file its name, for good.
func (w Writer) settle(temp, path string) error {
	if err := w.disk().rename(temp, path); err != nil {
		w.disk().remove(temp)
		return writeError(path, err)
	}
	return writeError(path, w.disk().syncDir(filepath.Dir(path)))
}

// Create writes a new file whole, as WriteFile does, and never replaces one: a file
// that is there already gives fs.ErrExist. The folder, if it is missing, is made
// for its owner alone.
func (w Writer) Create(path string, data []byte, mode fs.FileMode) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return writeError(path, err)
	}
	temp, err := w.stage(filepath.Dir(path), data, mode)
	if err != nil {
		return writeError(path, err)
	}
	defer os.Remove(temp)
	return settleNew(temp, path)
}

// settleNew gives a staged file a name that nothing has, for good.
func settleNew(temp, path string) error {
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
