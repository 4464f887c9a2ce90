package clearance

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/internal/worklog"
)

// whyNot says in words why a unit may not leave; "" when it may.
func (d *Desk) whyNot(u *Unit) string {
	if u.of != nil {
		if why := d.whyNot(u.of); why != "" {
			return "cannot leave without its original, which " + why
		}
	}
	switch u.Standing {
	case Cleared:
		// The record may have changed since: a finding stops it all the same.
		if err := d.Ready(u); err != nil {
			return "was cleared, and no longer passes the checks"
		}
		for _, id := range u.Photos {
			if why := d.whyNot(d.byID[id]); why != "" {
				return id + " " + why
			}
		}
		return ""
	case Stale:
		if u.of != nil {
			return "changed since it was cleared, or its original did; decide again"
		}
		return "changed since it was cleared; decide again"
	case Refused:
		return "was refused"
	case Withdrawn:
		return "was withdrawn"
	case Kept:
		return "is not offered for publication"
	}
	return "waits for a decision"
}

// NotCleared is the error for a unit that may not leave.
type NotCleared struct{ Unit, Why string }

func (n *NotCleared) Error() string {
	return fmt.Sprintf("%s %s (opencowl decide %s)", n.Unit, n.Why, n.Unit)
}

func (d *Desk) mayLeave(id string) error {
	u, ok := d.byID[id]
	if !ok {
		return &NotCleared{id, "does not exist"}
	}
	if why := d.whyNot(u); why != "" {
		return &NotCleared{id, why}
	}
	return nil
}

// Settings hands over the workshop's public face, once it is cleared.
func (d *Desk) Settings() (cleared.Settings, error) {
	return d.settings(), d.mayLeave("settings")
}

// DraftSettings hands over the workshop's public face for previews.
func (d *Desk) DraftSettings() cleared.Draft[cleared.Settings] { return cleared.NewDraft(d.settings()) }

func (d *Desk) settings() cleared.Settings {
	s := d.ws.Settings
	f := cleared.SettingsFields{Workshop: s.Workshop.Name, Machine: s.Workshop.Machine, Language: s.Workshop.Language,
		PostalAddress: s.Workshop.PostalAddress, Site: s.Workshop.Site, Returns: s.Post.Returns,
		LegalLines: s.LegalLines, SiteRules: s.SiteRules}
	f.Areas = d.Areas()
	return cleared.NewSettings(f)
}

// Areas hands over the machine's areas, in the workshop's order.
func (d *Desk) Areas() []cleared.Area {
	var areas []cleared.Area
	for _, a := range d.ws.Settings.Areas {
		areas = append(areas, cleared.Area{Key: a.Key, Name: a.Value})
	}
	return areas
}

// Stories hands over the cleared stories, by id.
func (d *Desk) Stories() []cleared.Story {
	var stories []cleared.Story
	for _, u := range d.units {
		if u.story != nil && d.whyNot(u) == "" {
			stories = append(stories, d.story(u))
		}
	}
	return stories
}

// DraftStories hands over the stories that are not cleared, for previews.
func (d *Desk) DraftStories() []cleared.Draft[cleared.Story] {
	var stories []cleared.Draft[cleared.Story]
	for _, u := range d.units {
		if u.story != nil && d.whyNot(u) != "" {
			stories = append(stories, cleared.NewDraft(d.story(u)))
		}
	}
	return stories
}

// PublicStories hands over the cleared stories that the archive may show today.
func (d *Desk) PublicStories() []cleared.Story {
	return slices.DeleteFunc(d.Stories(), func(s cleared.Story) bool { return !reached(s.PublicFrom(), d.today) })
}

// reached: a day that is set and not in the future.
func reached(from, today day.Date) bool { return !from.IsZero() && !from.After(today) }

func (d *Desk) story(u *Unit) cleared.Story { return d.storySince(u, day.Date{}) }

