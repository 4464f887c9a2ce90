package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/cli"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/site"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

const benchPages = 5_000

// The names of the parts that run in processes of their own, so that the time and
// the memory of each are its own.
const (
	archiveWhole = "archive-whole" // the command as it is typed: read, clear, build, look through, write
	archiveBuild = "archive-build" // the same, each stage timed by itself
)

// archiveRuns is how often each is run, in turns; the best counts.
const archiveRuns = 3

// archiveDay is the day on which the archive is built.
const archiveDay = "2031-02-12"

// spent is the time that a piece of work took: on the clock, and of the processors,
// which other people's work disturbs less.
type spent struct{ Wall, CPU time.Duration }

func (s spent) plus(o spent) spent { return spent{s.Wall + o.Wall, s.CPU + o.CPU} }

// bestOf takes the better of each.
func bestOf(runs []archiveCost, of func(archiveCost) spent) spent {
	b := of(runs[0])
	for _, r := range runs[1:] {
		b.Wall, b.CPU = min(b.Wall, of(r).Wall), min(b.CPU, of(r).CPU)
	}
	return b
}

// archiveCost is what one run took.
type archiveCost struct {
	Pages                            int
	Read, Build, Look, Write, Update spent
	Peak                             int64 // million bytes
	Whole                            spent // the process, from start to end
}

// archiveBench builds the archive of a made-up workshop, and has the Hugo command
// build the same tree of files. The budget: at most 1.15 times as long, and twice
// the pages in at most 1.1 times twice the time.
func archiveBench(ctx context.Context) error {
	dir, err := os.MkdirTemp("", "opencowl-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	hugo := filepath.Join(dir, "hugo")
	if err := hugoCommand(ctx, dir, hugo); err != nil {
		return err
	}
	var sizes []archiveResult
	for _, pages := range []int{benchPages, 2 * benchPages} {
		r, err := archiveOf(ctx, filepath.Join(dir, fmt.Sprint(pages)), hugo, pages)
		if err != nil {
			return err
		}
		r.print()
		sizes = append(sizes, r)
	}
	fmt.Printf("\ntwice the pages: time ÷ 2, wall and CPU\n")
	for _, row := range archiveRows {
		small, large := row.of(sizes[0]), row.of(sizes[1])
		fmt.Printf("  %-52s %7.2f  %7.2f  %s\n", row.what, large.Wall.Seconds()/small.Wall.Seconds()/2, large.CPU.Seconds()/small.CPU.Seconds()/2, row.growth)
	}
	fmt.Printf("load after the runs: %s\n", load())
	return nil
}

// archiveResult is what the runs of each kind took.
type archiveResult struct{ parts, whole, hugo []archiveCost }

var archiveRows = []struct {
	what           string
	of             func(archiveResult) spent
	budget, growth string
}{
	{"the Hugo command, same tree, to the disk", func(r archiveResult) spent { return bestOf(r.hugo, whole) }, "", ""},
	{"building alone, in memory", func(r archiveResult) spent { return bestOf(r.parts, func(c archiveCost) spent { return c.Build }) }, "(budget 1.15)", "(budget 1.1)"},
	{"building, and writing to the disk, synced", func(r archiveResult) spent {
		return bestOf(r.parts, func(c archiveCost) spent { return c.Build.plus(c.Write) })
	}, "(budget 1.15)", "(budget 1.1)"},
	{"the last gate over every file", func(r archiveResult) spent { return bestOf(r.parts, func(c archiveCost) spent { return c.Look }) }, "", ""},
	{"reading the workshop and clearing", func(r archiveResult) spent { return bestOf(r.parts, func(c archiveCost) spent { return c.Read }) }, "", ""},
	{"writing again, nothing changed", func(r archiveResult) spent { return bestOf(r.parts, func(c archiveCost) spent { return c.Update }) }, "", ""},
	{"the whole command", func(r archiveResult) spent { return bestOf(r.whole, whole) }, "", "(budget 1.1)"},
}

func whole(c archiveCost) spent { return c.Whole }

func (r archiveResult) print() {
	fmt.Printf("\n%d pages; the best of %d runs, in turns; load %s\n", r.parts[0].Pages, archiveRuns, load())
	fmt.Printf("  %-52s %9s  %9s  %s\n", "", "wall", "CPU", "of the Hugo command's wall and CPU")
	hugo := archiveRows[0].of(r)
	for _, row := range archiveRows {
		took := row.of(r)
		fmt.Printf("  %-52s %7.2f s  %7.2f s  %5.2f  %5.2f  %s\n", row.what, took.Wall.Seconds(), took.CPU.Seconds(), took.Wall.Seconds()/hugo.Wall.Seconds(), took.CPU.Seconds()/hugo.CPU.Seconds(), row.budget)
	}
	most := int64(0)
	for _, c := range r.whole {
		most = max(most, c.Peak)
	}
	fmt.Printf("  %-52s %7d MB\n", "peak memory of the whole command", most)
}

// archiveOf measures one size.
func archiveOf(ctx context.Context, dir, hugo string, pages int) (archiveResult, error) {
	var r archiveResult
	w := filepath.Join(dir, "workshop")
	fmt.Printf("making a workshop with some %d public pages\n", pages)
	if err := makeArchiveWorkspace(ctx, w, pages); err != nil {
		return r, err
	}
	tree := filepath.Join(dir, "tree")
	for run := range archiveRuns {
		out := func(name string) string { return filepath.Join(dir, fmt.Sprint(name, run)) }
		stage := ""
		if run == 0 {
			stage = tree
		}
		parts, err := archivePart(ctx, archiveBuild, w, out("parts"), stage)
		if err != nil {
			return r, err
		}
		whole, err := archivePart(ctx, archiveWhole, w, out("whole"))
		if err != nil {
			return r, err
		}
		took, err := hugoBuild(ctx, hugo, tree, out("hugo"), dir)
		if err != nil {
			return r, err
		}
		if err := sameSites(out("whole"), out("hugo")); err != nil {
			return r, err
		}
		r.parts, r.whole, r.hugo = append(r.parts, parts), append(r.whole, whole), append(r.hugo, archiveCost{Whole: took})
	}
	return r, nil
}

// hugoCommand builds the Hugo command from the modules that the product itself is
// built from. It needs some that we do not, so the list of modules is a copy.
func hugoCommand(ctx context.Context, dir, out string) error {
	for _, name := range []string{"go.mod", "go.sum"} {
		data, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			return err
		}
	}
	said, err := exec.CommandContext(ctx, "go", "build", "-modfile="+filepath.Join(dir, "go.mod"), "-mod=mod", "-o", out, "github.com/gohugoio/hugo").CombinedOutput()
	if err != nil {
		return fmt.Errorf("building the Hugo command: %w\n%s", err, said)
	}
	version, err := exec.CommandContext(ctx, out, "version").Output()
	fmt.Printf("yardstick: %s", version)
	return err
}

