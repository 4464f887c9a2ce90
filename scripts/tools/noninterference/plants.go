package main

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// plant is one deliberate leak.
type plant struct {
	name string // as package planted knows it
	how  string
}

// plants lists the leaks. Each is one that a hurried change could bring in.
func plants() []plant {
	return []plant{
		{"address", "a stop's address is its part's id"},
		{"order of notes", "a stop's stories stand in the order of how long the private notes are"},
		{"order of entries", "a stop's stories stand in the order of how many entries the part has"},
		{"order of drawings", "the stops of a tour stand in the order of their drawings"},
		{"order of the letter", "a letter's stories stand in the order of how many entries the part has"},
		{"picture's name", "a public picture is named by its original's name"},
		{"date", "a story's public date is that of the newest entry"},
		{"search", "the search index holds the part's id"},
		{"metadata", "a public picture's metadata holds a digest of the original's comment"},
		{"message id", "a letter's Message-ID comes from the newest entry"},
		{"date of the letter", "a letter's date shifts with the newest entry"},
		{"alt text", "a picture's alt text ends with its file's name"},
		{"alt text in French", "a picture's alt text in another language ends with a digest of the part's drawing"},
		{"place in French", "where a stop is, in another language, ends with a digest of the private notes"},
		{"title of the PDF", "the title of the cards ends with a digest of part numbers"},
		{"title of the strips", "the title of caution strips ends with a digest of part numbers"},
		{"feed guid", "the feed's guid holds a digest of part numbers"},
		{"class of the pile", "a story's heading has its part's pile for a class"},
		{"who, in a comment", "a comment in a page names who did the work"},
		{"size of a page", "a page is as much longer as the part has entries"},
		{"correction", "a correction is as much longer as the record has entries"},
		{"pace of the chart", "the season's chart counts parts that do not count"},
		{"notes in the chart", "the dates of notes shape the season's chart"},
		{"notes in the description", "a page's head holds the first letters of the private notes"},
	}
}

// patch is one change of text in a source file.
type patch struct{ file, from, to string }

const plantedPath = "internal/planted/planted.go"

//go:embed planted/planted.go.txt
var plantedSource string

