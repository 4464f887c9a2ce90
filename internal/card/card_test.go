package card

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/themes"
)

// short is a story that fits on the smallest card, front and back.
func short(t testing.TB) cleared.StoryFields {
	f := stiffener(t)
	f.Talk = "Hold it up. Ask who would trust it to sea."
	f.Claims = f.Claims[1:]
	f.Questions = f.Questions[:1]
	f.Props = f.Props[1:]
	return f
}

func TestEveryPaperPrintsBothFaces(t *testing.T) {
	for _, paper := range papers() {
		sheets := mustDeck(t, tourOf(stopOf(3, cleared.NewStory(short(t))), withheldStop()), options(paper))
		want := []Printed{{Stop: "hull-floor", Story: "floor-stiffener", Number: "3", Language: "en-GB"}, {Stop: "tail", Number: "4", GuideOnly: true, Language: "en-GB"}}
		got := slices.Clone(sheets.Cards)
		for i := range got {
			if len(got[i].Digest) != 64 {
				t.Errorf("%s: card %s has the digest %q; want 64 hexadecimal digits", paper, got[i].Number, got[i].Digest)
			}
			got[i].Digest = ""
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: cards %+v; want %+v", paper, got, want)
		}
	}
}

func TestStoriesAtOneStopAreLettered(t *testing.T) {
	var stories []cleared.Story
	for _, id := range []string{"one", "two", "three"} {
		f := short(t)
		f.ID = id
		stories = append(stories, cleared.NewStory(f))
	}
	tour := tourOf(stopOf(3, stories...), stopNamed("wing", 7, stories[0]))
	var got []string
	for _, p := range mustList(t, tour) {
		got = append(got, p.Number+" "+p.Story)
	}
	if want := []string{"3a one", "3b two", "3c three", "7 one"}; !slices.Equal(got, want) {
		t.Errorf("cards %q; want %q", got, want)
	}
	for i, want := range map[int]string{0: "a", 25: "z", 26: "aa", 27: "ab", 52: "ba"} {
		if got := letter(i); got != want {
			t.Errorf("letter(%d) = %q; want %q", i, got, want)
		}
	}
}

func TestSameInputGivesTheSameBytes(t *testing.T) {
	first := mustDeck(t, fullTour(t), options("a5"))
	second := mustDeck(t, fullTour(t), options("a5"))
	if !bytes.Equal(first.PDF, second.PDF) {
		t.Error("two decks of the same tour differ")
	}
	if !slices.Equal(first.Cards, mustList(t, fullTour(t))) {
		t.Error("Cards lists other cards than Deck prints")
	}
}

func digestOf(t *testing.T, s cleared.Settings, stop cleared.Stop) string {
	t.Helper()
	all, err := Cards(s, tourOf(stop), options("a5"))
	if err != nil {
		t.Fatal(err)
	}
	return all[0].Digest
}

func TestDigestLeavesOutTheDayAndThePaper(t *testing.T) {
	tour := fullTour(t)
	later := options("a4", front)
	later.AsOf = day.MustParse("2031-03-01")
	a, b := mustDeck(t, tour, options("a5")), mustDeck(t, tour, later)
	if !slices.Equal(a.Cards, b.Cards) {
		t.Errorf("another day, paper and choice of faces changed the cards:\n%+v\n%+v", a.Cards, b.Cards)
	}
	if bytes.Equal(a.PDF, b.PDF) {
		t.Error("the as-of date does not show on the cards")
	}
}

