package record

import (
	"maps"
	"os"
	"strings"
	"testing"

	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/table"
	"example.org/opencowl/internal/worklog"
)

func TestDatesAreReadInTheOrderThatTheMapTells(t *testing.T) {
	const unclear = ` can be read in more than one way; write format: day/month/year or month/day/year beside its column in the map`
	for _, c := range []struct {
		format, text, want string // the error where it does not begin with a digit
	}{
		{dayFirst, "14/01/31", "2031-01-14"},
		{dayFirst, " 1.2.2031 ", "2031-02-01"},
		{dayFirst, "14-1-31", "2031-01-14"},
		{dayFirst, "2031-01-14", "2031-01-14"},
		{dayFirst, "2031/01/14", "2031-01-14"},
		{dayFirst, "2031-01-14T09:30:00Z", "2031-01-14"},
		{dayFirst, "14/01/2031 09:30", "2031-01-14"},
		{dayFirst, "14/01/31 9:30 pm", "2031-01-14"},
		{dayFirst, "Tue 14/01/31", "2031-01-14"},
		{dayFirst, "Tuesday, 14th January 2031", "2031-01-14"},
		{dayFirst, "14-Jan-31", "2031-01-14"},
		{dayFirst, "Jan 14, 31", "2031-01-14"},
		{dayFirst, "3 Sept 2031", "2031-09-03"},
		{dayFirst, "29/02/32", "2032-02-29"},
		{monthFirst, "01/14/31", "2031-01-14"},
		{monthFirst, "Jan 14 '31", "2031-01-14"},
		{yearFirst, "31.01.14", "2031-01-14"},
		{yearFirst, "31 Jan 14", "2031-01-14"},
		{"", "2031-1-4", "2031-01-04"},
		{"", "14 January 2031", "2031-01-14"},
		{"", "January 14, 2031", "2031-01-14"},
		{"", "14/01/31", `"14/01/31"` + unclear},
		{"", "14/01/2031", `"14/01/2031"` + unclear},
		{"", "14 Jan 31", `"14 Jan 31"` + unclear},
		{dayFirst, "14/31", `"14/31" is not a date; write it as 2031-01-14`},
		{dayFirst, "14/01/031", `"14/01/031" is no day of any calendar, read as day/month/year; correct it, or the format in the map`},
		{dayFirst, "29/02/31", `"29/02/31" is no day of any calendar, read as day/month/year; correct it, or the format in the map`},
		{"", "2031-14-01", `"2031-14-01" is no day of any calendar, read as year, month, day; correct it, or the format in the map`},
		{dayFirst, "14 Ma 31", `"14 Ma 31" is no day of any calendar, read as day/month/year; correct it, or the format in the map`},
		{dayFirst, "310114", `"310114" is not a date; write it as 2031-01-14`},
		{dayFirst, "14/01/1931", `"14/01/1931" would be 14 January 1931, which no log holds; correct the year`},
		{dayFirst, "47862", `"47862" looks like a day counted by a spreadsheet; export the column as dates, or write serials: 1900 beside its column in the map if it counts 47862 as 14 January 2031`},
	} {
		got := ""
		d, err := dates{format: c.format}.read(table.Cell{Text: c.text})
		if got = d.String(); err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("%q as %q\n got %s\nwant %s", c.text, c.format, got, c.want)
		}
	}
}

// Microsoft's reference for the DATE function: 1 January 2008 is day 39448; its
// article on the two calendars: they lie 1,462 days apart. Both from memory.
func TestDaysAreCountedFromEitherCalendar(t *testing.T) {
	for _, c := range []struct {
		year   int
		number string
		want   string
	}{
		{1900, "39448", "2008-01-01"}, {1904, "37986", "2008-01-01"}, {1900, "47862", "2031-01-14"}, {1904, "46400", "2031-01-14"},
		{1900, "47862.99", "2031-01-14"}, {1900, "18264", "1950-01-01"},
		{1900, "18263", `"18263" would be 31 December 1949, which no log holds; correct the year`},
		{1900, "2031", `"2031" would be 23 July 1905, which no log holds; correct the year`},
		{1900, "20310114", `"20310114" is not a date; write it as 2031-01-14`},
		{1900, "-1", `"-1" is not a date; write it as 2031-01-14`},
	} {
		d, err := dates{year: c.year}.read(table.Cell{Text: "as shown", Stored: c.number})
		got := d.String()
		if err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("%s counted from %d\n got %s\nwant %s", c.number, c.year, got, c.want)
		}
	}
}

