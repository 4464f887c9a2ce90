package backup

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/post"
)

func TestABackupHoldsTheWorkspaceAndNoKeys(t *testing.T) {
	w := newWorld(t, 3)
	if err := w.reg.Leave(t.Context(), w.id(t, 0), "nell"); err != nil { // makes keys and marks
		t.Fatal(err)
	}
	if runtime.GOOS != "windows" {
		if err := os.Symlink("/etc", w.path("ws/log/link")); err != nil {
			t.Fatal(err)
		}
	}
	written := w.backup(t, "b.zip", Options{})
	var names []string
	for name := range contents(t, w.path("b.zip")) {
		names = append(names, name)
	}
	want := []string{"backup.json", "log/2031/2031-01-14-floor.md", "opencowl.db", "photos/floor.jpg", "wording/floor.md", "workshop.yaml"}
	if !slices.Equal(sorted(names), want) {
		t.Errorf("the backup holds %q, want %q", names, want)
	}
	if want := []string{"dkim-old.txt", "keys/dkim.pem", "keys/members.keys"}; !slices.Equal(sorted(written.LeftOut), want) {
		t.Errorf("left out %q, want %q", written.LeftOut, want)
	}
	if runtime.GOOS != "windows" {
		if len(written.Skipped) != 1 || !strings.Contains(written.Skipped[0], "log/link") {
			t.Errorf("skipped %q, want the link", written.Skipped)
		}
		if info, err := os.Stat(w.path("b.zip")); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("mode %v, %v; want 600", info.Mode(), err)
		}
	}
	if written.Marks != 1 {
		t.Errorf("%d marks, want 1", written.Marks)
	}
	m, err := Check(t.Context(), w.path("b.zip"))
	if err != nil || len(m.Files) != len(want)-1 || m.Head == "" {
		t.Errorf("checked: %+v, %v", m, err)
	}
	w.backup(t, "keys.zip", Options{Keys: true})
	with := contents(t, w.path("keys.zip"))
	if with["keys/dkim.pem"] != "a key" || with["keys/members.keys"] == "" || with["keys/members.marks"] != "" {
		t.Error("with keys: the keys are to be in it, and the marks are not")
	}
	if left := below(t, w.path("ws/.opencowl")); slices.Contains(left, "backup") {
		t.Errorf("left behind: %q", left)
	}
}

func TestABackupWritesOverNothingAndNotIntoTheWorkspace(t *testing.T) {
	w := newWorld(t, 1)
	w.backup(t, "b.zip", Options{})
	before, _ := os.ReadFile(w.path("b.zip"))
	if _, err := Write(t.Context(), w.ws, w.db, w.path("b.zip"), Options{Made: friday}); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over a file: %v", err)
	}
	if after, _ := os.ReadFile(w.path("b.zip")); string(after) != string(before) {
		t.Error("the file changed")
	}
	inside := []string{w.path("ws/b.zip"), w.path("ws/new/b.zip"), w.path("elsewhere/../ws/b.zip")}
	if runtime.GOOS != "windows" {
		if err := os.Symlink(w.path("ws/log"), w.path("link")); err != nil {
			t.Fatal(err)
		}
		inside = append(inside, w.path("link/b.zip"))
	}
	for _, name := range inside {
		if _, err := Write(t.Context(), w.ws, w.db, name, Options{Made: friday}); !errors.Is(err, ErrInside) {
			t.Errorf("%s: %v, want ErrInside", name, err)
		}
	}
}

