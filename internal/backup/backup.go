// Package backup writes a whole workspace to one file, and makes a workspace of
// such a file again.
//
// A backup is a zip file. It holds every plain file of the workspace, the database as
// it was at one moment, and last of all backup.json, which lists every file with its
// size and digest. The zip's comment is a seal: a digest of every byte before it, so
// that a backup in which any byte changed is refused.
//
// It promises that a backup is there whole or not at all, that it holds nobody who
// was forgotten before it was begun, and no private keys unless asked; and that what
// is restored posts nothing until somebody has said which editions went out since,
// and has everybody leave who left since. The seal finds damage, not forgery: whoever
// can write a backup can seal it. The package must not know what any file says.
package backup

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

var (
	// ErrInside is returned for a backup that would lie in the workspace itself.
	ErrInside = errors.New("a backup inside the workspace goes when the workspace does, and would be in the next one")
	// ErrForgotten is returned when somebody was forgotten while a backup was made.
	ErrForgotten = errors.New("somebody was forgotten while the backup was made, so it was thrown away; run this again")
)

const (
	format       = "opencowl backup 1"
	manifestName = "backup.json"
	databaseName = "opencowl.db"
	sealWords    = format + " sha256 " // and 64 hexadecimal digits
)

// Manifest says what is in a backup.
type Manifest struct {
	Format   string    `json:"format"`
	Made     time.Time `json:"made"`
	Workshop string    `json:"workshop"`
	Tables   int64     `json:"tables"` // version of the database's tables
	Head     string    `json:"ledger_head"`
	Marks    int       `json:"marks"`              // of people who left, outside the backup, when it was made
	Keys     bool      `json:"keys"`               // private keys are in it
	LeftOut  []string  `json:"left_out,omitempty"` // private keys that are not in it
	Files    []File    `json:"files"`
}

// File is one file of a backup.
type File struct {
	Name   string      `json:"name"` // slash path from the workspace's folder
	Size   int64       `json:"size"` // bytes
	SHA256 string      `json:"sha256"`
	Mode   fs.FileMode `json:"mode"`
}

// Bytes is the size of all files.
func (m Manifest) Bytes() (n int64) {
	for _, f := range m.Files {
		n += f.Size
	}
	return n
}

// Options says how a backup is made.
type Options struct {
	Keys     bool               // private keys go in
	Made     time.Time          // in the workshop's time zone
	Progress func(done, of int) // files; may be nil
}

// Written says what was written.
type Written struct {
	Manifest
	Skipped []string       // what could not go in, each with the reason
	Broken  []store.Broken // rows of the ledger that do not hold, in the workspace as in the backup
}

// Write makes a new backup of a workspace. Others may write to the workspace
// meanwhile. What is written is read back and checked before it gets its name.
//
// The database is copied first: a file that is changed after that is newer than what
// was decided on it, and so waits for a new decision once it is restored.
func Write(ctx context.Context, ws *workspace.Workspace, db *store.DB, to string, opt Options) (Written, error) {
	if err := outside(ws.Dir, to); err != nil {
		return Written{}, err
	}
	release, err := ws.LockBackup()
	if err != nil {
		return Written{}, err
	}
	defer release()
	keys, err := privateFiles(ws)
	if err != nil {
		return Written{}, err
	}
	w := &writer{ws: ws, opt: opt, keys: keys}
	if err := w.tidy(); err != nil {
		return Written{}, err
	}
	defer w.tidy()
	marks, err := readMarks(ws)
	if err != nil {
		return Written{}, err
	}
	err = workspace.Writer{}.CreateFrom(to, 0o600, func(f *os.File) error {
		if err := w.notePart(f.Name()); err != nil {
			return err
		}
		w.m = Manifest{Format: format, Made: opt.Made.UTC().Truncate(time.Second), Workshop: ws.Settings.Workshop.Name, Marks: bytes.Count(marks, []byte("\n")), Keys: opt.Keys}
		if err := w.write(ctx, db, f); err != nil {
			return err
		}
		size, err := f.Seek(0, io.SeekEnd)
		if err != nil {
			return err
		}
		if _, err := check(ctx, f, size, to); err != nil {
			return fmt.Errorf("the backup was not read back as it was written: %w", err)
		}
		return nobodyForgottenSince(ws, marks)
	})
	if errors.Is(err, fs.ErrExist) {
		return Written{}, fmt.Errorf("%s: %w, and a backup writes over nothing; name a new file", to, fs.ErrExist)
	}
	return Written{w.m, w.skipped, w.broken}, err
}

