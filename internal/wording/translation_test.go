package wording

import (
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/reading"
)

// abroad is a workshop that offers French and Welsh beside its own English.
var abroad = ReadOptions{Areas: options.Areas, People: options.People, TwoPeople: true, Language: "en-GB", Languages: []string{"fr", "cy"}}

const goodFrench = `---
title: Le plancher rongé de l’intérieur
written_by: nell
came_off: Une fine bande d’aluminium qui raidissait le fond de la coque.
failed: L’eau salée était passée sous la peinture. Épaisseur {fact:hull-floor-stiffener.thickness|mm} à l’état neuf, perte {fact:hull-floor-stiffener.loss|percent} au pire endroit.
replaced: Nous en avons plié une neuve ici, dans la même tôle.
claims:
  - {say: C’est la bande d’origine., evidence: Même pas de rivets que sur le dessin.}
questions:
  - {ask: "Pouviez-vous la sauver ?", answer: Non. Elle aurait été trop mince.}
talk: Tenez les deux côte à côte.
props:
  - {what: vieille bande, made_safe: bords limés et collés}
  - {what: bande neuve}
  - {what: éclats de peinture}
credits: [Bande neuve pliée par l’équipe du mardi.]
photos:
  - {caption: La vieille bande., alt: Une fine bande de métal sur un établi.}
---
Le récit plus long.
`

const goodFrenchTour = `written_by: nell
title: L’hiver au hangar
stops: {hull-floor: "Fond de coque, à gauche", tail: Sous la queue}
`

// swap puts one text in the place of another.
func swap(t *testing.T, text, from, to string) string {
	t.Helper()
	if strings.Count(text, from) != 1 {
		t.Fatalf("%q stands %d times", from, strings.Count(text, from))
	}
	return strings.Replace(text, from, to, 1)
}

func frenchFiles(story, tour string) map[string]string {
	return map[string]string{
		"wording/floor-stiffener.md": goodStory, "wording/floor-stiffener.fr.md": story,
		"tours/winter-hangar.yaml": "written_by: nell\n" + goodTour, "tours/winter-hangar.fr.yaml": tour,
	}
}

func TestATranslationIsReadBesideItsOriginal(t *testing.T) {
	words, problems := Read(tree(t, frenchFiles(goodFrench, goodFrenchTour)), abroad)
	if len(problems) > 0 {
		t.Fatalf("problems: %v", problems)
	}
	if n := len(words.Stories()); n != 1 {
		t.Errorf("%d stories; a translation is none of its own", n)
	}
	all := words.Translations()
	if len(all) != 1 || all[0].Of != "floor-stiffener" || all[0].Language != "fr" || all[0].WrittenBy != "nell" || all[0].Body != "Le récit plus long.\n" {
		t.Fatalf("got %+v", all)
	}
	original, _ := words.Story("floor-stiffener")
	var want, got []string
	for _, text := range original.Texts() {
		want = append(want, text.Field)
	}
	for _, text := range all[0].Texts() {
		if !strings.HasPrefix(text.Field, "photos[") {
			got = append(got, text.Field)
		}
		if at := text.At(0); at.File != "wording/floor-stiffener.fr.md" || at.Line < 2 {
			t.Errorf("%s stands at %v", text.Field, at)
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("the fields are\n%v\nand those of the original\n%v", got, want)
	}
	tours := words.TourTranslations()
	if len(words.Tours()) != 1 || len(tours) != 1 || tours[0].Of != "winter-hangar" {
		t.Fatalf("got %+v", tours)
	}
	texts := tours[0].Texts()
	if len(texts) != 3 || texts[1].Field != "stops.hull-floor" || texts[1].Value != "Fond de coque, à gauche" {
		t.Errorf("got %+v", texts)
	}
}

func TestFaultsOfATranslation(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		// What belongs to the original.
		{"title: Le", "area: hull\ntitle: Le", `wording/floor-stiffener.fr.md:2:1: the key "area" belongs to the original; take it out; a translation follows what wording/floor-stiffener.md says`},
		{"title: Le", "parts: [a]\ntitle: Le", `:2:1: the key "parts" belongs to the original`},
		{"title: Le", "for: [visitors]\ntitle: Le", `:2:1: the key "for" belongs to the original`},
		{"title: Le", "not_before: 2031-01-01\ntitle: Le", `:2:1: the key "not_before" belongs to the original`},
		{"title: Le", "cautions: []\ntitle: Le", `:2:1: the key "cautions" belongs to the original`},
		{"title: Le", "evergreen: true\ntitle: Le", `:2:1: the key "evergreen" belongs to the original`},
		{"d’origine., evidence", "d’origine., status: proven, evidence", `:8:38: the key "status" belongs to the original`},
		{"d’origine., evidence", "d’origine., about: hull-floor-stiffener, evidence", `:8:38: the key "about" belongs to the original`},
		{"{what: bande neuve}", "{what: bande neuve, hand_round: drop-proof}", `:14:25: the key "hand_round" belongs to the original`},
		{"{what: bande neuve}", "{what: bande neuve, caution: []}", `:14:25: the key "caution" belongs to the original`},
		{"title: Le", "titel: Le", `:2:1: the key "titel" is not known here; did you mean "title"?`},
		// Lists as long as the original's.
		{"  - {say: C’est la bande d’origine., evidence: Même pas de rivets que sur le dessin.}\n", "  - {say: C’est la bande d’origine., evidence: Oui.}\n  - {say: Et plus., evidence: Non.}\n", `:8:3: claims has 2 items, and the original has 1; translate each, in the order of wording/floor-stiffener.md:10:3`},
		{"  - {what: bande neuve}\n", "", `:13:3: props has 2 items, and the original has 3`},
		{"credits: [Bande neuve pliée par l’équipe du mardi.]\n", "", `:2: credits has 0 items, and the original has 1`},
		{"photos:\n  - {caption: La vieille bande., alt: Une fine bande de métal sur un établi.}\n", "photos: []\n", `:17:9: photos has 0 items, and the original has 1`},
		{"questions:\n  - {ask: \"Pouviez-vous la sauver ?\", answer: Non. Elle aurait été trop mince.}\n", "", "questions has 0 items"},
		// A text where the original has one, and nowhere else.
		{"talk: Tenez les deux côte à côte.\n", "", "talk is missing; translate what wording/floor-stiffener.md says"},
		{"{what: bande neuve}", "{what: bande neuve, made_safe: bords limés}", ":14:36: made_safe is not in the original; take it out, or write it in wording/floor-stiffener.md first"},
		{"vieille bande, made_safe: bords limés et collés", "vieille bande", "made_safe is missing; translate what"},
		{", alt: Une fine bande de métal sur un établi.", "", "alt is missing; say what a person who cannot see the photo should know"},
		{"written_by: nell\n", "", "written_by is missing"},
		// Released facts.
		{"dans la même tôle", "en {fact:hull-floor-stiffener.material|words}", ":6:48: a material is told in the record's own words, which nobody translates; write the material in words of this language"},
		{"dans la même tôle", "pour {fact:hull-floor-stiffener.cost|money}", ":6:50: the original does not release this fact; take it out, or name it in wording/floor-stiffener.md first"},
		{"hull-floor-stiffener.loss|percent", "hull-floor-stiffener.loss|mm", "cannot be told as"},
	} {
		_, problems := Read(tree(t, frenchFiles(swap(t, goodFrench, c.from, c.to), goodFrenchTour)), abroad)
		found := slices.ContainsFunc(problems, func(p reading.Problem) bool { return strings.Contains(p.Error(), c.want) })
		if !found || !reading.Stops(problems) {
			t.Errorf("%q:\ngot  %v\nwant %s", c.to, problems, c.want)
		}
	}
}

