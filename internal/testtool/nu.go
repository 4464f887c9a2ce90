package testtool

import (
	"encoding/json"
	"fmt"
	"os/exec"
	"strings"
	"testing"
)

// Nu holds HTML files against the Nu HTML checker, all in one run, and returns its
// errors, each with the file's name.
func Nu(t testing.TB, files []string) []string {
	t.Helper()
	java := Need(t, "java")
	jar := NeedPackage(t, "vnu-jar") + "/build/dist/vnu.jar"
	var said strings.Builder
	cmd := exec.Command(java, append([]string{"-Xss4m", "-jar", jar, "--format", "json", "--exit-zero-always"}, files...)...)
	cmd.Stderr = &said
	if err := cmd.Run(); err != nil {
		t.Fatalf("the Nu HTML checker: %v\n%s", err, said.String())
	}
	var report struct {
		Messages []struct {
			Type    string `json:"type"`
			URL     string `json:"url"`
			Line    int    `json:"lastLine"`
			Message string `json:"message"`
			Extract string `json:"extract"`
		} `json:"messages"`
	}
	if err := json.Unmarshal([]byte(said.String()), &report); err != nil {
		t.Fatalf("the Nu HTML checker: %v\n%s", err, said.String())
	}
	var faults []string
	for _, m := range report.Messages {
		if m.Type != "info" { // error, or non-document-error: it could not read the file
			faults = append(faults, fmt.Sprintf("%s:%d: %s (%s)", strings.TrimPrefix(m.URL, "file:"), m.Line, m.Message, m.Extract))
		}
	}
	return faults
}
