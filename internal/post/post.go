// Package post hands a frozen edition to a mail server, one letter a member,
// and remembers what became of each.
//
// It promises that no letter is handed over twice by itself, and none is lost:
// each has a row that goes
//
//	waiting → leased → closing → sent | refused | skipped | unsure
//
// with one commit a step. The whole letter is written to the server, closing is
// committed, the final dot is sent, and sent is committed. So a crash before
// closing means that the server cannot have delivered, and the letter waits
// again; a crash after it leaves the letter unsure, for a person to settle.
//
// It must not know what a letter says or where its words are from.
package post

import (
	"context"
	"crypto/x509"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/post/dkim"
	"example.org/opencowl/internal/store"
)

var (
	// ErrNobody is returned when an edition has nobody to go to.
	ErrNobody = errors.New("nobody may be written to: no member has joined, agreed and is giving on the letters' date")
	// ErrNotFrozen is returned for a job that is not the frozen edition.
	ErrNotFrozen = errors.New("these are not the frozen bytes")
	// ErrNotUnsure is returned when a letter to settle is not unsure.
	ErrNotUnsure = errors.New("this letter is not unsure")
)

// Options says how to send.
type Options struct {
	SMTP      string         // smtp://host:port or smtps://host:port; this machine alone
	Sessions  int            // connections at once; 0: 1
	PerMinute int            // letters in any minute; 0: as fast as the server takes them
	User      string         // to sign in as at the mail server, over TLS alone; empty: nobody signs in
	Password  string         // of User
	Roots     *x509.CertPool // whose certificates the mail server may have; nil: the system's
	Keys      []dkim.Key     // sign each letter; none: it goes unsigned
	By        string         // who sends, for the ledger
	Unit      string         // what the ledger calls it; empty: "edition/WEEK"
	Wait      bool           // stay until letters that a server put off have had their turn
	Gate      Gate           // asked about every letter before a byte of it goes out; nil: none is
	Progress  func(Progress) // called after each letter, one call at a time; may be nil
	Held      func(int)      // called before a wait, up to a minute, for so many letters that another run has in hand; may be nil

	Now    func() time.Time // nil: the system's clock
	Random func() float64   // from 0 up to 1, to spread retries; nil: the system's

	limits limits // zero: those of RFC 5321
}

// Gate looks through a finished letter and returns an error if it must not leave.
// Own are the values that this letter alone may tell: its member's name,
// address and links. Several goroutines may ask at once.
type Gate func(letter []byte, own ...string) error

// gate asks about a letter.
func (o Options) gate(w written) error {
	if o.Gate == nil {
		return nil
	}
	return o.Gate(w.letter, w.own...)
}

// checkKeys refuses keys whose signatures would not speak for the sender.
func (o Options) checkKeys(from sender) error {
	for _, k := range o.Keys {
		if !k.Covers(from.domain) {
			return badLetter("it would be signed for %s and is from %s, so receivers would not count the signature; write domain: %s under post.dkim", k.Domain, from.domain, from.domain)
		}
	}
	return nil
}

// sign signs a letter, once the gate has let it through: what a signature adds says
// nothing about anybody.
func (o Options) sign(letter []byte) ([]byte, error) {
	if len(o.Keys) == 0 {
		return letter, nil
	}
	return dkim.Sign(letter, o.Keys...)
}

// Progress counts the letters of an edition so far, earlier runs included.
type Progress struct{ Sent, Refused, Skipped, Unsure, Total int }

// Letter is what is known of one letter. The member is known by id alone.
type Letter struct {
	Member string
	At     time.Time // of the last change
	Reply  string    // the server's codes, "550 5.1.1", or why it was skipped
}

// Report is how an edition stands.
type Report struct {
	Week  string
	State string // of the edition

	Waiting, Leased, Closing, Sent, Refused, Skipped, Unsure, Total int

	UnsureLetters  []Letter
	RefusedLetters []Letter

	Stopped bool      // a person has to look before it goes on
	Why     string    // why it is stopped, or why it does not go on now
	NextTry time.Time // when a letter that waits may be tried again; zero: now, or none waits
}

