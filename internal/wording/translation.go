package wording

import (
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"

	"example.org/opencowl/internal/reading"
)

// Translation is a story in another language of the workshop. It holds nothing but
// words: how sure a claim is, what to take care of, how a prop goes round, for whom
// and from when are the original's, so that no translation can soften them.
type Translation struct {
	Of        string // the id of the story
	Language  string // as the workshop lists it
	File      string
	WrittenBy string            `yaml:"written_by"`
	Title     string            `yaml:"title"`
	CameOff   string            `yaml:"came_off"`
	Failed    string            `yaml:"failed"`
	Replaced  string            `yaml:"replaced"`
	Claims    []TranslatedClaim `yaml:"claims"` // here and below: in the original's order
	Questions []Question        `yaml:"questions"`
	Talk      string            `yaml:"talk"`
	Props     []TranslatedProp  `yaml:"props"`
	Credits   []string          `yaml:"credits"`
	Photos    []TranslatedPhoto `yaml:"photos"`
	Body      string            // Markdown; may be left out, since no card prints it
	BodyLine  int               // the line of File at which Body begins
	Doc       *reading.Doc

	source string
}

// TranslatedClaim is the words of a claim.
type TranslatedClaim struct {
	Say      string `yaml:"say"`
	Evidence string `yaml:"evidence"`
}

// TranslatedProp is the words of a prop.
type TranslatedProp struct {
	What     string `yaml:"what"`
	MadeSafe string `yaml:"made_safe"`
}

// TranslatedPhoto is the words of a photo.
type TranslatedPhoto struct {
	Caption string `yaml:"caption"`
	Alt     string `yaml:"alt"`
}

func (t *Translation) file() string { return t.File }

// Texts returns every text of the translation that somebody outside can read, under
// the names of the original's. Blank ones are left out.
func (t *Translation) Texts() []Text {
	ts := &texts{doc: t.Doc, source: t.source}
	s := Story{Title: t.Title, CameOff: t.CameOff, Failed: t.Failed, Replaced: t.Replaced, Questions: t.Questions, Talk: t.Talk, Credits: t.Credits}
	for _, c := range t.Claims {
		s.Claims = append(s.Claims, Claim{Say: c.Say, Evidence: c.Evidence})
	}
	for _, p := range t.Props {
		s.Props = append(s.Props, Prop{What: p.What, MadeSafe: p.MadeSafe})
	}
	s.words(ts)
	for i, p := range t.Photos {
		ts.add(fmt.Sprintf("photos[%d].caption", i), p.Caption)
		ts.add(fmt.Sprintf("photos[%d].alt", i), p.Alt)
	}
	ts.body("body", t.Body, t.BodyLine)
	return ts.list
}

// TourTranslation is the titles of a tour and of its stops in another language.
type TourTranslation struct {
	Of        string // the id of the tour
	Language  string
	File      string
	WrittenBy string         `yaml:"written_by"`
	Title     string         `yaml:"title"`
	Stops     []reading.Pair `yaml:"stops"` // id of a stop, and where the group stands
	Doc       *reading.Doc

	source string
}

func (t *TourTranslation) file() string { return t.File }

// Texts returns the titles; that of a stop is named by its id.
func (t *TourTranslation) Texts() []Text {
	ts := &texts{doc: t.Doc, source: t.source}
	ts.add("title", t.Title)
	for _, s := range t.Stops {
		ts.add("stops."+s.Key, s.Value)
	}
	return ts.list
}

// translated takes the name of a file apart: "floor-stiffener.fr.md" is what
// floor-stiffener.md says, in French.
func translated(file, suffix string) (of, language string, is bool) {
	of, language, is = strings.Cut(strings.TrimSuffix(path.Base(file), suffix), ".")
	return of, language, is && reading.IsID(of) && languageTag.MatchString(language)
}

// languageTag is the look of a tag (RFC 5646, section 2.1, its common part).
var languageTag = regexp.MustCompile(`^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$`)

