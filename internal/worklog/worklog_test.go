package worklog_test

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/worklog"
)

var (
	areas  = []string{"hull", "tail", "wing"}
	people = []string{"ines", "tam", "nell"}
)

const (
	partFile  = "parts/hull-stiffener.md"
	entryFile = "log/2031/2031-01-14-inspected.md"
	tagFile   = "photos/stiffener.jpg.yaml"
)

// sound is a small record with nothing wrong in it.
func sound() map[string]string {
	return map[string]string{
		partFile: `---
name: floor stiffener, frame 14
area: hull
number: FO7-2217-4
serial: ""
drawing: D-2217 sheet 3
location: frame 14, port
material: aluminium alloy sheet
thickness: 16 swg
loss_limit: 10%
---

Lives in bay 3.
`,
		"log/2031/2031-01-07-removed.md": "---\ndate: 2031-01-07\nby: tam\npart: hull-stiffener\nstep: removed\n---\n",
		entryFile: `---
date: 2031-01-14
by: tam
part: hull-stiffener
step: inspected
finding:
  causes: [pitting]
  least_thickness: 1.38 mm
  detail: Pits to 0.25 mm under the paint.
pile: unserviceable
replacement: {source: made-here, supplier: Quayside Alloys, approval: MOD-031, report: R-7, cost: GBP 12.50}
photos: [stiffener.jpg]
next: {step: fitted, due: 2031-02-20}
---
Ask the stores about the alloy.
`,
		"photos/stiffener.jpg": "not looked into here",
		tagFile: `parts: [hull-stiffener]
taken: 2031-01-14
by: tam
publish: offered
caption: The old floor stiffener.
alt: A thin metal strip on a bench.
credit: Tam Reddle
rights: ours
focus: {x: 0.42, y: 0.55}
hide: [{x: 0.1, y: 0.2, w: 0.05, h: 0.04, why: data plate}]
people: [{who: someone at the bench, consent: given, on: 2031-01-14, adult: yes}]
`,
	}
}

