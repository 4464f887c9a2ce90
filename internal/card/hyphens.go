package card

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
)

// hyphenation returns where the words of a node's language may be broken, or nil
// where the theme does not say: hyphenation/en-gb.txt, or else hyphenation/en.txt.
func (c composer) hyphenation(n *draw.Node) *typeset.Hyphenation {
	language := cmp.Or(c.labels, c.language)
	if n != nil && n.Language != "" {
		language = n.Language
	}
	return c.press.breaks[language]
}

// learnToBreak reads the patterns of a language, once.
func (p *press) learnToBreak(language string) error {
	if _, known := p.breaks[language]; known || language == "" {
		return nil
	}
	p.breaks[language] = nil
	tag := strings.ToLower(language)
	primary, _, _ := strings.Cut(tag, "-")
	for _, name := range []string{tag, primary} {
		file := "hyphenation/" + name + ".txt"
		data, err := fs.ReadFile(p.theme, file)
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrInvalid) {
			continue
		}
		if err != nil {
			return fmt.Errorf("themes/%s: %w", file, err)
		}
		h, err := typeset.ParseHyphenation(data)
		if err != nil {
			return fmt.Errorf("themes/%s: %w", file, err)
		}
		p.breaks[language] = h
		return nil
	}
	return nil
}
