package clearance

import (
	"cmp"
	"slices"
	"strings"

	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/wording"
)

// Material hands over what an edition is made from today: all that is cleared,
// what keeps the rest in, the movement of now and of the last freeze, and what the
// editions before told.
func (d *Desk) Material() edition.Material {
	return edition.Material{Stories: d.Stories(), Corrections: d.Corrections(), Held: d.held(), Glossary: d.Words(),
		Movement: d.Movement(), History: d.History(), Before: d.before, Told: slices.Clone(d.records), Areas: d.Areas(), RollOut: d.ws.Settings.RollOut, On: d.today}
}

// held says of each story that may not leave what has to be decided first: its
// words, or a picture shown with it.
func (d *Desk) held() map[string]edition.Held {
	held := map[string]edition.Held{}
	for _, u := range d.units {
		if u.story == nil || d.whyNot(u) == "" {
			continue
		}
		h := d.whatHolds(u)
		h.Title = u.Title
		h.Wanted = u.story.IsFor(wording.ForMembers) && len(d.told[u.story.ID]) == 0 && u.Standing != Refused && u.Standing != Withdrawn
		held[u.story.ID] = h
	}
	return held
}

func (d *Desk) whatHolds(u *Unit) edition.Held {
	var why, decide []string
	passes := true
	for _, id := range append([]string{u.ID}, u.Photos...) {
		of := d.byID[id]
		passes = passes && !of.Stops()
		if of.Standing == Cleared {
			continue
		}
		said := map[Standing]string{Stale: "changed since it was cleared", Refused: "was refused", Withdrawn: "was withdrawn", Kept: "is not offered for publication"}[of.Standing]
		why = append(why, id+" "+cmp.Or(said, "waits for a decision"))
		decide = append(decide, id)
	}
	if !passes || len(decide) == 0 {
		return edition.Held{Why: strings.Join(append(why, "it does not pass the checks"), ", "), Remedy: "see what opencowl check says"}
	}
	return edition.Held{Why: strings.Join(why, ", "), Remedy: "decide with opencowl decide " + strings.Join(decide, " ") + " --by WHO"}
}
