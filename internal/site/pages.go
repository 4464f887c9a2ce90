package site

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
)

// archiveLayouts must all be there: where one is missing, Hugo would use another
// page's layout and say nothing.
var archiveLayouts = []string{
	"baseof.html", "home.html", "home.rss.xml", "sitemap.xml", "stories.html", "story.html", "areas.html", "area.html",
	"stops.html", "stop.html", "words.html", "word.html", "editions.html", "edition.html", "search.html", "withdrawn.html", "missing.html",
}

// onHome is how many stories the first page shows; onList how many a list shows with
// their pictures, before the rest by title alone; onFeed how many items the feed holds.
const (
	onHome = 12
	onList = 24
	onFeed = 40
)

// builder gathers the pages of an archive. What templates see are the structs
// below, as front matter written in JSON: no wording is pasted into syntax.
// Keys are lower-case because Hugo makes them so.
type builder struct {
	a       Archive
	stories []cleared.Story // newest first
	public  map[string]cleared.Story
	words   map[string]cleared.Word
	mended  map[string][]cleared.Correction // story id → corrections to it
	stops   []stopPage
	uses    map[string][]link // word id → stories that use it
	linker  *linker
	taken   map[string]bool     // ids of withdrawn stories
	must    map[string][]string // page → what it has to say, whatever the theme
	job     job
	err     error
}

// stopPage is a stop under the tour it was first met in.
type stopPage struct {
	stop cleared.Stop
	tour cleared.Tour
}

func newBuilder(a Archive) *builder {
	b := &builder{a: a, stories: newestFirst(a.Stories), public: map[string]cleared.Story{}, words: map[string]cleared.Word{}, mended: map[string][]cleared.Correction{}, uses: map[string][]link{}, linker: newLinker(a.Words), must: map[string][]string{}, taken: map[string]bool{}}
	s := a.Settings
	settings := baseSettings(s, map[string]any{
		"workshop": plain(s.Workshop()), "machine": plain(s.Machine()), "lang": s.Language(), "locale": locale(s.Language()), "site": s.Site(),
		"address": plain(s.PostalAddress()), "legal": each(s.LegalLines(), plain), "notice": notice,
	})
	settings["disableKinds"] = []string{"section", "taxonomy", "term", "404"}
	settings["outputs"] = map[string]any{"home": []string{"html", "rss"}, "page": []string{"html"}}
	settings["outputFormats"] = map[string]any{"rss": map[string]any{"mediatype": "application/rss+xml", "baseName": "feed"}}
	b.job = job{theme: "archive", settings: settings, staging: map[string][]byte{}, expect: []string{"index.html", "feed.xml", "sitemap.xml"}}
	return b
}

// card is a story as lists show it.
type card struct {
	ID    string   `json:"id"`
	Title string   `json:"title"`
	Area  string   `json:"area"`
	Lang  string   `json:"lang,omitempty"` // where it is not the archive's
	Line  string   `json:"line"`
	Date  *date    `json:"date,omitempty"`
	Photo *picture `json:"photo,omitempty"`
}

// locale is a language as Open Graph writes it, language_TERRITORY; without a
// territory there is none.
func locale(language string) string {
	parts := strings.Split(language, "-")
	if last := parts[len(parts)-1]; len(parts) > 1 && len(last) == 2 {
		return parts[0] + "_" + strings.ToUpper(last)
	}
	return ""
}

// date is a day for machines and for people.
type date struct {
	ISO   string `json:"iso"`
	Words string `json:"words"`
	RSS   string `json:"rss"`
}

func dateOf(d day.Date) *date {
	if d.IsZero() {
		return nil
	}
	return &date{d.String(), d.Words(), d.Time(time.UTC).Format(time.RFC1123Z)}
}

// picture is a photo by its public web copies, narrowest first.
type picture struct {
	Alt     string       `json:"alt"`
	Caption string       `json:"caption"`
	Credit  string       `json:"credit"`
	Name    string       `json:"name"` // the copy for those who take no srcset
	Width   int          `json:"width"`
	Height  int          `json:"height"`
	Large   shared       `json:"large"`
	Set     []pictureSet `json:"set"`
}

