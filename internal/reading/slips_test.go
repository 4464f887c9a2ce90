package reading_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/opencowl/internal/reading"
)

func TestSlipsAreToldInPlainWords(t *testing.T) {
	for _, c := range []struct{ name, front, want string }{
		{"tab before a key", "by: tam\n\tserial: 1", `f.md:3:1: this cannot be read: a tab stands before the key; put spaces in its place`},
		{"colon in a text", "finding:\n  detail: Pits: lots", `f.md:3:11: this cannot be read: a colon stands inside the text; put the text in double quotes`},
		{"quotation mark left open", "serial: \"A 1", `f.md:2:9: this cannot be read: a quotation mark is opened and not closed; close it, or take it out`},
		{"no colon", "by tam\nserial: 1", `f.md:2:1: this cannot be read: there is no key and colon here; write key: value, with a space after the colon`},
		{"begins with a sign", "by: @tam", `f.md:2:5: this cannot be read: the text begins with a sign that has a meaning of its own; put the text in double quotes`},
		{"begins with greater-than", "by: >1 mm", `f.md:2:5: this cannot be read: the text begins with > or |, which has a meaning of its own; put the text in double quotes`},
		{"text lost after a hash", "serial: A 1 #31 and on\nby: tam", `f.md:2:13: "#31 and on" would be taken for a remark and lost; put the whole text in double quotes, or leave a space after the # of a remark`},
		{"escape that clears the screen", `by: "tam\e[2J"`, `f.md:2:5: the text holds a character that does not show (U+001B); delete it; it does not show, and could make the text read otherwise than it leaves`},
		{"escape that reorders", `by: "a\u202eb"`, `f.md:2:5: the text holds a character that does not show (U+202E); delete it; it does not show, and could make the text read otherwise than it leaves`},
	} {
		t.Run(c.name, func(t *testing.T) {
			var e entry
			_, _, _, problems := reading.FrontMatter("f.md", []byte("---\n"+c.front+"\n---\nbody\n"), &e)
			if len(problems) == 0 || problems[0].Error() != c.want {
				t.Errorf("%q\n got %v\nwant %s", c.front, problems, c.want)
			}
		})
	}
}

func TestRemarksAreStillAllowed(t *testing.T) {
	var e entry
	_, problems := reading.YAML("f.yaml", []byte("# the whole line\nby: tam   # who it was\nserial: \"A #31\" # in quotes\n#by: ines\n"), &e)
	if len(problems) > 0 || e.By != "tam" || e.Serial != "A #31" {
		t.Errorf("got %v, by %q, serial %q", problems, e.By, e.Serial)
	}
}

func TestALongDashIsNotThreeHyphens(t *testing.T) {
	for _, dashes := range []string{"—", "—-", "–-", "----"} {
		var e entry
		_, _, _, problems := reading.FrontMatter("f.md", []byte(dashes+"\nby: tam\n"+dashes+"\n"), &e)
		if len(problems) != 1 || !strings.Contains(problems[0].Message, dashes) || !strings.Contains(problems[0].Remedy, "---") {
			t.Errorf("%q: got %v", dashes, problems)
		}
	}
}

func TestCurlyQuotesDoNotHideTheNearest(t *testing.T) {
	if got := reading.Nearest("“tam”", []string{"ines", "tam"}); got != "tam" {
		t.Errorf("nearest is %q, want tam", got)
	}
}

func TestAProblemIsOneLineThatATerminalShows(t *testing.T) {
	p := reading.Problem{Place: reading.Place{File: "log/\x1b[2J\nnothing stops\xff\u009b\u202e.md"}, Message: "café\u00a0½", Remedy: "rename it"}
	if got, want := p.Error(), `log/\x1b[2J\nnothing stops\xff\u009b\u202e.md: café`+"\u00a0"+`½; rename it`; got != want {
		t.Errorf("\n got %q\nwant %q", got, want)
	}
}

// inFolder writes files below a new folder and opens it.
func inFolder(t *testing.T, files map[string]string) (string, *os.Root) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Skipf("a file of this name cannot be made here: %v", err)
		}
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { root.Close() })
	return dir, root
}

func TestWhatDoesNotShowIsNotTakenIn(t *testing.T) {
	_, root := inFolder(t, map[string]string{
		"merged.md":  "---\nby: tam\n---\none\n<<<<<<< HEAD\ntwo\n=======\nthree\n>>>>>>> tam\n",
		"escape.md":  "---\nby: tam\n---\n\x1b[31mred\n",
		"reorder.md": "---\nby: tam\n---\nabc \u202e def\n",
		"heading.md": "---\nby: tam\n---\nA heading\n=======\n\ttext, family \U0001F468\u200d\U0001F469, <<<<<<<<\r\n",
	})
	for name, want := range map[string]string{"merged.md": "merge-mark 5", "escape.md": "hidden-character 4", "reorder.md": "hidden-character 4", "heading.md": ""} {
		got := ""
		if _, problem := reading.Text(root, name); problem != nil {
			got = problem.Code + " " + strings.TrimPrefix(problem.Place.String(), name+":")
			if problem.Remedy == "" {
				t.Errorf("%s: no remedy", name)
			}
		}
		if got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
}

func TestWhatAListingPassesOverIsSaid(t *testing.T) {
	dir, root := inFolder(t, map[string]string{"log/2031/a.md": "x", "log/2031/b.md.txt": "x", "log/2031/.c.md": "x", "log/d\n\x1b[2J.md": "x", "file": "x"})
	for to, name := range map[string]string{"2031": "log/again", "../..": "outside"} {
		if err := os.Symlink(to, filepath.Join(dir, filepath.FromSlash(name))); err != nil {
			t.Skipf("links cannot be made here: %v", err)
		}
	}
	names, problems := reading.List(root, "log", ".md")
	if strings.Join(names, " ") != "log/2031/a.md" {
		t.Errorf("names %q", names)
	}
	codes := map[string]bool{}
	for _, dir := range []string{"outside", "file", "absent"} {
		_, more := reading.List(root, dir, ".md")
		problems = append(problems, more...)
	}
	for _, p := range problems {
		codes[p.Code+" "+p.File] = p.Advice
	}
	want := map[string]bool{"passed-over log/2031/b.md.txt": true, "linked-folder log/again": true, "bad-name log/d\n\x1b[2J.md": false, "outside outside": false, "not-a-folder file": false}
	for what, advice := range want {
		if got, found := codes[what]; !found || got != advice {
			t.Errorf("%q: found %t, advice %t", what, found, got)
		}
	}
	if len(codes) != len(want) {
		t.Errorf("problems %v", problems)
	}
}
