package record

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/table"
)

// Refusal is one fault in one row. A row with a fault is not brought in.
type Refusal struct {
	Row     int    `json:"row"`
	Column  string `json:"column,omitempty"` // empty: the row as a whole
	Value   string `json:"value,omitempty"`  // as the list has it
	Message string `json:"message"`
	Remedy  string `json:"remedy"`
}

// draft is a row on its way to becoming an entry: for each key of an entry its
// values, in the words of the log. A key that holds one value has a list of one.
type draft struct {
	row     int
	id      string // what tells the row from the others
	values  map[string][]string
	refused []Refusal
}

func (d *draft) first(path string) string {
	if v := d.values[path]; len(v) > 0 {
		return v[0]
	}
	return ""
}

// rows turns the cells of a list into drafts.
type rows struct {
	book    *Book
	m       *Map
	columns map[string]int // by folded name
	width   int            // columns with a name
	days    int            // first year of the workbook's calendar; 0: no workbook
	today   day.Date
	above   map[string]table.Cell // the last value of each column that carries down
}

// cell returns what stands in a column, and nothing for the words that mean so.
func (r *rows) cell(row table.Row, name string) table.Cell {
	i, ok := r.columns[fold(name)]
	if !ok || i >= len(row.Cells) {
		return table.Cell{}
	}
	if slices.Contains(r.m.blank, fold(row.Cells[i].Text)) {
		return table.Cell{}
	}
	return row.Cells[i]
}

// carry fills the empty cells of columns that carry down with what stands above.
// A cell that says "none" in words is not empty.
func (r *rows) carry(row *table.Row) {
	for _, name := range r.m.carryDown {
		key := fold(name)
		i, ok := r.columns[key]
		if !ok || row.Fault != "" {
			continue
		}
		for len(row.Cells) <= i {
			row.Cells = append(row.Cells, table.Cell{})
		}
		if text := fold(row.Cells[i].Text); text == "" || isDitto(text) {
			row.Cells[i] = r.above[key]
			continue
		}
		r.above[key] = row.Cells[i]
	}
}

// isDitto tells the marks for "as above": common practice, no source.
func isDitto(text string) bool {
	return slices.Contains([]string{`"`, `''`, "”", "〃", "do", "do.", "ditto"}, text)
}

func (r *rows) draft(row table.Row) *draft {
	d := &draft{row: row.Number, values: map[string][]string{}}
	if row.Fault != "" {
		message, remedy, _ := strings.Cut(row.Fault, "; ")
		d.refuse("", "", message, remedy)
		return d
	}
	for i := r.width; i < len(row.Cells); i++ {
		if strings.TrimSpace(row.Cells[i].Text) != "" {
			d.refuse("", row.Cells[i].Text, fmt.Sprintf("the row has %d cells and there are names for %d columns", len(row.Cells), r.width),
				`put a cell that holds the delimiter in "…", or name the column`)
			return d
		}
	}
	d.id = r.identity(row)
	if d.id == "" {
		d.refuse(r.m.identify[0], "", "nothing tells this row from the others", "fill in "+strings.Join(r.m.identify, ", "))
	}
	for _, f := range r.m.fields {
		r.take(d, row, f)
	}
	return d
}

// identity joins what stands in the columns that tell rows apart. A date counts
// as the same whether the list holds it as text or as a number of days.
func (r *rows) identity(row table.Row) string {
	var parts []string
	some := false
	for _, name := range r.m.identify {
		c := r.cell(row, name)
		text := clean(c.Text)
		for _, f := range r.m.fields {
			if f.kind == aDate && fold(f.column.Column) == fold(name) {
				if d, err := r.dates(f).read(c); err == nil {
					text = d.String()
				}
			}
		}
		some = some || text != ""
		parts = append(parts, text)
	}
	if !some {
		return ""
	}
	return bounded(strings.Join(parts, " | "))
}

// bounded cuts an identity that would fill a screen and keeps it the row's own.
func bounded(id string) string {
	letters := []rune(id)
	if len(letters) <= 100 {
		return id
	}
	return string(letters[:80]) + " " + digest(fold(id))
}

func (r *rows) dates(f field) dates {
	year := f.column.Serials
	if r.days > 0 {
		year = r.days
	}
	return dates{f.column.Format, year}
}

func (d *draft) refuse(column, value, message, remedy string) {
	d.refused = append(d.refused, Refusal{d.row, column, reading.Shorten(value), message, remedy})
}

