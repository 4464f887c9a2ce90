//go:build unix

package member

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

func TestOnlyTheOwnerReadsKeysAndMarks(t *testing.T) {
	k := newKeys(t)
	if err := k.append(markLeft, "ada@example.org"); err != nil {
		t.Fatal(err)
	}
	if _, err := k.Rotate(); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]os.FileMode{filepath.Dir(k.path): 0o700, k.path: 0o600, k.marksPath(): 0o600} {
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != want {
			t.Errorf("%s: %v, %v; want %o", path, info, err, want)
		}
	}
	if err := os.Chmod(k.path, 0o644); err != nil {
		t.Fatal(err)
	}
	token(t, k, ToLeave, someID, time.Time{})
	if info, err := os.Stat(k.path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("loose keys have mode %v (%v) after use, want 600", info.Mode(), err)
	}
}
