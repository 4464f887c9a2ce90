// Package workspace opens and creates the folder in which a workshop keeps its
// log and its words, reads its settings, and is the one place that writes files.
//
// It promises that a file is written whole or not at all, that nothing outside
// the folder is read through it, and that two commands do not write at once. It
// must not know what the log or the wording say.
package workspace

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

// ErrNotWorkspace says that a folder has no workshop.yaml.
var ErrNotWorkspace = errors.New("this folder is not a workspace")

// ErrBusy says that another command is writing to the workspace.
var ErrBusy = errors.New("another opencowl command is at work here")

// Workspace is an open workspace.
type Workspace struct {
	Dir      string
	Root     *os.Root
	Settings Settings
	Writer   Writer
}

// Open opens the workspace in dir and reads its settings. Problems are the
// faults of workshop.yaml; the error is for a folder that is no workspace.
func Open(dir string) (*Workspace, []reading.Problem, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w (%v); name its folder with --workspace, or make one with opencowl new", dir, ErrNotWorkspace, err)
	}
	if _, err := root.Lstat(SettingsFile); errors.Is(err, fs.ErrNotExist) {
		root.Close()
		return nil, nil, fmt.Errorf("%s: %w: it has no %s; name its folder with --workspace, or make one with opencowl new", dir, ErrNotWorkspace, SettingsFile)
	}
	w := &Workspace{Dir: dir, Root: root}
	src, problem := reading.Text(root, SettingsFile)
	if problem != nil {
		w.Settings.Workshop.Timezone.Location = time.UTC // there is always a day
		return w, []reading.Problem{*problem}, nil
	}
	var problems []reading.Problem
	w.Settings, problems = readSettings(src)
	return w, problems, nil
}

// Close closes the folder.
func (w *Workspace) Close() error { return w.Root.Close() }

// Path joins a slash path to the workspace's folder.
func (w *Workspace) Path(name string) string { return filepath.Join(w.Dir, filepath.FromSlash(name)) }

// Database is the path of the SQLite file.
func (w *Workspace) Database() string { return w.Path("opencowl.db") }

// MemberKeys is the path of the file that holds the members' keys.
func (w *Workspace) MemberKeys() string { return w.SecretFile(w.Settings.Members.KeyFile) }

// SecretFile is the path of a file that the settings name: from the workspace's
// folder, unless it begins at the root.
func (w *Workspace) SecretFile(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return w.Path(name)
}

// Today returns the day that counts as today: as given, else as the settings
// fix it, else by the clock in the workshop's time zone.
func (w *Workspace) Today(given day.Date, now time.Time) day.Date {
	switch {
	case !given.IsZero():
		return given
	case !w.Settings.Today.IsZero():
		return w.Settings.Today
	}
	return day.Of(now.In(w.Settings.Workshop.Timezone.Location))
}

// stateDir holds what can be made again: copies of photos, the lock.
const stateDir = ".opencowl"

// CopiesDir is where public copies of photos are kept.
func (w *Workspace) CopiesDir() string { return w.Path(stateDir + "/copies") }

type holder struct {
	PID     int    `json:"pid"`
	Command string `json:"command"`
}

// Lock takes the workspace for writing; release gives it back. Another command
// at work gives ErrBusy at once, with its name and process number. The lock
// falls with the process, however that ends.
func (w *Workspace) Lock(command string) (release func(), err error) {
	if err := os.MkdirAll(w.Path(stateDir), 0o755); err != nil {
		return nil, writeError(w.Path(stateDir), err)
	}
	lock := flock.New(w.Path(stateDir + "/lock"))
	ok, err := lock.TryLock()
	if err != nil {
		return nil, writeError(lock.Path(), err)
	}
	note := w.Path(stateDir + "/lock.json")
	if !ok {
		where, err := filepath.Abs(w.Dir)
		if err != nil {
			where = w.Dir
		}
		var h holder
		if data, err := os.ReadFile(note); err == nil && json.Unmarshal(data, &h) == nil && h.Command != "" {
			return nil, fmt.Errorf("%s: %w (%s, process %d); wait until it has ended, then run this again", where, ErrBusy, h.Command, h.PID)
		}
		return nil, fmt.Errorf("%s: %w; wait until it has ended, then run this again", where, ErrBusy)
	}
	data, err := json.Marshal(holder{os.Getpid(), command})
	if err == nil {
		err = w.Writer.WriteFile(note, data, 0o644)
	}
	if err != nil {
		lock.Close()
		return nil, err
	}
	return func() {
		os.Remove(note)
		lock.Close()
	}, nil
}

// ErrNotEmpty says that a new workspace was to be made where something is.
var ErrNotEmpty = errors.New("the folder is not empty")

// Create makes a new workspace in dir from the files of a tree (nil: none), and lets
// prepare (which may be nil) work on it. The folder must be missing or empty. The whole is
// made beside it and renamed, so that a failure leaves nothing half made.
func Create(dir string, tree fs.FS, prepare func(dir string) error) error {
	if dir == "" {
		return errors.New("no folder is named; name the new workspace's folder")
	}
	entries, err := os.ReadDir(dir)
	exists := err == nil
	if exists && len(entries) > 0 {
		return fmt.Errorf("%s: %w; name a new folder", dir, ErrNotEmpty)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return writeError(dir, err)
	}
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return writeError(parent, err)
	}
	temp, err := os.MkdirTemp(parent, ".opencowl-new-")
	if err != nil {
		return writeError(dir, err)
	}
	defer os.RemoveAll(temp)
	if tree != nil {
		if err := copyTree(temp, tree); err != nil {
			return writeError(dir, err)
		}
	}
	if prepare != nil {
		if err := prepare(temp); err != nil {
			return err
		}
	}
	if err := os.Chmod(temp, 0o755); err != nil {
		return writeError(dir, err)
	}
	if exists {
		if err := os.Remove(dir); err != nil {
			return writeError(dir, err)
		}
	}
	return writeError(dir, os.Rename(temp, dir))
}

func copyTree(dir string, tree fs.FS) error {
	var w Writer
	return fs.WalkDir(tree, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		f, err := tree.Open(name)
		if err != nil {
			return err
		}
		defer f.Close()
		data, err := io.ReadAll(f)
		if err != nil {
			return err
		}
		return w.WriteFile(filepath.Join(dir, filepath.FromSlash(name)), data, 0o644)
	})
}
