package member

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/table"
	"example.org/opencowl/internal/workspace"
)

// Traces says what became of an address in files. Paths inside the workspace are
// slash paths from its folder.
type Traces struct {
	Searched  int      `json:"searched"`            // files
	Rewritten []string `json:"rewritten,omitempty"` // lists, without the rows of that address
	Removed   []string `json:"removed,omitempty"`   // what the program made and can make again, and letters to that address
	Still     []string `json:"still,omitempty"`     // files that a person has to mend: the address stands in them
	Elsewhere []string `json:"elsewhere,omitempty"` // lists that were written outside the workspace, and hold it
	Moved     []string `json:"moved,omitempty"`     // where lists were written to outside the workspace that are no longer there
}

// EraseFiles looks through every file of a workspace for an address, the database
// apart, and erases it where that is safe: its rows go from lists of members, letters
// to it that were filed here go, and so does what the program can make again. Any
// other file is a person's own: it is named, and left alone.
func (r Register) EraseFiles(ctx context.Context, ws *workspace.Workspace, address string) (Traces, error) {
	kept, err := Normalise(address)
	if err != nil {
		return Traces{}, fmt.Errorf("%q: %w", address, err)
	}
	t := Traces{}
	s := seekerOf(kept)
	database := filepath.Base(ws.Database())
	err = fs.WalkDir(ws.Root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("%s: cannot be looked through (%w); mend that, and run this again", name, err)
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		// The database is seen to by the store, which also knows its log.
		// What the lock holds is nothing, and Windows lets nobody look.
		if !d.Type().IsRegular() || name == database || strings.HasPrefix(name, database+"-") || name == ".opencowl/lock" {
			return nil
		}
		t.Searched++
		return t.erase(ws, s, name, kept)
	})
	if err != nil {
		return t, err
	}
	return t, r.elsewhere(ctx, s, &t)
}

// erase sees to one file.
func (t *Traces) erase(ws *workspace.Workspace, s seeker, name, address string) error {
	named := s.within([]byte(name), nested, false) || s.within([]byte(strings.TrimSuffix(name, filepath.Ext(name))), nested, false)
	found, err := holds(ws, s, name)
	if err != nil {
		return fmt.Errorf("%s: cannot be looked through (%w); mend that, and run this again", name, err)
	}
	if !found && !named {
		return nil
	}
	if top, _, _ := strings.Cut(name, "/"); top == "out" || top == ".opencowl" || !named && isLetterTo(ws, name, address) {
		t.Removed = append(t.Removed, name)
		return ws.Root.Remove(filepath.FromSlash(name))
	}
	if strings.EqualFold(filepath.Ext(name), ".csv") {
		if err := t.rewrite(ws, name, address); err != nil {
			return err
		}
		if found, err = holds(ws, s, name); err != nil {
			return err
		}
	}
	if found || named {
		t.Still = append(t.Still, name)
	}
	return nil
}

func holds(ws *workspace.Workspace, s seeker, name string) (bool, error) {
	f, err := ws.Root.Open(filepath.FromSlash(name))
	if err != nil {
		return false, err
	}
	defer f.Close()
	return s.in(f)
}

// isLetterTo says whether a file is a letter to that address and nobody else, as the
// inbox of a try-out files them.
func isLetterTo(ws *workspace.Workspace, name, address string) bool {
	if !strings.EqualFold(filepath.Ext(name), ".eml") {
		return false
	}
	f, err := ws.Root.Open(filepath.FromSlash(name))
	if err != nil {
		return false
	}
	defer f.Close()
	letter, err := mail.ReadMessage(f)
	if err != nil {
		return false
	}
	to, err := letter.Header.AddressList("To")
	if err != nil || len(to) != 1 {
		return false
	}
	kept, err := Normalise(to[0].Address)
	return err == nil && fold(kept) == fold(address)
}

// rewrite takes the rows of an address out of a list of members, and leaves every
// other byte as it is. A file that is no list stays.
func (t *Traces) rewrite(ws *workspace.Workspace, name, address string) error {
	text, err := ws.Root.ReadFile(filepath.FromSlash(name))
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	without, rows := dropRows(text, address)
	if rows == 0 {
		return nil
	}
	info, err := ws.Root.Stat(filepath.FromSlash(name))
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	t.Rewritten = append(t.Rewritten, name)
	return ws.Writer.WriteFile(ws.Path(name), without, info.Mode().Perm())
}

// dropRows returns a list of members in UTF-8 without the rows of an address, and
// how many these were.
func dropRows(list []byte, address string) ([]byte, int) {
	if !utf8.Valid(list) {
		return list, 0
	}
	bom := len(list) - len(bytes.TrimPrefix(list, []byte("\ufeff")))
	body := list[bom:]
	delimiter := table.Delimiter(string(body), []rune{',', ';', '\t'}, 1, isColumn)
	r := csv.NewReader(bytes.NewReader(body))
	r.Comma, r.FieldsPerRecord = delimiter, -1
	header, err := r.Read()
	if err != nil {
		return list, 0
	}
	email := slices.IndexFunc(header, func(cell string) bool { return columnName(cell) == "email" })
	if email < 0 {
		return list, 0
	}
	out, rows := slices.Clone(list[:bom]), 0
	out = append(out, body[:r.InputOffset()]...)
	for {
		from := r.InputOffset()
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return append(out, body[from:]...), rows
		}
		if err == nil && email < len(cells) {
			if kept, err := Normalise(unguarded(cells[email])); err == nil && fold(kept) == fold(address) {
				rows++
				continue
			}
		}
		out = append(out, body[from:r.InputOffset()]...)
	}
}

// exported writes down where a list was written to.
func (r Register) exported(ctx context.Context, tx *sql.Tx, path string) error {
	if _, err := tx.ExecContext(ctx, `INSERT INTO member_exports (path, at) VALUES ($1, $2) ON CONFLICT (path) DO UPDATE SET at = excluded.at`,
		path, store.FormatTime(r.DB.Now())); err != nil {
		return fmt.Errorf("where the list was written to cannot be kept: %w", err)
	}
	return nil
}

// elsewhere looks at the lists that were written outside the workspace. One that
// cannot be read may hold the address.
func (r Register) elsewhere(ctx context.Context, s seeker, t *Traces) error {
	rows, err := r.DB.Read(ctx, `SELECT path FROM member_exports ORDER BY path`)
	paths, err := store.Texts(rows, err)
	if err != nil {
		return fmt.Errorf("where lists were written to cannot be read: %w", err)
	}
	for _, path := range paths {
		if s.within([]byte(path), nested, false) {
			if err := r.DB.Tx(ctx, func(tx *sql.Tx) error {
				_, err := tx.ExecContext(ctx, `DELETE FROM member_exports WHERE path = $1`, path)
				return err
			}); err != nil {
				return fmt.Errorf("the name of a list cannot be erased: %w", err)
			}
		}
		f, err := os.Open(path)
		if errors.Is(err, fs.ErrNotExist) {
			t.Moved = append(t.Moved, path)
			continue
		}
		if err == nil {
			var found bool
			found, err = s.in(f)
			f.Close()
			if !found && err == nil {
				continue
			}
		}
		t.Elsewhere = append(t.Elsewhere, path)
	}
	return nil
}