func TestThicknessesAndCostsAsSpreadsheetsHaveThem(t *testing.T) {
	for _, c := range []struct {
		comma             bool
		unit, gauge, text string
		stored, want      string
	}{
		{false, "mm", "", "1.38", "", "1.38 mm"},
		{false, "mm", "", "1.4", "1.377", "1.377 mm"},
		{false, "mm", "", "0.054 in", "", "0.054 in"},
		{false, "mm", "", "1.4 mm", "1.377", "1.4 mm"},
		{false, "in", "", "1/16", "", "1/16 in"},
		{false, "", "swg", "16g", "", "16 swg"},
		{false, "", "awg", "14 Gauge", "", "14 awg"},
		{false, "", "swg", "4/0 ga.", "", "4/0 swg"},
		{false, "", "", "16g", "", "16g"},
		{false, "", "", "16 S.W.G.", "", "16 swg"},
		{false, "mm", "swg", "16 AWG", "", "16 awg"},
		{true, "mm", "", "1,38", "", "1.38 mm"},
		{true, "mm", "", "1,38 mm", "", "1.38 mm"},
		{false, "mm", "", "1,38", "", "1,38 mm"},
	} {
		r := &rows{m: &Map{decimalComma: c.comma}}
		if got := r.thickness(column{Unit: c.unit, Gauge: c.gauge}, table.Cell{Text: c.text, Stored: c.stored}, c.text); got != c.want {
			t.Errorf("%q (%s) with unit %q, gauge %q is %q, want %q", c.text, c.stored, c.unit, c.gauge, got, c.want)
		}
	}
	for _, c := range []struct {
		comma                bool
		currency, text, want string
	}{
		{false, "GBP", "12.5", "GBP 12.50"}, {false, "GBP", "£ 12.50", "GBP 12.50"}, {false, "GBP", "£1,234.50", "GBP 1234.50"}, {false, "GBP", "GBP 3", "GBP 3.00"},
		{false, "EUR", "12.50 €", "EUR 12.50"}, {true, "EUR", "1.234,50 €", "EUR 1234.50"}, {false, "GBP", "$5", "$5"}, {false, "", "12.5", "12.5"},
		{false, "", "USD 7", "USD 7.00"}, {false, "GBP", "EUR 7", "EUR 7.00"}, {false, "GBP", "12,5", "GBP 12,5"},
	} {
		r := &rows{m: &Map{decimalComma: c.comma}}
		if got := r.cost(column{Currency: c.currency}, c.text); got != c.want {
			t.Errorf("%q in %q is %q, want %q", c.text, c.currency, got, c.want)
		}
	}
}

func TestQuotesStandOnlyWhereTheyAreNeeded(t *testing.T) {
	for value, want := range map[string]string{
		"Pits to 0.25 mm under the paint.": "Pits to 0.25 mm under the paint.",
		"Pits, and more":                   "Pits, and more",
		"R-12/b (port)":                    "R-12/b (port)",
		"made for the 10% case":            "made for the 10% case",
		"2031-01-14":                       "2031-01-14",
		"1.38 mm":                          "1.38 mm",
		"yes":                              `"yes"`,
		"Null":                             `"Null"`,
		"~":                                `"~"`,
		"a: b":                             `"a: b"`,
		"a #1":                             `"a #1"`,
		"- a":                              `"- a"`,
		"[port]":                           `"[port]"`,
		`a \ b "c"`:                        `"a \\ b \"c\""`,
		"1e3":                              `"1e3"`,
		"0x1f":                             `"0x1f"`,
		"*a":                               `"*a"`,
		"'tis":                             `"'tis"`,
	} {
		if got := scalar(value); got != want {
			t.Errorf("%s is written %s, want %s", value, got, want)
		}
	}
}

