package clearance_test

import (
	"io/fs"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/themes"
)

const frenchStory = `---
title: Le plancher rongé
written_by: nell
came_off: Une mince bande d’aluminium.
failed: Épaisseur {fact:floor-stiffener.thickness|mm}, perte {fact:floor-stiffener.loss|percent}.
replaced: Nous en avons plié une autre ici.
claims:
  - {say: C’est la bande d’origine., evidence: Même écart des rivets.}
questions:
  - {ask: Pouviez-vous la sauver, answer: Non. Elle aurait été trop mince.}
talk: Tenez les deux côte à côte.
props:
  - {what: vieille bande}
photos:
  - {caption: Le vieux raidisseur., alt: Une mince bande de métal.}
---
`

const frenchTour = "title: L’hiver au hangar\nwritten_by: nell\nstops: {hull-floor: \"Fond de la coque\"}\n"

// abroad is a bench whose workshop offers French.
func abroad(t *testing.T) *bench {
	b := newBench(t)
	b.edit("workshop.yaml", "language: en-GB", "language: en-GB, languages: [fr, it]")
	b.write("wording/floor-stiffener.fr.md", frenchStory)
	b.write("tours/winter-hangar.fr.yaml", frenchTour)
	return b
}

// onTheFrenchTour clears the translations too.
func (b *bench) onTheFrenchTour() {
	b.t.Helper()
	b.onTheTour()
	b.decide("story/floor-stiffener.fr", "tour/winter-hangar.fr")
}

// stops lists what stops a file.
func (b *bench) stops(file string) []string {
	var all []string
	for _, p := range b.desk().Check() {
		if p.File == file && !p.Advice {
			all = append(all, p.Error())
		}
	}
	return all
}

func TestATranslationSaysItsOwnWordsAndTheRestIsTheOriginals(t *testing.T) {
	b := abroad(t)
	b.onTheFrenchTour()
	if n := len(b.desk().Stories()); n != 1 {
		t.Errorf("%d stories; a translation is none of its own", n)
	}
	tour, err := b.desk().TourIn("winter-hangar", "fr", day.Date{})
	if err != nil {
		t.Fatal(err)
	}
	own, err := b.desk().Tour("winter-hangar")
	if err != nil {
		t.Fatal(err)
	}
	if tour.Title() != "L’hiver au hangar" || tour.Language() != "fr" || tour.Stops()[0].At() != "Fond de la coque" || own.Language() != "en-GB" {
		t.Errorf("the tour is %q in %s, at %q", tour.Title(), tour.Language(), tour.Stops()[0].At())
	}
	s, o := tour.Stops()[0].Stories()[0], own.Stops()[0].Stories()[0]
	if s.ID() != o.ID() || s.Language() != "fr" || s.Title() != "Le plancher rongé" || s.Failed() != "Épaisseur 1,63\u00a0mm, perte 15\u00a0%." {
		t.Errorf("%s in %s: %q, %q", s.ID(), s.Language(), s.Title(), s.Failed())
	}
	if got := s.Claims()[0]; got.Status != o.Claims()[0].Status || !strings.HasPrefix(got.Say, "Nous pensons ceci\u00a0: ") {
		t.Errorf("the claim is %+v; the original's is %+v", got, o.Claims()[0])
	}
	if got, want := s.Props()[0], o.Props()[0]; got.What != "vieille bande" || got.HandRound != want.HandRound || len(got.Cautions) != len(want.Cautions) {
		t.Errorf("the prop is %+v; the original's is %+v", got, want)
	}
	if len(s.Cautions()) == 0 || len(s.Cautions()) != len(o.Cautions()) || s.Cautions()[0].Key != o.Cautions()[0].Key || s.Cautions()[0].Label == o.Cautions()[0].Label {
		t.Errorf("the cautions are %+v; the original's are %+v", s.Cautions(), o.Cautions())
	}
	if got, want := s.Photos()[0], o.Photos()[0]; got.Alt() != "Une mince bande de métal." || got.Credit() != want.Credit() || len(got.Copies()) != len(want.Copies()) {
		t.Errorf("the photo is %+v", got)
	}
	if s.NotBefore() != o.NotBefore() || s.ForMembers() != o.ForMembers() || s.PublicFrom() != o.PublicFrom() || s.Digest() == o.Digest() {
		t.Error("who may hear it, and when, is not the original's")
	}
}

