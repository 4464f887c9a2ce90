package reading

import (
	"bytes"
	"encoding"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/adrg/frontmatter"
	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Pair is one key and value of a mapping whose order matters. A field of type
// []Pair takes a mapping from words to words.
type Pair struct{ Key, Value string }

// Doc remembers where each value of a document stands.
type Doc struct {
	File   string
	places map[string]Place
}

// At returns the place of a value by its path: "finding.causes[0]". A path that
// the document does not hold gives the nearest one above it, or the file.
func (d *Doc) At(path string) Place {
	for {
		if p, ok := d.places[path]; ok {
			return p
		}
		i := strings.LastIndexAny(path, ".[")
		if i < 0 {
			return Place{File: d.File, Line: d.places[""].Line}
		}
		path = path[:i]
	}
}

// Has reports whether the document holds a value at the path.
func (d *Doc) Has(path string) bool { _, ok := d.places[path]; return ok }

// Problem makes a problem about the value at a path.
func (d *Doc) Problem(path, code, value, message, remedy string) Problem {
	return Problem{Place: d.At(path), Code: code, Value: Shorten(value), Message: message, Remedy: remedy}
}

// FrontMatter reads a Markdown file with YAML front matter between lines of
// three hyphens. It returns the body and the line at which the body begins.
// into is a pointer to a struct with yaml tags.
func FrontMatter(file string, src []byte, into any) (doc *Doc, body string, bodyLine int, problems []Problem) {
	doc = &Doc{File: file, places: map[string]Place{}}
	src = bytes.ReplaceAll(src, []byte("\r\n"), []byte("\n"))
	blank := len(src) - len(bytes.TrimLeft(src, " \t\n"))
	first := 1 + bytes.Count(src[:blank], []byte("\n"))
	missing := Problem{Place: Place{File: file, Line: first}, Code: "no-front-matter",
		Message: "the front matter is missing or not closed", Remedy: "begin the file with a line of three hyphens, the keys, and another line of three hyphens"}
	if line := firstLine(src[blank:]); line != "" && line != "---" && strings.Trim(line, "-–—―−") == "" {
		missing.Message = fmt.Sprintf("the first line is %q and not three hyphens", line)
		missing.Remedy = "write --- there and below the keys; a phone may turn hyphens into a long dash by itself"
	}

	var front []byte
	keep := func(data []byte, _ any) error { front = bytes.Clone(data); return nil }
	rest, err := frontmatter.MustParse(bytes.NewReader(src), &struct{}{}, frontmatter.NewFormat("---", "---", keep))
	switch {
	case errors.Is(err, frontmatter.ErrNotFound):
		return doc, "", first, []Problem{missing}
	case err != nil && !errors.Is(err, io.EOF):
		missing.Message = fmt.Sprintf("the front matter cannot be read (%v)", err)
		return doc, "", first, []Problem{missing}
	}
	bodyLine = 1 + bytes.Count(src[:len(src)-len(rest)], []byte("\n"))
	doc, problems = decode(file, front, first, into)
	return doc, string(rest), bodyLine, problems
}

func firstLine(src []byte) string {
	line, _, _ := bytes.Cut(src, []byte("\n"))
	return strings.TrimSpace(string(line))
}

// YAML reads a YAML document strictly into a struct with yaml tags.
func YAML(file string, src []byte, into any) (*Doc, []Problem) {
	return decode(file, bytes.ReplaceAll(src, []byte("\r\n"), []byte("\n")), 0, into)
}

func decode(file string, src []byte, lineOffset int, into any) (*Doc, []Problem) {
	d := &decoder{doc: &Doc{File: file, places: map[string]Place{}}, offset: lineOffset}
	d.doc.places[""] = Place{File: file, Line: 1 + lineOffset}
	if len(src) > MaxFrontMatter {
		d.add(Place{File: file, Line: 1 + lineOffset}, "too-large", "", fmt.Sprintf("the settings have %d bytes; the most taken is %d", len(src), MaxFrontMatter), "move long text into the body")
		return d.doc, d.problems
	}
	if line, deep := tooDeep(src); deep {
		d.add(Place{File: file, Line: line + lineOffset}, "too-deep", "", "brackets are nested more than 20 deep", "flatten the value")
		return d.doc, d.problems
	}
	d.cutShort(src)
	parsed, err := parser.ParseBytes(src, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		d.syntax(err)
		return d.doc, d.problems
	}
	var docs []ast.Node
	for _, doc := range parsed.Docs {
		if doc.Body != nil && doc.Body.Type() != ast.CommentType {
			docs = append(docs, doc.Body)
		}
	}
	switch {
	case len(docs) == 0:
		d.add(d.doc.places[""], "empty", "", "there are no keys here", "write them, one to a line")
	case len(docs) > 1:
		d.add(d.place(docs[1]), "two-documents", "", "a second document begins here", "keep one document to a file")
	default:
		d.value(docs[0], reflect.ValueOf(into).Elem(), "", 0)
	}
	return d.doc, d.problems
}

// tooDeep guards the parser, which calls itself for each bracket.
func tooDeep(src []byte) (line int, deep bool) {
	depth, line := 0, 1
	for _, c := range src {
		switch c {
		case '\n':
			line++
		case '[', '{':
			if depth++; depth > 20 {
				return line, true
			}
		case ']', '}':
			depth = max(0, depth-1)
		}
	}
	return 0, false
}

type decoder struct {
	doc      *Doc
	offset   int
	problems []Problem
}

func (d *decoder) add(p Place, code, value, message, remedy string) {
	d.problems = append(d.problems, Problem{Place: p, Code: code, Value: Shorten(value), Message: message, Remedy: remedy})
}

func (d *decoder) at(t *token.Token) Place {
	p := Place{File: d.doc.File, Line: 1 + d.offset}
	if t != nil && t.Position != nil {
		p.Line, p.Column = t.Position.Line+d.offset, t.Position.Column
	}
	return p
}

func (d *decoder) place(n ast.Node) Place {
	switch n := n.(type) {
	case *ast.MappingNode:
		if len(n.Values) > 0 && !n.IsFlowStyle {
			return d.place(n.Values[0].Key)
		}
	case *ast.MappingValueNode:
		return d.place(n.Key)
	}
	return d.at(n.GetToken())
}

func (d *decoder) syntax(err error) {
	message := err.Error()
	p := Place{File: d.doc.File, Line: 1 + d.offset}
	var ye yaml.Error
	if errors.As(err, &ye) {
		message = ye.GetMessage()
		p = d.at(ye.GetToken())
	}
	for _, c := range inWords {
		if strings.Contains(message, c.parser) {
			d.add(p, "syntax", "", "this cannot be read: "+c.message, c.remedy)
			return
		}
	}
	d.add(p, "syntax", "", "this is not YAML ("+message+")", "check the indentation, the colons and the quotes; put text that begins with a bracket or brace, or holds a colon, in quotes")
}

// inWords says what the YAML parser means, for people who have not met one.
var inWords = []struct{ parser, message, remedy string }{
	{"'\t' that cannot start", "a tab stands before the key", "put spaces in its place"},
	{"mapping value is not allowed in this context", "a colon stands inside the text", "put the text in double quotes"},
	{"could not find end character of", "a quotation mark is opened and not closed", "close it, or take it out"},
	{"non-map value is specified", "there is no key and colon here", "write key: value, with a space after the colon"},
	{"unexpected key name", "there is no key and colon here", "write key: value, with a space after the colon"},
	{"is a reserved character", "the text begins with a sign that has a meaning of its own", "put the text in double quotes"},
	{"invalid header option", "the text begins with > or |, which has a meaning of its own", "put the text in double quotes"},
	{"block sequence entries are not allowed", "a hyphen and a space begin a list where none fits", "put the text in double quotes, or each item on a line of its own"},
	{"value is not allowed in this context", "something follows where the value should have ended", "put the whole text in one pair of double quotes"},
}

// cutShort finds values that a # ends without the writer having meant it: a
// remark is written with a space after the sign, "bin #31" is not one. What
// follows would be lost without a word, and with it what is private in it.
func (d *decoder) cutShort(src []byte) {
	var before *token.Token
	for _, t := range lexer.Tokenize(string(src)) {
		if t.Type == token.CommentType && before != nil && before.Position.Line == t.Position.Line &&
			t.Value != "" && !strings.ContainsAny(t.Value[:1], " \t#") {
			d.add(d.at(t), "cut-short", "#"+t.Value, fmt.Sprintf("%q would be taken for a remark and lost", Shorten("#"+t.Value)),
				"put the whole text in double quotes, or leave a space after the # of a remark")
		}
		before = t
	}
}

var textUnmarshaler = reflect.TypeFor[encoding.TextUnmarshaler]()

// value puts a node into a Go value.
func (d *decoder) value(n ast.Node, into reflect.Value, path string, depth int) {
	if depth > 20 {
		d.add(d.place(n), "too-deep", "", "values are nested more than 20 deep", "flatten the value")
		return
	}
	d.doc.places[path] = d.place(n)
	switch n := n.(type) {
	case *ast.NullNode:
		return
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode, *ast.MergeKeyNode:
		d.add(d.place(n), "not-plain", n.String(), "anchors, aliases and tags are not used here", "write the value out")
		return
	}
	if into.Kind() == reflect.Pointer {
		into.Set(reflect.New(into.Type().Elem()))
		into = into.Elem()
	}
	if reflect.PointerTo(into.Type()).Implements(textUnmarshaler) {
		text, ok := d.scalar(n, path, "a single value")
		if !ok {
			return
		}
		if err := into.Addr().Interface().(encoding.TextUnmarshaler).UnmarshalText([]byte(text)); err != nil {
			d.add(d.doc.places[path], "bad-value", text, fmt.Sprintf("%s: %v", last(path), err), "correct the value")
		}
		return
	}
	switch into.Kind() {
	case reflect.Struct:
		d.mapping(n, into, path, depth)
	case reflect.Slice:
		if into.Type() == reflect.TypeFor[[]Pair]() {
			d.pairs(n, into, path)
			return
		}
		d.sequence(n, into, path, depth)
	case reflect.String:
		if text, ok := d.scalar(n, path, "text"); ok {
			into.SetString(text)
		}
	case reflect.Bool:
		if b, ok := n.(*ast.BoolNode); ok {
			into.SetBool(b.Value)
		} else if text, ok := d.scalar(n, path, "true or false"); ok {
			d.add(d.doc.places[path], "bad-value", text, fmt.Sprintf("%s: %q is neither true nor false", last(path), Shorten(text)), "write true or false")
		}
	case reflect.Int:
		if text, ok := d.scalar(n, path, "a whole number"); ok {
			i, err := strconv.Atoi(text)
			if err != nil {
				d.add(d.doc.places[path], "bad-value", text, fmt.Sprintf("%s: %q is not a whole number", last(path), Shorten(text)), "write digits only")
				return
			}
			into.SetInt(int64(i))
		}
	case reflect.Float64:
		if text, ok := d.scalar(n, path, "a number"); ok {
			f, err := strconv.ParseFloat(text, 64)
			if err != nil || math.IsNaN(f) || math.IsInf(f, 0) {
				d.add(d.doc.places[path], "bad-value", text, fmt.Sprintf("%s: %q is not a number", last(path), Shorten(text)), "write a number such as 1.5")
				return
			}
			into.SetFloat(f)
		}
	default:
		panic("reading: a field of type " + into.Type().String() + " cannot be read")
	}
}

func last(path string) string {
	if i := strings.LastIndexByte(path, '.'); i >= 0 {
		return path[i+1:]
	}
	return path
}

// scalar returns the text of a single value as it was written.
func (d *decoder) scalar(n ast.Node, path, want string) (string, bool) {
	switch n := n.(type) {
	case *ast.StringNode:
		return d.shown(n, n.Value)
	case *ast.LiteralNode:
		return d.shown(n, n.Value.Value)
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	d.add(d.place(n), "wrong-shape", "", fmt.Sprintf("%s should be %s", last(path), want), "write one value, in quotes if it holds brackets or a colon")
	return "", false
}

// shown refuses a text into which an escape puts a character that does not show.
func (d *decoder) shown(n ast.Node, text string) (string, bool) {
	if i := hidden(text); i >= 0 {
		r, _ := utf8.DecodeRuneInString(text[i:])
		d.add(d.place(n), "hidden-character", "", fmt.Sprintf("the text holds a character that does not show (%U)", r), hiddenRemedy)
		return "", false
	}
	return text, true
}

func pairsOf(n ast.Node) ([]*ast.MappingValueNode, bool) {
	switch n := n.(type) {
	case *ast.MappingNode:
		return n.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{n}, true
	}
	return nil, false
}

// keys walks the pairs of a mapping and reports keys that stand twice.
func (d *decoder) keys(n ast.Node, path string, each func(key string, pair *ast.MappingValueNode)) {
	pairs, ok := pairsOf(n)
	if !ok {
		name := last(path)
		if name == "" {
			name = "the file"
		}
		d.add(d.place(n), "wrong-shape", "", name+" should hold keys and values", "write key: value, one to a line")
		return
	}
	seen := map[string]Place{}
	for _, pair := range pairs {
		key := pair.Key.GetToken().Value
		if _, merge := pair.Key.(*ast.MergeKeyNode); merge {
			d.add(d.place(pair.Key), "not-plain", key, "merge keys are not used here", "write the keys out")
			continue
		}
		if first, twice := seen[key]; twice {
			d.add(d.place(pair.Key), "duplicate-key", key, fmt.Sprintf("the key %q stands twice (first at line %d)", Shorten(key), first.Line), "keep one of the two")
			continue
		}
		seen[key] = d.place(pair.Key)
		each(key, pair)
	}
}

func (d *decoder) mapping(n ast.Node, into reflect.Value, path string, depth int) {
	fields := map[string]int{}
	var known []string
	for i := range into.NumField() {
		if name := into.Type().Field(i).Tag.Get("yaml"); name != "" {
			fields[name] = i
			known = append(known, name)
		}
	}
	d.keys(n, path, func(key string, pair *ast.MappingValueNode) {
		i, ok := fields[key]
		if !ok {
			remedy := "the keys here are " + strings.Join(slices.Sorted(slices.Values(known)), ", ")
			if near := Nearest(key, known); near != "" {
				remedy = fmt.Sprintf("did you mean %q?", near)
			}
			d.add(d.place(pair.Key), "unknown-key", key, fmt.Sprintf("the key %q is not known here", Shorten(key)), remedy)
			return
		}
		child := key
		if path != "" {
			child = path + "." + key
		}
		d.doc.places[child] = d.place(pair.Key)
		d.value(pair.Value, into.Field(i), child, depth+1)
	})
}

func (d *decoder) pairs(n ast.Node, into reflect.Value, path string) {
	d.keys(n, path, func(key string, pair *ast.MappingValueNode) {
		child := path + "." + key
		d.doc.places[child] = d.place(pair.Value)
		if text, ok := d.scalar(pair.Value, child, "text"); ok {
			into.Set(reflect.Append(into, reflect.ValueOf(Pair{key, text})))
		}
	})
}

func (d *decoder) sequence(n ast.Node, into reflect.Value, path string, depth int) {
	list, ok := n.(*ast.SequenceNode)
	if !ok {
		d.add(d.place(n), "wrong-shape", "", last(path)+" should be a list", "put it in square brackets, or one to a line after a hyphen")
		return
	}
	for i, item := range list.Values {
		v := reflect.New(into.Type().Elem()).Elem()
		d.value(item, v, fmt.Sprintf("%s[%d]", path, i), depth+1)
		into.Set(reflect.Append(into, v))
	}
}
