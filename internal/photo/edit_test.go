package photo

import (
	"strings"
	"testing"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/worklog"
)

var known = worklog.Names{Parts: []string{"hull-floor-stiffener", "tail-spar-web"}, People: []string{"tam", "wyn"}}

// edited makes an edit in a tag and holds the result against the strict reader.
func edited(t *testing.T, src string, e Edit) (string, error) {
	t.Helper()
	text := strings.TrimPrefix(src, byteOrderMark)
	old, problems := worklog.ReadTag("photos/a.jpg.yaml", []byte(text), known)
	if reading.Stops(problems) {
		t.Fatalf("the tag to begin with has problems: %v\n%s", problems, src)
	}
	var boxes []worklog.Box
	for _, a := range e.Hide {
		b, err := a.box(1000, 500)
		if err != nil {
			t.Fatal(err)
		}
		boxes = append(boxes, b)
	}
	got, err := e.changed(text, *old, boxes)
	if err != nil {
		return "", err
	}
	read, problems := worklog.ReadTag("photos/a.jpg.yaml", []byte(got), known)
	if reading.Stops(problems) {
		t.Errorf("the changed tag has problems: %v\n%s", problems, got)
	}
	if want := e.apply(*old, boxes); !sameTag(*read, want) {
		t.Errorf("the changed tag reads as\n%+v\nwant\n%+v\n%s", *read, want, got)
	}
	return mark([]byte(src)) + got, nil
}

