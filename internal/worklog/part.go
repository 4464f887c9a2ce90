package worklog

import (
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
)

// partFile is a part as it is written.
type partFile struct {
	Name      string            `yaml:"name"`
	Area      string            `yaml:"area"`
	Number    string            `yaml:"number"`
	Serial    string            `yaml:"serial"`
	Drawing   string            `yaml:"drawing"`
	Location  string            `yaml:"location"`
	Material  string            `yaml:"material"`
	Thickness measure.Thickness `yaml:"thickness"`
	LossLimit measure.Percent   `yaml:"loss_limit"`
	Figures   string            `yaml:"figures"`
}

func (r *reader) part(file string) {
	src, problem := reading.Text(r.root, file)
	if problem != nil {
		r.add(*problem)
		return
	}
	part, problems := readPart(file, src, r.areas)
	r.problems = append(r.problems, problems...)
	if _, twice := r.log.parts[part.ID]; !twice {
		r.log.parts[part.ID] = part
	}
}

// readPart reads and checks one part by itself.
func readPart(file string, src []byte, areas []string) (*Part, []reading.Problem) {
	var f partFile
	doc, body, bodyLine, problems := reading.FrontMatter(file, src, &f)
	notes, line := trimmed(body, bodyLine)
	part := &Part{
		ID: id(file), File: file, Name: f.Name, Area: f.Area, Number: f.Number, Serial: f.Serial, Drawing: f.Drawing,
		Location: f.Location, Material: f.Material, Thickness: f.Thickness, LossLimit: f.LossLimit, Figures: f.Figures != "no",
		Notes: notes, Doc: doc, notesLine: line,
	}
	if reading.Stops(problems) && !doc.Has("name") && !doc.Has("area") {
		return part, problems // the front matter itself is broken: say only that
	}
	c := checker{doc: doc, problems: problems}
	c.required("name", f.Name)
	c.required("area", f.Area)
	c.known("area", f.Area, "area", areas)
	c.oneOf("figures", f.Figures, "yes", "no")
	if f.Thickness.IsSet() && f.Thickness.Length == 0 {
		c.problem("thickness", "out-of-range", f.Thickness.String(), "a part cannot be 0 thick when new", "correct the thickness or leave it out")
	}
	if doc.Has("loss_limit") && f.LossLimit == 0 && !slices.ContainsFunc(problems, func(p reading.Problem) bool { return p.Place == doc.At("loss_limit") }) {
		c.problem("loss_limit", "out-of-range", "", "a limit of 0% would forbid any wear at all", "correct the limit or leave it out")
	}
	return part, c.problems
}

// trimmed takes blank lines off a body and says where it then begins.
func trimmed(body string, line int) (string, int) {
	text := strings.TrimLeft(body, " \t\n")
	return strings.TrimRight(text, " \t\n"), line + strings.Count(body[:len(body)-len(text)], "\n")
}

// checker gathers problems about the values of one document.
type checker struct {
	doc      *reading.Doc
	problems []reading.Problem
}

func (c *checker) problem(path, code, value, message, remedy string) {
	c.problems = append(c.problems, c.doc.Problem(path, code, value, message, remedy))
}

func (c *checker) advice(path, code, value, message, remedy string) {
	c.problem(path, code, value, message, remedy)
	c.problems[len(c.problems)-1].Advice = true
}

// required reports a value that is not there. One that is there and could not
// be read has been reported already.
func (c *checker) required(path, value string) {
	if value == "" && !c.faulty(path) {
		c.problem(path, "missing-value", "", fmt.Sprintf("%s is missing", path), "write "+path+": and its value")
	}
}

// faulty reports whether a problem stands at the value's own place.
func (c *checker) faulty(path string) bool {
	return c.doc.Has(path) && slices.ContainsFunc(c.problems, func(p reading.Problem) bool { return p.Place == c.doc.At(path) })
}

// oneOf checks a value that may be left out.
func (c *checker) oneOf(path, value string, choices ...string) {
	if value == "" {
		return
	}
	if err := reading.OneOf(value, choices...); err != nil {
		c.problem(path, "bad-value", value, fmt.Sprintf("%s: %v", lastKey(path), err), "correct the value")
	}
}

// known checks a name that must be on a list kept elsewhere. The names are sorted.
func (c *checker) known(path, value, kind string, names []string) {
	if _, found := slices.BinarySearch(names, value); found || value == "" {
		return
	}
	remedy := "check the spelling, or add the " + kind
	if near := reading.Nearest(value, names); near != "" {
		remedy = fmt.Sprintf("did you mean %q?", near)
	}
	c.problem(path, "unknown-"+strings.ReplaceAll(kind, " ", "-"), value, fmt.Sprintf("there is no %s %q", kind, reading.Shorten(value)), remedy)
}

// knownList checks a list of such names, and that none stands twice.
func (c *checker) knownList(path string, values []string, kind string, names []string) {
	for i, v := range values {
		at := fmt.Sprintf("%s[%d]", path, i)
		if v == "" {
			c.problem(at, "missing-value", "", "an item of "+path+" is empty", "write the "+kind+" or take the item out")
		}
		if slices.Contains(values[:i], v) {
			c.problem(at, "twice", v, fmt.Sprintf("%q stands twice in %s", reading.Shorten(v), path), "keep one of the two")
			continue
		}
		c.known(at, v, kind, names)
	}
}

func lastKey(path string) string {
	path, _, _ = strings.Cut(path[strings.LastIndexByte(path, '.')+1:], "[")
	return path
}
