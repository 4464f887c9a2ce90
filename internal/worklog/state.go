package worklog

import "example.org/opencowl/internal/day"

// State is a part's place in the work on a date. The zero State belongs to a
// part with no step on record yet.
type State struct {
	Step  string   // the latest step other than note
	Since day.Date // the date of that step
	Pile  string   // the newest pile on record
	Phase string   // off, inspected, waiting, ready, fitted, or ""
}

// StateOn replays a part's entries up to a date. The latest step by (date, file
// name) counts; notes do not.
func (l *Log) StateOn(part string, on day.Date) State {
	var s State
	for _, e := range l.Entries(part, on) {
		if phase := PhaseOf(e.Step); phase != "" {
			s.Step, s.Since, s.Phase = e.Step, e.Date, phase
		}
		if e.Pile != "" {
			s.Pile = e.Pile
		}
	}
	return s
}

// PhaseOf tells how far a step brings a part; "" for a note, which moves nothing.
func PhaseOf(step string) string {
	switch step {
	case "removed":
		return "off"
	case "inspected", "cleaned":
		return "inspected"
	case "sent-away":
		return "waiting"
	case "made", "bought", "borrowed", "tested", "painted":
		return "ready"
	case "fitted":
		return "fitted"
	}
	return ""
}
