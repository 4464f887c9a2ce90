package cli_test

import (
	"bytes"
	"context"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"example.org/opencowl/internal/cli"
	"example.org/opencowl/internal/testtool"
)

// The run sheet does not pass the last gate, which looks through what visitors
// get; it carries nothing of the record all the same: no id of a part, no number,
// nobody's name or id, and no sentence of a note.
func TestRunSheetHoldsNothingOfTheRecord(t *testing.T) {
	pdftotext := testtool.Need(t, "pdftotext")
	from, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "w")
	if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "run.pdf")
	var messages bytes.Buffer
	// Exit code 1: stops of the demo are held back, which must not be told.
	if code := cli.Run(context.Background(), []string{"plan", "winter-hangar", "--workspace", dir, "--returning", "2031-01-22", "-o", out}, cli.Streams{Out: &messages, Err: &messages}, clock); code != 1 {
		t.Fatalf("exit code %d\n%s", code, &messages)
	}
	raw, err := exec.Command(pdftotext, "-raw", out, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(string(raw)), " ")
	if !strings.Contains(text, "The floor that rotted from inside") {
		t.Fatalf("this is no run sheet:\n%s", text)
	}
	// The head on paper, typed as it stands, is found in the ledger.
	head := regexp.MustCompile(`Head before this printing: ((?:[0-9a-f]{8} ?){8})`).FindStringSubmatch(text)
	if head == nil {
		t.Fatalf("the ledger's head is not on the sheet:\n%s", text)
	}
	if code := cli.Run(context.Background(), []string{"check", "--ledger", "--head", head[1], "--workspace", dir}, cli.Streams{Out: &messages, Err: &messages}, clock); code != 0 {
		t.Errorf("check --ledger --head %q: exit code %d\n%s", head[1], code, &messages)
	}
	looked := 0
	for _, private := range privateWords(t, os.DirFS(dir)) {
		if looked++; regexp.MustCompile(`(^|[^\pL\d])` + regexp.QuoteMeta(private) + `($|[^\pL\d])`).MatchString(text) {
			t.Errorf("the run sheet says %q", private)
		}
	}
	if looked < 150 {
		t.Errorf("only %d private words were looked for", looked)
	}
	for _, held := range []string{"The grumble in the hub", "The leg that carries the float", "waits"} {
		if strings.Contains(text, held) {
			t.Errorf("the run sheet says %q, which is held back", held)
		}
	}
}

// privateWords are what the demo's record must not be known by: ids and numbers
// of parts, people, and the sentences of notes.
func privateWords(t *testing.T, workspace fs.FS) []string {
	t.Helper()
	all := []string{"ines", "bram", "gus", "nell", "orla", "priya", "wyn", "Hallow", "Coverdale", "Penhallick", "Ostwick", "Tressick", "Quayside Alloys"}
	key := regexp.MustCompile(`(?m)^\s*(?:number|serial|drawing|approval|supplier): *(.+)$`)
	err := fs.WalkDir(workspace, ".", func(name string, d fs.DirEntry, err error) error {
		top, _, _ := strings.Cut(name, "/")
		if err != nil || d.IsDir() || top != "parts" && top != "log" {
			return err
		}
		data, err := fs.ReadFile(workspace, name)
		if err != nil {
			return err
		}
		if top == "parts" {
			all = append(all, strings.TrimSuffix(path.Base(name), ".md"))
		}
		for _, found := range key.FindAllStringSubmatch(string(data), -1) {
			if value := strings.Trim(found[1], `" `); value != "" {
				all = append(all, value)
			}
		}
		if parts := strings.SplitN(string(data), "\n---\n", 2); len(parts) == 2 {
			for sentence := range strings.SplitSeq(parts[1], ".") {
				if words := strings.Fields(sentence); len(words) >= 4 {
					all = append(all, strings.Join(words, " "))
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}
