package member

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/table"
)

// The columns of a list of members, in the order in which they are usually written.
func Columns() []string {
	return []string{"name", "email", "basis", "source", "wording_version", "consented_at", "giving_from", "giving_until", "state",
		"confirmed_at", "withdrawn_at", "collected", "because", "purpose", "refusal"}
}

var (
	// ErrList is returned for a file that is not a list of members.
	ErrList = errors.New("this file is not a list of members")
	// ErrRefused is returned when rows were refused and all or nothing was asked for.
	ErrRefused = errors.New("some rows were refused, so nothing was brought in")
)

// The most that is taken in at once: far above any list that a workshop keeps.
const (
	maxListBytes = 256 << 20
	maxListRows  = 1_000_000
)

// ImportOptions says how a list is brought in.
type ImportOptions struct {
	Charity      bool   // the workshop is a charity, so the soft opt-in is open to it
	AllOrNothing bool   // one refused row keeps the whole list out
	By           string // who brings it in, for the ledger; empty: nothing is written there

	// Keys tell whom no list may bring back. Without them a list is refused as soon as
	// there is anybody like that, and those who are out by the list are not marked.
	Keys *Keys
	// Words are those of the versions that the list names; nil: they are not looked at.
	Words Wordings

	Refuse   func(Refusal)      // told of each fault as it is found, in place of the report's list; may be nil
	Progress func(done, of int) // called now and then, with thousands of bytes; may be nil
}

// Refusal is one fault in one row. A row with a fault is not brought in.
type Refusal struct {
	Row    int    // line of the file, the header being 1
	Column string // empty: the row as a whole
	Value  string
	Remedy string
}

// Advice is something about a list that stops nothing, and that a person may want to
// look at.
type Advice struct {
	Row  int // line of the file; 0: the list as a whole
	Says string
}

// ImportReport says what became of each row.
type ImportReport struct {
	Encoding  string // "UTF-8", "UTF-16" or "Windows-1252"
	Delimiter rune
	Rows      int       // rows with anything in them, the header apart
	Added     int       // people who were not here before
	Known     int       // people who were
	Stopped   int       // of these, people whom the list has as left, paused or dead, and who were written to until now
	StayedOut int       // of these, people whom the list would have joined and who left, or whose address is dead
	Refused   []Refusal // every fault of every refused row, in the file's order
	Advice    []Advice

	refusedRows int
}

// RefusedRows counts the rows that were refused.
func (r ImportReport) RefusedRows() int { return r.refusedRows }

// Import brings in a list in CSV, with a header that names the columns of
// Columns in any order; email, basis and state must be there. Commas,
// semicolons or tabs may part the cells, and UTF-8, UTF-16 or Windows-1252 may
// be its encoding. Dates are YYYY-MM-DD; times may be so too, or RFC 3339.
//
// A row with a fault is refused, with every fault in the report. Somebody who is
// here already stays as they are, but for one thing: a list that has them as
// paused, dead or left is believed, and no list undoes that. So bringing in the
// same list again changes nothing. A row that is left or dead needs no basis. Whoever
// asked to be forgotten is refused.
//
// A list that can be read twice (io.ReadSeeker) is held in memory a row at a time.
func Import(ctx context.Context, db *store.DB, r io.Reader, opt ImportOptions) (ImportReport, error) {
	var report ImportReport
	list, err := openList(r, &report, opt)
	if err != nil {
		return report, err
	}
	defer list.close()
	err = db.Tx(ctx, func(tx *sql.Tx) error {
		in, err := newIntake(ctx, db, tx, &report, opt)
		if err != nil {
			return err
		}
		if err := list.each(db.Now(), in.alike, &report, in.take); err != nil {
			return err
		}
		if opt.AllOrNothing && report.refusedRows > 0 {
			return fmt.Errorf("%d of %d: %w", report.refusedRows, report.Rows, ErrRefused)
		}
		return in.end()
	})
	if err != nil {
		report.Added, report.Known, report.Stopped, report.StayedOut = 0, 0, 0, 0
	}
	return report, err
}

