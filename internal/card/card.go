// Package card lays out stop cards and writes them as PDF and PNG.
//
// A card has two faces: a front for visitors and a back for the guide. It is
// laid out once, as a list of things to draw with their reading order; files
// are made from that list alone. The package promises the largest type that
// fits between the face's limits, never under 12 pt; that text which does not
// fit is an error and is never cut or shrunk out of sight; and that the same
// input gives the same bytes.
//
// It takes cleared values only. It must not know the private record, the
// wording files, or the ledger of what was printed.
package card

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image/png"
	"io/fs"
	"runtime"
	"slices"
	"sync"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/paint"
	"example.org/opencowl/internal/card/pdf"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/tongue"
)

// ErrPaper is for a paper that the cards cannot be printed on.
var ErrPaper = errors.New("no such paper for cards")

// ErrSheet is for cards that cannot be put on a sheet as asked.
var ErrSheet = errors.New("these cards cannot share a sheet so")

// ErrFace is for a face that cards do not have.
var ErrFace = errors.New("no such face of a card")

// ErrNoWords is for a language in which cards have nothing to say of themselves.
var ErrNoWords = tongue.ErrNoWords

// Options says how cards are to be printed.
type Options struct {
	Paper    string   // a6, a5, a4 or letter
	Language string   // BCP 47; "" is the workshop's
	Faces    []string // front, back, in the order of the pages
	AsOf     day.Date // printed on the card, and outside its digest
	Theme    fs.FS    // themes.Embedded() or themes.Over(workspace)
	Large    bool     // large print: nothing under 16 pt
	Pictures int      // pixels an inch of a PNG of each page; 0: none
	Sheet    Sheet    // several cards to a sheet; the zero value is one card to a page of its own size
	// Only chooses the cards that are printed; nil prints all.
	Only func(Printed) bool
	// Returning is the day since which a back says what is new in its story; zero
	// says nothing. It is outside the card's digest, as the day of printing is.
	Returning day.Date
}

// ErrNothingToPrint is for a choice of cards that leaves none.
var ErrNothingToPrint = errors.New("no card is left to print")

// Sheets is a printable file and what is in it.
type Sheets struct {
	PDF []byte
	PNG [][]byte // each page, drawn from the same layout, when Options.Pictures says so
	// Cards are in the order of printing. Each has one page for each of Options.Faces,
	// and behind those as many more sides as its back runs on to, filled up to whole
	// cards.
	Cards []Printed

	// RunsOn says of each card whose back takes more sides than one, how many, and
	// what would make it fit one.
	RunsOn []*RunsOn
	// HowToPrint tells whoever prints which settings to choose.
	HowToPrint string

	// Unfit says of each card that could not be printed why: an *Overflow for each
	// field that is too long, or a character that the font lacks. Its place is taken
	// by a sheet for the guide alone that says the same.
	Unfit []error
	// Instead is what can be printed of the unfit cards as they are; empty if
	// nothing can.
	Instead string
}

// Printed is one card.
type Printed struct {
	Stop, Story string // ids; no story on a sheet for the guide alone
	Number      string // "3", or "3a" where a stop has several stories
	GuideOnly   bool   // stands in for a card that may not be shown, or does not fit
	Language    string // BCP 47: that it is in, which may not be the one asked for
	Digest      string // of all that both faces say and show, but for the as-of date
}

// Unhurried is a setting of debug.SetGCPercent for a process that prints cards and
// ends: a tenth of its time goes by otherwise in looking for memory to use again.
const Unhurried = 400

// Deck prints a card for each story of each stop. A stop with something
// withheld, or with no story at all, gets a sheet for the guide alone, and so
// does a card whose text does not fit. Where no card fits at all, that is the
// error: an *Overflow for each field, joined over all cards.
func Deck(ctx context.Context, s cleared.Settings, t cleared.Tour, o Options) (*Sheets, error) {
	return deck(ctx, s, t, o, false)
}

// DraftDeck prints the cards of a tour that has not been cleared, with DRAFT
// stamped on every page.
func DraftDeck(ctx context.Context, s cleared.Draft[cleared.Settings], t cleared.Draft[cleared.Tour], o Options) (*Sheets, error) {
	return deck(ctx, s.Preview(), t.Preview(), o, true)
}