// Each change is one that a reader of front or back would see.
func TestDigestChangesWithAnythingShown(t *testing.T) {
	plain := digestOf(t, settings(), stopOf(3, cleared.NewStory(short(t))))
	changes := map[string]func(*cleared.StoryFields){
		"title":    func(f *cleared.StoryFields) { f.Title += "!" },
		"came off": func(f *cleared.StoryFields) { f.CameOff += " Two." },
		"failed":   func(f *cleared.StoryFields) { f.Failed += " Two." },
		"replaced": func(f *cleared.StoryFields) { f.Replaced += " Two." },
		"credits":  func(f *cleared.StoryFields) { f.Credits = append(f.Credits, "Lent by a friend") },
		"talk":     func(f *cleared.StoryFields) { f.Talk += " Wait." },
		"question": func(f *cleared.StoryFields) { f.Questions = []cleared.Question{{Ask: "Why?", Answer: "Rot."}} },
		"status": func(f *cleared.StoryFields) {
			f.Claims = []cleared.Claim{{Say: f.Claims[0].Say, Status: "told", Evidence: f.Claims[0].Evidence}}
		},
		"evidence": func(f *cleared.StoryFields) {
			f.Claims = []cleared.Claim{{Say: f.Claims[0].Say, Status: f.Claims[0].Status, Evidence: "A photograph."}}
		},
		"hand round": func(f *cleared.StoryFields) {
			f.Props = []cleared.Prop{{What: "new strip", HandRound: cleared.LookOnly, MadeSafe: "edges filed and taped"}}
		},
		"caution": func(f *cleared.StoryFields) { f.Cautions = nil },
		"photo":   func(f *cleared.StoryFields) { f.Photos = nil },
		"alt": func(f *cleared.StoryFields) {
			c, _ := f.Photos[0].Copy(cleared.Card)
			f.Photos = []cleared.Photo{cleared.NewPhoto(cleared.PhotoFields{Alt: "Another.", Credit: "Tam Reddle", Copies: []cleared.Copy{c}})}
		},
		"language": func(f *cleared.StoryFields) { f.Language = "cy" },
	}
	seen := map[string]string{plain: "no change"}
	for _, name := range slices.Sorted(maps.Keys(changes)) {
		f := short(t)
		changes[name](&f)
		d := digestOf(t, settings(), stopOf(3, cleared.NewStory(f)))
		if other, ok := seen[d]; ok {
			t.Errorf("the digest after a change of %s is that of %s", name, other)
		}
		seen[d] = name
	}
	f := short(t)
	f.Body, f.Digest, f.Evergreen = "Another long account.", "d2", true
	if d := digestOf(t, settings(), stopOf(3, cleared.NewStory(f))); d != plain {
		t.Error("the digest changed with something that no card shows")
	}
	moved := cleared.NewSettings(cleared.SettingsFields{Workshop: "Marram Sound Flying Boat Trust", Language: "en-GB", Site: "https://example.net/"})
	if d := digestOf(t, moved, stopOf(3, cleared.NewStory(short(t)))); d == plain {
		t.Error("the digest stays the same when the QR code opens another address")
	}
}

// overflows lists all overflows in a tree of joined and wrapped errors.
func overflows(err error) []*Overflow {
	switch e := err.(type) {
	case *Overflow:
		return []*Overflow{e}
	case interface{ Unwrap() []error }:
		var all []*Overflow
		for _, one := range e.Unwrap() {
			all = append(all, overflows(one)...)
		}
		return all
	case interface{ Unwrap() error }:
		return overflows(e.Unwrap())
	}
	return nil
}

func loseWords(s string, n int) string {
	words := strings.Fields(s)
	return strings.Join(words[:len(words)-n], " ")
}

// What the error asks for must be enough, and one word less must not be.
func TestOverflowNamesTheFieldAndEnoughWords(t *testing.T) {
	long := short(t)
	long.Failed = strings.TrimSpace(strings.Repeat("Salt water had crept under the paint for years. ", 20))
	deckOf := func(f cleared.StoryFields) error {
		_, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a6", front))
		return err
	}
	err := deckOf(long)
	var first *Overflow
	if !errors.As(err, &first) {
		t.Fatalf("Deck = %v; want an Overflow", err)
	}
	all := overflows(err)
	if len(all) != 1 || all[0].Field != "failed" || all[0].Card != "3" || all[0].Story != "floor-stiffener" || all[0].Face != "front" || all[0].Paper != "a6" {
		t.Fatalf("overflows %+v; want one, of failed, on the front of card 3", *first)
	}
	for _, word := range []string{"card 3", "floor-stiffener", "front", "failed", "a6"} {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%q does not say %q", err, word)
		}
	}
	fits := long
	fits.Failed = loseWords(long.Failed, first.Words)
	if err := deckOf(fits); err != nil {
		t.Errorf("after losing the %d words asked for: %v", first.Words, err)
	}
	nearly := long
	nearly.Failed = loseWords(long.Failed, first.Words-1)
	if err := deckOf(nearly); err == nil {
		t.Errorf("%d words were asked for, and %d are enough", first.Words, first.Words-1)
	}
}

func TestOverflowsOfSeveralCardsComeTogether(t *testing.T) {
	f := short(t)
	f.CameOff = strings.Repeat("It came off with a bang. ", 30)
	g := f
	g.ID = "other"
	_, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f), cleared.NewStory(g))), options("a5"))
	got := map[string]bool{}
	for _, o := range overflows(err) {
		got[o.Card+" "+o.Face+" "+o.Field] = true
	}
	if want := map[string]bool{"3a front came_off": true, "3b front came_off": true}; !maps.Equal(got, want) {
		t.Errorf("overflows %v; want %v", got, want)
	}
}

