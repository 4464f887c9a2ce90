package wording

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

var options = ReadOptions{Areas: []string{"hull", "tail", "wing"}, People: []string{"ines", "tam", "nell"}}

// tree writes files below a new folder and opens it.
func tree(t *testing.T, files map[string]string) *os.Root {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { root.Close() })
	return root
}

const goodStory = `---
title: The floor that rotted from inside
written_by: tam
parts: [hull-floor-stiffener]
area: hull
came_off: A thin aluminium strip that stiffened the bottom of the hull.
failed: Salt water had crept under the paint. It was {fact:hull-floor-stiffener.thickness|mm} thick when new and had lost {fact:hull-floor-stiffener.loss|percent} at the worst spot.
replaced: We cut and folded a new one here, from the same kind of sheet.
claims:
  - {say: It is the original strip., status: likely, evidence: Same rivet spacing as the drawing., about: hull-floor-stiffener}
questions:
  - {ask: "Could you have saved it?", answer: No. Cleaning out the pits would have left it too thin.}
talk: Hold both up side by side. Ask which one they would trust to sea.
props:
  - {what: old strip, hand_round: drop-proof, caution: [sharp-edge], made_safe: edges filed and taped}
  - {what: new strip, hand_round: two-hands, caution: [sharp-edge]}
  - {what: paint flakes, hand_round: look-only, caution: [lead-paint]}
cautions: [sharp-edge]
for: [visitors, members]
not_before: 2031-01-20
credits: [New strip folded by the Tuesday bench.]
photos: [2031-01-14-stiffener.jpg]
evergreen: true
---
The longer account, in *Markdown*.
`

const goodTour = `title: Winter in the hangar
slot: 45m
start: {x: 0, y: 0}
stops:
  - {id: hull-floor, at: Hull floor port side, x: 6, y: 2.5, stories: [floor-stiffener], wants: must, minutes: 5, cautions: [trip], walk_from_last: 12}
  - {id: tail, at: Under the tail, x: 16, y: 2, stories: [floor-stiffener], wants: could}
`

func TestAStoryIsReadWhole(t *testing.T) {
	words, problems := Read(tree(t, map[string]string{"wording/hull/floor-stiffener.md": goodStory}), options)
	if len(problems) > 0 {
		t.Fatalf("problems: %v", problems)
	}
	s, ok := words.Story("floor-stiffener")
	if !ok {
		t.Fatalf("no story among %v", words.Stories())
	}
	if s.File != "wording/hull/floor-stiffener.md" || s.Title != "The floor that rotted from inside" || s.WrittenBy != "tam" || s.Area != "hull" ||
		s.NotBefore != day.MustParse("2031-01-20") || !s.Evergreen || !s.IsFor(ForMembers) || !s.IsFor(ForVisitors) || s.BodyLine != 25 ||
		s.Body != "The longer account, in *Markdown*.\n" {
		t.Errorf("got %+v", s)
	}
	wantClaim := Claim{"It is the original strip.", Likely, "Same rivet spacing as the drawing.", "hull-floor-stiffener"}
	wantProp := Prop{"old strip", DropProof, []string{"sharp-edge"}, "edges filed and taped"}
	if s.Claims[0] != wantClaim || !reflect.DeepEqual(s.Props[0], wantProp) || len(s.Props) != 3 || s.Questions[0].Ask != "Could you have saved it?" {
		t.Errorf("got %+v %+v %+v", s.Claims, s.Props, s.Questions)
	}
	var fields []string
	var facts []string
	for _, text := range s.Texts() {
		fields = append(fields, text.Field+" "+strings.TrimPrefix(text.Place.String(), s.File))
		refs, problems := Facts(text)
		if len(problems) > 0 {
			t.Errorf("%s: %v", text.Field, problems)
		}
		for _, r := range refs {
			facts = append(facts, r.Field+" "+strings.TrimPrefix(r.Place.String(), s.File))
		}
	}
	wantFields := []string{"title :2:8", "came_off :6:11", "failed :7:9", "replaced :8:11", "claims[0].say :10:11", "claims[0].evidence :10:64",
		"questions[0].ask :12:11", "questions[0].answer :12:47", "talk :13:7", "props[0].what :15:12", "props[0].made_safe :15:81",
		"props[1].what :16:12", "props[2].what :17:12", "credits[0] :21:11", "body :25:1"}
	if !slices.Equal(fields, wantFields) {
		t.Errorf("texts\n got %q\nwant %q", fields, wantFields)
	}
	if want := []string{"thickness :7:54", "loss :7:123"}; !slices.Equal(facts, want) {
		t.Errorf("facts: got %q, want %q", facts, want)
	}
}

