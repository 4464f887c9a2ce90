package site

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"strings"
	"unicode/utf8"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
)

// Letter is one edition as it is sent: the same page twice, and its pictures.
type Letter struct {
	Subject  string
	HTML     []byte // under 100 kB; no line over 998 octets
	Text     []byte // flowed (RFC 3676), in lines of 72 characters at most, but for long addresses
	Pictures []Picture
}

// Picture is a JPEG, or the PNG of a chart, that the HTML shows by its content-id
// (RFC 2392).
type Picture struct {
	ContentID string // without the angle brackets
	Name      string
	JPEG      []byte
}

// largestHTML is the most a letter's HTML may weigh. Some mailboxes cut a
// letter off a little above 100 kB (common practice, no source).
const largestHTML = 100 * 1000

// wordsAMinute is the mean for silent reading of English non-fiction in
// Brysbaert (2019), "How many words do we read per minute?" (from memory).
const wordsAMinute = 238

// letterLayouts must both be there: where one is missing, Hugo would send the
// other in its place and say nothing.
var letterLayouts = []string{"letter.letterhtml.html", "letter.lettertext.html"}

const (
	letterHTML = "letter/letter.html"
	letterText = "letter/plain.html"
)

// MakeLetter lays out a cleared edition. All its pictures go with it.
func MakeLetter(ctx context.Context, theme fs.FS, s cleared.Settings, e edition.Edition) (Letter, error) {
	return makeLetter(ctx, theme, s, e, nil, false)
}

// LinkLetter lays out a cleared edition and links to the pictures that readers find
// on the archive; published are the names of their copies there. Any other goes with
// the letter: what members see first stands at no address that anybody could open.
func LinkLetter(ctx context.Context, theme fs.FS, s cleared.Settings, e edition.Edition, published map[string]bool) (Letter, error) {
	return makeLetter(ctx, theme, s, e, published, false)
}

// PreviewLetter lays out an edition that holds something not cleared. DRAFT
// stands in the subject and at the top and bottom of both parts.
func PreviewLetter(ctx context.Context, theme fs.FS, s cleared.Draft[cleared.Settings], p edition.Preview) (Letter, error) {
	return makeLetter(ctx, theme, s.Preview(), p.Show(), nil, true)
}

func makeLetter(ctx context.Context, themes fs.FS, s cleared.Settings, e edition.Edition, published map[string]bool, draft bool) (Letter, error) {
	if err := checkSite(s); err != nil {
		return Letter{}, err
	}
	if err := checkFooter(s); err != nil && !draft {
		return Letter{}, err
	}
	look, err := readLook(themes)
	if err != nil {
		return Letter{}, err
	}
	w := letterWriter{s: s, e: e, theme: themes, published: published, pictures: map[string]bool{}}
	pages, err := w.pages(ctx, themes, draft)
	if err != nil {
		return Letter{}, err
	}
	html, err := dress(pages.html, look)
	if err != nil {
		return Letter{}, err
	}
	html = foldLines(html)
	if len(html) > largestHTML {
		return Letter{}, fmt.Errorf("site: the letter for %s weighs %d bytes; shorten the opening or leave a story for next week (the most is %d)", e.Words.Week(), len(html), largestHTML)
	}
	plainText, err := textOf(pages.text)
	if err != nil {
		return Letter{}, fmt.Errorf("site: the text part: %w", err)
	}
	return Letter{Subject: pages.subject, HTML: html, Text: plainText, Pictures: w.made}, nil
}

// letterPages are what Hugo makes of a letter.
type letterPages struct {
	subject    string
	html, text []byte // both are HTML; the second has no look
}

func (w *letterWriter) pages(ctx context.Context, themes fs.FS, draft bool) (letterPages, error) {
	t, err := readTheme(themes, "letter", letterLayouts)
	if err != nil {
		return letterPages{}, err
	}
	t.addMarkupRules(letterMarkup)
	page, err := w.page(draft)
	if err != nil {
		return letterPages{}, err
	}
	head, err := json.Marshal(page)
	if err != nil {
		return letterPages{}, fmt.Errorf("site: letter: %w", err)
	}
	settings := baseSettings(w.s, map[string]any{"site": w.s.Site(), "held": w.held()})
	settings["disableKinds"] = []string{"home", "section", "taxonomy", "term", "404", "sitemap"}
	settings["outputFormats"] = map[string]any{
		"letterhtml": map[string]any{"mediaType": "text/html", "baseName": "letter", "isHTML": true},
		"lettertext": map[string]any{"mediaType": "text/html", "baseName": "plain", "isHTML": true},
	}
	settings["outputs"] = map[string]any{"page": []string{"letterhtml", "lettertext"}}
	noForms(settings)
	j := job{theme: "letter", settings: settings, staging: t.layouts, expect: []string{letterHTML, letterText}}
	j.staging["content/pages/page-letter.md"] = append(head, '\n')
	out, err := j.run(ctx)
	return letterPages{page.Title, out[letterHTML], out[letterText]}, err
}

