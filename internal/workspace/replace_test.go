package workspace

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

func TestOnlyAPlainFileIsWrittenOver(t *testing.T) {
	dir := t.TempDir()
	kept := filepath.Join(dir, "kept")
	if err := os.WriteFile(kept, []byte("kept"), 0o600); err != nil {
		t.Fatal(err)
	}
	folder, link := filepath.Join(dir, "folder"), filepath.Join(dir, "link")
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(kept, link); err != nil {
		t.Skipf("links cannot be made here: %v", err)
	}
	var w Writer
	for _, path := range []string{folder, link} {
		if err := w.WriteFile(path, []byte("new"), 0o644); !errors.Is(err, ErrNotAFile) {
			t.Errorf("%s: got %v, want ErrNotAFile", path, err)
		}
	}
	if info, err := os.Lstat(link); err != nil || info.Mode().IsRegular() {
		t.Errorf("the link was replaced: %v, %v", info, err)
	}
	if err := w.WriteFile(kept, []byte("new"), 0o644); err != nil {
		t.Errorf("a plain file is not written over: %v", err)
	}
}

// A device would be lost to the whole machine, so that this asks only whether
// the null device would be written over, and writes nothing.
func TestADeviceIsNotWrittenOver(t *testing.T) {
	if _, err := os.Lstat(os.DevNull); err != nil {
		t.Skipf("this system has no file for its null device: %v", err)
	}
	if err := replaceable(os.DevNull); !errors.Is(err, ErrNotAFile) {
		t.Errorf("got %v, want ErrNotAFile", err)
	}
}

func TestATreeDoesNotFollowLinksOutOfItsFolder(t *testing.T) {
	outside, dir := t.TempDir(), filepath.Join(t.TempDir(), "site")
	var w Writer
	if _, err := w.WriteTree(dir, map[string][]byte{"a.txt": []byte("a"), "sub/b.txt": []byte("b")}); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Join(dir, "sub")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(outside, "b.txt"), []byte("theirs"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, filepath.Join(dir, "sub")); err != nil {
		t.Skipf("links cannot be made here: %v", err)
	}
	for name, files := range map[string]map[string][]byte{
		"write":  {"a.txt": []byte("a"), "sub/b.txt": []byte("ours")},
		"remove": {"a.txt": []byte("a")},
	} {
		if _, err := w.WriteTree(dir, files); !errors.Is(err, ErrNotAFile) {
			t.Errorf("%s: got %v, want ErrNotAFile", name, err)
		}
	}
	if got, err := os.ReadFile(filepath.Join(outside, "b.txt")); err != nil || string(got) != "theirs" {
		t.Errorf("the file outside is %q, %v", got, err)
	}
}

func TestSettingsThatCannotBeReadStillHaveADay(t *testing.T) {
	w, problems := open(t, "")
	if len(problems) == 0 {
		t.Error("empty settings are no problem")
	}
	if w.Settings.Workshop.Timezone.Location == nil {
		t.Error("there is no time zone to tell the day in")
	}
}
