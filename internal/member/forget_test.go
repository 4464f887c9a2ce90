package member

import (
	"bytes"
	"database/sql"
	"encoding/base64"
	"errors"
	"io/fs"
	"mime"
	"mime/quotedprintable"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"golang.org/x/text/unicode/norm"

	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// The one who asks to be forgotten, and others who look much like them.
const (
	gone      = "Ada.Fenn@bücher.example"
	goneASCII = "Ada.Fenn@xn--bcher-kva.example" // RFC 3492 7.1 has the label
)

func neighbours() []string {
	return []string{"ben@bücher.example", "xAda.Fenn@bücher.example", "Ada.Fenn@bücher.example.org", "Ada.Fenn@shop.bücher.example", "Ada.Fenn+boat@bücher.example", "Ada.Fenns@bücher.example"}
}

// writings are all the ways in which an address may stand in bytes, made by the
// standard library and not by what looks for them.
func writings(t testing.TB) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	sixteen := func(s string, big bool) []byte {
		var b []byte
		for _, u := range utf16.Encode([]rune(s)) {
			if big {
				b = append(b, byte(u>>8), byte(u))
			} else {
				b = append(b, byte(u), byte(u>>8))
			}
		}
		return b
	}
	for form, address := range map[string]string{"Unicode": gone, "decomposed": norm.NFD.String(gone), "ASCII": goneASCII, "lower": strings.ToLower(goneASCII), "UPPER": strings.ToUpper(goneASCII),
		"Unicode UPPER": strings.ToUpper(gone)} {
		all[form] = []byte(address)
		all[form+" UTF-16LE"], all[form+" UTF-16BE"] = sixteen(address, false), sixteen(address, true)
		var qp bytes.Buffer
		w := quotedprintable.NewWriter(&qp)
		w.Write([]byte(strings.Repeat("-", 60) + " " + address)) // so that it is broken over lines
		w.Close()
		all[form+" quoted-printable"] = qp.Bytes()
		all[form+" all quoted"] = []byte(strings.ReplaceAll(url.QueryEscape(address), "%", "="))
		all[form+" encoded word"] = []byte(mime.QEncoding.Encode("utf-8", "é "+address))
		all[form+" encoded word in base64"] = []byte(mime.BEncoding.Encode("utf-8", "é "+address))
		all[form+" percent"] = []byte(url.QueryEscape(address))
		all[form+" JSON"] = []byte(`{"to":"\n` + strings.ReplaceAll(strings.ReplaceAll(address, "@", `\u0040`), "ü", `\u00fc`) + `"}`)
		all[form+" HTML"] = []byte("<a>" + strings.ReplaceAll(strings.ReplaceAll(address, "@", "&#64;"), "ü", "&uuml;") + "</a>")
		for lead := range 3 {
			plain := []byte(strings.Repeat(" ", lead) + address + " and more")
			all[form+" base64 "+strings.Repeat("+", lead)] = []byte(base64.StdEncoding.EncodeToString(plain))
			all[form+" base64 of the web "+strings.Repeat("+", lead)] = []byte(base64.RawURLEncoding.EncodeToString([]byte(strings.Repeat(" ", lead) + address)))
		}
		lines := base64.StdEncoding.EncodeToString([]byte(strings.Repeat("To somebody else. ", 5) + address + strings.Repeat(" And so on.", 9)))
		all[form+" base64 in lines"] = []byte(lines[:76] + "\r\n" + lines[76:152] + "\r\n" + lines[152:])
		all[form+" base64 of quoted-printable"] = []byte(base64.StdEncoding.EncodeToString(qp.Bytes()))
		all[form+" a link in a link"] = []byte(url.QueryEscape("https://example.org/?to=" + url.QueryEscape(address)))
	}
	return all
}

