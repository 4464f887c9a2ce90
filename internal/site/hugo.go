package site

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"sync"

	"github.com/bep/logg"
	"github.com/gohugoio/hugo/common/loggers"
	"github.com/gohugoio/hugo/config"
	"github.com/gohugoio/hugo/config/allconfig"
	"github.com/gohugoio/hugo/deps"
	"github.com/gohugoio/hugo/hugofs"
	"github.com/gohugoio/hugo/hugolib"
	"github.com/spf13/afero"
)

// Every call to Hugo stands in this file: its library interface is not promised
// from one release to the next.

// turn lets one build run at a time, because Hugo keeps its logger and some
// caches for the whole process. It guards that state and holds none of its own.
var turn = make(chan struct{}, 1)

// job is one whole site: settings and files in, a known list of files out.
type job struct {
	theme    string // the folder under themes/, for messages
	settings map[string]any
	staging  map[string][]byte // slash paths: content/…, layouts/…
	expect   []string          // slash paths of the files that must come out, no more and no fewer
}

// run builds the job in empty memory. It returns every file or an error, never
// a part: what Hugo has written when it fails is thrown away. A warning is an
// error, since Hugo warns where it leaves something out.
func (j job) run(ctx context.Context) (map[string][]byte, error) {
	select {
	case turn <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if err := ctx.Err(); err != nil {
		<-turn
		return nil, err
	}
	// Hugo takes no context, and after many faults of a layout it can wait for
	// itself for ever; whoever calls it off is not held up by that.
	type result struct {
		files map[string][]byte
		err   error
	}
	built := make(chan result, 1)
	go func() {
		defer func() { <-turn }()
		files, err := j.build()
		built <- result{files, err}
	}()
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case r := <-built:
		return r.files, r.err
	}
}

// lazily is how much memory may grow, in percent of what is in use, before it is
// looked through while Hugo builds.
const lazily = 300

func (j job) build() (out map[string][]byte, err error) {
	defer func() {
		if r := recover(); r != nil {
			out, err = nil, fmt.Errorf("site: the page builder gave up: %v", r)
		}
	}()
	// Most of what a build makes lives until its end: to look through it less often
	// saves a seventh of the time, for memory that is given back. One build runs at a time.
	defer debug.SetGCPercent(debug.SetGCPercent(lazily))
	source, destination := afero.NewMemMapFs(), afero.NewMemMapFs()
	if err := j.stage(source); err != nil {
		return nil, err
	}
	if err := buildIn(j.theme, source, destination); err != nil {
		return nil, err
	}
	return j.collect(destination)
}

// stagingRoot is where the site stands in memory. The real disk is not mounted.
const stagingRoot = "/staging"

// staged is everything that Hugo gets to see.
func (j job) staged() (map[string][]byte, error) {
	settings, err := json.Marshal(j.settings)
	if err != nil {
		return nil, fmt.Errorf("site: settings: %w", err)
	}
	files := map[string][]byte{"hugo.json": settings}
	for name, data := range j.staging {
		files[name] = data
	}
	return files, nil
}

func (j job) stage(source afero.Fs) error {
	files, err := j.staged()
	if err != nil {
		return err
	}
	for name, data := range files {
		if err := afero.WriteFile(source, path.Join(stagingRoot, name), data, 0o644); err != nil {
			return fmt.Errorf("site: staging %s: %w", name, err)
		}
	}
	return nil
}

func buildIn(theme string, source, destination afero.Fs) error {
	said := &log{theme: theme}
	logger := loggers.New(loggers.Options{
		StdOut: io.Discard, StdErr: said, Level: logg.LevelWarn, DistinctLevel: logg.LevelWarn,
	})
	flags := config.New()
	flags.Set("workingDir", stagingRoot)
	flags.Set("publishDir", "public")
	configs, err := allconfig.LoadConfig(allconfig.ConfigSourceDescriptor{
		Fs:     source,
		Flags:  flags,
		Logger: logger,
		// With an empty list Hugo reads the process's own environment, where a
		// HUGO_… variable would override the settings.
		Environ:     []string{"LANG=C"},
		Environment: "production",
	})
	if err != nil {
		return said.explain(err)
	}
	fileSystems := hugofs.NewFromSourceAndDestination(source, destination, configs.LoadingInfo.Cfg)
	sites, err := hugolib.NewHugoSites(deps.DepsCfg{
		Configs: configs, Fs: fileSystems, TestLogger: logger, LogLevel: logg.LevelWarn,
		StdOut: io.Discard, StdErr: said,
	})
	if err != nil {
		return said.explain(err)
	}
	err = sites.Build(hugolib.BuildCfg{NoBuildLock: true})
	if closeErr := sites.Close(); err == nil {
		err = closeErr
	}
	return said.explain(err)
}

// collect reads what was built and holds it against what was expected.
func (j job) collect(destination afero.Fs) (map[string][]byte, error) {
	out := map[string][]byte{}
	root := filepath.Join(stagingRoot, "public")
	err := afero.Walk(destination, root, func(name string, info fs.FileInfo, err error) error {
		if err != nil || info.IsDir() {
			return err
		}
		data, err := afero.ReadFile(destination, name)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		out[filepath.ToSlash(rel)] = typed(data)
		return nil
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("site: reading what was built: %w", err)
	}
	want := map[string]bool{}
	for _, name := range j.expect {
		want[name] = true
	}
	var missing, surplus []string
	for name := range want {
		if len(out[name]) == 0 {
			missing = append(missing, name)
		}
	}
	for name := range out {
		if !want[name] {
			surplus = append(surplus, name)
		}
	}
	slices.Sort(missing)
	slices.Sort(surplus)
	if len(missing) > 0 {
		return nil, fmt.Errorf("site: %s did not come out of the build; look for a missing or empty layout in the themes folder", strings.Join(missing, ", "))
	}
	if len(surplus) > 0 {
		return nil, fmt.Errorf("site: the build made %s, which nobody asked for; look for a layout in the themes folder that publishes more than its own page", strings.Join(surplus, ", "))
	}
	return out, nil
}

// log keeps what Hugo says, from any of its goroutines.
type log struct {
	theme string // the folder under themes/
	mu    sync.Mutex
	said  bytes.Buffer
}

func (l *log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.said.Write(p)
}

// explain turns an error, or anything said without one, into an error that
// names the layout to mend.
func (l *log) explain(err error) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	said := strings.TrimSpace(l.said.String())
	if err != nil {
		said = err.Error()
	}
	if said == "" {
		return nil
	}
	said = strings.ReplaceAll(said, stagingRoot+"/", "")
	if m := inLayout.FindStringSubmatch(said); m != nil {
		said = "themes/" + l.theme + "/" + m[1] + ": " + m[2]
	}
	return fmt.Errorf("site: nothing was kept, because the page builder said: %s; mend the layout in themes/%s, or remove it to use the built-in one", said, l.theme)
}

// inLayout finds the place in what Hugo says of a layout that failed.
var inLayout = regexp.MustCompile(`(?s)"(layouts/[^"]+)": (?:execute of template failed: )?(?:template: \S+ )?(.*)$`)