// noForms has a list's boxes to tick print as they were typed: few mailboxes show
// any part of a form.
func noForms(settings map[string]any) {
	markup := settings["markup"].(map[string]any)["goldmark"].(map[string]any)
	markup["extensions"].(map[string]any)["taskList"] = false
}

// checkFooter wants what a letter must say: where the sender is, and where to
// write to leave.
func checkFooter(s cleared.Settings) error {
	if strings.TrimSpace(s.PostalAddress()) == "" {
		return errors.New("site: a letter must carry the workshop's postal address; add postal_address to workshop.yaml")
	}
	if !strings.Contains(s.Returns(), "@") {
		return errors.New("site: a letter must say where to write to leave; add post.returns to workshop.yaml")
	}
	return nil
}

// letterWriter turns an edition into what the two layouts see.
type letterWriter struct {
	s         cleared.Settings
	e         edition.Edition
	theme     fs.FS
	published map[string]bool // names of pictures that the archive has
	pictures  map[string]bool // names of those in the letter
	made      []Picture
}

// letterPhoto is a picture in a letter, drawn at most 560 px wide.
type letterPhoto struct {
	Source  string `json:"src"` // "cid:…", or an address in the archive
	Width   int    `json:"width"`
	Alt     string `json:"alt"`
	Caption string `json:"caption"`
	Credit  string `json:"credit"`
}

type letterStory struct {
	Title    string       `json:"title"`
	Area     string       `json:"area"`
	CameOff  string       `json:"cameoff"`
	Failed   string       `json:"failed"`
	Replaced string       `json:"replaced"`
	Body     string       `json:"body"`
	Claims   []claim      `json:"claims"`
	Cautions []caution    `json:"cautions"`
	Credits  []string     `json:"credits"`
	Photo    *letterPhoto `json:"photo,omitempty"`
	URL      string       `json:"url,omitempty"` // while the archive has it
}

type letterCorrection struct {
	Title string `json:"title"`
	Say   string `json:"say"`
	URL   string `json:"url,omitempty"` // while the archive has the story
}

type letterAsk struct {
	Text    string `json:"text"`
	URL     string `json:"url"`
	Earlier string `json:"earlier"`
}

type letterWord struct {
	Word    string `json:"word"`
	Meaning string `json:"meaning"`
}

const letterPhotoWidth = 560

func (w *letterWriter) page(draft bool) (front, error) {
	e, s := w.e, w.s
	subject := plain(oneLine(e.Words.Subject()))
	if subject == "" {
		subject = plain(oneLine(s.Machine())) + ": this week in the workshop"
	}
	preheader := plain(oneLine(e.Words.Preheader()))
	title := subject
	if draft {
		title = "DRAFT: " + subject
	}
	params := map[string]any{
		"subject": subject, "stamp": draft, "lang": s.Language(), "notice": notice,
		"workshop": plain(s.Workshop()), "machine": plain(s.Machine()), "address": plain(s.PostalAddress()), "legal": each(s.LegalLines(), plain),
		"returns": s.Returns(), "leave": "mailto:" + s.Returns() + "?subject=leave", "site": s.Site(),
		"monday": e.Words.Week().Monday().Words(), "week": e.Words.Week().String(),
		"preheader": preheader, "preheaderpad": preheaderPad(preheader), "opening": inert(e.Words.Opening()),
		"figures": figureRows(e.Figures), "figurewords": each(e.Figures, figureWords), "rollout": plain(e.RollOut.Words()),
	}
	if said := phases(e.Since, since); len(said) > 0 {
		params["since"] = "Since the last update: " + list(said) + "."
	}
	if a := e.Words.Ask(); a != nil {
		if !allowedLink.MatchString(a.URL) {
			return front{}, fmt.Errorf("site: the ask of %s leads to %q; write an address that begins with https://", e.Words.Week(), a.URL)
		}
		params["ask"] = letterAsk{plain(a.Text), a.URL, plain(a.Earlier)}
	}
	if e.Word != nil {
		params["word"] = letterWord{plain(e.Word.Word()), inert(e.Word.Meaning())}
	}
	if e.YearAgo != nil {
		if err := checkID("story", e.YearAgo.ID); err != nil {
			return front{}, err
		}
		params["yearago"] = link{s.Site() + "story/" + e.YearAgo.ID + "/", plain(e.YearAgo.Title)}
	}
	var corrections []letterCorrection
	for _, c := range e.Corrections {
		told, err := w.correction(c)
		if err != nil {
			return front{}, err
		}
		corrections = append(corrections, told)
	}
	params["corrections"] = corrections
	var stories []letterStory
	for i, st := range e.Stories {
		told, err := w.story(st, i == 0)
		if err != nil {
			return front{}, err
		}
		stories = append(stories, told)
	}
	params["stories"] = stories
	photos, err := w.photos(e.Words.Photos())
	if err != nil {
		return front{}, err
	}
	params["photos"] = photos
	chart, err := w.chart(w.theme, e.Progress)
	if err != nil {
		return front{}, err
	}
	if chart != nil {
		params["chart"] = chart
	}
	params["minutes"] = w.minutes()
	return front{Title: title, URL: "/letter/", Layout: "letter", Params: params}, nil
}

