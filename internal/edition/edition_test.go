package edition_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
)

var week = day.MustParseWeek("2031-W07")

func words(lead string, stories, skip []string) cleared.EditionWords {
	return cleared.NewEditionWords(cleared.EditionWordsFields{Week: week, Subject: "A week", Opening: "Hello.", Lead: lead, Stories: stories, Skip: skip})
}

type storyOf struct {
	id, notBefore, toldIn, clearedOn, publicFrom string

	evergreen, photo, visitorsOnly bool
}

func story(o storyOf) cleared.Story {
	f := cleared.StoryFields{ID: o.id, Title: "Title of " + o.id, ForMembers: !o.visitorsOnly, ForVisitors: true, Evergreen: o.evergreen}
	if o.notBefore != "" {
		f.NotBefore = day.MustParse(o.notBefore)
	}
	if o.toldIn != "" {
		f.ToldIn = day.MustParseWeek(o.toldIn)
	}
	if o.clearedOn != "" {
		f.ClearedOn = day.MustParse(o.clearedOn)
	}
	if o.publicFrom != "" {
		f.PublicFrom = day.MustParse(o.publicFrom)
	}
	if o.photo {
		f.Photos = []cleared.Photo{cleared.NewPhoto(cleared.PhotoFields{})}
	}
	return cleared.NewStory(f)
}

func material(before []cleared.PartMovement, now []cleared.PartMovement, stories ...cleared.Story) edition.Material {
	return edition.Material{Stories: stories, Before: before, On: day.MustParse("2031-02-12"),
		Movement: cleared.NewMovement(cleared.MovementFields{Parts: now}),
		Areas:    []cleared.Area{{Key: "tail", Name: "Tail"}, {Key: "hull", Name: "Hull"}, {Key: "wing", Name: "Wing"}}}
}

func part(key string, phase cleared.Phase, stories ...string) cleared.PartMovement {
	return cleared.PartMovement{Key: key, Area: "hull", Step: string(phase), Phase: phase, Stories: stories}
}

func TestStoriesOfMovedPartsAreFoundInOrderOfWeight(t *testing.T) {
	before := []cleared.PartMovement{part("1", cleared.Ready), part("2", cleared.Off), part("4", cleared.Off), part("5", cleared.Off), part("6", cleared.Waiting)}
	now := []cleared.PartMovement{
		part("1", cleared.Fitted, "fitted"), part("2", cleared.Inspected, "old"), part("3", cleared.Off, "first-seen"),
		part("4", cleared.Inspected, "with-photo"), part("5", cleared.Inspected, "young"), part("6", cleared.Waiting, "not-moved"),
	}
	m := material(before, now,
		story(storyOf{id: "young", clearedOn: "2031-02-10"}), story(storyOf{id: "old", clearedOn: "2031-01-10"}),
		story(storyOf{id: "fitted", clearedOn: "2031-02-11"}), story(storyOf{id: "not-moved"}),
		story(storyOf{id: "with-photo", photo: true, clearedOn: "2031-02-11"}), story(storyOf{id: "first-seen"}))
	e, err := edition.Assemble(words("", nil, nil), m)
	if got, want := e.StoryIDs(), []string{"fitted", "first-seen", "with-photo", "old"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("got %v, %v; want %v", got, err, want)
	}
	e, err = edition.Assemble(words("young", nil, []string{"fitted"}), m)
	if got, want := e.StoryIDs(), []string{"young", "first-seen", "with-photo", "old"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("with a lead and a skip: got %v, %v; want %v", got, err, want)
	}
	e, err = edition.Assemble(words("", []string{"not-moved"}, nil), m)
	if got, want := e.StoryIDs(), []string{"not-moved"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("the officer's list alone: got %v, %v; want %v", got, err, want)
	}
}

func TestWhatTheOfficerMayNotTellIsRefusedByName(t *testing.T) {
	m := material(nil, nil,
		story(storyOf{id: "told", toldIn: "2031-W03"}), story(storyOf{id: "waits", notBefore: "2031-03-01"}),
		story(storyOf{id: "visitors", visitorsOnly: true}), story(storyOf{id: "evergreen-young", evergreen: true, toldIn: "2030-W40"}),
		story(storyOf{id: "evergreen-old", evergreen: true, toldIn: "2030-W07"}))
	m.Held = map[string]edition.Held{"undecided": {Why: "its photo waits", Remedy: "decide on it"}}
	for id, want := range map[string]string{
		"told":            "story told: was told in 2031-W03; choose another",
		"waits":           "story waits: waits until 1 March 2031; send it in a later edition",
		"visitors":        "story visitors: is not for members; add members",
		"unknown":         "story unknown: is not in wording/; correct its name, or take it out of the edition",
		"undecided":       "story undecided: is not cleared for members: its photo waits; decide on it, or take it out of the edition",
		"evergreen-young": "story evergreen-young: was told in 2030-W40; it may return from 2031-W40",
	} {
		e, err := edition.Assemble(words(id, nil, nil), m)
		var refusal *edition.Refusal
		if !errors.As(err, &refusal) || !strings.HasPrefix(err.Error(), want) || len(e.Stories) > 0 {
			t.Errorf("%s: got %v with %v, want %q", id, err, e.StoryIDs(), want)
		}
	}
	if e, err := edition.Assemble(words("evergreen-old", nil, nil), m); err != nil || len(e.Stories) != 1 {
		t.Errorf("an evergreen story after 52 weeks: %v, %v", e.StoryIDs(), err)
	}
}

