package wording

import (
	"fmt"
	"slices"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

// How sure a claim is.
const (
	Proven = "proven"
	Likely = "likely"
	Told   = "told"
)

// How a prop may go round a group.
const (
	DropProof = "drop-proof"
	TwoHands  = "two-hands"
	LookOnly  = "look-only"
)

// Whom a story is for.
const (
	ForVisitors = "visitors"
	ForMembers  = "members"
)

// Claim is something said about the machine, with how sure the workshop is.
type Claim struct {
	Say      string `yaml:"say"`
	Status   string `yaml:"status"` // Proven, Likely or Told
	Evidence string `yaml:"evidence"`
	About    string `yaml:"about"` // the part it is about; never leaves
}

// Question is one that visitors are likely to ask.
type Question struct {
	Ask    string `yaml:"ask"`
	Answer string `yaml:"answer"`
}

// Prop is an object that the guide shows.
type Prop struct {
	What      string   `yaml:"what"`
	HandRound string   `yaml:"hand_round"` // DropProof, TwoHands or LookOnly
	Caution   []string `yaml:"caution"`    // keys; see Caution
	MadeSafe  string   `yaml:"made_safe"`  // how an edge was made safe
}

// Story is one public account as it was written, with its facts still names.
type Story struct {
	ID        string
	File      string
	WrittenBy string     `yaml:"written_by"`
	Title     string     `yaml:"title"`
	Parts     []string   `yaml:"parts"` // part ids; never leave
	Area      string     `yaml:"area"`
	CameOff   string     `yaml:"came_off"`
	Failed    string     `yaml:"failed"`
	Replaced  string     `yaml:"replaced"`
	Claims    []Claim    `yaml:"claims"`
	Questions []Question `yaml:"questions"`
	Talk      string     `yaml:"talk"`
	Props     []Prop     `yaml:"props"`
	Cautions  []string   `yaml:"cautions"` // keys; see Caution
	For       []string   `yaml:"for"`      // ForVisitors, ForMembers
	NotBefore day.Date   `yaml:"not_before"`
	Credits   []string   `yaml:"credits"`
	Photos    []string   `yaml:"photos"` // names in photos/; never leave
	Evergreen bool       `yaml:"evergreen"`
	Body      string     // Markdown
	BodyLine  int        // the line of File at which Body begins
	Doc       *reading.Doc

	source string
}

func (s *Story) file() string { return s.File }

// IsFor reports whether the story is for ForVisitors or ForMembers.
func (s *Story) IsFor(whom string) bool { return slices.Contains(s.For, whom) }

// Texts returns every text of the story that somebody outside can read. Blank
// ones are left out.
func (s *Story) Texts() []Text {
	ts := &texts{doc: s.Doc, source: s.source}
	s.words(ts)
	ts.body("body", s.Body, s.BodyLine)
	return ts.list
}

// words gathers what the front matter says to a reader.
func (s *Story) words(ts *texts) {
	ts.add("title", s.Title)
	ts.add("came_off", s.CameOff)
	ts.add("failed", s.Failed)
	ts.add("replaced", s.Replaced)
	for i, c := range s.Claims {
		ts.add(fmt.Sprintf("claims[%d].say", i), c.Say)
		ts.add(fmt.Sprintf("claims[%d].evidence", i), c.Evidence)
	}
	for i, q := range s.Questions {
		ts.add(fmt.Sprintf("questions[%d].ask", i), q.Ask)
		ts.add(fmt.Sprintf("questions[%d].answer", i), q.Answer)
	}
	ts.add("talk", s.Talk)
	for i, p := range s.Props {
		ts.add(fmt.Sprintf("props[%d].what", i), p.What)
		ts.add(fmt.Sprintf("props[%d].made_safe", i), p.MadeSafe)
	}
	for i, c := range s.Credits {
		ts.add(fmt.Sprintf("credits[%d]", i), c)
	}
}

// readStory reads one story. Its ID is "" when the file's name is not one.
func readStory(file string, src []byte, o ReadOptions) (*Story, []reading.Problem) {
	s := &Story{File: file}
	doc, body, line, problems := reading.FrontMatter(file, src, s)
	p := newPage(doc, src, problems)
	s.Doc, s.Body, s.BodyLine, s.source = doc, body, line, p.source
	s.ID = p.idOf(file, ".md")
	if nothingRead(problems) {
		return s, p.problems
	}
	p.writtenBy(s.WrittenBy, o)
	p.required("title", s.Title, "give the story a title")
	p.oneLine("title", s.Title)
	if p.required("area", s.Area, "name the area of the machine that it is about") {
		p.refers("area", "area", "workshop.yaml", s.Area, o.Areas)
	}
	p.required("came_off", s.CameOff, "say in plain words what came off")
	p.required("failed", s.Failed, "say in plain words why it failed, or why it had to come off")
	p.required("replaced", s.Replaced, "say in plain words what replaced it, or what will")
	p.distinct("parts", s.Parts)
	for i, part := range s.Parts {
		p.partID(fmt.Sprintf("parts[%d]", i), part)
	}
	p.claims(s.Claims)
	for i, q := range s.Questions {
		p.required(fmt.Sprintf("questions[%d].ask", i), q.Ask, "write what visitors ask")
		p.required(fmt.Sprintf("questions[%d].answer", i), q.Answer, "write the answer for the guide")
	}
	for i, prop := range s.Props {
		p.prop(fmt.Sprintf("props[%d]", i), prop)
	}
	p.cautions("cautions", s.Cautions)
	p.readers(s.For)
	for i, c := range s.Credits {
		p.required(fmt.Sprintf("credits[%d]", i), c, "write the credit, or take the item out")
	}
	p.photos("photos", s.Photos)
	p.facts(s.Texts())
	return s, p.problems
}

func (p *page) claims(claims []Claim) {
	for i, c := range claims {
		at := fmt.Sprintf("claims[%d]", i)
		p.required(at+".say", c.Say, "write the claim itself")
		p.oneOf(at+".status", c.Status, Proven, Likely, Told)
		if c.About != "" {
			p.partID(at+".about", c.About)
		}
		if c.Status == Proven {
			p.required(at+".evidence", c.Evidence, "say what proves the claim, or make it likely or told")
		}
	}
}

func (p *page) prop(at string, prop Prop) {
	p.required(at+".what", prop.What, "name the prop")
	p.oneOf(at+".hand_round", prop.HandRound, DropProof, TwoHands, LookOnly)
	p.cautions(at+".caution", prop.Caution)
	for i, key := range prop.Caution {
		where := fmt.Sprintf("%s.caution[%d]", at, i)
		switch {
		case Hazardous(key) && prop.HandRound != LookOnly:
			p.add(where, "unsafe-prop", key, fmt.Sprintf("a prop with %s may not be handed round", key), "make it look-only, or take it off the tour")
		case key == "sharp-edge" && prop.HandRound == DropProof && blank(prop.MadeSafe):
			p.add(where, "unsafe-prop", key, "a prop with a sharp edge is not drop-proof", "say in made_safe how the edge was made safe, or make it two-hands or look-only")
		}
	}
}

func (p *page) readers(whom []string) {
	if len(whom) == 0 {
		p.required("for", "", "say whom it is for: visitors, members or both")
	}
	p.distinct("for", whom)
	for i, who := range whom {
		p.oneOf(fmt.Sprintf("for[%d]", i), who, ForVisitors, ForMembers)
	}
}
