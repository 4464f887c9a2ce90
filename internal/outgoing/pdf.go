package outgoing

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/ledongthuc/pdf"
)

// readPDF returns the texts of a PDF: what its pages show, one segment for each
// piece of marked content, and every string of its other objects, such as the
// document's title, alternative texts and the targets of links.
func readPDF(data []byte) (all []Segment, err error) {
	defer func() {
		if fault := recover(); fault != nil { // the library panics over what it does not know
			all, err = nil, unreadable("the PDF: %v", fault)
		}
	}()
	r, err := pdf.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, unreadable("the PDF: %v", err)
	}
	w := walker{}
	for n := 1; n <= r.NumPage(); n++ {
		page := r.Page(n)
		if page.V.IsNull() {
			return nil, unreadable("the PDF: page %d is missing", n)
		}
		w.where = fmt.Sprintf("page %d", n)
		w.content(page)
		w.strings(page.V, 0)
	}
	w.where = "the PDF's own data"
	w.strings(r.Trailer(), 0)
	if w.err == nil {
		w.err = w.photos(data)
	}
	return w.segments, w.err
}

// walker gathers the segments of a PDF.
type walker struct {
	where    string
	segments []Segment
	seen     int
	jpegs    int // streams that are photos; one that two pages share counts twice
	err      error
}

func (w *walker) add(text string) {
	if strings.TrimSpace(text) != "" {
		w.segments = append(w.segments, Segment{w.where, text})
	}
}

// content reads the operators that show text (ISO 32000-1, 9.4.3) and joins what
// belongs to one piece of marked content (14.6). A line that ends in a hyphen
// that was only put in to break a word is joined without it.
func (w *walker) content(page pdf.Page) {
	fonts := map[string]*pdf.Font{}
	for _, name := range page.Fonts() {
		f := page.Font(name)
		fonts[name] = &f
	}
	var text strings.Builder
	var font *pdf.Font
	depth := 0
	show := func(s pdf.Value) {
		if font == nil {
			w.err = unreadable("the PDF: %s shows text in a font that it does not have", w.where)
			return
		}
		text.WriteString(font.Encoder().Decode(s.RawString()))
	}
	pdf.Interpret(page.V.Key("Contents"), func(stack *pdf.Stack, op string) {
		args := make([]pdf.Value, stack.Len())
		for i := len(args) - 1; i >= 0; i-- {
			args[i] = stack.Pop()
		}
		last := pdf.Value{}
		if len(args) > 0 {
			last = args[len(args)-1]
		}
		switch op {
		case "BMC", "BDC":
			if depth == 0 {
				w.add(text.String())
				text.Reset()
			}
			depth++
			w.strings(last, 0)
		case "EMC":
			if depth--; depth == 0 {
				w.add(text.String())
				text.Reset()
			}
		case "BT":
			joinLine(&text)
		case "Tf":
			if len(args) == 2 {
				font = fonts[args[0].Name()]
			}
		case "Tj", "'", `"`:
			show(last)
		case "TJ":
			for i := range last.Len() {
				if item := last.Index(i); item.Kind() == pdf.String {
					show(item)
				}
			}
		case "BI":
			w.err = unreadable("the PDF: %s has a picture among its text", w.where)
		}
	})
	w.add(text.String())
}

const softHyphen = "\u00ad"

// joinLine begins a new line of a text.
func joinLine(text *strings.Builder) {
	s := text.String()
	if s == "" {
		return
	}
	text.Reset()
	if cut, broken := strings.CutSuffix(s, softHyphen); broken {
		text.WriteString(cut)
		return
	}
	text.WriteString(s + " ")
}

// Keys that lead back up, to another page, or to what is read elsewhere; those of
// the bytes of fonts, which are the theme's.
var (
	upwards = []string{"Parent", "P", "Pg", "Prev", "Last", "ParentTree", "Dest"}
	notText = []string{"Contents", "FontFile", "FontFile2", "FontFile3", "ToUnicode", "CIDToGIDMap", "CIDSet", "ID"}
)

const (
	deepest  = 200
	mostSeen = 20_000_000 // objects; a file with more is refused rather than read for ever
)

// strings gathers every string below a value, and reads its streams.
func (w *walker) strings(v pdf.Value, depth int) {
	if w.seen++; w.seen > mostSeen || depth > deepest {
		w.err = unreadable("the PDF is too deep or too large")
		return
	}
	switch v.Kind() {
	case pdf.String:
		w.add(v.Text())
	case pdf.Array:
		for i := range v.Len() {
			w.strings(v.Index(i), depth+1)
		}
	case pdf.Stream:
		w.stream(v)
		w.keys(v, depth)
	case pdf.Dict:
		w.keys(v, depth)
	}
}

func (w *walker) keys(v pdf.Value, depth int) {
	for _, key := range v.Keys() {
		if slices.Contains(upwards, key) || key == "Kids" && v.Key("Type").Name() == "Pages" {
			continue
		}
		item := v.Key(key)
		if slices.Contains(notText, key) && !(key == "Contents" && item.Kind() == pdf.String) {
			continue
		}
		w.strings(item, depth+1)
	}
}

// stream reads a stream that is no page: a picture, or metadata.
func (w *walker) stream(v pdf.Value) {
	if v.Key("Filter").Name() == "DCTDecode" {
		w.jpegs++
		return // the library hands out no undecoded stream: see photos
	}
	body, err := io.ReadAll(v.Reader())
	if err != nil {
		w.err = unreadable("the PDF: a stream: %v", err)
		return
	}
	switch {
	case v.Key("Type").Name() == "Metadata":
		for _, s := range readMarkup(body) {
			w.add(s.Text)
		}
	case v.Key("Subtype").Name() == "Form":
		w.err = unreadable("the PDF: %s has a form inside it, which no card of ours has", w.where)
	}
}

// photoStream is how a JPEG stands in a PDF: its bytes as they are.
var photoStream = regexp.MustCompile(`/DCTDecode[^<>]{0,80}/Length (\d{1,9})[^<>]{0,80}>>\s{0,2}stream\r?\n`)

// photos reads the JPEGs inside a PDF.
func (w *walker) photos(data []byte) error {
	found := photoStream.FindAllSubmatchIndex(data, -1)
	if len(found) == 0 && w.jpegs > 0 {
		return unreadable("the PDF: its photos cannot be read")
	}
	for _, m := range found {
		length, err := strconv.Atoi(string(data[m[2]:m[3]]))
		if err != nil || length > len(data)-m[1] {
			return unreadable("the PDF: a photo in it is cut short")
		}
		segments, err := readJPEG(data[m[1] : m[1]+length])
		if err != nil {
			return fmt.Errorf("a photo in the PDF: %w", err)
		}
		w.segments = append(w.segments, segments...)
	}
	return nil
}
