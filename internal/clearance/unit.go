package clearance

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/wording"
)

// Standing says how a unit stands.
type Standing string

const (
	Waiting Standing = "waiting" // nobody has decided
	Cleared Standing = "cleared"
	Stale   Standing = "stale" // changed since it was cleared
	Refused Standing = "refused"
	// Withdrawn: taken back; a new decision lets it out again.
	Withdrawn Standing = "withdrawn"
	Kept      Standing = "kept" // a photo that is not offered
)

// Fact is a released fact with the value that would leave.
type Fact struct {
	Name  string `json:"name"` // hull-floor-stiffener.loss
	Form  string `json:"form"`
	Value string `json:"value"`
}

// Finding is something in a unit that stops it, or advice.
type Finding struct {
	reading.Problem
	Unit string `json:"unit"`
}

// Unit is one thing that can be read outside: a story, a photo, a glossary word,
// an edition's own words, a tour's titles, a story or titles in another language, a
// correction, the settings.
type Unit struct {
	ID         string
	Kind       string
	Title      string
	File       string
	Texts      []wording.Text // with released facts filled in
	Facts      []Fact
	Photos     []string // ids of photo units shown with it
	LeftBehind []string // what a photo's original says beside its pixels; no copy does
	Findings   []Finding
	Digest     string // of everything a reader can see
	Standing   Standing
	By         string   // who decided last
	On         day.Date // when

	writer     string
	story      *wording.Story
	of         *Unit                 // of a translation: what it translates
	language   string                // of a translation
	written    func() []wording.Text // of a story and its translations: the texts with their facts still names
	correction *correction
	kept       bool
	shown      *cleared.Photo  // of a photo that has public copies
	factSpans  map[int][]span  // where released facts stand, by index of Texts
	accepted   map[string]bool // codes of findings that somebody accepted for these words
}

// Stops reports whether a finding keeps the unit from being cleared.
func (u *Unit) Stops() bool {
	return slices.ContainsFunc(u.Findings, func(f Finding) bool { return !f.Advice })
}

// name is what a unit that may not leave is called on a sheet for the guide: its
// title, or its id if there is a finding in it.
func (u *Unit) name() string {
	if u.Stops() {
		return u.ID
	}
	return u.Title
}

func (u *Unit) find(at reading.Place, code, value, message, remedy string) {
	u.Findings = append(u.Findings, Finding{reading.Problem{Place: at, Code: code, Value: reading.Shorten(value), Message: message, Remedy: remedy}, u.ID})
}

func (u *Unit) advise(at reading.Place, code, value, message, remedy string) {
	u.find(at, code, value, message, remedy)
	u.Findings[len(u.Findings)-1].Advice = true
}

// about is the story whose parts a unit tells of: its own, or that which it
// translates; nil where it tells of none in particular.
func (u *Unit) about() *wording.Story {
	if u.of != nil {
		return u.of.story
	}
	return u.story
}

// text returns what the unit says in a field, with its facts filled in.
func (u *Unit) text(field string) string {
	i := slices.IndexFunc(u.Texts, func(t wording.Text) bool { return t.Field == field })
	if i < 0 {
		return ""
	}
	return u.Texts[i].Value
}

// publicTexts lists field and text, for the digest.
func (u *Unit) publicTexts() []string {
	var all []string
	for _, t := range u.Texts {
		all = append(all, t.Field, t.Value)
	}
	return all
}

type publicPhoto struct {
	Alt, Caption, Credit string
	Copies               []string
}

// publicStory is all of a story that a reader can see or that decides who sees it.
type publicStory struct {
	ID, Area      string
	Texts         []string
	Claims        []cleared.Claim
	Props         []cleared.Prop
	Cautions, For []string
	NotBefore     day.Date
	Evergreen     bool
	Photos        []string // digests
	Facts         []Fact
}

func (d *Desk) publicStory(u *Unit) publicStory {
	s := u.story
	p := publicStory{ID: s.ID, Area: s.Area, Texts: u.publicTexts(), Claims: d.claims(u), Props: d.props(u),
		Cautions: s.Cautions, For: s.For, NotBefore: s.NotBefore, Evergreen: s.Evergreen, Facts: u.Facts}
	for _, id := range u.Photos {
		p.Photos = append(p.Photos, d.byID[id].Digest)
	}
	return p
}

// digest is the hex SHA-256 of a value's JSON form, which keeps the order of
// struct fields and escapes what could run two values together.
func digest(v any) string {
	data, err := json.Marshal(v)
	if err != nil {
		panic("clearance: a public value has no JSON form: " + err.Error())
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
