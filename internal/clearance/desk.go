// Package clearance decides what may leave. It sets public words beside the
// private record, finds what would leak or contradict, keeps people's decisions,
// and hands over package cleared's types: it is the only maker of those.
//
// It promises that nothing undecided, refused or changed since it was decided
// becomes a cleared value; that a private value gets out only as a released fact
// that somebody saw beside its value; and that it judges consistency, never a
// part. A paraphrase cannot be found by a program: that is what the second person
// is for.
package clearance

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/photo"
	"example.org/opencowl/internal/picture"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/tongue"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/internal/worklog"
	"example.org/opencowl/internal/workspace"
)

// Books is what clearance needs of the database.
type Books interface {
	Ledger(context.Context, store.Filter) ([]store.Row, error)
	Append(context.Context, ...store.Entry) ([]store.Row, error)
	Editions(context.Context) ([]store.Edition, error)
}

// Options says how a desk is opened.
type Options struct {
	Today day.Date
	Now   func() time.Time
	// Watch is told of each photo made ready; it may be nil.
	Watch func(done, of int)
}

// Desk is where the words are read before they leave: the private record, the
// public words and the decisions, as they stand on one day.
type Desk struct {
	ws    *workspace.Workspace
	log   *worklog.Log
	words *wording.Words
	books Books
	today day.Date
	now   func() time.Time

	tongues    map[string]*tongue.Words // by language of the workshop
	speechless map[string]error         // why a language has none of its own

	private   *leak.Index
	units     []*Unit
	byID      map[string]*Unit
	photos    map[string]cleared.Photo // by original name, ready to show
	shots     []photo.Shot             // what a program makes of the photos that are offered
	first     map[string]day.Date      // unit → the day it was first cleared
	withdrawn map[string]day.Date      // unit → the day it was withdrawn, while it is
	let       map[string][]letOut      // unit → what might leave from which day on, oldest first
	told      map[string][]telling     // story → editions that told it, oldest first
	corrected map[string]day.Week      // correction → the edition that told it
	shown     map[string]bool          // units that were printed or published
	before    []cleared.PartMovement   // at the last freeze
	records   []edition.Record         // what the frozen editions tell, oldest first
	published []published              // the movement of every edition, oldest first
	problems  []reading.Problem        // faults of the files
	gate      lastGate
}

// telling is one edition that told a story.
type telling struct {
	week  day.Week
	sent  day.Date // zero: not sent yet
	title string
}

// Open reads a workspace and works out how everything in it stands. Faults of
// the files are not errors: Check reports them.
func Open(ctx context.Context, ws *workspace.Workspace, books Books, o Options) (*Desk, error) {
	d := &Desk{ws: ws, books: books, today: o.Today, now: o.Now, byID: map[string]*Unit{},
		photos: map[string]cleared.Photo{}, first: map[string]day.Date{}, told: map[string][]telling{}, corrected: map[string]day.Week{}}
	s := ws.Settings
	var problems []reading.Problem
	d.log, problems = worklog.Read(ws.Root, s.AreaKeys(), s.PeopleIDs())
	d.problems = append(d.problems, problems...)
	d.words, problems = wording.Read(ws.Root, wording.ReadOptions{Areas: s.AreaKeys(), People: s.PeopleIDs(), TwoPeople: s.Clearing.TwoPeople,
		Language: s.Workshop.Language, Languages: s.Workshop.Languages})
	d.problems = append(d.problems, problems...)
	if err := d.readWords(); err != nil {
		return nil, err
	}
	if err := d.readEditions(ctx); err != nil {
		return nil, err
	}
	d.private = d.privateIndex()
	if err := d.gatherUnits(ctx, o.Watch); err != nil {
		return nil, err
	}
	if err := d.readDecisions(ctx); err != nil {
		return nil, err
	}
	return d, nil
}