func hugoBuild(ctx context.Context, hugo, tree, out, dir string) (spent, error) {
	start := time.Now()
	cmd := exec.CommandContext(ctx, hugo, "--source", tree, "--destination", out, "--cacheDir", filepath.Join(dir, "cache"), "--noBuildLock", "--quiet")
	if said, err := cmd.CombinedOutput(); err != nil {
		return spent{}, fmt.Errorf("hugo: %w\n%s", err, said)
	}
	return spentBy(cmd, start), nil
}

// spentBy is what an ended process took.
func spentBy(cmd *exec.Cmd, start time.Time) spent {
	return spent{time.Since(start), cost{}.with(cmd).cpu}
}

// sameSites makes sure that both built the same thing.
func sameSites(ours, theirs string) error {
	count := func(dir string) (n int, err error) {
		err = filepath.WalkDir(dir, func(name string, entry os.DirEntry, err error) error {
			if err == nil && strings.HasSuffix(name, ".html") {
				n++
			}
			return err
		})
		return n, err
	}
	a, err := count(ours)
	if err != nil {
		return err
	}
	b, err := count(theirs)
	if err != nil {
		return err
	}
	if a != b || a == 0 {
		return fmt.Errorf("the archive has %d pages and Hugo's site %d; they should be the same", a, b)
	}
	return nil
}

// archivePart runs this program again as one of its parts.
func archivePart(ctx context.Context, part string, args ...string) (c archiveCost, err error) {
	self, err := os.Executable()
	if err != nil {
		return c, err
	}
	start := time.Now()
	cmd := exec.CommandContext(ctx, self, append([]string{part}, args...)...)
	cmd.Stderr = os.Stderr
	said, err := cmd.Output()
	if err != nil {
		return c, fmt.Errorf("%s: %w", part, err)
	}
	whole := spentBy(cmd, start)
	if err := json.Unmarshal(said, &c); err != nil {
		return c, fmt.Errorf("%s: %w", part, err)
	}
	c.Whole = whole
	return c, nil
}