// shared is the copy that others show when somebody passes a page on.
type shared struct {
	Name   string `json:"name"`
	Width  int    `json:"width"`
	Height int    `json:"height"`
	Alt    string `json:"alt"`
}

type pictureSet struct {
	Name  string `json:"name"`
	Width int    `json:"width"`
}

var webUses = []cleared.Use{cleared.Web400, cleared.Web800, cleared.Web1200, cleared.Web1600}

// webCopies are a photo's copies for pages, narrowest first.
func webCopies(p cleared.Photo) []cleared.Copy {
	var copies []cleared.Copy
	for _, u := range webUses {
		if c, ok := p.Copy(u); ok {
			copies = append(copies, c)
		}
	}
	slices.SortStableFunc(copies, func(a, b cleared.Copy) int { return a.Width() - b.Width() })
	return copies
}

func pictureOf(p cleared.Photo) (picture, error) {
	copies := webCopies(p)
	if len(copies) == 0 {
		return picture{}, fmt.Errorf("site: the photo captioned %q has no copies for the web; make its public copies first", p.Caption())
	}
	shown, largest := copies[min(1, len(copies)-1)], copies[len(copies)-1]
	pic := picture{
		Alt: plain(p.Alt()), Caption: plain(p.Caption()), Credit: plain(p.Credit()),
		Name: shown.Name(), Width: shown.Width(), Height: shown.Height(), Large: shared{largest.Name(), largest.Width(), largest.Height(), plain(p.Alt())},
	}
	for _, c := range copies {
		if !publicName.MatchString(c.Name()) {
			return picture{}, fmt.Errorf("site: picture name %q must be a digest with .jpg", c.Name())
		}
		pic.Set = append(pic.Set, pictureSet{c.Name(), c.Width()})
	}
	return pic, nil
}

func (b *builder) pictures(photos []cleared.Photo) []picture {
	var pics []picture
	for _, p := range photos {
		pic, err := pictureOf(p)
		if err != nil {
			b.fail(err)
			continue
		}
		pics = append(pics, pic)
	}
	return pics
}

func (b *builder) fail(err error) { b.err = cmp.Or(b.err, err) }

func (b *builder) card(s cleared.Story) card {
	c := card{ID: s.ID(), Title: plain(s.Title()), Area: plain(s.Area().Name), Line: plain(s.CameOff()), Date: dateOf(s.PublicFrom()), Lang: b.otherLanguage(s)}
	if pics := b.pictures(s.Photos()); len(pics) > 0 {
		c.Photo = &pics[0]
	}
	return c
}

// otherLanguage is a story's language where it is not the archive's.
func (b *builder) otherLanguage(s cleared.Story) string {
	if s.Language() == b.a.Settings.Language() {
		return ""
	}
	return s.Language()
}

func (b *builder) cards(stories []cleared.Story) []card {
	cards := make([]card, 0, len(stories))
	for _, s := range stories {
		cards = append(cards, b.card(s))
	}
	return cards
}

// first and rest part a list into what is shown with pictures and what by title.
func first(stories []cleared.Story) []cleared.Story { return stories[:min(onList, len(stories))] }
func rest(stories []cleared.Story) []cleared.Story  { return stories[min(onList, len(stories)):] }

// month holds the stories that were first shown in one, newest first.
type month struct {
	Words   string      `json:"words"`
	Stories []titleLine `json:"stories"`
}

type titleLine struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	Lang  string `json:"lang,omitempty"`
}

func (b *builder) months(stories []cleared.Story) []month {
	var all []month
	for _, s := range stories {
		if words := s.PublicFrom().MonthWords(); len(all) == 0 || all[len(all)-1].Words != words {
			all = append(all, month{Words: words})
		}
		m := &all[len(all)-1]
		m.Stories = append(m.Stories, titleLine{s.ID(), plain(s.Title()), b.otherLanguage(s)})
	}
	return all
}

// front is the front matter of one page.
type front struct {
	Title       string         `json:"title"`
	URL         string         `json:"url,omitempty"`
	Layout      string         `json:"layout,omitempty"`
	Description string         `json:"description,omitempty"`
	Params      map[string]any `json:"params"`
}