// refuseFor splits an error at its remedy.
func (d *draft) refuseFor(column, value string, err error) {
	message, remedy, ok := strings.Cut(err.Error(), "; ")
	if !ok {
		remedy = "correct the cell"
	}
	d.refuse(column, value, message, remedy)
}

// take gives a draft the value of one key.
func (r *rows) take(d *draft, row table.Row, f field) {
	name := f.column.Column
	c := r.cell(row, name)
	text := clean(c.Text)
	switch {
	case text == "" && f.column.Default != "":
		d.values[f.path] = []string{f.column.Default}
		return
	case text == "":
		if slices.Contains([]string{"date", "by", "part", "step"}, f.path) {
			d.refuse(name, "", fmt.Sprintf("there is no %s", f.path), "fill in the cell, or give the map a default")
		}
		return
	case isFault(text):
		d.refuse(name, text, "the spreadsheet shows a fault of its own here", "mend the formula, or empty the cell")
		return
	}
	if bad := unseen(c.Text); bad != 0 {
		d.refuse(name, text, fmt.Sprintf("the cell holds a character that cannot be seen (U+%04X)", bad), "type it again")
		return
	}
	words := []string{text}
	if f.several && f.column.Split != "" {
		words = nil
		for w := range strings.SplitSeq(text, f.column.Split) {
			if w = clean(w); w != "" {
				words = append(words, w)
			}
		}
	}
	for _, w := range words {
		value, err := r.value(f, c, w)
		if err != nil {
			d.refuseFor(name, w, err)
			continue
		}
		if !slices.Contains(d.values[f.path], value) { // two words of the list may be one of the log's
			d.values[f.path] = append(d.values[f.path], value)
		}
	}
}

// value puts one word of a cell into the words of the log.
func (r *rows) value(f field, c table.Cell, text string) (string, error) {
	for _, pair := range f.column.Table {
		if fold(pair.Key) == fold(text) {
			return pair.Value, nil
		}
	}
	switch f.kind {
	case aDate:
		d, err := r.dates(f).read(c)
		if err == nil && f.path == "date" && d.After(r.today) {
			err = fmt.Errorf("%s lies in the future; correct the date, or the format in the map", d.Words())
		}
		return d.String(), err
	case aPerson:
		return r.person(f, text)
	case aPart:
		return r.part(f, text)
	case aChoice:
		return r.choice(f, text, f.choices)
	case aThickness:
		return r.thickness(f.column, c, text), nil
	case aCost:
		return r.cost(f.column, text), nil
	case aBody:
		return body(c.Text), nil
	}
	return text, nil
}

// person finds somebody by id or by name.
func (r *rows) person(f field, text string) (string, error) {
	for _, p := range r.book.ws.Settings.People {
		if fold(text) == p.ID || fold(text) == fold(p.Name) {
			return p.ID, nil
		}
	}
	return r.choice(f, text, r.book.people())
}

// choice finds a word that is the log's own but for case and spaces.
func (r *rows) choice(f field, text string, choices []string) (string, error) {
	word := strings.ReplaceAll(fold(text), " ", "-")
	for _, c := range choices {
		if word == c {
			return c, nil
		}
	}
	near := append(slices.Clone(choices), keys(f.column.Table)...)
	remedy := fmt.Sprintf("correct the cell, or add %q to the table of entry.%s in the map", reading.Shorten(text), f.path)
	if hint := reading.Nearest(text, near); hint != "" {
		remedy = fmt.Sprintf("did you mean %q? If not, add %q to the table of entry.%s in the map", hint, reading.Shorten(text), f.path)
	}
	return "", fmt.Errorf("%q is no %s that the log or the map knows; %s", reading.Shorten(text), nameOf(f), remedy)
}

func keys(table []reading.Pair) []string {
	var all []string
	for _, pair := range table {
		all = append(all, pair.Key)
	}
	return all
}

func nameOf(f field) string {
	switch f.path {
	case "by":
		return "person"
	case "finding.causes":
		return "cause"
	case "replacement.source":
		return "source"
	case "next.step":
		return "step"
	}
	return f.path
}