// readEditions learns which editions told which story, and the movement at the
// last freeze.
func (d *Desk) readEditions(ctx context.Context) error {
	editions, err := d.books.Editions(ctx)
	if err != nil {
		return err
	}
	for _, e := range editions {
		var record edition.Record
		if err := json.Unmarshal(e.Record, &record); err != nil {
			return fmt.Errorf("edition %s: what it told cannot be read back: %w", e.Week, err)
		}
		d.records = append(d.records, record)
		var sent day.Date
		if e.On != "" {
			if sent, err = day.Parse(e.On); err != nil {
				return fmt.Errorf("edition %s: %w", e.Week, err)
			}
		}
		for _, s := range record.Stories {
			d.told[s.ID] = append(d.told[s.ID], telling{record.Week, sent, s.Title})
		}
		for _, id := range record.Corrections {
			d.corrected[id] = record.Week
		}
		d.before = nil
		if err := json.Unmarshal(e.Movement, &d.before); err != nil {
			return fmt.Errorf("edition %s: its movement cannot be read back: %w", e.Week, err)
		}
		d.published = append(d.published, published{record.Week, d.before})
	}
	return nil
}

// Editions returns what the frozen editions tell, oldest first.
func (d *Desk) Editions() []edition.Record { return d.records }

// Units lists everything that can be read outside, with how it stands.
func (d *Desk) Units() []*Unit { return d.units }

// Check returns every fault of the files and every finding, in order of place.
func (d *Desk) Check() []reading.Problem {
	problems := slices.Clone(d.problems)
	for _, e := range d.log.AllEntries() {
		if e.Date.After(d.today) {
			p := e.Doc.Problem("date", "future", e.Date.String(), fmt.Sprintf("the entry is dated %s, after today (%s), so it does not count yet", e.Date, d.today), "correct the year, if it is a slip")
			p.Advice = true
			problems = append(problems, p)
		}
	}
	for _, u := range d.units {
		if u.correction != nil && u.Standing == Refused {
			continue // settled: its words cannot be mended
		}
		for _, f := range u.Findings {
			if u.Standing == Cleared && pictureAdvice[f.Code] {
				continue
			}
			problems = append(problems, f.Problem)
		}
	}
	reading.Sort(problems)
	return problems
}

// Counts says how much a workspace holds.
type Counts struct {
	Parts    int `json:"parts"`
	Entries  int `json:"entries"`
	Photos   int `json:"photos"`
	Stories  int `json:"stories"`
	Words    int `json:"glossary"`
	Tours    int `json:"tours"`
	Editions int `json:"editions"`

	Translations int `json:"translations"`
}

// Counts counts what was read.
func (d *Desk) Counts() Counts {
	return Counts{len(d.log.Parts()), len(d.log.AllEntries()), len(d.log.Tags()), len(d.words.Stories()),
		len(d.words.Glossary()), len(d.words.Tours()), len(d.words.Editions()),
		len(d.words.Translations()) + len(d.words.TourTranslations())}
}

// gatherUnits lists the units with their public text, findings and digests.
func (d *Desk) gatherUnits(ctx context.Context, watch func(done, of int)) error {
	d.add(d.settingsUnit())
	if err := d.gatherPhotos(ctx, watch); err != nil {
		return err
	}
	for _, s := range d.words.Stories() {
		d.add(d.storyUnit(s))
	}
	for _, t := range d.words.Translations() {
		d.add(d.translationUnit(t))
	}
	for _, w := range d.words.Glossary() {
		d.add(d.wordUnit(w))
	}
	for _, t := range d.words.Tours() {
		d.add(d.tourUnit(t))
	}
	for _, t := range d.words.TourTranslations() {
		d.add(d.tourTranslationUnit(t))
	}
	for _, e := range d.words.Editions() {
		d.add(d.editionUnit(e))
	}
	return d.gatherCorrections(ctx)
}

func (d *Desk) add(u *Unit) {
	d.units = append(d.units, u)
	d.byID[u.ID] = u
}

// maxPhotosAtOnce bounds how many original files are in memory. More would gain
// little: each picture is resized on all processors anyway.
const maxPhotosAtOnce = 4

