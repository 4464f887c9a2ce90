package outgoing

import (
	"bytes"
	"strings"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// inline are the elements that do not part the words of a sentence.
var inline = map[atom.Atom]bool{atom.A: true, atom.Abbr: true, atom.B: true, atom.Bdi: true, atom.Bdo: true, atom.Cite: true, atom.Code: true,
	atom.Em: true, atom.I: true, atom.Kbd: true, atom.Mark: true, atom.Q: true, atom.S: true, atom.Small: true, atom.Span: true,
	atom.Strong: true, atom.Sub: true, atom.Sup: true, atom.Time: true, atom.U: true, atom.Var: true, atom.Wbr: true}

// readMarkup returns the texts of HTML or XML: each block's by itself whatever
// marks stand inside it, comments, and the values of attributes.
func readMarkup(page []byte) []Segment {
	var all []Segment
	var block strings.Builder
	flush := func() {
		if strings.TrimSpace(block.String()) != "" {
			all = append(all, Segment{"the page", block.String()})
		}
		block.Reset()
	}
	z := html.NewTokenizer(bytes.NewReader(page))
	z.AllowCDATA(true)
	for {
		switch z.Next() {
		case html.ErrorToken:
			flush()
			return all
		case html.TextToken:
			block.Write(z.Text())
		case html.CommentToken:
			all = append(all, Segment{"a comment", string(z.Raw())})
		case html.DoctypeToken:
		case html.StartTagToken, html.EndTagToken, html.SelfClosingTagToken:
			token := z.Token()
			if !inline[token.DataAtom] {
				flush()
			}
			for _, a := range token.Attr {
				if strings.TrimSpace(a.Val) != "" {
					all = append(all, Segment{a.Key, a.Val})
				}
			}
		}
	}
}
