//go:build !windows

package store

import (
	"os"
	"path/filepath"
	"testing"
)

// Modes say nothing about other people on Windows.
func TestOnlyTheOwnerReadsTheDatabase(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	db := open(t, path)
	if _, err := db.Append(t.Context(), Entry{Kind: "cleared"}); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %o, want 600", name, info.Mode().Perm())
		}
	}
}

func TestALooseFileIsMadePrivate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	open(t, path)
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, error %v; want 600", info.Mode(), err)
	}
}
