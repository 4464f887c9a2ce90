package testtool

import (
	"os"
	"path/filepath"
	"testing"
)

// NeedPackage returns the folder of an npm package that a test holds the product
// against. .ci/run installs it. Where it is missing the test is skipped with a
// message, or fails when the variable CI is set.
func NeedPackage(t testing.TB, name string) string {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(cache, "opencowl-checks", "node_modules", name)
	if _, err := os.Stat(folder); err == nil {
		return folder
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is not in %s; .ci/run must install it", name, folder)
	}
	t.Skipf("%s is not in %s, so this check is left out; .ci/run shows how to install it", name, folder)
	return ""
}