// intake takes the people of one list into the database, in one transaction.
type intake struct {
	ctx    context.Context
	db     *store.DB
	tx     *sql.Tx
	opt    ImportOptions
	report *ImportReport
	now    time.Time
	here   map[digest]State // of the addresses that are here
	alike  likeness
	guard  guard
	insert *prepared
	words  map[string]string // digest of each version that was met
	left   []string          // addresses that are out by this list
}

// digest stands for an address while a list is read, so that a long one takes little
// memory. That two addresses share one is out of the question: it is half a SHA-256.
type digest [16]byte

func digestOf(s string) digest {
	sum := sha256.Sum256([]byte(s))
	return digest(sum[:16])
}

func newIntake(ctx context.Context, db *store.DB, tx *sql.Tx, report *ImportReport, opt ImportOptions) (*intake, error) {
	in := &intake{ctx: ctx, db: db, tx: tx, opt: opt, report: report, now: db.Now(), here: map[digest]State{}, insert: &prepared{tx, map[string]*sql.Stmt{}}, alike: likeness{}, words: map[string]string{}}
	var err error
	if in.guard, err = opt.Keys.guard(ctx, tx); err != nil {
		return nil, err
	}
	rows, err := tx.QueryContext(ctx, `SELECT address, state FROM members`)
	if err != nil {
		return nil, fmt.Errorf("the members cannot be read: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var address string
		var state State
		if err := rows.Scan(&address, &state); err != nil {
			return nil, fmt.Errorf("the members cannot be read: %w", err)
		}
		in.here[digestOf(fold(address))] = state
		in.alike.add(address, 0)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("the members cannot be read: %w", err)
	}
	return in, nil
}

// take takes in one person, or says why not.
func (in *intake) take(m Member) (refused string, err error) {
	if here, is := in.here[digestOf(fold(m.Address))]; is {
		return "", in.meet(here, m)
	}
	switch why, err := in.guard.out(in.ctx, in.tx, m.Address); {
	case err != nil:
		return "", err
	case why == markForgotten:
		return "this person asked to be forgotten; take the row out of the list", nil
	case why == markLeft && m.State != Left && m.State != Dead:
		return "this person left; take the row out of the list, or write left as their state", nil
	}
	if m.ID, err = in.db.NewID(); err != nil {
		return "", err
	}
	if m.Consent.WordingDigest, err = in.wording(m.Consent.WordingVersion); err != nil {
		return "", err
	}
	m.AddedAt = in.now
	if m.State == Left {
		in.left = append(in.left, m.Address)
	}
	in.report.Added++
	return "", insert(in.ctx, in.insert, m)
}

// meet brings together somebody who is here with what a list says: only a
// state in which they get less than now is taken from it.
func (in *intake) meet(here State, listed Member) error {
	in.report.Known++
	stops := listed.State == Paused && here == Joined ||
		listed.State == Dead && here != Dead && here != Left ||
		listed.State == Left && here != Left
	if !stops {
		if listed.State == Joined && (here == Left || here == Dead) {
			in.report.StayedOut++
		}
		return nil
	}
	m, err := byAddressTx(in.ctx, in.tx, listed.Address)
	if err != nil {
		return err
	}
	if here == Joined {
		in.report.Stopped++
	}
	if listed.State == Left {
		in.left = append(in.left, m.Address)
	}
	return setState(in.ctx, in.tx, m.ID, listed.State, in.now)
}

// wording returns the digest of the words of a version, and keeps them.
func (in *intake) wording(version string) (string, error) {
	if version == "" || in.opt.Words == nil {
		return "", nil
	}
	if known, met := in.words[version]; met {
		return known, nil
	}
	w, missing := in.opt.Words(version)
	kept, err := keptWording(in.ctx, in.tx, version)
	switch {
	case err != nil:
		return "", err
	case kept.Digest != "":
		if missing == nil && w.Digest != kept.Digest {
			in.advise(0, "%s/%s.md has other words than when people first agreed to it; save these as a new version, and put the old ones back", WordingDir, version)
		}
	case missing != nil:
		in.advise(0, "it cannot be shown what people were told who agreed to %v", missing)
	default:
		kept = w
		if err := keepWording(in.ctx, in.tx, w, in.now); err != nil {
			return "", err
		}
	}
	in.words[version] = kept.Digest
	return kept.Digest, nil
}

func (in *intake) advise(row int, says string, args ...any) {
	in.report.Advice = append(in.report.Advice, Advice{row, fmt.Sprintf(says, args...)})
}

// end marks who is out by the list, and writes down that it was brought in.
func (in *intake) end() error {
	if in.opt.Keys != nil {
		if err := in.opt.Keys.append(markLeft, in.left...); err != nil {
			return err
		}
	}
	if in.opt.By == "" {
		return nil
	}
	r := in.report
	_, err := in.db.AppendTx(in.ctx, in.tx, store.Entry{Who: in.opt.By, Kind: "members-imported", Unit: "members",
		Detail: map[string]int{"rows": r.Rows, "added": r.Added, "known": r.Known, "stopped": r.Stopped, "refused": r.refusedRows}})
	return err
}

// list is a file that is being cut into cells.
type list struct {
	opt     ImportOptions
	columns []string // of each cell
	next    func() (table.Row, bool)
	close   func()
	source  *source
}

// source counts what is read of a file, and remembers why it cannot be read further.
type source struct {
	r        io.Reader
	done, of int64
	err      error
}

func (s *source) Read(b []byte) (int, error) {
	n, err := s.r.Read(b)
	s.done += int64(n)
	if err != nil && err != io.EOF {
		s.err = err
	}
	return n, err
}

// openList reads a file up to its header.
func openList(r io.Reader, report *ImportReport, opt ImportOptions) (*list, error) {
	file, ok := r.(io.ReadSeeker)
	if !ok {
		raw, err := io.ReadAll(io.LimitReader(r, maxListBytes+1))
		if err != nil {
			return nil, fmt.Errorf("the list cannot be read: %w", err)
		}
		file = bytes.NewReader(raw)
	}
	size, err := file.Seek(0, io.SeekEnd)
	if err == nil {
		_, err = file.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, fmt.Errorf("the list cannot be read: %w", err)
	}
	if size > maxListBytes {
		return nil, fmt.Errorf("%w: it is larger than %d MB; check that it is the right file", ErrList, maxListBytes>>20)
	}
	if report.Encoding, err = table.Encoding(file); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrList, err)
	}
	const most = 64 << 10 // a header is shorter
	head, err := io.ReadAll(io.LimitReader(table.Text(file, report.Encoding), most))
	if err == nil {
		_, err = file.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, fmt.Errorf("the list cannot be read: %w", err)
	}
	// The mark that finds the most known columns in the header parts the cells.
	report.Delimiter = table.Delimiter(string(head), []rune{',', ';', '\t'}, 1, isColumn)
	l := &list{opt: opt, source: &source{r: file, of: size}}
	l.next, l.close = iter.Pull(table.Rows(table.Text(l.source, report.Encoding), report.Delimiter))
	if err := l.readHeader(); err != nil {
		l.close()
		return nil, err
	}
	return l, nil
}

