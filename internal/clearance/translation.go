package clearance

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/tongue"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/internal/worklog"
	"example.org/opencowl/themes"
)

// ErrNoLanguage says that the workshop does not offer a language.
var ErrNoLanguage = errors.New("is not a language that the workshop offers")

// Languages lists the languages of the workshop, its own first.
func (d *Desk) Languages() []string {
	w := d.ws.Settings.Workshop
	return append([]string{w.Language}, w.Languages...)
}

// tourAndLanguage finds a tour and makes the workshop's own language "".
func (d *Desk) tourAndLanguage(id, language string) (*wording.Tour, string, error) {
	t, ok := d.words.Tour(id)
	if !ok {
		return nil, "", fmt.Errorf("there is no tour %q; the tours are %s", id, strings.Join(d.Tours(), ", "))
	}
	language, err := d.Offers(language)
	return t, language, err
}

// Offers makes sure that the workshop offers a language; its own comes back as "".
func (d *Desk) Offers(language string) (string, error) {
	there := d.Languages()
	switch {
	case language == "" || language == there[0]:
		return "", nil
	case !slices.Contains(there, language):
		remedy := fmt.Sprintf("add it to languages: in workshop.yaml, or take one of %s", strings.Join(there, ", "))
		if near := reading.Nearest(language, there); near != "" {
			remedy = fmt.Sprintf("did you mean %q? Or ", near) + remedy
		}
		return "", fmt.Errorf("%q %w; %s", reading.Shorten(language), ErrNoLanguage, remedy)
	}
	return language, nil
}

// readWords reads what the product says in the workshop's own language, and in those
// of its translations. One that has no words is said in English meanwhile, and
// whatever needs it is stopped: its cards by themselves, its translations by a finding.
func (d *Desk) readWords() error {
	theme, err := d.ws.Theme()
	if err != nil {
		return err
	}
	d.tongues, d.speechless = map[string]*tongue.Words{}, map[string]error{}
	languages := []string{d.ws.Settings.Workshop.Language}
	for _, t := range d.words.Translations() {
		languages = append(languages, t.Language)
	}
	for _, language := range languages {
		if d.tongues[language] != nil {
			continue
		}
		words, err := tongue.Read(theme, language)
		if err != nil {
			d.speechless[language] = err
			if words, err = tongue.Read(themes.Embedded(), "en-GB"); err != nil {
				return fmt.Errorf("the built-in words: %w", err)
			}
		}
		d.tongues[language] = words
	}
	return nil
}

// wordsIn is what the product says in a language; "" is the workshop's own.
func (d *Desk) wordsIn(language string) *tongue.Words {
	return d.tongues[cmp.Or(language, d.ws.Settings.Workshop.Language)]
}

// sayings is how claims begin in a language.
func (d *Desk) sayings(language string) wording.Sayings {
	w := d.wordsIn(language)
	return wording.Sayings{Likely: w.Begins.Likely, Told: w.Begins.Told, Colon: w.Colon, English: w.English()}
}

// factIn writes a fact's value in words of a language.
func factIn(words *tongue.Words, v worklog.Value, form string) (string, error) {
	english, err := v.Format(form)
	if err != nil {
		return "", err
	}
	plain, _, _ := strings.Cut(english, "\u00a0")
	switch form {
	case "mm":
		return words.MM(plain)
	case "inch":
		return words.Inches(plain)
	case "percent":
		return words.Percent(strings.TrimSuffix(english, "%"))
	case "day":
		return words.Day(v.Date), nil
	case "month":
		return words.Month(v.Date), nil
	case "money":
		code, amount, _ := strings.Cut(v.Money.Written(), " ")
		return words.Money(code, amount)
	case "words":
		if v.Key != "" {
			return cmp.Or(words.Pile(v.Key), words.Source(v.Key)), nil
		}
	}
	return english, nil // a gauge is called so everywhere; a material is in the record's own words
}

