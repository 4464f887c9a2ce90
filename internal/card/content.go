package card

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/tongue"
	"example.org/opencowl/internal/tour"
)

// The fields of a card, by the names that faces and errors use.
const (
	fieldTitle     = "title"
	fieldCameOff   = "came_off"
	fieldFailed    = "failed"
	fieldReplaced  = "replaced"
	fieldCautions  = "cautions"
	fieldHandling  = "handling"
	fieldCredits   = "credits"
	fieldWorkshop  = "workshop"
	fieldAsOf      = "as_of"
	fieldTiming    = "timing"
	fieldTalk      = "talk"
	fieldProps     = "props"
	fieldQuestions = "questions"
	fieldClaims    = "claims"
	fieldWithheld  = "withheld"
	fieldAdvice    = "advice"

	// On the papers beside the cards.
	fieldVisits   = "visits"
	fieldWayRound = "way_round"
	fieldLate     = "late"
	fieldLeftOut  = "left_out"
	fieldFetch    = "fetch"
	fieldOnSite   = "on_site"
	fieldSeason   = "season"
	fieldLedger   = "ledger"
	fieldStop     = "stop"
)

// content is all that a card says and shows, but for the as-of date. Its JSON
// form is what the digest is taken of.
type content struct {
	Stop, Story string
	Number      string
	GuideOnly   bool
	Language    string
	Title       string
	Place       string
	Front, Back map[string]section // by field
	Cautions    []string           // labels for the strip on the front
	Address     string             // in the QR code
	QRLine      string
	QRMore      string // a word in place of the line, where there is no room for it
	Photo       *photo
	// PlaceLanguage is that of the place, where it is not that of the card.
	PlaceLanguage string `json:",omitempty"`
	// NotTranslated says in the language that was asked for that the card is in another.
	NotTranslated string `json:",omitempty"`

	voice
	workshopIn string // the language of the workshop's name
	news       cleared.Changes
	// What is new for somebody who comes back: below the timing, or without room
	// there as a mark in the foot.
	News     []entry `json:"-"`
	NewsMark string  `json:"-"`
}

// back is what a field says on the back; below the timing stands what is new.
func (k content) back(field string) section {
	s := k.Back[field]
	if field == fieldTiming {
		s.Entries = slices.Concat(s.Entries, k.News)
	}
	return s
}

// newsLine says on a back what is new in a story since a returning visitor last
// came; the mark says no more than that something is.
func (v voice) newsLine(n cleared.Changes, since day.Date) (line []entry, mark string) {
	words := v.newsWords(n)
	if words == "" || since.IsZero() {
		return nil, ""
	}
	mark = tongue.Fill(v.words.News.Since, "day", v.words.Day(since))
	return []entry{{Lead: v.words.Lead(mark), Text: words}}, mark
}

// whose says in the foot of a back whom it is for, and what there was no room for
// above.
func (k content) whose() string {
	if k.NewsMark != "" && len(k.News) == 0 {
		return k.NewsMark + ". " + k.words.Back.ForGuide
	}
	return k.words.Back.ForGuide
}

// section is one field's text under its heading.
type section struct {
	Heading string
	List    bool // each entry is a thing of its own
	Entries []entry
}

// entry is one paragraph: an opening in stronger type, then the rest.
type entry struct {
	Lead, Text string
	Language   string `json:",omitempty"` // where it is not that of the card
}

// photo is the picture on a front.
type photo struct {
	Name, Alt string
	Open      func() ([]byte, error) `json:"-"`
}

func (k content) name() string {
	if k.Story == "" {
		return "stop " + k.Stop
	}
	return k.Story
}

func (k content) printed() Printed {
	return Printed{Stop: k.Stop, Story: k.Story, Number: k.Number, GuideOnly: k.GuideOnly, Language: k.Language, Digest: k.digest()}
}

