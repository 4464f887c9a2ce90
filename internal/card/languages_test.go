package card

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/themes"
)

// plancher is the story of stiffener in French.
func plancher(t testing.TB) cleared.StoryFields {
	f := stiffener(t)
	f.Language, f.Title = "fr", "Le plancher rongé de l’intérieur"
	f.CameOff = "Une mince bande d’aluminium qui raidissait le fond de la coque."
	f.Failed = "L’eau salée était passée sous la peinture. Épaisseur à l’état neuf\u00a0: 1,63\u00a0mm\u00a0; perte au pire endroit\u00a0: 15\u00a0%."
	f.Replaced = "Nous en avons coupé et plié une autre ici, dans la même sorte de tôle."
	f.Claims = []cleared.Claim{{Say: "Nous pensons ceci\u00a0: C’est la bande d’origine.", Status: "likely", Evidence: "Même écart des rivets."}}
	f.Questions = []cleared.Question{{Ask: "Pouviez-vous la réparer\u00a0?", Answer: "Non. Elle aurait été trop mince."}}
	f.Talk = "Tenez les deux côte à côte."
	f.Props = []cleared.Prop{{What: "vieille bande", HandRound: cleared.TwoHands, Cautions: []cleared.Caution{{Key: "sharp-edge", Label: "Bords coupants"}}}}
	f.Cautions = []cleared.Caution{{Key: "sharp-edge", Label: "Bords coupants", Advice: "Gardez les doigts loin des bords\u00a0; tenez à plat."}}
	f.Credits = []string{"Bande neuve pliée par l’équipe du mardi"}
	return f
}

// visite has a stop with a story in French and one whose story has no translation,
// under titles in French; the last stop has nothing cleared.
func visite(t testing.TB) cleared.Tour {
	stop := func(id, at string, number int, stories ...cleared.Story) cleared.Stop {
		return cleared.NewStop(cleared.StopFields{ID: id, Number: number, At: at, Stories: stories, Minutes: 5 * 60e9, Cautions: []cleared.Caution{{Key: "trip", Label: "Trip hazard", Advice: "Watch your step."}}})
	}
	other := stiffener(t)
	other.ID = "not-translated"
	return cleared.NewTour(cleared.TourFields{ID: "winter-hangar", Title: "L’hiver au hangar", Language: "fr", Group: 25, Pace: 130, Walk: 1, Stops: []cleared.Stop{
		stop("hull-floor", "Fond de la coque", 3, cleared.NewStory(plancher(t))),
		stop("keel", "Près de la quille", 4, cleared.NewStory(other)), withheldStop(),
	}})
}

func french(paper string, faces ...string) Options {
	o := options(paper, faces...)
	o.Language = "fr"
	return o
}

// pdftotext reads whole words, with their accents and figures, in the order of the
// cards.
func TestAFrenchCardIsFrench(t *testing.T) {
	for _, o := range []Options{french("a5"), french("a4"), sheetCase{2, "a5", "a4", "long", true}.french()} {
		text := strings.Join(strings.Fields(run(t, "pdftotext", "-raw", saved(t, mustDeck(t, visite(t), o)), "-")), " ")
		if o.Sheet.Up > 1 {
			text = strings.ReplaceAll(text, "- ", "-")
		}
		for _, want := range []string{
			"Le plancher rongé de l’intérieur", "Fond de la coque", "Ce qui a été démonté", "Ce qui n’allait plus", "neuf : 1,63 mm ; perte au pire endroit : 15 %.", "Ce qu’on a mis à la place",
			"Attention : Bords coupants. Risque de trébucher.", "ce n’est pas un avis de navigabilité", "Photo : Tam Reddle.", "État au 25 janvier 2031", "Suite en anglais",
			"Prévoir 5 min ; parole", "À dire Tenez les deux", "À montrer Vieille bande. À deux mains", "Probable : Nous pensons ceci : C’est la bande d’origine. À l’appui : Même écart",
			"Risque de trébucher. Regardez où vous marchez", "Pour le guide",
			"Cette fiche n’existe pas encore en français. What came off", "Take care: Sharp edges. Trip hazard.", "As of 25 January 2031", "Read on", "For the guide",
			"Pas de fiche pour les visiteurs à cet arrêt", "The story “Rudder cables” waits for a decision",
		} {
			if !strings.Contains(text, want) {
				t.Errorf("%s, %d up: %q is not on the cards:\n%s", o.Paper, max(1, o.Sheet.Up), want, text)
			}
		}
		// The front and the back of the one that is not translated.
		if n := strings.Count(text, "Cette fiche n’existe pas encore en français."); n != 2 {
			t.Errorf("the mark stands %d times; want 2", n)
		}
	}
}

