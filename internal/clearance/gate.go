package clearance

import (
	"bytes"
	"fmt"
	"strings"

	"golang.org/x/net/html"

	"example.org/opencowl/internal/reading"
)

// Gate is the last look at what is about to leave: it reads names of files and
// the text of HTML and plain files, and searches them for private names of
// things. A finding stops the whole run.
func (d *Desk) Gate(files map[string][]byte) error {
	var findings []reading.Problem
	look := func(file, what, text string) {
		for _, l := range d.private.namesIn(text) {
			findings = append(findings, reading.Problem{Place: reading.Place{File: file}, Code: l.code, Value: l.shown,
				Message: fmt.Sprintf("%s holds %q, which is private (%s)", what, l.shown, l.kind), Remedy: "nothing was written; take it out of the wording"})
		}
	}
	for name, data := range files {
		look(name, "the file's name", name)
		switch {
		case strings.HasSuffix(name, ".html"), strings.HasSuffix(name, ".xml"):
			for _, segment := range segments(data) {
				look(name, "the page", segment)
			}
		case strings.HasSuffix(name, ".txt"), strings.HasSuffix(name, ".js"), strings.HasSuffix(name, ".json"):
			look(name, "the file", string(data))
		}
	}
	if len(findings) == 0 {
		return nil
	}
	reading.Sort(findings)
	return &Leak{findings}
}

// Leak is the error of the last gate: something private was about to leave.
type Leak struct{ Findings []reading.Problem }

func (l *Leak) Error() string {
	lines := []string{fmt.Sprintf("the last gate stopped this: %d findings", len(l.Findings))}
	for _, f := range l.Findings {
		lines = append(lines, f.Error())
	}
	return strings.Join(lines, "\n")
}

// segments are the texts and attribute values of a page, each by itself.
func segments(page []byte) []string {
	var all []string
	z := html.NewTokenizer(bytes.NewReader(page))
	for {
		switch z.Next() {
		case html.ErrorToken:
			return all
		case html.TextToken, html.CommentToken:
			all = append(all, string(z.Text()))
		case html.StartTagToken, html.SelfClosingTagToken:
			for _, a := range z.Token().Attr {
				all = append(all, a.Val)
			}
		}
	}
}