func TestAnAddressIsFoundHoweverItIsWritten(t *testing.T) {
	s := seekerOf(goneASCII)
	for name, written := range writings(t) {
		around := map[string][]byte{"alone": written, "in a line": slices.Concat([]byte("to <"), written, []byte(">\r\n"))}
		if strings.HasPrefix(name, "ASCII") {
			around["far on"] = slices.Concat(bytes.Repeat([]byte("( ... )\n"), window/8-3), written, []byte("\n"))
		}
		for around, text := range around {
			if strings.Contains(name, "UTF-16") && around == "in a line" {
				text = text[3:] // no text is in two encodings
			}
			if found, err := s.in(bytes.NewReader(text)); !found || err != nil {
				t.Errorf("%s, %s: not found (%v): %q", name, around, err, text[max(0, len(text)-300):])
			}
		}
	}
	if ü := []byte("Ada.Fenn@b\xfccher.example"); !s.within(ü, nested, false) {
		t.Error("not found in Windows-1252")
	}
}

func TestOtherAddressesAreNotTakenForIt(t *testing.T) {
	s := seekerOf(goneASCII)
	for _, other := range neighbours() {
		ascii, err := Normalise(other)
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range []string{other, ascii, "<" + other + ">", base64.StdEncoding.EncodeToString([]byte(" " + ascii + " ")), url.QueryEscape(other)} {
			if found, _ := s.in(strings.NewReader(text)); found {
				t.Errorf("%q was taken for %s", text, gone)
			}
		}
	}
}