// Every field that somebody outside can read is in Texts: a token in each
// comes back, and the private ones do not.
func TestTextsHoldEveryPublicFieldAndNoPrivateOne(t *testing.T) {
	s := &Story{Doc: &reading.Doc{}, ID: "private", File: "private", WrittenBy: "private", Parts: []string{"private"}, Area: "private",
		Title: "p1", CameOff: "p2", Failed: "p3", Replaced: "p4", Talk: "p5", Body: "p6", Credits: []string{"p7"}, Photos: []string{"private"},
		Claims: []Claim{{"p8", "private", "p9", "private"}}, Questions: []Question{{"p10", "p11"}},
		Props: []Prop{{"p12", "private", []string{"private"}, "p13"}}, Cautions: []string{"private"}, For: []string{"private"}}
	w := &Word{Doc: &reading.Doc{}, ID: "private", WrittenBy: "private", Word: "p1", Also: []string{"p2"}, Meaning: "p3"}
	r := &Tour{Doc: &reading.Doc{}, ID: "private", WrittenBy: "private", Title: "p1", Stops: []Stop{{ID: "private", At: "p2", Wants: "private"}}}
	e := &Edition{Doc: &reading.Doc{}, WrittenBy: "private", Subject: "p1", Preheader: "p2", Opening: "p3", Lead: "private", Photos: []string{"private"},
		Ask: &Ask{Text: "p4", URL: "private", Earlier: "p5"}}
	for name, c := range map[string]struct {
		texts []Text
		want  int
	}{"story": {s.Texts(), 13}, "word": {w.Texts(), 3}, "tour": {r.Texts(), 2}, "edition": {e.Texts(), 5}} {
		seen := map[string]bool{}
		for _, text := range c.texts {
			if text.Value == "private" {
				t.Errorf("%s: %s holds a private value", name, text.Field)
			}
			seen[text.Value] = true
		}
		for i := 1; i <= c.want; i++ {
			if !seen[fmt.Sprintf("p%d", i)] {
				t.Errorf("%s: p%d is in no text: %v", name, i, c.texts)
			}
		}
	}
}

func TestToursEditionsAndGlossaryAreRead(t *testing.T) {
	words, problems := Read(tree(t, map[string]string{
		"wording/floor-stiffener.md": goodStory,
		"tours/winter-hangar.yaml":   goodTour,
		"tours/short.yaml":           "title: Short\nslot: 1h30m\ngroup: 8\npace: 110\nwalk: 0.8\nwritten_by: tam\nstops:\n  - {id: nose, at: The nose, x: -1, y: 0, stories: [floor-stiffener], wants: should}\n",
		"editions/2031-W05.md":       "---\n---\n",
		"editions/2031-W04.md": "---\nsubject: The floor is open\npreheader: What we found\nlead: floor-stiffener\nstories: [floor-stiffener]\nphotos: [a.jpg]\nwritten_by: nell\n" +
			"ask: {text: Help us buy sheet, url: \"https://give.example.org/sheet?x=1\", earlier: Last year you bought the rivets.}\n---\nDear all.\n",
		"editions/2030-W52.md": "---\nsubject: Earlier\nask: {text: Write to us, url: \"mailto:help@example.org?subject=Sheet\"}\n---\n",
		"glossary/chine.md":    "---\nword: chine\nalso: [chines]\nwritten_by: ines\n---\nThe edge where side and bottom meet.\n",
		"glossary/bilge.md":    "---\nword: bilge\n---\nThe lowest part inside.\n",
	}), options)
	if len(problems) > 0 {
		t.Fatalf("problems: %v", problems)
	}
	tour, _ := words.Tour("winter-hangar")
	if tour == nil || tour.Slot != 45*time.Minute || tour.Group != 25 || tour.Pace != 130 || tour.Walk != 1 || len(tour.Stops) != 2 {
		t.Fatalf("got %+v", tour)
	}
	want := Stop{"hull-floor", "Hull floor port side", 6, 2.5, []string{"floor-stiffener"}, Must, 5, []string{"trip"}, 12}
	if !reflect.DeepEqual(tour.Stops[0], want) {
		t.Errorf("got %+v, want %+v", tour.Stops[0], want)
	}
	if short, _ := words.Tour("short"); short.Slot != 90*time.Minute || short.Group != 8 || short.Pace != 110 || short.Walk != 0.8 {
		t.Errorf("got %+v", short)
	}
	if got := []string{words.Tours()[0].ID, words.Tours()[1].ID, words.Glossary()[0].ID, words.Glossary()[1].ID}; !slices.Equal(got, []string{"short", "winter-hangar", "bilge", "chine"}) {
		t.Errorf("got %v", got)
	}
	var weeks []string
	for _, e := range words.Editions() {
		weeks = append(weeks, e.Week.String())
	}
	if !slices.Equal(weeks, []string{"2030-W52", "2031-W04", "2031-W05"}) {
		t.Errorf("got %v", weeks)
	}
	e, _ := words.Edition(day.MustParseWeek("2031-W04"))
	if e.Subject != "The floor is open" || e.Lead != "floor-stiffener" || *e.Ask != (Ask{"Help us buy sheet", "https://give.example.org/sheet?x=1", "Last year you bought the rivets."}) ||
		e.Opening != "Dear all.\n" || e.OpeningLine != 10 {
		t.Errorf("got %+v", e)
	}
	chine, _ := words.Word("chine")
	if chine.Word != "chine" || !slices.Equal(chine.Also, []string{"chines"}) || chine.Meaning != "The edge where side and bottom meet.\n" || chine.MeaningLine != 6 {
		t.Errorf("got %+v", chine)
	}
}

