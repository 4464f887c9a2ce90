// Package member keeps the people who get the weekly update: who they are, how
// they agreed to it, and whether they may be written to today.
//
// It promises that nobody is written to without a recorded basis, that an
// address is kept in one spelling, and that someone who left is not brought
// back by a list. It must not know what is written to them.
package member

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
)

// State says how a member stands.
type State string

const (
	Joining State = "joining" // the owner of the address has not confirmed yet
	Joined  State = "joined"
	Paused  State = "paused"
	Left    State = "left"
	Dead    State = "dead" // the address, not the person
)

// States are all states, in the order in which they are shown.
func States() []State { return []State{Joining, Joined, Paused, Left, Dead} }

// Basis says why the law lets us write to someone.
type Basis string

const (
	Consented Basis = "consent"
	// SoftOptIn is the one for charities: PECR reg 22(3A) (United Kingdom).
	SoftOptIn Basis = "charity-soft-opt-in"
)

var (
	// ErrNotFound is returned for a member who is not there.
	ErrNotFound = errors.New("no such member")
	// ErrLeft is returned for a change to somebody who has left.
	ErrLeft = errors.New("this member has left and can come back only by joining anew")
)

// Consent is the record of how someone agreed (UK GDPR Art 7(1)).
type Consent struct {
	Basis          Basis
	Source         string // where: "gate form, open day"
	WordingVersion string // of what they were told
	At             time.Time
	WithdrawnAt    time.Time // zero: it stands
}

// Member is one person who gets, got or may get the weekly update.
type Member struct {
	ID          string // random; all that ledger and deliveries know
	Address     string // as Normalise writes it
	Name        string // may be empty
	State       State
	Consent     Consent  // the latest; the zero value for someone who only ever left
	GivingFrom  day.Date // zero: always
	GivingUntil day.Date // zero: for ever; else the last day
	AddedAt     time.Time
}

// MayReceive says whether the member may be written to on a date; if not, the
// second value says why, in a word for the record.
func (m Member) MayReceive(on day.Date) (bool, string) {
	switch {
	case m.State != Joined:
		return false, string(m.State)
	case m.Consent.Basis == "" || !m.Consent.WithdrawnAt.IsZero():
		return false, "no consent"
	case m.GivingFrom.After(on):
		return false, "giving not begun"
	case !m.GivingUntil.IsZero() && m.GivingUntil.Before(on):
		return false, "giving ended"
	}
	return true, ""
}

// Filter chooses members; an empty field takes all.
type Filter struct{ State State }

// List returns the members that pass the filter, by address.
func List(ctx context.Context, db *store.DB, f Filter) ([]Member, error) {
	rows, err := db.Read(ctx, selectMembers+` WHERE $1 = '' OR m.state = $1 ORDER BY lower(m.address)`, string(f.State))
	if err != nil {
		return nil, fmt.Errorf("the members cannot be read: %w", err)
	}
	return scanAll(rows)
}

// ListTx is List of everybody inside a transaction of the store, by id.
func ListTx(ctx context.Context, tx *sql.Tx) ([]Member, error) {
	rows, err := tx.QueryContext(ctx, selectMembers+` ORDER BY m.id`)
	if err != nil {
		return nil, fmt.Errorf("the members cannot be read: %w", err)
	}
	return scanAll(rows)
}

// GetTx returns one member inside a transaction of the store, or ErrNotFound.
func GetTx(ctx context.Context, tx *sql.Tx, id string) (Member, error) {
	rows, err := tx.QueryContext(ctx, selectMembers+` WHERE m.id = $1`, id)
	if err != nil {
		return Member{}, fmt.Errorf("member %s cannot be read: %w", id, err)
	}
	found, err := scanAll(rows)
	if err != nil {
		return Member{}, err
	}
	if len(found) == 0 {
		return Member{}, fmt.Errorf("member %s: %w", id, ErrNotFound)
	}
	return found[0], nil
}

// SetState moves a member to another state at a time. Leaving withdraws the
// consent as well. Nobody is moved out of left (ErrLeft): coming back takes a
// new consent, so it is a new joining.
func SetState(ctx context.Context, db *store.DB, id string, to State, at time.Time) error {
	return db.Tx(ctx, func(tx *sql.Tx) error { return setState(ctx, tx, id, to, at) })
}

