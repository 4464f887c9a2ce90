package site

import (
	"bytes"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/testtool"
)

// large is the fixture with enough stories for every list to have its second part,
// and a letter of each kind beside the pages, for checkers that read HTML.
func large() Archive {
	a := fixture()
	for i := range onList + 4 {
		f := story(fmt.Sprintf("older-%02d", i), fmt.Sprintf("Something older, and rather long in the telling, number %d", i), cleared.Area{Key: "hull", Name: "Hull"}, fmt.Sprintf("2030-%02d-14", 1+i%12))
		if i%2 == 0 {
			f.Photos = a.Stories[1].Photos()
		}
		a.Stories = append(a.Stories, cleared.NewStory(f))
	}
	a.Editions[0].Record.Progress = season()
	return a
}

// season has eight weeks behind it, and a range to the roll-out day.
func season() *edition.Progress {
	p := &edition.Progress{On: day.MustParse("2031-01-22"), CameOff: 25, Fitted: 7, RollOut: day.MustParse("2031-03-05"), Ahead: &edition.Ahead{Weeks: 8}}
	for i := range 8 {
		p.Weeks = append(p.Weeks, edition.ProgressWeek{Ended: day.MustParse("2030-12-01").AddDays(7 * i), CameOff: min(25, 6*i+4), Fitted: i})
	}
	for i := range 6 {
		p.Ahead.Fan = append(p.Ahead.Fan, edition.FanPoint{By: p.On.AddDays(7 * (i + 1)), Low: i / 2, High: 2 * (i + 1)})
	}
	return p
}

// laid writes an archive and letters into a folder, and returns the names of the
// pages and letters. The page for missing addresses gets relative links, since there
// is no server here to show it from.
func laid(t *testing.T) (dir string, pages []string) {
	t.Helper()
	dir = t.TempDir()
	files := built(t, large())
	files["404.html"] = bytes.ReplaceAll(files["404.html"], []byte(`="/`), []byte(`="`))
	charted := weekly()
	charted.Progress = season()
	for name, e := range map[string]edition.Edition{"letter.html": charted, "letter-quiet.html": {Words: weekly().Words}} {
		files[name] = letter(t, settings(), e).HTML
	}
	for name, data := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir, slices.DeleteFunc(pagesOf(files), func(name string) bool { return strings.HasPrefix(name, "story/older-") })
}

func addressOf(dir, page string) string {
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(filepath.Join(dir, filepath.FromSlash(page)))}).String()
}

// axe-core: every rule it has, those of WCAG 2.2 A and AA among them. A browser that
// is narrow (360 px, a small phone) and one that is wide, light and dark.
func TestAxeFindsNothingOnAnyPage(t *testing.T) {
	b := testtool.NeedBrowser(t)
	dir, pages := laid(t)
	for _, page := range pages {
		for _, width := range []int{360, 1280} {
			for _, scheme := range []string{"light", "dark"} {
				b.Size(width, 900)
				b.Scheme(scheme)
				b.Open(addressOf(dir, page))
				for _, v := range b.Axe() {
					t.Errorf("%s, %d px, %s: %s", page, width, scheme, v)
				}
				var wide int
				if b.Eval("document.documentElement.scrollWidth", &wide); wide > width {
					t.Errorf("%s is %d px wide in a window of %d", page, wide, width)
				}
			}
		}
	}
	if len(pages) < 20 {
		t.Errorf("only %d pages were looked at", len(pages))
	}
}