// read writes the files to a new folder and reads them.
func read(t testing.TB, files map[string]string) (*worklog.Log, []reading.Problem) {
	t.Helper()
	dir := t.TempDir()
	for _, name := range slices.Sorted(maps.Keys(files)) {
		full := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, []byte(files[name]), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	return worklog.Read(root, areas, people)
}

// good reads a record that must have no problems, advice included.
func good(t testing.TB, files map[string]string) *worklog.Log {
	t.Helper()
	log, problems := read(t, files)
	if len(problems) > 0 {
		t.Fatalf("problems in a sound record: %v", problems)
	}
	return log
}

func TestASoundRecordIsReadWhole(t *testing.T) {
	log := good(t, sound())
	p, ok := log.Part("hull-stiffener")
	if !ok {
		t.Fatal("the part is not there")
	}
	got := fmt.Sprintf("%s|%s|%s|%s|%s|%s|%s|%s|%s|%s|%t|%s", p.ID, p.File, p.Name, p.Area, p.Number, p.Drawing, p.Location, p.Material, p.Thickness, p.LossLimit, p.Figures, p.Notes)
	want := "hull-stiffener|parts/hull-stiffener.md|floor stiffener, frame 14|hull|FO7-2217-4|D-2217 sheet 3|frame 14, port|aluminium alloy sheet|16 SWG|10%|true|Lives in bay 3."
	if got != want {
		t.Errorf("part\n got %s\nwant %s", got, want)
	}
	entries := log.Entries("hull-stiffener", day.Date{})
	if len(entries) != 2 || entries[1].File != entryFile {
		t.Fatalf("entries: %v", entries)
	}
	e := entries[1]
	got = fmt.Sprintf("%s|%s|%s|%v|%s|%v|%s|%s|%s|%v|%v|%v|%s", e.ID, e.Date, e.By, e.Parts, e.Step, e.Finding.Causes, e.Finding.LeastThickness, e.Finding.Detail, e.Pile, e.Replacement, e.Photos, e.Next, e.Notes)
	want = "2031-01-14-inspected|2031-01-14|tam|[hull-stiffener]|inspected|[pitting]|1.38 mm|Pits to 0.25 mm under the paint.|unserviceable|{made-here Quayside Alloys  MOD-031 R-7 £12.50}|[stiffener.jpg]|{fitted 2031-02-20}|Ask the stores about the alloy."
	if got != want {
		t.Errorf("entry\n got %s\nwant %s", got, want)
	}
	tag, ok := log.Tag("stiffener.jpg")
	if !ok || len(log.Tags()) != 1 {
		t.Fatal("the tag is not there")
	}
	got = fmt.Sprintf("%s|%s|%s|%v|%s|%s|%t|%s|%s|%s|%s|%s|%v|%v|%v", tag.Photo, tag.PhotoFile, tag.File, tag.Parts, tag.Taken, tag.By, tag.Publish, tag.Caption, tag.Alt, tag.Credit, tag.CreditOK, tag.Rights, *tag.Focus, tag.Hide, tag.People)
	want = "stiffener.jpg|photos/stiffener.jpg|photos/stiffener.jpg.yaml|[hull-stiffener]|2031-01-14|tam|true|The old floor stiffener.|A thin metal strip on a bench.|Tam Reddle||ours|{0.42 0.55}|[{0.1 0.2 0.05 0.04 data plate}]|[{someone at the bench given 2031-01-14 yes }]"
	if got != want {
		t.Errorf("tag\n got %s\nwant %s", got, want)
	}
}

func TestFiguresNoKeepsAPartOutOfFigures(t *testing.T) {
	files := sound()
	files[partFile] = strings.Replace(files[partFile], "area: hull\n", "area: hull\nfigures: no\n", 1)
	p, _ := good(t, files).Part("hull-stiffener")
	if p.Figures {
		t.Error("figures: no was not taken")
	}
}

// TestEachFaultIsReported changes one thing in a sound record and expects one
// problem, word for word.
func TestEachFaultIsReported(t *testing.T) {
	for _, c := range []struct {
		name, file, old, new string // an empty old writes the file anew, an empty new deletes it
		want                 string
		advice               bool
	}{
		{"part: unknown key", partFile, "number:", "numbr:", `parts/hull-stiffener.md:4:1: the key "numbr" is not known here; did you mean "number"?`, false},
		{"part: no name", partFile, "name: floor stiffener, frame 14\n", "", `parts/hull-stiffener.md:2: name is missing; write name: and its value`, false},
		{"part: no area", partFile, "area: hull\n", "", `parts/hull-stiffener.md:2: area is missing; write area: and its value`, false},
		{"part: unknown area", partFile, "area: hull", "area: hul", `parts/hull-stiffener.md:3:7: there is no area "hul"; did you mean "hull"?`, false},
		{"part: far from any area", partFile, "area: hull", "area: undercarriage", `parts/hull-stiffener.md:3:7: there is no area "undercarriage"; check the spelling, or add the area`, false},
		{"part: bare gauge", partFile, "16 swg", "16 gauge", `parts/hull-stiffener.md:9:12: thickness: "16 gauge" does not say which gauge (16 SWG is 1.63 mm, 16 AWG is 1.29 mm, and the gauge for steel sheet differs from both); write swg or awg after the number, or the thickness in mm or in; correct the value`, false},
		{"part: no unit", partFile, "16 swg", "16", `parts/hull-stiffener.md:9:12: thickness: "16" has no unit; write it as 1.63 mm, 0.064 in, 16 swg or 14 awg; correct the value`, false},
		{"part: limit without a sign", partFile, "10%", "10", `parts/hull-stiffener.md:10:13: loss_limit: "10" is not a percentage; write it as 10%; correct the value`, false},
		{"part: limit of nothing", partFile, "10%", "0%", `parts/hull-stiffener.md:10:13: a limit of 0% would forbid any wear at all; correct the limit or leave it out`, false},
		{"part: figures", partFile, "area: hull", "area: hull\nfigures: none", `parts/hull-stiffener.md:4:10: figures: "none" is not one of yes, no; did you mean "no"?; correct the value`, false},
		{"part: not closed", partFile, "\n---\n\nLives", "\nLives", `parts/hull-stiffener.md:1: the front matter is missing or not closed; begin the file with a line of three hyphens, the keys, and another line of three hyphens`, false},
		{"part: bad id", "parts/Hull_Frame.md", "", "---\nname: frame\narea: hull\n---\n", `parts/Hull_Frame.md: the file name is not an id; use lower-case letters a to z and digits, joined by single hyphens`, false},
		{"part: twice", "parts/spare/hull-stiffener.md", "", "---\nname: frame\narea: hull\n---\n", `parts/spare/hull-stiffener.md: another part has this name already: parts/hull-stiffener.md; rename one of the two`, false},
		{"part: empty", "parts/frame.md", "", "\n", `parts/frame.md: the file is empty; write its front matter or delete the file`, false},

		{"entry: no date", entryFile, "date: 2031-01-14\n", "", `log/2031/2031-01-14-inspected.md:2: date is missing; write date: and its value`, false},
		{"entry: no such day", entryFile, "date: 2031-01-14", "date: 2031-02-30", `log/2031/2031-01-14-inspected.md:2:7: date: "2031-02-30" is not a date; write it as 2031-01-14; correct the value`, false},
		{"entry: name and date", entryFile, "date: 2031-01-14", "date: 2031-01-15", `log/2031/2031-01-14-inspected.md:2:7: the date is 2031-01-15 but the file name does not begin with it; correct the one that is wrong`, true},
		{"entry: nobody", entryFile, "by: tam\n", "", `log/2031/2031-01-14-inspected.md:2: by is missing; write by: and its value`, false},
		{"entry: unknown person", entryFile, "by: tam", "by: tom", `log/2031/2031-01-14-inspected.md:3:5: there is no person "tom"; did you mean "tam"?`, false},
		{"entry: no part", entryFile, "part: hull-stiffener\n", "", `log/2031/2031-01-14-inspected.md:2: neither part nor parts is given; write part: and the id of the part that the work was on`, false},
		{"entry: part and parts", entryFile, "part: hull-stiffener\n", "part: hull-stiffener\nparts: [hull-stiffener]\n", `log/2031/2031-01-14-inspected.md:5:8: both part and parts are given; keep part for one, parts for several`, false},
		{"entry: unknown part", entryFile, "part: hull-stiffener", "part: hull-stifener", `log/2031/2031-01-14-inspected.md:4:7: there is no part "hull-stifener"; did you mean "hull-stiffener"?`, false},
		{"entry: unknown part of several", entryFile, "part: hull-stiffener", "parts: [hull-stiffener, fin]", `log/2031/2031-01-14-inspected.md:4:25: there is no part "fin"; check the spelling, or add the part`, false},
		{"entry: a part twice", entryFile, "part: hull-stiffener", "parts: [hull-stiffener, hull-stiffener]", `log/2031/2031-01-14-inspected.md:4:25: "hull-stiffener" stands twice in parts; keep one of the two`, false},
		{"entry: an empty part", entryFile, "part: hull-stiffener", `parts: [hull-stiffener, ""]`, `log/2031/2031-01-14-inspected.md:4:25: an item of parts is empty; write the part or take the item out`, false},
		{"entry: no step", entryFile, "step: inspected\n", "", `log/2031/2031-01-14-inspected.md:2: step is missing; write step: and its value`, false},
		{"entry: unknown step", entryFile, "step: inspected", "step: inspecteed", `log/2031/2031-01-14-inspected.md:5:7: step: "inspecteed" is not one of removed, inspected, cleaned, sent-away, made, bought, borrowed, tested, painted, fitted, note; did you mean "inspected"?; correct the value`, false},
		{"entry: unknown cause", entryFile, "[pitting]", "[pitting, rust]", `log/2031/2031-01-14-inspected.md:7:21: causes: "rust" is not one of pitting, exfoliation, galvanic, crack, wear, impact, poor-repair, bad-holes, superseded, missing, other; correct the value`, false},
		{"entry: unknown pile", entryFile, "pile: unserviceable", "pile: scrap", `log/2031/2031-01-14-inspected.md:10:7: pile: "scrap" is not one of serviceable, rework, unserviceable, quarantine; correct the value`, false},
		{"entry: unknown source", entryFile, "made-here", "made here", `log/2031/2031-01-14-inspected.md:11:23: source: "made here" is not one of made-here, made-outside, stores, loan, repaired; did you mean "made-here"?; correct the value`, false},
		{"entry: cost without currency", entryFile, "GBP 12.50", "12.50", `log/2031/2031-01-14-inspected.md:11:99: cost: "12.50" does not begin with a currency code; write it as GBP 12.50; correct the value`, false},
		{"entry: unknown photo", entryFile, "photos: [stiffener.jpg]", "photos: [stiffner.jpg]", `log/2031/2031-01-14-inspected.md:12:10: there is no photo "stiffner.jpg"; did you mean "stiffener.jpg"?`, false},
		{"entry: unknown next step", entryFile, "step: fitted", "step: fit", `log/2031/2031-01-14-inspected.md:13:14: step: "fit" is not one of removed, inspected, cleaned, sent-away, made, bought, borrowed, tested, painted, fitted, note; correct the value`, false},
		{"entry: growth", entryFile, "1.38 mm", "1.64 mm", `log/2031/2031-01-14-inspected.md:8:20: 1.64 mm is left of a part that was 16 SWG when new (hull-stiffener); clean off the corrosion and measure again, or correct the part's thickness`, false},
		{"entry: twice", "log/2030/2031-01-14-inspected.md", "", "---\ndate: 2031-01-14\nby: tam\npart: hull-stiffener\nstep: note\n---\n", `log/2031/2031-01-14-inspected.md: another entry has this name already: log/2030/2031-01-14-inspected.md; rename one of the two`, false},
		{"entry: fitted first", "log/2031/2031-01-01-fitted.md", "", "---\ndate: 2031-01-01\nby: tam\npart: hull-stiffener\nstep: fitted\n---\n", `log/2031/2031-01-01-fitted.md:5:7: hull-stiffener is fitted before any entry says that it was removed; check the date, or log the removal`, true},

		{"tag: not taken", tagFile, "taken: 2031-01-14\n", "", `photos/stiffener.jpg.yaml:1: taken is missing; write taken: and its value`, false},
		{"tag: nobody", tagFile, "by: tam\n", "", `photos/stiffener.jpg.yaml:1: by is missing; write by: and its value`, false},
		{"tag: unknown person", tagFile, "by: tam", "by: tamm", `photos/stiffener.jpg.yaml:3:5: there is no person "tamm"; did you mean "tam"?`, false},
		{"tag: unknown part", tagFile, "[hull-stiffener]", "[hull-stiffner]", `photos/stiffener.jpg.yaml:1:9: there is no part "hull-stiffner"; did you mean "hull-stiffener"?`, false},
		{"tag: cleared is no key", tagFile, "offered", "cleared", `photos/stiffener.jpg.yaml:4:10: publish: "cleared" is not one of no, offered; correct the value`, false},
		{"tag: rights", tagFile, "rights: ours", "rights: mine", `photos/stiffener.jpg.yaml:8:9: rights: "mine" is not one of ours, permission, lent; correct the value`, false},
		{"tag: focus outside", tagFile, "x: 0.42", "x: 1.42", `photos/stiffener.jpg.yaml:9:12: x is 1.42; write a fraction of the upright picture, from 0 to 1`, false},
		{"tag: focus by half", tagFile, "x: 0.42, ", "", `photos/stiffener.jpg.yaml:9:8: x is missing from focus; write it as a fraction of the upright picture, from 0 to 1`, false},
		{"tag: box outside", tagFile, "x: 0.1", "x: -0.1", `photos/stiffener.jpg.yaml:10:12: x is -0.1; write a fraction of the upright picture, from 0 to 1`, false},
		{"tag: box over the edge", tagFile, "w: 0.05", "w: 0.95", `photos/stiffener.jpg.yaml:10:8: the box to hide goes over the picture's edge; keep x + w and y + h within 1`, false},
		{"tag: box below the edge", tagFile, "h: 0.04", "h: 0.9", `photos/stiffener.jpg.yaml:10:8: the box to hide goes over the picture's edge; keep x + w and y + h within 1`, false},
		{"tag: box without size", tagFile, "w: 0.05", "w: 0", `photos/stiffener.jpg.yaml:10:8: the box to hide has no size; give w and h more than 0`, false},
		{"tag: consent unsaid", tagFile, "consent: given, ", "", `photos/stiffener.jpg.yaml:11:10: consent is missing for a person in the photo; write given, refused or not-asked`, false},
		{"tag: consent unknown", tagFile, "consent: given", "consent: maybe", `photos/stiffener.jpg.yaml:11:47: consent: "maybe" is not one of given, refused, not-asked; correct the value`, false},
		{"tag: consent undated", tagFile, "on: 2031-01-14, ", "", `photos/stiffener.jpg.yaml:11:10: consent was given but its date is missing; write on: and the date`, false},
		{"tag: adult", tagFile, "adult: yes", "adult: 17", `photos/stiffener.jpg.yaml:11:77: adult: "17" is not one of yes, no; correct the value`, false},
		{"tag: not YAML", tagFile, "hide: [", "hide: [[", "photos/stiffener.jpg.yaml:11:1: this is not YAML (',' or ']' must be specified); check the indentation, the colons and the quotes; put text that begins with a bracket or brace, or holds a colon, in quotes", false},

		{"photo: no tag", "photos/hull.png", "", "x", `photos/hull.png: the photo has no tag, so it cannot be published; write photos/hull.png.yaml`, true},
		{"photo: tag alone", "photos/hull.png.yaml", "", "taken: 2031-01-14\nby: tam\n", `photos/hull.png.yaml: the tag's photo is not there; put the photo beside its tag, or delete the tag`, true},
		{"photo: neither", "photos/hull.heic", "", "x", `photos/hull.heic: this is neither a photo (.jpg, .jpeg or .png) nor the tag of one (.jpg.yaml); save the photo as JPEG, or move the file elsewhere`, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			files := sound()
			switch {
			case c.old == "":
				files[c.file] = c.new
			default:
				if !strings.Contains(files[c.file], c.old) {
					t.Fatalf("%s does not hold %q", c.file, c.old)
				}
				files[c.file] = strings.Replace(files[c.file], c.old, c.new, 1)
			}
			_, problems := read(t, files)
			if len(problems) != 1 || problems[0].Error() != c.want || problems[0].Advice != c.advice {
				t.Errorf("problems\n got %v\nwant [%s], advice %t", problems, c.want, c.advice)
			}
		})
	}
}