// Audience says whom an edition would go to.
type Audience struct {
	Week    string
	Begun   bool   // posting has begun, so whom it goes to is settled
	Letters int    // to be posted now
	Since   string // the edition that was sent last; empty: none
	Joined  int    // get this one and did not get that
	Left    int    // got that and do not get this one
}

// String says it for a sentence: "60 members; 2 joined and 1 left since 2031-W06".
func (a Audience) String() string {
	people := fmt.Sprintf("%d members", a.Letters)
	if a.Letters == 1 {
		people = "1 member"
	}
	switch {
	case a.Begun && a.Letters == 0:
		return "nobody more: none of its letters waits to be sent"
	case a.Begun:
		return people + " whose letters still wait"
	case a.Since == "":
		return people + "; it is the first that is posted from here"
	}
	return fmt.Sprintf("%s; %d joined and %d left since %s", people, a.Joined, a.Left, a.Since)
}

// Prepare says whom an edition would go to if it were posted on a day, frozen or
// not yet, and what changed since the edition before.
func Prepare(ctx context.Context, db *store.DB, week string, on day.Date) (Audience, error) {
	a := Audience{Week: week}
	err := db.Tx(ctx, func(tx *sql.Tx) error {
		var rows int
		if err := tx.QueryRowContext(ctx,
			`SELECT COUNT(*), COALESCE(SUM(CASE WHEN state = 'waiting' THEN 1 ELSE 0 END), 0) FROM deliveries WHERE week = $1`,
			week).Scan(&rows, &a.Letters); err != nil {
			return err
		}
		if rows > 0 {
			a.Begun = true
			return nil
		}
		to, err := audience(ctx, tx, on)
		if err != nil {
			return err
		}
		a.Letters = len(to)
		return a.compare(ctx, tx, to)
	})
	if err != nil {
		return a, fmt.Errorf("the audience of edition %s cannot be found: %w", week, err)
	}
	return a, nil
}

// compare counts who came and who went since the edition that was last posted
// from here; one sent some other way says nothing about who got it.
func (a *Audience) compare(ctx context.Context, tx *sql.Tx, to []string) error {
	err := tx.QueryRowContext(ctx,
		`SELECT week FROM editions WHERE sent_at <> '' AND week <> $1
		   AND week IN (SELECT week FROM deliveries WHERE state IN ('sent', 'unsure')) ORDER BY sent_at DESC, week DESC LIMIT 1`, a.Week).Scan(&a.Since)
	if errors.Is(err, sql.ErrNoRows) {
		a.Joined = len(to)
		return nil
	}
	if err != nil {
		return err
	}
	got, err := store.Texts(tx.QueryContext(ctx,
		`SELECT member FROM deliveries WHERE week = $1 AND state IN ('sent', 'unsure') ORDER BY member`, a.Since))
	if err != nil {
		return err
	}
	a.Joined, a.Left = without(to, got), without(got, to)
	return nil
}

// without counts what is in a and not in b; both are sorted.
func without(a, b []string) (n int) {
	for _, s := range a {
		if _, found := slices.BinarySearch(b, s); !found {
			n++
		}
	}
	return n
}

// audience returns the ids of the members who may be written to on a day, sorted.
func audience(ctx context.Context, tx *sql.Tx, on day.Date) ([]string, error) {
	members, err := member.ListTx(ctx, tx)
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, m := range members {
		if ok, _ := m.MayReceive(on); ok {
			ids = append(ids, m.ID)
		}
	}
	return ids, nil
}

