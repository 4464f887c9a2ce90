package record

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/worklog"
)

// mapFile is a map as it is written.
type mapFile struct {
	List         string   `yaml:"list"`
	Sheet        string   `yaml:"sheet"`
	HeaderRow    int      `yaml:"header_row"`
	Identify     []string `yaml:"identify"`
	CarryDown    []string `yaml:"carry_down"`
	Skip         []string `yaml:"skip"`
	Blank        []string `yaml:"blank"`
	DecimalComma bool     `yaml:"decimal_comma"`
	Entry        entryMap `yaml:"entry"`
}

type entryMap struct {
	Date        column         `yaml:"date"`
	By          column         `yaml:"by"`
	Part        column         `yaml:"part"`
	Step        column         `yaml:"step"`
	Finding     findingMap     `yaml:"finding"`
	Pile        column         `yaml:"pile"`
	Replacement replacementMap `yaml:"replacement"`
	Next        nextMap        `yaml:"next"`
	Notes       column         `yaml:"notes"`
}

type findingMap struct {
	Causes         column `yaml:"causes"`
	LeastThickness column `yaml:"least_thickness"`
	Detail         column `yaml:"detail"`
}

type replacementMap struct {
	Source   column `yaml:"source"`
	Supplier column `yaml:"supplier"`
	Material column `yaml:"material"`
	Approval column `yaml:"approval"`
	Report   column `yaml:"report"`
	Cost     column `yaml:"cost"`
}

type nextMap struct {
	Step column `yaml:"step"`
	Due  column `yaml:"due"`
}

// column says from where a key of an entry takes its value, and how.
type column struct {
	Column   string         `yaml:"column"`
	Default  string         `yaml:"default"`
	Table    []reading.Pair `yaml:"table"`    // from the spreadsheet's words to the log's
	Format   string         `yaml:"format"`   // of a date: day/month/year
	Serials  int            `yaml:"serials"`  // first year of a calendar whose days are counted
	Match    string         `yaml:"match"`    // what of a part the cell holds
	Split    string         `yaml:"split"`    // stands between several in one cell
	Unit     string         `yaml:"unit"`     // of a thickness without one
	Gauge    string         `yaml:"gauge"`    // the system of a bare gauge
	Currency string         `yaml:"currency"` // of a bare amount
}

// kind is what a key of an entry holds.
type kind int

const (
	aDate kind = iota
	aPerson
	aPart
	aChoice
	aThickness
	aCost
	aText
	aBody
)

// options are the keys of a column that a kind has, besides column and default.
func (k kind) options() []string {
	switch k {
	case aDate:
		return []string{"format", "serials"}
	case aPerson:
		return []string{"table"}
	case aPart:
		return []string{"table", "match", "split"}
	case aChoice:
		return []string{"table"}
	case aThickness:
		return []string{"unit", "gauge"}
	case aCost:
		return []string{"currency"}
	}
	return nil
}

// field is one key of an entry, with its column in the map.
type field struct {
	path    string // in an entry
	kind    kind
	choices []string
	several bool
	column  column
}

func (e entryMap) fields() []field {
	steps := worklog.Steps()
	return []field{
		{path: "date", kind: aDate, column: e.Date},
		{path: "by", kind: aPerson, column: e.By},
		{path: "part", kind: aPart, several: true, column: e.Part},
		{path: "step", kind: aChoice, choices: steps, column: e.Step},
		{path: "finding.causes", kind: aChoice, choices: worklog.Causes(), several: true, column: e.Finding.Causes},
		{path: "finding.least_thickness", kind: aThickness, column: e.Finding.LeastThickness},
		{path: "finding.detail", kind: aText, column: e.Finding.Detail},
		{path: "pile", kind: aChoice, choices: worklog.Piles(), column: e.Pile},
		{path: "replacement.source", kind: aChoice, choices: worklog.Sources(), column: e.Replacement.Source},
		{path: "replacement.supplier", kind: aText, column: e.Replacement.Supplier},
		{path: "replacement.material", kind: aText, column: e.Replacement.Material},
		{path: "replacement.approval", kind: aText, column: e.Replacement.Approval},
		{path: "replacement.report", kind: aText, column: e.Replacement.Report},
		{path: "replacement.cost", kind: aCost, column: e.Replacement.Cost},
		{path: "next.step", kind: aChoice, choices: steps, column: e.Next.Step},
		{path: "next.due", kind: aDate, column: e.Next.Due},
		{path: "notes", kind: aBody, column: e.Notes},
	}
}

