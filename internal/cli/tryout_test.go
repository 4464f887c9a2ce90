package cli_test

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cli"
	"example.org/opencowl/internal/testtool"
)

// parseLetters has Python's email package read every letter: no defects, one
// recipient each, a text part and an HTML part, and each address once.
const parseLetters = `
import email, email.policy, glob, json, sys
to = []
for name in sorted(glob.glob(sys.argv[1] + "/*.eml")):
    message = email.message_from_binary_file(open(name, "rb"), policy=email.policy.default)
    for part in message.walk():
        if part.defects:
            sys.exit(f"{name}: {part.defects}")
    plain, html = message.get_body(("plain",)), message.get_body(("html",))
    if plain is None or html is None or len(message["To"].addresses) != 1:
        sys.exit(f"{name}: parts or recipients are missing")
    if "leave" not in plain.get_content() or "mailto:" not in html.get_content():
        sys.exit(f"{name}: it does not say how to leave")
    to.append(str(message["To"].addresses[0].addr_spec))
print(json.dumps(to))
`

func TestTryoutDoesTheWholeJobOnce(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "try")
	run := func() (string, string) {
		t.Helper()
		var out, messages bytes.Buffer
		if code := cli.Run(context.Background(), []string{"tryout", dir, "--json"}, cli.Streams{Out: &out, Err: &messages}, clock); code != 0 {
			t.Fatalf("exit code %d\n%s", code, &messages)
		}
		return out.String(), messages.String()
	}
	out, messages := run()
	var report struct {
		Cards, Letters int
		Open           []string
	}
	if err := json.Unmarshal([]byte(out), &report); err != nil {
		t.Fatal(err)
	}
	if report.Letters != 60 || report.Cards < 6 || len(report.Open) != 5 {
		t.Errorf("report %+v, want 60 letters, 6 cards or more, and five things to open", report)
	}
	for _, path := range report.Open {
		if _, err := os.Stat(path); err != nil || !strings.Contains(messages, path) {
			t.Errorf("%s is to be opened: %v; messages:\n%s", path, err, messages)
		}
	}
	letters, err := filepath.Glob(filepath.Join(dir, "inbox", "*.eml"))
	if err != nil || len(letters) != 60 {
		t.Errorf("%d letters, want 60; %v", len(letters), err)
	}

	before := everyFile(t, dir)
	_, again := run()
	if !strings.Contains(again, "is there already; nothing is changed") || !strings.Contains(again, "60 letters sent") {
		t.Errorf("a second run says\n%s", again)
	}
	if after := everyFile(t, dir); !slices.Equal(before, after) {
		t.Error("a second run changed files")
	}

	t.Run("cards", func(t *testing.T) {
		pdf := filepath.Join(dir, "out", "cards-winter-hangar.pdf")
		if out, err := exec.Command(testtool.Need(t, "qpdf"), "--check", pdf).CombinedOutput(); err != nil {
			t.Errorf("qpdf --check: %v\n%s", err, out)
		}
		out, err := exec.Command(testtool.Need(t, "pdffonts"), pdf).CombinedOutput()
		if err != nil {
			t.Fatalf("pdffonts: %v\n%s", err, out)
		}
		rows := strings.Split(strings.TrimSpace(string(out)), "\n")[2:]
		for _, row := range rows {
			if f := strings.Fields(row); len(f) < 8 || f[len(f)-5] != "yes" {
				t.Errorf("a font is not embedded: %s", row)
			}
		}
		if len(rows) == 0 {
			t.Error("no fonts at all")
		}
		png := filepath.Join(t.TempDir(), "card")
		if out, err := exec.Command(testtool.Need(t, "pdftoppm"), "-r", "150", "-f", "1", "-l", "1", "-png", pdf, png).CombinedOutput(); err != nil {
			t.Fatalf("pdftoppm: %v\n%s", err, out)
		}
		pages, _ := filepath.Glob(png + "*.png")
		code, err := exec.Command(testtool.Need(t, "zbarimg"), "-q", "--raw", pages[0]).Output()
		if err != nil || !strings.HasPrefix(string(code), "https://example.org/stop/") {
			t.Fatalf("zbarimg read %q, %v", code, err)
		}
		// What the code opens is there.
		page := strings.TrimPrefix(strings.TrimSpace(string(code)), "https://example.org/")
		if _, err := os.Stat(filepath.Join(dir, "out", "archive", filepath.FromSlash(page), "index.html")); err != nil {
			t.Errorf("the QR code opens nothing: %v", err)
		}
	})
	t.Run("letters", func(t *testing.T) {
		out, err := exec.Command(testtool.Need(t, "python3"), "-c", parseLetters, filepath.Join(dir, "inbox")).CombinedOutput()
		if err != nil {
			t.Fatalf("python3: %v\n%s", err, out)
		}
		var to []string
		if err := json.Unmarshal(out, &to); err != nil {
			t.Fatal(err)
		}
		slices.Sort(to)
		if got := len(slices.Compact(to)); got != 60 {
			t.Errorf("%d different recipients, want 60", got)
		}
	})
}

// everyFile lists the files of a folder with their bytes.
func everyFile(t *testing.T, dir string) []string {
	t.Helper()
	var all []string
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(path, ".db-wal") || strings.HasSuffix(path, ".db-shm") {
			return err // the log and its index come and go with any reader
		}
		data, err := os.ReadFile(path)
		all = append(all, path+" "+string(data))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}