// Cards lists the cards of a tour as Deck would print them if all fit, without
// laying them out: to compare with what was printed before. Of the options, Theme
// and Language matter.
func Cards(s cleared.Settings, t cleared.Tour, o Options) ([]Printed, error) {
	v, err := readVoices(s, o)
	if err != nil {
		return nil, err
	}
	if err := v.learnAll(t); err != nil {
		return nil, err
	}
	var all []Printed
	for _, k := range v.contents(s, t) {
		all = append(all, k.printed())
	}
	return all, nil
}

func deck(ctx context.Context, s cleared.Settings, t cleared.Tour, o Options, draft bool) (*Sheets, error) {
	l, err := lay(ctx, s, t, o, draft)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if err := pdf.Write(&out, *l.doc); err != nil {
		return nil, fmt.Errorf("write the cards of the tour %q: %w", t.ID(), err)
	}
	sheets := &Sheets{PDF: out.Bytes(), Cards: l.cards, RunsOn: l.runsOn, HowToPrint: o.howToPrint(), Unfit: l.unfit, Instead: whatFits(l.unfit, o)}
	if o.Pictures > 0 {
		if sheets.PNG, err = pictures(ctx, l.doc.Pages, o.Pictures); err != nil {
			return nil, err
		}
	}
	return sheets, nil
}

// pictures draws each page as a PNG.
func pictures(ctx context.Context, pages []draw.Page, perInch int) ([][]byte, error) {
	var all [][]byte
	for i, page := range pages {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		img, err := paint.Page(page, perInch)
		if err != nil {
			return nil, fmt.Errorf("picture of page %d: %w", i+1, err)
		}
		var out bytes.Buffer
		if err := png.Encode(&out, img); err != nil {
			return nil, fmt.Errorf("picture of page %d: %w", i+1, err)
		}
		all = append(all, out.Bytes())
	}
	return all, nil
}

// laid is a deck before it is written to a file.
type laid struct {
	doc    *draw.Document
	cards  []Printed
	runsOn []*RunsOn
	unfit  []error
}

// lay makes the drawn document of a deck.
func lay(ctx context.Context, s cleared.Settings, t cleared.Tour, o Options, draft bool) (*laid, error) {
	p, err := newPress(s, o, draft)
	if err != nil {
		return nil, err
	}
	if err := p.voices.learnAll(t); err != nil {
		return nil, err
	}
	l := &laid{doc: &draw.Document{Title: p.documentTitle(t), Language: p.language, Root: &draw.Node{Role: draw.RoleDocument}, Print: o.print()}}
	shown := 0
	all := p.voices.contents(s, t)
	if len(all) == 0 {
		return nil, fmt.Errorf("the tour %q has no stops, so there are no cards to print; add stops to the tour", t.ID())
	}
	if o.Only != nil {
		all = slices.DeleteFunc(all, func(k content) bool { return !o.Only(k.printed()) })
		if len(all) == 0 {
			return nil, ErrNothingToPrint
		}
	}
	for i := range all {
		all[i].News, all[i].NewsMark = all[i].newsLine(all[i].news, o.Returning)
	}
	cards, err := p.printAll(ctx, all, o.Faces)
	if err != nil {
		return nil, err
	}
	for _, c := range cards {
		switch {
		case c.err != nil:
			return nil, c.err
		case c.unfit != nil:
			l.unfit = append(l.unfit, c.unfit)
		case !c.content.GuideOnly:
			shown++
		}
		if c.runsOn != nil {
			l.runsOn = append(l.runsOn, c.runsOn)
		}
		l.doc.Pages = append(l.doc.Pages, c.pages...)
		l.doc.Root.Kids = append(l.doc.Root.Kids, c.section)
		l.cards = append(l.cards, c.content.printed())
	}
	if p.sheet != nil {
		c := composer{press: p, face: p.front, paper: p.paper[p.front]}
		if l.doc.Pages, err = c.imposed(p.sheet, l.doc.Pages, len(o.Faces)); err != nil {
			return nil, err
		}
	}
	if len(l.unfit) > 0 && shown == 0 {
		failures := l.unfit
		if instead := whatFits(failures, o); instead != "" {
			failures = append(failures, errors.New(instead))
		}
		return nil, errors.Join(failures...)
	}
	return l, nil
}

// isUnfit reports whether a card cannot be set as it is worded, which is no
// reason to keep the others from the guide.
func isUnfit(err error) bool {
	var full *Overflow
	var wide typeset.TooWide
	var missing typeset.MissingGlyph
	return errors.As(err, &full) || errors.As(err, &wide) || errors.As(err, &missing) || errors.Is(err, errNoRoom)
}

