package table

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// maxUnzipped bounds what a workbook may hold once unzipped, in bytes. All of it
// stays in memory: nothing of a private list is put down in a temporary file.
const maxUnzipped = 128 << 20

// Workbook is one sheet of an XLSX file.
type Workbook struct {
	Sheet    string
	Rows     []Row // without those that have nothing in them
	Days     int   // the first year of its calendar: 1900 or 1904
	Hidden   int   // rows that are hidden, and read all the same
	Unworked int   // formulas, in any sheet, whose value was never worked out
}

// ErrNoSheet is returned for a sheet that the workbook does not have.
var ErrNoSheet = errors.New("there is no such sheet")

// IsWorkbook reports whether a file is one of a spreadsheet program's own, and
// so no text: a zip archive or the older compound file.
func IsWorkbook(raw []byte) bool {
	return bytes.HasPrefix(raw, []byte("PK\x03\x04")) || isCompound(raw)
}

// isCompound tells the container of .xls files and of encrypted workbooks
// ([MS-CFB] 2.2, header signature).
func isCompound(raw []byte) bool {
	return bytes.HasPrefix(raw, []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"))
}

// ReadWorkbook reads one sheet of an XLSX file, the first if none is named.
// Formulas give the value that was last worked out for them.
func ReadWorkbook(raw []byte, sheet string) (w Workbook, err error) {
	if isCompound(raw) {
		return w, fmt.Errorf("%w: it is an old .xls file or has a password; save it as .xlsx without one, or as CSV", ErrNotTable)
	}
	f, err := excelize.OpenReader(bytes.NewReader(raw), excelize.Options{UnzipSizeLimit: maxUnzipped, UnzipXMLSizeLimit: maxUnzipped})
	if err != nil {
		return w, notXLSX(err)
	}
	defer f.Close()
	if w.Unworked, err = wholeParts(f); err != nil {
		return w, notXLSX(err)
	}
	names := f.GetSheetList()
	if len(names) == 0 {
		return w, notXLSX(errors.New("it has no sheets"))
	}
	if w.Sheet, err = sheetNamed(names, sheet); err != nil {
		return w, err
	}
	props, err := f.GetWorkbookProps()
	if err != nil {
		return w, notXLSX(err)
	}
	if w.Days = 1900; props.Date1904 != nil && *props.Date1904 {
		w.Days = 1904
	}
	return w, w.read(f)
}

func notXLSX(err error) error {
	return fmt.Errorf("%w: it is no XLSX workbook or a damaged one (%w); save it again as .xlsx, or as CSV", ErrNotTable, err)
}

// scan is what a first look through the XML of a workbook finds.
type scan struct {
	unworked    int // formulas without a value
	strings     int // texts that cells share
	highest     int // number of the last of them that a cell asks for, from 1
	inString    bool
	formula     bool
	value       bool
	sharedValue bool
}

// wholeParts looks for XML that breaks off and for cells whose text is not
// there: reading row by row would take these for the end of the sheet and for
// empty cells. It returns how many formulas have no value.
func wholeParts(f *excelize.File) (unworked int, fault error) {
	var s scan
	f.Pkg.Range(func(name, data any) bool {
		part, ok := data.([]byte)
		if path := name.(string); !ok || !strings.HasSuffix(path, ".xml") || !strings.HasPrefix(path, "xl/worksheets/") && path != "xl/sharedStrings.xml" {
			return true
		}
		if err := s.part(part); err != nil {
			fault = fmt.Errorf("%s: %w", name, err)
		}
		return fault == nil
	})
	if fault == nil && s.highest > s.strings {
		fault = fmt.Errorf("a cell holds text number %d of %d", s.highest, s.strings)
	}
	return s.unworked, fault
}

func (s *scan) part(part []byte) error {
	d := xml.NewDecoder(bytes.NewReader(part))
	// This looks at the form only; the library reads the text.
	d.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil }
	for {
		token, err := d.Token()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		switch t := token.(type) {
		case xml.StartElement:
			s.begin(t)
		case xml.CharData:
			if s.sharedValue {
				if n, err := strconv.Atoi(strings.TrimSpace(string(t))); err == nil {
					s.highest = max(s.highest, n+1)
				}
			}
		case xml.EndElement:
			s.sharedValue = false
			if t.Name.Local == "c" && s.formula && !s.value {
				s.unworked++
			}
		}
	}
}