// translationUnit fills in and checks a story in another language. Its digest
// covers the original's, so that it lapses when that changes.
func (d *Desk) translationUnit(t *wording.Translation) *Unit {
	u := d.unitOf(d.byID["story/"+t.Of], t.Language, t.Title, t.File, t.WrittenBy)
	u.Photos, u.written = u.of.Photos, t.Texts
	u.Texts = d.fill(u, t.Texts())
	u.Findings = append(u.Findings, d.checkTexts(u, t.Texts())...)
	u.Findings = append(u.Findings, d.checkTranslation(u, t)...)
	u.Digest = digest(publicTranslation{Original: u.of.Digest, Language: t.Language, Texts: u.publicTexts(), Claims: d.claims(u), Props: d.props(u), Facts: u.Facts})
	return u
}

// publicTranslation is all of a translation that a reader can see, and what it
// translates.
type publicTranslation struct {
	Original, Language string
	Texts              []string
	Claims             []cleared.Claim
	Props              []cleared.Prop
	Facts              []Fact
}

// tourTranslationUnit checks the titles of a tour in another language.
func (d *Desk) tourTranslationUnit(t *wording.TourTranslation) *Unit {
	u := d.unitOf(d.byID["tour/"+t.Of], t.Language, t.Title, t.File, t.WrittenBy)
	u.Texts = t.Texts()
	u.Findings = append(u.Findings, d.checkTexts(u, u.Texts)...)
	u.Digest = digest(publicTranslation{Original: u.of.Digest, Language: t.Language, Texts: u.publicTexts()})
	return u
}

// unitOf begins the unit of a translation.
func (d *Desk) unitOf(of *Unit, language, title, file, writer string) *Unit {
	u := &Unit{ID: of.ID + "." + language, Kind: "translation", Title: title, File: file, writer: writer, of: of, language: language}
	if err := d.speechless[language]; err != nil {
		u.find(reading.Place{File: file, Line: 1, Column: 1}, "no-words", language, err.Error(), "mend that file first")
	}
	if _, known := judgements[tongue.Primary(language)]; !known {
		u.advise(reading.Place{File: file, Line: 1, Column: 1}, "no-safety-words", language,
			fmt.Sprintf("no list here has the words that judge what is airworthy or safe in %q", language), "look for them yourself, whoever clears this")
	}
	return u
}

// checkTranslation sets a translation's words against the record and the photos.
func (d *Desk) checkTranslation(u *Unit, t *wording.Translation) []Finding {
	f := &Unit{ID: u.ID, of: u.of, language: u.language}
	for _, text := range u.Texts {
		d.checkSentences(f, u.about(), text)
	}
	d.checkCredits(f, t.Credits, t.Doc)
	d.checkLabel(f, t.Doc, t.CameOff, t.Failed, t.Replaced)
	for i, p := range t.Photos {
		if i >= len(u.about().Photos) {
			break // the reader has said so
		}
		photo, known := d.byID["photo/"+u.about().Photos[i]]
		at := t.Doc.At(fmt.Sprintf("photos[%d].caption", i))
		switch caption := strings.TrimSpace(p.Caption); {
		case !known:
		case caption == "" && photo.text("caption") != "":
			f.find(at, "missing", "", "caption is missing", "translate the caption of the photo's tag")
		case caption != "" && photo.text("caption") == "":
			f.find(at, "not-in-original", caption, "the photo has no caption in its tag", "take it out, or write one there first")
		}
	}
	return f.Findings
}

// inLanguage is the unit that says a story or a tour's titles in a language: its
// translation, if that may leave, or itself.
func (d *Desk) inLanguage(u *Unit, language string, whyNot func(*Unit) string) *Unit {
	if t, ok := d.byID[u.ID+"."+language]; ok && language != "" && whyNot(t) == "" {
		return t
	}
	return u
}

// Untranslated says of the stories and the titles of a tour that come in the
// workshop's own language why they do; by unit.
func (d *Desk) Untranslated(tour, language string) map[string]string {
	why := map[string]string{}
	t, ok := d.words.Tour(tour)
	if !ok || language == "" {
		return why
	}
	ids := []string{"tour/" + t.ID}
	for _, s := range t.Stops {
		for _, id := range s.Stories {
			ids = append(ids, "story/"+id)
		}
	}
	for _, id := range ids {
		u, known := d.byID[id]
		if !known || u.story != nil && d.whyNotTold(u) != "" {
			continue // it is held back, in any language
		}
		if reason := d.whyNotIn(u, language); reason != "" {
			why[id] = reason
		}
	}
	return why
}

