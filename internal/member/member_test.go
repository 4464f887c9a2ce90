package member

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/encoding/charmap"
	utf "golang.org/x/text/encoding/unicode"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
)

var now = time.Date(2031, 1, 24, 12, 0, 0, 0, time.UTC)

func fresh(t *testing.T) *store.DB {
	t.Helper()
	db, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "opencowl.db"), store.Options{Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func bringIn(t *testing.T, db *store.DB, text string, opt ImportOptions) ImportReport {
	t.Helper()
	report, err := Import(t.Context(), db, strings.NewReader(text), opt)
	if err != nil {
		t.Fatalf("%v (%+v)", err, report)
	}
	return report
}

func all(t *testing.T, db *store.DB) []Member {
	t.Helper()
	members, err := List(t.Context(), db, Filter{})
	if err != nil {
		t.Fatal(err)
	}
	return members
}

const header = "name,email,basis,source,wording_version,consented_at,giving_from,giving_until,state\n"

func TestNormalise(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"ada@example.org", "ada@example.org"},
		{" Ada.Fenn+news@EXAMPLE.Org\u00a0", "Ada.Fenn+news@example.org"},
		{"\ufeffada@example.org", "ada@example.org"},
		{"o'hara@example.org", "o'hara@example.org"},
		// RFC 3492 7.1 has the string; RFC 5891 makes it an A-label.
		{"ada@bücher.example", "ada@xn--bcher-kva.example"},
		{"ada@BÜCHER.example", "ada@xn--bcher-kva.example"},
		{"ada@xn--bcher-kva.example", "ada@xn--bcher-kva.example"},
		{"ada@example.org.", "ada@example.org"},
		// UTS 46 maps the ideographic full stop to a dot.
		{"ada@example.org。", "ada@example.org"},
		{"ada@example。org", "ada@example.org"},
		// RFC 5321 4.5.3.1.1: a local part may have 64 octets.
		{strings.Repeat("a", 64) + "@example.org", strings.Repeat("a", 64) + "@example.org"},
	} {
		if got, err := Normalise(c.in); err != nil || got != c.want {
			t.Errorf("Normalise(%q) = %q, %v; want %q", c.in, got, err, c.want)
		}
	}
}

func TestNormaliseRefuses(t *testing.T) {
	for in, say := range map[string]string{
		"":                          "it is empty",
		"ada.example.org":           "it has no @",
		"Ada <ada@example.org>":     "without a name",
		"ada@example.org, b@x.test": "one address alone",
		"a da@example.org":          "one address alone",
		"@example.org":              "is empty",
		".ada@example.org":          "a dot at an end",
		"ada.@example.org":          "a dot at an end",
		"a..da@example.org":         "two together",
		`"ada"@example.org`:         "may not stand before the @",
		"ada@ben@example.org":       "may not stand before the @",
		"ada@example.org..":         "a dot too many",
		"ada\r\nBcc@example.org":    "one address alone",
		"ada\x00@example.org":       "may not stand before the @",
		"adä@example.org":           "outside ASCII",
		"ada@example\xff.org":       "lost on the way",
		"ada@example\ufffd.org":     "lost on the way",
		"ada@":                      "not a domain name",
		"ada@localhost":             "no dot",
		"ada@[127.0.0.1]":           "not a domain name",
		"ada@exa_mple.org":          "not a domain name",
		"ada@-example.org":          "not a domain name",
		"ada@example..org":          "not a domain name",
		"ada@" + strings.Repeat("a", 64) + ".example":                          "not a domain name", // RFC 1035 2.3.4: 63
		strings.Repeat("a", 65) + "@example.org":                               "longer than 64",
		strings.Repeat("a", 64) + "@" + strings.Repeat("b23456789.", 19) + "e": "longer than 254",
	} {
		got, err := Normalise(in)
		if err == nil || !errors.Is(err, ErrAddress) || !strings.Contains(err.Error(), say) {
			t.Errorf("Normalise(%q) = %q, %v; want an error that says %q", in, got, err, say)
		}
	}
}

