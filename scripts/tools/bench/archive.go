package main

import (
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

// archiveCost is what one run took.
type archiveCost struct {
	Pages                            int
	Read, Build, Look, Write, Update time.Duration
	Peak                             int64         // million bytes
	Whole                            time.Duration // the process, from start to end
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
	small, large := sizes[0], sizes[1]
	grown := float64(large.parts.Pages) / float64(small.parts.Pages)
	growth := func(of func(archiveResult) time.Duration) float64 {
		return of(large).Seconds() / of(small).Seconds() / grown
	}
	fmt.Printf("\n%.2f times the pages; time ÷ that: build %.2f, gate %.2f, whole %.2f  (budget 1.1); the Hugo command %.2f\n", grown,
		growth(func(r archiveResult) time.Duration { return r.parts.Build }), growth(func(r archiveResult) time.Duration { return r.parts.Look }),
		growth(func(r archiveResult) time.Duration { return r.whole.Whole }), growth(func(r archiveResult) time.Duration { return r.hugo }))
	fmt.Printf("load after the runs: %s\n", load())
	return nil
}

// archiveResult is the best of several runs of each kind.
type archiveResult struct {
	parts, whole archiveCost
	hugo         time.Duration
}

func (r archiveResult) print() {
	fmt.Printf("\n%d pages; the best of %d runs, in turns; load %s\n", r.parts.Pages, archiveRuns, load())
	row := func(what string, took time.Duration, note string) {
		fmt.Printf("  %-52s %7.2f s  %s\n", what, took.Seconds(), note)
	}
	row("the Hugo command, same tree, to the disk", r.hugo, "")
	row("building alone, in memory", r.parts.Build, fmt.Sprintf("%.2f of Hugo  (budget 1.15)", r.parts.Build.Seconds()/r.hugo.Seconds()))
	made := r.parts.Build + r.parts.Write
	row("building and writing to the disk, synced", made, fmt.Sprintf("%.2f of Hugo  (budget 1.15)", made.Seconds()/r.hugo.Seconds()))
	row("the last gate over every page", r.parts.Look, fmt.Sprintf("%.1f ms a page", milliseconds(r.parts.Look)/float64(r.parts.Pages)))
	row("reading the workshop and clearing", r.parts.Read, "")
	row("writing again, nothing changed", r.parts.Update, "")
	row("the whole command, first time", r.whole.Whole, fmt.Sprintf("%.2f of Hugo", r.whole.Whole.Seconds()/r.hugo.Seconds()))
	fmt.Printf("  %-52s %7d MB\n", "peak memory of the whole command", r.whole.Peak)
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
		if run == 0 {
			r = archiveResult{parts, whole, took}
			continue
		}
		r.parts = archiveCost{Pages: parts.Pages, Read: min(r.parts.Read, parts.Read), Build: min(r.parts.Build, parts.Build), Look: min(r.parts.Look, parts.Look),
			Write: min(r.parts.Write, parts.Write), Update: min(r.parts.Update, parts.Update)}
		r.whole.Whole, r.whole.Peak = min(r.whole.Whole, whole.Whole), max(r.whole.Peak, whole.Peak)
		r.hugo = min(r.hugo, took)
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

func hugoBuild(ctx context.Context, hugo, tree, out, dir string) (time.Duration, error) {
	start := time.Now()
	said, err := exec.CommandContext(ctx, hugo, "--source", tree, "--destination", out, "--cacheDir", filepath.Join(dir, "cache"), "--noBuildLock", "--quiet").CombinedOutput()
	if err != nil {
		return 0, fmt.Errorf("hugo: %w\n%s", err, said)
	}
	return time.Since(start), nil
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
	whole := time.Since(start)
	if err := json.Unmarshal(said, &c); err != nil {
		return c, fmt.Errorf("%s: %w", part, err)
	}
	c.Whole = whole
	return c, nil
}

// runArchiveWhole is the command as it is typed.
func runArchiveWhole(ctx context.Context, args []string) error {
	w, out := args[0], args[1]
	if code := cli.Run(ctx, []string{"archive", "--workspace", w, "--today", archiveDay, "-o", out}, cli.Streams{Out: io.Discard, Err: os.Stderr}, time.Now); code != 0 {
		return fmt.Errorf("archive: exit code %d", code)
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
	timed := func(took *time.Duration, work func() error) {
		if err == nil {
			start := time.Now()
			err = work()
			*took = time.Since(start)
		}
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
