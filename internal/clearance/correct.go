package clearance

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/internal/workspace"
)

// kindCorrected is a ledger row that holds the words of a correction.
const kindCorrected = "corrected"

// correction is what the ledger keeps of one.
type correction struct {
	Story string `json:"story"`
	Say   string `json:"say"`
}

// gatherCorrections makes a unit of each correction that was ever written.
func (d *Desk) gatherCorrections(ctx context.Context) error {
	rows, err := d.books.Ledger(ctx, store.Filter{Kind: kindCorrected})
	if err != nil {
		return err
	}
	for _, r := range rows {
		var c correction
		if err := json.Unmarshal(r.Detail, &c); err != nil {
			return fmt.Errorf("ledger row %d cannot be read back: %w", r.Seq, err)
		}
		d.addCorrection(r.Unit, r.Who, c)
	}
	return nil
}

func (d *Desk) addCorrection(id, writer string, c correction) *Unit {
	u := &Unit{ID: id, Kind: "correction", Title: "to " + c.Story, writer: writer, correction: c}
	u.Texts = []wording.Text{{Field: "say", Value: c.Say, Place: reading.Place{File: id}}}
	u.Findings = d.checkTexts(u, u.Texts)
	u.Digest = digest(append(u.publicTexts(), c.Story))
	d.add(u)
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
	if strings.TrimSpace(say) == "" {
		return nil, fmt.Errorf("%s: a correction needs words; say what is right", story.ID)
	}
	c := correction{Story: story.story.ID, Say: strings.TrimSpace(say)}
	n := 1
	for _, u := range d.units {
		if u.Kind == "correction" && u.correction.Story == c.Story {
			n++
		}
	}
	id := fmt.Sprintf("correction/%s-%d", c.Story, n)
	if _, err := d.books.Append(ctx, store.Entry{At: d.now(), Who: by, Kind: kindCorrected, Unit: id, Detail: c}); err != nil {
		return nil, err
	}
	u := d.addCorrection(id, by, c)
	return u, d.readDecisions(ctx)
}

// Corrections hands over the cleared corrections, the earliest first.
func (d *Desk) Corrections() []cleared.Correction {
	var all []cleared.Correction
	for _, u := range d.units {
		if u.Kind != "correction" || d.whyNot(u) != "" {
			continue
		}
		title := u.correction.Story
		if s, ok := d.words.Story(u.correction.Story); ok {
			title = s.Title
		}
		all = append(all, cleared.NewCorrection(cleared.CorrectionFields{ID: strings.TrimPrefix(u.ID, "correction/"),
			Story: u.correction.Story, Title: title, Say: u.correction.Say, On: u.On}))
	}
	return all
}
