package card

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/reading"
)

// leastType is the smallest type on any card: clear print (UKAAF G003: at least
// 12 pt).
const leastType = 12 * typeset.Point

// leastLarge is the smallest type in large print (UKAAF G003: at least 16 pt).
const leastLarge = 16 * typeset.Point

// leastModule is the smallest side of a QR module that a phone reads off a card
// in poor light (common practice, no source).
var leastModule = typeset.Micrometres(500)

// mostModule keeps a code of 33 modules to a third of the narrower of the large
// papers (common practice, no source).
var mostModule = typeset.Micrometres(1500)

// leastContrast is that of text against its ground (WCAG 2.2, SC 1.4.3). What is
// read in a dim hangar from some way off has more (SC 1.4.6).
const (
	leastContrast    = 4.5
	leastFarContrast = 7
)

// leastFarLetter is the height of capital letters that are read at 2 m: 5/8 inch,
// and 1/8 inch for each foot above 72 inches (2010 ADA Standards for Accessible
// Design, 703.5.5, for signs 40 to 70 inches above the floor), here for 78.74 inches.
var leastFarLetter = typeset.Micrometres(17_658)

// leastNearLetter is that of letters that are read at 1 m: 20 minutes of arc, the
// middle of the 16 to 24 that human-factors standards ask for (FAA Human Factors
// Design Standard), 2 × 1 m × tan(10′).
var leastNearLetter = typeset.Micrometres(5_818)

// Lines nearer than this touch; farther apart than this they do not hold
// together (percent of the type size; common practice, no source).
const leastLeading, mostLeading = 105, 200

// face is how one side of a card, or another paper of a tour, looks:
// themes/faces/NAME.yaml.
type face struct {
	Fonts        faceFonts   `yaml:"fonts"`
	Colours      faceColours `yaml:"colours"`
	LineChars    int         `yaml:"line_chars"`
	TitleLeading int         `yaml:"title_leading"` // percent of the size
	Fields       []string    `yaml:"fields"`
	Foot         []string    `yaml:"foot"`
	Papers       facePapers  `yaml:"papers"`

	file                string // themes/faces/NAME.yaml, for messages
	doc                 *reading.Doc
	least               typeset.Points
	text, strong, heavy *typeset.Font
}

type faceFonts struct {
	Text   string `yaml:"text"`
	Strong string `yaml:"strong"`
	Heavy  string `yaml:"heavy"`
}

type faceColours struct {
	Text      draw.Colour `yaml:"text"`
	Heading   draw.Colour `yaml:"heading"`
	Quiet     draw.Colour `yaml:"quiet"`
	Badge     draw.Colour `yaml:"badge"`
	OnBadge   draw.Colour `yaml:"on_badge"`
	Caution   draw.Colour `yaml:"caution"`
	OnCaution draw.Colour `yaml:"on_caution"`
	Warning   draw.Colour `yaml:"warning"`
	OnWarning draw.Colour `yaml:"on_warning"`
	Rule      draw.Colour `yaml:"rule"`
}

type facePapers struct {
	A6     *facePaper `yaml:"a6"`
	A5     *facePaper `yaml:"a5"`
	A4     *facePaper `yaml:"a4"`
	Letter *facePaper `yaml:"letter"`
}

// namedPaper is what a face does on a paper, by its name; nil: nothing.
type namedPaper struct {
	name string
	p    *facePaper
}

func (p facePapers) all() []namedPaper {
	return []namedPaper{{"a6", p.A6}, {"a5", p.A5}, {"a4", p.A4}, {"letter", p.Letter}}
}

// facePaper is what a face does on one size of paper.
type facePaper struct {
	Margin     typeset.Points `yaml:"margin"`
	Gap        limits         `yaml:"gap"`     // between blocks; the least with the least text
	Leading    percents       `yaml:"leading"` // percent of the size of the text; the least with the least size
	Text       limits         `yaml:"text"`
	Title      limits         `yaml:"title"`
	Number     typeset.Points `yaml:"number"`
	Small      typeset.Points `yaml:"small"`
	Heading    string         `yaml:"heading"`     // run-in or own-line
	Photo      limits         `yaml:"photo"`       // width, where it stands beside the title
	TightPhoto typeset.Points `yaml:"tight_photo"` // its least width on a card that is full
	Module     typeset.Points `yaml:"module"`      // side of one QR module
	Columns    int            `yaml:"columns"`     // of the back: 1 or 2; none is 1
	Strips     int            `yaml:"strips"`      // caution strips to a sheet
}

type limits struct {
	Least typeset.Points `yaml:"least"`
	Most  typeset.Points `yaml:"most"`
}

// percents are limits without a unit.
type percents struct {
	Least int `yaml:"least"`
	Most  int `yaml:"most"`
}

