package post

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"example.org/opencowl/internal/store"
)

const (
	// faultsInARow and refusalsInARow end a run: by then it is not about one
	// letter, and going on would blame everybody.
	faultsInARow   = 3
	refusalsInARow = 10
)

// run is one call of Send.
type run struct {
	queue
	job    Job
	from   sender
	to     server
	key    []byte
	opt    Options
	digest string // of the edition, for the ledger
	pace   *pace

	mu       sync.Mutex
	progress Progress
	faults   int       // without a reply, since a letter went well
	refusals int       // since a letter went well
	why      string    // why the run is to stop; empty: it is not
	slow     time.Time // a server asked for less; until then no session is opened
	err      error     // the database failed
}

// send works until there is nothing to do now.
func (r *run) send(ctx context.Context) (Report, error) {
	work, err := r.begin(ctx)
	if err != nil {
		return Report{}, err
	}
	if !work {
		return Status(ctx, r.db, r.week)
	}
	// What has begun is brought to its end whatever becomes of ctx.
	lasting := context.WithoutCancel(ctx)
	alive := r.stayAlive(lasting)
	err = r.rounds(ctx, lasting)
	alive()
	if ctx.Err() != nil && r.why == "" {
		r.why = "stopped while sending; post it again to go on"
	}
	finished := r.finish(lasting, r.why, store.Entry{Who: r.opt.By, Kind: "sent", Unit: r.opt.Unit, Digest: r.digest})
	report, read := Status(lasting, r.db, r.week)
	if report.Waiting > 0 && report.Why == "" && !r.slow.IsZero() {
		report.Why = "the mail server asked to be given time"
		if r.slow.After(report.NextTry) {
			report.NextTry = r.slow
		}
	}
	if report.Waiting > 0 && report.Why == "" {
		report.Why = waitWords(report.Waiting)
	}
	return report, errors.Join(err, finished, read)
}

func waitWords(letters int) string {
	if letters == 1 {
		return "1 letter waits for another try"
	}
	return fmt.Sprintf("%d letters wait for another try", letters)
}

// stayAlive renews the run's lease until the function it returns is called.
func (r *run) stayAlive(ctx context.Context) (end func()) {
	ctx, cancel := context.WithCancel(ctx)
	var beat sync.WaitGroup
	beat.Go(func() {
		for sleep(ctx, lease/3) == nil {
			if err := r.renew(ctx); err != nil && ctx.Err() == nil {
				r.fail(err)
				return
			}
		}
	})
	return func() { cancel(); beat.Wait() }
}

// rounds sends what is due, and waits for what will be as far as it should.
func (r *run) rounds(ctx, lasting context.Context) error {
	for waited := false; ; { // for another run, which may have crashed
		if err := r.reclaim(lasting); err != nil {
			return err
		}
		if err := r.recount(lasting); err != nil {
			return err
		}
		r.round(ctx, lasting)
		if err := r.failed(); err != nil || r.why != "" || ctx.Err() != nil {
			return err
		}
		report, err := Status(lasting, r.db, r.week)
		if err != nil || report.State != store.Sending || report.open() == 0 {
			return err
		}
		switch {
		case report.Waiting < report.open() && (r.opt.Wait || !waited):
			waited = true
			r.opt.Held(report.open() - report.Waiting)
			err = r.waitForOthers(ctx)
		case r.opt.Wait:
			err = sleep(ctx, latest(report.NextTry, r.slow).Sub(r.now()))
			r.slow = time.Time{}
		default:
			return nil
		}
		if err != nil && ctx.Err() == nil {
			return err
		}
	}
}

// waitForOthers returns when no other run has a letter in hand, or when one that
// has crashed would have lost its lease.
func (r *run) waitForOthers(ctx context.Context) error {
	const look = time.Second
	for range int(lease/look) + 1 {
		held, err := r.held(ctx)
		if err != nil || held.Before(r.now()) {
			return err
		}
		if err := sleep(ctx, min(look, held.Sub(r.now())+time.Millisecond)); err != nil {
			return err
		}
	}
	return nil
}

func latest(times ...time.Time) (last time.Time) {
	for _, t := range times {
		if t.After(last) {
			last = t
		}
	}
	return last
}

// recount takes the progress from the database.
func (r *run) recount(ctx context.Context) error {
	report, err := Status(ctx, r.db, r.week)
	if err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.progress = Progress{Sent: report.Sent, Refused: report.Refused, Skipped: report.Skipped, Unsure: report.Unsure, Total: report.Total}
	return nil
}

// round runs the sessions until nothing is due.
func (r *run) round(ctx, lasting context.Context) {
	var sessions sync.WaitGroup
	for range r.opt.Sessions {
		sessions.Go(func() { r.session(ctx, lasting) })
	}
	sessions.Wait()
}

// session keeps one connection at work.
func (r *run) session(ctx, lasting context.Context) {
	var s *session
	defer func() {
		if s != nil {
			s.quit()
		}
	}()
	for ctx.Err() == nil && r.goesOn() {
		if s == nil {
			if due, err := r.due(lasting); err != nil || !due {
				r.fail(err)
				return
			}
			if s = r.connect(ctx); s == nil {
				continue
			}
		}
		if r.pace.wait(ctx) != nil {
			return
		}
		l, err := r.take(lasting)
		if err != nil {
			r.fail(err)
			return
		}
		if l == nil {
			return
		}
		if l.skip != "" {
			r.tell(skipped)
			continue
		}
		keep, err := r.deliver(lasting, s, l)
		if err != nil {
			r.fail(err)
		}
		if !keep {
			s.drop()
			s = nil
		}
	}
}

