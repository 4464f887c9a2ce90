package workspace

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// treeList is the file that remembers which files of a folder WriteTree wrote. It
// holds their names and nothing else, since it may be copied to a web server with them.
const treeList = ".opencowl-files"

// treeStaging is the folder in which new files wait for their names. What a run
// that was stopped has left in it goes with the next run.
const treeStaging = ".opencowl-new"

// usualHands is how many files are synced at once: a disk does several in hardly
// more time than one. They are made one after another, since a folder takes one new
// name at a time.
const usualHands = 8

// ErrForeignFolder says that a folder holds files that WriteTree did not write.
var ErrForeignFolder = errors.New("the folder is not empty and was not written by opencowl")

// ErrForeignFile says that a file which WriteTree did not write stands where one of
// its own would go.
var ErrForeignFile = errors.New("this file was not written by opencowl, so it is not written over")

// Change counts what WriteTree did, and names the files in the folder that are not its own.
type Change struct {
	Written int      `json:"written"`
	Removed int      `json:"removed"`
	Same    int      `json:"same"`
	Foreign []string `json:"foreign,omitempty"` // slash paths, left alone
}

// WriteTree makes the folder dir hold these files (slash paths): it writes
// those whose bytes changed and removes those that it wrote earlier and that are
// gone, with the folders that are then empty. Other people's files are left alone
// and named; a folder with nothing but those is refused.
//
// All new bytes are on the disk before the first file changes its name, so that a
// full disk changes nothing. A run that is stopped at any moment leaves whole files
// only, and the next one makes the folder what it would be without that.
func (w Writer) WriteTree(dir string, files map[string][]byte) (Change, error) {
	earlier, err := readTreeList(dir)
	if err != nil {
		return Change{}, err
	}
	t := &tree{Writer: w, dir: dir, files: files, earlier: earlier, folders: map[string]bool{}}
	if err := t.compare(); err != nil {
		return Change{}, err
	}
	if err := t.stageAll(); err != nil {
		t.clearStaging()
		return Change{}, err
	}
	err = t.put()
	t.clearStaging()
	if err == nil {
		t.change.Foreign, err = t.foreign()
	}
	return t.change, err
}

// tree is one folder while it is written.
type tree struct {
	Writer
	dir     string
	files   map[string][]byte
	earlier []string        // what it wrote before
	changed []string        // what is to be written, in order
	staged  []string        // where each of those waits
	folders map[string]bool // those from which something went
	change  Change
}

func (t *tree) at(name string) string { return filepath.Join(t.dir, filepath.FromSlash(name)) }
func (t *tree) staging() string       { return filepath.Join(t.dir, treeStaging) }

// compare finds out which files changed, and refuses what must not be written.
func (t *tree) compare() error {
	own := map[string]bool{}
	for _, name := range t.earlier {
		own[name] = true
	}
	for _, name := range slices.Sorted(maps.Keys(t.files)) {
		if !filepath.IsLocal(filepath.FromSlash(name)) || name == treeList || strings.HasPrefix(name, treeStaging+"/") {
			return fmt.Errorf("%s: the path leads out of the folder, or is taken", name)
		}
		at := t.at(name)
		if err := errors.Join(insideOnly(t.dir, name), replaceable(at)); err != nil {
			return err
		}
		old, err := os.ReadFile(at)
		switch {
		case err == nil && bytes.Equal(old, t.files[name]):
			t.change.Same++
			continue
		case err == nil && !own[name]:
			return fmt.Errorf("%s: %w; move it away, or name another folder", at, ErrForeignFile)
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return writeError(at, err)
		}
		t.changed = append(t.changed, name)
	}
	return nil
}

// stageAll puts all new bytes on the disk, each under a name of its own.
func (t *tree) stageAll() error {
	if err := t.clearStaging(); err != nil {
		return err
	}
	if err := t.disk().mkdir(t.staging()); err != nil {
		return writeError(t.dir, err)
	}
	t.staged = make([]string, len(t.changed))
	errs := make([]error, len(t.changed))
	turns := make(chan struct{}, cmp.Or(t.hands, usualHands))
	var wait sync.WaitGroup
	for i, name := range t.changed {
		turns <- struct{}{}
		f, err := t.begin(t.staging(), t.files[name], 0o644)
		if err != nil {
			errs[i] = err
			break
		}
		wait.Go(func() {
			t.staged[i], errs[i] = t.finish(f)
			<-turns
		})
	}
	wait.Wait()
	for i, err := range errs {
		if err != nil {
			return writeError(t.at(t.changed[i]), err)
		}
	}
	return nil
}

