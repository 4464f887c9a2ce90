package wording

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"example.org/opencowl/internal/reading"
)

// page is one file while it is checked.
type page struct {
	doc      *reading.Doc
	source   string // the whole file, lines ending in \n
	problems []reading.Problem
}

func newPage(doc *reading.Doc, src []byte, problems []reading.Problem) *page {
	return &page{doc: doc, source: plainLines(src), problems: problems}
}

// plainLines gives the file the line ends that reading counts by.
func plainLines(src []byte) string { return strings.ReplaceAll(string(src), "\r\n", "\n") }

// nothingRead reports whether the keys of a file could not be read at all. That
// has been said; a list of everything missing would bury the one cause.
func nothingRead(problems []reading.Problem) bool {
	return slices.ContainsFunc(problems, func(p reading.Problem) bool {
		return slices.Contains([]string{"no-front-matter", "syntax", "empty", "two-documents", "too-large", "too-deep"}, p.Code)
	})
}

func blank(s string) bool { return strings.TrimSpace(s) == "" }

func (p *page) add(where, code, value, message, remedy string) {
	p.problems = append(p.problems, p.doc.Problem(where, code, value, message, remedy))
}

// last is the key at the end of a path: "say" of "claims[0].say".
func last(where string) string {
	return where[strings.LastIndexByte(where, '.')+1:]
}

// required asks for a value that is not blank.
func (p *page) required(where, value, remedy string) bool {
	if !blank(value) {
		return true
	}
	state := "missing"
	if p.doc.Has(where) {
		state = "empty"
	}
	p.add(where, state, "", last(where)+" is "+state, remedy)
	return false
}

// oneLine refuses text that would not stay on one line.
func (p *page) oneLine(where, value string) {
	if strings.ContainsAny(strings.TrimSpace(value), "\n\r\t\v\f\u2028\u2029") {
		p.add(where, "many-lines", value, last(where)+" runs over more than one line", "write it on one line")
	}
}

// oneOf asks for one of a few words.
func (p *page) oneOf(where, value string, choices ...string) {
	if value == "" {
		p.required(where, value, "write one of "+strings.Join(choices, ", "))
		return
	}
	if err := reading.OneOf(value, choices...); err != nil {
		p.add(where, "bad-value", value, fmt.Sprintf("%s: %v", fieldName(where), err), "correct the value")
	}
}

// refers asks for a value that stands somewhere else: an area, a person, a story.
func (p *page) refers(where, kind, source, value string, known []string) {
	if slices.Contains(known, value) {
		return
	}
	remedy := "add it there, or correct the value"
	if near := nearest(value, known); near != "" {
		remedy = fmt.Sprintf("did you mean %q?", near)
	}
	p.add(where, "unknown-"+kind, value, fmt.Sprintf("the %s %q is not in %s", kind, reading.Shorten(value), source), remedy)
}

// nearest suggests what was meant: an id that goes on where the value stops, or
// the one with the fewest slips.
func nearest(value string, known []string) string {
	for _, k := range known {
		if value != "" && strings.HasPrefix(k, value+"-") {
			return k
		}
	}
	return reading.Nearest(value, known)
}

// stories checks a list of story ids.
func (p *page) stories(where string, ids, known []string) {
	p.distinct(where, ids)
	for i, id := range ids {
		p.refers(fmt.Sprintf("%s[%d]", where, i), "story", storyFolder+"/", id, known)
	}
}

// distinct refuses a value that stands twice in a list.
func (p *page) distinct(where string, values []string) {
	for i, v := range values {
		if first := slices.Index(values, v); first < i {
			at := fmt.Sprintf("%s[%d]", where, i)
			p.add(at, "twice", v, fmt.Sprintf("%s holds %q twice", last(where), reading.Shorten(v)), "take one of the two out")
		}
	}
}

// writtenBy checks who wrote the unit.
func (p *page) writtenBy(who string, o ReadOptions) {
	switch {
	case who != "":
		p.refers("written_by", "person", "workshop.yaml", who, o.People)
	case o.TwoPeople:
		p.required("written_by", who, "name the person who wrote it, so that somebody else clears it")
	}
}

// cautions checks a list of caution keys.
func (p *page) cautions(where string, keys []string) {
	p.distinct(where, keys)
	for i, key := range keys {
		if !slices.Contains(CautionKeys(), key) {
			remedy := "the cautions are " + strings.Join(CautionKeys(), ", ")
			if near := nearest(key, CautionKeys()); near != "" {
				remedy = fmt.Sprintf("did you mean %q?", near)
			}
			p.add(fmt.Sprintf("%s[%d]", where, i), "unknown-caution", key, fmt.Sprintf("the caution %q is not known", reading.Shorten(key)), remedy)
		}
	}
}

// photos checks a list of photo names, which stand in photos/ and have no path.
func (p *page) photos(where string, names []string) {
	p.distinct(where, names)
	for i, name := range names {
		at := fmt.Sprintf("%s[%d]", where, i)
		if blank(name) {
			p.required(at, name, "write the photo's file name, or take the item out")
			continue
		}
		if name != path.Base(name) || strings.ContainsAny(name, `\:`) || strings.HasPrefix(name, ".") {
			p.add(at, "bad-photo", name, fmt.Sprintf("%q is not the plain name of a photo", reading.Shorten(name)), "write the file's name in photos/, with no folder")
		}
	}
}

// partID checks how part ids are written. Whether there is such a part is not
// for this package to know.
func (p *page) partID(where, id string) {
	if !reading.IsID(id) {
		p.add(where, "bad-id", id, fmt.Sprintf("%q is not the id of a part", reading.Shorten(id)), idRemedy("write it", id, ""))
	}
}

// idOf takes the id from a file's name; one that cannot be an id is a problem
// and comes back as "".
func (p *page) idOf(file, suffix string) string {
	id := strings.TrimSuffix(path.Base(file), suffix)
	if reading.IsID(id) {
		return id
	}
	p.problems = append(p.problems, reading.Problem{Place: reading.Place{File: file}, Code: "bad-id", Value: reading.Shorten(id),
		Message: fmt.Sprintf("the file's name %q is not an id", reading.Shorten(id)), Remedy: idRemedy("rename it", id, suffix)})
	return ""
}

// idRemedy says how an id is written, with the nearest one to what was there.
func idRemedy(do, id, suffix string) string {
	words := strings.FieldsFunc(strings.ToLower(id), func(r rune) bool {
		return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyz0123456789", r)
	})
	example := strings.Join(words, "-")
	if !reading.IsID(example) {
		example = "floor-stiffener"
	}
	return fmt.Sprintf("%s in lower-case letters and digits joined by hyphens, such as %s%s", do, example, suffix)
}

// facts checks the released facts named in the texts of a unit.
func (p *page) facts(texts []Text) {
	for _, t := range texts {
		_, problems := Facts(t)
		p.problems = append(p.problems, problems...)
	}
}

// texts gathers the texts of a unit that are not blank.
type texts struct {
	doc    *reading.Doc
	source string
	list   []Text
}

func (ts *texts) add(field, value string) {
	if !blank(value) {
		ts.list = append(ts.list, Text{Field: field, Value: value, Place: ts.doc.At(field), source: ts.source})
	}
}

// body adds the Markdown below the front matter.
func (ts *texts) body(field, value string, line int) {
	if !blank(value) {
		ts.list = append(ts.list, Text{Field: field, Value: value, Place: reading.Place{File: ts.doc.File, Line: line, Column: 1}, source: ts.source})
	}
}