func (c sheetCase) french() Options {
	o := c.options(front, back)
	o.Language = "fr"
	return o
}

// spokenIn finds the language in which each text of a document is to be read, as a
// screen reader does: that of the element, or of the nearest one above it.
func spokenIn(d *draw.Document) map[string]string {
	in := map[*draw.Node]string{}
	var walk func(n *draw.Node, language string)
	walk = func(n *draw.Node, language string) {
		if n.Language != "" {
			language = n.Language
		}
		in[n] = language
		for _, kid := range n.Kids {
			walk(kid, language)
		}
	}
	walk(d.Root, d.Language)
	said := map[*draw.Node]*strings.Builder{}
	for _, p := range d.Pages {
		for _, it := range p.Items {
			if s, ok := it.Shape.(draw.Text); ok && it.Node != nil {
				if said[it.Node] == nil {
					said[it.Node] = &strings.Builder{}
				}
				said[it.Node].WriteString(textOf(s) + " ")
			}
		}
	}
	all := map[string]string{}
	for n, text := range said {
		all[strings.Join(strings.Fields(text.String()), " ")] = in[n]
	}
	for n, language := range in {
		if n.Alt != "" {
			all[n.Alt] = language
		}
	}
	return all
}

func TestEachElementIsInItsLanguage(t *testing.T) {
	doc := mustLay(t, visite(t), french("a5"), false)
	if doc.Language != "fr" || doc.Title != "L’hiver au hangar\u00a0: fiches des arrêts" {
		t.Errorf("the file is %q in %q", doc.Title, doc.Language)
	}
	got := spokenIn(doc)
	for text, want := range map[string]string{
		"3 Le plancher rongé de l’intérieur": "fr", "Fond de la coque": "fr", "Ce qui n’allait plus": "fr", "Une mince bande d’aluminium qui raidissait le fond de la coque.": "fr",
		"Attention : Bords coupants. Risque de trébucher.": "fr", "Pour le guide": "fr", "État au 25 janvier 2031": "fr", "Suite en anglais": "fr", "Code QR qui ouvre https://example.org/stop/hull-floor/": "fr",
		"Cette fiche n’existe pas encore en français.": "fr", "Près de la quille": "fr", "Pas de fiche pour les visiteurs à cet arrêt": "", "Pourquoi": "fr",
		"4 The floor that rotted from inside": "en-GB", "Why it failed": "en-GB", "Take care: Sharp edges. Trip hazard.": "en-GB", "For the guide": "en-GB", "As of 25 January 2031": "en-GB",
		"QR code that opens https://example.org/stop/keel/": "en-GB", "Marram Sound Flying Boat Trust": "en-GB",
		"The story “Rudder cables” waits for a decision: its words changed on 12 January 2031.": "en",
	} {
		found := false
		for said, language := range got {
			said = strings.ReplaceAll(said, "\u00a0", " ")
			if said == text {
				found = true
				if language != want {
					t.Errorf("%q is in %q; want %q", text, language, want)
				}
			}
		}
		if !found && want != "" {
			t.Errorf("nothing says %q", text)
		}
	}
}