func (w *letterWriter) correction(c cleared.Correction) (letterCorrection, error) {
	if err := checkID("story", c.Story()); err != nil {
		return letterCorrection{}, err
	}
	out := letterCorrection{Title: plain(c.Title()), Say: plain(c.Say())}
	if w.public(c) {
		out.URL = w.s.Site() + "story/" + c.Story() + "/"
	}
	return out, nil
}

// story tells the lead in full and any other in short.
func (w *letterWriter) story(s cleared.Story, lead bool) (letterStory, error) {
	if err := checkID("story", s.ID()); err != nil {
		return letterStory{}, err
	}
	out := letterStory{
		Title: plain(s.Title()), Area: plain(s.Area().Name), CameOff: plain(s.CameOff()), Failed: plain(s.Failed()), Replaced: plain(s.Replaced()),
		Credits: each(s.Credits(), plain), Cautions: cautionsOf(s.Cautions()),
	}
	if w.public(s) {
		out.URL = w.s.Site() + "story/" + s.ID() + "/"
	}
	if !lead {
		return out, nil
	}
	out.Body = inert(s.Body())
	claims, err := claimsOf(s.Claims())
	if err != nil {
		return letterStory{}, err
	}
	out.Claims = claims
	if len(s.Photos()) > 0 {
		photos, err := w.photos(s.Photos()[:1])
		if err != nil {
			return letterStory{}, err
		}
		out.Photo = &photos[0]
	}
	return out, nil
}

// photos adds pictures to the letter, each once.
func (w *letterWriter) photos(in []cleared.Photo) ([]letterPhoto, error) {
	var out []letterPhoto
	for _, p := range in {
		c, ok := p.Copy(cleared.Letter)
		if !ok {
			return nil, fmt.Errorf("site: the photo captioned %q has no copy for letters; make its public copies first", p.Caption())
		}
		if !publicName.MatchString(c.Name()) {
			return nil, fmt.Errorf("site: picture name %q must be a digest with .jpg", c.Name())
		}
		if w.pictures[c.Name()] {
			continue
		}
		w.pictures[c.Name()] = true
		source, ok := w.address(p)
		if !ok {
			data, err := c.Bytes()
			if err != nil {
				return nil, fmt.Errorf("site: picture %s: %w", c.Name(), err)
			}
			cid := w.contentID(c.Name())
			w.made = append(w.made, Picture{ContentID: cid, Name: c.Name(), JPEG: data})
			source = "cid:" + cid
		}
		width := max(1, min(letterPhotoWidth, c.Width()))
		out = append(out, letterPhoto{source, width, plain(p.Alt()), plain(p.Caption()), plain(p.Credit())})
	}
	return out, nil
}

// address is where the archive has a picture, no wider than one in a letter would be.
func (w *letterWriter) address(p cleared.Photo) (string, bool) {
	name := ""
	for _, c := range webCopies(p) {
		if w.published[c.Name()] && publicName.MatchString(c.Name()) && (name == "" || c.Width() <= 1200) {
			name = c.Name()
		}
	}
	return w.s.Site() + "pictures/" + name, name != ""
}

// contentID is the same for the same bytes, in the domain of the archive.
func (w *letterWriter) contentID(name string) string {
	host := "example.invalid"
	if u, err := url.Parse(w.s.Site()); err == nil {
		host = u.Hostname()
	}
	digest, _, _ := strings.Cut(name, ".")
	return digest[:min(32, len(digest))] + "@" + host
}

// held are the pages of this letter's stories that the archive does not have
// yet: members read them first, and a link would lead nowhere.
func (w *letterWriter) held() []string {
	held := []string{}
	for _, s := range w.e.Stories {
		if !w.public(s) {
			held = append(held, "/story/"+s.ID()+"/")
		}
	}
	return held
}

// public reports whether the archive has a story, or the story of a correction.
func (w *letterWriter) public(s interface{ PublicFrom() day.Date }) bool {
	return !s.PublicFrom().IsZero() && !s.PublicFrom().After(w.e.On)
}

// minutes is how long the letter takes to read, at least one.
func (w *letterWriter) minutes() int {
	text := w.e.Words.Opening()
	for _, c := range w.e.Corrections {
		text = join(text, c.Title(), c.Say())
	}
	for i, s := range w.e.Stories {
		text = join(text, s.Title(), s.CameOff(), s.Failed(), s.Replaced())
		if i == 0 {
			text = join(text, s.Body())
		}
	}
	return max(1, (len(strings.Fields(text))+wordsAMinute/2)/wordsAMinute)
}

// A list of letters shows some 35 to 140 characters of a letter beside its subject
// (common practice, no source).
const previewWidth = 150

// preheaderPad fills what a list of letters shows of a letter with spaces that do
// not run together, so that no words of the page follow those meant for it.
func preheaderPad(preheader string) string {
	return strings.Repeat("\u00a0\u200c", max(0, previewWidth-utf8.RuneCountInString(preheader)))
}

// oneLine keeps a header's text on one line.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