// storySince is story with what is new in it since a day; a zero day asks for
// nothing. A translation says its own words; all else is the original's.
func (d *Desk) storySince(u *Unit, since day.Date) cleared.Story {
	s, original, language := u.about(), u, d.ws.Settings.Workshop.Language
	if u.of != nil {
		original, language = u.of, u.language
	}
	f := cleared.StoryFields{ID: s.ID, Language: language, Area: d.areaOf(s.Area),
		Title: u.text("title"), CameOff: u.text("came_off"), Failed: u.text("failed"), Replaced: u.text("replaced"),
		Talk: u.text("talk"), Body: u.text("body"), Claims: d.claims(u), Questions: questions(u), Props: d.props(u), Cautions: d.cautions(u.language, s.Cautions), Credits: credits(u),
		ForVisitors: s.IsFor(wording.ForVisitors), ForMembers: s.IsFor(wording.ForMembers),
		Evergreen: s.Evergreen, NotBefore: s.NotBefore, PublicFrom: d.publicFrom(s), Digest: u.Digest, Changes: d.newsSince(original, since)}
	if u.Standing == Cleared {
		f.ClearedOn = d.first[u.ID]
	}
	if told := d.told[s.ID]; len(told) > 0 {
		f.ToldIn = told[len(told)-1].week
	}
	for _, id := range u.Photos {
		if p, ok := d.photos[strings.TrimPrefix(id, "photo/")]; ok {
			f.Photos = append(f.Photos, inWordsOf(u, p, len(f.Photos)))
		}
	}
	return cleared.NewStory(f)
}

// publicFrom is the day from which anybody may read a story in the archive.
// Members hear first: a story for them waits until its edition has been out for
// members_first. One that is not for members is public at its not_before, or when
// it was first cleared.
func (d *Desk) publicFrom(s *wording.Story) day.Date {
	if s.IsFor(wording.ForMembers) {
		if sent := d.firstSent(s.ID); !sent.IsZero() {
			return later(sent.AddDays(int(d.ws.Settings.MembersFirst)), s.NotBefore)
		}
		return day.Date{}
	}
	first := d.first["story/"+s.ID]
	if first.IsZero() {
		return day.Date{}
	}
	return later(first, s.NotBefore)
}

func later(a, b day.Date) day.Date {
	if a.Before(b) {
		return b
	}
	return a
}

// firstSent is the day on which members first read a story.
func (d *Desk) firstSent(story string) day.Date {
	for _, t := range d.told[story] {
		if !t.sent.IsZero() {
			return t.sent
		}
	}
	return day.Date{}
}

// claims words a story's claims by their status, which is the original's.
func (d *Desk) claims(u *Unit) []cleared.Claim {
	as := d.sayings(u.language)
	var claims []cleared.Claim
	for i, c := range u.about().Claims {
		claims = append(claims, cleared.Claim{Say: wording.SayAs(c.Status, u.text(fmt.Sprintf("claims[%d].say", i)), as),
			Status: c.Status, Evidence: u.text(fmt.Sprintf("claims[%d].evidence", i))})
	}
	return claims
}

func questions(u *Unit) []cleared.Question {
	var qs []cleared.Question
	for i := range u.about().Questions {
		qs = append(qs, cleared.Question{Ask: u.text(fmt.Sprintf("questions[%d].ask", i)), Answer: u.text(fmt.Sprintf("questions[%d].answer", i))})
	}
	return qs
}

// credits are those of the story, in its own words.
func credits(u *Unit) []string {
	if u.of == nil {
		return u.story.Credits
	}
	var all []string
	for i := range u.about().Credits {
		all = append(all, u.text(fmt.Sprintf("credits[%d]", i)))
	}
	return all
}

// props are those of a story; how each goes round, and what to take care of, is the
// original's.
func (d *Desk) props(u *Unit) []cleared.Prop {
	var props []cleared.Prop
	for i, p := range u.about().Props {
		what, safe := p.What, p.MadeSafe
		if u.of != nil {
			what, safe = u.text(fmt.Sprintf("props[%d].what", i)), u.text(fmt.Sprintf("props[%d].made_safe", i))
		}
		props = append(props, cleared.Prop{What: what, HandRound: cleared.HandRound(p.HandRound), Cautions: d.cautions(u.language, p.Caution), MadeSafe: safe})
	}
	return props
}

// cautions are hazards in words of a language.
func (d *Desk) cautions(language string, keys []string) []cleared.Caution {
	words := d.wordsIn(language)
	var all []cleared.Caution
	for _, key := range keys {
		if c, ok := words.Caution(key); ok {
			all = append(all, cleared.Caution{Key: key, Label: c.Label, Advice: c.Advice})
		}
	}
	return all
}

// Words hands over the cleared glossary, by id.
func (d *Desk) Words() []cleared.Word {
	var all []cleared.Word
	for _, w := range d.words.Glossary() {
		if d.mayLeave("word/"+w.ID) == nil {
			all = append(all, cleared.NewWord(cleared.WordFields{ID: w.ID, Word: w.Word, Also: w.Also, Meaning: w.Meaning}))
		}
	}
	return all
}

