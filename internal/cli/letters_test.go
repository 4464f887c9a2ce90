package cli_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/cli"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/post"
	"example.org/opencowl/internal/post/inbox"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/testtool"
)

// everythingMarked is Markdown with everything that an opening can hold.
const everythingMarked = `It was a *long* week, **truly**, ~~not~~ and ` + "`short`" + `. See [the help page](https://example.org/help/) or <https://example.org/>.

## A heading

One line\
and the next.

- first the paint
- then the metal
    - and more paint under it
- [x] done

1. begin
2. go on

   and on

> Somebody said this slowly, with a mug of tea in each hand.
>
> > And somebody said it before them.

| part | state |
|------|------:|
| old  | worn  |

spar
: What carries the wing.

---

` + "```" + `
 a drawing
` + "```" + `

![a picture that is none](nothing.jpg)

So it goes.
`

// everythingAsked is an edition's front matter with everything in it.
const everythingAsked = `photos: [2030-12-02-strake.jpg]
ask:
  text: If you have a clean brush to spare, the Tuesday bench would be glad of it.
  url: https://example.org/help/
  earlier: Last time you bought the sheet for the floor, {fact:hull-floor-stiffener.cost|money} of it.
written_by: nell
`

// posted makes a demo workspace, has an edition with everything in it frozen and
// posted, and returns letters as members get them: that one from the server, and one
// of each earlier edition, composed from its frozen bytes.
func posted(t *testing.T) map[string][]byte {
	t.Helper()
	from, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "w")
	if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	server, err := inbox.Listen(filepath.Join(dir, "inbox"))
	if err != nil {
		t.Fatal(err)
	}
	defer server.Close()
	edit := func(name string, change func(string) string) {
		t.Helper()
		path := filepath.Join(dir, name)
		text, err := os.ReadFile(path)
		if err == nil {
			err = os.WriteFile(path, []byte(change(string(text))), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	edit("workshop.yaml", func(s string) string { return strings.Replace(s, "smtp://127.0.0.1:2525", "smtp://"+server.Addr(), 1) })
	edit("wording/prop-bearing.md", func(s string) string { return s + "\n" + everythingMarked })
	edit("editions/2031-W07.md", func(s string) string {
		head, _, _ := strings.Cut(strings.TrimPrefix(s, "---\n"), "ask:")
		return "---\n" + head + everythingAsked + "---\n" + everythingMarked
	})
	run := func(args ...string) {
		t.Helper()
		var messages bytes.Buffer
		if code := cli.Run(context.Background(), append(args, "--workspace", dir), cli.Streams{Out: &messages, Err: &messages}, clock); code != 0 {
			t.Fatalf("opencowl %s: exit code %d\n%s", strings.Join(args, " "), code, &messages)
		}
	}
	run("correct", "floor-stiffener", "--say", "We said that the strip was the first one. It was a spare, made here in the spring.", "--by", "tam")
	for story, photo := range map[string]string{"prop-bearing": "2031-02-03-prop-bearing.jpg", "rudder-fabric": "2031-02-05-rudder-fabric.jpg", "landing-lamp": "2031-02-06-landing-lamp.jpg"} {
		run("decide", "story/"+story, "photo/"+photo, "--by", "ines", "--nothing-readable")
	}
	run("decide", "correction/floor-stiffener-1", "--by", "bram")
	run("decide", "edition/2031-W07", "--by", "orla", "--nothing-readable")
	run("edition", "2031-W07", "--freeze", "--by", "nell")
	run("post", "2031-W07", "--by", "nell", "--yes", "60")

	letters, first := map[string][]byte{}, ""
	files, err := filepath.Glob(filepath.Join(dir, "inbox", "*.eml"))
	if err != nil || len(files) != 60 {
		t.Fatalf("%d letters, %v; want 60", len(files), err)
	}
	for _, name := range files {
		letter, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		// The first by address: a name with an apostrophe is a hit of its own.
		if m, err := mail.ReadMessage(bytes.NewReader(letter)); err == nil && (first == "" || m.Header.Get("To") < first) {
			first, letters["everything"] = m.Header.Get("To"), letter
		}
	}
	db, err := store.Open(context.Background(), filepath.Join(dir, "opencowl.db"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	editions, err := db.Editions(context.Background())
	if err != nil || len(editions) != 5 {
		t.Fatalf("%d editions, %v; want 5", len(editions), err)
	}
	for _, e := range editions[:4] {
		job := post.Job{Week: e.Week, Subject: e.Subject, From: "Marram Sound <update@example.org>", Returns: "returns@example.org",
			ListID: "Weekly update <weekly.example.org>", HTML: e.HTML, Text: e.Text, Pictures: e.Pictures, Date: e.SentAt,
			Tokens: member.KeysIn(filepath.Join(dir, "keys", "members.keys"), time.Now, nil)}
		letters[e.Week], err = post.Compose(job, member.Member{ID: "0123456789abcdef0123456789abcdef", Address: "ada@example.org", Name: "Ada Fenn"}, []byte("a key of thirty-two random bytes"))
		if err != nil {
			t.Fatal(err)
		}
	}
	return letters
}

// htmlOf takes the HTML out of a letter.
func htmlOf(t *testing.T, letter []byte) []byte {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(letter))
	if err != nil {
		t.Fatal(err)
	}
	var find func(kind string, body io.Reader) []byte
	find = func(kind string, body io.Reader) []byte {
		kind, parameters, err := mime.ParseMediaType(kind)
		if err != nil {
			t.Fatal(err)
		}
		if kind == "text/html" {
			page, err := io.ReadAll(quotedprintable.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			return page
		}
		if !strings.HasPrefix(kind, "multipart/") {
			return nil
		}
		r := multipart.NewReader(body, parameters["boundary"])
		for {
			part, err := r.NextRawPart()
			if err != nil {
				return nil
			}
			if page := find(part.Header.Get("Content-Type"), part); page != nil {
				return page
			}
		}
	}
	page := find(m.Header.Get("Content-Type"), m.Body)
	if page == nil {
		t.Fatal("a letter has no HTML")
	}
	return page
}

func TestLettersAsMembersGetThem(t *testing.T) {
	letters := posted(t)
	t.Run("every mailbox shows them", func(t *testing.T) { everyMailbox(t, letters) })
	t.Run("a spam filter lets them through", func(t *testing.T) { spamFilter(t, letters) })
}

// lack is a feature that some mail readers lack, and why a letter is none the worse.
type lack struct {
	feature string
	clients []string // families, or family/platform; of a feature in the style sheet alone: none
	why     string
}

func (l lack) covers(g testtool.Gap) bool {
	family, _, _ := strings.Cut(g.Client, "/")
	return l.feature == g.Feature && (g.Sheet && l.clients == nil || slices.Contains(l.clients, g.Client) || slices.Contains(l.clients, family))
}

const (
	sheetWhy = "the style sheet only adds looks for the dark and for narrow phones to what the elements carry themselves"
	word     = "outlook/windows"
	wordApp  = "outlook/windows-mail"
	gmx      = "gmx/desktop-webmail"
	webDE    = "web-de/desktop-webmail"
)

// harmless are the lacks that were looked at. A feature or a client that is not here
// fails the test, and so does an entry that no letter needs.
var harmless = []lack{
	{"css-at-media", nil, sheetWhy},
	{"css-at-media-prefers-color-scheme", nil, sheetWhy},
	{"css-important", nil, sheetWhy},
	{"css-selector-chaining", nil, sheetWhy},
	{"css-selector-class", nil, sheetWhy},
	{"css-selector-descendant", nil, sheetWhy},
	{"css-selector-type", nil, sheetWhy},
	{"html-style", []string{"gmail", "protonmail", word, wordApp, gmx, webDE}, sheetWhy},

	{"css-background", []string{"yahoo", "aol", word, wordApp, gmx, webDE}, "they lack pictures and lists of values; ours is one plain colour"},
	{"css-border", []string{word, wordApp}, "ours are 6 px at most; where one is left out, space still parts the pieces"},
	{"css-border-radius", []string{"yahoo", "aol"}, "they lack values with a slash, which are not used"},
	{"css-border-radius", []string{word, wordApp, gmx, webDE}, "the button has square corners"},
	{"css-display", []string{"gmail", "yahoo", "aol", "fastmail", gmx, webDE}, "they lack flex, grid and the like, which are not used"},
	{"css-display", []string{word, wordApp}, "pictures stand in lines of their own anyway, and the button's cell has room of its own"},
	{"css-display-none", []string{word, wordApp}, "it fails for pictures and inner tables; the preheader is a div with text"},
	{"css-display-none", []string{"gmail/mobile-webmail"}, "no height and no overflow hide the preheader there"},
	{"css-font-size", []string{"yahoo", "aol", "samsung-email", word, wordApp, gmx, webDE}, "they lack rem and percent; ours are in px"},
	{"css-font-weight", []string{"yahoo", "aol", word, wordApp}, "they lack numbers; ours is bold or normal"},
	{"css-line-height", []string{word, wordApp}, "lines stand a little looser or closer"},
	{"css-margin", []string{"gmail", "yahoo", "aol", "outlook"}, "they lack values below zero, which are not used, and auto, for which a comment gives Outlook on Windows a centred table"},
	{"css-max-height", []string{word, wordApp}, "it hides the preheader, which display: none hides there"},
	{"css-max-width", []string{word, wordApp}, "it works on tables, and pictures have a width"},
	{"css-overflow", []string{"apple-mail", "gmail", "outlook", "yahoo", "aol", "protonmail", "gmx", "web-de"}, "it hides the preheader, which display: none hides there, and nothing is to be scrolled"},
	{"css-padding", []string{word, wordApp}, "it works on cells, where the room is; lists and quotes keep the program's own indent"},
	{"css-text-align", []string{"outlook", "gmail", "yahoo", "aol", "samsung-email", gmx, webDE}, "they lack start, end and match-parent, which are not used"},
	{"css-text-decoration", []string{"gmail", "gmx", "web-de", "protonmail", word, wordApp}, "links have a colour of their own and bold words, or say where they lead"},
	{"css-white-space", []string{"gmail", "gmx/android", "web-de/android", "yahoo", "samsung-email", word, wordApp}, "lines of a drawing in letters stay as they are, and a long one makes the page wider"},
	{"css-width", []string{word}, "it works on tables, and pictures have the attribute"},
	{"html-blockquote", []string{"hey"}, "a quote is folded away, and opens"},
	{"html-body", []string{"gmail", "outlook", "yahoo", "aol", "fastmail", "protonmail", "hey"}, "what it carries, its ground, the table inside carries too"},
	{"html-doctype", []string{"yahoo/android", "aol/android", "samsung-email", "thunderbird", "protonmail", "hey", word}, "nothing here is laid out otherwise without one"},
	{"html-lang", []string{"yahoo", "aol", "gmx", "web-de", "hey"}, "a reader aloud goes by the mailbox's language"},
	{"html-lists", []string{"gmail", "outlook", "yahoo", "aol"}, "they lack reversed lists and numbers set by hand, which are not used"},
	{"html-mailto-links", []string{"yahoo/android", "aol/android", "protonmail/android"}, "they lack bcc, which is not used"},
	{"html-meta-color-scheme", []string{"apple-mail/ios", "gmail", "outlook", "yahoo", "aol", "samsung-email", "fastmail", "protonmail", "hey", gmx, webDE}, "they show the light look, or turn it round whole: each ground has its colour"},
	{"html-role", []string{"yahoo", "aol", "gmx", "web-de", "hey", wordApp}, "a reader aloud says that there is a table; it has one column, in the order of reading"},
	{"html-width", []string{word}, "it lacks percentages; ours are in px"},
	{"html-width", []string{"hey"}, "a picture has a greatest width beside it"},
}

// noData are the elements, attributes and properties that the letters use and the
// data says nothing about.
var noData = []string{"css-color", "css-font-family", "html-a", "html-b", "html-br", "html-em", "html-head", "html-html", "html-meta", "html-title",
	"html-meta-format-detection", "html-meta-supported-color-schemes", "html-meta-viewport"}

func everyMailbox(t *testing.T, letters map[string][]byte) {
	needed, met := map[int]bool{}, map[string]bool{}
	for name, letter := range letters {
		gaps, unknown := testtool.Mailboxes(t, htmlOf(t, letter))
		for _, u := range unknown {
			if met[u] = true; !slices.Contains(noData, u) {
				t.Errorf("%s: the data has no %s; look how mail readers take it, and list it", name, u)
			}
		}
		for _, g := range gaps {
			i := slices.IndexFunc(harmless, func(l lack) bool { return l.covers(g) })
			if needed[i] = true; i < 0 {
				t.Errorf("%s: %s does not fully show %s (%s, in the style sheet alone: %v)", name, g.Client, g.Feature, g.Support, g.Sheet)
			}
		}
	}
	for i, h := range harmless {
		if !needed[i] {
			t.Errorf("no letter needs the entry on %s in %q", h.feature, h.clients)
		}
	}
	for _, u := range noData {
		if !met[u] {
			t.Errorf("no letter uses %s, which is listed", u)
		}
	}
}

// spamHits are the rules of SpamAssassin that a letter may meet, with why.
var spamHits = map[string]string{
	"NO_RECEIVED":  "it was taken from the server that it was handed to first",
	"NO_RELAYS":    "the same",
	"HTML_MESSAGE": "it has an HTML part",
	// It counts for the letter, and so the score has to be no more than none.
	"MAILING_LIST_MULTI": "its header says which list it is of, and how to leave",
}

func spamFilter(t *testing.T, letters map[string][]byte) {
	filter := testtool.Need(t, "spamassassin")
	var box bytes.Buffer
	handed := 0
	for _, letter := range letters {
		m, err := mail.ReadMessage(bytes.NewReader(letter))
		if err != nil {
			t.Fatal(err)
		}
		// A letter as it was handed over, and with the line that a mailbox's server adds.
		// RFC 3849 keeps its address for examples; those of IPv4 are a hit of their own.
		for _, relayed := range []string{"", "Received: from mail.example.org (mail.example.org [IPv6:2001:db8::10])\n by mx.example.net with ESMTPS id 1 for <ada@example.org>;\n " + m.Header.Get("Date") + "\n"} {
			handed++
			fmt.Fprintf(&box, "From update@example.org Wed Feb 12 12:00:00 2031\n%s%s\n", relayed, bytes.ReplaceAll(letter, []byte("\r\n"), []byte("\n")))
		}
	}
	cmd := exec.CommandContext(t.Context(), filter, "-L", "-t", "-x", "--mbox")
	cmd.Stdin = &box
	cmd.Env = append(cmd.Environ(), "HOME="+t.TempDir(), "LC_ALL=C.UTF-8")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("spamassassin: %v\n%s", err, out)
	}
	subject := regexp.MustCompile(`(?m)^Subject: (.*)$`)
	score := regexp.MustCompile(`^\s*\(\s*(-?[0-9.]+) points`)
	hit := regexp.MustCompile(`(?m)^ *-?[0-9]+\.[0-9] ([A-Z0-9_]+) `)
	// The report comes after each letter.
	letter, rest, more := strings.Cut(string(out), "Content analysis details:")
	looked := 0
	for ; more; looked++ {
		name := "a letter"
		if m := subject.FindAllStringSubmatch(letter, -1); m != nil {
			name = m[len(m)-1][1]
		}
		report := rest
		letter, rest, more = strings.Cut(rest, "Content analysis details:")
		var points float64
		if m := score.FindStringSubmatch(report); m == nil {
			t.Fatalf("no score in %s", report)
		} else if _, err := fmt.Sscan(m[1], &points); err != nil || points > 0 {
			t.Errorf("%q scores %s, want 0.0 at most", name, m[1])
		}
		hits := hit.FindAllStringSubmatch(letter, -1)
		if len(hits) == 0 {
			t.Errorf("%q: the report lists no rule, not even that there is HTML", name)
		}
		for _, m := range hits {
			if spamHits[m[1]] == "" {
				t.Errorf("%q meets the rule %s", name, m[0])
			}
		}
	}
	if looked != handed {
		t.Errorf("%d letters were looked at, want %d", looked, handed)
	}
}
