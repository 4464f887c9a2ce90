package wording

import (
	"fmt"
	"time"

	"example.org/opencowl/internal/reading"
)

// How much a tour wants a stop.
const (
	Must   = "must"
	Should = "should"
	Could  = "could"
)

// What a tour has when its file does not say.
const (
	DefaultGroup = 25    // people
	DefaultPace  = 130.0 // words a minute: a speech-length table has 650 words to 5.0 minutes
	DefaultWalk  = 1.0   // metres a second, a group indoors; common practice, no source
)

// Point is a place on the floor plan, in metres.
type Point struct {
	X float64 `yaml:"x"`
	Y float64 `yaml:"y"`
}

// Stop is one place of a tour.
type Stop struct {
	ID           string   `yaml:"id"`
	At           string   `yaml:"at"`
	X            float64  `yaml:"x"` // metres on the floor plan
	Y            float64  `yaml:"y"`
	Stories      []string `yaml:"stories"` // story ids
	Wants        string   `yaml:"wants"`   // Must, Should or Could
	Minutes      int      `yaml:"minutes"` // at least this long; 0: not said
	Cautions     []string `yaml:"cautions"`
	WalkFromLast float64  `yaml:"walk_from_last"` // metres; 0: use the floor plan
}

// Tour is a walk round the machine.
type Tour struct {
	ID        string
	File      string
	WrittenBy string
	Title     string
	Slot      time.Duration // whole minutes
	Group     int           // people
	Pace      float64       // words a minute
	Walk      float64       // metres a second
	Start     Point
	Stops     []Stop
	Doc       *reading.Doc

	source string
}

func (t *Tour) file() string { return t.File }

// Texts returns every text of the tour that somebody outside can read.
func (t *Tour) Texts() []Text {
	ts := &texts{doc: t.Doc, source: t.source}
	ts.add("title", t.Title)
	for i, s := range t.Stops {
		ts.add(fmt.Sprintf("stops[%d].at", i), s.At)
	}
	return ts.list
}

// slot is a length of time as a tour writes it: 45m, 1h30m.
type slot time.Duration

// UnmarshalText reads a slot of whole minutes, from 1 minute to 8 hours.
func (s *slot) UnmarshalText(text []byte) error {
	d, err := time.ParseDuration(string(text))
	if err != nil || d < time.Minute || d > 8*time.Hour || d%time.Minute != 0 {
		return fmt.Errorf("%q is not a slot of whole minutes between 1m and 8h; write it as 45m or 1h30m", reading.Shorten(string(text)))
	}
	*s = slot(d)
	return nil
}

// tourFile is a tour as it is written.
type tourFile struct {
	WrittenBy string  `yaml:"written_by"`
	Title     string  `yaml:"title"`
	Slot      slot    `yaml:"slot"`
	Group     int     `yaml:"group"`
	Pace      float64 `yaml:"pace"`
	Walk      float64 `yaml:"walk"`
	Start     Point   `yaml:"start"`
	Stops     []Stop  `yaml:"stops"`
}

// readTour reads one tour. Its ID is "" when the file's name is not one.
func readTour(file string, src []byte, o ReadOptions, stories []string) (*Tour, []reading.Problem) {
	f := tourFile{Group: DefaultGroup, Pace: DefaultPace, Walk: DefaultWalk}
	doc, problems := reading.YAML(file, src, &f)
	p := newPage(doc, src, problems)
	t := &Tour{File: file, WrittenBy: f.WrittenBy, Title: f.Title, Slot: time.Duration(f.Slot), Group: f.Group,
		Pace: f.Pace, Walk: f.Walk, Start: f.Start, Stops: f.Stops, Doc: doc, source: p.source}
	t.ID = p.idOf(file, ".yaml")
	if nothingRead(problems) {
		return t, p.problems
	}
	p.writtenBy(t.WrittenBy, o)
	p.required("title", t.Title, "give the tour a title")
	p.oneLine("title", t.Title)
	if !doc.Has("slot") {
		p.required("slot", "", "say how long the tour may take, such as 45m")
	}
	p.between("group", float64(t.Group), 1, 1000, "people")
	p.between("pace", t.Pace, 60, 220, "words a minute")
	p.between("walk", t.Walk, 0.3, 2, "metres a second")
	p.onPlan("start", t.Start.X, t.Start.Y)
	if len(t.Stops) == 0 {
		p.required("stops", "", "add at least one stop")
	}
	for i, s := range t.Stops {
		p.stop(fmt.Sprintf("stops[%d]", i), s, stories)
	}
	p.facts(t.Texts())
	return t, p.problems
}

func (p *page) stop(at string, s Stop, stories []string) {
	if p.required(at+".id", s.ID, "give the stop an id; its address and QR code use it") && !reading.IsID(s.ID) {
		p.add(at+".id", "bad-id", s.ID, fmt.Sprintf("%q is not the id of a stop", reading.Shorten(s.ID)), idRemedy("write it", s.ID, ""))
	}
	p.required(at+".at", s.At, "say where the group stands")
	p.oneLine(at+".at", s.At)
	p.onPlan(at, s.X, s.Y)
	if len(s.Stories) == 0 {
		p.required(at+".stories", "", "name the stories told here")
	}
	p.stories(at+".stories", s.Stories, stories)
	p.oneOf(at+".wants", s.Wants, Must, Should, Could)
	p.between(at+".minutes", float64(s.Minutes), 0, 480, "minutes")
	p.cautions(at+".cautions", s.Cautions)
	p.between(at+".walk_from_last", s.WalkFromLast, 0, maxMetres, "metres")
}

// maxMetres bounds a floor plan: no hangar is longer, and a slip of the finger is.
const maxMetres = 5000

func (p *page) onPlan(at string, x, y float64) {
	p.between(at+".x", x, -maxMetres, maxMetres, "metres")
	p.between(at+".y", y, -maxMetres, maxMetres, "metres")
}

func (p *page) between(where string, value, low, high float64, unit string) {
	if value < low || value > high {
		p.add(where, "out-of-range", fmt.Sprint(value), fmt.Sprintf("%s is %v %s", last(where), value, unit),
			fmt.Sprintf("write a number from %v to %v", low, high))
	}
}

// stopsTwice finds stop ids that are used again: a stop's address is the same
// whatever tour it is on.
func stopsTwice(tours []*Tour) []reading.Problem {
	first := map[string]string{}
	var problems []reading.Problem
	for _, t := range tours {
		for i, s := range t.Stops {
			if s.ID == "" {
				continue
			}
			where := fmt.Sprintf("stops[%d].id", i)
			if place, taken := first[s.ID]; taken {
				problems = append(problems, t.Doc.Problem(where, "duplicate-id", s.ID,
					fmt.Sprintf("the stop id %q is used twice (first at %s)", reading.Shorten(s.ID), place),
					"give one of the two stops another id"))
				continue
			}
			first[s.ID] = t.Doc.At(where).String()
		}
	}
	return problems
}