// Tours lists the ids of the tours.
func (d *Desk) Tours() []string {
	var ids []string
	for _, t := range d.words.Tours() {
		ids = append(ids, t.ID)
	}
	return ids
}

// Tour hands over a tour for its cards: cleared titles, and at each stop the
// stories that visitors may hear today. What is held back is told to the guide.
func (d *Desk) Tour(id string) (cleared.Tour, error) { return d.TourSince(id, day.Date{}) }

// TourSince is Tour with what is new in each story since a day, when a returning
// visitor last came.
func (d *Desk) TourSince(id string, since day.Date) (cleared.Tour, error) {
	return d.TourIn(id, "", since)
}

// TourIn is TourSince in a language of the workshop; "" is its own. What has no
// cleared translation comes in the workshop's own, as its Language says.
func (d *Desk) TourIn(id, language string, since day.Date) (cleared.Tour, error) {
	t, language, err := d.tourAndLanguage(id, language)
	if err != nil {
		return cleared.Tour{}, err
	}
	return d.tour(t, since, d.whyNotTold, func(u *Unit) *Unit { return d.inLanguage(u, language, d.whyNot) }), d.mayLeave("tour/" + id)
}

// DraftTourSince hands over a tour with every story in it, and what is new in each
// since a day, for a preview.
func (d *Desk) DraftTourSince(id string, since day.Date) (cleared.Draft[cleared.Tour], error) {
	return d.DraftTourIn(id, "", since)
}

// DraftTourIn is the same in a language of the workshop, with every
// translation as it is written.
func (d *Desk) DraftTourIn(id, language string, since day.Date) (cleared.Draft[cleared.Tour], error) {
	t, language, err := d.tourAndLanguage(id, language)
	if err != nil {
		return cleared.Draft[cleared.Tour]{}, err
	}
	all := func(*Unit) string { return "" }
	return cleared.NewDraft(d.tour(t, since, all, func(u *Unit) *Unit { return d.inLanguage(u, language, all) })), nil
}

// ArchiveTours hands over every cleared tour with the stories that anybody may
// read today: what the pages behind the QR codes show.
func (d *Desk) ArchiveTours() []cleared.Tour {
	var tours []cleared.Tour
	for _, t := range d.words.Tours() {
		if d.mayLeave("tour/"+t.ID) == nil {
			tours = append(tours, d.tour(t, day.Date{}, func(u *Unit) string {
				if d.publicFrom(u.story).IsZero() {
					return "is not public yet"
				}
				return d.whyNot(u)
			}, func(u *Unit) *Unit { return u }))
		}
	}
	return tours
}

// whyNotTold says why visitors may not hear a story today; "" when they may.
func (d *Desk) whyNotTold(u *Unit) string {
	s := u.story
	switch {
	case !s.IsFor(wording.ForVisitors):
		return "is not for visitors"
	case s.NotBefore.After(d.today):
		return "waits until " + s.NotBefore.Words()
	}
	if why := d.whyNot(u); why != "" {
		return why
	}
	if sent := d.firstSent(s.ID); s.IsFor(wording.ForMembers) && !reached(sent, d.today) {
		return "is for members first, and no edition with it has been sent"
	}
	return ""
}

// tour hands over a tour. whyNot says of a story why it is held back, and tell
// which unit tells it, or says the tour's titles: itself, or a translation.
func (d *Desk) tour(t *wording.Tour, since day.Date, whyNot func(*Unit) string, tell func(*Unit) *Unit) cleared.Tour {
	titles := tell(d.byID["tour/"+t.ID])
	language := d.ws.Settings.Workshop.Language
	if titles.of != nil {
		language = titles.language
	}
	f := cleared.TourFields{ID: t.ID, Title: titles.titleOr(t.Title), Language: language, Slot: t.Slot, Group: t.Group, Pace: t.Pace, Walk: t.Walk, StartX: t.Start.X, StartY: t.Start.Y}
	for i, s := range t.Stops {
		stop := cleared.StopFields{ID: s.ID, Number: i + 1, At: titles.stopOr(s.ID, s.At), X: s.X, Y: s.Y, Wants: s.Wants, Minutes: time.Duration(s.Minutes) * time.Minute,
			Cautions: d.cautions("", s.Cautions), WalkFromLast: s.WalkFromLast}
		for _, id := range s.Stories {
			u, ok := d.byID["story/"+id]
			if !ok {
				continue // reported by check
			}
			if why := whyNot(u); why != "" {
				stop.Withheld = append(stop.Withheld, fmt.Sprintf("%s: %s", u.name(), why))
				continue
			}
			stop.Stories = append(stop.Stories, d.storySince(tell(u), since))
		}
		f.Stops = append(f.Stops, cleared.NewStop(stop))
	}
	return cleared.NewTour(f)
}

