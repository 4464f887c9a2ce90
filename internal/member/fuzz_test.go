package member

import (
	"bytes"
	"net/mail"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"golang.org/x/text/encoding/charmap"
	utf "golang.org/x/text/encoding/unicode"

	"example.org/opencowl/internal/store"
)

func FuzzNormalise(f *testing.F) {
	for _, s := range []string{"ada@example.org", " Ada.Fenn+news@EXAMPLE.Org\u00a0", "ada@bücher.example", "ada@example。org", "\"a b\"@example.org", "a@[127.0.0.1]",
		"a..b@example.org", "a@example.org.", "a@xn--a.example", "a@\u200bexample.org", "ß@example.org", "a@straße.example", "a@b@example.org", "a@example", "\xff@example.org"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := Normalise(s)
		if err != nil {
			if a != "" {
				t.Fatalf("Normalise(%q) failed and still gave %q", s, a)
			}
			return
		}
		if again, err := Normalise(a); err != nil || again != a {
			t.Fatalf("Normalise(%q) = %q, but once more it is %q, %v", s, a, again, err)
		}
		// RFC 5321 4.1.2 and 4.5.3.1: what goes between the angle brackets of RCPT TO.
		if strings.ContainsFunc(a, func(r rune) bool { return r <= ' ' || r > unicode.MaxASCII || strings.ContainsRune("<>()[]\\,;:\"", r) }) || len(a) > 254 {
			t.Fatalf("Normalise(%q) = %q, which SMTP cannot carry", s, a)
		}
		if parsed, err := mail.ParseAddress(a); err != nil || parsed.Address != a || parsed.Name != "" {
			t.Fatalf("Normalise(%q) = %q, which net/mail reads as %v, %v", s, a, parsed, err)
		}
	})
}

