package cli

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/site"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// editionReport is the machine output of edition.
type editionReport struct {
	Week        string            `json:"week"`
	State       string            `json:"state"` // draft, frozen, sending, stopped, sent
	Subject     string            `json:"subject"`
	Corrections []string          `json:"corrections,omitempty"` // they come before the stories
	Stories     []string          `json:"stories"`
	Figures     []edition.Figures `json:"figures"`
	Offers      []edition.Offer   `json:"offers,omitempty"`
	Missing     []string          `json:"missing,omitempty"` // what keeps it from being frozen
	Digest      string            `json:"digest,omitempty"`
	Head        string            `json:"head,omitempty"` // of the ledger, after freezing
	Letter      letterReport      `json:"letter"`
	Advice      []string          `json:"advice,omitempty"`
	HTML        string            `json:"html"`
	Text        string            `json:"text"`
}

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

--freeze fixes every byte of it, in the database. Sending takes the frozen bytes.
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

// material gathers what an edition is made from.
func (s *session) material(ctx context.Context) (edition.Material, error) {
	m := edition.Material{Stories: s.desk.Stories(), Corrections: s.desk.Corrections(), Held: s.held(), Glossary: s.desk.Words(), Movement: s.desk.Movement(), Before: s.desk.Before(),
		Areas: s.desk.Areas(), RollOut: s.ws.Settings.RollOut, On: s.today}
	editions, err := s.db.Editions(ctx)
	if err != nil {
		return m, err
	}
	for _, e := range editions {
		r, err := recordOf(e)
		if err != nil {
			return m, err
		}
		m.Told = append(m.Told, r)
	}
	return m, nil
}

// held says of each story that may not leave what has to be decided first: its
// words, or a picture shown with it.
func (s *session) held() map[string]edition.Held {
	units := map[string]*clearance.Unit{}
	held := map[string]edition.Held{}
	for _, u := range s.desk.Units() {
		units[u.ID] = u
	}
	for id, u := range units {
		if story, is := strings.CutPrefix(id, "story/"); is {
			held[story] = whatHolds(u, units)
		}
	}
	for _, free := range s.desk.Stories() {
		delete(held, free.ID())
	}
	return held
}

