package record

import (
	"fmt"
	"slices"
	"strings"

	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/table"
)

// maxHeaderRow is how far down the row is looked for that names the columns:
// above it stand titles and dates of printing.
const maxHeaderRow = 50

// sheet is a list that has been cut into cells.
type sheet struct {
	source string
	rows   []table.Row
	days   int // first year of a workbook's calendar; 0: no workbook
	notes  []string
}

func open(m *Map, data []byte) (*sheet, error) {
	if len(data) > table.MaxBytes {
		return nil, fmt.Errorf("%w: it is larger than %d MB; check that it is the right file", table.ErrNotTable, table.MaxBytes>>20)
	}
	if table.IsWorkbook(data) {
		return openWorkbook(m, data)
	}
	text, encoding, err := table.Decode(data)
	if err != nil {
		return nil, err
	}
	names := map[string]bool{}
	for _, used := range m.uses() {
		names[fold(used.Value)] = true
	}
	delimiter := table.Delimiter(text, []rune{',', ';', '\t', '|'}, maxHeaderRow, func(cell string) bool { return names[fold(cell)] })
	rows, err := table.Cut(text, delimiter)
	if err != nil {
		return nil, err
	}
	s := &sheet{source: fmt.Sprintf("CSV, %s, parted by %s", encoding, markName(delimiter)), rows: rows}
	if m.sheet != "" {
		s.notes = append(s.notes, "the map names a sheet, which a CSV file does not have")
	}
	return s, nil
}

func markName(mark rune) string {
	switch mark {
	case ',':
		return "commas"
	case ';':
		return "semicolons"
	case '\t':
		return "tabs"
	}
	return "pipes"
}

func openWorkbook(m *Map, data []byte) (*sheet, error) {
	w, err := table.ReadWorkbook(data, m.sheet)
	if err != nil {
		return nil, err
	}
	s := &sheet{source: fmt.Sprintf("XLSX, sheet %s", w.Sheet), rows: w.Rows, days: w.Days}
	if w.Hidden > 0 {
		s.notes = append(s.notes, fmt.Sprintf("%d rows are hidden in the sheet; they are read like the others", w.Hidden))
	}
	if w.Unworked > 0 {
		s.notes = append(s.notes, fmt.Sprintf("%d formulas have no value in the file and count as empty; open it in a spreadsheet and save it again", w.Unworked))
	}
	return s, nil
}

// head is the row that names the columns.
type head struct {
	row     int
	cells   []string
	columns map[string]int // by folded name
	width   int
}

// header finds the row that names the columns, and what stands below it.
func (s *sheet) header(m *Map) (head, []table.Row, error) {
	names := map[string]bool{}
	for _, used := range m.uses() {
		names[fold(used.Value)] = true
	}
	best, most := -1, 0
	for i, row := range s.rows {
		if row.Number > maxHeaderRow {
			break
		}
		n := 0
		for _, c := range row.Cells {
			if names[fold(c.Text)] {
				n++
			}
		}
		if m.header == row.Number {
			best = i
			break
		}
		if m.header == 0 && n > most {
			best, most = i, n
		}
	}
	if best < 0 {
		return head{}, nil, s.noHeader(m)
	}
	row := s.rows[best]
	h := head{row: row.Number, columns: map[string]int{}, width: len(row.Cells)}
	twice := map[string]bool{}
	for i, c := range row.Cells {
		name := fold(c.Text)
		h.cells = append(h.cells, name)
		if name == "" {
			continue
		}
		if _, is := h.columns[name]; is {
			twice[name] = true
			continue
		}
		h.columns[name] = i
	}
	return h, s.rows[best+1:], s.fits(m, row, h, twice)
}

func (s *sheet) noHeader(m *Map) error {
	if len(s.rows) == 0 {
		return fmt.Errorf("%w: there is nothing in it; check that it is the right file and sheet", table.ErrNotTable)
	}
	if m.header > 0 {
		return Faults{m.doc.Problem("header_row", "no-header", "", fmt.Sprintf("row %d of the list is empty or not there", m.header), "correct header_row, or leave it out")}
	}
	var wanted []string
	for _, used := range m.uses() {
		if !slices.Contains(wanted, used.Value) {
			wanted = append(wanted, used.Value)
		}
	}
	return Faults{m.doc.Problem("entry", "no-header", "", fmt.Sprintf("no row of the first %d names any column of the map (%s)", maxHeaderRow, strings.Join(wanted, ", ")),
		"check that it is the right file and sheet, or correct the names in the map")}
}

// fits checks that every column of the map is there, once.
func (s *sheet) fits(m *Map, row table.Row, h head, twice map[string]bool) error {
	var faults Faults
	var have []string
	for _, c := range row.Cells {
		if name := clean(c.Text); name != "" {
			have = append(have, name)
		}
	}
	for _, used := range m.uses() {
		name := fold(used.Value)
		_, there := h.columns[name]
		switch {
		case !there:
			remedy := fmt.Sprintf("the columns in row %d are %s", h.row, reading.Shorten(strings.Join(have, ", ")))
			if near := reading.Nearest(used.Value, have); near != "" {
				remedy = fmt.Sprintf("did you mean %q?", near)
			}
			faults = append(faults, m.doc.Problem(used.Key, "unknown-column", used.Value, fmt.Sprintf("the list has no column %q", reading.Shorten(used.Value)), remedy))
		case twice[name]:
			faults = append(faults, m.doc.Problem(used.Key, "column-twice", used.Value, fmt.Sprintf("two columns of the list are called %q", reading.Shorten(used.Value)), "rename one of them in the list"))
		}
	}
	if len(faults) > 0 {
		return faults
	}
	return nil
}

// passOver tells why a row is no entry, or "".
func (r *rows) passOver(row table.Row, h head) string {
	if row.Fault != "" {
		return ""
	}
	first, again := "", true
	mapped := false
	for i, c := range row.Cells {
		text := fold(c.Text)
		if first == "" {
			first = text
		}
		again = again && (i < len(h.cells) && text == h.cells[i] || i >= len(h.cells) && text == "")
	}
	for _, used := range r.m.uses() {
		mapped = mapped || clean(r.cell(row, used.Value).Text) != ""
	}
	switch {
	case again:
		return "the names of the columns again"
	case slices.Contains(r.m.skip, strings.TrimRight(first, " :.")):
		return fmt.Sprintf("it begins with %q", reading.Shorten(first))
	case !mapped:
		return "nothing stands in the columns that the map uses"
	}
	return ""
}
