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

// A ledger that is not whole is believed by nobody but check, which tells of it.
func TestBrokenLedgerStopsEverythingButCheck(t *testing.T) {
	from, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	w := filepath.Join(t.TempDir(), "w")
	if err := os.CopyFS(w, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", filepath.Join(w, "opencowl.db"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := db.Query("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'ledger'")
	if err != nil {
		t.Fatal(err)
	}
	var triggers []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		triggers = append(triggers, "DROP TRIGGER "+name)
	}
	for _, statement := range append(triggers, "UPDATE ledger SET who = 'bram' WHERE seq = 3") {
		if _, err := db.Exec(statement); err != nil {
			t.Fatal(err)
		}
	}
	db.Close()
	for _, c := range []struct {
		code int
		say  string
		args []string
	}{
		{1, "the ledger is not whole (row 3", []string{"archive"}},
		{1, "the ledger is not whole (row 3", []string{"cards", "winter-hangar"}},
		{1, "the ledger is not whole (row 3", []string{"decide", "word/dope", "--by", "ines"}},
		{1, "row 3", []string{"check", "--ledger"}},
		{0, "nothing stops", []string{"check"}},
	} {
		var messages bytes.Buffer
		code := cli.Run(context.Background(), append(c.args, "--workspace", w), cli.Streams{Out: &messages, Err: &messages}, clock)
		if code != c.code || !strings.Contains(messages.String(), c.say) {
			t.Errorf("%v: exit code %d, want %d and %q\n%s", c.args, code, c.code, c.say, &messages)
		}
	}
}
