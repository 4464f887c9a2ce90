package site

import (
	"bytes"
	"cmp"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

var allowedLink = regexp.MustCompile(`^(?i:https?://[^/]|mailto:[^/])`)

// textWidth is in characters, with the space of a soft line break. RFC 3676 section
// 4.2 asks for 78 at most and mentions 72.
const textWidth = 72

// textOf turns the letter's second output, plain HTML without a look, into text
// for people who read their mail as text: headings underlined, quotes behind ">",
// links numbered and listed where the layout puts <nav>, and what stands in
// <footer> below the "-- " of a signature.
//
// It is flowed text (RFC 3676, DelSp=no): a line that ends in a space goes on in the
// next, so that a paragraph fills a window of any width, and is wrapped where the
// mail reader knows nothing of that.
func textOf(page []byte) ([]byte, error) { return flowed(page, textWidth) }

func flowed(page []byte, width int) ([]byte, error) {
	tree, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		return nil, err
	}
	w := &textWriter{width: width}
	w.blocks(tree, "")
	text := strings.Trim(w.out.String(), "\n") + "\n"
	return []byte(text), nil
}

// textWriter writes blocks with one empty line between them.
type textWriter struct {
	out   strings.Builder
	links []string
	width int    // of a line at most, in characters
	quote int    // how deep in quotes
	last  int    // how deep the last block was
	first string // what the next line begins with: the mark of a list's item
	tight bool   // in a list or table: no empty line before the next block
}

// blocks writes the children of n. Loose text between blocks is a paragraph.
func (w *textWriter) blocks(n *html.Node, indent string) {
	var loose []*html.Node
	flush := func() {
		w.paragraph(w.inline(loose), indent)
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
	atom.Small: true, atom.Span: true, atom.Strong: true,
}

func (w *textWriter) block(n *html.Node, indent string) {
	switch n.DataAtom {
	case atom.Head, atom.Style, atom.Script, atom.Title:
	case atom.H1:
		w.heading(n, "=")
	case atom.H2:
		w.heading(n, "-")
	case atom.H3:
		w.heading(n, "~")
	case atom.P, atom.H4, atom.H5, atom.H6, atom.Dt, atom.Figcaption:
		w.paragraph(w.inline(children(n)), indent)
	case atom.Ul, atom.Ol:
		w.items(n, indent)
	case atom.Blockquote:
		w.quote++
		w.blocks(n, "")
		w.quote--
	case atom.Dd:
		w.tight = true
		w.blocks(n, indent+"  ")
	case atom.Pre:
		w.gap()
		for _, line := range strings.Split(strings.Trim(content(n), "\n"), "\n") {
			w.line("    "+line, false)
		}
	case atom.Hr:
		w.gap()
		w.line(strings.Repeat("-", textWidth), false)
	case atom.Tr:
		w.row(n, indent)
	case atom.Nav:
		w.linkList()
	case atom.Footer:
		w.gap()
		w.out.WriteString("-- \n") // RFC 3676 section 4.3: it stands by itself
		w.tight = true
		w.blocks(n, indent)
	default:
		w.blocks(n, indent)
	}
}

func (w *textWriter) heading(n *html.Node, rule string) {
	lines := wrap(w.inline(children(n)), w.width)
	if len(lines) == 0 {
		return
	}
	w.gap()
	longest := 0
	for _, l := range lines {
		w.line(l, false)
		longest = max(longest, utf8.RuneCountInString(l))
	}
	w.line(strings.Repeat(rule, longest), false)
}

// items writes a list. Only its first line has an empty line before it, and
// further paragraphs of an item.
func (w *textWriter) items(n *html.Node, indent string) {
	number := 0
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		if c.DataAtom != atom.Li {
			continue
		}
		number++
		mark := "- "
		if n.DataAtom == atom.Ol {
			mark = fmt.Sprintf("%d. ", number)
		}
		w.first = indent + mark
		w.tight = number > 1 || indent != ""
		w.blocks(c, strings.Repeat(" ", len(indent)+len(mark)))
		w.first = ""
	}
	w.tight = false
}

// row writes a table row as one line, the cells side by side.
func (w *textWriter) row(n *html.Node, indent string) {
	var cells []string
	begins := true
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		if c.DataAtom == atom.Td || c.DataAtom == atom.Th {
			cells = append(cells, oneLine(w.inline(children(c))))
			begins = begins && c.DataAtom == atom.Th
		}
	}
	w.tight = !begins
	w.paragraph(strings.Join(cells, " | "), indent)
}

// linkList writes the links met so far and starts again.
func (w *textWriter) linkList() {
	if len(w.links) == 0 {
		return
	}
	w.gap()
	w.line("Links", false)
	w.line("-----", false)
	for i, to := range w.links {
		w.line(fmt.Sprintf("[%d] %s", i+1, to), false)
	}
	w.links = nil
}

// paragraph writes flowed lines. A line break in the text ends one for good.
func (w *textWriter) paragraph(text, indent string) {
	if strings.Trim(text, " \n\t") == "" {
		return
	}
	w.gap()
	first := cmp.Or(w.first, indent)
	w.first = ""
	for part := range strings.SplitSeq(text, "\n") {
		lines := wrap(part, w.width-1-max(w.quote+1, utf8.RuneCountInString(first)+1))
		for i, l := range lines {
			if i == 0 {
				l = first + l
			}
			w.line(l, i < len(lines)-1)
		}
		first = indent
	}
}

// gap puts an empty line between blocks.
func (w *textWriter) gap() {
	if w.out.Len() > 0 && !w.tight {
		w.out.WriteString(strings.Repeat(">", min(w.quote, w.last)) + "\n")
	}
	w.tight, w.last = false, w.quote
}

// line writes one line, soft if the paragraph goes on in the next. RFC 3676 section
// 4.4 has a space put before what would be taken for something else.
func (w *textWriter) line(s string, soft bool) {
	s = strings.TrimRight(s, " ")
	switch {
	case w.quote > 0:
		s = strings.Repeat(">", w.quote) + " " + s
	case strings.HasPrefix(s, " "), strings.HasPrefix(s, ">"), strings.HasPrefix(s, "From "):
		s = " " + s
	}
	if soft {
		s += " "
	}
	w.out.WriteString(s + "\n")
}

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
		case n.DataAtom == atom.Del: // taken back, or the words would say the opposite
			b.WriteString("~~" + w.inline(children(n)) + "~~")
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
// that, such as an address, keeps a line to itself; a no-break space is none to
// break at. Two hyphens alone would end the letter where its signature begins, so
// that they take the next word along.
func wrap(text string, width int) []string {
	var lines []string
	line, n := "", 0
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }) {
		size := utf8.RuneCountInString(word)
		if n > 0 && n+1+size > width && line != "--" {
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
