package photo

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/worklog"
)

// Codes of advice.
const (
	CodeFace    = "face-guess"
	CodeAlike   = "looks-alike"
	CodeBlurred = "looks-blurred"
	CodeWeek    = "outside-week"
)

const (
	// alike is the most bits in which two pictures that look alike differ:
	// Krawetz has more than ten for different pictures. Measured on the demo's 20
	// drawn photos: 17 and more between two of them; 0 or 1 from one to its copy
	// blurred; 2 to 16, half of them 7 or less, to its copy cropped by 5%, made
	// lighter, smaller and coarser all at once.
	alike = 10
	// soft is the sharpness under which a picture looks blurred. Measured on the
	// demo's drawn photos, 800 pixels wide: 56 and more as they are; 13.4 and less
	// (19 of 20 under 9) with a Gaussian blur of 2 pixels; 7 to 61 with one of 1
	// pixel. Drawings are not photographs: the figure wants to be measured again on
	// a workshop's own.
	soft = 10
)

// Shot is a photo that somebody tagged, and what a program makes of it.
type Shot struct {
	Tag  *worklog.Tag
	Seen Seen
}

// Advise says what may be wrong with a photo, beside the log and beside the other
// photos. Nothing of it stops anything.
func Advise(log *worklog.Log, shot Shot, others []Shot) []reading.Problem {
	var all []reading.Problem
	tag := shot.Tag
	advise := func(key, code, value, message, remedy string) {
		p := tag.Doc.Problem(key, code, value, message, remedy)
		p.Advice = true
		all = append(all, p)
	}
	if faces := shot.Seen.Faces; len(faces) > len(tag.People) {
		advise("people", CodeFace, "", facesInWords(faces, len(tag.People)),
			"look: note a person and what they agreed to (people:), hide a face that should not be seen, and pass over what is none")
	}
	for _, other := range others {
		if other.Tag.Photo == tag.Photo {
			continue
		}
		if d := shot.Seen.Hash.Distance(other.Seen.Hash); d <= alike {
			advise("publish", CodeAlike, fmt.Sprint(d), fmt.Sprintf("the photo looks much like %s", other.Tag.Photo), "offer the better of the two, if they show the same")
		}
	}
	if shot.Seen.Sharp < soft {
		advise("publish", CodeBlurred, fmt.Sprintf("%.0f", shot.Seen.Sharp), "the photo looks blurred, or shows little but plain surfaces", "look at it at full size; take it again if it is blurred")
	}
	if weeks := weeksOf(log, tag); len(weeks) > 0 && !tag.Taken.IsZero() && !weeks[tag.Taken.Week()] {
		advise("taken", CodeWeek, tag.Taken.String(), fmt.Sprintf("no entry that names the photo or its parts is of the week in which it was taken (%s)", tag.Taken.Week()),
			"check the day and the parts")
	}
	return all
}

func facesInWords(faces []Spot, people int) string {
	var at []string
	for i, f := range faces {
		if i == 3 {
			at = append(at, "…")
			break
		}
		at = append(at, fmt.Sprintf("%.2f,%.2f", f.X, f.Y))
	}
	noted := "the tag notes nobody"
	if people > 0 {
		noted = fmt.Sprintf("the tag notes %d", people)
	}
	return fmt.Sprintf("a program takes this for a face: %s (a guess, not a fact); %s", strings.Join(at, " and "), noted)
}

// weeksOf are the weeks of the entries that name a photo or one of its parts.
func weeksOf(log *worklog.Log, tag *worklog.Tag) map[day.Week]bool {
	weeks := map[day.Week]bool{}
	for _, part := range tag.Parts {
		for _, e := range log.Entries(part, day.Date{}) {
			weeks[e.Date.Week()] = true
		}
	}
	for _, e := range log.AllEntries() {
		for _, name := range e.Photos {
			if name == tag.Photo {
				weeks[e.Date.Week()] = true
			}
		}
	}
	return weeks
}

// version is raised whenever the same picture would be seen otherwise than before.
const version = 1

// Looks remembers what was made of public copies, by their names, which are digests
// of their bytes. Its file can be deleted at any time.
type Looks struct {
	finder Finder
	file   string
	write  func(data []byte) error
	before map[string]Seen
	now    map[string]Seen
}

// kept is what the file of a Looks holds.
type kept struct {
	Version int             `json:"version"`
	Seen    map[string]Seen `json:"seen"`
}

// OpenLooks reads what was made of copies before; a file that cannot be read counts
// for nothing. write puts the file in its place.
func OpenLooks(file string, write func(data []byte) error) *Looks {
	l := &Looks{file: file, write: write, now: map[string]Seen{}}
	var k kept
	if data, err := os.ReadFile(file); err == nil && json.Unmarshal(data, &k) == nil && k.Version == version {
		l.before = k.Seen
	}
	return l
}

// At looks at a copy, or remembers having looked.
func (l *Looks) At(ctx context.Context, name string, open func() ([]byte, error)) (Seen, error) {
	if err := ctx.Err(); err != nil {
		return Seen{}, err
	}
	seen, known := l.before[name]
	if !known {
		data, err := open()
		if err != nil {
			return Seen{}, err
		}
		if seen, err = l.Look(data); err != nil {
			return Seen{}, err
		}
	}
	l.now[name] = seen
	return seen, nil
}

// Look looks at a copy that is not kept.
func (l *Looks) Look(copy []byte) (Seen, error) {
	if l.finder == nil {
		var err error
		if l.finder, err = NewFinder(); err != nil {
			return Seen{}, err
		}
	}
	return Look(copy, l.finder)
}

// Keep remembers what was looked at through At, and forgets the rest.
func (l *Looks) Keep() error {
	same := len(l.now) == len(l.before)
	for name := range l.now {
		if _, known := l.before[name]; !known {
			same = false
		}
	}
	if same {
		return nil
	}
	data, err := json.Marshal(kept{version, l.now})
	if err != nil {
		return err
	}
	return l.write(append(data, '\n'))
}
