// Package testtool finds the outside programs that tests hold the product
// against. A missing one is a skip on a laptop and a failure in CI.
package testtool

import (
	"os"
	"os/exec"
	"testing"
)

// Need returns the path of an outside checker. Where it is not installed the
// test is skipped with a message, or fails when the variable CI is set.
func Need(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is not installed; .ci/run must install it", name)
	}
	t.Skipf("%s is not installed, so this check is left out; .ci/run shows how to install it", name)
	return ""
}
