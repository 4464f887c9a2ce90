package cli_test

import (
	"bytes"
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/opencowl/internal/cli"
)

// Bytes that were changed in the database after freezing do not leave: not as a
// proof, not to members, not to the archive.
func TestChangedFrozenBytesDoNotLeave(t *testing.T) {
	from, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	for column, command := range map[string][]string{
		"html":   {"post", "2031-W04", "--by", "nell", "--proof", "proof@example.org"},
		"plain":  {"post", "2031-W04", "--by", "nell", "--proof", "proof@example.org"},
		"record": {"archive"},
	} {
		w := filepath.Join(t.TempDir(), "w")
		if err := os.CopyFS(w, os.DirFS(from)); err != nil {
			t.Fatal(err)
		}
		db, err := sql.Open("sqlite", filepath.Join(w, "opencowl.db"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec("UPDATE editions SET " + column + " = replace(CAST(" + column + " AS TEXT), 'the', 'THE') WHERE week = '2031-W04'"); err != nil {
			t.Fatal(err)
		}
		db.Close()
		var messages bytes.Buffer
		code := cli.Run(context.Background(), append(command, "--workspace", w), cli.Streams{Out: &messages, Err: &messages}, clock)
		if code != 1 || !strings.Contains(messages.String(), "not those that were frozen") {
			t.Errorf("%s changed, then %v: exit code %d\n%s", column, command, code, &messages)
		}
	}
}
