// Package worklog reads the private engineering record: parts, entries of the
// log, and the tags of photos.
//
// It promises that every file is read strictly, that all problems of all files
// come back from one reading, and that a fact asked of the record is answered
// as of a date, by the same rule each time, or with an error that says what to
// log. It never says whether a part is fit for use: piles, causes and limits
// are the engineers' own words, passed on as written.
//
// Everything here is private. Renderers must never import this package,
// directly or through another; only clearance decides what of it may leave. It
// must not know about public wording.
package worklog

import (
	"cmp"
	"os"
	"path"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
)

// Log is the whole record of a workspace. It does not change once read.
type Log struct {
	parts   map[string]*Part
	tags    map[string]*Tag
	entries []*Entry            // by (date, file name)
	byPart  map[string][]*Entry // the same order
}

// Part is a thing that came off, or will.
type Part struct {
	ID, File string

	Name      string
	Area      string
	Number    string
	Serial    string
	Drawing   string
	Location  string
	Material  string
	Thickness measure.Thickness // when new
	LossLimit measure.Percent   // the engineer's figure for this part; 0: none on record
	Figures   bool              // whether the part counts in progress figures
	Notes     string            // the body of the file

	Doc       *reading.Doc // where each value stands
	notesLine int
}

// Entry is one line of work.
type Entry struct {
	ID, File string

	Date        day.Date
	By          string
	Step        string
	Finding     Finding
	Pile        string
	Replacement Replacement
	Photos      []string
	Next        Next
	Origin      Origin
	Parts       []string // from either key, part or parts
	Notes       string   // the body of the file

	Doc       *reading.Doc
	notesLine int
}

// Finding is what an inspection showed.
type Finding struct {
	Causes         []string          `yaml:"causes"`
	LeastThickness measure.Thickness `yaml:"least_thickness"`
	Detail         string            `yaml:"detail"`
}

// Replacement is what takes a part's place, and where it came from.
type Replacement struct {
	Source   string        `yaml:"source"`
	Supplier string        `yaml:"supplier"`
	Material string        `yaml:"material"`
	Approval string        `yaml:"approval"`
	Report   string        `yaml:"report"`
	Cost     measure.Money `yaml:"cost"`
}

// Next is the step that should follow.
type Next struct {
	Step string   `yaml:"step"`
	Due  day.Date `yaml:"due"`
}

// Origin is the row of a list from which an entry was brought in. It is zero for
// an entry that a person wrote.
type Origin struct {
	List   string `yaml:"list"`   // the name that its map gives the list
	Row    string `yaml:"row"`    // what tells the row from the others
	Digest string `yaml:"digest"` // of the entry as it was written
}

// Tag says what a photo shows and whether its taker offers it for publication.
type Tag struct {
	Photo     string // base name with extension; unique in the workspace
	PhotoFile string // where the photo is: "photos/a.jpg"
	File      string

	Parts    []string
	Taken    day.Date
	By       string
	Publish  bool // offered by its taker; that is not yet a decision
	Caption  string
	Alt      string
	Credit   string
	CreditOK day.Date // when the person named agreed to be named; zero: has not
	Rights   string   // ours, permission, lent, or "" where nobody said
	Focus    *Point   // nil: the middle
	Hide     []Box
	People   []Person

	Doc *reading.Doc
}

// Point is a place in a picture, in fractions of the upright picture from its
// top left corner.
type Point struct {
	X float64 `yaml:"x"`
	Y float64 `yaml:"y"`
}

// Box is a region to be filled before the picture leaves, in fractions of the
// upright picture from its top left corner.
type Box struct {
	X   float64 `yaml:"x"`
	Y   float64 `yaml:"y"`
	W   float64 `yaml:"w"`
	H   float64 `yaml:"h"`
	Why string  `yaml:"why"`
}

// Person is somebody who can be seen in a photo.
type Person struct {
	Who      string   `yaml:"who"`
	Consent  string   `yaml:"consent"` // given, refused or not-asked
	On       day.Date `yaml:"on"`      // when it was given
	Adult    string   `yaml:"adult"`   // yes, no, or "" where nobody said
	Guardian string   `yaml:"guardian"`
}

// Steps returns the steps that work goes through, and note.
func Steps() []string {
	return []string{"removed", "inspected", "cleaned", "sent-away", "made", "bought", "borrowed", "tested", "painted", "fitted", "note"}
}

// Piles returns the piles that parts are put in.
func Piles() []string { return []string{"serviceable", "rework", "unserviceable", "quarantine"} }

// Causes returns the reasons for which parts fail. The kinds of corrosion are
// named as in FAA AC 43.13-1B, chapter 6.
func Causes() []string {
	return []string{"pitting", "exfoliation", "galvanic", "crack", "wear", "impact", "poor-repair", "bad-holes", "superseded", "missing", "other"}
}

