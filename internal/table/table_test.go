package table

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

// shown writes rows as number:cell|cell, with what is stored in brackets where
// it differs.
func shown(rows []Row) string {
	var lines []string
	for _, r := range rows {
		var cells []string
		for _, c := range r.Cells {
			text := c.Text
			if c.Stored != "" && c.Stored != c.Text {
				text += "[" + c.Stored + "]"
			}
			cells = append(cells, text)
		}
		if r.Fault != "" {
			cells = append(cells, "fault")
		}
		lines = append(lines, fmt.Sprintf("%d:%s", r.Number, strings.Join(cells, "|")))
	}
	return strings.Join(lines, "\n")
}

func TestRowsAreNumberedAsASpreadsheetDoes(t *testing.T) {
	text := "a,b\n\n,\n\"one\ntwo\",c\nd,e\nf \"g\" h,i\n\"\n\n\",j\nk,l"
	rows, err := Cut(text, ',')
	want := "1:a|b\n4:one\ntwo|c\n5:d|e\n6:fault\n7:\n\n|j\n8:k|l"
	if err != nil || shown(rows) != want {
		t.Errorf("%v\n got %s\nwant %s", err, shown(rows), want)
	}
	if rows[2].Line != 6 {
		t.Errorf("the third row begins on line %d, want 6", rows[2].Line)
	}
}

func TestTooManyRowsAreRefused(t *testing.T) {
	if _, err := Cut(strings.Repeat("a\n", MaxRows+1), ','); !errors.Is(err, ErrNotTable) {
		t.Errorf("%v", err)
	}
	if rows, err := Cut(strings.Repeat("a\n", MaxRows), ','); err != nil || len(rows) != MaxRows {
		t.Errorf("%d rows, %v", len(rows), err)
	}
}

func TestTheDelimiterThatFindsMostNamesWins(t *testing.T) {
	known := func(cell string) bool { return slices.Contains([]string{"a", "b", "c,d"}, cell) }
	for text, want := range map[string]rune{
		"a,b": ',', "a;b": ';', "a\tb": '\t', "a|b": '|', "a": ',', "": ',', "x,y\n\na;b": ';', "\"c,d\";a": ';', "x,y\nx,y\nx,y\na;b": ',',
	} {
		if got := Delimiter(text, []rune{',', ';', '\t', '|'}, 3, known); got != want {
			t.Errorf("%q is parted by %q, want %q", text, got, want)
		}
	}
}

// made writes a workbook with the library itself.
func made(t *testing.T, fill func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	fill(f)
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func must(t *testing.T, errs ...error) {
	t.Helper()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
}

func TestAWorkbookIsReadAsShownAndAsStored(t *testing.T) {
	data := made(t, func(f *excelize.File) {
		pounds, day, short := `"£"0.00`, "dd/mm/yy", `0.0" mm"`
		s1, err1 := f.NewStyle(&excelize.Style{CustomNumFmt: &pounds})
		s2, err2 := f.NewStyle(&excelize.Style{CustomNumFmt: &day})
		s3, err3 := f.NewStyle(&excelize.Style{CustomNumFmt: &short})
		s4, err4 := f.NewStyle(&excelize.Style{Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"FFCC00"}}})
		must(t, err1, err2, err3, err4,
			f.SetCellValue("Sheet1", "A2", "Title"), f.MergeCell("Sheet1", "A2", "C2"),
			f.SetCellValue("Sheet1", "A4", time.Date(2031, 1, 14, 0, 0, 0, 0, time.UTC)), f.SetCellStyle("Sheet1", "A4", "A4", s2),
			f.SetCellValue("Sheet1", "B4", 12.5), f.SetCellStyle("Sheet1", "B4", "B4", s1),
			f.SetCellValue("Sheet1", "C4", 1.377), f.SetCellStyle("Sheet1", "C4", "C4", s3),
			f.SetCellValue("Sheet1", "D4", " 16g "), f.SetCellValue("Sheet1", "E4", true), f.SetCellValue("Sheet1", "F4", 0.1+0.2),
			f.SetCellStyle("Sheet1", "A6", "XFD6", s4), f.SetRowVisible("Sheet1", 4, false))
	})
	w, err := ReadWorkbook(data, "")
	want := "2:Title\n4:14/01/31[47862]|£12.50[12.5]|1.4 mm[1.377]| 16g |TRUE[1]|0.3"
	if err != nil || shown(w.Rows) != want || w.Sheet != "Sheet1" || w.Days != 1900 || w.Hidden != 1 || w.Unworked != 0 {
		t.Errorf("%v %+v\n got %s\nwant %s", err, w, shown(w.Rows), want)
	}
}

func TestTheCalendarOf1904IsTold(t *testing.T) {
	yes := true
	w, err := ReadWorkbook(made(t, func(f *excelize.File) {
		must(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}), f.SetCellValue("Sheet1", "A1", "x"))
	}), "")
	if err != nil || w.Days != 1904 {
		t.Errorf("%v, the calendar begins in %d", err, w.Days)
	}
}

