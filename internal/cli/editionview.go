package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/post"
	"example.org/opencowl/internal/site"
	"example.org/opencowl/internal/store"
)

// editionReport is the machine output of edition.
type editionReport struct {
	Week        string             `json:"week"`
	State       string             `json:"state"` // draft, frozen, sending, stopped, sent
	Subject     string             `json:"subject"`
	Corrections []string           `json:"corrections,omitempty"` // they come before the stories
	Stories     []string           `json:"stories"`
	Contents    []edition.Content  `json:"contents"` // the stories, with why each is in
	HeldBack    []edition.HeldBack `json:"held_back,omitempty"`
	Figures     []edition.Figures  `json:"figures"`
	Season      *edition.Progress  `json:"season,omitempty"`  // what the chart shows
	Last        string             `json:"last,omitempty"`    // the edition before
	Changes     []edition.Figures  `json:"changes,omitempty"` // figures less those of the edition before
	Since       *edition.Figures   `json:"since,omitempty"`   // parts that came to each phase since then
	Offers      []edition.Offer    `json:"offers,omitempty"`
	Stock       edition.Stock      `json:"stock"`          // how long the store of stories will last
	Told        []toldTo           `json:"told,omitempty"` // who has had what is corrected or told again
	GoesTo      *goesTo            `json:"goes_to,omitempty"`
	Went        *toldTo            `json:"went,omitempty"`
	Notes       []string           `json:"notes,omitempty"`   // what to know before freezing or sending
	Missing     []string           `json:"missing,omitempty"` // what keeps it from being frozen
	Digest      string             `json:"digest,omitempty"`
	Head        string             `json:"head,omitempty"` // of the ledger, after freezing
	Letter      letterReport       `json:"letter"`
	Advice      []string           `json:"advice,omitempty"`
	HTML        string             `json:"html"`
	Text        string             `json:"text"`
	Officer     string             `json:"officer"` // what is said of it, for the officer alone
}

// goesTo is whom an edition would go to: numbers, never members.
type goesTo struct {
	Members int    `json:"members"`
	Since   string `json:"since,omitempty"` // the edition that was posted last
	Joined  int    `json:"joined"`
	Left    int    `json:"left"`

	words string
}

// officerFile stands beside the letter and is no part of it.
const officerFile = "officer.txt"

