package photo

import (
	"cmp"
	"errors"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// errLayout says that a tag is sound but written in a way that is not edited here.
var errLayout = errors.New("the tag is not written one key to a line, so it cannot be changed without touching the rest; change it by hand")

// stretch is a part of a text, in bytes.
type stretch struct{ from, to int }

// pair is a key of a mapping in block style, and where its value stands.
type pair struct {
	key   string
	lines stretch // whole lines, the last line end included
	after int     // just behind the colon
	value stretch // empty where there is no value
}

// tagText is the text of a tag and what is to be changed in it. Whatever is not
// changed stays byte for byte: comments, the order of keys, quotes, line ends.
type tagText struct {
	src     string
	newline string
	pairs   []pair
	splices []splice
	tail    []string // lines of keys that are new
}

// splice puts a text in the place of a stretch.
type splice struct {
	stretch
	text string
}

// readText finds the keys of a tag. It leaves to the strict reader whether the
// tag is sound, and gives up with errLayout on what it does not know.
func readText(src string) (*tagText, error) {
	t := &tagText{src: src, newline: "\n"}
	if i := strings.IndexByte(src, '\n'); i > 0 && src[i-1] == '\r' {
		t.newline = "\r\n"
	}
	var err error
	if t.pairs, err = blockPairs(src, stretch{0, len(src)}, 0); err == nil && len(t.pairs) == 0 {
		err = errLayout
	}
	return t, err
}

// lineEnd is the place behind the line end that follows a place.
func lineEnd(src string, at, to int) int {
	if i := strings.IndexByte(src[at:to], '\n'); i >= 0 {
		return at + i + 1
	}
	return to
}

// contentEnd is where the line of a place ends, before its line end.
func contentEnd(src string, at, to int) int {
	end := lineEnd(src, at, to)
	return at + len(strings.TrimRight(src[at:end], "\r\n"))
}

func lineStart(src string, at int) int { return strings.LastIndexByte(src[:at], '\n') + 1 }

func isSpace(c byte) bool { return c == ' ' || c == '\t' || c == '\r' || c == '\n' }

// blockPairs cuts a mapping in block style into its pairs. Its keys are indented
// by so many spaces; the first of an item in a list follows its hyphen.
func blockPairs(src string, in stretch, indent int) ([]pair, error) {
	var pairs []pair
	for pos := in.from; pos < in.to; {
		line := src[pos:contentEnd(src, pos, in.to)]
		text := strings.TrimLeft(line, " ")
		at := pos + len(line) - len(text)
		switch {
		case strings.TrimSpace(text) == "" || text[0] == '#' || indent == 0 && len(pairs) == 0 && text == "---":
			pos = lineEnd(src, pos, in.to)
			continue
		case at-pos != indent && (pos != in.from || indent == 0):
			return nil, errLayout
		}
		p, err := readPair(src, at, in.to, indent)
		if err != nil {
			return nil, err
		}
		p.lines.from = pos
		pairs = append(pairs, p)
		pos = p.lines.to
	}
	return pairs, nil
}

var plainKey = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_-]*`)

func readPair(src string, at, to, indent int) (p pair, err error) {
	behind := at
	switch c := src[at]; c {
	case '"', '\'':
		if behind = closeQuote(src, at, to); behind < 0 {
			return p, errLayout
		}
		p.key = src[at+1 : behind-1]
	default:
		p.key = plainKey.FindString(src[at:to])
		behind += len(p.key)
	}
	for behind < to && src[behind] == ' ' {
		behind++
	}
	if p.key == "" || behind >= to || src[behind] != ':' || behind+1 < to && !isSpace(src[behind+1]) {
		return p, errLayout
	}
	p.after = behind + 1
	lineTo := contentEnd(src, p.after, to)
	v := p.after
	for v < lineTo && (src[v] == ' ' || src[v] == '\t') {
		v++
	}
	p.value = stretch{p.after, p.after}
	end := p.after // of what must be followed by no more than a remark
	switch {
	case v == lineTo || src[v] == '#':
		if below, found := linesBelow(src, lineEnd(src, v, to), to, indent, true); found {
			p.value, end = below, below.to
		}
	default:
		if end, err = valueEnd(src, v, to, indent); err != nil {
			return p, err
		}
		p.value = stretch{v, end}
	}
	if rest := strings.TrimSpace(src[end:contentEnd(src, end, to)]); rest != "" && rest[0] != '#' {
		return p, errLayout
	}
	p.lines.to = lineEnd(src, end, to)
	return p, nil
}

// linesBelow finds a value that stands on the lines below its key: from its first
// character to the end of its last line. Blank lines and remarks behind it do not
// belong to it.
func linesBelow(src string, pos, to, indent int, list bool) (found stretch, ok bool) {
	for pos < to {
		end := contentEnd(src, pos, to)
		text := strings.TrimLeft(src[pos:end], " ")
		at := end - len(text)
		item := list && at-pos == indent && (text == "-" || strings.HasPrefix(text, "- "))
		switch {
		case strings.TrimSpace(text) == "" || text[0] == '#':
		case at-pos > indent || item:
			if !ok {
				found.from, ok = at, true
			}
			found.to = end
		default:
			return found, ok
		}
		pos = lineEnd(src, pos, to)
	}
	return found, ok
}

// valueEnd finds the end of a value that begins on its key's line.
func valueEnd(src string, v, to, indent int) (int, error) {
	switch src[v] {
	case '[', '{':
		_, end, err := flow(src, v, to)
		return end, err
	case '"', '\'':
		if end := closeQuote(src, v, to); end > 0 {
			return end, nil
		}
		return 0, errLayout
	case '|', '>':
		end := contentEnd(src, v, to)
		for pos := lineEnd(src, v, to); pos < to; pos = lineEnd(src, pos, to) {
			stop := contentEnd(src, pos, to)
			text := strings.TrimLeft(src[pos:stop], " ")
			if text != "" && stop-len(text)-pos <= indent {
				break
			}
			if text != "" {
				end = stop
			}
		}
		return end, nil
	case '&', '*', '!':
		return 0, errLayout
	}
	end := contentEnd(src, v, to)
	if i := strings.Index(src[v:end], " #"); i >= 0 {
		return v + len(strings.TrimRight(src[v:v+i], " \t")), nil
	}
	if below, more := linesBelow(src, lineEnd(src, v, to), to, indent, false); more {
		return below.to, nil
	}
	return v + len(strings.TrimRight(src[v:end], " \t")), nil
}

// closeQuote is the place behind the closing quotation mark, or -1.
func closeQuote(src string, at, to int) int {
	quote := src[at]
	for i := at + 1; i < to; i++ {
		switch {
		case src[i] == '\\' && quote == '"':
			i++
		case src[i] == quote && quote == '\'' && i+1 < to && src[i+1] == '\'':
			i++
		case src[i] == quote:
			return i + 1
		}
	}
	return -1
}

// flow cuts a value in brackets or braces into its parts, and says where it ends.
func flow(src string, at, to int) (parts []stretch, end int, err error) {
	depth, part := 0, stretch{-1, -1}
	grow := func(from, to int) {
		if part.from < 0 {
			part.from = from
		}
		part.to = to
	}
	flush := func() {
		if part.from >= 0 {
			parts = append(parts, part)
		}
		part = stretch{-1, -1}
	}
	fresh := true // a quotation mark would open a text here
	for i := at; i < to; i++ {
		c := src[i]
		switch {
		case isSpace(c):
			continue
		case c == '#' && isSpace(src[i-1]):
			i = contentEnd(src, i, to) - 1
			continue
		case (c == '"' || c == '\'') && fresh:
			behind := closeQuote(src, i, to)
			if behind < 0 {
				return nil, 0, errLayout
			}
			grow(i, behind)
			i, fresh = behind-1, false
			continue
		case c == '[' || c == '{':
			depth++
			fresh = true
			if depth > 1 {
				grow(i, i+1)
			}
			continue
		case c == ']' || c == '}':
			if depth--; depth == 0 {
				flush()
				return parts, i + 1, nil
			}
		case c == ',' && depth == 1:
			flush()
			fresh = true
			continue
		}
		grow(i, i+1)
		fresh = c == ',' || c == ':'
	}
	return nil, 0, errLayout
}

func (t *tagText) find(key string) (pair, bool) {
	i := slices.IndexFunc(t.pairs, func(p pair) bool { return p.key == key })
	if i < 0 {
		return pair{}, false
	}
	return t.pairs[i], true
}

func (t *tagText) put(at stretch, text string) { t.splices = append(t.splices, splice{at, text}) }

func (t *tagText) insert(at int, text string) { t.put(stretch{at, at}, text) }

// set gives a key a value of one line.
func (t *tagText) set(key, value string) {
	p, found := t.find(key)
	if !found {
		t.tail = append(t.tail, key+": "+value)
		return
	}
	t.setPair(p, value)
}

func (t *tagText) setPair(p pair, value string) {
	switch {
	case p.value.from == p.value.to:
		t.insert(p.after, " "+value)
	case strings.ContainsRune(t.src[p.after:p.value.from], '\n'):
		t.insert(p.after, " "+value)
		t.put(stretch{lineStart(t.src, p.value.from), lineEnd(t.src, p.value.to, len(t.src))}, "")
	default:
		t.put(p.value, value)
	}
}

// setList gives a key a list, one item to a line.
func (t *tagText) setList(key string, items []string) {
	var lines strings.Builder
	for _, item := range items {
		lines.WriteString(t.newline + "  - " + item)
	}
	p, found := t.find(key)
	switch {
	case !found:
		t.tail = append(t.tail, key+":"+lines.String())
	case strings.ContainsRune(t.src[p.after:p.value.from], '\n'):
		t.put(stretch{contentBefore(t.src, lineStart(t.src, p.value.from)), p.value.to}, lines.String())
	default:
		t.put(stretch{p.after, p.value.to}, "")
		t.insert(contentEnd(t.src, p.value.to, len(t.src)), lines.String())
	}
}

// contentBefore is the end of the line that ends just before a line's start.
func contentBefore(src string, start int) int { return len(strings.TrimRight(src[:start], "\r\n")) }

// add puts items behind those that a list has.
func (t *tagText) add(key string, items []string) error {
	p, found := t.find(key)
	if !found || p.value.from == p.value.to {
		t.setList(key, items)
		return nil
	}
	switch t.src[p.value.from] {
	case '[':
		parts, _, err := flow(t.src, p.value.from, p.value.to)
		if err != nil {
			return err
		}
		text := strings.Join(items, ", ")
		if len(parts) == 0 {
			t.put(p.value, "["+text+"]")
		} else {
			t.insert(parts[len(parts)-1].to, ", "+text)
		}
	case '-':
		indent := strings.Repeat(" ", p.value.from-lineStart(t.src, p.value.from))
		for _, item := range items {
			t.insert(p.value.to, t.newline+indent+"- "+item)
		}
	default:
		return errLayout
	}
	return nil
}

// items finds the items of a list.
func (t *tagText) items(key string) ([]stretch, error) {
	p, found := t.find(key)
	if !found || p.value.from == p.value.to {
		return nil, nil
	}
	if t.src[p.value.from] == '[' {
		parts, _, err := flow(t.src, p.value.from, p.value.to)
		return parts, err
	}
	var found2 []stretch
	indent := p.value.from - lineStart(t.src, p.value.from)
	for pos := lineStart(t.src, p.value.from); pos < p.value.to; pos = lineEnd(t.src, pos, len(t.src)) {
		end := contentEnd(t.src, pos, p.value.to)
		text := strings.TrimLeft(t.src[pos:end], " ")
		switch {
		case text == "" || text[0] == '#':
		case end-len(text)-pos == indent && strings.HasPrefix(text, "- "):
			inner := strings.TrimLeft(text[2:], " ")
			found2 = append(found2, stretch{end - len(inner), end})
		case len(found2) == 0:
			return nil, errLayout
		default:
			found2[len(found2)-1].to = end
		}
	}
	return found2, nil
}

// setIn gives keys of a mapping that is an item of a list their values.
func (t *tagText) setIn(item stretch, values []keyValue) error {
	if item.from == item.to {
		return errLayout
	}
	if t.src[item.from] == '{' {
		return t.setInFlow(item, values)
	}
	column := item.from - lineStart(t.src, item.from)
	pairs, err := blockPairs(t.src, item, column)
	if err != nil {
		return err
	}
	for _, v := range values {
		if i := slices.IndexFunc(pairs, func(p pair) bool { return p.key == v.key }); i >= 0 {
			t.setPair(pairs[i], v.value)
		} else {
			t.insert(item.to, t.newline+strings.Repeat(" ", column)+v.key+": "+v.value)
		}
	}
	return nil
}

func (t *tagText) setInFlow(item stretch, values []keyValue) error {
	parts, _, err := flow(t.src, item.from, item.to)
	if err != nil || len(parts) == 0 {
		return errLayout
	}
	for _, v := range values {
		known := false
		for _, part := range parts {
			key, value, _ := strings.Cut(t.src[part.from:part.to], ":")
			if known = strings.Trim(key, ` "'`) == v.key; known {
				from := part.to - len(strings.TrimLeft(value, " \r\n\t"))
				text := v.value
				if from == part.to {
					text = " " + text
				}
				t.put(stretch{from, part.to}, text)
				break
			}
		}
		if !known {
			t.insert(parts[len(parts)-1].to, ", "+v.key+": "+v.value)
		}
	}
	return nil
}