// whyNotIn says why a unit does not come in a language; "" when it does.
func (d *Desk) whyNotIn(u *Unit, language string) string {
	t, ok := d.byID[u.ID+"."+language]
	if !ok {
		return "it has no translation"
	}
	if why := d.whyNot(t); why != "" {
		return "its translation " + why
	}
	return ""
}

// Translates names the unit that a translation translates, and its language; nothing
// for any other.
func (u *Unit) Translates() (original, language string) {
	if u.of == nil {
		return "", ""
	}
	return u.of.ID, u.language
}

// titleOr and stopOr are the titles that a tour's translation gives.
func (u *Unit) titleOr(title string) string {
	if u.of == nil {
		return title
	}
	return cmp.Or(u.text("title"), title)
}

func (u *Unit) stopOr(id, title string) string {
	if u.of == nil {
		return title
	}
	return cmp.Or(u.text("stops."+id), title)
}

// inWordsOf is a photo with the caption and the alternative text of a translation.
// Its credit is a name.
func inWordsOf(u *Unit, p cleared.Photo, i int) cleared.Photo {
	if u.of == nil {
		return p
	}
	return cleared.NewPhoto(cleared.PhotoFields{Credit: p.Credit(), Copies: p.Copies(),
		Alt: u.text(fmt.Sprintf("photos[%d].alt", i)), Caption: u.text(fmt.Sprintf("photos[%d].caption", i))})
}

// Pair is one text of a unit beside that of its translation, both as they print.
type Pair struct {
	Field       string `json:"field"`
	Original    string `json:"original"`
	Translation string `json:"translation"`
}

// Beside sets a translation beside its original, text by text and fact by fact, for
// the person who decides; nothing for a unit that translates none.
func (d *Desk) Beside(u *Unit) (texts, facts []Pair) {
	if u.of == nil {
		return nil, nil
	}
	mine, theirs := d.printed(u), d.printed(u.of)
	for _, t := range theirs {
		field := u.of.fieldIn(t.Field, d)
		i := slices.IndexFunc(mine, func(m wording.Text) bool { return m.Field == field })
		pair := Pair{Field: t.Field, Original: t.Value}
		if i >= 0 {
			pair.Translation = mine[i].Value
		} else if t.Field == "body" {
			continue // it may be left out
		}
		texts = append(texts, pair)
	}
	for _, f := range u.Facts {
		pair := Pair{Field: f.Name, Translation: f.Value}
		for _, o := range u.of.Facts {
			if o.Name == f.Name {
				pair.Original = o.Value
				if o.Form == f.Form {
					break
				}
			}
		}
		facts = append(facts, pair)
	}
	return texts, facts
}

// printed lists what a unit says as it prints: claims by how sure they are, photos
// in words.
func (d *Desk) printed(u *Unit) []wording.Text {
	texts := slices.Clone(u.Texts)
	if u.about() == nil {
		return texts
	}
	for i, c := range d.claims(u) {
		for j, t := range texts {
			if t.Field == fmt.Sprintf("claims[%d].say", i) {
				texts[j].Value = c.Say
			}
		}
	}
	if u.of == nil {
		for i, id := range u.Photos {
			for _, field := range []string{"caption", "alt"} {
				if text := d.byID[id].text(field); text != "" {
					texts = append(texts, wording.Text{Field: fmt.Sprintf("photos[%d].%s", i, field), Value: text})
				}
			}
		}
	}
	return texts
}

// fieldIn is the field of a translation that says what a field of the original
// says: a stop goes by its id there.
func (u *Unit) fieldIn(field string, d *Desk) string {
	t, ok := d.words.Tour(strings.TrimPrefix(u.ID, "tour/"))
	if !ok || u.Kind != "tour" {
		return field
	}
	for i, s := range t.Stops {
		if field == fmt.Sprintf("stops[%d].at", i) {
			return "stops." + s.ID
		}
	}
	return field
}
