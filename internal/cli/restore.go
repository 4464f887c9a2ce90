package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/backup"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// restoreReport is the machine output of restore.
type restoreReport struct {
	Dir       string    `json:"dir"`
	Made      time.Time `json:"made"` // the backup
	Files     int       `json:"files"`
	Left      int       `json:"left_since"`
	Forgotten int       `json:"forgotten_since"`
	Missing   []string  `json:"missing_keys,omitempty"`
	Weeks     []string  `json:"to_settle"`
}

// settleReport is the machine output about what has to be settled.
type settleReport struct {
	Held  bool     `json:"held"`
	Weeks []string `json:"to_settle"`
}

func (a *app) restoreCommand() *cobra.Command {
	var marks, settle, as, by string
	var lost, status bool
	cmd := &cobra.Command{
		Use:   "restore FILE [DIR]",
		Short: "Make a workspace of a backup; it posts nothing until that is settled",
		Long: `Make a workspace of a backup, in a new folder or an empty one. The whole backup is checked
before anything is written, and the folder is there whole or not at all.

People who left or were forgotten since the backup are known by the marks that are kept
outside it: name the folder of the newest members.keys and members.marks with --marks, as a
rule keys/ of the workspace before. They leave again at once. Only where the marks are lost,
or nobody ever left, say --marks-lost. Pauses since the backup, and people who joined, are
not in the marks: bring them in again.

Nothing is posted or frozen until an officer has said of each edition that may have gone
out since the backup what became of it:
  --settle WEEK --as sent      it went out, or any of it did and nobody knows to whom
  --settle WEEK --as waiting   nothing of it went out but what the backup has as sent
  --settle WEEK --as unsure    some of it did; post WEEK --settle MEMBER settles each letter
Several weeks are parted by commas, and "all" is all that are left. --status lists them.
Whoever is in doubt says sent: a letter too few is mended more easily than one too many.
An edition that went out and is not in the backup is lost; no edition of its week or of one
before can be frozen then, and a later one may tell its stories again.

A backup is restored to SQLite; moving it to a database elsewhere is not built.`,
		Example: `  opencowl restore /mnt/stick/2031-02-12.zip workshop --marks workshop-old/keys
  opencowl restore --settle 2031-W07 --as sent --by nell --workspace workshop`,
		RunE: func(cmd *cobra.Command, given []string) error {
			flags := cmd.Flags()
			switch {
			case flags.Changed("settle") && status:
				return use(errors.New("--settle and --status do not go together"))
			case flags.Changed("settle"), status:
				if flags.Changed("marks") || lost {
					return use(errors.New("--marks and --marks-lost go with restoring a file"))
				}
				if err := args(0, 0, "no file with --settle or --status")(cmd, given); err != nil {
					return err
				}
				if status {
					return a.restoreStatus(cmd.Context())
				}
				return a.restoreSettle(cmd.Context(), settle, as, by)
			case as != "" || by != "":
				return use(errors.New("--as and --by go with --settle WEEK"))
			}
			if err := args(1, 2, "a backup, and a folder if you like")(cmd, given); err != nil {
				return err
			}
			dir := backup.Name(given[0])
			if len(given) == 2 {
				dir = given[1]
			}
			return a.restore(cmd.Context(), given[0], dir, backup.RestoreOptions{MarksFrom: marks, MarksLost: lost})
		},
	}
	cmd.Flags().StringVar(&marks, "marks", "", "the folder of the newest members.keys and members.marks")
	cmd.Flags().BoolVar(&lost, "marks-lost", false, "go on without newer marks of people who left")
	cmd.Flags().StringVar(&settle, "settle", "", "weeks whose edition is settled, or all")
	cmd.Flags().StringVar(&as, "as", "", "what became of it: sent, waiting or unsure")
	cmd.Flags().StringVar(&by, "by", "", "who says so: an officer's id from workshop.yaml")
	cmd.Flags().BoolVar(&status, "status", false, "list what has to be settled")
	return cmd
}

