package clearance_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"example.org/opencowl/internal/clearance"
)

// stopped asks the gate about one file and returns the first finding's code and
// the whole message; "" when the file may leave.
func stopped(t *testing.T, d *clearance.Desk, name, data string, own ...string) (code, message string) {
	t.Helper()
	err := d.Gate(map[string][]byte{name: []byte(data)}, own...)
	if err == nil {
		return "", ""
	}
	var leak *clearance.Leak
	if !errors.As(err, &leak) || leak.Findings[0].File != name {
		t.Fatalf("%s %q: got %v", name, data, err)
	}
	return leak.Findings[0].Code, err.Error()
}

func TestLastGateStopsPrivateThingsInAnyFile(t *testing.T) {
	d := newBench(t).desk()
	note := "Drilled out sixty rivets on the port side before the lower flange came away clean."
	for _, c := range []struct{ name, data, code string }{
		{"a.html", `<img alt="D-2217 sheet 3">`, "private-name"},
		{"b.txt", "from Hexworth Castings", "private-name"},
		{"fo7-2217-4.css", "", "private-name"},
		{"c.html", "<!-- Gus Penhallick -->", "private-name"},
		{"d.html", "<p>It was <b>FO7-2217</b>-4.</p>", "private-name"},
		{"e.svg", "<text>D-2217 sheet 3</text>", "private-name"},
		{"f.css", "/* from Hexworth Castings */", "private-name"},
		{"g.md", "FO7-2217-4", "private-name"},
		{"h.html", `<a href="https://example.org/FO7%2D2217%2D4">on</a>`, "private-name"},
		{"i.json", `{"t":"Hexworth\u0020Castings"}`, "private-name"},
		{"j.html", "<p>" + note + "</p>", "copied-sentence"},
		{"k.html", "<p>Call 020 7946 0018.</p>", "contact"},
		{"letter.eml", "To: gus@example.org\r\nContent-Type: text/plain\r\n\r\nHello.", "contact"},
		{"letter.eml", "Subject: =?UTF-8?q?About_FO7-2217-4?=\r\nContent-Type: text/plain\r\n\r\nHello.", "private-name"},
		{"letter.eml", "Content-Type: text/plain\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\nFrom Hexw=\r\north Castings.", "private-name"},
		{"photo.jpg", "\xff\xd8\xff\xfe\x00\x0abench 4\xff\xd9", "unreadable"},
		{"cards.pdf", "%PDF-1.7\n", "unreadable"},
	} {
		if code, _ := stopped(t, d, c.name, c.data); code != c.code {
			t.Errorf("%s %q: %q, want %q", c.name, c.data, code, c.code)
		}
	}
	for name, data := range map[string]string{
		"index.html":                       "<p>It was an ordinary strip.</p>",
		"story/floor-stiffener/index.html": "",
		"a.html":                           "<p>Marram Sound Flying Boat Trust, The Slip Hangar, Marram Quay, DN55 1PT, returns@example.org</p>",
		"figures.html":                     "<p>Line height 1.38 mm</p>", // a number of the template's is its own
		"m.eml":                            "Message-ID: <0b3be1599a46e757eb0ca02cd77feea1@example.org>\r\nContent-Type: text/plain\r\n\r\nHello.",
	} {
		if _, message := stopped(t, d, name, data); message != "" {
			t.Errorf("%s: %s", name, message)
		}
	}
}

func TestLastGateSaysWhereTheWordsComeFrom(t *testing.T) {
	b := newBench(t)
	b.edit("wording/floor-stiffener.md", "We cut and folded a new one here.", "We bought a new one from Hexworth Castings in June.")
	d := b.desk()
	_, message := stopped(t, d, "a.html", "<p>We bought a new one from <b>Hexworth</b> Castings in June.</p>")
	for _, want := range []string{"nothing was written or sent", "a.html", "wording/floor-stiffener.md", "replaced"} {
		if !strings.Contains(message, want) {
			t.Errorf("%q is not in %q", want, message)
		}
	}
	if strings.Contains(message, "Hexworth Castings") {
		t.Errorf("the private name stands in full in %q", message)
	}
	if _, message = stopped(t, d, "a.html", "<p>Supplied by Hexworth Castings.</p>"); !strings.Contains(message, "template") {
		t.Errorf("words of no unit: %q", message)
	}
}

