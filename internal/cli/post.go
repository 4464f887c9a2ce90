package cli

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/mail"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/post"
	"example.org/opencowl/internal/store"
)

// postReport is the machine output of post.
type postReport struct {
	Week    string   `json:"week"`
	State   string   `json:"state"`
	Total   int      `json:"total"`
	Waiting int      `json:"waiting"`
	Sent    int      `json:"sent"`
	Refused int      `json:"refused"`
	Skipped int      `json:"skipped"`
	Unsure  int      `json:"unsure"`
	Letters []string `json:"unsure_members,omitempty"` // by their random ids
	Stopped string   `json:"stopped,omitempty"`        // why
	Next    string   `json:"next_try,omitempty"`
}

func (a *app) postCommand() *cobra.Command {
	var by, proof, settle, as string
	var status, stop, dkimKey, dkimRecord bool
	var yes int
	cmd := &cobra.Command{
		Use:   "post WEEK --by WHO",
		Short: "Send a frozen edition; picks up where it stopped",
		Long: `Send the frozen bytes of an edition to every member who has joined, each once. It says
whom it goes to and asks for their number, or takes it from --yes. Run it again to pick
up where it stopped; nobody gets a second copy. A letter that may or may not have gone
out is unsure: it is listed, and never sent again by itself.

--proof sends one copy, marked PROOF, to an address, and leaves no trace of it.
--status tells how far it is. --stop has a run elsewhere stop after the letters in hand.
--settle MEMBER --as sent|waiting says what became of an unsure letter, when the mail
server's log or the member has told: it went out, or it is to be sent again. MEMBER is
an address, or the id that --json gives.

--dkim-key makes the keys that dkim under post in workshop.yaml names, by a keeper; a key
that is there is never written over. --dkim-record prints what has to stand in DNS for them.

It speaks to a mail server on this machine only, until leaving by one click is built. With
user under post it signs in, over TLS alone; the password is in the file that password_file
names, or in OPENCOWL_SMTP_PASSWORD.`,
		Example: `  opencowl post 2031-W07 --by nell --proof you@example.org
  opencowl post 2031-W07 --by nell --yes 60
  opencowl post 2031-W07 --status
  opencowl post 2031-W07 --settle ada@example.org --as sent --by nell
  opencowl post --dkim-key --by nell`,
		Args: func(cmd *cobra.Command, given []string) error {
			if dkimKey || dkimRecord {
				return args(0, 0, "no week with --dkim-key and --dkim-record")(cmd, given)
			}
			return args(1, 1, "one week, such as 2031-W07")(cmd, given)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if dkimKey || dkimRecord {
				return a.postKeys(cmd, by, dkimKey)
			}
			week, err := day.ParseWeek(args[0])
			if err != nil {
				return use(err)
			}
			if by == "" && !status {
				return use(errors.New("--by is missing; say who sends it"))
			}
			if err := oneJob(cmd); err != nil {
				return use(err)
			}
			if cmd.Flags().Changed("proof") {
				if _, err := mail.ParseAddress(proof); err != nil {
					return use(fmt.Errorf("--proof: %q is not an email address", proof))
				}
			}
			if cmd.Flags().Changed("settle") && settle == "" {
				return use(errors.New("--settle: name the member, as --status does"))
			}
			if as != "" && settle == "" {
				return use(errors.New("--as goes with --settle MEMBER"))
			}
			if settle != "" && as != "sent" && as != "waiting" {
				return use(errors.New("--settle needs --as sent or --as waiting"))
			}
			writer := "post"
			if status || stop {
				writer = "" // a run elsewhere holds the lock
			}
			s, err := a.open(cmd.Context(), writer)
			if err != nil {
				return err
			}
			defer s.close()
			switch {
			case status:
				return s.postStatus(cmd.Context(), week.String())
			case stop, settle != "":
				return s.postSettle(cmd.Context(), week.String(), by, settle, as)
			case proof != "":
				return s.postProof(cmd.Context(), week.String(), by, proof)
			}
			return s.post(cmd.Context(), week.String(), by, yes)
		},
	}
	cmd.Flags().StringVar(&by, "by", "", "who sends it: an officer's id from workshop.yaml")
	cmd.Flags().StringVar(&proof, "proof", "", "send one copy marked PROOF to this address")
	cmd.Flags().BoolVar(&status, "status", false, "tell how far it is, and send nothing")
	cmd.Flags().BoolVar(&stop, "stop", false, "have a run elsewhere stop after the letters in hand")
	cmd.Flags().BoolVar(&dkimKey, "dkim-key", false, "make the keys that sign letters, where there are none yet")
	cmd.Flags().BoolVar(&dkimRecord, "dkim-record", false, "print what has to stand in DNS for them")
	cmd.Flags().StringVar(&settle, "settle", "", "the member whose unsure letter is settled: address or id")
	cmd.Flags().StringVar(&as, "as", "", "what became of it: sent or waiting")
	cmd.Flags().IntVar(&yes, "yes", -1, "how many letters will go out, for scripts")
	return cmd
}

