package member

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/table"
)

// The columns of a list of members, in the order in which they are usually written.
func Columns() []string {
	return []string{"name", "email", "basis", "source", "wording_version", "consented_at", "giving_from", "giving_until", "state"}
}

// softOptInFrom is the first day on which details may be collected under PECR
// reg 22(3A): in force 5 February 2026, and not for details from before (Data
// (Use and Access) Act 2025 s 114).
func softOptInFrom() time.Time { return time.Date(2026, time.February, 5, 0, 0, 0, 0, time.UTC) }

var (
	// ErrList is returned for a file that is not a list of members.
	ErrList = errors.New("this file is not a list of members")
	// ErrRefused is returned when rows were refused and all or nothing was asked for.
	ErrRefused = errors.New("some rows were refused, so nothing was brought in")
)

// ImportOptions says how a list is brought in.
type ImportOptions struct {
	Charity      bool // the workshop is a charity, so the soft opt-in is open to it
	AllOrNothing bool // one refused row keeps the whole list out
}

// Refusal is one fault in one row. A row with a fault is not brought in.
type Refusal struct {
	Row    int    // line of the file, the header being 1
	Column string // empty: the row as a whole
	Value  string
	Remedy string
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
}

// RefusedRows counts the rows that were refused.
func (r ImportReport) RefusedRows() int {
	n, last := 0, 0
	for _, f := range r.Refused {
		if f.Row != last {
			n, last = n+1, f.Row
		}
	}
	return n
}

// Import brings in a list in CSV, with a header that names the columns of
// Columns in any order; email, basis and state must be there. Commas,
// semicolons or tabs may part the cells, and UTF-8, UTF-16 or Windows-1252 may
// be its encoding. Dates are YYYY-MM-DD; consented_at may be an RFC 3339 time.
//
// A row with a fault is refused, with every fault in the report. Somebody who is
// here already stays as they are, but for one thing: a list that has them as
// paused, dead or left is believed, and no list undoes that. So bringing in the
// same list again changes nothing. A row that is left or dead needs no basis.
func Import(ctx context.Context, db *store.DB, r io.Reader, opt ImportOptions) (ImportReport, error) {
	var report ImportReport
	list, err := readList(r, &report)
	if err != nil {
		return report, err
	}
	members := list.members(db.Now(), opt.Charity, &report)
	if opt.AllOrNothing && len(report.Refused) > 0 {
		return report, fmt.Errorf("%d of %d: %w", report.RefusedRows(), report.Rows, ErrRefused)
	}
	err = db.Tx(ctx, func(tx *sql.Tx) error {
		known, err := byAddress(ctx, tx)
		if err != nil {
			return err
		}
		for _, m := range members {
			if here, is := known[strings.ToLower(m.Address)]; is {
				if err := meet(ctx, tx, here, m.State, db.Now(), &report); err != nil {
					return err
				}
				continue
			}
			if m.ID, err = db.NewID(); err != nil {
				return err
			}
			m.AddedAt = db.Now()
			if err := insert(ctx, tx, m); err != nil {
				return fmt.Errorf("a member cannot be added: %w", err)
			}
			report.Added++
		}
		return nil
	})
	if err != nil {
		report.Added, report.Known, report.Stopped, report.StayedOut = 0, 0, 0, 0
	}
	return report, err
}

// meet brings together somebody who is here with what a list says: only a
// state in which they get less than now is taken from it.
func meet(ctx context.Context, tx *sql.Tx, here Member, listed State, at time.Time, report *ImportReport) error {
	report.Known++
	stops := listed == Paused && here.State == Joined ||
		listed == Dead && here.State != Dead && here.State != Left ||
		listed == Left && here.State != Left
	if stops {
		if here.State == Joined {
			report.Stopped++
		}
		return setState(ctx, tx, here.ID, listed, at)
	}
	if listed == Joined && (here.State == Left || here.State == Dead) {
		report.StayedOut++
	}
	return nil
}

func byAddress(ctx context.Context, tx *sql.Tx) (map[string]Member, error) {
	all, err := ListTx(ctx, tx)
	if err != nil {
		return nil, err
	}
	known := make(map[string]Member, len(all))
	for _, m := range all {
		known[strings.ToLower(m.Address)] = m
	}
	return known, nil
}

// list is a file cut into cells.
type list struct {
	columns []string // of each cell
	rows    []table.Row
}

func readList(r io.Reader, report *ImportReport) (list, error) {
	raw, err := io.ReadAll(io.LimitReader(r, table.MaxBytes+1))
	if err != nil {
		return list{}, fmt.Errorf("the list cannot be read: %w", err)
	}
	if len(raw) > table.MaxBytes {
		return list{}, fmt.Errorf("%w: it is larger than %d MB; check that it is the right file", ErrList, table.MaxBytes>>20)
	}
	text, encoding, err := table.Decode(raw)
	if err != nil {
		return list{}, fmt.Errorf("%w: %w", ErrList, err)
	}
	report.Encoding = encoding
	// The mark that finds the most known columns in the header parts the cells.
	report.Delimiter = table.Delimiter(text, []rune{',', ';', '\t'}, 1, func(cell string) bool {
		return slices.Contains(Columns(), columnName(cell))
	})
	l, err := cut(text, report.Delimiter)
	report.Rows = len(l.rows)
	return l, err
}

