package card

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/testtool"
)

// run runs an outside program on a file and returns what it prints.
func run(t *testing.T, tool string, args ...string) string {
	t.Helper()
	out, err := exec.Command(testtool.Need(t, tool), args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", tool, strings.Join(args, " "), err, out)
	}
	return string(out)
}

func saved(t *testing.T, sheets *Sheets) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "cards.pdf")
	if err := os.WriteFile(file, sheets.PDF, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// qpdf reads the whole file and finds nothing wrong with it.
func TestFileIsSound(t *testing.T) {
	for _, paper := range papers()[1:] {
		if out := run(t, "qpdf", "--check", saved(t, mustDeck(t, fullTour(t), options(paper)))); !strings.Contains(out, "No syntax or stream encoding errors found") {
			t.Errorf("%s: %s", paper, out)
		}
	}
}

func TestFontsAreEmbeddedAndSubset(t *testing.T) {
	out := run(t, "pdffonts", saved(t, mustDeck(t, fullTour(t), options("a5"))))
	rows := strings.Split(strings.TrimSpace(out), "\n")[2:]
	if len(rows) != 3 {
		t.Errorf("%d fonts; want the three of the face:\n%s", len(rows), out)
	}
	for _, row := range rows {
		// name, type (two words), encoding, emb, sub, uni, object
		f := strings.Fields(row)
		if !regexp.MustCompile(`^[A-Z]{6}\+SourceSans3-`).MatchString(f[0]) || f[1] != "CID" || f[2] != "TrueType" || f[3] != "Identity-H" || f[4] != "yes" || f[5] != "yes" || f[6] != "yes" {
			t.Errorf("font row %q; want a tagged subset, embedded, with a map to Unicode", row)
		}
	}
}

func TestFileIsTaggedAndTitled(t *testing.T) {
	file := saved(t, mustDeck(t, fullTour(t), options("letter")))
	info := run(t, "pdfinfo", file)
	for _, want := range []string{"Tagged:          yes", "Title:           Winter in the hangar: stop cards", "Page size:       612 x 792 pts (letter)", "Pages:           6"} {
		if !strings.Contains(info, want) {
			t.Errorf("pdfinfo does not say %q:\n%s", want, info)
		}
	}
	for _, dated := range []string{"CreationDate", "ModDate", "Producer"} {
		if strings.Contains(info, dated) {
			t.Errorf("pdfinfo says %s, which is nobody's business:\n%s", dated, info)
		}
	}
	tree := run(t, "pdfinfo", "-struct-text", file)
	order := []string{
		"Document", "Sect", `H1 (block)`, `"3a The floor that rotted`, "Hull floor, port side", "Figure", "H2", "What came off", "thin aluminium strip",
		"Why it failed", "What replaced it", "Take care:", "Sharp edges.", "not an airworthiness statement", "New strip folded", "Marram Sound", "As of 25", "Figure", "Read on",
		"H1", "Talk", "To show", "LBody", "Old strip.", "Likely questions", "How sure we are", "Likely:", "Evidence:", "For the guide",
		"For the guide only.", "No card for visitors", "Why", "Rudder cables",
	}
	checkOrder(t, tree, order)
}

// checkOrder reports the first of some texts that does not follow the one before.
func checkOrder(t *testing.T, text string, order []string) {
	t.Helper()
	at := 0
	for _, want := range order {
		i := strings.Index(text[at:], want)
		if i < 0 {
			t.Fatalf("%q is not found where it should be read; the text is\n%s", want, text)
		}
		at += i + len(want)
	}
}

// plainFile is the file with everything unpacked, as text.
func plainFile(t *testing.T, sheets *Sheets) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "plain.pdf")
	run(t, "qpdf", "--qdf", "--object-streams=disable", saved(t, sheets), out)
	raw, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// What PDF/UA-1 (ISO 14289-1) asks of every file and a program can see.