// add stages one page at a path such as "story/x". An empty path is the first page.
func (b *builder) add(at string, f front, body string) {
	depth := 0
	name := "content/_index.md"
	file := "index.html"
	if at != "" {
		depth = strings.Count(at, "/") + 1
		f.URL = "/" + at + "/"
		file = at + "/index.html"
		// One flat folder and a prefix: an id such as "index" is then no
		// special file name to Hugo.
		name = "content/pages/page-" + strings.ReplaceAll(at, "/", "--") + ".md"
		b.job.expect = append(b.job.expect, file)
	}
	b.must[file] = append(b.must[file], notice)
	f.Params["root"] = strings.Repeat("../", depth)
	if _, taken := b.job.staging[name]; taken {
		b.fail(fmt.Errorf("site: two pages want the address /%s/; give one of them another id", at))
		return
	}
	b.put(name, f, body)
}

func (b *builder) put(name string, f front, body string) {
	f.Title, f.Description = plain(f.Title), plain(f.Description)
	head, err := json.Marshal(f)
	if err != nil {
		b.fail(fmt.Errorf("site: %s: %w", name, err))
		return
	}
	b.job.staging[name] = append(append(head, '\n', '\n'), body...)
}

// missing is the page that a web server shows for an address at which there is
// nothing. It may be shown at any depth, so that its links begin at the site's own path.
func (b *builder) missing() {
	root := "/"
	if u, err := url.Parse(b.a.Settings.Site()); err == nil {
		root = u.EscapedPath()
	}
	b.must["404.html"] = []string{notice}
	b.job.expect = append(b.job.expect, "404.html")
	b.put("content/pages/missing.md", front{Title: "There is no such page", URL: "/404.html", Layout: "missing", Params: map[string]any{"root": root, "unlisted": true}}, "")
}

// say notes what a page has to say, whatever the theme makes of it.
func (b *builder) say(at string, texts ...string) {
	b.must[at+"/index.html"] = append(b.must[at+"/index.html"], texts...)
}

func (b *builder) pages() error {
	if err := b.index(); err != nil {
		return err
	}
	b.home()
	b.storyPages()
	b.areaPages()
	b.stopPages()
	b.wordPages()
	b.editionPages()
	b.add("search", front{Title: "Search", Layout: "search", Description: "Search the stories, words, updates and corrections.", Params: map[string]any{"section": "search", "unlisted": true}}, "")
	for _, w := range b.a.Withdrawn {
		b.add("story/"+w.ID, front{Title: takenBack, Layout: "withdrawn", Params: map[string]any{"date": dateOf(w.On), "changed": dateOf(w.On)}}, "")
	}
	b.missing()
	b.job.settings["params"].(map[string]any)["pages"] = b.addresses()
	return b.err
}

// takenBack stands where a withdrawn story's title stood.
const takenBack = "A story that was taken back"

// index checks the ids and makes the lookups.
func (b *builder) index() error {
	for _, s := range b.stories {
		if err := checkID("story", s.ID()); err != nil {
			return err
		}
		if err := checkID("area", s.Area().Key); err != nil {
			return err
		}
		b.public[s.ID()] = s
	}
	for _, c := range b.a.Corrections {
		if _, public := b.public[c.Story()]; !public || c.PublicFrom().IsZero() || c.PublicFrom().After(b.a.On) {
			return fmt.Errorf("site: correction %q or its story is not public on %s; leave it out", c.ID(), b.a.On)
		}
		b.mended[c.Story()] = append(b.mended[c.Story()], c)
	}
	for _, w := range b.a.Words {
		if err := checkID("glossary", w.ID()); err != nil {
			return err
		}
		b.words[w.ID()] = w
	}
	for _, w := range b.a.Withdrawn {
		if err := checkID("story", w.ID); err != nil {
			return err
		}
		b.taken[w.ID] = true
	}
	seen := map[string]bool{}
	for _, t := range b.a.Tours {
		for _, s := range t.Stops() {
			if err := checkID("stop", s.ID()); err != nil {
				return err
			}
			if !seen[s.ID()] {
				seen[s.ID()] = true
				b.stops = append(b.stops, stopPage{s, t})
			}
		}
	}
	return nil
}