func setState(ctx context.Context, tx *sql.Tx, id string, to State, at time.Time) error {
	m, err := GetTx(ctx, tx, id)
	if err != nil {
		return err
	}
	if m.State == Left && to != Left {
		return fmt.Errorf("member %s: %w", id, ErrLeft)
	}
	if _, err := tx.ExecContext(ctx, `UPDATE members SET state = $2 WHERE id = $1`, id, string(to)); err != nil {
		return fmt.Errorf("member %s cannot become %s: %w", id, to, err)
	}
	if to != Left {
		return nil
	}
	if _, err := tx.ExecContext(ctx,
		`UPDATE consents SET withdrawn_at = $2 WHERE member = $1 AND withdrawn_at = ''`, id, store.FormatTime(at)); err != nil {
		return fmt.Errorf("the consent of member %s cannot be withdrawn: %w", id, err)
	}
	return nil
}

// ByAddress returns the member with an address, however it is spelt, or
// ErrNotFound.
func ByAddress(ctx context.Context, db *store.DB, address string) (Member, error) {
	kept, err := Normalise(address)
	if err != nil {
		return Member{}, fmt.Errorf("%q: %w", address, err)
	}
	all, err := List(ctx, db, Filter{})
	if err != nil {
		return Member{}, err
	}
	for _, m := range all {
		if strings.EqualFold(m.Address, kept) {
			return m, nil
		}
	}
	return Member{}, fmt.Errorf("%s: %w; see opencowl members list", address, ErrNotFound)
}

const selectMembers = `
SELECT m.id, m.address, m.name, m.state, m.giving_from, m.giving_until, m.added_at,
       COALESCE(c.basis, ''), COALESCE(c.source, ''), COALESCE(c.wording_version, ''),
       COALESCE(c.consented_at, ''), COALESCE(c.withdrawn_at, '')
FROM members m
LEFT JOIN consents c ON c.member = m.id
     AND c.place = (SELECT MAX(place) FROM consents WHERE member = m.id)`

func scanAll(rows *sql.Rows) ([]Member, error) {
	defer rows.Close()
	var found []Member
	for rows.Next() {
		m, err := scan(rows)
		if err != nil {
			return nil, fmt.Errorf("a member cannot be read: %w", err)
		}
		found = append(found, m)
	}
	return found, rows.Err()
}

func scan(rows *sql.Rows) (Member, error) {
	var m Member
	var from, until, added, consented, withdrawn string
	if err := rows.Scan(&m.ID, &m.Address, &m.Name, &m.State, &from, &until, &added,
		&m.Consent.Basis, &m.Consent.Source, &m.Consent.WordingVersion, &consented, &withdrawn); err != nil {
		return Member{}, err
	}
	err1 := m.GivingFrom.UnmarshalText([]byte(from))
	err2 := m.GivingUntil.UnmarshalText([]byte(until))
	var err3, err4, err5 error
	m.AddedAt, err3 = store.ParseTime(added)
	m.Consent.At, err4 = store.ParseTime(consented)
	m.Consent.WithdrawnAt, err5 = store.ParseTime(withdrawn)
	return m, cmp.Or(err1, err2, err3, err4, err5)
}

// insert adds a member and the consent, if there is one.
func insert(ctx context.Context, tx *sql.Tx, m Member) error {
	if _, err := tx.ExecContext(ctx,
		`INSERT INTO members (id, address, name, state, giving_from, giving_until, added_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		m.ID, m.Address, m.Name, string(m.State), m.GivingFrom.String(), m.GivingUntil.String(), store.FormatTime(m.AddedAt)); err != nil {
		return err
	}
	if m.Consent.Basis == "" {
		return nil
	}
	_, err := tx.ExecContext(ctx,
		`INSERT INTO consents (member, place, basis, source, wording_version, consented_at, withdrawn_at) VALUES ($1, 1, $2, $3, $4, $5, $6)`,
		m.ID, string(m.Consent.Basis), m.Consent.Source, m.Consent.WordingVersion,
		store.FormatTime(m.Consent.At), store.FormatTime(m.Consent.WithdrawnAt))
	return err
}