func (k content) digest() string {
	// Maps are marshalled in the order of their keys, and the content holds
	// nothing that cannot be marshalled.
	raw, err := json.Marshal(k)
	if err != nil {
		panic("card: " + err.Error())
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// contents returns what each card of a tour says, in order.
func (v *voices) contents(s cleared.Settings, t cleared.Tour) []content {
	timings := tour.Timings(t)
	var all []content
	for i, stop := range t.Stops() {
		stories := stop.Stories()
		for j, story := range stories {
			number := fmt.Sprint(stop.Number())
			if len(stories) > 1 {
				number += letter(j)
			}
			all = append(all, v.storyContent(s, t, stop, story, number, timings[i]))
		}
		if len(stories) == 0 || len(stop.Withheld()) > 0 {
			all = append(all, v.guideOnly(t, stop))
		}
	}
	return all
}

// only is what a face shows of a card.
func (k content) only(f *face) content {
	k = k.clone()
	hidden := func(field string, _ section) bool {
		return !slices.Contains(f.Fields, field) && !slices.Contains(f.Foot, field)
	}
	maps.DeleteFunc(k.Front, hidden)
	maps.DeleteFunc(k.Back, hidden)
	return k
}

// letter names the cards of one stop: a to z, then aa.
func letter(i int) string {
	s := string(rune('a' + i%26))
	if i >= 26 {
		return letter(i/26-1) + s
	}
	return s
}

func (v *voices) storyContent(s cleared.Settings, t cleared.Tour, stop cleared.Stop, story cleared.Story, number string, timing tour.Timing) content {
	cautions, own := allCautions(stop, story), v.in(story.Language())
	if own.labels != s.Language() { // those of the stop are in the workshop's
		cautions = own.inWords(cautions)
	}
	w := own.words
	k := content{
		Stop: stop.ID(), Story: story.ID(), Number: number, Language: story.Language(), voice: own, workshopIn: s.Language(),
		Title: story.Title(), Place: stop.At(), PlaceLanguage: other(cmp.Or(t.Language(), s.Language()), own.labels), QRLine: w.Front.ReadOn, QRMore: w.Front.More,
		Address: s.Site() + "stop/" + stop.ID() + "/", news: story.Changes(),
		Front: map[string]section{
			fieldCameOff:  {Heading: w.Front.CameOff, Entries: paragraphs(story.CameOff())},
			fieldFailed:   {Heading: w.Front.Failed, Entries: paragraphs(story.Failed())},
			fieldReplaced: {Heading: w.Front.Replaced, Entries: paragraphs(story.Replaced())},
			fieldCredits:  {Entries: own.creditLines(story)},
			fieldWorkshop: {Entries: paragraphs(s.Workshop())},
			fieldHandling: {Entries: paragraphs(w.Front.Handling)},
		},
		Back: map[string]section{
			fieldTiming:    {Entries: paragraphs(own.timingWords(t, stop, timing))},
			fieldTalk:      {Heading: w.Back.Talk, Entries: paragraphs(story.Talk())},
			fieldProps:     {Heading: w.Back.Props, List: true, Entries: own.propEntries(story.Props())},
			fieldQuestions: {Heading: w.Back.Questions, List: true, Entries: questionEntries(story.Questions())},
			fieldClaims:    {Heading: w.Back.Claims, List: true, Entries: own.claimEntries(story.Claims())},
			fieldCautions:  {Heading: w.TakeCare, List: true, Entries: cautionEntries(cautions)},
		},
	}
	if tongue.Primary(own.labels) != tongue.Primary(s.Language()) {
		k.QRLine = tongue.Fill(w.Front.ReadOnIn, "language", w.NameOf(s.Language()))
	}
	if v.asked != s.Language() && story.Language() != v.asked {
		k.NotTranslated = v.own().words.Front.NotTranslated
	}
	for _, c := range cautions {
		k.Cautions = append(k.Cautions, c.Label)
	}
	if photos := story.Photos(); len(photos) > 0 {
		k.Photo = &photo{Alt: photos[0].Alt()}
		if c, ok := photos[0].Copy(cleared.Card); ok {
			k.Photo.Name, k.Photo.Open = c.Name(), c.Bytes
		}
	}
	return k
}

// paragraphs splits plain text at blank lines.
func paragraphs(text string) []entry {
	var all []entry
	for _, p := range strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n\n") {
		if strings.TrimSpace(p) != "" {
			all = append(all, entry{Text: p})
		}
	}
	return all
}

func (v voice) creditLines(story cleared.Story) []entry {
	var lines []string
	for _, c := range story.Credits() {
		lines = append(lines, sentence(c))
	}
	if photos := story.Photos(); len(photos) > 0 && photos[0].Credit() != "" {
		lines = append(lines, sentence(v.words.Lead(v.words.Photo)+"\u00a0"+photos[0].Credit()))
	}
	return paragraphs(strings.Join(lines, " "))
}

// sentence ends a line with a full stop if nothing ends it yet.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.ContainsRune(".!?…", []rune(s)[len([]rune(s))-1]) {
		return s
	}
	return s + "."
}

