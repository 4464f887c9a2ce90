package clearance

import (
	"cmp"
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

// ToldNow is what a card of a story says and rests on today, in a language of the
// workshop; "" is its own.
func (d *Desk) ToldNow(story, language string) Told {
	u, ok := d.byID[storyIn(story, language)]
	if !ok {
		return Told{}
	}
	t := Told{Words: digest(d.wordsAlone(u)), Facts: u.Facts, Parts: d.placesOf(u)}
	if len(u.Photos) > 0 {
		t.Photo = d.byID[u.Photos[0]].Digest
	}
	original := cmp.Or(u.of, u)
	for _, c := range d.CorrectionsOf(original) {
		if c.Standing == Cleared {
			t.Corrections = append(t.Corrections, c.ID)
		}
	}
	return t
}

// storyIn is the unit that tells a story in a language.
func storyIn(story, language string) string {
	if language == "" {
		return "story/" + story
	}
	return "story/" + story + "." + language
}

// wordsAlone is what a card says of a story with its facts and photo left out. The
// longer account is on no card, nor are captions, photos but the first, and when and
// to whom it may be told.
func (d *Desk) wordsAlone(u *Unit) publicStory {
	s := u.about()
	p := publicStory{ID: s.ID, Area: s.Area, Props: d.props(u), Cautions: s.Cautions}
	for _, t := range u.written() {
		if t.Field != "body" && (!strings.HasPrefix(t.Field, "photos[") || t.Field == "photos[0].alt") {
			p.Texts = append(p.Texts, t.Field, t.Value)
		}
	}
	for _, c := range s.Claims {
		p.Texts = append(p.Texts, c.Status)
	}
	return p
}

// placesOf is the movement of a story's parts.
func (d *Desk) placesOf(u *Unit) []PartPlace {
	var all []PartPlace
	for _, id := range u.about().Parts {
		if p, ok := d.log.Part(id); ok {
			if m, ok := d.movementOf(p); ok {
				all = append(all, PartPlace{m.Key, m.Step, m.Pile})
			}
		}
	}
	slices.SortFunc(all, func(a, b PartPlace) int { return strings.Compare(a.Key, b.Key) })
	return all
}

// CardOf is a card as it was printed.
type CardOf struct {
	Story string
	// Asked is the language that was asked for, and In the one that it is in; "" is
	// the workshop's own. They differ where there was no translation.
	Asked, In string
	Digest    string // of the unit that it tells
	Told      *Told  // what it said and rested on; nil where a printing did not keep it
}

// NoLongerTrue says why a printed card of a story is not to be shown any more;
// nothing when it is as true as it was.
func (d *Desk) NoLongerTrue(c CardOf) []string {
	original, ok := d.byID["story/"+c.Story]
	if !ok {
		return []string{"its story is gone from wording/"}
	}
	u := original
	var why []string
	switch on, taken := d.withdrawn[u.ID]; {
	case taken:
		why = append(why, "its story was withdrawn on "+on.Words())
	default:
		if not := d.whyNotTold(u); not != "" {
			why = append(why, "its story "+not)
		}
	}
	if c.In != "" {
		if u, ok = d.byID[storyIn(c.Story, c.In)]; !ok {
			return append(why, "its translation is gone from wording/")
		}
		if not := d.whyNot(u); not != "" && len(why) == 0 {
			why = append(why, "its translation "+not)
		}
	} else if c.Asked != "" && len(why) == 0 && d.whyNotIn(u, c.Asked) == "" {
		why = append(why, fmt.Sprintf("it is in %s for want of a translation, and one into %s is cleared now", d.ws.Settings.Workshop.Language, c.Asked))
	}
	if c.Told == nil {
		if c.Digest != u.Digest {
			why = append(why, "its words, a fact or a photo changed")
		}
		return why
	}
	was := c.Told
	now := d.ToldNow(c.Story, c.In)
	if was.Words != now.Words {
		why = append(why, "its words changed")
	}
	why = append(why, factsChanged(was.Facts, now.Facts)...)
	if was.Photo != now.Photo {
		why = append(why, "its photo changed")
	}
	why = append(why, partsMoved(was.Parts, now.Parts)...)
	for _, c := range d.CorrectionsOf(original) {
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
