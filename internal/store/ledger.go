package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Entry is what happened, before it has a place in the ledger.
type Entry struct {
	At     time.Time // zero: now
	Who    string    // who did it
	Kind   string    // "cleared", "printed", …
	Unit   string    // to what
	Digest string    // of the unit as it was
	Detail any       // written as JSON; nil is null
}

// Row is a line of the ledger. A row is never changed or removed.
type Row struct {
	Seq      int64 // from 1, without a gap
	At       time.Time
	Who      string
	Kind     string
	Unit     string
	Digest   string
	Detail   json.RawMessage
	Previous string // the hash of the row before; empty in the first
	Hash     string
}

// Filter chooses ledger rows; an empty field takes all.
type Filter struct{ Kind, Unit string }

// Broken is a ledger row that does not hold.
type Broken struct {
	Seq int64
	Why string
}

// Append writes rows at the end of the ledger, all or none.
func (db *DB) Append(ctx context.Context, entries ...Entry) ([]Row, error) {
	var rows []Row
	err := db.Tx(ctx, func(tx *sql.Tx) (err error) {
		rows, err = db.AppendTx(ctx, tx, entries...)
		return err
	})
	return rows, err
}

// AppendTx is Append inside a transaction of Tx, so that an event and what it
// is about are kept together.
func (db *DB) AppendTx(ctx context.Context, tx *sql.Tx, entries ...Entry) ([]Row, error) {
	last := Row{}
	err := tx.QueryRowContext(ctx, `SELECT seq, hash FROM ledger ORDER BY seq DESC LIMIT 1`).Scan(&last.Seq, &last.Hash)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("the end of the ledger cannot be read: %w", err)
	}
	var rows []Row
	for _, e := range entries {
		row, err := db.follow(last, e)
		if err != nil {
			return nil, err
		}
		if _, err := tx.ExecContext(ctx,
			`INSERT INTO ledger (seq, at, who, kind, unit, digest, detail, previous, hash)
			 VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			row.Seq, FormatTime(row.At), row.Who, row.Kind, row.Unit, row.Digest, string(row.Detail), row.Previous, row.Hash,
		); err != nil {
			return nil, fmt.Errorf("the ledger cannot be written to: %w", err)
		}
		rows = append(rows, row)
		last = row
	}
	return rows, nil
}

// follow makes the row for e that comes after last.
func (db *DB) follow(last Row, e Entry) (Row, error) {
	if e.Kind == "" {
		return Row{}, errors.New("a ledger row needs a kind")
	}
	for _, s := range []string{e.Who, e.Kind, e.Unit, e.Digest} {
		if !utf8.ValidString(s) || strings.ContainsRune(s, 0) {
			return Row{}, fmt.Errorf("%q cannot go in the ledger: it is not plain UTF-8 text", s)
		}
	}
	detail, err := json.Marshal(e.Detail)
	if err != nil {
		return Row{}, fmt.Errorf("the detail of a %q row cannot be written as JSON: %w", e.Kind, err)
	}
	at := e.At
	if at.IsZero() {
		at = db.now()
	}
	row := Row{Seq: last.Seq + 1, At: seconds(at), Who: e.Who, Kind: e.Kind, Unit: e.Unit, Digest: e.Digest,
		Detail: detail, Previous: last.Hash}
	row.Hash = row.sum()
	return row, nil
}

// sum is the hash of a row: SHA-256 in hexadecimal over, in this order, the
// words "opencowl ledger 1", seq in decimal, at in RFC 3339 (UTC, whole
// seconds), who, kind, unit, digest, detail as its stored JSON bytes, and the
// previous row's hash. Each goes in as its length in bytes in decimal, a colon
// and its bytes, so that no two different rows are written alike.
func (r Row) sum() string {
	h := sha256.New()
	for _, field := range []string{"opencowl ledger 1", strconv.FormatInt(r.Seq, 10), FormatTime(r.At),
		r.Who, r.Kind, r.Unit, r.Digest, string(r.Detail), r.Previous} {
		fmt.Fprintf(h, "%d:%s", len(field), field)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Ledger returns the rows that pass the filter, oldest first.
func (db *DB) Ledger(ctx context.Context, f Filter) ([]Row, error) {
	var rows []Row
	err := db.eachRow(ctx, f, func(r Row) { rows = append(rows, r) })
	return rows, err
}

func (db *DB) eachRow(ctx context.Context, f Filter, do func(Row)) error {
	found, err := db.Read(ctx,
		`SELECT seq, at, who, kind, unit, digest, detail, previous, hash FROM ledger
		 WHERE ($1 = '' OR kind = $1) AND ($2 = '' OR unit = $2) ORDER BY seq`, f.Kind, f.Unit)
	if err != nil {
		return fmt.Errorf("the ledger cannot be read: %w", err)
	}
	defer found.Close()
	for found.Next() {
		var r Row
		var at, detail string
		if err := found.Scan(&r.Seq, &at, &r.Who, &r.Kind, &r.Unit, &r.Digest, &detail, &r.Previous, &r.Hash); err != nil {
			return fmt.Errorf("the ledger cannot be read: %w", err)
		}
		// A time that was tampered with must not hide the row from VerifyLedger:
		// it stays zero, and the hash does not hold.
		r.At, _ = ParseTime(at)
		r.Detail = json.RawMessage(detail)
		do(r)
	}
	return found.Err()
}

// Head returns the hash of the last row; it is empty when the ledger is. A
// copy kept outside shows later whether the end has been cut off.
func (db *DB) Head(ctx context.Context) (string, error) {
	var head string
	err := db.sql.QueryRowContext(ctx, `SELECT hash FROM ledger ORDER BY seq DESC LIMIT 1`).Scan(&head)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	if err != nil {
		return "", fmt.Errorf("the end of the ledger cannot be read: %w", err)
	}
	return head, nil
}

// VerifyLedger returns every row whose hash does not match what it says, whose
// link does not match the row before, or before which rows are missing. Rows
// cut off the end leave no trace: only a head kept outside shows those.
func (db *DB) VerifyLedger(ctx context.Context) ([]Broken, error) {
	var broken []Broken
	last := Row{}
	err := db.eachRow(ctx, Filter{}, func(r Row) {
		switch {
		case r.Seq != last.Seq+1:
			broken = append(broken, Broken{r.Seq, fmt.Sprintf("rows are missing between %d and %d", last.Seq, r.Seq)})
		case r.Previous != last.Hash:
			broken = append(broken, Broken{r.Seq, "it does not link to the row before"})
		}
		if r.Hash != r.sum() {
			broken = append(broken, Broken{r.Seq, "its hash does not match what it says"})
		}
		last = r
	})
	return broken, err
}