// postKeys makes the keys of letters or prints their records.
func (a *app) postKeys(cmd *cobra.Command, by string, make bool) error {
	if err := oneJob(cmd); err != nil {
		return use(err)
	}
	if make && by == "" {
		return use(errors.New("--by is missing; say who makes the key: a keeper's id from workshop.yaml"))
	}
	writer := ""
	if make {
		writer = "post"
	}
	s, err := a.open(cmd.Context(), writer)
	if err != nil {
		return err
	}
	defer s.close()
	if make {
		return s.makeDKIM(by)
	}
	return s.tellDKIM()
}

// oneJob refuses flags that ask for more than one thing, so that nothing is sent
// where something else was meant.
func oneJob(cmd *cobra.Command) error {
	var given []string
	for _, name := range []string{"proof", "status", "stop", "settle", "dkim-key", "dkim-record"} {
		if cmd.Flags().Changed(name) {
			given = append(given, "--"+name)
		}
	}
	if len(given) > 1 {
		return fmt.Errorf("%s do not go together; give one", strings.Join(given, " and "))
	}
	return nil
}

// job is a frozen edition as it is to be posted.
func (s *session) job(ctx context.Context, week string) (post.Job, error) {
	e, err := s.db.Edition(ctx, week)
	if errors.Is(err, store.ErrNotFound) {
		return post.Job{}, fmt.Errorf("edition %s is not frozen; freeze it with opencowl edition %s --freeze --by WHO", week, week)
	}
	if err != nil {
		return post.Job{}, err
	}
	if err := s.asFrozen(ctx, e); err != nil {
		return post.Job{}, err
	}
	p := s.ws.Settings.Post
	from, err := mail.ParseAddress(p.From)
	if err != nil {
		return post.Job{}, fmt.Errorf("post.from: %w", err)
	}
	domain := from.Address[strings.LastIndexByte(from.Address, '@')+1:]
	return post.Job{Week: week, Subject: e.Subject, From: p.From, Returns: p.Returns, ListID: "Weekly update <weekly." + domain + ">",
		HTML: e.HTML, Text: e.Text, Pictures: e.Pictures, Date: s.today.Time(s.ws.Settings.Workshop.Timezone.Location).Add(12 * time.Hour),
		PublicURL: s.ws.Settings.PublicURL, Tokens: member.KeysIn(s.ws.MemberKeys(), s.db.Now, nil)}, nil
}

// options are those for sending through a mail server.
func (s *session) options(by, week, smtp string) (post.Options, error) {
	p := s.ws.Settings.Post
	opt := post.Options{SMTP: smtp, Sessions: p.Sessions, PerMinute: p.PerMinute, By: by, Unit: "edition/" + week, Now: s.clock, Gate: s.gateLetter}
	return opt, s.secrets(&opt)
}

// gateLetter is the last look at a letter as it goes over the wire.
func (s *session) gateLetter(letter []byte, own ...string) error {
	return s.desk.Gate(map[string][]byte{"letter.eml": letter}, own...)
}

// inOrder refuses to begin with an edition when a later one has gone out. One that
// was begun is finished.
func (s *session) inOrder(ctx context.Context, week string) error {
	editions, err := s.db.Editions(ctx)
	if err != nil {
		return err
	}
	for _, e := range editions {
		if e.Week == week && e.State != store.Frozen {
			return nil
		}
		if e.Week > week && e.State != store.Frozen {
			return fmt.Errorf("edition %s has been posted, and %s comes before it: members would read the weeks out of order; thaw it with opencowl edition %s --thaw --by WHO, and tell its stories in a later edition", e.Week, week, week)
		}
	}
	return nil
}