func area(t testing.TB, s string) Area {
	t.Helper()
	a, err := ParseHide(s)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func person(t testing.TB, s string) worklog.Person {
	t.Helper()
	p, err := ParsePerson(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const remarked = `# Seen from the port side.

parts: [hull-floor-stiffener]   # the old one
taken: 2031-01-14
by: 'tam'
publish: no          # until the plate is hidden
caption: "Pits \"under\" the paint."
alt: >
  A thin strip,
  pitted.

# Ask the bench about the credit.
credit: The Tuesday bench
`

func TestAnEditChangesTheNamedKeysAndNothingElse(t *testing.T) {
	for _, c := range []struct {
		name, src string
		edit      Edit
		want      func(src string) string
	}{
		{"a plain value, its remark kept", remarked, Edit{Publish: "offered"}, swap("publish: no  ", "publish: offered  ")},
		{"a quoted value", remarked, Edit{Caption: "Pits: 12 of them."}, swap(`"Pits \"under\" the paint."`, `"Pits: 12 of them."`)},
		{"single quotes", remarked, Edit{By: "wyn"}, swap("'tam'", "wyn")},
		{"a folded text", remarked, Edit{Alt: "A strip."}, swap(">\n  A thin strip,\n  pitted.", "A strip.")},
		{"what it says already", remarked, Edit{By: "tam", Taken: "2031-01-14", Parts: []string{"hull-floor-stiffener"}}, swap("", "")},
		{"a part to a list in brackets", remarked, Edit{Parts: []string{"tail-spar-web"}}, swap("[hull-floor-stiffener]", "[hull-floor-stiffener, tail-spar-web]")},
		{"keys that are new come last", remarked, Edit{Rights: "ours", CreditOK: "2031-01-15"},
			swap("credit: The Tuesday bench\n", "credit: The Tuesday bench\ncredit_ok: 2031-01-15\nrights: ours\n")},
		{"a list that is new", remarked, Edit{Hide: []Area{area(t, "0.1,0.2,0.05,0.04:data plate")}},
			swap("credit: The Tuesday bench\n", "credit: The Tuesday bench\nhide:\n  - {x: 0.1, y: 0.2, w: 0.05, h: 0.04, why: data plate}\n")},
		{"pixels are widened to whole ones", remarked, Edit{Hide: []Area{area(t, "120px, 80px, 61px, 41px")}},
			swap("credit: The Tuesday bench\n", "credit: The Tuesday bench\nhide:\n  - {x: 0.12, y: 0.16, w: 0.061, h: 0.082}\n")},
		{"a key goes with its line", remarked, Edit{Drop: []string{"credit"}}, swap("credit: The Tuesday bench\n", "")},
		{"a key of several lines goes whole", remarked, Edit{Drop: []string{"alt"}}, swap("alt: >\n  A thin strip,\n  pitted.\n", "")},
		{"dropping a key that is not there", remarked, Edit{Drop: []string{"people"}}, swap("", "")},
		{"a list written anew", remarked, Edit{Drop: []string{"parts"}, Parts: []string{"tail-spar-web"}},
			swap("parts: [hull-floor-stiffener]   # the old one\n", "parts:   # the old one\n  - tail-spar-web\n")},

		{"no line end at the end", "taken: 2031-01-14\nby: tam", Edit{Rights: "lent"}, swap("by: tam", "by: tam\nrights: lent\n")},
		{"a value that is empty", "taken: 2031-01-14\nby: tam\ncaption:   # later\nalt: x\n", Edit{Caption: "A strip."}, swap("caption:   # later", "caption: A strip.   # later")},
		{"Windows line ends", "taken: 2031-01-14\r\nby: tam # he\r\nhide:\r\n  - {x: 0, y: 0, w: 0.1, h: 0.1}\r\n", Edit{By: "wyn", Alt: "A strip.", Hide: []Area{area(t, "0.5,0.5,0.1,0.1")}},
			swap("by: tam # he\r\nhide:\r\n  - {x: 0, y: 0, w: 0.1, h: 0.1}\r\n", "by: wyn # he\r\nhide:\r\n  - {x: 0, y: 0, w: 0.1, h: 0.1}\r\n  - {x: 0.5, y: 0.5, w: 0.1, h: 0.1}\r\nalt: A strip.\r\n")},
		{"a byte order mark", byteOrderMark + "taken: 2031-01-14\nby: tam\n", Edit{By: "wyn"}, swap("by: tam", "by: wyn")},
		{"three hyphens first", "---\ntaken: 2031-01-14\nby: tam\n", Edit{By: "wyn"}, swap("by: tam", "by: wyn")},
		{"keys in quotes", "\"taken\": 2031-01-14\n'by': tam\n", Edit{By: "wyn"}, swap("tam", "wyn")},
		{"a list below its key, without indent", "parts:   # both\n- hull-floor-stiffener # old\n# new one to come\ntaken: 2031-01-14\nby: tam\n", Edit{Parts: []string{"tail-spar-web"}},
			swap("hull-floor-stiffener # old\n", "hull-floor-stiffener # old\n- tail-spar-web\n")},
		{"a list in brackets over lines", "parts: [\n  hull-floor-stiffener, # old\n]\ntaken: 2031-01-14\nby: tam\n", Edit{Parts: []string{"tail-spar-web"}},
			swap("hull-floor-stiffener,", "hull-floor-stiffener, tail-spar-web,")},
		{"an empty list in brackets", "parts: []\ntaken: 2031-01-14\nby: tam\n", Edit{Parts: []string{"tail-spar-web"}}, swap("[]", "[tail-spar-web]")},
		{"a scalar on the line below", "taken: 2031-01-14\nby: tam\nalt: # say more\n  A thin strip.\nrights: ours\n", Edit{Alt: "A strip."}, swap("alt: # say more\n  A thin strip.\n", "alt: A strip. # say more\n")},
		{"a point", "taken: 2031-01-14\nby: tam\nfocus: {x: 0.5, y: 0.5} # middle\n", Edit{Focus: &worklog.Point{X: 0.42, Y: 0.55}}, swap("{x: 0.5, y: 0.5}", "{x: 0.42, y: 0.55}")},
		{"a hash and quotes inside a text", "taken: 2031-01-14\nby: tam\ncaption: 'Bin #4, it''s \"full\"' # so\nalt: x\n", Edit{Alt: "y"}, swap("alt: x", "alt: y")},

		{"somebody known, on one line", "taken: 2031-01-14\nby: tam\npeople: [{who: \"A, at the bench\", consent: not-asked}] # ask\n", Edit{People: []worklog.Person{person(t, "who=a, at the bench,consent=given,on=2031-01-15")}},
			swap("consent: not-asked}", "consent: given, on: 2031-01-15}")},
		{"somebody known, on lines of their own", "taken: 2031-01-14\nby: tam\npeople:\n  - who: the smith   # at the forge\n    consent: given   # by word\n    on: 2031-01-15\n  - {who: the boy, consent: not-asked, adult: no}\nrights: ours\n",
			Edit{People: []worklog.Person{person(t, "who=the smith,consent=refused"), person(t, "who=the boy,guardian=his aunt"), person(t, "who=a visitor,consent=not-asked")}},
			func(src string) string {
				src = swap("consent: given   #", "consent: refused   #")(src)
				return swap("adult: no}\n", "adult: no, guardian: his aunt}\n  - {who: a visitor, consent: not-asked}\n")(src)
			}},
		{"a key that is new in lines of their own", "taken: 2031-01-14\nby: tam\npeople:\n- who: the smith\n  consent: not-asked\n", Edit{People: []worklog.Person{person(t, "who=the smith,adult=yes"), person(t, "who=b,consent=refused")}},
			swap("consent: not-asked\n", "consent: not-asked\n  adult: yes\n- {who: b, consent: refused}\n")},
		{"a box that is hidden already", "taken: 2031-01-14\nby: tam\nhide: [{x: 0.1, y: 0.2, w: 0.1, h: 0.1, why: plate}]\n", Edit{Hide: []Area{area(t, "0.1,0.2,0.1,0.1")}}, swap("", "")},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := edited(t, c.src, c.edit)
			if err != nil {
				t.Fatal(err)
			}
			if want := c.want(c.src); got != want {
				t.Errorf("got\n%q\nwant\n%q", got, want)
			}
		})
	}
}

// swap replaces a text that must be there.
func swap(old, with string) func(string) string {
	return func(src string) string {
		if !strings.Contains(src, old) {
			return "does not hold " + old
		}
		return strings.Replace(src, old, with, 1)
	}
}

func TestATagThatCannotBeChangedInPartsIsLeft(t *testing.T) {
	for _, src := range []string{
		"{taken: 2031-01-14, by: tam}\n",
		"  taken: 2031-01-14\n  by: tam\n",
	} {
		if got, err := edited(t, src, Edit{By: "wyn"}); err == nil {
			t.Errorf("%q became %q", src, got)
		}
	}
}

func TestANewTagReadsAsWhatWasSaid(t *testing.T) {
	e := Edit{Parts: []string{"hull-floor-stiffener", "hull-floor-stiffener"}, Taken: "2031-01-14", By: "tam", Publish: "offered",
		Caption: `Pits: "bad" ones, at 50% \ more`, Alt: "null", Credit: "No. 4 bench", CreditOK: "2031-01-15", Rights: "ours", Focus: &worklog.Point{X: 0.42, Y: 1},
		Hide: []Area{area(t, "0.1,0.2,0.05,0.04:it's #4: the plate")}, People: []worklog.Person{person(t, "who=Ålvar, at the bench,consent=given,on=2031-01-14,adult=no,guardian=his aunt")}}
	boxes := []worklog.Box{{X: 0.1, Y: 0.2, W: 0.05, H: 0.04, Why: "it's #4: the plate"}}
	text := e.written(boxes)
	tag, problems := worklog.ReadTag("photos/a.jpg.yaml", []byte(text), known)
	if len(problems) > 0 {
		t.Fatalf("%v\n%s", problems, text)
	}
	want := worklog.Tag{Photo: "a.jpg", PhotoFile: "photos/a.jpg", File: "photos/a.jpg.yaml", Parts: []string{"hull-floor-stiffener"}, Taken: day.MustParse("2031-01-14"), By: "tam", Publish: true,
		Caption: `Pits: "bad" ones, at 50% \ more`, Alt: "null", Credit: "No. 4 bench", CreditOK: day.MustParse("2031-01-15"), Rights: "ours", Focus: &worklog.Point{X: 0.42, Y: 1}, Hide: boxes,
		People: []worklog.Person{{Who: "Ålvar, at the bench", Consent: "given", On: day.MustParse("2031-01-14"), Adult: "no", Guardian: "his aunt"}}}
	if !sameTag(*tag, want) {
		t.Errorf("got\n%+v\nwant\n%+v\n%s", *tag, want, text)
	}
	if nobody := (Edit{By: "tam", Taken: "2031-01-14"}).written(nil); !strings.Contains(nobody, "publish: no\n") {
		t.Errorf("a tag that says nothing of it must not be offered:\n%s", nobody)
	}
}

// FuzzEdit holds that an edit either gives up or gives a tag that reads as it
// should, in which every line that has nothing to do with the key is still there.
func FuzzEdit(f *testing.F) {
	f.Add(remarked, "A caption", "data plate")
	f.Add("taken: 2031-01-14\r\nby: tam\r\nhide: [{x: 0, y: 0, w: 1, h: 1}]\r\n", "x: y", "#")
	f.Add("people:\n  - who: a\n    consent: refused\ntaken: 2031-01-14\nby: tam\n", "'", "]")
	f.Fuzz(func(t *testing.T, src, caption, who string) {
		old, problems := worklog.ReadTag("photos/a.jpg.yaml", []byte(src), known)
		e := Edit{Caption: caption, People: []worklog.Person{{Who: who, Consent: "refused"}}, Hide: []Area{{x: 0.5, y: 0.5, w: 0.1, h: 0.1}}}
		if reading.Stops(problems) || e.check() != nil || caption == "" || who == "" {
			return
		}
		boxes := []worklog.Box{{X: 0.5, Y: 0.5, W: 0.1, H: 0.1}}
		got, err := e.changed(src, *old, boxes)
		if err != nil {
			return
		}
		read, problems := worklog.ReadTag("photos/a.jpg.yaml", []byte(got), known)
		if !reading.Stops(problems) && sameTag(*read, e.apply(*old, boxes)) {
			for line := range strings.Lines(src) {
				if strings.HasPrefix(line, "#") && !strings.Contains(got, strings.TrimRight(line, "\r\n")) {
					t.Errorf("the remark %q is gone from\n%s", line, got)
				}
			}
		}
		// Otherwise the plan refuses to write it: see TestATagThatReadsOtherwiseIsNotWritten.
	})
}
