package site

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/themes"
	"golang.org/x/net/html"
)

func TestArchiveHasItsPagesAndNoOthers(t *testing.T) {
	files := built(t, fixture())
	want := strings.Fields(`
		index.html 404.html feed.xml sitemap.xml search-index.js search.js archive.css mark.svg shared.png search/index.html
		story/index.html story/floor-stiffener/index.html story/rudder-skin/index.html story/bilge-pump/index.html story/wrong-colour/index.html
		area/index.html area/hull/index.html area/tail/index.html area/wing/index.html
		stop/index.html stop/hull-floor/index.html stop/keel/index.html stop/bow/index.html
		word/index.html word/spar/index.html word/stringer/index.html word/rivet/index.html
		edition/index.html edition/2031-W04/index.html
		fonts/SourceSans3-It.ttf.woff2 fonts/SourceSans3-Regular.ttf.woff2 fonts/SourceSans3-Semibold.ttf.woff2
		pictures/00000001w400.jpg pictures/00000001w800.jpg pictures/00000001w1200.jpg
		pictures/00000002w400.jpg pictures/00000002w800.jpg pictures/00000002w1200.jpg
		pictures/00000003w400.jpg pictures/00000003w800.jpg pictures/00000003w1200.jpg`)
	slices.Sort(want)
	if got := slices.Sorted(maps.Keys(files)); !slices.Equal(got, want) {
		t.Errorf("files\n got %v\nwant %v", got, want)
	}
}

// elements calls f for each element of an HTML page.
func elements(t *testing.T, name string, page []byte, f func(*html.Node)) {
	t.Helper()
	tree, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	for n := range tree.Descendants() {
		if n.Type == html.ElementNode {
			f(n)
		}
	}
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func pagesOf(files Files) []string {
	var names []string
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if strings.HasSuffix(name, ".html") {
			names = append(names, name)
		}
	}
	return names
}

// fetching are the attributes by which a page makes a browser load something.
var fetching = map[string][]string{
	"img": {"src", "srcset"}, "script": {"src"}, "iframe": {"src"}, "source": {"src", "srcset"}, "video": {"src", "poster"},
	"audio": {"src"}, "embed": {"src"}, "object": {"data"}, "input": {"src"}, "use": {"href"}, "image": {"href"},
}

// loads lists what a page would load, and fails on code inside the page.
func loads(t *testing.T, name string, page []byte) []string {
	t.Helper()
	var all []string
	elements(t, name, page, func(n *html.Node) {
		for _, key := range fetching[n.Data] {
			if v := attr(n, key); v != "" {
				all = append(all, v)
			}
		}
		if n.Data == "link" && slices.Contains([]string{"stylesheet", "icon", "preload"}, attr(n, "rel")) {
			all = append(all, attr(n, "href"))
		}
		if n.Data == "script" && (n.FirstChild != nil || attr(n, "src") == "") {
			t.Errorf("%s has code inside the page", name)
		}
		if n.Data == "base" || n.Data == "iframe" || n.Data == "object" || n.Data == "embed" {
			t.Errorf("%s has a <%s>", name, n.Data)
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") {
				t.Errorf("%s: <%s> has %s", name, n.Data, a.Key)
			}
			if strings.HasPrefix(strings.ToLower(strings.TrimSpace(a.Val)), "javascript:") || (a.Key == "src" || a.Key == "href") && strings.HasPrefix(a.Val, "data:") {
				t.Errorf("%s: <%s %s=%q>", name, n.Data, a.Key, a.Val)
			}
		}
	})
	return all
}

// ownAddress reports whether an address that a page loads is one of the archive's.
// They are relative, but for those of the page that a server shows at any depth.
func ownAddress(page, to string) bool {
	if page == "404.html" {
		return strings.HasPrefix(to, "/") && !strings.HasPrefix(to, "//")
	}
	return !strings.Contains(to, ":") && !strings.HasPrefix(to, "/")
}

func TestNothingIsLoadedFromElsewhere(t *testing.T) {
	files := built(t, fixture())
	for _, name := range pagesOf(files) {
		for _, v := range loads(t, name, files[name]) {
			if !ownAddress(name, v) {
				t.Errorf("%s loads %q; want a relative address", name, v)
			}
		}
		elements(t, name, files[name], func(n *html.Node) {
			if attr(n, "style") != "" || n.Data == "style" {
				t.Errorf("%s: <%s> carries a style of its own", name, n.Data)
			}
		})
	}
	for _, name := range []string{"archive.css", "search.js", "mark.svg"} {
		text := strings.ReplaceAll(string(files[name]), "http://www.w3.org/2000/svg", "")
		for _, bad := range []string{"http:", "https:", "//fonts", "@import", "fetch(", "XMLHttpRequest", "eval("} {
			if strings.Contains(text, bad) {
				t.Errorf("%s holds %q", name, bad)
			}
		}
	}
}

// voidElements have no end tag: HTML Living Standard, section 13.1.2.
var voidElements = strings.Fields("area base br col embed hr img input link meta source track wbr path circle rect")

// wellFormed holds every start tag against its end tag. html.Parse alone would
// mend a page in silence.
func wellFormed(t *testing.T, name string, page []byte) {
	t.Helper()
	var open []string
	z := html.NewTokenizer(bytes.NewReader(page))
	for {
		switch kind := z.Next(); kind {
		case html.ErrorToken:
			if len(open) > 0 {
				t.Errorf("%s: left open: %v", name, open)
			}
			return
		case html.StartTagToken:
			if tag, _ := z.TagName(); !slices.Contains(voidElements, string(tag)) {
				open = append(open, string(tag))
			}
		case html.EndTagToken:
			tag, _ := z.TagName()
			if len(open) == 0 || open[len(open)-1] != string(tag) {
				t.Errorf("%s: </%s> closes %v", name, tag, open)
				return
			}
			open = open[:len(open)-1]
		}
	}
}

