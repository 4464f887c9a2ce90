package edition

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
)

// Overview is what an officer wants to know before freezing. Nothing of it is in
// the letter.
type Overview struct {
	Contents []Content  // in order
	HeldBack []HeldBack // by id
	Offers   []Offer    // in a quiet week
	Stock    Stock      // after this edition
	Last     day.Week   // the edition before; zero: there was none
	Since    Figures    // parts that came to each phase since then, all areas together
	Changes  []Figures  // each area's figures less those of the edition before
}

// Content is one story of an edition and why it is there.
type Content struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	Lead  bool   `json:"lead"`
	Why   string `json:"why,omitempty"` // of a frozen edition it is not kept
}

// HeldBack is a story for members that no edition has told, and that this one
// leaves out.
type HeldBack struct {
	ID     string `json:"id"`
	Title  string `json:"title"`
	Why    string `json:"why"`
	Remedy string `json:"remedy,omitempty"`
}

// Overview tells of an edition that was made from m.
func (e Edition) Overview(m Material) Overview {
	a := assembly{words: e.Words, week: e.Words.Week(), m: m, moved: Moves(m.Before, m.Movement.Parts())}
	o := Overview{Contents: []Content{}, HeldBack: a.heldBack(e), Offers: e.Offers(m), Stock: stockAfter(e.Words.Week(), e.StoryIDs(), m), Since: e.Since}
	for i, s := range e.Stories {
		o.Contents = append(o.Contents, Content{s.ID(), s.Title(), i == 0, a.why(s)})
	}
	if last, ok := a.last(); ok {
		o.Last, o.Changes = last.Week, less(e.Figures, last.Figures, m.Areas)
	}
	return o
}

// Overview tells of a preview that was made from m.
func (p Preview) Overview(m Material) Overview { return p.edition.Overview(m) }

// Overview tells of a frozen edition: what was held back, and why, is not kept.
func (r Record) Overview(m Material) Overview {
	a := assembly{week: r.Week, m: m}
	o := Overview{Contents: []Content{}}
	var tells []string
	for i, s := range r.Stories {
		o.Contents = append(o.Contents, Content{ID: s.ID, Title: s.Title, Lead: i == 0})
		tells = append(tells, s.ID)
	}
	o.Stock = stockAfter(r.Week, tells, m)
	if last, ok := a.last(); ok {
		o.Last, o.Changes = last.Week, less(r.Figures, last.Figures, m.Areas)
	}
	return o
}

// last is the edition that was frozen before this one, however many weeks ago.
func (a *assembly) last() (Record, bool) {
	for _, r := range slices.Backward(a.m.Told) {
		if r.Week.Before(a.week) {
			return r, true
		}
	}
	return Record{}, false
}

// since names the edition before, for a sentence: " since 2031-W06".
func (a *assembly) since() string {
	if last, ok := a.last(); ok {
		return " since " + last.Week.String()
	}
	return ""
}

// why says what brought a story into the edition.
func (a *assembly) why(s cleared.Story) string {
	var why []string
	switch {
	case s.ID() == a.words.Lead():
		why = append(why, "your choice to lead")
	case slices.Contains(a.words.Stories(), s.ID()):
		why = append(why, "your choice")
	}
	if m := a.moved[s.ID()]; m.Any {
		why = append(why, m.words()+a.since())
	} else {
		why = append(why, "no part of it has moved"+a.since())
	}
	if len(s.Photos()) > 0 {
		why = append(why, "with a photo")
	}
	if !s.ToldIn().IsZero() && s.ToldIn() != a.week {
		why = append(why, "evergreen, last told in "+s.ToldIn().String())
	}
	if on := s.ClearedOn(); !on.IsZero() {
		why = append(why, "cleared on "+on.Words())
	}
	return strings.Join(why, ", ")
}

// words says what the parts of a story have done.
func (m Move) words() string {
	switch {
	case m.Fitted:
		return "a part of it was fitted"
	case m.Seen:
		return fmt.Sprintf("a part of it was first seen (%s now)", m.To)
	}
	return fmt.Sprintf("a part of it moved (%s now)", m.To)
}

// heldBack lists the stories for members that no edition has told and that this
// one leaves out, each with the reason.
func (a *assembly) heldBack(e Edition) []HeldBack {
	held := []HeldBack{}
	in := e.StoryIDs()
	for _, s := range a.m.Stories {
		if !s.ForMembers() || !s.ToldIn().IsZero() || slices.Contains(in, s.ID()) {
			continue
		}
		why, remedy := a.whyNot(s)
		held = append(held, HeldBack{s.ID(), s.Title(), why, remedy})
	}
	for _, id := range slices.Sorted(maps.Keys(a.m.Held)) {
		if h := a.m.Held[id]; h.Wanted && !slices.Contains(in, id) {
			held = append(held, HeldBack{id, h.Title, h.Why, h.Remedy})
		}
	}
	slices.SortFunc(held, func(x, y HeldBack) int { return strings.Compare(x.ID, y.ID) })
	return held
}

// whyNot says why a cleared story that was never told is not in the edition.
func (a *assembly) whyNot(s cleared.Story) (why, remedy string) {
	switch {
	case s.NotBefore().After(a.m.On):
		return "waits until " + s.NotBefore().Words(), ""
	case slices.Contains(a.words.Skip(), s.ID()):
		return "you skip it", "take it out of skip: to let it in"
	case !a.moved[s.ID()].Any:
		return "no part of it has moved" + a.since(), "name it under lead: or stories: to tell it all the same"
	case len(a.words.Stories()) > 0:
		return a.moved[s.ID()].words() + a.since() + ", and your list leaves it out", "add it to stories:"
	}
	return fmt.Sprintf("%s%s, and %d others weigh more", a.moved[s.ID()].words(), a.since(), chosenAtMost), "name it under lead: or stories:, or keep it for a quiet week"
}

// less subtracts earlier figures from later ones, area by area.
func less(now, then []Figures, areas []cleared.Area) []Figures {
	changes := []Figures{}
	of := func(all []Figures, key string) (f Figures, had bool) {
		if i := slices.IndexFunc(all, func(f Figures) bool { return f.Area.Key == key }); i >= 0 {
			return all[i], true
		}
		return f, false
	}
	for _, area := range areas {
		n, isNow := of(now, area.Key)
		t, wasThen := of(then, area.Key)
		if isNow || wasThen {
			changes = append(changes, Figures{area, n.Off - t.Off, n.Inspected - t.Inspected, n.Waiting - t.Waiting, n.Ready - t.Ready, n.Fitted - t.Fitted})
		}
	}
	return changes
}
