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
	"runtime/debug"
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

// cardsRuns is how often each side prints; the best run counts.
const cardsRuns = 7

// cardsBench prints a hundred A5 cards, both sides, and has a headless browser
// print a page of HTML that shows the same words, photos, codes and fonts. Both are
// whole processes that read the photos from files and write one PDF; they take
// turns, after a run of each that warms the caches of the disk and the browser's
// profile. The browser is spared the making of the codes, which it finds drawn.
// The budget: ten times as fast or more, and no more bytes.
func cardsBench(ctx context.Context) error {
	browser, err := exec.LookPath("chromium")
	if err != nil {
		return fmt.Errorf("the yardstick is Chromium, which is not installed: %w", err)
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	if err := adoptOrphans(); err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "opencowl-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := writePage(dir); err != nil {
		return err
	}
	ourFile, theirFile := filepath.Join(dir, "ours.pdf"), filepath.Join(dir, "theirs.pdf")
	fmt.Printf("%d cards, both sides, on A5; load before the runs: %s\n", benchCards, load())
	var ours, theirs best
	var first []byte
	for run := range cardsRuns + 1 {
		ourCost, err := wholeCost(exec.CommandContext(ctx, self, cardsWorker, dir, ourFile))
		if err != nil {
			return err
		}
		theirCost, err := wholeCost(browserPrint(ctx, browser, dir, theirFile))
		if err != nil {
			return err
		}
		printed, err := os.ReadFile(ourFile)
		switch {
		case err != nil:
			return err
		case run == 0:
			first = printed
			continue
		case !bytes.Equal(first, printed):
			return errors.New("two runs gave different bytes")
		}
		ours.take(ourCost)
		theirs.take(theirCost)
	}
	info, err := os.Stat(theirFile)
	if err != nil {
		return err
	}
	size, theirSize := float64(len(first)), float64(info.Size())
	fmt.Printf("whole processes, the best of %d runs each in turn, the same bytes each time; load after: %s\n", cardsRuns, load())
	fmt.Printf("cards:    %6.3f s wall %6.3f s CPU, %5.2f MB\n", ours.wall.Seconds(), ours.cpu.Seconds(), size/1e6)
	fmt.Printf("Chromium: %6.3f s wall %6.3f s CPU, %5.2f MB\n", theirs.wall.Seconds(), theirs.cpu.Seconds(), theirSize/1e6)
	fmt.Printf("%.1f times as fast (budget 10) for %.1f times less CPU, %.2f of the bytes (budget 1)\n",
		theirs.wall.Seconds()/ours.wall.Seconds(), theirs.cpu.Seconds()/ours.cpu.Seconds(), size/theirSize)
	return nil
}

// best is the least that any run took.
type best cost

func (b *best) take(c cost) {
	if b.wall == 0 || c.wall < b.wall {
		b.wall = c.wall
	}
	if b.cpu == 0 || c.cpu < b.cpu {
		b.cpu = c.cpu
	}
}

// wholeCost runs a command until it ends, and adds what it has left running behind.
func wholeCost(cmd *exec.Cmd) (cost, error) {
	start := time.Now()
	said, err := cmd.CombinedOutput()
	c := cost{wall: time.Since(start)}.with(cmd)
	if err != nil {
		return c, fmt.Errorf("%s: %w\n%s", filepath.Base(cmd.Path), err, said)
	}
	left, err := orphansTime()
	c.cpu += left
	return c, err
}

// browserPrint is the command that prints the page in a folder.
func browserPrint(ctx context.Context, browser, dir, out string) *exec.Cmd {
	return exec.CommandContext(ctx, browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--allow-file-access-from-files", "--user-data-dir="+filepath.Join(dir, "profile"),
		"--no-pdf-header-footer", "--print-to-pdf="+out, "file://"+filepath.Join(dir, "cards.html"))
}

// cardsWorker is the name of the part that printCards runs in.
const cardsWorker = "cards-worker"

// printCards prints the cards whose photos are in a folder.
func printCards(ctx context.Context, args []string) error {
	debug.SetGCPercent(card.Unhurried) // as the command does
	settings, tour := benchTour(args[0])
	sheets, err := card.Deck(ctx, settings, tour, card.Options{Paper: "a5", Faces: []string{"front", "back"}, AsOf: day.MustParse("2031-02-12"), Theme: themes.Embedded()})
	if err != nil {
		return err
	}
	if len(sheets.Unfit) > 0 {
		return errors.Join(sheets.Unfit...)
	}
	return os.WriteFile(args[1], sheets.PDF, 0o600)
}

