package post

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/store"
)

// The states of a letter.
const (
	waiting = "waiting"
	leased  = "leased"  // a run has it in hand, and no server can have delivered it
	closing = "closing" // the final dot is on its way: it may or may not be delivered
	sent    = "sent"
	refused = "refused"
	skipped = "skipped"
	unsure  = "unsure"
)

const (
	// lease is how long a run keeps its letters after it last said that it is
	// alive. A run that has crashed gives them up after that.
	lease = time.Minute
	// putOff is the first wait after a 4xx (RFC 5321 4.5.4.1: at least 30 minutes).
	putOff = 30 * time.Minute
	// longestPutOff is the longest wait between two tries.
	longestPutOff = 4 * time.Hour
	// giveUp is when a letter that is always put off counts as refused. RFC 5321
	// 4.5.4.1 has 4 to 5 days for a relay; a weekly letter is stale before.
	giveUp = 72 * time.Hour
	// faultsBeforePutOff is how often a letter at which the connection breaks is
	// tried at once before it is put off like one with a 4xx.
	faultsBeforePutOff = 3
)

// errLost is returned when another run may have taken a letter over.
var errLost = errors.New("this run did not keep its lease, so it may not go on with the letter")

// queue is the deliveries of one edition as one run sees them.
type queue struct {
	db     *store.DB
	week   string
	id     string    // of the run
	date   time.Time // of the letters
	now    func() time.Time
	random func() float64
}

// letter is a row that this run has leased.
type letter struct {
	to          member.Member
	attempts    int
	firstPutOff int64  // ms; 0: never put off
	skip        string // why it was skipped; empty: it was leased
}

func (q *queue) ms() int64 { return q.now().UnixMilli() }

func affected(result sql.Result, err error) (int64, error) {
	if err != nil {
		return 0, err
	}
	return result.RowsAffected()
}