func columnName(cell string) string { return strings.ToLower(strings.TrimSpace(cell)) }

func cut(text string, delimiter rune) (list, error) {
	rows, err := table.Cut(text, delimiter)
	if err != nil {
		return list{}, fmt.Errorf("%w: %w", ErrList, err)
	}
	if len(rows) == 0 || rows[0].Fault != "" {
		return list{}, fmt.Errorf("%w: its header cannot be read; the first line must name the columns %s", ErrList, strings.Join(Columns(), ","))
	}
	l := list{rows: rows[1:]}
	for _, cell := range rows[0].Cells {
		l.columns = append(l.columns, columnName(cell.Text))
	}
	if err := l.checkHeader(); err != nil {
		return list{}, err
	}
	return l, nil
}

func (l list) checkHeader() error {
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

// members reads every row, puts its faults in the report, and returns the
// people of the rows without one.
func (l list) members(now time.Time, charity bool, report *ImportReport) []Member {
	var found []Member
	firstAt := map[string]int{} // line on which an address stood first
	for _, r := range l.rows {
		p := parser{Row: r, columns: l.columns, now: now, charity: charity}
		m := p.member()
		if key := strings.ToLower(m.Address); key != "" {
			if first, twice := firstAt[key]; twice {
				p.refuse("email", "the same address stands on line %d; keep one of the two rows", first)
			} else {
				firstAt[key] = r.Line
			}
		}
		if len(p.refused) == 0 {
			found = append(found, m)
		}
		report.Refused = append(report.Refused, p.refused...)
	}
	return found
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

// cell returns the text of a column; a row that ends early has empty cells there.
func (p *parser) cell(column string) string {
	i := slices.Index(p.columns, column)
	if i < 0 || i >= len(p.Cells) {
		return ""
	}
	return strings.TrimSpace(p.Cells[i].Text)
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
	m := Member{Name: p.name(), Address: p.address(), State: p.state()}
	m.Consent = p.consent(m.State)
	m.GivingFrom, m.GivingUntil = p.date("giving_from"), p.date("giving_until")
	if !m.GivingUntil.IsZero() && m.GivingUntil.Before(m.GivingFrom) {
		p.refuse("giving_until", "it is before giving_from (%s); correct one of the two", m.GivingFrom)
	}
	return m
}

// maxName keeps a name that is clearly something else out of a letter's header.
const maxName = 200 // characters

func (p *parser) name() string {
	name := p.cell("name")
	p.plain("name")
	if utf8.RuneCountInString(name) > maxName {
		p.refuse("name", "it is longer than %d characters; write the name alone", maxName)
	}
	return name
}

// plain refuses what cannot be seen in a cell: it would break a header, or make
// two names that look the same.
func (p *parser) plain(column string) {
	for _, r := range p.cell(column) {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == utf8.RuneError {
			p.refuse(column, "it holds a line break or another character that cannot be seen (U+%04X); type it again", r)
			return
		}
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
	c := Consent{Basis: Basis(strings.ToLower(p.cell("basis"))), Source: p.cell("source"), WordingVersion: p.cell("wording_version"), At: p.consentedAt()}
	gone := state == Left || state == Dead
	if gone && c.Basis == "" {
		return Consent{} // nobody is written to on the strength of this row
	}
	if c.Basis != Consented && c.Basis != SoftOptIn {
		p.refuse("basis", "write consent or charity-soft-opt-in; without a basis nobody may be written to")
		return c
	}
	p.needed("source", "say where the person agreed, such as: gate form, open day")
	p.needed("wording_version", "say which wording the person was shown")
	if c.At.IsZero() && p.cell("consented_at") == "" {
		p.refuse("consented_at", "say when the person agreed, as 2031-01-14")
	}
	if c.Basis == SoftOptIn {
		p.softOptIn(c)
	}
	if state == Left {
		c.WithdrawnAt = p.now
	}
	return c
}

func (p *parser) needed(column, remedy string) {
	if p.cell(column) == "" {
		p.refuse(column, "%s", remedy)
	}
	p.plain(column)
}

func (p *parser) softOptIn(c Consent) {
	if !p.charity {
		p.refuse("basis", "this basis is for charities alone; if the workshop is one, set charity: true in workshop.yaml")
	}
	if !c.At.IsZero() && c.At.Before(softOptInFrom()) {
		p.refuse("consented_at", "this basis covers only details collected on or after 2026-02-05; ask the person for consent")
	}
}

// earliestConsent is the year before which nobody can have agreed to letters by
// email: the first were sent between machines in 1971 (from memory).
const earliestConsent = 1971

func (p *parser) consentedAt() time.Time {
	cell := p.cell("consented_at")
	if cell == "" {
		return time.Time{}
	}
	at, err1 := time.Parse(time.RFC3339, cell)
	date, err2 := day.Parse(cell)
	switch {
	case err2 == nil:
		at = date.Time(time.UTC)
	case err1 != nil:
		p.refuse("consented_at", "write the day as 2031-01-14, or the time as 2031-01-14T10:00:00Z")
		return time.Time{}
	}
	switch {
	case at.After(p.now):
		p.refuse("consented_at", "it lies in the future; check the year")
	case at.Year() < earliestConsent:
		p.refuse("consented_at", "it lies before there were addresses like these; check the year")
	}
	return at
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
