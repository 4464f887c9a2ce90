package site

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/themes"
	"golang.org/x/net/html"
)

// weekly is a whole edition, but for corrections, which few have.
func weekly() edition.Edition {
	hull, tail := cleared.Area{Key: "hull", Name: "Hull"}, cleared.Area{Key: "tail", Name: "Tail"}
	lead := story("floor-stiffener", "The floor that rotted from inside", hull, "2031-03-20")
	lead.Photos = []cleared.Photo{
		photo("A thin metal strip on a bench, its lower edge eaten away in small craters.", "The old floor stiffener, pitted under its paint.", "Tam Reddle", 1),
		photo("Not in a letter.", "SECOND-CANARY", "", 2),
	}
	second := story("rudder-skin", "A rudder skin with too many holes", tail, "2031-01-02")
	second.Body = "BODY-CANARY the longer account of the second story."
	word := words()[1]
	return edition.Edition{
		Words: cleared.NewEditionWords(cleared.EditionWordsFields{
			Week: day.MustParseWeek("2031-W07"), Subject: "A strip you could push a pick through", Preheader: "One hull stiffener, and what salt did to it.",
			Opening: "It was a cold week and a good one. The [register](https://example.org/register) has grown by *three* parts. See [the page](/story/floor-stiffener/) and [another](/story/rudder-skin).\n\nThank you.",
			Ask:     &cleared.Ask{Text: "A sheet of new metal costs GBP 85.00. Would you buy a corner of it?", URL: "https://example.org/give", Earlier: "Last month’s gifts bought the rivets for the tail."},
			Photos:  []cleared.Photo{photo("A row of clamps.", "Clamps, waiting.", "", 4)},
		}),
		Stories: []cleared.Story{cleared.NewStory(lead), cleared.NewStory(second)},
		Word:    &word,
		YearAgo: &edition.YearAgo{ID: "bilge-pump", Title: "The pump that never stopped"},
		Figures: figures(), Since: edition.Figures{Off: 2, Inspected: 1, Fitted: 1},
		RollOut: day.MustParse("2031-05-03"), On: day.MustParse("2031-02-13"),
	}
}

