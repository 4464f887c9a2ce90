//go:build !windows

// Package scripts tests the commands of this folder, which are bash files, as a
// person types them.
package scripts

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// typed runs a command of this folder from another one.
func typed(t *testing.T, folder, command string, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	path, err := filepath.Abs(command)
	if err != nil {
		t.Fatal(err)
	}
	var out, said bytes.Buffer
	cmd := exec.Command(path, args...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = folder, &out, &said
	err = cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return out.String(), said.String(), cmd.ProcessState.ExitCode()
}

func TestLeakbenchReadsAFileFromWhereOneStands(t *testing.T) {
	folder := t.TempDir()
	write := func(name, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("good cases.jsonl", `{"id": "a", "text": "Serial FX-9921.", "private": [{"kind": "serial", "value": "FX-9921"}], "leak": true}`+"\n")
	write("bad.jsonl", "{\n")

	stdout, stderr, code := typed(t, folder, "leakbench", "good cases.jsonl")
	if stdout != "a\tfound\tprivate-name\n" || stderr != "good cases.jsonl: found 1 of 1 leaks (100.0 %); 0 false alarms in 0 clean texts (0.0 %)\n" || code != 0 {
		t.Errorf("got %q, %q, %d", stdout, stderr, code)
	}
	stdout, stderr, code = typed(t, folder, "leakbench", "bad.jsonl")
	if stdout != "" || !strings.HasPrefix(stderr, "bad.jsonl:1:2: ") || code != 1 {
		t.Errorf("got %q, %q, %d", stdout, stderr, code)
	}
	stdout, stderr, code = typed(t, folder, "leakbench", "--wide")
	if stdout != "" || strings.Count(stderr, "\n") != 1 || code != 2 {
		t.Errorf("got %q, %q, %d", stdout, stderr, code)
	}
}

// The curve reads the demonstration, wherever one stands.
func TestLeakbenchPrintsTheCurve(t *testing.T) {
	stdout, stderr, code := typed(t, t.TempDir(), "leakbench", "--curve")
	if stderr != "" || code != 0 {
		t.Fatalf("got %q, %d", stderr, code)
	}
	for _, figure := range []string{"containment", "share of words in order", "weight"} {
		if !strings.Contains(stdout, "\n| "+figure+" ≥ | dropped, found | swapped, found | not copied, alarms |\n| --- | --- | --- | --- |\n") {
			t.Errorf("there is no table for %s in %q", figure, stdout)
		}
	}
}

func TestNoninterferenceRefusesWrongUse(t *testing.T) {
	for _, args := range [][]string{{"extra"}, {"-changes", "0"}, {"-wide"}} {
		if stdout, stderr, code := typed(t, t.TempDir(), "noninterference", args...); stdout != "" || !strings.Contains(stderr, "usage: scripts/noninterference") || code != 2 {
			t.Errorf("%q: got %q, %q, %d", args, stdout, stderr, code)
		}
	}
}
