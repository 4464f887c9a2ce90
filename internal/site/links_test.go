package site

import (
	"encoding/json"
	"net/url"
	"path"
	"regexp"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"golang.org/x/net/html"
)

// linkWalk holds every link of an archive to what is there.
type linkWalk struct {
	t     *testing.T
	site  string
	files Files
	ids   map[string]map[string]bool // page → its ids
	seen  int
}

// TestNoLinkIsDead walks every address in every page, style sheet, feed, sitemap and
// search index, with its fragment.
func TestNoLinkIsDead(t *testing.T) {
	for _, site := range []string{"https://example.org/", "https://example.org/flying-boat/"} {
		a := fixture()
		s := settings()
		s.Site = site
		a.Settings = cleared.NewSettings(s)
		w := &linkWalk{t: t, site: site, files: built(t, a), ids: map[string]map[string]bool{}}
		for _, name := range pagesOf(w.files) {
			w.ids[name] = map[string]bool{}
			elements(t, name, w.files[name], func(n *html.Node) {
				if id := attr(n, "id"); id != "" {
					w.ids[name][id] = true
				}
			})
		}
		for _, name := range pagesOf(w.files) {
			w.page(name)
		}
		for _, name := range []string{"feed.xml", "sitemap.xml"} {
			found := regexp.MustCompile(`<(?:loc|link|guid)>([^<]+)<|href="([^"]+)"`).FindAllStringSubmatch(string(w.files[name]), -1)
			if len(found) < 6 {
				t.Errorf("%s has only %d addresses", name, len(found))
			}
			for _, m := range found {
				w.absolute(name, m[1]+m[2])
			}
		}
		for _, m := range regexp.MustCompile(`url\(([^)]+)\)`).FindAllStringSubmatch(string(w.files["archive.css"]), -1) {
			w.relative("archive.css", m[1])
		}
		var index []searchEntry
		script := strings.TrimSuffix(strings.TrimPrefix(string(w.files["search-index.js"]), "var archiveIndex = "), ";\n")
		if err := json.Unmarshal([]byte(script), &index); err != nil {
			t.Fatalf("search-index.js: %v", err)
		}
		for _, e := range index {
			w.relative("search-index.js", e.Path)
		}
		if w.seen < 300 {
			t.Errorf("only %d links were looked at", w.seen)
		}
	}
}

func (w *linkWalk) page(name string) {
	elements(w.t, name, w.files[name], func(n *html.Node) {
		for _, key := range []string{"href", "src", "action"} {
			to := attr(n, key)
			switch {
			case to == "":
			case n.Data == "link" && attr(n, "rel") == "canonical":
				w.absolute(name, to)
			case to == "https://example.org/register": // a page of the workshop's own, outside the archive
			default:
				w.relative(name, to)
			}
		}
		if set := attr(n, "srcset"); set != "" {
			for _, candidate := range strings.Split(set, ",") {
				w.relative(name, strings.Fields(candidate)[0])
			}
		}
		if property := attr(n, "property"); property == "og:image" || property == "og:url" {
			w.absolute(name, attr(n, "content"))
		}
		for _, key := range []string{"aria-labelledby", "aria-describedby", "for"} {
			if id := attr(n, key); id != "" && !w.ids[name][id] {
				w.t.Errorf("%s: %s=%q names nothing", name, key, id)
			}
		}
	})
}

// relative follows a link of a page. All are relative, so that the archive may stand
// in any folder, but those of the page that a server shows at any depth.
func (w *linkWalk) relative(from, to string) {
	u, err := url.Parse(to)
	if err != nil || u.IsAbs() || u.Host != "" {
		w.t.Errorf("%s: %q is not a relative address (%v)", from, to, err)
		return
	}
	target := path.Join(path.Dir(from), u.Path)
	if u.Path == "" {
		target = from
	}
	if from == "404.html" && u.Path != "" {
		home, err := url.Parse(w.site)
		if err != nil || !strings.HasPrefix(u.Path, home.Path) {
			w.t.Errorf("%s: %q does not begin at the site's path (%v)", from, to, err)
			return
		}
		target = strings.TrimPrefix(u.Path, home.Path)
	} else if path.IsAbs(u.Path) {
		w.t.Errorf("%s: %q begins at the root of a server", from, to)
		return
	}
	w.there(from, to, target, u.Fragment)
}

func (w *linkWalk) absolute(from, to string) {
	rest, ok := strings.CutPrefix(to, w.site)
	if !ok {
		w.t.Errorf("%s: %q is not below %s", from, to, w.site)
		return
	}
	target, fragment, _ := strings.Cut(rest, "#")
	if target == "" || strings.HasSuffix(target, "/") {
		target += "index.html"
	}
	w.there(from, to, target, fragment)
}

func (w *linkWalk) there(from, to, target, fragment string) {
	w.seen++
	if _, ok := w.files[target]; !ok {
		w.t.Errorf("%s: %q leads to %s, which is not there", from, to, target)
	} else if fragment != "" && !w.ids[target][fragment] {
		w.t.Errorf("%s: %q leads to a place in %s that is not there", from, to, target)
	}
}
