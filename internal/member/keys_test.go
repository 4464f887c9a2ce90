package member

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

const someID = "000102030405060708090a0b0c0d0e0f"

// counting is a source of "random" bytes that are the same in every run.
type counting struct {
	mu sync.Mutex
	n  byte
}

func (c *counting) Read(b []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range b {
		b[i] = c.n
		c.n++
	}
	return len(b), nil
}

func newKeys(t *testing.T) *Keys {
	t.Helper()
	return KeysIn(filepath.Join(t.TempDir(), "keys", "members.keys"), func() time.Time { return now }, nil)
}

func token(t *testing.T, k *Keys, p Purpose, id string, until time.Time) string {
	t.Helper()
	s, err := k.Token(p, id, until)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestKeysAreMadeOnceAtFirstNeed(t *testing.T) {
	k := newKeys(t)
	if infos, err := k.List(); err != nil || len(infos) != 0 {
		t.Errorf("before any was needed: %v, %v", infos, err)
	}
	var group sync.WaitGroup
	var tokens [8]string
	for i := range tokens {
		group.Go(func() {
			var err error
			if tokens[i], err = KeysIn(k.path, k.now, nil).Token(ToLeave, someID, time.Time{}); err != nil {
				t.Error(err)
			}
		})
	}
	group.Wait()
	for _, s := range tokens {
		if s != tokens[0] {
			t.Fatalf("eight at once made different keys: %q", tokens)
		}
	}
	if entries, err := os.ReadDir(filepath.Dir(k.path)); err != nil || len(entries) != 1 {
		t.Errorf("beside the keys lies %v (%v), want nothing", entries, err)
	}
}

func TestDamagedKeysAreRefused(t *testing.T) {
	k := newKeys(t)
	token(t, k, ToLeave, someID, time.Time{})
	whole, err := os.ReadFile(k.path)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(whole), "\n")
	marks, links := lines[4], lines[5]
	for name, text := range map[string]string{
		"empty":              "",
		"cut off":            string(whole[:len(whole)-8]),
		"no line end":        strings.TrimSuffix(string(whole), "\n"),
		"no key for marks":   links,
		"no key for links":   marks,
		"two keys for marks": marks + strings.Replace(marks, marks[6:10], "ffff", 1) + links,
		"one name twice":     marks + links + links,
		"a word":             marks + strings.Replace(links, "links", "likes", 1),
		"a short key":        marks + links[:30] + "=\n",
		"a name too long":    marks + strings.Replace(links, "links ", "links 00", 1),
		"no day":             marks + strings.Replace(links, "2031-01-24", "2031-02-30", 1),
	} {
		if err := os.WriteFile(k.path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := k.Token(ToLeave, someID, time.Time{}); !errors.Is(err, ErrKeys) || !strings.Contains(err.Error(), k.path) {
			t.Errorf("%s: %v; want ErrKeys that names the file", name, err)
		}
		if after, _ := os.ReadFile(k.path); string(after) != text {
			t.Errorf("%s: the file was changed", name)
		}
	}
}

// Marks without their key keep nobody out, so a new key must not be made then.
func TestLostKeysAreNotMadeAnewWhileMarksNeedThem(t *testing.T) {
	k := newKeys(t)
	if err := k.append(markLeft, "ada@example.org"); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(k.path); err != nil {
		t.Fatal(err)
	}
	if _, err := k.Token(ToLeave, someID, time.Time{}); !errors.Is(err, ErrKeys) || !strings.Contains(err.Error(), "put the copy of it back") {
		t.Errorf("%v, want ErrKeys with the remedy", err)
	}
}

// Reckoned with crypto/hmac (RFC 2104) by the rule in the comments.
func TestMarksAndTokensAreHMACs(t *testing.T) {
	k := newKeys(t)
	k.rand = &counting{}
	all, err := k.need()
	if err != nil {
		t.Fatal(err)
	}
	secret := make([]byte, 32)
	for i := range secret {
		secret[i] = byte(i + 2) // the name took two
	}
	h := hmac.New(sha256.New, secret)
	h.Write([]byte("4:mark" + "15:ada@example.org"))
	if got, want := all[0].mark("Ada@Example.org"), hex.EncodeToString(h.Sum(nil)); got != want {
		t.Errorf("mark %s, want %s", got, want)
	}
	for i := range secret {
		secret[i] = byte(i + 36)
	}
	body := "\x12\x22\x23\x00\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e\x0f"
	h = hmac.New(sha256.New, secret)
	h.Write([]byte("5:token" + "19:" + body))
	want := alphabet().EncodeToString(append([]byte(body), h.Sum(nil)[:16]...))
	if got := token(t, k, ToLeave, someID, time.Time{}); got != want || len(got) != 56 {
		t.Errorf("token %s, want %s of 56 characters", got, want)
	}
}

func TestATokenHoldsForItsPurposeAndTimeAlone(t *testing.T) {
	k, other := newKeys(t), newKeys(t)
	until := now.Add(time.Hour)
	for _, p := range []Purpose{ToJoin, ToLeave, ToPause, ToReturn} {
		s := token(t, k, p, someID, until)
		if strings.Trim(s, "abcdefghijklmnopqrstuvwxyz234567") != "" {
			t.Errorf("%d: %q has characters that do not live through every program", p, s)
		}
		for _, spelt := range []string{s, strings.ToUpper(s), " " + s + "\r\n"} {
			if c, err := k.Check(p, spelt, now); err != nil || c.Member != someID || !c.Expires.Equal(until) {
				t.Errorf("%d: %q is %+v, %v", p, spelt, c, err)
			}
		}
		for _, q := range []Purpose{ToJoin, ToLeave, ToPause, ToReturn, 0, 9} {
			if _, err := k.Check(q, s, now); p != q && !errors.Is(err, ErrToken) {
				t.Errorf("a token for %d was taken for %d: %v", p, q, err)
			}
		}
		if _, err := k.Check(p, s, until); !errors.Is(err, ErrOver) {
			t.Errorf("%d: at its end: %v, want ErrOver", p, err)
		}
		if _, err := other.Check(p, s, now); !errors.Is(err, ErrToken) {
			t.Errorf("%d: a token of another workspace: %v, want ErrToken", p, err)
		}
	}
	if c, err := k.Check(ToLeave, token(t, k, ToLeave, someID, time.Time{}), now.AddDate(50, 0, 0)); err != nil || !c.Expires.IsZero() {
		t.Errorf("a link to leave in an old letter: %+v, %v; want it to hold", c, err)
	}
	for _, id := range []string{"", "m1", someID + "00", strings.Repeat("g", 32)} {
		if s, err := k.Token(ToLeave, id, time.Time{}); err == nil {
			t.Errorf("a token was made for %q: %q", id, s)
		}
	}
}

func TestNoChangedTokenHolds(t *testing.T) {
	k := newKeys(t)
	for _, until := range []time.Time{{}, now.Add(time.Hour)} {
		s := token(t, k, ToLeave, someID, until)
		for i := range s {
			for _, c := range "abcdefghijklmnopqrstuvwxyz234567=-1" {
				changed := s[:i] + string(c) + s[i+1:]
				if _, err := k.Check(ToLeave, changed, now); changed != s && !errors.Is(err, ErrToken) {
					t.Fatalf("%q for %q: %v, want ErrToken", changed, s, err)
				}
			}
			if _, err := k.Check(ToLeave, s[:i], now); !errors.Is(err, ErrToken) {
				t.Fatalf("cut to %q: %v, want ErrToken", s[:i], err)
			}
			if _, err := k.Check(ToLeave, s[:i]+"a"+s[i:], now); !errors.Is(err, ErrToken) {
				t.Fatalf("a letter more at %d: %v, want ErrToken", i, err)
			}
		}
	}
}

func TestANewKeyEndsJoiningAndLeavesLeaving(t *testing.T) {
	k := newKeys(t)
	before := map[Purpose]string{}
	for _, p := range []Purpose{ToJoin, ToLeave, ToPause, ToReturn} {
		before[p] = token(t, k, p, someID, now.Add(time.Hour))
	}
	mark := func() string {
		all, err := k.read()
		if err != nil {
			t.Fatal(err)
		}
		return newest(all, forMarks).mark("ada@example.org")
	}
	was := mark()
	for range 3 {
		if _, err := k.Rotate(); err != nil {
			t.Fatal(err)
		}
	}
	for p, want := range map[Purpose]error{ToJoin: ErrOver, ToLeave: nil, ToPause: ErrOver, ToReturn: nil} {
		if _, err := k.Check(p, before[p], now); !errors.Is(err, want) {
			t.Errorf("purpose %d after a new key: %v, want %v", p, err, want)
		}
		if _, err := k.Check(p, token(t, k, p, someID, time.Time{}), now); err != nil {
			t.Errorf("purpose %d with the new key: %v", p, err)
		}
	}
	if infos, err := k.List(); err != nil || len(infos) != 5 {
		t.Errorf("%d keys, %v; want one for marks and four for links", len(infos), err)
	}
	if mark() != was {
		t.Error("a new key for links changed the marks of those who left")
	}
}

func TestLinksStandBelowThePublicPages(t *testing.T) {
	for base, want := range map[string]string{"https://update.example.org": "https://update.example.org/leave/abc", "https://example.org/u/": "https://example.org/u/leave/abc"} {
		if got := Link(base, ToLeave, "abc"); got != want {
			t.Errorf("Link(%q) = %q, want %q", base, got, want)
		}
	}
}

func TestHalfAMarkSpoilsNoOther(t *testing.T) {
	k := newKeys(t)
	if err := k.append(markLeft, "ada@example.org", "ben@example.org"); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(k.marksPath(), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	f.WriteString("2031-01-24T12:00:00Z 0000 left 12ab") // the machine stopped here
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if err := k.append(markBack, "Ada@example.org"); err != nil {
		t.Fatal(err)
	}
	marks, x, err := k.marks()
	if err != nil || len(marks) != 2 || marks[x.mark("ada@example.org")].why != markBack || marks[x.mark("ben@example.org")].why != markLeft {
		t.Errorf("marks = %v, %v", marks, err)
	}
	text, err := os.ReadFile(k.marksPath())
	if err != nil || bytes.Contains(text, []byte("example")) {
		t.Errorf("the file of marks (%v) tells an address:\n%s", err, text)
	}
}

func FuzzToken(f *testing.F) {
	k := KeysIn(filepath.Join(f.TempDir(), "members.keys"), func() time.Time { return now }, &counting{})
	for _, until := range []time.Time{{}, now.Add(time.Hour)} {
		s, err := k.Token(ToJoin, someID, until)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(s)
	}
	f.Add("")
	f.Add(strings.Repeat("7", 63))
	f.Fuzz(func(t *testing.T, s string) {
		c, err := k.Check(ToJoin, s, now)
		if err != nil {
			if !errors.Is(err, ErrToken) && !errors.Is(err, ErrOver) {
				t.Fatalf("%q: %v", s, err)
			}
			return
		}
		if again, err := k.Token(ToJoin, c.Member, c.Expires); err != nil || again != strings.ToLower(strings.TrimSpace(s)) {
			t.Fatalf("%q holds, but no key of ours makes it (%q, %v)", s, again, err)
		}
	})
}