// The structure tree of the file says the same (ISO 32000-1, 14.9.2.2).
func TestTheStructureTreeHasTheLanguages(t *testing.T) {
	file := filepath.Join(t.TempDir(), "plain.pdf")
	run(t, "qpdf", "--qdf", "--object-streams=disable", saved(t, mustDeck(t, visite(t), french("a5"))), file)
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	if !regexp.MustCompile(`/Lang \(fr\)[^>]*?/MarkInfo|/Lang \(fr\)`).MatchString(text) {
		t.Error("the file is not in French")
	}
	elements := regexp.MustCompile(`(?s)<<[^<>]*(?:<<.*?>>[^<>]*)?/Lang \(([a-zA-Z-]+)\)[^<>]*/Type /StructElem`).FindAllStringSubmatch(text, -1)
	count := map[string]int{}
	for _, e := range elements {
		count[e[1]]++
	}
	// Two sides in English, and in them a mark and a place in French each; the name of
	// the workshop on the French front; the reason on both sides of the sheet for the
	// guide.
	if count["en-GB"] != 3 || count["fr"] != 4 || count["en"] != 2 {
		t.Errorf("elements by language: %v", count)
	}
}

// A word in French is broken as French patterns have it, and one in English on the
// same card as English ones do.
func TestWordsAreBrokenByTheLanguageOfTheirElement(t *testing.T) {
	o := french("a5")
	p, err := newPress(settings(), o, false)
	if err != nil {
		t.Fatal(err)
	}
	for _, language := range []string{"fr", "en-GB"} {
		if err := p.learnToBreak(language); err != nil {
			t.Fatal(err)
		}
	}
	c := composer{press: p, voice: p.voices.own()}
	const word = "signature"
	fr, en := c.hyphenation(&draw.Node{}).Soften(word), c.hyphenation(&draw.Node{Language: "en-GB"}).Soften(word)
	if fr != "signa\u00adture" || en != "sig\u00adna\u00adture" {
		t.Errorf("broken as %q in French, %q in English", fr, en)
	}
	// On a card in English the voice is English, whatever the file is in.
	if err := p.voices.learn("en-GB"); err != nil {
		t.Fatal(err)
	}
	c.voice = p.voices.in("en-GB")
	if got := c.hyphenation(&draw.Node{}).Soften(word); got != en {
		t.Errorf("broken as %q on an English card; want %q", got, en)
	}
}

func TestEveryBuiltInLanguagePrintsOnEveryPaper(t *testing.T) {
	for _, language := range []string{"de", "cy", "nl"} {
		f := short(t)
		f.Language = language
		tour := cleared.NewTour(cleared.TourFields{ID: "x", Title: "X", Language: language, Group: 20, Pace: 130, Stops: []cleared.Stop{stopOf(1, cleared.NewStory(f))}})
		for _, paper := range papers() {
			o := options(paper)
			o.Language = language
			if sheets := mustDeck(t, tour, o); len(sheets.Unfit) > 0 || sheets.Cards[0].Language != language {
				t.Errorf("%s on %s: %v", language, paper, sheets.Unfit)
			}
		}
	}
}

// The band says as much as there is room for on one line, and DRAFT at the least.
func TestTheBandOfADraftStaysOnItsPage(t *testing.T) {
	for _, language := range []string{"en-GB", "fr", "de", "cy", "nl"} {
		f := short(t)
		f.Language = language
		tour := cleared.NewTour(cleared.TourFields{ID: "x", Title: "X", Language: language, Group: 20, Pace: 130, Stops: []cleared.Stop{stopOf(1, cleared.NewStory(f))}})
		for _, paper := range papers() {
			o := options(paper)
			o.Language = language
			l, err := lay(t.Context(), settings(), tour, o, true)
			if err != nil {
				t.Fatalf("%s on %s: %v", language, paper, err)
			}
			for n, page := range l.doc.Pages {
				checkPage(t, fmt.Sprintf("%s on %s, page %d", language, paper, n+1), page)
				bands := 0
				for _, it := range page.Items {
					if s, ok := it.Shape.(draw.Text); ok && !it.Ground && strings.HasPrefix(textOf(s), "DRAFT") {
						bands++
					}
				}
				if bands != 2 {
					t.Errorf("%s on %s, page %d: %d bands say DRAFT, want one at the head and one at the foot", language, paper, n+1, bands)
				}
			}
		}
	}
}