// gravest are the hazards that one touch, breath or step may turn into lasting
// harm; they are read first (common practice, no source).
var gravest = [...]string{"explosive", "asbestos", "beryllium", "luminous-paint", "cadmium", "chromate-primer", "lead-paint", "propeller", "stored-energy"}

// allCautions joins those of the story, the stop and the props, each once, the
// gravest first.
func allCautions(stop cleared.Stop, story cleared.Story) []cleared.Caution {
	lists := [][]cleared.Caution{story.Cautions(), stop.Cautions()}
	for _, p := range story.Props() {
		lists = append(lists, p.Cautions)
	}
	seen := map[string]bool{}
	var all []cleared.Caution
	for _, list := range lists {
		for _, c := range list {
			if !seen[c.Key] {
				seen[c.Key] = true
				all = append(all, c)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b cleared.Caution) int { return gravity(a) - gravity(b) })
	return all
}

// gravity is less for what is worse.
func gravity(c cleared.Caution) int {
	if at := slices.Index(gravest[:], c.Key); at >= 0 {
		return at
	}
	return len(gravest)
}

func (v voice) propEntries(props []cleared.Prop) []entry {
	w := v.words
	var all []entry
	for _, p := range props {
		text := map[cleared.HandRound]string{
			cleared.DropProof: w.Round.DropProof, cleared.TwoHands: w.Round.TwoHands, cleared.LookOnly: w.Round.LookOnly,
		}[p.HandRound]
		if len(p.Cautions) > 0 {
			var labels []string
			for _, c := range p.Cautions {
				labels = append(labels, c.Label)
			}
			text += " " + w.Lead(w.TakeCare) + " " + sentence(strings.Join(labels, ", "))
		}
		if p.MadeSafe != "" {
			text += " " + w.Lead(w.Back.MadeSafe) + " " + sentence(p.MadeSafe)
		}
		all = append(all, entry{Lead: sentence(capital(p.What)), Text: text})
	}
	return all
}

// capital begins a line with a capital letter.
func capital(s string) string {
	runes := []rune(strings.TrimSpace(s))
	if len(runes) == 0 {
		return ""
	}
	return strings.ToUpper(string(runes[:1])) + string(runes[1:])
}

func questionEntries(questions []cleared.Question) []entry {
	var all []entry
	for _, q := range questions {
		all = append(all, entry{Lead: q.Ask, Text: q.Answer})
	}
	return all
}

func (v voice) claimEntries(claims []cleared.Claim) []entry {
	var all []entry
	for _, c := range claims {
		text := sentence(c.Say)
		if c.Evidence != "" {
			text += " " + v.words.Lead(v.words.Back.Evidence) + " " + sentence(c.Evidence)
		}
		all = append(all, entry{Lead: v.words.Lead(v.words.Status(c.Status)), Text: text})
	}
	return all
}

func cautionEntries(cautions []cleared.Caution) []entry {
	var all []entry
	for _, c := range cautions {
		all = append(all, entry{Lead: sentence(c.Label), Text: c.Advice})
	}
	return all
}

// timingWords says how long the stop may take, all its cards together.
func (v voice) timingWords(t cleared.Tour, stop cleared.Stop, timing tour.Timing) string {
	w := v.words
	parts := []string{tongue.Fill(w.Timing.Allow, "time", w.Duration(timing.Stop))}
	if n := len(stop.Stories()); n > 1 {
		parts[0] = tongue.Fill(w.Timing.AllowCards, "time", w.Duration(timing.Stop), "cards", fmt.Sprint(n))
	}
	if timing.Talk > 0 {
		parts = append(parts, tongue.Fill(w.Timing.Talk, "time", w.Duration(timing.Talk), "pace", fmt.Sprintf("%.0f", t.Pace())))
	}
	if timing.Props > 0 {
		parts = append(parts, tongue.Fill(w.Timing.Round, "time", w.Duration(timing.Props), "people", fmt.Sprint(t.Group())))
	}
	return sentence(strings.Join(parts, w.Pause+" "))
}

// guideOnly says that a stop has no card for visitors, or not all of them.
func (v *voices) guideOnly(t cleared.Tour, stop cleared.Stop) content {
	own := v.own()
	w := own.words.Guide
	k := content{
		Stop: stop.ID(), Number: fmt.Sprint(stop.Number()), GuideOnly: true, Language: own.labels, voice: own,
		Title: w.NoCard, Place: stop.At(), PlaceLanguage: other(cmp.Or(t.Language(), own.labels), own.labels),
	}
	advice := w.NoCardAdvice
	if len(stop.Stories()) > 0 {
		k.Title = w.Missing
		advice = w.MissingAdvice
	}
	why := section{Heading: w.Why, List: true}
	for _, reason := range stop.Withheld() {
		why.Entries = append(why.Entries, own.reason(sentence(capital(reason))))
	}
	if len(why.Entries) == 0 {
		why.Entries = []entry{{Text: w.NoStory}}
	}
	k.Back = map[string]section{
		fieldWithheld: why,
		fieldAdvice:   {Heading: w.WhatToDo, Entries: paragraphs(advice)},
	}
	return k
}

// reason is what a command says to the person at work, which is English.
func (v voice) reason(text string) entry {
	if v.words.English() {
		return entry{Text: text}
	}
	return entry{Text: text, Language: "en"}
}

// unfitSheet says to the guide why a card is not there, and what would help.
func (v *voices) unfitSheet(card content, err error) content {
	own := v.own()
	w := own.words.Guide
	k := content{
		Stop: card.Stop, Number: card.Number, GuideOnly: true, Language: own.labels, voice: own,
		Title: w.Unfit, Place: card.Place, PlaceLanguage: other(cmp.Or(card.PlaceLanguage, card.labels), own.labels),
	}
	why := section{Heading: w.Why, List: true}
	for _, one := range parts(err) {
		why.Entries = append(why.Entries, own.reason(sentence(capital(one.Error()))))
	}
	k.Back = map[string]section{
		fieldWithheld: why,
		fieldAdvice:   {Heading: w.WhatToDo, Entries: paragraphs(w.UnfitAdvice)},
	}
	return k
}

// barest is a sheet for the guide that fits whatever the tour says.
func (k content) barest() content {
	k.Place = ""
	k.Back = map[string]section{
		fieldWithheld: {Heading: k.words.Guide.Why, List: true, Entries: []entry{{Text: k.words.Guide.TooLong}}},
		fieldAdvice:   k.Back[fieldAdvice],
	}
	return k
}