func TestPhotosThatDifferOnlyInCaseAreTheSame(t *testing.T) {
	files := sound()
	files["photos/b/STIFFENER.JPG"] = "x"
	files["photos/b/STIFFENER.JPG.yaml"] = "taken: 2031-01-14\nby: tam\n"
	_, problems := read(t, files)
	want := "[photos/stiffener.jpg: another photo has this name already: photos/b/STIFFENER.JPG; rename one of the two]"
	if got := fmt.Sprint(problems); got != want {
		t.Errorf("problems\n got %s\nwant %s", got, want)
	}
}

func TestATagThatMissesItsPhotoIsExplained(t *testing.T) {
	for name, want := range map[string]string{
		"photos/NEW.jpg.yaml": "photos/new.jpg: the photo has no tag, so it cannot be published; rename photos/NEW.jpg.yaml to new.jpg.yaml; capitals count",
		"photos/new.yaml":     "photos/new.yaml: this looks like a photo's tag, but its name is not the photo's whole name and .yaml, so it is not read; rename it, for instance IMG_0042.jpg.yaml beside IMG_0042.jpg",
	} {
		files := sound()
		files["photos/new.jpg"] = "picture"
		files[name] = files[tagFile]
		_, problems := read(t, files)
		if !slices.ContainsFunc(problems, func(p reading.Problem) bool { return p.Error() == want && p.Advice }) {
			t.Errorf("%s\n got %v\nwant %s", name, problems, want)
		}
	}
}