func whatHolds(u *clearance.Unit, units map[string]*clearance.Unit) edition.Held {
	var why, decide []string
	passes := true
	for _, id := range append([]string{u.ID}, u.Photos...) {
		of := units[id]
		passes = passes && !of.Stops()
		if of.Standing == clearance.Cleared {
			continue
		}
		said := map[clearance.Standing]string{clearance.Stale: "changed since it was cleared", clearance.Refused: "was refused",
			clearance.Withdrawn: "was withdrawn", clearance.Kept: "is not offered for publication"}[of.Standing]
		why = append(why, id+" "+cmp.Or(said, "waits for a decision"))
		decide = append(decide, id)
	}
	if !passes || len(decide) == 0 {
		return edition.Held{Why: strings.Join(append(why, "it does not pass the checks"), ", "), Remedy: "see what opencowl check says"}
	}
	return edition.Held{Why: strings.Join(why, ", "), Remedy: "decide with opencowl decide " + strings.Join(decide, " ") + " --by WHO"}
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
	m, err := s.material(ctx)
	if err != nil {
		return edition.Edition{}, site.Letter{}, err
	}
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
	others, err := s.db.Editions(ctx)
	if err != nil {
		return err
	}
	if n := len(others); n > 0 && others[n-1].Week > week.String() {
		return fmt.Errorf("edition %s is frozen already, and %s comes before it: members would read the weeks out of order; tell it in a later edition", others[n-1].Week, week)
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

// showEdition writes an edition to look at: the frozen bytes once it is frozen,
// else what it would be now.
func (s *session) showEdition(ctx context.Context, week day.Week, out string) (*editionReport, error) {
	r := &editionReport{Week: week.String(), State: "draft", Stories: []string{}}
	frozen, err := s.db.Edition(ctx, week.String())
	var letter site.Letter
	switch {
	case err == nil:
		record, err := recordOf(frozen)
		if err != nil {
			return nil, err
		}
		letter = site.Letter{Subject: frozen.Subject, HTML: frozen.HTML, Text: frozen.Text}
		for _, p := range frozen.Pictures {
			letter.Pictures = append(letter.Pictures, site.Picture{ContentID: p.ContentID, Name: p.Name, JPEG: p.JPEG})
		}
		r.State, r.Digest, r.Corrections, r.Figures = frozen.State, frozen.Digest, record.Corrections, record.Figures
		for _, t := range record.Stories {
			r.Stories = append(r.Stories, t.ID)
		}
		if r.Head, err = s.db.Head(ctx); err != nil {
			return nil, err
		}
	case errors.Is(err, store.ErrNotFound):
		if letter, err = s.wouldBe(ctx, week, r); err != nil {
			return nil, err
		}
	default:
		return nil, err
	}
	r.Subject = letter.Subject
	r.Letter = s.describe(letter)
	if r.Digest == "" {
		r.Advice = s.adviceOn("edition/" + r.Week)
	}
	r.HTML, r.Text = filepath.Join(out, "letter.html"), filepath.Join(out, "letter.txt")
	if err := s.writeLetter(out, letter); err != nil {
		return nil, err
	}
	s.sayEdition(week, r)
	return r, nil
}

// wouldBe makes the letter as it stands: clean when all of it is cleared,
// stamped DRAFT when not.
func (s *session) wouldBe(ctx context.Context, week day.Week, r *editionReport) (site.Letter, error) {
	m, err := s.material(ctx)
	if err != nil {
		return site.Letter{}, err
	}
	words, err := s.desk.DraftEditionWords(week)
	if err != nil {
		return site.Letter{}, err
	}
	e, letter, err := s.assemble(ctx, week)
	var leak *clearance.Leak
	switch {
	case errors.As(err, &leak):
		return letter, err
	case err != nil:
		preview, refused := edition.AssemblePreview(words, s.desk.DraftStories(), m)
		for _, line := range append(lines(err), lines(refused)...) {
			if !slices.Contains(r.Missing, line) {
				r.Missing = append(r.Missing, line)
			}
		}
		theme, err := s.ws.Theme()
		if err != nil {
			return letter, err
		}
		if letter, err = site.PreviewLetter(ctx, theme, s.desk.DraftSettings(), preview); err != nil {
			return letter, err
		}
		r.Corrections, r.Stories, r.Figures = preview.CorrectionIDs(), preview.StoryIDs(), preview.Figures()
	default:
		r.Corrections, r.Stories, r.Figures = e.CorrectionIDs(), e.StoryIDs(), e.Figures
	}
	if len(r.Stories) == 0 {
		r.Offers = edition.Offers(week, m)
	}
	return letter, nil
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

// writeLetter writes a letter so that a browser shows its pictures.
func (s *session) writeLetter(out string, l site.Letter) error {
	html := l.HTML
	files := map[string][]byte{"letter.txt": l.Text}
	for _, p := range l.Pictures {
		html = bytes.ReplaceAll(html, []byte("cid:"+p.ContentID), []byte("pictures/"+p.Name))
		files["pictures/"+p.Name] = p.JPEG
	}
	files["letter.html"] = s.withLinked(html, files)
	_, err := s.ws.Writer.WriteTree(out, files)
	return err
}

func (s *session) sayEdition(week day.Week, r *editionReport) {
	a := s.app
	a.say("edition %s, week of %s (%s): %s", r.Week, week.Monday().Words(), r.State, r.Subject)
	for _, id := range r.Corrections {
		a.say("  a correction leads, before the stories and to everybody: correction/%s", id)
	}
	if r.Digest == "" {
		s.sayUndecided()
	}
	for i, id := range r.Stories {
		place := "with"
		if i == 0 {
			place = "lead"
		}
		a.say("  %s  %s", place, id)
	}
	for _, f := range r.Figures {
		a.say("  %-10s %d parts: %d off, %d inspected, %d waiting, %d ready, %d fitted", f.Area.Name, f.Total(), f.Off, f.Inspected, f.Waiting, f.Ready, f.Fitted)
	}
	s.sayLetter(r)
	for _, m := range r.Missing {
		a.say("before it can be frozen: %s", m)
	}
	for _, o := range r.Offers {
		a.say("nothing new to tell; %s: %s, %q, %s", o.Kind, o.ID, o.Title, o.Why)
	}
	a.say("look at %s and %s", r.HTML, r.Text)
	if r.Head != "" {
		a.say("ledger head %s", r.Head)
	}
}

// sayUndecided names the corrections that would lead if somebody decided on them.
func (s *session) sayUndecided() {
	for _, u := range s.desk.Units() {
		if u.Kind == "correction" && u.Standing == clearance.Waiting {
			s.app.say("  %s waits for a decision, and would lead: opencowl decide %s --by WHO", u.ID, u.ID)
		}
	}
}

// sayNext names the command that follows on from how an edition stands.
func (a *app) sayNext(r *editionReport) {
	switch {
	case r.State == store.Frozen:
		a.say("next: a proof to yourself, opencowl post %s --by WHO --proof YOU; then to everybody, opencowl post %s --by WHO", r.Week, r.Week)
	case r.Digest == "" && len(r.Missing) == 0:
		a.say("next: opencowl edition %s --freeze --by WHO", r.Week)
	}
}
