package edition_test

import (
	"slices"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
)

// A part that was fitted at the last freeze and changes its pile has moved, but it is
// the one fitted since that leads.
func TestOnlyWhatWasNotFittedBeforeIsNewlyFitted(t *testing.T) {
	pile := part("1", cleared.Fitted, "a-pile-changed")
	pile.Pile = "serviceable"
	m := material([]cleared.PartMovement{part("1", cleared.Fitted), part("2", cleared.Ready), part("3", cleared.Off)},
		[]cleared.PartMovement{pile, part("2", cleared.Fitted, "b-fitted", "c-both"), part("3", cleared.Inspected, "c-both")},
		story(storyOf{id: "a-pile-changed", photo: true}), story(storyOf{id: "b-fitted", clearedOn: "2031-02-01"}), story(storyOf{id: "c-both", clearedOn: "2031-02-02"}))
	e, err := edition.Assemble(words("", nil, nil), m)
	if want := []string{"b-fitted", "c-both", "a-pile-changed"}; err != nil || !slices.Equal(e.StoryIDs(), want) {
		t.Errorf("got %q, %v; want %q", e.StoryIDs(), err, want)
	}
}

func TestOverviewSaysWhyAndWhatChanged(t *testing.T) {
	before := []cleared.PartMovement{part("1", cleared.Ready), part("2", cleared.Off), part("3", cleared.Off), part("4", cleared.Off), part("5", cleared.Off)}
	now := []cleared.PartMovement{part("1", cleared.Fitted, "fitted"), part("2", cleared.Inspected, "moved", "skipped"), part("3", cleared.Off, "still"),
		part("4", cleared.Inspected, "more-1", "more-2", "more-3"), part("5", cleared.Off, "again"), part("6", cleared.Off, "new")}
	m := material(before, now,
		story(storyOf{id: "again", evergreen: true, toldIn: "2029-W10", clearedOn: "2029-02-10"}), story(storyOf{id: "fitted", photo: true, clearedOn: "2031-02-10"}),
		story(storyOf{id: "more-1"}), story(storyOf{id: "more-2"}), story(storyOf{id: "moved", photo: true}), story(storyOf{id: "new"}), story(storyOf{id: "skipped"}),
		story(storyOf{id: "still"}), story(storyOf{id: "told", toldIn: "2031-W05"}), story(storyOf{id: "visitors", visitorsOnly: true}), story(storyOf{id: "waits", notBefore: "2031-03-01"}))
	m.Held = map[string]edition.Held{"undecided": {Title: "Undecided", Why: "it waits", Remedy: "decide", Wanted: true}, "taken-back": {Why: "was withdrawn"}}
	m.Told = []edition.Record{{Week: day.MustParseWeek("2031-W05"), Stories: []edition.ToldStory{{ID: "told"}},
		Figures: []edition.Figures{{Area: cleared.Area{Key: "hull", Name: "Hull"}, Off: 4, Ready: 1}, {Area: cleared.Area{Key: "tail", Name: "Tail"}, Off: 1}}}}
	e, err := edition.Assemble(words("again", nil, []string{"skipped"}), m)
	if err != nil {
		t.Fatal(err)
	}
	o := e.Overview(m)
	wantContents := []edition.Content{
		{"again", "Title of again", true, "your choice to lead, no part of it has moved since 2031-W05, evergreen, last told in 2029-W10, cleared on 10 February 2029"},
		{"fitted", "Title of fitted", false, "a part of it was fitted since 2031-W05, with a photo, cleared on 10 February 2031"},
		{"new", "Title of new", false, "a part of it was first seen (off now) since 2031-W05"},
		{"moved", "Title of moved", false, "a part of it moved (inspected now) since 2031-W05, with a photo"},
	}
	if !slices.Equal(o.Contents, wantContents) {
		t.Errorf("contents %+v\nwant %+v", o.Contents, wantContents)
	}
	wantHeld := []edition.HeldBack{
		{"more-1", "Title of more-1", "a part of it moved (inspected now) since 2031-W05, and 4 others weigh more", "name it under lead: or stories:, or keep it for a quiet week"},
		{"more-2", "Title of more-2", "a part of it moved (inspected now) since 2031-W05, and 4 others weigh more", "name it under lead: or stories:, or keep it for a quiet week"},
		{"skipped", "Title of skipped", "you skip it", "take it out of skip: to let it in"},
		{"still", "Title of still", "no part of it has moved since 2031-W05", "name it under lead: or stories: to tell it all the same"},
		{"undecided", "Undecided", "it waits", "decide"},
		{"waits", "Title of waits", "waits until 1 March 2031", ""},
	}
	if !slices.Equal(o.HeldBack, wantHeld) {
		t.Errorf("held back %+v\nwant %+v", o.HeldBack, wantHeld)
	}
	wantChanges := []edition.Figures{{Area: cleared.Area{Key: "tail", Name: "Tail"}, Off: -1}, {Area: cleared.Area{Key: "hull", Name: "Hull"}, Off: -1, Inspected: 2, Ready: -1, Fitted: 1}}
	if !slices.Equal(o.Changes, wantChanges) || o.Last != day.MustParseWeek("2031-W05") {
		t.Errorf("changes since %s: %+v\nwant %+v", o.Last, o.Changes, wantChanges)
	}
	if want := (edition.Stock{Left: 4, Later: 1, Used: 1, Weeks: 2, Lasts: 8, Known: true}); o.Stock != want {
		t.Errorf("the store %+v, want %+v", o.Stock, want)
	}
	if len(o.Offers) > 0 {
		t.Errorf("a week with stories offers %+v", o.Offers)
	}
	listed, err := edition.Assemble(words("", []string{"fitted"}, nil), m)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(listed.Overview(m).HeldBack, func(h edition.HeldBack) bool { return h.ID == "moved" })
	if i < 0 || listed.Overview(m).HeldBack[i].Why != "a part of it moved (inspected now) since 2031-W05, and your list leaves it out" {
		t.Errorf("beside a list of the officer's: %+v", listed.Overview(m).HeldBack)
	}
}

