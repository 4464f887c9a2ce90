package noninterference

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/opencowl/internal/cli"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/post/inbox"
	"example.org/opencowl/internal/store"
)

// What the small workshop has made and is about to make.
const (
	tour     = "winter-hangar"
	pastWeek = "2031-W05"
	thisWeek = "2031-W07"
)

var decidedOn = day.MustParse("2031-01-30")

// clock stands still, so that nothing hangs on the day on which tests are run.
func clock() time.Time { return time.Date(2033, 3, 3, 9, 30, 0, 0, time.UTC) }

// shop is a workspace on disk at which a person works by the command line.
type shop struct {
	t    testing.TB
	dir  string
	tree *tree
	// said collects what commands tell the person who is at work.
	said bytes.Buffer
	wire *recorder
}

// copies is where all workspaces keep public copies of photos: they are named by
// their content, and scaled once.
var copies = sync.OnceValues(func() (string, error) { return os.MkdirTemp("", "opencowl-copies-") })

// keys are those of every workshop: they are random, and links are made with them.
var keys = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "opencowl-keys-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	made := member.KeysIn(filepath.Join(dir, "members.keys"), clock, nil)
	if _, err := made.Rotate(); err != nil {
		return nil, err
	}
	return os.ReadFile(made.Path())
})

// newShop lays a tree out on disk, with a database if one is given.
func newShop(t testing.TB, w *tree, database []byte) *shop {
	t.Helper()
	dir, err := os.MkdirTemp("", "opencowl-shop-")
	if err != nil {
		t.Fatal(err)
	}
	s := &shop{t: t, dir: dir, tree: w}
	w.write(t, dir)
	if database != nil {
		if err := os.WriteFile(s.path("opencowl.db"), database, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	made, err := keys()
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.Mkdir(s.path("keys"), 0o700), os.WriteFile(s.path("keys/members.keys"), made, 0o600)); err != nil {
		t.Fatal(err)
	}
	shared, err := copies()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(s.path(".opencowl"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(shared, s.path(".opencowl/copies")); err != nil {
		t.Logf("the copies are made anew: %v", err)
	}
	if s.wire, err = record(s.path("inbox")); err != nil {
		t.Fatal(err)
	}
	s.write(settings, strings.Replace(w.files[settings], "smtp://127.0.0.1:2525", "smtp://"+s.wire.addr(), 1))
	return s
}

// close ends the mail server and takes the folder away.
func (s *shop) close() {
	if err := s.wire.close(); err != nil {
		s.t.Error(err)
	}
	os.RemoveAll(s.dir)
}

func (s *shop) path(name string) string { return filepath.Join(s.dir, filepath.FromSlash(name)) }

func (s *shop) write(name, text string) {
	s.t.Helper()
	if err := os.WriteFile(s.path(name), []byte(text), 0o644); err != nil {
		s.t.Fatal(err)
	}
}

// run gives one command on a day and returns its exit code and machine output.
func (s *shop) run(on day.Date, args ...string) (int, []byte) {
	var out bytes.Buffer
	args = append(args, "--workspace", s.dir, "--today", on.String(), "--json")
	fmt.Fprintf(&s.said, "$ opencowl %s\n", strings.Join(args[:len(args)-5], " "))
	code := cli.Run(context.Background(), args, cli.Streams{In: strings.NewReader(""), Out: &out, Err: &s.said}, clock)
	return code, out.Bytes()
}

// must is run for a command that has to succeed.
func (s *shop) must(on day.Date, args ...string) []byte {
	s.t.Helper()
	s.said.Reset()
	code, out := s.run(on, args...)
	if code != 0 {
		s.t.Fatalf("exit code %d\n%s", code, &s.said)
	}
	return out
}

// database closes over the bytes of the database, for another shop to begin with.
func (s *shop) database() []byte {
	s.t.Helper()
	data, err := os.ReadFile(s.path("opencowl.db"))
	if err != nil {
		s.t.Fatal(err)
	}
	if log, err := os.Stat(s.path("opencowl.db-wal")); err == nil && log.Size() > 0 {
		s.t.Fatal("the database was copied with its log still beside it")
	}
	return data
}

// enrol makes the database of a workshop before it begins: members with their ids,
// and the key that letters are named by. Both are random, and so made once.
func (s *shop) enrol() []byte {
	s.t.Helper()
	s.must(decidedOn, "members", "import", s.path("members.csv"), "--by", s.tree.byName("Nell Ostwick"))
	ctx := context.Background()
	db, err := store.Open(ctx, s.path("opencowl.db"), store.Options{})
	if err != nil {
		s.t.Fatal(err)
	}
	if _, err := db.Secret(ctx, "letters"); err != nil {
		s.t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		s.t.Fatal(err)
	}
	return s.database()
}

// unit is a unit of public text as decide lists it.
type unit struct {
	ID, Standing string
	Findings     []struct{ Advice bool }
}

// leaves reports whether nothing keeps the unit from leaving.
func (u unit) leaves() bool { return u.Standing == "cleared" && !u.stops() }

func (u unit) stops() bool {
	return slices.ContainsFunc(u.Findings, func(f struct{ Advice bool }) bool { return !f.Advice })
}

func (s *shop) units(on day.Date) []unit {
	s.t.Helper()
	var units []unit
	code, out := s.run(on, "decide")
	if code != 0 {
		s.t.Fatalf("decide: exit code %d\n%s", code, &s.said)
	}
	if err := json.Unmarshal(out, &units); err != nil {
		s.t.Fatal(err)
	}
	return units
}

// held lists the units that may not leave, photos that are not offered apart.
func held(units []unit) []string {
	var ids []string
	for _, u := range units {
		if u.Standing != "kept" && !u.leaves() {
			ids = append(ids, u.ID)
		}
	}
	return ids
}

// decideAll clears whatever waits and passes the checks.
func (s *shop) decideAll(on day.Date) {
	var others, editions []string
	for _, u := range s.units(on) {
		switch {
		case u.Standing != "waiting" && u.Standing != "stale" || u.stops():
		case strings.HasPrefix(u.ID, "edition/"):
			editions = append(editions, u.ID)
		default:
			others = append(others, u.ID)
		}
	}
	if len(others) > 0 {
		s.run(on, append([]string{"decide", "--by", s.tree.byName("Ines Hallow"), "--nothing-readable"}, others...)...)
	}
	if len(editions) > 0 {
		s.run(on, append([]string{"decide", "--by", s.tree.byName("Orla Tressick"), "--nothing-readable"}, editions...)...)
	}
}

// past is what had happened by today: all was decided, an edition sent, and a story
// in it corrected, with a fact that the story releases.
func (s *shop) past() {
	s.decideAll(decidedOn)
	s.send(frozenOn, pastWeek)
	loss := releasedLoss.FindString(s.tree.files["wording/floor-strip.md"])
	s.run(frozenOn, "correct", "floor-strip", "--by", s.tree.byName("Nell Ostwick"), "--say", "The strip was a spare, and had lost "+loss+" all the same.")
	s.decideAll(frozenOn)
}

var releasedLoss = regexp.MustCompile(`\{fact:[^}]*\.loss\|percent\}`)

func (s *shop) send(on day.Date, week string) (codes [2]int) {
	officer := s.tree.byName("Nell Ostwick")
	codes[0], _ = s.run(on, "edition", week, "--freeze", "--by", officer, "-o", s.path("out/edition-"+week))
	codes[1], _ = s.run(on, "post", week, "--by", officer, "--yes", "3")
	return codes
}

// outputs is everything that has left, by name.
type outputs map[string][]byte

// ledgerOnly is what the list of cards says for the ledger: the digest of what was
// decided, which covers the names of released facts. It is on no card.
var ledgerOnly = regexp.MustCompile(`"words": "[0-9a-f]{64}"`)

// make does today's work and returns what leaves: the cards and their list, in both
// languages of the workshop, the caution strips and the list of props, the letter, the
// archive, what the mail server got, and the exit codes. The run sheet carries the
// ledger's head, and stays in.
func (s *shop) make() outputs {
	s.t.Helper()
	out := outputs{}
	code, cards := s.run(today, "cards", tour, "-o", s.path("out/cards.pdf"))
	out["cards.json"] = ledgerOnly.ReplaceAll(bytes.ReplaceAll(cards, []byte(s.dir), nil), []byte(`"words": ""`))
	codes := []int{code}
	code, _ = s.run(today, "plan", tour, "--sheets", "cautions,props", "-o", s.path("out/sheets"))
	codes = append(codes, code)
	code, cards = s.run(today, "cards", tour, "--language", "fr", "-o", s.path("out/cards-fr.pdf"))
	out["cards-fr.json"] = ledgerOnly.ReplaceAll(bytes.ReplaceAll(cards, []byte(s.dir), nil), []byte(`"words": ""`))
	codes = append(codes, code)
	sent := s.send(today, thisWeek)
	codes = append(codes, sent[:]...)
	code, _ = s.run(today, "archive", "-o", s.path("out/archive"))
	out["exit codes"] = fmt.Append(nil, append(codes, code))
	for _, folder := range []string{"out", "inbox"} {
		s.gather(out, folder)
	}
	out["wire"] = s.wire.bytes()
	return out
}

// officerFile stands beside an edition's letter and says to the officer what the
// screen says, refusals included. Like the screen it does not leave.
const officerFile = "officer.txt"

func (s *shop) gather(into outputs, folder string) {
	s.t.Helper()
	err := filepath.WalkDir(s.path(folder), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == officerFile {
			return err
		}
		name, err := filepath.Rel(s.dir, path)
		if err != nil {
			return err
		}
		into[filepath.ToSlash(name)], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		s.t.Fatal(err)
	}
}

// difference says where two outputs part, or "".
func difference(before, after outputs) string {
	names := slices.Sorted(maps.Keys(before))
	for name := range after {
		if _, had := before[name]; !had {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	var all []string
	for _, name := range names {
		b, had := before[name]
		a, has := after[name]
		switch {
		case !had:
			all = append(all, name+" is new")
		case !has:
			all = append(all, name+" is gone")
		case !bytes.Equal(a, b):
			all = append(all, fmt.Sprintf("%s: %s", name, firstDifference(b, a)))
		}
	}
	if len(all) > 12 {
		all = append(all[:12], fmt.Sprintf("and %d more", len(all)-12))
	}
	return strings.Join(all, "\n")
}

func firstDifference(before, after []byte) string {
	i := 0
	for i < len(before) && i < len(after) && before[i] == after[i] {
		i++
	}
	around := func(b []byte) string { return string(b[max(0, i-40):min(len(b), i+60)]) }
	return fmt.Sprintf("at byte %d of %d and %d: %q, then %q", i, len(before), len(after), around(before), around(after))
}

// recorder is a mail server that files what it gets, behind a wire that remembers
// every byte that came over it.
type recorder struct {
	server   *inbox.Server
	listener net.Listener
	serving  sync.WaitGroup

	mu   sync.Mutex
	seen bytes.Buffer
}

func record(folder string) (*recorder, error) {
	server, err := inbox.Listen(folder)
	if err != nil {
		return nil, err
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		server.Close()
		return nil, err
	}
	r := &recorder{server: server, listener: listener}
	r.serving.Go(func() {
		for {
			client, err := listener.Accept()
			if err != nil {
				return
			}
			r.serving.Go(func() { r.pass(client) })
		}
	})
	return r, nil
}

// pass carries one conversation.
func (r *recorder) pass(client net.Conn) {
	defer client.Close()
	server, err := net.Dial("tcp", r.server.Addr())
	if err != nil {
		return
	}
	defer server.Close()
	r.serving.Go(func() {
		io.Copy(client, server)
		client.Close()
	})
	io.Copy(server, io.TeeReader(client, r))
}

// Write remembers what the client said.
func (r *recorder) Write(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.seen.Write(p)
}

func (r *recorder) addr() string { return r.listener.Addr().String() }

func (r *recorder) bytes() []byte {
	r.mu.Lock()
	defer r.mu.Unlock()
	return bytes.Clone(r.seen.Bytes())
}

func (r *recorder) close() error {
	err := r.listener.Close()
	if second := r.server.Close(); err == nil {
		err = second
	}
	r.serving.Wait()
	return err
}