func TestWhoMayBeWrittenTo(t *testing.T) {
	on := day.MustParse("2031-01-24")
	good := Member{State: Joined, Consent: Consent{Basis: Consented, At: now}}
	with := func(change func(*Member)) Member { m := good; change(&m); return m }
	for name, c := range map[string]struct {
		m   Member
		why string
	}{
		"joined":             {good, ""},
		"joining":            {with(func(m *Member) { m.State = Joining }), "joining"},
		"paused":             {with(func(m *Member) { m.State = Paused }), "paused"},
		"left":               {with(func(m *Member) { m.State = Left }), "left"},
		"dead":               {with(func(m *Member) { m.State = Dead }), "dead"},
		"no consent":         {with(func(m *Member) { m.Consent = Consent{} }), "no consent"},
		"consent withdrawn":  {with(func(m *Member) { m.Consent.WithdrawnAt = now }), "no consent"},
		"begins today":       {with(func(m *Member) { m.GivingFrom = on }), ""},
		"begins tomorrow":    {with(func(m *Member) { m.GivingFrom = on.AddDays(1) }), "giving not begun"},
		"ends today":         {with(func(m *Member) { m.GivingUntil = on }), ""},
		"ended yesterday":    {with(func(m *Member) { m.GivingUntil = on.AddDays(-1) }), "giving ended"},
		"gives all the time": {with(func(m *Member) { m.GivingFrom = on.AddDays(-9); m.GivingUntil = on.AddDays(9) }), ""},
	} {
		if ok, why := c.m.MayReceive(on); ok != (c.why == "") || why != c.why {
			t.Errorf("%s: %v, %q; want %q", name, ok, why, c.why)
		}
	}
}

func TestACleanListComesInWhole(t *testing.T) {
	db := fresh(t)
	report := bringIn(t, db, header+
		"Ada Fenn,Ada@EXAMPLE.org,consent,\"gate form, open day\",v3,2030-05-01,2030-05-01,2031-12-31,joined\n"+
		",ben@example.org,Consent,web form,v3,2030-05-01T23:30:00-01:00,,,Paused\n", ImportOptions{})
	if report.Added != 2 || report.Known != 0 || len(report.Refused) != 0 || report.Rows != 2 || report.Encoding != "UTF-8" || report.Delimiter != ',' {
		t.Errorf("report = %+v", report)
	}
	members := all(t, db)
	want := []Member{
		{Address: "Ada@example.org", Name: "Ada Fenn", State: Joined,
			Consent:    Consent{Basis: Consented, Source: "gate form, open day", WordingVersion: "v3", At: time.Date(2030, 5, 1, 0, 0, 0, 0, time.UTC)},
			GivingFrom: day.MustParse("2030-05-01"), GivingUntil: day.MustParse("2031-12-31"), AddedAt: now},
		{Address: "ben@example.org", State: Paused,
			Consent: Consent{Basis: Consented, Source: "web form", WordingVersion: "v3", At: time.Date(2030, 5, 2, 0, 30, 0, 0, time.UTC)}, AddedAt: now},
	}
	for i := range members {
		if len(members[i].ID) != 32 || strings.Trim(members[i].ID, "0123456789abcdef") != "" {
			t.Errorf("id %q, want 32 random hexadecimal digits", members[i].ID)
		}
		members[i].ID = ""
	}
	if !reflect.DeepEqual(members, want) {
		t.Errorf("members = %+v\nwant      %+v", members, want)
	}
}

func TestColumnsMayStandInAnyOrder(t *testing.T) {
	db := fresh(t)
	report := bringIn(t, db, "State , EMAIL,basis,consented_at,wording_version,source\n joined,ada@example.org,consent,2030-05-01,v3,form\n", ImportOptions{})
	if members := all(t, db); report.Added != 1 || members[0].State != Joined || members[0].Consent.Source != "form" {
		t.Errorf("report %+v, members %+v", report, members)
	}
}

