package card

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
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
	Photo       *photo

	news cleared.Changes
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
func newsLine(n cleared.Changes, since day.Date) (line []entry, mark string) {
	words := newsWords(n)
	if words == "" || since.IsZero() {
		return nil, ""
	}
	mark = "New since " + since.Words()
	return []entry{{Lead: mark + ":", Text: words}}, mark
}

// whose says in the foot of a back whom it is for, and what there was no room for
// above.
func (k content) whose() string {
	if k.NewsMark != "" && len(k.News) == 0 {
		return k.NewsMark + ". For the guide"
	}
	return "For the guide"
}

// section is one field's text under its heading.
type section struct {
	Heading string
	List    bool // each entry is a thing of its own
	Entries []entry
}

// entry is one paragraph: an opening in stronger type, then the rest.
type entry struct{ Lead, Text string }

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
	return Printed{Stop: k.Stop, Story: k.Story, Number: k.Number, GuideOnly: k.GuideOnly, Digest: k.digest()}
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
func contents(s cleared.Settings, t cleared.Tour) []content {
	timings := tour.Timings(t)
	var all []content
	for i, stop := range t.Stops() {
		stories := stop.Stories()
		for j, story := range stories {
			number := fmt.Sprint(stop.Number())
			if len(stories) > 1 {
				number += letter(j)
			}
			all = append(all, storyContent(s, t, stop, story, number, timings[i]))
		}
		if len(stories) == 0 || len(stop.Withheld()) > 0 {
			all = append(all, guideOnly(s, stop))
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

func storyContent(s cleared.Settings, t cleared.Tour, stop cleared.Stop, story cleared.Story, number string, timing tour.Timing) content {
	cautions := allCautions(stop, story)
	k := content{
		Stop: stop.ID(), Story: story.ID(), Number: number, Language: story.Language(),
		Title: story.Title(), Place: stop.At(), QRLine: "Read on",
		Address: s.Site() + "stop/" + stop.ID() + "/", news: story.Changes(),
		Front: map[string]section{
			fieldCameOff:  {Heading: "What came off", Entries: paragraphs(story.CameOff())},
			fieldFailed:   {Heading: "Why it failed", Entries: paragraphs(story.Failed())},
			fieldReplaced: {Heading: "What replaced it", Entries: paragraphs(story.Replaced())},
			fieldCredits:  {Entries: creditLines(story)},
			fieldWorkshop: {Entries: paragraphs(s.Workshop())},
			fieldHandling: {Entries: paragraphs(handling)},
		},
		Back: map[string]section{
			fieldTiming:    {Entries: paragraphs(timingWords(t, stop, timing))},
			fieldTalk:      {Heading: "Talk", Entries: paragraphs(story.Talk())},
			fieldProps:     {Heading: "To show", List: true, Entries: propEntries(story.Props())},
			fieldQuestions: {Heading: "Likely questions", List: true, Entries: questionEntries(story.Questions())},
			fieldClaims:    {Heading: "How sure we are", List: true, Entries: claimEntries(story.Claims())},
			fieldCautions:  {Heading: "Take care", List: true, Entries: cautionEntries(cautions)},
		},
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

func creditLines(story cleared.Story) []entry {
	var lines []string
	for _, c := range story.Credits() {
		lines = append(lines, sentence(c))
	}
	if photos := story.Photos(); len(photos) > 0 && photos[0].Credit() != "" {
		lines = append(lines, sentence("Photo:\u00a0"+photos[0].Credit()))
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

// handling stands on every front: a story about a part is no word on whether it
// may fly, and on site the local rules come first.
const handling = "From the workshop log; not an airworthiness statement. Follow the site’s rules and your guide."

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

func propEntries(props []cleared.Prop) []entry {
	var all []entry
	for _, p := range props {
		text := map[cleared.HandRound]string{
			cleared.DropProof: "Drop-proof: pass it round.",
			cleared.TwoHands:  "Two hands: pass it from person to person, and do not let it drop.",
			cleared.LookOnly:  "Look only: it stays in your hands.",
		}[p.HandRound]
		if len(p.Cautions) > 0 {
			var labels []string
			for _, c := range p.Cautions {
				labels = append(labels, c.Label)
			}
			text += " Take care: " + sentence(strings.Join(labels, ", "))
		}
		if p.MadeSafe != "" {
			text += " Made safe: " + sentence(p.MadeSafe)
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

func claimEntries(claims []cleared.Claim) []entry {
	var all []entry
	for _, c := range claims {
		text := sentence(c.Say)
		if c.Evidence != "" {
			text += " Evidence: " + sentence(c.Evidence)
		}
		all = append(all, entry{Lead: capital(c.Status) + ":", Text: text})
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
func timingWords(t cleared.Tour, stop cleared.Stop, timing tour.Timing) string {
	parts := []string{"Allow " + tour.DurationWords(timing.Stop)}
	if n := len(stop.Stories()); n > 1 {
		parts[0] += fmt.Sprintf(" for the stop’s %d cards", n)
	}
	if timing.Talk > 0 {
		parts = append(parts, fmt.Sprintf("talk %s at %.0f words a minute", tour.DurationWords(timing.Talk), t.Pace()))
	}
	if timing.Props > 0 {
		parts = append(parts, fmt.Sprintf("handing round %s for %d people", tour.DurationWords(timing.Props), t.Group()))
	}
	return sentence(strings.Join(parts, "; "))
}

// guideOnly says that a stop has no card for visitors, or not all of them.
func guideOnly(s cleared.Settings, stop cleared.Stop) content {
	k := content{
		Stop: stop.ID(), Number: fmt.Sprint(stop.Number()), GuideOnly: true, Language: s.Language(),
		Title: "No card for visitors at this stop", Place: stop.At(),
	}
	advice := "Tell nothing here that has not been cleared. Walk on to the next stop, or stop for questions about the last one."
	if len(stop.Stories()) > 0 {
		k.Title = "A story is missing at this stop"
		advice = "The other cards of this stop are good. Tell nothing of what is missing here."
	}
	why := section{Heading: "Why", List: true}
	for _, reason := range stop.Withheld() {
		why.Entries = append(why.Entries, entry{Text: sentence(capital(reason))})
	}
	if len(why.Entries) == 0 {
		why.Entries = []entry{{Text: "The tour names no story for this stop."}}
	}
	k.Back = map[string]section{
		fieldWithheld: why,
		fieldAdvice:   {Heading: "What to do", Entries: paragraphs(advice)},
	}
	return k
}

// unfitSheet says to the guide why a card is not there, and what would help.
func unfitSheet(s cleared.Settings, card content, err error) content {
	k := content{
		Stop: card.Stop, Number: card.Number, GuideOnly: true, Language: s.Language(),
		Title: "This card does not fit its paper", Place: card.Place,
	}
	why := section{Heading: "Why", List: true}
	for _, one := range parts(err) {
		why.Entries = append(why.Entries, entry{Text: sentence(capital(one.Error()))})
	}
	k.Back = map[string]section{
		fieldWithheld: why,
		fieldAdvice: {Heading: "What to do", Entries: paragraphs(
			"Tell this stop from the public page, or walk on. Print the card on larger paper, or ask whoever wrote the story to shorten it; it is then cleared again.")},
	}
	return k
}

// barest is a sheet for the guide that fits whatever the tour says.
func (k content) barest() content {
	k.Place = ""
	k.Back = map[string]section{
		fieldWithheld: {Heading: "Why", List: true, Entries: []entry{{Text: "The reason is too long for this sheet: opencowl check gives it."}}},
		fieldAdvice:   k.Back[fieldAdvice],
	}
	return k
}
