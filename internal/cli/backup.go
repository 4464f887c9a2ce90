package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/backup"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// backupReport is the machine output of backup.
type backupReport struct {
	File    string    `json:"file"`
	Made    time.Time `json:"made"`
	Files   int       `json:"files"`
	Bytes   int64     `json:"bytes"` // unpacked
	Head    string    `json:"ledger_head"`
	Keys    bool      `json:"keys"`
	LeftOut []string  `json:"left_out,omitempty"` // private keys
	Skipped []string  `json:"skipped,omitempty"`  // what could not go in, and why
}

func (a *app) backupCommand() *cobra.Command {
	var keys, check bool
	cmd := &cobra.Command{
		Use:   "backup FILE",
		Short: "Everything of the workspace in one file",
		Long: `Write everything of the workspace to one new zip file: texts, photos, and the database as it
is at one moment, so that it may be made while letters are being posted. What can be made
again is left out: out/ and .opencowl/. The file is readable by you alone, is read back and
checked before it gets its name, and is there whole or not at all. It does not go into the
workspace itself, and writes over nothing.

Private keys (keys/, the key of DKIM, any file with a private key in PEM) stay out unless
--with-keys is said; keep a copy of keys/ elsewhere. The marks of people who left are never
in a backup: a restored one is held against the newest, so copy keys/members.marks often.

A backup holds names and addresses. Whoever is forgotten is in no later backup; those from
before hold them until you delete them. It is not encrypted.

--check FILE reads a backup and says whether it is whole.

It is for the SQLite database in the workspace; a database elsewhere is not in it.`,
		Example: `  opencowl backup /mnt/stick/2031-02-12.zip
  opencowl backup --check /mnt/stick/2031-02-12.zip`,
		Args: args(1, 1, "one file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if check && keys {
				return use(errors.New("--check and --with-keys do not go together"))
			}
			if check {
				return a.checkBackup(cmd.Context(), args[0])
			}
			return a.backup(cmd.Context(), args[0], keys)
		},
	}
	cmd.Flags().BoolVar(&keys, "with-keys", false, "private keys go in too")
	cmd.Flags().BoolVar(&check, "check", false, "say whether a backup is whole, and write nothing")
	return cmd
}

func (a *app) checkBackup(ctx context.Context, file string) error {
	m, err := backup.Check(ctx, file)
	if err != nil {
		return backupError(err)
	}
	a.say("%s: whole; %s of %s, made on %s", file, count(len(m.Files), "file", "files"), m.Workshop, m.Made.Format("2 January 2006 15:04 MST"))
	return a.print(reportOf(file, backup.Written{Manifest: m}))
}

func reportOf(file string, w backup.Written) backupReport {
	return backupReport{file, w.Made, len(w.Files), w.Bytes(), w.Head, w.Keys, w.LeftOut, w.Skipped}
}

func (a *app) backup(ctx context.Context, file string, keys bool) error {
	ws, faults, err := workspace.Open(a.workspace)
	if err != nil {
		return err
	}
	defer ws.Close()
	if reading.Stops(faults) {
		a.tell(faults) // they may hide where the keys are
		return &found{len(faults)}
	}
	clock, err := a.clockOf(ws)
	if err != nil {
		return err
	}
	db, err := store.Open(ctx, ws.Database(), store.Options{Now: clock})
	if err != nil {
		return err
	}
	defer db.Close()
	step, end := a.bar("files")
	w, err := backup.Write(ctx, ws, db, file, backup.Options{Keys: keys, Made: clock(), Progress: step})
	end()
	if err != nil {
		return backupError(err)
	}
	a.say("%s: %s, read back and whole", file, count(len(w.Files), "file", "files"))
	for _, name := range w.LeftOut {
		a.say("left out, a private key: %s; keep a copy of it elsewhere", name)
	}
	for _, what := range w.Skipped {
		a.say("not in it: %s", what)
	}
	if len(w.Broken) > 0 {
		a.say("the ledger is not whole (row %d: %s), here and so in the backup; see opencowl check --ledger, and keep the backups from before", w.Broken[0].Seq, w.Broken[0].Why)
	}
	if err := a.print(reportOf(file, w)); err != nil {
		return err
	}
	if n := len(w.Skipped) + len(w.Broken); n > 0 {
		return &found{n}
	}
	return nil
}

// clockOf is the clock in a workshop's time zone, on the day that counts as today.
func (a *app) clockOf(ws *workspace.Workspace) (func() time.Time, error) {
	given, err := a.givenToday()
	if err != nil {
		return nil, err
	}
	return onDay(ws.Today(given, a.now()), func() time.Time { return a.now().In(ws.Settings.Workshop.Timezone.Location) }), nil
}

// backupError gives an error about a backup its exit code.
func backupError(err error) error {
	switch {
	case errors.Is(err, backup.ErrNotBackup), errors.Is(err, backup.ErrInside), errors.Is(err, fs.ErrExist):
		return use(err)
	case errors.Is(err, fs.ErrNotExist):
		return use(fmt.Errorf("%w; check the name", err))
	}
	return err
}
