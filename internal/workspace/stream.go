package workspace

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"
)

// CreateFrom writes a new file whole or not at all, as Create does, from what fill
// writes: for what is too large to be held in memory. Fill may read its file back;
// whatever it returns leaves nothing behind.
func (w Writer) CreateFrom(path string, mode fs.FileMode, fill func(*os.File) error) error {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return writeError(path, err)
	}
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s: %w", path, fs.ErrExist)
	}
	f, err := os.CreateTemp(dir, ".opencowl-*.part") // readable by its owner alone
	if err != nil {
		return writeError(path, err)
	}
	defer os.Remove(f.Name())
	defer f.Close()
	if err := fill(f); err != nil {
		if isFull(err) {
			return writeError(path, err)
		}
		return err
	}
	if err := errors.Join(f.Chmod(mode), f.Sync(), f.Close()); err != nil {
		return writeError(path, err)
	}
	return settleNew(f.Name(), path)
}

// BackupDir is where a backup works, for its owner alone. Nothing in it lasts.
func (w *Workspace) BackupDir() string { return w.Path(stateDir + "/backup") }

// LockBackup takes the workspace for making a backup; release gives it back. Other
// commands may write meanwhile, but for another backup.
func (w *Workspace) LockBackup() (release func(), err error) {
	if err := os.MkdirAll(w.Path(stateDir), 0o755); err != nil {
		return nil, writeError(w.Path(stateDir), err)
	}
	lock := flock.New(w.Path(stateDir + "/backup.lock"))
	ok, err := lock.TryLock()
	if err != nil {
		return nil, writeError(lock.Path(), err)
	}
	if !ok {
		return nil, fmt.Errorf("%s: %w (another backup); wait until it has ended, then run this again", w.Dir, ErrBusy)
	}
	return func() { lock.Close() }, nil
}
