package member

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"example.org/opencowl/internal/store"
)

// Unconfirmed is how long somebody who asked to join has to confirm it. After that
// what was written down about them goes.
const Unconfirmed = 14 * 24 * time.Hour

// Asked is what became of somebody's asking to join.
type Asked struct {
	Member Member
	// Token confirms it, for the letter that asks the address's owner; nobody else may
	// see it. It is empty for somebody who gets the letters already, or has paused them.
	Token string
	Until time.Time // until when it counts
}

// Join begins somebody's joining. Nothing is sent to them but the letter that asks
// whether they want it (Invitation), and nothing becomes of it unless they confirm:
// somebody who left stays left, a forgotten address forgotten. It is how those come
// back. Whoever gets the letters already, or paused them, stays as they are.
func (r Register) Join(ctx context.Context, p Person, by string) (Asked, error) {
	m, wording, err := r.newcomer(p)
	if err != nil {
		return Asked{}, err
	}
	now := r.DB.Now()
	var a Asked
	err = r.DB.Tx(ctx, func(tx *sql.Tx) error {
		here, err := byAddressTx(ctx, tx, m.Address)
		switch {
		case errors.Is(err, ErrNotFound):
			if m.ID, err = r.DB.NewID(); err != nil {
				return err
			}
			m.State, m.AddedAt = Joining, now
			if err := insert(ctx, tx, m); err != nil {
				return err
			}
		case err != nil:
			return err
		case here.State == Joined || here.State == Paused:
			a.Member = here
			return nil
		default:
			m.ID = here.ID
			if err := addJoining(ctx, tx, m, now); err != nil {
				return err
			}
		}
		if err := keepWording(ctx, tx, wording, now); err != nil {
			return err
		}
		a.Until = now.Add(Unconfirmed)
		if a.Member, err = GetTx(ctx, tx, m.ID); err != nil {
			return err
		}
		return r.note(ctx, tx, by, "member-asked", m.ID, map[string]string{"basis": string(m.Consent.Basis), "wording": wording.Version})
	})
	if err != nil || a.Until.IsZero() {
		return a, err
	}
	a.Token, err = r.Keys.Token(ToJoin, a.Member.ID, a.Until)
	return a, err
}

// Confirm joins whoever a token for joining was made for. A token from before they
// last left does not count. Used a second time it changes nothing.
func (r Register) Confirm(ctx context.Context, token, by string) (Member, error) {
	c, err := r.Keys.Check(ToJoin, token, r.DB.Now())
	if err != nil {
		return Member{}, err
	}
	m, err := r.confirm(ctx, c.Member, by, func(m Member) error {
		if m.AskedAt.IsZero() || c.Expires.Add(-Unconfirmed).Before(m.AskedAt) {
			return ErrOver
		}
		return nil
	})
	if errors.Is(err, ErrNotFound) {
		return m, ErrOver // it lapsed
	}
	return m, err
}

// ConfirmInPerson joins somebody who told an officer, from their own address or
// otherwise beyond doubt, that they want the letters.
func (r Register) ConfirmInPerson(ctx context.Context, id, by string) (Member, error) {
	return r.confirm(ctx, id, by, func(m Member) error {
		if m.AskedAt.IsZero() {
			return fmt.Errorf("nobody has asked to join with this address: %w; begin with opencowl members join", ErrUnconfirmed)
		}
		return nil
	})
}

