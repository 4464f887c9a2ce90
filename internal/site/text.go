package site

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

var allowedLink = regexp.MustCompile(`^(?i:https?://[^/]|mailto:[^/])`)

// textWidth is in characters. RFC 5322 section 2.1.1 asks for 78 at most.
const textWidth = 76

// textOf turns the letter's second output, plain HTML without a look, into text
// for people who read their mail as text: headings underlined, lists indented,
// links numbered and listed where the layout puts <nav>.
func textOf(page []byte) ([]byte, error) {
	tree, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		return nil, err
	}
	w := &textWriter{}
	w.blocks(tree, "")
	text := strings.TrimSpace(w.out.String()) + "\n"
	return []byte(text), nil
}

// textWriter writes blocks with one empty line between them.
type textWriter struct {
	out   strings.Builder
	links []string
	tight bool // inside a list: no empty line before the next block
}

// blocks writes the children of n. Loose text between blocks is a paragraph.
func (w *textWriter) blocks(n *html.Node, indent string) {
	var loose []*html.Node
	flush := func() {
		w.paragraph(w.inline(loose), indent, indent)
		loose = nil
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		if c.Type == html.TextNode || c.Type == html.ElementNode && inlineTags[c.DataAtom] {
			loose = append(loose, c)
			continue
		}
		if c.Type == html.ElementNode {
			flush()
			w.block(c, indent)
		}
	}
	flush()
}

var inlineTags = map[atom.Atom]bool{
	atom.A: true, atom.B: true, atom.Br: true, atom.Code: true, atom.Del: true, atom.Em: true, atom.I: true,
	atom.Small: true, atom.Span: true, atom.Strong: true, atom.Input: true,
}

func (w *textWriter) block(n *html.Node, indent string) {
	switch n.DataAtom {
	case atom.Head, atom.Style, atom.Script, atom.Title:
	case atom.H1:
		w.heading(n, "=")
	case atom.H2:
		w.heading(n, "-")
	case atom.P, atom.H3, atom.H4, atom.H5, atom.H6, atom.Dt, atom.Figcaption:
		w.paragraph(w.inline(children(n)), indent, indent)
	case atom.Ul, atom.Ol:
		w.items(n, indent)
	case atom.Blockquote, atom.Dd:
		w.blocks(n, indent+"  ")
	case atom.Pre:
		w.gap()
		for _, line := range strings.Split(strings.Trim(content(n), "\n"), "\n") {
			w.line(indent + "    " + line)
		}
	case atom.Hr:
		w.gap()
		w.line(strings.Repeat("-", textWidth))
	case atom.Tr:
		w.row(n, indent)
	case atom.Nav:
		w.linkList()
	default:
		w.blocks(n, indent)
	}
}

func (w *textWriter) heading(n *html.Node, rule string) {
	lines := wrap(w.inline(children(n)), textWidth)
	if len(lines) == 0 {
		return
	}
	w.gap()
	longest := 0
	for _, l := range lines {
		w.line(l)
		longest = max(longest, utf8.RuneCountInString(l))
	}
	w.line(strings.Repeat(rule, longest))
}

func (w *textWriter) items(n *html.Node, indent string) {
	number := 0
	outer := w.tight
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		if c.DataAtom != atom.Li {
			continue
		}
		number++
		mark := "- "
		if n.DataAtom == atom.Ol {
			mark = fmt.Sprintf("%d. ", number)
		}
		inner := &textWriter{links: w.links}
		inner.blocks(c, strings.Repeat(" ", len(indent)+len(mark)))
		w.links = inner.links
		text := strings.TrimLeft(strings.TrimRight(inner.out.String(), "\n"), " ")
		if number == 1 || !w.tight {
			w.gap()
		}
		w.tight = true
		w.line(indent + mark + text)
	}
	w.tight = outer
}

// row writes a table row as one line: the heading, then the cells.
func (w *textWriter) row(n *html.Node, indent string) {
	var cells []string
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		if c.DataAtom == atom.Td || c.DataAtom == atom.Th {
			cells = append(cells, oneLine(w.inline(children(c))))
		}
	}
	w.paragraph(strings.Join(cells, " | "), indent, indent+"  ")
}

// linkList writes the links met so far and starts again.
func (w *textWriter) linkList() {
	if len(w.links) == 0 {
		return
	}
	w.gap()
	w.line("Links")
	w.line("-----")
	for i, to := range w.links {
		w.line(fmt.Sprintf("[%d] %s", i+1, to))
	}
	w.links = nil
}