func TestAnEmptyWorkspaceHasNoWordsAndNoProblems(t *testing.T) {
	words, problems := Read(tree(t, nil), options)
	if len(problems) > 0 || len(words.Stories())+len(words.Glossary())+len(words.Tours())+len(words.Editions()) > 0 {
		t.Errorf("got %v %+v", problems, words)
	}
}

// change replaces one line of a good file; an empty new line takes it out.
func change(t *testing.T, good, begins, line string) string {
	t.Helper()
	lines := strings.Split(good, "\n")
	i := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, begins) })
	if i < 0 {
		t.Fatalf("no line begins with %q", begins)
	}
	if line == "" {
		return strings.Join(slices.Delete(lines, i, i+1), "\n")
	}
	lines[i] = line
	return strings.Join(lines, "\n")
}

func check(t *testing.T, src string, problems []reading.Problem, want string) {
	t.Helper()
	var got []string
	reading.Sort(problems)
	for _, p := range problems {
		got = append(got, p.Error())
		if p.Code == "" {
			t.Errorf("a problem without a code: %v", p)
		}
	}
	if strings.Join(got, "\n") != want {
		t.Errorf("%s\n got %s\nwant %s", src, strings.Join(got, "\n     "), want)
	}
}

func TestEveryFaultOfAStoryHasItsMessage(t *testing.T) {
	for _, c := range []struct{ begins, line, want string }{
		{"title:", "", "a.md:2: title is missing; give the story a title"},
		{"title:", "title:", "a.md:2:7: title is empty; give the story a title"},
		{"title:", "title: |\n  One\n  two", "a.md:2:8: title runs over more than one line; write it on one line"},
		{"title:", "title: '{fact:a.loss|percent}'", "a.md:2:9: a fact cannot stand in title; move it to came_off, failed, replaced, say, answer, talk, the body, an edition's opening or its ask, or write the words out"},
		{"written_by:", "written_by: tan", `a.md:3:13: the person "tan" is not in workshop.yaml; did you mean "tam"?`},
		{"parts:", "parts: [Floor Stiffener]", `a.md:4:9: "Floor Stiffener" is not the id of a part; write it in lower-case letters and digits joined by hyphens, such as floor-stiffener`},
		{"parts:", "parts: [hull-a, hull-a]", `a.md:4:17: parts holds "hull-a" twice; take one of the two out`},
		{"area:", "", "a.md:2: area is missing; name the area of the machine that it is about"},
		{"area:", "area: hul", `a.md:5:7: the area "hul" is not in workshop.yaml; did you mean "hull"?`},
		{"area:", "area: undercarriage", `a.md:5:7: the area "undercarriage" is not in workshop.yaml; add it there, or correct the value`},
		{"came_off:", "", "a.md:2: came_off is missing; say in plain words what came off"},
		{"failed:", "failed: '  '", "a.md:7:9: failed is empty; say in plain words why it failed, or why it had to come off"},
		{"failed:", "failed: It lost {fact:hull.loss|mm} there.", `a.md:7:33: loss cannot be told as "mm"; the forms of loss are percent`},
		{"replaced:", "", "a.md:2: replaced is missing; say in plain words what replaced it, or what will"},
		{"  - {say:", "  - {say: It is old., status: sure}", `a.md:10:31: status: "sure" is not one of proven, likely, told; correct the value`},
		{"  - {say:", "  - {say: It is old.}", `a.md:10:5: status is missing; write one of proven, likely, told`},
		{"  - {say:", "  - {status: told}", `a.md:10:5: say is missing; write the claim itself`},
		{"  - {say:", "  - {say: It is old., status: proven}", `a.md:10:5: evidence is missing; say what proves the claim, or make it likely or told`},
		{"  - {say:", "  - {say: It is old., status: told, about: FO7}", `a.md:10:44: "FO7" is not the id of a part; write it in lower-case letters and digits joined by hyphens, such as fo7`},
		{"  - {say:", "  - {say: It is old., status: told, evidence: 'By {fact:a.loss|percent}'}", "a.md:10:51: a fact cannot stand in evidence; move it to came_off, failed, replaced, say, answer, talk, the body, an edition's opening or its ask, or write the words out"},
		{"  - {ask:", "  - {ask: Why}", "a.md:12:5: answer is missing; write the answer for the guide"},
		{"  - {ask:", "  - {answer: So}", "a.md:12:5: ask is missing; write what visitors ask"},
		{"  - {what: old", "  - {hand_round: look-only}", "a.md:15:5: what is missing; name the prop"},
		{"  - {what: old", "  - {what: old strip}", "a.md:15:5: hand_round is missing; write one of drop-proof, two-hands, look-only"},
		{"  - {what: old", "  - {what: old strip, hand_round: two-hand}", `a.md:15:35: hand_round: "two-hand" is not one of drop-proof, two-hands, look-only; did you mean "two-hands"?; correct the value`},
		{"  - {what: old", "  - {what: old, hand_round: look-only, caution: [sharp]}", `a.md:15:50: the caution "sharp" is not known; did you mean "sharp-edge"?`},
		{"  - {what: old", "  - {what: old, hand_round: look-only, caution: [haunted]}", "a.md:15:50: the caution \"haunted\" is not known; the cautions are " + strings.Join(CautionKeys(), ", ")},
		{"  - {what: old", "  - {what: old, hand_round: two-hands, caution: [asbestos]}", "a.md:15:50: a prop with asbestos may not be handed round; make it look-only, or take it off the tour"},
		{"  - {what: old", "  - {what: old, hand_round: drop-proof, caution: [sharp-edge]}", "a.md:15:51: a prop with a sharp edge is not drop-proof; say in made_safe how the edge was made safe, or make it two-hands or look-only"},
		{"cautions:", "cautions: [sharp-edges]", `a.md:18:12: the caution "sharp-edges" is not known; did you mean "sharp-edge"?`},
		{"for:", "", "a.md:2: for is missing; say whom it is for: visitors, members or both"},
		{"for:", "for: []", "a.md:19:6: for is empty; say whom it is for: visitors, members or both"},
		{"for:", "for: [visitor]", `a.md:19:7: for: "visitor" is not one of visitors, members; did you mean "visitors"?; correct the value`},
		{"not_before:", "not_before: 2031-02-30", `a.md:20:13: not_before: "2031-02-30" is not a date; write it as 2031-01-14; correct the value`},
		{"credits:", "credits: ['']", "a.md:21:11: credits[0] is empty; write the credit, or take the item out"},
		{"photos:", "photos: [photos/a.jpg]", `a.md:22:10: "photos/a.jpg" is not the plain name of a photo; write the file's name in photos/, with no folder`},
		{"photos:", `photos: ['..\a.jpg']`, `a.md:22:10: "..\\a.jpg" is not the plain name of a photo; write the file's name in photos/, with no folder`},
		{"photos:", "photos: [..]", `a.md:22:10: ".." is not the plain name of a photo; write the file's name in photos/, with no folder`},
		{"photos:", "photos: [a.jpg, a.jpg]", `a.md:22:17: photos holds "a.jpg" twice; take one of the two out`},
		{"evergreen:", "evergreen: often", `a.md:23:12: evergreen: "often" is neither true nor false; write true or false`},
		{"evergreen:", "evergren: true", `a.md:23:1: the key "evergren" is not known here; did you mean "evergreen"?`},
		{"The longer", "é {fact:hull.loss}", `a.md:25:18: "{fact:hull.loss}" names no form; write it as {fact:PART.FIELD|FORM}, such as {fact:floor-stiffener.thickness|mm}`},
	} {
		src := change(t, goodStory, c.begins, c.line)
		_, problems := readStory("a.md", []byte(src), options)
		check(t, c.line, problems, c.want)
	}
}