// offers reports whether the workshop offers the language of a translation; if it
// does not, that is a problem.
func (p *page) offers(language string, o ReadOptions) {
	at := reading.Place{File: p.doc.File, Line: 1, Column: 1}
	switch {
	case slices.Contains(o.Languages, language):
	case strings.EqualFold(language, o.Language):
		p.problems = append(p.problems, reading.Problem{Place: at, Code: "own-language", Value: reading.Shorten(language),
			Message: fmt.Sprintf("%q is the workshop's own language, in which the original is written", language), Remedy: "take the file away, or give it the name of another language"})
	default:
		remedy := fmt.Sprintf("add it: languages: [%s] under workshop: in workshop.yaml, or give the file another name", strings.Join(append(slices.Clone(o.Languages), language), ", "))
		near := reading.Nearest(language, o.Languages)
		if i := slices.IndexFunc(o.Languages, func(l string) bool { return strings.EqualFold(l, language) }); i >= 0 {
			near = o.Languages[i]
		}
		if near != "" {
			remedy = fmt.Sprintf("did you mean %q? Or ", near) + remedy
		}
		p.problems = append(p.problems, reading.Problem{Place: at, Code: "unknown-language", Value: reading.Shorten(language),
			Message: fmt.Sprintf("%q is not a language that the workshop offers", language), Remedy: remedy})
	}
}

// originalsOwn are the keys of stories and tours that a translation does not have.
func originalsOwn(key string) bool {
	return slices.Contains([]string{"parts", "area", "for", "not_before", "cautions", "evergreen", "status", "about", "hand_round", "caution",
		"slot", "group", "pace", "walk", "start", "stories", "wants", "minutes", "x", "y", "at", "id", "walk_from_last"}, key)
}

// ownedBy says of keys that belong to the original that they do.
func (p *page) ownedBy(original string) {
	for i, problem := range p.problems {
		if problem.Code == "unknown-key" && originalsOwn(problem.Value) {
			p.problems[i].Code = "originals-key"
			p.problems[i].Message = fmt.Sprintf("the key %q belongs to the original", problem.Value)
			p.problems[i].Remedy = "take it out; a translation follows what " + original + " says"
		}
	}
}

// noOriginal is the one problem of a translation of nothing: what it should hold is
// not known.
func (p *page) noOriginal(file string, known []string, of string) {
	remedy := "write it first, or rename the translation"
	if near := nearest(of, known); near != "" {
		remedy = fmt.Sprintf("did you mean %q?", near)
	}
	p.problems = []reading.Problem{{Place: reading.Place{File: p.doc.File, Line: 1, Column: 1}, Code: "no-original", Value: reading.Shorten(of),
		Message: "this translates " + file + ", which is not there", Remedy: remedy}}
}

// translates sets a text beside the original's: both are there, or neither.
func (p *page) translates(where, mine, original, file string) {
	switch {
	case !blank(original):
		p.required(where, mine, "translate what "+file+" says")
	case !blank(mine):
		p.add(where, "not-in-original", mine, last(where)+" is not in the original", "take it out, or write it in "+file+" first")
	}
}

// asMany asks for as many items as the original has.
func (p *page) asMany(where string, n, want int, original *reading.Doc) bool {
	if n != want {
		p.add(where, "other-length", fmt.Sprint(n), fmt.Sprintf("%s has %s, and the original has %d", where, items(n), want),
			"translate each, in the order of "+original.At(where).String())
	}
	return n == want
}

func items(n int) string {
	if n == 1 {
		return "1 item"
	}
	return fmt.Sprintf("%d items", n)
}

// heldTo checks what translations of all kinds share: the language is the workshop's,
// the keys are a translation's, and somebody wrote it. It is false where nothing of
// the file was read, and there is no more to check.
func (p *page) heldTo(original, language, writtenBy, title string, unread bool, o ReadOptions) bool {
	p.offers(language, o)
	p.ownedBy(original)
	if unread {
		return false
	}
	p.writtenBy(writtenBy, o)
	p.oneLine("title", title)
	return true
}