// roundTrip checks that a page means the same after being read and written.
func roundTrip(t *testing.T, name string, page []byte) {
	t.Helper()
	once := rendered(t, page)
	if twice := rendered(t, once); !bytes.Equal(once, twice) {
		t.Errorf("%s changes each time it is read and written", name)
	}
}

func rendered(t *testing.T, page []byte) []byte {
	t.Helper()
	tree, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := html.Render(&out, tree); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestPagesAreWellFormedWithHeadingsInOrder(t *testing.T) {
	files := built(t, fixture())
	for _, name := range pagesOf(files) {
		wellFormed(t, name, files[name])
		roundTrip(t, name, files[name])
		level, ids := 0, map[string]bool{}
		titles := 0
		elements(t, name, files[name], func(n *html.Node) {
			if id := attr(n, "id"); id != "" {
				if ids[id] {
					t.Errorf("%s: id %q twice", name, id)
				}
				ids[id] = true
			}
			if n.Data == "html" && attr(n, "lang") != "en-GB" {
				t.Errorf("%s: lang %q", name, attr(n, "lang"))
			}
			if n.Data == "img" && attr(n, "alt") == "" {
				t.Errorf("%s: picture without alt text", name)
			}
			if len(n.Data) != 2 || n.Data[0] != 'h' || n.Data[1] < '1' || n.Data[1] > '6' {
				return
			}
			next := int(n.Data[1] - '0')
			if next == 1 {
				titles++
			}
			if next > level+1 {
				t.Errorf("%s: <h%d> follows <h%d>", name, next, level)
			}
			level = next
		})
		if titles != 1 {
			t.Errorf("%s has %d <h1>", name, titles)
		}
		if !ids["main"] || !strings.Contains(string(files[name]), `class="skip" href="#main"`) {
			t.Errorf("%s has no skip link", name)
		}
	}
}

func contains(t *testing.T, files Files, name string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(string(files[name]), w) {
			t.Errorf("%s lacks %q", name, w)
		}
	}
}

func TestStoryPageTellsTheWholeStory(t *testing.T) {
	files := built(t, fixture())
	contains(t, files, "story/floor-stiffener/index.html",
		"What came off", "Why it failed", "What replaced it", "The longer account", "Questions people ask", "Could you have saved it?",
		`<span class="status">Proven</span>`, `<span class="status">Likely</span>`, `<span class="status">Told, not proven</span>`, "Same rivet spacing as the drawing.",
		"Hold it by the flat", "New strip folded by the Tuesday bench.", "Photo: Tam Reddle",
		`srcset="../../pictures/00000001w400.jpg 400w, ../../pictures/00000001w800.jpg 800w, ../../pictures/00000001w1200.jpg 1200w"`,
		`<time datetime="2031-02-20">20 February 2031</time>`, `href="../../stop/hull-floor/index.html"`, `<article class="story" lang="en-GB">`,
		"not an airworthiness statement", "local rules", `<link rel="canonical" href="https://example.org/story/floor-stiffener/">`,
		`<meta property="og:image" content="https://example.org/pictures/00000001w1200.jpg">`, `<h3>What we found</h3>`,
	)
}

func TestTradeWordsAreLinkedWhereAPageFirstUsesThem(t *testing.T) {
	page := string(built(t, fixture())["story/floor-stiffener/index.html"])
	for word, want := range map[string]int{
		`href="../../word/spar/index.html">main spar</a>`:    1, // in What came off; used again in the account
		`href="../../word/stringer/index.html" class="word"`: 1,
		`href="../../word/rivet/index.html" class="word"`:    1, // linked by hand
	} {
		if got := strings.Count(page, word); got != want {
			t.Errorf("%s stands %d times, want %d", word, got, want)
		}
	}
	a := fixture()
	a.Words = append(a.Words, cleared.NewWord(cleared.WordFields{ID: "rib", Word: "rib", Meaning: "It stands on the spar, one rib to a bay. Each spar has many."}))
	a.Editions[0].Record.Opening = "We took a spar off. The spar was heavy, and its rivets were not.\n\n## A spar\n\n[the spar](/word/spar/)"
	files := built(t, a)
	contains(t, files, "word/spar/index.html", "The floor that rotted from inside", "Also: spars, main spar")
	for name, want := range map[string][]string{
		"stop/hull-floor/index.html":   {`ahead of the <a class="word" href="../../word/spar/index.html">main spar</a>.`},
		"word/rib/index.html":          {`on the <a href="../../word/spar/index.html" class="word">spar</a>, one rib`},
		"edition/2031-W04/index.html":  {`took a <a href="../../word/spar/index.html" class="word">spar</a> off`, `its <a href="../../word/rivet/index.html" class="word">rivets</a> were`},
		"story/rudder-skin/index.html": {`Measured beside a rivet, where`}, // linked in the account before it
	} {
		contains(t, files, name, want...)
	}
	for name, n := range map[string]int{"stop/hull-floor/index.html": 1, "word/rib/index.html": 1, "edition/2031-W04/index.html": 4} {
		// On the edition's page: two in its words, one by hand, and the word of the week.
		if got := strings.Count(string(files[name]), `class="word"`); got != n {
			t.Errorf("%s has %d words linked, want %d", name, got, n)
		}
	}
}

func TestStopPagesAreAlwaysBuiltAndSayWhenToComeBack(t *testing.T) {
	files := built(t, fixture())
	contains(t, files, "stop/hull-floor/index.html", "What came off", "Why it failed", "What replaced it", "Mind the cables.", "Hold it by the flat", "../../story/floor-stiffener/index.html", "not an airworthiness statement")
	contains(t, files, "stop/keel/index.html", "Nothing to read here yet.", "opens here on", "1 April 2031")
	contains(t, files, "stop/bow/index.html", "the story of this stop is not ready to be told")
	a := fixture()
	a.Stories, a.Corrections, a.Words, a.Editions = nil, nil, nil, nil
	empty := built(t, a)
	contains(t, empty, "stop/hull-floor/index.html", "Nothing to read here yet")
	contains(t, empty, "index.html", "Nothing to show here yet")
}

