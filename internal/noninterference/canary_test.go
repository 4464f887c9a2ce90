package noninterference

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"example.org/opencowl/internal/testtool"
)

// Every private thing of the canary's workshop holds one of these, followed by what
// it is. Messages to the person at work may hold names of files, parts and people;
// nothing else private, and what leaves holds neither.
const (
	mark      = "zqx"
	nameMark  = mark + "id"
	valueMark = mark + "val"
)

// canary makes a workshop in which every private field, note, file name and photo
// holds a mark.
func canary(t *testing.T) *tree {
	w := readTree(t)
	n := 0
	value := func(what string) string {
		n++
		return fmt.Sprintf("%s%s%d", valueMark, what, n)
	}
	for i, part := range w.parts() {
		p, r := w.page(part), w.released(idOf(part))
		for _, key := range []string{"name", "number", "serial", "drawing", "location"} {
			p.set(value(key), key)
		}
		if !r["material"] {
			p.set(value("material"), "material")
		}
		p.body = "Rang the mill about the old batch, and they could not say what temper it was, says " + value("note") + ".\n"
		w.put(part, p)
		w.movePart(part, fmt.Sprintf("parts/%spart%d.md", nameMark, i))
	}
	for i, entry := range w.entries() {
		p := w.page(entry)
		for _, key := range []string{"supplier", "approval", "report"} {
			p.set(value(key), "replacement", key)
		}
		if !w.releasedOf(p)["material"] {
			p.set(value("material"), "replacement", "material")
		}
		p.set(value("detail")+" under the paint", "finding", "detail")
		p.body = value("note") + " asked twice.\n"
		w.put(entry, p)
		w.move(entry, strings.Replace(entry, ".md", fmt.Sprintf("-%sentry%d.md", nameMark, i), 1))
	}
	for i, tag := range w.tags() {
		p, photo := w.page(tag), photoOf(tag)
		p.set([]any{yaml.MapSlice{{Key: "x", Value: 0.1}, {Key: "y", Value: 0.2}, {Key: "w", Value: 0.05}, {Key: "h", Value: 0.04}, {Key: "why", Value: value("why")}}}, "hide")
		p.set([]any{yaml.MapSlice{{Key: "who", Value: value("who")}, {Key: "consent", Value: "given"}, {Key: "on", Value: "2031-01-20"},
			{Key: "adult", Value: "no"}, {Key: "guardian", Value: value("guardian")}}}, "people")
		if p.text("publish") != "offered" {
			for _, key := range []string{"caption", "alt", "credit"} {
				p.set(nameMark+key, key) // whoever decides sees these
			}
		}
		w.put(tag, p)
		w.files[photo] = string(saying(t, []byte(w.files[photo]), value("photo")))
		w.movePhoto(photo, fmt.Sprintf("photos/%sphoto%d.jpg", nameMark, i))
	}
	for i, id := range w.people() {
		w.movePerson(id, fmt.Sprintf("%sperson%d", nameMark, i))
	}
	for _, name := range []string{"Gus Penhallick", "Wilf Yarborough", "Bram Coverdale"} {
		w.editSettings("name: "+name+",", "name: Al "+value("surname")+",")
	}
	w.editSettings(`private_terms: ["Quayside Alloys"]`, fmt.Sprintf("private_terms: [%s]", value("term")))
	return w
}