// TestABackupWhilePostingIsOneMoment makes backups between the letters of a run on
// two connections. A letter that the server had before a backup was begun is in it as
// sent, or on its way past the point of no return; and nothing is sent in it that the
// server had not got by the backup's end.
func TestABackupWhilePostingIsOneMoment(t *testing.T) {
	const members = 40
	w := newWorld(t, members)
	inboxDir, smtp := mailbox(t)
	var made int
	during := map[string]bool{}
	opt := post.Options{SMTP: smtp, Sessions: 2, By: "nell", Now: now, Progress: func(p post.Progress) {
		if p.Sent%4 != 1 || len(during) > 10 {
			return
		}
		name := fmt.Sprintf("during-%d.zip", made)
		made++
		before := len(got(t, inboxDir))
		if _, err := Write(t.Context(), w.ws, w.db, w.path(name), Options{Made: friday}); err != nil {
			t.Error(err)
			return
		}
		after := len(got(t, inboxDir))
		db := inBackup(t, w.path(name))
		rows := count(t, db, `SELECT COUNT(*) FROM deliveries`)
		sent := count(t, db, `SELECT COUNT(*) FROM deliveries WHERE state = 'sent'`)
		closing := count(t, db, `SELECT COUNT(*) FROM deliveries WHERE state = 'closing'`)
		if rows != members || sent+closing < before || sent > after {
			t.Errorf("%s: %d rows, %d sent, %d closing; the server had %d before and %d after", name, rows, sent, closing, before, after)
		}
		if broken, err := db.VerifyLedger(t.Context()); err != nil || len(broken) > 0 {
			t.Errorf("%s: ledger %v, %v", name, broken, err)
		}
		during[name] = true
	}}
	report, err := post.Send(t.Context(), w.db, job(w.reg.Keys), opt)
	if err != nil || report.Sent != members {
		t.Fatalf("%+v, %v", report, err)
	}
	if made < 5 {
		t.Fatalf("only %d backups were made while letters went", made)
	}
	// None of them sends a second letter to anybody, whatever is settled but "waiting".
	for name := range during {
		dir := strings.TrimSuffix(w.path(name), ".zip")
		opt := w.restoring()
		opt.MarksLost = true
		if _, err := Restore(t.Context(), w.path(name), dir, opt); err != nil {
			t.Fatal(err)
		}
		old := &world{dir: w.dir}
		old.open(t, filepath.Base(dir))
		if n := count(t, old.db, `SELECT COUNT(*) FROM deliveries WHERE state IN ('waiting', 'leased', 'closing')`); n != 0 {
			t.Errorf("%s: %d letters would go out again", name, n)
		}
	}
}

func TestWhoIsForgottenIsInNoLaterBackup(t *testing.T) {
	w := newWorld(t, 30)
	w.write(t, "members.csv", "name,email\nNr 7,"+address(7)+"\nNr 8,"+address(8)+"\n")
	w.backup(t, "before.zip", Options{})
	if in := holding(t, w.path("before.zip"), address(7)); !slices.Equal(in, []string{"members.csv", "opencowl.db"}) {
		t.Fatalf("before, the address is in %q; this test looks for nothing", in)
	}
	if _, err := w.reg.Forget(t.Context(), address(7), "nell"); err != nil {
		t.Fatal(err)
	}
	if _, err := w.reg.EraseFiles(t.Context(), w.ws, address(7)); err != nil {
		t.Fatal(err)
	}
	// The database's own file is not written anew here: a copy has nothing deleted anyway.
	w.backup(t, "after.zip", Options{Keys: true})
	if in := holding(t, w.path("after.zip"), address(7)); in != nil {
		t.Errorf("after, the address is in %q", in)
	}
	if in := holding(t, w.path("after.zip"), address(8)); len(in) != 2 {
		t.Errorf("somebody else is in %q", in)
	}
}

// holding lists the files of a backup that hold a text.
func holding(t *testing.T, name, text string) []string {
	t.Helper()
	var in []string
	for file, data := range contents(t, name) {
		if strings.Contains(strings.ToLower(data), text) {
			in = append(in, file)
		}
	}
	return sorted(in)
}