// Each card of a stop has the stop's code: whoever scans that of a story which
// is not public yet must not take another for it.
func TestStopSaysWhenItsOtherStoryOpens(t *testing.T) {
	a := fixture()
	told := a.Stories[1]
	waiting := story("keel-bolt", "HIDDEN-CANARY a bolt", told.Area(), "2031-04-01")
	a.Tours = []cleared.Tour{cleared.NewTour(cleared.TourFields{ID: "winter-hangar", Title: "Winter in the hangar", Stops: []cleared.Stop{
		cleared.NewStop(cleared.StopFields{ID: "hull-floor", Number: 1, At: "Hull floor", Stories: []cleared.Story{told, cleared.NewStory(waiting)}}),
	}})}
	page := string(built(t, a)["stop/hull-floor/index.html"])
	for _, want := range []string{"The floor that rotted from inside", "There is more at this stop.", "1 April 2031"} {
		if !strings.Contains(page, want) {
			t.Errorf("the stop's page does not say %q", want)
		}
	}
	if strings.Contains(page, "CANARY") || strings.Contains(page, "Nothing to read") {
		t.Error("the stop's page tells of the story that waits, or denies the one that is told")
	}
}

func TestWhatIsForTheGuideStaysOffTheArchive(t *testing.T) {
	for name, data := range built(t, fixture()) {
		if i := bytes.Index(data, []byte("CANARY")); i >= 0 {
			t.Errorf("%s holds %q", name, data[max(0, i-20):i+8])
		}
	}
}

func TestWithdrawnStorySaysSo(t *testing.T) {
	a := fixture()
	a.Editions[0].Record.Stories = append(a.Editions[0].Record.Stories, edition.ToldStory{ID: "wrong-colour", Title: "WITHDRAWN-CANARY the colour"})
	files := built(t, a)
	contains(t, files, "story/wrong-colour/index.html", "taken back", "2 February 2031")
	contains(t, files, "edition/2031-W04/index.html", `<a href="../../story/wrong-colour/index.html">A story that was taken back</a>`)
	contains(t, files, "sitemap.xml", "<loc>https://example.org/story/wrong-colour/</loc><lastmod>2031-02-02</lastmod>")
	for name, data := range files {
		if bytes.Contains(data, []byte("WITHDRAWN-CANARY")) {
			t.Errorf("%s still has the title of a story that was taken back", name)
		}
		if name != "sitemap.xml" && !strings.HasSuffix(name, ".html") && bytes.Contains(data, []byte("wrong-colour")) {
			t.Errorf("%s still leads to a story that was taken back", name)
		}
	}
}

func TestAThemeMayNotLeaveOutWhatAPageHasToSay(t *testing.T) {
	layout := func(name string) string {
		data, err := fs.ReadFile(themes.Embedded(), "archive/layouts/"+name)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	cut := func(name, from, to string) map[string]string {
		text := layout(name)
		before, rest, ok := strings.Cut(text, from)
		_, after, ok2 := strings.Cut(rest, to)
		if !ok || !ok2 {
			t.Fatalf("%s holds no %q up to %q", name, from, to)
		}
		return map[string]string{"archive/layouts/" + name: before + after}
	}
	for what, c := range map[string]struct {
		theme      map[string]string
		page, says string
	}{
		"corrections of a story":    {cut("story.html", `{{- partial "mended.html"`, "}}"), "story/floor-stiffener", "floor-stiffener-1 was"},
		"corrections at a stop":     {cut("stop.html", `{{- partial "mended.html"`, "}}"), "stop/hull-floor", "floor-stiffener-1 was"},
		"corrections of an edition": {cut("edition.html", "{{- with .Params.corrections }}", "</section>\n{{- end }}"), "edition/2031-W04", "floor-stiffener-2 was"},
		"corrections in a comment":  {map[string]string{"archive/layouts/_partials/mended.html": `{{ range .corrections }}{{ printf "<!-- %s -->" (index .say 0).text | safeHTML }}{{ end }}`}, "edition", ""},
		"cautions of a story":       {cut("story.html", `{{ partial "cautions.html"`, "}}"), "story/bilge-pump", "Sharp edges"},
		"the notice":                {cut("_partials/footer.html", "{{ site.Params.notice }}", "</p>"), "404.html", "airworthiness"},
	} {
		a := fixture()
		a.Theme = layer(c.theme)
		files, err := Build(context.Background(), a)
		if what == "corrections in a comment" {
			if err == nil || !strings.Contains(err.Error(), "does not say") {
				t.Errorf("%s: got %v", what, err)
			}
			continue
		}
		if err == nil || files != nil || !strings.Contains(err.Error(), c.page) || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), "themes/archive") {
			t.Errorf("%s left out: got %v", what, err)
		}
	}
	// Said elsewhere, otherwise, and in pieces: said all the same.
	a := fixture()
	a.Theme = layer(map[string]string{"archive/layouts/_partials/mended.html": `{{ range .corrections }}<div>{{ range .say }}<b>{{ .text }}</b>{{ end }}</div>{{ end }}`})
	contains(t, built(t, a), "story/floor-stiffener/index.html", "<b>We said that floor-stiffener-1 was")
}

func TestPageForAddressesWithNothingWorksAtAnyDepth(t *testing.T) {
	for site, root := range map[string]string{"https://example.org/": "/", "https://example.org/flying boat/": "/flying%20boat/"} {
		a := fixture()
		s := settings()
		s.Site = site
		a.Settings = cleared.NewSettings(s)
		files := built(t, a)
		contains(t, files, "404.html", `href="`+root+`archive.css"`, `href="`+root+`story/index.html"`, `action="`+root+`search/index.html"`, `<meta name="robots" content="noindex">`)
		if bytes.Contains(files["sitemap.xml"], []byte("404")) || bytes.Contains(files["404.html"], []byte("canonical")) || bytes.Contains(files["404.html"], []byte("og:")) {
			t.Error("the page passes for one of the archive's")
		}
	}
}