// gatherPhotos makes the public copies of every photo that is offered, several
// photos at a time; the cache sees to it that their pixels do not fill the memory.
// The units come in the order of the tags, whichever is ready first.
func (d *Desk) gatherPhotos(ctx context.Context, watch func(done, of int)) error {
	cache := picture.NewCache(d.ws.CopiesDir(), func(name string, data []byte) error {
		return d.ws.Writer.WriteFile(path.Join(d.ws.CopiesDir(), name), data, 0o644)
	})
	tags := d.log.Tags()
	units, errs := make([]*Unit, len(tags)), make([]error, len(tags))
	var wait sync.WaitGroup
	var mu sync.Mutex // held while watch is told
	done, failed := 0, false
	turns := make(chan struct{}, min(runtime.GOMAXPROCS(0), maxPhotosAtOnce))
	for i, tag := range tags {
		turns <- struct{}{}
		mu.Lock()
		stop := failed
		mu.Unlock()
		if stop {
			break
		}
		wait.Go(func() {
			defer func() { <-turns }()
			units[i], errs[i] = d.photoUnit(ctx, cache, tag)
			mu.Lock()
			defer mu.Unlock()
			if errs[i] != nil {
				failed = true
			} else if done++; watch != nil {
				watch(done, len(tags))
			}
		})
	}
	wait.Wait()
	for i, tag := range tags { // those not begun come after the one that failed
		if errs[i] != nil {
			return errs[i]
		}
		d.add(units[i])
		if units[i].shown != nil {
			d.photos[tag.Photo] = *units[i].shown
		}
	}
	return d.advisePhotos(ctx)
}

// PublicCopies returns the names of all public copies of the photos on offer,
// decided or not, under which CopiesDir keeps them.
func (d *Desk) PublicCopies() map[string]bool {
	names := map[string]bool{}
	for _, p := range d.photos {
		for _, c := range p.Copies() {
			names[c.Name()] = true
		}
	}
	return names
}

// photoUnit reads one photo, makes its public copies and finds its faults.
func (d *Desk) photoUnit(ctx context.Context, cache *picture.Cache, tag *worklog.Tag) (*Unit, error) {
	u := &Unit{ID: "photo/" + tag.Photo, Kind: "photo", Title: tag.Caption, File: tag.File, writer: tag.By}
	u.Texts = tagTexts(tag)
	u.Findings = append(u.Findings, d.checkTexts(u, u.Texts)...)
	u.Findings = append(u.Findings, d.checkTag(u, tag)...)
	if !tag.Publish {
		u.kept = true
		return u, nil
	}
	original, problem := reading.Bytes(d.ws.Root, tag.PhotoFile, reading.MaxPicture)
	if problem != nil {
		u.Findings = append(u.Findings, Finding{*problem, u.ID})
		return u, nil
	}
	if info, err := picture.Inspect(original); err == nil {
		for _, p := range info.Private {
			u.LeftBehind = append(u.LeftBehind, string(p))
		}
	}
	copies, err := cache.Copies(ctx, original, d.recipe(tag))
	var fault *picture.Error
	switch {
	case errors.As(err, &fault):
		u.Findings = append(u.Findings, Finding{reading.Problem{Place: reading.Place{File: tag.PhotoFile}, Code: string(fault.Code), Message: fault.Message, Remedy: fault.Remedy}, u.ID})
		return u, nil
	case err != nil:
		return nil, fmt.Errorf("%s: %w", tag.PhotoFile, err)
	}
	public := publicPhoto{Alt: tag.Alt, Caption: tag.Caption, Credit: tag.Credit}
	fields := cleared.PhotoFields{Alt: tag.Alt, Caption: tag.Caption, Credit: tag.Credit}
	for _, c := range copies {
		public.Copies = append(public.Copies, string(c.Use)+" "+c.Name)
		fields.Copies = append(fields.Copies, cleared.NewCopy(cleared.CopyFields{Use: c.Use, Width: c.Width, Height: c.Height, Name: c.Name, Open: c.Open}))
		u.Findings = append(u.Findings, d.checkCopy(u, tag, c)...)
	}
	u.Digest = digest(public)
	photo := cleared.NewPhoto(fields)
	u.shown = &photo
	return u, nil
}

// tagTexts are the public words of a tag.
func tagTexts(tag *worklog.Tag) []wording.Text {
	return []wording.Text{{Field: "caption", Value: tag.Caption, Place: tag.Doc.At("caption")},
		{Field: "alt", Value: tag.Alt, Place: tag.Doc.At("alt")}, {Field: "credit", Value: tag.Credit, Place: tag.Doc.At("credit")}}
}