func TestHideWithoutABoxIsNotTakenForNothingToHide(t *testing.T) {
	for _, hide := range []string{"hide:\n", "hide: []\n"} {
		files := sound()
		files["photos/new.jpg"] = "picture"
		files["photos/new.jpg.yaml"] = "parts: [hull-stiffener]\ntaken: 2031-01-14\nby: tam\npublish: offered\n" + hide
		_, problems := read(t, files)
		if len(problems) != 1 || problems[0].Advice || !strings.Contains(problems[0].Message, "nothing would be hidden") {
			t.Errorf("%q: got %v", hide, problems)
		}
	}
}

func TestAllProblemsOfAllFilesComeAtOnce(t *testing.T) {
	files := sound()
	files[partFile] = strings.Replace(files[partFile], "area: hull", "area: hul", 1)
	files[entryFile] = strings.NewReplacer("step: inspected", "step: looked-at", "by: tam", "by: nobody").Replace(files[entryFile])
	files[tagFile] = strings.Replace(files[tagFile], "rights: ours", "rights: mine", 1)
	files["parts/broken.md"] = "no front matter"
	files["log/2031/2031-01-20-note.md"] = "---\ndate: 2031-01-20\nby: tam\npart: broken\nstep: note\n---\n"
	_, problems := read(t, files)
	var codes []string
	for _, p := range problems {
		codes = append(codes, p.File+" "+p.Code)
	}
	want := []string{entryFile + " unknown-person", entryFile + " bad-value", "parts/broken.md no-front-matter", partFile + " unknown-area", tagFile + " bad-value"}
	if !slices.Equal(codes, want) {
		t.Errorf("problems\n got %v\nwant %v", codes, want)
	}
}

