// Package site makes the two things that the public reads on a screen: the
// archive, a site of plain files, and the members' letter, as HTML and as text
// from one page. Hugo lays both out, used as a library, in memory.
//
// It promises that
//
//   - what comes out is a function of the cleared values and the theme handed
//     in: not of the clock, the environment, the disk or the network;
//   - a build gives every file or an error, never a part;
//   - wording is data: raw HTML, shortcodes and template code in it print as
//     they were typed, and its links lead to http, https, mailto or a page of
//     the archive, or lose their link;
//   - a theme that calls a function which could reach further is refused, with
//     its file and line;
//   - the archive works from a folder, without a server and without a network;
//   - each page says what it has to, the notice, cautions and corrections, or
//     the theme that leaves it out is refused.
//
// It must not know the private record or how wording is written, and it decides
// nothing about what may leave: the caller has chosen.
package site

import (
	"context"
	"fmt"
	"io/fs"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
)

// Archive is everything that the public site is made from.
type Archive struct {
	Settings    cleared.Settings
	Stories     []cleared.Story      // public ones only: PublicFrom set and not after On
	Corrections []cleared.Correction // to stories among these, in the order in which they were written
	Words       []cleared.Word
	Tours       []cleared.Tour // for the stop pages; every stop gets one
	Editions    []PublicEdition
	Withdrawn   []Withdrawal
	Theme       fs.FS // holds archive/ and fonts/
	On          day.Date
}

// PublicEdition is a weekly update whose time to be public has come.
type PublicEdition struct {
	Record edition.Record
	From   day.Date // the day it was first public
}

// Withdrawal says that a story was public once and has been taken back.
type Withdrawal struct {
	ID string
	On day.Date
}

// Files are the files of a site: slash paths below its root, and their bytes.
type Files map[string][]byte

// Build makes the archive. Public pictures are in it under pictures/.
func Build(ctx context.Context, a Archive) (Files, error) {
	b, t, err := prepare(a)
	if err != nil {
		return nil, err
	}
	out, err := b.job.run(ctx)
	if err != nil {
		return nil, err
	}
	files := Files(out)
	if err := b.checkSaid(files); err != nil {
		return nil, err
	}
	if err := b.addStatic(ctx, files, t); err != nil {
		return nil, err
	}
	return files, nil
}

// Stage returns what Build hands to Hugo, for measuring against the Hugo command:
// content, layouts, settings, and under static/ the files that go out as they are.
func Stage(a Archive) (Files, error) {
	b, t, err := prepare(a)
	if err != nil {
		return nil, err
	}
	files, err := b.job.staged()
	if err != nil {
		return nil, err
	}
	static := Files{}
	if err := b.addStatic(context.Background(), static, t); err != nil {
		return nil, err
	}
	for name, data := range static {
		files["static/"+name] = data
	}
	return files, nil
}

// prepare checks what an archive is made from and writes the pages for Hugo.
func prepare(a Archive) (*builder, theme, error) {
	for _, s := range a.Stories {
		if s.PublicFrom().IsZero() || s.PublicFrom().After(a.On) {
			return nil, theme{}, fmt.Errorf("site: story %q is not public on %s; leave it out", s.ID(), a.On)
		}
	}
	if err := checkSite(a.Settings); err != nil {
		return nil, theme{}, err
	}
	t, err := readTheme(a.Theme, "archive", archiveLayouts)
	if err != nil {
		return nil, theme{}, err
	}
	t.addMarkupRules(archiveMarkup)
	b := newBuilder(a)
	if err := b.pages(); err != nil {
		return nil, theme{}, err
	}
	for name, data := range t.layouts {
		b.job.staging[name] = data
	}
	return b, t, nil
}

