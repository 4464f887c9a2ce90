package store

import (
	"context"
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// ErrInUse is returned by Scrub while something else has the database open.
var ErrInUse = errors.New("something else has the database open")

// How long a statement waits for others, in milliseconds.
const (
	usualWait = "PRAGMA busy_timeout(20000)"
	scrubWait = "PRAGMA busy_timeout(2000)"
)

// Scrub sees to it that what was deleted is in none of the database's files: it
// writes the database anew without the space that deleted rows left, and empties
// the write-ahead log. While another process reads or writes it returns ErrInUse,
// and has to be called again.
//
// secure_delete overwrites deleted content, but neither what a page held before it
// was split nor what stands in the log (https://www.sqlite.org/pragma.html, both
// settings).
func (db *DB) Scrub(ctx context.Context) error {
	conn, err := db.sql.Conn(ctx)
	if err != nil {
		return fmt.Errorf("the database cannot be written anew: %w", err)
	}
	defer conn.Close()
	// Shorter than usual: it is a person who waits.
	defer conn.ExecContext(context.WithoutCancel(ctx), usualWait)
	if _, err := conn.ExecContext(ctx, scrubWait); err != nil {
		return fmt.Errorf("the database cannot be written anew: %w", err)
	}
	if _, err := conn.ExecContext(ctx, "VACUUM"); err != nil {
		var e *sqlite.Error
		if errors.As(err, &e) && e.Code()&0xff == sqlite3.SQLITE_BUSY {
			err = ErrInUse
		}
		return fmt.Errorf("the database cannot be written anew: %w; end what else runs here, then run this again", err)
	}
	var busy, inLog, moved int
	if err := conn.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &inLog, &moved); err != nil {
		return fmt.Errorf("the database's log cannot be emptied: %w", err)
	}
	if busy != 0 {
		return fmt.Errorf("the database's log cannot be emptied: %w; end what else runs here, then run this again", ErrInUse)
	}
	return nil
}