// goesOn is false once the run is to stop or a server asked for time.
func (r *run) goesOn() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.why == "" && r.err == nil && r.slow.IsZero()
}

func (r *run) failed() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.err
}

func (r *run) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.err = errors.Join(r.err, err)
}

// stop ends the run after the letters in hand, for a person to look.
func (r *run) stop(why string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.why == "" {
		r.why = why
	}
}

// slowDown ends the run's sessions after the letters in hand, for a while.
func (r *run) slowDown() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.slow = r.now().Add(r.backOff(1))
}

// connect opens a session, or returns nil and sees to it that the run does not
// try for ever.
func (r *run) connect(ctx context.Context) *session {
	s, f := dial(ctx, r.to, r.from.domain, r.opt.limits)
	switch {
	case f == nil:
		return s
	case ctx.Err() != nil:
	case f.code >= 500:
		r.stop(fmt.Sprintf("%s; no member is to blame: see to the mail server or to post in workshop.yaml, and post again", f))
	case f.code >= 400:
		r.slowDown()
	default:
		r.faulty(f)
	}
	return nil
}

// faulty counts faults without a reply, and stops the run at the third in a row.
func (r *run) faulty(f *fault) {
	r.mu.Lock()
	r.faults++
	many := r.faults >= faultsInARow
	r.mu.Unlock()
	if many {
		r.stop(fmt.Sprintf("%s (%d times in a row); see to it and post again", f, faultsInARow))
	}
}

// deliver hands over one letter and commits what became of it. It returns
// whether the session is fit for another.
func (r *run) deliver(ctx context.Context, s *session, l *letter) (keep bool, err error) {
	w, err := r.from.compose(r.job, l.to, r.key)
	if errors.Is(err, ErrLetter) {
		return true, r.settle(ctx, l, refused, "cannot be written: see the member's name and address")
	}
	if err != nil {
		return true, err
	}
	if r.opt.gate(w) != nil {
		r.stop("the last gate found something private in a letter's own lines; nothing of that letter went out")
		return false, r.again(ctx, l)
	}
	wire, err := r.opt.sign(w.letter)
	if err != nil {
		return true, err
	}
	if f := s.offer(w.envelope, l.to.Address, wire); f != nil {
		return r.beforeDot(ctx, s, l, f)
	}
	if err := r.close(ctx, l); err != nil {
		return false, err // the session is dropped without the dot
	}
	if f := s.dot(); f != nil {
		return false, r.atDot(ctx, l, f)
	}
	return true, r.settle(ctx, l, sent, "")
}

// beforeDot decides about a letter that the server cannot have delivered.
func (r *run) beforeDot(ctx context.Context, s *session, l *letter, f *fault) (keep bool, err error) {
	envelope := f.phase == atMail || f.phase == atRcpt
	switch {
	case f.code == 0:
		r.faulty(f)
		if l.attempts%faultsBeforePutOff == 0 {
			return false, r.putOff(ctx, l, "")
		}
		return false, r.again(ctx, l)
	case f.phase == atMail && f.code >= 500:
		r.stop(fmt.Sprintf("%s; no member is to blame: see to the mail server or to post in workshop.yaml, and post again", f))
		return false, r.again(ctx, l)
	case f.code < 500:
		if f.code == 421 { // RFC 5321 3.8: the server is closing the connection
			r.slowDown()
			envelope = false
		}
		return envelope && s.reset() == nil, r.putOff(ctx, l, f.reply)
	case f.phase == atRcpt:
		r.refusal()
		return s.reset() == nil, r.settle(ctx, l, refused, f.reply)
	}
	return false, r.content(ctx, l, f)
}

// atDot decides about a letter whose final dot was sent.
func (r *run) atDot(ctx context.Context, l *letter, f *fault) error {
	switch {
	case f.code == 0:
		r.faulty(f)
		return r.settle(ctx, l, unsure, "")
	case f.code < 500:
		if f.code == 421 {
			r.slowDown()
		}
		return r.putOff(ctx, l, f.reply)
	}
	return r.content(ctx, l, f)
}

// content refuses a letter whose recipient the server had accepted. What it
// does not like is likely to be in all of them, so the run stops as well.
func (r *run) content(ctx context.Context, l *letter, f *fault) error {
	r.stop(fmt.Sprintf("%s: it may not like what the letters say or how large they are; look before you post again", f))
	return r.settle(ctx, l, refused, f.reply)
}

// refusal counts refused recipients, and stops the run at the tenth in a row.
func (r *run) refusal() {
	r.mu.Lock()
	r.refusals++
	many := r.refusals >= refusalsInARow
	r.mu.Unlock()
	if many {
		r.stop(fmt.Sprintf("the mail server refused %d members in a row, so it may be about us; look before you post again", refusalsInARow))
	}
}

func (r *run) putOff(ctx context.Context, l *letter, reply string) error {
	state, err := r.later(ctx, l, reply)
	if err == nil && state == refused {
		r.tell(refused)
	}
	return err
}

func (r *run) settle(ctx context.Context, l *letter, state, reply string) error {
	if err := r.end(ctx, l, state, reply); err != nil {
		return err
	}
	r.tell(state)
	return nil
}

// tell counts a letter's outcome and reports the progress, one call at a time.
func (r *run) tell(state string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch state {
	case sent:
		r.progress.Sent++
		r.faults, r.refusals = 0, 0
	case refused:
		r.progress.Refused++
	case skipped:
		r.progress.Skipped++
	case unsure:
		r.progress.Unsure++
	}
	r.opt.Progress(r.progress)
}