func TestAnEmptyWorkspaceIsNoProblem(t *testing.T) {
	log := good(t, map[string]string{})
	if len(log.Parts()) != 0 || len(log.AllEntries()) != 0 || len(log.Tags()) != 0 {
		t.Error("an empty workspace holds something")
	}
}

// entry is one line of a replay table: "DATE NAME step [key: value; …]".
func entries(lines ...string) map[string]string {
	files := map[string]string{"parts/rib.md": "---\nname: rib\narea: wing\nmaterial: spruce\nthickness: 16 swg\n---\n"}
	for _, l := range lines {
		f := strings.SplitN(l, " ", 4)
		body := "---\ndate: " + f[0] + "\nby: tam\npart: rib\nstep: " + f[2] + "\n"
		if len(f) == 4 {
			body += strings.ReplaceAll(f[3], "; ", "\n") + "\n"
		}
		files["log/"+f[0]+"-"+f[1]+".md"] = body + "---\n"
	}
	return files
}

func TestStateIsTheLatestStepByDateAndFileName(t *testing.T) {
	for _, c := range []struct {
		name  string
		lines []string
		on    string
		want  worklog.State
	}{
		{"nothing yet", nil, "2031-03-01", worklog.State{}},
		{"only a note", []string{"2031-01-01 a note"}, "2031-03-01", worklog.State{}},
		{"removed", []string{"2031-01-01 a removed"}, "2031-03-01", worklog.State{Step: "removed", Since: day.MustParse("2031-01-01"), Phase: "off"}},
		{"not yet that day", []string{"2031-01-02 a removed"}, "2031-01-01", worklog.State{}},
		{"on that very day", []string{"2031-01-02 a removed"}, "2031-01-02", worklog.State{Step: "removed", Since: day.MustParse("2031-01-02"), Phase: "off"}},
		{"the whole record", []string{"2031-01-02 a removed"}, "", worklog.State{Step: "removed", Since: day.MustParse("2031-01-02"), Phase: "off"}},
		{"a later note", []string{"2031-01-01 a removed", "2031-01-05 b note"}, "2031-03-01", worklog.State{Step: "removed", Since: day.MustParse("2031-01-01"), Phase: "off"}},
		{"a note with a pile", []string{"2031-01-01 a removed", "2031-01-05 b note pile: rework"}, "2031-03-01", worklog.State{Step: "removed", Since: day.MustParse("2031-01-01"), Pile: "rework", Phase: "off"}},
		{"a day's entries by name", []string{"2031-01-01 a removed", "2031-01-01 c cleaned", "2031-01-01 b inspected pile: rework"}, "2031-03-01", worklog.State{Step: "cleaned", Since: day.MustParse("2031-01-01"), Pile: "rework", Phase: "inspected"}},
		{"a late entry", []string{"2031-02-01 a fitted", "2031-01-01 z removed"}, "2031-03-01", worklog.State{Step: "fitted", Since: day.MustParse("2031-02-01"), Phase: "fitted"}},
		{"the newest pile", []string{"2031-01-01 a removed pile: quarantine", "2031-01-02 b inspected pile: unserviceable"}, "2031-01-01", worklog.State{Step: "removed", Since: day.MustParse("2031-01-01"), Pile: "quarantine", Phase: "off"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var on day.Date
			if c.on != "" {
				on = day.MustParse(c.on)
			}
			if got := good(t, entries(c.lines...)).StateOn("rib", on); got != c.want {
				t.Errorf("state %+v, want %+v", got, c.want)
			}
		})
	}
}

func TestEachStepHasItsPhase(t *testing.T) {
	want := map[string]string{"removed": "off", "inspected": "inspected", "cleaned": "inspected", "sent-away": "waiting", "made": "ready", "bought": "ready",
		"borrowed": "ready", "tested": "ready", "painted": "ready", "fitted": "fitted", "note": ""}
	if len(want) != len(worklog.Steps()) {
		t.Fatalf("%d steps, want %d", len(worklog.Steps()), len(want))
	}
	for _, step := range worklog.Steps() {
		first := "2031-01-01 a removed"
		log := good(t, entries(first, "2031-01-02 b "+step))
		phase := want[step]
		if step == "note" {
			phase = "off"
		}
		if got := log.StateOn("rib", day.Date{}).Phase; got != phase {
			t.Errorf("after %s the phase is %q, want %q", step, got, phase)
		}
	}
}