// One story that is too long does not keep the others from the visitors.
func TestCardThatDoesNotFitLeavesTheOthersToPrint(t *testing.T) {
	long := short(t)
	long.ID, long.CameOff = "long", strings.Repeat("It came off with a bang. ", 28)
	odd := short(t)
	odd.ID, odd.Failed = "odd", "The 船 rotted."
	sheets := mustDeck(t, tourOf(stopOf(3, cleared.NewStory(short(t)), cleared.NewStory(long), cleared.NewStory(odd)), withheldStop()), options("a5"))
	var got []string
	for _, c := range sheets.Cards {
		got = append(got, fmt.Sprint(c.Number, " ", c.Story, " ", c.GuideOnly))
	}
	if want := []string{"3a floor-stiffener false", "3b  true", "3c  true", "4  true"}; !slices.Equal(got, want) {
		t.Errorf("cards %q; want %q", got, want)
	}
	if len(sheets.Unfit) != 2 || len(overflows(sheets.Unfit[0])) != 1 || !strings.Contains(sheets.Unfit[1].Error(), "船") {
		t.Errorf("unfit: %v; want an Overflow of 3b, and the character of 3c", sheets.Unfit)
	}
	pages := strings.Split(run(t, "pdftotext", "-raw", saved(t, sheets), "-"), "\f")
	for page, want := range map[int]string{
		2: `words out of "came_off", or print it on`, 3: `words out of "came_off"`, 4: "has no shape for", 0: "The floor that rotted",
	} {
		if flat := strings.Join(strings.Fields(pages[page]), " "); !strings.Contains(flat, want) || page > 0 && !strings.Contains(flat, "For the guide only. Do not hand out") {
			t.Errorf("page %d says %q; want %q in it, for the guide only", page+1, flat, want)
		}
	}
}

// Whoever prints an hour before the talk cannot change cleared words: what fits is
// named for a front, and a back runs on.
func TestOverflowNamesThePaperAndTheSideThatWouldPrint(t *testing.T) {
	f := short(t)
	f.CameOff = strings.TrimSpace(strings.Repeat("It came off with a bang. ", 18))
	tour := tourOf(stopOf(3, cleared.NewStory(f)))
	_, err := Deck(t.Context(), settings(), tour, options("a6"))
	for _, want := range []string{`out of "came_off"`, "or print it on a5", "the backs fit on a6; they can be printed alone"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("Deck on a6 = %v; want %q in it", err, want)
		}
	}
	mustDeck(t, tour, options("a6", back))
	mustDeck(t, tour, options("a5", front))

	f.CameOff = strings.Repeat("It came off with a bang. ", 27)
	_, err = Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a5", front))
	if all := overflows(err); len(all) != 1 || !slices.Equal(all[0].Fits, []string{"a4", "letter"}) {
		t.Errorf("a long front on a5: %v; want it to fit on a4 and letter", err)
	}
	f.CameOff = strings.Repeat(f.CameOff+" ", 4)
	_, err = Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a5", front))
	if err == nil || strings.Contains(err.Error(), "print it on") {
		t.Errorf("a text too long for any paper: %v; want no paper offered", err)
	}
}

// The fields of one side are one thing to mend, so they share a line.
func TestFieldsOfOneSideShareALine(t *testing.T) {
	f := short(t)
	f.CameOff, f.Failed = strings.Repeat("It came off with a bang. ", 30), strings.Repeat("It broke with a snap. ", 30)
	_, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a5", front))
	if len(overflows(err)) != 2 || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), ` words out of "came_off" and `) {
		t.Errorf("Deck = %v; want both fields on one line", err)
	}
}

// A title that nobody has cleared may hold anything.
func TestSheetForTheGuidePrintsWhateverItQuotes(t *testing.T) {
	wild := cleared.NewStop(cleared.StopFields{ID: "wing", Number: 6, At: "The wing", Withheld: []string{
		"The 船 in " + strings.Repeat("unter", 20) + "rumpf: changed since it was cleared; decide again",
	}})
	doc := mustLay(t, tourOf(wild), options("a6", back), false)
	var said strings.Builder
	for _, it := range doc.Pages[0].Items {
		if s, ok := it.Shape.(draw.Text); ok {
			said.WriteString(textOf(s))
		}
	}
	for _, want := range []string{"The ? in", "decide again"} {
		if !strings.Contains(said.String(), want) {
			t.Errorf("the sheet says %q; want %q in it", said.String(), want)
		}
	}
	checkPage(t, "the sheet", doc.Pages[0])
}