// send posts an edition through a mail server.
func (s *session) send(ctx context.Context, week, by, smtp string) (post.Report, error) {
	if err := s.officer(by); err != nil {
		return post.Report{}, err
	}
	if err := s.inOrder(ctx, week); err != nil {
		return post.Report{}, err
	}
	job, err := s.job(ctx, week)
	if err != nil {
		return post.Report{}, err
	}
	opt, err := s.options(by, week, smtp)
	if err != nil {
		return post.Report{}, err
	}
	step, end := s.app.bar("letters")
	opt.Progress = func(p post.Progress) { step(p.Sent+p.Refused+p.Skipped+p.Unsure, p.Total) }
	opt.Held = func(letters int) {
		s.app.say("letters in the hands of another run: %d; if it has crashed, they are free within a minute", letters)
	}
	defer end()
	return post.Send(ctx, s.db, job, opt)
}

func (s *session) post(ctx context.Context, week, by string, yes int) error {
	a := s.app
	if err := s.officer(by); err != nil {
		return err
	}
	job, err := s.job(ctx, week)
	if err != nil {
		return err
	}
	if err := s.settled(ctx); err != nil {
		return err
	}
	if report, err := post.Status(ctx, s.db, week); err != nil {
		return err
	} else if report.State == store.Sent && report.Total == 0 {
		return fmt.Errorf("edition %s was sent, by no post that this workspace has on record, so nothing more of it goes out", week)
	}
	if s.ws.Settings.Post.SMTP == "" {
		return errors.New("post.smtp is missing in workshop.yaml; write the mail server's address, smtp://127.0.0.1:25")
	}
	// What is wrong with keys and password is told before anybody counts.
	if err := s.secrets(&post.Options{}); err != nil {
		return err
	}
	audience, err := post.Prepare(ctx, s.db, week, s.today)
	if err != nil {
		return err
	}
	if err := s.inOrder(ctx, week); err != nil {
		return err
	}
	notes, err := s.unsentBefore(ctx, week)
	if err != nil {
		return err
	}
	for _, n := range notes {
		a.say("mind: %s", n)
	}
	a.say("edition %s, %q, goes to %s", week, job.Subject, audience)
	a.say("from %s, through %s", job.From, s.ws.Settings.Post.SMTP)
	if audience.Letters > 0 {
		if err := a.confirmCount(audience.Letters, yes); err != nil {
			return err
		}
	}
	report, err := s.send(ctx, week, by, s.ws.Settings.Post.SMTP)
	if err != nil {
		return postError(err)
	}
	if err := s.tellPost(ctx, report); err != nil {
		return err
	}
	if report.Stopped || report.Waiting > 0 {
		return &coded{outside, fmt.Errorf("edition %s is not all out; post it again when that is seen to", week)}
	}
	if report.Unsure > 0 {
		return &found{report.Unsure}
	}
	return nil
}

// postError gives a failure of the mail server its exit code.
func postError(err error) error {
	if leak := (*clearance.Leak)(nil); errors.As(err, &leak) || errors.Is(err, post.ErrNotLoopback) || errors.Is(err, store.ErrState) || errors.Is(err, store.ErrHeld) {
		return err
	}
	return &coded{outside, err}
}

// confirmCount has the number of letters typed back, so that nobody sends to a
// list by a slip.
func (a *app) confirmCount(letters, yes int) error {
	if yes < 0 && a.terminal() {
		fmt.Fprintf(a.Err, "To send them, type how many; anything else sends nothing: ")
		line, _ := bufio.NewReader(a.In).ReadString('\n')
		n, err := strconv.Atoi(strings.TrimSpace(line))
		if err != nil {
			return use(errors.New("nothing was sent"))
		}
		yes = n
	}
	if yes < 0 {
		return use(fmt.Errorf("nothing was sent: say how many letters will go out with --yes %d", letters))
	}
	if yes != letters {
		return use(fmt.Errorf("nothing was sent: %d letters would go out, not %d", letters, yes))
	}
	return nil
}

