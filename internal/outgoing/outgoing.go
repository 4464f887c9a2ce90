// Package outgoing reads what is about to leave: it takes a finished file apart
// into every text that somebody could read out of it, in the page or behind it.
//
// It promises to read the bytes themselves, as a stranger would, and not to
// trust whoever wrote them; and to fail closed: a file that it cannot read to
// the end, or that carries data which nothing here writes, is an error. It must
// not know what is private.
package outgoing

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// Segment is one text that can be read out of a file by itself: a paragraph, the
// value of an attribute, a header, an alternative text, the target of a link.
type Segment struct {
	Where string // for a person: "the page", "alt", "page 3", "the header Subject"
	Text  string
}

// ErrUnreadable is wrapped by the errors for files that must not leave because
// nobody can say what is in them.
var ErrUnreadable = errors.New("what is in it cannot be told")

func unreadable(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrUnreadable, fmt.Sprintf(format, args...))
}

// Read returns the texts of a file, its name first. What a file is shows in its
// content, and only for text in its name.
func Read(name string, data []byte) ([]Segment, error) {
	segments := []Segment{{"the file's name", name}}
	found, err := read(name, data)
	return append(segments, found...), err
}

func read(name string, data []byte) ([]Segment, error) {
	switch {
	case bytes.HasPrefix(data, []byte("%PDF-")):
		return readPDF(data)
	case bytes.HasPrefix(data, []byte("\xff\xd8")):
		return readJPEG(data)
	case bytes.HasPrefix(data, []byte(pngSignature)):
		return readPNG(data)
	case isFont(data):
		return nil, nil
	case !utf8.Valid(data) || bytes.IndexByte(data, 0) >= 0:
		return nil, unreadable("it is neither text nor a picture, a PDF or a font")
	}
	switch strings.ToLower(path.Ext(name)) {
	case ".html", ".htm", ".xml", ".svg", ".xhtml":
		return readMarkup(data), nil
	case ".json":
		return readJSON(data)
	case ".js":
		if value, ok := assigned(data); ok {
			return readJSON(value)
		}
	case ".eml":
		return readMail(data)
	}
	return readText(data), nil
}

// readText returns the paragraphs of a plain text.
func readText(data []byte) []Segment {
	var all []Segment
	text := strings.ReplaceAll(string(data), "\r\n", "\n")
	for paragraph := range strings.SplitSeq(text, "\n\n") {
		if strings.TrimSpace(paragraph) != "" {
			all = append(all, Segment{"the text", paragraph})
		}
	}
	return all
}

// readJSON returns every key and every string.
func readJSON(data []byte) ([]Segment, error) {
	var value any
	if err := json.Unmarshal(data, &value); err != nil {
		return nil, unreadable("it is no JSON: %v", err)
	}
	var all []Segment
	var walk func(any)
	walk = func(v any) {
		switch v := v.(type) {
		case string:
			all = append(all, Segment{"the data", v})
		case []any:
			for _, item := range v {
				walk(item)
			}
		case map[string]any:
			for key, item := range v {
				all = append(all, Segment{"the data", key})
				walk(item)
			}
		}
	}
	walk(value)
	return all, nil
}

// fonts are how files of fonts begin: WOFF2, WOFF, TrueType, OpenType. They come
// with the theme, and no words are put into them.
var fonts = []string{"wOF2", "wOFF", "\x00\x01\x00\x00", "OTTO"}

func isFont(data []byte) bool {
	return slices.ContainsFunc(fonts, func(mark string) bool { return bytes.HasPrefix(data, []byte(mark)) })
}

// assignment is how a script begins that does nothing but give data a name.
var assignment = regexp.MustCompile(`^\s*var \w+ = `)

func assigned(script []byte) (value []byte, ok bool) {
	begin := assignment.FindIndex(script)
	if begin == nil {
		return nil, false
	}
	value = bytes.TrimSuffix(bytes.TrimSpace(script[begin[1]:]), []byte(";"))
	return value, json.Valid(value)
}
