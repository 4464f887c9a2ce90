package member

import (
	"context"
	"errors"
	"go/ast"
	goparser "go/parser"
	gotoken "go/token"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/store"
)

// house is a workspace with a clock that can be moved.
type house struct {
	Register
	dir string
	now time.Time
}

const (
	welcome = "Yes, send me the weekly update from the Trust.\n"
	reword  = "Yes, send me the weekly update, and ask me for gifts.\n"
)

func newHouse(t *testing.T) *house {
	t.Helper()
	return houseIn(t, t.TempDir())
}

func houseIn(t *testing.T, dir string) *house {
	t.Helper()
	h := &house{dir: dir, now: now}
	clock := func() time.Time { return h.now }
	db, err := store.Open(t.Context(), filepath.Join(dir, "opencowl.db"), store.Options{Now: clock})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	h.put(t, "consent/2031-1.md", welcome)
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { root.Close() })
	h.Register = Register{DB: db, Keys: KeysIn(filepath.Join(dir, "keys", "members.keys"), clock, nil), Charity: true, Words: WordingsIn(root)}
	return h
}

func (h *house) put(t *testing.T, name, text string) {
	t.Helper()
	path := filepath.Join(h.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func somebody(address string) Person {
	return Person{Address: address, Name: "Ada Fenn", Consent: Consent{Basis: Consented, Source: "tour desk", WordingVersion: "2031-1"}}
}

func (h *house) join(t *testing.T, address string) Asked {
	t.Helper()
	a, err := h.Join(t.Context(), somebody(address), "nell")
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func (h *house) add(t *testing.T, address string) Member {
	t.Helper()
	m, err := h.Add(t.Context(), somebody(address), "nell")
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func (h *house) get(t *testing.T, address string) Member {
	t.Helper()
	m, err := ByAddress(t.Context(), h.DB, address)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func (h *house) kinds(t *testing.T, id string) []string {
	t.Helper()
	rows, err := h.DB.Ledger(t.Context(), store.Filter{Unit: "member/" + id})
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	for _, r := range rows {
		if r.Who != "nell" && r.Who != TheMember {
			t.Errorf("the ledger has %q as who did %s", r.Who, r.Kind)
		}
		kinds = append(kinds, r.Kind)
	}
	return kinds
}

func TestSomebodyIsAddedWithWhatTheyAgreedTo(t *testing.T) {
	h := newHouse(t)
	m := h.add(t, "Ada@Example.org")
	if got := h.get(t, "ada@example.org"); !reflect.DeepEqual(got, m) || got.State != Joined || got.Consent.At != now || len(got.Consent.WordingDigest) != 64 {
		t.Errorf("got %+v, want %+v", got, m)
	}
	if _, err := h.Add(t.Context(), somebody("ADA@example.org"), "nell"); !errors.Is(err, ErrKnown) {
		t.Errorf("added twice: %v, want ErrKnown", err)
	}
	held, err := h.Held(t.Context(), "ada@example.org", "nell")
	if err != nil || len(held.Words) != 1 || held.Words[0].Words != welcome || len(held.Consents) != 1 {
		t.Errorf("held = %+v, %v; want the very words", held, err)
	}
	if kinds := h.kinds(t, m.ID); !slices.Equal(kinds, []string{"member-added", "member-shown"}) {
		t.Errorf("the ledger has %v", kinds)
	}
}

func TestNobodyIsAddedOnNoGoodGround(t *testing.T) {
	h := newHouse(t)
	for say, change := range map[string]func(*Person){
		"has no @":               func(p *Person) { p.Address = "ada" },
		"basis: write consent":   func(p *Person) { p.Consent.Basis = "" },
		"source: say where":      func(p *Person) { p.Consent.Source = "" },
		"wording_version: say":   func(p *Person) { p.Consent.WordingVersion = "" },
		"lies in the future":     func(p *Person) { p.Consent.At = now.Add(time.Second) },
		"before there were":      func(p *Person) { p.Consent.At = time.Date(1970, 12, 31, 0, 0, 0, 0, time.UTC) },
		"name: it holds a line":  func(p *Person) { p.Name = "Ada\nBcc: x@example.org" },
		"no such words":          func(p *Person) { p.Consent.WordingVersion = "2031-2" },
		"collected: say how":     func(p *Person) { p.Consent.Basis = SoftOptIn },
		"lower-case words":       func(p *Person) { p.Consent.WordingVersion = "../keys/x" },
		"source: it holds a lin": func(p *Person) { p.Consent.Source = "desk\u2028" },
	} {
		p := somebody("ada@example.org")
		change(&p)
		for name, do := range map[string]func() error{
			"add":  func() error { _, err := h.Add(t.Context(), p, "nell"); return err },
			"join": func() error { _, err := h.Join(t.Context(), p, "nell"); return err },
		} {
			if err := do(); err == nil || !strings.Contains(err.Error(), say) {
				t.Errorf("%s: %v; want an error that says %q", name, err, say)
			}
		}
	}
	if n := len(all(t, h.DB)); n != 0 {
		t.Errorf("%d people are here", n)
	}
}

func TestWordsThatChangedAreAnotherVersion(t *testing.T) {
	h := newHouse(t)
	h.add(t, "ada@example.org")
	h.put(t, "consent/2031-1.md", "\ufeff"+strings.ReplaceAll(welcome, "\n", "\r\n\r\n"))
	h.add(t, "ben@example.org") // line ends are not words
	h.put(t, "consent/2031-1.md", reword)
	if _, err := h.Add(t.Context(), somebody("cy@example.org"), "nell"); !errors.Is(err, ErrReworded) {
		t.Errorf("other words under the same version: %v, want ErrReworded", err)
	}
	if held, err := h.Held(t.Context(), "ada@example.org", "nell"); err != nil || held.Words[0].Words != welcome {
		t.Errorf("what Ada agreed to is now %+v (%v)", held.Words, err)
	}
	// A list that names the version means what people were told before.
	report := bringIn(t, h.DB, header+"Dee,dee@example.org,consent,form,2031-1,2030-05-01,,,joined\nEli,eli@example.org,consent,form,v7,2030-05-01,,,joined\n", ImportOptions{Words: h.Words})
	if report.Added != 2 || len(report.Advice) != 2 || !strings.Contains(report.Advice[0].Says, "has other words") || !strings.Contains(report.Advice[1].Says, "consent/v7.md") {
		t.Errorf("report = %+v, want advice on both versions", report)
	}
	if dee, ada := h.get(t, "dee@example.org"), h.get(t, "ada@example.org"); dee.Consent.WordingDigest != ada.Consent.WordingDigest || h.get(t, "eli@example.org").Consent.WordingDigest != "" {
		t.Errorf("digests of words: dee %q, ada %q", dee.Consent.WordingDigest, ada.Consent.WordingDigest)
	}
}

func TestNobodyIsJoinedUntilTheyConfirm(t *testing.T) {
	h := newHouse(t)
	a := h.join(t, "ada@example.org")
	if m := h.get(t, "ada@example.org"); m.State != Joining || !m.AskedAt.Equal(now) || m.Consent.Source != "tour desk" || !a.Until.Equal(now.AddDate(0, 0, 14)) {
		t.Errorf("asked = %+v, member = %+v", a, m)
	}
	for _, to := range []State{Joined, Paused} {
		if err := SetState(t.Context(), h.DB, a.Member.ID, to, now); !errors.Is(err, ErrUnconfirmed) {
			t.Errorf("unconfirmed to %s: %v, want ErrUnconfirmed", to, err)
		}
	}
	if err := h.Resume(t.Context(), a.Member.ID, "nell"); !errors.Is(err, ErrUnconfirmed) {
		t.Errorf("resumed before they confirmed: %v", err)
	}
	h.now = now.Add(time.Hour)
	for range 2 {
		m, err := h.Confirm(t.Context(), a.Token, TheMember)
		if err != nil || m.State != Joined || !m.Consent.ConfirmedAt.Equal(h.now) || !m.AskedAt.IsZero() || m.Name != "Ada Fenn" {
			t.Errorf("confirmed: %+v, %v", m, err)
		}
	}
	if kinds := h.kinds(t, a.Member.ID); !slices.Equal(kinds, []string{"member-asked", "member-joined"}) {
		t.Errorf("the ledger has %v", kinds)
	}
	if again := h.join(t, "ada@example.org"); again.Token != "" || again.Member.State != Joined {
		t.Errorf("somebody who is here was asked again: %+v", again)
	}
}

func TestUnconfirmedJoiningLapses(t *testing.T) {
	h := newHouse(t)
	a := h.join(t, "ada@example.org")
	h.now = now.Add(Unconfirmed - time.Second)
	if n, err := Lapse(t.Context(), h.DB); n != 0 || err != nil {
		t.Fatalf("a second early: %d, %v", n, err)
	}
	h.now = now.Add(Unconfirmed)
	if _, err := h.Confirm(t.Context(), a.Token, TheMember); !errors.Is(err, ErrOver) {
		t.Errorf("confirmed too late: %v, want ErrOver", err)
	}
	if n, err := Lapse(t.Context(), h.DB); n != 1 || err != nil {
		t.Fatalf("after 14 days: %d, %v", n, err)
	}
	if people := all(t, h.DB); len(people) != 0 {
		t.Errorf("still here: %+v", people)
	}
	// A list may bring people in who have not confirmed; they lapse as well.
	bringIn(t, h.DB, header+"Ben,ben@example.org,consent,form,v3,2030-05-01,,,joining\n", ImportOptions{})
	h.now = h.now.Add(Unconfirmed)
	if n, err := Lapse(t.Context(), h.DB); n != 1 || err != nil || len(all(t, h.DB)) != 0 {
		t.Errorf("from a list: %d, %v", n, err)
	}
}

func TestAskingAgainKeepsEarlierLettersGood(t *testing.T) {
	h := newHouse(t)
	first := h.join(t, "ada@example.org")
	h.now = now.AddDate(0, 0, 10)
	second := h.join(t, "ada@example.org")
	if first.Token == second.Token || !second.Until.Equal(h.now.Add(Unconfirmed)) {
		t.Errorf("the second letter counts until %s", second.Until)
	}
	h.now = now.AddDate(0, 0, 13)
	if n, err := Lapse(t.Context(), h.DB); n != 0 || err != nil {
		t.Fatalf("lapsed: %d, %v", n, err)
	}
	if m, err := h.Confirm(t.Context(), first.Token, TheMember); err != nil || m.State != Joined {
		t.Errorf("by the first letter: %+v, %v", m, err)
	}
}

func TestWhoLeftComesBackByConfirmingAlone(t *testing.T) {
	h := newHouse(t)
	old := h.join(t, "ada@example.org")
	if _, err := h.Confirm(t.Context(), old.Token, TheMember); err != nil {
		t.Fatal(err)
	}
	h.now = now.Add(time.Minute)
	if err := h.Leave(t.Context(), old.Member.ID, TheMember); err != nil {
		t.Fatal(err)
	}
	if _, err := h.Add(t.Context(), somebody("ada@example.org"), "nell"); !errors.Is(err, ErrLeft) {
		t.Errorf("added though they left: %v, want ErrLeft", err)
	}
	if _, err := h.Confirm(t.Context(), old.Token, TheMember); !errors.Is(err, ErrOver) {
		t.Errorf("by the letter from before they left: %v, want ErrOver", err)
	}
	if _, err := h.ConfirmInPerson(t.Context(), old.Member.ID, "nell"); !errors.Is(err, ErrUnconfirmed) {
		t.Errorf("by an officer, without having asked: %v", err)
	}
	h.now = now.Add(2 * time.Minute)
	again := h.join(t, "ada@example.org")
	if m := h.get(t, "ada@example.org"); m.State != Left || m.Consent.WithdrawnAt.IsZero() || m.AskedAt.IsZero() {
		t.Errorf("before they confirm: %+v; want still left", m)
	}
	if _, err := h.Confirm(t.Context(), old.Token, TheMember); !errors.Is(err, ErrOver) {
		t.Errorf("by the letter from before they left, while asked anew: %v, want ErrOver", err)
	}
	h.now = now.Add(Unconfirmed + 2*time.Minute)
	if n, err := Lapse(t.Context(), h.DB); n != 1 || err != nil || h.get(t, "ada@example.org").State != Left {
		t.Fatalf("lapsed: %d, %v", n, err)
	}
	again = h.join(t, "ada@example.org")
	m, err := h.Confirm(t.Context(), again.Token, TheMember)
	if err != nil || m.State != Joined || !m.Consent.WithdrawnAt.IsZero() {
		t.Fatalf("back: %+v, %v", m, err)
	}
	held, err := h.Held(t.Context(), "ada@example.org", "nell")
	if err != nil || len(held.Consents) != 2 || held.Consents[0].WithdrawnAt.IsZero() || !held.Consents[1].WithdrawnAt.IsZero() {
		t.Errorf("consents = %+v, %v; want the old one withdrawn and a new one", held.Consents, err)
	}
}

func TestLeavingEndsAskingToo(t *testing.T) {
	h := newHouse(t)
	a := h.join(t, "ada@example.org")
	if err := h.Leave(t.Context(), a.Member.ID, TheMember); err != nil {
		t.Fatal(err)
	}
	if _, err := h.Confirm(t.Context(), a.Token, TheMember); !errors.Is(err, ErrOver) {
		t.Errorf("confirmed after leaving: %v, want ErrOver", err)
	}
	m := h.get(t, "ada@example.org")
	if m.State != Left || m.Consent.WithdrawnAt.IsZero() || !m.AskedAt.IsZero() {
		t.Errorf("member = %+v", m)
	}
	h.join(t, "ada@example.org")
	if err := h.Leave(t.Context(), a.Member.ID, TheMember); err != nil || !h.get(t, "ada@example.org").AskedAt.IsZero() {
		t.Errorf("leaving again, while asked anew: %v", err)
	}
}

func TestAPauseEndsByResuming(t *testing.T) {
	h := newHouse(t)
	m := h.add(t, "ada@example.org")
	steps := []struct {
		do   func(context.Context, string, string) error
		want State
	}{{h.Pause, Paused}, {h.Pause, Paused}, {h.Resume, Joined}, {h.Resume, Joined}}
	for i, s := range steps {
		if err := s.do(t.Context(), m.ID, "nell"); err != nil || h.get(t, m.Address).State != s.want {
			t.Errorf("step %d: %s, %v; want %s", i, h.get(t, m.Address).State, err, s.want)
		}
	}
	// An address that bounced once may have proved alive.
	if err := SetState(t.Context(), h.DB, m.ID, Dead, now); err != nil {
		t.Fatal(err)
	}
	if err := h.Resume(t.Context(), m.ID, "nell"); err != nil || h.get(t, m.Address).State != Joined {
		t.Errorf("from dead: %v", err)
	}
	// But not if all that ever went there was the letter that asked.
	a := h.join(t, "ben@example.org")
	if err := SetState(t.Context(), h.DB, a.Member.ID, Dead, now); err != nil {
		t.Fatal(err)
	}
	if err := h.Resume(t.Context(), a.Member.ID, "nell"); !errors.Is(err, ErrUnconfirmed) {
		t.Errorf("from dead without consent: %v, want ErrUnconfirmed", err)
	}
	if err := h.Leave(t.Context(), m.ID, "nell"); err != nil {
		t.Fatal(err)
	}
	for _, do := range []func(context.Context, string, string) error{h.Pause, h.Resume} {
		if err := do(t.Context(), m.ID, "nell"); !errors.Is(err, ErrLeft) {
			t.Errorf("after leaving: %v, want ErrLeft", err)
		}
	}
}

func TestTheLetterThatAsks(t *testing.T) {
	v := Invitation{Workshop: "Marram Sound Trust", Address: "The Slip, Marram", Code: "abc234", Reply: "returns@example.org", Words: welcome, Until: now}
	subject, text := v.Letter()
	for _, want := range []string{"reply to returns@example.org", "\njoin abc234\n", "24 January 2031", strings.TrimSpace(welcome), "The Slip, Marram", "do nothing"} {
		if !strings.Contains(text, want) {
			t.Errorf("the letter lacks %q:\n%s", want, text)
		}
	}
	v.Link = "https://example.org/join/abc234"
	if _, text = v.Letter(); !strings.Contains(text, "\n"+v.Link+"\n") || strings.Contains(text, "reply to") || subject != "Do you want the update from Marram Sound Trust?" {
		t.Errorf("%s\n%s", subject, text)
	}
}

// Leaving is marked outside the database by Register.Leave alone, so nobody may have
// a member leave in another way.
func TestNobodyElseHasAMemberLeave(t *testing.T) {
	looked := 0
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := goparser.ParseFile(gotoken.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		looked++
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			sel, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || sel.Sel.Name != "SetState" || len(call.Args) != 5 {
				return true
			}
			to, ok := call.Args[3].(*ast.SelectorExpr)
			if !ok || to.Sel.Name != "Paused" && to.Sel.Name != "Dead" && to.Sel.Name != "Joined" {
				t.Errorf("%s moves a member to a state that may be Left; call Register.Leave, which marks it outside the database", path)
			}
			return true
		})
		return nil
	})
	if err != nil || looked < 40 {
		t.Errorf("looked at %d files, %v", looked, err)
	}
}