// TestCanariesStayInside runs everything, wrong turns with it, in a workshop whose
// every private thing is marked.
func TestCanariesStayInside(t *testing.T) {
	w := canary(t)
	s := newShop(t, w, nil)
	defer s.close()
	s.enrol()
	s.said.Reset()
	messages := map[string][]byte{}
	do := func(want int, args ...string) {
		t.Helper()
		s.said.Reset()
		code, out := s.run(today, args...)
		if code != want {
			t.Errorf("opencowl %q: exit code %d, want %d\n%s", args, code, want, &s.said)
		}
		key := fmt.Sprintf("%s, command %d", strings.Join(args, " "), len(messages)/2) // the same words come again
		messages[key+" (messages)"], messages[key+" (machine output)"] = bytes.Clone(s.said.Bytes()), out
	}
	engineer, second, officer := w.byName("Ines Hallow"), w.byName("Orla Tressick"), w.byName("Nell Ostwick")
	restorer := w.byName("Tam Reddle")

	// While nothing is decided: previews, and everything refused.
	do(0, "check")
	do(0, "decide")
	do(0, "cards", tour, "--draft", "-o", s.path("out/draft.pdf"))
	do(1, "plan", tour, "-o", s.path("out/too-early.pdf"))
	do(0, "plan", tour, "--sheets", "all", "--draft", "-o", s.path("out/draft-sheets"))
	do(0, "cards", tour, "--draft", "--language", "fr", "-o", s.path("out/draft-fr.pdf"))
	do(1, "edition", thisWeek, "-o", s.path("out/draft-edition"))
	do(1, "edition", thisWeek, "--freeze", "--by", officer)
	do(1, "archive", "-o", s.path("out/too-early"))
	do(1, "post", thisWeek, "--by", officer, "--yes", "3")
	do(1, "decide", "--by", restorer, "--nothing-readable", "story/floor-strip")
	do(2, "decide", "--by", engineer, "story/no-such-story")
	do(2, "decide", "--by", engineer, "--refuse", "story/floor-strip")
	do(1, "decide", "--by", engineer, "--accept", "private-name", "--why", "it is none", "story/floor-strip")

	// The whole job.
	s.past()
	messages["the past (messages)"] = bytes.Clone(s.said.Bytes())
	var ids []string
	for _, u := range s.units(today) {
		ids = append(ids, u.ID)
	}
	do(1, append([]string{"decide", "--by", second, "--nothing-readable"}, ids...)...) // shows every unit, and an officer may not
	out := s.make()
	messages["the work (messages)"] = bytes.Clone(s.said.Bytes())
	if got := string(out["exit codes"]); got != "[1 1 1 0 0 0]" {
		t.Fatalf("exit codes %s\n%s", got, &s.said)
	}
	do(0, "post", thisWeek, "--by", officer, "--proof", "proof@example.org")
	do(0, "post", thisWeek, "--status")
	do(0, "members", "list", "--by", officer)
	do(0, "trace", "floor-strip")
	do(1, "plan", tour, "--sheets", "all", "-o", s.path("out/sheets"))
	do(0, "correct", "floor-strip", "--by", restorer, "--say", "It came from the port side.")
	do(0, "trace", nameMark+"part0")
	do(0, "check", "--ledger")

	// Wrong turns, each mended after it.
	turn := func(file, from, to string, args ...string) {
		t.Helper()
		text := w.files[file]
		if !strings.Contains(text, from) {
			t.Fatalf("%s does not hold %q", file, from)
		}
		s.write(file, strings.Replace(text, from, to, 1))
		do(1, args...)
		s.write(file, text)
	}
	part, story := w.parts()[1], "wording/floor-strip.md"
	number, serial, note := w.page(part).text("number"), w.page(part).text("serial"), w.page(part).body
	entry := w.entries()[2]
	supplier := w.page(entry).text("replacement", "supplier")
	clean := "We cut and folded a new one here."
	turn(story, clean, "Its number is "+number+".", "check")
	turn(story, clean, "Its number is "+strings.ToUpper(number)+" still.", "check", "--today", today.String())
	turn(story, clean, "From "+supplier+".", "cards", tour, "-o", s.path("out/cards.pdf"))
	turn(story, clean, strings.TrimSpace(note), "check", "--json")
	turn("wording/floor-strip.fr.md", "Nous en avons", "Le numéro est "+number+". Nous en avons", "check")
	turn("wording/floor-strip.fr.md", "Nous en avons", "De chez "+supplier+". Nous en avons", "cards", tour, "--language", "fr", "-o", s.path("out/cards-fr.pdf"))
	turn(part, "serial: "+serial, "serial: ["+serial, "check")
	turn(part, "serial: "+serial, "serail: "+serial, "check")
	turn(part, "number: "+number, "number: {is: "+number+"}", "check")
	turn(part, "number: "+number, "number: \""+number, "check")
	turn(part, "number: "+number, "\tnumber: "+number, "check")
	turn(entry, "supplier: "+supplier, "supplier: ["+supplier+"]", "check")
	turn(entry, "supplier: "+supplier, "suplier: "+supplier, "check")
	turn(part, "---\n"+note, note, "check")
	do(1, "correct", "floor-strip", "--by", "nobody", "--say", "It came from the port side.")
	do(1, "correct", "bow-cleat", "--by", restorer, "--say", "It has been told to nobody.")
	photo := photoOf(w.tags()[1])
	turn(photo, w.files[photo], "not a picture: "+note, "check")
	// A list from a spreadsheet, whose every private cell is marked: rows that are
	// brought in, come again, changed, and are refused. The values that are to be
	// mended are shown, and none beside them.
	list, listMap := s.path(nameMark+"list.csv"), s.path(nameMark+"map.yaml")
	writeAt(t, listMap, strings.ReplaceAll(canaryMap, "WHO", restorer))
	rows := func(pile, day string) {
		t.Helper()
		var text strings.Builder
		text.WriteString("Ref,Date,Part,Job,Pile,Detail,From,Ticket,Notes\n")
		for i, part := range w.parts()[:2] {
			fmt.Fprintf(&text, "%s%d,%s,%s,removed,%s,%s,%s,%s,%s\n", valueMark, i, day, w.page(part).text("number"), pile, valueMark+"cell1", valueMark+"cell2", valueMark+"cell3", valueMark+"cell4")
		}
		writeAt(t, list, text.String())
	}
	rows("rework", "12/02/2031")
	bring := []string{"record", list, "--map", listMap}
	do(0, bring...)
	do(0, append(bring, "--write")...)
	do(0, bring...)
	rows("quarantine", "12/02/2031")
	do(1, bring...)
	do(0, append(bring, "--write", "--update")...)
	rows("quarantin", "31/02/2031")
	do(1, append(bring, "--write")...)
	do(0, "check")
	do(0, "archive", "-o", s.path("out/archive"))
	do(2, "cards", "no-such-tour")
	do(2, "cards", tour, "--language", "de")
	do(1, "cards", tour, "--language", "fr", "--say")
	do(1, "edition", "2031-W09")
	do(2, "trace", "no-such-part")
	do(2, "withdraw", "story/floor-strip", "--by", engineer)
	do(0, "withdraw", "story/floor-strip", "--by", engineer, "--why", "the date was wrong")
	do(0, "archive", "-o", s.path("out/archive"))

	leaving := outputs{}
	s.gather(leaving, "out")
	s.gather(leaving, "inbox")
	leaving["wire"] = s.wire.bytes()
	looked := 0
	for name, data := range leaving {
		for what, text := range readings(t, name, data) {
			looked++
			// Three letters alone come about by chance in coded pictures.
			for _, whole := range []string{nameMark, valueMark} {
				if i := bytes.Index(bytes.ToLower(text), []byte(whole)); i >= 0 {
					t.Errorf("%s (%s) holds %q", name, what, text[max(0, i-40):min(len(text), i+60)])
				}
			}
		}
	}
	papers, err := filepath.Glob(s.path("out/*/" + officerFile))
	if err != nil || len(papers) < 3 {
		t.Fatalf("papers for the officer: %q, %v", papers, err)
	}
	for _, name := range papers {
		if messages[name], err = os.ReadFile(name); err != nil {
			t.Fatal(err)
		}
	}
	for command, text := range messages {
		if i := bytes.Index(bytes.ToLower(text), []byte(valueMark)); i >= 0 {
			t.Errorf("opencowl %.400s holds a private value: %q", command, text[max(0, i-120):min(len(text), i+60)])
		}
	}
	if len(leaving) < 50 || looked < 100 || len(messages) < 50 {
		t.Errorf("only %d outputs in %d readings and %d messages were looked at", len(leaving), looked, len(messages))
	}
	t.Logf("%d outputs in %d readings, and the words of %d commands", len(leaving), looked, len(messages)/2)
}

