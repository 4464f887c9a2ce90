package clearance_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// bench is a workspace on disk that tests change file by file.
type bench struct {
	t     *testing.T
	dir   string
	db    *store.DB
	today day.Date
}

// copies is where all tests keep public copies of the one photo, so that it is
// scaled once; they are named by their content.
var copies string

func TestMain(m *testing.M) {
	var err error
	if copies, err = os.MkdirTemp("", "copies"); err != nil {
		panic(err)
	}
	code := m.Run()
	os.RemoveAll(copies)
	os.Exit(code)
}

func newBench(t *testing.T) *bench {
	t.Helper()
	archive, err := txtar.ParseFile("testdata/workshop.txtar")
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, dir: t.TempDir(), today: day.MustParse("2031-01-22")}
	for _, f := range archive.Files {
		b.write(f.Name, string(f.Data))
	}
	b.write("photos/stiffener.jpg", string(photo(t)))
	b.write(".opencowl/lock", "")
	if err := os.Symlink(copies, filepath.Join(b.dir, ".opencowl", "copies")); err != nil {
		t.Logf("the copies are made anew: %v", err)
	}
	b.db, err = store.Open(context.Background(), filepath.Join(b.dir, "opencowl.db"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.db.Close() })
	return b
}

func photo(t *testing.T) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, 1200, 800))
	for y := range 800 {
		for x := range 1200 {
			img.Set(x, y, color.RGBA{uint8(x / 5), uint8(y / 4), 90, 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func (b *bench) write(name, text string) {
	b.t.Helper()
	path := filepath.Join(b.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// edit replaces text that must be in a file.
func (b *bench) edit(name, from, to string) {
	b.t.Helper()
	data, err := os.ReadFile(filepath.Join(b.dir, filepath.FromSlash(name)))
	if err != nil {
		b.t.Fatal(err)
	}
	if !strings.Contains(string(data), from) {
		b.t.Fatalf("%s does not hold %q", name, from)
	}
	b.write(name, strings.Replace(string(data), from, to, 1))
}

func (b *bench) desk() *clearance.Desk {
	b.t.Helper()
	ws, problems, err := workspace.Open(b.dir)
	if err != nil || len(problems) > 0 {
		b.t.Fatal(err, problems)
	}
	b.t.Cleanup(func() { ws.Close() })
	clock := func() time.Time { return b.today.Time(time.UTC).Add(12 * time.Hour) }
	d, err := clearance.Open(context.Background(), ws, b.db, clearance.Options{Today: b.today, Now: clock})
	if err != nil {
		b.t.Fatal(err)
	}
	return d
}

// decide clears units, each by somebody who may.
func (b *bench) decide(ids ...string) {
	b.t.Helper()
	d := b.desk()
	for _, id := range ids {
		by := "ines"
		if strings.HasPrefix(id, "edition/") {
			by = "orla"
		}
		units, err := d.Find([]string{id})
		if err == nil {
			err = d.Decide(context.Background(), units, clearance.Decision{By: by, NothingReadable: true})
		}
		if err != nil {
			b.t.Fatalf("clearing %s: %v", id, err)
		}
	}
}

func (b *bench) unit(d *clearance.Desk, id string) *clearance.Unit {
	b.t.Helper()
	units, err := d.Find([]string{id})
	if err != nil {
		b.t.Fatal(err)
	}
	return units[0]
}

func (b *bench) findings() []string {
	b.t.Helper()
	var all []string
	for _, p := range b.desk().Check() {
		if !p.Advice {
			all = append(all, p.Code+" "+p.Place.String()+" "+p.Message)
		}
	}
	return all
}

func TestCleanWorkspaceHasNoFindings(t *testing.T) {
	if got := newBench(t).findings(); len(got) > 0 {
		t.Errorf("findings in a clean workspace:\n%s", strings.Join(got, "\n"))
	}
}

func TestReleasedFactsAreFilledIn(t *testing.T) {
	b := newBench(t)
	b.decide("settings", "photo/stiffener.jpg", "story/floor-stiffener")
	stories := b.desk().Stories()
	if len(stories) != 1 {
		t.Fatalf("%d stories, want 1", len(stories))
	}
	// 16 SWG = 0.064 in = 1.6256 mm; (1.6256 − 1.38) / 1.6256 = 15.1 %.
	want := "Salt water had crept under the paint. It was 1.63\u00a0mm thick when new and had lost 15% at the worst spot."
	if got := strings.ReplaceAll(stories[0].Failed(), "15\u00a0%", "15%"); got != want {
		t.Errorf("failed:\n got %q\nwant %q", got, want)
	}
	if got := stories[0].Claims()[0].Say; got != "We think it is the original strip." {
		t.Errorf("a likely claim reads %q", got)
	}
	if got := len(stories[0].Photos()); got != 1 {
		t.Errorf("%d photos, want 1", got)
	}
}

// Each private thing, put into public words in some disguise, is found where it
// stands, and not told again in full.
func TestPrivateThingsAreFoundInPublicWords(t *testing.T) {
	const floor = "We cut and folded a new one here."
	for _, c := range []struct{ name, words, code, hidden string }{
		{"part number", "It was FO7-2217-4 on the list.", "private-name", "FO7-2217-4"},
		{"part number spaced", "It was fo7 2217 4 on the list.", "private-name", "2217 4"},
		{"part number with letter O", "It was FO7-22l7-4 on the list.", "private-name", "22l7"},
		{"part number in emphasis", "It was FO7-**2217**-4 on the list.", "private-name", "2217"},
		{"part number with zero-width space", "It was FO7-22\u200b17-4 on the list.", "private-name", "17-4"},
		{"part number full width", "It was ＦＯ７-2217-4 on the list.", "private-name", "2217"},
		{"drawing", "See D-2217, sheet 3.", "private-name", "sheet 3"},
		{"supplier in Cyrillic look-alikes", "Bought from H\u0435xw\u043erth C\u0430stings.", "private-name", "\u0430stings"},
		{"every fourth word swapped", "He drilled out some rivets on the left side before the lower strip came away clean.", "copied-sentence", ""},
		{"person in HTML entities", "Gus Pen&#104;allick folded it.", "private-name", "Penhallick"},
		{"supplier", "Bought from Hexworth   castings.", "private-name", "castings"},
		{"private term", "Metal from QUAYSIDE-ALLOYS came.", "private-name", "ALLOYS"},
		{"approval", "Under Mod 031 we went on.", "private-name", "031"},
		{"person in full", "Gus Penhallick folded it.", "private-name", "Penhallick"},
		{"surname", "Old Penhallick folded it.", "private-name", "Penhallick"},
		{"eight words of a note", "We drilled out sixty rivets on the port side before tea.", "copied-sentence", "port side before"},
		{"reading", "It was down to 1.38 mm.", "private-number", ""},
		{"reading in inches", "It was down to 0.0543 in.", "private-number", ""},
		{"loss", "It had lost 15 % there.", "private-number", ""},
		{"loss in words", "It had lost 15 per cent there.", "private-number", ""},
		{"thickness as a gauge", "It was 16 SWG sheet.", "private-number", ""},
		{"cost", "It cost us £412.50 in all.", "private-number", ""},
		{"email", "Write to gus@example.net.", "contact", "gus@example.net"},
		{"telephone", "Ring 01632 960123.", "contact", "960123"},
		{"postal code", "Come to SW1A 1AA.", "contact", "1AA"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			b.edit("wording/floor-stiffener.md", floor, c.words)
			got := b.findings()
			i := slices.IndexFunc(got, func(s string) bool { return strings.HasPrefix(s, c.code+" wording/floor-stiffener.md:8:") })
			if i < 0 {
				t.Fatalf("%q was not found: %q", c.words, got)
			}
			if c.hidden != "" && strings.Contains(got[i], c.hidden) {
				t.Errorf("the finding tells the private value again: %s", got[i])
			}
			if d := b.desk(); d.Ready(b.unit(d, "story/floor-stiffener")) == nil {
				t.Error("the story may still be cleared")
			}
		})
	}
}

func TestOrdinaryWordsAreLeftAlone(t *testing.T) {
	for _, words := range []string{
		"Frame 14 stands on the port side.", "We drilled out sixty rivets.", "It took 88 hours.", "It was 1.9 mm sheet.", "The 2217th visitor came.",
		"Tam Reddle folded it.", "Come to The Slip Hangar, Marram Quay, DN55 1PT.", "Our postcode is dn551pt.", "Write to returns@example.org.", "On 14 January 2031 at 10:30.", "It cost 412 hours.",
	} {
		b := newBench(t)
		b.edit("wording/floor-stiffener.md", "We cut and folded a new one here.", words)
		if got := b.findings(); len(got) > 0 {
			t.Errorf("%q: %q", words, got)
		}
	}
}

func TestWordsThatContradictTheRecordAreFound(t *testing.T) {
	for _, c := range []struct{ words, record, code string }{
		{"It has been fitted again.", "", "contradiction"},
		{"We kept it in the end.", "", ""}, // a replacement is on record
		{"It is now airworthy.", "", "assertion"},
		{"It was certified last week.", "", "assertion"},
		{"The hull is perfectly safe again.", "", "assertion"},
		{"By May she will be ready to fly.", "", "assertion"},
		{"The old one was still serviceable.", "", ""}, // a replacement is on record
		{"The old one was still serviceable.", "pile: unserviceable\n", "contradiction"},
		{"The old one was unserviceable.", "pile: unserviceable\n", ""},
		{"It has not been fitted yet.", "", ""},
		{"We replaced it.", "pile: serviceable\n", "contradiction"},
		{"We kept it in the end.", "pile: unserviceable\n", "contradiction"},
	} {
		b := newBench(t)
		b.edit("wording/floor-stiffener.md", "We cut and folded a new one here.", c.words)
		if c.record != "" {
			b.edit("log/2031/2031-01-14-stiffener-inspected.md", "pile: unserviceable\nreplacement: {source: made-here, supplier: Hexworth Castings, approval: MOD-031, cost: GBP 412.50}\n", c.record)
		}
		got := b.findings()
		if (c.code == "") != (len(got) == 0) || c.code != "" && !strings.HasPrefix(got[0], c.code+" wording/floor-stiffener.md:8:") {
			t.Errorf("%q with %q: got %q, want %q", c.words, c.record, got, c.code)
		}
	}
}

// What is airworthy, certified or safe is for the engineer to say, wherever
// it stands, and only an engineer accepts that it is said.
func TestAssertionsAreFoundInEveryUnit(t *testing.T) {
	for file, from := range map[string]string{
		"glossary/stiffener.md": "A strip that keeps a sheet from bending.", "editions/2031-W04.md": "A good week in the cold.",
		"tours/winter-hangar.yaml": "at: Hull floor", "photos/stiffener.jpg.yaml": "The old floor stiffener, pitted under its paint.", "workshop.yaml": "areas: {hull: Hull",
	} {
		b := newBench(t)
		b.edit(file, from, from+" certified safe")
		if got := b.findings(); len(got) == 0 || !strings.HasPrefix(got[0], "assertion "+file) {
			t.Errorf("%s: %q, want an assertion", file, got)
		}
	}
}

func TestPhotoNeedsConsentRightsAndAlt(t *testing.T) {
	for from, code := range map[string]string{
		"rights: ours\n": "no-rights", "alt: A thin metal strip on a bench, its lower edge eaten away in small craters.\n": "no-alt",
	} {
		b := newBench(t)
		b.edit("photos/stiffener.jpg.yaml", from, "")
		if got := b.findings(); len(got) != 1 || !strings.HasPrefix(got[0], code) {
			t.Errorf("without %q: %q, want %s", from, got, code)
		}
	}
	for people, code := range map[string]string{
		"[{who: someone at the bench, consent: not-asked}]":                               "no-consent",
		"[{who: someone at the bench, consent: refused}]":                                 "no-consent",
		"[{who: a child, consent: given, on: 2031-01-14, adult: no}]":                     "no-guardian",
		"[{who: a child, consent: given, on: 2031-01-14, adult: no, guardian: a parent}]": "",
		"[{who: someone at the bench, consent: given, on: 2031-01-14, adult: yes}]":       "",
	} {
		b := newBench(t)
		b.edit("photos/stiffener.jpg.yaml", "rights: ours\n", "rights: ours\npeople: "+people+"\n")
		got := b.findings()
		if code == "" && len(got) > 0 || code != "" && (len(got) != 1 || !strings.HasPrefix(got[0], code)) {
			t.Errorf("%s: %q, want %q", people, got, code)
		}
	}
}

func TestWhoMayDecide(t *testing.T) {
	for _, c := range []struct{ unit, by, want string }{
		{"story/floor-stiffener", "ines", ""},
		{"story/floor-stiffener", "tam", "is decided by an engineer"},
		{"story/floor-stiffener", "nobody", "nobody of that name"},
		{"edition/2031-W04", "orla", ""},
		{"edition/2031-W04", "nell", "their own work"},
		{"edition/2031-W04", "ines", "is decided by an officer"},
		{"settings", "ines", ""},
		{"photo/stiffener.jpg", "bram", ""},
	} {
		b := newBench(t)
		d := b.desk()
		u := b.unit(d, c.unit)
		err := d.MayDecide(u, c.by)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want) || !errors.Is(err, clearance.ErrMayNot)) {
			t.Errorf("%s by %s: got %v, want %q", c.unit, c.by, err, c.want)
		}
	}
	b := newBench(t)
	b.edit("workshop.yaml", "{id: tam, name: Tam Reddle, roles: [restorer, guide]", "{id: tam, name: Tam Reddle, roles: [restorer, engineer]")
	d := b.desk()
	if d.MayDecide(b.unit(d, "photo/stiffener.jpg"), "tam") == nil {
		t.Error("the taker of a photo may clear it")
	}
}

func TestPicturesNeedAnAnswer(t *testing.T) {
	d := newBench(t).desk()
	units, err := d.Find([]string{"photo/stiffener.jpg"})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Decide(context.Background(), units, clearance.Decision{By: "ines"}); err == nil || !strings.Contains(err.Error(), "no face, plate, drawing, paper or screen") {
		t.Errorf("got %v", err)
	}
	if err := d.Decide(context.Background(), units, clearance.Decision{By: "ines", Refuse: true}); err == nil || !strings.Contains(err.Error(), "needs a reason") {
		t.Errorf("a refusal without a reason: %v", err)
	}
	if units[0].Standing != clearance.Waiting {
		t.Errorf("the photo is %s", units[0].Standing)
	}
}

// Whatever a reader can see, changed, makes the decision stale; what they cannot
// see does not.
func TestDecisionLapsesWithWhatItWasAbout(t *testing.T) {
	for _, c := range []struct {
		file, from, to string
		stale          bool
	}{
		{"wording/floor-stiffener.md", "new one here", "new one at the bench", true},
		{"wording/floor-stiffener.md", "The longer account.", "The longer account, again.", true},
		{"wording/floor-stiffener.md", "status: likely", "status: told", true},
		{"wording/floor-stiffener.md", "hand_round: two-hands", "hand_round: look-only", true},
		{"wording/floor-stiffener.md", "for: [visitors, members]", "for: [visitors]", true},
		{"parts/floor-stiffener.md", "thickness: 16 swg", "thickness: 14 swg", true},
		{"log/2031/2031-01-14-stiffener-inspected.md", "1.38 mm", "1.20 mm", true},
		{"photos/stiffener.jpg.yaml", "alt: A thin metal strip", "alt: A thin strip of metal", true},
		{"photos/stiffener.jpg.yaml", "rights: ours", "rights: ours\nhide: [{x: 0.1, y: 0.1, w: 0.2, h: 0.2, why: plate}]", true},
		{"parts/floor-stiffener.md", "number: FO7-2217-4", "number: FO7-2217-5", false},
		{"parts/floor-stiffener.md", "Rang the mill", "Wrote to the mill", false},
		{"log/2030/2030-12-01-stiffener-removed.md", "Drilled out sixty", "Drilled out seventy", false},
		{"log/2031/2031-01-14-stiffener-inspected.md", "supplier: Hexworth Castings", "supplier: Thornmere Bearings", false},
		{"log/2031/2031-01-14-stiffener-inspected.md", "1.38 mm", "1.3801 mm", false},
	} {
		b := newBench(t)
		b.decide("settings", "photo/stiffener.jpg", "story/floor-stiffener")
		b.edit(c.file, c.from, c.to)
		d := b.desk()
		u := b.unit(d, "story/floor-stiffener")
		want := clearance.Cleared
		if c.stale {
			want = clearance.Stale
		}
		if u.Standing != want {
			t.Errorf("%s: %q → %q: the story is %s, want %s", c.file, c.from, c.to, u.Standing, want)
		}
		if got := len(d.Stories()); c.stale != (got == 0) {
			t.Errorf("%s: %q → %q: %d stories may leave", c.file, c.from, c.to, got)
		}
	}
}

func TestStoryWaitsForItsPhoto(t *testing.T) {
	b := newBench(t)
	b.decide("settings", "story/floor-stiffener")
	if got := b.desk().Stories(); len(got) != 0 {
		t.Error("a story leaves with a photo that nobody cleared")
	}
	b.decide("photo/stiffener.jpg")
	if got := b.desk().Stories(); len(got) != 1 {
		t.Error("the story does not leave once its photo is cleared")
	}
}

// send keeps an edition as sent on a day.
func (b *bench) send(week, on string, stories ...string) {
	b.t.Helper()
	r := edition.Record{Week: day.MustParseWeek(week)}
	for _, id := range stories {
		r.Stories = append(r.Stories, edition.ToldStory{ID: id, Title: "Told of " + id})
	}
	record, err := json.Marshal(r)
	if err != nil {
		b.t.Fatal(err)
	}
	movement, err := json.Marshal(b.desk().Movement().Parts())
	if err != nil {
		b.t.Fatal(err)
	}
	ctx, at := context.Background(), day.MustParse(on).Time(time.UTC)
	err = errors.Join(
		b.db.Freeze(ctx, store.Edition{Week: week, Record: record, Movement: movement, FrozenAt: at}, store.Entry{At: at, Who: "nell", Kind: "frozen"}),
		b.db.SetEditionState(ctx, week, store.Sending, at), b.db.SetEditionState(ctx, week, store.Sent, at))
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) stop() cleared.Stop {
	b.t.Helper()
	tour, err := b.desk().Tour("winter-hangar")
	if err != nil {
		b.t.Fatal(err)
	}
	return tour.Stops()[0]
}

func TestMembersHearFirstThenVisitorsThenEverybody(t *testing.T) {
	b := newBench(t)
	b.decide("settings", "photo/stiffener.jpg", "story/floor-stiffener", "tour/winter-hangar")
	if s := b.stop(); len(s.Stories()) != 0 || !strings.Contains(fmt.Sprint(s.Withheld()), "members first") {
		t.Errorf("before the edition: %d stories, %v", len(s.Stories()), s.Withheld())
	}
	b.send("2031-W04", "2031-01-24", "floor-stiffener")
	if s := b.stop(); len(s.Stories()) != 0 {
		t.Error("on the card before the day it was sent")
	}
	b.today = day.MustParse("2031-01-24")
	if s := b.stop(); len(s.Stories()) != 1 || len(s.Withheld()) != 0 {
		t.Errorf("after the edition: %d stories, %v", len(s.Stories()), s.Withheld())
	}
	for on, want := range map[string]int{"2031-01-24": 0, "2031-02-20": 0, "2031-02-21": 1} {
		b.today = day.MustParse(on)
		if got := len(b.desk().PublicStories()); got != want {
			t.Errorf("archive on %s: %d stories, want %d (28 days after 2031-01-24)", on, got, want)
		}
	}
}

func TestStoryForVisitorsAloneIsPublicAtItsDay(t *testing.T) {
	b := newBench(t)
	b.edit("wording/floor-stiffener.md", "for: [visitors, members]", "for: [visitors]\nnot_before: 2031-02-01")
	b.decide("settings", "photo/stiffener.jpg", "story/floor-stiffener", "tour/winter-hangar")
	for on, want := range map[string]int{"2031-01-31": 0, "2031-02-01": 1} {
		b.today = day.MustParse(on)
		if s := b.stop(); len(s.Stories()) != want {
			t.Errorf("card on %s: %d stories, want %d; %v", on, len(s.Stories()), want, s.Withheld())
		}
		if got := len(b.desk().PublicStories()); got != want {
			t.Errorf("archive on %s: %d stories, want %d", on, got, want)
		}
	}
}

func TestMovementNamesNoPart(t *testing.T) {
	b := newBench(t)
	parts := b.desk().Movement().Parts()
	if len(parts) != 1 || parts[0].Phase != cleared.Inspected || parts[0].Area != "hull" || !slices.Equal(parts[0].Stories, []string{"floor-stiffener"}) {
		t.Fatalf("movement %+v", parts)
	}
	if strings.Contains(parts[0].Key, "stiffener") {
		t.Errorf("the key tells the part: %s", parts[0].Key)
	}
	b.edit("parts/floor-stiffener.md", "area: hull", "area: hull\nfigures: no")
	if got := b.desk().Movement().Parts(); len(got) != 0 {
		t.Errorf("a part without figures is counted: %+v", got)
	}
}

func TestPartStaysPutWhileItsOnlyStoryWaits(t *testing.T) {
	b := newBench(t)
	b.send("2031-W03", "2031-01-17")
	b.edit("wording/floor-stiffener.md", "for: [visitors, members]", "for: [visitors, members]\nnot_before: 2031-02-01")
	b.write("log/2031/2031-01-20-stiffener-fitted.md", "---\ndate: 2031-01-20\nby: tam\npart: floor-stiffener\nstep: fitted\n---\n")
	if got := b.desk().Movement().Parts(); len(got) != 1 || got[0].Phase != cleared.Inspected {
		t.Errorf("while the story waits: %+v, want the part as it was at the last freeze", got)
	}
	b.today = day.MustParse("2031-02-01")
	if got := b.desk().Movement().Parts(); len(got) != 1 || got[0].Phase != cleared.Fitted {
		t.Errorf("once its day has come: %+v", got)
	}
}