// Status says how an edition stands.
func Status(ctx context.Context, db *store.DB, week string) (Report, error) {
	e, err := db.Edition(ctx, week)
	if err != nil {
		return Report{}, err
	}
	r := Report{Week: week, State: e.State, Stopped: e.State == store.Stopped, Why: e.Why}
	rows, err := db.Read(ctx, `SELECT member, state, at, reply, not_before FROM deliveries WHERE week = $1 ORDER BY at, member`, week)
	if err != nil {
		return r, fmt.Errorf("the letters of edition %s cannot be read: %w", week, err)
	}
	defer rows.Close()
	var first int64 = -1 // the earliest not_before of a letter that waits
	for rows.Next() {
		var l Letter
		var state, at string
		var notBefore int64
		if err := rows.Scan(&l.Member, &state, &at, &l.Reply, &notBefore); err != nil {
			return r, fmt.Errorf("the letters of edition %s cannot be read: %w", week, err)
		}
		if l.At, err = store.ParseTime(at); err != nil {
			return r, err
		}
		r.count(state, l)
		if state == waiting && (first < 0 || notBefore < first) {
			first = notBefore
		}
	}
	if first > 0 {
		r.NextTry = time.UnixMilli(first).UTC()
	}
	return r, rows.Err()
}

func (r *Report) count(state string, l Letter) {
	r.Total++
	switch state {
	case waiting:
		r.Waiting++
	case leased:
		r.Leased++
	case closing:
		r.Closing++
	case sent:
		r.Sent++
	case skipped:
		r.Skipped++
	case refused:
		r.Refused++
		r.RefusedLetters = append(r.RefusedLetters, l)
	case unsure:
		r.Unsure++
		r.UnsureLetters = append(r.UnsureLetters, l)
	}
}

// open counts the letters whose outcome is not known yet.
func (r Report) open() int { return r.Waiting + r.Leased + r.Closing }

// Send posts an edition, or picks up where it stopped. At the first call it
// settles whom the edition goes to. It returns when every letter has an outcome,
// when the rest has to wait (NextTry), or when a person has to look (Stopped).
// Cancelling ctx finishes the letters in hand and stops the edition; that is
// not an error.
func Send(ctx context.Context, db *store.DB, job Job, opt Options) (Report, error) {
	from, err := job.check()
	if err != nil {
		return Report{}, err
	}
	if err := opt.checkKeys(from); err != nil {
		return Report{}, err
	}
	to, err := findServer(ctx, opt)
	if err != nil {
		return Report{}, err
	}
	digest, err := sameBytes(ctx, db, job)
	if err != nil {
		return Report{}, err
	}
	key, err := db.Secret(ctx, "letters")
	if err != nil {
		return Report{}, err
	}
	// What is wrong with every letter is told before anybody is blamed for it.
	trial, err := from.compose(job, member.Member{ID: nobody, Address: from.returns}, key)
	if err != nil {
		return Report{}, err
	}
	if err := opt.gate(trial); err != nil {
		return Report{}, err
	}
	if _, err := opt.sign(trial.letter); err != nil {
		return Report{}, err
	}
	id, err := db.NewID()
	if err != nil {
		return Report{}, err
	}
	r := &run{queue: queue{db: db, week: job.Week, id: id, date: job.Date, now: opt.Now, random: opt.Random},
		job: job, from: from, to: to, key: key, opt: opt, digest: digest, pace: newPace(opt.PerMinute)}
	r.usual()
	return r.send(ctx)
}

// usual puts the usual values where the options have none.
func (r *run) usual() {
	if r.queue.now == nil {
		r.queue.now = time.Now
	}
	if r.queue.random == nil {
		r.queue.random = rand.Float64
	}
	if r.opt.Progress == nil {
		r.opt.Progress = func(Progress) {}
	}
	if r.opt.Held == nil {
		r.opt.Held = func(int) {}
	}
	if r.opt.Unit == "" {
		r.opt.Unit = "edition/" + r.job.Week
	}
	if r.opt.limits == (limits{}) {
		r.opt.limits = usualLimits()
	}
	r.opt.Sessions = max(r.opt.Sessions, 1)
}

// sameBytes holds the job to the frozen edition, so that every letter of an
// edition says the same, whoever sends it and whenever. It returns the edition's
// digest.
func sameBytes(ctx context.Context, db *store.DB, job Job) (digest string, err error) {
	e, err := db.Edition(ctx, job.Week)
	if err != nil {
		return "", err
	}
	same := e.Subject == job.Subject && string(e.HTML) == string(job.HTML) && string(e.Text) == string(job.Text) &&
		slices.EqualFunc(e.Pictures, job.Pictures, func(a, b store.Picture) bool {
			return a.ContentID == b.ContentID && a.Name == b.Name && string(a.JPEG) == string(b.JPEG)
		})
	if !same {
		return "", fmt.Errorf("edition %s: %w; read it from the database again", job.Week, ErrNotFrozen)
	}
	return e.Digest, nil
}