// A checker that finds nothing anywhere would pass all of the above.
func TestTheCheckersFindPlantedFaults(t *testing.T) {
	b := testtool.NeedBrowser(t)
	page := filepath.Join(t.TempDir(), "faults.html")
	if err := os.WriteFile(page, []byte(`<!doctype html><title>x</title><main><h1>x</h1><p style="color:#bbb;background:#fff">pale</p><img src="x.png"><a href="y"></a></main>`), 0o644); err != nil {
		t.Fatal(err)
	}
	b.Open(addressOf(filepath.Dir(page), "faults.html"))
	var rules []string
	for _, v := range b.Axe() {
		rules = append(rules, v.Rule)
	}
	for _, rule := range []string{"color-contrast", "html-has-lang", "image-alt", "link-name"} {
		if !slices.Contains(rules, rule) {
			t.Errorf("axe-core does not find the planted %s: %v", rule, rules)
		}
	}
	if faults := testtool.Nu(t, []string{page}); len(faults) == 0 || !strings.Contains(strings.Join(faults, "\n"), "alt") {
		t.Errorf("the Nu HTML checker does not find a picture without alt: %v", faults)
	}
}

func TestTheNuCheckerFindsNoErrorInAnyPage(t *testing.T) {
	dir, pages := laid(t)
	var files []string
	for _, page := range pages {
		files = append(files, filepath.Join(dir, filepath.FromSlash(page)))
	}
	for _, fault := range testtool.Nu(t, files) {
		t.Error(strings.TrimPrefix(fault, dir))
	}
}

func TestArchiveOpenedFromAFolderAsksForNothingElsewhere(t *testing.T) {
	b := testtool.NeedBrowser(t)
	dir, pages := laid(t)
	for _, page := range pages {
		if strings.HasPrefix(page, "letter") {
			continue // its pictures come with the mail
		}
		b.Open(addressOf(dir, page))
		b.Eval("document.fonts.ready.then(() => 0)", nil)
		asked := b.Asked()
		if len(asked) < 3 {
			t.Errorf("%s asked for %v only; is anybody listening?", page, asked)
		}
		for _, address := range asked {
			u, err := url.Parse(address)
			if err != nil || u.Scheme != "file" || !strings.HasPrefix(u.Path, dir) {
				t.Errorf("%s asks for %s", page, address)
				continue
			}
			if _, err := os.Stat(filepath.FromSlash(u.Path)); err != nil {
				t.Errorf("%s asks for %s, which is not there", page, address)
			}
		}
	}
}

func TestSearchWorksFromAFolderByKeyboard(t *testing.T) {
	b := testtool.NeedBrowser(t)
	dir, _ := laid(t)
	b.Open(addressOf(dir, "index.html"))
	b.Eval("document.getElementById('find').focus()", nil)
	b.Type("rudder skin")
	b.Follow(func() { b.Press("Enter") })
	var at, count, first string
	b.Eval("location.pathname", &at)
	b.Eval("document.getElementById('count').textContent", &count)
	b.Eval("document.querySelector('#found a').textContent", &first)
	if at != filepath.ToSlash(dir)+"/search/index.html" || count != "1 page found." || first != "A rudder skin with too many holes" {
		t.Errorf("at %s: %q, %q", at, count, first)
	}
	// From the box to the button, and to the first find.
	b.Eval("document.getElementById('find').focus()", nil)
	b.Press("Tab")
	b.Press("Tab")
	b.Follow(func() { b.Press("Enter") })
	if b.Eval("location.pathname", &at); !strings.HasSuffix(at, "/story/rudder-skin/index.html") {
		t.Errorf("Enter on the first find leads to %s", at)
	}
	for typed, want := range map[string][]string{
		"was a spare":     {"Correction", "/story/floor-stiffener/index.html#correction-1"},
		"long stiffener":  {"Word", "/word/stringer/index.html"},
		"HULL floor port": {"Stop", "/stop/hull-floor/index.html"},
		"Rivét":           {"Word", "/word/rivet/index.html"},
	} {
		b.Open(addressOf(dir, "search/index.html") + "?q=" + url.QueryEscape(typed))
		var found []struct{ Kind, To string }
		b.Eval("[...document.querySelectorAll('#found li')].map(li => ({kind: li.querySelector('.meta').textContent, to: li.querySelector('a').href}))", &found)
		if !slices.ContainsFunc(found, func(f struct{ Kind, To string }) bool { return f.Kind == want[0] && strings.HasSuffix(f.To, want[1]) }) {
			t.Errorf("%q finds %v, want %v among it", typed, found, want)
		}
	}
	b.Open(addressOf(dir, "search/index.html") + "?q=nowhere-to-be-found")
	if b.Eval("document.getElementById('count').textContent", &count); !strings.HasPrefix(count, "Nothing found") {
		t.Errorf("nothing found is said as %q", count)
	}
}