func letter(t *testing.T, s cleared.SettingsFields, e edition.Edition) Letter {
	t.Helper()
	l, err := MakeLetter(context.Background(), themes.Embedded(), cleared.NewSettings(s), e)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func holds(t *testing.T, what string, text []byte, want ...string) {
	t.Helper()
	flat := strings.Join(strings.Fields(string(text)), " ")
	for _, w := range want {
		if !strings.Contains(flat, w) {
			t.Errorf("%s lacks %q", what, w)
		}
	}
}

func TestBothPartsSayTheSame(t *testing.T) {
	l := letter(t, settings(), weekly())
	if l.Subject != "A strip you could push a pick through" {
		t.Errorf("subject %q", l.Subject)
	}
	same := []string{
		"A strip you could push a pick through", "It was a cold week and a good one.", "A minute’s reading", "Week of 10 February 2031",
		"The floor that rotted from inside", "What came off", "had lost 15 percent", "Under the floor boards the paint looked sound.",
		"Proven:", "Likely:", "Told, not proven:", "Sharp edges: Hold it by the flat", "New strip folded by the Tuesday bench.",
		"A rudder skin with too many holes", "What replaced it: ", "The whole story, with pictures", "Clamps, waiting.", "Photo: Tam Reddle.",
		"A word of the trade: stringer", "It runs along the hull.", "A year ago this week: The pump that never stopped",
		"Since the last update: 2 came off, 1 inspected and 1 fitted.",
		"Hull: 24 parts came off. 6 still to be looked at, 4 inspected, 3 waiting on others, 5 ready to go back and 6 fitted again.", "Tail: 1 part came off. 1 inspected.",
		"3 May 2031", "GBP 85.00", "Last month’s gifts", "See how to help",
		"not an airworthiness statement", "local rules", "as a member of Marram Sound Flying Boat Trust",
		"To leave, write to returns@example.org with the word leave.", "The Slipway, Marram Sound", "Registered charity in an invented country.",
	}
	holds(t, "the text part", l.Text, same...)
	holds(t, "the HTML part", []byte(textOfPage(t, l.HTML)), same...)
	holds(t, "the HTML part", l.HTML, `href="mailto:returns@example.org?subject=leave"`, `>One hull stiffener, and what salt did to it.`)
	for _, never := range []string{"CANARY", "floor-stiffener"} {
		if bytes.Contains(l.HTML, []byte(never)) || bytes.Contains(l.Text, []byte(never)) {
			t.Errorf("the letter holds %q", never)
		}
	}
	holds(t, "the text part", l.Text, "register [1]", "[1] https://example.org/register", "See the page and another [2].", "The whole story, with pictures [2]", "[2] https://example.org/story/rudder-skin/", "https://example.org/give")
}

func TestLetterOrder(t *testing.T) {
	text := string(letter(t, settings(), weekly()).Text)
	last := -1
	for _, s := range []string{"DRAFT", "It was a cold week", "The floor that rotted", "A rudder skin", "From the bench", "How far the parts", "One thing you could do", "A word of the trade", "A year ago", "Links\n-----", "Drawn from the workshop", "To leave", "\n-- \n"} {
		at := strings.Index(text, s)
		if s == "DRAFT" {
			if at >= 0 {
				t.Error("a cleared letter says DRAFT")
			}
			continue
		}
		if at <= last {
			t.Errorf("%q stands at %d, before what should precede it at %d", s, at, last)
		}
		last = at
	}
}

// A correction stands above all else in both parts, with a link while the archive
// has its story.
func TestCorrectionsLeadBothParts(t *testing.T) {
	e := weekly()
	e.Corrections = []cleared.Correction{corrected("ONE", "bilge-pump", "2031-02-13"), corrected("TWO", "floor-stiffener", "2031-02-14"), corrected("THREE", "keel-bolt", "")}
	l := letter(t, settings(), e)
	letterForm(t, "a letter with corrections", l)
	for what, text := range map[string]string{"the text part": string(l.Text), "the HTML part": textOfPage(t, l.HTML)} {
		text = strings.Join(strings.Fields(text), " ")
		last := -1
		for _, s := range []string{"Marram Sound Flying Boat Trust", "Correction: The floor that rotted from inside", "We said that ONE was the original strip. It was a spare", "The story as it stands now", "that TWO was", "that THREE was", "It was a cold week"} {
			at := strings.Index(text, s)
			if at <= last {
				t.Errorf("%s: %q stands at %d, before what should precede it at %d", what, s, at, last)
			}
			last = at
		}
		if n := strings.Count(text, "Correction: "); n != 3 {
			t.Errorf("%s has %d corrections, want 3", what, n)
		}
		if n := strings.Count(text, "The story as it stands now"); n != 1 {
			t.Errorf("%s has %d links, want one: the day of the second comes tomorrow, and the third has none", what, n)
		}
	}
	holds(t, "the HTML part", l.HTML, `<a href="https://example.org/story/bilge-pump/"`)
	if bytes.Contains(l.HTML, []byte("story/floor-stiffener")) || bytes.Contains(l.Text, []byte("story/floor-stiffener")) {
		t.Error("the letter leads to a story that is not public")
	}
	if text := textOfPage(t, letter(t, settings(), weekly()).HTML); strings.Contains(text, "Correction") {
		t.Error("a letter without one has a correction")
	}
}

func TestPicturesGoByContentID(t *testing.T) {
	l := letter(t, settings(), weekly())
	if len(l.Pictures) != 2 {
		t.Fatalf("%d pictures, want 2", len(l.Pictures))
	}
	used := map[string]bool{}
	elements(t, "letter", l.HTML, func(n *html.Node) {
		if n.Data != "img" {
			return
		}
		cid, ok := strings.CutPrefix(attr(n, "src"), "cid:")
		if !ok {
			t.Errorf("a picture comes from %q", attr(n, "src"))
		}
		used[cid] = true
		// With a height, two mailboxes would stretch it where the page is narrow.
		if attr(n, "alt") == "" || attr(n, "width") != "560" || attr(n, "height") != "" {
			t.Errorf("picture %s: alt %q, width %s, height %s", cid, attr(n, "alt"), attr(n, "width"), attr(n, "height"))
		}
	})
	for _, p := range l.Pictures {
		if !used[p.ContentID] || !strings.HasSuffix(p.ContentID, "@example.org") || !bytes.HasPrefix(p.JPEG, []byte{0xFF, 0xD8}) {
			t.Errorf("picture %s (%s), used %v", p.ContentID, p.Name, used[p.ContentID])
		}
	}
}

// letterForm checks what every letter keeps to, whatever is in it.
func letterForm(t *testing.T, what string, l Letter) {
	t.Helper()
	if len(l.HTML) >= 100*1000 {
		t.Errorf("%s: %d bytes of HTML", what, len(l.HTML))
	}
	for _, line := range bytes.Split(l.HTML, []byte("\n")) {
		if len(line) > 998 { // RFC 5322 section 2.1.1, in octets by RFC 6532 section 3.4
			t.Errorf("%s: a line of HTML has %d octets: %.80q…", what, len(line), line)
		}
	}
	for _, line := range strings.Split(string(l.Text), "\n") {
		// RFC 5322 section 2.1.1: 78 characters. An address alone on its line may be longer.
		if utf8.RuneCountInString(line) > 78 && strings.Contains(strings.Trim(line, " -[]0123456789>"), " ") {
			t.Errorf("%s: a line of text has %d characters: %q", what, utf8.RuneCountInString(line), line)
		}
	}
	if strings.ContainsAny(l.Subject, "\r\n") {
		t.Errorf("%s: subject %q", what, l.Subject)
	}
	wellFormed(t, what, l.HTML)
	roundTrip(t, what, l.HTML)
	onlyOwnLinks(t, what, l.HTML)
	for _, v := range loads(t, what, l.HTML) {
		if !strings.HasPrefix(v, "cid:") {
			t.Errorf("%s: loads %q", what, v)
		}
	}
	if regexp.MustCompile(`(?i)<script|<link|<iframe|<form|<base|url\(|@import`).Match(l.HTML) {
		t.Errorf("%s: holds an element that a letter may not have", what)
	}
	if strings.ContainsAny(string(l.Text), "\uFDD0\uFDD1") {
		t.Errorf("%s: a stand-in was left in the text", what)
	}
}

func TestLetterKeepsToTheFormOfMail(t *testing.T) {
	letterForm(t, "the letter", letter(t, settings(), weekly()))
	e := weekly()
	f := story("long", "Long", cleared.Area{Key: "hull", Name: "Hull"}, "2031-01-01")
	f.Body = strings.Repeat("One long paragraph about a long week in the workshop. ", 400)
	f.Failed = strings.Repeat("Salt water crept in and crept in. ", 60)
	e.Stories = []cleared.Story{cleared.NewStory(f), cleared.NewStory(f)}
	letterForm(t, "a long letter", letter(t, settings(), e))
	letterForm(t, "an empty letter", letter(t, settings(), edition.Edition{Words: cleared.NewEditionWords(cleared.EditionWordsFields{Week: day.MustParseWeek("2031-W08")})}))
}

func TestLetterTooHeavyIsAnError(t *testing.T) {
	e := weekly()
	f := story("long", "Long", cleared.Area{Key: "hull", Name: "Hull"}, "2031-01-01")
	f.Body = strings.Repeat("One long paragraph about a long week in the workshop. ", 2000)
	e.Stories = []cleared.Story{cleared.NewStory(f)}
	_, err := MakeLetter(context.Background(), themes.Embedded(), cleared.NewSettings(settings()), e)
	if err == nil || !strings.Contains(err.Error(), "shorten the opening") {
		t.Errorf("got %v", err)
	}
}

func TestHostileWordingIsInertInTheLetter(t *testing.T) {
	for i, w := range hostile {
		e := weekly()
		hull := cleared.Area{Key: "hull", Name: "Hull"}
		bad := cleared.NewStory(hostileStory(story("bad", "", hull, "2031-02-01"), w))
		e.Stories = []cleared.Story{bad, bad}
		e.Corrections = []cleared.Correction{cleared.NewCorrection(cleared.CorrectionFields{ID: "bad-1", Story: "bad", Title: w, Say: w, PublicFrom: bad.PublicFrom()})}
		word := cleared.NewWord(cleared.WordFields{ID: "bad", Word: w, Meaning: w})
		e.Word, e.YearAgo = &word, &edition.YearAgo{ID: "bad", Title: w}
		e.Figures = []edition.Figures{{Area: cleared.Area{Key: "hull", Name: w}, Off: 1}}
		e.Words = cleared.NewEditionWords(cleared.EditionWordsFields{
			Week: day.MustParseWeek("2031-W07"), Subject: w, Preheader: w, Opening: w, Ask: &cleared.Ask{Text: w, URL: "https://example.org/give", Earlier: w},
			Photos: []cleared.Photo{photo(w, w, w, 8)},
		})
		l, err := MakeLetter(context.Background(), themes.Embedded(), cleared.NewSettings(hostileSettings(w)), e)
		if err != nil {
			t.Errorf("wording %d %q: %v", i, w, err)
			continue
		}
		letterForm(t, fmt.Sprintf("wording %d", i), l)
		holds(t, fmt.Sprintf("wording %d as text", i), l.Text, marker)
		holds(t, fmt.Sprintf("wording %d as HTML", i), l.HTML, marker)
	}
}

func TestSignsPrintAsTypedInBothParts(t *testing.T) {
	for _, w := range []string{`{{< figure src="x" >}}`, `{{% param x %}}`, `{{ .Site.Title }}`, `<script>alert(1)</script>`, `a < b & c > d`, `it’s "3/8" -- or not...`, `&lt;`} {
		e := weekly()
		f := story("typed", w, cleared.Area{Key: "hull", Name: "Hull"}, "2031-01-01")
		f.CameOff = "Came off: " + w + " END"
		if w != `&lt;` { // in Markdown, though not in plain text, this is written as a sign
			f.Body = "Body: " + w + " END"
		}
		e.Stories = []cleared.Story{cleared.NewStory(f)}
		l := letter(t, settings(), e)
		for what, text := range map[string][]byte{"text": l.Text, "HTML": []byte(textOfPage(t, l.HTML))} {
			holds(t, what, text, "Came off: "+w+" END")
			if f.Body[:5] == "Body:" {
				holds(t, what, text, "Body: "+w+" END")
			}
		}
	}
}

func TestLetterIsTheSameTwiceWhateverTheEnvironment(t *testing.T) {
	first := letter(t, settings(), weekly())
	t.Setenv("HUGO_TITLE", "ENV-CANARY")
	t.Setenv("HUGO_PARAMS_SITE", "https://env-canary.example.org/")
	t.Setenv("HUGO_PARAMS_X", "ENV-CANARY")
	second := letter(t, settings(), weekly())
	if !bytes.Equal(first.HTML, second.HTML) || !bytes.Equal(first.Text, second.Text) || first.Subject != second.Subject {
		t.Error("two letters of one edition differ")
	}
}

// copied is the embedded theme as a map that a test may change.
func copied(t *testing.T) fstest.MapFS {
	t.Helper()
	m := fstest.MapFS{}
	err := fs.WalkDir(themes.Embedded(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasPrefix(name, "letter/") && !strings.HasPrefix(name, "archive/") {
			return err
		}
		data, err := fs.ReadFile(themes.Embedded(), name)
		m[name] = &fstest.MapFile{Data: data}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestMissingLayoutIsAnErrorNotAnotherLayout(t *testing.T) {
	for _, name := range letterLayouts {
		m := copied(t)
		delete(m, "letter/layouts/"+name)
		_, err := MakeLetter(context.Background(), m, cleared.NewSettings(settings()), weekly())
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("without %s: got %v", name, err)
		}
	}
	for _, name := range archiveLayouts {
		m := copied(t)
		delete(m, "archive/layouts/"+name)
		a := fixture()
		a.Theme = m
		if _, err := Build(context.Background(), a); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("without %s: got %v", name, err)
		}
	}
}

func TestLetterThemesThatReachOutAreRefused(t *testing.T) {
	theme := layer(map[string]string{"letter/layouts/_partials/why.html": "one\n{{ resources.GetRemote \"https://example.org/\" }}"})
	_, err := MakeLetter(context.Background(), theme, cleared.NewSettings(settings()), weekly())
	if err == nil || !strings.Contains(err.Error(), "themes/letter/layouts/_partials/why.html:2: resources.GetRemote may not be used") {
		t.Errorf("got %v", err)
	}
}

func TestPreviewSaysDraftAtTopAndBottomAndInTheSubject(t *testing.T) {
	words := cleared.NewDraft(weekly().Words)
	p, err := edition.AssemblePreview(words, nil, edition.Material{})
	if err != nil {
		t.Fatal(err)
	}
	l, err := PreviewLetter(context.Background(), themes.Embedded(), cleared.NewDraft(cleared.NewSettings(settings())), p)
	if err != nil {
		t.Fatal(err)
	}
	if l.Subject != "DRAFT: A strip you could push a pick through" {
		t.Errorf("subject %q", l.Subject)
	}
	const stamp = "DRAFT. Not cleared, not to be sent."
	lines := strings.Split(strings.TrimSpace(string(l.Text)), "\n")
	if !strings.Contains(lines[0], stamp) || !strings.Contains(lines[len(lines)-1], stamp) {
		t.Errorf("text begins %q and ends %q", lines[0], lines[len(lines)-1])
	}
	shown := textOfPage(t, l.HTML)
	if strings.Count(shown, stamp) != 2 || !strings.HasSuffix(strings.TrimSpace(shown), stamp) {
		t.Errorf("HTML says it %d times", strings.Count(shown, stamp))
	}
}

func TestLetterWithoutItsFooterIsRefused(t *testing.T) {
	for want, change := range map[string]func(*cleared.SettingsFields){
		"postal_address": func(s *cleared.SettingsFields) { s.PostalAddress = " " },
		"post.returns":   func(s *cleared.SettingsFields) { s.Returns = "" },
	} {
		s := settings()
		change(&s)
		if _, err := MakeLetter(context.Background(), themes.Embedded(), cleared.NewSettings(s), weekly()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %s, got %v", want, err)
		}
	}
}

func TestAskMayOnlyLeadToAPageOrAMailbox(t *testing.T) {
	for _, to := range []string{"javascript:alert(1)", "//elsewhere.example.org", "data:text/html,x", ""} {
		e := weekly()
		e.Words = cleared.NewEditionWords(cleared.EditionWordsFields{Week: day.MustParseWeek("2031-W07"), Ask: &cleared.Ask{Text: "Help", URL: to}})
		if _, err := MakeLetter(context.Background(), themes.Embedded(), cleared.NewSettings(settings()), e); err == nil {
			t.Errorf("an ask that leads to %q was taken", to)
		}
	}
}

func TestTextOf(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"<h1>Big</h1><p>a  b\nc</p>", "Big\n===\n\na b c\n"},
		{"<h2>Été</h2>", "Été\n---\n"},
		// A line that begins with a space has one more (RFC 3676 section 4.4).
		{"<p>x</p><ul><li>one</li><li>two<ul><li>in</li></ul></li></ul><p>y</p>", "x\n\n- one\n- two\n   - in\n\ny\n"},
		{"<ol><li><p>one</p><p>more</p></li><li>two</li></ol>", "1. one\n\n    more\n2. two\n"},
		{`<p><a href="https://a.example/">a</a> <a href="https://b.example/">b</a> <a href="https://a.example/">c</a></p><nav></nav><p>end</p>`,
			"a [1] b [2] c [1]\n\nLinks\n-----\n[1] https://a.example/\n[2] https://b.example/\n\nend\n"},
		{`<p><a href="https://a.example/">https://a.example/</a> <a href="mailto:x@example.org">x@example.org</a></p><nav></nav>`, "https://a.example/ x@example.org\n"},
		{"<p>one<br>two</p>", "one\ntwo\n"},
		{"<blockquote><p>said</p></blockquote>", "> said\n"},
		{"<p>a</p><blockquote><p>said</p><p>on</p><blockquote><p>in</p></blockquote></blockquote><p>b</p>", "a\n\n> said\n>\n> on\n>\n>> in\n\nb\n"},
		{"<pre><code>a\n  b</code></pre><p>c</p>", "     a\n       b\n\nc\n"},
		{"<p>x</p><table><tr><th>A</th><th>B</th></tr><tr><td>1</td><td>2</td></tr></table>", "x\n\nA | B\n1 | 2\n"},
		{"<h3>Small</h3><p>&gt; no quote</p><p>From here</p>", "Small\n~~~~~\n\n > no quote\n\n From here\n"},
		{"<p>It is <del>not</del> done.</p>", "It is ~~not~~ done.\n"},
		{"<p>end</p><footer><p>Trust</p><p>Law</p></footer>", "end\n\n-- \nTrust\n\nLaw\n"},
		{"<p>&lt;b&gt; &amp;amp;</p><style>p{}</style>", "<b> &amp;\n"},
	} {
		got, err := textOf([]byte(c.in))
		if err != nil || string(got) != c.want {
			t.Errorf("%s\n got %q\nwant %q (%v)", c.in, got, c.want, err)
		}
	}
}

func TestFoldingChangesNothingThatIsSeen(t *testing.T) {
	long := strings.Repeat("word ", 800)
	page := `<!doctype html><html><head><style>a { color: red } ` + long + `</style></head><body><p title="` + strings.Repeat("t", 300) + `">` + long + `</p><pre>` + long + `</pre></body></html>`
	got := string(foldLines([]byte(page)))
	if strings.Join(strings.Fields(got), " ") != strings.Join(strings.Fields(page), " ") {
		t.Error("folding changed a word")
	}
	if !strings.Contains(got, "<pre>"+long+"</pre>") || !strings.Contains(got, long+"</style>") {
		t.Error("folding changed what is kept as written")
	}
	paragraph := got[strings.Index(got, "<p"):strings.Index(got, "<pre>")]
	for _, line := range strings.Split(paragraph, "\n") {
		if len(line) > longestLine {
			t.Errorf("a line has %d octets", len(line))
		}
	}
}