// recipe is what a tag asks of a photo's public copies.
func (d *Desk) recipe(tag *worklog.Tag) picture.Recipe {
	recipe := picture.Recipe{Alt: tag.Alt, Caption: tag.Caption, Credit: tag.Credit, Copyright: d.ws.Settings.Workshop.Name}
	if tag.Focus != nil {
		recipe.Focus = picture.Point{X: tag.Focus.X, Y: tag.Focus.Y}
	}
	for _, box := range tag.Hide {
		recipe.Hide = append(recipe.Hide, picture.Box{X: box.X, Y: box.Y, W: box.W, H: box.H})
	}
	return recipe
}

// settingsUnit is the public text of workshop.yaml.
func (d *Desk) settingsUnit() *Unit {
	s := d.ws.Settings
	u := &Unit{ID: "settings", Kind: "settings", Title: "names, addresses and rules that every page carries", File: workspace.SettingsFile}
	add := func(field, value string) {
		u.Texts = append(u.Texts, wording.Text{Field: field, Value: value, Place: reading.Place{File: workspace.SettingsFile}})
	}
	add("name", s.Workshop.Name)
	add("machine", s.Workshop.Machine)
	add("postal_address", s.Workshop.PostalAddress)
	add("site", s.Workshop.Site)
	add("post.from", s.Post.From)
	add("post.returns", s.Post.Returns)
	add("roll_out", s.RollOut.String())
	for _, l := range s.LegalLines {
		add("legal_lines", l)
	}
	for _, r := range s.SiteRules {
		add("site_rules", r)
	}
	for _, a := range s.Areas {
		add("area", a.Key+": "+a.Value)
	}
	// The addresses here are public by value; only the free text is looked through.
	var free []wording.Text
	for _, t := range u.Texts {
		if slices.Contains([]string{"legal_lines", "site_rules", "area"}, t.Field) {
			free = append(free, t)
		}
	}
	u.Findings = d.checkTexts(u, free)
	u.Digest = digest(u.publicTexts())
	return u
}

func (d *Desk) areaOf(key string) cleared.Area {
	for _, a := range d.Areas() {
		if a.Key == key {
			return a
		}
	}
	return cleared.Area{Key: key, Name: key}
}

// storyUnit fills in a story's released facts and checks it.
func (d *Desk) storyUnit(s *wording.Story) *Unit {
	u := &Unit{ID: "story/" + s.ID, Kind: "story", Title: s.Title, File: s.File, writer: s.WrittenBy, story: s, written: s.Texts}
	u.Texts = d.fill(u, s.Texts())
	u.Findings = append(u.Findings, d.checkTexts(u, s.Texts())...)
	u.Findings = append(u.Findings, d.checkStory(u, s)...)
	for _, name := range s.Photos {
		photo, known := d.byID["photo/"+name]
		switch {
		case !known:
			u.find(s.Doc.At("photos"), "no-photo", name, fmt.Sprintf("the photo %q has no tag", name), "tag it in photos/"+name+".yaml, or take it out")
		case photo.kept:
			u.find(s.Doc.At("photos"), "photo-kept", name, fmt.Sprintf("the photo %q is not offered for publication", name), "write publish: offered in its tag, or take it out")
		default:
			u.Photos = append(u.Photos, photo.ID)
		}
	}
	u.Digest = digest(d.publicStory(u))
	return u
}

func (d *Desk) wordUnit(w *wording.Word) *Unit {
	u := &Unit{ID: "word/" + w.ID, Kind: "glossary word", Title: w.Word, File: w.File, writer: w.WrittenBy, Texts: w.Texts()}
	u.Findings = d.checkTexts(u, u.Texts)
	u.Digest = digest(u.publicTexts())
	return u
}