// outside refuses a file below the workspace's folder.
func outside(dir, to string) error {
	in, err := resolved(dir)
	if err != nil {
		return err
	}
	at, err := resolved(filepath.Dir(to))
	if err != nil {
		return err
	}
	if rel, err := filepath.Rel(in, at); err == nil && filepath.IsLocal(rel) {
		return fmt.Errorf("%s: %w; name a file on another disk", to, ErrInside)
	}
	return nil
}

// resolved is a path without links, as far as it is there.
func resolved(p string) (string, error) {
	p, err := filepath.Abs(p)
	if err != nil {
		return "", err
	}
	rest := ""
	for {
		real, err := filepath.EvalSymlinks(p)
		if err == nil {
			return filepath.Join(real, rest), nil
		}
		up := filepath.Dir(p)
		if !errors.Is(err, fs.ErrNotExist) || up == p {
			return "", err
		}
		p, rest = up, filepath.Join(filepath.Base(p), rest)
	}
}

type writer struct {
	ws      *workspace.Workspace
	opt     Options
	keys    private
	m       Manifest
	skipped []string
	broken  []store.Broken
	zip     *zip.Writer
}

// notePath is where the name of the unfinished backup is, so that one which was
// killed is taken away by the next.
func (w *writer) notePath() string { return filepath.Join(w.ws.BackupDir(), "unfinished") }

func (w *writer) notePart(name string) error {
	name, err := filepath.Abs(name)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(w.ws.BackupDir(), 0o700); err != nil {
		return err
	}
	return workspace.Writer{}.WriteFile(w.notePath(), []byte(name), 0o600)
}

// tidy takes away what an earlier backup left that did not come to its end.
func (w *writer) tidy() error {
	part, err := os.ReadFile(w.notePath())
	if err == nil && strings.HasPrefix(filepath.Base(string(part)), ".opencowl-") {
		if err := os.Remove(string(part)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s: an unfinished backup cannot be removed: %w", part, err)
		}
	}
	if err := os.RemoveAll(w.ws.BackupDir()); err != nil {
		return fmt.Errorf("%s: cannot be removed: %w", w.ws.BackupDir(), err)
	}
	return nil
}

func (w *writer) write(ctx context.Context, db *store.DB, f *os.File) error {
	w.zip = zip.NewWriter(f)
	snapshot := filepath.Join(w.ws.BackupDir(), databaseName)
	if err := w.snapshot(ctx, db, snapshot); err != nil {
		return err
	}
	names, err := w.list(ctx)
	if err != nil {
		return err
	}
	if err := w.addFrom(databaseName, 0o600, func() (io.ReadCloser, error) { return os.Open(snapshot) }); err != nil {
		return err
	}
	for i, name := range names {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err := w.add(name); err != nil {
			return err
		}
		if w.opt.Progress != nil {
			w.opt.Progress(i+1, len(names))
		}
	}
	return w.seal(f)
}

