package workspace

import (
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
)

var errKilled = errors.New("killed")

// dying does so many things and then nothing any more, tidying up included: what a
// process leaves behind that is killed.
type dying struct {
	realDisk
	mu   sync.Mutex
	left int
}

func (d *dying) alive() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.left--
	return d.left >= 0
}

func (d *dying) do(work func() error) error {
	if !d.alive() {
		return errKilled
	}
	return work()
}

func (d *dying) create(dir, pattern string) (f file, err error) {
	err = d.do(func() error {
		opened, err := os.CreateTemp(dir, pattern)
		f = dyingFile{opened, d}
		return err
	})
	return f, err
}
func (d *dying) chmod(path string, mode fs.FileMode) error {
	return d.do(func() error { return d.realDisk.chmod(path, mode) })
}
func (d *dying) rename(from, to string) error {
	return d.do(func() error { return d.realDisk.rename(from, to) })
}
func (d *dying) remove(path string) error {
	return d.do(func() error { return d.realDisk.remove(path) })
}
func (d *dying) mkdir(dir string) error { return d.do(func() error { return d.realDisk.mkdir(dir) }) }
func (d *dying) syncDir(dir string) error {
	return d.do(func() error { return d.realDisk.syncDir(dir) })
}

type dyingFile struct {
	*os.File
	on *dying
}

func (f dyingFile) Write(p []byte) (int, error) {
	if !f.on.alive() {
		f.File.Write(p[:len(p)/2])
		return 0, errKilled
	}
	return f.File.Write(p)
}
func (f dyingFile) Sync() error { return f.on.do(f.File.Sync) }
func (f dyingFile) Close() error {
	return errors.Join(f.on.do(func() error { return nil }), f.File.Close())
}

// everything lists files with their bytes, and folders.
func everything(t *testing.T, dir string) map[string]string {
	t.Helper()
	all := filesIn(t, dir)
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			name, _ := filepath.Rel(dir, path)
			all[filepath.ToSlash(name)+"/"] = ""
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestATreeThatWasStoppedAtAnyMomentIsMadeWholeByTheNextRun(t *testing.T) {
	before := map[string]string{"index.html": "old home", "story/a/index.html": "a", "story/b/index.html": "old b", "pictures/gone.jpg": "gone", "word/deep/er/x.html": "x", "same.css": "same"}
	during := map[string]string{"index.html": "new home", "story/b/index.html": "new b", "story/c/index.html": "c", "pictures/new.jpg": "new", "same.css": "same"}
	after := map[string]string{"index.html": "newest home", "story/a/index.html": "a again", "story/d/index.html": "d", "same.css": "same"}
	want := map[string]map[string]string{}
	for name, files := range map[string]map[string]string{"the same again": during, "another": after, "the one before": before} {
		fresh := filepath.Join(t.TempDir(), "fresh")
		if _, err := (Writer{}).WriteTree(fresh, bytesOf(files)); err != nil {
			t.Fatal(err)
		}
		want[name] = everything(t, fresh)
	}
	next := map[string]map[string]string{"the same again": during, "another": after, "the one before": before}
	for _, first := range []string{"a folder with an older tree", "a new folder"} {
		stopped := 0
		for moment := 0; ; moment++ {
			finished := false
			for name, files := range next {
				for hands := range 2 { // one at a time, and as many as usual
					if hands == 0 && name != "another" {
						continue
					}
					dir := filepath.Join(t.TempDir(), "site")
					if first != "a new folder" {
						if _, err := (Writer{}).WriteTree(dir, bytesOf(before)); err != nil {
							t.Fatal(err)
						}
					}
					_, err := Writer{on: &dying{left: moment}, hands: hands}.WriteTree(dir, bytesOf(during))
					finished = err == nil
					if err != nil && !errors.Is(err, errKilled) {
						t.Fatalf("%s, moment %d: %v", first, moment, err)
					}
					onlyWhole(t, dir, before, during)
					if _, err := (Writer{}).WriteTree(dir, bytesOf(files)); err != nil {
						t.Fatalf("%s, stopped at moment %d, then %s: %v", first, moment, name, err)
					}
					if got := everything(t, dir); !reflect.DeepEqual(got, want[name]) {
						t.Fatalf("%s, stopped at moment %d, then %s\n got %v\nwant %v", first, moment, name, got, want[name])
					}
				}
			}
			if finished {
				break
			}
			stopped++
		}
		if stopped < 20 {
			t.Errorf("%s: stopped at %d moments only", first, stopped)
		}
	}
}

// onlyWhole checks that each file that anybody could be reading is an old or a new one.
func onlyWhole(t *testing.T, dir string, trees ...map[string]string) {
	t.Helper()
	if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) {
		return
	}
	for name, text := range filesIn(t, dir) {
		if name == treeList || strings.HasPrefix(name, treeStaging+"/") {
			continue
		}
		if !slices.ContainsFunc(trees, func(tree map[string]string) bool { was, ok := tree[name]; return ok && was == text }) {
			t.Fatalf("%s is %q, which nobody wrote", name, text)
		}
	}
}

func TestTheListOfATreeHoldsItsNamesAndNothingElse(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "site")
	if _, err := (Writer{}).WriteTree(dir, bytesOf(map[string]string{"index.html": "x", "story/a/index.html": "a", "old.html": "o"})); err != nil {
		t.Fatal(err)
	}
	if _, err := (Writer{}).WriteTree(dir, bytesOf(map[string]string{"index.html": "x", "story/a/index.html": "a"})); err != nil {
		t.Fatal(err)
	}
	got := filesIn(t, dir)
	if want := "index.html\nstory/a/index.html\n"; got[treeList] != want || len(got) != 3 {
		t.Errorf("the list is %q, want %q; the folder holds %v", got[treeList], want, slices.Sorted(maps.Keys(got)))
	}
}

func TestFilesOfOthersAreLeftAloneAndNamed(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "site")
	files := bytesOf(map[string]string{"index.html": "x", "story/a/index.html": "a"})
	if _, err := (Writer{}).WriteTree(dir, files); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"CNAME": "theirs", "story/notes.txt": "theirs", ".git/HEAD": "theirs", ".git/objects/x": "theirs", "404.html": "theirs"} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	before := everything(t, dir)
	change, err := Writer{}.WriteTree(dir, files)
	if want := []string{".git/", "404.html", "CNAME", "story/notes.txt"}; err != nil || !slices.Equal(change.Foreign, want) {
		t.Errorf("named %v, want %v (%v)", change.Foreign, want, err)
	}
	files["404.html"] = []byte("ours")
	if _, err := (Writer{}).WriteTree(dir, files); !errors.Is(err, ErrForeignFile) || !strings.Contains(err.Error(), "404.html") {
		t.Errorf("over somebody's file: %v, want ErrForeignFile with its name", err)
	}
	if got := everything(t, dir); !reflect.DeepEqual(got, before) {
		t.Errorf("the folder became %v, was %v", got, before)
	}
}

// locked lets nothing be done, as a folder does that may only be read.
type locked struct{ realDisk }

func (locked) mkdir(dir string) error {
	return &fs.PathError{Op: "mkdir", Path: dir, Err: fs.ErrPermission}
}

func TestAFolderThatMayNotBeWrittenIsSaidToBeSo(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "site")
	_, err := Writer{on: locked{}}.WriteTree(dir, bytesOf(map[string]string{"index.html": "x"}))
	if !errors.Is(err, ErrOutside) || !strings.Contains(err.Error(), dir) || !strings.Contains(err.Error(), "permission") {
		t.Errorf("got %v, want an outside failure with the folder and the remedy", err)
	}
}