// photoName is the file of a card's photo.
func photoName(i int) string { return fmt.Sprintf("%d.jpg", i+1) }

// pick takes one of several, another for each i until all have had their turn.
func pick(i int, of ...string) string { return of[i%len(of)] }

// benchTour is a tour of a hundred stops with one story and one photo each, no two
// in the same words.
func benchTour(photos string) (cleared.Settings, cleared.Tour) {
	settings := cleared.NewSettings(cleared.SettingsFields{Workshop: "Marram Sound Flying Boat Trust", Machine: "Oystercatcher FO-7", Language: "en-GB", Site: "https://example.org/"})
	sharp := cleared.Caution{Key: "sharp-edge", Label: "Sharp edges", Advice: "Hold it by the flat; keep fingers off the edges."}
	var stops []cleared.Stop
	for i := range benchCards {
		part := pick(i, "strip", "rib", "bracket", "plate", "doubler", "stringer", "gusset", "clip", "angle", "web", "hinge")
		place := pick(i, "bottom of the hull", "planing step", "port chine", "tail cone", "wing root", "float strut", "bow locker")
		cause := pick(i, "Salt water had crept under the paint", "Two metals had touched in the wet", "An old repair had left a sharp corner",
			"A drain hole had been blocked by swarf", "Holes had been drilled too near the edge")
		story := cleared.NewStory(cleared.StoryFields{
			ID: fmt.Sprintf("story-%d", i+1), Language: "en-GB", Title: fmt.Sprintf("The %s that rotted from inside, bay %d", part, i+1),
			CameOff:  fmt.Sprintf("A thin aluminium %s that stiffened the %s. It was fitted in the first hull and never came off until now.", part, place),
			Failed:   fmt.Sprintf("%s. The %s was %d.63 mm thick when new and had lost %d %% at the worst spot, too much to clean out.", cause, part, 1+i%4, 11+i%23),
			Replaced: fmt.Sprintf("We cut and folded a new %s here, from the same kind of sheet, and filed every edge smooth by hand.", part),
			Talk:     strings.Repeat(fmt.Sprintf("Hold both up side by side. Ask which %s they would trust to sea. ", part), 2) + fmt.Sprintf("It came from the %s, where few people ever look. %s, and nobody knew for %d years.", place, cause, 12+i%31),
			Claims:   []cleared.Claim{{Say: fmt.Sprintf("We think it is the original %s.", part), Status: "likely", Evidence: fmt.Sprintf("Same rivet spacing as drawing sheet %d.", i%9+1)}},
			Questions: []cleared.Question{
				{Ask: fmt.Sprintf("Could you have saved the %s?", part), Answer: "No. Cleaning out the pits would have left it too thin."},
				{Ask: "Will the new one rot too?", Answer: "Slower: it is painted inside before it goes in."},
			},
			Props:    []cleared.Prop{{What: "old " + part, HandRound: cleared.TwoHands, Cautions: []cleared.Caution{sharp}}},
			Cautions: []cleared.Caution{sharp}, Credits: []string{fmt.Sprintf("New %s folded by the Tuesday bench", part)}, ForVisitors: true, Digest: "d",
			Photos: []cleared.Photo{cleared.NewPhoto(cleared.PhotoFields{Alt: fmt.Sprintf("A thin metal %s on a bench, its lower edge eaten away.", part), Credit: "Tam Reddle",
				Copies: []cleared.Copy{cleared.NewCopy(cleared.CopyFields{Use: cleared.Card, Width: 900, Height: 600, Name: photoName(i), Open: func() ([]byte, error) { return os.ReadFile(filepath.Join(photos, photoName(i))) }})}})},
		})
		stops = append(stops, cleared.NewStop(cleared.StopFields{ID: fmt.Sprintf("stop-%d", i+1), Number: i + 1, At: "Hull floor, port side", Minutes: 5 * time.Minute, Stories: []cleared.Story{story}}))
	}
	return settings, cleared.NewTour(cleared.TourFields{ID: "bench", Title: "Winter in the hangar", Slot: 45 * time.Minute, Group: 25, Pace: 130, Walk: 1, Stops: stops})
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
func writePage(dir string) error {
	_, tour := benchTour(dir)
	var b strings.Builder
	b.WriteString(`<!doctype html><html lang="en-GB"><meta charset="utf-8"><title>Winter in the hangar: stop cards</title><style>
@page { size: 148mm 210mm; margin: 0 }
@font-face { font-family: S; src: url(SourceSans3-Regular.ttf) } @font-face { font-family: S; font-weight: 600; src: url(SourceSans3-Semibold.ttf) }
@font-face { font-family: S; font-weight: 700; src: url(SourceSans3-Bold.ttf) }
body { margin: 0; font: 13pt/1.25 S; color: #14181c } section { box-sizing: border-box; width: 148mm; height: 210mm; padding: 9mm; break-after: page; overflow: hidden; position: relative }
h1 { font-size: 20pt; line-height: 1.1; color: #0c4a63; margin: 0 } h1 b { background: #0f2c40; color: #fff; border-radius: 1mm; padding: 0 3mm; margin-right: 3mm }
h2 { font-size: 13pt; font-weight: 600; color: #0c4a63; margin: 2mm 0 0 } p, ul { margin: 0 0 1mm; padding: 0 } li { list-style: none } .care { background: #ffdf8a; padding: 2mm }
img { width: 72mm; float: right; margin-left: 4mm } .small { font-size: 12pt; color: #3d4953 } svg { position: absolute; right: 9mm; bottom: 13mm; width: 26mm } .read { font-size: 12pt; font-weight: 600; color: #0c4a63; position: absolute; right: 9mm; bottom: 8mm; width: 26mm; text-align: center }
</style>`)
	for i, stop := range tour.Stops() {
		story := stop.Stories()[0]
		text := html.EscapeString
		code, err := codeSVG("https://example.org/stop/" + stop.ID() + "/")
		if err != nil {
			return err
		}
		photo, err := benchPhoto(i)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, photoName(i)), photo, 0o600); err != nil {
			return err
		}
		fmt.Fprintf(&b, `<section><img src="%s" alt="%s"><h1><b>%d</b>%s</h1><p class="small">%s</p><h2>What came off</h2><p>%s</p><h2>Why it failed</h2><p>%s</p><h2>What replaced it</h2><p>%s</p>
<p class="care"><strong>Take care:</strong> Sharp edges.</p><p class="small">From the workshop log; not an airworthiness statement. Follow the site’s rules and your guide.</p><p class="small">%s. Photo: Tam Reddle.<br>Marram Sound Flying Boat Trust<br>As of 12 February 2031</p>%s<p class="read">Read on</p></section>`,
			photoName(i), text(story.Photos()[0].Alt()), stop.Number(), text(story.Title()), text(stop.At()), text(story.CameOff()), text(story.Failed()), text(story.Replaced()), text(story.Credits()[0]), code)
		fmt.Fprintf(&b, `<section><h1><b>%d</b>%s</h1><p class="small">%s</p><p>Allow 5 min; talk 28 s at 130 words a minute; handing round 2 min 5 s for 25 people.</p><h2>Talk</h2><p>%s</p><h2>To show</h2><ul><li><strong>%s.</strong> Two hands: pass it from person to person, and do not let it drop. Take care: Sharp edges.</ul><h2>Likely questions</h2><ul>`,
			stop.Number(), text(story.Title()), text(stop.At()), text(story.Talk()), text(story.Props()[0].What))
		for _, q := range story.Questions() {
			fmt.Fprintf(&b, "<li><strong>%s</strong> %s", text(q.Ask), text(q.Answer))
		}
		claim := story.Claims()[0]
		fmt.Fprintf(&b, `</ul><h2>How sure we are</h2><ul><li><strong>Likely:</strong> %s Evidence: %s</ul><h2>Take care</h2><ul><li><strong>Sharp edges.</strong> Hold it by the flat; keep fingers off the edges.</ul><p class="small">As of 12 February 2031. For the guide</p></section>`, text(claim.Say), text(claim.Evidence))
	}
	for _, font := range []string{"SourceSans3-Regular.ttf", "SourceSans3-Semibold.ttf", "SourceSans3-Bold.ttf"} {
		data, err := fs.ReadFile(themes.Embedded(), "fonts/"+font)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, font), data, 0o600); err != nil {
			return err
		}
	}
	return os.WriteFile(filepath.Join(dir, "cards.html"), []byte(b.String()), 0o600)
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