func TestEveryHazardIsLookOnly(t *testing.T) {
	for _, key := range CautionKeys() {
		for _, round := range []string{DropProof, TwoHands, LookOnly} {
			line := fmt.Sprintf("  - {what: old strip, hand_round: %s, caution: [%s]}", round, key)
			_, problems := readStory("a.md", []byte(change(t, goodStory, "  - {what: old", line)), options)
			refused := Hazardous(key) && round != LookOnly || key == "sharp-edge" && round == DropProof
			if refused != (len(problems) == 1 && problems[0].Code == "unsafe-prop") || !refused && len(problems) > 0 {
				t.Errorf("%s %s: got %v", key, round, problems)
			}
		}
	}
}

func TestTwoPeopleNeedToKnowWhoWrote(t *testing.T) {
	two := options
	two.TwoPeople = true
	for file, src := range map[string]string{
		"wording/a.md":         change(t, goodStory, "written_by:", ""),
		"tours/a.yaml":         strings.ReplaceAll(goodTour, "floor-stiffener", "a"),
		"editions/2031-W04.md": "---\nsubject: A\n---\n",
		"glossary/a.md":        "---\nword: a\n---\nThe first.\n",
	} {
		files := map[string]string{"wording/a.md": goodStory, file: src}
		_, problems := Read(tree(t, files), two)
		if len(problems) != 1 || problems[0].File != file || !strings.HasSuffix(problems[0].Error(), "written_by is missing; name the person who wrote it, so that somebody else clears it") {
			t.Errorf("%s: got %v", file, problems)
		}
		if _, problems := Read(tree(t, files), options); len(problems) > 0 {
			t.Errorf("%s without the rule: got %v", file, problems)
		}
	}
}