// FuzzRender: whatever a cell holds, the entry reads back as it was meant, or
// the row is refused; nothing else of the entry changes.
func FuzzRender(f *testing.F) {
	for _, s := range []string{"plain", "a: b", "a #b", `"`, `\`, "- x", "{a}", "[a, b]", "null", "1_000", "0o7", "é “x”", "%a", "a\tb", "&x *y", "---", "|", ">", "?", "a:", "@", "`", "x\u2028y", "2031-01-14", "1:30", "\u00a0"} {
		f.Add(s, s)
	}
	f.Fuzz(func(t *testing.T, detail, notes string) {
		if unseen(detail+notes) != 0 {
			return
		}
		values := map[string][]string{"date": {"2031-01-14"}, "by": {"tam"}, "part": {"rib"}, "step": {"note"}}
		if d := clean(detail); d != "" {
			values["finding.detail"], values["replacement.supplier"] = []string{d}, []string{d}
		}
		if n := body(notes); n != "" {
			values["notes"] = []string{n}
		}
		text := render(values, originLine(worklog.Origin{List: "a", Row: clean(detail), Digest: "sha256-00"}))
		if withoutOrigin(text) != render(values, "") {
			t.Fatalf("without its origin\n%s\nis not what was rendered", text)
		}
		ws := workshop(t, nil)
		book, err := Open(ws)
		if err != nil {
			t.Fatal(err)
		}
		const file = "log/2031/2031-01-14-rib-note.md"
		judged, err := book.judge(t.Context(), map[string]string{file: text})
		if err != nil {
			t.Fatal(err)
		}
		e := judged.entries[file]
		if reading.Stops(judged.problems[file]) || e == nil {
			return // refused
		}
		got := valuesOf(e)
		for _, path := range []string{"date", "by", "part", "step", "pile"} {
			if strings.Join(got[path], ",") != strings.Join(values[path], ",") {
				t.Fatalf("%s reads %v from\n%s", path, got[path], text)
			}
		}
		if path := differs(values, got); path != "" {
			t.Fatalf("%s reads %q, want %q, from\n%s", path, got[path], values[path], text)
		}
		if d := clean(detail); d != "" && e.Origin.Row != d {
			t.Fatalf("the row reads %q, want %q", e.Origin.Row, d)
		}
	})
}

// FuzzList: no list makes the plan fail otherwise than as it says, and what is
// new reads back.
func FuzzList(f *testing.F) {
	for _, s := range []string{names + "\n" + line("R-1") + line("R-2", "Why", "pits", "Least", "1.38"), "", "Ref\n1", strings.ReplaceAll(names, ",", ";") + "\n;;;", names + "\n\"", "\xff\xfeR\x00"} {
		f.Add([]byte(s))
	}
	ws := workshop(f, nil)
	f.Fuzz(func(t *testing.T, list []byte) {
		if table.IsWorkbook(list) {
			return
		}
		p, err := planned(t, ws, full, string(list), options())
		if err != nil {
			return
		}
		files := map[string]bool{}
		for _, o := range p.Outcomes {
			if o.Standing != New || files[o.File] || !strings.HasPrefix(o.text, "---\ndate: ") || strings.Contains(o.File, "..") {
				t.Fatalf("outcome %+v", o)
			}
			files[o.File] = true
		}
		for _, r := range p.Refused {
			if r.Row < 1 || r.Message == "" || r.Remedy == "" {
				t.Fatalf("refusal %+v", r)
			}
		}
		if len(p.Outcomes)+len(p.Passed)+p.RefusedRows() != p.Rows {
			t.Fatalf("%s: rows are lost", p)
		}
	})
}

