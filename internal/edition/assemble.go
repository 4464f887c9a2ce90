package edition

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
)

// evergreenAfter is how long an evergreen story rests before it may be told again.
const evergreenAfter = 52 // weeks

// chosenAtMost is how many stories an edition takes when the officer names none.
const chosenAtMost = 4

// Material is what an edition is made from.
type Material struct {
	Stories     []cleared.Story      // cleared; told or not
	Corrections []cleared.Correction // cleared; told or not, in the order in which they were written
	Held        map[string]Held      // by id: the stories that may not leave yet
	Glossary    []cleared.Word
	Movement    cleared.Movement       // now
	Before      []cleared.PartMovement // at the last freeze; nil when there was none
	Told        []Record               // earlier editions, oldest first
	Areas       []cleared.Area
	RollOut     day.Date
	On          day.Date
}

// Held says what keeps a story in, for the officer to read.
type Held struct{ Why, Remedy string }

// Offer is something to tell in a quiet week, for the officer to choose.
type Offer struct {
	Kind  string `json:"kind"` // held back, evergreen, a year ago, glossary
	ID    string `json:"id"`
	Title string `json:"title"`
	Why   string `json:"why"`
}

// ErrNothing says that an edition would hold nothing to read.
var ErrNothing = errors.New("there is nothing to tell this week")

// Refusal is a choice of the officer's that an edition cannot follow.
type Refusal struct{ Story, Message, Remedy string }

func (r *Refusal) Error() string {
	return fmt.Sprintf("story %s: %s; %s", r.Story, r.Message, r.Remedy)
}

// Assemble makes the edition for the officer's words. The officer's choice of
// stories wins; where none is named, the stories are those cleared for members,
// whose day has come, that no edition has told, about parts that have moved since
// the last edition. A correction that no edition has told leads, whatever else
// there is. Errors are Refusals, joined.
func Assemble(words cleared.EditionWords, m Material) (Edition, error) {
	a := assembly{words: words, week: words.Week(), m: m, moved: Moved(m.Before, m.Movement.Parts())}
	stories := a.named()
	if len(words.Stories()) == 0 {
		stories = append(stories, a.found(chosenAtMost-len(stories), stories)...)
	}
	e := Edition{Words: words, Corrections: a.untold(), Stories: stories, RollOut: m.RollOut, On: m.On,
		Figures: Count(m.Movement.Parts(), m.Areas), Since: since(m.Before, m.Movement.Parts())}
	if len(stories) == 0 {
		e.YearAgo = yearAgo(words.Week(), m.Told)
		e.Word = nextWord(m.Glossary, m.Told)
	}
	return e, errors.Join(a.refusals...)
}

// AssemblePreview makes a preview from words or stories that are not cleared
// yet. It is for the officer's eyes.
func AssemblePreview(words cleared.Draft[cleared.EditionWords], stories []cleared.Draft[cleared.Story], m Material) (Preview, error) {
	m.Stories = slices.Clone(m.Stories)
	for _, s := range stories {
		m.Stories = append(m.Stories, s.Preview())
	}
	e, err := Assemble(words.Preview(), m)
	return Preview{e}, err
}

// Freezable reports whether the edition holds something to read.
func (e Edition) Freezable() error {
	if strings.TrimSpace(e.Words.Subject()) == "" || strings.TrimSpace(e.Words.Opening()) == "" {
		return fmt.Errorf("edition %s has no subject or no opening words; write them in editions/%s.md", e.Words.Week(), e.Words.Week())
	}
	if len(e.Corrections) == 0 && len(e.Stories) == 0 && e.Word == nil && e.YearAgo == nil {
		return fmt.Errorf("edition %s: %w; name a story under lead, or add a glossary word", e.Words.Week(), ErrNothing)
	}
	return nil
}

// Record returns what is kept of the edition.
func (e Edition) Record() Record {
	r := Record{Week: e.Words.Week(), Subject: e.Words.Subject(), Preheader: e.Words.Preheader(),
		Opening: e.Words.Opening(), Corrections: e.CorrectionIDs(), Stories: []ToldStory{}, Figures: e.Figures}
	for _, s := range e.Stories {
		r.Stories = append(r.Stories, ToldStory{s.ID(), s.Title(), s.Digest()})
	}
	if e.Word != nil {
		r.Word = e.Word.ID()
	}
	return r
}

