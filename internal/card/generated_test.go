package card

import (
	"errors"
	"flag"
	"fmt"
	"image"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/pdf"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
)

var long = flag.Bool("long", false, "generate 2,000 cards rather than 200")

// vocabulary returns words of a language as a story would use them, long ones
// among them.
func vocabulary(language string) []string {
	return strings.Fields(map[string]string{
		"en-GB": "the a of in and it we was had been from hull floor strip salt water paint rotted stiffener corrosion flying-boat wing office fitted aluminium undercarriage under for years old new cut folded by hand with its edge worn where rain got in too thin to keep 1.63 mm 16 SWG 15 % twice half-inch off effort",
		"fr":    "le la une de du dans et il nous avions été coque plancher bande eau salée peinture corrosion hydravion aile aluminium atelier remplacée pourriture raidisseur boulonnée entièrement équipement sous pendant années vieille neuve découpée pliée à la main usée bord trop mince 1,63 mm restauration",
		"de":    "der die das ein und in von wir war hatte Rumpf Boden Blechstreifen Salzwasser Farbe Flugboot Tragfläche Aluminiumblech Korrosion Werkstatt unter seit Jahren alt neu geschnitten gefaltet Hand Rand abgenutzt zu dünn 1,63 mm Versteifung Korrosionsschutzanstrich Hauptfahrwerk ausgebessert",
		"cy":    "y yr o ac yn mae roedd wedi llawr stribed dŵr hallt paent adain cwch hedfan alwminiwm cyrydiad gweithdy newydd hen torri plygu â llaw ymyl treuliedig rhy denau 1.63 mm am flynyddoedd gwirfoddolwyr dan atgyweirio",
		"el":    "το η και από με ήταν σκάφος δάπεδο λωρίδα νερό αλάτι μπογιά διάβρωση φτερό αλουμίνιο εργαστήριο κάτω χρόνια παλιό νέο κομμένο χέρι άκρη λεπτό 1,63 mm",
	}[language])
}

func languages() []string { return []string{"en-GB", "en-GB", "fr", "de", "cy", "el"} }

// wordsOf is a text of so many words in sentences.
func wordsOf(r *rand.Rand, vocabulary []string, n int) string {
	var b strings.Builder
	for i := range n {
		word := vocabulary[r.IntN(len(vocabulary))]
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(word)
		if i == n-1 || r.IntN(12) == 0 {
			b.WriteByte('.')
		}
	}
	return b.String()
}

// generated is a card of random words, language and photo, and how many words its
// three texts have.
func generated(t testing.TB, r *rand.Rand, photos []cleared.Photo) (f cleared.StoryFields, front int) {
	t.Helper()
	language := languages()[r.IntN(6)]
	v := vocabulary(language)
	f = cleared.StoryFields{ID: "generated", Language: language, Title: strings.TrimRight(wordsOf(r, v, 1+r.IntN(7)), ".")}
	front = 6 + r.IntN(100)
	first, second := front/4+r.IntN(1+front/4), front/4
	f.CameOff, f.Failed, f.Replaced = wordsOf(r, v, first), wordsOf(r, v, second), wordsOf(r, v, front-first-second)
	f.Talk = wordsOf(r, v, 1+r.IntN(160))
	for range r.IntN(3) {
		f.Claims = append(f.Claims, cleared.Claim{Say: wordsOf(r, v, 2+r.IntN(12)), Status: "likely", Evidence: wordsOf(r, v, 1+r.IntN(10))})
		f.Questions = append(f.Questions, cleared.Question{Ask: wordsOf(r, v, 2+r.IntN(8)), Answer: wordsOf(r, v, 2+r.IntN(20))})
	}
	for range r.IntN(3) {
		f.Props = append(f.Props, cleared.Prop{What: wordsOf(r, v, 1+r.IntN(3)), HandRound: []cleared.HandRound{cleared.DropProof, cleared.TwoHands, cleared.LookOnly}[r.IntN(3)]})
	}
	for range r.IntN(2) {
		f.Credits = append(f.Credits, wordsOf(r, v, 1+r.IntN(6)))
	}
	if r.IntN(2) == 0 {
		f.Cautions = []cleared.Caution{sharp}
	}
	if n := r.IntN(len(photos) + 2); n < len(photos) {
		f.Photos = photos[n : n+1]
	}
	return f, front
}

// shapedPhotos are of the shapes that cameras and scanners give.
func shapedPhotos(t testing.TB) []cleared.Photo {
	var all []cleared.Photo
	for i, size := range [][2]int{{600, 400}, {400, 600}, {500, 500}, {640, 360}, {900, 300}} {
		data := picture(t, size[0], size[1])
		all = append(all, cleared.NewPhoto(cleared.PhotoFields{Alt: "A strip.", Credit: "Tam Reddle", Copies: []cleared.Copy{cleared.NewCopy(cleared.CopyFields{
			Use: cleared.Card, Width: size[0], Height: size[1], Name: fmt.Sprintf("%d.jpg", i), Open: func() ([]byte, error) { return data, nil },
		})}}))
	}
	return all
}

