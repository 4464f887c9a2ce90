// Package cli is the command line: one file a command. A command reads its
// flags, calls one thing, and prints.
//
// It promises that machine output (--json) goes to the standard output and words
// for people to the standard error, and that exit codes mean the same everywhere:
// 0 done, 1 the work found problems, 2 wrong use, 3 the machine or the mail
// server failed.
package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// Exit codes.
const (
	done     = 0
	problems = 1
	wrongUse = 2
	outside  = 3
)

// Streams are where a command reads and writes.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
}

// app is what all commands share.
type app struct {
	Streams
	now       func() time.Time
	workspace string
	json      bool
	today     string
}

// coded is an error with the exit code it leads to.
type coded struct {
	code int
	err  error
}

func (c *coded) Error() string { return c.err.Error() }
func (c *coded) Unwrap() error { return c.err }

// use marks an error as wrong use of the command line.
func use(err error) error {
	if err == nil {
		return nil
	}
	return &coded{wrongUse, err}
}

// found is the error of a command whose work found problems that it has
// already told.
type found struct{ count int }

func (f *found) Error() string { return fmt.Sprintf("%d problems", f.count) }

// Run runs one command and returns its exit code.
func Run(ctx context.Context, args []string, streams Streams, now func() time.Time) int {
	a := &app{Streams: streams, now: now}
	root := a.root()
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return done
	}
	var told *found
	if !errors.As(err, &told) {
		remedy := ""
		if store.Outside(err) {
			remedy = "; check the room on the disk and who may write there; what was not recorded did not happen"
		}
		fmt.Fprintf(a.Err, "opencowl: %v%s\n", err, remedy)
	}
	return exitCode(err)
}

func exitCode(err error) int {
	var c *coded
	switch {
	case errors.As(err, &c):
		return c.code
	case errors.Is(err, workspace.ErrOutside), errors.Is(err, workspace.ErrBusy), store.Outside(err):
		return outside
	case errors.Is(err, workspace.ErrNotWorkspace), errors.Is(err, workspace.ErrNotEmpty), errors.Is(err, workspace.ErrForeignFolder), errors.Is(err, workspace.ErrForeignFile):
		return wrongUse
	}
	return problems
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "opencowl",
		Short:         "From a restoration workshop's log to tour-stop cards, a members' update and an archive",
		SilenceErrors: true, SilenceUsage: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return use(fmt.Errorf("there is no command %q; opencowl --help lists them", args[0]))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetIn(a.In)
	root.SetOut(a.Out)
	root.SetErr(a.Err)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return use(fmt.Errorf("%w; %s --help shows how it is used", err, cmd.CommandPath()))
	})
	flags := root.PersistentFlags()
	flags.StringVar(&a.workspace, "workspace", ".", "the workspace's folder")
	flags.BoolVar(&a.json, "json", false, "machine output on the standard output")
	flags.StringVar(&a.today, "today", "", "the day that counts as today, YYYY-MM-DD")
	root.AddCommand(a.newCommand(), a.tryoutCommand(), a.checkCommand(), a.recordCommand(), a.photoCommand(), a.decideCommand(), a.traceCommand(), a.withdrawCommand(), a.correctCommand(),
		a.planCommand(), a.cardsCommand(), a.reprintCommand(), a.editionCommand(), a.archiveCommand(), a.postCommand(), a.membersCommand(), a.backupCommand(), a.restoreCommand())
	return root
}

// args checks how many arguments a command has.
func args(least, most int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < least || len(args) > most {
			return use(fmt.Errorf("%s takes %s; %s --help shows how it is used", cmd.CommandPath(), what, cmd.CommandPath()))
		}
		return nil
	}
}

// say prints a line for a person.
func (a *app) say(format string, values ...any) { fmt.Fprintf(a.Err, format+"\n", values...) }

// print writes machine output, when asked for.
func (a *app) print(v any) error {
	if !a.json {
		return nil
	}
	e := json.NewEncoder(a.Out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return &coded{outside, fmt.Errorf("the output cannot be written: %w", err)}
	}
	return nil
}