// addresses are the pages that wording may link to. Keys are lower-case.
func (b *builder) addresses() map[string]string {
	pages := map[string]string{"/": "index.html"}
	for _, file := range b.job.expect {
		if dir, ok := strings.CutSuffix(file, "/index.html"); ok {
			pages[strings.ToLower("/"+dir+"/")] = file
		}
	}
	return pages
}

// feedItem is a story, a correction or an edition in the feed.
type feedItem struct {
	Title string `json:"title"`
	Path  string `json:"path"`
	Text  string `json:"text"`
	Date  *date  `json:"date"`
}

func (b *builder) home() {
	newest := b.stories[:min(onHome, len(b.stories))]
	params := map[string]any{
		"section": "home", "stories": b.cards(newest), "count": len(b.stories),
		"areas": b.areas(), "feed": b.feed(), "image": b.shared(b.stories...), "changed": b.lastChange(),
	}
	if eds := b.editions(); len(eds) > 0 {
		params["edition"] = editionLine(eds[0])
	}
	b.add("", front{Title: b.a.Settings.Machine(), Description: "What came off the " + b.a.Settings.Machine() + ", why it failed, and what replaced it.", Params: params}, "")
}

func (b *builder) feed() []feedItem {
	type dated struct {
		item feedItem
		on   day.Date
	}
	var all []dated
	for _, s := range b.stories {
		all = append(all, dated{feedItem{plain(s.Title()), "story/" + s.ID() + "/", plain(join(s.CameOff(), s.Failed(), s.Replaced())), dateOf(s.PublicFrom())}, s.PublicFrom()})
	}
	for _, c := range b.a.Corrections {
		all = append(all, dated{feedItem{"Correction: " + plain(c.Title()), "story/" + c.Story() + "/#" + correctionID(c), plain(c.Say()), dateOf(c.PublicFrom())}, c.PublicFrom()})
	}
	for _, e := range b.editions() {
		all = append(all, dated{feedItem{plain(e.Record.Subject), "edition/" + e.Record.Week.String() + "/", plain(e.Record.Preheader), dateOf(e.From)}, e.From})
	}
	slices.SortStableFunc(all, func(x, y dated) int {
		if x.on != y.on && x.on.After(y.on) {
			return -1
		} else if x.on != y.on {
			return 1
		}
		return strings.Compare(x.item.Path, y.item.Path)
	})
	var items []feedItem
	for _, d := range all[:min(onFeed, len(all))] {
		items = append(items, d.item)
	}
	return items
}

// shared is the picture of the first story that has one, for when a page is passed on.
func (b *builder) shared(stories ...cleared.Story) *shared {
	for _, s := range stories {
		if photos := s.Photos(); len(photos) > 0 {
			pic, err := pictureOf(photos[0])
			if err != nil {
				b.fail(err)
				return nil
			}
			return &pic.Large
		}
	}
	return nil
}

// changed is the day on which a story's page last changed as readers see it.
func (b *builder) changed(s cleared.Story) day.Date {
	last := s.PublicFrom()
	for _, c := range b.mended[s.ID()] {
		if c.PublicFrom().After(last) {
			last = c.PublicFrom()
		}
	}
	return last
}

// lastChange is the newest day of anything on the first page.
func (b *builder) lastChange() *date {
	var last day.Date
	for _, s := range b.stories {
		if on := b.changed(s); on.After(last) {
			last = on
		}
	}
	for _, e := range b.a.Editions {
		if e.From.After(last) {
			last = e.From
		}
	}
	return dateOf(last)
}

// area is an area with how many stories it has.
type area struct {
	Key   string `json:"key"`
	Name  string `json:"name"`
	Count int    `json:"count"`
}