func FuzzMap(f *testing.F) {
	for _, s := range []string{full, "", "list: a", "entry: []", "list: a\nidentify: Ref\nentry:\n  date:\n", "list: a\nidentify: [Ref]\nentry: {date: {default: 2031-01-14}, by: {default: tam}, part: {default: rib}, step: {default: note}}\n"} {
		f.Add([]byte(s))
	}
	ws := workshop(f, nil)
	book, err := Open(ws)
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		m, problems := book.ReadMap("map.yaml", src, "")
		for _, p := range problems {
			if p.File != "map.yaml" || p.Message == "" || p.Remedy == "" {
				t.Fatalf("a problem lacks something: %+v", p)
			}
		}
		if reading.Stops(problems) {
			return
		}
		if m.List == "" || len(m.identify) == 0 {
			t.Fatalf("a map that is not as it should be was taken: %+v", m)
		}
		if _, err := book.Plan(t.Context(), m, []byte(names+"\n"+line("R-1")), options()); err != nil {
			var faults Faults
			if !asFaults(err, &faults) {
				t.Fatalf("a sound map and list: %v", err)
			}
		}
	})
}

func asFaults(err error, faults *Faults) bool {
	f, ok := err.(Faults)
	*faults = f
	return ok
}

// A workbook that openpyxl 3.0.9 wrote: a cover sheet, a merged title, a day as
// a number, one as text, a hidden row, a total, and a coloured row of nothing.
const workbookMap = `list: bench-log
sheet: bench log
identify: [Ref]
entry:
  date: {column: Date, format: day/month/year}
  by: {column: Who}
  part: {column: Part no., match: number}
  step: {column: Job}
  finding:
    least_thickness: {column: Least, unit: mm}
  replacement:
    cost: {column: Cost, currency: GBP}
  notes: {column: Remarks}
`

func TestAWorkbookFromAnotherProgramIsBroughtIn(t *testing.T) {
	data, err := os.ReadFile("testdata/bench-by-openpyxl.xlsx")
	if err != nil {
		t.Fatal(err)
	}
	ws := workshop(t, nil)
	p := good(t, ws, workbookMap, string(data), options())
	if p.Source != "XLSX, sheet Bench log" || p.HeaderRow != 3 || strings.Join(p.Notes, "|") != "1 rows are hidden in the sheet; they are read like the others" {
		t.Errorf("%s, names in row %d, notes %v", p.Source, p.HeaderRow, p.Notes)
	}
	written(t, p)
	got := map[string]string{}
	for _, o := range p.Outcomes {
		got[o.File] = withoutOrigin(fileIn(t, ws, o.File))
	}
	want := map[string]string{
		"log/2031/2031-01-14-rib-removed.md":   "---\ndate: 2031-01-14\nby: tam\npart: rib\nstep: removed\n---\nOff in one piece.\n",
		"log/2031/2031-01-15-rib-inspected.md": "---\ndate: 2031-01-15\nby: tam\npart: rib\nstep: inspected\nfinding:\n  least_thickness: 1.38 mm\n---\nFirst line.\nSecond line.\n",
		"log/2031/2031-01-16-rib-note.md":      "---\ndate: 2031-01-16\nby: ines\npart: rib\nstep: note\nreplacement:\n  cost: GBP 12.50\n---\n",
	}
	if !maps.Equal(got, want) {
		t.Errorf("entries\n got %v\nwant %v", got, want)
	}
	if len(p.Passed) != 1 || p.Passed[0] != (Passed{7, `it begins with "total"`}) {
		t.Errorf("passed over %+v", p.Passed)
	}

	// The same list as CSV, with its days written out: the same rows.
	csv := "Ref,Date,Who,Part no.,Job,Least,Cost,Remarks\nR-1,14/01/31,tam,FO7-10,removed,,,Off in one piece.\nR-2,15/01/2031,tam,FO7-10,inspected,1.38,,\"First line.\nSecond line.\"\nR-3,16/01/31,ines,FO7-10,note,,12.50,\n"
	if p := good(t, ws, workbookMap, csv, options()); p.Count(Same) != 3 || strings.Join(p.Notes, "") != "the map names a sheet, which a CSV file does not have" {
		t.Errorf("%s, %v", p, p.Notes)
	}
}