// snapshot copies the database, writes down what it is, and has the copy post nothing.
func (w *writer) snapshot(ctx context.Context, db *store.DB, to string) error {
	if err := db.Snapshot(ctx, to); err != nil {
		return err
	}
	copied, err := store.Open(ctx, to, store.Options{})
	if err != nil {
		return err
	}
	var err1, err2, err3 error
	w.m.Tables, err1 = copied.Version(ctx)
	w.m.Head, err2 = copied.Head(ctx)
	w.broken, err3 = copied.VerifyLedger(ctx)
	weeks, err4 := weeksSince(ctx, copied, w.opt.Made, w.opt.Made)
	err5 := copied.HoldCopy(ctx, store.Hold{Backup: w.m.Made, Weeks: weeks})
	// Closing it takes its log into the file.
	return errors.Join(err1, err2, err3, err4, err5, copied.Close())
}

// list returns the names of the files that go in, sorted.
func (w *writer) list(ctx context.Context) ([]string, error) {
	var names []string
	err := fs.WalkDir(w.ws.Root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, fs.ErrNotExist):
			return nil // gone since its folder was read
		case err != nil:
			return fmt.Errorf("%s: cannot be read (%w); mend that, and run this again", name, err)
		case d.IsDir() && (name == ".opencowl" || name == "out"):
			return fs.SkipDir // can be made again
		case d.IsDir(), isDatabase(name), isPart(name):
			return nil
		case !d.Type().IsRegular():
			w.skipped = append(w.skipped, fmt.Sprintf("%q: it is no plain file", name))
			return nil
		case name == manifestName || !goodName(name):
			w.skipped = append(w.skipped, fmt.Sprintf("%q: a file of this name cannot be restored everywhere; rename it", name))
			return nil
		}
		names = append(names, name)
		return nil
	})
	slices.Sort(names)
	return names, err
}

func isDatabase(name string) bool {
	return name == databaseName || strings.HasPrefix(name, databaseName+"-")
}

// isPart says whether a file is one that is being written just now.
func isPart(name string) bool {
	base := path.Base(name)
	return strings.HasPrefix(base, ".opencowl-") && strings.HasSuffix(base, ".part")
}

// goodName says whether a name leads to one place inside a folder on every system.
func goodName(name string) bool {
	return fs.ValidPath(name) && name != "." && !strings.ContainsAny(name, "\\\x00") && filepath.IsLocal(filepath.FromSlash(name))
}

