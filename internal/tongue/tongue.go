// Package tongue holds what the product itself says to whoever reads a card, by
// language: headings, cautions, how sure a claim is, and how numbers, dates and
// money are written.
//
// It promises that a language is whole or an error: words that are missing are
// named with their file and key, and no other language's stand in for them. The
// words are files of the theme, themes/words/LANGUAGE.yaml, which a workspace may
// lay its own over or add to.
//
// It must not know any story, nor the record.
package tongue

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"reflect"
	"slices"
	"strings"

	"golang.org/x/text/language"
	"golang.org/x/text/language/display"

	"example.org/opencowl/internal/reading"
)

// ErrNoWords says that a language has no file of words.
var ErrNoWords = errors.New("there are no words for the cards in this language")

// Folder holds the files of words, in the theme.
const Folder = "words"

// Words is one language.
type Words struct {
	Front    Front    `yaml:"front"`
	Back     Back     `yaml:"back"`
	Sure     Sure     `yaml:"sure"`
	Begins   Begins   `yaml:"begins"`
	Round    Round    `yaml:"hand_round"`
	Timing   Timing   `yaml:"timing"`
	News     News     `yaml:"news"`
	Guide    Guide    `yaml:"guide_sheet"`
	Draft    string   `yaml:"draft"`    // on each page that may not be used; begins with DRAFT
	Document string   `yaml:"document"` // the title of the file: {tour}
	Card     string   `yaml:"card"`     // of cards said aloud: {number}
	TakeCare string   `yaml:"take_care"`
	Photo    string   `yaml:"photo"` // before what a photo shows or who took it
	Colon    string   `yaml:"colon"` // with the space that the language puts before it
	Pause    string   `yaml:"semicolon"`
	Formats  Formats  `yaml:"formats"`
	Piles    Piles    `yaml:"piles"`
	Sources  Sources  `yaml:"sources"`
	Cautions Cautions `yaml:"cautions"`

	tag language.Tag
}

// Front is what stands on the side for visitors.
type Front struct {
	CameOff       string `yaml:"came_off"`
	Failed        string `yaml:"failed"`
	Replaced      string `yaml:"replaced"`
	Handling      string `yaml:"handling"`
	AsOf          string `yaml:"as_of"` // {day}
	ReadOn        string `yaml:"read_on"`
	ReadOnIn      string `yaml:"read_on_in"`     // where the page is in another {language}
	More          string `yaml:"more"`           // a word in place of both, where there is no room
	Code          string `yaml:"code"`           // the code in words: {address}
	NotTranslated string `yaml:"not_translated"` // on a card that is in another language
}

// Back is what stands on the side for the guide.
type Back struct {
	Talk      string `yaml:"talk"`
	Props     string `yaml:"props"`
	Questions string `yaml:"questions"`
	Claims    string `yaml:"claims"`
	ForGuide  string `yaml:"for_guide"`
	RunsOn    string `yaml:"runs_on"` // {title}: of a further side
	Side      string `yaml:"side"`    // {whose}, {side}, {sides}
	Evidence  string `yaml:"evidence"`
	MadeSafe  string `yaml:"made_safe"`
}

// Sure names how sure a claim is.
type Sure struct {
	Proven string `yaml:"proven"`
	Likely string `yaml:"likely"`
	Told   string `yaml:"told"`
}

// Begins is how a claim that is not proven begins.
type Begins struct {
	Likely string `yaml:"likely"`
	Told   string `yaml:"told"`
}

// Round says how a prop may be passed round.
type Round struct {
	DropProof string `yaml:"drop-proof"`
	TwoHands  string `yaml:"two-hands"`
	LookOnly  string `yaml:"look-only"`
}

// Timing says how long a stop takes.
type Timing struct {
	Allow      string `yaml:"allow"`       // {time}
	AllowCards string `yaml:"allow_cards"` // {time}, {cards}
	Talk       string `yaml:"talk"`        // {time}, {pace}
	Round      string `yaml:"round"`       // {time}, {people}
	Minutes    string `yaml:"minutes"`     // {n}
	Seconds    string `yaml:"seconds"`     // {n}
}

// News says what is new in a story.
type News struct {
	Since        string `yaml:"since"` // {day}
	Story        string `yaml:"story"`
	Words        string `yaml:"words"`
	WordsAndWork string `yaml:"words_and_work"`
	Work         string `yaml:"work"`
}

