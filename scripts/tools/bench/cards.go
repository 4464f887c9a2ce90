package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"html"
	"image"
	"image/color"
	"image/jpeg"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"

	"example.org/opencowl/internal/card"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/themes"
)

const benchCards = 100

// cardsBench prints a hundred A5 cards, both sides, and has a headless browser
// print a page of HTML that shows the same words, photos, codes and fonts. The
// budget: ten times as fast or more, and no more bytes.
func cardsBench(ctx context.Context) error {
	browser, err := exec.LookPath("chromium")
	if err != nil {
		return fmt.Errorf("the yardstick is Chromium, which is not installed: %w", err)
	}
	dir, err := os.MkdirTemp("", "opencowl-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	settings, tour, photos, err := benchTour()
	if err != nil {
		return err
	}
	options := card.Options{Paper: "a5", Faces: []string{"front", "back"}, AsOf: day.MustParse("2031-02-12"), Theme: themes.Embedded()}
	var first []byte
	ours := time.Duration(0)
	for run := range 3 {
		start := time.Now()
		sheets, err := card.Deck(ctx, settings, tour, options)
		if err != nil {
			return err
		}
		if took := time.Since(start); ours == 0 || took < ours {
			ours = took
		}
		if len(sheets.Unfit) > 0 {
			return errors.Join(sheets.Unfit...)
		}
		if run == 0 {
			first = sheets.PDF
		} else if !bytes.Equal(first, sheets.PDF) {
			return errors.New("two runs gave different bytes")
		}
	}
	page, err := writePage(dir, tour, photos)
	if err != nil {
		return err
	}
	theirs, size := time.Duration(0), int64(0)
	for run := range 3 {
		start := time.Now()
		if size, err = browserPrint(ctx, browser, page, filepath.Join(dir, fmt.Sprint("profile-", run)), filepath.Join(dir, "theirs.pdf")); err != nil {
			return err
		}
		if took := time.Since(start); theirs == 0 || took < theirs {
			theirs = took
		}
	}
	fmt.Printf("%d cards, both sides, on A5; the best of three runs, the same bytes each time\n", benchCards)
	fmt.Printf("cards:    %6.2f s, %5.2f MB\n", ours.Seconds(), float64(len(first))/1e6)
	fmt.Printf("Chromium: %6.2f s, %5.2f MB\n", theirs.Seconds(), float64(size)/1e6)
	fmt.Printf("%.1f times as fast (budget 10), %.2f of the bytes (budget 1)\n", theirs.Seconds()/ours.Seconds(), float64(len(first))/float64(size))
	return nil
}

// browserPrint prints a page and returns how many bytes the PDF has.
func browserPrint(ctx context.Context, browser, page, profile, out string) (int64, error) {
	cmd := exec.CommandContext(ctx, browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--allow-file-access-from-files", "--user-data-dir="+profile, "--no-pdf-header-footer", "--print-to-pdf="+out, "file://"+page)
	if said, err := cmd.CombinedOutput(); err != nil {
		return 0, fmt.Errorf("chromium: %w\n%s", err, said)
	}
	info, err := os.Stat(out)
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}

// benchTour is a tour of a hundred stops with one story and one photo each.
func benchTour() (cleared.Settings, cleared.Tour, [][]byte, error) {
	settings := cleared.NewSettings(cleared.SettingsFields{Workshop: "Marram Sound Flying Boat Trust", Machine: "Oystercatcher FO-7", Language: "en-GB", Site: "https://example.org/"})
	sharp := cleared.Caution{Key: "sharp-edge", Label: "Sharp edges", Advice: "Hold it by the flat; keep fingers off the edges."}
	var stops []cleared.Stop
	var photos [][]byte
	for i := range benchCards {
		data, err := benchPhoto(i)
		if err != nil {
			return settings, cleared.Tour{}, nil, err
		}
		photos = append(photos, data)
		story := cleared.NewStory(cleared.StoryFields{
			ID: fmt.Sprintf("story-%d", i+1), Language: "en-GB", Title: fmt.Sprintf("The floor that rotted from inside, bay %d", i+1),
			CameOff:  "A thin aluminium strip that stiffened the bottom of the hull. It was fitted in the first hull and never came off until now.",
			Failed:   "Salt water had crept under the paint. The strip was 1.63 mm thick when new and had lost 15 % at the worst spot, too much to clean out.",
			Replaced: "We cut and folded a new one here, from the same kind of sheet, and filed every edge smooth by hand.",
			Talk:     strings.Repeat("Hold both up side by side. Ask which one they would trust to sea. ", 5),
			Claims:   []cleared.Claim{{Say: "We think it is the original strip.", Status: "likely", Evidence: "Same rivet spacing as the drawing."}},
			Questions: []cleared.Question{
				{Ask: "Could you have saved it?", Answer: "No. Cleaning out the pits would have left it too thin."},
				{Ask: "Will the new one rot too?", Answer: "Slower: it is painted inside before it goes in."},
			},
			Props:    []cleared.Prop{{What: "old strip", HandRound: cleared.TwoHands, Cautions: []cleared.Caution{sharp}}},
			Cautions: []cleared.Caution{sharp}, Credits: []string{"New strip folded by the Tuesday bench"}, ForVisitors: true, Digest: "d",
			Photos: []cleared.Photo{cleared.NewPhoto(cleared.PhotoFields{Alt: "A thin metal strip on a bench, its lower edge eaten away.", Credit: "Tam Reddle",
				Copies: []cleared.Copy{cleared.NewCopy(cleared.CopyFields{Use: cleared.Card, Width: 900, Height: 600, Name: fmt.Sprintf("%d.jpg", i+1), Open: func() ([]byte, error) { return data, nil }})}})},
		})
		stops = append(stops, cleared.NewStop(cleared.StopFields{ID: fmt.Sprintf("stop-%d", i+1), Number: i + 1, At: "Hull floor, port side", Minutes: 5 * time.Minute, Stories: []cleared.Story{story}}))
	}
	return settings, cleared.NewTour(cleared.TourFields{ID: "bench", Title: "Winter in the hangar", Slot: 45 * time.Minute, Group: 25, Pace: 130, Walk: 1, Stops: stops}), photos, nil
}

// benchPhoto is a small JPEG, another for each number.
func benchPhoto(n int) ([]byte, error) {
	img := image.NewRGBA(image.Rect(0, 0, 900, 600))
	for y := range 600 {
		for x := range 900 {
			img.SetRGBA(x, y, color.RGBA{uint8(60 + (x*x+n*977)/7000), uint8(80 + (x*y+n*331)/5000), uint8(70 + y/8), 255})
		}
	}
	var b bytes.Buffer
	err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 85})
	return b.Bytes(), err
}