func isColumn(cell string) bool { return slices.Contains(Columns(), columnName(cell)) }

func columnName(cell string) string { return strings.ToLower(strings.TrimSpace(cell)) }

// row returns the next row with anything in it.
func (l *list) row() (table.Row, bool) {
	for {
		r, ok := l.next()
		if !ok || !r.Blank() {
			return r, ok
		}
	}
}

func (l *list) readHeader() error {
	row, ok := l.row()
	if l.source.err != nil {
		return fmt.Errorf("the list cannot be read: %w", l.source.err)
	}
	if !ok || row.Fault != "" {
		return fmt.Errorf("%w: its header cannot be read; the first line must name the columns %s", ErrList, strings.Join(Columns(), ","))
	}
	for _, cell := range row.Cells {
		l.columns = append(l.columns, columnName(cell.Text))
	}
	for i, c := range l.columns {
		if !slices.Contains(Columns(), c) {
			return fmt.Errorf("%w: column %q is unknown; the columns are %s", ErrList, c, strings.Join(Columns(), ","))
		}
		if slices.Contains(l.columns[:i], c) {
			return fmt.Errorf("%w: column %q is there twice; remove one", ErrList, c)
		}
	}
	for _, c := range []string{"email", "basis", "state"} {
		if !slices.Contains(l.columns, c) {
			return fmt.Errorf("%w: column %q is missing; the columns are %s", ErrList, c, strings.Join(Columns(), ","))
		}
	}
	return nil
}

