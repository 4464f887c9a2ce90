package cli_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"example.org/opencowl/internal/cli"
	"example.org/opencowl/internal/store"
)

// What is written down happened when it did, on the workshop's own day: neither the
// machine's time zone nor the hour at which clocks change moves it.
func TestTheWorkshopsClockCounts(t *testing.T) {
	from, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	zone := func(name string) *time.Location {
		loc, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		return loc
	}
	for _, c := range []struct{ workshop, machine, now, today, want string }{
		{"Pacific/Kiritimati", "UTC", "2031-02-12T12:00:00Z", "", "2031-02-12T12:00:00Z"},             // the 13th there
		{"Pacific/Pago_Pago", "Asia/Tokyo", "2031-02-12T08:00:00Z", "", "2031-02-12T08:00:00Z"},       // the 11th there
		{"Europe/London", "America/New_York", "2031-03-30T23:30:00Z", "", "2031-03-30T23:30:00Z"},     // the 31st there, since that morning
		{"Europe/London", "UTC", "2031-10-26T00:30:00Z", "", "2031-10-26T00:30:00Z"},                  // 1.30, which comes twice
		{"Europe/London", "Asia/Tokyo", "2031-02-12T23:30:00Z", "2031-02-13", "2031-02-13T23:30:00Z"}, // another day, the same hour
		{"Europe/London", "UTC", "2031-02-12T12:00:00Z", "2031-07-01", "2031-07-01T11:00:00Z"},        // noon in summer
	} {
		dir := filepath.Join(t.TempDir(), "w")
		if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
			t.Fatal(err)
		}
		edit(t, filepath.Join(dir, "workshop.yaml"), "Europe/London", c.workshop)
		edit(t, filepath.Join(dir, "workshop.yaml"), "today: 2031-02-12", "")
		now, err := time.Parse(time.RFC3339, c.now)
		if err != nil {
			t.Fatal(err)
		}
		var said bytes.Buffer
		code := cli.Run(t.Context(), []string{"correct", "floor-stiffener", "--say", "It was a spare.", "--by", "ines", "--workspace", dir, "--today", c.today},
			cli.Streams{Out: &said, Err: &said}, func() time.Time { return now.In(zone(c.machine)) })
		if code != 0 {
			t.Fatalf("%+v: exit code %d\n%s", c, code, &said)
		}
		db, err := store.Open(t.Context(), filepath.Join(dir, "opencowl.db"), store.Options{})
		if err != nil {
			t.Fatal(err)
		}
		rows, err := db.Ledger(t.Context(), store.Filter{Kind: "corrected"})
		if err != nil || len(rows) != 1 || rows[0].At.Format(time.RFC3339) != c.want {
			t.Errorf("%+v: the ledger has %+v, %v", c, rows, err)
		}
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}
}

func edit(t *testing.T, file, from, to string) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(data, []byte(from)) {
		t.Fatalf("%s does not hold %q", file, from)
	}
	if err := os.WriteFile(file, bytes.Replace(data, []byte(from), []byte(to), 1), 0o644); err != nil {
		t.Fatal(err)
	}
}
