package cli

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/site"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

func (a *app) editionCommand() *cobra.Command {
	var freeze, thaw bool
	var by, out string
	cmd := &cobra.Command{
		Use:   "edition WEEK",
		Short: "Assemble a weekly update; freezing fixes every byte",
		Long: `Assemble the update of an ISO week from the officer's words in editions/WEEK.md, the
stories cleared for members and the movement since the last edition, and write it as
HTML and text to look at. A cleared correction that members have not had leads it. While
something in it is not cleared it is stamped DRAFT, and the exit code is 1.

Beside the letter stands officer.txt, for you and not for members, with what the screen
says: each story and why it is in, what is held back and why, how the figures changed
since the edition before, whom it goes to, and how long the store of stories will last.
The store is the stories that are cleared for members, due and untold; it is divided by
how many the editions of the last 12 weeks told for the first time, a week. Weeks without
an edition count, so that the answer is in weeks and not in letters.

What has moved is the difference to the movement kept at the last freeze, however many
weeks ago that was, so that an entry logged late is still told.

--freeze fixes every byte of it, in the database. Sending takes the frozen bytes. The
weeks come in order: once a week is frozen, none before it can be.
--thaw makes it a draft again, as long as no letter of it can have gone out.`,
		Example: `  opencowl edition 2031-W07
  opencowl edition 2031-W07 --freeze --by nell`,
		Args: args(1, 1, "one week, such as 2031-W07"),
		RunE: func(cmd *cobra.Command, args []string) error {
			week, err := day.ParseWeek(args[0])
			if err != nil {
				return use(err)
			}
			if freeze && thaw {
				return use(errors.New("--freeze and --thaw do not go together"))
			}
			if (freeze || thaw) && by == "" {
				return use(errors.New("--by is missing; say who freezes or thaws it"))
			}
			writer := ""
			if freeze || thaw {
				writer = "edition"
			}
			s, err := a.open(cmd.Context(), writer)
			if err != nil {
				return err
			}
			defer s.close()
			if out == "" {
				out = s.ws.Path("out/edition-" + week.String())
			}
			if freeze {
				if err := s.freeze(cmd.Context(), week, by); err != nil {
					return err
				}
			}
			if thaw {
				if err := s.thaw(cmd.Context(), week, by); err != nil {
					return err
				}
			}
			report, err := s.showEdition(cmd.Context(), week, out)
			if err != nil {
				return err
			}
			a.sayNext(report)
			if err := a.print(report); err != nil {
				return err
			}
			if len(report.Missing) > 0 {
				return &found{len(report.Missing)}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&freeze, "freeze", false, "fix every byte, for sending")
	cmd.Flags().BoolVar(&thaw, "thaw", false, "make a frozen edition a draft again")
	cmd.Flags().StringVar(&by, "by", "", "who freezes or thaws it: an officer's id from workshop.yaml")
	cmd.Flags().StringVarP(&out, "out", "o", "", "the folder to write to (default: out/edition-WEEK in the workspace)")
	return cmd
}

func recordOf(e store.Edition) (r edition.Record, err error) {
	if err = json.Unmarshal(e.Record, &r); err != nil {
		err = fmt.Errorf("edition %s: what it told cannot be read back: %w", e.Week, err)
	}
	return r, err
}

// assemble makes the edition and its letter from cleared words only. Its error
// names everything that is in the way, so that nobody has to come back for more.
func (s *session) assemble(ctx context.Context, week day.Week) (edition.Edition, site.Letter, error) {
	settings, err1 := s.desk.Settings()
	words, err2 := s.desk.EditionWords(week)
	m := s.desk.Material()
	if err := errors.Join(err1, err2, s.desk.HeldCorrections()); err != nil {
		if draft, unwritten := s.desk.DraftEditionWords(week); unwritten == nil {
			_, refused := edition.AssemblePreview(draft, nil, m)
			err = errors.Join(err, refused)
		}
		return edition.Edition{}, site.Letter{}, err
	}
	e, err := edition.Assemble(words, m)
	if err != nil {
		return e, site.Letter{}, err
	}
	theme, err := s.ws.Theme()
	if err != nil {
		return e, site.Letter{}, err
	}
	published, err := s.published(ctx)
	if err != nil {
		return e, site.Letter{}, err
	}
	letter, err := site.LinkLetter(ctx, theme, settings, e, published)
	if err != nil {
		return e, letter, err
	}
	return e, letter, s.desk.Gate(letterFiles(letter))
}

func letterFiles(l site.Letter) map[string][]byte {
	files := map[string][]byte{"letter.html": l.HTML, "letter.txt": l.Text, "subject.txt": []byte(l.Subject)}
	for _, p := range l.Pictures {
		files[p.Name] = p.JPEG
	}
	return files
}

// somebody checks that --by names a person of the workshop.
func somebody(s workspace.Settings, by string) error {
	if _, ok := s.PersonByID(by); !ok {
		return use(fmt.Errorf("--by: nobody in %s has the id %q; name one of %s", workspace.SettingsFile, by, list(s.PeopleIDs())))
	}
	return nil
}

// officer checks that somebody may freeze and send.
func (s *session) officer(by string) error {
	if err := somebody(s.ws.Settings, by); err != nil {
		return err
	}
	if p, _ := s.ws.Settings.PersonByID(by); !p.Has(workspace.Officer) {
		return fmt.Errorf("%s %w: an officer freezes and sends", by, clearance.ErrMayNot)
	}
	return nil
}

// freeze fixes the bytes of an edition.
func (s *session) freeze(ctx context.Context, week day.Week, by string) error {
	if err := s.officer(by); err != nil {
		return err
	}
	// Before what it would be now: that no longer matters.
	if _, err := s.db.Edition(ctx, week.String()); err == nil {
		return frozenAlready(week, by)
	}
	if err := s.mayFreeze(week); err != nil {
		return err
	}
	e, letter, err := s.assemble(ctx, week)
	if err != nil {
		return err
	}
	if err := e.Freezable(); err != nil {
		return err
	}
	record, err := json.Marshal(e.Record())
	if err != nil {
		return err
	}
	movement, err := json.Marshal(s.desk.Movement().Parts())
	if err != nil {
		return err
	}
	frozen := store.Edition{Week: week.String(), FrozenBy: by, FrozenAt: s.db.Now(), Subject: letter.Subject, HTML: letter.HTML, Text: letter.Text,
		Record: record, Movement: movement}
	for _, p := range letter.Pictures {
		frozen.Pictures = append(frozen.Pictures, store.Picture{ContentID: p.ContentID, Name: p.Name, JPEG: p.JPEG})
	}
	frozen.Digest = frozenDigest(frozen)
	err = s.db.Freeze(ctx, frozen, store.Entry{At: s.db.Now(), Who: by, Kind: "frozen", Unit: "edition/" + week.String(), Digest: frozen.Digest, Detail: e.Record().Stories})
	if errors.Is(err, store.ErrExists) {
		return frozenAlready(week, by)
	}
	return err
}

// mayFreeze says why the edition of a week cannot be frozen whatever is in it: a
// later one is frozen, or the week is so far ahead that it is a slip of the pen.
func (s *session) mayFreeze(week day.Week) error {
	for _, told := range s.desk.Editions() {
		if week.Before(told.Week) {
			return fmt.Errorf("edition %s is frozen already, and %s comes before it: members would read the weeks out of order; tell it in a later edition", told.Week, week)
		}
	}
	if next := s.today.Week().Next(); next.Before(week) {
		return fmt.Errorf("edition %s is for the week of %s, and today is %s: once it is frozen, no edition of a week before it can be; correct the week, or freeze it from %s on", week, week.Monday().Words(), s.today.Words(), week.Previous().Monday().Words())
	}
	return nil
}

// frozenDigest is the hex SHA-256 of all of an edition that leaves: its subject,
// HTML, text, pictures, and what the archive shows of it.
func frozenDigest(e store.Edition) string {
	sum := sha256.New()
	part := func(data []byte) {
		fmt.Fprintf(sum, "%d:", len(data))
		sum.Write(data)
	}
	for _, data := range [][]byte{[]byte(e.Subject), e.HTML, e.Text, e.Record} {
		part(data)
	}
	for _, p := range e.Pictures {
		part([]byte(p.ContentID))
		part([]byte(p.Name))
		part(p.JPEG)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// errTampered says that frozen bytes are not those that were frozen.
var errTampered = errors.New("its bytes are not those that were frozen")

// asFrozen holds an edition to the digest that the ledger took down when it was
// frozen, so that bytes changed in the database do not leave.
func (s *session) asFrozen(ctx context.Context, e store.Edition) error {
	rows, err := s.db.Ledger(ctx, store.Filter{Kind: "frozen", Unit: "edition/" + e.Week})
	if err != nil {
		return err
	}
	if digest := frozenDigest(e); len(rows) == 0 || rows[len(rows)-1].Digest != digest || e.Digest != digest {
		return fmt.Errorf("edition %s: %w; restore the database from a copy, or thaw the edition and freeze it again", e.Week, errTampered)
	}
	return nil
}

func frozenAlready(week day.Week, by string) error {
	return fmt.Errorf("edition %s is frozen already, and its bytes no longer change; to change it, thaw it first with opencowl edition %s --thaw --by %s", week, week, by)
}

// thaw makes a frozen edition a draft again.
func (s *session) thaw(ctx context.Context, week day.Week, by string) error {
	if err := s.officer(by); err != nil {
		return err
	}
	err := s.db.Thaw(ctx, week.String(), store.Entry{At: s.db.Now(), Who: by, Kind: "thawed", Unit: "edition/" + week.String()})
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("edition %s is not frozen", week)
	}
	if err != nil {
		return err
	}
	return s.look(ctx, s.db.Now)
}

// lines are the messages of joined errors. An error that wraps several in one
// sentence stays whole.
func lines(err error) []string {
	if err == nil {
		return nil
	}
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return []string{err.Error()}
	}
	var all, own []string
	for _, e := range joined.Unwrap() {
		all = append(all, lines(e)...)
		own = append(own, e.Error())
	}
	if strings.Join(own, "\n") != err.Error() {
		return []string{err.Error()}
	}
	return all
}