// Guide is what stands on a sheet for the guide alone.
type Guide struct {
	Band          string `yaml:"band"`
	Only          string `yaml:"only"`
	Why           string `yaml:"why"`
	WhatToDo      string `yaml:"what_to_do"`
	NoCard        string `yaml:"no_card"`
	NoCardAdvice  string `yaml:"no_card_advice"`
	Missing       string `yaml:"missing"`
	MissingAdvice string `yaml:"missing_advice"`
	NoStory       string `yaml:"no_story"`
	Unfit         string `yaml:"unfit"`
	UnfitAdvice   string `yaml:"unfit_advice"`
	TooLong       string `yaml:"too_long"`
}

// Piles and Sources are how the trade says it.
type Piles struct {
	Serviceable   string `yaml:"serviceable"`
	Rework        string `yaml:"rework"`
	Unserviceable string `yaml:"unserviceable"`
	Quarantine    string `yaml:"quarantine"`
}

// Sources says where a replacement came from.
type Sources struct {
	MadeHere    string `yaml:"made-here"`
	MadeOutside string `yaml:"made-outside"`
	Stores      string `yaml:"stores"`
	Loan        string `yaml:"loan"`
	Repaired    string `yaml:"repaired"`
}

// Caution is one hazard in words.
type Caution struct {
	Label  string `yaml:"label"`
	Advice string `yaml:"advice"`
}

// Cautions are all hazards, by key.
type Cautions struct {
	SharpEdge      Caution `yaml:"sharp-edge"`
	LeadPaint      Caution `yaml:"lead-paint"`
	ChromatePrimer Caution `yaml:"chromate-primer"`
	Asbestos       Caution `yaml:"asbestos"`
	Cadmium        Caution `yaml:"cadmium"`
	LuminousPaint  Caution `yaml:"luminous-paint"`
	Swarf          Caution `yaml:"swarf"`
	Pressure       Caution `yaml:"pressure"`
	Trip           Caution `yaml:"trip"`
	HeadHeight     Caution `yaml:"head-height"`
	Fumes          Caution `yaml:"fumes"`
	Noise          Caution `yaml:"noise"`
	Explosive      Caution `yaml:"explosive"`
	Beryllium      Caution `yaml:"beryllium"`
	Propeller      Caution `yaml:"propeller"`
	StoredEnergy   Caution `yaml:"stored-energy"`
	Magnesium      Caution `yaml:"magnesium"`
	Fuel           Caution `yaml:"fuel"`
	Battery        Caution `yaml:"battery"`
}