const canaryMap = `list: bench-list
identify: [Ref]
entry:
  date: {column: Date, format: day/month/year}
  by: {default: WHO}
  part: {column: Part, match: number}
  step: {column: Job}
  pile: {column: Pile}
  finding: {detail: {column: Detail}}
  replacement: {source: {default: stores}, supplier: {column: From}, report: {column: Ticket}}
  notes: {column: Notes}
`

func writeAt(t *testing.T, file, text string) {
	t.Helper()
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestReadingsWouldSeeACanary holds the search to marks that it must find.
func TestReadingsWouldSeeACanary(t *testing.T) {
	letter := "From: a@example.org\r\nSubject: =?utf-8?b?" + base64.StdEncoding.EncodeToString([]byte("is "+mark)) + "?=\r\n" +
		"Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\nContent-Type: text/plain\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n=7Aqx one\r\n" +
		"--b\r\nContent-Type: text/html\r\nContent-Transfer-Encoding: base64\r\n\r\n" + base64.StdEncoding.EncodeToString([]byte("a "+mark)) + "\r\n--b--\r\n"
	found := map[string]bool{}
	for what, text := range readings(t, "inbox/a.eml", []byte(letter)) {
		found[what] = bytes.Contains(bytes.ToLower(text), []byte(mark))
	}
	for _, what := range []string{"headers", "part 1", "part 2"} {
		if !found[what] {
			t.Errorf("a letter's %s was not read: %v", what, found)
		}
	}
	hidden := saying(t, drawPhoto(t, 0), mark)
	for what, text := range readings(t, "a.jpg", hidden) {
		if !bytes.Contains(bytes.ToLower(text), []byte(mark)) {
			t.Errorf("a picture's %s was not read", what)
		}
	}
	// Each of its segments is one that others read too, so that what is taken out
	// was really in.
	said, err := exec.Command(testtool.Need(t, "exiftool"), "-a", "-G", "-s", writeFile(t, "a.jpg", hidden)).CombinedOutput()
	if err != nil {
		t.Fatalf("exiftool: %v\n%s", err, said)
	}
	for _, tag := range []string{"[EXIF]          ImageDescription", "[EXIF]          Artist", "[EXIF]          GPSLatitude", "[EXIF]          ThumbnailImage", "[XMP]           Description", "[IPTC]          Caption-Abstract", "[File]          Comment"} {
		if !bytes.Contains(said, []byte(tag)) {
			t.Errorf("exiftool finds no %s:\n%s", tag, said)
		}
	}
}

func writeFile(t *testing.T, name string, data []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// readings are the ways in which an output can be read: as it is, and as those read
// it who have the right program.
func readings(t *testing.T, name string, data []byte) map[string][]byte {
	t.Helper()
	all := map[string][]byte{"bytes": data, "name": []byte(name)}
	tool := func(what, program string, args ...string) {
		t.Helper()
		out, err := exec.Command(testtool.Need(t, program), args...).Output()
		if err != nil {
			t.Errorf("%s of %s: %v", program, name, err)
		}
		all[what] = out
	}
	switch filepath.Ext(name) {
	case ".pdf":
		file := writeFile(t, "a.pdf", data)
		tool("text", "pdftotext", "-layout", file, "-")
		tool("unpacked", "qpdf", "--qdf", "--object-streams=disable", file, "-")
		tool("about it", "pdfinfo", file)
		for what, text := range pdfStrings(all["unpacked"]) {
			all[what] = text
		}
	case ".jpg":
		delete(all, "name")
		all["name and bytes"] = append([]byte(name), data...)
		delete(all, "bytes")
	case ".eml":
		for what, text := range letterParts(t, name, data) {
			all[what] = text
		}
	}
	if name == "wire" {
		// The body of each letter is in the inbox too, and is read there.
		all["lines joined"] = bytes.ReplaceAll(data, []byte("=\r\n"), nil)
	}
	return all
}

var hexString = regexp.MustCompile(`<([0-9a-fA-F]{8,})>`)

// pdfStrings reads the strings of an unpacked PDF that are written in hexadecimal
// or in UTF-16: titles, alt texts, bookmarks (ISO 32000-1, 7.9.2).
func pdfStrings(unpacked []byte) map[string][]byte {
	var hex []byte
	for _, m := range hexString.FindAllSubmatch(unpacked, -1) {
		var b []byte
		if _, err := fmt.Sscanf(string(m[1]), "%x", &b); err == nil {
			hex = append(append(hex, b...), '\n')
		}
	}
	return map[string][]byte{
		"strings":           bytes.ReplaceAll(hex, []byte{0}, nil),
		"strings as UTF-16": bytes.ReplaceAll(bytes.ReplaceAll(unpacked, []byte(`\000`), nil), []byte{0}, nil),
	}
}

// letterParts takes a letter apart as a mail reader does.
func letterParts(t *testing.T, name string, data []byte) map[string][]byte {
	t.Helper()
	msg, err := mail.ReadMessage(bytes.NewReader(data))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	var words mime.WordDecoder
	var headers []string
	for key, values := range msg.Header {
		for _, v := range values {
			if plain, err := words.DecodeHeader(v); err == nil {
				v = plain
			}
			headers = append(headers, key+": "+v)
		}
	}
	all := map[string][]byte{"headers": []byte(strings.Join(headers, "\n"))}
	n := 0
	var walk func(header map[string][]string, body io.Reader)
	walk = func(header map[string][]string, body io.Reader) {
		get := func(key string) string { return mail.Header(header).Get(key) }
		kind, params, err := mime.ParseMediaType(get("Content-Type"))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if strings.HasPrefix(kind, "multipart/") {
			parts := multipart.NewReader(body, params["boundary"])
			for {
				part, err := parts.NextRawPart()
				if err == io.EOF {
					return
				}
				if err != nil {
					t.Fatalf("%s: %v", name, err)
				}
				walk(part.Header, part)
			}
		}
		switch strings.ToLower(get("Content-Transfer-Encoding")) {
		case "base64":
			body = base64.NewDecoder(base64.StdEncoding, body)
		case "quoted-printable":
			body = quotedprintable.NewReader(body)
		}
		text, err := io.ReadAll(body)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		n++
		all[fmt.Sprintf("part %d", n)] = append([]byte(fmt.Sprint(header)), text...)
	}
	walk(msg.Header, msg.Body)
	return all
}