// drop takes a key out with its lines.
func (t *tagText) drop(key string) {
	if p, found := t.find(key); found {
		t.put(p.lines, "")
	}
}

// String is the text with its changes.
func (t *tagText) String() string {
	splices := slices.Clone(t.splices)
	if len(t.tail) > 0 {
		end := t.pairs[len(t.pairs)-1].lines.to
		text := strings.Join(t.tail, t.newline) + t.newline
		if end > 0 && t.src[end-1] != '\n' {
			text = t.newline + text
		}
		splices = append(splices, splice{stretch{end, end}, text})
	}
	// From the last place to the first, so that places stay true; of two texts at
	// one place the later comes behind.
	slices.Reverse(splices)
	slices.SortStableFunc(splices, func(a, b splice) int { return cmp.Compare(b.from, a.from) })
	out := t.src
	for _, s := range splices {
		out = out[:s.from] + s.text + out[s.to:]
	}
	return out
}

// keyValue is a key and its value as YAML.
type keyValue struct{ key, value string }

// inBraces writes keys and values on one line.
func inBraces(values []keyValue) string {
	var all []string
	for _, v := range values {
		all = append(all, v.key+": "+v.value)
	}
	return "{" + strings.Join(all, ", ") + "}"
}

var plainText = regexp.MustCompile(`^[A-Za-z]([A-Za-z0-9 ._'/()-]*[A-Za-z0-9.'/()])?$|^\d{4}-\d{2}-\d{2}$`)

// quoted writes a text as YAML: plain where nothing in it could be taken for
// anything else, and otherwise in double quotes.
func quoted(s string) string {
	if plainText.MatchString(s) && !strings.EqualFold(s, "null") {
		return s
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < ' ' || r == 0x7f:
			b.WriteString(`\x` + strconv.FormatInt(int64(r)+0x100, 16)[1:])
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
