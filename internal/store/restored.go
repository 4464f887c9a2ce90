package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"time"

	"github.com/pressly/goose/v3"
)

var (
	// ErrHeld is returned for whatever has to wait until the editions since a backup
	// are settled.
	ErrHeld = errors.New("the workspace was restored from a backup, and it is not settled yet which editions went out since")
	// ErrNotHeld is returned for a week that is not waiting to be settled.
	ErrNotHeld = errors.New("this week does not wait to be settled")
)

// Hold is why nothing may be posted after a backup was restored: what went out
// since then is not in the database.
type Hold struct {
	Backup   time.Time `json:"backup"`   // when the backup was made
	Restored time.Time `json:"restored"` // when it was restored
	Weeks    []string  `json:"weeks"`    // that somebody has to settle, in order
}

// Outcome is what somebody says became of an edition since the backup.
type Outcome string

const (
	// WentOut: every letter of it went out.
	WentOut Outcome = "sent"
	// StayedHere: no letter of it went out but those that the backup has as sent.
	StayedHere Outcome = "waiting"
	// InPart: some letters went out; each is settled by itself.
	InPart Outcome = "unsure"
)

// Names of settings, and the reply of a letter of which a backup does not know
// whether it went out.
const (
	holdName   = "hold"
	unseenName = "posted unseen"
	sinceReply = "restored"
)

// Snapshot writes the database, as it is at one moment, to a new file that its owner
// alone may read. Others may go on writing meanwhile. What was deleted is not in it:
// it is written row by row, without the space that deleted rows left
// (https://www.sqlite.org/lang_vacuum.html, VACUUM INTO).
func (db *DB) Snapshot(ctx context.Context, path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600) // SQLite takes an empty file as it is
	if err == nil {
		err = f.Close()
	}
	if err != nil {
		return fmt.Errorf("the copy of the database %w: %w", errOpen, err)
	}
	if _, err := db.sql.ExecContext(ctx, "VACUUM INTO $1", path); err != nil {
		return errors.Join(fmt.Errorf("the database cannot be copied: %w", err), os.Remove(path))
	}
	return nil
}

// Version is which version of its tables the database has.
func (db *DB) Version(ctx context.Context) (int64, error) {
	var v int64
	if err := db.sql.QueryRowContext(ctx, `SELECT MAX(version_id) FROM goose_db_version`).Scan(&v); err != nil {
		return 0, fmt.Errorf("the version of the database cannot be read: %w", err)
	}
	return v, nil
}

// Newest is the newest version of the tables that this program knows.
func Newest() (int64, error) {
	names, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil || len(names) == 0 {
		return 0, errors.Join(errors.New("there are no migrations"), err)
	}
	return goose.NumericComponent(slices.Max(names))
}

// HoldPost has everything wait until each of the weeks is settled. Letters that
// were on their way when the backup was made may have gone out since: they are unsure.
func (db *DB) HoldPost(ctx context.Context, h Hold, entry Entry) error {
	return db.Tx(ctx, func(tx *sql.Tx) error {
		for _, statement := range []string{
			`DELETE FROM post_runs`,
			`UPDATE deliveries SET state = 'unsure', reply = '` + sinceReply + `' WHERE state IN ('waiting', 'leased', 'closing')`,
			`UPDATE editions SET state = 'stopped', why = 'restored from a backup' WHERE state = 'sending'`,
		} {
			if _, err := tx.ExecContext(ctx, statement); err != nil {
				return fmt.Errorf("the letters that were on their way cannot be held: %w", err)
			}
		}
		if err := putSetting(ctx, tx, holdName, h); err != nil {
			return err
		}
		_, err := db.AppendTx(ctx, tx, entry)
		return err
	})
}

// HoldCopy has a copy of the database hold everything by itself, so that nothing is
// posted from one that was put in its place by hand.
func (db *DB) HoldCopy(ctx context.Context, h Hold) error {
	return db.Tx(ctx, func(tx *sql.Tx) error { return putSetting(ctx, tx, holdName, h) })
}

// Held returns what has to be settled, or nil when nothing has.
func (db *DB) Held(ctx context.Context) (*Hold, error) {
	var h *Hold
	err := db.Tx(ctx, func(tx *sql.Tx) (err error) {
		h, err = held(ctx, tx)
		return err
	})
	return h, err
}

func held(ctx context.Context, tx *sql.Tx) (*Hold, error) {
	var h Hold
	if there, err := setting(ctx, tx, holdName, &h); err != nil || !there {
		return nil, err
	}
	return &h, nil
}

// notHeld is ErrHeld, with the remedy, while anything has to be settled.
func notHeld(ctx context.Context, tx *sql.Tx) error {
	h, err := held(ctx, tx)
	if err != nil || h == nil {
		return err
	}
	return h.Err()
}

// Err is ErrHeld, with the remedy.
func (h *Hold) Err() error {
	return fmt.Errorf("%w: %s; say of each with opencowl restore --settle WEEK --as sent|waiting|unsure --by WHO", ErrHeld, joined(h.Weeks))
}

func joined(weeks []string) string {
	if len(weeks) <= 6 {
		return fmt.Sprintf("%q", weeks)
	}
	return fmt.Sprintf("%q and %d more up to %q", weeks[:3], len(weeks)-3, weeks[len(weeks)-1])
}