func TestATranslationLapsesWithItsOriginal(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*bench)
		want   clearance.Standing
		tells  bool // French is told all the same
	}{
		"nothing":                    {func(*bench) {}, clearance.Cleared, true},
		"its own words":              {func(b *bench) { b.edit("wording/floor-stiffener.fr.md", "mince", "fine") }, clearance.Stale, false},
		"the original's words":       {func(b *bench) { b.edit("wording/floor-stiffener.md", "talk: ", "talk: Now ") }, clearance.Stale, false},
		"the original's status":      {func(b *bench) { b.edit("wording/floor-stiffener.md", "status: likely", "status: told") }, clearance.Stale, false},
		"the original's caution":     {func(b *bench) { b.edit("wording/floor-stiffener.md", "cautions: [", "cautions: [trip, ") }, clearance.Stale, false},
		"a released fact":            {func(b *bench) { b.edit("log/2031/2031-01-14-stiffener-inspected.md", "1.38 mm", "1.30 mm") }, clearance.Stale, false},
		"something private":          {func(b *bench) { b.edit("parts/floor-stiffener.md", "FO7-2217-4", "FO7-9917-4") }, clearance.Cleared, true},
		"the original was withdrawn": {func(b *bench) { b.withdraw("story/floor-stiffener") }, clearance.Cleared, false},
		"it was withdrawn":           {func(b *bench) { b.withdraw("story/floor-stiffener.fr") }, clearance.Withdrawn, false},
	} {
		t.Run(name, func(t *testing.T) {
			b := abroad(t)
			b.onTheFrenchTour()
			c.change(b)
			if got := b.unit(b.desk(), "story/floor-stiffener.fr").Standing; got != c.want {
				t.Errorf("it is %s; want %s", got, c.want)
			}
			tour, err := b.desk().TourIn("winter-hangar", "fr", day.Date{})
			if err != nil {
				t.Fatal(err)
			}
			stories := tour.Stops()[0].Stories()
			if tells := len(stories) > 0 && stories[0].Language() == "fr"; tells != c.tells {
				t.Errorf("told in French: %v; want %v", tells, c.tells)
			}
			if len(b.desk().Withdrawn()) > 0 && name == "it was withdrawn" {
				t.Error("the archive would say that the story was withdrawn")
			}
		})
	}
}

