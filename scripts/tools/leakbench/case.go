package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
)

// testCase is one text and what is private beside it.
type testCase struct {
	id       string
	text     string
	private  []leak.Value
	notes    []string
	credited []string
	leaks    *bool // nil where nobody has said
}

func (c testCase) index() *leak.Index {
	p := leak.Private{Values: c.private, Credited: c.credited}
	for i, n := range c.notes {
		p.Notes = append(p.Notes, leak.Note{Text: n, Where: fmt.Sprintf("notes[%d]", i)})
	}
	return leak.NewIndex(p)
}

const remedy = `write one case a line, such as {"id": "a", "text": "…", "private": [{"kind": "serial", "value": "…"}], "notes": ["…"], "credited": ["…"], "leak": true}`

// readCases hands over the cases of a file one by one. Lines that are no cases are
// told to stderr with place and remedy, and counted.
func readCases(name string, r io.Reader, stderr io.Writer, use func(testCase)) (refused int, err error) {
	lines := bufio.NewReaderSize(r, 64<<10)
	for n := 1; ; n++ {
		line, err := lines.ReadBytes('\n') // of any length: bufio.Scanner would set a limit
		skipped := 0
		if n == 1 && bytes.HasPrefix(line, []byte("\ufeff")) {
			skipped = len("\ufeff")
		}
		if body := line[skipped:]; len(bytes.TrimSpace(body)) > 0 {
			c, wrong := readCase(body)
			if wrong != nil {
				refused++
				fmt.Fprintln(stderr, reading.Problem{Place: reading.Place{File: name, Line: n, Column: column(body, wrong.at)},
					Message: wrong.message, Remedy: remedy})
			} else {
				if c.id == "" {
					c.id = strconv.Itoa(n)
				}
				use(c)
			}
		}
		if errors.Is(err, io.EOF) {
			return refused, nil
		}
		if err != nil {
			return refused, fmt.Errorf("%s:%d: the file cannot be read further: %w", name, n, err)
		}
	}
}

// column counts characters from 1 up to a byte.
func column(line []byte, at int) int { return 1 + utf8.RuneCount(line[:min(max(at, 0), len(line))]) }

// fault is what is wrong with a line, and at which byte.
type fault struct {
	at      int
	message string
}

func (f *fault) Error() string { return f.message }

func readCase(line []byte) (testCase, *fault) {
	var whole json.RawMessage
	if err := json.Unmarshal(line, &whole); err != nil {
		at := len(line)
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			at = max(int(syntax.Offset)-1, 0) // the offset is behind the byte that is wrong
		}
		return testCase{}, &fault{at, fmt.Sprintf("the line is not JSON (%v)", err)}
	}
	var c testCase
	r := &lineReader{line: line, in: json.NewDecoder(bytes.NewReader(line))}
	r.in.UseNumber()
	if bytes.Equal(bytes.TrimSpace(line), []byte("null")) {
		return testCase{}, &fault{r.at(), "the line is null, not an object"}
	}
	err := r.object("the line", map[string]func() error{
		"id":       func() (err error) { c.id, err = r.word("id"); return },
		"text":     func() (err error) { c.text, err = r.word("text"); return },
		"private":  func() error { return r.each(func() error { return r.value(&c) }) },
		"notes":    func() error { return r.words("notes", &c.notes) },
		"credited": func() error { return r.words("credited", &c.credited) },
		"leak":     func() (err error) { c.leaks, err = r.yes("leak"); return },
	})
	var wrong *fault
	if errors.As(err, &wrong) {
		return testCase{}, wrong
	}
	if err != nil {
		return testCase{}, &fault{r.at(), err.Error()}
	}
	return c, nil
}

// lineReader reads a line that is known to be JSON, forgivingly: a list may be a
// single thing, a number may stand for a word, null for nothing, and keys that it
// does not know are passed over.
type lineReader struct {
	line []byte
	in   *json.Decoder
}

// at is the byte at which the next token begins.
func (r *lineReader) at() int {
	at := int(r.in.InputOffset())
	for at < len(r.line) && strings.IndexByte(" \t\r\n:,", r.line[at]) >= 0 {
		at++
	}
	return at
}