func TestFiguresCountEachPartOnce(t *testing.T) {
	now := []cleared.PartMovement{part("1", cleared.Fitted), part("2", cleared.Off), part("3", cleared.Waiting), {Key: "4", Area: "tail", Phase: cleared.Ready}}
	e, err := edition.Assemble(words("", nil, nil), material([]cleared.PartMovement{part("1", cleared.Ready), part("2", cleared.Off)}, now))
	if err != nil {
		t.Fatal(err)
	}
	want := []edition.Figures{{Area: cleared.Area{Key: "tail", Name: "Tail"}, Ready: 1}, {Area: cleared.Area{Key: "hull", Name: "Hull"}, Off: 1, Waiting: 1, Fitted: 1}}
	if !slices.Equal(e.Figures, want) {
		t.Errorf("figures %+v, want %+v", e.Figures, want)
	}
	if want := (edition.Figures{Fitted: 1, Waiting: 1, Ready: 1}); e.Since != want {
		t.Errorf("since the last edition %+v, want %+v", e.Since, want)
	}
}

func TestQuietWeekOffersInOrderAndAnEmptyOneIsNotFrozen(t *testing.T) {
	m := material([]cleared.PartMovement{part("1", cleared.Off)}, []cleared.PartMovement{part("1", cleared.Off, "held-back", "held-photo")},
		story(storyOf{id: "evergreen", evergreen: true, toldIn: "2030-W07"}), story(storyOf{id: "evergreen-older", evergreen: true, toldIn: "2029-W20"}),
		story(storyOf{id: "evergreen-resting", evergreen: true, toldIn: "2030-W08"}),
		story(storyOf{id: "held-back", clearedOn: "2031-01-10"}), story(storyOf{id: "held-photo", photo: true, clearedOn: "2031-02-10"}),
		story(storyOf{id: "not-yet", notBefore: "2031-02-13"}), story(storyOf{id: "skipped"}), story(storyOf{id: "spent", toldIn: "2030-W07", publicFrom: "2030-03-20"}),
		story(storyOf{id: "visitors", visitorsOnly: true}))
	m.Told = []edition.Record{{Week: day.MustParseWeek("2030-W07"), Stories: []edition.ToldStory{{ID: "taken-back", Title: "Taken back"}, {ID: "spent", Title: "Spent, as it was called"}}, Word: "strake"}}
	m.Glossary = []cleared.Word{cleared.NewWord(cleared.WordFields{ID: "strake", Word: "strake"}), cleared.NewWord(cleared.WordFields{ID: "web", Word: "web"})}
	offers := func(e edition.Edition) (got []string) {
		for _, o := range e.Offers(m) {
			got = append(got, o.Kind+" "+o.ID)
		}
		return got
	}
	e, err := edition.Assemble(words("", nil, []string{"skipped"}), m)
	want := []string{"held back held-photo", "held back held-back", "evergreen evergreen-older", "evergreen evergreen", "a year ago spent", "glossary web"}
	if got := offers(e); !slices.Equal(got, want) {
		t.Errorf("offers %q, want %q", got, want)
	}
	if err != nil || e.Freezable() != nil || e.Word == nil || e.Word.ID() != "web" || e.YearAgo == nil || e.YearAgo.Title != "Title of spent" {
		t.Errorf("quiet week: %+v, %v, %v", e, err, e.Freezable())
	}
	if e, err = edition.Assemble(words("held-back", nil, nil), m); err != nil || len(offers(e)) > 0 || e.Word != nil || e.YearAgo != nil {
		t.Errorf("a week with a story offers %q: %v", offers(e), err)
	}
	m.Told, m.Glossary = nil, nil
	if e, _ := edition.Assemble(words("", nil, nil), m); !errors.Is(e.Freezable(), edition.ErrNothing) {
		t.Errorf("an edition with nothing to read can be frozen: %v", e.Freezable())
	}
}