func TestABrokenFileHasOneProblem(t *testing.T) {
	for _, src := range []string{"no front matter", "---\ntitle: \"open\n---\n", "---\n---\nbody"} {
		if _, problems := readStory("a.md", []byte(src), options); len(problems) != 1 {
			t.Errorf("%q: got %v", src, problems)
		}
	}
}

func TestEveryFaultOfATourHasItsMessage(t *testing.T) {
	stop := "  - {id: hull-floor"
	for _, c := range []struct{ begins, line, want string }{
		{"title:", "", "t.yaml:1: title is missing; give the tour a title"},
		{"slot:", "", "t.yaml:1: slot is missing; say how long the tour may take, such as 45m"},
		{"slot:", "slot: 45", `t.yaml:2:7: slot: "45" is not a slot of whole minutes between 1m and 8h; write it as 45m or 1h30m; correct the value`},
		{"slot:", "slot: 90s", `t.yaml:2:7: slot: "90s" is not a slot of whole minutes between 1m and 8h; write it as 45m or 1h30m; correct the value`},
		{"slot:", "slot: -45m", `t.yaml:2:7: slot: "-45m" is not a slot of whole minutes between 1m and 8h; write it as 45m or 1h30m; correct the value`},
		{"slot:", "slot: 9h", `t.yaml:2:7: slot: "9h" is not a slot of whole minutes between 1m and 8h; write it as 45m or 1h30m; correct the value`},
		{"slot:", "slot: 45m\npace: 59", "t.yaml:3:7: pace is 59 words a minute; write a number from 60 to 220"},
		{"slot:", "slot: 45m\npace: 220.5", "t.yaml:3:7: pace is 220.5 words a minute; write a number from 60 to 220"},
		{"slot:", "slot: 45m\nwalk: 0.2", "t.yaml:3:7: walk is 0.2 metres a second; write a number from 0.3 to 2"},
		{"slot:", "slot: 45m\nwalk: 2.1", "t.yaml:3:7: walk is 2.1 metres a second; write a number from 0.3 to 2"},
		{"slot:", "slot: 45m\ngroup: 0", "t.yaml:3:8: group is 0 people; write a number from 1 to 1000"},
		{"slot:", "slot: 45m\nwritten_by: inez", `t.yaml:3:13: the person "inez" is not in workshop.yaml; did you mean "ines"?`},
		{"start:", "start: {x: 1e9, y: 0}", "t.yaml:3:12: x is 1e+09 metres; write a number from -5000 to 5000"},
		{stop, "  - {at: Hull, x: 0, y: 0, stories: [floor-stiffener], wants: must}", "t.yaml:5:5: id is missing; give the stop an id; its address and QR code use it"},
		{stop, "  - {id: Hull Floor, at: Hull, stories: [floor-stiffener], wants: must}", `t.yaml:5:10: "Hull Floor" is not the id of a stop; write it in lower-case letters and digits joined by hyphens, such as hull-floor`},
		{stop, "  - {id: a, stories: [floor-stiffener], wants: must}", "t.yaml:5:5: at is missing; say where the group stands"},
		{stop, "  - {id: a, at: Hull, wants: must}", "t.yaml:5:5: stories is missing; name the stories told here"},
		{stop, "  - {id: a, at: Hull, stories: [floor-stiffner], wants: must}", `t.yaml:5:33: the story "floor-stiffner" is not in wording/; did you mean "floor-stiffener"?`},
		{stop, "  - {id: a, at: Hull, stories: [floor-stiffener, floor-stiffener], wants: must}", `t.yaml:5:50: stories holds "floor-stiffener" twice; take one of the two out`},
		{stop, "  - {id: a, at: Hull, stories: [floor-stiffener], wants: want}", `t.yaml:5:58: wants: "want" is not one of must, should, could; correct the value`},
		{stop, "  - {id: a, at: Hull, stories: [floor-stiffener]}", "t.yaml:5:5: wants is missing; write one of must, should, could"},
		{stop, "  - {id: a, at: Hull, stories: [floor-stiffener], wants: must, minutes: 4.5}", `t.yaml:5:73: minutes: "4.5" is not a whole number; write digits only`},
		{stop, "  - {id: a, at: Hull, stories: [floor-stiffener], wants: must, minutes: -1}", "t.yaml:5:73: minutes is -1 minutes; write a number from 0 to 480"},
		{stop, "  - {id: a, at: Hull, stories: [floor-stiffener], wants: must, cautions: [tripp]}", `t.yaml:5:75: the caution "tripp" is not known; did you mean "trip"?`},
		{stop, "  - {id: a, at: Hull, stories: [floor-stiffener], wants: must, walk_from_last: -3}", "t.yaml:5:80: walk_from_last is -3 metres; write a number from 0 to 5000"},
		{stop, "  - {id: a, at: 'Hull {fact:x.loss|percent}', stories: [floor-stiffener], wants: must}", "t.yaml:5:23: a fact cannot stand in at; move it to came_off, failed, replaced, say, answer, talk, the body, an edition's opening or its ask, or write the words out"},
	} {
		src := change(t, goodTour, c.begins, c.line)
		_, problems := readTour("t.yaml", []byte(src), options, []string{"floor-stiffener"})
		check(t, c.line, problems, c.want)
	}
	_, problems := readTour("t.yaml", []byte("title: A\nslot: 5m\n"), options, nil)
	check(t, "no stops", problems, "t.yaml:1: stops is missing; add at least one stop")
}

