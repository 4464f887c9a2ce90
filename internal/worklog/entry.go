package worklog

import (
	"fmt"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

// entryFile is an entry as it is written.
type entryFile struct {
	Date        day.Date    `yaml:"date"`
	By          string      `yaml:"by"`
	Part        string      `yaml:"part"`
	Parts       []string    `yaml:"parts"`
	Step        string      `yaml:"step"`
	Finding     Finding     `yaml:"finding"`
	Pile        string      `yaml:"pile"`
	Replacement Replacement `yaml:"replacement"`
	Photos      []string    `yaml:"photos"`
	Next        Next        `yaml:"next"`
	Origin      Origin      `yaml:"origin"`
}

func (r *reader) entry(file string) {
	src, problem := reading.Text(r.root, file)
	if problem != nil {
		r.add(*problem)
		return
	}
	entry, problems := r.readEntry(file, src)
	r.problems = append(r.problems, problems...)
	r.log.entries = append(r.log.entries, entry)
}

// readEntry reads one entry and checks it against the parts, photos and people
// that are known.
func (r *reader) readEntry(file string, src []byte) (*Entry, []reading.Problem) {
	var f entryFile
	doc, body, bodyLine, problems := reading.FrontMatter(file, src, &f)
	notes, line := trimmed(body, bodyLine)
	entry := &Entry{
		ID: id(file), File: file, Date: f.Date, By: f.By, Parts: f.Parts, Step: f.Step, Finding: f.Finding, Pile: f.Pile,
		Replacement: f.Replacement, Photos: f.Photos, Next: f.Next, Origin: f.Origin, Notes: notes, Doc: doc, notesLine: line,
	}
	if f.Part != "" && len(f.Parts) == 0 {
		entry.Parts = []string{f.Part}
	}
	if reading.Stops(problems) && !doc.Has("date") && !doc.Has("step") {
		return entry, problems // the front matter itself is broken: say only that
	}
	c := checker{doc: doc, problems: problems}
	c.required("date", f.Date.String())
	c.required("by", f.By)
	c.known("by", f.By, "person", r.people)
	c.entryParts(&f, r.partIDs)
	c.required("step", f.Step)
	c.oneOf("step", f.Step, Steps()...)
	for i, cause := range f.Finding.Causes {
		c.oneOf(fmt.Sprintf("finding.causes[%d]", i), cause, Causes()...)
	}
	c.oneOf("pile", f.Pile, Piles()...)
	c.oneOf("replacement.source", f.Replacement.Source, Sources()...)
	c.knownList("photos", f.Photos, "photo", r.photoNames)
	c.oneOf("next.step", f.Next.Step, Steps()...)
	c.origin(f.Origin)
	c.nameAndDate(entry)
	for _, p := range entry.Parts {
		if part, ok := r.log.parts[p]; ok {
			c.noGrowth(entry, part)
		}
	}
	return entry, c.problems
}

func (c *checker) entryParts(f *entryFile, known []string) {
	switch {
	case f.Part != "" && len(f.Parts) > 0:
		c.problem("parts", "part-and-parts", "", "both part and parts are given", "keep part for one, parts for several")
	case f.Part == "" && len(f.Parts) == 0 && !c.faulty("part") && !c.faulty("parts"):
		c.problem("part", "missing-value", "", "neither part nor parts is given", "write part: and the id of the part that the work was on")
	}
	c.known("part", f.Part, "part", known)
	c.knownList("parts", f.Parts, "part", known)
}

// origin checks that an entry from a list says all of where it came from: half
// of it would let the row come in twice.
func (c *checker) origin(o Origin) {
	if c.doc.Has("origin") {
		c.required("origin.list", o.List)
		c.required("origin.row", o.Row)
		c.required("origin.digest", o.Digest)
	}
}

// nameAndDate advises where a file's name and the date in it differ: people
// look for entries by name, and the name settles the order within a day.
func (c *checker) nameAndDate(e *Entry) {
	if e.Date.IsZero() {
		return
	}
	want := e.Date.String()
	if len(e.ID) >= len(want) && e.ID[:len(want)] == want {
		return
	}
	c.advice("date", "name-and-date", "", fmt.Sprintf("the date is %s but the file name does not begin with it", want), "correct the one that is wrong")
}

func (c *checker) noGrowth(e *Entry, p *Part) {
	least := e.Finding.LeastThickness
	if least.IsSet() && p.Thickness.IsSet() && least.Length > p.Thickness.Length {
		c.problem("finding.least_thickness", "growth", least.String(),
			fmt.Sprintf("%s is left of a part that was %s when new (%s)", least, p.Thickness, p.ID),
			"clean off the corrosion and measure again, or correct the part's thickness")
	}
}

// checkOrder advises on parts that go back on before they came off. It does
// not stop the work: a log may begin after the part was removed.
func (r *reader) checkOrder() {
	for _, p := range r.log.Parts() {
		for _, e := range r.log.byPart[p.ID] {
			if e.Step == "removed" || e.Replacement.Source != "" {
				break
			}
			if e.Step == "fitted" {
				problem := e.Doc.Problem("step", "fitted-first", "", fmt.Sprintf("%s is fitted before any entry says that it was removed", p.ID),
					"check the date, or log the removal")
				problem.Advice = true
				r.add(problem)
				break
			}
		}
	}
}
