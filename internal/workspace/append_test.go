package workspace

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

func TestANewFileNeverReplacesOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "keys", "a.keys")
	var w Writer
	var group sync.WaitGroup
	made := make([]bool, 8)
	for i := range made {
		group.Go(func() {
			err := w.Create(path, []byte{byte('a' + i)}, 0o600)
			if made[i] = err == nil; err != nil && !errors.Is(err, fs.ErrExist) {
				t.Error(err)
			}
		})
	}
	group.Wait()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i, ok := range made {
		if ok != (string(text) == string(rune('a'+i))) {
			t.Errorf("the file holds %q; who made it: %v", text, made)
		}
	}
	if entries, err := os.ReadDir(filepath.Dir(path)); err != nil || len(entries) != 1 {
		t.Errorf("the folder holds %v, %v; want the file alone", entries, err)
	}
	if err := (&fullDisk{room: 0}).writer().Create(filepath.Join(filepath.Dir(path), "b"), []byte("x"), 0o600); !errors.Is(err, ErrOutside) {
		t.Errorf("on a full disk: %v, want ErrOutside", err)
	}
}

func TestLinesAreAddedWhole(t *testing.T) {
	path := filepath.Join(t.TempDir(), "marks", "a.marks")
	var w Writer
	for _, line := range []string{"one\n", "two\nthree\n"} {
		if err := w.Append(path, []byte(line), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	f.WriteString("hal")
	f.Close()
	if err := w.Append(path, []byte("four\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(path); string(text) != "one\ntwo\nthree\nhal\nfour\n" {
		t.Errorf("the file holds %q, %v", text, err)
	}
	if err := w.Append(filepath.Dir(path), []byte("x\n"), 0o600); !errors.Is(err, ErrNotAFile) {
		t.Errorf("to a folder: %v, want ErrNotAFile", err)
	}
}

func TestMemberKeysAreWhereTheSettingsSay(t *testing.T) {
	away := filepath.Join(t.TempDir(), "safe.keys")
	for line, want := range map[string]string{"": "keys/members.keys", "members: {key_file: safe/a.keys}\n": "safe/a.keys", "members: {key_file: '" + away + "'}\n": away} {
		w, problems := open(t, goodSettings+line)
		if !filepath.IsAbs(want) {
			want = w.Path(want)
		}
		if got := w.MemberKeys(); got != want || len(problems) > 0 {
			t.Errorf("%q: %s, %v; want %s", line, got, problems, want)
		}
	}
	if _, problems := open(t, goodSettings+"members: {key_file: ''}\n"); len(problems) != 1 || !strings.Contains(problems[0], "names no file") {
		t.Errorf("no file: %v", problems)
	}
}
