package store

import (
	"bytes"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestScrubbingLeavesNothingOfWhatWasDeleted(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	db := open(t, path)
	const secret = "a-name-that-nothing-else-has"
	holding := func() (files []string) {
		names, _ := filepath.Glob(path + "*")
		for _, name := range names {
			if data, err := os.ReadFile(name); err != nil || bytes.Contains(data, []byte(secret)) {
				files = append(files, filepath.Base(name))
			}
		}
		return files
	}
	run := func(statement string, args ...any) {
		t.Helper()
		if err := db.Tx(t.Context(), func(tx *sql.Tx) error {
			_, err := tx.Exec(statement, args...)
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
	for _, id := range []string{"m1", "m2", "m3"} {
		run(`INSERT INTO members (id, address, name, state, added_at) VALUES ($1, $2, $3, 'joined', '')`, id, id+secret+"@example.org", strings.Repeat(secret, 300))
	}
	run(`DELETE FROM members`)
	if before := holding(); len(before) == 0 {
		t.Fatal("deleting alone left nothing; this test looks at nothing")
	}
	reader, err := db.sql.BeginTx(t.Context(), &sql.TxOptions{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := reader.Exec(`SELECT COUNT(*) FROM members`); err != nil { // what it sees is held from here
		t.Fatal(err)
	}
	if err := db.Scrub(t.Context()); !errors.Is(err, ErrInUse) {
		t.Errorf("while somebody else is at work: %v, want ErrInUse", err)
	}
	if err := reader.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := db.Scrub(t.Context()); err != nil || len(holding()) > 0 {
		t.Errorf("after scrubbing (%v), %v still hold it", err, holding())
	}
	if _, err := db.Append(t.Context(), Entry{Kind: "cleared"}); err != nil {
		t.Errorf("after scrubbing nothing can be written: %v", err)
	}
}
