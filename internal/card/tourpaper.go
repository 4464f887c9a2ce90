package card

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"sync"
	"time"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/pdf"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/tour"
)

// TourPaper is what is printed for one walk, beside the cards.
type TourPaper string

const (
	// RunSheet is the guide's: the stops with their times, the way round, what to
	// fetch, and what to leave out when running late.
	RunSheet TourPaper = "run sheet"
	// PropList is the guide's: each thing to fetch once, with boxes to tick.
	PropList TourPaper = "prop list"
	// CautionStrips are for visitors: a caution of a stop, to stand there.
	CautionStrips TourPaper = "caution strips"
)

// ForVisitors reports whether visitors read the paper, so that it passes the last
// gate. The others are inside papers and say so on every page.
func (p TourPaper) ForVisitors() bool { return p == CautionStrips }

// face names the file that says how the paper looks.
func (p TourPaper) face() string {
	return map[TourPaper]string{RunSheet: faceRunSheet, PropList: facePropList, CautionStrips: faceStrip}[p]
}

// papers lists what the paper can be printed on, as its built-in face has it.
func (p TourPaper) papers() []string {
	if p == RunSheet {
		return []string{"a4", "letter"}
	}
	return []string{"a5", "a4", "letter"}
}

// CheckPapers reads how the papers look, without printing any: its error joins
// whatever is out of bounds in their faces.
func CheckPapers(theme fs.FS) error {
	var all []error
	fonts := map[string]*typeset.Font{}
	for _, what := range []TourPaper{RunSheet, PropList, CautionStrips} {
		f, err := readFace(theme, what.face(), false, fonts)
		if err != nil {
			all = append(all, err)
			continue
		}
		for _, name := range what.papers() {
			if _, _, err := f.paper(name); err != nil {
				all = append(all, err)
			}
		}
	}
	return errors.Join(all...)
}

// PaperOptions says how a paper is to be printed.
type PaperOptions struct {
	Paper string   // a5, a4 or letter; a run sheet is for a4 and letter
	AsOf  day.Date // the day on which it is true
	// Returning is when the returning visitors of the group last came; zero: none do.
	Returning day.Date
	// Start is when the tour starts, after midnight; negative: not known, and the
	// times are minutes after the start.
	Start time.Duration
	// LedgerHead is the ledger's head from before this printing; empty while the
	// ledger is. A copy on paper shows later whether the ledger's end was cut off.
	LedgerHead string
	// Season is how the parts come back on, for the run sheet; nil: nothing has moved.
	Season *edition.Progress
	Theme  fs.FS
}

// PrintPaper prints a paper for a tour as it was planned. It holds nothing that is
// not cleared, and of a story that is held back it says no more than that.
// ErrNothingToPrint is for a walk without props, or without cautions.
func PrintPaper(ctx context.Context, what TourPaper, s cleared.Settings, t cleared.Tour, p tour.Plan, o PaperOptions) ([]byte, error) {
	if p.Draft() {
		return nil, fmt.Errorf("the %s of a draft is printed as a draft", what)
	}
	return printPaper(ctx, what, s, t, p, o, false)
}

// PrintDraftPaper prints a paper for a tour that has not been cleared, with DRAFT
// stamped on every page, and on every strip that is cut from one.
func PrintDraftPaper(ctx context.Context, what TourPaper, s cleared.Draft[cleared.Settings], t cleared.Draft[cleared.Tour], p tour.Plan, o PaperOptions) ([]byte, error) {
	return printPaper(ctx, what, s.Preview(), t.Preview(), p, o, true)
}

func printPaper(ctx context.Context, what TourPaper, s cleared.Settings, t cleared.Tour, p tour.Plan, o PaperOptions, draft bool) ([]byte, error) {
	doc, err := layPaper(ctx, what, s, t, p, o, draft)
	if err != nil {
		return nil, fmt.Errorf("the %s of the tour %q: %w", what, t.ID(), err)
	}
	var out bytes.Buffer
	if err := pdf.Write(&out, *doc); err != nil {
		return nil, fmt.Errorf("write the %s of the tour %q: %w", what, t.ID(), err)
	}
	return out.Bytes(), nil
}

// layPaper makes the drawn document of a paper.
func layPaper(ctx context.Context, what TourPaper, s cleared.Settings, t cleared.Tour, p tour.Plan, o PaperOptions, draft bool) (*draw.Document, error) {
	c, err := paperComposer(what, s, o, draft)
	if err != nil {
		return nil, err
	}
	w := walk{settings: s, tour: t, plan: p, options: o}
	switch what {
	case RunSheet:
		return largestPaged(ctx, func(step int) paged { return newPaged(c, w, what, step) }, func(p paged) (*draw.Document, error) {
			return (&runSheet{paged: p}).document()
		})
	case PropList:
		if len(p.Props()) == 0 {
			return nil, fmt.Errorf("%w: no story of this walk has a prop", ErrNothingToPrint)
		}
		return largestPaged(ctx, func(step int) paged { return newPaged(c, w, what, step) }, func(p paged) (*draw.Document, error) {
			return (&propList{paged: p}).document()
		})
	}
	return layStrips(ctx, c, w)
}

// walk is a tour as it was planned, and for whom.
type walk struct {
	settings cleared.Settings
	tour     cleared.Tour
	plan     tour.Plan
	options  PaperOptions
}

// name is what the tour is called.
func (w walk) name() string {
	if w.tour.Title() == "" {
		return w.tour.ID()
	}
	return w.tour.Title()
}

// fileTitle is that of a paper's file.
func (w walk) fileTitle(what TourPaper, draft bool) string {
	title := w.name() + ": " + string(what)
	if draft {
		return "DRAFT " + title
	}
	return title
}

// paperComposer reads the face of a paper and makes ready to set it.
func paperComposer(what TourPaper, s cleared.Settings, o PaperOptions, draft bool) (composer, error) {
	if o.AsOf.IsZero() {
		return composer{}, errors.New("it needs the day on which it is true; name it with AsOf")
	}
	if !slices.Contains(what.papers(), o.Paper) {
		return composer{}, fmt.Errorf("%w: %q; it is printed on %s", ErrPaper, o.Paper, listed(what.papers(), "or"))
	}
	f, err := readFace(o.Theme, what.face(), false, map[string]*typeset.Font{})
	if err != nil {
		return composer{}, err
	}
	size, paper, err := f.paper(o.Paper)
	if err != nil {
		return composer{}, err
	}
	v, err := readVoices(s, Options{Theme: o.Theme})
	if err != nil {
		return composer{}, err
	}
	p := &press{
		back: f, size: size, paperName: o.Paper, paper: map[*face]*facePaper{f: paper}, asOf: o.AsOf, language: v.asked, voices: v, draft: draft,
		theme: o.Theme, breaks: map[string]*typeset.Hyphenation{}, guard: &sync.Mutex{},
	}
	return composer{press: p, face: f, paper: paper, side: string(what), voice: v.own()}, p.learnToBreak(p.language)
}

// largestPaged sets a paper in the largest type that takes no more pages than the
// smallest does.
func largestPaged(ctx context.Context, begin func(step int) paged, set func(paged) (*draw.Document, error)) (*draw.Document, error) {
	best, err := set(begin(0))
	if err != nil {
		return nil, err
	}
	for step := sizeSteps; step > 0; step-- {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		doc, err := set(begin(step))
		switch {
		case errors.Is(err, errNoRoom):
			continue
		case err != nil:
			return nil, err
		case len(doc.Pages) <= len(best.Pages):
			return doc, nil
		}
	}
	return best, nil
}
