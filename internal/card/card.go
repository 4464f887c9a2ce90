// Package card lays out stop cards and writes them as PDF.
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
	"io/fs"
	"slices"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/pdf"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
)

// ErrPaper is for a paper that the cards cannot be printed on.
var ErrPaper = errors.New("no such paper for cards")

// ErrFace is for a face that cards do not have.
var ErrFace = errors.New("no such face of a card")

// Options says how cards are to be printed.
type Options struct {
	Paper string   // a6, a5, a4 or letter
	Faces []string // front, back, in the order of the pages
	AsOf  day.Date // printed on the card, and outside its digest
	Theme fs.FS    // themes.Embedded() or themes.Over(workspace)
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
	PDF   []byte
	Cards []Printed // in the order of printing; each has one page for each of Options.Faces
}

// Printed is one card.
type Printed struct {
	Stop, Story string // ids; no story on a sheet for the guide alone
	Number      string // "3", or "3a" where a stop has several stories
	GuideOnly   bool   // stands in for a card that may not be shown
	Digest      string // of all that both faces say and show, but for the as-of date
}

// Deck prints a card for each story of each stop. A stop with something
// withheld, or with no story at all, gets a sheet for the guide alone. Text
// that does not fit is an *Overflow for each field, joined over all cards, and
// the message says what would print.
func Deck(ctx context.Context, s cleared.Settings, t cleared.Tour, o Options) (*Sheets, error) {
	return deck(ctx, s, t, o, false)
}

// DraftDeck prints the cards of a tour that has not been cleared, with DRAFT
// stamped on every page.
func DraftDeck(ctx context.Context, s cleared.Draft[cleared.Settings], t cleared.Draft[cleared.Tour], o Options) (*Sheets, error) {
	return deck(ctx, s.Preview(), t.Preview(), o, true)
}

// Cards lists the cards of a tour as Deck would print them, without laying
// them out: to compare with what was printed before.
func Cards(s cleared.Settings, t cleared.Tour) []Printed {
	var all []Printed
	for _, k := range contents(s, t) {
		all = append(all, k.printed())
	}
	return all
}

func deck(ctx context.Context, s cleared.Settings, t cleared.Tour, o Options, draft bool) (*Sheets, error) {
	doc, cards, err := lay(ctx, s, t, o, draft)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if err := pdf.Write(&out, *doc); err != nil {
		return nil, fmt.Errorf("write the cards of the tour %q: %w", t.ID(), err)
	}
	return &Sheets{PDF: out.Bytes(), Cards: cards}, nil
}

// lay makes the drawn document of a deck.
func lay(ctx context.Context, s cleared.Settings, t cleared.Tour, o Options, draft bool) (*draw.Document, []Printed, error) {
	p, err := newPress(s, o, draft)
	if err != nil {
		return nil, nil, err
	}
	doc := &draw.Document{Title: documentTitle(t, draft), Language: p.language, Root: &draw.Node{Role: draw.RoleDocument}}
	var cards []Printed
	var failures []error
	for _, k := range contents(s, t) {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		if o.Only != nil && !o.Only(k.printed()) {
			continue
		}
		k.News, k.NewsMark = newsLine(k.news, o.Returning)
		if err := p.print(doc, k, o.Faces); err != nil {
			failures = append(failures, err)
		}
		cards = append(cards, k.printed())
	}
	switch {
	case len(failures) > 0:
		return nil, nil, errors.Join(append(failures, whatFits(failures, o)...)...)
	case len(cards) == 0 && o.Only != nil:
		return nil, nil, ErrNothingToPrint
	case len(cards) == 0:
		return nil, nil, fmt.Errorf("the tour %q has no stops, so there are no cards to print; add stops to the tour", t.ID())
	}
	return doc, cards, nil
}

// whatFits says which side can be printed as it is, where only the other does
// not fit: whoever prints an hour before the talk cannot change the words.
func whatFits(failures []error, o Options) []error {
	if !slices.Contains(o.Faces, front) || !slices.Contains(o.Faces, back) {
		return nil
	}
	full := map[string]bool{}
	for _, err := range failures {
		for _, one := range parts(err) {
			var c crowded
			if !errors.As(one, &c) {
				return nil
			}
			full[c[0].Face] = true
		}
	}
	switch {
	case !full[front]:
		return []error{fmt.Errorf("the fronts fit on %s; they can be printed alone", o.Paper)}
	case !full[back]:
		return []error{fmt.Errorf("the backs fit on %s; they can be printed alone", o.Paper)}
	}
	return nil
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

func documentTitle(t cleared.Tour, draft bool) string {
	title := t.Title()
	if title == "" {
		title = t.ID()
	}
	title += ": stop cards"
	if draft {
		return "DRAFT " + title
	}
	return title
}

// press has what all pages of one file share.
type press struct {
	front, back *face
	size        paperSize
	paper       map[*face]*facePaper
	asOf        day.Date
	paperName   string
	language    string
	draft       bool

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
	fonts := map[string]*typeset.Font{}
	p := &press{
		asOf: o.AsOf, paperName: o.Paper, language: s.Language(), draft: draft, paper: map[*face]*facePaper{},
		codes: map[string]drawnQR{}, photos: map[string]jpegData{},
	}
	for _, side := range []struct {
		name string
		into **face
	}{{front, &p.front}, {back, &p.back}} {
		f, err := readFace(o.Theme, side.name, fonts)
		if err != nil {
			return nil, err
		}
		*side.into = f
		if p.size, p.paper[f], err = f.paper(o.Paper); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// print adds the pages of one card to the document.
func (p *press) print(doc *draw.Document, k content, faces []string) error {
	section := &draw.Node{Role: draw.RoleSection}
	var pages []draw.Page
	var failures []error
	for _, name := range faces {
		side := &draw.Node{Role: draw.RoleSection}
		page, err := p.side(k, name, side)
		if err != nil {
			failures = append(failures, err)
			continue
		}
		pages = append(pages, page)
		section.Kids = append(section.Kids, side)
	}
	if len(failures) > 0 {
		return errors.Join(failures...)
	}
	doc.Pages = append(doc.Pages, pages...)
	doc.Root.Kids = append(doc.Root.Kids, section)
	return nil
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
	c := composer{press: p, face: f, paper: p.paper[f], side: name, tongue: other(k.Language, p.language)}
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