// writePage writes the same cards as HTML, with the photos and fonts beside it.
func writePage(dir string, tour cleared.Tour, photos [][]byte) (string, error) {
	var b strings.Builder
	b.WriteString(`<!doctype html><html lang="en-GB"><meta charset="utf-8"><title>Winter in the hangar: stop cards</title><style>
@page { size: 148mm 210mm; margin: 0 }
@font-face { font-family: S; src: url(SourceSans3-Regular.ttf) } @font-face { font-family: S; font-weight: 600; src: url(SourceSans3-Semibold.ttf) }
@font-face { font-family: S; font-weight: 700; src: url(SourceSans3-Bold.ttf) }
body { margin: 0; font: 13pt/1.25 S; color: #14181c } section { box-sizing: border-box; width: 148mm; height: 210mm; padding: 9mm; break-after: page; overflow: hidden; position: relative }
h1 { font-size: 20pt; line-height: 1.1; color: #0c4a63; margin: 0 } h1 b { background: #0f2c40; color: #fff; border-radius: 1mm; padding: 0 3mm; margin-right: 3mm }
h2 { font-size: 13pt; font-weight: 600; color: #0c4a63; margin: 2mm 0 0 } p, ul { margin: 0 0 1mm; padding: 0 } li { list-style: none } .care { background: #ffdf8a; padding: 2mm }
img { width: 72mm; float: right; margin-left: 4mm } .small { font-size: 12pt; color: #3d4953 } svg { position: absolute; right: 9mm; bottom: 9mm; width: 26mm }
</style>`)
	for i, stop := range tour.Stops() {
		story := stop.Stories()[0]
		text := html.EscapeString
		code, err := codeSVG("https://example.org/stop/" + stop.ID() + "/")
		if err != nil {
			return "", err
		}
		photo := fmt.Sprintf("%d.jpg", i+1)
		if err := os.WriteFile(filepath.Join(dir, photo), photos[i], 0o600); err != nil {
			return "", err
		}
		fmt.Fprintf(&b, `<section><img src="%s" alt="%s"><h1><b>%d</b>%s</h1><p class="small">%s</p><h2>What came off</h2><p>%s</p><h2>Why it failed</h2><p>%s</p><h2>What replaced it</h2><p>%s</p>
<p class="care"><strong>Take care:</strong> Sharp edges.</p><p class="small">From the workshop log; not an airworthiness statement. Follow the site’s rules and your guide.</p><p class="small">New strip folded by the Tuesday bench. Photo: Tam Reddle.<br>Marram Sound Flying Boat Trust<br>As of 12 February 2031</p>%s</section>`,
			photo, text(story.Photos()[0].Alt()), stop.Number(), text(story.Title()), text(stop.At()), text(story.CameOff()), text(story.Failed()), text(story.Replaced()), code)
		fmt.Fprintf(&b, `<section><h1><b>%d</b>%s</h1><p class="small">%s</p><p>Allow 5 min; talk 28 s at 130 words a minute; handing round 2 min 5 s for 25 people.</p><h2>Talk</h2><p>%s</p><h2>To show</h2><ul><li><strong>Old strip.</strong> Two hands: pass it from person to person, and do not let it drop. Take care: Sharp edges.</ul><h2>Likely questions</h2><ul>`,
			stop.Number(), text(story.Title()), text(stop.At()), text(story.Talk()))
		for _, q := range story.Questions() {
			fmt.Fprintf(&b, "<li><strong>%s</strong> %s", text(q.Ask), text(q.Answer))
		}
		b.WriteString(`</ul><h2>How sure we are</h2><ul><li><strong>Likely:</strong> We think it is the original strip. Evidence: Same rivet spacing as the drawing.</ul><h2>Take care</h2><ul><li><strong>Sharp edges.</strong> Hold it by the flat; keep fingers off the edges.</ul><p class="small">As of 12 February 2031. For the guide</p></section>`)
	}
	for _, font := range []string{"SourceSans3-Regular.ttf", "SourceSans3-Semibold.ttf", "SourceSans3-Bold.ttf"} {
		data, err := fs.ReadFile(themes.Embedded(), "fonts/"+font)
		if err != nil {
			return "", err
		}
		if err := os.WriteFile(filepath.Join(dir, font), data, 0o600); err != nil {
			return "", err
		}
	}
	page := filepath.Join(dir, "cards.html")
	return page, os.WriteFile(page, []byte(b.String()), 0o600)
}

// codeSVG draws a QR code as one path.
func codeSVG(address string) (string, error) {
	var code barcode.Barcode
	code, err := qr.Encode(address, qr.M, qr.Unicode)
	if err != nil {
		return "", err
	}
	n := code.Bounds().Dx()
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="-4 -4 %d %d" role="img" aria-label="QR code"><path d="`, n+8, n+8)
	for y := range n {
		for x := range n {
			if r, _, _, _ := code.At(x, y).RGBA(); r == 0 {
				fmt.Fprintf(&b, "M%d %dh1v1h-1z", x, y)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return b.String(), nil
}