// at returns the share that lies step of steps of the way up.
func (p percents) at(step, steps int) int { return p.Least + (p.Most-p.Least)*step/steps }

// at returns the size that lies step of steps of the way up, in quarter points.
func (l limits) at(step, steps int) typeset.Points {
	size := l.Least + (l.Most-l.Least).Scale(int64(step), int64(steps))
	return size - size%(typeset.Point/4)
}

const (
	front = "front"
	back  = "back"

	runIn = "run-in"
)

// The faces of the papers beside the cards.
const (
	faceRunSheet = "run-sheet"
	facePropList = "prop-list"
	faceStrip    = "caution-strip"
)

// faceRules is what a face of some name is held to. A workspace orders the fields,
// and may leave out what spare names; nothing else, cautions least of all.
type faceRules struct {
	fields, foot, spare []string
	contrast            float64
	card                bool // a side of a card; the other papers have no photo, code or columns
}

func rulesOf(name string) faceRules {
	r := faceRules{contrast: leastContrast}
	switch name {
	case front:
		r.card = true
		r.fields = []string{fieldCameOff, fieldFailed, fieldReplaced, fieldCautions, fieldHandling}
		r.foot, r.spare = []string{fieldCredits, fieldWorkshop, fieldAsOf}, []string{fieldWorkshop}
	case back:
		r.card = true
		r.fields = []string{fieldTiming, fieldTalk, fieldProps, fieldQuestions, fieldClaims, fieldCautions}
		r.foot, r.spare = []string{fieldAsOf}, []string{fieldTiming, fieldQuestions, fieldClaims}
	case faceRunSheet:
		r.fields = []string{fieldVisits, fieldWayRound, fieldLate, fieldLeftOut, fieldFetch, fieldCautions, fieldOnSite, fieldSeason, fieldLedger, fieldTalk}
		r.spare = []string{fieldWayRound, fieldLate, fieldLeftOut, fieldFetch, fieldSeason, fieldTalk}
	case facePropList:
		r.fields = []string{fieldProps, fieldOnSite}
	case faceStrip:
		r.contrast = leastFarContrast
		r.fields, r.foot = []string{fieldCautions, fieldAdvice}, []string{fieldStop, fieldOnSite, fieldAsOf}
	}
	return r
}

// isOrderOf reports whether a list names each of some fields once, but for those
// that may be left out.
func isOrderOf(list, fields, spare []string) bool {
	for _, f := range fields {
		n := 0
		for _, l := range list {
			if l == f {
				n++
			}
		}
		if n > 1 || n == 0 && !slices.Contains(spare, f) {
			return false
		}
	}
	return !slices.ContainsFunc(list, func(l string) bool { return !slices.Contains(fields, l) })
}

// readFace reads the face of a side and its fonts.
func readFace(theme fs.FS, name string, large bool, fonts map[string]*typeset.Font) (*face, error) {
	f, err := readFaceOnly(theme, name, large)
	if err != nil {
		return nil, err
	}
	for _, font := range []struct {
		file string
		into **typeset.Font
	}{{f.Fonts.Text, &f.text}, {f.Fonts.Strong, &f.strong}, {f.Fonts.Heavy, &f.heavy}} {
		if *font.into, err = openFont(theme, font.file, fonts); err != nil {
			return nil, fmt.Errorf("%s: %w", f.file, err)
		}
	}
	if name == faceStrip {
		return f, f.tooSmallFromAfar()
	}
	return f, nil
}

// tooSmallFromAfar is the error for letters that are lower than they are read at.
func (f *face) tooSmallFromAfar() error {
	var all []error
	for _, paper := range f.Papers.all() {
		if paper.p == nil {
			continue
		}
		for _, l := range []struct {
			key         string
			size, least typeset.Points
			font        *typeset.Font
			metres      int
		}{{"title", paper.p.Title.Least, leastFarLetter, f.heavy, 2}, {"text", paper.p.Text.Least, leastNearLetter, f.text, 1}} {
			if capital := l.size.Scale(l.font.CapHeight(), l.font.UnitsPerEm()); capital < l.least {
				enough := l.least.Scale(l.font.UnitsPerEm(), l.font.CapHeight()) + typeset.Point
				place := f.doc.At("papers." + paper.name + "." + l.key + ".least")
				all = append(all, reading.Problem{Place: place, Code: "face",
					Message: fmt.Sprintf("capitals are %.1f mm high, too low to be read at %d m", float64(capital)*25.4/float64(typeset.Inch), l.metres),
					Remedy:  fmt.Sprintf("write %d pt or more", enough/typeset.Point)})
			}
		}
	}
	return errors.Join(all...)
}

