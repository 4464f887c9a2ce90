package clearance

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/internal/workspace"
)

// correction is what the ledger keeps of one. The title is kept with it, so that
// readers meet the one they know, and not one that waits for a decision.
type correction struct {
	Story string `json:"story"`
	Title string `json:"title"`
	Say   string `json:"say"`

	written day.Date
}

// publicCorrection is all of a correction that a reader can see.
type publicCorrection struct {
	Story string
	Texts []string
	Facts []Fact
}

// ErrNotTold says that nobody has read a story yet, so that there is nothing to
// correct.
var ErrNotTold = errors.New("has not been told")

// gatherCorrections makes a unit of each correction that was ever written.
func (d *Desk) gatherCorrections(ctx context.Context) error {
	rows, err := d.books.Ledger(ctx, store.Filter{Kind: kindCorrected})
	if err != nil {
		return err
	}
	for _, r := range rows {
		c := correction{written: day.Of(r.At.In(d.ws.Settings.Workshop.Timezone.Location))}
		if err := json.Unmarshal(r.Detail, &c); err != nil {
			return fmt.Errorf("ledger row %d cannot be read back: %w", r.Seq, err)
		}
		d.add(d.correctionUnit(r.Unit, r.Who, c))
	}
	return nil
}

// correctionUnit fills in a correction's released facts and checks it as its
// story is checked.
func (d *Desk) correctionUnit(id, writer string, c correction) *Unit {
	u := &Unit{ID: id, Kind: "correction", Title: c.Title, File: id, writer: writer, correction: &c}
	at := reading.Place{File: id, Line: 1, Column: 1}
	texts := []wording.Text{{Field: "title", Value: c.Title, Place: at}, {Field: "say", Value: c.Say, Place: at}}
	for _, t := range texts {
		_, faults := wording.Facts(t)
		for _, f := range faults {
			u.Findings = append(u.Findings, Finding{f, id})
		}
	}
	u.Texts = d.fill(u, texts)
	story, known := d.words.Story(c.Story)
	f := &Unit{ID: id, story: story}
	if !known { // its file is gone; what was told of it is not
		story, f.story = &wording.Story{}, nil
	}
	f.Findings = d.checkTexts(f, texts)
	for _, t := range u.Texts {
		d.checkSentences(f, story, t)
	}
	u.Findings = append(u.Findings, f.Findings...)
	for i := range u.Findings {
		u.Findings[i].Remedy += "; what was written stays as it is, so refuse it and write another"
	}
	u.Digest = digest(publicCorrection{c.Story, u.publicTexts(), u.Facts})
	return u
}

// Correct writes a correction to a story that has been told. It is a unit like
// any other: it goes out once somebody else has cleared it.
func (d *Desk) Correct(ctx context.Context, story *Unit, say, by string) (*Unit, error) {
	if story.story == nil {
		return nil, fmt.Errorf("%s is a %s; only a story is corrected", story.ID, story.Kind)
	}
	if _, ok := d.ws.Settings.PersonByID(by); !ok {
		return nil, fmt.Errorf("%q %w: nobody of that name is in %s; name one of %s", by, ErrMayNot, workspace.SettingsFile, strings.Join(d.ws.Settings.PeopleIDs(), ", "))
	}
	say = strings.Join(strings.Fields(say), " ")
	if say == "" {
		return nil, fmt.Errorf("%s: a correction needs words; say what is right", story.ID)
	}
	if reading.Visible(say) != say {
		return nil, fmt.Errorf("%s: the correction holds a character that does not show (%s); take it out", story.ID, reading.Visible(say))
	}
	if !d.hasBeenTold(story.story.ID) {
		return nil, fmt.Errorf("%s %w: no edition, card or page has it; change its words in %s instead", story.ID, ErrNotTold, story.File)
	}
	c := correction{Story: story.story.ID, Title: d.knownAs(story), Say: say, written: d.today}
	id := fmt.Sprintf("correction/%s-%d", c.Story, 1+len(d.CorrectionsOf(story)))
	u := d.correctionUnit(id, by, c)
	if _, err := d.books.Append(ctx, store.Entry{At: d.now(), Who: by, Kind: kindCorrected, Unit: id, Digest: u.Digest, Detail: c}); err != nil {
		return nil, err
	}
	d.add(u)
	return u, d.readDecisions(ctx)
}

// hasBeenTold reports whether somebody outside may have read a story: a frozen
// edition has it, or a card was printed, or the archive showed it.
func (d *Desk) hasBeenTold(story string) bool {
	return len(d.told[story]) > 0 || d.shown["story/"+story]
}

// knownAs is the title under which members last read a story; one that only
// visitors have read goes by what it is called now.
func (d *Desk) knownAs(story *Unit) string {
	if told := d.told[story.story.ID]; len(told) > 0 {
		return told[len(told)-1].title
	}
	return story.text("title")
}

// CorrectionsOf lists the corrections to a story in the order in which they were
// written.
func (d *Desk) CorrectionsOf(story *Unit) []*Unit {
	var all []*Unit
	for _, u := range d.units {
		if u.correction != nil && "story/"+u.correction.Story == story.ID {
			all = append(all, u)
		}
	}
	return all
}

// Written returns what a correction says and the day it was written.
func (u *Unit) Written() (say string, on day.Date) {
	if u.correction == nil {
		return "", day.Date{}
	}
	return u.text("say"), u.correction.written
}

// Corrects returns the id of the story that a correction is to; "" for any other
// unit.
func (u *Unit) Corrects() string {
	if u.correction == nil {
		return ""
	}
	return u.correction.Story
}

// Corrections hands over the cleared corrections, told or not, in the order in
// which they were written. One to a story that was thawed before anybody read it
// stays in.
func (d *Desk) Corrections() []cleared.Correction {
	var all []cleared.Correction
	for _, u := range d.units {
		if u.correction != nil && d.whyNot(u) == "" && d.hasBeenTold(u.correction.Story) {
			all = append(all, d.correction(u))
		}
	}
	return all
}

// PublicCorrections hands over the cleared corrections to stories that the
// archive shows today.
func (d *Desk) PublicCorrections() []cleared.Correction {
	var all []cleared.Correction
	for _, c := range d.Corrections() {
		if reached(c.PublicFrom(), d.today) {
			all = append(all, c)
		}
	}
	return all
}

// HeldCorrections is the error of the corrections that were cleared, have not gone
// out, and may not leave as things stand: an edition without them would leave
// them out and say nothing.
func (d *Desk) HeldCorrections() error {
	var held []error
	for _, u := range d.units {
		if u.correction == nil || u.Standing != Cleared && u.Standing != Stale {
			continue
		}
		if _, told := d.corrected[correctionID(u)]; !told && d.hasBeenTold(u.correction.Story) {
			held = append(held, d.mayLeave(u.ID))
		}
	}
	return errors.Join(held...)
}

func correctionID(u *Unit) string { return strings.TrimPrefix(u.ID, "correction/") }

func (d *Desk) correction(u *Unit) cleared.Correction {
	f := cleared.CorrectionFields{ID: correctionID(u), Story: u.correction.Story, Title: u.text("title"), Say: u.text("say"),
		ToldIn: d.corrected[correctionID(u)], Digest: u.Digest}
	if s, ok := d.byID["story/"+f.Story]; ok && d.whyNot(s) == "" {
		if from := d.publicFrom(s.story); !from.IsZero() {
			f.PublicFrom = later(from, d.first[u.ID])
		}
	}
	return cleared.NewCorrection(f)
}
