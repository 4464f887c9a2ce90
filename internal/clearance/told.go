package clearance

import (
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/wording"
)

// Told is what a card says of a story and rests on, as it was printed: kept in
// the ledger, so that it can be said later what has changed. Parts stand in it
// by their opaque keys, as movement is handed over.
type Told struct {
	Words       string      `json:"words"` // digest of the words alone, without facts and photos
	Facts       []Fact      `json:"facts,omitempty"`
	Photo       string      `json:"photo,omitempty"` // digest of the one that is shown, the first
	Parts       []PartPlace `json:"parts,omitempty"`
	Corrections []string    `json:"corrections,omitempty"` // ids of those that were cleared by then
}

// PartPlace is how far one part had come.
type PartPlace struct {
	Key  string `json:"key"`
	Step string `json:"step"`
	Pile string `json:"pile,omitempty"`
}

// ToldNow is what a card of a story says and rests on today.
func (d *Desk) ToldNow(story string) Told {
	u, ok := d.byID["story/"+story]
	if !ok {
		return Told{}
	}
	t := Told{Words: digest(d.wordsAlone(u)), Facts: u.Facts, Parts: d.placesOf(u)}
	if len(u.Photos) > 0 {
		t.Photo = d.byID[u.Photos[0]].Digest
	}
	for _, c := range d.CorrectionsOf(u) {
		if c.Standing == Cleared {
			t.Corrections = append(t.Corrections, c.ID)
		}
	}
	return t
}

// wordsAlone is what a card says of a story with its facts and photo left out. The
// longer account is on no card, nor is when and to whom it may be told.
func (d *Desk) wordsAlone(u *Unit) publicStory {
	p := publicStory{ID: u.story.ID, Area: u.story.Area, Props: d.props(u.story), Cautions: u.story.Cautions}
	for _, t := range u.story.Texts() {
		if t.Field != "body" {
			p.Texts = append(p.Texts, t.Field, t.Value)
		}
	}
	for _, c := range u.story.Claims {
		p.Texts = append(p.Texts, c.Status)
	}
	return p
}

// placesOf is the movement of a story's parts.
func (d *Desk) placesOf(u *Unit) []PartPlace {
	var all []PartPlace
	for _, id := range u.story.Parts {
		if p, ok := d.log.Part(id); ok {
			if m, ok := d.movementOf(p); ok {
				all = append(all, PartPlace{m.Key, m.Step, m.Pile})
			}
		}
	}
	slices.SortFunc(all, func(a, b PartPlace) int { return strings.Compare(a.Key, b.Key) })
	return all
}

// NoLongerTrue says why a card of a story, printed when the story had a digest,
// is not to be shown any more; nothing when it is as true as it was. Was is
// what the card said and rested on; nil where a printing did not keep it.
func (d *Desk) NoLongerTrue(story, digest string, was *Told) []string {
	u, ok := d.byID["story/"+story]
	if !ok {
		return []string{"its story is gone from wording/"}
	}
	var why []string
	switch on, taken := d.withdrawn[u.ID]; {
	case taken:
		why = append(why, "its story was withdrawn on "+on.Words())
	default:
		if not := d.whyNotTold(u); not != "" {
			why = append(why, "its story "+not)
		}
	}
	if was == nil {
		if digest != u.Digest {
			why = append(why, "its words, a fact or a photo changed")
		}
		return why
	}
	now := d.ToldNow(story)
	if was.Words != now.Words {
		why = append(why, "its words changed")
	}
	why = append(why, factsChanged(was.Facts, now.Facts)...)
	if was.Photo != now.Photo {
		why = append(why, "its photo changed")
	}
	why = append(why, partsMoved(was.Parts, now.Parts)...)
	for _, c := range d.CorrectionsOf(u) {
		if slices.Contains(now.Corrections, c.ID) && !slices.Contains(was.Corrections, c.ID) {
			why = append(why, fmt.Sprintf("it was corrected on %s: %s", c.On.Words(), c.text("say")))
		}
	}
	return why
}

func factsChanged(was, now []Fact) []string {
	var why []string
	for _, f := range now {
		i := slices.IndexFunc(was, func(w Fact) bool { return w.Name == f.Name && w.Form == f.Form })
		switch {
		case i < 0: // the words name it anew, and have changed
		case was[i].Value != f.Value:
			why = append(why, fmt.Sprintf("a fact changed: %s was %s and is %s", f.Name, was[i].Value, f.Value))
		}
	}
	slices.Sort(why)
	return slices.Compact(why)
}

func partsMoved(was, now []PartPlace) []string {
	var why []string
	for _, p := range now {
		i := slices.IndexFunc(was, func(w PartPlace) bool { return w.Key == p.Key })
		switch {
		case i < 0:
			why = append(why, "work began on a part of it: "+stepWords(p.Step))
		case was[i].Step != p.Step:
			why = append(why, fmt.Sprintf("a part of it has come further: %s then, %s now", stepWords(was[i].Step), stepWords(p.Step)))
		case was[i].Pile != p.Pile:
			why = append(why, fmt.Sprintf("a part of it changed piles: %s then, %s now", pileWords(was[i].Pile), pileWords(p.Pile)))
		}
	}
	for _, w := range was {
		if !slices.ContainsFunc(now, func(p PartPlace) bool { return p.Key == w.Key }) {
			why = append(why, "a part of it is no longer counted")
		}
	}
	return why
}

func stepWords(step string) string { return strings.ReplaceAll(step, "-", " ") }

func pileWords(pile string) string {
	if pile == "" {
		return "none"
	}
	return pile
}

// letOut is what of a unit might leave from a day on: what had a digest, or
// nothing.
type letOut struct {
	on     day.Date
	digest string
}

// newsSince says what is new in a story since a day; a zero day asks for nothing.
func (d *Desk) newsSince(u *Unit, since day.Date) cleared.Changes {
	s := u.story
	if since.IsZero() {
		return cleared.Changes{}
	}
	then := ""
	for _, l := range d.let[u.ID] {
		if !l.on.After(since) {
			then = l.digest
		}
	}
	sent := d.firstSent(s.ID)
	if then == "" || s.NotBefore.After(since) || s.IsFor(wording.ForMembers) && !reached(sent, since) {
		return cleared.Changes{Story: true}
	}
	return cleared.Changes{Words: then != u.Digest, Work: slices.ContainsFunc(s.Parts, func(part string) bool { return d.movedSince(part, since) })}
}

// movedSince reports whether a part that counts in movement has come further
// since a day, or to another pile.
func (d *Desk) movedSince(part string, since day.Date) bool {
	p, ok := d.log.Part(part)
	if !ok || !p.Figures {
		return false
	}
	then, now := d.log.StateOn(part, since), d.log.StateOn(part, d.today)
	return then.Step != now.Step || then.Pile != now.Pile
}