func TestWithoutScriptsThereIsAListOfAllStories(t *testing.T) {
	b := testtool.NeedBrowser(t)
	dir, _ := laid(t)
	b.Scripts(false)
	b.Open(addressOf(dir, "search/index.html"))
	var to string
	b.Eval("document.querySelector('noscript a').href", &to)
	b.Open(to)
	var links int
	b.Eval("new Set([...document.querySelectorAll('main a')].map(a => a.href)).size", &links)
	if want := len(large().Stories); links != want {
		t.Errorf("%s links to %d stories, want %d", to, links, want)
	}
}

// The focus has to be seen (WCAG 2.2, 2.4.7), and the first stop leads past the menu.
func TestFocusIsSeenAndTheFirstStopLeadsPastTheMenu(t *testing.T) {
	b := testtool.NeedBrowser(t)
	dir, _ := laid(t)
	b.Size(360, 900)
	b.Open(addressOf(dir, "story/floor-stiffener/index.html"))
	b.Press("Tab")
	var seen struct {
		Text string
		Left float64
	}
	b.Eval("({text: document.activeElement.textContent, left: document.activeElement.getBoundingClientRect().left})", &seen)
	if seen.Text != "Skip to the page" || seen.Left < 0 {
		t.Errorf("the first stop is %+v", seen)
	}
	b.Press("Enter")
	var at string
	if b.Eval("document.activeElement.id", &at); at != "main" {
		t.Errorf("it leads to %q", at)
	}
	stops := 0
	for ; stops < 100; stops++ {
		b.Press("Tab")
		var ring struct{ Tag, Name, Style, Width string }
		b.Eval("(e => { let s = getComputedStyle(e); return {tag: e.tagName, name: e.outerHTML.slice(0, 80), style: s.outlineStyle, width: s.outlineWidth} })(document.activeElement)", &ring)
		if ring.Tag == "BODY" {
			break // past the last
		}
		if ring.Style != "solid" || ring.Width != "3px" {
			t.Errorf("no ring round %s: %s %s", ring.Name, ring.Style, ring.Width)
		}
	}
	if stops < 8 || stops == 100 {
		t.Errorf("the focus stopped %d times", stops)
	}
}

// Printed, a story keeps its words, has no menu, and follows the addresses of links
// that lead elsewhere.
func TestPagesPrint(t *testing.T) {
	b := testtool.NeedBrowser(t)
	pdftotext := testtool.Need(t, "pdftotext")
	dir, _ := laid(t)
	for page, c := range map[string]struct{ has, not []string }{
		"story/floor-stiffener/index.html": {[]string{"The floor that rotted from inside", "Corrections", "Take care", "The longer account", "(https://example.org/register)", "https://example.org/story/floor-stiffener/", "not an airworthiness statement"}, []string{"Search", "Before this", "Skip to"}},
		"stop/hull-floor/index.html":       {[]string{"Hull floor, port side", "What came off", "Take care"}, []string{"Search"}},
		"edition/2031-W04/index.html":      {[]string{"A strip you could push a pick through", "How far the parts have come"}, []string{"Search"}},
	} {
		b.Open(addressOf(dir, page))
		file := filepath.Join(t.TempDir(), "page.pdf")
		if err := os.WriteFile(file, b.Print(), 0o644); err != nil {
			t.Fatal(err)
		}
		text, err := exec.Command(pdftotext, "-layout", file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		read := oneLine(string(text))
		for _, want := range c.has {
			if !strings.Contains(read, want) {
				t.Errorf("%s does not print %q: %q", page, want, read)
			}
		}
		for _, never := range c.not {
			if strings.Contains(read, never) {
				t.Errorf("%s prints %q", page, never)
			}
		}
	}
}