// readFaceOnly reads a face without its fonts, and holds it to what a reader
// needs. Large print has faces of its own: faces/front-large.yaml.
func readFaceOnly(theme fs.FS, name string, large bool) (*face, error) {
	file, least := "faces/"+name+".yaml", leastType
	if name == faceStrip {
		least = leastLarge
	}
	if large {
		file, least = "faces/"+name+"-large.yaml", leastLarge
	}
	src, err := fs.ReadFile(theme, file)
	if err != nil {
		return nil, fmt.Errorf("the card face %q cannot be read: %w", name, err)
	}
	f := &face{file: "themes/" + file, least: least}
	doc, problems := reading.YAML("themes/"+file, src, f)
	f.doc = doc
	if !reading.Stops(problems) {
		problems = append(problems, f.problems(doc, name)...)
	}
	if reading.Stops(problems) {
		var all []error
		for _, p := range problems {
			all = append(all, p)
		}
		return nil, errors.Join(all...)
	}
	return f, nil
}

// openFont reads a font once for all faces.
func openFont(theme fs.FS, file string, fonts map[string]*typeset.Font) (*typeset.Font, error) {
	if f, ok := fonts[file]; ok {
		return f, nil
	}
	data, err := fs.ReadFile(theme, file)
	if err != nil {
		return nil, fmt.Errorf("the font cannot be read: %w", err)
	}
	f, err := typeset.ParseFont(fontName(file), data)
	if err != nil {
		return nil, err
	}
	fonts[file] = f
	return f, nil
}

// fontName makes a name that may stand in a PDF from that of the font's file.
func fontName(file string) string {
	base := strings.TrimSuffix(path.Base(file), path.Ext(file))
	return strings.Map(func(r rune) rune {
		if r == '-' || r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' {
			return r
		}
		return -1
	}, base)
}

func (f *face) problems(doc *reading.Doc, name string) []reading.Problem {
	var all []reading.Problem
	add := func(path, message, remedy string) {
		all = append(all, doc.Problem(path, "face", "", message, remedy))
	}
	rules := rulesOf(name)
	c := f.Colours
	white := draw.Colour{R: 255, G: 255, B: 255}
	for _, pair := range []struct {
		path, ground string
		on, text     draw.Colour
	}{
		{"text", "the white paper", white, c.Text}, {"heading", "the white paper", white, c.Heading}, {"quiet", "the white paper", white, c.Quiet},
		{"on_badge", "badge", c.Badge, c.OnBadge}, {"on_caution", "caution", c.Caution, c.OnCaution}, {"on_warning", "warning", c.Warning, c.OnWarning},
	} {
		// The ratio is never rounded before it is compared.
		if ratio := draw.Contrast(pair.on, pair.text); ratio < rules.contrast {
			add("colours."+pair.path, fmt.Sprintf("the contrast of %s (%v) on %s (%v) is %.2f to 1", pair.path, pair.text, pair.ground, pair.on, ratio),
				fmt.Sprintf("text needs %v to 1 against its ground (WCAG 2.2); make one of the two darker", rules.contrast))
		}
	}
	if rules.card && (f.LineChars < 20 || f.LineChars > 70) {
		add("line_chars", "line_chars is not between 20 and 70", "55 reads well")
	}
	if !rules.card && f.LineChars != 0 {
		add("line_chars", "this paper has no line_chars", "take it out")
	}
	if f.TitleLeading < leastLeading || f.TitleLeading > mostLeading {
		add("title_leading", "title_leading is not between 105 and 200 percent", "110 reads well")
	}
	for path, lists := range map[string][2][]string{"fields": {f.Fields, rules.fields}, "foot": {f.Foot, rules.foot}} {
		if !isOrderOf(lists[0], lists[1], rules.spare) {
			var may []string
			for _, field := range lists[1] {
				if slices.Contains(rules.spare, field) {
					may = append(may, field)
				}
			}
			remedy := "order these, and leave none out: " + strings.Join(lists[1], ", ")
			if len(may) > 0 {
				remedy = fmt.Sprintf("order these: %s; leave none out but %s", strings.Join(lists[1], ", "), listed(may, "and"))
			}
			add(path, path+" should name each of its fields once", remedy)
		}
	}
	sizes := paperSizes()
	for _, paper := range f.Papers.all() {
		if paper.p != nil {
			for _, bad := range paper.p.problems(name, f.least, sizes[paper.name].width) {
				add("papers."+paper.name+"."+bad[0], bad[1], bad[2])
			}
		}
	}
	reading.Sort(all)
	return all
}

