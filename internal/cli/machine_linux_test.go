package cli_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"example.org/opencowl/internal/workspace"
)

// These tests are about the machine: who may write, a full disk, two commands at
// once. They run the command as a process of its own.

// bench is a folder that anybody may enter, with a copy of the command and of the
// demo in it.
func bench(t *testing.T) (dir, workspace string) {
	t.Helper()
	dir, err := os.MkdirTemp("", "opencowl-machine-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(self)
	from, err2 := demo()
	workspace = filepath.Join(dir, "w")
	if err := errors.Join(err, err2, os.Chmod(dir, 0o755), os.WriteFile(filepath.Join(dir, "opencowl"), data, 0o755)); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(workspace, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return dir, workspace
}

// opencowl runs the command and returns its exit code and its messages.
func opencowl(t *testing.T, dir string, as *syscall.Credential, args ...string) (int, string) {
	t.Helper()
	var messages bytes.Buffer
	cmd := &exec.Cmd{Path: filepath.Join(dir, "opencowl"), Args: append([]string{"opencowl"}, args...), Dir: dir,
		Stdout: &messages, Stderr: &messages, Env: []string{"HOME=/nonexistent"}, SysProcAttr: &syscall.SysProcAttr{Credential: as}}
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatalf("opencowl %v: %v", args, err)
	}
	return cmd.ProcessState.ExitCode(), messages.String()
}

// prints maps every file of a tree to the digest of its bytes.
func prints(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		sum := sha256.Sum256(data)
		name, _ := filepath.Rel(dir, path)
		files[name] = hex.EncodeToString(sum[:])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func same(t *testing.T, what string, before, after map[string]string) {
	t.Helper()
	for name, digest := range before {
		if after[name] != digest {
			t.Errorf("%s: %s was changed", what, name)
		}
	}
	for name := range after {
		// The write-ahead log and its index come and go with any reader.
		if _, was := before[name]; !was && !strings.HasSuffix(name, ".db-wal") && !strings.HasSuffix(name, ".db-shm") && !strings.HasSuffix(name, "/lock") {
			t.Errorf("%s: %s was left behind", what, name)
		}
	}
}

func TestFolderThatMayNotBeWrittenIsNamedAndLeftAlone(t *testing.T) {
	dir, w := bench(t)
	as := &syscall.Credential{Uid: 65534, Gid: 65534}
	if os.Getuid() != 0 {
		// Not root: take the permission to write away from ourselves.
		as = nil
		readOnly := func(mode fs.FileMode) {
			filepath.WalkDir(w, func(path string, d fs.DirEntry, err error) error {
				if d.IsDir() {
					return os.Chmod(path, mode)
				}
				return err
			})
			os.Chmod(filepath.Join(w, "opencowl.db"), mode&0o644)
		}
		readOnly(0o555)
		t.Cleanup(func() { readOnly(0o755) })
	}
	before := prints(t, w)
	for _, args := range [][]string{
		{"decide", "word/rib", "--by", "ines"}, {"cards", "winter-hangar"}, {"edition", "2031-W07"}, {"archive"}, {"members", "list", "--by", "nell"},
		{"post", "2031-W07", "--by", "nell"}, {"check"},
	} {
		code, messages := opencowl(t, dir, as, append(args, "--workspace", w)...)
		if code != 3 || !strings.Contains(messages, w) || !strings.Contains(messages, "permission denied") {
			t.Errorf("%v: exit code %d, want 3 and the folder's name\n%s", args, code, messages)
		}
		same(t, strings.Join(args, " "), before, prints(t, w))
	}
	// A folder next to the workspace that may not be written.
	if code, messages := opencowl(t, dir, as, "new", filepath.Join(w, "another")); code != 3 || !strings.Contains(messages, "permission") {
		t.Errorf("new: exit code %d\n%s", code, messages)
	}
}

func TestFullDiskChangesNothing(t *testing.T) {
	dir, from := bench(t)
	disk := filepath.Join(dir, "disk")
	if err := os.Mkdir(disk, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=64m"); err != nil {
		t.Skipf("this machine does not let a small disk be mounted: %v", err)
	}
	t.Cleanup(func() { syscall.Unmount(disk, 0) })
	w := filepath.Join(disk, "w")
	if err := os.CopyFS(w, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	fill(t, filepath.Join(disk, "ballast"))
	before := prints(t, w)
	for _, args := range [][]string{
		{"decide", "word/rib", "--by", "ines"}, {"cards", "winter-hangar"}, {"edition", "2031-W07"}, {"archive"},
		{"members", "import", filepath.Join(w, "members.csv"), "--by", "nell"},
	} {
		code, messages := opencowl(t, dir, nil, append(args, "--workspace", w)...)
		if code != 3 || !strings.Contains(messages, "disk") {
			t.Errorf("%v: exit code %d, want 3 and the disk named\n%s", args, code, messages)
		}
		same(t, strings.Join(args, " "), before, prints(t, w))
	}
	if code, messages := opencowl(t, dir, nil, "new", filepath.Join(disk, "n"), "--demo"); code != 3 {
		t.Errorf("new: exit code %d, want 3\n%s", code, messages)
	}
	if left, _ := filepath.Glob(filepath.Join(disk, ".opencowl-*")); len(left) > 0 {
		t.Errorf("new left %v", left)
	}
	// With room again, the same commands work.
	if err := os.Remove(filepath.Join(disk, "ballast")); err != nil {
		t.Fatal(err)
	}
	if code, messages := opencowl(t, dir, nil, "decide", "word/rib", "--by", "ines", "--workspace", w); code != 0 {
		t.Errorf("with room again: exit code %d\n%s", code, messages)
	}
}

// fill writes until the disk is full to the last page.
func fill(t *testing.T, name string) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	page := make([]byte, 4096)
	for err == nil {
		_, err = f.Write(page)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}

func TestSecondWriterIsToldWhoIsAtWork(t *testing.T) {
	dir, w := bench(t)
	ws, _, err := workspace.Open(w)
	if err != nil {
		t.Fatal(err)
	}
	defer ws.Close()
	release, err := ws.Lock("post")
	if err != nil {
		t.Fatal(err)
	}
	before := prints(t, w)
	code, messages := opencowl(t, dir, nil, "decide", "word/rib", "--by", "ines", "--workspace", w)
	if code != 3 || !strings.Contains(messages, fmt.Sprintf("another opencowl command is at work here (post, process %d)", os.Getpid())) {
		t.Errorf("exit code %d\n%s", code, messages)
	}
	if code, messages := opencowl(t, dir, nil, "archive", "--workspace", w); code != 3 || !strings.Contains(messages, "at work here (post") {
		t.Errorf("archive: exit code %d\n%s", code, messages)
	}
	same(t, "decide", before, prints(t, w))
	release()

	// Eight at once: each records its decision or is told to wait; none is lost.
	var wait sync.WaitGroup
	codes := make([]int, 8)
	for i := range codes {
		wait.Go(func() {
			codes[i], _ = opencowl(t, dir, nil, "decide", "word/rib", "--by", "ines", "--workspace", w, "--json")
		})
	}
	wait.Wait()
	recorded := 0
	for _, code := range codes {
		switch code {
		case 0:
			recorded++
		case 3:
		default:
			t.Errorf("exit code %d, want 0 or 3", code)
		}
	}
	if recorded == 0 {
		t.Error("none of eight commands at once was let through")
	}
}