func TestEntriesComeInOrderUpToADate(t *testing.T) {
	log := good(t, entries("2031-01-03 a removed", "2031-01-02 b note", "2031-01-03 c inspected", "2031-02-01 a fitted"))
	ids := func(all []*worklog.Entry) string {
		var ids []string
		for _, e := range all {
			ids = append(ids, e.ID)
		}
		return strings.Join(ids, " ")
	}
	if got, want := ids(log.Entries("rib", day.MustParse("2031-01-03"))), "2031-01-02-b 2031-01-03-a 2031-01-03-c"; got != want {
		t.Errorf("entries %s, want %s", got, want)
	}
	if got, want := ids(log.AllEntries()), "2031-01-02-b 2031-01-03-a 2031-01-03-c 2031-02-01-a"; got != want {
		t.Errorf("all entries %s, want %s", got, want)
	}
	if got := log.Entries("no-such-part", day.Date{}); got != nil {
		t.Errorf("entries of no part: %v", got)
	}
}

func spaced(s string) string { return strings.ReplaceAll(s, "\u00a0", "_") }

func TestFacts(t *testing.T) {
	old := []string{"2031-01-01 a removed", "2031-01-02 b inspected finding: {least_thickness: 1.38 mm}; pile: unserviceable",
		"2031-01-03 c inspected finding: {least_thickness: 1.42 mm}", "2031-01-10 d made replacement: {source: made-here, material: birch, cost: GBP 12.50}", "2031-01-20 e fitted"}
	again := append(slices.Clone(old), "2032-01-01 f removed", "2032-01-02 g inspected finding: {least_thickness: 1.50 mm}; pile: rework")
	for _, c := range []struct {
		name            string
		lines           []string
		field, form, on string
		want            string
	}{
		{"thickness in mm", nil, "thickness", "mm", "", "1.63_mm"},
		{"thickness in inches", nil, "thickness", "inch", "", "0.064_in"},
		{"thickness as a gauge", nil, "thickness", "gauge", "", "16_SWG"},
		{"least of two", old, "least_thickness", "mm", "", "1.38_mm"},
		{"before the second reading", old, "least_thickness", "mm", "2031-01-02", "1.38_mm"},
		{"the new piece has no reading yet", old, "loss", "percent", "", "15%"},
		{"a new article by removal", again, "least_thickness", "mm", "", "1.50_mm"},
		{"a new article's loss", again, "loss", "percent", "", "8%"},
		{"the old article, as of then", again, "loss", "percent", "2031-12-31", "15%"},
		{"a new article by replacement", append(slices.Clone(old), "2031-01-21 f note finding: {least_thickness: 1.60 mm}"), "loss", "percent", "", "2%"},
		{"a reading with its replacement", []string{"2031-01-01 a removed", "2031-01-02 b inspected finding: {least_thickness: 1.38 mm}; replacement: {source: stores}"}, "loss", "percent", "", "15%"},
		{"material of the part", nil, "material", "words", "", "spruce"},
		{"material of the replacement", old, "material", "words", "", "birch"},
		{"material before it", old, "material", "words", "2031-01-09", "spruce"},
		{"a newer replacement of unsaid material", append(slices.Clone(old), "2031-03-01 x bought replacement: {source: stores}"), "material", "words", "", "spruce"},
		{"material said later", append(slices.Clone(old), "2031-03-01 x bought replacement: {source: stores}", "2031-03-02 y note replacement: {material: ash}"), "material", "words", "", "ash"},
		{"source", old, "source", "words", "", "made here"},
		{"cost", old, "cost", "money", "", "£12.50"},
		{"pile", old, "pile", "words", "", "unserviceable"},
		{"pile for rework", again, "pile", "words", "", "for rework"},
		{"day of a step", old, "date.inspected", "day", "", "3 January 2031"},
		{"month of a step", again, "date.removed", "month", "", "January 2032"},
		{"day of a step, as of then", old, "date.inspected", "day", "2031-01-02", "2 January 2031"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var on day.Date
			if c.on != "" {
				on = day.MustParse(c.on)
			}
			v, err := good(t, entries(c.lines...)).Fact("rib", c.field, on)
			if err != nil {
				t.Fatal(err)
			}
			got, err := v.Format(c.form)
			if err != nil || spaced(got) != c.want {
				t.Errorf("%s as %s is %q, %v; want %q", c.field, c.form, spaced(got), err, c.want)
			}
		})
	}
}

func TestWordsForPilesAndSources(t *testing.T) {
	want := map[string]string{"serviceable": "serviceable", "rework": "for rework", "unserviceable": "unserviceable", "quarantine": "in quarantine",
		"made-here": "made here", "made-outside": "made outside", "stores": "from stores", "loan": "on loan", "repaired": "repaired"}
	if len(want) != len(worklog.Piles())+len(worklog.Sources()) {
		t.Fatal("a pile or a source has no words here")
	}
	check := func(field, line, key string) {
		v, err := good(t, entries("2031-01-01 a removed "+line)).Fact("rib", field, day.Date{})
		if err != nil || v.Words != want[key] {
			t.Errorf("%s %s is told as %q, %v; want %q", field, key, v.Words, err, want[key])
		}
	}
	for _, pile := range worklog.Piles() {
		check("pile", "pile: "+pile, pile)
	}
	for _, source := range worklog.Sources() {
		check("source", "replacement: {source: "+source+"}", source)
	}
}

