package card

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"testing"
	"time"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/themes"
)

// The invented workshop that all tests here print for.

func settings() cleared.Settings {
	return cleared.NewSettings(cleared.SettingsFields{
		Workshop: "Marram Sound Flying Boat Trust", Machine: "Oystercatcher FO-7", Language: "en-GB", Site: "https://example.org/",
	})
}

var (
	sharp = cleared.Caution{Key: "sharp-edge", Label: "Sharp edges", Advice: "Hold it by the flat; keep fingers off the edges."}
	trip  = cleared.Caution{Key: "trip", Label: "Trip hazard", Advice: "Cables cross the floor here; keep the group behind the tape."}
)

// picture is a JPEG of the shape of a card copy, made in memory: a dull bench
// under a strip of metal with a row of pits along its edge.
func picture(t testing.TB, w, h int) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{uint8(70 + 40*y/h), uint8(62 + 30*y/h), uint8(55 + 20*x/w), 255}
			if y > h/3 && y < 2*h/3 {
				c = color.RGBA{uint8(170 + 30*x/w), 176, 182, 255}
				dx, dy := x%(w/14)-w/28, y-2*h/3+h/30
				if dx*dx+dy*dy < h*h/900 {
					c = color.RGBA{88, 74, 60, 255}
				}
			}
			img.Set(x, y, c)
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 85}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func photoOf(t testing.TB) cleared.Photo {
	data := picture(t, 900, 600)
	return cleared.NewPhoto(cleared.PhotoFields{
		Alt: "A thin metal strip on a bench, its lower edge eaten away in small craters.", Credit: "Tam Reddle",
		Copies: []cleared.Copy{cleared.NewCopy(cleared.CopyFields{
			Use: cleared.Card, Width: 900, Height: 600, Name: "5d1f.jpg", Open: func() ([]byte, error) { return data, nil },
		})},
	})
}

// stiffener is a story as one would be written: 73 words on its front.
func stiffener(t testing.TB) cleared.StoryFields {
	return cleared.StoryFields{
		ID: "floor-stiffener", Language: "en-GB", Title: "The floor that rotted from inside",
		CameOff:  "A thin aluminium strip that stiffened the bottom of the hull. It was fitted in the first hull and never came off until now.",
		Failed:   "Salt water had crept under the paint. The strip was 1.63 mm thick when new and had lost 15 % at the worst spot, too much to clean out.",
		Replaced: "We cut and folded a new one here, from the same kind of sheet, and filed every edge smooth by hand.",
		Claims: []cleared.Claim{
			{Say: "The strip was 1.63 mm thick when new.", Status: "proven", Evidence: "The drawing and two readings of the sound part."},
			{Say: "We think it is the original strip.", Status: "likely", Evidence: "Same rivet spacing as the drawing."},
		},
		Questions: []cleared.Question{
			{Ask: "Could you have saved it?", Answer: "No. Cleaning out the pits would have left it too thin."},
			{Ask: "Will the new one rot too?", Answer: "Slower: it is painted inside before it goes in."},
		},
		Talk: "Hold both up side by side. Ask which one they would trust to sea. Then turn the old one over, and let them find the craters along the lower edge.",
		Props: []cleared.Prop{
			{What: "old strip", HandRound: cleared.TwoHands, Cautions: []cleared.Caution{sharp}},
			{What: "new strip", HandRound: cleared.DropProof, MadeSafe: "edges filed and taped"},
		},
		Cautions: []cleared.Caution{sharp}, Credits: []string{"New strip folded by the Tuesday bench"},
		Photos: []cleared.Photo{photoOf(t)}, ForVisitors: true, ForMembers: true, Digest: "d1",
	}
}

func stopOf(number int, stories ...cleared.Story) cleared.Stop {
	return stopNamed("hull-floor", number, stories...)
}

func stopNamed(id string, number int, stories ...cleared.Story) cleared.Stop {
	return cleared.NewStop(cleared.StopFields{
		ID: id, Number: number, At: "Hull floor, port side", X: 6, Y: 2, Stories: stories, Wants: "must",
		Minutes: 5 * time.Minute, Cautions: []cleared.Caution{trip},
	})
}

func tourOf(stops ...cleared.Stop) cleared.Tour {
	return cleared.NewTour(cleared.TourFields{
		ID: "winter-hangar", Title: "Winter in the hangar", Slot: 45 * time.Minute, Group: 25, Pace: 130, Walk: 1, Stops: stops,
	})
}

func withheldStop() cleared.Stop {
	return cleared.NewStop(cleared.StopFields{
		ID: "tail", Number: 4, At: "Under the tail", Minutes: 4 * time.Minute,
		Withheld: []string{"the story “Rudder cables” waits for a decision: its words changed on 12 January 2031"},
	})
}

func options(paper string, faces ...string) Options {
	if len(faces) == 0 {
		faces = []string{front, back}
	}
	return Options{Paper: paper, Faces: faces, AsOf: day.MustParse("2031-01-25"), Theme: themes.Embedded()}
}

func papers() []string { return []string{"a6", "a5", "a4", "letter"} }

func mustDeck(t testing.TB, tour cleared.Tour, o Options) *Sheets {
	t.Helper()
	sheets, err := Deck(t.Context(), settings(), tour, o)
	if err != nil {
		t.Fatalf("Deck on %s: %v", o.Paper, err)
	}
	return sheets
}

// mustList lists the cards of a tour.
func mustList(t testing.TB, tour cleared.Tour) []Printed {
	t.Helper()
	all, err := Cards(settings(), tour, options("a5"))
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// contentsOf is what the cards of a tour say.
func contentsOf(t testing.TB, tour cleared.Tour) []content {
	t.Helper()
	v, err := readVoices(settings(), options("a5"))
	if err == nil {
		err = v.learnAll(tour)
	}
	if err != nil {
		t.Fatal(err)
	}
	return v.contents(settings(), tour)
}

// fullTour has a stop with two stories, one of them without a photo, and a stop
// with nothing cleared.
func fullTour(t testing.TB) cleared.Tour {
	plain := stiffener(t)
	plain.ID, plain.Title, plain.Photos = "keel-office", "The office in the keel", nil
	plain.CameOff = "A fitted plywood desk from the navigator's office."
	plain.Failed = "It had come off its battens, and wet rot had taken the effort out of every joint."
	plain.Replaced = "A copy in the same wood, fitted with the old hinges."
	return tourOf(stopOf(3, cleared.NewStory(stiffener(t)), cleared.NewStory(plain)), withheldStop())
}