func TestASheetIsFoundByName(t *testing.T) {
	data := made(t, func(f *excelize.File) {
		_, err := f.NewSheet("Bench log")
		must(t, err, f.SetCellValue("Sheet1", "A1", "cover"), f.SetCellValue("Bench log", "A1", "bench"))
	})
	for name, want := range map[string]string{"": "1:cover", "bench LOG ": "1:bench", "Sheet1": "1:cover"} {
		if w, err := ReadWorkbook(data, name); err != nil || shown(w.Rows) != want {
			t.Errorf("%q: %s, %v; want %s", name, shown(w.Rows), err, want)
		}
	}
	_, err := ReadWorkbook(data, "Benches")
	if !errors.Is(err, ErrNoSheet) || err.Error() != `there is no such sheet as "Benches"; the workbook has Sheet1, Bench log` {
		t.Errorf("%v", err)
	}
}

// zipped packs a workbook whose one sheet and strings are given as XML (ECMA-376
// part 1, 12.3 and 18.3).
func zipped(t testing.TB, sheetData, strs string) []byte {
	t.Helper()
	const main = `xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"`
	const rel = `xmlns="http://schemas.openxmlformats.org/package/2006/relationships"`
	const office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	parts := map[string]string{
		"[Content_Types].xml": `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/>` +
			`<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>` +
			`<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>`,
		"_rels/.rels":                `<Relationships ` + rel + `><Relationship Id="rId1" Type="` + office + `/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/workbook.xml":            `<workbook ` + main + ` xmlns:r="` + office + `"><sheets><sheet name="Log" sheetId="1" r:id="rId1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels": `<Relationships ` + rel + `><Relationship Id="rId1" Type="` + office + `/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="` + office + `/sharedStrings" Target="sharedStrings.xml"/></Relationships>`,
		"xl/worksheets/sheet1.xml":   `<worksheet ` + main + `><sheetData>` + sheetData + `</sheetData></worksheet>`,
		"xl/sharedStrings.xml":       `<sst ` + main + `>` + strs + `</sst>`,
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(parts[name])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestEveryKindOfCellIsRead(t *testing.T) {
	row := func(cells string) string { return `<row r="3">` + cells + `</row>` }
	for name, c := range map[string]struct{ sheet, strings, want string }{
		"inline text":          {row(`<c r="A3" t="inlineStr"><is><t>R-1</t></is></c>`), "", "3:R-1"},
		"inline, in two types": {row(`<c r="A3" t="inlineStr"><is><r><t>Bench </t></r><r><t>log</t></r></is></c>`), "", "3:Bench log"},
		"a shared string":      {row(`<c r="A3" t="s"><v>1</v></c>`), "<si><t>no</t></si><si><r><t>y</t></r><r><t>es</t></r></si>", "3:yes"},
		"a formula's text":     {row(`<c r="A3" t="str"><f>A1&amp;"x"</f><v>worked out</v></c>`), "", "3:worked out"},
		"a formula's number":   {row(`<c r="B3"><f>1/3</f><v>0.33333333333333331</v></c>`), "", "3:|0.333333333333333"},
		"a number kept badly":  {row(`<c r="A3"><v>1.3799999999999999</v></c>`), "", "3:1.38"},
		"a day in ISO 8601":    {row(`<c r="A3" t="d"><v>2031-01-14T00:00:00</v></c>`), "", "3:2031-01-14T00:00:00"},
		"a fault":              {row(`<c r="A3" t="e"><f>X</f><v>#REF!</v></c>`), "", "3:#REF!"},
		"rows and cells bare":  {`<row><c><v>1</v></c><c><v>2</v></c></row><row><c><v>3</v></c></row>`, "", "1:1|2\n2:3"},
		"a gap of rows":        {`<row r="2"><c r="A2"><v>1</v></c></row><row r="90000"><c r="C90000"><v>3</v></c></row>`, "", "2:1\n90000:||3"},
	} {
		w, err := ReadWorkbook(zipped(t, c.sheet, c.strings), "")
		if err != nil || shown(w.Rows) != c.want {
			t.Errorf("%s: %s, %v; want %s", name, shown(w.Rows), err, c.want)
		}
	}
}

func TestFormulasThatWereNeverWorkedOutAreCounted(t *testing.T) {
	w, err := ReadWorkbook(zipped(t, `<row r="1"><c r="A1"><f>1+1</f></c><c r="B1" t="str"><f>""</f><v></v></c><c r="C1"><f>2+2</f><v>4</v></c><c r="D1"><v>1</v></c></row>`, ""), "")
	if err != nil || w.Unworked != 1 {
		t.Errorf("%d, %v; want 1", w.Unworked, err)
	}
}

func TestDamagedWorkbooksAreNotTakenForShortOnes(t *testing.T) {
	sound := zipped(t, `<row r="1"><c r="A1"><v>1</v></c></row>`, "")
	for name, data := range map[string][]byte{
		"XML that breaks off":     zipped(t, `<row r="1"><c r="A1"><v>1</v></c></row><row r="2"><c r="A2">`, ""),
		"strings that break off":  zipped(t, `<row r="1"><c r="A1" t="s"><v>0</v></c></row>`, "<si><t>a"),
		"a string that is not":    zipped(t, `<row r="1"><c r="A1" t="s"><v>7</v></c></row>`, "<si><t>a</t></si>"),
		"half a file":             sound[:len(sound)/2],
		"a zip of something else": []byte("PK\x03\x04 and so on"),
		"an .xls file":            []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and so on"),
		"too many columns":        zipped(t, `<row r="1"><c r="XFD1"><v>1</v></c></row>`, ""),
	} {
		if !IsWorkbook(data) {
			t.Errorf("%s: not seen as a workbook", name)
		}
		if w, err := ReadWorkbook(data, ""); !errors.Is(err, ErrNotTable) {
			t.Errorf("%s: %s, %v; want ErrNotTable", name, shown(w.Rows), err)
		}
	}
	if w, err := ReadWorkbook(sound, ""); err != nil || shown(w.Rows) != "1:1" {
		t.Fatalf("the sound one: %s, %v", shown(w.Rows), err)
	}
}

func FuzzCut(f *testing.F) {
	for _, s := range []string{"a,b\nc,d", "\"a\nb\",c\n\"", "\xff\xfea\x00", "a;b|c\td\r\n\r\n", "\xe9\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		text, encoding, err := Decode(raw)
		if err != nil {
			if !errors.Is(err, ErrNotTable) {
				t.Fatalf("an error of another kind: %v", err)
			}
			return
		}
		if encoding == "" {
			t.Fatal("no encoding is told")
		}
		marks := []rune{',', ';', '\t', '|'}
		mark := Delimiter(text, marks, 10, func(cell string) bool { return cell == "a" })
		rows, err := Cut(text, mark)
		if err != nil {
			t.Fatal(err)
		}
		last := 0
		for _, r := range rows {
			if r.Blank() || r.Number < 1 || r.Number <= last || r.Line < r.Number || (r.Fault == "") == (len(r.Cells) == 0) {
				t.Fatalf("row %+v after row %d in %q", r, last, text)
			}
			last = r.Number
		}
	})
}

func FuzzSheet(f *testing.F) {
	for _, s := range []string{`<row r="1"><c r="A1"><v>1</v></c></row>`, `<row r="0"><c r="" t="s"><v>-1</v></c></row>`, `<row r="9"><c r="B2" t="inlineStr"><is/></c></row>`,
		`<row r="1"><c r="A1" s="9" t="d"><f/></c></row>`, `<row r="2"/><row r="1"/>`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, sheet string) {
		w, err := ReadWorkbook(zipped(t, sheet, "<si><t>a</t></si>"), "")
		if err != nil && !errors.Is(err, ErrNotTable) {
			t.Fatalf("an error of another kind: %v", err)
		}
		for _, r := range w.Rows {
			if r.Blank() || len(r.Cells) > MaxColumns {
				t.Fatalf("row %+v", r)
			}
		}
	})
}

