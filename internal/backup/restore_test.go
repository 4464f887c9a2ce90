package backup

import (
	"database/sql"
	"errors"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/pressly/goose/v3"

	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/post"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// recipients lists who got letters in a mailbox, sorted.
func recipients(t *testing.T, dir string) []string {
	t.Helper()
	var to []string
	for _, name := range got(t, dir) {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		letter, err := mail.ReadMessage(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		list, err := letter.Header.AddressList("To")
		if err != nil {
			t.Fatal(err)
		}
		to = append(to, list[0].Address)
	}
	return sorted(to)
}

func TestARestoredBackupIsTheWorkspace(t *testing.T) {
	w := newWorld(t, 3)
	if err := w.reg.Leave(t.Context(), w.id(t, 0), "nell"); err != nil {
		t.Fatal(err)
	}
	w.backup(t, "b.zip", Options{Keys: true})
	r, err := Restore(t.Context(), w.path("b.zip"), w.path("again"), w.restoring())
	if err != nil {
		t.Fatal(err)
	}
	if r.Left != 0 || r.Erased != 0 {
		t.Errorf("%d left and %d erased, want nobody: all of it is in the backup", r.Left, r.Erased)
	}
	for _, name := range below(t, w.path("ws")) {
		info, err := os.Lstat(w.path("ws/" + name))
		if err != nil || info.IsDir() || strings.HasPrefix(name, "opencowl.db") || strings.HasPrefix(name, "out/") || strings.HasPrefix(name, ".opencowl/") {
			continue
		}
		want, _ := os.ReadFile(w.path("ws/" + name))
		if got, err := os.ReadFile(w.path("again/" + name)); err != nil || string(got) != string(want) {
			t.Errorf("%s: %q, %v; want %q", name, got, err, want)
		}
	}
	again := &world{dir: w.dir}
	again.open(t, "again")
	if n := count(t, again.db, `SELECT COUNT(*) FROM members WHERE state = 'joined'`); n != 2 {
		t.Errorf("%d members, want 2", n)
	}
	if broken, err := again.db.VerifyLedger(t.Context()); err != nil || len(broken) > 0 {
		t.Errorf("ledger: %v, %v", broken, err)
	}
	if _, err := Restore(t.Context(), w.path("b.zip"), w.path("again"), w.restoring()); !errors.Is(err, workspace.ErrNotEmpty) {
		t.Errorf("over a workspace: %v", err)
	}
}

// TestAnOldBackupMailsNobodyWhoLeftSince has one leave and one be forgotten after a
// backup, restores it, settles it, and posts.
func TestAnOldBackupMailsNobodyWhoLeftSince(t *testing.T) {
	w := newWorld(t, 6)
	w.backup(t, "b.zip", Options{})
	if err := w.reg.Leave(t.Context(), w.id(t, 1), "nell"); err != nil {
		t.Fatal(err)
	}
	if _, err := w.reg.Forget(t.Context(), address(2), "nell"); err != nil {
		t.Fatal(err)
	}
	r, err := Restore(t.Context(), w.path("b.zip"), w.path("again"), w.restoring())
	if err != nil || r.Left != 1 || r.Erased != 1 {
		t.Fatalf("%+v, %v; want one left and one erased", r, err)
	}
	old := &world{dir: w.dir}
	old.open(t, "again")
	for _, name := range below(t, w.path("again")) {
		if data, err := os.ReadFile(w.path("again/" + name)); err == nil && strings.Contains(string(data), address(2)) {
			t.Errorf("again/%s holds the address of somebody who was forgotten", name)
		}
	}
	inboxDir, smtp := mailbox(t)
	send := func() (post.Report, error) {
		return post.Send(t.Context(), old.db, job(w.reg.Keys), post.Options{SMTP: smtp, By: "nell", Now: now})
	}
	if _, err := send(); !errors.Is(err, store.ErrHeld) {
		t.Errorf("before it is settled: %v, want ErrHeld", err)
	}
	// Who leaves between restoring and settling is out as well, where they left.
	if ended, err := old.db.SettleWeeks(t.Context(), []string{week}, store.StayedHere, "nell"); err != nil || ended {
		t.Fatalf("ended %v, %v", ended, err)
	}
	if _, err := send(); !errors.Is(err, store.ErrHeld) {
		t.Errorf("while one week is open: %v, want ErrHeld", err)
	}
	if letters := got(t, inboxDir); len(letters) > 0 {
		t.Fatalf("letters went out: %q", letters)
	}
	if ended, err := old.db.SettleWeeks(t.Context(), r.Weeks[1:], store.StayedHere, "nell"); err != nil || !ended {
		t.Fatalf("ended %v, %v", ended, err)
	}
	if report, err := send(); err != nil || report.Sent != 4 {
		t.Fatalf("%+v, %v", report, err)
	}
	if to, want := recipients(t, inboxDir), []string{address(0), address(3), address(4), address(5)}; !slices.Equal(to, want) {
		t.Errorf("letters went to %q, want %q", to, want)
	}
	if known, err := old.reg.Forget(t.Context(), address(2), "nell"); err != nil || known {
		t.Errorf("somebody who was forgotten is back: %v, %v", known, err)
	}
}

func TestMarksThatAreOlderThanTheBackupAreRefused(t *testing.T) {
	w := newWorld(t, 3)
	opt := w.restoring()
	w.backup(t, "none.zip", Options{})
	if _, err := Restore(t.Context(), w.path("none.zip"), w.path("again"), opt); !errors.Is(err, ErrMarks) {
		t.Errorf("without marks: %v", err)
	}
	if err := w.reg.Leave(t.Context(), w.id(t, 0), "nell"); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(w.path("early"), os.DirFS(w.path("ws/keys"))); err != nil {
		t.Fatal(err)
	}
	if err := w.reg.Leave(t.Context(), w.id(t, 1), "nell"); err != nil {
		t.Fatal(err)
	}
	w.backup(t, "b.zip", Options{})
	opt.MarksFrom = w.path("early")
	if _, err := Restore(t.Context(), w.path("b.zip"), w.path("again"), opt); !errors.Is(err, ErrMarks) {
		t.Errorf("with early marks: %v", err)
	}
	if slices.ContainsFunc(below(t, w.dir), func(n string) bool { return n == "again" || strings.HasPrefix(n, ".opencowl-new-") }) {
		t.Error("something was left behind")
	}
}

// TestLettersOnTheirWayAreUnsure restores a backup of a run that was broken off.
func TestLettersOnTheirWayAreUnsure(t *testing.T) {
	for as, want := range map[store.Outcome]string{store.WentOut: "sent", store.StayedHere: "waiting", store.InPart: "unsure"} {
		t.Run(string(as), func(t *testing.T) {
			w := newWorld(t, 4)
			for _, s := range []string{
				`UPDATE editions SET state = 'sending'`, `INSERT INTO post_runs (id, until) VALUES ('r', 9999999999999)`,
				`INSERT INTO deliveries (week, member, state, at, run) SELECT '` + week + `', id, 'waiting', '', 'r' FROM members`,
				`UPDATE deliveries SET state = 'sent' WHERE member = '` + w.id(t, 0) + `'`,
				`UPDATE deliveries SET state = 'leased' WHERE member = '` + w.id(t, 1) + `'`,
				`UPDATE deliveries SET state = 'closing' WHERE member = '` + w.id(t, 2) + `'`,
			} {
				if err := w.db.Tx(t.Context(), func(tx *sql.Tx) error { _, err := tx.Exec(s); return err }); err != nil {
					t.Fatal(err)
				}
			}
			w.backup(t, "b.zip", Options{})
			opt := w.restoring()
			opt.MarksLost = true
			r, err := Restore(t.Context(), w.path("b.zip"), w.path("again"), opt)
			if err != nil {
				t.Fatal(err)
			}
			old := &world{dir: w.dir}
			old.open(t, "again")
			in := func(state string) int {
				return count(t, old.db, `SELECT COUNT(*) FROM deliveries WHERE state = $1`, state)
			}
			if in("sent") != 1 || in("unsure") != 3 {
				t.Fatalf("%d sent and %d unsure, want 1 and 3", in("sent"), in("unsure"))
			}
			if _, err := old.db.SettleWeeks(t.Context(), r.Weeks[:1], as, "nell"); err != nil {
				t.Fatal(err)
			}
			if n := in(want); want == "sent" && n != 4 || want != "sent" && n != 3 {
				t.Errorf("%d letters are %s", n, want)
			}
		})
	}
}

// TestAnEditionThatIsLostIsNotFrozenAnew settles one that went out after the backup.
func TestAnEditionThatIsLostIsNotFrozenAnew(t *testing.T) {
	w := newWorld(t, 2)
	w.backup(t, "b.zip", Options{})
	opt := w.restoring()
	opt.MarksLost = true
	opt.Clock = func(*workspace.Workspace) func() time.Time {
		return func() time.Time { return friday.AddDate(0, 0, 14) }
	}
	r, err := Restore(t.Context(), w.path("b.zip"), w.path("again"), opt)
	if want := []string{"2031-W04", "2031-W05", "2031-W06", "2031-W07"}; err != nil || !slices.Equal(r.Weeks, want) {
		t.Fatalf("to settle: %q, %v; want %q", r.Weeks, err, want)
	}
	old := &world{dir: w.dir}
	old.open(t, "again")
	freeze := func(week string) error {
		return old.db.Freeze(t.Context(), store.Edition{Week: week, Subject: "s", Digest: "d"}, store.Entry{Kind: "frozen"})
	}
	if err := freeze("2031-W06"); !errors.Is(err, store.ErrHeld) {
		t.Errorf("before it is settled: %v", err)
	}
	if err := old.db.Thaw(t.Context(), week, store.Entry{Kind: "thawed"}); !errors.Is(err, store.ErrHeld) {
		t.Errorf("thawed before it is settled: %v", err)
	}
	if _, err := old.db.SettleWeeks(t.Context(), []string{"2031-W09"}, store.WentOut, "nell"); !errors.Is(err, store.ErrNotHeld) {
		t.Errorf("a week that waits for nothing: %v", err)
	}
	if _, err := old.db.SettleWeeks(t.Context(), []string{"2031-W04", "2031-W06"}, store.WentOut, "nell"); err != nil {
		t.Fatal(err)
	}
	if _, err := old.db.SettleWeeks(t.Context(), []string{"2031-W05", "2031-W07"}, store.StayedHere, "nell"); err != nil {
		t.Fatal(err)
	}
	if err := freeze("2031-W05"); !errors.Is(err, store.ErrExists) {
		t.Errorf("before the lost one: %v", err)
	}
	if err := freeze("2031-W06"); !errors.Is(err, store.ErrExists) {
		t.Errorf("the lost one: %v", err)
	}
	if err := freeze("2031-W07"); err != nil {
		t.Errorf("after the lost one: %v", err)
	}
	if e, err := old.db.Edition(t.Context(), week); err != nil || e.State != store.Sent {
		t.Errorf("the one that went out is %s, %v", e.State, err)
	}
}

// TestABackupOfTheFirstTablesIsBroughtUpToDate restores a database as the first
// version of the program left it.
func TestABackupOfTheFirstTablesIsBroughtUpToDate(t *testing.T) {
	w := newWorld(t, 1)
	path := filepath.Join(t.TempDir(), databaseName)
	pool, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	runner, err := goose.NewProvider(goose.DialectSQLite3, pool, os.DirFS("../store/migrations"), goose.WithDisableGlobalRegistry(true), goose.WithLogger(goose.NopLogger()))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := runner.UpTo(t.Context(), 1); err != nil {
		t.Fatal(err)
	}
	if _, err := pool.Exec(`INSERT INTO members (id, address, name, state, added_at) VALUES ('m1', 'ada@example.org', 'Ada', 'joined', '2031-01-01T00:00:00Z');
		INSERT INTO consents (member, place, basis, source, wording_version, consented_at) VALUES ('m1', 1, 'consent', 'form', 'v1', '2030-01-01T00:00:00Z')`); err != nil {
		t.Fatal(err)
	}
	if err := pool.Close(); err != nil {
		t.Fatal(err)
	}
	old, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sealed(t, w.path("old.zip"), []entry{{name: databaseName, text: string(old)}, {name: "workshop.yaml", text: settings}}, func(m *Manifest) { m.Tables = 1 })
	opt := w.restoring()
	opt.MarksLost = true
	if _, err := Restore(t.Context(), w.path("old.zip"), w.path("again"), opt); err != nil {
		t.Fatal(err)
	}
	again := &world{dir: w.dir}
	again.open(t, "again")
	newest, err1 := store.Newest()
	version, err2 := again.db.Version(t.Context())
	if err := errors.Join(err1, err2); err != nil || version != newest || newest < 2 {
		t.Errorf("version %d, newest %d, %v", version, newest, err)
	}
	if m, err := member.ByAddress(t.Context(), again.db, "ada@example.org"); err != nil || m.Consent.Source != "form" {
		t.Errorf("%+v, %v", m, err)
	}
}

func TestSomethingIsAlwaysAsked(t *testing.T) {
	w := newWorld(t, 1)
	at := func(days int) time.Time { return friday.AddDate(0, 0, days) }
	for _, c := range []struct {
		name      string
		made, now time.Time
		state     string // of the edition of 2031-W04
		want      []string
	}{
		{"the same day", at(0), at(0), "sent", []string{"2031-W05"}},
		{"one that was not posted", at(0), at(0), "frozen", []string{"2031-W04", "2031-W05"}},
		{"two weeks on", at(0), at(14), "sent", []string{"2031-W05", "2031-W06", "2031-W07"}},
		{"over the new year of 2030", at(-35), at(-35), "sent", []string{"2031-W05"}},
		{"a clock that was put back", at(0), at(-300), "stopped", []string{"2031-W04", "2031-W05"}},
		{"a year on", at(0), at(364), "sent", nil},
	} {
		if err := w.db.Tx(t.Context(), func(tx *sql.Tx) error {
			_, err := tx.Exec(`UPDATE editions SET state = $1`, c.state)
			return err
		}); err != nil {
			t.Fatal(err)
		}
		weeks, err := weeksSince(t.Context(), w.db, c.made, c.now)
		if c.want == nil { // 2031 has 52 weeks (ISO 8601)
			if err != nil || len(weeks) != 53 || weeks[47] != "2031-W52" || weeks[48] != "2032-W01" {
				t.Errorf("%s: %q, %v", c.name, weeks, err)
			}
			continue
		}
		if err != nil || !slices.Equal(weeks, c.want) {
			t.Errorf("%s: %q, %v; want %q", c.name, weeks, err, c.want)
		}
	}
}

func TestTheFolderIsNamedAfterTheBackup(t *testing.T) {
	for from, want := range map[string]string{"/mnt/stick/2031-02-12.zip": "2031-02-12", "b": "b"} {
		if got := Name(from); got != want {
			t.Errorf("%s: %q, want %q", from, got, want)
		}
	}
}

// TestACopyPutInPlaceByHandPostsNothing takes the database out of a backup that was
// made in the middle of posting.
func TestACopyPutInPlaceByHandPostsNothing(t *testing.T) {
	for as, want := range map[store.Outcome]string{store.WentOut: "sent", store.StayedHere: "waiting", store.InPart: "unsure"} {
		w := newWorld(t, 3)
		for _, s := range []string{`UPDATE editions SET state = 'sending'`, `INSERT INTO deliveries (week, member, state, at) SELECT '` + week + `', id, 'waiting', '' FROM members`,
			`UPDATE deliveries SET state = 'closing' WHERE member = '` + w.id(t, 0) + `'`} {
			if err := w.db.Tx(t.Context(), func(tx *sql.Tx) error { _, err := tx.Exec(s); return err }); err != nil {
				t.Fatal(err)
			}
		}
		w.backup(t, "b.zip", Options{})
		if h, err := w.db.Held(t.Context()); h != nil || err != nil {
			t.Errorf("the workspace itself is held: %v, %v", h, err)
		}
		db := inBackup(t, w.path("b.zip"))
		inboxDir, smtp := mailbox(t)
		if _, err := post.Send(t.Context(), db, job(w.reg.Keys), post.Options{SMTP: smtp, By: "nell", Now: now}); !errors.Is(err, store.ErrHeld) {
			t.Errorf("posted: %v, want ErrHeld", err)
		}
		h, err := db.Held(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if ended, err := db.SettleWeeks(t.Context(), h.Weeks[:1], as, "nell"); err != nil || ended {
			t.Fatal(ended, err)
		}
		if n := count(t, db, `SELECT COUNT(*) FROM deliveries WHERE state = $1`, want); n != 3 {
			t.Errorf("%s: %d letters are %s, want 3", as, n, want)
		}
		if letters := got(t, inboxDir); len(letters) > 0 {
			t.Errorf("letters went out: %q", letters)
		}
	}
}