func TestEncodingsAndDelimiters(t *testing.T) {
	plain := "name;email;basis;source;wording_version;consented_at;state\nZoë Näslund;zoe@example.org;consent;\"form; gate\";v3;2030-05-01;joined\n"
	tabs := strings.NewReplacer(";", "\t", `"form; gate"`, "form; gate").Replace(plain)
	western, err := charmap.Windows1252.NewEncoder().String(plain)
	if err != nil {
		t.Fatal(err)
	}
	little, err := utf.UTF16(utf.LittleEndian, utf.UseBOM).NewEncoder().String(tabs)
	if err != nil {
		t.Fatal(err)
	}
	big, err := utf.UTF16(utf.BigEndian, utf.UseBOM).NewEncoder().String(plain)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		text, encoding string
		delimiter      rune
	}{
		"UTF-8":                    {plain, "UTF-8", ';'},
		"UTF-8 with BOM and CRLF":  {"\xef\xbb\xbf" + strings.ReplaceAll(plain, "\n", "\r\n"), "UTF-8", ';'},
		"tabs":                     {tabs, "UTF-8", '\t'},
		"quoted header":            {strings.Replace(plain, "name;email", `"name";"email"`, 1), "UTF-8", ';'},
		"Windows-1252":             {western, "Windows-1252", ';'},
		"UTF-16, little end, tabs": {little, "UTF-16", '\t'},
		"UTF-16, big end":          {big, "UTF-16", ';'},
	} {
		t.Run(name, func(t *testing.T) {
			db := fresh(t)
			report := bringIn(t, db, c.text, ImportOptions{})
			if report.Encoding != c.encoding || report.Delimiter != c.delimiter || report.Added != 1 {
				t.Fatalf("report = %+v, want %s with %q and one added", report, c.encoding, c.delimiter)
			}
			if m := all(t, db)[0]; m.Name != "Zoë Näslund" {
				t.Errorf("name = %q, want Zoë Näslund", m.Name)
			}
		})
	}
}