// opens reports whether the next value is a list or an object.
func (r *lineReader) opens(with byte) bool {
	at := r.at()
	return at < len(r.line) && r.line[at] == with
}

func (r *lineReader) object(what string, keys map[string]func() error) error {
	at := r.at()
	opening, err := r.in.Token()
	if err != nil || opening == nil {
		return err
	}
	if opening != json.Delim('{') {
		return &fault{at, fmt.Sprintf("%s is %s, not an object", what, kindOf(opening))}
	}
	for r.in.More() {
		key, err := r.in.Token()
		if err != nil {
			return err
		}
		name, _ := key.(string)
		read := keys[name]
		if read == nil {
			read = r.passOver
		}
		if err := read(); err != nil {
			return err
		}
	}
	_, err = r.in.Token()
	return err
}

func (r *lineReader) passOver() error {
	var any json.RawMessage
	return r.in.Decode(&any)
}

// each reads the members of a list, or the one thing that stands in its place.
func (r *lineReader) each(read func() error) error {
	if !r.opens('[') {
		return read()
	}
	if _, err := r.in.Token(); err != nil {
		return err
	}
	for r.in.More() {
		if err := read(); err != nil {
			return err
		}
	}
	_, err := r.in.Token()
	return err
}

func (r *lineReader) words(key string, all *[]string) error {
	return r.each(func() error {
		w, err := r.word(key)
		if err == nil && strings.TrimSpace(w) != "" {
			*all = append(*all, w)
		}
		return err
	})
}

func (r *lineReader) word(key string) (string, error) {
	if r.opens('{') || r.opens('[') {
		opening, _ := r.in.Token()
		return "", &fault{int(r.in.InputOffset()) - 1, fmt.Sprintf("%q holds %s, not a text", key, kindOf(opening))}
	}
	at := r.at()
	token, err := r.in.Token()
	switch v := token.(type) {
	case string:
		return v, err
	case json.Number:
		return v.String(), err
	case nil:
		return "", err
	}
	return "", &fault{at, fmt.Sprintf("%q holds %s, not a text", key, kindOf(token))}
}

func (r *lineReader) yes(key string) (*bool, error) {
	at := r.at()
	token, err := r.in.Token()
	switch v := token.(type) {
	case bool:
		return &v, err
	case nil:
		return nil, err
	}
	return nil, &fault{at, fmt.Sprintf("%q holds %s, not true or false", key, kindOf(token))}
}

// value reads one private value. Only its kind says how it may be disguised, so
// one that is only a text counts as a value of no known kind.
func (r *lineReader) value(c *testCase) error {
	var kind, value string
	var err error
	if r.opens('{') {
		err = r.object("a private value", map[string]func() error{
			"kind":  func() (err error) { kind, err = r.word("kind"); return },
			"value": func() (err error) { value, err = r.word("value"); return },
		})
	} else {
		value, err = r.word("private")
	}
	if err != nil || strings.TrimSpace(value) == "" {
		return err
	}
	c.private = append(c.private, leak.Value{Kind: kindFor(kind, value), Value: value, Where: fmt.Sprintf("private[%d]", len(c.private))})
	return nil
}

func kindOf(token json.Token) string {
	switch token {
	case json.Delim('{'):
		return "an object"
	case json.Delim('['):
		return "a list"
	case nil:
		return "null"
	}
	switch token.(type) {
	case string:
		return "a text"
	case bool:
		return "true or false"
	}
	return "a number"
}

// kindFor is the kind by which a value is sought. One of a kind that package leak
// does not know is a measurement or a sum if it can be read as one, and else the
// name of a thing.
func kindFor(kind, value string) string {
	switch kind {
	case "person", "supplier", "term", "cost", "reading", "thickness", "least_thickness", "loss", "limit",
		"number", "serial", "drawing", "report", "approval":
		return kind
	}
	const longest = 200 // bytes; a longer one is prose
	if value = strings.TrimSpace(value); len(value) > longest {
		return kind
	}
	for _, f := range measure.Find(value) {
		if f.Start == 0 && f.End == len(value) {
			return "reading"
		}
	}
	for _, f := range measure.FindPercents(value) {
		if f.Start == 0 && f.End == len(value) {
			return "reading"
		}
	}
	if _, err := measure.ParseMoney(value); err == nil {
		return "cost"
	}
	return kind
}