type assembly struct {
	words    cleared.EditionWords
	week     day.Week
	m        Material
	moved    map[string]cleared.PartMovement // changed parts, by story id: the furthest one
	refusals []error
}

// named returns the stories that the officer chose, the lead first.
func (a *assembly) named() []cleared.Story {
	var ids []string
	if a.words.Lead() != "" {
		ids = append(ids, a.words.Lead())
	}
	for _, id := range a.words.Stories() {
		if !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	var stories []cleared.Story
	for _, id := range ids {
		i := slices.IndexFunc(a.m.Stories, func(s cleared.Story) bool { return s.ID() == id })
		if i < 0 {
			a.refuseHeld(id)
			continue
		}
		s := a.m.Stories[i]
		switch {
		case !s.ForMembers():
			a.refuse(id, "is not for members", "add members to its for: list, or take it out of the edition")
		case s.NotBefore().After(a.m.On):
			a.refuse(id, "waits until "+s.NotBefore().Words(), "send it in a later edition")
		case !a.mayTell(s):
			a.refuse(id, fmt.Sprintf("was told in %s", s.ToldIn()), a.whenAgain(s))
		default:
			stories = append(stories, s)
		}
	}
	return stories
}

func (a *assembly) refuseHeld(id string) {
	h, known := a.m.Held[id]
	if !known {
		a.refuse(id, "is not in wording/", "correct its name, or take it out of the edition")
		return
	}
	a.refuse(id, "is not cleared for members: "+h.Why, h.Remedy+", or take it out of the edition")
}

func (a *assembly) refuse(id, message, remedy string) {
	a.refusals = append(a.refusals, &Refusal{id, message, remedy})
}

// untold are the corrections that no other edition has told.
func (a *assembly) untold() []cleared.Correction {
	var corrections []cleared.Correction
	for _, c := range a.m.Corrections {
		if c.ToldIn().IsZero() || c.ToldIn() == a.week {
			corrections = append(corrections, c)
		}
	}
	return corrections
}

// mayTell: a story leads or fills an edition once; an evergreen one may return.
func (a *assembly) mayTell(s cleared.Story) bool {
	if s.ToldIn().IsZero() || s.ToldIn() == a.week {
		return true
	}
	return s.Evergreen() && !a.week.Monday().Before(s.ToldIn().Monday().AddDays(7*evergreenAfter))
}

func (a *assembly) whenAgain(s cleared.Story) string {
	if s.Evergreen() {
		return fmt.Sprintf("it may return from %s", s.ToldIn().Monday().AddDays(7*evergreenAfter).Week())
	}
	return "choose another, or mark it evergreen if it bears telling again after a year"
}

// found returns up to most further stories, the weightiest first.
func (a *assembly) found(most int, have []cleared.Story) []cleared.Story {
	var stories []cleared.Story
	for _, s := range a.m.Stories {
		_, moved := a.moved[s.ID()]
		taken := slices.ContainsFunc(have, func(h cleared.Story) bool { return h.ID() == s.ID() })
		if moved && !taken && s.ForMembers() && s.ToldIn().IsZero() && !s.NotBefore().After(a.m.On) &&
			!slices.Contains(a.words.Skip(), s.ID()) {
			stories = append(stories, s)
		}
	}
	slices.SortStableFunc(stories, func(x, y cleared.Story) int {
		return cmp.Or(
			yesFirst(a.moved[x.ID()].Phase == cleared.Fitted, a.moved[y.ID()].Phase == cleared.Fitted),
			yesFirst(a.firstSeen(x), a.firstSeen(y)),
			yesFirst(len(x.Photos()) > 0, len(y.Photos()) > 0),
			cmp.Compare(x.ClearedOn().String(), y.ClearedOn().String()),
			cmp.Compare(x.ID(), y.ID()))
	})
	return stories[:min(max(most, 0), len(stories))]
}

// firstSeen reports whether the part behind a story was not counted at the last freeze.
func (a *assembly) firstSeen(s cleared.Story) bool {
	key := a.moved[s.ID()].Key
	return !slices.ContainsFunc(a.m.Before, func(p cleared.PartMovement) bool { return p.Key == key })
}

func yesFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}

