// Package wording reads the public words: stories, glossary, tours and
// editions, as people write them, and stories and tours in other languages.
//
// It promises that whatever it returns was read strictly, that every fault
// comes back as a reading.Problem with its place and remedy, and that the
// fields of every unit which the public can read are named in one list, its
// Texts. A unit with a problem is returned as far as it could be read, so that
// it can be shown and mended; whoever clears must refuse it.
//
// It must not know the record: a fact is a name here, resolved by somebody
// else, and a part is an id that is not looked up.
package wording

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"path"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

// The folders of a workspace that hold public words.
const (
	storyFolder    = "wording"
	glossaryFolder = "glossary"
	tourFolder     = "tours"
	editionFolder  = "editions"
)

// ReadOptions says what the words may refer to.
type ReadOptions struct {
	Areas     []string // the keys of the workshop's areas
	People    []string // the ids of the workshop's people
	TwoPeople bool     // a second person clears, so every unit says who wrote it
	Language  string   // in which the workshop writes
	Languages []string // that it offers beside its own
}

// Words is everything that was written for the public.
type Words struct {
	stories  map[string]*Story
	words    map[string]*Word
	tours    map[string]*Tour
	editions map[day.Week]*Edition

	translations     map[string]*Translation // "floor-stiffener.fr"
	tourTranslations map[string]*TourTranslation
}

// Read reads every story, glossary word, tour and edition below root. The
// problems are sorted by place.
func Read(root *os.Root, o ReadOptions) (*Words, []reading.Problem) {
	w := &Words{
		stories:  map[string]*Story{},
		words:    map[string]*Word{},
		tours:    map[string]*Tour{},
		editions: map[day.Week]*Edition{},

		translations: map[string]*Translation{}, tourTranslations: map[string]*TourTranslation{},
	}
	r := &reader{root: root, options: o}
	var later []written // translations are set beside what they translate
	r.each(storyFolder, ".md", func(file string, src []byte) {
		if _, _, is := translated(file, ".md"); is {
			later = append(later, written{file, src})
			return
		}
		s, problems := readStory(file, src, o)
		r.problems = append(r.problems, problems...)
		keep(r, w.stories, "story", s.ID, s.ID != "", s)
	})
	stories := slices.Sorted(maps.Keys(w.stories))
	for _, l := range later {
		of, language, _ := translated(l.file, ".md")
		t, problems := readTranslation(l.file, l.src, o, w.stories[of], stories)
		r.problems = append(r.problems, problems...)
		keep(r, w.translations, "translation", of+"."+language, w.stories[of] != nil, t)
	}
	later = nil
	r.each(glossaryFolder, ".md", func(file string, src []byte) {
		word, problems := readWord(file, src, o)
		r.problems = append(r.problems, problems...)
		keep(r, w.words, "glossary word", word.ID, word.ID != "", word)
	})
	r.each(tourFolder, ".yaml", func(file string, src []byte) {
		if _, _, is := translated(file, ".yaml"); is {
			later = append(later, written{file, src})
			return
		}
		t, problems := readTour(file, src, o, stories)
		r.problems = append(r.problems, problems...)
		keep(r, w.tours, "tour", t.ID, t.ID != "", t)
	})
	tours := slices.Sorted(maps.Keys(w.tours))
	for _, l := range later {
		of, language, _ := translated(l.file, ".yaml")
		t, problems := readTourTranslation(l.file, l.src, o, w.tours[of], tours)
		r.problems = append(r.problems, problems...)
		keep(r, w.tourTranslations, "translation", of+"."+language, w.tours[of] != nil, t)
	}
	r.each(editionFolder, ".md", func(file string, src []byte) {
		e, problems := readEdition(file, src, o, stories)
		r.problems = append(r.problems, problems...)
		keep(r, w.editions, "edition", e.Week, !e.Week.IsZero(), e)
	})
	r.problems = append(r.problems, wordsTwice(w.Glossary())...)
	r.problems = append(r.problems, stopsTwice(w.Tours())...)
	reading.Sort(r.problems)
	return w, r.problems
}

// Stories returns every story, in order of id.
func (w *Words) Stories() []*Story {
	return slices.SortedFunc(maps.Values(w.stories), func(a, b *Story) int { return cmp.Compare(a.ID, b.ID) })
}