func (r Register) confirm(ctx context.Context, id, by string, may func(Member) error) (Member, error) {
	now := r.DB.Now()
	var m Member
	var back bool
	err := r.DB.Tx(ctx, func(tx *sql.Tx) (err error) {
		if m, err = GetTx(ctx, tx, id); err != nil {
			return err
		}
		if m.State == Joined || m.State == Paused {
			return nil
		}
		if err := may(m); err != nil {
			return err
		}
		back = m.State != Joining
		if !back {
			// A new row may be of somebody who is known by a mark alone.
			if back, err = r.keptOut(ctx, tx, m.Address); err != nil {
				return err
			}
		}
		name, c, err := joining(ctx, tx, id)
		if err != nil {
			return err
		}
		c.ConfirmedAt = now
		if err := errors.Join(addConsent(ctx, tx, id, c), dropJoining(ctx, tx, id), r.letIn(ctx, tx, m.Address)); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `UPDATE members SET state = 'joined', name = $2 WHERE id = $1`, id, cmp.Or(name, m.Name)); err != nil {
			return fmt.Errorf("member %s cannot be joined: %w", id, err)
		}
		if m, err = GetTx(ctx, tx, id); err != nil {
			return err
		}
		return r.note(ctx, tx, by, "member-joined", id, nil)
	})
	if err != nil {
		return Member{}, err
	}
	if back {
		// After the commit: a mark that says too little keeps somebody out, who can join again.
		return m, r.Keys.append(markBack, m.Address)
	}
	return m, nil
}

// Lapse takes out who asked to join and did not confirm it in time. It returns how
// many.
func Lapse(ctx context.Context, db *store.DB) (int, error) {
	before := store.FormatTime(db.Now().Add(-Unconfirmed))
	var n int64
	err := db.Tx(ctx, func(tx *sql.Tx) error {
		for _, statement := range []string{
			`DELETE FROM members WHERE state = 'joining' AND id IN (SELECT member FROM joinings WHERE asked_last <= $1)`,
			// Those that are left are of people who were here before.
			`DELETE FROM joinings WHERE asked_last <= $1`,
		} {
			gone, err := tx.ExecContext(ctx, statement, before)
			if err != nil {
				return err
			}
			rows, err := gone.RowsAffected()
			if err != nil {
				return err
			}
			n += rows
		}
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("who did not confirm cannot be taken out: %w", err)
	}
	return int(n), nil
}

// addJoining writes down what somebody asks for. Asking again while it is
// unconfirmed puts the new words in the place of the old ones; every letter that
// asked since the first still counts.
func addJoining(ctx context.Context, tx execer, m Member, at time.Time) error {
	c := m.Consent
	if _, err := tx.ExecContext(ctx, `
		INSERT INTO joinings (member, name, basis, source, wording_version, wording_digest, consented_at, collected, because, purpose, refusal, asked_at, asked_last)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $12)
		ON CONFLICT (member) DO UPDATE SET name = excluded.name, basis = excluded.basis, source = excluded.source,
		    wording_version = excluded.wording_version, wording_digest = excluded.wording_digest, consented_at = excluded.consented_at,
		    collected = excluded.collected, because = excluded.because, purpose = excluded.purpose, refusal = excluded.refusal,
		    asked_last = excluded.asked_last`,
		m.ID, m.Name, string(c.Basis), c.Source, c.WordingVersion, c.WordingDigest, store.FormatTime(c.At),
		c.SoftOptIn.Collected, c.SoftOptIn.Because, c.SoftOptIn.Purpose, c.SoftOptIn.Refusal, store.FormatTime(at)); err != nil {
		return fmt.Errorf("the joining of member %s cannot be kept: %w", m.ID, err)
	}
	return nil
}

// joining reads what somebody asked for.
func joining(ctx context.Context, tx *sql.Tx, id string) (name string, c Consent, err error) {
	var at string
	err = tx.QueryRowContext(ctx, `
		SELECT name, basis, source, wording_version, wording_digest, consented_at, collected, because, purpose, refusal
		FROM joinings WHERE member = $1`, id).Scan(&name, &c.Basis, &c.Source, &c.WordingVersion, &c.WordingDigest, &at,
		&c.SoftOptIn.Collected, &c.SoftOptIn.Because, &c.SoftOptIn.Purpose, &c.SoftOptIn.Refusal)
	if err == nil {
		c.At, err = store.ParseTime(at)
	}
	if err != nil {
		return "", c, fmt.Errorf("the joining of member %s cannot be read: %w", id, err)
	}
	return name, c, nil
}

func dropJoining(ctx context.Context, tx *sql.Tx, id string) error {
	if _, err := tx.ExecContext(ctx, `DELETE FROM joinings WHERE member = $1`, id); err != nil {
		return fmt.Errorf("the joining of member %s cannot be ended: %w", id, err)
	}
	return nil
}
