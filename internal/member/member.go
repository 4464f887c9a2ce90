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
	// ErrUnconfirmed is returned for a change that has to wait for the owner of the address.
	ErrUnconfirmed = errors.New("the owner of this address has not confirmed yet that they want the letters")
)

// Consent is the record of how someone agreed (UK GDPR Art 7(1)).
type Consent struct {
	Basis          Basis
	Source         string // where: "gate form, open day"
	WordingVersion string // of what they were told
	WordingDigest  string // of the words themselves; empty: they were never seen here
	At             time.Time
	ConfirmedAt    time.Time // by the owner of the address; zero: never asked
	WithdrawnAt    time.Time // zero: it stands
	SoftOptIn      Terms     // for that basis alone
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
	AskedAt     time.Time // when they asked to join, while that is unconfirmed; zero: nothing is
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
type Filter struct {
	State State
	Basis Basis
}

// List returns the members that pass the filter, by address.
func List(ctx context.Context, db *store.DB, f Filter) ([]Member, error) {
	var found []Member
	err := Each(ctx, db, f, func(m Member) error {
		found = append(found, m)
		return nil
	})
	return found, err
}

// Each calls do for each member that passes the filter, by address, and holds one
// at a time. It ends at the first error.
func Each(ctx context.Context, db *store.DB, f Filter, do func(Member) error) error {
	rows, err := db.Read(ctx, selectMembers+`
		WHERE ($1 = '' OR m.state = $1) AND ($2 = '' OR COALESCE(c.basis, j.basis, '') = $2) ORDER BY lower(m.address)`, string(f.State), string(f.Basis))
	if err != nil {
		return fmt.Errorf("the members cannot be read: %w", err)
	}
	return scanEach(rows, do)
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
	m, err := one(tx.QueryContext(ctx, selectMembers+` WHERE m.id = $1`, id))
	if err != nil {
		return Member{}, fmt.Errorf("member %s: %w", id, err)
	}
	return m, nil
}

// ByAddress returns the member with an address, however it is spelt, or
// ErrNotFound.
func ByAddress(ctx context.Context, db *store.DB, address string) (Member, error) {
	kept, err := Normalise(address)
	if err != nil {
		return Member{}, fmt.Errorf("%q: %w", address, err)
	}
	m, err := one(db.Read(ctx, selectMembers+` WHERE lower(m.address) = $1`, fold(kept)))
	if errors.Is(err, ErrNotFound) {
		return Member{}, fmt.Errorf("%s: %w; see opencowl members list", address, err)
	}
	return m, err
}

// byAddressTx is ByAddress for an address as Normalise writes it.
func byAddressTx(ctx context.Context, tx *sql.Tx, address string) (Member, error) {
	return one(tx.QueryContext(ctx, selectMembers+` WHERE lower(m.address) = $1`, fold(address)))
}

// SetState moves a member to another state at a time, and is silent where they are
// in it. Nobody is moved out of left (ErrLeft): coming back takes a new consent, so
// it is a new joining. Nor is anybody joined who was only joining (ErrUnconfirmed):
// the owner of the address confirms that.
//
// Leaving withdraws the consent as well. It is marked outside the database only by
// Register.Leave, so that is the one to call when somebody asks.
func SetState(ctx context.Context, db *store.DB, id string, to State, at time.Time) error {
	return db.Tx(ctx, func(tx *sql.Tx) error { return setState(ctx, tx, id, to, at) })
}

func setState(ctx context.Context, tx *sql.Tx, id string, to State, at time.Time) error {
	m, err := GetTx(ctx, tx, id)
	if err != nil {
		return err
	}
	switch {
	case m.State == Left && to != Left:
		return fmt.Errorf("member %s: %w", id, ErrLeft)
	case to == Joining && m.State != Joining,
		m.State == Joining && (to == Joined || to == Paused),
		to == Joined && m.Consent.Basis == "": // the letter that asked came back
		return fmt.Errorf("member %s: %w", id, ErrUnconfirmed)
	}
	if _, err := tx.ExecContext(ctx, `UPDATE members SET state = $2 WHERE id = $1`, id, string(to)); err != nil {
		return fmt.Errorf("member %s cannot become %s: %w", id, to, err)
	}
	switch {
	case to == Left:
		return withdraw(ctx, tx, m, at)
	case to == Dead && m.State == Joining:
		return dropJoining(ctx, tx, id) // the letter that asks cannot have reached them
	}
	return nil
}

// withdraw ends whatever a member agreed to or asked for.
func withdraw(ctx context.Context, tx *sql.Tx, m Member, at time.Time) error {
	if m.State == Joining {
		// That they asked, and then asked to leave, is on record too.
		if err := addConsent(ctx, tx, m.ID, m.Consent); err != nil {
			return err
		}
	}
	if err := dropJoining(ctx, tx, m.ID); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx,
		`UPDATE consents SET withdrawn_at = $2 WHERE member = $1 AND withdrawn_at = ''`, m.ID, store.FormatTime(at)); err != nil {
		return fmt.Errorf("the consent of member %s cannot be withdrawn: %w", m.ID, err)
	}
	return nil
}