func TestFileHoldsTheRulesForTaggedFiles(t *testing.T) {
	plain := plainFile(t, mustDeck(t, fullTour(t), options("a5")))
	for _, want := range []string{"/Marked true", "/DisplayDocTitle true", "/Lang (en-GB)", "<pdfuaid:part>1</pdfuaid:part>", "/StructTreeRoot", "/ParentTree"} {
		if !strings.Contains(plain, want) {
			t.Errorf("the file does not hold %s", want)
		}
	}
	if n := strings.Count(plain, "/Tabs /S"); n != 6 {
		t.Errorf("%d of 6 pages name the structure as their tab order", n)
	}
	for _, figure := range regexp.MustCompile(`(?s)<<[^<>]*?/S /Figure.*?>>\s*endobj|obj\s*<<\s*/A <<.*?/S /Figure.*?endobj`).FindAllString(plain, -1) {
		if !strings.Contains(figure, "/Alt") || !strings.Contains(figure, "/BBox") {
			t.Errorf("a figure lacks its alt text or box:\n%s", figure)
		}
	}
	pages := regexp.MustCompile(`(?s)stream\n(/(?:Artifact BMC|\w+<</MCID).*?)endstream`).FindAllStringSubmatch(plain, -1)
	if len(pages) != 6 {
		t.Fatalf("%d pages of content; want 6", len(pages))
	}
	for n, page := range pages {
		if err := checkMarked(page[1]); err != nil {
			t.Errorf("page %d: %v", n+1, err)
		}
	}
}

// checkMarked reads a page's operators and makes sure that nothing is painted
// outside the structure or a decoration.
func checkMarked(content string) error {
	depth := 0
	for _, line := range strings.Split(content, "\n") {
		for _, op := range strings.Fields(regexp.MustCompile(`<[0-9A-F]*>|/ActualText`).ReplaceAllString(line, " ")) {
			op = op[max(0, strings.LastIndexAny(op, ">]")+1):]
			switch op {
			case "BMC", "BDC":
				depth++
			case "EMC":
				depth--
			case "TJ", "f", "Do":
				if depth == 0 {
					return fmt.Errorf("%q paints outside marked content", line)
				}
			}
		}
	}
	if depth != 0 {
		return fmt.Errorf("marked content is left open %d deep", depth)
	}
	return nil
}

func TestSmallestTypeOnThePageIs12Points(t *testing.T) {
	for _, paper := range papers() {
		plain := plainFile(t, mustDeck(t, tourOf(stopOf(3, cleared.NewStory(short(t))), withheldStop()), options(paper)))
		sizes := regexp.MustCompile(`/F\d+ ([\d.]+) Tf`).FindAllStringSubmatch(plain, -1)
		if len(sizes) < 8 {
			t.Fatalf("%s: %d sizes found; want several on each page", paper, len(sizes))
		}
		for _, s := range sizes {
			if size, err := strconv.ParseFloat(s[1], 64); err != nil || size < 12 {
				t.Errorf("%s: type of %s pt", paper, s[1])
			}
		}
	}
}

func TestTextComesOutInWholeWordsAndInOrder(t *testing.T) {
	text := run(t, "pdftotext", "-raw", saved(t, mustDeck(t, fullTour(t), options("a5"))), "-")
	flat := strings.Join(strings.Fields(text), " ")
	for _, word := range []string{"off", "fitted", "office", "effort", "stiffened", "1.63 mm", "15 %", "25 January 2031", "“Rudder cables”"} {
		if !regexp.MustCompile(`(^|[^\pL])` + regexp.QuoteMeta(word) + `($|[^\pL])`).MatchString(flat) {
			t.Errorf("%q does not come out of the file:\n%s", word, text)
		}
	}
	checkOrder(t, flat, []string{
		"3a", "The floor that rotted from inside", "Hull floor, port side", "What came off", "A thin aluminium strip that stiffened the bottom of the hull.",
		"Why it failed", "Salt water had crept", "What replaced it", "We cut and folded", "Take care: Sharp edges. Trip hazard.", "airworthiness statement",
		"New strip folded by the Tuesday bench. Photo: Tam Reddle.", "Marram Sound Flying Boat Trust", "As of 25 January 2031", "Read on",
		"Allow 6 min 40 s for the stop’s 2 cards", "Talk", "Hold both up", "To show", "Old strip. Two hands", "New strip. Drop-proof", "Made safe: edges filed and taped.",
		"Likely questions", "Could you have saved it?", "How sure we are", "Proven:", "Likely: We think it is the original strip. Evidence: Same rivet spacing", "Take care", "Hold it by the flat",
		"3b", "The office in the keel", "For the guide only. Do not hand out", "No card for visitors", "waits for a decision", "What to do",
	})
}