// Moved returns the parts whose area, step or pile differs from the last freeze,
// by the stories about them; of several parts, the one that came furthest.
func Moved(before, now []cleared.PartMovement) map[string]cleared.PartMovement {
	old := map[string]cleared.PartMovement{}
	for _, p := range before {
		old[p.Key] = p
	}
	moved := map[string]cleared.PartMovement{}
	for _, p := range now {
		o, had := old[p.Key]
		if had && o.Area == p.Area && o.Step == p.Step && o.Pile == p.Pile {
			continue
		}
		for _, id := range p.Stories {
			if have, ok := moved[id]; !ok || reach(p.Phase) > reach(have.Phase) {
				moved[id] = p
			}
		}
	}
	return moved
}

func reach(p cleared.Phase) int {
	return slices.Index([]cleared.Phase{cleared.Off, cleared.Inspected, cleared.Waiting, cleared.Ready, cleared.Fitted}, p)
}

func (f *Figures) add(p cleared.Phase) {
	switch p {
	case cleared.Off:
		f.Off++
	case cleared.Inspected:
		f.Inspected++
	case cleared.Waiting:
		f.Waiting++
	case cleared.Ready:
		f.Ready++
	case cleared.Fitted:
		f.Fitted++
	}
}

// Count gives the figures of each area that has parts, in the order of areas.
func Count(parts []cleared.PartMovement, areas []cleared.Area) []Figures {
	figures := []Figures{}
	for _, area := range areas {
		f := Figures{Area: area}
		for _, p := range parts {
			if p.Area == area.Key {
				f.add(p.Phase)
			}
		}
		if f.Total() > 0 {
			figures = append(figures, f)
		}
	}
	return figures
}

// since counts the parts that came to a new phase since the last freeze.
func since(before, now []cleared.PartMovement) Figures {
	var f Figures
	for _, p := range now {
		i := slices.IndexFunc(before, func(o cleared.PartMovement) bool { return o.Key == p.Key })
		if i < 0 || before[i].Phase != p.Phase {
			f.add(p.Phase)
		}
	}
	return f
}

// Offers lists what a quiet week may tell, in the order in which to try it:
// stories cleared and held back, evergreen ones, a year ago this week, a
// glossary word.
func Offers(week day.Week, m Material) []Offer {
	var offers []Offer
	a := assembly{week: week, m: m}
	for _, s := range m.Stories {
		if s.ForMembers() && s.ToldIn().IsZero() && !s.NotBefore().After(m.On) {
			offers = append(offers, Offer{"held back", s.ID(), s.Title(), "cleared and not told yet; write lead: " + s.ID()})
		}
	}
	for _, s := range m.Stories {
		if s.ForMembers() && s.Evergreen() && !s.ToldIn().IsZero() && a.mayTell(s) {
			offers = append(offers, Offer{"evergreen", s.ID(), s.Title(), "last told in " + s.ToldIn().String() + "; write lead: " + s.ID()})
		}
	}
	if y := yearAgo(week, m.Told); y != nil {
		offers = append(offers, Offer{"a year ago", y.ID, y.Title, "told a year ago this week; in the letter while it names no story"})
	}
	if w := nextWord(m.Glossary, m.Told); w != nil {
		offers = append(offers, Offer{"glossary", w.ID(), w.Word(), "not explained in an edition yet; in the letter while it names no story"})
	}
	return offers
}

func yearAgo(week day.Week, told []Record) *YearAgo {
	then := week.Monday().AddDays(-7 * 52).Week()
	for _, r := range told {
		if r.Week == then && len(r.Stories) > 0 {
			return &YearAgo{r.Stories[0].ID, r.Stories[0].Title}
		}
	}
	return nil
}

func nextWord(words []cleared.Word, told []Record) *cleared.Word {
	for _, w := range words {
		if !slices.ContainsFunc(told, func(r Record) bool { return r.Word == w.ID() }) {
			return &w
		}
	}
	return nil
}