func TestAFoldersNameDoesNotSettleTheOrder(t *testing.T) {
	files := entries()
	files["log/z/2031-01-01-a.md"] = "---\ndate: 2031-01-01\nby: tam\npart: rib\nstep: removed\n---\n"
	files["log/a/2031-01-01-z.md"] = "---\ndate: 2031-01-01\nby: tam\npart: rib\nstep: cleaned\n---\n"
	if got := good(t, files).StateOn("rib", day.Date{}).Step; got != "cleaned" {
		t.Errorf("the latest step is %s, want cleaned: the file's own name counts, not its folder's", got)
	}
}

func TestFactsThatAreNotThereSayWhatToLog(t *testing.T) {
	log := good(t, map[string]string{"parts/rib.md": "---\nname: rib\narea: wing\n---\n", "log/2031-01-05-a.md": "---\ndate: 2031-01-05\nby: tam\npart: rib\nstep: removed\n---\n"})
	no := func(field, remedy string) string {
		return fmt.Sprintf(`the fact "rib.%s" has no value on record; %s, or drop the fact`, field, remedy)
	}
	for _, c := range []struct {
		part, field, on string
		is              error
		want            string
	}{
		{"rb", "loss", "", worklog.ErrNoPart, `there is no such part as "rb"; did you mean "rib"?`},
		{"keel", "loss", "", worklog.ErrNoPart, `there is no such part as "keel"; check the id in the parts folder`},
		{"rib", "los", "", worklog.ErrNoField, `there is no such fact as "los"; did you mean "loss"?`},
		{"rib", "serial", "", worklog.ErrNoField, `there is no such fact as "serial"; did you mean "material"?`},
		{"rib", "date.note", "", worklog.ErrNoField, `there is no such fact as "date.note"; did you mean "date.made"?`},
		{"rib", "thickness", "", worklog.ErrNoValue, no("thickness", "write the part's thickness")},
		{"rib", "least_thickness", "", worklog.ErrNoValue, no("least_thickness", "log a least_thickness")},
		{"rib", "loss", "", worklog.ErrNoValue, no("loss", "write the part's thickness")},
		{"rib", "material", "", worklog.ErrNoValue, no("material", "write the part's material")},
		{"rib", "pile", "", worklog.ErrNoValue, no("pile", "log a pile")},
		{"rib", "source", "", worklog.ErrNoValue, no("source", "log a replacement with its source")},
		{"rib", "cost", "", worklog.ErrNoValue, no("cost", "log the replacement's cost as GBP 12.50")},
		{"rib", "date.fitted", "", worklog.ErrNoValue, no("date.fitted", "log the step fitted")},
		{"rib", "date.removed", "2031-01-04", worklog.ErrNoValue, `the fact "rib.date.removed" has no value on record by 4 January 2031; log the step removed, or drop the fact`},
	} {
		var on day.Date
		if c.on != "" {
			on = day.MustParse(c.on)
		}
		v, err := log.Fact(c.part, c.field, on)
		if !errors.Is(err, c.is) || err.Error() != c.want || v != (worklog.Value{}) {
			t.Errorf("%s.%s = %+v, error\n got %v\nwant %s", c.part, c.field, v, err, c.want)
		}
	}
}

func TestAFormMustSuitTheFact(t *testing.T) {
	log := good(t, entries("2031-01-01 a removed pile: rework; finding: {least_thickness: 1.38 mm}; replacement: {source: loan, cost: GBP 5}"))
	suits := map[string][]string{"thickness": {"mm", "inch", "gauge"}, "least_thickness": {"mm", "inch", "gauge"}, "loss": {"percent"}, "material": {"words"},
		"pile": {"words"}, "source": {"words"}, "cost": {"money"}, "date.removed": {"day", "month"}}
	for field, forms := range suits {
		v, err := log.Fact("rib", field, day.Date{})
		if err != nil {
			t.Fatal(err)
		}
		for _, form := range []string{"mm", "inch", "gauge", "percent", "words", "day", "month", "money", "", "feet"} {
			_, err := v.Format(form)
			want := fmt.Sprintf("the form %q does not suit this fact; use %s", form, strings.Join(forms, ", "))
			if !slices.Contains(forms, form) && (!errors.Is(err, worklog.ErrNoForm) || err.Error() != want) {
				t.Errorf("%s|%s: error\n got %v\nwant %s", field, form, err, want)
			}
			if slices.Contains(forms, form) && errors.Is(err, worklog.ErrNoForm) {
				t.Errorf("%s|%s: %v", field, form, err)
			}
		}
	}
	v, _ := log.Fact("rib", "least_thickness", day.Date{})
	if _, err := v.Format("gauge"); !errors.Is(err, measure.ErrNoGauge) {
		t.Errorf("1.38 mm as a gauge: %v, want ErrNoGauge", err)
	}
}

func TestAnImpossibleLossIsNoFact(t *testing.T) {
	log, _ := read(t, entries("2031-01-01 a removed finding: {least_thickness: 2 mm}"))
	_, err := log.Fact("rib", "loss", day.Date{})
	want := `the fact "rib.loss" has no value on record; correct the part's thickness or its least_thickness, which do not fit together, or drop the fact`
	if err == nil || err.Error() != want {
		t.Errorf("error\n got %v\nwant %s", err, want)
	}
	if _, ok := log.Loss("rib", day.Date{}); ok {
		t.Error("an impossible loss counts as one")
	}
}