func TestEveryFrontDefersToTheLicensed(t *testing.T) {
	f := short(t)
	f.Props = nil
	front := contentsOf(t, tourOf(stopOf(3, cleared.NewStory(f))))[0].Front[fieldHandling]
	if len(front.Entries) != 1 || !strings.Contains(front.Entries[0].Text, "not an airworthiness statement") {
		t.Errorf("a story with nothing to hand round says %q; want that it is no airworthiness statement", front.Entries)
	}
}

func TestGravestCautionStandsFirst(t *testing.T) {
	f := short(t)
	f.Cautions = []cleared.Caution{sharp}
	f.Props = []cleared.Prop{{What: "pad in its bag", HandRound: cleared.LookOnly, Cautions: []cleared.Caution{
		{Key: "propeller", Label: "Propeller"}, {Key: "asbestos", Label: "Asbestos"},
	}}}
	got := contentsOf(t, tourOf(stopOf(3, cleared.NewStory(f))))[0].Cautions
	if want := []string{"Asbestos", "Propeller", "Sharp edges", "Trip hazard"}; !slices.Equal(got, want) {
		t.Errorf("cautions %q; want %q", got, want)
	}
}

func TestWordTooWideForItsCardIsNamed(t *testing.T) {
	f := short(t)
	f.Title = "The " + strings.Repeat("unter", 12) + "rumpf"
	f.Language = "pl" // no patterns are known that would break it
	_, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a6", front))
	if err == nil || !strings.Contains(err.Error(), "unterrumpf") || !strings.Contains(err.Error(), "card 3") {
		t.Errorf("Deck = %v; want an error that names the word and the card", err)
	}
}

func TestMissingGlyphNamesCardFieldAndCharacter(t *testing.T) {
	f := short(t)
	f.Failed = "The 船 rotted."
	_, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a5", front))
	if err == nil {
		t.Fatal("a character that the font lacks was printed")
	}
	for _, want := range []string{"card 3", "failed", "船", "U+8239"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q does not say %q", err, want)
		}
	}
}

func TestWrongOptionsAreRefused(t *testing.T) {
	tour := tourOf(stopOf(3, cleared.NewStory(short(t))))
	if _, err := Deck(t.Context(), settings(), tour, options("a3")); !errors.Is(err, ErrPaper) {
		t.Errorf("paper a3: %v; want ErrPaper", err)
	}
	if _, err := Deck(t.Context(), settings(), tour, options("a5", "side")); !errors.Is(err, ErrFace) {
		t.Errorf("face side: %v; want ErrFace", err)
	}
	none := options("a5")
	none.Faces = nil
	if _, err := Deck(t.Context(), settings(), tour, none); !errors.Is(err, ErrFace) {
		t.Errorf("no face: %v; want ErrFace", err)
	}
	if _, err := Deck(t.Context(), settings(), tourOf(), options("a5")); err == nil {
		t.Error("a tour without stops was printed")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Deck(ctx, settings(), tour, options("a5")); !errors.Is(err, context.Canceled) {
		t.Errorf("after cancelling: %v; want context.Canceled", err)
	}
}

func TestUnreadablePhotoIsAnError(t *testing.T) {
	broken := errors.New("disk gone")
	for name, c := range map[string]cleared.CopyFields{
		"unreadable":        {Use: cleared.Card, Name: "a.jpg", Open: func() ([]byte, error) { return nil, broken }},
		"not a JPEG":        {Use: cleared.Card, Name: "a.jpg", Open: func() ([]byte, error) { return []byte("GIF89a"), nil }},
		"no copy for print": {Use: cleared.Web400, Name: "a.jpg", Open: func() ([]byte, error) { return picture(t, 60, 40), nil }},
	} {
		f := short(t)
		f.Photos = []cleared.Photo{cleared.NewPhoto(cleared.PhotoFields{Alt: "A strip.", Copies: []cleared.Copy{cleared.NewCopy(c)}})}
		_, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a5"))
		if err == nil || !strings.Contains(err.Error(), "photo") {
			t.Errorf("%s: Deck = %v; want an error about the photo", name, err)
		}
		if name == "unreadable" && !errors.Is(err, broken) {
			t.Errorf("%v hides its cause", err)
		}
	}
}

func TestFigureWithoutAltTextIsAnError(t *testing.T) {
	f := short(t)
	c, _ := f.Photos[0].Copy(cleared.Card)
	f.Photos = []cleared.Photo{cleared.NewPhoto(cleared.PhotoFields{Copies: []cleared.Copy{c}})}
	_, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(f))), options("a5"))
	if err == nil || !strings.Contains(err.Error(), "alt text") {
		t.Errorf("Deck = %v; want an error about the alt text", err)
	}
}