// EditionWords hands over what the officer wrote for a week, once it is cleared.
func (d *Desk) EditionWords(week day.Week) (cleared.EditionWords, error) {
	e, ok := d.words.Edition(week)
	if !ok {
		return cleared.EditionWords{}, fmt.Errorf("there is no editions/%s.md; write it with subject, preheader and opening words", week)
	}
	return d.editionWords(e), d.mayLeave("edition/" + week.String())
}

// DraftEditionWords hands over what the officer wrote for a week, for a preview.
func (d *Desk) DraftEditionWords(week day.Week) (cleared.Draft[cleared.EditionWords], error) {
	e, ok := d.words.Edition(week)
	if !ok {
		return cleared.Draft[cleared.EditionWords]{}, fmt.Errorf("there is no editions/%s.md; write it with subject, preheader and opening words", week)
	}
	return cleared.NewDraft(d.editionWords(e)), nil
}

func (d *Desk) editionWords(e *wording.Edition) cleared.EditionWords {
	u := d.byID["edition/"+e.Week.String()]
	f := cleared.EditionWordsFields{Week: e.Week, Subject: e.Subject, Preheader: e.Preheader, Opening: u.text("opening"), Lead: e.Lead, Stories: e.Stories, Skip: e.Skip}
	if e.Ask != nil {
		f.Ask = &cleared.Ask{Text: u.text("ask.text"), URL: e.Ask.URL, Earlier: u.text("ask.earlier")}
	}
	for _, name := range e.Photos {
		if p, ok := d.photos[name]; ok {
			f.Photos = append(f.Photos, p)
		}
	}
	return cleared.NewEditionWords(f)
}

// Movement hands over where each part stands today. A part whose only stories
// still wait for their day keeps the place it had at the last freeze.
func (d *Desk) Movement() cleared.Movement {
	f := cleared.MovementFields{On: d.today}
	for _, p := range d.log.Parts() {
		if m, ok := d.movementOf(p); ok {
			f.Parts = append(f.Parts, m)
		}
	}
	slices.SortFunc(f.Parts, func(a, b cleared.PartMovement) int { return strings.Compare(a.Key, b.Key) })
	return cleared.NewMovement(f)
}

// movementOf is where one part stands today; false for a part that does not count.
func (d *Desk) movementOf(p *worklog.Part) (cleared.PartMovement, bool) {
	state := d.log.StateOn(p.ID, d.today)
	if !p.Figures || state.Step == "" {
		return cleared.PartMovement{}, false
	}
	key := movementKey(p.ID)
	stories, wait := d.storiesAbout(p.ID)
	if wait {
		i := slices.IndexFunc(d.before, func(b cleared.PartMovement) bool { return b.Key == key })
		if i < 0 {
			return cleared.PartMovement{}, false
		}
		return d.before[i], true
	}
	return cleared.PartMovement{Key: key, Area: p.Area, Step: state.Step, Phase: cleared.Phase(state.Phase), Pile: state.Pile, Stories: stories}, true
}

// storiesAbout lists the stories about a part, and whether all of them, one at
// least, still wait for their day.
func (d *Desk) storiesAbout(part string) (ids []string, wait bool) {
	waiting := 0
	for _, s := range d.words.Stories() {
		if slices.Contains(s.Parts, part) {
			ids = append(ids, s.ID)
			if s.NotBefore.After(d.today) {
				waiting++
			}
		}
	}
	return ids, waiting > 0 && waiting == len(ids)
}

// movementKey names a part without telling its id.
func movementKey(part string) string {
	sum := sha256.Sum256([]byte("movement of " + part))
	return hex.EncodeToString(sum[:8])
}

// LookAt names the file of a photo's public copy, below the folder of copies,
// for the person who decides; "" when there is none.
func (d *Desk) LookAt(unit string, use cleared.Use) string {
	if c, ok := d.photos[strings.TrimPrefix(unit, "photo/")].Copy(use); ok {
		return c.Name()
	}
	return ""
}

// DigestOf is the digest of a story as its words stand in a language, "" for the
// workshop's own; "" when there is none.
func (d *Desk) DigestOf(story, language string) string {
	if u, ok := d.byID[storyIn(story, language)]; ok {
		return u.Digest
	}
	return ""
}
