// Package edition decides what goes in one week's update to members: which
// stories, in which order, with which progress figures, and what to offer in a
// week with little to show.
//
// It works on cleared values alone: it knows movement (area, step and pile of
// each part on a date) and never the engineering record behind it.
package edition

import (
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
)

// Figures counts the parts of one area by how far they have come.
type Figures struct {
	Area                                   cleared.Area
	Off, Inspected, Waiting, Ready, Fitted int
}

// Total is the number of parts that came off in the area.
func (f Figures) Total() int { return f.Off + f.Inspected + f.Waiting + f.Ready + f.Fitted }

// Edition is one weekly update, assembled from cleared values. Corrections come
// before all else; of the stories, the first leads.
type Edition struct {
	Words       cleared.EditionWords
	Corrections []cleared.Correction
	Stories     []cleared.Story
	Word        *cleared.Word // a glossary word explained, in a quiet week
	YearAgo     *YearAgo      // one line and a link, in a quiet week
	Figures     []Figures     // one per area that has parts, in the workshop's order
	Since       Figures       // parts that reached each phase since the last edition, all areas together
	Progress    *Progress     // how the season goes, week by week; nil: nothing has moved
	RollOut     day.Date
	On          day.Date // the day it was assembled for
}

// YearAgo points at a story told a year ago this week.
type YearAgo struct{ ID, Title string }

// Preview is an edition that holds something not cleared. Renderers stamp DRAFT
// on it; it cannot be frozen or sent.
type Preview struct{ edition Edition }

// Show returns the edition to draw. Only site calls it, and stamps DRAFT.
func (p Preview) Show() Edition { return p.edition }

// StoryIDs lists the stories in it, the lead first.
func (p Preview) StoryIDs() []string { return p.edition.StoryIDs() }

// CorrectionIDs lists the corrections in it.
func (p Preview) CorrectionIDs() []string { return p.edition.CorrectionIDs() }

// Figures are the progress figures in it, which need no clearing.
func (p Preview) Figures() []Figures { return p.edition.Figures }

// Progress is how the season goes in it, which needs no clearing; it may be nil.
func (p Preview) Progress() *Progress { return p.edition.Progress }

// StoryIDs lists the stories in it, the lead first.
func (e Edition) StoryIDs() []string {
	ids := []string{}
	for _, s := range e.Stories {
		ids = append(ids, s.ID())
	}
	return ids
}

// CorrectionIDs lists the corrections in it.
func (e Edition) CorrectionIDs() []string {
	var ids []string
	for _, c := range e.Corrections {
		ids = append(ids, c.ID())
	}
	return ids
}

// Record is what is kept of a frozen edition for the archive and for later
// editions. It holds public text only.
type Record struct {
	Week        day.Week    `json:"week"`
	Subject     string      `json:"subject"`
	Preheader   string      `json:"preheader"`
	Opening     string      `json:"opening"` // Markdown
	Corrections []string    `json:"corrections,omitempty"`
	Stories     []ToldStory `json:"stories"`
	Figures     []Figures   `json:"figures"`
	Progress    *Progress   `json:"progress,omitempty"` // nil in editions from before there was a chart
	Word        string      `json:"word,omitempty"`     // glossary id
}

// ToldStory is a story as an edition told it.
type ToldStory struct {
	ID     string `json:"id"`
	Title  string `json:"title"`
	Digest string `json:"digest"`
}
