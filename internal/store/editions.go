package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"
)

// The states of an edition in the database. Before it is frozen an edition is
// a draft and lives in files.
const (
	Frozen  = "frozen"
	Sending = "sending"
	Stopped = "stopped"
	Sent    = "sent"
)

var (
	// ErrInFlight is returned when letters of an edition may have gone out.
	ErrInFlight = errors.New("letters of this edition may have gone out")
	// ErrState is returned for a change that an edition's state does not allow.
	ErrState = errors.New("the edition's state does not allow this")
)

// Edition is one weekly update from the moment its bytes are fixed.
type Edition struct {
	Week     string // "2031-W07"
	State    string
	Why      string // why it is stopped
	FrozenBy string
	FrozenAt time.Time
	Subject  string
	HTML     []byte
	Text     []byte
	Pictures []Picture
	Record   json.RawMessage // what it tells, for later weeks
	Movement json.RawMessage
	Digest   string
	SentAt   time.Time
	On       string // the date it was sent, YYYY-MM-DD
}

// Picture is one that a letter carries with it.
type Picture struct {
	ContentID string // as the HTML names it, without "cid:"
	Name      string
	JPEG      []byte
}

// Freeze keeps an edition's bytes and writes the ledger row, both or neither.
// State is set to frozen; a zero FrozenAt is now. A week that is frozen already
// is ErrExists.
func (db *DB) Freeze(ctx context.Context, e Edition, entry Entry) error {
	if e.FrozenAt.IsZero() {
		e.FrozenAt = db.now()
	}
	return db.Tx(ctx, func(tx *sql.Tx) error {
		if err := mayFreeze(ctx, tx, e.Week); err != nil {
			return err
		}
		var there int
		if err := tx.QueryRowContext(ctx, `SELECT COUNT(*) FROM editions WHERE week = $1`, e.Week).Scan(&there); err != nil {
			return fmt.Errorf("edition %s cannot be looked up: %w", e.Week, err)
		}
		if there > 0 {
			return fmt.Errorf("edition %s is frozen already; thaw it first: %w", e.Week, ErrExists)
		}
		if err := insertEdition(ctx, tx, e); err != nil {
			return fmt.Errorf("edition %s cannot be frozen: %w", e.Week, err)
		}
		_, err := db.AppendTx(ctx, tx, entry)
		return err
	})
}

