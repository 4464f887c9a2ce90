// Package cleared holds the data that may leave: the only types that the
// renderers (site, card, edition, tour, post) know.
//
// It promises that a value of one of its types has been through clearance.
// Every field is unexported; a value is made by a New… function, and package
// clearance alone calls those (a test holds it to that). The Fields structs are
// the order form that clearance fills in; having one proves nothing.
//
// What is not cleared travels as a Draft, which renderers stamp DRAFT on every
// page, and which sending, freezing, the archive and recorded printing do not
// accept: they take the plain type.
//
// This package must not know how the private record or the public wording are
// written. It holds no part ids, no people ids and no original file names.
package cleared

import (
	"time"

	"example.org/opencowl/internal/day"
)

// Draft is a T that has not been cleared, for previews only.
type Draft[T any] struct{ value T }

// NewDraft wraps a value that has not been cleared. Only clearance calls it.
func NewDraft[T any](v T) Draft[T] { return Draft[T]{v} }

// Preview returns what the draft holds. Whoever calls it must stamp DRAFT on
// every page made from it; only renderers call it.
func (d Draft[T]) Preview() T { return d.value }

// Caution is one hazard, in words for visitors and for the guide.
type Caution struct {
	Key    string // "sharp-edge"
	Label  string // "Sharp edges"
	Advice string // "Hold it by the flat; keep fingers off the edges."
}

// Claim is something said about the machine, worded by how sure we are.
type Claim struct {
	Say      string // already worded: "We think it is the original strip."
	Status   string // proven, likely or told
	Evidence string
}

// Question is one that visitors are likely to ask.
type Question struct{ Ask, Answer string }

// HandRound says how a prop may be passed round a group.
type HandRound string

const (
	DropProof HandRound = "drop-proof"
	TwoHands  HandRound = "two-hands"
	LookOnly  HandRound = "look-only"
)

// Prop is an object the guide shows.
type Prop struct {
	What      string
	HandRound HandRound
	Cautions  []Caution
	MadeSafe  string // how an edge was made safe, when it was
}

// Changes says what is new in a story since a day that was asked for, when a
// returning visitor last came. It quotes nothing: that work has moved on is all
// it says of the record.
type Changes struct {
	Story bool // visitors could not hear it then
	Words bool // it was told in other words, facts or pictures
	Work  bool // one of its parts has come further
}

// Any reports whether anything is new.
func (c Changes) Any() bool { return c.Story || c.Words || c.Work }

// StoryFields is what clearance hands to NewStory. All text has its released
// facts filled in. CameOff, Failed, Replaced and Talk are plain text of one or
// more sentences; Body is Markdown without raw HTML.
type StoryFields struct {
	ID       string // public: used in addresses
	Language string // BCP 47, "en-GB"
	Title    string
	Area     Area
	CameOff  string
	Failed   string
	Replaced string

	Claims    []Claim
	Questions []Question
	Talk      string
	Props     []Prop
	Cautions  []Caution
	Credits   []string
	Photos    []Photo
	Body      string

	ForVisitors bool
	ForMembers  bool
	Evergreen   bool
	NotBefore   day.Date // zero: no embargo
	PublicFrom  day.Date // the day the archive and cards may first show it; zero: not yet
	ToldIn      day.Week // the edition that told it last; zero: none yet
	ClearedOn   day.Date // the day it was cleared; zero in a draft
	Digest      string   // of everything above that a reader can see
	Changes     Changes  // since the day asked for; zero: none was asked for
}

// Story is one public account: what came off, why it failed, what replaced it.
type Story struct{ f StoryFields }

// NewStory makes a cleared story. Only clearance calls it.
func NewStory(f StoryFields) Story { return Story{f} }