// slow gives a few bytes at a time, so that characters are cut in two.
type slow struct{ *bytes.Reader }

func (s slow) Read(p []byte) (int, error) { return s.Reader.Read(p[:min(len(p), 3)]) }

func TestEncodingIsToldWithoutHoldingTheText(t *testing.T) {
	long := strings.Repeat("Zoë Näslund, ", 20_000) // several buffers, with characters across their ends
	for text, want := range map[string]string{
		"":                     "UTF-8",
		long:                   "UTF-8",
		"\xef\xbb\xbf" + long:  "UTF-8",
		long + "\xeb":          "Windows-1252",
		"\xeb" + long:          "Windows-1252",
		long + "\xc3":          "Windows-1252", // a character that does not end
		"\xff\xfea\x00":        "UTF-16",
		"\xfe\xff\x00a":        "UTF-16",
		long + "\x00":          "",
		strings.Repeat("ë", 2): "UTF-8",
	} {
		r := slow{bytes.NewReader([]byte(text))}
		got, err := Encoding(r)
		if got != want || (want == "") != errors.Is(err, ErrNotTable) {
			t.Errorf("…%q is told as %q, %v; want %q", text[max(0, len(text)-9):], got, err, want)
		}
		if err == nil && int(r.Size())-r.Len() != 0 {
			t.Errorf("…%q is left %d bytes on", text[max(0, len(text)-9):], int(r.Size())-r.Len())
		}
	}
}

// cutOff is a text whose file breaks off.
type cutOff struct{ io.Reader }

func (c cutOff) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	if err == io.EOF {
		err = io.ErrClosedPipe
	}
	return n, err
}

func TestATextThatBreaksOffSaysSo(t *testing.T) {
	rows := slices.Collect(Rows(cutOff{strings.NewReader("a,b\nc,d\n")}, ','))
	if len(rows) != 3 || rows[2].Line != 3 || !strings.Contains(rows[2].Fault, "cannot be read further") {
		t.Errorf("rows = %+v", rows)
	}
}
