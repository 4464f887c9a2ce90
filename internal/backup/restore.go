package backup

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// ErrMarks is returned when the marks of people who left are missing, or older than the
// backup: without them somebody who left since could be written to.
var ErrMarks = errors.New("it is not known who left or was forgotten since the backup")

// RestoreOptions says how a backup is restored.
type RestoreOptions struct {
	// MarksFrom is the folder that holds the marks of people who left and the members'
	// keys, as they were last: keys/ of the workspace that was lost, or a copy of it.
	// Empty: they are where the settings say, outside the restored folder.
	MarksFrom string
	// MarksLost goes on with the marks that there are.
	MarksLost bool
	// Clock is the time in the workshop's zone on the day that counts as today.
	Clock    func(*workspace.Workspace) func() time.Time
	Progress func(done, of int) // files; may be nil
}

// Restored says what was restored.
type Restored struct {
	Manifest
	Left, Erased int      // people who left, or were forgotten, since
	Weeks        []string // that have to be settled
}

// Restore makes a workspace of a backup, in a folder that is missing or empty. The
// whole backup is checked before anything is written; the workspace is made beside its
// folder, and renamed when all is done. Nothing is posted from it until every week
// since has been settled (store.DB.SettleWeeks).
func Restore(ctx context.Context, from, dir string, opt RestoreOptions) (Restored, error) {
	f, size, err := open(from)
	if err != nil {
		return Restored{}, err
	}
	defer f.Close()
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return Restored{}, fmt.Errorf("%s: %w; a backup is restored into a new folder, and writes over nothing", dir, workspace.ErrNotEmpty)
	}
	o, err := check(ctx, f, size, from)
	if err != nil {
		return Restored{}, err
	}
	newest, err := store.Newest()
	if err != nil {
		return Restored{}, err
	}
	if o.manifest.Tables > newest {
		return Restored{}, fmt.Errorf("%s: %w: its database has version %d, and this program knows %d; restore it with that version", from, ErrLater, o.manifest.Tables, newest)
	}
	r := Restored{Manifest: o.manifest}
	err = workspace.Create(dir, nil, func(temp string) error {
		if err := o.unpackAll(ctx, temp, opt.Progress); err != nil {
			return err
		}
		return r.settleIn(ctx, temp, opt)
	})
	return r, err
}

func (o *opened) unpackAll(ctx context.Context, dir string, progress func(done, of int)) error {
	for i, f := range o.manifest.Files {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		to := filepath.Join(dir, filepath.FromSlash(f.Name))
		mode := f.Mode.Perm()&0o755 | 0o600
		if f.Name == databaseName {
			mode = 0o600
		}
		if err := (workspace.Writer{}).CreateFrom(to, mode, func(w *os.File) error { return o.read(f, w) }); err != nil {
			return err
		}
		if progress != nil {
			progress(i+1, len(o.manifest.Files))
		}
	}
	return nil
}

// settleIn makes the unpacked folder a workspace from which nothing can go wrong.
func (r *Restored) settleIn(ctx context.Context, dir string, opt RestoreOptions) error {
	ws, _, err := workspace.Open(dir)
	if err != nil {
		return err
	}
	defer ws.Close()
	clock := opt.Clock(ws)
	db, err := store.Open(ctx, ws.Database(), store.Options{Now: clock})
	if err != nil {
		return err
	}
	defer db.Close()
	if err := r.soundLedger(ctx, db); err != nil {
		return err
	}
	keys := member.KeysIn(ws.MemberKeys(), db.Now, nil)
	if err := r.bringMarks(ws, keys, opt); err != nil {
		return err
	}
	if r.Weeks, err = weeksSince(ctx, db, r.Made, clock()); err != nil {
		return err
	}
	err = db.HoldPost(ctx, store.Hold{Backup: r.Made, Restored: db.Now(), Weeks: r.Weeks},
		store.Entry{Kind: "restored", Unit: "workspace", Detail: map[string]string{"backup": store.FormatTime(r.Made)}})
	if err != nil {
		return err
	}
	r.Left, r.Erased, err = (member.Register{DB: db, Keys: keys}).Replay(ctx)
	if err != nil {
		return err
	}
	return db.Scrub(ctx)
}