// patches are where the leaks go in. The text to be changed stands once in its file.
func patches() []patch {
	return []patch{
		{"internal/clearance/desk.go", "	if err := d.readDecisions(ctx); err != nil {\n		return nil, err\n	}\n	return d, nil\n", `	if err := d.readDecisions(ctx); err != nil {
		return nil, err
	}
	all := d.log.AllEntries()
	planted.Tell("newest", all[len(all)-1].ID)
	numbers := ""
	for _, p := range d.log.Parts() {
		numbers += p.Number + " "
	}
	planted.Tell("numbers", numbers)
	for _, s := range d.words.Stories() {
		p, _ := d.log.Part(s.Parts[0])
		notes, who, count := p.Notes, "", ""
		for _, e := range d.log.Entries(p.ID, d.today) {
			notes, who, count = notes+" "+e.Notes, who+" "+e.By, count+"."
		}
		planted.Tell("part/"+s.ID, p.ID)
		planted.Tell("drawing/"+s.ID, p.Drawing)
		planted.Tell("notes/"+s.ID, notes)
		planted.Tell("by/"+s.ID, who)
		planted.Tell("count/"+s.ID, count)
		planted.Tell("pile/"+s.ID, d.log.StateOn(p.ID, d.today).Pile)
	}
	return d, nil
`},
		{"internal/clearance/desk.go", "Name: c.Name, Open: c.Open", `Name: planted.Pick("picture's name", c.Name, planted.Digest(tag.Photo+string(c.Use))+".jpg"), Open: c.Open`},
		{"internal/clearance/desk.go", "fields := cleared.PhotoFields{Alt: tag.Alt, ", `fields := cleared.PhotoFields{Alt: tag.Alt + planted.Pick("alt text", "", " "+tag.Photo), `},
		{"internal/clearance/hand.go", "for i, s := range t.Stops {", `for i, s := range planted.Sorted("order of drawings", t.Stops, func(s wording.Stop) string { return planted.Told("drawing/" + s.Stories[0]) }) {`},
		{"internal/clearance/hand.go", "stop := cleared.StopFields{ID: s.ID, ", `stop := cleared.StopFields{ID: planted.Pick("address", s.ID, planted.Told("part/"+s.Stories[0])), `},
		{"internal/clearance/hand.go", "for _, id := range s.Stories {", `for _, id := range planted.Sorted("order of notes", planted.Sorted("order of entries", s.Stories, func(id string) string { return planted.Length("count/" + id) }), func(id string) string { return planted.Length("notes/" + id) }) {`},
		{"internal/clearance/hand.go", "func (d *Desk) publicFrom(s *wording.Story) day.Date {\n", `func (d *Desk) publicFrom(s *wording.Story) day.Date {
	if all := d.log.Entries(s.Parts[0], d.today); planted.On("date") && len(all) > 0 {
		return all[len(all)-1].Date
	}
`},
		{"internal/clearance/history.go", "		if p.Figures {\n			courses", "		if p.Figures || planted.On(\"pace of the chart\") {\n			courses"},
		{"internal/clearance/history.go", `phase := worklog.PhaseOf(e.Step); phase != ""`, `phase := planted.Pick("notes in the chart", worklog.PhaseOf(e.Step), map[bool]string{true: "off", false: worklog.PhaseOf(e.Step)}[e.Step == "note"]); phase != ""`},
		{"internal/clearance/correct.go", `Say: u.text("say"),`, `Say: u.text("say") + planted.Pick("correction", "", strings.Repeat("!", len(d.log.AllEntries()))),`},
		{"internal/clearance/translation.go", `Alt: u.text(fmt.Sprintf("photos[%d].alt", i)), `, `Alt: u.text(fmt.Sprintf("photos[%d].alt", i)) + planted.Pick("alt text in French", "", " "+planted.Digest(planted.Told("drawing/"+u.about().ID))), `},
		{"internal/clearance/hand.go", "At: titles.stopOr(s.ID, s.At), ", `At: titles.stopOr(s.ID, s.At) + planted.Pick("place in French", "", map[bool]string{true: " " + planted.Digest(planted.Told("notes/" + s.Stories[0]))[:6]}[titles.of != nil]), `},
		{"internal/site/search.go", "folded(storyText(s)...)", `folded(append(storyText(s), planted.Pick("search", "", planted.Told("part/"+s.ID())))...)`},
		{"internal/site/site.go", "files := Files(out)", "files := Files(planted.Pages(out))"},
		{"internal/picture/picture.go", "return copies(ctx, work, src.upright(), r, packet)", `return copies(ctx, work, src.upright(), r, append(packet, planted.Metadata("metadata", original)...))`},
		{"internal/post/letter.go", `mac(key, "message-id", job.Week, to.ID)`, `mac(key, "message-id", job.Week, to.ID+planted.Pick("message id", "", planted.Told("newest")))`},
		{"internal/post/letter.go", "msg.SetDateWithValue(job.Date)", `msg.SetDateWithValue(job.Date.Add(planted.Seconds("date of the letter", "newest")))`},
		{"internal/card/card.go", `title = tongue.Fill(p.voices.own().words.Document, "tour", title)`, `title = tongue.Fill(p.voices.own().words.Document, "tour", title) + planted.Pick("title of the PDF", "", planted.Digest(planted.Told("numbers")))`},
		{"internal/card/tourpaper.go", `title := w.name() + ": " + string(what)`, `title := w.name() + ": " + string(what) + planted.Pick("title of the strips", "", planted.Digest(planted.Told("numbers")))`},
		{"internal/edition/assemble.go", "	return cmp.Or(\n		yesFirst(a.moved[x.ID()].Fitted", `	return cmp.Or(
		cmp.Compare(planted.Seconds("order of the letter", "count/"+x.ID()), planted.Seconds("order of the letter", "count/"+y.ID())),
		yesFirst(a.moved[x.ID()].Fitted`},
	}
}

// overlay writes the patched files to a folder and returns the file that tells the
// go command to read them in place of the product's. root is the module's folder.
func overlay(root, folder string) (string, error) {
	sources := map[string]string{}
	for _, p := range patches() {
		if _, read := sources[p.file]; !read {
			data, err := os.ReadFile(filepath.Join(root, p.file))
			if err != nil {
				return "", err
			}
			sources[p.file] = string(data)
		}
		if n := strings.Count(sources[p.file], p.from); n != 1 {
			return "", fmt.Errorf("%s holds %q %d times, and the plants need it once; correct patches in scripts/tools/noninterference/plants.go", p.file, p.from, n)
		}
		sources[p.file] = strings.Replace(sources[p.file], p.from, p.to, 1)
	}
	replace := map[string]string{}
	for file, source := range sources {
		if n := strings.Count(source, "\nimport (\n"); n != 1 {
			return "", fmt.Errorf("%s has no list of imports to add to", file)
		}
		sources[file] = strings.Replace(source, "\nimport (\n", "\nimport (\n\t\"example.org/opencowl/internal/planted\"\n", 1)
	}
	sources[plantedPath] = plantedSource
	for file, source := range sources {
		copied := filepath.Join(folder, strings.ReplaceAll(file, "/", "-"))
		if err := os.WriteFile(copied, []byte(source), 0o644); err != nil {
			return "", err
		}
		replace[filepath.Join(root, file)] = copied
	}
	list, err := json.MarshalIndent(map[string]any{"Replace": replace}, "", "  ")
	if err != nil {
		return "", err
	}
	name := filepath.Join(folder, "overlay.json")
	return name, os.WriteFile(name, list, 0o644)
}

// knows reports whether the planted source has a leak of that name, there or in a patch.
func knows(name string) bool {
	quoted := fmt.Sprintf("%q", name)
	return strings.Contains(plantedSource, "On("+quoted+")") ||
		slices.ContainsFunc(patches(), func(p patch) bool { return strings.Contains(p.to, "("+quoted) })
}