func (s Story) ID() string            { return s.f.ID }
func (s Story) Language() string      { return s.f.Language }
func (s Story) Title() string         { return s.f.Title }
func (s Story) Area() Area            { return s.f.Area }
func (s Story) CameOff() string       { return s.f.CameOff }
func (s Story) Failed() string        { return s.f.Failed }
func (s Story) Replaced() string      { return s.f.Replaced }
func (s Story) Claims() []Claim       { return s.f.Claims }
func (s Story) Questions() []Question { return s.f.Questions }
func (s Story) Talk() string          { return s.f.Talk }
func (s Story) Props() []Prop         { return s.f.Props }
func (s Story) Cautions() []Caution   { return s.f.Cautions }
func (s Story) Credits() []string     { return s.f.Credits }
func (s Story) Photos() []Photo       { return s.f.Photos }
func (s Story) Body() string          { return s.f.Body }
func (s Story) ForVisitors() bool     { return s.f.ForVisitors }
func (s Story) ForMembers() bool      { return s.f.ForMembers }
func (s Story) Evergreen() bool       { return s.f.Evergreen }
func (s Story) NotBefore() day.Date   { return s.f.NotBefore }
func (s Story) PublicFrom() day.Date  { return s.f.PublicFrom }
func (s Story) ToldIn() day.Week      { return s.f.ToldIn }
func (s Story) ClearedOn() day.Date   { return s.f.ClearedOn }
func (s Story) Digest() string        { return s.f.Digest }
func (s Story) Changes() Changes      { return s.f.Changes }

// CorrectionFields is what clearance hands to NewCorrection.
type CorrectionFields struct {
	ID         string   // the story's id and a number: "floor-stiffener-1"
	Story      string   // story id
	Title      string   // of the story, as readers know it
	Say        string   // what is right: plain text, its released facts filled in
	PublicFrom day.Date // the day from which anybody may read it; zero: not yet
	ToldIn     day.Week // the edition that told it; zero: none yet
	Digest     string   // of everything above that a reader can see
}

// Correction sets right what was told before.
type Correction struct{ f CorrectionFields }

// NewCorrection makes a cleared correction. Only clearance calls it.
func NewCorrection(f CorrectionFields) Correction { return Correction{f} }

func (c Correction) ID() string           { return c.f.ID }
func (c Correction) Story() string        { return c.f.Story }
func (c Correction) Title() string        { return c.f.Title }
func (c Correction) Say() string          { return c.f.Say }
func (c Correction) PublicFrom() day.Date { return c.f.PublicFrom }
func (c Correction) ToldIn() day.Week     { return c.f.ToldIn }
func (c Correction) Digest() string       { return c.f.Digest }

// Area is a region of the machine: a public key and its name.
type Area struct{ Key, Name string }

// Use names what a public copy of a photo is for.
type Use string

const (
	Web400    Use = "web-400" // px wide
	Web800    Use = "web-800"
	Web1200   Use = "web-1200"
	Web1600   Use = "web-1600"
	Letter    Use = "letter" // 1200 px wide at most, 250 kB at most
	Card      Use = "card"   // 3:2, cropped about the focus, for print
	Thumbnail Use = "thumbnail"
)

// CopyFields is what clearance hands to NewCopy.
type CopyFields struct {
	Use           Use
	Width, Height int    // pixels
	Name          string // digest of the public bytes, with .jpg
	Open          func() ([]byte, error)
}

// Copy is one public copy of a photo: a JPEG with nothing private in it.
type Copy struct{ f CopyFields }

// NewCopy makes a public copy. Only clearance calls it.
func NewCopy(f CopyFields) Copy { return Copy{f} }

func (c Copy) Use() Use               { return c.f.Use }
func (c Copy) Width() int             { return c.f.Width }
func (c Copy) Height() int            { return c.f.Height }
func (c Copy) Name() string           { return c.f.Name }
func (c Copy) Bytes() ([]byte, error) { return c.f.Open() }

// PhotoFields is what clearance hands to NewPhoto.
type PhotoFields struct {
	Alt, Caption, Credit string
	Copies               []Copy
}

// Photo is a picture that may leave, as its public copies.
type Photo struct{ f PhotoFields }

// NewPhoto makes a cleared photo. Only clearance calls it.
func NewPhoto(f PhotoFields) Photo { return Photo{f} }

func (p Photo) Alt() string     { return p.f.Alt }
func (p Photo) Caption() string { return p.f.Caption }
func (p Photo) Credit() string  { return p.f.Credit }
func (p Photo) Copies() []Copy  { return p.f.Copies }