// Map says which column of a list gives which key of an entry.
type Map struct {
	File   string
	List   string // the list's own name, kept in every entry that comes from it
	sheet  string
	header int // 0: found by its words

	identify, carryDown []string
	skip, blank         []string // folded
	decimalComma        bool
	fields              []field // those that the map gives
	doc                 *reading.Doc
}

// The words that a map may leave unsaid: common practice, no source.
func usualSkip() []string {
	return []string{"total", "totals", "subtotal", "sub-total", "grand total", "sum"}
}

func usualBlank() []string { return []string{"-", "–", "—", "n/a"} }

// Formats of dates whose order a map must tell.
const (
	dayFirst   = "day/month/year"
	monthFirst = "month/day/year"
	yearFirst  = "year/month/day"
)

// ReadMap reads a map strictly, against the people and the parts of the book. by
// is who did the work where neither the map nor the list says; it may be empty.
func (b *Book) ReadMap(file string, src []byte, by string) (*Map, []reading.Problem) {
	var f mapFile
	doc, problems := reading.YAML(file, src, &f)
	if !doc.Has("skip") {
		f.Skip = usualSkip()
	}
	if !doc.Has("blank") {
		f.Blank = usualBlank()
	}
	if by != "" {
		f.Entry.By.Default = by
	}
	m := &Map{File: file, List: f.List, sheet: f.Sheet, header: f.HeaderRow, identify: f.Identify, carryDown: f.CarryDown,
		skip: foldAll(f.Skip), blank: foldAll(f.Blank), decimalComma: f.DecimalComma, doc: doc}
	c := &mapChecker{book: b, m: m, problems: problems}
	if reading.Stops(problems) && !doc.Has("entry") && !doc.Has("list") {
		return m, problems // this is no map: say only that
	}
	c.top(f)
	for _, field := range f.Entry.fields() {
		c.field(field)
	}
	c.columnsOf("identify", f.Identify)
	c.columnsOf("carry_down", f.CarryDown)
	reading.Sort(c.problems)
	return m, c.problems
}

type mapChecker struct {
	book     *Book
	m        *Map
	problems []reading.Problem
}

func (c *mapChecker) problem(path, code, value, message, remedy string) {
	c.problems = append(c.problems, c.m.doc.Problem(path, code, value, message, remedy))
}

func (c *mapChecker) top(f mapFile) {
	if !reading.IsID(f.List) {
		c.problem("list", "bad-id", f.List, fmt.Sprintf("list: %q is not a name for the list", reading.Shorten(f.List)),
			"write lower-case words and digits joined by hyphens, such as bench-log, and keep it: it tells the list's rows from others")
	}
	if f.HeaderRow < 0 || f.HeaderRow > maxHeaderRow {
		c.problem("header_row", "out-of-range", fmt.Sprint(f.HeaderRow), fmt.Sprintf("header_row: %d is no row of names", f.HeaderRow),
			fmt.Sprintf("write the row in which the columns are named, 1 to %d, or leave it out", maxHeaderRow))
	}
	if len(f.Identify) == 0 {
		c.problem("identify", "missing-value", "", "identify is missing", "name the column, or the columns, that tell a row from all others, such as identify: [Ref]")
	}
}

func (c *mapChecker) field(f field) {
	at := "entry." + f.path
	col := f.column
	given := col.Column != "" || col.Default != ""
	needed := slices.Contains([]string{"date", "by", "part", "step"}, f.path)
	switch {
	case !given && needed:
		remedy := "name its column, or give a default"
		if f.path == "by" {
			remedy += ", or say who with --by"
		}
		c.problem(at, "missing-value", "", fmt.Sprintf("the map does not say where an entry's %s comes from", f.path), remedy)
		return
	case !given && c.m.doc.Has(at):
		c.problem(at, "missing-value", "", fmt.Sprintf("%s has neither a column nor a default", f.path), "name its column, give a default, or take it out")
		return
	case !given:
		return
	}
	c.options(at, f)
	for _, pair := range col.Table {
		c.value(at+".table."+pair.Key, f, pair.Value)
	}
	c.tableTwice(at, col.Table)
	if col.Default != "" {
		c.value(at+".default", f, col.Default)
	}
	c.m.fields = append(c.m.fields, f)
}

