package clearance

import (
	"bytes"
	"strings"
	"unicode/utf8"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/reading"
)

// Gate is the last look at what is about to leave: it reads names of files and
// the text of HTML and plain files, and searches them for private names of
// things. A finding stops the whole run.
func (d *Desk) Gate(files map[string][]byte) error {
	var findings []reading.Problem
	look := func(file, what, text string) {
		for _, l := range d.private.Find(text) {
			if l.Code != leak.CodeName {
				continue // released facts, and the pages' own addresses and numbers
			}
			message, _ := tellLeak(l)
			findings = append(findings, reading.Problem{Place: reading.Place{File: file}, Code: l.Code, Value: l.Shown,
				Message: what + ": " + message, Remedy: "nothing was written; take it out of the wording"})
		}
	}
	for name, data := range files {
		look(name, "the file's name", name)
		switch {
		case strings.HasSuffix(name, ".html"), strings.HasSuffix(name, ".xml"), strings.HasSuffix(name, ".svg"):
			for _, segment := range segments(data) {
				look(name, "the page", segment)
			}
		case utf8.Valid(data):
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
	lines := []string{"the last gate stopped this:"}
	for _, f := range l.Findings {
		lines = append(lines, f.Error())
	}
	return strings.Join(lines, "\n")
}

// inline are the elements that do not part the words of a sentence.
var inline = map[atom.Atom]bool{atom.A: true, atom.Abbr: true, atom.B: true, atom.Bdi: true, atom.Bdo: true, atom.Cite: true, atom.Code: true,
	atom.Em: true, atom.I: true, atom.Kbd: true, atom.Mark: true, atom.Q: true, atom.S: true, atom.Small: true, atom.Span: true,
	atom.Strong: true, atom.Sub: true, atom.Sup: true, atom.Time: true, atom.U: true, atom.Var: true, atom.Wbr: true}

// segments are the texts of a page, each block's by itself whatever marks stand
// inside it, its comments, and the values of its attributes.
func segments(page []byte) []string {
	var all []string
	var block strings.Builder
	flush := func() {
		if block.Len() > 0 {
			all = append(all, block.String())
			block.Reset()
		}
	}
	z := html.NewTokenizer(bytes.NewReader(page))
	for {
		kind := z.Next()
		switch kind {
		case html.ErrorToken:
			flush()
			return all
		case html.TextToken:
			block.Write(z.Text())
		case html.CommentToken:
			all = append(all, string(z.Text()))
		case html.StartTagToken, html.EndTagToken, html.SelfClosingTagToken:
			token := z.Token()
			if !inline[token.DataAtom] {
				flush()
			}
			for _, a := range token.Attr {
				all = append(all, a.Val)
			}
		}
	}
}