// SettleWeeks says what became of editions since the backup, all or none. With the
// last one the hold ends; ended is true then.
func (db *DB) SettleWeeks(ctx context.Context, weeks []string, as Outcome, by string) (ended bool, err error) {
	err = db.Tx(ctx, func(tx *sql.Tx) error {
		h, err := held(ctx, tx)
		if err != nil {
			return err
		}
		if h == nil {
			return fmt.Errorf("%w: nothing has to be settled", ErrNotHeld)
		}
		for _, week := range weeks {
			i := slices.Index(h.Weeks, week)
			if i < 0 {
				return fmt.Errorf("%s: %w; it is one of %s", week, ErrNotHeld, joined(h.Weeks))
			}
			h.Weeks = slices.Delete(h.Weeks, i, i+1)
			if err := db.settleWeek(ctx, tx, week, as); err != nil {
				return err
			}
			if _, err := db.AppendTx(ctx, tx, Entry{Who: by, Kind: "settled-since-backup", Unit: "edition/" + week, Detail: map[string]string{"as": string(as)}}); err != nil {
				return err
			}
		}
		if ended = len(h.Weeks) == 0; ended {
			_, err := tx.ExecContext(ctx, `DELETE FROM settings WHERE name = $1`, holdName)
			return err
		}
		return putSetting(ctx, tx, holdName, h)
	})
	return ended && err == nil, err
}

func (db *DB) settleWeek(ctx context.Context, tx *sql.Tx, week string, as Outcome) error {
	state, err := stateOf(ctx, tx, week)
	if errors.Is(err, ErrNotFound) {
		if as == StayedHere {
			return nil
		}
		// Nobody has its bytes any more. Another one of that week would be a second letter.
		return unseen(ctx, tx, week)
	}
	if err != nil {
		return err
	}
	var letters int
	if err := tx.QueryRowContext(ctx, `SELECT COUNT(*) FROM deliveries WHERE week = $1`, week).Scan(&letters); err != nil {
		return fmt.Errorf("the letters of edition %s cannot be counted: %w", week, err)
	}
	if as == InPart && letters == 0 {
		return fmt.Errorf("edition %s: the backup has none of its letters, so that they cannot be settled one by one; say --as sent if any went out, since whoever had it would get it twice: %w", week, ErrState)
	}
	// In a copy that was put in place by hand letters are as they were at that moment.
	if _, err := tx.ExecContext(ctx,
		`UPDATE deliveries SET state = 'unsure', reply = '`+sinceReply+`' WHERE week = $1 AND state IN ('waiting', 'leased', 'closing')`, week); err != nil {
		return fmt.Errorf("the letters of edition %s cannot be held: %w", week, err)
	}
	if as == InPart {
		return nil
	}
	to, edition := "waiting", state
	if as == WentOut {
		to, edition = "sent", Sent
	}
	if _, err := tx.ExecContext(ctx,
		`UPDATE deliveries SET state = $2, reply = '', at = $3, attempts = 0, not_before = 0, first_put_off = 0
		 WHERE week = $1 AND state = 'unsure' AND reply = '`+sinceReply+`'`, week, to, FormatTime(db.now())); err != nil {
		return fmt.Errorf("the letters of edition %s cannot be settled: %w", week, err)
	}
	if _, err := tx.ExecContext(ctx,
		`UPDATE editions SET state = $2,
		   sent_at = CASE WHEN sent_at = '' AND $2 = 'sent' THEN $3 ELSE sent_at END,
		   sent_on = CASE WHEN sent_on = '' AND $2 = 'sent' THEN $4 ELSE sent_on END
		 WHERE week = $1`, week, edition, FormatTime(db.now()), db.now().Format(time.DateOnly)); err != nil {
		return fmt.Errorf("edition %s cannot be settled: %w", week, err)
	}
	return nil
}

// unseen writes down that an edition was posted which the database does not have.
func unseen(ctx context.Context, tx *sql.Tx, week string) error {
	var weeks []string
	if _, err := setting(ctx, tx, unseenName, &weeks); err != nil {
		return err
	}
	weeks = append(weeks, week)
	slices.Sort(weeks)
	return putSetting(ctx, tx, unseenName, weeks)
}

// mayFreeze refuses an edition while a restored backup is not settled, and one that
// members had, or had a later one than, before it was restored.
func mayFreeze(ctx context.Context, tx *sql.Tx, week string) error {
	if err := notHeld(ctx, tx); err != nil {
		return err
	}
	var weeks []string
	if there, err := setting(ctx, tx, unseenName, &weeks); err != nil || !there {
		return err
	}
	if last := slices.Max(weeks); week <= last {
		return fmt.Errorf("edition %s cannot be frozen: edition %s was posted before the workspace was restored from an older backup; tell it in a later edition: %w", week, last, ErrExists)
	}
	return nil
}

// setting reads a setting that is kept as JSON.
func setting(ctx context.Context, tx *sql.Tx, name string, into any) (there bool, err error) {
	var text []byte
	err = tx.QueryRowContext(ctx, `SELECT value FROM settings WHERE name = $1`, name).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err == nil {
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		return false, fmt.Errorf("the setting %q cannot be read: %w", name, err)
	}
	return true, nil
}

func putSetting(ctx context.Context, tx *sql.Tx, name string, value any) error {
	text, err := json.Marshal(value)
	if err == nil {
		_, err = tx.ExecContext(ctx, `INSERT INTO settings (name, value) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, name, text)
	}
	if err != nil {
		return fmt.Errorf("the setting %q cannot be kept: %w", name, err)
	}
	return nil
}