// readTranslation reads a story in another language beside the original, which may
// be nil.
func readTranslation(file string, src []byte, o ReadOptions, original *Story, known []string) (*Translation, []reading.Problem) {
	t := &Translation{File: file}
	t.Of, t.Language, _ = translated(file, ".md")
	doc, body, line, problems := reading.FrontMatter(file, src, t)
	p := newPage(doc, src, problems)
	t.Doc, t.Body, t.BodyLine, t.source = doc, body, line, p.source
	if original == nil {
		p.noOriginal(storyFolder+"/"+t.Of+".md", known, t.Of)
		return t, p.problems
	}
	if !p.heldTo(original.File, t.Language, t.WrittenBy, t.Title, nothingRead(problems), o) {
		return t, p.problems
	}
	s := original
	each := func(where, mine, theirs string) { p.translates(where, mine, theirs, s.File) }
	each("title", t.Title, s.Title)
	each("came_off", t.CameOff, s.CameOff)
	each("failed", t.Failed, s.Failed)
	each("replaced", t.Replaced, s.Replaced)
	each("talk", t.Talk, s.Talk)
	if p.asMany("claims", len(t.Claims), len(s.Claims), s.Doc) {
		for i, c := range t.Claims {
			each(fmt.Sprintf("claims[%d].say", i), c.Say, s.Claims[i].Say)
			each(fmt.Sprintf("claims[%d].evidence", i), c.Evidence, s.Claims[i].Evidence)
		}
	}
	if p.asMany("questions", len(t.Questions), len(s.Questions), s.Doc) {
		for i, q := range t.Questions {
			each(fmt.Sprintf("questions[%d].ask", i), q.Ask, s.Questions[i].Ask)
			each(fmt.Sprintf("questions[%d].answer", i), q.Answer, s.Questions[i].Answer)
		}
	}
	if p.asMany("props", len(t.Props), len(s.Props), s.Doc) {
		for i, prop := range t.Props {
			each(fmt.Sprintf("props[%d].what", i), prop.What, s.Props[i].What)
			each(fmt.Sprintf("props[%d].made_safe", i), prop.MadeSafe, s.Props[i].MadeSafe)
		}
	}
	if p.asMany("credits", len(t.Credits), len(s.Credits), s.Doc) {
		for i, c := range t.Credits {
			each(fmt.Sprintf("credits[%d]", i), c, s.Credits[i])
		}
	}
	if p.asMany("photos", len(t.Photos), len(s.Photos), s.Doc) {
		for i, photo := range t.Photos {
			p.required(fmt.Sprintf("photos[%d].alt", i), photo.Alt, "say what a person who cannot see the photo should know")
		}
	}
	if blank(s.Body) && !blank(t.Body) {
		p.problems = append(p.problems, reading.Problem{Place: reading.Place{File: file, Line: line}, Code: "not-in-original",
			Message: "the longer account is not in the original", Remedy: "take it out, or write it in " + s.File + " first"})
	}
	p.facts(t.Texts())
	p.factsOf(t.Texts(), s)
	return t, p.problems
}

// factsOf holds the released facts of a translation to those of the original, and
// refuses the record's own words, which are in one language only.
func (p *page) factsOf(texts []Text, original *Story) {
	released := map[string]bool{}
	for _, t := range original.Texts() {
		refs, _ := Facts(t)
		for _, f := range refs {
			released[f.Part+"."+f.Field] = true
		}
	}
	for _, t := range texts {
		refs, _ := Facts(t)
		for _, f := range refs {
			switch {
			case f.Field == "material":
				p.problems = append(p.problems, reading.Problem{Place: f.Place, Code: "record-words", Value: f.Raw,
					Message: "a material is told in the record's own words, which nobody translates", Remedy: "write the material in words of this language, as far as the original releases it"})
			case !released[f.Part+"."+f.Field]:
				p.problems = append(p.problems, reading.Problem{Place: f.Place, Code: "fact-not-in-original", Value: f.Raw,
					Message: "the original does not release this fact", Remedy: "take it out, or name it in " + original.File + " first"})
			}
		}
	}
}

// readTourTranslation reads the titles of a tour in another language beside the
// original, which may be nil.
func readTourTranslation(file string, src []byte, o ReadOptions, original *Tour, known []string) (*TourTranslation, []reading.Problem) {
	t := &TourTranslation{File: file}
	t.Of, t.Language, _ = translated(file, ".yaml")
	doc, problems := reading.YAML(file, src, t)
	p := newPage(doc, src, problems)
	t.Doc, t.source = doc, p.source
	if original == nil {
		p.noOriginal(tourFolder+"/"+t.Of+".yaml", known, t.Of)
		return t, p.problems
	}
	if !p.heldTo(original.File, t.Language, t.WrittenBy, t.Title, nothingRead(problems), o) {
		return t, p.problems
	}
	p.translates("title", t.Title, original.Title, original.File)
	var ids []string
	for _, s := range original.Stops {
		ids = append(ids, s.ID)
		i := slices.IndexFunc(t.Stops, func(pair reading.Pair) bool { return pair.Key == s.ID })
		where := "stops." + s.ID
		if i < 0 {
			p.add(where, "missing", s.ID, fmt.Sprintf("the stop %q has no title", s.ID), fmt.Sprintf("translate %q", reading.Shorten(s.At)))
			continue
		}
		p.required(where, t.Stops[i].Value, fmt.Sprintf("translate %q", reading.Shorten(s.At)))
		p.oneLine(where, t.Stops[i].Value)
	}
	for _, s := range t.Stops {
		p.refers("stops."+s.Key, "stop", original.File, s.Key, ids)
	}
	p.facts(t.Texts())
	return t, p.problems
}