// begin makes the rows at the first post, moves the edition to sending, and
// takes the run's lease. It returns false when there is nothing left to send.
func (q *queue) begin(ctx context.Context) (work bool, err error) {
	err = q.db.Tx(ctx, func(tx *sql.Tx) error {
		var state string
		if err := tx.QueryRowContext(ctx, `SELECT state FROM editions WHERE week = $1`, q.week).Scan(&state); err != nil {
			return err
		}
		if state == store.Frozen {
			if err := q.makeRows(ctx, tx); err != nil {
				return err
			}
		}
		var open int
		if err := tx.QueryRowContext(ctx,
			`SELECT COUNT(*) FROM deliveries WHERE week = $1 AND state IN ('waiting', 'leased', 'closing')`, q.week).Scan(&open); err != nil {
			return err
		}
		// A run that crashed after its last letter leaves an edition without open
		// letters that is not sent yet.
		if open == 0 && state == store.Sent {
			return nil
		}
		work = true
		if err := q.db.SetEditionStateTx(ctx, tx, q.week, store.Sending, "", q.now()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO post_runs (id, until) VALUES ($1, $2)`, q.id, q.ms()+lease.Milliseconds())
		return err
	})
	if err != nil {
		return false, fmt.Errorf("posting edition %s cannot begin: %w", q.week, err)
	}
	return work, nil
}

// makeRows makes a row for everybody the edition goes to. It is done once: who
// joins later begins with the next edition.
func (q *queue) makeRows(ctx context.Context, tx *sql.Tx) error {
	ids, err := audience(ctx, tx, day.Of(q.date))
	if err != nil {
		return err
	}
	if len(ids) == 0 {
		return ErrNobody
	}
	for _, id := range ids {
		if _, err := tx.ExecContext(ctx, `INSERT INTO deliveries (week, member, state, at) VALUES ($1, $2, 'waiting', $3)`,
			q.week, id, store.FormatTime(q.now())); err != nil {
			return err
		}
	}
	return nil
}

// renew says that the run is alive.
func (q *queue) renew(ctx context.Context) error {
	return q.db.Tx(ctx, func(tx *sql.Tx) error {
		n, err := affected(tx.ExecContext(ctx, `UPDATE post_runs SET until = $2 WHERE id = $1 AND until > $3`,
			q.id, q.ms()+lease.Milliseconds(), q.ms()))
		if err == nil && n == 0 {
			err = errLost
		}
		return err
	})
}

// reclaim takes the letters of runs that are no longer alive: leased ones wait
// again, closing ones are unsure.
func (q *queue) reclaim(ctx context.Context) error {
	now := q.ms()
	return q.db.Tx(ctx, func(tx *sql.Tx) error {
		// A lease that ends later than a new one would is from a clock that was wrong.
		if _, err := tx.ExecContext(ctx, `DELETE FROM post_runs WHERE until <= $1 OR until > $2`,
			now, now+lease.Milliseconds()); err != nil {
			return err
		}
		for from, to := range map[string]string{closing: unsure, leased: waiting} {
			if _, err := tx.ExecContext(ctx,
				`UPDATE deliveries SET state = $3, at = $4 WHERE week = $1 AND state = $2 AND run NOT IN (SELECT id FROM post_runs)`,
				q.week, from, to, store.FormatTime(q.now())); err != nil {
				return err
			}
		}
		return nil
	})
}

// due says whether a letter may be taken up now.
func (q *queue) due(ctx context.Context) (bool, error) {
	found, err := store.Texts(q.db.Read(ctx, `SELECT member FROM deliveries WHERE week = $1 AND state = 'waiting' AND not_before <= $2 LIMIT 1`, q.week, q.ms()))
	return len(found) > 0, err
}

// take leases the next letter that is due. The member is looked at again in the
// same transaction: someone who left since is skipped. It returns nil when
// nothing is due or the edition is to stop.
func (q *queue) take(ctx context.Context) (*letter, error) {
	var l *letter
	err := q.db.Tx(ctx, func(tx *sql.Tx) error {
		var id string
		next := &letter{}
		err := tx.QueryRowContext(ctx, `
			WITH c AS MATERIALIZED (
			  SELECT week, member FROM deliveries
			  WHERE week = $1 AND state = 'waiting' AND not_before <= $2
			    AND EXISTS (SELECT 1 FROM editions WHERE editions.week = $1 AND editions.state = 'sending')
			    AND EXISTS (SELECT 1 FROM post_runs WHERE id = $3 AND until > $2)
			  ORDER BY attempts, not_before, member LIMIT 1)
			UPDATE deliveries SET state = 'leased', run = $3, attempts = attempts + 1, at = $4
			FROM c WHERE deliveries.week = c.week AND deliveries.member = c.member
			RETURNING deliveries.member, deliveries.attempts, deliveries.first_put_off`,
			q.week, q.ms(), q.id, store.FormatTime(q.now())).Scan(&id, &next.attempts, &next.firstPutOff)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := next.look(ctx, tx, id, day.Of(q.date)); err != nil {
			return err
		}
		if next.skip != "" {
			if _, err := tx.ExecContext(ctx, `UPDATE deliveries SET state = 'skipped', reply = $3 WHERE week = $1 AND member = $2`,
				q.week, id, next.skip); err != nil {
				return err
			}
		}
		l = next
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("the next letter cannot be taken up: %w", err)
	}
	return l, nil
}

// look reads the member and says whether to skip the letter.
func (l *letter) look(ctx context.Context, tx *sql.Tx, id string, on day.Date) error {
	m, err := member.GetTx(ctx, tx, id)
	if errors.Is(err, member.ErrNotFound) {
		l.to.ID, l.skip = id, "gone"
		return nil
	}
	if err != nil {
		return err
	}
	l.to = m
	if ok, why := m.MayReceive(on); !ok {
		l.skip = why
	}
	return nil
}

// close commits that the final dot is about to be sent.
func (q *queue) close(ctx context.Context, l *letter) error {
	return q.db.Tx(ctx, func(tx *sql.Tx) error {
		n, err := affected(tx.ExecContext(ctx, `
			UPDATE deliveries SET state = 'closing', at = $4
			WHERE week = $1 AND member = $2 AND state = 'leased' AND run = $3
			  AND EXISTS (SELECT 1 FROM post_runs WHERE id = $3 AND until > $5)`,
			q.week, l.to.ID, q.id, store.FormatTime(q.now()), q.ms()))
		if err == nil && n == 0 {
			err = errLost
		}
		return err
	})
}

// end commits what became of a letter. A letter that another run has called
// unsure meanwhile is still ours to tell: we were there.
func (q *queue) end(ctx context.Context, l *letter, state, reply string) error {
	return q.set(ctx, l, state, reply, 0, l.firstPutOff)
}

// again has a letter wait for another try at once.
func (q *queue) again(ctx context.Context, l *letter) error {
	return q.set(ctx, l, waiting, "", 0, l.firstPutOff)
}

// later has a letter wait for half an hour or more, or gives it up. It returns
// the state that it has now.
func (q *queue) later(ctx context.Context, l *letter, reply string) (state string, err error) {
	now := q.ms()
	first := l.firstPutOff
	if first == 0 {
		first = now
	}
	if now-first >= giveUp.Milliseconds() {
		return refused, q.set(ctx, l, refused, reply, 0, first)
	}
	return waiting, q.set(ctx, l, waiting, reply, now+q.backOff(l.attempts).Milliseconds(), first)
}

// backOff is how long to wait after a number of tries: from half an hour,
// doubling, and up to a fifth longer so that letters do not all come back at once.
func (q *queue) backOff(attempts int) time.Duration {
	d := putOff
	for range attempts - 1 {
		d = min(2*d, longestPutOff)
	}
	return d + time.Duration(q.random()*float64(d)/5)
}

func (q *queue) set(ctx context.Context, l *letter, state, reply string, notBefore, firstPutOff int64) error {
	err := q.db.Tx(ctx, func(tx *sql.Tx) error {
		n, err := affected(tx.ExecContext(ctx, `
			UPDATE deliveries SET state = $4, reply = $5, not_before = $6, first_put_off = $7, at = $8
			WHERE week = $1 AND member = $2 AND run = $3 AND state IN ('leased', 'closing', 'unsure')`,
			q.week, l.to.ID, q.id, state, reply, notBefore, firstPutOff, store.FormatTime(q.now())))
		if err == nil && n == 0 && state != waiting {
			err = errLost
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("what became of the letter to member %s (%s) cannot be kept: %w", l.to.ID, state, err)
	}
	return nil
}

// held returns until when letters are in the hands of other runs that are
// alive; zero when there are none.
func (q *queue) held(ctx context.Context) (time.Time, error) {
	rows, err := q.db.Read(ctx, `
		SELECT COALESCE(MAX(until), 0) FROM post_runs
		WHERE id <> $2 AND id IN (SELECT run FROM deliveries WHERE week = $1 AND state IN ('leased', 'closing'))`, q.week, q.id)
	if err != nil {
		return time.Time{}, err
	}
	defer rows.Close()
	var until int64
	for rows.Next() {
		if err := rows.Scan(&until); err != nil {
			return time.Time{}, err
		}
	}
	if until == 0 {
		return time.Time{}, rows.Err()
	}
	return time.UnixMilli(until), rows.Err()
}

// finish gives up the run's lease and moves the edition to the state that its
// letters are in.
func (q *queue) finish(ctx context.Context, why string, entry store.Entry) error {
	err := q.db.Tx(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM post_runs WHERE id = $1`, q.id); err != nil {
			return err
		}
		var state string
		if err := tx.QueryRowContext(ctx, `SELECT state FROM editions WHERE week = $1`, q.week).Scan(&state); err != nil {
			return err
		}
		counts, err := q.counts(ctx, tx)
		if err != nil {
			return err
		}
		open := counts[waiting] + counts[leased] + counts[closing]
		switch {
		case state == store.Sent:
			return nil // another run was the last
		case open == 0:
			entry.Detail = counts
			return q.db.SetEditionStateTx(ctx, tx, q.week, store.Sent, "", q.date, entry)
		case why != "":
			return q.db.SetEditionStateTx(ctx, tx, q.week, store.Stopped, why, q.now())
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("how edition %s stands cannot be kept: %w", q.week, err)
	}
	return nil
}

func (q *queue) counts(ctx context.Context, tx *sql.Tx) (map[string]int, error) {
	rows, err := tx.QueryContext(ctx, `SELECT state, COUNT(*) FROM deliveries WHERE week = $1 GROUP BY state`, q.week)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	counts := map[string]int{}
	for rows.Next() {
		var state string
		var n int
		if err := rows.Scan(&state, &n); err != nil {
			return nil, err
		}
		counts[state] = n
	}
	return counts, rows.Err()
}
