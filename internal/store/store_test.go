package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// noon is a fixed moment with parts of a second and a zone, which the ledger
// must both lose.
var noon = time.Date(2031, 1, 24, 12, 0, 0, 987654321, time.FixedZone("", 3600))

func open(t *testing.T, path string) *DB {
	t.Helper()
	db, err := Open(t.Context(), path, Options{Now: func() time.Time { return noon }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	return db
}

func fresh(t *testing.T) *DB { return open(t, filepath.Join(t.TempDir(), "opencowl.db")) }

// raw opens the file behind the program's back.
func raw(t *testing.T, path string) *sql.DB {
	t.Helper()
	pool, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { pool.Close() })
	return pool
}

func pragma(t *testing.T, db *DB, name string) (value string) {
	t.Helper()
	if err := db.sql.QueryRowContext(t.Context(), "PRAGMA "+name).Scan(&value); err != nil {
		t.Fatal(err)
	}
	return value
}

func TestTheFileIsPrivateAndSafe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a b?c#d%20.db") // marks that mean something in a URI
	db := open(t, path)
	if _, err := db.Append(t.Context(), Entry{Kind: "cleared"}); err != nil {
		t.Fatal(err)
	}
	// synchronous 2 is FULL: https://www.sqlite.org/pragma.html#pragma_synchronous
	for name, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "secure_delete": "1"} {
		if got := pragma(t, db, name); got != want {
			t.Errorf("pragma %s = %s, want %s", name, got, want)
		}
	}
}

func TestOpeningTwiceAtOnceMigratesOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	var group sync.WaitGroup
	for range 4 {
		group.Go(func() {
			db, err := Open(context.WithoutCancel(t.Context()), path, Options{})
			if err != nil {
				t.Error(err)
				return
			}
			if err := db.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	group.Wait()
	var versions int
	if err := raw(t, path).QueryRow(`SELECT COUNT(*) FROM goose_db_version WHERE version_id = 1`).Scan(&versions); err != nil || versions != 1 {
		t.Errorf("migration 1 is recorded %d times (%v), want once", versions, err)
	}
}

func TestADatabaseThatIsNotOneIsRefusedByName(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	if err := os.WriteFile(path, []byte(strings.Repeat("not a database\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	if db, err := Open(t.Context(), path, Options{}); err == nil || !strings.Contains(err.Error(), path) {
		t.Errorf("Open = %v, %v; want an error that names %s", db, err, path)
	}
}

func TestLedgerRowsAreChained(t *testing.T) {
	db := fresh(t)
	if head, err := db.Head(t.Context()); err != nil || head != "" {
		t.Fatalf("head of an empty ledger = %q, %v; want none", head, err)
	}
	rows, err := db.Append(t.Context(),
		Entry{Who: "ines", Kind: "cleared", Unit: "story/floor-stiffener", Digest: "abc", Detail: map[string]any{"z": 1, "a": []string{"<&>"}}},
		Entry{Who: "tam", Kind: "printed", Unit: "card/hull-floor"})
	if err != nil {
		t.Fatal(err)
	}
	more, err := db.Append(t.Context(), Entry{Kind: "sent", At: time.Date(2031, 2, 1, 0, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	got, err := db.Ledger(t.Context(), Filter{})
	if err != nil {
		t.Fatal(err)
	}
	want := append(rows, more...)
	if len(got) != 3 {
		t.Fatalf("%d rows, want 3", len(got))
	}
	for i := range got {
		if got[i].Hash != want[i].Hash || got[i].Seq != int64(i+1) || !got[i].At.Equal(want[i].At) || got[i].At.Location() != time.UTC {
			t.Errorf("row %d read back as %+v, want %+v", i+1, got[i], want[i])
		}
		if i > 0 && got[i].Previous != got[i-1].Hash {
			t.Errorf("row %d does not link to the one before", i+1)
		}
	}
	// Written out by hand from the rule in the comment of sum.
	plain := "17:opencowl ledger 1" + "1:1" + "20:2031-01-24T11:00:00Z" + "4:ines" + "7:cleared" +
		"21:story/floor-stiffener" + "3:abc" + `34:{"a":["\u003c\u0026\u003e"],"z":1}` + "0:"
	sum := sha256.Sum256([]byte(plain))
	if want := hex.EncodeToString(sum[:]); got[0].Hash != want {
		t.Errorf("hash of row 1 = %s, want %s over %s (detail %s)", got[0].Hash, want, plain, got[0].Detail)
	}
	if head, err := db.Head(t.Context()); err != nil || head != got[2].Hash {
		t.Errorf("head = %q, %v; want %q", head, err, got[2].Hash)
	}
	if broken, err := db.VerifyLedger(t.Context()); err != nil || len(broken) > 0 {
		t.Errorf("broken = %v, %v; want none", broken, err)
	}
}

func TestLedgerIsFilteredByKindAndUnit(t *testing.T) {
	db := fresh(t)
	if _, err := db.Append(t.Context(), Entry{Kind: "cleared", Unit: "a"}, Entry{Kind: "printed", Unit: "a"},
		Entry{Kind: "cleared", Unit: "b"}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		f    Filter
		want int
	}{{Filter{}, 3}, {Filter{Kind: "cleared"}, 2}, {Filter{Unit: "a"}, 2}, {Filter{"cleared", "b"}, 1}, {Filter{"printed", "b"}, 0}} {
		if rows, err := db.Ledger(t.Context(), c.f); err != nil || len(rows) != c.want {
			t.Errorf("Ledger(%+v) = %d rows, %v; want %d", c.f, len(rows), err, c.want)
		}
	}
}

func TestAppendKeepsAllOrNone(t *testing.T) {
	db := fresh(t)
	for name, bad := range map[string]Entry{
		"no kind": {}, "not UTF-8": {Kind: "x", Who: "\xff"}, "a NUL": {Kind: "x", Unit: "a\x00b"},
		"no JSON": {Kind: "x", Detail: func() {}},
	} {
		if _, err := db.Append(t.Context(), Entry{Kind: "cleared"}, bad); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if rows, err := db.Ledger(t.Context(), Filter{}); err != nil || len(rows) != 0 {
		t.Errorf("ledger has %d rows, %v; want none", len(rows), err)
	}
}

func TestLedgerRefusesChange(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	db := open(t, path)
	if _, err := db.Append(t.Context(), Entry{Kind: "cleared", Who: "ines"}, Entry{Kind: "printed"}); err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		`UPDATE ledger SET who = 'tam' WHERE seq = 1`,
		`DELETE FROM ledger`,
		`DELETE FROM ledger WHERE seq = 2`,
		`INSERT OR REPLACE INTO ledger SELECT seq, at, 'tam', kind, unit, digest, detail, previous, hash FROM ledger WHERE seq = 1`,
		`REPLACE INTO ledger SELECT seq, at, 'tam', kind, unit, digest, detail, previous, hash FROM ledger WHERE seq = 2`,
		`INSERT INTO ledger SELECT seq + 5, at, who, kind, unit, digest, detail, hash, hash FROM ledger WHERE seq = 2`,
		`INSERT INTO ledger SELECT 3, at, who, kind, unit, digest, detail, 'elsewhere', hash FROM ledger WHERE seq = 2`,
	} {
		if _, err := raw(t, path).Exec(statement); err == nil || !strings.Contains(err.Error(), "append-only") {
			t.Errorf("%s: error %v, want append-only", statement, err)
		}
	}
	rows, err := db.Ledger(t.Context(), Filter{})
	if err != nil || len(rows) != 2 || rows[0].Who != "ines" {
		t.Errorf("ledger = %+v, %v; want it unchanged", rows, err)
	}
}

func TestTamperingIsFound(t *testing.T) {
	for _, c := range []struct {
		name, statement string
		want            []Broken
	}{
		{"a word", `UPDATE ledger SET who = 'tam' WHERE seq = 2`, []Broken{{2, "its hash does not match what it says"}}},
		{"a time", `UPDATE ledger SET at = 'yesterday' WHERE seq = 2`, []Broken{{2, "its hash does not match what it says"}}},
		{"text moved to the next field", `UPDATE ledger SET who = 'ine', kind = 'scleared' WHERE seq = 2`,
			[]Broken{{2, "its hash does not match what it says"}}},
		{"a hash", `UPDATE ledger SET hash = previous WHERE seq = 2`,
			[]Broken{{2, "its hash does not match what it says"}, {3, "it does not link to the row before"}}},
		{"a row gone", `DELETE FROM ledger WHERE seq = 2`, []Broken{{3, "rows are missing between 1 and 3"}}},
		{"the first row gone", `DELETE FROM ledger WHERE seq = 1`, []Broken{{2, "rows are missing between 0 and 2"}}},
		// Only a head kept outside shows this one.
		{"the last row gone", `DELETE FROM ledger WHERE seq = 3`, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "opencowl.db")
			db := open(t, path)
			for range 3 {
				if _, err := db.Append(t.Context(), Entry{Who: "ines", Kind: "cleared"}); err != nil {
					t.Fatal(err)
				}
			}
			outside := raw(t, path)
			for _, statement := range []string{`DROP TRIGGER ledger_no_update`, `DROP TRIGGER ledger_no_delete`, c.statement} {
				if _, err := outside.Exec(statement); err != nil {
					t.Fatal(err)
				}
			}
			got, err := db.VerifyLedger(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if len(got) != len(c.want) {
				t.Fatalf("broken = %v, want %v", got, c.want)
			}
			for i := range got {
				if got[i] != c.want[i] {
					t.Errorf("broken = %v, want %v", got, c.want)
				}
			}
		})
	}
}

func TestTwoHandlesKeepOneChain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	handles := []*DB{open(t, path), open(t, path)}
	const writers, each = 4, 25
	var group sync.WaitGroup
	for _, db := range handles {
		for range writers {
			group.Go(func() {
				for range each {
					if _, err := db.Append(context.WithoutCancel(t.Context()), Entry{Kind: "cleared"}, Entry{Kind: "printed"}); err != nil {
						t.Error(err)
					}
				}
			})
		}
	}
	group.Wait()
	rows, err := handles[0].Ledger(t.Context(), Filter{})
	if want := len(handles) * writers * each * 2; err != nil || len(rows) != want {
		t.Fatalf("%d rows, %v; want %d", len(rows), err, want)
	}
	if broken, err := handles[1].VerifyLedger(t.Context()); err != nil || len(broken) > 0 {
		t.Errorf("broken = %v, %v; want none", broken, err)
	}
	for i := 0; i < len(rows); i += 2 {
		if rows[i].Kind != "cleared" || rows[i+1].Kind != "printed" {
			t.Fatalf("rows %d and %d are %s and %s: two appends were mixed", i+1, i+2, rows[i].Kind, rows[i+1].Kind)
		}
	}
}

func edition(week string) Edition {
	return Edition{Week: week, FrozenBy: "nell", Subject: "The floor", HTML: []byte("<p>"), Text: []byte("text"),
		Pictures: []Picture{{"b@x", "b.jpg", []byte{1}}, {"a@x", "a.jpg", []byte{2, 0}}},
		Record:   []byte(`{"stories":["floor"]}`), Movement: []byte(`[]`), Digest: "d1"}
}

func freeze(t *testing.T, db *DB, week string) {
	t.Helper()
	if err := db.Freeze(t.Context(), edition(week), Entry{Who: "nell", Kind: "frozen", Unit: "edition/" + week}); err != nil {
		t.Fatal(err)
	}
}

func TestAFrozenEditionComesBackByteForByte(t *testing.T) {
	db := fresh(t)
	freeze(t, db, "2031-W04")
	got, err := db.Edition(t.Context(), "2031-W04")
	if err != nil {
		t.Fatal(err)
	}
	want := edition("2031-W04")
	if got.State != Frozen || got.FrozenBy != "nell" || !got.FrozenAt.Equal(noon.Truncate(time.Second)) || got.Subject != want.Subject ||
		!bytes.Equal(got.HTML, want.HTML) || !bytes.Equal(got.Text, want.Text) || !bytes.Equal(got.Record, want.Record) ||
		!bytes.Equal(got.Movement, want.Movement) || got.Digest != "d1" || !got.SentAt.IsZero() || got.On != "" {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if len(got.Pictures) != 2 || got.Pictures[0].ContentID != "b@x" || got.Pictures[0].Name != "b.jpg" || !bytes.Equal(got.Pictures[1].JPEG, []byte{2, 0}) {
		t.Errorf("pictures = %+v, want %+v", got.Pictures, want.Pictures)
	}
}

func TestAWeekIsFrozenOnce(t *testing.T) {
	db := fresh(t)
	freeze(t, db, "2031-W04")
	err := db.Freeze(t.Context(), edition("2031-W04"), Entry{Kind: "frozen"})
	if !errors.Is(err, ErrExists) {
		t.Errorf("freezing again: %v, want ErrExists", err)
	}
	if err := db.Freeze(t.Context(), edition("2031-W05"), Entry{}); err == nil {
		t.Error("an edition was frozen without its ledger row")
	}
	found, err := db.Editions(t.Context())
	if err != nil || len(found) != 1 {
		t.Errorf("%d editions, %v; want 1", len(found), err)
	}
	if rows, err := db.Ledger(t.Context(), Filter{Kind: "frozen"}); err != nil || len(rows) != 1 {
		t.Errorf("%d ledger rows, %v; want 1", len(rows), err)
	}
}

func TestAnUnknownWeekIsNotFound(t *testing.T) {
	db := fresh(t)
	_, err1 := db.Edition(t.Context(), "2031-W04")
	err2 := db.Thaw(t.Context(), "2031-W04", Entry{Kind: "thawed"})
	err3 := db.SetEditionState(t.Context(), "2031-W04", Sending, noon)
	for i, err := range []error{err1, err2, err3} {
		if !errors.Is(err, ErrNotFound) {
			t.Errorf("error %d is %v, want ErrNotFound", i+1, err)
		}
	}
}

func TestAnEditionGoesForwardOnly(t *testing.T) {
	db := fresh(t)
	freeze(t, db, "2031-W04")
	at := time.Date(2031, 1, 24, 23, 30, 0, 0, time.FixedZone("", -3600)) // the 25th in UTC
	for _, c := range []struct {
		to   string
		want bool
	}{{Sent, false}, {Stopped, false}, {Frozen, false}, {Sending, true}, {Frozen, false}, {Stopped, true}, {Sending, true},
		{Sent, true}, {Stopped, false}, {Sending, true}, {Sent, true}, {"posted", false}} {
		err := db.SetEditionState(t.Context(), "2031-W04", c.to, at, Entry{Kind: c.to})
		if (err == nil) != c.want || err != nil && !errors.Is(err, ErrState) {
			t.Errorf("to %s: %v, want allowed %v", c.to, err, c.want)
		}
		at = at.AddDate(0, 0, 1)
	}
	got, err := db.Edition(t.Context(), "2031-W04")
	if err != nil || got.State != Sent || got.On != "2031-01-31" || !got.SentAt.Equal(time.Date(2031, 2, 1, 0, 30, 0, 0, time.UTC)) {
		t.Errorf("edition = %s on %s at %s, %v; want sent on 2031-01-31, the date of the first sending in its own zone", got.State, got.On, got.SentAt, err)
	}
	if rows, err := db.Ledger(t.Context(), Filter{Kind: Sent}); err != nil || len(rows) != 2 {
		t.Errorf("%d sent rows, %v; want one each time", len(rows), err)
	}
}

func TestThawing(t *testing.T) {
	for state, want := range map[string]error{"": nil, "waiting": nil, "skipped": nil, "refused": nil,
		"leased": ErrInFlight, "closing": ErrInFlight, "sent": ErrInFlight, "unsure": ErrInFlight} {
		t.Run(state, func(t *testing.T) {
			db := fresh(t)
			freeze(t, db, "2031-W04")
			if state != "" {
				err := db.Tx(t.Context(), func(tx *sql.Tx) error {
					_, err := tx.Exec(`INSERT INTO deliveries (week, member, state, at) VALUES ('2031-W04', 'm1', $1, '')`, state)
					return err
				})
				if err != nil {
					t.Fatal(err)
				}
			}
			err := db.Thaw(t.Context(), "2031-W04", Entry{Who: "nell", Kind: "thawed"})
			if !errors.Is(err, want) {
				t.Fatalf("thaw: %v, want %v", err, want)
			}
			_, gone := db.Edition(t.Context(), "2031-W04")
			rows, err2 := db.Ledger(t.Context(), Filter{Kind: "thawed"})
			if err2 != nil || errors.Is(gone, ErrNotFound) != (want == nil) || (len(rows) == 1) != (want == nil) {
				t.Errorf("edition: %v, ledger rows %d", gone, len(rows))
			}
			if want == nil {
				freeze(t, db, "2031-W04")
			}
		})
	}
}

func TestASecretIsMadeOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	first, err := open(t, path).Secret(t.Context(), "letters")
	if err != nil || len(first) != 32 {
		t.Fatalf("secret of %d bytes, %v; want 32", len(first), err)
	}
	again := open(t, path)
	second, err := again.Secret(t.Context(), "letters")
	if err != nil || !bytes.Equal(first, second) {
		t.Errorf("the secret changed (%v)", err)
	}
	other, err := again.Secret(t.Context(), "leaving")
	if err != nil || bytes.Equal(first, other) {
		t.Errorf("two names share a secret (%v)", err)
	}
}

func TestNoRandomBytesIsAnError(t *testing.T) {
	db, err := Open(t.Context(), filepath.Join(t.TempDir(), "opencowl.db"), Options{Rand: strings.NewReader("short")})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if id, err := db.NewID(); err == nil {
		t.Errorf("NewID = %q without random bytes", id)
	}
	if _, err := db.Secret(t.Context(), "letters"); err == nil {
		t.Error("a secret was made without random bytes")
	}
}

func TestDeletedTextIsOverwritten(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	db := open(t, path)
	e := edition("2031-W04")
	e.Text = []byte("zephyr-canary-words")
	if err := db.Freeze(t.Context(), e, Entry{Kind: "frozen"}); err != nil {
		t.Fatal(err)
	}
	if err := db.Thaw(t.Context(), "2031-W04", Entry{Kind: "thawed"}); err != nil {
		t.Fatal(err)
	}
	if _, err := db.sql.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		t.Fatal(err)
	}
	bytesOnDisk, err := os.ReadFile(path)
	if err != nil || bytes.Contains(bytesOnDisk, e.Text) {
		t.Errorf("deleted text is still in the file (%v)", err)
	}
}