// part finds a part by what the map says that the cell holds.
func (r *rows) part(f field, text string) (string, error) {
	var found, all []string
	for _, p := range r.book.log.Parts() {
		held := p.ID
		switch f.column.Match {
		case "number":
			held = p.Number
		case "name":
			held = p.Name
		}
		if held == "" {
			continue
		}
		all = append(all, held)
		if fold(held) == fold(text) {
			found = append(found, p.ID)
		}
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		return "", fmt.Errorf("%q is the %s of %s; tell them apart by a table of entry.part in the map", reading.Shorten(text), f.column.Match, strings.Join(found, " and of "))
	case f.column.Match == "" || f.column.Match == "id":
		return r.choice(f, text, all)
	}
	remedy := fmt.Sprintf("add the part, or add %q to the table of entry.part in the map", reading.Shorten(text))
	if hint := reading.Nearest(text, all); hint != "" {
		remedy = fmt.Sprintf("did you mean %q? If not, %s", hint, remedy)
	}
	return "", fmt.Errorf("no part has the %s %q; %s", f.column.Match, reading.Shorten(text), remedy)
}

var (
	bareNumber = regexp.MustCompile(`^[0-9.,/ ]+$`)
	bareGauge  = regexp.MustCompile(`(?i)^(\d+(?:/0)?)\s*(g|ga|gauge|gage)\.?$`)
	commaPoint = regexp.MustCompile(`(\d),(\d)`)
	thousands  = regexp.MustCompile(`^\d{1,3}(,\d{3})+(\.\d+)?$`)
)

// thickness adds the unit or the gauge system that the map knows. Whether it is
// a thickness at all is for the log's own reader to say.
func (r *rows) thickness(col column, c table.Cell, text string) string {
	switch {
	case c.Stored != "" && bareNumber.MatchString(text):
		text = c.Stored // more exact than what is shown
	case r.m.decimalComma:
		text = commaPoint.ReplaceAllString(text, "$1.$2")
	}
	if g := bareGauge.FindStringSubmatch(text); g != nil && col.Gauge != "" {
		text = g[1] + " " + col.Gauge
	}
	if bareNumber.MatchString(text) && col.Unit != "" {
		text = text + " " + col.Unit
	}
	return canonicalThickness(text)
}

func canonicalThickness(text string) string {
	t, err := measure.Parse(text)
	if err != nil || !t.IsSet() {
		return text
	}
	return strings.ToLower(t.String())
}

// cost adds the currency that the map knows, in place of its sign.
func (r *rows) cost(col column, text string) string {
	amount := text
	for sign, code := range map[string]string{"£": "GBP", "€": "EUR", "$": "USD"} {
		if col.Currency == code {
			amount = strings.TrimSpace(strings.TrimSuffix(strings.TrimPrefix(amount, sign), sign))
		}
	}
	amount = strings.TrimSpace(strings.TrimPrefix(amount, col.Currency))
	if r.m.decimalComma {
		amount = commaPoint.ReplaceAllString(strings.ReplaceAll(amount, ".", ""), "$1.$2")
	} else if thousands.MatchString(amount) {
		amount = strings.ReplaceAll(amount, ",", "")
	}
	if col.Currency != "" && bareNumber.MatchString(amount) {
		text = col.Currency + " " + amount
	}
	return canonicalCost(text)
}

func canonicalCost(text string) string {
	if m, err := measure.ParseMoney(text); err == nil {
		return m.Written()
	}
	return text
}

// clean puts a cell on one line without spaces at its ends, and drops marks that
// spreadsheets leave behind and nobody sees.
func clean(s string) string { return strings.Join(strings.Fields(dropped(s)), " ") }

func dropped(s string) string {
	return strings.NewReplacer("\ufeff", "", "\u200b", "", "\u00ad", "").Replace(s)
}

// body keeps a cell's lines for the body of an entry.
func body(s string) string {
	var lines []string
	for line := range strings.SplitSeq(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(dropped(s)), "\n") {
		lines = append(lines, clean(line))
	}
	return strings.Trim(strings.Join(lines, "\n"), "\n")
}

// unseen returns a character that has no place in a cell, or 0.
func unseen(s string) rune {
	for _, r := range s {
		if unicode.IsControl(r) && !strings.ContainsRune("\t\r\n", r) || r == unicode.ReplacementChar {
			return r
		}
	}
	return 0
}

// isFault tells what spreadsheets show where a formula failed (ECMA-376 part 1,
// 18.18.11 and 18.17.3) or a column is too narrow.
func isFault(text string) bool {
	return slices.Contains([]string{"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!", "#GETTING_DATA"}, text) ||
		len(text) >= 3 && strings.Trim(text, "#") == ""
}