func (s *scan) begin(t xml.StartElement) {
	switch t.Name.Local {
	case "si":
		s.strings++
	case "c":
		s.formula, s.value = false, false
		s.inString = slices.ContainsFunc(t.Attr, func(a xml.Attr) bool { return a.Name.Local == "t" && a.Value == "s" })
	case "f":
		s.formula = true
	case "is":
		s.value = true
	case "v":
		s.value, s.sharedValue = true, s.inString
	}
}

func sheetNamed(names []string, want string) (string, error) {
	if want == "" {
		return names[0], nil
	}
	i := slices.IndexFunc(names, func(n string) bool { return strings.EqualFold(strings.TrimSpace(n), strings.TrimSpace(want)) })
	if i < 0 {
		return "", fmt.Errorf("%w as %q; the workbook has %s", ErrNoSheet, want, strings.Join(names, ", "))
	}
	return names[i], nil
}

// read goes through the sheet twice at once: as it is shown, and as it is stored.
func (w *Workbook) read(f *excelize.File) error {
	shown, err := f.Rows(w.Sheet)
	if err != nil {
		return notXLSX(err)
	}
	defer shown.Close()
	stored, err := f.Rows(w.Sheet)
	if err != nil {
		return notXLSX(err)
	}
	defer stored.Close()
	for number := 1; shown.Next() && stored.Next(); number++ {
		texts, err1 := shown.Columns()
		values, err2 := stored.Columns(excelize.Options{RawCellValue: true})
		if err := errors.Join(err1, err2); err != nil {
			return notXLSX(fmt.Errorf("row %d: %w", number, err))
		}
		row := Row{Number: number, Line: number}
		for i, text := range texts {
			row.Cells = append(row.Cells, cell(text, values, i))
		}
		for n := len(row.Cells); n > 0 && strings.TrimSpace(row.Cells[n-1].Text) == ""; n-- {
			row.Cells = row.Cells[:n-1] // cells that only have a colour or a border
		}
		if row.Blank() {
			continue
		}
		if len(row.Cells) > MaxColumns {
			return fmt.Errorf("%w: row %d has more than %d columns; delete what does not belong there", ErrNotTable, number, MaxColumns)
		}
		if len(w.Rows) == MaxRows {
			return fmt.Errorf("%w: the sheet has more than %d rows; split it", ErrNotTable, MaxRows)
		}
		if shown.GetRowOpts().Hidden {
			w.Hidden++
		}
		w.Rows = append(w.Rows, row)
	}
	return nil
}

// isoDate is a date as ISO 8601 writes it, which some programs store.
var isoDate = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}(T[\d:.]+Z?)?$`)

func cell(text string, values []string, i int) Cell {
	c := Cell{Text: text}
	switch {
	case i >= len(values):
	case isNumber(values[i]):
		c.Stored = fifteenDigits(values[i])
	case isoDate.MatchString(values[i]):
		c.Text = values[i] // clearer than the form in which it is shown
	}
	return c
}

func isNumber(s string) bool {
	if s == "" || strings.Trim(s, "0123456789.eE+-") != "" {
		return false
	}
	_, err := strconv.ParseFloat(s, 64)
	return err == nil
}

// fifteenDigits writes a stored number as a spreadsheet would show it in full:
// 1.38 is kept as 1.3799999999999999 (ECMA-376 stores IEEE 754 doubles; that
// programs show 15 digits of them is common practice, no source).
func fifteenDigits(s string) string {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !strings.ContainsAny(s, ".eE") {
		return s
	}
	exact, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 15, 64), 64)
	if err != nil {
		return s
	}
	return strconv.FormatFloat(exact, 'f', -1, 64)
}
