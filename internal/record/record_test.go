package record

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/table"
	"example.org/opencowl/internal/workspace"
)

const settings = `workshop:
  name: Marram Sound Flying Boat Trust
  machine: Oystercatcher FO-7
  language: en-GB
  timezone: Europe/London
  postal_address: "1 Slipway Road, Marram"
  site: https://example.org/
people:
  - {id: ines, name: Ines Hallow, roles: [engineer]}
  - {id: tam, name: Tam Reddle, roles: [restorer]}
areas: {hull: Hull, wing: Wing}
post: {from: update@example.org, returns: returns@example.org}
`

// workshop makes a workspace with three parts, two of which share a number.
func workshop(t testing.TB, files map[string]string) *workspace.Workspace {
	t.Helper()
	all := map[string]string{
		"workshop.yaml":     settings,
		"parts/rib.md":      "---\nname: Wing rib 4\narea: wing\nnumber: FO7-10\nthickness: 16 swg\n---\n",
		"parts/spar.md":     "---\nname: Spar, port\narea: wing\nnumber: FO7-20\n---\n",
		"parts/spar-two.md": "---\nname: Spar, starboard\narea: wing\nnumber: FO7-20\n---\n",
	}
	maps.Copy(all, files)
	dir := t.TempDir()
	for name, text := range all {
		full := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	ws, problems, err := workspace.Open(dir)
	if err != nil || len(problems) > 0 {
		t.Fatalf("the workspace cannot be opened: %v %v", err, problems)
	}
	t.Cleanup(func() { ws.Close() })
	return ws
}

// full is a map with every key of an entry in it.
const full = `list: bench-log
identify: [Ref]
carry_down: [Date, Who]
entry:
  date: {column: Date, format: day/month/year, serials: 1900}
  by: {column: Who, table: {Tam R.: tam}}
  part: {column: Part, match: number, split: "&", table: {ribs: rib, port spar: spar}}
  step: {column: Job, table: {took off: removed, looked at: inspected}}
  finding:
    causes: {column: Why, split: +, table: {pits: pitting}}
    least_thickness: {column: Least, unit: mm, gauge: swg}
    detail: {column: Found}
  pile: {column: Pile}
  replacement:
    source: {column: From, table: {own shop: made-here}}
    supplier: {column: Supplier}
    material: {column: Material}
    approval: {column: Approval}
    report: {column: Report}
    cost: {column: Cost, currency: GBP}
  next:
    step: {column: Then}
    due: {column: Due, format: day/month/year}
  notes: {column: Remarks}
`

const names = "Ref,Date,Who,Part,Job,Why,Least,Found,Pile,From,Supplier,Material,Approval,Report,Cost,Then,Due,Remarks"

// line writes one row under names: line("R-1", "Job", "removed", …). What is not
// given is a sound value or empty.
func line(ref string, pairs ...string) string {
	cells := map[string]string{"Ref": ref, "Date": "14/01/31", "Who": "tam", "Part": "FO7-10", "Job": "note"}
	for i := 0; i < len(pairs); i += 2 {
		cells[pairs[i]] = pairs[i+1]
	}
	var row []string
	for name := range strings.SplitSeq(names, ",") {
		row = append(row, `"`+strings.ReplaceAll(cells[name], `"`, `""`)+`"`)
	}
	return strings.Join(row, ",") + "\n"
}

func options() Options { return Options{Today: day.MustParse("2031-02-12")} }

// planned brings a list in as far as the plan.
func planned(t testing.TB, ws *workspace.Workspace, mapText, list string, opt Options) (*Plan, error) {
	t.Helper()
	book, err := Open(ws)
	if err != nil {
		return nil, err
	}
	m, problems := book.ReadMap("map.yaml", []byte(mapText), "")
	if reading.Stops(problems) {
		return nil, Faults(problems)
	}
	return book.Plan(t.Context(), m, []byte(list), opt)
}

// good is planned for a list and a map without faults.
func good(t testing.TB, ws *workspace.Workspace, mapText, list string, opt Options) *Plan {
	t.Helper()
	p, err := planned(t, ws, mapText, list, opt)
	if err != nil {
		t.Fatalf("no plan: %v", err)
	}
	return p
}

// written writes a plan that must have nothing refused.
func written(t testing.TB, p *Plan) {
	t.Helper()
	if len(p.Refused) > 0 {
		t.Fatalf("refused: %+v", p.Refused)
	}
	if _, err := p.Write(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func fileIn(t testing.TB, ws *workspace.Workspace, name string) string {
	t.Helper()
	data, err := ws.Root.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestAnEntryIsWrittenAsAPersonWould(t *testing.T) {
	ws := workshop(t, nil)
	written(t, good(t, ws, full, names+"\n"+line("R-1", "Date", " 14/01/31 ", "Who", "TAM  reddle", "Part", "fo7-10 & Ribs & Port  spar", "Job", " Looked At ", "Why", "Pits + pitting + Crack",
		"Least", "1.38", "Found", "Pits: under the paint, port side", "Pile", "Unserviceable", "From", "own shop", "Supplier", "Quayside Alloys", "Material", "2024-T3 (clad)",
		"Approval", "MOD-031", "Report", "yes", "Cost", "£1,012.5", "Then", "fitted", "Due", "20/02/2031", "Remarks", "One.\n\n--- two # three"), options()))
	got := fileIn(t, ws, "log/2031/2031-01-14-rib-inspected.md")
	want := `---
date: 2031-01-14
by: tam
parts: [rib, spar]
step: inspected
finding:
  causes: [pitting, crack]
  least_thickness: 1.38 mm
  detail: "Pits: under the paint, port side"
pile: unserviceable
replacement:
  source: made-here
  supplier: Quayside Alloys
  material: 2024-T3 (clad)
  approval: MOD-031
  report: "yes"
  cost: GBP 1012.50
next: {step: fitted, due: 2031-02-20}
origin: {list: bench-log, row: R-1, digest: DIGEST}
---
One.

--- two # three
`
	at := strings.Index(got, "sha256-")
	if at < 0 || strings.Replace(got, got[at:at+23], "DIGEST", 1) != want {
		t.Errorf("entry\n got %s\nwant %s", got, want)
	}
	book, err := Open(ws)
	if err != nil || len(book.log.AllEntries()) != 1 {
		t.Fatalf("the log does not read it back: %v", err)
	}
}

func TestEveryFaultOfARowIsToldWithItsRemedy(t *testing.T) {
	choice := func(value, what, path string) string {
		return fmt.Sprintf(`"%s" is no %s that the log or the map knows / correct the cell, or add "%s" to the table of entry.%s in the map`, value, what, value, path)
	}
	for _, c := range []struct{ name, column, value, want string }{
		{"no date", "Date", "-", "Date: there is no date / fill in the cell, or give the map a default"},
		{"no day", "Date", "30/02/31", `Date: "30/02/31" is no day of any calendar, read as day/month/year / correct it, or the format in the map`},
		{"month first", "Date", "01/14/31", `Date: "01/14/31" is no day of any calendar, read as day/month/year / correct it, or the format in the map`},
		{"the future", "Date", "13/02/31", "Date: 13 February 2031 lies in the future / correct the date, or the format in the map"},
		{"a century too late", "Date", "14/01/98", "Date: 14 January 2098 lies in the future / correct the date, or the format in the map"},
		{"words for a date", "Date", "last week", `Date: "last week" is not a date / write it as 2031-01-14`},
		{"a small number", "Date", "10000", `Date: "10000" would be 18 May 1927, which no log holds / correct the year`},
		{"a stranger", "Who", "Gus", "Who: " + choice("Gus", "person", "by")},
		{"nearly somebody", "Who", "tem", `Who: "tem" is no person that the log or the map knows / did you mean "tam"? If not, add "tem" to the table of entry.by in the map`},
		{"no part", "Part", "", "Part: there is no part / fill in the cell, or give the map a default"},
		{"an unknown part", "Part", "X", `Part: no part has the number "X" / add the part, or add "X" to the table of entry.part in the map`},
		{"port or starboard", "Part", "FO7-20", `Part: "FO7-20" is the number of spar and of spar-two / tell them apart by a table of entry.part in the map`},
		{"no step", "Job", "", "Job: there is no step / fill in the cell, or give the map a default"},
		{"an unknown step", "Job", "polished it up", "Job: " + choice("polished it up", "step", "step")},
		{"an unknown cause", "Why", "pits + gremlins", "Why: " + choice("gremlins", "cause", "finding.causes")},
		{"an unknown pile", "Pile", "bin it now", "Pile: " + choice("bin it now", "pile", "pile")},
		{"an unknown source", "From", "a magpie", "From: " + choice("a magpie", "source", "replacement.source")},
		{"thicker than new", "Least", "2", `Least: 2 mm is left of a part that was 16 SWG when new (rib) / clean off the corrosion and measure again, or correct the part's thickness`},
		{"not a thickness", "Least", "thin", `Least: least_thickness: "thin" does not begin with a number; write it as 1.63 mm, 0.064 in or 16 swg / correct the value`},
		{"a comma", "Least", "1,38", `Least: least_thickness: "1,38" is not a number that can be read (it holds a comma; the decimal sign here is a point); write it as 1.63 or 1/16 / correct the value`},
		{"no gauge", "Least", "99g", `Least: least_thickness: there is no SWG size "99"; it goes from 7/0 to 50 / correct the value`},
		{"not money", "Cost", "a pint", `Cost: cost: "a pint" does not begin with a currency code; write it as GBP 12.50 / correct the value`},
		{"half a penny", "Cost", "1.005", `Cost: cost: "GBP 1.005" has more decimal places than GBP has (2) / correct the value`},
		{"no due day", "Due", "soon", `Due: "soon" is not a date / write it as 2031-01-14`},
		{"a formula's fault", "Found", "#REF!", "Found: the spreadsheet shows a fault of its own here / mend the formula, or empty the cell"},
		{"a narrow column", "Due", "########", "Due: the spreadsheet shows a fault of its own here / mend the formula, or empty the cell"},
		{"an unseen sign", "Found", "pits\x07", "Found: the cell holds a character that cannot be seen (U+0007) / type it again"},
		{"no reference", "Ref", " ", "Ref: nothing tells this row from the others / fill in Ref"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := good(t, workshop(t, nil), full, names+"\n"+line("R-1", c.column, c.value)+line("R-2"), options())
			var got []string
			for _, r := range p.Refused {
				if r.Row != 2 {
					t.Errorf("row %d is refused: %+v", r.Row, r)
				}
				got = append(got, r.Column+": "+r.Message+" / "+r.Remedy)
			}
			if strings.Join(got, "\n") != c.want {
				t.Errorf("refused\n got %s\nwant %s", strings.Join(got, "\n"), c.want)
			}
			if p.Count(New) != 1 {
				t.Errorf("%d rows are new, want the sound one", p.Count(New))
			}
		})
	}
}

func TestAllFaultsOfARowComeAtOnce(t *testing.T) {
	p := good(t, workshop(t, nil), full, names+"\n"+line("R-1", "Date", "?", "Who", "nobody", "Job", "polished it up"), options())
	if len(p.Refused) != 3 || p.RefusedRows() != 1 {
		t.Errorf("%d faults of %d rows, want 3 of 1: %+v", len(p.Refused), p.RefusedRows(), p.Refused)
	}
}

func TestRowsThatCannotBeCut(t *testing.T) {
	list := names + "\n" + line("R-1") + strings.TrimSuffix(line("R-2"), "\n") + ",\"half an inch, maybe\"\n" + `R-3,14/01/31,tam,FO7-10,a "bad" one` + "\n" + line("R-4")
	p := good(t, workshop(t, nil), full, list, options())
	want := []Refusal{
		{3, "", "half an inch, maybe", "the row has 19 cells and there are names for 18 columns", `put a cell that holds the delimiter in "…", or name the column`},
		{4, "", "", "a quotation mark stands alone", `put the cell in "…" and double the marks inside it; rows after it may have been taken for part of it`},
	}
	if !slices.Equal(p.Refused, want) || p.Count(New) != 2 {
		t.Errorf("refused %+v\nwant %+v, and 2 new, not %d", p.Refused, want, p.Count(New))
	}
}

func TestTitlesTotalsAndBlankLinesArePassedOver(t *testing.T) {
	list := "Bench log,,\n,,\nPrinted on Tuesday,,\n\n" + names + "\n\n" + line("R-1") + ",,,\n" + names + "\n" + line("R-2") +
		",,,,,,,,,,,,,,,,, \nGrand Total:,,,,,,,,,,,,,,12.50\n"
	p := good(t, workshop(t, nil), full, list, options())
	want := []Passed{{9, "the names of the columns again"}, {12, `it begins with "grand total:"`}}
	if !slices.Equal(p.Passed, want) || p.HeaderRow != 5 || p.Count(New) != 2 || len(p.Refused) > 0 {
		t.Errorf("passed over %+v, header in %d, %d new, refused %+v\nwant %+v, 5, 2 and none", p.Passed, p.HeaderRow, p.Count(New), p.Refused, want)
	}
	if p.Outcomes[1].Row != 10 {
		t.Errorf("the second entry is said to stand in row %d, want 10", p.Outcomes[1].Row)
	}
}

func TestValuesCarryDown(t *testing.T) {
	list := names + "\n" + line("R-1", "Date", "13/01/31", "Who", "ines") + line("R-2", "Date", "", "Who", `"`) + line("R-3", "Date", "do.", "Who", "tam") + line("R-4", "Date", "-", "Who", "")
	p := good(t, workshop(t, nil), full, list, options())
	var files []string
	for _, o := range p.Outcomes {
		files = append(files, fmt.Sprintf("%d %s %s", o.Row, strings.Split(o.text, "\n")[1], strings.Split(o.text, "\n")[2]))
	}
	want := "2 date: 2031-01-13 by: ines|3 date: 2031-01-13 by: ines|4 date: 2031-01-13 by: tam"
	if got := strings.Join(files, "|"); got != want {
		t.Errorf("entries\n got %s\nwant %s", got, want)
	}
	if len(p.Refused) != 1 || p.Refused[0].Row != 5 || p.Refused[0].Message != "there is no date" {
		t.Errorf("refused %+v; a cell that says none must not take the date above", p.Refused)
	}
}

func TestABenchOrderIsTheLogsOrder(t *testing.T) {
	ws := workshop(t, nil)
	steps := []string{"removed", "inspected", "cleaned", "note", "note", "fitted"}
	list := names + "\n"
	for i, s := range steps[:4] {
		list += line(fmt.Sprintf("R-%d", i), "Job", s)
	}
	written(t, good(t, ws, full, list, options()))
	for i, s := range steps[4:] {
		list += line(fmt.Sprintf("R-%d", i+4), "Job", s)
	}
	list += line("R-9", "Job", "removed", "Part", "port spar & FO7-10")
	p := good(t, ws, full, list, options())
	if len(p.Refused) != 0 {
		t.Fatalf("refused %+v", p.Refused)
	}
	written(t, p)
	book, err := Open(ws)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range book.log.Entries("rib", day.Date{}) {
		got = append(got, e.Step)
	}
	if want := append(slices.Clone(steps), "removed"); !slices.Equal(got, want) {
		t.Errorf("the log reads %v, the list %v", got, want)
	}
	if got := book.log.Entries("rib", day.Date{})[2].ID; got != "2031-01-14-rib-then-03-cleaned" {
		t.Errorf("the third is called %s", got)
	}
}

func TestANameThatIsTakenIsNotUsedAgain(t *testing.T) {
	hand := "---\ndate: 2031-01-14\nby: ines\npart: rib\nstep: note\n---\nBy hand.\n"
	ws := workshop(t, map[string]string{"log/2031-01-14-rib-note.md": hand})
	written(t, good(t, ws, full, names+"\n"+line("R-1"), options()))
	if fileIn(t, ws, "log/2031-01-14-rib-note.md") != hand {
		t.Error("an entry written by hand was changed")
	}
	fileIn(t, ws, "log/2031/2031-01-14-rib-note-2.md")
}

func TestBringingInAgainChangesNothing(t *testing.T) {
	ws := workshop(t, nil)
	list := names + "\n" + line("R-1", "Job", "removed") + line("R-2", "Pile", "rework")
	opt, told := options(), ""
	opt.Watch = func(done, of int) { told += fmt.Sprintf("%d/%d ", done, of) }
	written(t, good(t, ws, full, list, opt))
	if told != "1/2 2/2 " {
		t.Errorf("writing two entries was told as %q", told)
	}
	again := "A title\n" + strings.ReplaceAll(names, ",", ";") + "\n" + strings.ReplaceAll(line("r-2 ", "Pile", "REWORK")+line(" R-1", "Job", "removed"), ",", ";")
	p := good(t, ws, full, again, Options{Today: options().Today, Update: true})
	if p.Count(Same) != 2 || len(p.Outcomes) != 2 || len(p.Refused) != 0 {
		t.Fatalf("%s; want both in the log already\n%+v", p, p.Outcomes)
	}
	if n, err := p.Write(t.Context()); n != 0 || err != nil {
		t.Errorf("%d files written, %v", n, err)
	}
}

func TestAnEntryIsKnownWhereverItsFileIs(t *testing.T) {
	ws := workshop(t, nil)
	list := names + "\n" + line("R-1")
	p := good(t, ws, full, list, options())
	written(t, p)
	if err := ws.Root.Rename(p.Outcomes[0].File, "log/2031-01-14-some-words.md"); err != nil {
		t.Fatal(err)
	}
	if p := good(t, ws, full, list, options()); p.Count(Same) != 1 {
		t.Errorf("%s; want it in the log already", p)
	}
}

func TestAChangedRowIsToldAndWrittenAnewOnlyWhenAskedFor(t *testing.T) {
	ws := workshop(t, nil)
	p := good(t, ws, full, names+"\n"+line("R-1", "Pile", "rework", "Found", "Pits."), options())
	written(t, p)
	file := p.Outcomes[0].File
	before := fileIn(t, ws, file)
	list := names + "\n" + line("R-1", "Pile", "quarantine", "Least", "1.4")

	p = good(t, ws, full, list, options())
	want := `finding.least_thickness is not the same|finding.detail is not the same|pile was "rework" and is now "quarantine"`
	if got := strings.Join(p.Outcomes[0].Changes, "|"); p.Outcomes[0].Standing != Changed || got != want {
		t.Errorf("%s, changes\n got %s\nwant %s", p.Outcomes[0].Standing, got, want)
	}
	written(t, p)
	if fileIn(t, ws, file) != before {
		t.Fatal("the entry was written anew without being asked for")
	}
	update := Options{Today: options().Today, Update: true}
	p = good(t, ws, full, list, update)
	if p.Count(Updated) != 1 || p.Outcomes[0].File != file {
		t.Fatalf("%+v; want it written anew in its place", p.Outcomes)
	}
	written(t, p)
	if got := fileIn(t, ws, file); !strings.Contains(got, "pile: quarantine") || strings.Contains(got, "Pits") {
		t.Errorf("the entry now reads\n%s", got)
	}
	if p = good(t, ws, full, list, update); p.Count(Same) != 1 {
		t.Errorf("%s; want it in the log already", p)
	}
}

func TestWhatAPersonChangedIsNeverWrittenOver(t *testing.T) {
	ws := workshop(t, nil)
	p := good(t, ws, full, names+"\n"+line("R-1", "Pile", "rework"), options())
	written(t, p)
	file := p.Outcomes[0].File
	byHand := fileIn(t, ws, file) + "Ask Ines.\n"
	if err := ws.Writer.WriteFile(ws.Path(file), []byte(byHand), 0o644); err != nil {
		t.Fatal(err)
	}
	update := Options{Today: options().Today, Update: true}
	if p = good(t, ws, full, names+"\n"+line("R-1", "Pile", "rework"), update); p.Count(Same) != 1 {
		t.Errorf("%s; the row has not changed", p)
	}
	list := names + "\n" + line("R-1", "Pile", "quarantine")
	if p = good(t, ws, full, list, options()); p.Count(Changed) != 1 || !p.Outcomes[0].ByHand {
		t.Errorf("%+v; want it changed, by hand too", p.Outcomes)
	}
	p = good(t, ws, full, list, update)
	if len(p.Refused) != 1 || p.Refused[0].Message != `the row has changed (pile was "rework" and is now "quarantine"; notes is not the same), and so has `+file+" by hand" {
		t.Fatalf("refused %+v", p.Refused)
	}
	if _, err := p.Write(t.Context()); err != nil || fileIn(t, ws, file) != byHand {
		t.Errorf("the entry was written over (%v)", err)
	}
	// As the remedy says: the change made by hand, and the digest.
	_, digest, _ := strings.Cut(p.Refused[0].Remedy, "digest: ")
	digest, _, _ = strings.Cut(digest, " ")
	merged := strings.Replace(strings.Replace(byHand, "pile: rework", "pile: quarantine", 1), byHand[strings.Index(byHand, "sha256-"):][:23], digest, 1)
	if err := ws.Writer.WriteFile(ws.Path(file), []byte(merged), 0o644); err != nil {
		t.Fatal(err)
	}
	if p = good(t, ws, full, list, update); p.Count(Same) != 1 || len(p.Refused) > 0 {
		t.Errorf("after the remedy: %s", p)
	}
}

func TestTwoRowsOrEntriesThatAreOne(t *testing.T) {
	ws := workshop(t, nil)
	p := good(t, ws, full, names+"\n"+line("R-1")+line("r-1", "Pile", "rework"), options())
	if len(p.Refused) != 1 || p.Refused[0] != (Refusal{3, "Ref", "r-1", "row 2 is told apart by the same words", "correct one of the two, or let the map identify rows by more columns"}) {
		t.Errorf("refused %+v", p.Refused)
	}
	if _, err := p.Write(t.Context()); err != nil {
		t.Fatal(err)
	}
	copied := fileIn(t, ws, p.Outcomes[0].File)
	if err := ws.Writer.WriteFile(ws.Path("log/2031-01-14-copy.md"), []byte(copied), 0o644); err != nil {
		t.Fatal(err)
	}
	p = good(t, ws, full, names+"\n"+line("R-1"), options())
	if len(p.Refused) != 1 || p.Refused[0].Message != "two entries say that they came from this row, log/2031-01-14-copy.md and log/2031/2031-01-14-rib-note.md" {
		t.Errorf("refused %+v", p.Refused)
	}
}

func TestAllOrNothing(t *testing.T) {
	ws := workshop(t, nil)
	opt := options()
	opt.AllOrNothing = true
	p := good(t, ws, full, names+"\n"+line("R-1")+line("R-2", "Pile", "the big one"), opt)
	n, err := p.Write(t.Context())
	if n != 0 || !errors.Is(err, ErrRefused) || err.Error() != "1 of 2 rows: some rows were refused, so nothing was written" {
		t.Errorf("%d written, %v", n, err)
	}
	if _, err := ws.Root.Stat("log"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("there is a log: %v", err)
	}
}

func TestAFileThatAppearsMeanwhileIsNotWrittenOver(t *testing.T) {
	ws := workshop(t, nil)
	p := good(t, ws, full, names+"\n"+line("R-1"), options())
	if err := ws.Writer.WriteFile(ws.Path(p.Outcomes[0].File), []byte("somebody's"), 0o644); err != nil {
		t.Fatal(err)
	}
	if n, err := p.Write(t.Context()); n != 0 || !errors.Is(err, ErrStale) || fileIn(t, ws, p.Outcomes[0].File) != "somebody's" {
		t.Errorf("%d written, %v", n, err)
	}
}

func TestAPlanWritesNothing(t *testing.T) {
	ws := workshop(t, nil)
	good(t, ws, full, names+"\n"+line("R-1"), options())
	if _, err := ws.Root.Stat("log"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("there is a log: %v", err)
	}
}

func TestAnUnreadableEntryStopsTheWork(t *testing.T) {
	ws := workshop(t, map[string]string{"log/2031/2031-01-01-a.md": "no front matter, origin lost"})
	_, err := Open(ws)
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 1 || faults[0].Code != "no-front-matter" {
		t.Errorf("%v, want the entry's fault", err)
	}
}

func TestEncodingsAndDelimiters(t *testing.T) {
	list := names + "\n" + line("R-1", "Found", "Café “pits” – 3 £")
	latin := []byte(strings.NewReplacer("é", "\xe9", "“", "\x93", "”", "\x94", "–", "\x96", "£", "\xa3").Replace(list))
	utf16 := func(order func(uint16) []byte) []byte {
		out := order(0xfeff)
		for _, r := range list { // all in the basic plane
			out = append(out, order(uint16(r))...)
		}
		return out
	}
	for name, c := range map[string]struct {
		data   []byte
		source string
	}{
		"UTF-8":        {[]byte(list), "CSV, UTF-8, parted by commas"},
		"BOM":          {[]byte("\ufeff" + list), "CSV, UTF-8, parted by commas"},
		"Windows-1252": {latin, "CSV, Windows-1252, parted by commas"},
		"UTF-16 LE":    {utf16(func(u uint16) []byte { return []byte{byte(u), byte(u >> 8)} }), "CSV, UTF-16, parted by commas"},
		"UTF-16 BE":    {utf16(func(u uint16) []byte { return []byte{byte(u >> 8), byte(u)} }), "CSV, UTF-16, parted by commas"},
		"semicolons":   {[]byte(strings.ReplaceAll(list, ",", ";")), "CSV, UTF-8, parted by semicolons"},
		"tabs":         {[]byte(strings.ReplaceAll(list, ",", "\t")), "CSV, UTF-8, parted by tabs"},
		"pipes":        {[]byte(strings.ReplaceAll(list, ",", "|")), "CSV, UTF-8, parted by pipes"},
		"CRLF":         {[]byte(strings.ReplaceAll(list, "\n", "\r\n")), "CSV, UTF-8, parted by commas"},
		"sep line":     {[]byte("sep=;\n" + strings.ReplaceAll(list, ",", ";")), "CSV, UTF-8, parted by semicolons"},
		"busy title":   {[]byte("Log, of the bench, and more, and more, and more\n" + strings.ReplaceAll(list, ",", ";")), "CSV, UTF-8, parted by semicolons"},
	} {
		p := good(t, workshop(t, nil), full, string(c.data), options())
		if p.Source != c.source || p.Count(New) != 1 || !strings.Contains(p.Outcomes[0].text, "Café “pits” – 3 £") {
			t.Errorf("%s: %s, %s, refused %+v", name, p.Source, p, p.Refused)
		}
	}
}

func TestFilesThatAreNoList(t *testing.T) {
	for name, c := range map[string]struct{ data, say string }{
		"empty":         {"", "this is not a table that can be read: there is nothing in it; check that it is the right file and sheet"},
		"a picture":     {"\x89PNG\x00\x00", "this is not a table that can be read: it holds bytes that no text has; export it as CSV in UTF-8"},
		"an old .xls":   {"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1....", "this is not a table that can be read: it is an old .xls file or has a password; save it as .xlsx without one, or as CSV"},
		"another table": {"Name,Email\na,b\n", "map.yaml:5:3: no row of the first 50 names any column of the map (Date, Who, Part, Job, Why, Least, Found, Pile, From, Supplier, Material, Approval, Report, Cost, Then, Due, Remarks, Ref); check that it is the right file and sheet, or correct the names in the map"},
		"a huge one":    {strings.Repeat("x", table.MaxBytes+1), "this is not a table that can be read: it is larger than 32 MB; check that it is the right file"},
	} {
		_, err := planned(t, workshop(t, nil), full, c.data, options())
		if err == nil || err.Error() != c.say {
			t.Errorf("%s:\n got %v\nwant %s", name, err, c.say)
		}
	}
}

func TestAMapMustFitTheList(t *testing.T) {
	small := "list: a\nidentify: [Ref]\nentry:\n  date: {column: Date}\n  by: {default: tam}\n  part: {default: rib}\n  step: {default: note}\n"
	for name, c := range map[string]struct{ mapText, list, want string }{
		"a slip":        {small, "Ref,Dates\n1,2031-01-01\n", `map.yaml:4:18: the list has no column "Date"; did you mean "Dates"?`},
		"a stranger":    {small, "Ref,When\n1,2031-01-01\n", `map.yaml:4:18: the list has no column "Date"; the columns in row 1 are Ref, When`},
		"twice":         {small, "Ref,Date,date\n1,2031-01-01,\n", `map.yaml:4:18: two columns of the list are called "Date"; rename one of them in the list`},
		"no such row":   {"header_row: 7\n" + small, "Ref,Date\n", "map.yaml:1:13: row 7 of the list is empty or not there; correct header_row, or leave it out"},
		"the wrong row": {"header_row: 2\n" + small, "Ref,Date\n1,2031-01-01\n", "map.yaml:3:12: the list has no column \"Ref\"; the columns in row 2 are 1, 2031-01-01\nmap.yaml:5:18: the list has no column \"Date\"; the columns in row 2 are 1, 2031-01-01"},
	} {
		_, err := planned(t, workshop(t, nil), c.mapText, c.list, options())
		var faults Faults
		if errors.As(err, &faults) {
			reading.Sort(faults)
			err = faults
		}
		if err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", name, err, c.want)
		}
	}
}

func TestFaultsOfAMap(t *testing.T) {
	entry := func(lines ...string) string {
		return "list: a\nidentify: [Ref]\nentry:\n  date: {column: Date}\n  part: {column: P}\n  step: {column: S}\n  " + strings.Join(lines, "\n  ") + "\n"
	}
	by := "by: {default: tam}"
	for name, c := range map[string]struct{ text, want string }{
		"an unknown key":     {"lst: a\n" + entry(by), `map.yaml:1:1: the key "lst" is not known here; did you mean "list"?`},
		"no name":            {strings.Replace(entry(by), "list: a", "list: Log 1", 1), `map.yaml:1:7: list: "Log 1" is not a name for the list; write lower-case words and digits joined by hyphens, such as bench-log, and keep it: it tells the list's rows from others`},
		"nothing identifies": {strings.Replace(entry(by), "identify: [Ref]\n", "", 1), "map.yaml:1: identify is missing; name the column, or the columns, that tell a row from all others, such as identify: [Ref]"},
		"no one":             {entry("pile: {column: Pile}"), "map.yaml:4:3: the map does not say where an entry's by comes from; name its column, or give a default, or say who with --by"},
		"nothing":            {entry(by, "pile: {table: {a: rework}}"), "map.yaml:8:9: pile has neither a column nor a default; name its column, give a default, or take it out"},
		"a bad default":      {entry("by: {default: tan}"), `map.yaml:7:17: by: there is no person "tan"; did you mean "tam"?; correct the value`},
		"a bad table":        {entry(by, "pile: {column: Pile, table: {bad: unservicable}}"), `map.yaml:8:37: pile: "unservicable" is not one of serviceable, rework, unserviceable, quarantine; did you mean "unserviceable"?; correct the value`},
		"a word twice":       {entry(by, "pile: {column: Pile, table: {bad: rework, Bad: quarantine}}"), `map.yaml:8:50: "Bad" stands twice in the table, as rework and as quarantine; keep one of the two; capital letters and spaces make no difference`},
		"out of place":       {entry(by, "pile: {column: Pile, unit: mm}"), "map.yaml:8:30: unit does not go with pile; the keys here are column, default, table"},
		"a format":           {entry(by, "next: {due: {column: Due, format: dd/mm/yy}}"), `map.yaml:8:37: format: "dd/mm/yy" is not one of day/month/year, month/day/year, year/month/day; correct the value`},
		"a unit":             {entry(by, "finding: {least_thickness: {column: L, unit: swg}}"), `map.yaml:8:48: unit: "swg" is not one of mm, cm, m, in, thou, ft; correct the value`},
		"a currency":         {entry(by, "replacement: {cost: {column: C, currency: pounds}}"), `map.yaml:8:45: currency: "pounds" is not a currency code; write it as GBP`},
		"a calendar":         {entry(by, "next: {due: {column: Due, serials: 1970}}"), `map.yaml:8:38: serials: "1970" is not one of 1900, 1904; did you mean "1900"?; correct the value`},
		"a header row":       {"header_row: 99\n" + entry(by), "map.yaml:1:13: header_row: 99 is no row of names; write the row in which the columns are named, 1 to 50, or leave it out"},
		"a nameless column":  {entry(by) + "carry_down: [\"\"]\n", "map.yaml:8:14: a column of carry_down has no name; write the column's name or take the item out"},
	} {
		_, err := planned(t, workshop(t, nil), c.text, "", options())
		var faults Faults
		if !errors.As(err, &faults) || faults.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", name, err, c.want)
		}
	}
}

func TestByFillsInWhoDidTheWork(t *testing.T) {
	ws := workshop(t, nil)
	book, err := Open(ws)
	if err != nil {
		t.Fatal(err)
	}
	m, problems := book.ReadMap("map.yaml", []byte("list: a\nidentify: [Ref]\nentry:\n  date: {column: Date}\n  part: {default: rib}\n  step: {default: note}\n"), "ines")
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	p, err := book.Plan(t.Context(), m, []byte("Ref,Date\n1,2031-01-02\n"), options())
	if err != nil || p.Count(New) != 1 || !strings.Contains(p.Outcomes[0].text, "\nby: ines\n") {
		t.Errorf("%v, %v", p, err)
	}
}
