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
	History     cleared.History        // of the season
	Before      []cleared.PartMovement // at the last freeze; nil when there was none
	Told        []Record               // earlier editions, oldest first
	Areas       []cleared.Area
	RollOut     day.Date
	On          day.Date
}

// Held says what keeps a story in, for the officer to read.
type Held struct {
	Title       string
	Why, Remedy string
	Wanted      bool // it is for members, no edition has told it, and nobody took it back
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
	a := assembly{words: words, week: words.Week(), m: m, moved: Moves(m.Before, m.Movement.Parts())}
	stories := a.named()
	if len(words.Stories()) == 0 {
		stories = append(stories, a.found(chosenAtMost-len(stories), stories)...)
	}
	e := Edition{Words: words, Corrections: a.untold(), Stories: stories, RollOut: m.RollOut, On: m.On,
		Figures: Count(m.Movement.Parts(), m.Areas), Since: since(m.Before, m.Movement.Parts())}
	e.Progress = ProgressOf(m.History, m.Movement.Parts(), m.RollOut)
	if len(stories) == 0 {
		e.YearAgo = yearAgo(words.Week(), m)
		e.Word = nextWord(m.Glossary, m.Told)
	}
	return e, errors.Join(a.refusals...)
}

// AssemblePreview makes a preview from words or stories that are not cleared
// yet. It is for the officer's eyes. Of the stories that are not cleared it shows
// those that the officer names: freezing would find no others.
func AssemblePreview(words cleared.Draft[cleared.EditionWords], stories []cleared.Draft[cleared.Story], m Material) (Preview, error) {
	m.Stories = slices.Clone(m.Stories)
	w := words.Preview()
	for _, s := range stories {
		if id := s.Preview().ID(); id == w.Lead() || slices.Contains(w.Stories(), id) {
			m.Stories = append(m.Stories, s.Preview())
		}
	}
	e, err := Assemble(w, m)
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
		Opening: e.Words.Opening(), Corrections: e.CorrectionIDs(), Stories: []ToldStory{}, Figures: e.Figures, Progress: e.Progress}
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
	moved    map[string]Move // by story id
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
		taken := slices.ContainsFunc(have, func(h cleared.Story) bool { return h.ID() == s.ID() })
		if !taken && a.due(s) && a.moved[s.ID()].Any && !slices.Contains(a.words.Skip(), s.ID()) {
			stories = append(stories, s)
		}
	}
	slices.SortStableFunc(stories, a.weigh)
	return stories[:min(max(most, 0), len(stories))]
}

// due: a story for members that no edition has told and whose day has come.
func (a *assembly) due(s cleared.Story) bool {
	return s.ForMembers() && s.ToldIn().IsZero() && !s.NotBefore().After(a.m.On)
}

// weigh puts the weightier of two stories first.
func (a *assembly) weigh(x, y cleared.Story) int {
	return cmp.Or(
		yesFirst(a.moved[x.ID()].Fitted, a.moved[y.ID()].Fitted),
		yesFirst(a.moved[x.ID()].Seen, a.moved[y.ID()].Seen),
		yesFirst(len(x.Photos()) > 0, len(y.Photos()) > 0),
		cmp.Compare(x.ClearedOn().String(), y.ClearedOn().String()),
		cmp.Compare(x.ID(), y.ID()))
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

// Move is what the parts of a story have done since the last freeze.
type Move struct {
	Any    bool          // the area, step or pile of one of them differs
	Fitted bool          // one of them was fitted that was not
	Seen   bool          // one of them was not counted then
	To     cleared.Phase // where the furthest of those that moved is now
}

// Moves compares the movement stored at the last freeze with that of now, by the
// stories about the parts. Dates do not come into it: an entry that was logged
// late moves a part when it is there.
func Moves(before, now []cleared.PartMovement) map[string]Move {
	old := map[string]cleared.PartMovement{}
	for _, p := range before {
		old[p.Key] = p
	}
	moves := map[string]Move{}
	for _, p := range now {
		o, had := old[p.Key]
		if had && o.Area == p.Area && o.Step == p.Step && o.Pile == p.Pile {
			continue
		}
		for _, id := range p.Stories {
			m := moves[id]
			m.Any, m.Seen = true, m.Seen || !had
			m.Fitted = m.Fitted || p.Phase == cleared.Fitted && o.Phase != cleared.Fitted
			if reach(p.Phase) > reach(m.To) {
				m.To = p.Phase
			}
			moves[id] = m
		}
	}
	return moves
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