// showEdition writes an edition to look at: the frozen bytes once it is frozen,
// else what it would be now.
func (s *session) showEdition(ctx context.Context, week day.Week, out string) (*editionReport, error) {
	r := &editionReport{Week: week.String(), State: "draft", Stories: []string{}}
	m := s.desk.Material()
	frozen, err := s.db.Edition(ctx, week.String())
	var letter site.Letter
	switch {
	case err == nil:
		if letter, err = s.asItIs(ctx, frozen, m, r); err != nil {
			return nil, err
		}
	case errors.Is(err, store.ErrNotFound):
		if letter, err = s.wouldBe(ctx, week, m, r); err != nil {
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
	if err := s.addPeople(ctx, week, r); err != nil {
		return nil, err
	}
	r.HTML, r.Text, r.Officer = filepath.Join(out, "letter.html"), filepath.Join(out, "letter.txt"), filepath.Join(out, officerFile)
	said := s.editionLines(week, r)
	if err := s.writeLetter(out, letter, said); err != nil {
		return nil, err
	}
	for _, line := range said {
		s.app.say("%s", line)
	}
	s.app.say("look at %s and %s; what stands here is in %s too", r.HTML, r.Text, r.Officer)
	if r.Head != "" {
		s.app.say("ledger head %s", r.Head)
	}
	return r, nil
}

// overview takes over what the officer is told of an edition.
func (r *editionReport) overview(o edition.Overview) {
	r.Contents, r.HeldBack, r.Offers, r.Stock, r.Changes = o.Contents, o.HeldBack, o.Offers, o.Stock, o.Changes
	if !o.Last.IsZero() {
		r.Last = o.Last.String()
	}
	if r.State == "draft" {
		r.Since = &o.Since
	}
}

// asItIs tells of an edition from the moment it was frozen.
func (s *session) asItIs(ctx context.Context, frozen store.Edition, m edition.Material, r *editionReport) (site.Letter, error) {
	letter := site.Letter{Subject: frozen.Subject, HTML: frozen.HTML, Text: frozen.Text}
	record, err := recordOf(frozen)
	if err != nil {
		return letter, err
	}
	for _, p := range frozen.Pictures {
		letter.Pictures = append(letter.Pictures, site.Picture{ContentID: p.ContentID, Name: p.Name, JPEG: p.JPEG})
	}
	r.State, r.Digest, r.Corrections, r.Figures, r.Season = frozen.State, frozen.Digest, record.Corrections, record.Figures, record.Progress
	for _, t := range record.Stories {
		r.Stories = append(r.Stories, t.ID)
	}
	r.overview(record.Overview(m))
	r.Head, err = s.db.Head(ctx)
	return letter, err
}

// wouldBe makes the letter as it stands: clean when all of it is cleared,
// stamped DRAFT when not.
func (s *session) wouldBe(ctx context.Context, week day.Week, m edition.Material, r *editionReport) (site.Letter, error) {
	words, err := s.desk.DraftEditionWords(week)
	if err != nil {
		return site.Letter{}, err
	}
	for _, line := range lines(s.mayFreeze(week)) {
		r.Missing = append(r.Missing, line)
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
		r.Corrections, r.Stories, r.Figures, r.Season = preview.CorrectionIDs(), preview.StoryIDs(), preview.Figures(), preview.Progress()
		r.overview(preview.Overview(m))
	default:
		r.Missing = append(r.Missing, lines(e.Freezable())...)
		r.Corrections, r.Stories, r.Figures, r.Season = e.CorrectionIDs(), e.StoryIDs(), e.Figures, e.Progress
		r.overview(e.Overview(m))
	}
	return letter, nil
}

// addPeople says whom the edition would go to, who has had what it corrects or
// tells again, and what stands in the way of its order.
func (s *session) addPeople(ctx context.Context, week day.Week, r *editionReport) error {
	if err := s.toldBefore(ctx, r); err != nil {
		return err
	}
	if r.State != "draft" && r.State != store.Frozen {
		e, err := s.db.Edition(ctx, week.String())
		if err != nil {
			return err
		}
		went, err := s.reached(ctx, e)
		r.Went = &went
		return err
	}
	audience, err := post.Prepare(ctx, s.db, week.String(), s.today)
	if err != nil {
		return err
	}
	if !audience.Begun {
		r.GoesTo = &goesTo{audience.Letters, audience.Since, audience.Joined, audience.Left, audience.String()}
	}
	r.Notes, err = s.unsentBefore(ctx, week.String())
	return err
}

// toldBefore finds which editions told the stories that are corrected here, and
// those that are told again.
func (s *session) toldBefore(ctx context.Context, r *editionReport) error {
	var stories []string
	for _, u := range s.desk.Units() {
		if id, is := strings.CutPrefix(u.ID, "correction/"); is && slices.Contains(r.Corrections, id) {
			stories = append(stories, u.Corrects())
		}
	}
	stories = append(stories, r.Stories...)
	told, err := s.toldTo(ctx)
	if err != nil {
		return err
	}
	for _, t := range told {
		if slices.Contains(stories, t.Story) && t.Edition != r.Week {
			r.Told = append(r.Told, t)
		}
	}
	return nil
}

// unsentBefore names the editions before a week that are frozen and have not been
// posted: once this one goes, they can no longer go.
func (s *session) unsentBefore(ctx context.Context, week string) ([]string, error) {
	editions, err := s.db.Editions(ctx)
	if err != nil {
		return nil, err
	}
	var notes []string
	for _, e := range editions {
		if e.State == store.Frozen && e.Week < week {
			notes = append(notes, fmt.Sprintf("edition %s is frozen and has not been posted; once %s goes it can no longer go, and its stories count as told: post it first, or thaw it and freeze %s anew", e.Week, week, week))
		}
	}
	return notes, nil
}

// writeLetter writes a letter so that a browser shows its pictures, and beside it
// what the officer is told.
func (s *session) writeLetter(out string, l site.Letter, said []string) error {
	html := l.HTML
	files := map[string][]byte{"letter.txt": l.Text, officerFile: []byte("For the officer; no part of the letter.\n\n" + strings.Join(said, "\n") + "\n")}
	for _, p := range l.Pictures {
		html = bytes.ReplaceAll(html, []byte("cid:"+p.ContentID), []byte("pictures/"+p.Name))
		files["pictures/"+p.Name] = p.JPEG
	}
	files["letter.html"] = s.withLinked(html, files)
	_, err := s.ws.Writer.WriteTree(out, files)
	return err
}

// editionLines is what is said of an edition, line by line.
func (s *session) editionLines(week day.Week, r *editionReport) []string {
	var said []string
	say := func(format string, values ...any) { said = append(said, fmt.Sprintf(format, values...)) }
	say("edition %s, week of %s (%s): %s", r.Week, week.Monday().Words(), r.State, r.Subject)
	for _, id := range r.Corrections {
		say("  a correction leads, before the stories and to everybody: correction/%s", id)
	}
	if r.Digest == "" {
		said = append(said, s.undecided()...)
	}
	for _, c := range r.Contents {
		place := "with"
		if c.Lead {
			place = "lead"
		}
		say("  %s  %s%s", place, c.ID, after(": ", c.Why))
	}
	for _, t := range r.Told {
		say("  before: %s was told in %s", t.Story, t.words())
	}
	for _, f := range r.Figures {
		say("  %-10s %d parts: %s", f.Area.Name, f.Total(), figureList(f, changeOf(r.Changes, f.Area.Key)))
	}
	if r.Last != "" {
		said = append(said, sinceLine(r))
	}
	said = append(said, seasonLines(r.Season)...)
	for _, o := range r.Offers {
		say("nothing new to tell; %s: %s, %q, %s", o.Kind, o.ID, o.Title, o.Why)
	}
	for _, h := range r.HeldBack {
		if slices.ContainsFunc(r.Offers, func(o edition.Offer) bool { return o.ID == h.ID }) {
			continue // it has just been offered
		}
		say("held back: %s, %q: %s%s", h.ID, h.Title, h.Why, after("; ", h.Remedy))
	}
	say("%s", r.Stock)
	if r.GoesTo != nil {
		say("goes to %s", r.GoesTo.words)
	}
	if r.Went != nil {
		say("went out: %s%s", r.Went.words(), after(", on ", r.Went.On))
	}
	said = append(said, s.letterLines(r)...)
	for _, n := range r.Notes {
		say("mind: %s", n)
	}
	for _, m := range r.Missing {
		say("before it can be frozen: %s", m)
	}
	return said
}

// after joins words on, where there are any.
func after(joint, words string) string {
	if words == "" {
		return ""
	}
	return joint + words
}

// changeOf is how an area's figures changed; nothing where there is no edition to
// compare with.
func changeOf(changes []edition.Figures, area string) edition.Figures {
	i := slices.IndexFunc(changes, func(f edition.Figures) bool { return f.Area.Key == area })
	if i < 0 {
		return edition.Figures{}
	}
	return changes[i]
}

// figureList writes an area's figures, each with how it changed: "3 off (-1)".
func figureList(f, change edition.Figures) string {
	var all []string
	for i, n := range phases(f) {
		text := fmt.Sprintf("%d %s", n, phaseNames[i])
		if c := phases(change)[i]; c != 0 {
			text += fmt.Sprintf(" (%+d)", c)
		}
		all = append(all, text)
	}
	return strings.Join(all, ", ")
}

var phaseNames = [...]string{"off", "inspected", "waiting", "ready", "fitted"}

func phases(f edition.Figures) [len(phaseNames)]int {
	return [...]int{f.Off, f.Inspected, f.Waiting, f.Ready, f.Fitted}
}

// sinceLine says how many parts came to each phase since the edition before.
func sinceLine(r *editionReport) string {
	brackets := "in brackets: the change since " + r.Last
	if r.Since == nil {
		return brackets
	}
	var all []string
	for i, n := range phases(*r.Since) {
		if n > 0 {
			all = append(all, fmt.Sprintf("%d %s", n, phaseNames[i]))
		}
	}
	if len(all) == 0 {
		return brackets + "; no part has come further"
	}
	return brackets + "; newly " + strings.Join(all, ", ")
}

// undecided names the corrections that would lead if somebody decided on them.
func (s *session) undecided() []string {
	var said []string
	for _, u := range s.desk.Units() {
		if u.Kind == "correction" && u.Standing == clearance.Waiting {
			said = append(said, fmt.Sprintf("  %s waits for a decision, and would lead: opencowl decide %s --by WHO", u.ID, u.ID))
		}
	}
	return said
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
