package site

import (
	"context"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/themes"
)

// weekly is a whole edition.
func weekly() edition.Edition {
	hull, tail := cleared.Area{Key: "hull", Name: "Hull"}, cleared.Area{Key: "tail", Name: "Tail"}
	lead := story("floor-stiffener", "The floor that rotted from inside", hull, "2031-03-20")
	lead.Photos = []cleared.Photo{photo("A thin metal strip on a bench, its lower edge eaten away in small craters.", "The old floor stiffener, pitted under its paint.", "Tam Reddle", 1)}
	second := story("rudder-skin", "A rudder skin with too many holes", tail, "2031-01-02")
	word := words()[1]
	return edition.Edition{
		Words: cleared.NewEditionWords(cleared.EditionWordsFields{
			Week: day.MustParseWeek("2031-W07"), Subject: "A strip you could push a pick through", Preheader: "One hull stiffener, and what salt did to it.",
			Opening: "It was a cold week and a good one. The [register](https://example.org/register) has grown by *three* parts.\n\nThank you.",
			Ask:     &cleared.Ask{Text: "A sheet of new metal costs GBP 85.00. Would you buy a corner of it?", URL: "https://example.org/give", Earlier: "Last month’s gifts bought the rivets for the tail."},
			Photos:  []cleared.Photo{photo("A row of clamps.", "Clamps, waiting.", "", 4)},
		}),
		Stories: []cleared.Story{cleared.NewStory(lead), cleared.NewStory(second)},
		Word:    &word,
		YearAgo: &edition.YearAgo{ID: "bilge-pump", Title: "The pump that never stopped"},
		Figures: figures(), Since: edition.Figures{Off: 2, Inspected: 1, Fitted: 1},
		RollOut: day.MustParse("2031-05-03"), On: day.MustParse("2031-02-13"),
	}
}

func letter(t *testing.T, s cleared.SettingsFields, e edition.Edition) Letter {
	t.Helper()
	l, err := MakeLetter(context.Background(), themes.Embedded(), cleared.NewSettings(s), e)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestLetterHasBothParts(t *testing.T) {
	l := letter(t, settings(), weekly())
	t.Logf("%d bytes of HTML\n%s", len(l.HTML), l.Text)
}
