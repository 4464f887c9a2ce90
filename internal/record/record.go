// Package record brings entries of the log in from a list that a workshop keeps
// in a spreadsheet.
//
// A map, written once, says which column gives which key of an entry. From a
// list and its map comes a Plan: what would be written, what is there already,
// what changed since, and what is refused, with row, column, value and remedy.
// Only Plan.Write writes.
//
// It promises that an entry from a list passes the same reader as one written by
// hand before it is written; that a row is known again by what identifies it,
// wherever it now stands and whatever its file is now called, so that bringing a
// list in again doubles nothing; that a file is overwritten only when asked for,
// and never one that a person has changed since; and that days and months, units
// and gauges are never guessed.
//
// Everything here is private. Renderers must never import this package, and it
// must not know about public wording.
package record

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/table"
	"example.org/opencowl/internal/worklog"
	"example.org/opencowl/internal/workspace"
)

var (
	// ErrRefused is returned when rows were refused and all or nothing was asked for.
	ErrRefused = errors.New("some rows were refused, so nothing was written")
	// ErrStale is returned when the log changed between planning and writing.
	ErrStale = errors.New("the log has changed since the plan was made")
)

// Faults are problems of a map or of the log that stop the whole work.
type Faults []reading.Problem

func (f Faults) Error() string {
	var lines []string
	for _, p := range f {
		lines = append(lines, p.Error())
	}
	return strings.Join(lines, "\n")
}

// Book is the log as it stands, into which a list is brought.
type Book struct {
	ws  *workspace.Workspace
	log *worklog.Log
	ids []string // of all entries, sorted
	// came lists the entries that came from a row, by list and folded row.
	came map[[2]string][]*worklog.Entry
}

