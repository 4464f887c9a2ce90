package testtool

import (
	"os"
	"path/filepath"
	"testing"
)

// Demo returns the demonstration's files of a pattern, such as "parts/*.md", for a
// test in a folder of internal.
func Demo(t testing.TB, pattern string) [][]byte {
	t.Helper()
	names, err := filepath.Glob(filepath.Join("../../content/demo", pattern))
	if err != nil || len(names) == 0 {
		t.Fatalf("no demo files like %s: %v", pattern, err)
	}
	var files [][]byte
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, data)
	}
	return files
}