// areas are the areas in the workshop's order, then any that only a story names.
func (b *builder) areas() []area {
	var areas []area
	at := map[string]int{}
	put := func(a cleared.Area, n int) {
		i, ok := at[a.Key]
		if !ok {
			i = len(areas)
			at[a.Key] = i
			areas = append(areas, area{Key: a.Key, Name: plain(a.Name)})
		}
		areas[i].Count += n
	}
	for _, a := range b.a.Settings.Areas() {
		if err := checkID("area", a.Key); err != nil {
			b.fail(err)
		}
		put(a, 0)
	}
	for _, s := range b.stories {
		put(s.Area(), 1)
	}
	return areas
}

func (b *builder) areaPages() {
	areas := b.areas()
	b.add("area", front{Title: "Areas of the machine", Layout: "areas", Params: map[string]any{"section": "area", "areas": areas}}, "")
	byArea := map[string][]cleared.Story{}
	for _, s := range b.stories {
		byArea[s.Area().Key] = append(byArea[s.Area().Key], s)
	}
	for _, a := range areas {
		b.add("area/"+a.Key, front{Title: a.Name, Layout: "area", Description: "Stories from the " + strings.ToLower(a.Name) + ".",
			Params: map[string]any{"section": "area", "stories": b.cards(first(byArea[a.Key])), "older": b.months(rest(byArea[a.Key])), "image": b.shared(byArea[a.Key]...)}}, "")
	}
}

type caution struct {
	Label  string `json:"label"`
	Advice string `json:"advice"`
}

func cautionsOf(cs []cleared.Caution) []caution {
	var out []caution
	for _, c := range cs {
		out = append(out, caution{plain(c.Label), plain(c.Advice)})
	}
	return out
}

// cautions are those of a page, which has to say them.
func (b *builder) cautions(page string, cs []cleared.Caution) []caution {
	for _, c := range cs {
		b.say(page, c.Label, c.Advice)
	}
	return cautionsOf(cs)
}

type claim struct {
	Say      string `json:"say"`
	Status   string `json:"status"`
	Label    string `json:"label"`
	Evidence string `json:"evidence"`
}

// claimLabels say how sure we are, in words: colour alone is not told to everyone.
var claimLabels = map[string]string{"proven": "Proven", "likely": "Likely", "told": "Told, not proven"}

func claimsOf(cs []cleared.Claim) ([]claim, error) {
	var out []claim
	for _, c := range cs {
		label, ok := claimLabels[c.Status]
		if !ok {
			return nil, fmt.Errorf("site: the claim %q has the status %q; it must be proven, likely or told", c.Say, c.Status)
		}
		out = append(out, claim{plain(c.Say), c.Status, label, plain(c.Evidence)})
	}
	return out, nil
}

// linkedClaim is a claim with its words of the trade linked.
type linkedClaim struct {
	Say      []stretch `json:"say"`
	Status   string    `json:"status"`
	Label    string    `json:"label"`
	Evidence []stretch `json:"evidence"`
}

func (l *linker) claims(cs []cleared.Claim) ([]linkedClaim, error) {
	claims, err := claimsOf(cs)
	return each(claims, func(c claim) linkedClaim {
		return linkedClaim{l.inText(c.Say), c.Status, c.Label, l.inText(c.Evidence)}
	}), err
}

type question struct {
	Ask    string    `json:"ask"`
	Answer []stretch `json:"answer"`
}

func (l *linker) questions(qs []cleared.Question) []question {
	var out []question
	for _, q := range qs {
		out = append(out, question{plain(q.Ask), l.inText(q.Answer)})
	}
	return out
}

// link is a page named in passing.
type link struct {
	Path  string `json:"path"`
	Title string `json:"title"`
}

// correction is one as its story's page and its edition's page show it.
type correction struct {
	ID    string    `json:"id"`
	Title string    `json:"title"`
	Path  string    `json:"path"` // of the story
	Say   []stretch `json:"say"`
	Date  *date     `json:"date"`
}

// correctionID names a correction on its story's page.
func correctionID(c cleared.Correction) string {
	return "correction-" + strings.TrimPrefix(c.ID(), c.Story()+"-")
}

// corrections are those of a page, which has to say them.
func (b *builder) corrections(page string, l *linker, cs []cleared.Correction) []correction {
	var all []correction
	for _, c := range cs {
		b.say(page, c.Say())
		all = append(all, correction{correctionID(c), plain(c.Title()), "story/" + c.Story(), l.inText(c.Say()), dateOf(c.PublicFrom())})
	}
	return all
}

