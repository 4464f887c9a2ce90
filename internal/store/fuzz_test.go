package store

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"
	"time"
)

// What goes into the ledger is read back as it was, and no row can be mistaken
// for another one.
func FuzzLedger(f *testing.F) {
	for _, s := range []struct {
		who, kind, unit, digest, detail string
		at                              int64
	}{
		{"ines", "cleared", "story/floor-stiffener", "9f86d081884c7d65", `{"facts":[{"name":"a"}],"nothing_readable":true}`, 1_925_000_000},
		{"orla", "sent", "edition/2031-W02", "", "", 1},
		{"", "k", "\u2028", "\x00", "null", -62_135_596_800},
		{"1:a", "2:bc", "\xff", "é", "<&>", 253_402_300_799},
	} {
		f.Add(s.who, s.kind, s.unit, s.digest, s.detail, s.at)
	}
	// The clock of an entry without a time.
	clock := time.Date(2031, 1, 24, 12, 0, 0, 0, time.UTC)
	db, err := Open(f.Context(), filepath.Join(f.TempDir(), "opencowl.db"), Options{Now: func() time.Time { return clock }})
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { db.Close() })
	f.Fuzz(func(t *testing.T, who, kind, unit, digest, detail string, at int64) {
		// Years that RFC 3339 cannot write are not asked for.
		const first, last = -62_135_596_800, 253_402_300_799
		want := Entry{At: time.Unix(min(max(at, first), last), 0).UTC(), Who: who, Kind: kind, Unit: unit, Digest: digest, Detail: detail}
		head, err := db.Head(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		rows, err := db.Append(t.Context(), want)
		if err != nil {
			if now, err := db.Head(t.Context()); err != nil || now != head {
				t.Fatalf("a refused entry moved the head from %s to %s, %v", head, now, err)
			}
			return
		}
		if len(rows) != 1 || rows[0].Previous != head {
			t.Fatalf("got %+v behind %s", rows, head)
		}
		back, err := db.Ledger(t.Context(), Filter{Kind: kind, Unit: unit})
		if err != nil || len(back) == 0 {
			t.Fatalf("%+v is not read back: %v", want, err)
		}
		got := back[len(back)-1]
		var said string
		if err := json.Unmarshal(got.Detail, &said); err != nil {
			t.Fatalf("the detail %q is read back as %q, %v", detail, got.Detail, err)
		}
		wantAt := want.At
		if wantAt.IsZero() {
			wantAt = clock
		}
		if got.Who != who || got.Kind != kind || got.Unit != unit || got.Digest != digest || !got.At.Equal(wantAt) || got.Hash != rows[0].Hash || got.Hash != got.sum() {
			t.Fatalf("%+v is read back as %+v", want, got)
		}
		for i, change := range []func(*Row){
			func(r *Row) { r.Who, r.Kind = r.Who+firstOf(r.Kind), r.Kind[len(firstOf(r.Kind)):] },
			func(r *Row) { r.Unit, r.Digest = r.Unit+r.Digest, "" },
			func(r *Row) { r.At = r.At.Add(time.Second) },
			func(r *Row) { r.Detail = json.RawMessage(string(r.Detail) + " ") },
			func(r *Row) { r.Seq++ },
		} {
			other := got
			change(&other)
			if same := fmt.Sprint(other) == fmt.Sprint(got); !same && other.sum() == got.Hash {
				t.Fatalf("change %d of %+v keeps its hash", i, got)
			}
		}
	})
}

// firstOf is the first byte of a text that has one.
func firstOf(s string) string { return s[:min(1, len(s))] }

func FuzzTime(f *testing.F) {
	for _, s := range []string{"", "2031-01-24T12:00:00Z", "2031-01-24T12:00:00+01:00", "2031-01-24T12:00:00.5Z", "yesterday", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-12:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		at, err := ParseTime(s)
		// FormatTime writes years of four figures, as RFC 3339 does.
		if err != nil || at.Year() < 0 || at.Year() > 9999 {
			return
		}
		written := FormatTime(at)
		again, err := ParseTime(written)
		if err != nil || !again.Equal(at.Truncate(time.Second)) || FormatTime(again) != written {
			t.Fatalf("%q is %v, written %q, and that is %v, %v", s, at, written, again, err)
		}
	})
}