// addStatic adds the files that go out as they are: those of the theme, fonts, the
// search index and pictures. None may take the place of a page.
func (b *builder) addStatic(ctx context.Context, files Files, t theme) error {
	for _, name := range slices.Sorted(maps.Keys(t.static)) {
		if _, taken := files[name]; taken || name == searchScript {
			return fmt.Errorf("themes/archive/static/%s: the archive makes a file of this name itself; remove it", name)
		}
		files[name] = t.static[name]
	}
	if err := addFonts(files, b.a.Theme); err != nil {
		return err
	}
	files[searchScript] = searchIndex(b)
	return b.addPictures(ctx, files)
}

// checkSite holds the settings to what addresses need.
func checkSite(s cleared.Settings) error {
	u, err := url.Parse(s.Site())
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" || !strings.HasSuffix(u.Path, "/") {
		return fmt.Errorf("site: %q cannot be the address of the archive; in workshop.yaml write it as site: https://example.org/", s.Site())
	}
	return nil
}

var (
	publicID   = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	publicName = regexp.MustCompile(`^[A-Za-z0-9_-]+\.jpe?g$`)
)

// checkID refuses what could not stand in an address, or would lead out of its folder.
func checkID(kind, id string) error {
	if !publicID.MatchString(id) {
		return fmt.Errorf("site: %s id %q must be lower-case words and digits joined by hyphens", kind, id)
	}
	return nil
}

func addFonts(files Files, theme fs.FS) error {
	entries, err := fs.ReadDir(theme, "fonts")
	if err != nil {
		return fmt.Errorf("site: the theme has no fonts folder: %w", err)
	}
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".woff2") {
			continue
		}
		data, err := fs.ReadFile(theme, "fonts/"+e.Name())
		if err != nil {
			return fmt.Errorf("site: font: %w", err)
		}
		files["fonts/"+e.Name()] = data
	}
	return nil
}

// newestFirst puts stories in the order readers get them.
func newestFirst(stories []cleared.Story) []cleared.Story {
	sorted := slices.Clone(stories)
	slices.SortStableFunc(sorted, func(a, b cleared.Story) int {
		if a.PublicFrom() != b.PublicFrom() {
			if a.PublicFrom().After(b.PublicFrom()) {
				return -1
			}
			return 1
		}
		return strings.Compare(a.ID(), b.ID())
	})
	return sorted
}

// notice stands on every page and in every letter.
const notice = "Drawn from the workshop’s log, for interest. It is not an airworthiness statement and not advice on how to do the work: local rules, and the people licensed under them, come first."

// baseSettings are Hugo's settings for both kinds of site: no programs, no
// network, no environment, no raw HTML, no clock, nothing that changes wording.
func baseSettings(s cleared.Settings, params map[string]any) map[string]any {
	none := []string{"none"}
	return map[string]any{
		"baseURL":                        s.Site(),
		"title":                          s.Workshop(),
		"cacheDir":                       "/cache",
		"disableAliases":                 true,
		"disableHugoGeneratorInject":     true,
		"disableLiveReload":              true,
		"enableGitInfo":                  false,
		"enableRobotsTXT":                false,
		"enableEmoji":                    false,
		"buildFuture":                    true,
		"buildExpired":                   true,
		"buildDrafts":                    true,
		"titleCaseStyle":                 "none",
		"capitalizeListTitles":           false,
		"pluralizeListTitles":            false,
		"timeout":                        "10m",
		"params":                         params,
		"disableDefaultLanguageRedirect": true,
		"security": map[string]any{
			"enableInlineShortcodes": false,
			"exec":                   map[string]any{"allow": none, "osEnv": none},
			"funcs":                  map[string]any{"getenv": none},
			"http":                   map[string]any{"methods": none, "urls": none},
		},
		"markup": map[string]any{
			"highlight": map[string]any{"codeFences": false},
			"goldmark": map[string]any{
				"renderer":   map[string]any{"unsafe": false},
				"parser":     map[string]any{"autoHeadingID": false, "attribute": map[string]any{"title": false, "block": false}},
				"extensions": map[string]any{"typographer": map[string]any{"disable": true}, "footnote": map[string]any{"enable": false}},
			},
		},
	}
}