func TestLossIsExactForTheLimit(t *testing.T) {
	log := good(t, sound())
	loss, ok := log.Loss("hull-stiffener", day.Date{})
	p, _ := log.Part("hull-stiffener")
	if !ok || !loss.Over(p.LossLimit) || loss.Percent() != 15*measure.OnePercent {
		t.Errorf("loss %s, %t; want 15%% and over 10%%", loss.Percent(), ok)
	}
	if _, ok := log.Loss("hull-stiffener", day.MustParse("2031-01-13")); ok {
		t.Error("a loss is known before the reading")
	}
	if _, ok := log.Loss("keel", day.Date{}); ok {
		t.Error("a part that is not there has a loss")
	}
}

func TestEverythingPrivateIsListedWithItsPlace(t *testing.T) {
	files := sound()
	files[tagFile] = strings.NewReplacer("who: someone at the bench", "who: Ada Quill", "adult: yes", "adult: no, guardian: Bea Quill").Replace(files[tagFile])
	log := good(t, files)
	show := func(all []worklog.Private) string {
		var lines []string
		for _, p := range all {
			lines = append(lines, fmt.Sprintf("%s %q %s", p.Kind, p.Value, p.Place))
		}
		return strings.Join(lines, "\n")
	}
	want := `supplier "Quayside Alloys" log/2031/2031-01-14-inspected.md:11:44
approval "MOD-031" log/2031/2031-01-14-inspected.md:11:71
report "R-7" log/2031/2031-01-14-inspected.md:11:88
cost "GBP 12.50" log/2031/2031-01-14-inspected.md:11:99
cost "£12.50" log/2031/2031-01-14-inspected.md:11:99
number "FO7-2217-4" parts/hull-stiffener.md:4:9
drawing "D-2217 sheet 3" parts/hull-stiffener.md:6:10
location "frame 14, port" parts/hull-stiffener.md:7:11
person "Tam Reddle" photos/stiffener.jpg.yaml:7:9
person "Ada Quill" photos/stiffener.jpg.yaml:11:16
person "Bea Quill" photos/stiffener.jpg.yaml:11:80`
	if got := show(log.Identifiers()); got != want {
		t.Errorf("identifiers\n got %s\nwant %s", got, want)
	}
	want = `detail "Pits to 0.25 mm under the paint." log/2031/2031-01-14-inspected.md:9:11
notes "Ask the stores about the alloy." log/2031/2031-01-14-inspected.md:15
notes "Lives in bay 3." parts/hull-stiffener.md:13
why "data plate" photos/stiffener.jpg.yaml:10:48
who "Ada Quill" photos/stiffener.jpg.yaml:11:16
guardian "Bea Quill" photos/stiffener.jpg.yaml:11:80`
	if got := show(log.Notes()); got != want {
		t.Errorf("notes\n got %s\nwant %s", got, want)
	}
	var lines []string
	for _, r := range log.Readings("hull-stiffener") {
		lines = append(lines, fmt.Sprintf("%s %d %s %s", r.Kind, r.Length, r.Date, r.Place))
	}
	want = `thickness 1625600  parts/hull-stiffener.md:9:12
limit 1463040  parts/hull-stiffener.md:10:13
least_thickness 1380000 2031-01-14 log/2031/2031-01-14-inspected.md:8:20`
	if got := strings.Join(lines, "\n"); got != want {
		t.Errorf("readings\n got %s\nwant %s", got, want)
	}
	if got := log.Readings("keel"); got != nil {
		t.Errorf("readings of no part: %v", got)
	}
}

func TestAPersonWhoAgreedToBeNamedIsNotPrivate(t *testing.T) {
	files := sound()
	files[tagFile] = strings.Replace(files[tagFile], "credit: Tam Reddle", "credit: Tam Reddle\ncredit_ok: 2031-01-14", 1)
	for _, p := range good(t, files).Identifiers() {
		if p.Kind == "person" {
			t.Errorf("%q at %s is private", p.Value, p.Place)
		}
	}
}

func TestAnEntryFromAListSaysWhereItCameFrom(t *testing.T) {
	from := func(origin string) map[string]string {
		return entries("2031-01-01 a removed origin: {" + origin + "}")
	}
	log := good(t, from("list: bench-log, row: R-102, digest: 0123456789abcdef"))
	if got, want := log.AllEntries()[0].Origin, (worklog.Origin{List: "bench-log", Row: "R-102", Digest: "0123456789abcdef"}); got != want {
		t.Errorf("origin %+v, want %+v", got, want)
	}
	if got := good(t, entries("2031-01-01 a removed")).AllEntries()[0].Origin; got != (worklog.Origin{}) {
		t.Errorf("an entry written by hand has the origin %+v", got)
	}
	for origin, want := range map[string]string{
		"list: bench-log, row: R-102":             "origin.digest is missing; write origin.digest: and its value",
		"list: bench-log, digest: 00":             "origin.row is missing; write origin.row: and its value",
		"row: R-102, digest: 00":                  "origin.list is missing; write origin.list: and its value",
		"list: a, row: b, digest: c, file: d.csv": `the key "file" is not known here; the keys here are digest, list, row`,
	} {
		_, problems := read(t, from(origin))
		if len(problems) != 1 || !strings.HasSuffix(problems[0].Error(), want) {
			t.Errorf("origin {%s}:\n got %v\nwant %s", origin, problems, want)
		}
	}
}
