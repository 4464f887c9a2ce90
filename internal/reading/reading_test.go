package reading_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

type finding struct {
	Causes []string `yaml:"causes"`
	Detail string   `yaml:"detail"`
}

type entry struct {
	Date    day.Date       `yaml:"date"`
	By      string         `yaml:"by"`
	Serial  string         `yaml:"serial"`
	Minutes int            `yaml:"minutes"`
	Walk    float64        `yaml:"walk"`
	Open    bool           `yaml:"open"`
	Finding *finding       `yaml:"finding"`
	Rows    []finding      `yaml:"rows"`
	Areas   []reading.Pair `yaml:"areas"`
}

func TestFrontMatterIsReadWithItsPlaces(t *testing.T) {
	src := "\n---\ndate: 2031-01-14\nby: tam\nserial: 0042\nminutes: 5\nwalk: 1.0\nopen: true\n" +
		"finding:\n  causes: [pitting, wear]\n  detail: |\n    Two lines\n    of text.\nrows:\n  - {detail: one}\n  - detail: two\nareas: {wing: Wing, hull: Hull}\n---\n\nThe body.\n"
	var e entry
	doc, body, line, problems := reading.FrontMatter("log/a.md", []byte(src), &e)
	if len(problems) > 0 {
		t.Fatalf("problems: %v", problems)
	}
	got := fmt.Sprintf("%s %s %s %d %g %t %v %q %v %v", e.Date, e.By, e.Serial, e.Minutes, e.Walk, e.Open, e.Finding.Causes, e.Finding.Detail, e.Rows, e.Areas)
	want := `2031-01-14 tam 0042 5 1 true [pitting wear] "Two lines\nof text.\n" [{[] one} {[] two}] [{wing Wing} {hull Hull}]`
	if got != want {
		t.Errorf("read\n got %s\nwant %s", got, want)
	}
	if body != "\nThe body.\n" || line != 19 {
		t.Errorf("body %q at line %d; want %q at line 19", body, line, "\nThe body.\n")
	}
	for path, want := range map[string]string{"date": "log/a.md:3:7", "finding.causes[1]": "log/a.md:10:21", "rows[1].detail": "log/a.md:16:13", "nothing": "log/a.md:3"} {
		if got := doc.At(path).String(); got != want {
			t.Errorf("At(%q) = %s, want %s", path, got, want)
		}
	}
}

func TestProblemsNameThePlaceTheValueAndTheRemedy(t *testing.T) {
	for _, c := range []struct{ name, yaml, want string }{
		{"unknown key", "date: 2031-01-14\nminuts: 5", `f.md:3:1: the key "minuts" is not known here; did you mean "minutes"?`},
		{"bad date", "by: tam\ndate: 2031-02-30", `f.md:3:7: date: "2031-02-30" is not a date; write it as 2031-01-14; correct the value`},
		{"text for a number", "minutes: many", `f.md:2:10: minutes: "many" is not a whole number; write digits only`},
		{"not a number", "walk: .nan", `f.md:2:7: walk: ".nan" is not a number; write a number such as 1.5`},
		{"list for text", "by: [tam]", `f.md:2:5: by should be text; write one value, in quotes if it holds brackets or a colon`},
		{"text for a list", "rows: one", `f.md:2:7: rows should be a list; put it in square brackets, or one to a line after a hyphen`},
		{"key twice", "by: tam\nby: ines", `f.md:3:1: the key "by" stands twice (first at line 2); keep one of the two`},
		{"alias", "by: &a tam\nserial: *a", `f.md:2:5: anchors, aliases and tags are not used here; write the value out`},
		{"tag", "by: !!binary aGk=", `f.md:2:5: anchors, aliases and tags are not used here; write the value out`},
		{"deep", "by: " + strings.Repeat("[", 40), `f.md:2: brackets are nested more than 20 deep; flatten the value`},
		{"nothing", "# a remark", `f.md:2: there are no keys here; write them, one to a line`},
	} {
		t.Run(c.name, func(t *testing.T) {
			var e entry
			_, _, _, problems := reading.FrontMatter("f.md", []byte("---\n"+c.yaml+"\n---\nbody\n"), &e)
			if len(problems) == 0 || problems[0].Error() != c.want {
				t.Errorf("%q\n got %v\nwant %s", c.yaml, problems, c.want)
			}
		})
	}
}

func TestAllProblemsOfAFileComeAtOnce(t *testing.T) {
	var e entry
	_, problems := reading.YAML("w.yaml", []byte("datte: x\nminutes: many\nfinding: {cause: []}\nby: tam\n"), &e)
	if len(problems) != 3 {
		t.Errorf("got %d problems, want 3: %v", len(problems), problems)
	}
	if e.By != "tam" {
		t.Errorf("the good key was lost: by = %q", e.By)
	}
}

func TestBrokenYAMLHasAPlace(t *testing.T) {
	var e entry
	_, problems := reading.YAML("w.yaml", []byte("by: tam\nserial: \"open\nminutes: 5\n"), &e)
	if len(problems) != 1 || problems[0].Code != "syntax" || problems[0].Line != 2 {
		t.Errorf("got %+v, want one syntax problem at line 2", problems)
	}
}

func TestUnclosedFrontMatter(t *testing.T) {
	for _, src := range []string{"no front matter at all\n", "---\nby: tam\nand on\n"} {
		var e entry
		_, _, _, problems := reading.FrontMatter("f.md", []byte(src), &e)
		if len(problems) != 1 || problems[0].Code != "no-front-matter" || problems[0].Remedy == "" {
			t.Errorf("%q: got %+v", src, problems)
		}
	}
}

func TestHostileFilesAreRefusedByName(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	link := func(to, name string) {
		if err := os.Symlink(to, filepath.Join(dir, name)); err != nil {
			t.Skipf("links cannot be made here: %v", err)
		}
	}
	write("empty.md", "\n  \n")
	write("binary.md", "---\nby: \x00\n")
	write("latin.md", "---\nby: caf\xe9\n---\n")
	write("huge.md", strings.Repeat("x", reading.MaxText+1))
	link("loop-b.md", "loop-a.md")
	link("loop-a.md", "loop-b.md")
	link("../../../../../etc/hostname", "outside.md")
	link("nowhere.md", "broken.md")
	if err := os.Mkdir(filepath.Join(dir, "folder.md"), 0o700); err != nil {
		t.Fatal(err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	for name, code := range map[string]string{"empty.md": "empty", "binary.md": "binary", "latin.md": "binary", "huge.md": "too-large",
		"loop-a.md": "link-loop", "outside.md": "outside", "broken.md": "broken-link", "folder.md": "not-a-file", "absent.md": "missing"} {
		_, problem := reading.Text(root, name)
		if problem == nil || problem.Code != code || problem.File != name || problem.Remedy == "" {
			t.Errorf("%s: got %+v, want code %s with a remedy", name, problem, code)
		}
	}
}

func FuzzFrontMatter(f *testing.F) {
	f.Add("---\ndate: 2031-01-14\n---\nbody")
	f.Add("---\nrows: [{detail: x}, {causes: [a, b]}]\n---\n")
	f.Add("---\n? {a: b}\n: c\n---\n")
	f.Fuzz(func(t *testing.T, src string) {
		var e entry
		doc, _, line, problems := reading.FrontMatter("f.md", []byte(src), &e)
		if doc == nil || line < 1 {
			t.Errorf("no document or line %d", line)
		}
		for _, p := range problems {
			if p.File == "" || p.Message == "" || p.Remedy == "" {
				t.Errorf("a problem without place or remedy: %+v", p)
			}
		}
	})
}
