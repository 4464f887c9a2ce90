// Package table cuts what spreadsheets export into rows and cells: text parted
// by commas, semicolons, tabs or pipes, in the encodings that spreadsheets
// write, and XLSX workbooks.
//
// It promises that every row comes back with the number that a spreadsheet
// shows beside it, that a row which cannot be cut says why and does not hide the
// others, and that a file past its limits is refused before it fills memory. It
// must not know what the columns mean.
package table

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	utf "golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// The most that is taken in: far above any list that a workshop keeps.
const (
	MaxBytes   = 32 << 20 // of a file
	MaxRows    = 100_000
	MaxColumns = 200 // of a workbook
)

// ErrNotTable is returned for a file that cannot be a table.
var ErrNotTable = errors.New("this is not a table that can be read")

// Row is one row of a table.
type Row struct {
	Number int // as a spreadsheet shows it, from 1
	Line   int // of the file where the row begins; in a workbook the same as Number
	Cells  []Cell
	Fault  string // why the row could not be cut into cells; it has none then
}

// Cell is one cell. Text is what a reader sees. Stored is set where a workbook
// holds a number, to that number as it is kept, which may be more exact, or a
// day counted from the workbook's first day.
type Cell struct{ Text, Stored string }

// Blank reports whether there is nothing in the row to see.
func (r Row) Blank() bool {
	for _, c := range r.Cells {
		if strings.TrimSpace(c.Text) != "" {
			return false
		}
	}
	return r.Fault == ""
}

// Decode tells the encoding of a text from its bytes: UTF-8, UTF-16 with a byte
// order mark, or else Windows-1252. A byte order mark is dropped.
func Decode(raw []byte) (text, encoding string, err error) {
	if encoding, err = Encoding(bytes.NewReader(raw)); err != nil {
		return "", "", err
	}
	decoded, err := io.ReadAll(Text(bytes.NewReader(raw), encoding))
	if err != nil {
		return "", "", fmt.Errorf("%w: its %s is broken; export it again as UTF-8: %w", ErrNotTable, encoding, err)
	}
	return string(decoded), encoding, nil
}

// Encoding tells the encoding of a text as Decode does, and holds little of it in
// memory. It leaves r at its beginning.
func Encoding(r io.ReadSeeker) (string, error) {
	first := true
	whole := true // as UTF-8
	buf := make([]byte, 64<<10)
	kept := 0 // bytes of a character whose end is still to come
	for {
		n, err := io.ReadFull(r, buf[kept:])
		ended := err == io.EOF || err == io.ErrUnexpectedEOF
		if err != nil && !ended {
			return "", err
		}
		b := buf[:kept+n]
		if first && (bytes.HasPrefix(b, []byte("\xff\xfe")) || bytes.HasPrefix(b, []byte("\xfe\xff"))) {
			_, err := r.Seek(0, io.SeekStart)
			return "UTF-16", err
		}
		first = false
		if bytes.IndexByte(b, 0) >= 0 {
			return "", fmt.Errorf("%w: it holds bytes that no text has; export it as CSV in UTF-8", ErrNotTable)
		}
		kept = 0
		for whole && len(b) > 0 {
			c, size := utf8.DecodeRune(b)
			if c == utf8.RuneError && size == 1 {
				if !ended && !utf8.FullRune(b) {
					kept = copy(buf, b)
					break
				}
				whole = false
			}
			b = b[size:]
		}
		if ended {
			break
		}
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return "", err
	}
	if whole {
		return "UTF-8", nil
	}
	return "Windows-1252", nil
}

// Text reads a text of an encoding that Encoding told as UTF-8, without its byte order
// mark.
func Text(r io.Reader, encoding string) io.Reader {
	switch encoding {
	case "UTF-16":
		return transform.NewReader(r, utf.UTF16(utf.LittleEndian, utf.ExpectBOM).NewDecoder())
	case "Windows-1252":
		return transform.NewReader(r, charmap.Windows1252.NewDecoder())
	}
	return transform.NewReader(r, utf.UTF8BOM.NewDecoder())
}

// Delimiter picks, of the marks offered, the one that cuts out the most cells
// which known knows, looking at the first rows; the first mark wins a draw.
func Delimiter(text string, marks []rune, rows int, known func(cell string) bool) rune {
	best, most := marks[0], 0
	for _, mark := range marks {
		seen := 0
		for row := range Rows(strings.NewReader(text), mark) {
			if seen++; seen > rows {
				break
			}
			n := 0
			for _, c := range row.Cells {
				if known(c.Text) {
					n++
				}
			}
			if n > most {
				best, most = mark, n
			}
		}
	}
	return best
}

// Cut cuts a text into rows. Rows with nothing in them are left out.
func Cut(text string, delimiter rune) ([]Row, error) {
	var rows []Row
	for row := range Rows(strings.NewReader(text), delimiter) {
		if row.Blank() {
			continue
		}
		if len(rows) == MaxRows {
			return nil, fmt.Errorf("%w: it has more than %d rows; split it", ErrNotTable, MaxRows)
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// Rows yields the rows of a text as they are read, one in memory at a time, blank
// ones too. A row's number differs from its line once a cell above it holds a line
// break. A row that cannot be cut has a Fault; so has the last one, when the text
// itself cannot be read further.
func Rows(text io.Reader, delimiter rune) iter.Seq[Row] {
	return func(yield func(Row) bool) {
		r := csv.NewReader(text)
		r.Comma = delimiter
		r.FieldsPerRecord = -1
		extra := 0 // lines so far that belong to a cell of the line before
		last := 0  // line on which the row before began
		for {
			cells, err := r.Read()
			if errors.Is(err, io.EOF) {
				return
			}
			var fault *csv.ParseError
			if err != nil && !errors.As(err, &fault) {
				yield(Row{Number: last + 1 - extra, Line: last + 1, Fault: fmt.Sprintf("the file cannot be read further (%v)", err)})
				return
			}
			if fault != nil {
				row := Row{Number: fault.StartLine - extra, Line: fault.StartLine,
					Fault: `a quotation mark stands alone; put the cell in "…" and double the marks inside it; rows after it may have been taken for part of it`}
				extra += fault.Line - fault.StartLine
				last = fault.Line
				if !yield(row) {
					return
				}
				continue
			}
			line, _ := r.FieldPos(0)
			row := Row{Number: line - extra, Line: line}
			last = line
			for _, c := range cells {
				row.Cells = append(row.Cells, Cell{Text: c})
				extra += strings.Count(c, "\n")
			}
			if !yield(row) {
				return
			}
		}
	}
}