// builtIn is a file of the themes that are built in.
func builtIn(t *testing.T, name string) []byte {
	t.Helper()
	data, err := fs.ReadFile(themes.Embedded(), name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestAnOriginalDecidedAnewLeavesItsTranslationBehind(t *testing.T) {
	b := abroad(t)
	b.onTheFrenchTour()
	b.edit("wording/floor-stiffener.md", "talk: ", "talk: Now ")
	b.decide("story/floor-stiffener")
	why := b.desk().Untranslated("winter-hangar", "fr")
	if got := why["story/floor-stiffener"]; got != "its translation changed since it was cleared, or its original did; decide again" {
		t.Errorf("got %q", got)
	}
	b.decide("story/floor-stiffener.fr")
	if why := b.desk().Untranslated("winter-hangar", "fr"); len(why) > 0 {
		t.Errorf("got %v", why)
	}
	if why := b.desk().Untranslated("winter-hangar", "it"); why["story/floor-stiffener"] != "it has no translation" || why["tour/winter-hangar"] != "it has no translation" {
		t.Errorf("got %v", why)
	}
}

func TestEveryCheckRunsOnATranslation(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"mince bande", "bande FO7-2217-4", "is private (number)"},
		{"mince bande", "bande de chez Quayside Alloys", "is private (term)"},
		{"Tenez les deux", "Gus Penhallick les tient", "is private (person who is not credited)"},
		{"Tenez les deux", "Drilled out sixty rivets on the port side before the lower flange. Tenez les deux", "is copied from private notes"},
		{"mince bande", "bande de 1,38\u00a0mm", "equals a private least thickness"},
		{"mince bande", "bande de 1,38\u202fmm", "equals a private least thickness"},
		{"côte à côte", "à 412,50\u00a0£", "equals a private cost"},
		{"plié une autre ici", "plié une autre, certifiée", "is for the licensed engineer to say"},
		{"C’est la bande d’origine", "Elle est navigable", "is for the licensed engineer to say"},
		{"C’est la bande d’origine", "It is airworthy", "is for the licensed engineer to say"},
		{"Nous en avons plié une autre ici", "La bande est remontée", "but the record has no fitting of the part"},
		{"d’aluminium", "d’aluminium, encore utilisable", ""},
		{", alt: Une mince bande de métal.", "", "alt is missing"},
		{"caption: Le vieux raidisseur., ", "", "caption is missing; translate the caption"},
		{"{fact:floor-stiffener.loss|percent}", "{fact:floor-stiffener.material|words}", "the record's own words"},
		{"{fact:floor-stiffener.loss|percent}", "{fact:floor-stiffener.cost|money}", "the original does not release this fact"},
	} {
		b := abroad(t)
		b.edit("wording/floor-stiffener.fr.md", c.from, c.to)
		got := b.stops("wording/floor-stiffener.fr.md")
		if c.want == "" && len(got) > 0 || !strings.Contains(strings.Join(got, "\n"), c.want) {
			t.Errorf("%q: got %v, want %q", c.to, got, c.want)
		}
		u := b.unit(b.desk(), "story/floor-stiffener.fr")
		if err := b.desk().Ready(u); (err == nil) != (c.want == "") {
			t.Errorf("%q: ready: %v", c.to, err)
		}
	}
	b := abroad(t)
	b.edit("tours/winter-hangar.fr.yaml", "Fond de la coque", "Chez Quayside Alloys")
	if got := b.stops("tours/winter-hangar.fr.yaml"); len(got) != 1 || !strings.Contains(got[0], "is private (term)") {
		t.Errorf("got %v", got)
	}
}

// Each language's own words for what is the engineer's to say; from memory, as the
// lists are.
func TestJudgementsInEachLanguage(t *testing.T) {
	for lang, sentences := range map[string][]string{
		"fr": {"Elle est sûre.", "C’est sans danger.", "La pièce est homologuée.", "Prête à voler !", "Comme neuve.", "Bonne pour le service."},
		"de": {"Das Teil ist lufttüchtig.", "Es ist sicher.", "Völlig ungefährlich.", "Neu zertifiziert.", "Startklar!", "Wie neu."},
		"cy": {"Mae’n addas i hedfan.", "Mae’n gwbl ddiogel.", "Mae tystysgrif.", "Cystal â newydd."},
		"nl": {"Het is luchtwaardig.", "Het is weer veilig.", "Zo goed als nieuw.", "Pas gecertificeerd."},
	} {
		b := abroad(t)
		b.edit("workshop.yaml", "languages: [fr, it]", "languages: [fr, de, cy, nl]")
		file := "wording/floor-stiffener." + lang + ".md"
		for _, s := range sentences {
			b.write(file, strings.Replace(frenchStory, "Tenez les deux côte à côte.", s, 1))
			if got := b.stops(file); len(got) != 1 || !strings.Contains(got[0], "licensed engineer") {
				t.Errorf("%s, %q: got %v", lang, s, got)
			}
		}
		b.write(file, strings.Replace(frenchStory, "Tenez les deux côte à côte.", "Salz, sel, zout, halen.", 1))
		if got := b.stops(file); len(got) > 0 {
			t.Errorf("%s: got %v", lang, got)
		}
	}
}

