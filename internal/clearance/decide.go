package clearance

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// Kinds of ledger rows that clearance writes and reads.
const (
	kindCleared   = "cleared"
	kindRefused   = "refused"
	kindAccepted  = "accepted"
	kindWithdrawn = "withdrawn"
	kindCorrected = "corrected"
)

// Kinds of ledger rows that say a unit was told; whoever prints and publishes
// writes them.
const (
	kindPrinted   = "printed"
	kindPublished = "published"
)

// Decision is what somebody decided.
type Decision struct {
	By     string
	Refuse bool
	Why    string // needed to refuse
	// NothingReadable answers, for units with pictures: no face, plate, drawing,
	// paper or screen is readable here.
	NothingReadable bool
}

// decisionDetail is kept in the ledger beside the digest.
type decisionDetail struct {
	Facts           []Fact   `json:"facts,omitempty"`
	Photos          []string `json:"photos,omitempty"`
	NothingReadable bool     `json:"nothing_readable,omitempty"`
	Why             string   `json:"why,omitempty"`
	Code            string   `json:"code,omitempty"` // of the finding that was accepted
}

// ErrMayNot says that a person may not take this decision.
var ErrMayNot = errors.New("may not decide this")

// ErrNotReady says that a unit cannot be cleared as it stands.
var ErrNotReady = errors.New("cannot be cleared as it stands")

// readDecisions works out how each unit stands.
func (d *Desk) readDecisions(ctx context.Context) error {
	rows, err := d.books.Ledger(ctx, store.Filter{})
	if err != nil {
		return err
	}
	for _, u := range d.units {
		u.Standing = Waiting
		if u.kept {
			u.Standing = Kept
		}
	}
	d.withdrawn, d.shown, d.let = map[string]day.Date{}, map[string]bool{}, map[string][]letOut{}
	for _, r := range rows {
		on := day.Of(r.At.In(d.ws.Settings.Workshop.Timezone.Location))
		switch r.Kind {
		case kindWithdrawn:
			d.withdrawn[r.Unit] = on
		case kindCleared:
			delete(d.withdrawn, r.Unit)
		case kindPrinted, kindPublished:
			d.shown[r.Unit] = true
		}
		switch r.Kind {
		case kindCleared:
			d.let[r.Unit] = append(d.let[r.Unit], letOut{on, r.Digest})
		case kindRefused, kindWithdrawn:
			d.let[r.Unit] = append(d.let[r.Unit], letOut{on: on})
		}
		if r.Kind == kindCleared {
			if _, before := d.first[r.Unit]; !before {
				d.first[r.Unit] = on
			}
		}
		u, ok := d.byID[r.Unit]
		if !ok || u.kept {
			continue
		}
		switch r.Kind {
		case kindCleared, kindRefused, kindWithdrawn:
			u.By, u.On = r.Who, on
		case kindAccepted:
			if err := u.accept(r, on); err != nil {
				return err
			}
			continue
		default:
			continue
		}
		switch {
		case r.Kind == kindWithdrawn:
			u.Standing = Withdrawn
		case r.Kind == kindRefused && r.Digest == u.Digest:
			u.Standing = Refused
		case r.Kind == kindRefused:
			u.Standing = Waiting
		case r.Digest == u.Digest:
			u.Standing = Cleared
		default:
			u.Standing = Stale
		}
	}
	return nil
}

// accept turns the findings that somebody accepted into advice that says so. It
// holds for these words only: another digest, and the finding stops again.
func (u *Unit) accept(r store.Row, on day.Date) error {
	var detail decisionDetail
	if err := json.Unmarshal(r.Detail, &detail); err != nil {
		return fmt.Errorf("ledger row %d cannot be read back: %w", r.Seq, err)
	}
	if r.Digest != u.Digest {
		return nil
	}
	if u.accepted == nil {
		u.accepted = map[string]bool{}
	}
	u.accepted[detail.Code] = true
	for i, f := range u.Findings {
		if f.Code == detail.Code && !f.Advice {
			u.Findings[i].Advice = true
			u.Findings[i].Remedy = fmt.Sprintf("accepted by %s on %s: %s", r.Who, on, detail.Why)
		}
	}
	return nil
}