// A preview shows of what is not cleared only what the officer names: nothing else
// of it could be in the letter.
func TestPreviewFindsNoStoryThatIsNotCleared(t *testing.T) {
	m := material([]cleared.PartMovement{part("1", cleared.Off)}, []cleared.PartMovement{part("1", cleared.Fitted, "named", "draft", "free")}, story(storyOf{id: "free"}))
	drafts := []cleared.Draft[cleared.Story]{cleared.NewDraft(story(storyOf{id: "draft"})), cleared.NewDraft(story(storyOf{id: "named"}))}
	p, err := edition.AssemblePreview(cleared.NewDraft(words("named", nil, nil)), drafts, m)
	if want := []string{"named", "free"}; err != nil || !slices.Equal(p.StoryIDs(), want) {
		t.Errorf("the preview has %q, %v; want %q", p.StoryIDs(), err, want)
	}
}

// The store is divided by the pace of first tellings a week, over 12 weeks or since
// the first edition; by hand: 5 stories ÷ (6 in 4 weeks) = 3.3 weeks.
func TestTheStoreLastsAsLongAsThePaceHasIt(t *testing.T) {
	told := func(week string, ids ...string) edition.Record {
		r := edition.Record{Week: day.MustParseWeek(week)}
		for _, id := range ids {
			r.Stories = append(r.Stories, edition.ToldStory{ID: id})
		}
		return r
	}
	var left []cleared.Story
	for _, id := range []string{"a", "b", "c", "d", "e"} {
		left = append(left, story(storyOf{id: id}))
	}
	for _, c := range []struct {
		told []edition.Record
		want edition.Stock
		says string
	}{
		{nil, edition.Stock{Left: 5}, "the store of stories: 5 left after this edition (cleared, due, untold); no edition yet tells how fast they go"},
		{[]edition.Record{told("2031-W03", "1", "2", "3"), told("2031-W06", "4", "5", "6")}, edition.Stock{Left: 5, Used: 6, Weeks: 4, Lasts: 3, Known: true},
			"the store of stories: 5 left after this edition (cleared, due, untold); the last 4 weeks, with and without an edition, used 6: at that pace it lasts 3 weeks"},
		{[]edition.Record{told("2031-W03", "1", "2", "3"), told("2031-W06", "1", "2", "3")}, edition.Stock{Left: 5, Used: 3, Weeks: 4, Lasts: 6, Known: true}, ""}, // told again uses nothing
		{[]edition.Record{told("2030-W46", "1", "2"), told("2030-W47", "3")}, edition.Stock{Left: 5, Used: 1, Weeks: 12, Lasts: 60, Known: true}, ""},              // of W47 on, 12 weeks
		{[]edition.Record{told("2030-W40", "1", "2")}, edition.Stock{Left: 5, Weeks: 12},
			"the store of stories: 5 left after this edition (cleared, due, untold); the last 12 weeks used none, so there is no pace"},
		{[]edition.Record{told("2031-W06", "1", "2", "3", "4", "5", "6")}, edition.Stock{Left: 5, Used: 6, Weeks: 1, Known: true},
			"the store of stories: 5 left after this edition (cleared, due, untold); the last week used 6: at that pace it lasts less than a week"},
		{[]edition.Record{told("2031-W07", "1")}, edition.Stock{Left: 5}, ""}, // this one itself tells no pace
	} {
		m := material(nil, nil, left...)
		m.Told = c.told
		e, err := edition.Assemble(words("", nil, nil), m)
		if err != nil {
			t.Fatal(err)
		}
		got := e.Overview(m).Stock
		if got != c.want || c.says != "" && got.String() != c.says {
			t.Errorf("after %+v: %+v, %q\nwant %+v, %q", c.told, got, got, c.want, c.says)
		}
	}
}