func TestEveryFaultOfAnEditionHasItsMessage(t *testing.T) {
	const refused = " is not an address that a letter may lead to; write a whole https address, or mailto: and an email address"
	for _, c := range []struct{ front, want string }{
		{"subject: |\n  One\n  two", "e.md:2:10: subject runs over more than one line; write it on one line"},
		{`preheader: "One\ttwo"`, "e.md:2:12: preheader runs over more than one line; write it on one line"},
		{"lead: flor", `e.md:2:7: the story "flor" is not in wording/; did you mean "floor"?`},
		{"stories: [wing, nothing-like-it]", `e.md:2:17: the story "nothing-like-it" is not in wording/; add it there, or correct the value`},
		{"skip: [wings]", `e.md:2:8: the story "wings" is not in wording/; did you mean "wing"?`},
		{"lead: wing\nskip: [floor, wing]", `e.md:3:15: the story "wing" is both chosen and skipped; take it out of one of the two`},
		{"stories: [wing]\nskip: [wing]", `e.md:3:8: the story "wing" is both chosen and skipped; take it out of one of the two`},
		{"photos: [a/b.jpg]", `e.md:2:10: "a/b.jpg" is not the plain name of a photo; write the file's name in photos/, with no folder`},
		{"written_by: nel", `e.md:2:13: the person "nel" is not in workshop.yaml; did you mean "nell"?`},
		{"ask: {url: 'https://example.org/'}", "e.md:2:6: text is missing; write what is asked for, or take the ask out"},
		{"ask: {text: Help}", "e.md:2:6: url is missing; write the https or mailto address that the ask leads to"},
		{"ask: {text: Help, url: 'http://example.org/'}", `e.md:2:24: "http://example.org/"` + refused},
		{"ask: {text: Help, url: 'javascript:alert(1)'}", `e.md:2:24: "javascript:alert(1)"` + refused},
		{"ask: {text: Help, url: 'https:///x'}", `e.md:2:24: "https:///x"` + refused},
		{"ask: {text: Help, url: 'https://:443/x'}", `e.md:2:24: "https://:443/x"` + refused},
		{"ask: {text: Help, url: 'https://a:b@example.org/'}", `e.md:2:24: "https://a:b@example.org/"` + refused},
		{"ask: {text: Help, url: 'https://example.org/a b'}", `e.md:2:24: "https://example.org/a b"` + refused},
		{"ask: {text: Help, url: 'mailto:'}", `e.md:2:24: "mailto:"` + refused},
		{"ask: {text: Help, url: 'mailto:a@example.org,b@example.org'}", `e.md:2:24: "mailto:a@example.org,b@example.org"` + refused},
		{"ask: {text: Help, url: example.org/give}", `e.md:2:24: "example.org/give"` + refused},
		{"leed: wing", `e.md:2:1: the key "leed" is not known here; did you mean "lead"?`},
		{"subject: '{fact:a.loss|percent} lost'", "e.md:2:11: a fact cannot stand in subject; move it to came_off, failed, replaced, say, answer, talk, the body, an edition's opening or its ask, or write the words out"},
	} {
		_, problems := readEdition("e.md", []byte("---\n"+c.front+"\n---\n"), options, []string{"floor", "wing"})
		want := `e.md: the file's name is not the week of an edition ("e" is not a week; write it as 2031-W07); name it for its ISO week, such as 2031-W07.md`
		check(t, c.front, problems, want+"\n"+c.want)
	}
	_, problems := readEdition("editions/2031-W53.md", []byte("---\npreheader: Hello {fact:a.loss|percent}.\n---\n"), options, nil)
	check(t, "a week that no calendar has", problems,
		`editions/2031-W53.md: the file's name is not the week of an edition ("2031-W53": 2031 has no week 53); name it for its ISO week, such as 2031-W07.md`+"\n"+
			"editions/2031-W53.md:2:18: a fact cannot stand in preheader; move it to came_off, failed, replaced, say, answer, talk, the body, an edition's opening or its ask, or write the words out")
	_, problems = readEdition("editions/2031-W07.md", []byte("---\nask: {text: 'A strip is {fact:a.cost|money}.', url: 'https://example.org/', earlier: 'The last was {fact:b.cost|money}, in {fact:b.cost|mm}.'}\nwritten_by: nell\n---\nHello {fact:a.loss|percent}.\n"), options, nil)
	check(t, "facts in the opening and the ask", problems, "editions/2031-W07.md:2:137: cost cannot be told as \"mm\"; the forms of cost are money")
}