// soundLedger holds the ledger against the head that the backup was given.
func (r *Restored) soundLedger(ctx context.Context, db *store.DB) error {
	head, err := db.Head(ctx)
	if err != nil {
		return err
	}
	if head != r.Head {
		return fmt.Errorf("the ledger in the backup does not end as %s says: %w", manifestName, ErrHostile)
	}
	return nil
}

// bringMarks puts the members' keys and marks where the settings say, and refuses to
// go on with marks that are older than the backup.
func (r *Restored) bringMarks(ws *workspace.Workspace, keys *member.Keys, opt RestoreOptions) error {
	if opt.MarksFrom != "" {
		for _, to := range []string{keys.MarksPath(), keys.Path()} {
			if err := bring(opt.MarksFrom, ws.Dir, to); err != nil {
				return err
			}
		}
	}
	marks, err := readMarks(ws)
	if err != nil || opt.MarksLost {
		return err
	}
	const remedy = "name the folder of the newest members.keys and members.marks with --marks FOLDER; if they are lost for good, or nobody ever left, say --marks-lost"
	if n := bytes.Count(marks, []byte("\n")); n < r.Marks {
		return fmt.Errorf("%w: there are %d marks here, and there were %d when the backup was made; %s", ErrMarks, n, r.Marks, remedy)
	}
	if len(marks) == 0 {
		return fmt.Errorf("%w: there are no marks here; %s", ErrMarks, remedy)
	}
	return nil
}

// bring copies a file from the folder of keys. What was restored gives way to it, since
// it is newer; nothing outside the restored folder does.
func bring(folder, dir, to string) error {
	data, err := os.ReadFile(filepath.Join(folder, filepath.Base(to)))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("the marks of people who left cannot be read: %w", err)
	}
	if rel, err := filepath.Rel(dir, to); err == nil && filepath.IsLocal(rel) {
		return workspace.Writer{}.WriteFile(to, data, 0o600)
	}
	err = workspace.Writer{}.Create(to, data, 0o600)
	if !errors.Is(err, fs.ErrExist) {
		return err
	}
	there, err := os.ReadFile(to)
	if err == nil && !bytes.Equal(there, data) {
		err = fmt.Errorf("%s: stands there already and is not the same as in %s; leave out --marks to use it, or move it away", to, folder)
	}
	return err
}

// weeksSince returns the weeks whose edition may have been posted since a backup: those
// it has that were not sent, and those after its newest until today's next. An edition
// may be a week late or early, and none is frozen before one that is frozen already.
func weeksSince(ctx context.Context, db *store.DB, made, now time.Time) ([]string, error) {
	editions, err := db.Editions(ctx)
	if err != nil {
		return nil, err
	}
	var weeks []string
	newest := ""
	for _, e := range editions {
		if e.State != store.Sent {
			weeks = append(weeks, e.Week)
		}
		newest = max(newest, e.Week)
	}
	week, last := day.Of(made.In(now.Location())).Week().Previous(), day.Of(now).Week().Next()
	if after := week.Next().Next(); last.Before(after) {
		last = after // a clock that was put back
	}
	for ; !last.Before(week); week = week.Next() {
		if week.String() > newest {
			weeks = append(weeks, week.String())
		}
	}
	if len(weeks) == 0 { // something is always asked
		sent, err := day.ParseWeek(newest)
		if err != nil {
			return nil, err
		}
		weeks = append(weeks, sent.Next().String())
	}
	slices.Sort(weeks)
	return weeks, nil
}

// Name is the folder that a backup is restored to when none is named.
func Name(from string) string {
	return strings.TrimSuffix(filepath.Base(from), filepath.Ext(from))
}