func (b *builder) storyPages() {
	b.add("story", front{Title: "All stories", Layout: "stories", Params: map[string]any{"section": "story", "stories": b.cards(first(b.stories)), "older": b.months(rest(b.stories)), "image": b.shared(b.stories...)}}, "")
	stopsOf := map[string][]link{}
	for _, p := range b.stops {
		for _, s := range p.stop.Stories() {
			stopsOf[s.ID()] = append(stopsOf[s.ID()], link{"stop/" + p.stop.ID(), fmt.Sprintf("Stop %d: %s", p.stop.Number(), plain(p.stop.At()))})
		}
	}
	for i, s := range b.stories {
		page := "story/" + s.ID()
		l := b.linker.fresh()
		// In the order in which they stand on the page, so that the first use is linked.
		corrections := b.corrections(page, l, b.mended[s.ID()])
		cameOff, failed, replaced := l.inText(s.CameOff()), l.inText(s.Failed()), l.inText(s.Replaced())
		body := l.inMarkdown(inert(s.Body()))
		claims, err := l.claims(s.Claims())
		if err != nil {
			b.fail(err)
		}
		params := map[string]any{
			"section": "story", "kind": "story", "saysnotice": true, "lang": s.Language(), "area": s.Area().Key, "areaname": plain(s.Area().Name),
			"date": dateOf(s.PublicFrom()), "changed": dateOf(b.changed(s)), "image": b.shared(s),
			"cameoff": cameOff, "failed": failed, "replaced": replaced,
			"claims": claims, "questions": l.questions(s.Questions()), "cautions": b.cautions(page, s.Cautions()),
			"credits": each(s.Credits(), plain), "photos": b.pictures(s.Photos()), "stops": stopsOf[s.ID()],
			"corrections": corrections,
		}
		if i > 0 {
			params["newer"] = link{"story/" + b.stories[i-1].ID(), plain(b.stories[i-1].Title())}
		}
		if i+1 < len(b.stories) {
			params["older"] = link{"story/" + b.stories[i+1].ID(), plain(b.stories[i+1].Title())}
		}
		b.add(page, front{Title: s.Title(), Layout: "story", Description: join(s.CameOff(), s.Failed()), Params: params}, body)
		for _, w := range b.a.Words {
			if l.used[w.ID()] {
				b.uses[w.ID()] = append(b.uses[w.ID()], link{page, plain(s.Title())})
			}
		}
	}
}

// brief is a story as a stop page tells it.
type brief struct {
	card
	CameOff  []stretch    `json:"cameoff"`
	Failed   []stretch    `json:"failed"`
	Replaced []stretch    `json:"replaced"`
	Credits  []string     `json:"credits"`
	Mended   []correction `json:"corrections,omitempty"`
}

type tourLine struct {
	Title string `json:"title"`
	Stops []link `json:"stops"`
}

func (b *builder) stopPages() {
	var tours []tourLine
	for _, t := range b.a.Tours {
		line := tourLine{Title: plain(t.Title())}
		for _, s := range t.Stops() {
			line.Stops = append(line.Stops, link{"stop/" + s.ID(), fmt.Sprintf("%d. %s", s.Number(), plain(s.At()))})
		}
		tours = append(tours, line)
	}
	b.add("stop", front{Title: "Stops on the tours", Layout: "stops", Params: map[string]any{"section": "stop", "tours": tours}}, "")
	for _, p := range b.stops {
		b.stopPage(p)
	}
}