// whatFits says which side can be printed as it is, where only the other does
// not fit: whoever prints an hour before the talk cannot change the words.
func whatFits(failures []error, o Options) string {
	if len(failures) == 0 || !slices.Contains(o.Faces, front) || !slices.Contains(o.Faces, back) {
		return ""
	}
	full := map[string]bool{}
	for _, err := range failures {
		for _, one := range parts(err) {
			var c crowded
			if !errors.As(one, &c) {
				return ""
			}
			full[c[0].Face] = true
		}
	}
	switch {
	case !full[front]:
		return fmt.Sprintf("the fronts fit on %s; they can be printed alone", o.Paper)
	case !full[back]:
		return fmt.Sprintf("the backs fit on %s; they can be printed alone", o.Paper)
	}
	return ""
}

// parts takes the failures of one card's sides apart.
func parts(err error) []error {
	if _, ok := err.(crowded); ok {
		return []error{err}
	}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		return joined.Unwrap()
	}
	return []error{err}
}

func (p *press) documentTitle(t cleared.Tour) string {
	title := t.Title()
	if title == "" {
		title = t.ID()
	}
	title = tongue.Fill(p.voices.own().words.Document, "tour", title)
	if p.draft {
		return "DRAFT " + title
	}
	return title
}

// press has what all pages of one file share.
type press struct {
	front, back *face
	size        paperSize
	sheet       *grid // none: each card is a page
	paper       map[*face]*facePaper
	asOf        day.Date
	paperName   string
	language    string
	voices      *voices
	draft       bool

	theme  fs.FS
	breaks map[string]*typeset.Hyphenation // by language; nil where the theme has no patterns

	// What several cards share; the guard is over codes and photos.
	sizes  *qrSizes
	guard  *sync.Mutex
	codes  map[string]drawnQR  // by address
	photos map[string]jpegData // by public name
}

func newPress(s cleared.Settings, o Options, draft bool) (*press, error) {
	if o.AsOf.IsZero() {
		return nil, errors.New("the cards need the day on which they are true; name it with AsOf")
	}
	if len(o.Faces) == 0 {
		return nil, fmt.Errorf("%w: name front, back or both", ErrFace)
	}
	for _, name := range o.Faces {
		if !slices.Contains([]string{front, back}, name) {
			return nil, fmt.Errorf("%w: %q; the faces are front and back", ErrFace, name)
		}
	}
	v, err := readVoices(s, o)
	if err != nil {
		return nil, err
	}
	fonts := map[string]*typeset.Font{}
	p := &press{
		asOf: o.AsOf, paperName: o.Paper, language: v.asked, voices: v, draft: draft, paper: map[*face]*facePaper{},
		theme: o.Theme, breaks: map[string]*typeset.Hyphenation{}, sizes: &qrSizes{}, guard: &sync.Mutex{}, codes: map[string]drawnQR{}, photos: map[string]jpegData{},
	}
	for _, side := range []struct {
		name string
		into **face
	}{{front, &p.front}, {back, &p.back}} {
		f, err := readFace(o.Theme, side.name, o.Large, fonts)
		if err != nil {
			return nil, err
		}
		*side.into = f
		if p.size, p.paper[f], err = f.paper(o.Paper); err != nil {
			return nil, err
		}
	}
	if o.Sheet.Up > 1 {
		g, err := o.Sheet.grid(o.Paper, p.size, len(o.Faces) > 1)
		if err != nil {
			return nil, err
		}
		p.sheet, p.size = g, g.cell
	}
	return p, p.learnToBreak(p.language)
}

// printedCard is one card's pages, or why there are none.
type printedCard struct {
	content content // what was printed: for an unfit card, the sheet in its place
	pages   []draw.Page
	section *draw.Node
	runsOn  *RunsOn // none: its back is on one side
	unfit   error   // why a sheet for the guide stands in for the card
	err     error   // what stops the whole deck
}

// printAll lays out all cards, side by side.
func (p *press) printAll(ctx context.Context, all []content, faces []string) ([]printedCard, error) {
	for _, k := range all {
		for _, language := range []string{k.Language, k.labels, k.PlaceLanguage} {
			if err := p.learnToBreak(language); err != nil {
				return nil, err
			}
		}
	}
	cards := make([]printedCard, len(all))
	var work sync.WaitGroup
	workers := min(runtime.GOMAXPROCS(0), len(all))
	for w := range workers {
		work.Go(func() {
			for i := w; i < len(all) && ctx.Err() == nil; i += workers {
				cards[i] = p.printOrStandIn(all[i], faces)
			}
		})
	}
	work.Wait()
	return cards, ctx.Err()
}

