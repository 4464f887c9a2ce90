// Package store keeps what the workspace's text files cannot: people and
// events. It owns the one connection to the database and its migrations, the
// ledger, and editions from the moment they are frozen. Members and deliveries
// keep their SQL in packages member and post and run it through Tx and Read.
//
// It promises that a ledger row, once written, is neither changed nor removed
// by this program, that whatever belongs together is committed together, and
// that what it deleted is overwritten on disk. It must not know what a unit, a
// story or a letter is.
package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite" // registers the driver "sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

var (
	// ErrNotFound is returned for something that is not in the database.
	ErrNotFound = errors.New("not in the database")
	// ErrExists is returned for something that may be there only once.
	ErrExists = errors.New("already in the database")
)

//go:embed migrations/*.sql
var migrations embed.FS

// Options holds what the database takes from outside. The zero value uses the
// system's clock and its source of random bytes.
type Options struct {
	Now  func() time.Time
	Rand io.Reader
}

// DB is the workspace's database. It is safe for use by several goroutines, and
// several processes may have the same file open.
type DB struct {
	sql  *sql.DB
	now  func() time.Time
	rand io.Reader
}

// Open opens the SQLite file at path, makes it (readable by its owner alone)
// when it is not there, and brings its tables up to date.
func Open(ctx context.Context, path string, opt Options) (*DB, error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Rand == nil {
		opt.Rand = rand.Reader
	}
	if err := makePrivate(path); err != nil {
		return nil, fmt.Errorf("the database %s %w: %w", path, errOpen, err)
	}
	address, err := dataSource(path)
	if err != nil {
		return nil, fmt.Errorf("the database %s cannot be opened: %w", path, err)
	}
	pool, err := sql.Open("sqlite", address)
	if err != nil {
		return nil, fmt.Errorf("the database %s cannot be opened: %w", path, err)
	}
	if err := migrate(ctx, pool); err != nil {
		return nil, errors.Join(fmt.Errorf("the tables of %s cannot be brought up to date: %w", path, err), pool.Close())
	}
	return &DB{sql: pool, now: opt.Now, rand: opt.Rand}, nil
}

var errOpen = errors.New("cannot be opened")

// Outside reports whether an error is the machine's: a full disk, a file that may
// not be written, a damaged database. What such an error interrupted was undone.
func Outside(err error) bool {
	if errors.Is(err, errOpen) {
		return true
	}
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code() & 0xff { // the primary result code of SQLite
	case sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return true
	}
	return false
}

// makePrivate makes the file before SQLite does, since SQLite would ask for the
// mode that the umask leaves; its -wal and -shm files then take the same mode.
func makePrivate(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	info, err := f.Stat()
	if err == nil && info.Mode().Perm()&0o077 != 0 {
		err = f.Chmod(0o600)
	}
	return errors.Join(err, f.Close())
}

// dataSource writes the path as an SQLite URI with the settings that every
// connection of the pool needs. A transaction begins IMMEDIATE: one that
// reads first and writes later would otherwise fail when another got between.
func dataSource(path string) (string, error) {
	absolute, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	absolute = filepath.ToSlash(absolute)
	if !strings.HasPrefix(absolute, "/") { // C:/… on Windows
		absolute = "/" + absolute
	}
	settings := url.Values{"_txlock": {"immediate"}, "_pragma": {
		"busy_timeout(20000)", // ms; first, so that the rest wait too
		"journal_mode(WAL)",
		"synchronous(FULL)", // a committed letter must survive a power cut
		"foreign_keys(ON)",
		"secure_delete(ON)",
	}}
	return (&url.URL{Scheme: "file", Path: absolute, RawQuery: settings.Encode()}).String(), nil
}

// migrate runs the migrations that have not been run. Two processes that open
// a new file at the same moment both begin; the one that loses finds the work
// done when it looks again.
func migrate(ctx context.Context, pool *sql.DB) error {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	runner, err := goose.NewProvider(goose.DialectSQLite3, pool, files,
		goose.WithDisableGlobalRegistry(true), goose.WithLogger(goose.NopLogger()))
	if err != nil {
		return err
	}
	const tries = 3
	for range tries {
		if _, err = runner.Up(ctx); err == nil || ctx.Err() != nil {
			return err
		}
	}
	return err
}

// Close closes the database.
func (db *DB) Close() error { return db.sql.Close() }

// Now is the database's clock, to the whole second in UTC.
func (db *DB) Now() time.Time { return seconds(db.now()) }

// Tx runs do in one transaction that is alone in writing, and commits it when
// do returns nil.
func (db *DB) Tx(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := db.sql.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("the database cannot be written to: %w", err)
	}
	if err := do(tx); err != nil {
		if rollback := tx.Rollback(); rollback != nil && !errors.Is(rollback, sql.ErrTxDone) {
			err = errors.Join(err, rollback)
		}
		return err
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("the change was not kept: %w", err)
	}
	return nil
}

// Read runs a query outside any transaction.
func (db *DB) Read(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	return db.sql.QueryContext(ctx, query, args...)
}

// Texts reads a result of one text column, and closes it.
func Texts(rows *sql.Rows, err error) ([]string, error) {
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var found []string
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			return nil, err
		}
		found = append(found, s)
	}
	return found, rows.Err()
}

// NewID returns a random name of 128 bits in 32 hexadecimal digits, for people
// and things that must not be known by anything that means something.
func (db *DB) NewID() (string, error) {
	b := make([]byte, 16)
	if _, err := io.ReadFull(db.rand, b); err != nil {
		return "", fmt.Errorf("no random bytes to be had: %w", err)
	}
	return hex.EncodeToString(b), nil
}

// Secret returns the key of 32 random bytes that goes by a name, and makes it
// at the first call.
func (db *DB) Secret(ctx context.Context, name string) ([]byte, error) {
	var key []byte
	err := db.Tx(ctx, func(tx *sql.Tx) error {
		err := tx.QueryRowContext(ctx, `SELECT value FROM settings WHERE name = $1`, name).Scan(&key)
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		key = make([]byte, 32)
		if _, err := io.ReadFull(db.rand, key); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO settings (name, value) VALUES ($1, $2)`, name, key)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("the key %q cannot be read: %w", name, err)
	}
	return key, nil
}

func seconds(t time.Time) time.Time { return t.UTC().Truncate(time.Second) }

// FormatTime writes a time as the database keeps it: RFC 3339, UTC, whole
// seconds; a zero time is the empty string.
func FormatTime(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return seconds(t).Format(time.RFC3339)
}

// ParseTime reads what FormatTime wrote.
func ParseTime(s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return time.Time{}, fmt.Errorf("the database holds %q where a time should be: %w", s, err)
	}
	return t.UTC(), nil
}