// add puts a file of the workspace in, unless it is a private key.
func (w *writer) add(name string) error {
	if w.keys.marks(name) {
		return nil // they are to be newer than any backup
	}
	f, err := w.ws.Root.Open(filepath.FromSlash(name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil // removed since the folder was read
	}
	if err != nil {
		return fmt.Errorf("%s: cannot be read (%w); mend that, and run this again", name, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return errors.Join(fmt.Errorf("%s: is no plain file any more; run this again", name), err)
	}
	if !w.opt.Keys {
		secret, err := w.keys.secret(name, f)
		if err != nil {
			return fmt.Errorf("%s: cannot be read (%w); mend that, and run this again", name, err)
		}
		if secret {
			w.m.LeftOut = append(w.m.LeftOut, name)
			return nil
		}
	}
	return w.addFrom(name, info.Mode().Perm(), func() (io.ReadCloser, error) { return f, nil })
}

func (w *writer) addFrom(name string, mode fs.FileMode, open func() (io.ReadCloser, error)) error {
	from, err := open()
	if err != nil {
		return err
	}
	defer from.Close()
	to, err := w.zip.CreateHeader(w.header(name))
	if err != nil {
		return err
	}
	sum := sha256.New()
	size, err := io.Copy(io.MultiWriter(to, sum), from)
	if err != nil {
		return fmt.Errorf("%s: cannot be copied: %w", name, err)
	}
	w.m.Files = append(w.m.Files, File{name, size, hex.EncodeToString(sum.Sum(nil)), mode})
	return nil
}

// header says how a file is packed: photos are packed already.
func (w *writer) header(name string) *zip.FileHeader {
	h := &zip.FileHeader{Name: name, Method: zip.Deflate, Modified: w.m.Made}
	switch strings.ToLower(path.Ext(name)) {
	case ".jpg", ".jpeg", ".png", ".pdf", ".zip", ".gz":
		h.Method = zip.Store
	}
	h.SetMode(0o600)
	return h
}

// seal writes the manifest and the end of the file, with a digest of all before it.
func (w *writer) seal(f *os.File) error {
	text, err := json.MarshalIndent(w.m, "", " ")
	if err != nil {
		return err
	}
	to, err := w.zip.CreateHeader(w.header(manifestName))
	if err == nil {
		_, err = to.Write(text)
	}
	if err != nil {
		return err
	}
	// The comment is the end of a zip file and its length stands before it, so that the
	// digest of all before the digits can be put in when these bytes are written.
	if err := w.zip.SetComment(sealWords + strings.Repeat("0", sealDigits)); err != nil {
		return err
	}
	if err := w.zip.Close(); err != nil {
		return err
	}
	size, err := f.Seek(-sealDigits, io.SeekEnd)
	if err != nil {
		return err
	}
	sum, err := digest(io.NewSectionReader(f, 0, size))
	if err != nil {
		return err
	}
	_, err = f.WriteAt([]byte(sum), size)
	return err
}

const sealDigits = 2 * sha256.Size

func digest(r io.Reader) (string, error) {
	sum := sha256.New()
	if _, err := io.Copy(sum, r); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// private knows which files are keys, and which the marks of people who left.
type private struct{ keys, marked []string }

func privateFiles(ws *workspace.Workspace) (p private, err error) {
	dir, err := resolved(ws.Dir)
	if err != nil {
		return p, err
	}
	// inside adds the name of a file to a list, if it is in the workspace.
	inside := func(names *[]string, at string) error {
		if !filepath.IsAbs(at) {
			at = ws.Path(at)
		}
		folder, err := resolved(filepath.Dir(at))
		if err != nil {
			return err
		}
		if rel, err := filepath.Rel(dir, filepath.Join(folder, filepath.Base(at))); err == nil && filepath.IsLocal(rel) {
			*names = append(*names, filepath.ToSlash(rel))
		}
		return nil
	}
	members, err := filepath.Abs(ws.MemberKeys())
	if err != nil {
		return p, err
	}
	keys := member.KeysIn(members, time.Now, nil)
	err = errors.Join(inside(&p.keys, keys.Path()), inside(&p.marked, keys.MarksPath()))
	if d := ws.Settings.Post.DKIM; d != nil && d.KeyFile != "" {
		err = errors.Join(err, inside(&p.keys, d.KeyFile))
	}
	return p, err
}

func (p private) marks(name string) bool {
	return slices.Contains(p.marked, name) || strings.HasPrefix(name, "keys/") && path.Ext(name) == ".marks"
}

// secret says whether a file is a key: one that the settings name, any in keys/, and
// any that begins as a private key in PEM does (RFC 7468). It leaves f at its beginning.
func (p private) secret(name string, f io.ReadSeeker) (bool, error) {
	if slices.Contains(p.keys, name) || strings.HasPrefix(name, "keys/") {
		return true, nil
	}
	const beginning = 64 << 10
	head, err := io.ReadAll(io.LimitReader(f, beginning))
	if err != nil {
		return false, err
	}
	_, err = f.Seek(0, io.SeekStart)
	return bytes.Contains(head, []byte("PRIVATE KEY-----")), err
}

func readMarks(ws *workspace.Workspace) ([]byte, error) {
	marks, err := os.ReadFile(member.KeysIn(ws.MemberKeys(), time.Now, nil).MarksPath())
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("the marks of people who left cannot be read: %w", err)
	}
	return marks, nil
}

// nobodyForgottenSince refuses a backup that may hold somebody who was forgotten while
// it was made. Who left meanwhile is in the marks, and leaves again.
func nobodyForgottenSince(ws *workspace.Workspace, before []byte) error {
	now, err := readMarks(ws)
	if err != nil {
		return err
	}
	if len(now) < len(before) || bytes.Contains(now[len(before):], []byte(" forgotten ")) {
		return ErrForgotten
	}
	return nil
}