// Copy returns the copy made for a use.
func (p Photo) Copy(u Use) (Copy, bool) {
	for _, c := range p.f.Copies {
		if c.Use() == u {
			return c, true
		}
	}
	return Copy{}, false
}

// WordFields is what clearance hands to NewWord.
type WordFields struct {
	ID, Word string
	Also     []string // other forms: plurals, spellings
	Meaning  string   // Markdown
}

// Word is a glossary entry.
type Word struct{ f WordFields }

// NewWord makes a cleared glossary entry. Only clearance calls it.
func NewWord(f WordFields) Word { return Word{f} }

func (w Word) ID() string      { return w.f.ID }
func (w Word) Word() string    { return w.f.Word }
func (w Word) Also() []string  { return w.f.Also }
func (w Word) Meaning() string { return w.f.Meaning }

// StopFields is what clearance hands to NewStop.
type StopFields struct {
	ID           string // public: the QR code opens /stop/ID/
	Number       int    // its place in the tour file, from 1
	At           string // where to stand: "Hull floor, port side"
	X, Y         float64
	Stories      []Story
	Wants        string // must, should or could
	Minutes      time.Duration
	Cautions     []Caution
	WalkFromLast float64  // metres; 0: use the floor plan
	Withheld     []string // for the guide only: why a story is not here
}

// Stop is one place on a tour.
type Stop struct{ f StopFields }

// NewStop makes a stop. Only clearance calls it.
func NewStop(f StopFields) Stop { return Stop{f} }

func (s Stop) ID() string             { return s.f.ID }
func (s Stop) Number() int            { return s.f.Number }
func (s Stop) At() string             { return s.f.At }
func (s Stop) X() float64             { return s.f.X }
func (s Stop) Y() float64             { return s.f.Y }
func (s Stop) Stories() []Story       { return s.f.Stories }
func (s Stop) Wants() string          { return s.f.Wants }
func (s Stop) Minutes() time.Duration { return s.f.Minutes }
func (s Stop) Cautions() []Caution    { return s.f.Cautions }
func (s Stop) WalkFromLast() float64  { return s.f.WalkFromLast }
func (s Stop) Withheld() []string     { return s.f.Withheld }

// TourFields is what clearance hands to NewTour.
type TourFields struct {
	ID, Title string
	Language  string // BCP 47: of the titles of the tour and its stops
	Slot      time.Duration
	Group     int     // people
	Pace      float64 // words a minute
	Walk      float64 // metres a second
	StartX    float64 // metres on the floor plan
	StartY    float64
	Stops     []Stop
}

// Tour is a walk round the machine.
type Tour struct{ f TourFields }

// NewTour makes a cleared tour. Only clearance calls it.
func NewTour(f TourFields) Tour { return Tour{f} }

func (t Tour) ID() string          { return t.f.ID }
func (t Tour) Title() string       { return t.f.Title }
func (t Tour) Language() string    { return t.f.Language }
func (t Tour) Slot() time.Duration { return t.f.Slot }
func (t Tour) Group() int          { return t.f.Group }
func (t Tour) Pace() float64       { return t.f.Pace }
func (t Tour) Walk() float64       { return t.f.Walk }
func (t Tour) StartX() float64     { return t.f.StartX }
func (t Tour) StartY() float64     { return t.f.StartY }
func (t Tour) Stops() []Stop       { return t.f.Stops }

// Ask is the one thing an edition may ask its readers for.
type Ask struct{ Text, URL, Earlier string }

// EditionWordsFields is what clearance hands to NewEditionWords.
type EditionWordsFields struct {
	Week      day.Week
	Subject   string
	Preheader string
	Opening   string // Markdown
	Ask       *Ask
	Lead      string   // story id, the officer's choice; may be empty
	Stories   []string // story ids
	Skip      []string // story ids
	Photos    []Photo
}

// EditionWords is what the officer wrote for one week, and chose.
type EditionWords struct{ f EditionWordsFields }