// selectMembers reads members with what they agreed to last; of somebody who is only
// joining, with what they asked for.
const selectMembers = `
SELECT m.id, m.address, m.name, m.state, m.giving_from, m.giving_until, m.added_at, COALESCE(j.asked_at, ''),
       COALESCE(c.basis, j.basis, ''), COALESCE(c.source, j.source, ''),
       COALESCE(c.wording_version, j.wording_version, ''), COALESCE(c.wording_digest, j.wording_digest, ''),
       COALESCE(c.consented_at, j.consented_at, ''), COALESCE(c.confirmed_at, ''), COALESCE(c.withdrawn_at, ''),
       COALESCE(c.collected, j.collected, ''), COALESCE(c.because, j.because, ''),
       COALESCE(c.purpose, j.purpose, ''), COALESCE(c.refusal, j.refusal, '')
FROM members m
LEFT JOIN consents c ON c.member = m.id AND m.state <> 'joining'
     AND c.place = (SELECT MAX(place) FROM consents WHERE member = m.id)
LEFT JOIN joinings j ON j.member = m.id`

// one reads the only row of a result, or ErrNotFound.
func one(rows *sql.Rows, err error) (Member, error) {
	if err != nil {
		return Member{}, fmt.Errorf("the members cannot be read: %w", err)
	}
	found, err := scanAll(rows)
	if err != nil {
		return Member{}, err
	}
	if len(found) == 0 {
		return Member{}, ErrNotFound
	}
	return found[0], nil
}

func scanAll(rows *sql.Rows) ([]Member, error) {
	var found []Member
	err := scanEach(rows, func(m Member) error {
		found = append(found, m)
		return nil
	})
	return found, err
}

func scanEach(rows *sql.Rows, do func(Member) error) error {
	defer rows.Close()
	for rows.Next() {
		m, err := scan(rows)
		if err != nil {
			return fmt.Errorf("a member cannot be read: %w", err)
		}
		if err := do(m); err != nil {
			return err
		}
	}
	return rows.Err()
}

func scan(rows *sql.Rows) (Member, error) {
	var m Member
	var from, until, added, asked, consented, confirmed, withdrawn string
	c := &m.Consent
	if err := rows.Scan(&m.ID, &m.Address, &m.Name, &m.State, &from, &until, &added, &asked,
		&c.Basis, &c.Source, &c.WordingVersion, &c.WordingDigest, &consented, &confirmed, &withdrawn,
		&c.SoftOptIn.Collected, &c.SoftOptIn.Because, &c.SoftOptIn.Purpose, &c.SoftOptIn.Refusal); err != nil {
		return Member{}, err
	}
	err := cmp.Or(m.GivingFrom.UnmarshalText([]byte(from)), m.GivingUntil.UnmarshalText([]byte(until)))
	for _, t := range []struct {
		into *time.Time
		text string
	}{{&m.AddedAt, added}, {&m.AskedAt, asked}, {&c.At, consented}, {&c.ConfirmedAt, confirmed}, {&c.WithdrawnAt, withdrawn}} {
		at, e := store.ParseTime(t.text)
		*t.into, err = at, cmp.Or(err, e)
	}
	return m, err
}

// execer runs a statement: a transaction, or one that prepares each statement once.
type execer interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

// prepared is a transaction in which the same few statements run many times.
type prepared struct {
	tx         *sql.Tx
	statements map[string]*sql.Stmt
}

func (p *prepared) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	s := p.statements[query]
	if s == nil {
		var err error
		if s, err = p.tx.PrepareContext(ctx, query); err != nil {
			return nil, err
		}
		p.statements[query] = s // closed with the transaction
	}
	return s.ExecContext(ctx, args...)
}

// insert adds a member with the consent, or with what was asked for by somebody who
// is only joining.
func insert(ctx context.Context, tx execer, m Member) error {
	if _, err := tx.ExecContext(ctx,
		`INSERT INTO members (id, address, name, state, giving_from, giving_until, added_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		m.ID, m.Address, m.Name, string(m.State), m.GivingFrom.String(), m.GivingUntil.String(), store.FormatTime(m.AddedAt)); err != nil {
		return fmt.Errorf("a member cannot be added: %w", err)
	}
	switch {
	case m.Consent.Basis == "":
		return nil
	case m.State == Joining:
		return addJoining(ctx, tx, m, m.AddedAt)
	}
	return addConsent(ctx, tx, m.ID, m.Consent)
}

// addConsent writes down that a member agreed, after whatever they agreed to before.
func addConsent(ctx context.Context, tx execer, id string, c Consent) error {
	if _, err := tx.ExecContext(ctx, `
		INSERT INTO consents (member, place, basis, source, wording_version, wording_digest, consented_at, confirmed_at, withdrawn_at,
		                      collected, because, purpose, refusal)
		VALUES ($1, (SELECT COALESCE(MAX(place), 0) + 1 FROM consents WHERE member = $1), $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		id, string(c.Basis), c.Source, c.WordingVersion, c.WordingDigest,
		store.FormatTime(c.At), store.FormatTime(c.ConfirmedAt), store.FormatTime(c.WithdrawnAt),
		c.SoftOptIn.Collected, c.SoftOptIn.Because, c.SoftOptIn.Purpose, c.SoftOptIn.Refusal); err != nil {
		return fmt.Errorf("the consent of member %s cannot be kept: %w", id, err)
	}
	return nil
}
