package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net/mail"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/day"
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
	var status, stop bool
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
server's log or the member has told: it went out, or it is to be sent again.

It speaks to a mail server on this machine only, until leaving by one click is built.`,
		Example: `  opencowl post 2031-W07 --by nell --proof you@example.org
  opencowl post 2031-W07 --by nell --yes 60
  opencowl post 2031-W07 --status
  opencowl post 2031-W07 --settle 07ee0598055bcfb9d3bab43846bb84c4 --as sent --by nell`,
		Args: args(1, 1, "one week, such as 2031-W07"),
		RunE: func(cmd *cobra.Command, args []string) error {
			week, err := day.ParseWeek(args[0])
			if err != nil {
				return use(err)
			}
			if by == "" && !status {
				return use(errors.New("--by is missing; say who sends it"))
			}
			if proof != "" {
				if _, err := mail.ParseAddress(proof); err != nil {
					return use(fmt.Errorf("--proof: %q is not an email address", proof))
				}
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
	cmd.Flags().StringVar(&settle, "settle", "", "the member whose unsure letter is settled, as --status names them")
	cmd.Flags().StringVar(&as, "as", "", "what became of it: sent or waiting")
	cmd.Flags().IntVar(&yes, "yes", -1, "how many letters will go out, for scripts")
	return cmd
}

// job is a frozen edition as it is to be posted.
func (s *session) job(ctx context.Context, week string) (post.Job, error) {
	e, err := s.db.Edition(ctx, week)
	if errors.Is(err, store.ErrNotFound) {
		return post.Job{}, fmt.Errorf("edition %s is not frozen; freeze it with opencowl edition %s --freeze", week, week)
	}
	if err != nil {
		return post.Job{}, err
	}
	p := s.ws.Settings.Post
	from, err := mail.ParseAddress(p.From)
	if err != nil {
		return post.Job{}, fmt.Errorf("post.from: %w", err)
	}
	domain := from.Address[strings.LastIndexByte(from.Address, '@')+1:]
	return post.Job{Week: week, Subject: e.Subject, From: p.From, Returns: p.Returns, ListID: "Weekly update <weekly." + domain + ">",
		HTML: e.HTML, Text: e.Text, Pictures: e.Pictures, Date: s.today.Time(s.ws.Settings.Workshop.Timezone.Location).Add(12 * time.Hour)}, nil
}

func (s *session) options(by, week, smtp string) post.Options {
	p := s.ws.Settings.Post
	return post.Options{SMTP: smtp, Sessions: p.Sessions, PerMinute: p.PerMinute, By: by, Unit: "edition/" + week, Now: onDay(s.today, s.app.now)}
}

// send posts an edition through a mail server.
func (s *session) send(ctx context.Context, week, by, smtp string) (post.Report, error) {
	if err := s.officer(by); err != nil {
		return post.Report{}, err
	}
	job, err := s.job(ctx, week)
	if err != nil {
		return post.Report{}, err
	}
	opt := s.options(by, week, smtp)
	step, end := s.app.bar("letters")
	opt.Progress = func(p post.Progress) { step(p.Sent+p.Refused+p.Skipped+p.Unsure, p.Total) }
	defer end()
	return post.Send(ctx, s.db, job, opt)
}

func (s *session) post(ctx context.Context, week, by string, yes int) error {
	a := s.app
	if err := s.officer(by); err != nil {
		return err
	}
	if _, err := s.job(ctx, week); err != nil {
		return err
	}
	if s.ws.Settings.Post.SMTP == "" {
		return errors.New("post.smtp is missing in workshop.yaml; write the mail server's address, smtp://127.0.0.1:25")
	}
	audience, err := post.Prepare(ctx, s.db, week)
	if err != nil {
		return err
	}
	a.say("edition %s goes to %s", week, audience)
	if audience.Letters > 0 {
		if err := a.confirmCount(audience.Letters, yes); err != nil {
			return err
		}
	}
	report, err := s.send(ctx, week, by, s.ws.Settings.Post.SMTP)
	if err != nil {
		return postError(err)
	}
	if err := s.tellPost(report); err != nil {
		return err
	}
	if report.Stopped || report.Waiting > 0 {
		return &coded{outside, fmt.Errorf("edition %s: %s", week, report.Why)}
	}
	if report.Unsure > 0 {
		return &found{report.Unsure}
	}
	return nil
}

// postError gives a failure of the mail server its exit code.
func postError(err error) error {
	if errors.Is(err, post.ErrNotLoopback) || errors.Is(err, store.ErrState) {
		return err
	}
	return &coded{outside, err}
}

// confirmCount has the number of letters typed back, so that nobody sends to a
// list by a slip.
func (a *app) confirmCount(letters, yes int) error {
	if yes < 0 && a.terminal() {
		fmt.Fprintf(a.Err, "Type the number of letters to send them: ")
		line, _ := bufio.NewReader(a.In).ReadString('\n')
		n, err := strconv.Atoi(strings.TrimSpace(line))
		if err != nil {
			return use(errors.New("nothing was sent: that is not a number"))
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
func (s *session) postSettle(ctx context.Context, week, by, memberID, as string) error {
	if err := s.officer(by); err != nil {
		return err
	}
	var err error
	if memberID == "" {
		err = post.Stop(ctx, s.db, week, by)
	} else {
		err = post.Settle(ctx, s.db, week, memberID, as == "sent", by)
	}
	if err != nil {
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
	if err := post.SendProof(ctx, job, address, s.options(by, week, s.ws.Settings.Post.SMTP)); err != nil {
		return postError(err)
	}
	s.app.say("a proof of %s went to %s", week, address)
	return s.app.print(map[string]string{"week": week, "proof": address})
}

func (s *session) postStatus(ctx context.Context, week string) error {
	report, err := post.Status(ctx, s.db, week)
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("edition %s is not frozen; freeze it with opencowl edition %s --freeze", week, week)
	}
	if err != nil {
		return err
	}
	return s.tellPost(report)
}

func (s *session) tellPost(p post.Report) error {
	r := postReport{Week: p.Week, State: p.State, Total: p.Total, Waiting: p.Waiting + p.Leased + p.Closing, Sent: p.Sent, Refused: p.Refused, Skipped: p.Skipped, Unsure: p.Unsure}
	s.app.say("edition %s: %s; %d of %d sent, %d refused, %d skipped, %d unsure, %d waiting", r.Week, r.State, r.Sent, r.Total, r.Refused, r.Skipped, r.Unsure, r.Waiting)
	for _, l := range p.UnsureLetters {
		r.Letters = append(r.Letters, l.Member)
		s.app.say("unsure: the letter of member %s may have gone out (%s)", l.Member, l.At.Format(time.RFC3339))
	}
	for _, l := range p.RefusedLetters {
		s.app.say("refused: the letter of member %s (%s)", l.Member, l.Reply)
	}
	if p.Stopped {
		r.Stopped = p.Why
		s.app.say("stopped: %s", p.Why)
	}
	if !p.NextTry.IsZero() {
		r.Next = p.NextTry.Format(time.RFC3339)
		s.app.say("the next try may be at %s", r.Next)
	}
	return s.app.print(r)
}