// traces looks for the address in every byte of every file, without the help of the
// code that is tested.
func traces(t *testing.T, dir string) map[string]string {
	t.Helper()
	looks := writings(t)
	found := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		lower := bytes.ToLower(data)
		for name, written := range looks {
			for _, w := range [][]byte{written, bytes.TrimRight(written, "=")} {
				if len(w) > 0 && (bytes.Contains(data, w) || bytes.Contains(lower, bytes.ToLower(w))) {
					// Somebody whose address holds this one has a right to stay.
					if !othersAlone(string(lower), strings.ToLower(string(w))) {
						found[path] = name
					}
				}
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// othersAlone says whether each place where an address stands belongs to a longer one
// of the neighbours.
func othersAlone(text, address string) bool {
	for _, n := range neighbours() {
		ascii, _ := Normalise(n)
		for _, form := range []string{n, ascii} {
			text = strings.ReplaceAll(text, strings.ToLower(form), "(somebody else)")
		}
	}
	return !strings.Contains(text, address)
}

// furnished is a workspace in which somebody has left traces wherever the program and
// people leave them.
func furnished(t *testing.T) (*house, *workspace.Workspace, Member) {
	t.Helper()
	h := newHouse(t)
	settings, err := os.ReadFile("../../content/demo/workshop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	h.put(t, "workshop.yaml", string(settings))
	ws, _, err := workspace.Open(h.dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { ws.Close() })
	m := h.add(t, gone)
	for _, n := range neighbours() {
		h.add(t, n)
	}
	if err := h.Pause(t.Context(), m.ID, "nell"); err != nil {
		t.Fatal(err)
	}
	if _, err := h.Held(t.Context(), gone, "nell"); err != nil {
		t.Fatal(err)
	}
	if err := h.DB.Freeze(t.Context(), store.Edition{Week: "2031-W04", FrozenBy: "nell", Subject: "s", HTML: []byte("h"), Text: []byte("t"), Record: []byte("{}"), Movement: []byte("[]"), Digest: "d"},
		store.Entry{Who: "nell", Kind: "frozen"}); err != nil {
		t.Fatal(err)
	}
	if err := h.DB.Tx(t.Context(), func(tx *sql.Tx) error {
		_, err := tx.Exec(`INSERT INTO deliveries (week, member, state, at) VALUES ('2031-W04', $1, 'sent', '2031-01-24T12:00:00Z')`, m.ID)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	list := export(t, h, Filter{})
	h.put(t, "out/members.csv", list)
	h.put(t, "lists/January.csv", list)
	h.put(t, "lists/dots.CSV", "Email;State;Basis;Name\r\n"+gone+";left;;\"Ada\r\nFenn\"\r\nben@bücher.example;left;;Ben\r\n")
	h.put(t, ".opencowl/looks.json", `{"to":"`+goneASCII+`"}`)
	h.put(t, "inbox/1.eml", "From: a@example.org\r\nTo: Ada <"+goneASCII+">\r\nSubject: x\r\n\r\nHello.\r\n")
	h.put(t, "inbox/2.eml", "From: a@example.org\r\nTo: Ben <ben@xn--bcher-kva.example>\r\nSubject: x\r\n\r\nHello.\r\n")
	return h, ws, m
}

func TestWhoIsForgottenIsInNoFile(t *testing.T) {
	h, ws, m := furnished(t)
	if before := traces(t, h.dir); len(before) < 6 {
		t.Fatalf("only %v hold the address; this test looks at nothing", before)
	}
	known, err := h.Forget(t.Context(), " ada.FENN@BÜCHER.example ", "nell")
	if err != nil || !known {
		t.Fatalf("known %v, %v", known, err)
	}
	tr, err := h.EraseFiles(t.Context(), ws, gone)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.DB.Scrub(t.Context()); err != nil {
		t.Fatal(err)
	}
	if after := traces(t, h.dir); len(after) > 0 {
		t.Errorf("the address is still in %v", after)
	}
	if !slices.Equal(tr.Rewritten, []string{"lists/January.csv", "lists/dots.CSV"}) || !slices.Equal(tr.Removed, []string{".opencowl/looks.json", "inbox/1.eml", "out/members.csv"}) ||
		len(tr.Still)+len(tr.Elsewhere)+len(tr.Moved) > 0 || tr.Searched < 9 {
		t.Errorf("traces = %+v", tr)
	}
	if text, err := os.ReadFile(filepath.Join(h.dir, "lists", "dots.CSV")); string(text) != "Email;State;Basis;Name\r\nben@bücher.example;left;;Ben\r\n" {
		t.Errorf("the list is now %q, %v", text, err)
	}
	for _, n := range neighbours() {
		if other := h.get(t, n); other.State != Joined || other.Consent.WordingDigest == "" {
			t.Errorf("%s is now %+v", n, other)
		}
	}
	if kinds := h.kinds(t, m.ID); kinds[len(kinds)-1] != "member-forgotten" {
		t.Errorf("the ledger has %v", kinds)
	}
	rows, err := h.DB.Read(t.Context(), `SELECT state FROM deliveries WHERE member = $1`, m.ID)
	if states, err := store.Texts(rows, err); err != nil || !slices.Equal(states, []string{"sent"}) {
		t.Errorf("deliveries = %v, %v; want the letter by its random id", states, err)
	}
	if broken, err := h.DB.VerifyLedger(t.Context()); err != nil || len(broken) > 0 {
		t.Errorf("the ledger is broken: %v, %v", broken, err)
	}
}

func TestTheDatabaseAloneHoldsTracesUntilItIsScrubbed(t *testing.T) {
	h, _, _ := furnished(t)
	if _, err := h.Forget(t.Context(), gone, "nell"); err != nil {
		t.Fatal(err)
	}
	database := func() (held bool) {
		for path := range traces(t, h.dir) {
			held = held || strings.HasPrefix(filepath.Base(path), "opencowl.db")
		}
		return held
	}
	if !database() {
		t.Error("deleting alone left no trace in the database's files; the test of Scrub looks at nothing")
	}
	if err := h.DB.Scrub(t.Context()); err != nil || database() {
		t.Errorf("after scrubbing: %v, %v", database(), err)
	}
}

func TestNobodyElsesFileIsChanged(t *testing.T) {
	h, ws, _ := furnished(t)
	theirs := map[string]string{"log/2031/note.md": "Wrote to " + gone + " about the hull.", "inbox/3.eml": "To: Ben <ben@example.org>\r\n\r\nAsk " + goneASCII + ".\r\n",
		"old.db": "\x00\x00abc" + goneASCII + "Ada", "letters.csv": "name,email\nx,\"" + gone, "inbox/" + goneASCII + ".txt": "x"}
	for name, text := range theirs {
		h.put(t, name, text)
	}
	away := filepath.Join(t.TempDir(), "away.csv")
	moved := filepath.Join(t.TempDir(), "moved.csv")
	for _, path := range []string{away, moved} {
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := h.Export(t.Context(), f, Filter{}, "nell", path); err != nil {
			t.Fatal(err)
		}
		f.Close()
	}
	if err := os.Remove(moved); err != nil {
		t.Fatal(err)
	}
	if _, err := h.Forget(t.Context(), gone, "nell"); err != nil {
		t.Fatal(err)
	}
	tr, err := h.EraseFiles(t.Context(), ws, gone)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"inbox/3.eml", "inbox/" + goneASCII + ".txt", "letters.csv", "log/2031/note.md", "old.db"}
	if !slices.Equal(tr.Still, want) || !slices.Equal(tr.Elsewhere, []string{away}) || !slices.Equal(tr.Moved, []string{moved}) {
		t.Errorf("traces = %+v; want %v, %s and %s named", tr, want, away, moved)
	}
	for name, text := range theirs {
		if now, err := os.ReadFile(filepath.Join(h.dir, filepath.FromSlash(name))); string(now) != text {
			t.Errorf("%s is now %q, %v", name, now, err)
		}
	}
}

func TestNoListBringsBackWhoWasForgotten(t *testing.T) {
	h, _, _ := furnished(t)
	if _, err := h.Forget(t.Context(), gone, "nell"); err != nil {
		t.Fatal(err)
	}
	list := header + "Ada,\"" + strings.ToUpper(gone) + "\",consent,form,v3,2030-05-01,,,joined\nZed,zed@bücher.example,consent,form,v3,2030-05-01,,,joined\n"
	report := bringIn(t, h.DB, list, ImportOptions{Keys: h.Keys})
	if report.Added != 1 || len(report.Refused) != 1 || report.Refused[0].Row != 2 || report.Refused[0].Value != "" || !strings.Contains(report.Refused[0].Remedy, "asked to be forgotten") {
		t.Errorf("report = %+v", report)
	}
	if _, err := Import(t.Context(), h.DB, strings.NewReader(list), ImportOptions{}); !errors.Is(err, ErrKeys) {
		t.Errorf("without the keys: %v, want ErrKeys", err)
	}
	if _, err := h.Add(t.Context(), somebody(gone), "nell"); !errors.Is(err, ErrLeft) {
		t.Errorf("added by hand: %v, want ErrLeft", err)
	}
	if err := h.DB.Scrub(t.Context()); err != nil {
		t.Fatal(err)
	}
	for path, form := range traces(t, h.dir) {
		if strings.HasPrefix(filepath.Base(path), "opencowl.db") {
			t.Errorf("after the refusals %s holds the address (%s)", path, form)
		}
	}
	if known, err := h.Forget(t.Context(), gone, "nell"); known || err != nil {
		t.Errorf("once more: %v, %v", known, err)
	}
	// Their own word, and nothing else, brings them back.
	a := h.join(t, gone)
	if _, err := h.Confirm(t.Context(), a.Token, TheMember); err != nil {
		t.Fatal(err)
	}
	if r := bringIn(t, h.DB, list, ImportOptions{Keys: h.Keys}); len(r.Refused) > 0 || r.Known != 2 {
		t.Errorf("after they came back: %+v", r)
	}
	// The keys are lost: nobody can tell any more whom to keep out.
	if _, err := h.Forget(t.Context(), gone, "nell"); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{h.Keys.Path(), h.Keys.MarksPath()} {
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
	for name, err := range map[string]error{
		"import": func() error {
			_, err := Import(t.Context(), h.DB, strings.NewReader(list), ImportOptions{Keys: h.Keys})
			return err
		}(),
		"add":    func() error { _, err := h.Add(t.Context(), somebody("new@example.org"), "nell"); return err }(),
		"forget": func() error { _, err := h.Forget(t.Context(), "new@example.org", "nell"); return err }(),
	} {
		if !errors.Is(err, ErrKeys) {
			t.Errorf("%s, with the keys lost: %v, want ErrKeys", name, err)
		}
	}
}

// A backup is a copy of the database from before; keys and marks are not in it.
func TestAnOldBackupBringsNobodyBack(t *testing.T) {
	h := newHouse(t)
	for _, who := range []string{"left", "forgotten", "back", "stays", "paused"} {
		h.add(t, who+"@example.org")
	}
	for _, who := range []string{"forgotten", "back"} {
		h.add(t, who+"-before@example.org")
	}
	if err := h.DB.Scrub(t.Context()); err != nil { // so that one file holds all
		t.Fatal(err)
	}
	backup, err := os.ReadFile(filepath.Join(h.dir, "opencowl.db"))
	if err != nil {
		t.Fatal(err)
	}
	h.add(t, "left-later@example.org")
	for _, who := range []string{"left", "back", "left-later"} {
		if err := h.Leave(t.Context(), h.get(t, who+"@example.org").ID, TheMember); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := h.Forget(t.Context(), "forgotten@example.org", "nell"); err != nil {
		t.Fatal(err)
	}
	// A list from elsewhere says who left there.
	bringIn(t, h.DB, "email,basis,state\nlisted@example.org,,left\nstays@example.org,,paused\n", ImportOptions{Keys: h.Keys})
	if _, err := h.Confirm(t.Context(), h.join(t, "back@example.org").Token, TheMember); err != nil {
		t.Fatal(err)
	}

	restored := t.TempDir()
	if err := os.CopyFS(filepath.Join(restored, "keys"), os.DirFS(filepath.Join(h.dir, "keys"))); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(restored, "opencowl.db"), backup, 0o600); err != nil {
		t.Fatal(err)
	}
	r := houseIn(t, restored)
	left, erased, err := r.Replay(t.Context())
	if err != nil || left != 1 || erased != 1 {
		t.Errorf("replayed: %d left, %d erased, %v; want one of each", left, erased, err)
	}
	if left, erased, err = r.Replay(t.Context()); left+erased != 0 || err != nil {
		t.Errorf("replayed again: %d left, %d erased, %v", left, erased, err)
	}
	for who, want := range map[string]State{"left": Left, "back": Joined, "stays": Joined, "paused": Joined, "forgotten": ""} {
		m, err := ByAddress(t.Context(), r.DB, who+"@example.org")
		if m.State != want || (want == "") != errors.Is(err, ErrNotFound) {
			t.Errorf("%s: %q, %v; want %q", who, m.State, err, want)
		}
	}
	// An old list, which the restored database does not know that they left.
	var old strings.Builder
	old.WriteString(header)
	for _, who := range []string{"left", "forgotten", "left-later", "listed", "never-here"} {
		old.WriteString(who + "," + who + "@example.org,consent,form,v3,2030-05-01,,,joined\n")
	}
	report := bringIn(t, r.DB, old.String(), ImportOptions{Keys: r.Keys})
	if report.Added != 1 || report.StayedOut != 1 || report.RefusedRows() != 3 {
		t.Errorf("an old list: %s %+v", report, report.Refused)
	}
	if err := r.DB.Scrub(t.Context()); err != nil {
		t.Fatal(err)
	}
	if data, err := os.ReadFile(filepath.Join(restored, "opencowl.db")); err != nil || bytes.Contains(data, []byte("forgotten@example.org")) {
		t.Errorf("the restored database holds who was forgotten (%v)", err)
	}
}

func FuzzSeek(f *testing.F) {
	s := seekerOf(goneASCII)
	for _, w := range writings(f) {
		f.Add(w, "")
	}
	f.Add([]byte("=\n=4"), "%")
	f.Add([]byte(`\u00`), `\U0000`)
	f.Fuzz(func(t *testing.T, before []byte, after string) {
		s.within(before, nested, false)
		if bytes.IndexByte(before, 0) >= 0 || len(before) > 1<<12 {
			return
		}
		// Whatever stands around it, an address on a line of its own is found.
		text := slices.Concat(before, []byte("\n"+goneASCII+"\n"), []byte(after))
		if found, err := s.in(bytes.NewReader(text)); !found || err != nil {
			t.Fatalf("not found (%v) in %q", err, text)
		}
	})
}