func TestEveryFaultOfAGlossaryWordHasItsMessage(t *testing.T) {
	for _, c := range []struct{ src, want string }{
		{"---\nalso: [a]\n---\nMeaning.\n", "g.md:2: word is missing; write the word that is explained"},
		{"---\nword: chine\nalso: ['']\n---\nMeaning.\n", "g.md:3:8: also[0] is empty; write the other form, or take the item out"},
		{"---\nword: chine\n---\n \n", "g.md:4: the meaning is missing; explain the word below the front matter"},
		{"---\nword: chine\nwritten_by: me\n---\nMeaning.\n", `g.md:3:13: the person "me" is not in workshop.yaml; add it there, or correct the value`},
		{"---\nword: chine\n---\nIt is {fact:a.loss|percent}.\n", "g.md:4:7: a fact cannot stand in meaning; move it to came_off, failed, replaced, say, answer, talk, the body, an edition's opening or its ask, or write the words out"},
	} {
		_, problems := readWord("g.md", []byte(c.src), options)
		check(t, c.src, problems, c.want)
	}
}

func TestEveryFaultBetweenFilesHasItsMessage(t *testing.T) {
	word := func(word string) string { return "---\nword: " + word + "\n---\nMeaning.\n" }
	for name, c := range map[string]struct {
		files map[string]string
		want  string
	}{
		"story twice": {map[string]string{"wording/a/x.md": goodStory, "wording/b/x.md": goodStory},
			"wording/b/x.md: the story x is written twice (first in wording/a/x.md); give one of the two files another name"},
		"week twice": {map[string]string{"editions/2031-W04.md": "---\n---\n", "editions/2031/2031-W04.md": "---\n---\n"},
			"editions/2031/2031-W04.md: the edition 2031-W04 is written twice (first in editions/2031-W04.md); give one of the two files another name"},
		"stop on two tours": {map[string]string{"wording/floor-stiffener.md": goodStory, "tours/a.yaml": goodTour, "tours/b.yaml": change(t, goodTour, "  - {id: tail", "")},
			`tours/b.yaml:5:10: the stop id "hull-floor" is used twice (first at tours/a.yaml:5:10); give one of the two stops another id`},
		"word twice": {map[string]string{"glossary/a.md": word("Chine"), "glossary/b.md": word("chine")},
			`glossary/b.md:2:7: the word "chine" is explained in glossary/a.md; keep it in one place`},
		"word twice in one": {map[string]string{"glossary/a.md": "---\nword: chine\nalso: [chine]\n---\nMeaning.\n"},
			`glossary/a.md:3:8: the word "chine" is explained already; keep it in one place`},
		"no id": {map[string]string{"wording/Floor_Stiffener.md": goodStory},
			`wording/Floor_Stiffener.md: the file's name "Floor_Stiffener" is not an id; rename it in lower-case letters and digits joined by hyphens, such as floor-stiffener.md`},
		"a dot": {map[string]string{"wording/floor.2.md": goodStory},
			`wording/floor.2.md: the file's name "floor.2" is not an id; rename it in lower-case letters and digits joined by hyphens, such as floor-2.md`},
		"wrong ending": {map[string]string{"tours/winter.yml": goodTour},
			"tours/winter.yml: this file is not read; in tours/ only names that end in .yaml are; give it that ending, or move it elsewhere"},
		"empty file": {map[string]string{"wording/floor.md": "\n"},
			"wording/floor.md: the file is empty; write its front matter or delete the file"},
	} {
		_, problems := Read(tree(t, c.files), options)
		check(t, name, problems, c.want)
		if !reading.Stops(problems) {
			t.Errorf("%s: this is advice only", name)
		}
	}
	_, problems := Read(tree(t, map[string]string{"wording/plan.odt": "x", "wording/.hidden.md": "x"}), options)
	if len(problems) != 1 || !problems[0].Advice || problems[0].File != "wording/plan.odt" {
		t.Errorf("a file of another kind: got %v, want one piece of advice", problems)
	}
}

func TestAUnitWithAnUnusableNameIsLeftOut(t *testing.T) {
	words, _ := Read(tree(t, map[string]string{"wording/A.md": goodStory, "tours/A.yaml": goodTour, "editions/A.md": "---\n---\n", "glossary/A.md": "---\nword: a\n---\nb\n"}), options)
	if n := len(words.Stories()) + len(words.Tours()) + len(words.Editions()) + len(words.Glossary()); n != 0 {
		t.Errorf("got %d units, want none", n)
	}
}