// each reads every row, puts its faults in the report, and hands on the people of
// the rows without one. take may still refuse them.
func (l *list) each(now time.Time, alike likeness, report *ImportReport, take func(Member) (refused string, err error)) error {
	firstAt := map[digest]int32{} // line on which an address stood first
	const often = 1 << 10
	for {
		row, ok := l.row()
		if l.source.err != nil {
			return fmt.Errorf("the list cannot be read: %w", l.source.err)
		}
		if !ok {
			return nil
		}
		if report.Rows++; report.Rows > maxListRows {
			return fmt.Errorf("%w: it has more than %d rows; split it", ErrList, maxListRows)
		}
		if l.opt.Progress != nil && report.Rows%often == 0 {
			l.opt.Progress(int(l.source.done>>10), int(l.source.of>>10))
		}
		p := parser{Row: row, columns: l.columns, now: now, charity: l.opt.Charity}
		m := p.member()
		if m.Address != "" {
			key := digestOf(fold(m.Address))
			if first, twice := firstAt[key]; twice {
				p.refuse("email", "the same address stands on line %d; keep one of the two rows", first)
			} else {
				firstAt[key] = int32(row.Line)
			}
		}
		if len(p.refused) == 0 {
			says := alike.add(m.Address, row.Line)
			refused, err := take(m)
			if err != nil {
				return err
			}
			if refused != "" {
				// Without its value: what this says of the address is for this screen alone.
				p.refused = append(p.refused, Refusal{Row: row.Line, Column: "email", Remedy: refused})
			} else if says != "" {
				report.Advice = append(report.Advice, Advice{row.Line, m.Address + " " + says})
			}
		}
		l.refuse(p.refused, report)
	}
}

// refuse tells the faults of one row.
func (l *list) refuse(faults []Refusal, report *ImportReport) {
	if len(faults) == 0 {
		return
	}
	report.refusedRows++
	if l.opt.Refuse == nil {
		report.Refused = append(report.Refused, faults...)
		return
	}
	for _, f := range faults {
		l.opt.Refuse(f)
	}
}

// parser reads one row.
type parser struct {
	table.Row
	columns []string
	now     time.Time
	charity bool
	refused []Refusal
}

func (p *parser) refuse(column, remedy string, args ...any) {
	p.refused = append(p.refused, Refusal{Row: p.Line, Column: column, Value: p.cell(column), Remedy: fmt.Sprintf(remedy, args...)})
}

// cell returns the text of a column, without what keeps a spreadsheet from taking it
// for a formula; a row that ends early has empty cells there.
func (p *parser) cell(column string) string {
	i := slices.Index(p.columns, column)
	if i < 0 || i >= len(p.Cells) {
		return ""
	}
	return strings.TrimSpace(unguarded(p.Cells[i].Text))
}

