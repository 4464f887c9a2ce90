package site

import (
	"bytes"
	"context"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/testtool"
	"example.org/opencowl/themes"
	"golang.org/x/net/html"
)

// marked is Markdown with everything in it that wording can hold.
const marked = `It was a cold week, with *one* thing **done**, one ~~not~~ and ` + "`" + `half` + "`" + ` of another. See [the register](https://example.org/register) or <https://example.org/>, and write to <mailto:someone@example.org>.

## A heading

One line\
and the next.

- first the paint, which took longer than anybody had thought it would when the week began
- then the metal
    - and under it, more paint
- [ ] to be done
- [x] done

1. one
2. two

   in two paragraphs

> Somebody said this. It was a long thing to say, and it was said slowly, by a person who had all day and a mug of tea in each hand.
>
> > And somebody said it before them.

| part | mm |
|------|---:|
| old  | 1.38 |
| new  | 1.63 |

spar
: The beam that carries the wing.

---

` + "```" + `
  a drawing
    in letters
` + "```" + `

![a picture that is none](nothing.jpg)

The end, said "so" -- it’s 3 < 4 & 5 > 4.`

// letters are editions of every kind that there is.
func letters() map[string]edition.Edition {
	hull := cleared.Area{Key: "hull", Name: "Hull"}
	quiet := weekly()
	quiet.Stories = nil
	quiet.Since = edition.Figures{}
	quiet.Words = cleared.NewEditionWords(cleared.EditionWordsFields{Week: day.MustParseWeek("2031-W07"), Subject: "A quiet week, and a word for it",
		Preheader: "Nothing was fitted. Here is what a stringer is.", Opening: "Paint is drying and boxes are in the post.\n\nThank you for staying with us."})

	bare := edition.Edition{Words: cleared.NewEditionWords(cleared.EditionWordsFields{Week: day.MustParseWeek("2031-W08")})}

	corrected1 := quiet
	corrected1.Corrections = []cleared.Correction{corrected("bilge-pump-1", "bilge-pump", "2031-02-13")}

	all := weekly()
	lead := story("floor-stiffener", "The floor that rotted from inside, and what it took to see it", hull, "2031-01-20")
	lead.Body = marked
	lead.Cautions = append(lead.Cautions, cleared.Caution{Key: "lead-paint", Label: "Lead paint", Advice: "Wash your hands before you eat."})
	lead.Photos = weekly().Stories[0].Photos()
	small := photo("A small photo.", "A photo smaller than the page.", "", 9)
	all.Stories = append([]cleared.Story{cleared.NewStory(lead)}, weekly().Stories[1], cleared.NewStory(story("keel", "A keel", hull, "2031-04-01")))
	all.Corrections = []cleared.Correction{corrected("bilge-pump-1", "bilge-pump", "2031-02-13"), corrected("keel-bolt-1", "keel-bolt", "")}
	word := cleared.NewWord(cleared.WordFields{ID: "spar", Word: "spar", Meaning: marked})
	all.Word = &word
	all.Words = cleared.NewEditionWords(cleared.EditionWordsFields{Week: day.MustParseWeek("2031-W07"), Subject: "A strip you could push a pick through",
		Preheader: "One hull stiffener, and what salt did to it.", Opening: marked, Photos: []cleared.Photo{weekly().Words.Photos()[0], small},
		Ask: weekly().Words.Ask()})
	return map[string]edition.Edition{"plain": weekly(), "quiet": quiet, "bare": bare, "corrected": corrected1, "everything": all}
}

func TestEveryKindOfLetterKeepsToTheFormOfMail(t *testing.T) {
	for name, e := range letters() {
		l := letter(t, settings(), e)
		letterForm(t, name, l)
		level := 0
		elements(t, name, l.HTML, func(n *html.Node) {
			if len(n.Data) != 2 || n.Data[0] != 'h' || n.Data[1] < '1' || n.Data[1] > '6' {
				return
			}
			next := int(n.Data[1] - '0')
			// A correction stands above the letter's own heading.
			if next > level+1 && !(level == 0 && next == 2) {
				t.Errorf("%s: a heading of level %d comes after one of level %d", name, next, level)
			}
			level = next
		})
	}
}

// Somebody else's reader of flowed text finds the paragraphs that were laid out.
func TestFlowedTextComesBackWhole(t *testing.T) {
	libmime, node := testtool.NeedPackage(t, "libmime"), testtool.Need(t, "node")
	pages := map[string]string{
		"dashes":   "<p>" + strings.Repeat("word -- ", 40) + "</p><blockquote><p>" + strings.Repeat("-- ", 60) + "</p></blockquote>",
		"marks":    "<p>" + strings.Repeat("one > two From there ", 30) + "</p>",
		"no break": "<p>" + strings.Repeat("1.63\u00a0mm of it ", 30) + "</p><pre>  a\n    b</pre>",
		"long":     "<ul><li>" + strings.Repeat("x", 200) + " " + strings.Repeat("word ", 30) + "</li></ul>",
	}
	for name, e := range letters() {
		w := letterWriter{s: cleared.NewSettings(settings()), e: e, pictures: map[string]bool{}}
		made, err := w.pages(context.Background(), themes.Embedded(), false)
		if err != nil {
			t.Fatal(err)
		}
		pages[name] = string(made.text)
	}
	for name, page := range pages {
		text, err := textOf([]byte(page))
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(node, "testdata/flowed.cjs", libmime)
		cmd.Stdin = bytes.NewReader(text)
		got, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		broad, err := flowed([]byte(page), 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		want := regexp.MustCompile(`(?m)^ `).ReplaceAllString(string(broad), "")
		if strings.TrimRight(string(got), "\n") != strings.TrimRight(want, "\n") {
			t.Errorf("%s: from\n%s\ngot\n%s\nwant\n%s", name, text, got, want)
		}
		for line := range strings.Lines(string(text)) {
			if line = strings.TrimSuffix(line, "\n"); line != "-- " && strings.TrimLeft(line, "> ") == "-- " {
				t.Errorf("%s: a line of a paragraph is the mark of a signature", name)
			}
		}
	}
}

// A picture is linked only where the archive has it, by its plain address: any
// other goes with the letter, and nothing in an address says who opens it.
func TestLinkedPicturesAreThoseOfTheArchive(t *testing.T) {
	e := weekly()
	lead, bench := e.Stories[0].Photos()[0], e.Words.Photos()[0]
	published := map[string]bool{}
	for _, c := range bench.Copies() {
		published[c.Name()] = true
	}
	l, err := LinkLetter(context.Background(), themes.Embedded(), cleared.NewSettings(settings()), e, published)
	if err != nil {
		t.Fatal(err)
	}
	copyOf := func(p cleared.Photo, u cleared.Use) string { c, _ := p.Copy(u); return c.Name() }
	want := []string{"cid:" + l.Pictures[0].ContentID, "https://example.org/pictures/" + copyOf(bench, cleared.Web1200)}
	if got := loads(t, "a letter with linked pictures", l.HTML); !slices.Equal(got, want) {
		t.Errorf("pictures come from %q, want %q", got, want)
	}
	if len(l.Pictures) != 1 || l.Pictures[0].Name != copyOf(lead, cleared.Letter) {
		t.Errorf("%d pictures go with it, the first %s; want the lead's alone", len(l.Pictures), l.Pictures[0].Name)
	}
	if regexp.MustCompile(`src="[^"]*[?&]`).Match(l.HTML) {
		t.Error("a picture's address has a parameter")
	}
}