// Stop asks every run that posts an edition to stop after the letters in hand.
func Stop(ctx context.Context, db *store.DB, week, by string) error {
	return db.Tx(ctx, func(tx *sql.Tx) error {
		return db.SetEditionStateTx(ctx, tx, week, store.Stopped, "stopped by "+by, db.Now())
	})
}

// Settle says what became of an unsure letter, when the server's log, a return
// or the member has told: it went out, or it waits to be posted again.
func Settle(ctx context.Context, db *store.DB, week, memberID string, wentOut bool, by string) error {
	to := waiting
	if wentOut {
		to = sent
	}
	return db.Tx(ctx, func(tx *sql.Tx) error {
		n, err := affected(tx.ExecContext(ctx,
			`UPDATE deliveries SET state = $3, at = $4, attempts = 0, not_before = 0 WHERE week = $1 AND member = $2 AND state = 'unsure'`,
			week, memberID, to, store.FormatTime(db.Now())))
		if err != nil {
			return fmt.Errorf("the letter of member %s cannot be settled: %w", memberID, err)
		}
		if n == 0 {
			return fmt.Errorf("member %s, edition %s: %w", memberID, week, ErrNotUnsure)
		}
		_, err = db.AppendTx(ctx, tx, store.Entry{Who: by, Kind: "settled", Unit: "edition/" + week,
			Detail: map[string]string{"member": memberID, "to": to}})
		return err
	})
}

// SendProof posts an edition to one address, with PROOF before its subject. It
// leaves no delivery and asks for no member.
func SendProof(ctx context.Context, job Job, address string, opt Options) error {
	job.Subject = "PROOF: " + job.Subject
	from, err := job.check()
	if err != nil {
		return err
	}
	if err := opt.checkKeys(from); err != nil {
		return err
	}
	to, err := findServer(ctx, opt)
	if err != nil {
		return err
	}
	// A proof guards nothing, so that it needs no secret: its name has to differ
	// from the members' letters and from other proofs.
	w, err := from.compose(job, member.Member{ID: nobody, Address: address},
		append([]byte("proof to "+address+" at "+job.Date.Format(time.RFC3339Nano)), job.HTML...))
	if err != nil {
		return err
	}
	if address, err = member.Normalise(address); err != nil {
		return err
	}
	if err := opt.gate(w); err != nil {
		return err
	}
	letter, err := opt.sign(w.letter)
	if err != nil {
		return err
	}
	l := opt.limits
	if l == (limits{}) {
		l = usualLimits()
	}
	s, f := dial(ctx, to, from.domain, l)
	if f != nil {
		return fmt.Errorf("the proof was not sent: %s", f)
	}
	defer s.drop()
	if f = s.offer(w.envelope, address, letter); f == nil {
		f = s.dot()
	}
	if f != nil {
		return fmt.Errorf("the proof was not sent: %s", f)
	}
	s.quit()
	return nil
}

// pace keeps to a number of letters in any minute.
type pace struct {
	mu   sync.Mutex
	last []time.Time // when the last letters went, a ring; empty: no limit
	next int
}

func newPace(perMinute int) *pace { return &pace{last: make([]time.Time, max(perMinute, 0))} }

// wait returns when another letter may go, or with ctx's error.
func (p *pace) wait(ctx context.Context) error {
	if len(p.last) == 0 {
		return ctx.Err()
	}
	p.mu.Lock()
	now := time.Now()
	at := now
	if free := p.last[p.next].Add(time.Minute); !p.last[p.next].IsZero() && free.After(at) {
		at = free
	}
	p.last[p.next] = at
	p.next = (p.next + 1) % len(p.last)
	p.mu.Unlock()
	return sleep(ctx, at.Sub(now))
}

// sleep waits for a while, or returns ctx's error.
func sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
