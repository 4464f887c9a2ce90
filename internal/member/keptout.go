package member

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"example.org/opencowl/internal/store"
)

// guard is who must not be brought in by a list, as far as they are known by marks
// alone.
type guard struct {
	key key // that made the marks
	any bool
}

// guard looks whether there is anybody at all to keep out, and gets the key for them.
func (k *Keys) guard(ctx context.Context, tx *sql.Tx) (guard, error) {
	rows, err := tx.QueryContext(ctx, `SELECT DISTINCT key FROM kept_out`)
	made, err := store.Texts(rows, err)
	if err != nil {
		return guard{}, fmt.Errorf("who must be kept out cannot be read: %w", err)
	}
	if len(made) == 0 {
		return guard{}, nil
	}
	if k == nil {
		return guard{}, fmt.Errorf("%w: they are needed to know whom a list must not bring back", ErrKeys)
	}
	all, err := k.read()
	if err != nil {
		return guard{}, fmt.Errorf("it is not known whom a list must not bring back: %w", err)
	}
	x := newest(all, forMarks)
	if len(made) > 1 || made[0] != x.id {
		return guard{}, fmt.Errorf("%s: %w: people are kept out by marks of the key %s, which is not there; put the copy of it back that you keep elsewhere", k.path, ErrKeys, made)
	}
	return guard{x, true}, nil
}

// out says why somebody is kept out; empty: they are not.
func (g guard) out(ctx context.Context, tx *sql.Tx, address string) (Why, error) {
	if !g.any {
		return "", nil
	}
	var why Why
	err := tx.QueryRowContext(ctx, `SELECT why FROM kept_out WHERE mark = $1`, g.key.mark(address)).Scan(&why)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("who must be kept out cannot be read: %w", err)
	}
	return why, nil
}

func (r Register) keptOut(ctx context.Context, tx *sql.Tx, address string) (bool, error) {
	g, err := r.Keys.guard(ctx, tx)
	if err != nil {
		return false, err
	}
	why, err := g.out(ctx, tx, address)
	return why != "", err
}

// letIn ends that somebody is kept out, since they joined by themselves.
func (r Register) letIn(ctx context.Context, tx *sql.Tx, address string) error {
	g, err := r.Keys.guard(ctx, tx)
	if err != nil || !g.any {
		return err
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM kept_out WHERE mark = $1`, g.key.mark(address)); err != nil {
		return fmt.Errorf("somebody who joined cannot be let in: %w", err)
	}
	return nil
}

// keepOut has no list bring in whoever a mark is of.
func keepOut(ctx context.Context, tx *sql.Tx, keyID, mark string, why Why, at time.Time) error {
	if _, err := tx.ExecContext(ctx, `
		INSERT INTO kept_out (mark, key, why, at) VALUES ($1, $2, $3, $4)
		ON CONFLICT (mark) DO UPDATE SET why = excluded.why`, mark, keyID, string(why), store.FormatTime(at)); err != nil {
		return fmt.Errorf("a mark cannot be kept: %w", err)
	}
	return nil
}

// Replay has everybody leave, or be forgotten, who has done so according to the marks
// outside the database. A database that was brought back from a backup is to be
// taken through it before anything is sent. It returns how many left anew and how
// many were erased anew. After it Scrub is to be called, if anybody was erased.
func (r Register) Replay(ctx context.Context) (left, erased int, err error) {
	marks, x, err := r.Keys.marks()
	if err != nil || len(marks) == 0 {
		return 0, 0, err
	}
	err = r.DB.Tx(ctx, func(tx *sql.Tx) error {
		left, erased = 0, 0
		members, err := ListTx(ctx, tx)
		if err != nil {
			return err
		}
		for _, m := range members {
			own := x.mark(m.Address)
			last := marks[own]
			if last.why == markForgotten {
				if err := erase(ctx, tx, m.ID); err != nil {
					return err
				}
				erased++
				continue
			}
			if last.why == markLeft && (m.State != Left || !m.AskedAt.IsZero()) {
				if err := setState(ctx, tx, m.ID, Left, last.at); err != nil {
					return err
				}
				left++
			}
			delete(marks, own) // they are here to be seen as having left
		}
		for own, last := range marks {
			if last.why == markBack {
				continue
			}
			if err := keepOut(ctx, tx, x.id, own, last.why, last.at); err != nil {
				return err
			}
		}
		if left+erased == 0 {
			return nil
		}
		_, err = r.DB.AppendTx(ctx, tx, store.Entry{Kind: "members-replayed", Unit: "members", Detail: map[string]int{"left": left, "forgotten": erased}})
		return err
	})
	if err != nil {
		return 0, 0, fmt.Errorf("the marks of people who left cannot be followed: %w", err)
	}
	return left, erased, nil
}
