package store

import (
	"database/sql"
	"io/fs"
	"path/filepath"
	"testing"

	"github.com/pressly/goose/v3"
)

// atVersion makes a database as an earlier version of the program left it.
func atVersion(t *testing.T, path string, version int64, fill ...string) {
	t.Helper()
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		t.Fatal(err)
	}
	pool, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	runner, err := goose.NewProvider(goose.DialectSQLite3, pool, files, goose.WithDisableGlobalRegistry(true), goose.WithLogger(goose.NopLogger()))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := runner.UpTo(t.Context(), version); err != nil {
		t.Fatal(err)
	}
	for _, statement := range fill {
		if _, err := pool.Exec(statement); err != nil {
			t.Fatal(err)
		}
	}
}

func TestPeopleOfTheFirstVersionKeepWhatTheyAgreedTo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "opencowl.db")
	atVersion(t, path, 1,
		`INSERT INTO members (id, address, name, state, added_at) VALUES ('m1', 'a@example.org', 'Ada', 'joined', '2031-01-01T00:00:00Z'),
		 ('m2', 'b@example.org', 'Ben', 'joining', '2031-01-20T00:00:00Z'), ('m3', 'c@example.org', 'Cy', 'left', '2031-01-01T00:00:00Z')`,
		`INSERT INTO consents (member, place, basis, source, wording_version, consented_at) VALUES
		 ('m1', 1, 'consent', 'form', 'v1', '2030-01-01T00:00:00Z'), ('m1', 2, 'consent', 'desk', 'v2', '2030-06-01T00:00:00Z'),
		 ('m2', 1, 'consent', 'web', 'v3', '2031-01-20T00:00:00Z')`,
		`INSERT INTO editions (week, state, frozen_by, frozen_at, subject, html, plain, record, movement, digest)
		 VALUES ('2031-W04', 'sent', 'nell', '', 's', '', '', '{}', '[]', 'd')`,
		`INSERT INTO deliveries (week, member, state, at) VALUES ('2031-W04', 'm1', 'sent', '')`)
	db := open(t, path)
	for query, want := range map[string]string{
		`SELECT group_concat(id || state, ' ') FROM (SELECT * FROM members ORDER BY id)`:                                    "m1joined m2joining m3left",
		`SELECT group_concat(member || place || source || wording_digest, ' ') FROM (SELECT * FROM consents ORDER BY 1, 2)`: "m11form m12desk",
		`SELECT member || name || source || wording_version || asked_at || asked_last FROM joinings`:                        "m2Benwebv32031-01-20T00:00:00Z2031-01-20T00:00:00Z",
		`SELECT member || state FROM deliveries`:                                                                            "m1sent",
	} {
		var got string
		if err := db.sql.QueryRowContext(t.Context(), query).Scan(&got); err != nil || got != want {
			t.Errorf("%s: %q, %v; want %q", query, got, err, want)
		}
	}
}
