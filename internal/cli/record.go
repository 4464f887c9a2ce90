package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/record"
	"example.org/opencowl/internal/workspace"
)

// recordFlags are the flags of record.
type recordFlags struct {
	mapFile, by                 string
	write, update, allOrNothing bool
}

func (a *app) recordCommand() *cobra.Command {
	var f recordFlags
	cmd := &cobra.Command{
		Use:   "record FILE --map MAP.yaml",
		Short: "Bring entries of the log in from a spreadsheet",
		Long: `Bring entries of the log in from a list in CSV (parted by commas, semicolons, tabs or
pipes) or XLSX. A map in YAML says which column gives which key of an entry.

Without --write nothing is written: the command tells which files it would write, and
every row that it refuses, with row, column, value and remedy. Bringing the same list in
again doubles nothing: a row is known by the columns that the map identifies rows by. A
row that changed since is told, and its entry is written anew only with --update, and
never when somebody has changed the entry by hand.

Exit code 1 when rows were refused, or changed and left as they are.`,
		Example: `  opencowl record bench.csv --map bench-map.yaml
  opencowl record bench.xlsx --map bench-map.yaml --by tam --write`,
		Args: args(1, 1, "one CSV or XLSX file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.mapFile == "" {
				return use(errors.New("--map is missing; name the file that says which column gives what"))
			}
			return a.record(cmd.Context(), args[0], f)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&f.mapFile, "map", "", "the map: which column gives which key of an entry")
	flags.StringVar(&f.by, "by", "", "who did the work where the list does not say: an id from workshop.yaml")
	flags.BoolVar(&f.write, "write", false, "write the entries; without it, only tell")
	flags.BoolVar(&f.update, "update", false, "write entries anew whose row has changed")
	flags.BoolVar(&f.allOrNothing, "all-or-nothing", false, "write nothing when a row is refused")
	return cmd
}

func (a *app) record(ctx context.Context, file string, f recordFlags) error {
	given, err := a.givenToday()
	if err != nil {
		return err
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return use(fmt.Errorf("%s: cannot be read (%v); check the name", file, reason(err)))
	}
	ws, faults, err := workspace.Open(a.workspace)
	if err != nil {
		return err
	}
	defer ws.Close()
	if reading.Stops(faults) {
		a.tell(faults)
		return &found{len(faults)}
	}
	if f.by != "" {
		if err := somebody(ws.Settings, f.by); err != nil {
			return err
		}
	}
	if f.write {
		release, err := ws.Lock("record")
		if err != nil {
			return err
		}
		defer release()
	}
	step, end := a.bar("entries")
	plan, err := a.plan(ctx, ws, file, data, f, record.Options{Today: ws.Today(given, a.now()), Update: f.update, AllOrNothing: f.allOrNothing, Watch: step})
	if err != nil {
		return err
	}
	a.tellPlan(file, plan)
	written := 0
	if f.write {
		written, err = plan.Write(ctx)
		if end(); err != nil && !errors.Is(err, record.ErrRefused) {
			return fmt.Errorf("%d files were written before this: %w", written, err)
		}
		a.say("%d files written", written)
	}
	if err != nil {
		a.say("%s: %v", file, err)
	}
	if err := a.print(struct {
		File    string `json:"file"`
		Written int    `json:"written"`
		*record.Plan
	}{file, written, plan}); err != nil {
		return err
	}
	if n := plan.RefusedRows() + plan.Count(record.Changed); n > 0 {
		return &found{n}
	}
	if !f.write && plan.Count(record.New)+plan.Count(record.Updated) > 0 {
		a.say("nothing was written; add --write to write these files")
	}
	return nil
}

// plan reads the map and works out what would be written. Problems of the map or
// the log are told here.
func (a *app) plan(ctx context.Context, ws *workspace.Workspace, file string, data []byte, f recordFlags, opt record.Options) (*record.Plan, error) {
	var faults record.Faults
	tell := func(err error) error {
		if errors.As(err, &faults) {
			a.tell(faults)
			return &found{len(faults)}
		}
		return fmt.Errorf("%s: %w", file, err)
	}
	book, err := record.Open(ws)
	if err != nil {
		return nil, tell(err)
	}
	src, err := readMap(f.mapFile)
	if err != nil {
		return nil, err
	}
	m, problems := book.ReadMap(f.mapFile, src, f.by)
	if reading.Stops(problems) {
		return nil, tell(record.Faults(problems))
	}
	a.tell(problems)
	plan, err := book.Plan(ctx, m, data, opt)
	if err != nil {
		return nil, tell(err)
	}
	return plan, nil
}

// readMap reads a map, which may lie outside the workspace.
func readMap(file string) ([]byte, error) {
	root, err := os.OpenRoot(filepath.Dir(file))
	if err != nil {
		return nil, use(fmt.Errorf("%s: cannot be read (%v); check the name", file, reason(err)))
	}
	defer root.Close()
	src, problem := reading.Text(root, filepath.Base(file))
	if problem != nil {
		problem.File = file
		return nil, use(problem)
	}
	return src, nil
}

// tellPlan lists what becomes of the rows of a list.
func (a *app) tellPlan(file string, p *record.Plan) {
	a.say("%s: %s; the columns are named in row %d", file, p.Source, p.HeaderRow)
	for _, n := range p.Notes {
		a.say("%s: %s", file, n)
	}
	for _, o := range p.Outcomes {
		switch o.Standing {
		case record.New:
			a.say("%s:%d: new: %s", file, o.Row, o.File)
		case record.Updated:
			a.say("%s:%d: written anew: %s", file, o.Row, o.File)
		case record.Changed:
			if o.ByHand {
				a.say("%s:%d: changed since it was brought in, and so was its entry, by hand: %s; --update will say how to mend it", file, o.Row, o.File)
				break
			}
			a.say("%s:%d: changed since it was brought in: %s; add --update to write it anew", file, o.Row, o.File)
		}
		for _, c := range o.Changes {
			a.say("    %s", c)
		}
	}
	for _, x := range p.Passed {
		a.say("%s:%d: passed over: %s", file, x.Row, x.Why)
	}
	for _, x := range p.Advice {
		a.say("%s:%d: advice: %s; %s", file, x.Row, x.Message, x.Remedy)
	}
	for _, x := range p.Refused {
		column := ""
		if x.Column != "" {
			column = x.Column + ": "
		}
		value := ""
		if x.Value != "" && !strings.Contains(x.Message, x.Value) {
			value = fmt.Sprintf(" [%s]", x.Value)
		}
		a.say("%s:%d: refused: %s%s%s; %s", file, x.Row, column, x.Message, value, x.Remedy)
	}
	a.say("%s: %s", file, p)
}