// printOrStandIn lays out a card, or the sheet that tells the guide why it cannot be.
func (p *press) printOrStandIn(k content, faces []string) printedCard {
	c := p.print(k, faces)
	switch {
	case isUnfit(c.err) && k.GuideOnly:
		// What it would say is in the tour's own words, which check reports.
		return p.print(k.barest(), faces)
	case isUnfit(c.err):
		why := c.err
		stand := p.voices.unfitSheet(k, why)
		if c = p.print(stand, faces); isUnfit(c.err) {
			c = p.print(stand.barest(), faces)
		}
		c.unfit = why
	}
	return c
}

// print lays out the pages of one card.
func (p *press) print(k content, faces []string) printedCard {
	c := printedCard{content: k, section: &draw.Node{Role: draw.RoleSection}}
	var failures []error
	var further []draw.Page
	var furtherNodes []*draw.Node
	for _, name := range faces {
		side := &draw.Node{Role: draw.RoleSection, Language: other(k.labels, p.language)}
		page, err := p.side(k, name, side)
		nodes := []*draw.Node{side}
		if name == back && !k.GuideOnly && isTooFull(err) {
			pages, sides, more := p.backOf(k).runOn(k.only(p.back))
			if more == nil {
				c.runsOn = &RunsOn{Card: k.Number, Story: k.name(), Paper: p.paperName, Sides: len(pages), Why: err}
				page, nodes, err = pages[0], sides[:1], nil
				further, furtherNodes = pages[1:], sides[1:]
			}
		}
		if err != nil {
			failures = append(failures, err)
			continue
		}
		c.pages = append(c.pages, page)
		c.section.Kids = append(c.section.Kids, nodes...)
	}
	c.section.Kids = append(c.section.Kids, furtherNodes...)
	c.pages = append(c.pages, further...)
	// What runs on fills whole cards, so that each sheet keeps its front and back.
	for len(further) > 0 && len(c.pages)%len(faces) > 0 {
		page, err := p.backOf(k).blank(c.section)
		if err != nil {
			failures = append(failures, err)
			break
		}
		c.pages = append(c.pages, page)
	}
	c.err = errors.Join(failures...)
	return c
}

// backOf is ready to set the back of a card.
func (p *press) backOf(k content) composer {
	return composer{press: p, face: p.back, paper: p.paper[p.back], side: back, voice: k.voice, tongue: other(k.Language, k.labels)}
}

// isTooFull reports whether a side lacks room, and nothing else.
func isTooFull(err error) bool {
	full := crowded{}
	return errors.As(err, &full) || errors.Is(err, errNoRoom)
}

// print is what the file asks of a printer: cards as large as they are, and backs
// behind their fronts.
func (o Options) print() draw.Print {
	sides := draw.FlipLongEdge
	switch {
	case len(o.Faces) < 2:
		sides = draw.OneSide
	case o.Sheet.Up > 1 && o.Sheet.Flip == "short":
		sides = draw.FlipShortEdge
	}
	return draw.Print{ActualSize: true, Sides: sides}
}

// other returns the language when it differs from that about it.
func other(language, about string) string {
	if language == about {
		return ""
	}
	return language
}

// side lays out one face of a card in the largest type that fits.
func (p *press) side(k content, name string, into *draw.Node) (draw.Page, error) {
	f := p.front
	sheet := sheetOfFront
	switch {
	case k.GuideOnly:
		f, sheet = p.back, sheetOfGuideOnly
	case name == back:
		f, sheet = p.back, sheetOfBack
	}
	if !k.GuideOnly {
		k = k.only(f)
		if !slices.Contains(f.Fields, fieldTiming) {
			k.News = nil // it stands below the timing, or else as a mark in the foot
		}
	}
	c := composer{press: p, face: f, paper: p.paper[f], side: name, voice: k.voice, tongue: other(k.Language, k.labels), lines: new(typeset.Breaker)}
	page, err := c.largest(k, sheet, into)
	if full := (crowded{}); len(k.News) > 0 && errors.As(err, &full) {
		k.News = nil // its mark in the foot takes no room
		page, err = c.largest(k, sheet, into)
	}
	if overflow := (*Overflow)(nil); err != nil && !errors.As(err, &overflow) {
		return page, fmt.Errorf("card %s (%s), %s: %w", k.Number, k.name(), name, err)
	}
	return page, err
}
