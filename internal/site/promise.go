package site

import (
	"bytes"
	"fmt"
	"html/template"
	"maps"
	"slices"
	"strings"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// checkSaid holds the finished pages to what each has to say whatever the theme: the
// notice, the cautions of what it tells, the corrections to it. A theme may say them
// where and how it likes, and may not leave them out.
func (b *builder) checkSaid(files Files) error {
	for _, page := range slices.Sorted(maps.Keys(b.must)) {
		read, hidden := "", bytes.Contains(files[page], []byte("<!--"))
		for _, text := range b.must[page] {
			text = oneLine(plain(text))
			if !hidden && bytes.Contains(files[page], []byte(template.HTMLEscapeString(text))) {
				continue
			}
			if read == "" {
				var err error
				if read, err = whatIsRead(files[page]); err != nil {
					return fmt.Errorf("site: %s: %w", page, err)
				}
			}
			if !strings.Contains(read, text) {
				return fmt.Errorf("site: the page %s does not say %q; layouts in themes/archive may show the notice, cautions and corrections as they like, but may not leave them out: print them as the built-in layouts do, or remove your own", page, text)
			}
		}
	}
	return nil
}

// whatIsRead is the text of a page that a reader gets to see, on one line.
func whatIsRead(page []byte) (string, error) {
	tree, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		return "", err
	}
	var text strings.Builder
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		switch {
		case n.Type == html.TextNode:
			text.WriteString(n.Data)
		case n.Type == html.ElementNode && slices.Contains([]atom.Atom{atom.Head, atom.Script, atom.Style, atom.Template, atom.Noscript}, n.DataAtom):
			return
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(tree)
	return oneLine(text.String()), nil
}