func insertEdition(ctx context.Context, tx *sql.Tx, e Edition) error {
	if _, err := tx.ExecContext(ctx,
		`INSERT INTO editions (week, state, frozen_by, frozen_at, subject, html, plain, record, movement, digest)
		 VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		e.Week, Frozen, e.FrozenBy, FormatTime(e.FrozenAt), e.Subject, notNil(e.HTML), notNil(e.Text),
		string(e.Record), string(e.Movement), e.Digest); err != nil {
		return err
	}
	for i, p := range e.Pictures {
		if _, err := tx.ExecContext(ctx,
			`INSERT INTO edition_pictures (week, place, content_id, name, jpeg) VALUES ($1, $2, $3, $4, $5)`,
			e.Week, i, p.ContentID, p.Name, notNil(p.JPEG)); err != nil {
			return err
		}
	}
	return nil
}

// notNil keeps an empty value from being written as NULL.
func notNil(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

// Edition returns the edition of a week, or ErrNotFound when it is not frozen.
func (db *DB) Edition(ctx context.Context, week string) (Edition, error) {
	found, err := db.editions(ctx, week)
	if err != nil {
		return Edition{}, err
	}
	if len(found) == 0 {
		return Edition{}, fmt.Errorf("edition %s is not frozen: %w", week, ErrNotFound)
	}
	return found[0], nil
}

// Editions returns every edition that is frozen or later, by week, oldest first.
func (db *DB) Editions(ctx context.Context) ([]Edition, error) { return db.editions(ctx, "") }

func (db *DB) editions(ctx context.Context, week string) ([]Edition, error) {
	found, err := db.readEditions(ctx, week)
	if err != nil {
		return nil, fmt.Errorf("the editions cannot be read: %w", err)
	}
	for i := range found {
		if found[i].Pictures, err = db.readPictures(ctx, found[i].Week); err != nil {
			return nil, fmt.Errorf("the pictures of edition %s cannot be read: %w", found[i].Week, err)
		}
	}
	return found, nil
}

func (db *DB) readEditions(ctx context.Context, week string) ([]Edition, error) {
	rows, err := db.Read(ctx,
		`SELECT week, state, why, frozen_by, frozen_at, subject, html, plain, record, movement, digest, sent_at, sent_on
		 FROM editions WHERE $1 = '' OR week = $1 ORDER BY week`, week)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var found []Edition
	for rows.Next() {
		var e Edition
		var frozenAt, sentAt, record, movement string
		if err := rows.Scan(&e.Week, &e.State, &e.Why, &e.FrozenBy, &frozenAt, &e.Subject, &e.HTML, &e.Text,
			&record, &movement, &e.Digest, &sentAt, &e.On); err != nil {
			return nil, err
		}
		e.Record, e.Movement = json.RawMessage(record), json.RawMessage(movement)
		var err1, err2 error
		e.FrozenAt, err1 = ParseTime(frozenAt)
		e.SentAt, err2 = ParseTime(sentAt)
		if err := cmp.Or(err1, err2); err != nil {
			return nil, err
		}
		found = append(found, e)
	}
	return found, rows.Err()
}

func (db *DB) readPictures(ctx context.Context, week string) ([]Picture, error) {
	rows, err := db.Read(ctx, `SELECT content_id, name, jpeg FROM edition_pictures WHERE week = $1 ORDER BY place`, week)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var found []Picture
	for rows.Next() {
		var p Picture
		if err := rows.Scan(&p.ContentID, &p.Name, &p.JPEG); err != nil {
			return nil, err
		}
		found = append(found, p)
	}
	return found, rows.Err()
}

// mayBecome says what may follow each state. A sent edition is sending again
// only for a letter that a person put back.
func mayBecome(from, to string) bool {
	next := map[string][]string{
		Frozen:  {Sending},
		Sending: {Sending, Stopped, Sent},
		Stopped: {Stopped, Sending, Sent},
		Sent:    {Sending, Sent},
	}
	return slices.Contains(next[from], to)
}

// SetEditionState moves an edition to another state and writes the ledger rows
// with it. An edition that becomes sent for the first time was sent at the time
// given, on that time's date in its own time zone.
func (db *DB) SetEditionState(ctx context.Context, week, state string, at time.Time, entries ...Entry) error {
	return db.Tx(ctx, func(tx *sql.Tx) error {
		return db.SetEditionStateTx(ctx, tx, week, state, "", at, entries...)
	})
}

// SetEditionStateTx is SetEditionState inside a transaction of Tx, with the
// reason why an edition is stopped.
func (db *DB) SetEditionStateTx(ctx context.Context, tx *sql.Tx, week, state, why string, at time.Time, entries ...Entry) error {
	from, err := stateOf(ctx, tx, week)
	if err != nil {
		return err
	}
	if state == Sending {
		if err := notHeld(ctx, tx); err != nil {
			return err
		}
	}
	if !mayBecome(from, state) {
		return fmt.Errorf("edition %s is %s and cannot become %s: %w", week, from, state, ErrState)
	}
	sentAt, sentOn := "", ""
	if state == Sent {
		sentAt, sentOn = FormatTime(at), at.Format(time.DateOnly)
	}
	if _, err := tx.ExecContext(ctx,
		`UPDATE editions SET state = $2, why = $3,
		   sent_at = CASE WHEN sent_at = '' THEN $4 ELSE sent_at END,
		   sent_on = CASE WHEN sent_on = '' THEN $5 ELSE sent_on END
		 WHERE week = $1`, week, state, why, sentAt, sentOn); err != nil {
		return fmt.Errorf("edition %s cannot become %s: %w", week, state, err)
	}
	_, err = db.AppendTx(ctx, tx, entries...)
	return err
}

func stateOf(ctx context.Context, tx *sql.Tx, week string) (string, error) {
	var state string
	err := tx.QueryRowContext(ctx, `SELECT state FROM editions WHERE week = $1`, week).Scan(&state)
	if errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("edition %s is not frozen: %w", week, ErrNotFound)
	}
	return state, err
}

// Thaw makes an edition a draft again, and is refused with ErrInFlight once a
// letter of it has gone out or may have.
func (db *DB) Thaw(ctx context.Context, week string, entry Entry) error {
	return db.Tx(ctx, func(tx *sql.Tx) error {
		if err := notHeld(ctx, tx); err != nil {
			return err
		}
		state, err := stateOf(ctx, tx, week)
		if err != nil {
			return err
		}
		if state == Sent {
			return fmt.Errorf("edition %s cannot be thawed: it has been sent, so %w; send a correction in a later edition instead", week, ErrInFlight)
		}
		var out int
		if err := tx.QueryRowContext(ctx,
			`SELECT COUNT(*) FROM deliveries WHERE week = $1 AND state IN ('leased', 'closing', 'sent', 'unsure')`,
			week).Scan(&out); err != nil {
			return fmt.Errorf("the letters of edition %s cannot be counted: %w", week, err)
		}
		if out > 0 {
			return fmt.Errorf("edition %s cannot be thawed: %w (%d of them); send a correction in a later edition instead",
				week, ErrInFlight, out)
		}
		for _, statement := range []string{
			`DELETE FROM deliveries WHERE week = $1`,
			`DELETE FROM editions WHERE week = $1`,
		} {
			if _, err := tx.ExecContext(ctx, statement, week); err != nil {
				return fmt.Errorf("edition %s cannot be thawed: %w", week, err)
			}
		}
		_, err = db.AppendTx(ctx, tx, entry)
		return err
	})
}