// Accept records that a finding of a unit, as its words stand, is no leak and no
// contradiction after all. Whoever may decide on the unit may accept; what is the
// engineer's to say is accepted by an engineer.
func (d *Desk) Accept(ctx context.Context, u *Unit, code, by, why string) error {
	if err := d.MayDecide(u, by); err != nil {
		return err
	}
	if strings.TrimSpace(why) == "" {
		return fmt.Errorf("%s: accepting a finding needs a reason; say why", u.ID)
	}
	if p, _ := d.ws.Settings.PersonByID(by); engineersOwn[code] && !p.Has(workspace.Engineer) {
		return fmt.Errorf("%s %w: what is airworthy or safe is for an engineer to say", by, ErrMayNot)
	}
	if !slices.ContainsFunc(u.Findings, func(f Finding) bool { return f.Code == code && !f.Advice }) {
		return fmt.Errorf("%s has no finding %q that stops it", u.ID, code)
	}
	_, err := d.books.Append(ctx, store.Entry{At: d.now(), Who: by, Kind: kindAccepted, Unit: u.ID, Digest: u.Digest, Detail: decisionDetail{Code: code, Why: why}})
	if err != nil {
		return err
	}
	return d.readDecisions(ctx)
}

// engineersOwn are the findings that only an engineer may accept.
var engineersOwn = map[string]bool{"assertion": true, "contradiction": true}

// Withdraw takes a story, a photo or a translation back: the archive says so at its next build,
// and nothing prints or sends it until somebody clears it again.
func (d *Desk) Withdraw(ctx context.Context, u *Unit, by, why string) error {
	if u.Kind != "story" && u.Kind != "photo" && u.Kind != "translation" {
		return fmt.Errorf("%s is a %s; only a story, a photo or a translation is withdrawn", u.ID, u.Kind)
	}
	if _, ok := d.ws.Settings.PersonByID(by); !ok {
		return fmt.Errorf("%q %w: nobody of that name is in %s; name one of %s", by, ErrMayNot, workspace.SettingsFile, strings.Join(d.ws.Settings.PeopleIDs(), ", "))
	}
	if strings.TrimSpace(why) == "" {
		return fmt.Errorf("%s: withdrawing needs a reason; say why", u.ID)
	}
	if u.Standing == Withdrawn {
		return fmt.Errorf("%s was withdrawn on %s by %s already", u.ID, u.On, u.By)
	}
	if _, before := d.first[u.ID]; !before {
		return fmt.Errorf("%s was never cleared, so there is nothing to take back", u.ID)
	}
	if _, err := d.books.Append(ctx, store.Entry{At: d.now(), Who: by, Kind: kindWithdrawn, Unit: u.ID, Digest: u.Digest, Detail: decisionDetail{Why: why}}); err != nil {
		return err
	}
	return d.readDecisions(ctx)
}

// MayDecide reports whether a person may decide on a unit: engineers decide, and
// officers decide editions; under two people nobody decides on their own words or
// their own photo.
func (d *Desk) MayDecide(u *Unit, by string) error {
	s := d.ws.Settings
	p, ok := s.PersonByID(by)
	if !ok {
		return fmt.Errorf("%q %w: nobody of that name is in %s; name one of %s", by, ErrMayNot, workspace.SettingsFile, strings.Join(s.PeopleIDs(), ", "))
	}
	needed := workspace.Engineer
	if u.Kind == "edition" {
		needed = workspace.Officer
	}
	if !p.Has(needed) {
		return fmt.Errorf("%s %w: %s is decided by an %s", by, ErrMayNot, u.ID, needed)
	}
	if !s.Clearing.TwoPeople {
		return nil
	}
	if u.ID == "settings" {
		if p.Has(workspace.Keeper) {
			return fmt.Errorf("%s %w: whoever keeps the settings cannot clear them; ask an engineer who does not", by, ErrMayNot)
		}
		return nil
	}
	switch u.writer {
	case "":
		return fmt.Errorf("%s: %w: nobody is named as its writer; write written_by: (or by: for a photo) and who it was", u.ID, ErrMayNot)
	case by:
		return fmt.Errorf("%s %w: %s is their own work; ask somebody else", by, ErrMayNot, u.ID)
	}
	return nil
}

// Ready reports whether a unit may be cleared as it stands.
func (d *Desk) Ready(u *Unit) error {
	if u.kept {
		return fmt.Errorf("%s: %w: it is not offered for publication", u.ID, ErrNotReady)
	}
	for _, f := range u.Findings {
		if !f.Advice {
			return fmt.Errorf("%s: %w: %w", u.ID, ErrNotReady, f.Problem)
		}
	}
	for _, p := range d.problems {
		if p.Advice {
			continue
		}
		if p.File == u.File {
			return fmt.Errorf("%s: %w: %w", u.ID, ErrNotReady, p)
		}
		if top, _, _ := strings.Cut(p.File, "/"); top == "parts" || top == "log" || top == "photos" {
			return fmt.Errorf("%s: %w: what is private cannot be known while the record has a problem: %w", u.ID, ErrNotReady, p)
		}
	}
	return nil
}