func TestALanguageWithoutListsIsSaidToHaveNone(t *testing.T) {
	b := abroad(t)
	b.write("wording/floor-stiffener.it.md", frenchStory)
	u := b.unit(b.desk(), "story/floor-stiffener.it")
	codes := []string{}
	for _, f := range u.Findings {
		codes = append(codes, f.Code)
	}
	if !slices.Contains(codes, "no-words") || !slices.Contains(codes, "no-safety-words") || b.desk().Ready(u) == nil {
		t.Errorf("got %v", u.Findings)
	}
	// The workshop may bring the words along; the safety words stay for a person.
	b.write("themes/words/it.yaml", string(builtIn(t, "words/fr.yaml")))
	u = b.unit(b.desk(), "story/floor-stiffener.it")
	if err := b.desk().Ready(u); err != nil || !strings.Contains(u.Findings[0].Error(), "look for them yourself") {
		t.Errorf("got %v, %v", err, u.Findings)
	}
}

func TestADecisionIsShownBothSideBySide(t *testing.T) {
	b := abroad(t)
	d := b.desk()
	units, err := d.Find([]string{"story/floor-stiffener.fr", "tour/winter-hangar.fr", "story/floor-stiffener"})
	if err != nil {
		t.Fatal(err)
	}
	texts, facts := d.Beside(units[0])
	for _, want := range []clearance.Pair{
		{Field: "title", Original: units[2].Title, Translation: "Le plancher rongé"},
		{Field: "photos[0].alt", Original: "A thin metal strip on a bench, its lower edge eaten away in small craters.", Translation: "Une mince bande de métal."},
	} {
		if !slices.Contains(texts, want) {
			t.Errorf("no %+v in %+v", want, texts)
		}
	}
	for _, p := range texts {
		if p.Original == "" || p.Translation == "" {
			t.Errorf("one side is empty: %+v", p)
		}
		if p.Field == "claims[0].say" && (!strings.HasPrefix(p.Original, "We think") || !strings.HasPrefix(p.Translation, "Nous pensons")) {
			t.Errorf("the claim is not shown as it prints: %+v", p)
		}
	}
	if want := (clearance.Pair{Field: "floor-stiffener.thickness", Original: "1.63\u00a0mm", Translation: "1,63\u00a0mm"}); !slices.Contains(facts, want) {
		t.Errorf("no %+v in %+v", want, facts)
	}
	if texts, _ := d.Beside(units[1]); len(texts) < 2 || texts[1].Field != "stops[0].at" || texts[1].Translation != "Fond de la coque" {
		t.Errorf("got %+v", texts)
	}
	if texts, facts := d.Beside(units[2]); texts != nil || facts != nil {
		t.Error("a story stands beside another")
	}
	if units[0].HasPictures() {
		t.Error("the pictures are asked for twice")
	}
	if err := d.MayDecide(units[0], "nell"); err == nil {
		t.Error("nell may decide on her own words")
	}
}