func (w *textWriter) paragraph(text, first, rest string) {
	lines := wrap(text, textWidth-utf8.RuneCountInString(rest))
	if len(lines) == 0 {
		return
	}
	w.gap()
	for i, l := range lines {
		if i == 0 {
			w.line(first + l)
		} else {
			w.line(rest + l)
		}
	}
}

// gap puts an empty line between blocks.
func (w *textWriter) gap() {
	if w.out.Len() > 0 {
		w.out.WriteString("\n")
	}
}

func (w *textWriter) line(s string) { w.out.WriteString(strings.TrimRight(s, " ") + "\n") }

// inline is the text of nodes. A <br> is a line break; a link is followed by
// its number, unless its text already is the address.
func (w *textWriter) inline(nodes []*html.Node) string {
	var b strings.Builder
	for _, n := range nodes {
		switch {
		case n.Type == html.TextNode:
			b.WriteString(strings.NewReplacer("\n", " ", "\t", " ", "\r", " ").Replace(n.Data))
		case n.DataAtom == atom.Br:
			b.WriteString("\n")
		case n.DataAtom == atom.Input:
			b.WriteString("- ")
		case n.DataAtom == atom.A:
			b.WriteString(w.inline(children(n)) + w.mark(n))
		default:
			b.WriteString(w.inline(children(n)))
		}
	}
	return b.String()
}

func (w *textWriter) mark(a *html.Node) string {
	to := ""
	for _, attr := range a.Attr {
		if attr.Key == "href" {
			to = attr.Val
		}
	}
	shown := strings.TrimSpace(content(a))
	if to == "" || shown == to || "mailto:"+shown == to || strings.HasSuffix(to, "://"+shown) {
		return ""
	}
	for i, known := range w.links {
		if known == to {
			return fmt.Sprintf(" [%d]", i+1)
		}
	}
	w.links = append(w.links, to)
	return fmt.Sprintf(" [%d]", len(w.links))
}

func children(n *html.Node) []*html.Node {
	var out []*html.Node
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		out = append(out, c)
	}
	return out
}

// content is the bare text below n.
func content(n *html.Node) string {
	if n.Type == html.TextNode {
		return n.Data
	}
	var b strings.Builder
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		b.WriteString(content(c))
	}
	return b.String()
}

// wrap breaks text into lines of at most width characters. A word longer than
// that, such as an address, keeps a line to itself.
func wrap(text string, width int) []string {
	var lines []string
	for _, part := range strings.Split(text, "\n") {
		line, n := "", 0
		for _, word := range strings.Fields(part) {
			size := utf8.RuneCountInString(word)
			if n > 0 && n+1+size > width {
				lines = append(lines, line)
				line, n = "", 0
			}
			if n > 0 {
				line, n = line+" ", n+1
			}
			line, n = line+word, n+size
		}
		if n > 0 {
			lines = append(lines, line)
		}
	}
	return lines
}

// longestLine is in octets. RFC 5322 section 2.1.1 allows 998; the mailer
// encodes the part anyway.
const longestLine = 900

// foldLines breaks long lines of HTML at spaces between words, or before the
// first attribute of a tag, so that the page looks the same.
func foldLines(page []byte) []byte {
	var out bytes.Buffer
	z := html.NewTokenizer(bytes.NewReader(page))
	column, kept := 0, 0
	for {
		kind := z.Next()
		if kind == html.ErrorToken {
			return out.Bytes()
		}
		raw := bytes.Clone(z.Raw())
		name, _ := z.TagName()
		switch tag := string(name); {
		case tag != "pre" && tag != "style":
		case kind == html.StartTagToken:
			kept++
		case kind == html.EndTagToken:
			kept--
		}
		if kind == html.TextToken && kept == 0 {
			raw = foldText(raw, column)
		}
		if kind == html.StartTagToken && column+len(raw) > longestLine/2 {
			raw = bytes.Replace(raw, []byte(" "), []byte("\n"), 1)
		}
		out.Write(raw)
		if i := bytes.LastIndexByte(raw, '\n'); i >= 0 {
			column = len(raw) - i - 1
		} else {
			column += len(raw)
		}
	}
}

func foldText(text []byte, column int) []byte {
	for i, c := range text {
		switch {
		case c == '\n':
			column = 0
		case c == ' ' && column > longestLine/2:
			text[i] = '\n'
			column = 0
		default:
			column++
		}
	}
	return text
}