func (a *app) restore(ctx context.Context, file, dir string, opt backup.RestoreOptions) error {
	if _, err := a.givenToday(); err != nil {
		return err
	}
	opt.Clock = func(ws *workspace.Workspace) func() time.Time {
		clock, err := a.clockOf(ws)
		if err != nil {
			return a.now
		}
		return clock
	}
	step, end := a.bar("files")
	opt.Progress = step
	r, err := backup.Restore(ctx, file, dir, opt)
	end()
	if err != nil {
		return backupError(err)
	}
	a.say("%s: restored, %s, as it was on %s", dir, count(len(r.Files), "file", "files"), r.Made.Format("2 January 2006 15:04 MST"))
	if opt.MarksLost {
		a.say("mind: who left since the backup is not known, unless the marks here have them; ask before you post")
	} else {
		a.say("by the marks, %d have left and %d were forgotten since", r.Left, r.Erased)
	}
	for _, name := range r.LeftOut {
		a.say("not in the backup, a private key: %s; put your copy of it back, if --marks has not", name)
	}
	a.say("nothing is posted until these are settled: %s", list(r.Weeks))
	a.say("say of each what became of it: opencowl restore --settle WEEK --as sent|waiting|unsure --by WHO --workspace %s", dir)
	return a.print(restoreReport{dir, r.Made, len(r.Files), r.Left, r.Erased, r.LeftOut, r.Weeks})
}

// settled refuses what must wait until a restored backup is settled.
func (s *session) settled(ctx context.Context) error {
	h, err := s.db.Held(ctx)
	if err != nil || h == nil {
		return err
	}
	return h.Err()
}

func (a *app) restoreStatus(ctx context.Context) error {
	s, err := a.open(ctx, "")
	if err != nil {
		return err
	}
	defer s.close()
	return s.tellHold(ctx)
}

func (s *session) tellHold(ctx context.Context) error {
	h, err := s.db.Held(ctx)
	if err != nil {
		return err
	}
	if h == nil {
		s.app.say("nothing has to be settled")
		return s.app.print(settleReport{Weeks: []string{}})
	}
	s.app.say("restored from a backup of %s; to be settled: %s", h.Backup.In(s.ws.Settings.Workshop.Timezone.Location).Format("2 January 2006 15:04"), list(h.Weeks))
	return s.app.print(settleReport{true, h.Weeks})
}

func (a *app) restoreSettle(ctx context.Context, weeks, as, by string) error {
	outcome := store.Outcome(as)
	if !slices.Contains([]store.Outcome{store.WentOut, store.StayedHere, store.InPart}, outcome) {
		return use(errors.New("--settle needs --as sent, --as waiting or --as unsure"))
	}
	var named []string
	for _, w := range strings.Split(weeks, ",") {
		if weeks == "all" {
			break
		}
		week, err := day.ParseWeek(strings.TrimSpace(w))
		if err != nil {
			return use(fmt.Errorf("--settle: %w", err))
		}
		named = append(named, week.String())
	}
	k, err := a.members(ctx, "restore", by)
	if err != nil {
		return err
	}
	defer k.close()
	h, err := k.db.Held(ctx)
	if err != nil {
		return err
	}
	if h == nil {
		return errors.New("nothing has to be settled here")
	}
	if weeks == "all" {
		named = h.Weeks
	}
	// Whoever left while the backup lay there settled leaves before anything can go out.
	left, erased, err := k.register.Replay(ctx)
	if err != nil {
		return err
	}
	if erased > 0 {
		if err := k.db.Scrub(ctx); err != nil {
			return err
		}
	}
	if left+erased > 0 {
		a.say("by the marks, %d more have left and %d were forgotten", left, erased)
	}
	if _, err := k.db.SettleWeeks(ctx, slices.Clone(named), outcome, by); err != nil {
		return err
	}
	return k.tellHold(ctx)
}