// problems returns path, message and remedy of whatever is out of bounds.
func (p *facePaper) problems(name string, least, width typeset.Points) [][3]string {
	var all [][3]string
	add := func(path, message, remedy string) { all = append(all, [3]string{path, message, remedy}) }
	for path, size := range map[string]typeset.Points{
		"text.least": p.Text.Least, "title.least": p.Title.Least, "number": p.Number, "small": p.Small,
	} {
		if path == "number" && name == facePropList && size == 0 {
			continue // it has no stop's number in a square
		}
		if size < least && least > leastType {
			add(path, fmt.Sprintf("the type is %v pt", size), fmt.Sprintf("nothing in large print is smaller than %v pt", least))
		} else if size < least {
			what := "a card"
			if !rulesOf(name).card {
				what = "this paper"
			}
			add(path, fmt.Sprintf("the type is %v pt", size), fmt.Sprintf("nothing on %s is smaller than %v pt", what, least))
		}
	}
	if l := p.Leading; l.Least < leastLeading || l.Most > mostLeading || l.Most < l.Least {
		add("leading", "leading is not between 105 and 200 percent", "115 for the least and 130 for the most read well")
	}
	if p.Columns < 0 || p.Columns > 2 || p.Columns == 2 && name == front {
		add("columns", fmt.Sprintf("%d is not a number of columns that this side can have", p.Columns), "write 1, or 2 on the back")
	}
	ranges := map[string]limits{"text": p.Text, "title": p.Title, "gap": p.Gap}
	if name == front {
		ranges["photo"] = p.Photo
		ranges["tight_photo"] = limits{p.TightPhoto, p.Photo.Least}
		if p.Module < leastModule {
			add("module", "the modules of the QR code are too small to read", "make them 0.5 mm or more")
		}
		if p.Module > mostModule {
			add("module", "the QR code would crowd out the words beside it", "make its modules 1.5 mm or less")
		}
	}
	for path, l := range ranges {
		if l.Most < l.Least || l.Least <= 0 {
			add(path, "the most is less than the least", "put the smaller one under least")
		}
	}
	if p.Margin < typeset.Millimetres(6) || p.Margin < least.Scale(13, 10) {
		add("margin", "the margin is too narrow to print", "leave 6 mm or more, and 7.5 mm or more in large print")
	}
	if p.Margin > width/5 {
		add("margin", "the margins leave too little room for words", "leave a fifth of the paper's width or less on each side")
	}
	if rulesOf(name).card && p.Heading != runIn && p.Heading != "own-line" {
		add("heading", fmt.Sprintf("%q is not a way to set a heading", p.Heading), "write run-in or own-line")
	}
	for _, key := range p.idle(name) {
		add(key, fmt.Sprintf("%s says nothing about this paper", key), "take it out")
	}
	if name == faceStrip && (p.Strips < 1 || p.Strips > 4) {
		add("strips", fmt.Sprintf("%d is not a number of strips for one sheet", p.Strips), "write 1 to 4; 2 of A4 stand well")
	}
	return all
}

// idle lists the keys that have no effect on a paper.
func (p *facePaper) idle(name string) []string {
	card := rulesOf(name).card
	var all []string
	for _, k := range []struct {
		key string
		set bool
	}{{"heading", p.Heading != "" && !card}, {"photo", p.Photo != limits{} && !card}, {"tight_photo", p.TightPhoto != 0 && !card}, {"module", p.Module != 0 && !card},
		{"columns", p.Columns != 0 && !card}, {"strips", p.Strips != 0 && name != faceStrip}, {"number", p.Number != 0 && name == facePropList}} {
		if k.set {
			all = append(all, k.key)
		}
	}
	return all
}

// paperSize is the size of a sheet in its upright position.
type paperSize struct{ width, height typeset.Points }

// paperSizes are those of ISO 216 for the A papers and ANSI/ASME Y14.1 A for
// letter (both from memory).
func paperSizes() map[string]paperSize {
	mm := typeset.Millimetres
	return map[string]paperSize{
		"a6": {mm(105), mm(148)}, "a5": {mm(148), mm(210)}, "a4": {mm(210), mm(297)},
		"letter": {8*typeset.Inch + typeset.Inch/2, 11 * typeset.Inch},
	}
}

// paper returns the size of a named paper and what the face does on it.
func (f *face) paper(name string) (paperSize, *facePaper, error) {
	size, known := paperSizes()[name]
	if !known {
		return size, nil, fmt.Errorf("%w: %q; the papers are a6, a5, a4 and letter", ErrPaper, name)
	}
	var p *facePaper
	for _, one := range f.Papers.all() {
		if one.name == name {
			p = one.p
		}
	}
	if p == nil {
		return size, nil, fmt.Errorf("%w: %s says nothing about %q; add it under papers", ErrPaper, f.file, name)
	}
	return size, p, nil
}
