package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/post"
	"example.org/opencowl/internal/post/inbox"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// The demo's coming week, and who does what in it.
const (
	tryoutTour    = "winter-hangar"
	tryoutWeek    = "2031-W07"
	tryoutOfficer = "nell"
)

// tryoutReport is the machine output of tryout.
type tryoutReport struct {
	Folder  string   `json:"folder"`
	Already bool     `json:"already"` // it was all there before
	Cleared int      `json:"cleared"`
	Cards   int      `json:"cards"`
	Letters int      `json:"letters"`
	Open    []string `json:"open"`
}

func (a *app) tryoutCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "tryout [DIR]",
		Short: "The whole job on the invented demo, in a new folder",
		Long: `Make the demo workspace in a new folder and do the whole job on it: check, clear what
waits, print the cards of a tour, assemble and freeze the coming update, build the
archive, and post the letters through real SMTP to a mail server inside this command,
which files them in the folder inbox. Nothing leaves this machine. Then see what to open.

A second run says what is there and changes nothing.`,
		Example: "  opencowl tryout\n  opencowl tryout /tmp/opencowl-tryout",
		Args:    args(0, 1, "one folder at the most"),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := "opencowl-tryout"
			if len(args) > 0 {
				dir = args[0]
			}
			r, err := a.tryout(cmd.Context(), dir)
			if err != nil {
				return err
			}
			return a.print(r)
		},
	}
}

func (a *app) tryout(ctx context.Context, dir string) (*tryoutReport, error) {
	r := &tryoutReport{Folder: dir}
	switch _, err := os.Lstat(filepath.Join(dir, workspace.SettingsFile)); {
	case err == nil:
		r.Already = true
		return r, a.sayWhatIsThere(ctx, r)
	case !errors.Is(err, fs.ErrNotExist):
		return nil, use(fmt.Errorf("%s: cannot be read (%v); name another folder", dir, reason(err)))
	}
	a.say("1. a new workspace in %s", dir)
	if err := a.makeNew(ctx, dir, true); err != nil {
		return nil, err
	}
	s, err := a.openOn(ctx, dir, "tryout", day.Date{}, a.now)
	if err != nil {
		return nil, err
	}
	defer s.close()
	c := s.desk.Counts()
	a.say("2. check: %d parts, %d entries, %d photos, %d stories on %s", c.Parts, c.Entries, c.Photos, c.Stories, s.today.Words())
	if found := s.desk.Check(); reading.Stops(found) {
		a.tell(found)
		return nil, errors.New("the demo does not pass its own checks")
	}
	for _, step := range []func(context.Context, *tryoutReport) error{s.tryClear, s.tryCards, s.tryEdition, s.tryArchive, s.tryPost} {
		if err := step(ctx, r); err != nil {
			return nil, err
		}
	}
	a.sayWhatToOpen(r)
	return r, nil
}

// tryClear clears what waits, each unit by somebody who may decide on it. In a
// real workshop a person looks at each.
func (s *session) tryClear(ctx context.Context, r *tryoutReport) error {
	for _, u := range s.desk.Units() {
		if u.Standing != clearance.Waiting || s.desk.Ready(u) != nil {
			continue
		}
		for _, p := range s.ws.Settings.People {
			if s.desk.MayDecide(u, p.ID) == nil {
				if err := s.desk.Decide(ctx, []*clearance.Unit{u}, clearance.Decision{By: p.ID, NothingReadable: true}); err != nil {
					return err
				}
				r.Cleared++
				break
			}
		}
	}
	s.app.say("3. clear: %d units that waited; the past is in the ledger", r.Cleared)
	return nil
}

func (s *session) tryCards(ctx context.Context, r *tryoutReport) error {
	s.app.say("4. cards for the tour %s", tryoutTour)
	out := s.ws.Path("out/cards-" + tryoutTour + ".pdf")
	printed, err := s.printCards(ctx, tryoutTour, []string{"front", "back"}, day.Date{}, cardsOptions{paper: "a5", out: out, by: "tam"})
	if err != nil {
		return err
	}
	r.Cards = len(printed.Cards)
	r.Open = append(r.Open, out)
	return nil
}

func (s *session) tryEdition(ctx context.Context, r *tryoutReport) error {
	s.app.say("5. the update of %s", tryoutWeek)
	week := day.MustParseWeek(tryoutWeek)
	if err := s.freeze(ctx, week, tryoutOfficer); err != nil {
		return err
	}
	shown, err := s.showEdition(ctx, week, s.ws.Path("out/edition-"+tryoutWeek))
	if err != nil {
		return err
	}
	r.Open = append(r.Open, shown.HTML, shown.Text)
	return nil
}

func (s *session) tryArchive(ctx context.Context, r *tryoutReport) error {
	out := s.ws.Path("out/archive")
	built, err := s.buildArchive(ctx, out)
	if err != nil {
		return err
	}
	s.app.say("6. the archive: %d stories, %d editions", built.Stories, built.Editions)
	r.Open = append(r.Open, filepath.Join(out, "index.html"))
	return nil
}

func (s *session) tryPost(ctx context.Context, r *tryoutReport) error {
	folder := s.ws.Path("inbox")
	server, err := inbox.Listen(folder)
	if err != nil {
		return &coded{outside, err}
	}
	defer server.Close()
	s.app.say("7. post through smtp://%s to the folder %s", server.Addr(), folder)
	report, err := s.send(ctx, tryoutWeek, tryoutOfficer, "smtp://"+server.Addr())
	if err != nil {
		return err
	}
	r.Letters = report.Sent
	r.Open = append(r.Open, folder)
	return nil
}

func (a *app) sayWhatToOpen(r *tryoutReport) {
	a.say("\nOpen:")
	for _, path := range r.Open {
		a.say("  %s", path)
	}
	a.say("\nTry next:\n  opencowl decide --workspace %s\n  opencowl plan winter-hangar --start 14:00 --workspace %s\n  opencowl cards families-first --workspace %s", r.Folder, r.Folder, r.Folder)
}

// sayWhatIsThere lists what an earlier run left, and changes nothing.
func (a *app) sayWhatIsThere(ctx context.Context, r *tryoutReport) error {
	ws, _, err := workspace.Open(r.Folder)
	if err != nil {
		return err
	}
	defer ws.Close()
	a.say("%s is there already; nothing is changed. Delete the folder to begin anew.", r.Folder)
	for _, name := range []string{"out/cards-" + tryoutTour + ".pdf", "out/edition-" + tryoutWeek + "/letter.html", "out/edition-" + tryoutWeek + "/letter.txt", "out/archive/index.html", "inbox"} {
		if _, err := os.Stat(ws.Path(name)); err == nil {
			r.Open = append(r.Open, ws.Path(name))
		}
	}
	if _, err := os.Stat(ws.Database()); err == nil {
		db, err := store.Open(ctx, ws.Database(), store.Options{})
		if err != nil {
			return err
		}
		defer db.Close()
		if status, err := post.Status(ctx, db, tryoutWeek); err == nil {
			r.Letters = status.Sent
			a.say("edition %s: %d letters sent", tryoutWeek, status.Sent)
		}
	}
	for _, path := range r.Open {
		a.say("  %s", path)
	}
	return nil
}
