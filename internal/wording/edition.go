package wording

import (
	"fmt"
	"net/mail"
	"net/url"
	"path"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

// Ask is the one thing that an edition may ask its readers for.
type Ask struct {
	Text    string `yaml:"text"`
	URL     string `yaml:"url"`     // https or mailto
	Earlier string `yaml:"earlier"` // what earlier gifts bought
}

// Edition is what the officer wrote for one week, and chose. All of it may be
// empty: the week then goes by what moved.
type Edition struct {
	Week        day.Week // from the file's name
	File        string
	WrittenBy   string   `yaml:"written_by"`
	Subject     string   `yaml:"subject"`
	Preheader   string   `yaml:"preheader"`
	Lead        string   `yaml:"lead"`    // story id
	Stories     []string `yaml:"stories"` // story ids
	Skip        []string `yaml:"skip"`    // story ids
	Photos      []string `yaml:"photos"`  // names in photos/; never leave
	Ask         *Ask     `yaml:"ask"`
	Opening     string   // Markdown
	OpeningLine int      // the line of File at which Opening begins
	Doc         *reading.Doc

	source string
}

func (e *Edition) file() string { return e.File }

// Texts returns every text of the edition that somebody outside can read. The
// address in Ask.URL is not a text; it leaves too.
func (e *Edition) Texts() []Text {
	ts := &texts{doc: e.Doc, source: e.source}
	ts.add("subject", e.Subject)
	ts.add("preheader", e.Preheader)
	ts.body("opening", e.Opening, e.OpeningLine)
	if e.Ask != nil {
		ts.add("ask.text", e.Ask.Text)
		ts.add("ask.earlier", e.Ask.Earlier)
	}
	return ts.list
}

// readEdition reads one edition. Its Week is zero when the file's name is not one.
func readEdition(file string, src []byte, o ReadOptions, stories []string) (*Edition, []reading.Problem) {
	e := &Edition{File: file}
	doc, body, line, problems := reading.FrontMatter(file, src, e)
	// Every key is optional here, so front matter without any is as good.
	problems = slices.DeleteFunc(problems, func(p reading.Problem) bool { return p.Code == "empty" })
	p := newPage(doc, src, problems)
	e.Doc, e.Opening, e.OpeningLine, e.source = doc, body, line, p.source
	e.Week = p.weekOf(file)
	if nothingRead(problems) {
		return e, p.problems
	}
	p.writtenBy(e.WrittenBy, o)
	p.oneLine("subject", e.Subject)
	p.oneLine("preheader", e.Preheader)
	if e.Lead != "" {
		p.refers("lead", "story", storyFolder+"/", e.Lead, stories)
	}
	p.stories("stories", e.Stories, stories)
	p.stories("skip", e.Skip, stories)
	p.skipped(e)
	p.photos("photos", e.Photos)
	if e.Ask != nil {
		p.ask(*e.Ask)
	}
	p.facts(e.Texts())
	return e, p.problems
}

// weekOf takes the week from a file's name.
func (p *page) weekOf(file string) day.Week {
	week, err := day.ParseWeek(strings.TrimSuffix(path.Base(file), ".md"))
	if err != nil {
		p.problems = append(p.problems, reading.Problem{Place: reading.Place{File: file}, Code: "bad-week", Value: reading.Shorten(path.Base(file)),
			Message: fmt.Sprintf("the file's name is not the week of an edition (%v)", err), Remedy: "name it for its ISO week, such as 2031-W07.md"})
	}
	return week
}

// skipped refuses a story that is chosen and left out at once.
func (p *page) skipped(e *Edition) {
	for i, id := range e.Skip {
		if id == e.Lead || slices.Contains(e.Stories, id) {
			p.add(fmt.Sprintf("skip[%d]", i), "twice", id, fmt.Sprintf("the story %q is both chosen and skipped", reading.Shorten(id)), "take it out of one of the two")
		}
	}
}

func (p *page) ask(a Ask) {
	p.required("ask.text", a.Text, "write what is asked for, or take the ask out")
	if p.required("ask.url", a.URL, "write the https or mailto address that the ask leads to") && !goodAddress(a.URL) {
		p.add("ask.url", "bad-address", a.URL, fmt.Sprintf("%q is not an address that a letter may lead to", reading.Shorten(a.URL)),
			"write a whole https address, or mailto: and an email address")
	}
}

// goodAddress accepts https with a host, and mailto with one address. A name
// and password in the address would leave with it.
func goodAddress(s string) bool {
	if strings.ContainsFunc(s, func(r rune) bool { return r <= ' ' || r == 0x7f || strings.ContainsRune("<>\"\\^`{|}", r) }) {
		return false // RFC 3986 section 2: these stand in no URI
	}
	u, err := url.Parse(s)
	if err != nil {
		return false
	}
	switch u.Scheme {
	case "https":
		return u.Hostname() != "" && u.User == nil
	case "mailto":
		to, err := url.PathUnescape(u.Opaque)
		if err != nil {
			return false
		}
		a, err := mail.ParseAddress(to)
		return err == nil && a.Name == "" && a.Address == to
	}
	return false
}