// Open reads the log. Problems in it are for others to tell, but an entry that
// cannot be read at all stops the work with Faults: it may be one that came from
// a row, which would then come in twice.
func Open(ws *workspace.Workspace) (*Book, error) {
	log, problems := worklog.Read(ws.Root, ws.Settings.AreaKeys(), ws.Settings.PeopleIDs())
	b := &Book{ws: ws, log: log, came: map[[2]string][]*worklog.Entry{}}
	readable := map[string]bool{}
	for _, e := range log.AllEntries() {
		b.ids = append(b.ids, e.ID)
		readable[e.File] = e.Doc.Has("date") || e.Doc.Has("step")
		if e.Origin.List != "" {
			key := [2]string{e.Origin.List, fold(e.Origin.Row)}
			b.came[key] = append(b.came[key], e)
		}
	}
	slices.Sort(b.ids)
	var faults Faults
	for _, p := range problems {
		if strings.HasPrefix(p.File, "log/") && !p.Advice && !readable[p.File] {
			faults = append(faults, p)
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return b, nil
}

func (b *Book) people() []string { return b.ws.Settings.PeopleIDs() }

func (b *Book) partIDs() []string {
	var ids []string
	for _, p := range b.log.Parts() {
		ids = append(ids, p.ID)
	}
	return ids
}

// Options says how a list is brought in.
type Options struct {
	Today        day.Date // an entry may not be dated later
	Update       bool     // entries whose row changed are written anew
	AllOrNothing bool     // one refused row keeps the whole list out
	// Watch is told of each entry written; it may be nil.
	Watch func(done, of int)
}

// Standing is what becomes of a row.
type Standing string

// The standings of a row that is not refused.
const (
	New     Standing = "new"     // is written
	Same    Standing = "same"    // is in the log already
	Changed Standing = "changed" // is in the log with other words; stays so
	Updated Standing = "updated" // is in the log with other words; is written anew
)

// Outcome is what becomes of one row.
type Outcome struct {
	Row      int      `json:"row"`
	Standing Standing `json:"standing"`
	File     string   `json:"file"`              // slash path in the workspace
	Changes  []string `json:"changes,omitempty"` // what differs from the log, a sentence each
	ByHand   bool     `json:"by_hand,omitempty"` // a person changed the entry too

	text string
	was  string // the file's bytes when the plan was made; empty: there was no file
}

// Passed is a row that is no entry.
type Passed struct {
	Row int    `json:"row"`
	Why string `json:"why"`
}

// Plan is what bringing a list in would do.
type Plan struct {
	List      string    `json:"list"`   // the name that the map gives it
	Source    string    `json:"source"` // what was read: "CSV, UTF-8, parted by ;" or "XLSX, sheet Log"
	HeaderRow int       `json:"header_row"`
	Rows      int       `json:"rows"` // with anything in them, below the header
	Outcomes  []Outcome `json:"outcomes"`
	Passed    []Passed  `json:"passed_over"`
	Refused   []Refusal `json:"refused"` // every fault of every refused row, in the list's order
	Advice    []Refusal `json:"advice"`  // what stops nothing
	Notes     []string  `json:"notes"`   // about the file as a whole

	ws  *workspace.Workspace
	opt Options
}

// Count counts the rows that stand so.
func (p *Plan) Count(s Standing) int {
	n := 0
	for _, o := range p.Outcomes {
		if o.Standing == s {
			n++
		}
	}
	return n
}

// RefusedRows counts the rows that were refused.
func (p *Plan) RefusedRows() int {
	n, last := 0, 0
	for _, r := range p.Refused {
		if r.Row != last {
			n, last = n+1, r.Row
		}
	}
	return n
}

// Plan works out what bringing in a list would do, and changes nothing. Faults
// are for a map that does not fit the list.
func (b *Book) Plan(ctx context.Context, m *Map, data []byte, opt Options) (*Plan, error) {
	sheet, err := open(m, data)
	if err != nil {
		return nil, err
	}
	p := &Plan{List: m.List, Source: sheet.source, ws: b.ws, opt: opt, Notes: append([]string{}, sheet.notes...),
		Outcomes: []Outcome{}, Passed: []Passed{}, Refused: []Refusal{}, Advice: []Refusal{}}
	head, below, err := sheet.header(m)
	if err != nil {
		return nil, err
	}
	p.HeaderRow, p.Rows = head.row, len(below)
	r := &rows{book: b, m: m, columns: head.columns, width: head.width, days: sheet.days, today: opt.Today, above: map[string]table.Cell{}}
	var drafts []*draft
	first := map[string]int{}
	for _, row := range below {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if why := r.passOver(row, head); why != "" {
			p.Passed = append(p.Passed, Passed{row.Number, why})
			continue
		}
		r.carry(&row)
		d := r.draft(row)
		if other, twice := first[fold(d.id)]; twice && d.id != "" {
			d.refuse(strings.Join(m.identify, ", "), d.id, fmt.Sprintf("row %d is told apart by the same words", other),
				"correct one of the two, or let the map identify rows by more columns")
		} else if d.id != "" {
			first[fold(d.id)] = row.Number
		}
		drafts = append(drafts, d)
	}
	if err := b.settle(ctx, p, m, drafts); err != nil {
		return nil, err
	}
	for _, d := range drafts {
		p.Refused = append(p.Refused, d.refused...)
	}
	slices.SortStableFunc(p.Refused, func(a, b Refusal) int { return a.Row - b.Row })
	return p, nil
}

// Write writes the plan's new and updated entries. It returns how many, also on
// an error: what was written is known again on the next run.
func (p *Plan) Write(ctx context.Context) (int, error) {
	if p.opt.AllOrNothing && len(p.Refused) > 0 {
		return 0, fmt.Errorf("%d of %d rows: %w", p.RefusedRows(), p.Rows, ErrRefused)
	}
	written, of := 0, p.Count(New)+p.Count(Updated)
	for _, o := range p.Outcomes {
		if o.Standing != New && o.Standing != Updated {
			continue
		}
		if err := ctx.Err(); err != nil {
			return written, err
		}
		was, err := p.ws.Root.ReadFile(o.File)
		if err != nil && !errors.Is(err, os.ErrNotExist) || string(was) != o.was {
			return written, fmt.Errorf("%s: %w; run the command again", o.File, ErrStale)
		}
		if err := p.ws.Writer.WriteFile(p.ws.Path(o.File), []byte(o.text), 0o644); err != nil {
			return written, err
		}
		if written++; p.opt.Watch != nil {
			p.opt.Watch(written, of)
		}
	}
	return written, nil
}

// String sums the plan up in a line for a person.
func (p *Plan) String() string {
	return fmt.Sprintf("%d rows: %d new, %d in the log already, %d changed, %d passed over, %d refused", p.Rows, p.Count(New),
		p.Count(Same), p.Count(Changed)+p.Count(Updated), len(p.Passed), p.RefusedRows())
}

// settle decides what becomes of each draft, and has the log's own reader judge
// those that are to be written.
func (b *Book) settle(ctx context.Context, p *Plan, m *Map, drafts []*draft) error {
	names := b.newNames(m)
	planned := map[string]*draft{} // by file
	outcomes := map[*draft]*Outcome{}
	for _, d := range drafts {
		if len(d.refused) > 0 {
			continue
		}
		o := b.outcome(m, d, p.opt.Update, names)
		if o == nil {
			continue
		}
		if outcomes[d] = o; o.Standing != Same { // what is there already is for check to judge
			planned[o.File] = d
		}
	}
	texts := map[string]string{}
	for file, d := range planned {
		texts[file] = outcomes[d].text
	}
	judged, err := b.judge(ctx, texts)
	if err != nil {
		return err
	}
	for _, d := range drafts {
		o := outcomes[d]
		if o == nil {
			continue
		}
		e := judged.entries[o.File]
		for _, problem := range judged.problems[o.File] {
			at := m.columnOf(pathAt(e, problem.Place))
			value := problem.Value
			if problem.Advice {
				p.Advice = append(p.Advice, Refusal{d.row, at, value, problem.Message, problem.Remedy})
				continue
			}
			d.refuse(at, value, problem.Message, problem.Remedy)
		}
		if len(d.refused) == 0 && e != nil {
			if path := differs(d.values, valuesOf(e)); path != "" {
				d.refuse(m.columnOf(path), d.first(path), "the value would not read back from the log as it is", "write it more plainly")
			}
		}
		if len(d.refused) == 0 {
			p.Outcomes = append(p.Outcomes, *o)
		}
	}
	return nil
}

// outcome compares a draft with the log. A draft that cannot be told from two
// entries, or whose entry a person has changed too, is refused.
func (b *Book) outcome(m *Map, d *draft, update bool, names *namer) *Outcome {
	text := render(d.values, "")
	origin := worklog.Origin{List: m.List, Row: d.id, Digest: digest(text)}
	full := render(d.values, originLine(origin))
	came := b.came[[2]string{m.List, fold(d.id)}]
	switch len(came) {
	case 0:
		return &Outcome{Row: d.row, Standing: New, File: names.name(d), text: full}
	case 1:
	default:
		d.refuse("", d.id, fmt.Sprintf("two entries say that they came from this row, %s and %s", came[0].File, came[1].File), "take the origin out of the one that did not")
		return nil
	}
	e := came[0]
	o := &Outcome{Row: d.row, Standing: Same, File: e.File, text: full}
	was, err := b.ws.Root.ReadFile(e.File)
	if err != nil {
		d.refuse("", d.id, fmt.Sprintf("%s cannot be read again (%v)", e.File, err), "check the disk, and run the command again")
		return nil
	}
	o.was = string(was)
	now := digest(withoutOrigin(o.was))
	if e.Origin.Digest == origin.Digest || now == origin.Digest {
		return o
	}
	o.Standing, o.Changes, o.ByHand = Changed, changes(valuesOf(e), d.values), now != e.Origin.Digest
	switch {
	case !update:
	case o.ByHand:
		d.refuse("", d.id, fmt.Sprintf("the row has changed (%s), and so has %s by hand", strings.Join(o.Changes, "; "), e.File),
			fmt.Sprintf("change the entry to suit, then write digest: %s in its origin", origin.Digest))
		return nil
	default:
		o.Standing = Updated
	}
	return o
}

// differs returns the first key in which two entries differ, or "".
func differs(a, b map[string][]string) string {
	for _, f := range (entryMap{}).fields() {
		if !slices.Equal(a[f.path], b[f.path]) {
			return f.path
		}
	}
	return ""
}

// changes tells in which keys an entry of the log and a row differ. What shapes
// figures is told with its values; the rest is private, and only said to differ.
func changes(old, row map[string][]string) []string {
	var all []string
	for _, f := range (entryMap{}).fields() {
		was, is := strings.Join(old[f.path], ", "), strings.Join(row[f.path], ", ")
		switch {
		case was == is:
		case f.kind != aDate && f.kind != aPerson && f.kind != aPart && f.kind != aChoice:
			all = append(all, f.path+" is not the same")
		case was == "":
			all = append(all, fmt.Sprintf("%s is now %q", f.path, reading.Shorten(is)))
		case is == "":
			all = append(all, fmt.Sprintf("%s was %q and is gone", f.path, reading.Shorten(was)))
		default:
			all = append(all, fmt.Sprintf("%s was %q and is now %q", f.path, reading.Shorten(was), reading.Shorten(is)))
		}
	}
	if all == nil {
		all = []string{"it is written in another way"}
	}
	return all
}

// pathAt returns the key of an entry whose value stands at a place.
func pathAt(e *worklog.Entry, place reading.Place) string {
	if e == nil || place.Column == 0 {
		return ""
	}
	found := ""
	for _, f := range (entryMap{}).fields() {
		for _, p := range []string{f.path, f.path + "s", f.path + "[0]"} {
			if e.Doc.Has(p) && e.Doc.At(p).Line == place.Line && (e.Doc.At(p).Column == place.Column || found == "") {
				found = f.path
			}
		}
	}
	return found
}

// judged is what the log's own reader says of new entries, by file.
type judged struct {
	entries  map[string]*worklog.Entry
	problems map[string][]reading.Problem
}

// judge has the log's own reader read the whole record with new entries in it,
// from a copy of its words that nobody else may look into.
func (b *Book) judge(ctx context.Context, texts map[string]string) (j judged, err error) {
	j = judged{map[string]*worklog.Entry{}, map[string][]reading.Problem{}}
	if len(texts) == 0 {
		return j, nil
	}
	dir, err := os.MkdirTemp("", "opencowl-record-")
	if err != nil {
		return j, fmt.Errorf("no room to try the entries out (%w); %w", err, workspace.ErrOutside)
	}
	defer os.RemoveAll(dir)
	root, err := os.OpenRoot(dir)
	if err != nil {
		return j, fmt.Errorf("no room to try the entries out (%w); %w", err, workspace.ErrOutside)
	}
	defer root.Close()
	if err := b.copyWords(ctx, root, texts); err != nil {
		return j, err
	}
	log, problems := worklog.Read(root, b.ws.Settings.AreaKeys(), b.people())
	for _, e := range log.AllEntries() {
		if _, ours := texts[e.File]; ours {
			j.entries[e.File] = e
		}
	}
	for _, p := range problems {
		if _, ours := texts[p.File]; ours {
			j.problems[p.File] = append(j.problems[p.File], p)
		}
	}
	return j, nil
}

// copyWords copies parts and entries, and lays the new entries over them.
func (b *Book) copyWords(ctx context.Context, into *os.Root, texts map[string]string) error {
	put := func(name string, data []byte) error {
		if err := into.MkdirAll(path.Dir(name), 0o700); err != nil {
			return fmt.Errorf("%s cannot be tried out (%w); %w", name, err, workspace.ErrOutside)
		}
		if err := into.WriteFile(name, data, 0o600); err != nil {
			return fmt.Errorf("%s cannot be tried out (%w); %w", name, err, workspace.ErrOutside)
		}
		return nil
	}
	for _, dir := range []string{"parts", "log"} {
		files, _ := reading.List(b.ws.Root, dir, ".md") // what cannot be listed is told by check
		for _, name := range files {
			if err := ctx.Err(); err != nil {
				return err
			}
			data, problem := reading.Bytes(b.ws.Root, name, reading.MaxText)
			if _, ours := texts[name]; ours || problem != nil {
				continue
			}
			if err := put(name, data); err != nil {
				return err
			}
		}
	}
	for name, text := range texts {
		if err := put(name, []byte(text)); err != nil {
			return err
		}
	}
	return nil
}