// A released fact may be said in its own text and nowhere else.
func TestLastGateHonoursAFactInItsOwnSource(t *testing.T) {
	b := newBench(t)
	b.edit("glossary/stiffener.md", "A strip that keeps a sheet from bending.", "A strip that keeps a sheet from bending, here 1.63 mm thick as rolled.")
	d := b.desk()
	if _, message := stopped(t, d, "a.html", "<p>Salt water had crept under the paint. It was <b>1.63</b>&nbsp;mm thick when\nnew and had lost 15% at the worst spot.</p>"); message != "" {
		t.Errorf("the fact where it was released: %s", message)
	}
	if code, message := stopped(t, d, "b.html", "<p>A strip that keeps a sheet from bending, here 1.63 mm thick as rolled.</p>"); code != "private-number" || !strings.Contains(message, "glossary/stiffener.md") {
		t.Errorf("the same number in the glossary: %q %q, want private-number", code, message)
	}
}

func TestLastGateHonoursAnAcceptedFindingInItsOwnSource(t *testing.T) {
	b := newBench(t)
	b.edit("wording/floor-stiffener.md", "We cut and folded a new one here.", "The sheet came by way of Hexworth Castings.")
	page := "<p>The sheet came by way of Hexworth Castings.</p>"
	d := b.desk()
	if code, _ := stopped(t, d, "a.html", page); code != "private-name" {
		t.Fatalf("before it was accepted: %q", code)
	}
	units, err := d.Find([]string{"story/floor-stiffener"})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Accept(context.Background(), units[0], "private-name", "ines", "they asked to be thanked"); err != nil {
		t.Fatal(err)
	}
	d = b.desk()
	if _, message := stopped(t, d, "a.html", page); message != "" {
		t.Errorf("accepted, in its own words: %s", message)
	}
	if code, _ := stopped(t, d, "b.html", "<p>Supplied by Hexworth Castings.</p>"); code != "private-name" {
		t.Errorf("accepted in the story, found in other words: %q", code)
	}
	b.edit("wording/floor-stiffener.md", "by way of Hexworth", "straight from Hexworth")
	if code, _ := stopped(t, b.desk(), "c.html", "<p>The sheet came straight from Hexworth Castings.</p>"); code != "private-name" {
		t.Errorf("after the words had changed: %q", code)
	}
}

// In a member's own letter that member's name and address may stand.
func TestLastGateLetsAMembersOwnAddressThrough(t *testing.T) {
	d := newBench(t).desk()
	letter := "To: Gus Penhallick <gus@example.org>\r\nContent-Type: text/plain\r\n\r\nHello."
	if _, message := stopped(t, d, "letter.eml", letter, "Gus Penhallick", "gus@example.org"); message != "" {
		t.Errorf("the member's own: %s", message)
	}
	if code, _ := stopped(t, d, "letter.eml", letter, "Ada Wren", "ada@example.org"); code == "" {
		t.Error("another member's letter was let through")
	}
}

// Thousands of letters have identifiers of their own, drawn at random; one that
// looks like a private drawing by chance must not stop the post.
func TestLastGateIsNotStoppedByChance(t *testing.T) {
	d := newBench(t).desk()
	drawn := "06d431be334e9d2217a0157f60239954ed39eec03df14d3e899a8fd89ceb" // D-2217 is a drawing
	for name, data := range map[string]string{
		"letter.eml":              "Content-Type: multipart/related; boundary=" + drawn + "\r\n\r\n--" + drawn + "\r\nContent-Type: text/plain\r\n\r\nHello.\r\n--" + drawn + "--\r\n",
		"m.eml":                   "Message-ID: <" + drawn[:32] + "@example.org>\r\nContent-Type: text/plain\r\n\r\nHello.",
		drawn[:32] + ".jpg":       "\xff\xd8\xff\xd9",
		"story/a/index.html":      `<img src="../../pictures/` + drawn[:32] + `.jpg">`,
		"edition-2031-W07/l.html": `<img src="cid:` + drawn[:32] + `@example.org">`,
	} {
		if _, message := stopped(t, d, name, data); message != "" {
			t.Errorf("%s: %s", name, message)
		}
	}
	for _, page := range []string{"<p>By 9d2217a, drawing D-2217</p>", "<p>Drawing 00000000000000000000 is D-2217</p>"} {
		if code, _ := stopped(t, d, "a.html", page); code != "private-name" {
			t.Errorf("%s: %q", page, code)
		}
	}
}