// put gives the new files their names and takes away those that are gone. The list
// is written first, with old and new names: whatever stops this, the next run
// still knows which files are its own.
func (t *tree) put() error {
	names := slices.Sorted(maps.Keys(t.files))
	all := slices.Concat(names, t.earlier)
	slices.Sort(all)
	if err := t.writeList(slices.Compact(all)); err != nil {
		return err
	}
	for i, name := range t.changed {
		at := t.at(name)
		if err := t.disk().mkdir(filepath.Dir(at)); err != nil {
			return writeError(at, err)
		}
		if err := t.disk().rename(t.staged[i], at); err != nil {
			return writeError(at, err)
		}
		t.change.Written++
	}
	for _, name := range t.earlier {
		if _, kept := t.files[name]; kept {
			continue
		}
		if err := insideOnly(t.dir, name); err != nil {
			return err
		}
		at := t.at(name)
		if err := t.disk().remove(at); err == nil {
			t.change.Removed++
		} else if !errors.Is(err, fs.ErrNotExist) {
			return writeError(at, err)
		}
		t.removeEmpty(filepath.Dir(at))
	}
	// What is gone stays gone through a power cut. A new name that is lost by one needs
	// no such care: the next run finds the file missing, or old, and writes it.
	for _, folder := range slices.Sorted(maps.Keys(t.folders)) {
		if err := t.disk().syncDir(folder); err != nil {
			return writeError(folder, err)
		}
	}
	return t.writeList(names)
}

// writeList writes the list of files, by way of the staging folder like any other.
func (t *tree) writeList(names []string) error {
	text := []byte(strings.Join(names, "\n") + "\n")
	list := filepath.Join(t.dir, treeList)
	if old, err := os.ReadFile(list); err == nil && bytes.Equal(old, text) {
		return nil
	}
	if err := replaceable(list); err != nil {
		return err
	}
	temp, err := t.stage(t.staging(), text, 0o644)
	if err != nil {
		return writeError(list, err)
	}
	return t.settle(temp, list)
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
	case slices.ContainsFunc(entries, func(e fs.DirEntry) bool { return e.Name() != treeStaging }):
		return nil, fmt.Errorf("%s: %w; name an empty or a new folder", dir, ErrForeignFolder)
	}
	return nil, nil
}

// clearStaging takes away the staging folder and what waits in it.
func (t *tree) clearStaging() error {
	entries, err := os.ReadDir(t.staging())
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return writeError(t.staging(), err)
	}
	for _, e := range entries {
		if err := t.disk().remove(filepath.Join(t.staging(), e.Name())); err != nil {
			return writeError(t.staging(), err)
		}
	}
	return writeError(t.staging(), t.disk().remove(t.staging()))
}

// removeEmpty removes folders that have become empty, up to but not including the
// tree's own. Some may be gone, where an earlier run was stopped.
func (t *tree) removeEmpty(dir string) {
	for dir != t.dir {
		if err := t.disk().remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
			break
		}
		delete(t.folders, dir)
		dir = filepath.Dir(dir)
	}
	t.folders[dir] = true
}

// foreign lists what somebody else put in the folder: files, and whole folders in
// which nothing is ours, those with a stroke at their end.
func (t *tree) foreign() ([]string, error) {
	ours := map[string]bool{".": true}
	for name := range t.files {
		for dir := path.Dir(name); !ours[dir]; dir = path.Dir(dir) {
			ours[dir] = true
		}
	}
	var names []string
	err := filepath.WalkDir(t.dir, func(at string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(t.dir, at)
		if err != nil {
			return err
		}
		name := filepath.ToSlash(rel)
		_, file := t.files[name]
		switch {
		case entry.IsDir() && !ours[name]:
			names = append(names, name+"/")
			return fs.SkipDir
		case !entry.IsDir() && !file && name != treeList:
			names = append(names, name)
		}
		return nil
	})
	return names, writeError(t.dir, err)
}