func TestACardForWantOfATranslationIsNoLongerTrueOnceThereIsOne(t *testing.T) {
	b := abroad(t)
	b.onTheTour()
	told := b.desk().ToldNow("floor-stiffener", "")
	card := clearance.CardOf{Story: "floor-stiffener", Asked: "fr", Digest: b.desk().DigestOf("floor-stiffener", ""), Told: &told}
	if got := b.desk().NoLongerTrue(card); len(got) > 0 {
		t.Fatalf("got %v", got)
	}
	b.decide("story/floor-stiffener.fr")
	if got := b.desk().NoLongerTrue(card); !slices.Equal(got, []string{"it is in en-GB for want of a translation, and one into fr is cleared now"}) {
		t.Errorf("got %v", got)
	}
	french := b.desk().ToldNow("floor-stiffener", "fr")
	card = clearance.CardOf{Story: "floor-stiffener", Asked: "fr", In: "fr", Digest: b.desk().DigestOf("floor-stiffener", "fr"), Told: &french}
	if got := b.desk().NoLongerTrue(card); len(got) > 0 {
		t.Errorf("got %v", got)
	}
	// The longer account is on no card, nor is the caption.
	b.edit("wording/floor-stiffener.fr.md", "caption: Le vieux", "caption: Ce vieux")
	b.decide("story/floor-stiffener.fr")
	if got := b.desk().NoLongerTrue(card); len(got) > 0 {
		t.Errorf("got %v", got)
	}
	b.edit("wording/floor-stiffener.fr.md", "alt: Une", "alt: Cette")
	b.decide("story/floor-stiffener.fr")
	if got := b.desk().NoLongerTrue(card); !slices.Equal(got, []string{"its words changed"}) {
		t.Errorf("got %v", got)
	}
	b.edit("log/2031/2031-01-14-stiffener-inspected.md", "1.38 mm", "1.20 mm")
	if got := strings.Join(b.desk().NoLongerTrue(card), "\n"); !strings.Contains(got, "floor-stiffener.loss was 15\u00a0% and is 26\u00a0%") {
		t.Errorf("got %s", got)
	}
}

func TestALanguageThatIsNotOffered(t *testing.T) {
	d := abroad(t).desk()
	if _, err := d.TourIn("winter-hangar", "de", day.Date{}); err == nil || !strings.Contains(err.Error(), `add it to languages: in workshop.yaml, or take one of en-GB, fr, it`) {
		t.Errorf("got %v", err)
	}
	for _, own := range []string{"", "en-GB"} {
		if got, err := d.Offers(own); got != "" || err != nil {
			t.Errorf("%q: got %q, %v", own, got, err)
		}
	}
}

// The gate reads what leaves in French, decimal commas included, and honours the
// released facts there.
func TestTheGateReadsOtherLanguages(t *testing.T) {
	b := abroad(t)
	b.onTheFrenchTour()
	d := b.desk()
	gate := func(text string) error { return d.Gate(map[string][]byte{"fiches.txt": []byte(text)}) }
	if err := gate("Épaisseur 1,63\u00a0mm, perte 15\u00a0%."); err != nil {
		t.Errorf("what was released does not leave: %v", err)
	}
	if err := gate("Le numéro est FO7-2217-4."); err == nil {
		t.Error("a number left")
	}
	b.edit("wording/floor-stiffener.fr.md", "Tenez les deux", "À 1,38 mm, tenez les deux")
	d = b.desk()
	if err := gate("À 1,38\u00a0mm, tenez les deux côte à côte."); err == nil {
		t.Error("a private thickness left behind a decimal comma")
	}
}

func TestFactsAreToldAsTheLanguageWritesThem(t *testing.T) {
	const told = "So {fact:floor-stiffener.date.removed|day}, {fact:floor-stiffener.date.removed|month}, {fact:floor-stiffener.pile|words}, {fact:floor-stiffener.source|words}, " +
		"{fact:floor-stiffener.cost|money}, {fact:floor-stiffener.least_thickness|inch}, {fact:floor-stiffener.thickness|gauge}"
	b := abroad(t)
	b.edit("wording/floor-stiffener.md", "We cut and folded a new one here.", told+".")
	b.edit("wording/floor-stiffener.fr.md", "Nous en avons plié une autre ici.", told+".")
	values := func(id string) (all []string) {
		for _, f := range b.unit(b.desk(), id).Facts[2:] {
			all = append(all, strings.ReplaceAll(f.Value, "\u00a0", "_"))
		}
		return all
	}
	if got, want := values("story/floor-stiffener"), []string{"1 December 2030", "December 2030", "unserviceable", "made here", "£412.50", "0.054_in", "16_SWG"}; !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	if got, want := values("story/floor-stiffener.fr"), []string{"1er_décembre 2030", "décembre 2030", "hors d’usage", "de notre fabrication", "412,50_£", "0,054_po", "16_SWG"}; !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}