// postSettle settles the unsure letter of a member; without one it stops a run.
func (s *session) postSettle(ctx context.Context, week, by, who, as string) error {
	if err := s.officer(by); err != nil {
		return err
	}
	if who == "" {
		if err := post.Stop(ctx, s.db, week, by); err != nil {
			return err
		}
		return s.postStatus(ctx, week)
	}
	id := who
	if strings.Contains(who, "@") {
		m, err := member.ByAddress(ctx, s.db, who)
		if err != nil {
			return err
		}
		id = m.ID
	}
	if err := post.Settle(ctx, s.db, week, id, as == "sent", by); errors.Is(err, post.ErrNotUnsure) {
		return fmt.Errorf("edition %s: no letter to %s is unsure; opencowl post %s --status lists those that are", week, who, week)
	} else if err != nil {
		return err
	}
	return s.postStatus(ctx, week)
}

func (s *session) postProof(ctx context.Context, week, by, address string) error {
	if err := s.officer(by); err != nil {
		return err
	}
	job, err := s.job(ctx, week)
	if err != nil {
		return err
	}
	if err := s.settled(ctx); err != nil {
		return err
	}
	opt, err := s.options(by, week, s.ws.Settings.Post.SMTP)
	if err != nil {
		return err
	}
	if err := post.SendProof(ctx, job, address, opt); err != nil {
		return postError(err)
	}
	s.app.say("a proof of %s went to %s", week, address)
	return s.app.print(map[string]string{"week": week, "proof": address})
}

func (s *session) postStatus(ctx context.Context, week string) error {
	report, err := post.Status(ctx, s.db, week)
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("edition %s is not frozen; freeze it with opencowl edition %s --freeze --by WHO", week, week)
	}
	if err != nil {
		return err
	}
	return s.tellPost(ctx, report)
}

// tellPost says how an edition stands. People are named on the screen alone: what
// a program reads, like all that is kept, knows them by their random ids.
func (s *session) tellPost(ctx context.Context, p post.Report) error {
	r := postReport{Week: p.Week, State: p.State, Total: p.Total, Waiting: p.Waiting + p.Leased + p.Closing, Sent: p.Sent, Refused: p.Refused, Skipped: p.Skipped, Unsure: p.Unsure}
	who, err := s.names(ctx)
	if err != nil {
		return err
	}
	if r.Total == 0 && r.State == store.Sent {
		s.app.say("edition %s: sent, by no post that this workspace has on record", r.Week)
	} else if r.Total == 0 {
		s.app.say("edition %s: %s; nothing of it has been posted yet", r.Week, r.State)
	} else {
		s.app.say("edition %s: %s; %d of %d sent, %d refused, %d skipped, %d unsure, %d waiting", r.Week, r.State, r.Sent, r.Total, r.Refused, r.Skipped, r.Unsure, r.Waiting)
	}
	zone := s.ws.Settings.Workshop.Timezone.Location
	for _, l := range p.UnsureLetters {
		r.Letters = append(r.Letters, l.Member)
		s.app.say("unsure: %s may have got the letter, or not (%s)", who(l.Member), l.At.In(zone).Format("15:04 on 2 January 2006"))
	}
	if r.Unsure > 0 {
		s.app.say("ask them, or look in the mail server's log; then opencowl post %s --by WHO --settle ADDRESS --as sent, or --as waiting to have it sent again", r.Week)
	}
	for _, l := range p.RefusedLetters {
		s.app.say("refused: the letter to %s (%s)", who(l.Member), l.Reply)
	}
	switch {
	case p.Stopped:
		r.Stopped = p.Why
		s.app.say("stopped: %s", p.Why)
	case p.Why != "":
		s.app.say("waiting: %s", p.Why)
	}
	if !p.NextTry.IsZero() {
		r.Next = p.NextTry.Format(time.RFC3339)
		s.app.say("the next try may be at %s", p.NextTry.In(zone).Format("15:04 on 2 January 2006"))
	}
	return s.app.print(r)
}

// names returns a function that names a member by address and name.
func (s *session) names(ctx context.Context) (func(id string) string, error) {
	people, err := member.List(ctx, s.db, member.Filter{})
	if err != nil {
		return nil, err
	}
	known := map[string]string{}
	for _, m := range people {
		known[m.ID] = strings.TrimSpace(m.Name + " <" + m.Address + ">")
	}
	return func(id string) string { return cmp.Or(known[id], "member "+id) }, nil
}