func TestADirtyListReportsEveryFault(t *testing.T) {
	file, err := os.Open("testdata/dirty.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	db := fresh(t)
	report, err := Import(t.Context(), db, file, ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var got strings.Builder
	fmt.Fprintln(&got, report)
	for _, f := range report.Refused {
		fmt.Fprintf(&got, "%d | %s | %q | %s\n", f.Row, f.Column, f.Value, f.Remedy)
	}
	want, err := os.ReadFile("testdata/dirty.report")
	if err != nil {
		t.Fatal(err)
	}
	if got.String() != string(want) {
		t.Errorf("got\n%s\nwant\n%s", got.String(), want)
	}
	if n := len(all(t, db)); n != report.Added {
		t.Errorf("%d members are here, the report says %d", n, report.Added)
	}
}

func TestAllOrNothing(t *testing.T) {
	text := header + "Ada,ada@example.org,consent,form,v3,2030-05-01,,,joined\nBen,ben,consent,form,v3,2030-05-01,,,joined\n"
	db := fresh(t)
	report, err := Import(t.Context(), db, strings.NewReader(text), ImportOptions{AllOrNothing: true})
	if !errors.Is(err, ErrRefused) || len(report.Refused) != 1 || report.Added != 0 || len(all(t, db)) != 0 {
		t.Errorf("with all or nothing: %+v, %v, %d members; want nothing in and one fault", report, err, len(all(t, db)))
	}
	if report := bringIn(t, db, text, ImportOptions{}); report.Added != 1 || report.RefusedRows() != 1 {
		t.Errorf("without: %+v; want one in and one refused", report)
	}
}

func TestBringingAListInAgainChangesNothing(t *testing.T) {
	db := fresh(t)
	text := header + "Ada,ada@example.org,consent,form,v3,2030-05-01,,,joined\nBen,ben@example.org,consent,form,v3,2030-05-01,,,joined\n"
	bringIn(t, db, text, ImportOptions{})
	before := all(t, db)
	changed := strings.NewReplacer("Ada,ada@", "Ada Fenn,ADA@", "form", "another form", ",joined", ",joining").Replace(text)
	for _, again := range []string{text, changed} {
		if report := bringIn(t, db, again, ImportOptions{}); report.Added != 0 || report.Known != 2 {
			t.Errorf("report = %+v, want two known", report)
		}
	}
	if after := all(t, db); !reflect.DeepEqual(before, after) {
		t.Errorf("members changed from %+v to %+v", before, after)
	}
}

func TestAListNeverRevivesSomeoneWhoLeft(t *testing.T) {
	db := fresh(t)
	text := header + "Ada,ada@example.org,consent,form,v3,2030-05-01,,,joined\nBen,ben@example.org,consent,form,v3,2030-05-01,,,joined\n"
	bringIn(t, db, text, ImportOptions{})
	members := all(t, db)
	if err := SetState(t.Context(), db, members[0].ID, Left, now); err != nil {
		t.Fatal(err)
	}
	if err := SetState(t.Context(), db, members[1].ID, Dead, now); err != nil {
		t.Fatal(err)
	}
	report := bringIn(t, db, strings.ToUpper(text[:len(header)])+strings.ReplaceAll(text[len(header):], "ada@", "Ada@"), ImportOptions{})
	if report.StayedOut != 2 || report.Added != 0 {
		t.Errorf("report = %+v, want two who stay out", report)
	}
	after := all(t, db)
	if after[0].State != Left || !after[0].Consent.WithdrawnAt.Equal(now) || after[1].State != Dead {
		t.Errorf("members = %+v, want one left with the consent withdrawn and one dead", after)
	}
	for _, to := range []State{Joined, Joining, Paused} {
		if err := SetState(t.Context(), db, members[0].ID, to, now); !errors.Is(err, ErrLeft) {
			t.Errorf("left to %s: %v, want ErrLeft", to, err)
		}
	}
}

// Who left and is written to again is the worst fault of a list, so what a list
// says against writing is believed, and nothing that it says for it.
func TestAListIsBelievedWhenItSaysThatSomeoneIsOut(t *testing.T) {
	for _, c := range []struct{ here, listed, want State }{
		{Joined, Left, Left}, {Joined, Dead, Dead}, {Joined, Paused, Paused}, {Joined, Joining, Joined},
		{Joining, Left, Left}, {Joining, Paused, Joining}, {Joining, Joined, Joining},
		{Paused, Left, Left}, {Paused, Joined, Paused}, {Dead, Left, Left}, {Dead, Paused, Dead}, {Left, Dead, Left}, {Left, Joined, Left},
	} {
		db := fresh(t)
		row := header + "Ada,ada@example.org,consent,form,v3,2030-05-01,,,"
		bringIn(t, db, row+string(c.here)+"\n", ImportOptions{})
		report := bringIn(t, db, row+string(c.listed)+"\n", ImportOptions{})
		m, err := ByAddress(t.Context(), db, " ADA@Example.org")
		if err != nil || m.State != c.want || (report.Stopped == 1) != (c.here == Joined && c.want != Joined) {
			t.Errorf("%s, listed as %s: %s, %v, report %s; want %s", c.here, c.listed, m.State, err, report, c.want)
		}
		if (m.State == Left) != !m.Consent.WithdrawnAt.IsZero() {
			t.Errorf("%s, listed as %s: consent withdrawn at %s", c.here, c.listed, m.Consent.WithdrawnAt)
		}
	}
	if _, err := ByAddress(t.Context(), fresh(t), "nobody@example.org"); !errors.Is(err, ErrNotFound) {
		t.Errorf("an address that nobody has: %v, want ErrNotFound", err)
	}
}

func TestAListMayHoldPeopleWhoLeftElsewhere(t *testing.T) {
	db := fresh(t)
	bringIn(t, db, "email,basis,state\nada@example.org,,left\nben@example.org,,dead\n", ImportOptions{})
	report := bringIn(t, db, header+"Ada,ada@example.org,consent,form,v3,2030-05-01,,,joined\n", ImportOptions{})
	if report.Added != 0 || report.StayedOut != 1 || all(t, db)[0].State != Left {
		t.Errorf("report = %+v; someone who left elsewhere was brought back", report)
	}
}

// PECR reg 22(3A), inserted by the Data (Use and Access) Act 2025 s 114: in force
// 5 February 2026, for charities, and not for details collected before.
func TestTheSoftOptIn(t *testing.T) {
	const good = "directly,support,charitable,offered"
	for _, c := range []struct {
		at      string
		charity bool
		terms   string
		column  string // of the fault
	}{
		{"2026-02-04", true, good, "consented_at"},
		{"2026-02-04T23:59:59Z", true, good, "consented_at"},
		{"2026-02-05", true, good, ""},
		{"2026-02-05T00:00:00Z", true, good, ""},
		{"2026-02-05T00:30:00+01:00", true, good, "consented_at"}, // still the 4th in London
		{"2026-02-05", false, good, "basis"},
		{"2030-01-01", false, good, "basis"},
		{"2030-01-01", true, "directly,interest,charitable,offered", ""},
		{"2030-01-01", true, "third-party,support,charitable,offered", "collected"},
		{"2030-01-01", true, "directly,purchase,charitable,offered", "because"},
		{"2030-01-01", true, "directly,support,mixed,offered", "purpose"},
		{"2030-01-01", true, "directly,support,charitable,not-offered", "refusal"},
		{"2030-01-01", true, ",support,charitable,offered", "collected"},
		{"2030-01-01", true, "directly,,charitable,offered", "because"},
		{"2030-01-01", true, "directly,support,,offered", "purpose"},
		{"2030-01-01", true, "directly,support,charitable,", "refusal"},
	} {
		const softHeader = "name,email,basis,source,wording_version,consented_at,giving_from,giving_until,state,collected,because,purpose,refusal\n"
		report := bringIn(t, fresh(t), softHeader+"Ada,ada@example.org,charity-soft-opt-in,gift form,v3,"+c.at+",,,joined,"+c.terms+"\n", ImportOptions{Charity: c.charity})
		switch {
		case c.column == "" && report.Added != 1:
			t.Errorf("%s, charity %v, %s: %+v, want it in", c.at, c.charity, c.terms, report.Refused)
		case c.column != "" && (len(report.Refused) != 1 || report.Refused[0].Column != c.column):
			t.Errorf("%s, charity %v, %s: %+v, want %s refused", c.at, c.charity, c.terms, report.Refused, c.column)
		}
	}
}

func TestFilesThatAreNoList(t *testing.T) {
	for name, c := range map[string]struct{ text, say string }{
		"empty":           {"", "header"},
		"other columns":   {"name,email,basis,state,shoe size\n", `column "shoe size" is unknown`},
		"a column twice":  {"email,basis,state,Email\n", "twice"},
		"no email":        {"name,basis,state\n", `column "email" is missing`},
		"no state":        {"email,basis\n", `column "state" is missing`},
		"bytes":           {"email\x00,basis", "bytes that no text has"},
		"a huge one":      {strings.Repeat("x", maxListBytes+1), "larger than 256 MB"},
		"odd UTF-16 tail": {"\xff\xfee\x00m", "is unknown"},
	} {
		db := fresh(t)
		_, err := Import(t.Context(), db, strings.NewReader(c.text), ImportOptions{})
		if !errors.Is(err, ErrList) || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, want ErrList that says %q", name, err, c.say)
		}
	}
}

func TestListByState(t *testing.T) {
	db := fresh(t)
	bringIn(t, db, header+"B,ben@example.org,consent,form,v3,2030-05-01,,,joined\nA,Ada@example.org,consent,form,v3,2030-05-01,,,joined\n"+
		"C,cy@example.org,consent,form,v3,2030-05-01,,,joining\n", ImportOptions{})
	joined, err := List(t.Context(), db, Filter{State: Joined})
	if err != nil || len(joined) != 2 || joined[0].Name != "A" || joined[1].Name != "B" {
		t.Errorf("joined = %+v, %v; want A and B", joined, err)
	}
	if err := SetState(t.Context(), db, "nobody", Paused, now); !errors.Is(err, ErrNotFound) {
		t.Errorf("an unknown member: %v, want ErrNotFound", err)
	}
}

func TestACancelledImportLeavesNothing(t *testing.T) {
	db := fresh(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	report, err := Import(ctx, db, strings.NewReader(header+"A,ada@example.org,consent,form,v3,2030-05-01,,,joined\n"), ImportOptions{})
	if !errors.Is(err, context.Canceled) || report.Added != 0 || len(all(t, db)) != 0 {
		t.Errorf("report %+v, %v; want nothing in", report, err)
	}
}

func TestAddressesThatAreMuchAlikeAreAdvice(t *testing.T) {
	db := fresh(t)
	bringIn(t, db, header+"Ada,ada.fenn@example.org,consent,form,v3,2030-05-01,,,joined\n", ImportOptions{})
	report := bringIn(t, db, header+
		"Ada,AdaFenn@example.org,consent,form,v3,2030-05-01,,,joined\n"+
		"Ada,ada.fenn@example.org,consent,form,v3,2030-05-01,,,joined\n"+ // is here: no news
		"Ben,ben+boat@example.org,consent,form,v3,2030-05-01,,,joined\n"+
		"Ben,b.en+news@example.org,consent,form,v3,2030-05-01,,,joined\n"+
		"Ben,ben@example.net,consent,form,v3,2030-05-01,,,joined\n"+
		"Tag,+tag@example.org,consent,form,v3,2030-05-01,,,joined\n"+
		"Tag,+gat@example.org,consent,form,v3,2030-05-01,,,joined\n", ImportOptions{})
	want := []Advice{
		{2, "AdaFenn@example.org is much like the address of somebody who is here, but for dots or a tag; if it is one person, keep one"},
		{5, "b.en+news@example.org is much like the address on line 4, but for dots or a tag; if it is one person, keep one"},
	}
	if found, err := Alike(t.Context(), db, "BEN+else@Example.org"); err != nil || !reflect.DeepEqual(found, []string{"b.en+news@example.org", "ben+boat@example.org"}) {
		t.Errorf("alike = %v, %v; want Ben's two", found, err)
	}
	if !reflect.DeepEqual(report.Advice, want) || report.Added != 6 || report.Known != 1 {
		t.Errorf("report = %s, advice = %+v, want %+v", report, report.Advice, want)
	}
}

func TestTimesOfAListAgreeWithEachOther(t *testing.T) {
	const long = "email,basis,source,wording_version,consented_at,confirmed_at,withdrawn_at,state,collected\n"
	for row, column := range map[string]string{
		"2030-05-01,2030-05-02,,joined,":           "",
		"2030-05-01,2030-05-02,2030-06-01,left,":   "",
		"2030-05-01,2030-04-30,,joined,":           "confirmed_at",
		"2030-05-01,2032-05-01,,joined,":           "confirmed_at",
		"2030-05-01,soon,,joined,":                 "confirmed_at",
		"2030-05-01,2030-05-02,,joining,":          "confirmed_at",
		"2030-05-01,,2030-06-01,joined,":           "withdrawn_at",
		"2030-05-01,,2030-04-01,left,":             "withdrawn_at",
		"2030-05-01,,last week,left,":              "withdrawn_at",
		"2030-05-01,,,joined,directly":             "basis",
		"2030-05-01T10:00:00,,,joined,":            "consented_at",
		"2030-05-01T10:00:00+01:00,,,joined,":      "",
		"2030-05-01T10:00:00Z,2030-05-01,,joined,": "confirmed_at",
	} {
		report := bringIn(t, fresh(t), long+"ada@example.org,consent,form,v3,"+row+"\n", ImportOptions{})
		if column == "" && report.Added != 1 || column != "" && (len(report.Refused) != 1 || report.Refused[0].Column != column) {
			t.Errorf("%s: %+v, want %q refused", row, report.Refused, column)
		}
	}
}

func TestFaultsCanBeToldAsTheyAreFound(t *testing.T) {
	var told []Refusal
	report := bringIn(t, fresh(t), header+"Ada,ada,consent,form,v3,soon,,,joined\nBen,ben@example.org,consent,form,v3,2030-05-01,,,joined\n",
		ImportOptions{Refuse: func(r Refusal) { told = append(told, r) }})
	if len(told) != 2 || len(report.Refused) != 0 || report.RefusedRows() != 1 || report.Added != 1 {
		t.Errorf("told %+v, report %s %+v", told, report, report.Refused)
	}
}

// broken is a file that breaks off on its way from the disk.
type broken struct{ *strings.Reader }

func (b broken) Read(p []byte) (int, error) {
	if b.Len() < 40 {
		return 0, os.ErrDeadlineExceeded
	}
	return b.Reader.Read(p[:min(len(p), 40)])
}

func TestAFileThatCannotBeReadToItsEndBringsInNobody(t *testing.T) {
	db := fresh(t)
	text := header + strings.Repeat("Ada,ada@example.org,consent,form,v3,2030-05-01,,,joined\n", 3)
	_, err := Import(t.Context(), db, broken{strings.NewReader(text)}, ImportOptions{})
	if !errors.Is(err, os.ErrDeadlineExceeded) || len(all(t, db)) != 0 {
		t.Errorf("%v, %d people; want the disk's error and nobody", err, len(all(t, db)))
	}
}

func TestAListIsWrittenDownWithWhoBroughtIt(t *testing.T) {
	db := fresh(t)
	bringIn(t, db, header+"Ada,ada@example.org,consent,form,v3,2030-05-01,,,joined\nBad,bad,consent,form,v3,2030-05-01,,,joined\n", ImportOptions{By: "nell"})
	rows, err := db.Ledger(t.Context(), store.Filter{Kind: "members-imported"})
	if err != nil || len(rows) != 1 || rows[0].Who != "nell" || string(rows[0].Detail) != `{"added":1,"known":0,"refused":1,"rows":2,"stopped":0}` {
		t.Errorf("ledger = %+v, %v", rows, err)
	}
}