// A year ago is one line and a link, so its page must be there.
func TestAYearAgoIsAStoryThatTheArchiveHas(t *testing.T) {
	for _, c := range []struct {
		week, told string
		is         storyOf
		want       bool
	}{
		{"2031-W07", "2030-W07", storyOf{id: "old", publicFrom: "2030-03-14"}, true},
		{"2031-W07", "2030-W06", storyOf{id: "old", publicFrom: "2030-03-14"}, false},
		{"2031-W07", "2030-W07", storyOf{id: "old", publicFrom: "2031-02-13"}, false}, // the day after
		{"2031-W07", "2030-W07", storyOf{id: "old"}, false},
		{"2031-W07", "2030-W07", storyOf{id: "another", publicFrom: "2030-03-14"}, false}, // old was taken back
		{"2027-W10", "2026-W10", storyOf{id: "old", publicFrom: "2026-04-01"}, true},      // across a year of 53 weeks
		{"2027-W10", "2026-W11", storyOf{id: "old", publicFrom: "2026-04-01"}, false},
		{"2026-W53", "2026-W01", storyOf{id: "old", publicFrom: "2026-02-01"}, true},
		{"2026-W53", "2025-W52", storyOf{id: "old", publicFrom: "2026-02-01"}, false},
	} {
		w := day.MustParseWeek(c.week)
		m := material(nil, nil, story(c.is))
		m.On = w.Monday().AddDays(2)
		m.Told = []edition.Record{{Week: day.MustParseWeek(c.told), Stories: []edition.ToldStory{{ID: "old"}}}}
		e, err := edition.Assemble(cleared.NewEditionWords(cleared.EditionWordsFields{Week: w}), m)
		if err != nil || (e.YearAgo != nil) != c.want {
			t.Errorf("in %s, %+v told in %s: %+v, %v; want %t", c.week, c.is, c.told, e.YearAgo, err, c.want)
		}
	}
}

func TestEditionWithoutSubjectOrOpeningIsNotFrozen(t *testing.T) {
	m := material(nil, nil, story(storyOf{id: "one"}))
	for _, f := range []cleared.EditionWordsFields{{Subject: "A week"}, {Opening: "Hello."}, {Subject: " ", Opening: "Hello."}} {
		f.Week, f.Lead = week, "one"
		e, err := edition.Assemble(cleared.NewEditionWords(f), m)
		if err != nil {
			t.Fatal(err)
		}
		if err := e.Freezable(); err == nil || !strings.Contains(err.Error(), "write them in editions/2031-W07.md") {
			t.Errorf("subject %q, opening %q: got %v", f.Subject, f.Opening, err)
		}
	}
}

func correction(id, toldIn string) cleared.Correction {
	f := cleared.CorrectionFields{ID: id, Story: "floor", Title: "The floor", Say: "It was " + id}
	if toldIn != "" {
		f.ToldIn = day.MustParseWeek(toldIn)
	}
	return cleared.NewCorrection(f)
}

// A correction leads once, whatever else there is to tell, and its story need not
// be one that may be told.
func TestCorrectionIsToldOnce(t *testing.T) {
	m := material(nil, []cleared.PartMovement{part("1", cleared.Ready, "ready")}, story(storyOf{id: "ready"}), story(storyOf{id: "floor", toldIn: "2031-W03"}))
	m.Corrections = []cleared.Correction{correction("floor-2", ""), correction("floor-1", "2031-W05"), correction("floor-3", "2031-W07"), correction("floor-4", "")}
	e, err := edition.Assemble(words("", nil, nil), m)
	if want := []string{"floor-2", "floor-3", "floor-4"}; err != nil || !slices.Equal(e.CorrectionIDs(), want) {
		t.Errorf("got %q, %v; want %q", e.CorrectionIDs(), err, want)
	}
	if want := []string{"ready"}; !slices.Equal(e.StoryIDs(), want) {
		t.Errorf("stories %q, want %q", e.StoryIDs(), want)
	}
	if got := e.Record().Corrections; !slices.Equal(got, e.CorrectionIDs()) {
		t.Errorf("the record has %q", got)
	}
	p, err := edition.AssemblePreview(cleared.NewDraft(words("", nil, nil)), nil, m)
	if err != nil || !slices.Equal(p.CorrectionIDs(), e.CorrectionIDs()) {
		t.Errorf("the preview has %q, %v", p.CorrectionIDs(), err)
	}
}

func TestCorrectionAloneIsAnEdition(t *testing.T) {
	m := material(nil, nil)
	e, err := edition.Assemble(words("", nil, nil), m)
	if err != nil || !errors.Is(e.Freezable(), edition.ErrNothing) {
		t.Fatalf("with nothing: %v, %v", err, e.Freezable())
	}
	m.Corrections = []cleared.Correction{correction("floor-1", "2031-W05")}
	if e, _ = edition.Assemble(words("", nil, nil), m); !errors.Is(e.Freezable(), edition.ErrNothing) {
		t.Errorf("with one that was told: %v", e.Freezable())
	}
	m.Corrections = []cleared.Correction{correction("floor-1", "")}
	if e, _ = edition.Assemble(words("", nil, nil), m); e.Freezable() != nil {
		t.Errorf("with one that was not: %v", e.Freezable())
	}
}