// Story returns the story with an id.
func (w *Words) Story(id string) (*Story, bool) { s, ok := w.stories[id]; return s, ok }

// Glossary returns every glossary word, in order of id.
func (w *Words) Glossary() []*Word {
	return slices.SortedFunc(maps.Values(w.words), func(a, b *Word) int { return cmp.Compare(a.ID, b.ID) })
}

// Word returns the glossary word with an id.
func (w *Words) Word(id string) (*Word, bool) { word, ok := w.words[id]; return word, ok }

// Tours returns every tour, in order of id.
func (w *Words) Tours() []*Tour {
	return slices.SortedFunc(maps.Values(w.tours), func(a, b *Tour) int { return cmp.Compare(a.ID, b.ID) })
}

// Tour returns the tour with an id.
func (w *Words) Tour(id string) (*Tour, bool) { t, ok := w.tours[id]; return t, ok }

// Editions returns every edition, the earliest week first.
func (w *Words) Editions() []*Edition {
	return slices.SortedFunc(maps.Values(w.editions), func(a, b *Edition) int {
		return cmp.Or(cmp.Compare(a.Week.Year, b.Week.Year), cmp.Compare(a.Week.Week, b.Week.Week))
	})
}

// Edition returns the edition of a week.
func (w *Words) Edition(week day.Week) (*Edition, bool) { e, ok := w.editions[week]; return e, ok }

// Translations returns every story in another language whose original is there, in
// order of story and language.
func (w *Words) Translations() []*Translation {
	return slices.SortedFunc(maps.Values(w.translations), func(a, b *Translation) int {
		return cmp.Or(cmp.Compare(a.Of, b.Of), cmp.Compare(a.Language, b.Language))
	})
}

// TourTranslations returns the titles of tours in other languages, in order of tour
// and language.
func (w *Words) TourTranslations() []*TourTranslation {
	return slices.SortedFunc(maps.Values(w.tourTranslations), func(a, b *TourTranslation) int {
		return cmp.Or(cmp.Compare(a.Of, b.Of), cmp.Compare(a.Language, b.Language))
	})
}

// written is a file that was read and not looked at yet.
type written struct {
	file string
	src  []byte
}

// reader collects the problems of one reading.
type reader struct {
	root     *os.Root
	options  ReadOptions
	problems []reading.Problem
}

// each hands over every file of a folder that ends with suffix. A file that
// looks like words and would not be read is a problem: nothing that somebody
// wrote is left out in silence.
func (r *reader) each(folder, suffix string, do func(file string, src []byte)) {
	files, problems := reading.List(r.root, folder, "")
	r.problems = append(r.problems, problems...)
	for _, file := range files {
		if !strings.HasSuffix(file, suffix) {
			r.problems = append(r.problems, passedOver(file, folder, suffix))
			continue
		}
		src, problem := reading.Text(r.root, file)
		if problem != nil {
			r.problems = append(r.problems, *problem)
			continue
		}
		do(file, src)
	}
}

func passedOver(file, folder, suffix string) reading.Problem {
	written := slices.Contains([]string{".md", ".markdown", ".txt", ".yaml", ".yml"}, strings.ToLower(path.Ext(file)))
	return reading.Problem{Place: reading.Place{File: file}, Code: "not-read", Value: path.Ext(file), Advice: !written,
		Message: fmt.Sprintf("this file is not read; in %s/ only names that end in %s are", folder, suffix),
		Remedy:  "give it that ending, or move it elsewhere"}
}

// unit is what keep needs to know of a story, word, tour or edition.
type unit interface{ file() string }

// keep stores a unit under its id, unless the id is taken.
func keep[K comparable, U unit](r *reader, all map[K]U, kind string, id K, usable bool, u U) {
	if !usable {
		return
	}
	if first, taken := all[id]; taken {
		r.problems = append(r.problems, reading.Problem{Place: reading.Place{File: u.file()}, Code: "duplicate-id", Value: fmt.Sprint(id),
			Message: fmt.Sprintf("the %s %v is written twice (first in %s)", kind, id, first.file()),
			Remedy:  "give one of the two files another name"})
		return
	}
	all[id] = u
}
