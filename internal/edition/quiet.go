package edition

import (
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
)

// Offer is something to tell in a quiet week, for the officer to choose.
type Offer struct {
	Kind  string `json:"kind"` // held back, evergreen, a year ago, glossary
	ID    string `json:"id"`
	Title string `json:"title"`
	Why   string `json:"why"`
}

// Offers lists what a quiet week may tell, in the order in which to try it:
// stories cleared and held back, the weightiest first; evergreen ones, the longest
// untold first; a year ago this week; a glossary word. An edition that names a
// story has no use for them.
func (e Edition) Offers(m Material) []Offer {
	offers := []Offer{}
	if len(e.Stories) > 0 {
		return offers
	}
	a := assembly{words: e.Words, week: e.Words.Week(), m: m, moved: Moves(m.Before, m.Movement.Parts())}
	stories := slices.DeleteFunc(slices.Clone(m.Stories), func(s cleared.Story) bool { return slices.Contains(e.Words.Skip(), s.ID()) })
	slices.SortStableFunc(stories, a.weigh)
	for _, s := range stories {
		if a.due(s) {
			offers = append(offers, Offer{"held back", s.ID(), s.Title(), "cleared and not told yet; write lead: " + s.ID()})
		}
	}
	slices.SortStableFunc(stories, func(x, y cleared.Story) int { return strings.Compare(x.ToldIn().String(), y.ToldIn().String()) })
	for _, s := range stories {
		if a.mayReturn(s) {
			offers = append(offers, Offer{"evergreen", s.ID(), s.Title(), fmt.Sprintf("last told in %s; write lead: %s", s.ToldIn(), s.ID())})
		}
	}
	if e.YearAgo != nil {
		offers = append(offers, Offer{"a year ago", e.YearAgo.ID, e.YearAgo.Title, "told in " + a.week.YearBefore().String() + "; in the letter while it names no story"})
	}
	if e.Word != nil {
		offers = append(offers, Offer{"glossary", e.Word.ID(), e.Word.Word(), "not explained in an edition yet; in the letter while it names no story"})
	}
	return offers
}

// mayReturn: an evergreen story that was told, has rested, and may be told today.
func (a *assembly) mayReturn(s cleared.Story) bool {
	return s.Evergreen() && !s.ToldIn().IsZero() && s.ForMembers() && !s.NotBefore().After(a.m.On) && a.mayTell(s)
}

// yearAgo is the first story of the edition of a year ago that anybody can still
// read in the archive, since the line is a link to it.
func yearAgo(week day.Week, m Material) *YearAgo {
	i := slices.IndexFunc(m.Told, func(r Record) bool { return r.Week == week.YearBefore() })
	if i < 0 {
		return nil
	}
	for _, told := range m.Told[i].Stories {
		for _, s := range m.Stories {
			if s.ID() == told.ID && !s.PublicFrom().IsZero() && !s.PublicFrom().After(m.On) {
				return &YearAgo{s.ID(), s.Title()}
			}
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

// paceWeeks is how far back the pace of telling is counted: long enough to hold a
// busy spell and a quiet one, short enough to be of this season.
const paceWeeks = 12

// Stock says how long the store of stories will last.
type Stock struct {
	Left      int  `json:"left"`      // cleared for members, due, untold and not in this edition
	Later     int  `json:"later"`     // cleared for members and untold, their day yet to come
	Evergreen int  `json:"evergreen"` // told, and may be told again; not in this edition
	Used      int  `json:"used"`      // stories told for the first time in the weeks before
	Weeks     int  `json:"weeks"`     // so many of them, weeks without an edition included
	Lasts     int  `json:"lasts"`     // whole weeks; 0 where it is not known
	Known     bool `json:"known"`     // some were used, so that there is a pace
}

// stockAfter counts the stories that are left after the edition of a week, and how
// many weeks they will last at the pace at which the editions of the last weeks have
// used them: twelve weeks, or since the first edition.
func stockAfter(week day.Week, tells []string, m Material) Stock {
	var s Stock
	a := assembly{week: week, m: m}
	for _, story := range m.Stories {
		switch {
		case slices.Contains(tells, story.ID()):
		case a.due(story):
			s.Left++
		case a.mayReturn(story):
			s.Evergreen++
		case story.ForMembers() && story.ToldIn().IsZero():
			s.Later++
		}
	}
	told := map[string]bool{}
	for _, r := range m.Told {
		back := r.Week.WeeksUntil(week)
		if back <= 0 {
			continue
		}
		s.Weeks = max(s.Weeks, min(back, paceWeeks))
		for _, story := range r.Stories {
			if !told[story.ID] && back <= paceWeeks {
				s.Used++
			}
			told[story.ID] = true
		}
	}
	if s.Used > 0 {
		s.Lasts, s.Known = s.Left*s.Weeks/s.Used, true
	}
	return s
}

// String says it for the officer, with how it is counted.
func (s Stock) String() string {
	text := fmt.Sprintf("the store of stories: %d left after this edition (cleared, due, untold)", s.Left)
	switch {
	case s.Weeks == 0:
		text += "; no edition yet tells how fast they go"
	case !s.Known:
		text += fmt.Sprintf("; the last %s used none, so there is no pace", weeks(s.Weeks, ""))
	default:
		lasts := "less than a week"
		if s.Lasts > 0 {
			lasts = weeks(s.Lasts, "a ")
		}
		counted := ""
		if s.Weeks > 1 {
			counted = ", with and without an edition,"
		}
		text += fmt.Sprintf("; the last %s%s used %d: at that pace it lasts %s", weeks(s.Weeks, ""), counted, s.Used, lasts)
	}
	if s.Later > 0 {
		text += fmt.Sprintf("; still waiting for their day: %d", s.Later)
	}
	if s.Evergreen > 0 {
		text += fmt.Sprintf("; evergreen ones that may be told again: %d", s.Evergreen)
	}
	return text
}

func weeks(n int, one string) string {
	if n == 1 {
		return one + "week"
	}
	return fmt.Sprintf("%d weeks", n)
}