func TestLongListsShowPicturesOfTheNewestOnly(t *testing.T) {
	a := fixture()
	for i := range 60 {
		a.Stories = append(a.Stories, cleared.NewStory(story(fmt.Sprintf("more-%02d", i), fmt.Sprintf("Story number %d", i), cleared.Area{Key: "hull", Name: "Hull"}, day.MustParse("2030-11-28").AddDays(i).String())))
	}
	files := built(t, a)
	for _, name := range []string{"story/index.html", "area/hull/index.html"} {
		page := string(files[name])
		if got := strings.Count(page, `<article class="card`); got != onList {
			t.Errorf("%s has %d cards, want %d", name, got, onList)
		}
		for i := range 60 {
			if link := fmt.Sprintf(`<a href="%sstory/more-%02d/index.html">`, strings.Repeat("../", strings.Count(name, "/")), i); strings.Count(page, link) != 1 {
				t.Errorf("%s links %d times to story more-%02d", name, strings.Count(page, link), i)
			}
		}
		contains(t, files, name, "<h3 class=\"month\">December 2030</h3>")
	}
	contains(t, files, "search/index.html", `<noscript>`, `<a href="../story/index.html">`)
}

// Open Graph (ogp.me, read in 2026): four properties are required, og:locale is
// language_TERRITORY, and an image may say its size and what it shows.
func TestPagesCanBePassedOn(t *testing.T) {
	files := built(t, fixture())
	for _, name := range pagesOf(files) {
		if name == "404.html" {
			continue
		}
		got := map[string]string{}
		elements(t, name, files[name], func(n *html.Node) {
			if property := attr(n, "property"); n.Data == "meta" && property != "" {
				if got[property] != "" {
					t.Errorf("%s has %s twice", name, property)
				}
				got[property] = attr(n, "content")
			}
		})
		address := "https://example.org/" + strings.TrimSuffix(name, "index.html")
		if got["og:url"] != address || got["og:locale"] != "en_GB" || got["og:title"] == "" || got["og:type"] == "" || got["og:site_name"] == "" {
			t.Errorf("%s: %v", name, got)
		}
		image := strings.TrimPrefix(got["og:image"], "https://example.org/")
		if files[image] == nil || got["og:image:alt"] == "" || got["og:image:width"] == "" || got["og:image:height"] == "" {
			t.Errorf("%s: its picture is %q", name, image)
		}
		if strings.HasPrefix(image, "pictures/") && !publicName.MatchString(strings.TrimPrefix(image, "pictures/")) {
			t.Errorf("%s: its picture %q is not named by its digest", name, image)
		}
		contains(t, files, name, `<link rel="canonical" href="`+address+`">`)
	}
	contains(t, files, "story/floor-stiffener/index.html", `content="article"`, `property="article:published_time" content="2031-02-20"`, `property="og:image" content="https://example.org/pictures/00000001w1200.jpg"`)
	contains(t, files, "stop/hull-floor/index.html", `property="og:image" content="https://example.org/pictures/00000001w1200.jpg"`)
	for language, want := range map[string]string{"en-GB": "en_GB", "cy": "", "sr-Latn-RS": "sr_RS", "zh-Hans": ""} {
		if got := locale(language); got != want {
			t.Errorf("locale(%q) = %q, want %q", language, got, want)
		}
	}
}

// sitemaps.org, protocol 0.9: absolute addresses of one host, each once, under
// 2,048 characters; lastmod in W3C Datetime; 50,000 addresses at most.
func TestSitemapFollowsItsProtocol(t *testing.T) {
	files := built(t, fixture())
	var sitemap struct {
		XMLName xml.Name `xml:"http://www.sitemaps.org/schemas/sitemap/0.9 urlset"`
		URLs    []struct {
			Loc     string `xml:"loc"`
			LastMod string `xml:"lastmod"`
		} `xml:"url"`
	}
	if err := xml.Unmarshal(files["sitemap.xml"], &sitemap); err != nil {
		t.Fatal(err)
	}
	last := map[string]string{}
	for _, u := range sitemap.URLs {
		if _, twice := last[u.Loc]; twice || !strings.HasPrefix(u.Loc, "https://example.org/") || len(u.Loc) >= 2048 {
			t.Errorf("address %q", u.Loc)
		}
		if _, err := day.Parse(u.LastMod); err != nil && u.LastMod != "" {
			t.Errorf("%s: lastmod %q", u.Loc, u.LastMod)
		}
		last[u.Loc] = u.LastMod
	}
	for _, name := range pagesOf(files) {
		_, listed := last["https://example.org/"+strings.TrimSuffix(name, "index.html")]
		if unlisted := name == "404.html" || name == "search/index.html"; listed == unlisted {
			t.Errorf("%s is listed: %v", name, listed)
		}
	}
	for path, want := range map[string]string{"": "2031-02-27", "story/floor-stiffener/": "2031-02-25", "story/bilge-pump/": "2031-01-30", "edition/2031-W04/": "2031-02-20"} {
		if got := last["https://example.org/"+path]; got != want {
			t.Errorf("/%s last changed on %q, want %s", path, got, want)
		}
	}
}

func TestOtherLanguagesAreMarked(t *testing.T) {
	a := fixture()
	f := story("mur", "Y wal", cleared.Area{Key: "hull", Name: "Hull"}, "2031-02-28")
	f.Language = "cy"
	a.Stories = append(a.Stories, cleared.NewStory(f))
	files := built(t, a)
	contains(t, files, "story/mur/index.html", `<article class="story" lang="cy">`)
	contains(t, files, "index.html", `<article class="card bare" lang="cy">`)
	if strings.Count(string(files["index.html"]), "lang=") != 2 {
		t.Error("what is in the archive's own language is marked too")
	}
}

