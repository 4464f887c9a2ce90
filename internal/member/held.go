package member

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"example.org/opencowl/internal/store"
)

// Held is all that the database holds about one member, for the person who asks (UK
// GDPR Art 15). What they are told of it is theirs; of other people it has nothing.
type Held struct {
	Member   Member
	Consents []Consent // oldest first
	Words    []Wording // that these agreed to, as far as they are kept; by version
	Asked    *Consent  // to join, and not confirmed yet; nil: nothing is
	Letters  []HeldLetter
	Events   []HeldEvent // what was done about them
}

// HeldLetter is what became of one edition.
type HeldLetter struct {
	Week  string    `json:"week"`
	State string    `json:"state"`
	At    time.Time `json:"at"`
	Reply string    `json:"reply,omitempty"` // codes of the mail server, or why it was skipped
}

// HeldEvent is a line of the ledger about a member.
type HeldEvent struct {
	At     time.Time       `json:"at"`
	By     string          `json:"by"`
	What   string          `json:"what"`
	Detail json.RawMessage `json:"detail,omitempty"`
}

// Held returns all that is held about whoever has an address, or ErrNotFound. That it
// was looked up is written down.
func (r Register) Held(ctx context.Context, address, by string) (Held, error) {
	m, err := ByAddress(ctx, r.DB, address)
	if err != nil {
		return Held{}, err
	}
	h := Held{Member: m}
	err = r.DB.Tx(ctx, func(tx *sql.Tx) error {
		if h.Consents, err = consents(ctx, tx, m.ID); err != nil {
			return err
		}
		if !m.AskedAt.IsZero() {
			_, c, err := joining(ctx, tx, m.ID)
			if err != nil {
				return err
			}
			h.Asked = &c
		}
		if h.Words, err = agreedWords(ctx, tx, m.ID); err != nil {
			return err
		}
		if h.Letters, err = letters(ctx, tx, m.ID); err != nil {
			return err
		}
		return r.note(ctx, tx, by, "member-shown", m.ID, nil)
	})
	if err != nil {
		return Held{}, err
	}
	rows, err := r.DB.Ledger(ctx, store.Filter{Unit: unit(m.ID)})
	if err != nil {
		return Held{}, err
	}
	for _, row := range rows {
		h.Events = append(h.Events, HeldEvent{row.At, row.Who, row.Kind, row.Detail})
	}
	return h, nil
}

func consents(ctx context.Context, tx *sql.Tx, id string) ([]Consent, error) {
	rows, err := tx.QueryContext(ctx, `
		SELECT basis, source, wording_version, wording_digest, consented_at, confirmed_at, withdrawn_at, collected, because, purpose, refusal
		FROM consents WHERE member = $1 ORDER BY place`, id)
	if err != nil {
		return nil, fmt.Errorf("the consents of member %s cannot be read: %w", id, err)
	}
	defer rows.Close()
	var all []Consent
	for rows.Next() {
		var c Consent
		var at, confirmed, withdrawn string
		if err := rows.Scan(&c.Basis, &c.Source, &c.WordingVersion, &c.WordingDigest, &at, &confirmed, &withdrawn,
			&c.SoftOptIn.Collected, &c.SoftOptIn.Because, &c.SoftOptIn.Purpose, &c.SoftOptIn.Refusal); err != nil {
			return nil, fmt.Errorf("the consents of member %s cannot be read: %w", id, err)
		}
		var err1, err2, err3 error
		c.At, err1 = store.ParseTime(at)
		c.ConfirmedAt, err2 = store.ParseTime(confirmed)
		c.WithdrawnAt, err3 = store.ParseTime(withdrawn)
		if err := cmp.Or(err1, err2, err3); err != nil {
			return nil, err
		}
		all = append(all, c)
	}
	return all, rows.Err()
}

func agreedWords(ctx context.Context, tx *sql.Tx, id string) ([]Wording, error) {
	rows, err := tx.QueryContext(ctx, `
		SELECT version, words, digest FROM consent_wordings
		WHERE version IN (SELECT wording_version FROM consents WHERE member = $1 UNION SELECT wording_version FROM joinings WHERE member = $1)
		ORDER BY version`, id)
	if err != nil {
		return nil, fmt.Errorf("what member %s was told cannot be read: %w", id, err)
	}
	defer rows.Close()
	var all []Wording
	for rows.Next() {
		var w Wording
		if err := rows.Scan(&w.Version, &w.Words, &w.Digest); err != nil {
			return nil, fmt.Errorf("what member %s was told cannot be read: %w", id, err)
		}
		all = append(all, w)
	}
	return all, rows.Err()
}

// letters reads the member's rows of the deliveries, which package post writes.
func letters(ctx context.Context, tx *sql.Tx, id string) ([]HeldLetter, error) {
	rows, err := tx.QueryContext(ctx, `SELECT week, state, at, reply FROM deliveries WHERE member = $1 ORDER BY week`, id)
	if err != nil {
		return nil, fmt.Errorf("the letters to member %s cannot be read: %w", id, err)
	}
	defer rows.Close()
	var all []HeldLetter
	for rows.Next() {
		var l HeldLetter
		var at string
		if err := rows.Scan(&l.Week, &l.State, &at, &l.Reply); err != nil {
			return nil, fmt.Errorf("the letters to member %s cannot be read: %w", id, err)
		}
		if l.At, err = store.ParseTime(at); err != nil {
			return nil, err
		}
		all = append(all, l)
	}
	return all, rows.Err()
}
