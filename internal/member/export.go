package member

import (
	"context"
	"database/sql"
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"example.org/opencowl/internal/store"
)

// Export writes the members that pass the filter as a list in CSV (RFC 4180), by
// address, and returns how many. Importing it where nobody is brings in the same
// people with what they agreed to last; earlier consents and unconfirmed requests
// to come back are not in it. A byte order mark stands first, by which spreadsheets
// know UTF-8, and no cell can be taken for a formula.
//
// It is written down that a list was made, by whom, and to which file; path is empty
// when it went elsewhere.
func (r Register) Export(ctx context.Context, w io.Writer, f Filter, by, path string) (int, error) {
	if _, err := io.WriteString(w, "\ufeff"); err != nil {
		return 0, err
	}
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(Columns()); err != nil {
		return 0, err
	}
	n := 0
	err := Each(ctx, r.DB, f, func(m Member) error {
		n++
		return out.Write(cells(m))
	})
	if err != nil {
		return n, err
	}
	if out.Flush(); out.Error() != nil {
		return n, fmt.Errorf("the list cannot be written: %w", out.Error())
	}
	return n, r.DB.Tx(ctx, func(tx *sql.Tx) error {
		if path != "" {
			if err := r.exported(ctx, tx, path); err != nil {
				return err
			}
		}
		_, err := r.DB.AppendTx(ctx, tx, store.Entry{Who: by, Kind: "members-exported", Unit: "members", Detail: map[string]int{"people": n}})
		return err
	})
}

// cells are a member's cells, in the order of Columns.
func cells(m Member) []string {
	c := m.Consent
	row := []string{m.Name, m.Address, string(c.Basis), c.Source, c.WordingVersion, store.FormatTime(c.At),
		m.GivingFrom.String(), m.GivingUntil.String(), string(m.State), store.FormatTime(c.ConfirmedAt), store.FormatTime(c.WithdrawnAt),
		c.SoftOptIn.Collected, c.SoftOptIn.Because, c.SoftOptIn.Purpose, c.SoftOptIn.Refusal}
	for i := range row {
		row[i] = guarded(row[i])
	}
	return row
}

// formulaMarks are what spreadsheets take for the beginning of a formula, in either
// width (OWASP's page on CSV injection names the narrow ones and the two unseen ones;
// from memory).
const formulaMarks = "=+-@\t\r＝＋－＠"

// guarded puts an apostrophe before a cell that a spreadsheet would run as a formula,
// and before one that looks guarded already, so that unguarded undoes it.
func guarded(cell string) string {
	if isFormula(strings.TrimLeft(cell, "'")) {
		return "'" + cell
	}
	return cell
}

// unguarded takes away what guarded put there.
func unguarded(cell string) string {
	if rest, found := strings.CutPrefix(cell, "'"); found && isFormula(strings.TrimLeft(rest, "'")) {
		return rest
	}
	return cell
}

func isFormula(cell string) bool {
	r, n := utf8.DecodeRuneInString(cell)
	return n > 0 && r != utf8.RuneError && strings.ContainsRune(formulaMarks, r)
}