// checkRaster holds a page as poppler draws it to its list: ink where a text or
// a picture stands, and none elsewhere.
func checkRaster(t *testing.T, where string, p draw.Page, m *image.RGBA) {
	t.Helper()
	const perInch = 72
	covered := make([]bool, m.Bounds().Dx()*m.Bounds().Dy())
	for _, it := range p.Items {
		box := image.Rect(int(it.Box.X*perInch/72000)-1, int(it.Box.Y*perInch/72000)-1, int((it.Box.X+it.Box.W)*perInch/72000)+2, int((it.Box.Y+it.Box.H)*perInch/72000)+3)
		box = box.Intersect(m.Bounds())
		inked := false
		for y := box.Min.Y; y < box.Max.Y; y++ {
			for x := box.Min.X; x < box.Max.X; x++ {
				covered[y*m.Bounds().Dx()+x] = true
				inked = inked || m.Pix[m.PixOffset(x, y)] < 250 || m.Pix[m.PixOffset(x, y)+2] < 250
			}
		}
		if s, ok := it.Shape.(draw.Text); ok && strings.TrimSpace(textOf(s)) != "" && !inked {
			t.Errorf("%s: %s does not show", where, describe(it))
		}
	}
	for i, c := range covered {
		if x, y := i%m.Bounds().Dx(), i/m.Bounds().Dx(); !c && m.Pix[m.PixOffset(x, y)] < 128 {
			t.Errorf("%s: there is ink at pixel %d, %d, where nothing stands", where, x, y)
			return
		}
	}
}

// Whatever the words, language, photo and paper: nothing overlaps, nothing is
// clipped, no type is too small, or the run says by name what to lose. A label
// holds up to 75 words (Smithsonian Guidelines for Accessible Exhibition Design,
// section III): nearly all of those fit on A5 and on A6.
func TestGeneratedCardsKeepTheRulesOrSayWhatToLose(t *testing.T) {
	n, sample := 200, 20
	if *long {
		n = 2000
	}
	r := rand.New(rand.NewPCG(2031, 7))
	photos := shapedPhotos(t)
	fitted, labels := map[string]int{}, 0
	for i := range n {
		f, front := generated(t, r, photos)
		tour := tourOf(stopOf(1+r.IntN(40), cleared.NewStory(f)))
		paper := papers()[r.IntN(4)]
		o := options(paper)
		o.Large = paper != "a6" && r.IntN(4) == 0
		where := fmt.Sprintf("card %d (%s, %d words) on %s, large %v", i, f.Language, front, paper, o.Large)
		l, err := lay(t.Context(), settings(), tour, o, i%9 == 0)
		var full *Overflow
		var wide typeset.TooWide
		switch {
		case err == nil:
			least := leastType
			if o.Large {
				least = leastLarge
			}
			checkGenerated(t, where, l.doc, least, i%sample == 0)
		case !errors.As(err, &full) && !errors.As(err, &wide) || !strings.Contains(err.Error(), "generated"):
			t.Errorf("%s: %v; want an error that names the card and what to lose", where, err)
		}
		if front > 75 {
			continue
		}
		labels++
		for _, paper := range []string{"a5", "a6"} {
			l, err := lay(t.Context(), settings(), tour, options(paper, "front"), false)
			if err != nil {
				t.Logf("card %d (%s): %v", i, f.Language, err)
				continue
			}
			fitted[paper]++
			checkGenerated(t, where+", its front on "+paper, l.doc, leastType, false)
		}
	}
	for _, paper := range []string{"a5", "a6"} {
		t.Logf("%s: %d of %d fronts of up to 75 words fit", paper, fitted[paper], labels)
		if fitted[paper]*100 < labels*98 {
			t.Errorf("%s: %d of %d fronts of up to 75 words fit; want 98 %%", paper, fitted[paper], labels)
		}
	}
}

func checkGenerated(t *testing.T, where string, doc *draw.Document, least typeset.Points, drawn bool) {
	t.Helper()
	for n, p := range doc.Pages {
		checkPage(t, fmt.Sprintf("%s, page %d", where, n+1), p)
		for _, it := range p.Items {
			if s, ok := it.Shape.(draw.Text); ok && s.Size < least {
				t.Errorf("%s: %s is set in %v pt", where, describe(it), s.Size)
			}
		}
	}
	if !drawn {
		return
	}
	file := filepath.Join(t.TempDir(), "card.pdf")
	out, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(pdf.Write(out, *doc), out.Close()); err != nil {
		t.Fatal(err)
	}
	for n, p := range doc.Pages {
		checkRaster(t, fmt.Sprintf("%s, page %d", where, n+1), p, raster(t, file, n+1, 72))
	}
}
