package cli

import (
	"fmt"

	"example.org/opencowl/internal/edition"
)

// season is how the parts come back on as of today; nil when nothing has moved.
func (s *session) season() *edition.Progress {
	return edition.ProgressOf(s.desk.History(), s.desk.Movement().Parts(), s.ws.Settings.RollOut)
}

// seasonLines tell the figures of the chart to whoever is about to show it.
func seasonLines(p *edition.Progress) []string {
	if p == nil {
		return nil
	}
	said := []string{"the chart, from movement alone:"}
	for _, words := range p.Words() {
		said = append(said, "  "+words)
	}
	last := p.Weeks[max(0, len(p.Weeks)-mostWeeksSaid):]
	said = append(said, fmt.Sprintf("  whole weeks of this season: %d; the last of them:", len(p.Weeks)))
	for _, w := range last {
		said = append(said, fmt.Sprintf("    to %s: %d of %d back on", w.Ended.Words(), w.Fitted, w.CameOff))
	}
	return said
}

// mostWeeksSaid is how many weeks are told one by one; --json has them all.
const mostWeeksSaid = 4
