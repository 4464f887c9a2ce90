package site

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/themes"
)

// photo draws a picture with copies for every use. No two seeds look alike.
func photo(alt, caption, credit string, seed int) cleared.Photo {
	f := cleared.PhotoFields{Alt: alt, Caption: caption, Credit: credit}
	for _, c := range []struct {
		use  cleared.Use
		w, h int
	}{{cleared.Web400, 400, 267}, {cleared.Web800, 800, 533}, {cleared.Web1200, 1200, 800}, {cleared.Letter, 1200, 800}} {
		f.Copies = append(f.Copies, cleared.NewCopy(cleared.CopyFields{
			Use: c.use, Width: c.w, Height: c.h, Name: fmt.Sprintf("%08x%s.jpg", seed, c.use[:1]+cleared.Use(fmt.Sprint(c.w))),
			Open: func() ([]byte, error) { return drawn(seed) },
		}))
	}
	return cleared.NewPhoto(f)
}

// drawn is a small picture: what a copy's bytes show is not looked at here.
func drawn(seed int) ([]byte, error) {
	const w, h = 90, 60
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			shade := uint8(90 + 110*y/h)
			if (x*9/w+y*6/h+seed)%3 == 0 {
				shade -= 40
			}
			img.Set(x, y, color.RGBA{shade - uint8(seed*9%60), shade, shade + uint8(seed*13%50), 255})
		}
	}
	var out bytes.Buffer
	err := jpeg.Encode(&out, img, &jpeg.Options{Quality: 60})
	return out.Bytes(), err
}

func settings() cleared.SettingsFields {
	return cleared.SettingsFields{
		Workshop: "Marram Sound Flying Boat Trust", Machine: "Oystercatcher FO-7", Language: "en-GB",
		PostalAddress: "The Slipway, Marram Sound", Site: "https://example.org/",
		Returns: "returns@example.org", LegalLines: []string{"Registered charity in an invented country."},
		Areas: []cleared.Area{{Key: "hull", Name: "Hull"}, {Key: "tail", Name: "Tail"}, {Key: "wing", Name: "Wing"}},
	}
}

func story(id, title string, area cleared.Area, from string) cleared.StoryFields {
	return cleared.StoryFields{
		ID: id, Language: "en-GB", Title: title, Area: area,
		CameOff:  "A thin aluminium strip that stiffened the bottom of the hull, just ahead of the main spar.",
		Failed:   "Salt water had crept under the paint. It was 1.63 mm thick when new and had lost 15 percent at the worst spot.",
		Replaced: "We cut and folded a new one here, from the same kind of sheet.",
		Claims: []cleared.Claim{
			{Say: "The strip was 1.63 mm thick when new.", Status: "proven", Evidence: "Measured beside a rivet, where the paint had held."},
			{Say: "We think it is the original strip.", Status: "likely", Evidence: "Same rivet spacing as the drawing."},
			{Say: "The story goes that a boy paddled through here with a teapot.", Status: "told"},
		},
		Questions:   []cleared.Question{{Ask: "Could you have saved it?", Answer: "No. Cleaning out the pits would have left it too thin."}},
		Talk:        "TALK-CANARY hold both up side by side.",
		Props:       []cleared.Prop{{What: "PROP-CANARY old strip", HandRound: cleared.DropProof}},
		Cautions:    []cleared.Caution{{Key: "sharp-edge", Label: "Sharp edges", Advice: "Hold it by the flat; keep fingers off the edges."}},
		Credits:     []string{"New strip folded by the Tuesday bench."},
		Body:        "Under the floor boards the paint looked sound.\n\n## What we found\n\nA pick went through it near the stringer. The *main spar* beside it was dry.\n\n- first the paint\n- then the metal\n\nRead about [rivets](/word/rivet/) or see [the register](https://example.org/register).",
		ForVisitors: true, ForMembers: true, PublicFrom: day.MustParse(from), Digest: "d-" + id,
	}
}

func words() []cleared.Word {
	return []cleared.Word{
		cleared.NewWord(cleared.WordFields{ID: "spar", Word: "spar", Also: []string{"spars", "main spar"}, Meaning: "The beam that carries the wing."}),
		cleared.NewWord(cleared.WordFields{ID: "stringer", Word: "stringer", Meaning: "A long thin stiffener. It runs *along* the hull."}),
		cleared.NewWord(cleared.WordFields{ID: "rivet", Word: "rivet", Also: []string{"rivets"}, Meaning: "A pin that is closed for good."}),
	}
}