// themed is the embedded theme with one file changed by replacing text.
func themed(t *testing.T, file, old, new string) Options {
	t.Helper()
	src, err := os.ReadFile("../../themes/" + file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(src, []byte(old)) {
		t.Fatalf("%s does not hold %q", file, old)
	}
	o := options("a5")
	o.Theme = themes.Over(fstest.MapFS{file: {Data: bytes.Replace(src, []byte(old), []byte(new), 1)}})
	return o
}

func TestFacesAreReadStrictly(t *testing.T) {
	tour := tourOf(stopOf(3, cleared.NewStory(short(t))))
	for _, c := range []struct{ name, old, new, want string }{
		{"unknown key", "line_chars:", "line_chras:", `themes/faces/front.yaml:21:1: the key "line_chras" is not known here; did you mean "line_chars"?`},
		{"small type", "text: {least: 12 pt, most: 16.5 pt}", "text: {least: 11.5 pt, most: 16.5 pt}", "11.5 pt; nothing on a card is smaller than 12 pt"},
		{"small print", "small: 12 pt", "small: 8 pt", "8 pt; nothing on a card is smaller than 12 pt"},
		{"pale text", `quiet: "#3d4953"`, `quiet: "#777777"`, "the contrast of quiet (#777777) on the white paper (#ffffff) is 4.48 to 1; text needs 4.5 to 1"},
		{"no colour", `quiet: "#3d4953"`, `quiet: grey`, "not a colour"},
		{"fine code", "module: 0.5 mm", "module: 0.4 mm", "0.5 mm or more"},
		{"no cautions", "fields: [came_off, failed, replaced, cautions, handling]", "fields: [came_off, failed, replaced, handling]", "leave none out"},
		{"twice", "fields: [came_off, failed, replaced, cautions, handling]", "fields: [came_off, failed, replaced, failed, handling]", "leave none out"},
		{"limits crossed", "title: {least: 19 pt, most: 27 pt}", "title: {least: 29 pt, most: 27 pt}", "the most is less than the least"},
		{"narrow margin", "margin: 6 mm", "margin: 5 mm", "6 mm or more"},
		{"wide margin", "margin: 10 mm", "margin: 40 mm", "too little room for words"},
		{"coarse code", "module: 0.7 mm", "module: 7 mm", "1.5 mm or less"},
		{"heading", "heading: run-in", "heading: run", "run-in or own-line"},
		{"lost font", "text: fonts/SourceSans3-Regular.ttf", "text: fonts/None.ttf", "the font cannot be read"},
		{"not a font", "text: fonts/SourceSans3-Regular.ttf", "text: fonts/OFL.md", "not a font"},
		{"crowded lines", "leading: {least: 115, most: 130}", "leading: {least: 90, most: 130}", "between 105 and 200"},
	} {
		_, err := Deck(t.Context(), settings(), tour, themed(t, "faces/front.yaml", c.old, c.new))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: Deck = %v; want an error that says %q", c.name, err, c.want)
		}
	}
}

func TestWorkspaceMayOverrideAFace(t *testing.T) {
	tour := tourOf(stopOf(3, cleared.NewStory(short(t))))
	o := themed(t, "faces/front.yaml", "fields: [came_off, failed, replaced, cautions, handling]", "fields: [cautions, came_off, failed, replaced, handling]")
	if bytes.Equal(mustDeck(t, tour, o).PDF, mustDeck(t, tour, options("a5")).PDF) {
		t.Error("the workspace's own face made no difference")
	}
}