// NewEditionWords makes cleared edition words. Only clearance calls it.
func NewEditionWords(f EditionWordsFields) EditionWords { return EditionWords{f} }

func (e EditionWords) Week() day.Week    { return e.f.Week }
func (e EditionWords) Subject() string   { return e.f.Subject }
func (e EditionWords) Preheader() string { return e.f.Preheader }
func (e EditionWords) Opening() string   { return e.f.Opening }
func (e EditionWords) Ask() *Ask         { return e.f.Ask }
func (e EditionWords) Lead() string      { return e.f.Lead }
func (e EditionWords) Stories() []string { return e.f.Stories }
func (e EditionWords) Skip() []string    { return e.f.Skip }
func (e EditionWords) Photos() []Photo   { return e.f.Photos }

// SettingsFields is what clearance hands to NewSettings: the public keys of
// workshop.yaml, by value.
type SettingsFields struct {
	Workshop      string
	Machine       string
	Language      string // BCP 47
	PostalAddress string
	Site          string // address of the public archive, ending in "/"
	Returns       string // address that bounces and leave requests go to
	LegalLines    []string
	SiteRules     []string // fire exits, first aid: printed on run sheets
	Areas         []Area
}

// Settings is the workshop's public face.
type Settings struct{ f SettingsFields }

// NewSettings makes cleared settings. Only clearance calls it.
func NewSettings(f SettingsFields) Settings { return Settings{f} }

func (s Settings) Workshop() string      { return s.f.Workshop }
func (s Settings) Machine() string       { return s.f.Machine }
func (s Settings) Language() string      { return s.f.Language }
func (s Settings) PostalAddress() string { return s.f.PostalAddress }
func (s Settings) Site() string          { return s.f.Site }
func (s Settings) Returns() string       { return s.f.Returns }
func (s Settings) LegalLines() []string  { return s.f.LegalLines }
func (s Settings) SiteRules() []string   { return s.f.SiteRules }
func (s Settings) Areas() []Area         { return s.f.Areas }

// Phase is how far a part has come, as readers are told it.
type Phase string

const (
	Off       Phase = "off"
	Inspected Phase = "inspected"
	Waiting   Phase = "waiting"
	Ready     Phase = "ready"
	Fitted    Phase = "fitted"
)

// PartMovement is one part's place on a date. Key is opaque: it lets two
// snapshots be compared and says nothing about the part.
type PartMovement struct {
	Key     string   `json:"key"`
	Area    string   `json:"area"`
	Step    string   `json:"step"` // the latest step other than note
	Phase   Phase    `json:"phase"`
	Pile    string   `json:"pile,omitempty"`
	Stories []string `json:"stories,omitempty"` // story ids about this part
}

// MovementFields is what clearance hands to NewMovement.
type MovementFields struct {
	On    day.Date
	Parts []PartMovement // in order of Key
}

// Movement is the one private thing that shapes output without being quoted:
// for each part its area, its step and its pile on a date.
type Movement struct{ f MovementFields }

// NewMovement makes a movement snapshot. Only clearance calls it.
func NewMovement(f MovementFields) Movement { return Movement{f} }

func (m Movement) On() day.Date          { return m.f.On }
func (m Movement) Parts() []PartMovement { return m.f.Parts }

// HistoryWeek is how the counted parts stood when a week ended.
type HistoryWeek struct {
	Ended   day.Date // its Sunday
	CameOff int      // parts that had come off by then
	Stood   int      // of these, parts that stood fitted
	Fitted  int      // parts fitted in the week that have stood fitted ever since
}

// HistoryFields is what clearance hands to NewHistory.
type HistoryFields struct {
	On    day.Date
	Weeks []HistoryWeek // whole weeks before On, without a gap, oldest first
}

// History is how a season went, week by week, as far as movement tells it: numbers
// of parts, and no part.
type History struct{ f HistoryFields }

// NewHistory makes the history of a season. Only clearance calls it.
func NewHistory(f HistoryFields) History { return History{f} }

func (h History) On() day.Date         { return h.f.On }
func (h History) Weeks() []HistoryWeek { return h.f.Weeks }
