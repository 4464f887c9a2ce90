package wording

import (
	"fmt"
	"strings"

	"example.org/opencowl/internal/reading"
)

// Word is a trade word explained for readers.
type Word struct {
	ID          string
	File        string
	WrittenBy   string   `yaml:"written_by"`
	Word        string   `yaml:"word"`
	Also        []string `yaml:"also"` // other forms: plurals, spellings
	Meaning     string   // Markdown
	MeaningLine int      // the line of File at which Meaning begins
	Doc         *reading.Doc

	source string
}

func (w *Word) file() string { return w.File }

// Texts returns every text of the word that somebody outside can read.
func (w *Word) Texts() []Text {
	ts := &texts{doc: w.Doc, source: w.source}
	ts.add("word", w.Word)
	for i, form := range w.Also {
		ts.add(fmt.Sprintf("also[%d]", i), form)
	}
	ts.body("meaning", w.Meaning, w.MeaningLine)
	return ts.list
}

// readWord reads one glossary word. Its ID is "" when the file's name is not one.
func readWord(file string, src []byte, o ReadOptions) (*Word, []reading.Problem) {
	w := &Word{File: file}
	doc, body, line, problems := reading.FrontMatter(file, src, w)
	p := newPage(doc, src, problems)
	w.Doc, w.Meaning, w.MeaningLine, w.source = doc, body, line, p.source
	w.ID = p.idOf(file, ".md")
	if nothingRead(problems) {
		return w, p.problems
	}
	p.writtenBy(w.WrittenBy, o)
	p.required("word", w.Word, "write the word that is explained")
	p.oneLine("word", w.Word)
	for i, form := range w.Also {
		at := fmt.Sprintf("also[%d]", i)
		p.required(at, form, "write the other form, or take the item out")
		p.oneLine(at, form)
	}
	if blank(body) {
		p.problems = append(p.problems, reading.Problem{Place: reading.Place{File: file, Line: line}, Code: "missing",
			Message: "the meaning is missing", Remedy: "explain the word below the front matter"})
	}
	p.facts(w.Texts())
	return w, p.problems
}

// wordsTwice finds forms that more than one entry explains, so that a link
// from a story could lead to either.
func wordsTwice(words []*Word) []reading.Problem {
	first := map[string]*Word{}
	var problems []reading.Problem
	for _, w := range words {
		for _, t := range w.Texts() {
			if t.Field == "meaning" {
				continue
			}
			form := strings.ToLower(strings.Join(strings.Fields(t.Value), " "))
			if other, taken := first[form]; taken {
				where := "in " + other.File
				if other == w {
					where = "already"
				}
				problems = append(problems, w.Doc.Problem(t.Field, "twice", t.Value,
					fmt.Sprintf("the word %q is explained %s", reading.Shorten(t.Value), where), "keep it in one place"))
				continue
			}
			first[form] = w
		}
	}
	return problems
}