func TestCorrectionsStandOnTheirStoryAndTheirEdition(t *testing.T) {
	files := built(t, fixture())
	contains(t, files, "story/floor-stiffener/index.html", "<h2>Corrections</h2>",
		`<time class="meta" datetime="2031-02-20">20 February 2031</time> We said that floor-stiffener-1 was`, `<time class="meta" datetime="2031-02-25">25 February 2031</time> We said that floor-stiffener-2 was`)
	contains(t, files, "stop/hull-floor/index.html", "<h3>Corrections</h3>", "We said that floor-stiffener-1 was") // a printed card leads here
	contains(t, files, "edition/2031-W04/index.html", "<h2>Correction</h2>", `<a href="../../story/floor-stiffener/index.html">The floor that rotted from inside</a><br>We said that floor-stiffener-2 was`)
	for name, never := range map[string]string{"edition/2031-W04/index.html": "floor-stiffener-1 was", "story/rudder-skin/index.html": "Correction"} {
		if bytes.Contains(files[name], []byte(never)) {
			t.Errorf("%s holds %q", name, never)
		}
	}
}

func TestCorrectionThatIsNotPublicIsRefused(t *testing.T) {
	for name, c := range map[string]cleared.Correction{
		"its story is not public": corrected("keel-bolt-1", "keel-bolt", "2031-02-20"),
		"its day is not set":      corrected("floor-stiffener-3", "floor-stiffener", ""),
		"its day has not come":    corrected("floor-stiffener-3", "floor-stiffener", "2031-03-02"),
	} {
		a := fixture()
		a.Corrections = append(a.Corrections, c)
		if _, err := Build(context.Background(), a); err == nil || !strings.Contains(err.Error(), c.ID()) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestHomeIsNewestFirst(t *testing.T) {
	home := string(built(t, fixture())["index.html"])
	last := -1
	for _, title := range []string{"A rudder skin with too many holes", "The floor that rotted from inside", "The pump that never stopped"} {
		at := strings.Index(home, title+"</a>")
		if at < last || at < 0 {
			t.Errorf("%q stands at %d, after %d", title, at, last)
		}
		last = at
	}
}

func TestFeedGivesTheDaysOnWhichThingsWereFirstPublic(t *testing.T) {
	var feed struct {
		Channel struct {
			Last  string `xml:"lastBuildDate"`
			Items []struct {
				Title string `xml:"title"`
				Link  string `xml:"link"`
				Date  string `xml:"pubDate"`
			} `xml:"item"`
		} `xml:"channel"`
	}
	if err := xml.Unmarshal(built(t, fixture())["feed.xml"], &feed); err != nil {
		t.Fatal(err)
	}
	want := []string{"2031-02-27", "2031-02-25", "2031-02-20", "2031-02-20", "2031-02-20", "2031-01-30"}
	if len(feed.Channel.Items) != len(want) {
		t.Fatalf("%d items, want %d", len(feed.Channel.Items), len(want))
	}
	for i, item := range feed.Channel.Items {
		// RSS 2.0: dates conform to RFC 822, with four-digit years preferred.
		when, err := time.Parse(time.RFC1123Z, item.Date)
		if err != nil || day.Of(when).String() != want[i] {
			t.Errorf("%s: date %q, want %s (%v)", item.Title, item.Date, want[i], err)
		}
	}
	if !strings.HasPrefix(feed.Channel.Last, "Thu, 27 Feb 2031") {
		t.Errorf("lastBuildDate %q", feed.Channel.Last)
	}
}

func TestSameInputGivesTheSameBytes(t *testing.T) {
	first, second := built(t, fixture()), built(t, fixture())
	if !slices.Equal(slices.Sorted(maps.Keys(first)), slices.Sorted(maps.Keys(second))) {
		t.Fatal("different files")
	}
	for name := range first {
		if !bytes.Equal(first[name], second[name]) {
			t.Errorf("%s differs", name)
		}
	}
	this := time.Now().Year() // the fixture's dates are years ahead of any clock
	for _, name := range append(pagesOf(first), "feed.xml", "sitemap.xml") {
		if strings.Contains(string(first[name]), fmt.Sprint(this)) {
			t.Errorf("%s holds the year of the clock, %d", name, this)
		}
		if strings.Contains(strings.ToLower(string(first[name])), "hugo") {
			t.Errorf("%s names its builder", name)
		}
	}
}

func TestTheEnvironmentAndTheDiskPlayNoPart(t *testing.T) {
	want := built(t, fixture())
	home := t.TempDir()
	for _, name := range []string{"HOME", "XDG_CACHE_HOME", "TMPDIR", "HUGO_CACHEDIR"} {
		t.Setenv(name, home)
	}
	for name, value := range map[string]string{
		"HUGO_TITLE": "ENV-CANARY", "HUGO_PARAMS_X": "ENV-CANARY", "HUGO_PARAMS_MACHINE": "ENV-CANARY", "HUGO_BASEURL": "https://env-canary.example.org/",
		"HUGO_MARKUP_GOLDMARK_RENDERER_UNSAFE": "true", "HUGO_ENVIRONMENT": "env-canary", "HUGO_ENABLEEMOJI": "true",
	} {
		t.Setenv(name, value)
	}
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	stdout, stderr := os.Stdout, os.Stderr
	os.Stdout, os.Stderr = write, write
	got, err := Build(context.Background(), fixture())
	os.Stdout, os.Stderr = stdout, stderr
	write.Close()
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	if _, err := said.ReadFrom(read); err != nil {
		t.Fatal(err)
	}
	if said.Len() > 0 {
		t.Errorf("the build printed %q", said.String())
	}
	for name := range want {
		if !bytes.Equal(got[name], want[name]) {
			t.Errorf("%s differs when HUGO_ variables are set", name)
		}
	}
	left, err := filepath.Glob(filepath.Join(home, "*"))
	if err != nil || len(left) > 0 {
		t.Errorf("the build left %v on the disk (%v)", left, err)
	}
}

// marker stands in every hostile wording, so that a test can find where it went.
const marker = "ZQ"

// hostile are wordings that try to be more than words.
var hostile = []string{
	`ZQ <script>alert(1)</script> ZQ`,
	`ZQ <img src=x onerror=alert(1)>`,
	"ZQ <div onclick=\"x()\">\n\nwords\n\n</div>",
	`ZQ [press](javascript:alert(1)) [press](JaVaScRiPt:alert(1)) [press](vbscript:x) [press](data:text/html,x) [press](file:///etc/passwd)`,
	"ZQ [press](java\tscript:alert(1)) [press](&#106;avascript:alert(1)) <javascript:alert(1)>",
	`ZQ [press](//elsewhere.example.org/x) [press](../../../etc/passwd) [press](/nowhere/) [press](\\\\elsewhere.example.org\\x)`,
	`ZQ ![alt ZQ](https://elsewhere.example.org/dot.png) ![alt](data:image/gif;base64,R0lGODlhAQABAAAAACw=) ![x](/pictures/x.jpg)`,
	`ZQ {{< figure src="https://elsewhere.example.org/dot.png" >}} ZQ`,
	`ZQ {{% param secret %}} {{< unclosed`,
	`ZQ {{ .Site.Title }} {{ site.Params.returns }} {{ readFile "/etc/passwd" }}`,
	"ZQ\n---\nurl: /elsewhere/\nlayout: home\n---\nZQ",
	"+++\ntitle = \"ZQ\"\n+++\nZQ",
	`ZQ"}, "url": "/elsewhere/", {"x": "`,
	"ZQ\n\n<!--more-->\n\n<style>body{display:none}</style> &lt;script&gt; &amp;lt;",
	"ZQ\n\n```goat {onclick=\"x()\"}\n.-->.\n```\n\n# Big {onclick=\"x()\" id=main}\n\n###### Deep",
	"ZQ [ref]: <javascript:x> \"t\"\n\n[ref]\n\n[ref]: javascript:alert(1)",
	"ZQ \uFDD0 \uFDD1script> {\uFDD0{< x >}}",
	"ZQ\n\n| a | b |\n|---|---|\n| <b>x</b> | [y](javascript:z) |",
	`ZQ </title></textarea><svg/onload=alert(1)> ' " ` + "`" + ` &quot; --> ]]>`,
}

// hostileStory puts one wording everywhere that a story has room for.
func hostileStory(f cleared.StoryFields, w string) cleared.StoryFields {
	f.Title, f.CameOff, f.Failed, f.Replaced, f.Body = w, w, w, w, w
	f.Claims = []cleared.Claim{{Say: w, Status: "told", Evidence: w}}
	f.Questions = []cleared.Question{{Ask: w, Answer: w}}
	f.Cautions = []cleared.Caution{{Label: w, Advice: w}}
	f.Credits = []string{w}
	f.Area.Name = w
	f.Photos = []cleared.Photo{photo(w, w, w, 7)}
	return f
}

func hostileSettings(w string) cleared.SettingsFields {
	s := settings()
	s.Workshop, s.Machine, s.PostalAddress, s.LegalLines, s.Areas = w, w, w, []string{w}, nil
	return s
}

func TestHostileWordingIsInertInTheArchive(t *testing.T) {
	for i, w := range hostile {
		a := fixture()
		a.Settings = cleared.NewSettings(hostileSettings(w))
		s := cleared.NewStory(hostileStory(story("bad", "", cleared.Area{Key: "hull"}, "2031-02-27"), w))
		a.Stories = []cleared.Story{s}
		a.Corrections = []cleared.Correction{cleared.NewCorrection(cleared.CorrectionFields{ID: "bad-1", Story: "bad", Title: w, Say: w, PublicFrom: s.PublicFrom()})}
		a.Editions[0].Record.Corrections = []string{"bad-1"}
		a.Words = []cleared.Word{cleared.NewWord(cleared.WordFields{ID: "bad", Word: w, Also: []string{w}, Meaning: w})}
		a.Tours = []cleared.Tour{cleared.NewTour(cleared.TourFields{Title: w, Stops: []cleared.Stop{cleared.NewStop(cleared.StopFields{ID: "bad", At: w, Stories: []cleared.Story{s}})}})}
		a.Editions[0].Record.Subject, a.Editions[0].Record.Preheader, a.Editions[0].Record.Opening = w, w, w
		files, err := Build(context.Background(), a)
		if err != nil {
			t.Errorf("wording %d %q: %v", i, w, err)
			continue
		}
		if _, ok := files["elsewhere/index.html"]; ok {
			t.Errorf("wording %d moved a page", i)
		}
		for _, name := range pagesOf(files) {
			shown := fmt.Sprintf("wording %d in %s", i, name)
			wellFormed(t, shown, files[name])
			onlyOwnLinks(t, shown, files[name])
			for _, v := range loads(t, shown, files[name]) {
				if !ownAddress(name, v) {
					t.Errorf("%s: loads %q", shown, v)
				}
			}
		}
		for _, name := range []string{"feed.xml", "sitemap.xml"} {
			if err := xml.Unmarshal(files[name], new(anyXML)); err != nil {
				t.Errorf("wording %d: %s: %v", i, name, err)
			}
		}
		if !strings.Contains(string(files["story/bad/index.html"]), marker) {
			t.Errorf("wording %d is gone from its page", i)
		}
	}
}

// anyXML takes any XML.
type anyXML struct {
	Inner string `xml:",innerxml"`
}

// onlyOwnLinks checks that no link or script of a wording's own came through.
func onlyOwnLinks(t *testing.T, name string, page []byte) {
	t.Helper()
	scripts := 0
	elements(t, name, page, func(n *html.Node) {
		to := attr(n, "href")
		if strings.Contains(to, "elsewhere") || strings.Contains(to, "passwd") || to == "/nowhere/" || strings.Contains(to, "alert") || strings.Contains(to, "ZgotmplZ") {
			t.Errorf("%s: link to %q", name, to)
		}
		if n.Data == "script" {
			scripts++
		}
	})
	if scripts > 2 {
		t.Errorf("%s: %d scripts", name, scripts)
	}
	if strings.ContainsAny(string(page), "\uFDD0\uFDD1") {
		t.Errorf("%s: a stand-in was left", name)
	}
}

// textOfPage is what a reader sees.
func textOfPage(t *testing.T, page []byte) string {
	t.Helper()
	tree, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	return oneLine(content(tree))
}

func TestSignsPrintAsTyped(t *testing.T) {
	for _, w := range []string{
		`{{< figure src="x" >}}`, `{{% param x %}}`, `{{ .Site.Title }}`, `{{</* x */>}}`, `{{`, `<script>alert(1)</script>`, `a < b > c`, `it’s "3/8" -- or not...`,
		`:smile:`, "`{{< x >}} <b>`",
	} {
		a := fixture()
		f := story("typed", w, cleared.Area{Key: "hull", Name: "Hull"}, "2031-02-27")
		f.CameOff, f.Body = "Came off: "+w+" END", "Body: "+w+" END"
		a.Stories, a.Corrections = []cleared.Story{cleared.NewStory(f)}, nil
		text := textOfPage(t, built(t, a)["story/typed/index.html"])
		for _, want := range []string{"Came off: " + w + " END", "Body: " + strings.Trim(w, "`") + " END"} {
			if !strings.Contains(text, want) {
				t.Errorf("%q does not print as typed: %q", want, text)
			}
		}
	}
}

func TestAllowedLinksComeThrough(t *testing.T) {
	a := fixture()
	f := story("links", "Links", cleared.Area{Key: "hull", Name: "Hull"}, "2031-02-27")
	f.Body = "[a](https://example.com/x?y=1&z=2) [b](mailto:someone@example.org) [c](/word/spar/) [d](/edition/2031-W04/) <https://example.net/> [e](/story/keel-bolt/)"
	a.Stories = append(a.Stories, cleared.NewStory(f))
	contains(t, built(t, a), "story/links/index.html", `href="https://example.com/x?y=1&amp;z=2"`, `href="mailto:someone@example.org"`,
		`href="../../word/spar/index.html"`, `href="../../edition/2031-W04/index.html"`, `href="https://example.net/"`, " e</p>")
}

// layer lays files over a theme.
func layer(files map[string]string) fs.FS {
	m := fstest.MapFS{}
	for name, text := range files {
		m[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return themes.Over(m)
}

func TestThemesThatReachOutAreRefusedWithTheirLine(t *testing.T) {
	for _, call := range []string{
		`{{ readFile "/etc/passwd" }}`, `{{ readDir "." }}`, `{{ os.ReadFile "x" }}`, `{{ (os.Stat "x").Size }}`, `{{ getenv "HOME" }}`, `{{ os.Getenv "HOME" }}`, `{{ fileExists "x" }}`,
		`{{ resources.GetRemote "https://example.org" }}`, `{{ (resources.Get "x") }}`, `{{ $r := resources }}{{ $r.GetRemote "x" }}`, `{{ with resources }}{{ .Get "x" }}{{ end }}`,
		`{{ getJSON "x" }}`, `{{ getCSV "," "x" }}`, `{{ js.Build "x" }}`, `{{ css.Build "x" }}`, `{{ css.Sass "x" }}`, `{{ "x" | css.PostCSS }}`, `{{ transform.ToMath "x" }}`,
		`{{ now }}`, `{{ time.Now }}`, `{{ shuffle (slice 1 2) }}`, `{{ collections.Shuffle (slice 1 2) }}`, `{{ math.Rand }}`, `{{ hugo.Environment }}`, `{{ images.QR "x" }}`, `{{ debug.Dump . }}`,
		`{{ openapi3.Unmarshal "x" }}`, `{{ if true }}{{ else }}{{ template "x" (readFile "y") }}{{ end }}`, `{{ define "z" }}{{ range (readDir ".") }}{{ end }}{{ end }}`,
		`{{ print (print (getenv "A")) }}`, `{{ .GitInfo }}`, `{{ safeJS "x" }}`, `{{ $t := time }}{{ $t.Now }}`, `{{ transform.Unmarshal "x" }}`, `{{ fingerprint "x" }}`,
	} {
		for _, file := range []string{"archive/layouts/story.html", "archive/layouts/_partials/own.html"} {
			a := fixture()
			a.Theme = layer(map[string]string{file: "<p>\n{{/* one\ntwo */}}\n" + call + "\n"})
			_, err := Build(context.Background(), a)
			if err == nil || !strings.HasPrefix(err.Error(), "site: theme archive: themes/"+file+":4: ") {
				t.Errorf("%s in %s: got %v", call, file, err)
			}
		}
	}
}

func TestThemesMayChangeTheLook(t *testing.T) {
	a := fixture()
	a.Theme = layer(map[string]string{
		"archive/layouts/withdrawn.html": `{{ define "main" }}{{ range $i, $x := seq 3 }}<p>{{ add $i 1 }} {{ strings.ToUpper $.Title }}</p>{{ end }}{{ with site.Params.machine }}{{ . | lower }}{{ end }}{{ end }}`,
		"archive/static/own.css":         "p { color: navy }",
	})
	files := built(t, a)
	contains(t, files, "story/wrong-colour/index.html", "3 A STORY THAT WAS TAKEN BACK", "oystercatcher fo-7")
	contains(t, files, "own.css", "navy")
}

func TestThemesHoldNothingElse(t *testing.T) {
	for _, file := range []string{
		"archive/content/_content.gotmpl", "archive/layouts/_content.gotmpl", "archive/layouts/_content.html", "archive/hugo.toml", "archive/data/x.json", "archive/assets/x.js",
		"archive/layouts/_markup/render-link.html", "archive/layouts/_shortcodes/x.txt", "archive/config.yaml",
	} {
		a := fixture()
		a.Theme = layer(map[string]string{file: "x"})
		if _, err := Build(context.Background(), a); err == nil || !strings.Contains(err.Error(), "themes/"+file+": ") {
			t.Errorf("%s: got %v", file, err)
		}
	}
}

func TestThemesMayNotReplaceAPageByAFile(t *testing.T) {
	for _, name := range []string{"index.html", "search-index.js", "story/bilge-pump/index.html"} {
		a := fixture()
		a.Theme = layer(map[string]string{"archive/static/" + name: "x"})
		if _, err := Build(context.Background(), a); err == nil || !strings.Contains(err.Error(), "themes/archive/static/"+name) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestPictureThatCannotBeReadGivesNoFiles(t *testing.T) {
	a := fixture()
	f := story("torn", "Torn", cleared.Area{Key: "hull", Name: "Hull"}, "2031-01-01")
	f.Photos = []cleared.Photo{cleared.NewPhoto(cleared.PhotoFields{Alt: "x", Copies: []cleared.Copy{cleared.NewCopy(cleared.CopyFields{
		Use: cleared.Web400, Width: 400, Height: 300, Name: "ab12.jpg", Open: func() ([]byte, error) { return nil, fs.ErrNotExist },
	})}})}
	a.Stories = append(a.Stories, cleared.NewStory(f))
	if files, err := Build(context.Background(), a); !errors.Is(err, fs.ErrNotExist) || files != nil {
		t.Errorf("%d files, %v", len(files), err)
	}
}

func TestFaultsInAThemeGiveAnErrorAndNoFiles(t *testing.T) {
	for what, override := range map[string]string{
		"a syntax error":   "{{ if }}",
		"a run-time error": `{{ define "main" }}{{ index (slice 1) "x" "y" }}{{ end }}`,
		"an error said":    `{{ define "main" }}{{ errorf "no" }}{{ end }}`,
		"a warning":        `{{ define "main" }}{{ warnf "look here" }}{{ end }}`,
		"a missing part":   `{{ define "main" }}{{ partial "nowhere.html" . }}{{ end }}`,
		"an empty layout":  " ",
	} {
		a := fixture()
		a.Theme = layer(map[string]string{"archive/layouts/story.html": override})
		files, err := Build(context.Background(), a)
		if err == nil || files != nil {
			t.Errorf("%s: %d files, error %v", what, len(files), err)
		}
		if what == "a run-time error" && !strings.Contains(err.Error(), "themes/archive/layouts/story.html:1:22: ") {
			t.Errorf("the error does not name the place: %v", err)
		}
	}
	contains(t, built(t, fixture()), "index.html", "Oystercatcher") // a failed build leaves nothing behind
}

func TestBuildRefusesWhatItCannotPublish(t *testing.T) {
	hull := cleared.Area{Key: "hull", Name: "Hull"}
	for what, change := range map[string]func(*Archive){
		"is not public": func(a *Archive) {
			a.Stories = append(a.Stories, cleared.NewStory(story("soon", "Soon", hull, "2031-03-02")))
		},
		"lower-case words": func(a *Archive) {
			a.Stories = []cleared.Story{cleared.NewStory(story("../up", "Up", hull, "2031-01-01"))}
		},
		"two pages want":     func(a *Archive) { a.Stories = append(a.Stories, a.Stories[0]) },
		"address of the arc": func(a *Archive) { s := settings(); s.Site = "example.org"; a.Settings = cleared.NewSettings(s) },
		"no copies for the web": func(a *Archive) {
			f := story("bare", "Bare", hull, "2031-01-01")
			f.Photos = []cleared.Photo{cleared.NewPhoto(cleared.PhotoFields{Caption: "c"})}
			a.Stories, a.Corrections = []cleared.Story{cleared.NewStory(f)}, nil
		},
		"must be proven, likely or told": func(a *Archive) {
			f := story("odd", "Odd", hull, "2031-01-01")
			f.Claims[0].Status = "certain"
			a.Stories, a.Corrections = []cleared.Story{cleared.NewStory(f)}, nil
		},
	} {
		a := fixture()
		change(&a)
		if _, err := Build(context.Background(), a); err == nil || !strings.Contains(err.Error(), what) {
			t.Errorf("want an error with %q, got %v", what, err)
		}
	}
	stopped, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Build(stopped, fixture()); err != context.Canceled {
		t.Errorf("a build that was called off: %v", err)
	}
}

func TestIDsThatHugoWouldTakeForSpecialFilesAreOrdinary(t *testing.T) {
	a := fixture()
	for _, id := range []string{"index", "readme", "en", "de", "x-en"} {
		a.Stories = append(a.Stories, cleared.NewStory(story(id, "Story "+id, cleared.Area{Key: "hull", Name: "Hull"}, "2031-01-02")))
	}
	files := built(t, a)
	for _, id := range []string{"index", "readme", "en", "de", "x-en"} {
		contains(t, files, "story/"+id+"/index.html", "<h1>Story "+id+"</h1>")
	}
}

// An edition from before there was a chart has its page all the same.
func TestEditionPageHasItsChartIfItHasOne(t *testing.T) {
	const page = "edition/2031-W04/index.html"
	if html := string(built(t, fixture())[page]); strings.Contains(html, "Parts back on") || !strings.Contains(html, "How far the parts have come") {
		t.Errorf("an edition without a chart reads\n%s", html)
	}
	html := string(built(t, large())[page])
	for _, want := range []string{"Parts back on", "<title", "<desc", "By 22 January 2031, 7 of the 25 parts that came off were back on.", "between 2 and 12 more parts"} {
		if !strings.Contains(html, want) {
			t.Errorf("the page of an edition with a chart has no %q", want)
		}
	}
}