func corrected(id, story, from string) cleared.Correction {
	f := cleared.CorrectionFields{ID: id, Story: story, Title: "The floor that rotted from inside", Say: "We said that " + id + " was the original strip. It was a spare, made here in the spring."}
	if from != "" {
		f.PublicFrom = day.MustParse(from)
	}
	return cleared.NewCorrection(f)
}

// fixture is a whole small archive.
func fixture() Archive {
	hull, tail := cleared.Area{Key: "hull", Name: "Hull"}, cleared.Area{Key: "tail", Name: "Tail"}
	first := story("floor-stiffener", "The floor that rotted from inside", hull, "2031-02-20")
	first.Photos = []cleared.Photo{
		photo("A thin metal strip on a bench, its lower edge eaten away in small craters.", "The old floor stiffener, pitted under its paint.", "Tam Reddle", 1),
		photo("Two strips side by side.", "Old and new.", "", 2),
	}
	second := story("rudder-skin", "A rudder skin with too many holes", tail, "2031-02-27")
	second.Photos = []cleared.Photo{photo("A dented rudder.", "The rudder before we took the skin off.", "Tam Reddle", 3)}
	third := story("bilge-pump", "The pump that never stopped", hull, "2031-01-30")
	third.Body = ""
	waiting := story("keel-bolt", "HIDDEN-CANARY a bolt", hull, "2031-04-01")
	stops := []cleared.Stop{
		cleared.NewStop(cleared.StopFields{ID: "hull-floor", Number: 1, At: "Hull floor, port side", Stories: []cleared.Story{cleared.NewStory(first)}, Cautions: []cleared.Caution{{Label: "Trip hazard", Advice: "Mind the cables."}}, Withheld: []string{"WITHHELD-CANARY"}}),
		cleared.NewStop(cleared.StopFields{ID: "keel", Number: 2, At: "Under the keel", Stories: []cleared.Story{cleared.NewStory(waiting)}}),
		cleared.NewStop(cleared.StopFields{ID: "bow", Number: 3, At: "At the bow"}),
	}
	return Archive{
		Settings:    cleared.NewSettings(settings()),
		Stories:     []cleared.Story{cleared.NewStory(third), cleared.NewStory(first), cleared.NewStory(second)},
		Corrections: []cleared.Correction{corrected("floor-stiffener-1", "floor-stiffener", "2031-02-20"), corrected("floor-stiffener-2", "floor-stiffener", "2031-02-25")},
		Words:       words(),
		Tours:       []cleared.Tour{cleared.NewTour(cleared.TourFields{ID: "winter-hangar", Title: "Winter in the hangar", Stops: stops})},
		Editions: []PublicEdition{{From: day.MustParse("2031-02-20"), Record: edition.Record{
			Week: day.MustParseWeek("2031-W04"), Subject: "A strip you could push a pick through", Preheader: "One hull stiffener, and what salt did to it.",
			Opening:     "It was a cold week and a good one. See [the story](/story/floor-stiffener/).",
			Corrections: []string{"floor-stiffener-2", "keel-bolt-1"}, // the second to a story that is not public yet
			Stories:     []edition.ToldStory{{ID: "floor-stiffener", Title: "The floor that rotted from inside"}, {ID: "keel-bolt", Title: "A bolt from the keel"}},
			Figures:     figures(), Word: "spar",
		}}},
		Withdrawn: []Withdrawal{{ID: "wrong-colour", On: day.MustParse("2031-02-02")}},
		Theme:     themes.Embedded(),
		On:        day.MustParse("2031-03-01"),
	}
}

func figures() []edition.Figures {
	return []edition.Figures{
		{Area: cleared.Area{Key: "hull", Name: "Hull"}, Off: 6, Inspected: 4, Waiting: 3, Ready: 5, Fitted: 6},
		{Area: cleared.Area{Key: "tail", Name: "Tail"}, Inspected: 1},
	}
}

func built(t *testing.T, a Archive) Files {
	t.Helper()
	files, err := Build(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	return files
}