func TestADraftInFrenchSaysDraft(t *testing.T) {
	sheets, err := DraftDeck(t.Context(), cleared.NewDraft(settings()), cleared.NewDraft(visite(t)), french("a5"))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(run(t, "pdftotext", "-raw", saved(t, sheets), "-")), " ")
	// A band at the head and one at the foot of two sides in French, two in English,
	// two for the guide.
	if fr, en := strings.Count(text, "DRAFT : brouillon, à ne pas utiliser, non approuvé"), strings.Count(text, "DRAFT: not cleared, not for use"); fr != 8 || en != 4 {
		t.Errorf("the band stands %d times in French and %d in English", fr, en)
	}
}

func TestWhatIsNewIsSaidInFrench(t *testing.T) {
	f := plancher(t)
	f.Changes = cleared.Changes{Words: true, Work: true}
	o := french("a5", back)
	o.Returning = day.MustParse("2031-01-01")
	tour := cleared.NewTour(cleared.TourFields{ID: "x", Title: "X", Language: "fr", Group: 25, Pace: 130, Stops: []cleared.Stop{stopOf(1, cleared.NewStory(f))}})
	text := strings.Join(strings.Fields(run(t, "pdftotext", "-raw", saved(t, mustDeck(t, tour, o)), "-")), " ")
	if !strings.Contains(text, "Du nouveau depuis le 1er janvier 2031 : le texte a changé, et le travail a avancé.") {
		t.Errorf("got %s", text)
	}
}

func TestALanguageWithoutWordsIsAnError(t *testing.T) {
	o := options("a5")
	o.Language = "it"
	_, err := Deck(t.Context(), settings(), visite(t), o)
	if !errors.Is(err, ErrNoWords) {
		t.Errorf("got %v", err)
	}
	if _, err := Say(settings(), visite(t), o); !errors.Is(err, ErrNoWords) {
		t.Errorf("got %v", err)
	}
	if _, err := Cards(settings(), visite(t), o); !errors.Is(err, ErrNoWords) {
		t.Errorf("got %v", err)
	}
}

func TestAWorkspaceHasItsOwnWordsForCards(t *testing.T) {
	src, err := fs.ReadFile(themes.Embedded(), "words/fr.yaml")
	if err != nil {
		t.Fatal(err)
	}
	o := french("a5")
	with := func(text string) { o.Theme = themes.Over(fstest.MapFS{"words/fr.yaml": {Data: []byte(text)}}) }
	with(strings.Replace(string(src), "Pour le guide\n", "À garder pour le guide\n", 1))
	after := mustDeck(t, visite(t), o)
	if text := run(t, "pdftotext", "-raw", saved(t, after), "-"); !strings.Contains(text, "À garder pour le guide") {
		t.Error("the workspace's own words are not on the card")
	}
	with(strings.Replace(string(src), "  for_guide: Pour le guide\n", "", 1))
	if _, err := Deck(t.Context(), settings(), visite(t), o); err == nil || !strings.Contains(err.Error(), `themes/words/fr.yaml:`) || !strings.Contains(err.Error(), `"back.for_guide"`) {
		t.Errorf("got %v", err)
	}
}

// Another language is another card, and so is one that has to say that it is not
// translated.
func TestTheDigestTellsTheLanguages(t *testing.T) {
	list := func(tour cleared.Tour, language string) []Printed {
		o := options("a5")
		o.Language = language
		all, err := Cards(settings(), tour, o)
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	plain := tourOf(stopOf(3, cleared.NewStory(stiffener(t))))
	own, named, asked := list(plain, ""), list(plain, "en-GB"), list(plain, "fr")
	if own[0] != named[0] {
		t.Error("naming the workshop's own language makes another card")
	}
	if asked[0].Digest == own[0].Digest || asked[0].Language != "en-GB" {
		t.Errorf("a card for want of a translation is %+v", asked[0])
	}
	if got := list(tourOf(stopOf(3, cleared.NewStory(plancher(t)))), "fr"); got[0].Digest == asked[0].Digest || got[0].Language != "fr" {
		t.Errorf("a translated card is %+v", got[0])
	}
}