// bar shows how far long work has come, on a terminal only.
func (a *app) bar(what string) (step func(done, of int), end func()) {
	f, ok := a.Err.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return func(int, int) {}, func() {}
	}
	var bar *progressbar.ProgressBar
	step = func(done, of int) {
		if bar == nil {
			bar = progressbar.NewOptions(of, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(what),
				progressbar.OptionShowCount(), progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30))
		}
		bar.Set(done)
	}
	return step, func() {
		if bar != nil {
			bar.Finish()
		}
	}
}

func (a *app) givenToday() (day.Date, error) {
	if a.today == "" {
		return day.Date{}, nil
	}
	d, err := day.Parse(a.today)
	return d, use(err)
}

// session is an open workspace with its database and its desk.
type session struct {
	app    *app
	ws     *workspace.Workspace
	db     *store.DB
	desk   *clearance.Desk
	today  day.Date
	clock  func() time.Time  // in the workshop's time zone, on the day that counts as today
	faults []reading.Problem // of workshop.yaml
	close  func()
}

// open opens the workspace. A command that writes names itself, and takes the
// lock; one that only reads gives "". Faults in workshop.yaml stop all but check.
func (a *app) open(ctx context.Context, writer string) (*session, error) {
	given, err := a.givenToday()
	if err != nil {
		return nil, err
	}
	return a.openOn(ctx, a.workspace, writer, given, a.now)
}

// openOn is open for a folder and a day; a zero day is found as the settings and
// the clock say.
func (a *app) openOn(ctx context.Context, dir, writer string, given day.Date, now func() time.Time) (_ *session, err error) {
	s := &session{app: a}
	var closers []func()
	s.close = func() {
		for i := len(closers) - 1; i >= 0; i-- {
			closers[i]()
		}
	}
	defer func() {
		if err != nil {
			s.close()
		}
	}()
	if s.ws, s.faults, err = workspace.Open(dir); err != nil {
		return nil, err
	}
	closers = append(closers, func() { s.ws.Close() })
	if reading.Stops(s.faults) && writer != "check" {
		a.tell(s.faults)
		return nil, &found{len(s.faults)}
	}
	if writer != "" && writer != "check" {
		release, err := s.ws.Lock(writer)
		if err != nil {
			return nil, err
		}
		closers = append(closers, release)
	}
	s.today = s.ws.Today(given, now())
	s.clock = onDay(s.today, func() time.Time { return now().In(s.ws.Settings.Workshop.Timezone.Location) })
	clock := s.clock
	if s.db, err = store.Open(ctx, s.ws.Database(), store.Options{Now: clock}); err != nil {
		return nil, err
	}
	closers = append(closers, func() { s.db.Close() })
	if writer != "check" {
		broken, err := s.db.VerifyLedger(ctx)
		if err != nil {
			return nil, err
		}
		if len(broken) > 0 {
			return nil, fmt.Errorf("the ledger is not whole (row %d: %s), so what was decided cannot be trusted; see opencowl check --ledger, and restore the database from a copy", broken[0].Seq, broken[0].Why)
		}
	}
	return s, s.look(ctx, clock)
}

// look reads the workspace anew.
func (s *session) look(ctx context.Context, clock func() time.Time) (err error) {
	step, end := s.app.bar("photos")
	defer end()
	s.desk, err = clearance.Open(ctx, s.ws, s.db, clearance.Options{Today: s.today, Now: clock, Watch: step})
	return err
}

// onDay moves a clock to another day and keeps its time of day, so that what is
// written down follows on even when the day is fixed. The clock's own time zone says
// which day it is on.
func onDay(today day.Date, now func() time.Time) func() time.Time {
	days := day.Of(now()).DaysUntil(today)
	if days == 0 {
		return now // in the hour that a clock shows twice, AddDate could take the other one
	}
	return func() time.Time { return now().AddDate(0, 0, days) }
}

// tell prints problems for a person, one to a line.
func (a *app) tell(all []reading.Problem) {
	for _, p := range all {
		mark := ""
		if p.Advice {
			mark = "advice: "
		}
		a.say("%s%s", mark, p.Error())
	}
}

// list joins names for a sentence.
func list(names []string) string { return strings.Join(names, ", ") }

// reason drops the operation and the path that a path error repeats.
func reason(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
