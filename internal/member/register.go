package member

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
)

// Register is the members of a workspace, with what guards them. What it does is
// written down in the ledger, by whom and to whom: people by random ids alone.
type Register struct {
	DB      *store.DB
	Keys    *Keys
	Charity bool     // the workshop is a charity, so the soft opt-in is open to it
	Words   Wordings // what people are told when they agree
}

// TheMember is who did something that a member did themselves. No id of somebody
// who works here looks like it.
const TheMember = "(the member)"

// Person is somebody who is to be brought in.
type Person struct {
	Address                 string
	Name                    string
	Consent                 Consent // of it Basis, Source, WordingVersion, At and SoftOptIn count; no At is now
	GivingFrom, GivingUntil day.Date
}

// ErrPerson is wrapped by errors about a person who cannot be brought in as they are.
var ErrPerson = errors.New("this person cannot be brought in")

// ErrKnown is returned for somebody who is here already.
var ErrKnown = errors.New("somebody with this address is here already")

// newcomer looks at a person as at a row of a list, and finds the words that they
// agreed to.
func (r Register) newcomer(p Person) (Member, Wording, error) {
	now := r.DB.Now()
	m := Member{Name: strings.TrimSpace(p.Name), Consent: p.Consent, GivingFrom: p.GivingFrom, GivingUntil: p.GivingUntil}
	if m.Consent.At.IsZero() {
		m.Consent.At = now
	}
	var faults []string
	address, err := Normalise(p.Address)
	if err != nil {
		faults = append(faults, err.Error())
	}
	m.Address = address
	for _, f := range slices.Concat(nameFaults(m.Name), m.Consent.faults(now, r.Charity), givingFaults(m)) {
		faults = append(faults, f.column+": "+f.remedy)
	}
	if len(faults) > 0 {
		return m, Wording{}, fmt.Errorf("%w: %s", ErrPerson, strings.Join(faults, "; "))
	}
	w, err := r.Words(m.Consent.WordingVersion)
	if err != nil {
		return m, w, err
	}
	m.Consent.WordingDigest = w.Digest
	return m, w, nil
}

// Add brings in somebody whose agreement the workshop holds, such as a signed form:
// they are joined at once. Whoever left or was forgotten is refused (ErrLeft): they
// come back only through Join.
func (r Register) Add(ctx context.Context, p Person, by string) (Member, error) {
	m, wording, err := r.newcomer(p)
	if err != nil {
		return Member{}, err
	}
	now := r.DB.Now()
	m.State, m.AddedAt = Joined, now
	err = r.DB.Tx(ctx, func(tx *sql.Tx) error {
		here, err := byAddressTx(ctx, tx, m.Address)
		switch {
		case err == nil && here.State == Left:
			return ErrLeft
		case err == nil:
			return fmt.Errorf("%w (%s)", ErrKnown, here.State)
		case !errors.Is(err, ErrNotFound):
			return err
		}
		if out, err := r.keptOut(ctx, tx, m.Address); err != nil {
			return err
		} else if out {
			return ErrLeft
		}
		if m.ID, err = r.DB.NewID(); err != nil {
			return err
		}
		if err := errors.Join(insert(ctx, tx, m), keepWording(ctx, tx, wording, now)); err != nil {
			return err
		}
		return r.note(ctx, tx, by, "member-added", m.ID, map[string]string{"basis": string(m.Consent.Basis), "wording": wording.Version})
	})
	if err != nil {
		return Member{}, err
	}
	return m, nil
}

// Leave has a member leave, at once and for good: no list brings them back. It is
// marked outside the database first, so that no backup brings them back either.
func (r Register) Leave(ctx context.Context, id, by string) error {
	var m Member
	err := r.DB.Tx(ctx, func(tx *sql.Tx) (err error) {
		m, err = GetTx(ctx, tx, id)
		return err
	})
	if err != nil {
		return err
	}
	if m.State == Left && m.AskedAt.IsZero() {
		return nil
	}
	if err := r.Keys.append(markLeft, m.Address); err != nil {
		return err
	}
	return r.move(ctx, id, Left, "member-left", by)
}

// Pause holds a member's letters back until Resume.
func (r Register) Pause(ctx context.Context, id, by string) error {
	return r.move(ctx, id, Paused, "member-paused", by)
}

// Resume has letters go again to a member who paused, or whose address was taken for
// dead.
func (r Register) Resume(ctx context.Context, id, by string) error {
	return r.move(ctx, id, Joined, "member-resumed", by)
}

func (r Register) move(ctx context.Context, id string, to State, kind, by string) error {
	return r.DB.Tx(ctx, func(tx *sql.Tx) error {
		if err := setState(ctx, tx, id, to, r.DB.Now()); err != nil {
			return err
		}
		return r.note(ctx, tx, by, kind, id, nil)
	})
}

// note writes a line of the ledger about a member.
func (r Register) note(ctx context.Context, tx *sql.Tx, by, kind, id string, detail any) error {
	_, err := r.DB.AppendTx(ctx, tx, store.Entry{Who: by, Kind: kind, Unit: unit(id), Detail: detail})
	return err
}

// unit is what the ledger calls a member.
func unit(id string) string { return "member/" + id }