// runArchiveWhole is the command as it is typed.
func runArchiveWhole(ctx context.Context, args []string) error {
	w, out := args[0], args[1]
	var said bytes.Buffer
	if code := cli.Run(ctx, []string{"archive", "--workspace", w, "--today", archiveDay, "-o", out}, cli.Streams{Out: io.Discard, Err: &said}, time.Now); code != 0 {
		return fmt.Errorf("archive: exit code %d: %s", code, said.String())
	}
	peak, err := peakMemory()
	if err != nil {
		return err
	}
	return json.NewEncoder(os.Stdout).Encode(archiveCost{Peak: peak})
}

// runArchiveBuild goes through the stages of the command and times each. Where a
// folder is named it leaves there what Hugo is given.
func runArchiveBuild(ctx context.Context, args []string) error {
	w, out, tree := args[0], args[1], args[2]
	var c archiveCost
	var err error
	timed := func(took *spent, work func() error) {
		if err != nil {
			return
		}
		var before, after time.Duration
		if before, err = processorTime(); err != nil {
			return
		}
		start := time.Now()
		if err = work(); err != nil {
			return
		}
		took.Wall = time.Since(start)
		after, err = processorTime()
		took.CPU = after - before
	}
	var in site.Archive
	var desk *clearance.Desk
	var files site.Files
	var writer workspace.Writer
	timed(&c.Read, func() error {
		desk, in, err = readArchive(ctx, w)
		return err
	})
	timed(&c.Build, func() error {
		files, err = site.Build(ctx, in)
		return err
	})
	timed(&c.Look, func() error { return desk.Gate(files) })
	timed(&c.Write, func() error { _, err := writer.WriteTree(out, files); return err })
	timed(&c.Update, func() error { _, err := writer.WriteTree(out, files); return err })
	if err != nil {
		return err
	}
	for name := range files {
		if strings.HasSuffix(name, ".html") {
			c.Pages++
		}
	}
	if tree != "" {
		staged, err := site.Stage(in)
		if err != nil {
			return err
		}
		if _, err := writer.WriteTree(tree, staged); err != nil {
			return err
		}
	}
	return json.NewEncoder(os.Stdout).Encode(c)
}

// processorTime is what this process has had of the processors so far.
func processorTime() (time.Duration, error) {
	stat, err := os.ReadFile("/proc/self/stat")
	if err != nil {
		return 0, fmt.Errorf("the time of the processors is read on Linux only: %w", err)
	}
	// proc(5): behind the name in brackets, the twelfth and the thirteenth, in
	// hundredths of a second.
	_, rest, _ := strings.Cut(string(stat), ") ")
	fields := strings.Fields(rest)
	if len(fields) < 13 {
		return 0, fmt.Errorf("the time of the processors is not in %q", stat)
	}
	var user, system int64
	if _, err := fmt.Sscan(fields[11]+" "+fields[12], &user, &system); err != nil {
		return 0, err
	}
	return time.Duration(user+system) * 10 * time.Millisecond, nil
}

// readArchive reads and clears a workshop, and gathers what the archive is made of.
func readArchive(ctx context.Context, w string) (*clearance.Desk, site.Archive, error) {
	var in site.Archive
	ws, problems, err := workspace.Open(w)
	if err != nil || len(problems) > 0 {
		return nil, in, fmt.Errorf("%w %v", err, problems)
	}
	db, err := store.Open(ctx, ws.Database(), store.Options{})
	if err != nil {
		return nil, in, err
	}
	on := day.MustParse(archiveDay)
	desk, err := clearance.Open(ctx, ws, db, clearance.Options{Today: on, Now: time.Now})
	if err != nil {
		return nil, in, err
	}
	in = site.Archive{Stories: desk.PublicStories(), Words: desk.Words(), Tours: desk.ArchiveTours(), On: on}
	if in.Settings, err = desk.Settings(); err != nil {
		return nil, in, err
	}
	if in.Theme, err = ws.Theme(); err != nil {
		return nil, in, err
	}
	editions, err := db.Editions(ctx)
	if err != nil {
		return nil, in, err
	}
	for _, e := range editions {
		var record edition.Record
		if err := json.Unmarshal(e.Record, &record); err != nil {
			return nil, in, err
		}
		in.Editions = append(in.Editions, site.PublicEdition{Record: record, From: day.MustParse(e.On).AddDays(int(ws.Settings.MembersFirst))})
	}
	return desk, in, nil
}