// HasPictures reports whether whoever decides must say that nothing private is
// readable in a picture. Whoever decides on a translation sees those of its original,
// for which that was answered.
func (u *Unit) HasPictures() bool { return u.Kind == "photo" || u.of == nil && len(u.Photos) > 0 }

// Decide records a decision on units, all or none.
func (d *Desk) Decide(ctx context.Context, units []*Unit, decision Decision) error {
	var faults []error
	var entries []store.Entry
	for _, u := range units {
		faults = append(faults, d.MayDecide(u, decision.By))
		kind := kindCleared
		if decision.Refuse {
			kind = kindRefused
			if strings.TrimSpace(decision.Why) == "" {
				faults = append(faults, fmt.Errorf("%s: a refusal needs a reason; say why", u.ID))
			}
		} else {
			faults = append(faults, d.Ready(u))
			if u.HasPictures() && !decision.NothingReadable {
				faults = append(faults, fmt.Errorf("%s: look at its pictures and answer that no face, plate, drawing, paper or screen is readable in them", u.ID))
			}
		}
		detail := decisionDetail{Facts: u.Facts, Photos: u.Photos, Why: decision.Why,
			NothingReadable: decision.NothingReadable && u.HasPictures()}
		entries = append(entries, store.Entry{At: d.now(), Who: decision.By, Kind: kind, Unit: u.ID, Digest: u.Digest, Detail: detail})
	}
	if err := errors.Join(faults...); err != nil {
		return err
	}
	if _, err := d.books.Append(ctx, entries...); err != nil {
		return err
	}
	return d.readDecisions(ctx)
}

// LastReason returns why a unit was refused last.
func (d *Desk) LastReason(ctx context.Context, u *Unit) (string, error) {
	rows, err := d.books.Ledger(ctx, store.Filter{Unit: u.ID, Kind: kindRefused})
	if err != nil || len(rows) == 0 {
		return "", err
	}
	var detail decisionDetail
	err = json.Unmarshal(rows[len(rows)-1].Detail, &detail)
	return detail.Why, err
}

// Find turns what a person typed into units: full ids, or an id that only one
// kind has.
func (d *Desk) Find(names []string) ([]*Unit, error) {
	var units []*Unit
	var faults []error
	for _, name := range names {
		var found []*Unit
		for _, u := range d.units {
			if u.ID == name || strings.HasSuffix(u.ID, "/"+name) {
				found = append(found, u)
			}
		}
		switch len(found) {
		case 1:
			if !slices.Contains(units, found[0]) {
				units = append(units, found[0])
			}
		case 0:
			faults = append(faults, fmt.Errorf("there is no unit %q; opencowl decide lists them", name))
		default:
			var ids []string
			for _, u := range found {
				ids = append(ids, u.ID)
			}
			faults = append(faults, fmt.Errorf("%q could be %s; write it in full", name, strings.Join(ids, " or ")))
		}
	}
	return units, errors.Join(faults...)
}

// About turns the id of a part or of a story into the stories that tell of it.
func (d *Desk) About(name string) ([]*Unit, error) {
	var units []*Unit
	for _, u := range d.units {
		if u.story != nil && (u.story.ID == name || u.ID == name || slices.Contains(u.story.Parts, name)) {
			units = append(units, u)
		}
	}
	if len(units) == 0 {
		if _, known := d.log.Part(name); known {
			return nil, fmt.Errorf("no story tells of the part %q", name)
		}
		return nil, fmt.Errorf("there is no part and no story %q", name)
	}
	return units, nil
}

// Withdrawn lists the stories that are taken back, by id, with the day.
func (d *Desk) Withdrawn() map[string]day.Date {
	stories := map[string]day.Date{}
	for unit, on := range d.withdrawn {
		if id, ok := strings.CutPrefix(unit, "story/"); ok && reading.IsID(id) { // no translation
			stories[id] = on
		}
	}
	return stories
}

// PhotosWaiting lists the pictures that keep a cleared unit in.
func (d *Desk) PhotosWaiting(u *Unit) []string {
	var waiting []string
	for _, id := range u.Photos {
		if d.byID[id].Standing != Cleared {
			waiting = append(waiting, id)
		}
	}
	return waiting
}
