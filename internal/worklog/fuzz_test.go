package worklog

import (
	"slices"
	"testing"

	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/testtool"
)

// wellPut fails the test unless each problem says where, what and how to mend it.
func wellPut(t *testing.T, file string, problems []reading.Problem) {
	t.Helper()
	for _, p := range problems {
		if p.File != file || p.Code == "" || p.Message == "" || p.Remedy == "" {
			t.Fatalf("a problem lacks something: %+v", p)
		}
	}
}

// addDemo seeds a target with the files of the demonstration.
func addDemo(f *testing.F, pattern string) {
	f.Helper()
	for _, src := range testtool.Demo(f, pattern) {
		f.Add(src)
	}
}

func known() *reader {
	thick, err := measure.Parse("16 swg")
	if err != nil {
		panic(err)
	}
	rib := &Part{ID: "rib", Area: "wing", Thickness: thick}
	return &reader{areas: []string{"wing"}, people: []string{"tam"}, partIDs: []string{"rib", "spar"}, photoNames: []string{"a.jpg"},
		log: &Log{parts: map[string]*Part{"rib": rib}, tags: map[string]*Tag{}, byPart: map[string][]*Entry{}}}
}

func FuzzPart(f *testing.F) {
	addDemo(f, "parts/*.md")
	for _, s := range []string{"---\nname: rib\narea: wing\nthickness: 16 swg\nloss_limit: 10%\nfigures: no\n---\nNotes.\n", "---\nname: [rib]\narea:\n---\n",
		"---\n---\n", "name: rib", "---\nname: \"\"\narea: win\nthickness: 16 gauge\n---", "---\nloss_limit: 0%\n---\n\n\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		p, problems := readPart("parts/rib.md", src, []string{"wing"})
		wellPut(t, "parts/rib.md", problems)
		if p.ID != "rib" || p.Doc == nil {
			t.Fatalf("a part without its id or places: %+v", p)
		}
		if !reading.Stops(problems) && (p.Name == "" || p.Area != "wing" || p.LossLimit < 0 || p.Thickness.IsSet() && p.Thickness.Length <= 0) {
			t.Fatalf("a part that is not as it should be was taken: %+v", p)
		}
	})
}

func FuzzEntry(f *testing.F) {
	addDemo(f, "log/*/*.md")
	for _, s := range []string{"---\ndate: 2031-01-14\nby: tam\npart: rib\nstep: inspected\nfinding: {causes: [wear], least_thickness: 1.38 mm}\npile: rework\n---\n",
		"---\ndate: 2031-01-14\nby: tam\nparts: [rib, spar, rib, \"\"]\nstep: fit\nphotos: [a.jpg, b.jpg]\n---\n", "---\nparts:\npart: rib\nparts: rib\n---\n",
		"---\nfinding:\n  least_thickness: 2 mm\npart: rib\nreplacement: {cost: GBP 5}\nnext: {due: never}\n---\n", "---\nfinding: []\n---"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		const file = "log/2031-01-14-a.md"
		e, problems := known().readEntry(file, src)
		wellPut(t, file, problems)
		if reading.Stops(problems) {
			return
		}
		least := e.Finding.LeastThickness
		if e.Date.IsZero() || e.By != "tam" || len(e.Parts) == 0 || !slices.Contains(Steps(), e.Step) ||
			e.Parts[0] == "rib" && least.IsSet() && least.Length > 1_625_600 {
			t.Fatalf("an entry that is not as it should be was taken: %+v", e)
		}
	})
}

func FuzzTag(f *testing.F) {
	addDemo(f, "photos/*.yaml")
	for _, s := range []string{"parts: [rib]\ntaken: 2031-01-14\nby: tam\npublish: offered\nfocus: {x: 0.5, y: 1}\nhide: [{x: 0, y: 0, w: 1, h: 1, why: plate}]\n",
		"taken: 2031-01-14\nby: tam\npublish: no\npeople: [{who: a, consent: given}, {consent: refused, adult: no}]\n", "focus: {x: .inf}\nhide: [{}]\npeople: [{}]\nby: tam\n",
		"focus:\nhide: [[x]]\n", "{}"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		const file = "photos/a.jpg.yaml"
		tag, problems := known().readTag(file, src)
		wellPut(t, file, problems)
		if tag.Photo != "a.jpg" || tag.PhotoFile != "photos/a.jpg" {
			t.Fatalf("a tag without its photo: %+v", tag)
		}
		if reading.Stops(problems) {
			return
		}
		if tag.Taken.IsZero() || tag.By != "tam" {
			t.Fatalf("a tag that is not as it should be was taken: %+v", tag)
		}
		inside := func(v float64) bool { return v >= 0 && v <= 1 }
		if tag.Focus != nil && (!inside(tag.Focus.X) || !inside(tag.Focus.Y)) {
			t.Fatalf("a focus outside the picture was taken: %+v", tag.Focus)
		}
		for _, b := range tag.Hide {
			if !inside(b.X) || !inside(b.Y) || b.W <= 0 || b.H <= 0 || b.X+b.W > 1.00001 || b.Y+b.H > 1.00001 {
				t.Fatalf("a box outside the picture was taken: %+v", b)
			}
		}
		for _, p := range tag.People {
			if p.Consent == "" || p.Consent == "given" && p.On.IsZero() {
				t.Fatalf("a person without consent said was taken: %+v", p)
			}
		}
	})
}