// Read reads the words of a language from a theme: of that very language, or
// else of its nearest kin, so that en-US is served by en-GB. The error is
// ErrNoWords, or a reading.Problem for each fault of the file, joined.
func Read(theme fs.FS, lang string) (*Words, error) {
	there := Languages(theme)
	tag, err := language.Parse(lang)
	name := nearest(lang, there)
	if err != nil || name == "" {
		return nil, fmt.Errorf("%w: %q; the languages that have them are %s; write themes/%s/%s.yaml to add one",
			ErrNoWords, reading.Shorten(lang), strings.Join(there, ", "), Folder, reading.Shorten(lang))
	}
	file := path.Join(Folder, name+".yaml")
	src, err := fs.ReadFile(theme, file)
	if err != nil {
		return nil, fmt.Errorf("the words in %q cannot be read: %w", lang, err)
	}
	w := &Words{tag: tag}
	doc, problems := reading.YAML("themes/"+file, src, w)
	problems = append(problems, w.problems(doc)...)
	var faults []error
	for _, p := range problems {
		faults = append(faults, p)
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return w, nil
}

// Languages lists the languages that a theme has words for.
func Languages(theme fs.FS) []string {
	var all []string
	files, err := fs.ReadDir(theme, Folder)
	if err != nil {
		return nil
	}
	for _, f := range files {
		if name, ok := strings.CutSuffix(f.Name(), ".yaml"); ok {
			all = append(all, name)
		}
	}
	return all
}

// nearest is the file for a language: of the same name, of the name without its
// last parts, or the first of the same language elsewhere.
func nearest(lang string, there []string) string {
	for name := lang; name != ""; {
		if i := slices.IndexFunc(there, func(t string) bool { return strings.EqualFold(t, name) }); i >= 0 {
			return there[i]
		}
		name = name[:max(0, strings.LastIndexByte(name, '-'))]
	}
	if i := slices.IndexFunc(there, func(t string) bool { return Primary(t) == Primary(lang) }); i >= 0 {
		return there[i]
	}
	return ""
}

// Primary is the language of a tag without its country: "en" of "en-GB".
func Primary(lang string) string {
	primary, _, _ := strings.Cut(lang, "-")
	return strings.ToLower(primary)
}

// English reports whether these are English words.
func (w *Words) English() bool { return Primary(w.tag.String()) == "en" }

// NameOf is what another language is called in this one (CLDR); its tag where
// that is not known.
func (w *Words) NameOf(lang string) string {
	tag, err := language.Parse(lang)
	names := display.Languages(w.tag)
	if err != nil || names == nil {
		return lang
	}
	base, _ := tag.Base()
	if name := names.Name(base); name != "" {
		return name
	}
	return lang
}

// Caution returns the words of a caution.
func (w *Words) Caution(key string) (Caution, bool) {
	c, ok := byKey[Caution](w.Cautions, key)
	return c, ok
}

// Pile and Source are the words of a pile and of where a replacement came from;
// "" for a key that there is not.
func (w *Words) Pile(key string) string   { s, _ := byKey[string](w.Piles, key); return s }
func (w *Words) Source(key string) string { s, _ := byKey[string](w.Sources, key); return s }

// Status names how sure a claim is; one that is not known is a tale.
func (w *Words) Status(key string) string {
	if s, ok := byKey[string](w.Sure, key); ok {
		return s
	}
	return w.Sure.Told
}

// byKey finds a field by its name in the file.
func byKey[T any](group any, key string) (found T, ok bool) {
	v := reflect.ValueOf(group)
	for i := range v.NumField() {
		if v.Type().Field(i).Tag.Get("yaml") == key {
			found, ok = v.Field(i).Interface().(T)
			return found, ok
		}
	}
	return found, false
}

// Lead is what stands before something, with its colon.
func (w *Words) Lead(words string) string { return words + w.Colon }

// Fill puts values into the places that a text keeps for them: Fill("As of
// {day}", "day", "1 May").
func Fill(text string, pairs ...string) string {
	for i := 0; i+1 < len(pairs); i += 2 {
		pairs[i] = "{" + pairs[i] + "}"
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

// problems finds words that are missing, and places that a text does not keep.
func (w *Words) problems(doc *reading.Doc) []reading.Problem {
	var all []reading.Problem
	each(reflect.ValueOf(*w), "", func(key, text string) {
		if strings.TrimSpace(text) == "" {
			all = append(all, doc.Problem(key, "no-words", "", fmt.Sprintf("the words %q are missing", key), "write them; what they say in English is in the built-in themes/words/en-GB.yaml"))
			return
		}
		for _, place := range places(key) {
			if !strings.Contains(text, place) {
				all = append(all, doc.Problem(key, "no-place", text, fmt.Sprintf("%s does not say where %s goes", key, place), "write "+place+" where it belongs"))
			}
		}
	})
	if n := len(w.Formats.Months); n != 12 {
		all = append(all, doc.Problem("formats.months", "no-words", "", fmt.Sprintf("formats.months has %d months", n), "name all twelve"))
	}
	if !strings.HasPrefix(w.Draft, "DRAFT") && strings.TrimSpace(w.Draft) != "" {
		all = append(all, doc.Problem("draft", "bad-value", w.Draft, "what stands on drafts does not begin with DRAFT", "begin it with DRAFT, which everybody in the workshop knows"))
	}
	return all
}

// each walks the texts of a group, with their keys.
func each(v reflect.Value, path string, do func(key, text string)) {
	for i := range v.NumField() {
		name := v.Type().Field(i).Tag.Get("yaml")
		if name == "" {
			continue
		}
		key := name
		if path != "" {
			key = path + "." + name
		}
		switch f := v.Field(i); f.Kind() {
		case reflect.String:
			do(key, f.String())
		case reflect.Struct:
			each(f, key, do)
		case reflect.Slice:
			for j := range f.Len() {
				do(fmt.Sprintf("%s[%d]", key, j), f.Index(j).String())
			}
		}
	}
}

// places are what a text must keep room for.
func places(key string) []string {
	switch key {
	case "front.as_of", "news.since":
		return []string{"{day}"}
	case "front.read_on_in":
		return []string{"{language}"}
	case "front.code":
		return []string{"{address}"}
	case "timing.allow":
		return []string{"{time}"}
	case "timing.allow_cards":
		return []string{"{time}", "{cards}"}
	case "timing.talk":
		return []string{"{time}", "{pace}"}
	case "timing.round":
		return []string{"{time}", "{people}"}
	case "timing.minutes", "timing.seconds":
		return []string{"{n}"}
	case "document":
		return []string{"{tour}"}
	case "card":
		return []string{"{number}"}
	case "formats.day":
		return []string{"{day}", "{month}", "{year}"}
	case "formats.month":
		return []string{"{month}", "{year}"}
	case "formats.money":
		return []string{"{amount}", "{currency}"}
	}
	return nil
}