// Marks that the font has no ready-made letter for come out as they went in.
func TestGreekCyrillicAndMarksComeOutWhole(t *testing.T) {
	f := short(t)
	f.CameOff = "Ώρα, ψάθα, щёлочь и ржавчина; Łódź, Ǻ, q\u0301 and X\u0323\u0302 too."
	text := run(t, "pdftotext", "-raw", saved(t, mustDeck(t, tourOf(stopOf(3, cleared.NewStory(f))), options("a4", front))), "-")
	if flat := strings.Join(strings.Fields(text), " "); !strings.Contains(flat, "Ώρα, ψάθα, щёлочь и ржавчина; Łódź, Ǻ, q\u0301 and X\u0323\u0302 too.") {
		t.Errorf("the text comes out as\n%s", text)
	}
}

func TestPhoneReadsTheQRCodeOffThePage(t *testing.T) {
	testtool.Need(t, "zbarimg")
	for _, paper := range papers() {
		file := saved(t, mustDeck(t, tourOf(stopOf(3, cleared.NewStory(short(t)))), options(paper, front)))
		page := filepath.Join(t.TempDir(), "page")
		run(t, "pdftoppm", "-r", "150", "-png", "-singlefile", file, page)
		out, err := exec.Command(testtool.Need(t, "zbarimg"), "--raw", "-q", page+".png").Output()
		if got := strings.TrimSpace(string(out)); err != nil || got != "https://example.org/stop/hull-floor/" {
			t.Errorf("%s: the code reads %q (%v); want the stop's address", paper, got, err)
		}
	}
}

func TestEveryDraftPageSaysDraft(t *testing.T) {
	sheets, err := DraftDeck(t.Context(), cleared.NewDraft(settings()), cleared.NewDraft(fullTour(t)), options("a5"))
	if err != nil {
		t.Fatal(err)
	}
	pages := strings.Split(strings.TrimSuffix(run(t, "pdftotext", "-raw", saved(t, sheets), "-"), "\f"), "\f")
	if len(pages) != 6 {
		t.Fatalf("%d pages; want 6", len(pages))
	}
	for n, page := range pages {
		if strings.Count(page, "DRAFT") < 2 {
			t.Errorf("page %d is not stamped:\n%s", n+1, page)
		}
	}
	if fair := run(t, "pdftotext", saved(t, mustDeck(t, fullTour(t), options("a5"))), "-"); strings.Contains(fair, "DRAFT") {
		t.Error("a cleared card says DRAFT")
	}
}

// The same stop's guide-only sheet tells nobody else's story, and every page of
// it says whom it is for.
func TestSheetForTheGuideIsMarkedOnBothSides(t *testing.T) {
	text := run(t, "pdftotext", "-raw", saved(t, mustDeck(t, tourOf(withheldStop()), options("a6"))), "-")
	pages := strings.Split(strings.TrimSuffix(text, "\f"), "\f")
	if len(pages) != 2 {
		t.Fatalf("%d pages; want 2, so that the next card's front falls on a front", len(pages))
	}
	for n, page := range pages {
		flat := strings.Join(strings.Fields(page), " ")
		if !strings.Contains(flat, "For the guide only. Do not hand out or put on show.") || !strings.Contains(flat, "its words changed on 12 January 2031") {
			t.Errorf("side %d says\n%s", n+1, page)
		}
	}
}

// Photos go in as they are, once, however many cards show them.
func TestPhotoIsEmbeddedOnceAsItIs(t *testing.T) {
	f := short(t)
	data, err := func() ([]byte, error) { c, _ := f.Photos[0].Copy(cleared.Card); return c.Bytes() }()
	if err != nil {
		t.Fatal(err)
	}
	g := f
	g.ID = "again"
	sheets := mustDeck(t, tourOf(stopOf(3, cleared.NewStory(f), cleared.NewStory(g))), options("a5"))
	if n := bytes.Count(sheets.PDF, data); n != 1 {
		t.Errorf("the JPEG stands in the file %d times; want once", n)
	}
}