// Sources returns the places that replacements come from.
func Sources() []string { return []string{"made-here", "made-outside", "stores", "loan", "repaired"} }

// Parts returns all parts, by id.
func (l *Log) Parts() []*Part { return sortedValues(l.parts) }

// Part returns the part with an id.
func (l *Log) Part(id string) (*Part, bool) { p, ok := l.parts[id]; return p, ok }

// Tags returns the tags of all photos that have one, by the photo's name.
func (l *Log) Tags() []*Tag { return sortedValues(l.tags) }

// Tag returns the tag of a photo, by its base name with extension.
func (l *Log) Tag(photo string) (*Tag, bool) { t, ok := l.tags[photo]; return t, ok }

// AllEntries returns the whole log by (date, file name).
func (l *Log) AllEntries() []*Entry { return slices.Clone(l.entries) }

// Entries returns a part's entries dated on or before a date, by (date, file
// name). A zero date means all of them.
func (l *Log) Entries(part string, upTo day.Date) []*Entry {
	all := l.byPart[part]
	if upTo.IsZero() {
		return slices.Clone(all)
	}
	var until []*Entry
	for _, e := range all {
		if !e.Date.After(upTo) {
			until = append(until, e)
		}
	}
	return until
}

func sortedValues[T any](m map[string]T) []T {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	values := make([]T, 0, len(keys))
	for _, k := range keys {
		values = append(values, m[k])
	}
	return values
}

// Read reads parts/*.md, log/**/*.md and photos/* below root. areas are the
// keys and people the ids that workshop.yaml knows. What could be read comes
// back even when there are problems, so that one reading shows them all.
func Read(root *os.Root, areas, people []string) (*Log, []reading.Problem) {
	r := &reader{root: root, areas: sorted(areas), people: sorted(people), log: &Log{
		parts: map[string]*Part{}, tags: map[string]*Tag{}, byPart: map[string][]*Entry{},
	}}
	partFiles := r.list("parts", ".md")
	entryFiles := r.list("log", ".md")
	photoFiles := r.list("photos", "")
	r.partIDs = r.ids(partFiles, "part")
	r.ids(entryFiles, "entry")
	for _, f := range partFiles {
		r.part(f)
	}
	r.photos(photoFiles)
	for _, f := range entryFiles {
		r.entry(f)
	}
	r.arrange()
	r.checkOrder()
	reading.Sort(r.problems)
	return r.log, r.problems
}

func sorted(names []string) []string { return slices.Sorted(slices.Values(names)) }

// reader gathers the record and its problems. Its lists of names are sorted.
type reader struct {
	root          *os.Root
	areas, people []string
	partIDs       []string // also of parts that could not be read
	photoNames    []string
	log           *Log
	problems      []reading.Problem
}

func (r *reader) add(p reading.Problem) { r.problems = append(r.problems, p) }

func (r *reader) list(dir, suffix string) []string {
	files, problems := reading.List(r.root, dir, suffix)
	r.problems = append(r.problems, problems...)
	return files
}

// id is a file's base name without its extension.
func id(file string) string { return strings.TrimSuffix(path.Base(file), path.Ext(file)) }

// ids checks the ids that file names give, and returns them sorted.
func (r *reader) ids(files []string, kind string) []string {
	var ids []string
	first := map[string]string{}
	for _, file := range files {
		name := id(file)
		ids = append(ids, name)
		if !reading.IsID(name) {
			r.add(reading.Problem{Place: reading.Place{File: file}, Code: "bad-id", Value: reading.Shorten(name),
				Message: "the file name is not an id", Remedy: "use lower-case letters a to z and digits, joined by single hyphens"})
		}
		r.sameName(first, name, file, kind)
	}
	slices.Sort(ids)
	return ids
}

// sameName reports a name that an earlier file has too. Names that differ only
// in case are the same, since some disks cannot hold both.
func (r *reader) sameName(first map[string]string, name, file, kind string) {
	key := strings.ToLower(name)
	if other, twice := first[key]; twice {
		r.add(reading.Problem{Place: reading.Place{File: file}, Code: "duplicate-id", Value: reading.Shorten(name),
			Message: "another " + kind + " has this name already: " + other, Remedy: "rename one of the two"})
		return
	}
	first[key] = file
}

// arrange puts the entries in order and lists them by part.
func (r *reader) arrange() {
	slices.SortStableFunc(r.log.entries, func(a, b *Entry) int {
		return cmp.Or(cmp.Compare(a.Date.String(), b.Date.String()),
			cmp.Compare(path.Base(a.File), path.Base(b.File)), cmp.Compare(a.File, b.File))
	})
	for _, e := range r.log.entries {
		for _, p := range e.Parts {
			r.log.byPart[p] = append(r.log.byPart[p], e)
		}
	}
}