func (b *builder) stopPage(p stopPage) {
	page := "stop/" + p.stop.ID()
	l := b.linker.fresh()
	var told []brief
	var shown []cleared.Story
	care := slices.Clone(p.stop.Cautions())
	var back day.Date
	for _, s := range p.stop.Stories() {
		pub, ok := b.public[s.ID()]
		if !ok {
			if from := s.PublicFrom(); from.After(b.a.On) && (back.IsZero() || from.Before(back)) {
				back = from
			}
			continue
		}
		shown = append(shown, pub)
		mended := b.corrections(page, l, b.mended[pub.ID()])
		told = append(told, brief{b.card(pub), l.inText(pub.CameOff()), l.inText(pub.Failed()), l.inText(pub.Replaced()), each(pub.Credits(), plain), mended})
		for _, c := range pub.Cautions() {
			if !slices.Contains(care, c) {
				care = append(care, c)
			}
		}
	}
	cautions := b.cautions(page, care)
	params := map[string]any{
		"section": "stop", "saysnotice": true, "number": p.stop.Number(), "tour": plain(p.tour.Title()), "stories": told, "cautions": cautions, "image": b.shared(shown...),
	}
	if !back.IsZero() {
		params["back"] = dateOf(back)
	}
	b.add(page, front{Title: p.stop.At(), Layout: "stop", Description: fmt.Sprintf("Stop %d of “%s”.", p.stop.Number(), p.tour.Title()), Params: params}, "")
}

func (b *builder) wordPages() {
	sorted := slices.Clone(b.a.Words)
	slices.SortStableFunc(sorted, func(x, y cleared.Word) int {
		return cmp.Or(strings.Compare(strings.ToLower(x.Word()), strings.ToLower(y.Word())), strings.Compare(x.ID(), y.ID()))
	})
	var lines []link
	for _, w := range sorted {
		lines = append(lines, link{"word/" + w.ID(), plain(w.Word())})
	}
	b.add("word", front{Title: "Words of the trade", Layout: "words", Params: map[string]any{"section": "word", "words": lines}}, "")
	for _, w := range sorted {
		b.add("word/"+w.ID(), front{Title: w.Word(), Layout: "word", Description: "What “" + w.Word() + "” means in the workshop.", Params: map[string]any{
			"section": "word", "also": each(w.Also(), plain), "uses": b.uses[w.ID()],
		}}, b.linker.fresh(w.ID()).inMarkdown(inert(w.Meaning())))
	}
}

// editions are the public editions, newest first.
func (b *builder) editions() []PublicEdition {
	sorted := slices.Clone(b.a.Editions)
	slices.SortStableFunc(sorted, func(x, y PublicEdition) int {
		return strings.Compare(y.Record.Week.String(), x.Record.Week.String())
	})
	return sorted
}

type editionCard struct {
	Week    string `json:"week"`
	Subject string `json:"subject"`
	Line    string `json:"line"`
	Monday  string `json:"monday"`
	Date    *date  `json:"date"`
}

func editionLine(e PublicEdition) editionCard {
	return editionCard{e.Record.Week.String(), plain(e.Record.Subject), plain(e.Record.Preheader), e.Record.Week.Monday().Words(), dateOf(e.From)}
}

// toldLine is a story an edition told. It has an address while the story is public.
type toldLine struct {
	Title string `json:"title"`
	Path  string `json:"path,omitempty"`
	Line  string `json:"line,omitempty"`
}

func (b *builder) editionPages() {
	var lines []editionCard
	for _, e := range b.editions() {
		lines = append(lines, editionLine(e))
		page := "edition/" + e.Record.Week.String()
		l := b.linker.fresh()
		var told []toldLine
		var shown []cleared.Story
		for _, s := range e.Record.Stories {
			line := toldLine{Title: plain(s.Title)}
			if pub, ok := b.public[s.ID]; ok {
				line.Path, line.Line = "story/"+s.ID, plain(pub.CameOff())
				shown = append(shown, pub)
			} else if b.taken[s.ID] {
				line.Path, line.Title = "story/"+s.ID, takenBack
			}
			told = append(told, line)
		}
		corrections := b.corrections(page, l, slices.DeleteFunc(slices.Clone(b.a.Corrections), func(c cleared.Correction) bool { return !slices.Contains(e.Record.Corrections, c.ID()) }))
		params := map[string]any{
			"section": "edition", "corrections": corrections, "week": e.Record.Week.String(), "monday": e.Record.Week.Monday().Words(), "date": dateOf(e.From), "changed": dateOf(e.From), "image": b.shared(shown...),
			"stories": told, "figures": figureRows(e.Record.Figures), "figurewords": each(e.Record.Figures, figureWords),
		}
		b.chart(params, e.Record.Progress)
		if w, ok := b.words[e.Record.Word]; ok {
			params["word"] = link{"word/" + w.ID(), plain(w.Word())}
		}
		b.add(page, front{Title: e.Record.Subject, Layout: "edition", Description: e.Record.Preheader, Params: params}, l.inMarkdown(inert(e.Record.Opening)))
	}
	b.add("edition", front{Title: "Weekly updates", Layout: "editions", Params: map[string]any{"section": "edition", "editions": lines}}, "")
}