func TestABackupDuringWhichSomebodyIsForgottenIsThrownAway(t *testing.T) {
	w := newWorld(t, 3)
	opt := Options{Made: friday, Progress: func(done, _ int) {
		if done == 1 {
			if _, err := w.reg.Forget(t.Context(), address(1), "nell"); err != nil {
				t.Error(err)
			}
		}
	}}
	if _, err := Write(t.Context(), w.ws, w.db, w.path("b.zip"), opt); !errors.Is(err, ErrForgotten) {
		t.Errorf("%v, want ErrForgotten", err)
	}
	if left := below(t, w.dir); slices.ContainsFunc(left, func(n string) bool { return strings.HasSuffix(n, ".zip") || strings.HasSuffix(n, ".part") }) {
		t.Errorf("left behind: %q", left)
	}
}

// killedIn names, for a process of its own, the world in which it is killed and how.
const killedIn = "OPENCOWL_TEST_KILLED_IN"

// TestAKilledProcess is what the killed processes run; it does nothing otherwise.
func TestAKilledProcess(t *testing.T) {
	dir, step, is := strings.Cut(os.Getenv(killedIn), "|")
	if !is {
		return
	}
	var what string
	var at int
	if _, err := fmt.Sscanf(step, "%s %d", &what, &at); err != nil {
		t.Fatal(err)
	}
	die := func(done, _ int) {
		if done == at {
			self, err := os.FindProcess(os.Getpid())
			if err == nil {
				err = self.Kill()
			}
			t.Error(err)
			select {} // until it is dead
		}
	}
	w := &world{dir: dir}
	if what == "restore" {
		opt := w.restoring()
		opt.MarksLost, opt.Progress = true, die
		_, err := Restore(t.Context(), w.path("good.zip"), w.path("again"), opt)
		t.Fatal("it was not killed", err)
	}
	w.open(t, "ws")
	_, err := Write(t.Context(), w.ws, w.db, w.path("b.zip"), Options{Made: friday, Progress: die})
	t.Fatal("it was not killed", err)
}

func TestAKillLeavesNothingHalf(t *testing.T) {
	w := newWorld(t, 3)
	w.backup(t, "good.zip", Options{})
	for _, step := range []string{"backup 1", "backup 4", "restore 1", "restore 5"} {
		cmd := exec.Command(os.Args[0], "-test.run=^TestAKilledProcess$")
		cmd.Env = append(os.Environ(), killedIn+"="+w.dir+"|"+step)
		out, err := cmd.CombinedOutput()
		if err == nil || strings.Contains(string(out), "it was not killed") {
			t.Fatalf("%s: %v\n%s", step, err, out)
		}
		for _, name := range []string{"b.zip", "again"} {
			if _, err := os.Lstat(w.path(name)); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("%s: %s is there: %v", step, name, err)
			}
		}
	}
	// The next ones come to their end; of unfinished backups nothing is left.
	w.backup(t, "b.zip", Options{})
	if left := below(t, w.dir); slices.ContainsFunc(left, func(n string) bool { return strings.HasSuffix(n, ".part") && !strings.HasPrefix(n, ".opencowl-new-") }) || slices.Contains(left, "ws/.opencowl/backup") {
		t.Errorf("left behind: %q", left)
	}
	opt := w.restoring()
	opt.MarksLost = true
	if _, err := Restore(t.Context(), w.path("b.zip"), w.path("again"), opt); err != nil {
		t.Error(err)
	}
}

func TestABackupSaysThatTheLedgerIsNotWhole(t *testing.T) {
	w := newWorld(t, 1)
	if written := w.backup(t, "b.zip", Options{}); len(written.Broken) > 0 {
		t.Errorf("a whole ledger: %v", written.Broken)
	}
	for _, s := range []string{`DROP TRIGGER ledger_no_update`, `UPDATE ledger SET who = 'somebody else' WHERE seq = 1`} {
		if err := w.db.Tx(t.Context(), func(tx *sql.Tx) error { _, err := tx.Exec(s); return err }); err != nil {
			t.Fatal(err)
		}
	}
	if written := w.backup(t, "c.zip", Options{}); len(written.Broken) != 1 || written.Broken[0].Seq != 1 {
		t.Errorf("%v, want row 1", written.Broken)
	}
}