func (p *parser) member() Member {
	if p.Fault != "" {
		p.refuse("", "%s", p.Fault)
		return Member{}
	}
	if len(p.Cells) > len(p.columns) {
		p.refuse("", "the row has %d cells and the header %d; put a cell that holds the delimiter in \"…\"", len(p.Cells), len(p.columns))
		return Member{}
	}
	m := Member{Name: p.cell("name")}
	p.refuseAll(nameFaults(m.Name))
	m.Address, m.State = p.address(), p.state()
	m.Consent = p.consent(m.State)
	m.GivingFrom, m.GivingUntil = p.date("giving_from"), p.date("giving_until")
	p.refuseAll(givingFaults(m))
	return m
}

func (p *parser) refuseAll(faults []slip) {
	for _, f := range faults {
		p.refuse(f.column, "%s", f.remedy)
	}
}

func (p *parser) address() string {
	address, err := Normalise(p.cell("email"))
	if err != nil {
		p.refuse("email", "%s", err)
	}
	return address
}

func (p *parser) state() State {
	state := State(strings.ToLower(p.cell("state")))
	if !slices.Contains(States(), state) {
		p.refuse("state", "write joining, joined, paused, left or dead")
	}
	return state
}

func (p *parser) consent(state State) Consent {
	word := func(column string) string { return strings.ToLower(p.cell(column)) }
	c := Consent{Basis: Basis(word("basis")), Source: p.cell("source"), WordingVersion: p.cell("wording_version"),
		SoftOptIn: Terms{word("collected"), word("because"), word("purpose"), word("refusal")}}
	if (state == Left || state == Dead) && c.Basis == "" {
		return Consent{} // nobody is written to on the strength of this row
	}
	unread := map[string]bool{}
	for column, into := range map[string]*time.Time{"consented_at": &c.At, "confirmed_at": &c.ConfirmedAt, "withdrawn_at": &c.WithdrawnAt} {
		at, ok := moment(p.cell(column))
		*into, unread[column] = at, !ok
	}
	faults := c.faults(p.now, p.charity)
	for column, bad := range unread {
		if bad {
			faults = slices.DeleteFunc(faults, func(f slip) bool { return f.column == column })
			faults = append(faults, slip{column, "write the day as 2031-01-14, or the time as 2031-01-14T10:00:00Z"})
		}
	}
	if state != Left && !c.WithdrawnAt.IsZero() {
		faults = append(faults, slip{"withdrawn_at", "nobody may be written to who withdrew; write left as their state"})
	}
	if state == Joining && !c.ConfirmedAt.IsZero() {
		faults = append(faults, slip{"confirmed_at", "who confirmed is no longer joining; write joined as their state"})
	}
	if c.Basis != SoftOptIn && c.SoftOptIn != (Terms{}) {
		faults = append(faults, slip{"basis", "collected, because, purpose and refusal go with charity-soft-opt-in alone; leave them empty, or correct the basis"})
	}
	slices.SortStableFunc(faults, func(a, b slip) int { return place(a.column) - place(b.column) })
	p.refuseAll(faults)
	if state == Left && c.WithdrawnAt.IsZero() {
		c.WithdrawnAt = p.now
	}
	return c
}

// moment reads a time or a day; an empty cell is the zero time.
func moment(cell string) (at time.Time, ok bool) {
	if cell == "" {
		return time.Time{}, true
	}
	if date, err := day.Parse(cell); err == nil {
		return date.Time(time.UTC), true
	}
	at, err := time.Parse(time.RFC3339, cell)
	return at, err == nil
}

func (p *parser) date(column string) day.Date {
	cell := p.cell(column)
	if cell == "" {
		return day.Date{}
	}
	date, err := day.Parse(cell)
	if err != nil {
		p.refuse(column, "write the day as 2031-01-14")
	}
	return date
}

// String sums the report up in a line for a person.
func (r ImportReport) String() string {
	rows := "rows"
	if r.Rows == 1 {
		rows = "row"
	}
	return fmt.Sprintf("%d %s: %d added, %d known already (%d of them written to no more, %d stay out), %d refused",
		r.Rows, rows, r.Added, r.Known, r.Stopped, r.StayedOut, r.RefusedRows())
}
