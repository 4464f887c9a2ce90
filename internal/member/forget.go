package member

import (
	"context"
	"database/sql"
	"fmt"

	"example.org/opencowl/internal/store"
)

// Forget erases a person from the database: who they are, what they agreed to, and
// by the tables' own rules all else that hangs on the member. Their letters stay,
// known by a random id that now stands for nobody. Their mark stays outside the
// database and in it, so that no list and no backup brings them back.
//
// An address that nobody here has is marked all the same; known is false then. What
// the database's files still hold of the deleted rows goes with store.DB.Scrub, what
// other files hold with EraseFiles: call both.
func (r Register) Forget(ctx context.Context, address, by string) (known bool, err error) {
	kept, err := Normalise(address)
	if err != nil {
		return false, fmt.Errorf("%q: %w", address, err)
	}
	// With another key than the marks have, the new mark would stand for itself alone.
	if err := r.DB.Tx(ctx, func(tx *sql.Tx) error {
		_, err := r.Keys.guard(ctx, tx)
		return err
	}); err != nil {
		return false, err
	}
	if err := r.Keys.append(markForgotten, kept); err != nil {
		return false, err
	}
	all, err := r.Keys.read()
	if err != nil {
		return false, err
	}
	x := newest(all, forMarks)
	err = r.DB.Tx(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT id FROM members WHERE lower(address) = $1`, fold(kept))
		ids, err := store.Texts(rows, err)
		if err != nil {
			return fmt.Errorf("the members cannot be read: %w", err)
		}
		if err := keepOut(ctx, tx, x.id, x.mark(kept), markForgotten, r.DB.Now()); err != nil {
			return err
		}
		for _, id := range ids {
			known = true
			if err := erase(ctx, tx, id); err != nil {
				return err
			}
			if err := r.note(ctx, tx, by, "member-forgotten", id, nil); err != nil {
				return err
			}
		}
		return nil
	})
	return known, err
}

// erase deletes a member. Consents and joinings go with them, and so must whatever
// else says who a member is: its table refers to members (id) ON DELETE CASCADE.
func erase(ctx context.Context, tx *sql.Tx, id string) error {
	if _, err := tx.ExecContext(ctx, `DELETE FROM members WHERE id = $1`, id); err != nil {
		return fmt.Errorf("member %s cannot be erased: %w", id, err)
	}
	return nil
}