// figureRow is one line of the progress table.
type figureRow struct {
	Area      string `json:"area"`
	Off       int    `json:"off"`
	Inspected int    `json:"inspected"`
	Waiting   int    `json:"waiting"`
	Ready     int    `json:"ready"`
	Fitted    int    `json:"fitted"`
	Total     int    `json:"total"`
}

func figureRows(fs []edition.Figures) []figureRow {
	var rows []figureRow
	for _, f := range fs {
		rows = append(rows, figureRow{plain(f.Area.Name), f.Off, f.Inspected, f.Waiting, f.Ready, f.Fitted, f.Total()})
	}
	return rows
}

// figureWords says a row of the progress table in a sentence.
func figureWords(f edition.Figures) string {
	parts := "parts"
	if f.Total() == 1 {
		parts = "part"
	}
	said := phases(f, nowAt)
	if len(said) == 0 {
		return plain(f.Area.Name) + ": nothing has come off yet."
	}
	return fmt.Sprintf("%s: %d %s came off. %s.", plain(f.Area.Name), f.Total(), parts, capital(list(said)))
}

// phaseWords say a count of each phase: where parts are, and what happened to
// them since the last update.
type phaseWords struct{ off, inspected, waiting, ready, fitted string }

var (
	nowAt = phaseWords{"still to be looked at", "inspected", "waiting on others", "ready to go back", "fitted again"}
	since = phaseWords{"came off", "inspected", "began to wait on others", "made ready to go back", "fitted"}
)

// phases names the counts that are not nought.
func phases(f edition.Figures, w phaseWords) []string {
	var said []string
	for _, p := range []struct {
		n    int
		what string
	}{{f.Off, w.off}, {f.Inspected, w.inspected}, {f.Waiting, w.waiting}, {f.Ready, w.ready}, {f.Fitted, w.fitted}} {
		if p.n > 0 {
			said = append(said, fmt.Sprintf("%d %s", p.n, p.what))
		}
	}
	return said
}

// list joins words as English does: a, b and c.
func list(items []string) string {
	if len(items) < 2 {
		return strings.Join(items, "")
	}
	return strings.Join(items[:len(items)-1], ", ") + " and " + items[len(items)-1]
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// join puts sentences one behind the other, leaving out what is empty.
func join(sentences ...string) string {
	return strings.Join(slices.DeleteFunc(sentences, func(s string) bool { return strings.TrimSpace(s) == "" }), " ")
}

func each[A, B any](in []A, f func(A) B) []B {
	out := make([]B, 0, len(in))
	for _, x := range in {
		out = append(out, f(x))
	}
	return out
}

// addPictures adds the bytes of every public picture that a page shows.
func (b *builder) addPictures(ctx context.Context, files Files) error {
	for _, s := range b.stories {
		for _, p := range s.Photos() {
			for _, c := range webCopies(p) {
				if err := ctx.Err(); err != nil {
					return err
				}
				if err := addPicture(files, c); err != nil {
					return fmt.Errorf("site: a picture of story %s: %w", s.ID(), err)
				}
			}
		}
	}
	return nil
}

func addPicture(files Files, c cleared.Copy) error {
	name := "pictures/" + c.Name()
	if _, ok := files[name]; ok {
		return nil
	}
	data, err := c.Bytes()
	if err != nil {
		return err
	}
	if !bytes.HasPrefix(data, []byte{0xFF, 0xD8}) {
		return fmt.Errorf("%s is not a JPEG; make the public copies again", c.Name())
	}
	files[name] = data
	return nil
}