func TestFaultsOfATourTranslation(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"title:", "slot: 45m\ntitle:", `tours/winter-hangar.fr.yaml:2:1: the key "slot" belongs to the original; take it out; a translation follows what tours/winter-hangar.yaml says`},
		{", tail: Sous la queue", "", `:3:8: the stop "tail" has no title; translate "Under the tail"`},
		{"tail: Sous", "tale: Sous", `:3:54: the stop "tale" is not in tours/winter-hangar.yaml; did you mean "tail"?`},
		{"title: L’hiver au hangar\n", "", "title is missing; translate what tours/winter-hangar.yaml says"},
		{"Sous la queue", "\"\"", `:3:54: tail is empty; translate "Under the tail"`},
		{"Sous la queue", "\"{fact:hull-floor-stiffener.loss|percent}\"", "a fact cannot stand in tail"},
	} {
		_, problems := Read(tree(t, frenchFiles(goodFrench, swap(t, goodFrenchTour, c.from, c.to))), abroad)
		if !slices.ContainsFunc(problems, func(p reading.Problem) bool { return strings.Contains(p.Error(), c.want) }) {
			t.Errorf("%q:\ngot  %v\nwant %s", c.to, problems, c.want)
		}
	}
}

func TestWhichLanguagesAndOriginalsThereAre(t *testing.T) {
	for name, c := range map[string]struct{ file, want string }{
		"not offered":   {"wording/floor-stiffener.de.md", `wording/floor-stiffener.de.md:1:1: "de" is not a language that the workshop offers; add it: languages: [fr, cy, de] under workshop: in workshop.yaml, or give the file another name`},
		"other case":    {"wording/hull/floor-stiffener.FR.md", `did you mean "fr"?`},
		"own language":  {"wording/floor-stiffener.en-GB.md", `wording/floor-stiffener.en-GB.md:1:1: "en-GB" is the workshop's own language, in which the original is written; take the file away`},
		"no original":   {"wording/floor-stifener.fr.md", `wording/floor-stifener.fr.md:1:1: this translates wording/floor-stifener.md, which is not there; did you mean "floor-stiffener"?`},
		"written twice": {"wording/hull/floor-stiffener.fr.md", "wording/hull/floor-stiffener.fr.md: the translation floor-stiffener.fr is written twice (first in wording/floor-stiffener.fr.md)"},
	} {
		files := frenchFiles(goodFrench, goodFrenchTour)
		files[c.file] = goodFrench
		_, problems := Read(tree(t, files), abroad)
		if len(problems) != 1 || !strings.Contains(problems[0].Error(), c.want) || problems[0].Advice {
			t.Errorf("%s:\ngot  %v\nwant %s", name, problems, c.want)
		}
	}
}

func FuzzTranslation(f *testing.F) {
	addDemo(f, "wording/*.md")
	f.Add(goodFrench)
	f.Add("---\nclaims: [{say: a, status: proven}]\nprops: [~]\n---\n{fact:")
	original, problems := readStory("wording/a.md", []byte(goodStory), options)
	if len(problems) > 0 {
		f.Fatal(problems)
	}
	f.Fuzz(func(t *testing.T, src string) {
		got, problems := readTranslation("wording/a.fr.md", []byte(src), abroad, original, []string{"a"})
		wellPut(t, "wording/a.fr.md", src, problems, got.Texts())
		if got.Of != "a" || got.Language != "fr" {
			t.Errorf("%q translates %q into %q", src, got.Of, got.Language)
		}
		if !reading.Stops(problems) && len(got.Claims) != len(original.Claims) {
			t.Errorf("%q passes with %d claims", src, len(got.Claims))
		}
	})
}