func FuzzImport(f *testing.F) {
	demo, err := os.ReadFile("../../content/demo/members.csv")
	if err != nil {
		f.Fatal(err)
	}
	first := bytes.Join(bytes.SplitAfterN(demo, []byte("\n"), 8)[:7], nil)
	f.Add(demo, true)
	f.Add(first, false)
	f.Add(bytes.ReplaceAll(first, []byte(","), []byte("\t")), true)
	sixteen, err := utf.UTF16(utf.LittleEndian, utf.UseBOM).NewEncoder().Bytes(first)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(sixteen, true)
	latin, err := charmap.Windows1252.NewEncoder().Bytes([]byte(header + "Zoë,zoe@example.org,consent,form,v1,2030-01-01,,,joined\n"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(latin, true)
	f.Add([]byte("email;basis;state\na@example.org;;left\nA@example.org;;dead\nb@example.org;consent;joined;x\n"), true)
	f.Add([]byte("email,basis,state\n\"a@example.org,,left\n"), true)
	f.Add([]byte(header+"a\rb,a@example.org,charity-soft-opt-in,\x00,v,2026-02-04,2031-01-01,2030-01-01,paused\n"), true)
	f.Add([]byte(header+"a,a@example.org,consent,form,v,0001-01-01,,,joined\nb,b@example.org,consent,form,v,0000-01-01T00:00:00+12:00,,,joined\n"), true)
	f.Add([]byte(strings.Join(Columns(), ",")+"\n'=A,'+a@example.org,charity-soft-opt-in,form,v,2030-01-01T10:00:00Z,,,joined,2030-01-02,,directly,support,charitable,offered\n"), true)
	f.Add([]byte("email,basis,state,consented_at,source,wording_version,withdrawn_at,confirmed_at\na@example.org,consent,left,2030-01-01,f,v,2029-01-01,x\na.@example.org,,left,,,,,\n"), true)
	f.Fuzz(func(t *testing.T, src []byte, charity bool) {
		var report ImportReport
		l, err := openList(bytes.NewReader(src), &report, ImportOptions{Charity: charity})
		if err != nil {
			if err.Error() == "" || report.Rows > 0 {
				t.Fatalf("a file that was refused (%v) still gave rows: %+v", err, report)
			}
			return
		}
		defer l.close()
		var people []Member
		take := func(m Member) (string, error) {
			people = append(people, m)
			return "", nil
		}
		if err := l.each(now, likeness{}, &report, take); err != nil {
			t.Fatal(err)
		}
		if len(people)+report.RefusedRows() != report.Rows {
			t.Fatalf("%d rows, but %d people and %d refused: %s", report.Rows, len(people), report.RefusedRows(), report)
		}
		lines := 2 + bytes.Count(src, []byte("\n")) + bytes.Count(src, []byte("\r"))
		for _, r := range report.Refused {
			if r.Row < 2 || r.Row > lines || r.Remedy == "" || r.Column != "" && !slices.Contains(Columns(), r.Column) {
				t.Fatalf("a refusal without its place or remedy: %+v", r)
			}
		}
		seen := map[string]bool{}
		for _, m := range people {
			checkPerson(t, m, charity)
			if key := strings.ToLower(m.Address); seen[key] {
				t.Fatalf("%q was taken twice", m.Address)
			} else {
				seen[key] = true
			}
		}
	})
}

// checkPerson holds somebody who was taken from a list to what letters rely on.
func checkPerson(t *testing.T, m Member, charity bool) {
	t.Helper()
	if again, err := Normalise(m.Address); err != nil || again != m.Address {
		t.Fatalf("the address %q was taken, and is %q, %v", m.Address, again, err)
	}
	if strings.ContainsFunc(m.Name, unicode.IsControl) || !slices.Contains(States(), m.State) {
		t.Fatalf("a person who is not as they should be was taken: %+v", m)
	}
	if at, err := store.ParseTime(store.FormatTime(m.Consent.At)); err != nil || !at.Equal(m.Consent.At.Truncate(time.Second)) {
		t.Fatalf("the time %v was taken, and is read back as %v, %v", m.Consent.At, at, err)
	}
	if m.State == Left && m.Consent.Basis != "" && m.Consent.WithdrawnAt.IsZero() {
		t.Fatalf("somebody who left still consents: %+v", m)
	}
	if m.State != Left && m.State != Dead {
		c := m.Consent
		if c.Basis != Consented && (c.Basis != SoftOptIn || !charity || c.At.Before(softOptInFrom()) || !soleGround(c.SoftOptIn)) ||
			c.Source == "" || c.WordingVersion == "" || c.At.IsZero() || c.At.After(now) {
			t.Fatalf("somebody may be written to on no good basis: %+v", m)
		}
	}
	if !m.GivingUntil.IsZero() && m.GivingUntil.Before(m.GivingFrom) {
		t.Fatalf("the giving ends before it begins: %+v", m)
	}
}

// soleGround holds the conditions of PECR reg 22(3A) once more, in other words than
// the code.
func soleGround(t Terms) bool {
	return t.Collected == "directly" && (t.Because == "support" || t.Because == "interest") && t.Purpose == "charitable" && t.Refusal == "offered"
}

func FuzzDropRows(f *testing.F) {
	f.Add([]byte("name,email,basis,state\r\n\"A\r\nB\",ada@example.org,,left\r\nC,cy@example.org,,left"))
	f.Add([]byte("\ufeffEmail;State\n'+ada@example.org;left\n\n\"x;ada@example.org"))
	f.Add([]byte("email\nada@example.org\nADA@example.org\n"))
	f.Fuzz(func(t *testing.T, list []byte) {
		without, rows := dropRows(list, "ada@example.org")
		if rows == 0 && !bytes.Equal(without, list) || rows > 0 && len(without) >= len(list) {
			t.Fatalf("%d rows out of %q leave %q", rows, list, without)
		}
		if again, more := dropRows(without, "ada@example.org"); rows > 0 && more == rows && bytes.Equal(again, without) {
			t.Fatalf("%q still has the rows", without)
		}
		if _, rows := dropRows(list, "nobody@example.org"); rows > 0 && !bytes.Contains(bytes.ToLower(list), []byte("nobody")) {
			t.Fatalf("rows of somebody who is not in %q went", list)
		}
	})
}