func (d *Desk) tourUnit(t *wording.Tour) *Unit {
	u := &Unit{ID: "tour/" + t.ID, Kind: "tour", Title: t.Title, File: t.File, writer: t.WrittenBy, Texts: t.Texts()}
	u.Findings = d.checkTexts(u, u.Texts)
	for i, stop := range t.Stops {
		for j, id := range stop.Stories {
			if s, ok := d.words.Story(id); ok && !s.IsFor(wording.ForVisitors) {
				u.find(t.Doc.At(fmt.Sprintf("stops[%d].stories[%d]", i, j)), "not-for-visitors", id, fmt.Sprintf("the story %q is not for visitors, so its card would never print", id), "add visitors to its for: list, or take it off the stop")
			}
		}
	}
	u.Digest = digest(u.publicTexts())
	return u
}

func (d *Desk) editionUnit(e *wording.Edition) *Unit {
	u := &Unit{ID: "edition/" + e.Week.String(), Kind: "edition", Title: e.Subject, File: e.File, writer: e.WrittenBy}
	u.Texts = d.fill(u, e.Texts())
	u.Findings = append(u.Findings, d.checkTexts(u, e.Texts())...)
	adviseEdition(u, e)
	notForMembers := func(path, id string) {
		if s, ok := d.words.Story(id); ok && !s.IsFor(wording.ForMembers) {
			u.find(e.Doc.At(path), "not-for-members", id, fmt.Sprintf("the story %q is not for members", id), "add members to its for: list, or take it out of the edition")
		}
	}
	notForMembers("lead", e.Lead)
	for i, id := range e.Stories {
		notForMembers(fmt.Sprintf("stories[%d]", i), id)
	}
	for _, name := range e.Photos {
		if photo, ok := d.byID["photo/"+name]; !ok || photo.kept {
			what := "is not offered for publication"
			if !ok {
				what = "has no tag in photos/"
			}
			u.find(e.Doc.At("photos"), "no-photo", name, fmt.Sprintf("the photo %q %s", name, what), "tag it with publish: offered, or take it out")
		} else {
			u.Photos = append(u.Photos, photo.ID)
		}
	}
	public := u.publicTexts()
	for _, id := range u.Photos {
		public = append(public, d.byID[id].Digest)
	}
	for _, f := range u.Facts {
		public = append(public, f.Name, f.Form, f.Value)
	}
	u.Digest = digest(public)
	return u
}

// fill puts the released facts into texts and notes where they stand. A fact
// without a value is a finding.
func (d *Desk) fill(u *Unit, texts []wording.Text) []wording.Text {
	var filled []wording.Text
	u.factSpans = map[int][]span{}
	for i, t := range texts {
		refs, faults := wording.Facts(t)
		if len(faults) > 0 {
			filled = append(filled, t) // the reader has reported them
			continue
		}
		next := 0 // Expand meets the facts in the order of refs, which know their places
		value, err := wording.Expand(factMarks.Replace(t.Value), func(f wording.FactRef) (string, error) {
			place := refs[next].Place
			next++
			text, err := d.fact(f, u.language)
			if err != nil {
				u.find(place, "no-fact", f.Raw, err.Error(), "log it, or drop the fact")
				return "?", nil
			}
			u.Facts = append(u.Facts, Fact{Name: f.Part + "." + f.Field, Form: f.Form, Value: text})
			if t.Field == "body" || t.Field == "opening" {
				text = escapeMarkdown(text)
			}
			return factBegins + text + factEnds, nil
		})
		if err != nil {
			value = t.Value
		}
		t.Value, u.factSpans[i] = unmark(value)
		filled = append(filled, t)
	}
	return filled
}

// fact looks up a released fact and writes it in the form asked for, as a language
// writes it.
func (d *Desk) fact(f wording.FactRef, language string) (string, error) {
	value, err := d.log.Fact(f.Part, f.Field, d.today)
	if err != nil {
		return "", fmt.Errorf("fact %q: %w", f.Part+"."+f.Field, err)
	}
	text, err := factIn(d.wordsIn(language), value, f.Form)
	if err != nil {
		return "", fmt.Errorf("fact %q: %w", f.Part+"."+f.Field, err)
	}
	return text, nil
}

var markdownEscaper = strings.NewReplacer(`\`, `\\`, "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`, "<", `\<`, "`", "\\`", "#", `\#`, "|", `\|`, "~", `\~`)

func escapeMarkdown(s string) string { return markdownEscaper.Replace(s) }