// options reports keys that do not go with what the entry's key holds, and
// values of them that are none.
func (c *mapChecker) options(at string, f field) {
	allowed := f.kind.options()
	if f.several {
		allowed = append(allowed, "split")
	}
	for _, o := range []string{"table", "format", "serials", "match", "split", "unit", "gauge", "currency"} {
		if c.m.doc.Has(at+"."+o) && !slices.Contains(allowed, o) {
			c.problem(at+"."+o, "unknown-key", o, fmt.Sprintf("%s does not go with %s", o, f.path),
				"the keys here are "+strings.Join(slices.Concat([]string{"column", "default"}, allowed), ", "))
		}
	}
	col := f.column
	oneOf := func(key, value string, choices ...string) {
		if err := reading.OneOf(value, choices...); value != "" && err != nil {
			c.problem(at+"."+key, "bad-value", value, fmt.Sprintf("%s: %v", key, err), "correct the value")
		}
	}
	oneOf("format", col.Format, dayFirst, monthFirst, yearFirst)
	if col.Serials != 0 {
		oneOf("serials", fmt.Sprint(col.Serials), "1900", "1904")
	}
	oneOf("match", col.Match, "id", "number", "name")
	oneOf("gauge", col.Gauge, "swg", "awg")
	oneOf("unit", col.Unit, "mm", "cm", "m", "in", "thou", "ft")
	if col.Currency != "" {
		if _, err := measure.ParseMoney(col.Currency + " 1"); err != nil {
			c.problem(at+".currency", "bad-value", col.Currency, fmt.Sprintf("currency: %q is not a currency code", reading.Shorten(col.Currency)), "write it as GBP")
		}
	}
}

// value checks what a table or a default gives.
func (c *mapChecker) value(at string, f field, value string) {
	var err error
	switch f.kind {
	case aPerson:
		err = knownAs("person", value, c.book.people())
	case aPart:
		err = knownAs("part", value, c.book.partIDs())
	case aChoice:
		err = reading.OneOf(value, f.choices...)
	case aThickness:
		_, err = measure.Parse(value)
	case aCost:
		_, err = measure.ParseMoney(value)
	case aDate:
		err = isoDate(value)
	}
	if err != nil {
		c.problem(at, "bad-value", value, fmt.Sprintf("%s: %v", f.path, err), "correct the value")
	}
}

func knownAs(what, value string, ids []string) error {
	if slices.Contains(ids, value) {
		return nil
	}
	hint := ""
	if near := reading.Nearest(value, ids); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return fmt.Errorf("there is no %s %q%s", what, reading.Shorten(value), hint)
}

// tableTwice reports words that differ in case or spaces only.
func (c *mapChecker) tableTwice(at string, table []reading.Pair) {
	first := map[string]reading.Pair{}
	for _, pair := range table {
		other, twice := first[fold(pair.Key)]
		if twice && other.Value != pair.Value {
			c.problem(at+".table."+pair.Key, "twice", pair.Key, fmt.Sprintf("%q stands twice in the table, as %s and as %s", reading.Shorten(pair.Key), other.Value, pair.Value),
				"keep one of the two; capital letters and spaces make no difference")
		}
		first[fold(pair.Key)] = pair
	}
}

// columnsOf checks a list of columns, which need not give a key of an entry.
func (c *mapChecker) columnsOf(path string, columns []string) {
	for i, name := range columns {
		if fold(name) == "" {
			c.problem(fmt.Sprintf("%s[%d]", path, i), "missing-value", "", "a column of "+path+" has no name", "write the column's name or take the item out")
		}
	}
}

// uses lists the columns that the map names, with the place of each in it.
func (m *Map) uses() []reading.Pair {
	var used []reading.Pair
	for _, f := range m.fields {
		if f.column.Column != "" {
			used = append(used, reading.Pair{Key: "entry." + f.path + ".column", Value: f.column.Column})
		}
	}
	for i, name := range m.identify {
		used = append(used, reading.Pair{Key: fmt.Sprintf("identify[%d]", i), Value: name})
	}
	for i, name := range m.carryDown {
		used = append(used, reading.Pair{Key: fmt.Sprintf("carry_down[%d]", i), Value: name})
	}
	return used
}

// columnOf returns the column that gives a key of an entry, or the key itself.
func (m *Map) columnOf(path string) string {
	for _, f := range m.fields {
		if f.path == path {
			return cmp.Or(f.column.Column, path)
		}
	}
	return path
}

// fold makes names that differ in case or spaces alone the same.
func fold(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

func foldAll(words []string) []string {
	var folded []string
	for _, w := range words {
		folded = append(folded, fold(w))
	}
	return folded
}