// A workspace changes order, choice of fields, sizes, colours and fonts in a file.
func TestFaceOfAWorkspaceRestylesWithoutCode(t *testing.T) {
	face := string(readTheme(t, "faces/front.yaml"))
	for _, change := range [][2]string{
		{"text: fonts/SourceSans3-Regular.ttf", "text: fonts/Ours.ttf"}, {`heading: "#0c4a63"`, `heading: "#5a1a4c"`},
		{"fields: [came_off, failed, replaced, cautions, handling]", "fields: [cautions, replaced, failed, came_off, handling]"},
		{"foot: [credits, workshop, as_of]", "foot: [as_of, credits]"}, {"text: {least: 12 pt, most: 16.5 pt}", "text: {least: 13 pt, most: 14 pt}"},
	} {
		if !strings.Contains(face, change[0]) {
			t.Fatalf("the face does not hold %q", change[0])
		}
		face = strings.Replace(face, change[0], change[1], 1)
	}
	o := options("a5", front)
	o.Theme = themes.Over(fstest.MapFS{"faces/front.yaml": {Data: []byte(face)}, "fonts/Ours.ttf": {Data: readTheme(t, "fonts/SourceSans3-It.ttf")}})
	tour := tourOf(stopOf(3, cleared.NewStory(short(t))))
	page := mustLay(t, tour, o, false).Pages[0]
	if size := bodySize(page, "A thin"); size < 13*typeset.Point || size > 14*typeset.Point {
		t.Errorf("the text is set in %v pt; the face says 13 to 14", size)
	}
	said, headings := "", map[draw.Colour]bool{}
	for _, it := range page.Items {
		if s, ok := it.Shape.(draw.Text); ok {
			said += textOf(s) + " "
			if it.Node.Role == draw.RoleHeading2 {
				headings[s.Colour] = true
			}
			if strings.HasPrefix(textOf(s), "A thin") && s.Font.Name() != "Ours" {
				t.Errorf("the text is set in %s; the face names Ours", s.Font.Name())
			}
		}
	}
	if len(headings) != 1 || !headings[draw.Colour{R: 0x5a, G: 0x1a, B: 0x4c}] {
		t.Errorf("headings in %v; want the face's own colour", headings)
	}
	checkOrder(t, said, []string{"Take care", "What replaced it", "Why it failed", "What came off", "As of", "New strip folded"})
	if strings.Contains(said, "Marram Sound") {
		t.Errorf("the workshop's name stands on a face that leaves it out: %s", said)
	}
	checkPage(t, "restyled", page)
}

func TestAsOfDayIsNeeded(t *testing.T) {
	o := options("a5")
	o.AsOf = day.Date{}
	if _, err := Deck(t.Context(), settings(), tourOf(stopOf(3, cleared.NewStory(short(t)))), o); err == nil || !strings.Contains(err.Error(), "day") {
		t.Errorf("Deck without a day = %v; want an error that asks for it", err)
	}
}

// Where one story of a stop is cleared and another is not, visitors get the one
// and the guide learns of the other.
func TestStopWithSomethingWithheldAlsoPrintsASheetForTheGuide(t *testing.T) {
	stop := cleared.NewStop(cleared.StopFields{
		ID: "tail", Number: 5, At: "Under the tail", Stories: []cleared.Story{cleared.NewStory(short(t))}, Withheld: []string{"one story is stale"},
	})
	got := mustList(t, tourOf(stop))
	if len(got) != 2 || got[0].GuideOnly || !got[1].GuideOnly || got[1].Story != "" {
		t.Errorf("cards %+v; want the story's and one for the guide alone", got)
	}
	long := cleared.NewStop(cleared.StopFields{ID: "wing", Number: 6, Withheld: []string{strings.Repeat("it waits and waits ", 60)}})
	var said strings.Builder
	for _, it := range mustLay(t, tourOf(long), options("a6", front), false).Pages[0].Items {
		if s, ok := it.Shape.(draw.Text); ok {
			said.WriteString(textOf(s))
		}
	}
	if !strings.Contains(said.String(), "The reason is too long for this sheet") {
		t.Errorf("a reason too long for its sheet is told as %q", said.String())
	}
}

func TestStoryInAnotherLanguageIsMarkedSo(t *testing.T) {
	f := short(t)
	f.Language = "el"
	f.CameOff = "Μια λεπτή λωρίδα αλουμινίου."
	doc := mustLay(t, tourOf(stopOf(3, cleared.NewStory(f))), options("a5", front), false)
	marked := 0
	for _, n := range doc.Root.Kids[0].Kids[0].Kids {
		if n.Language == "el" {
			marked++
		}
		if n.Role == "H2" && n.Language != "" {
			t.Error("our own headings are marked as Greek")
		}
	}
	// Title, photo, and the three fields.
	if marked != 5 {
		t.Errorf("%d elements are marked as Greek; want 5", marked)
	}
}
