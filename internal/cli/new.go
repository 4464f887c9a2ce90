package cli

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/content"
	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

func (a *app) newCommand() *cobra.Command {
	var demo bool
	cmd := &cobra.Command{
		Use:   "new DIR",
		Short: "Make a workspace; with --demo, a full invented one",
		Long: `Make a new workspace in a folder that is missing or empty: settings to fill in, and a
folder for each kind of file. --demo makes the invented Marram Sound Flying Boat Trust,
in the middle of its winter, with what it has cleared and sent so far.`,
		Example: "  opencowl new workshop\n  opencowl new demo --demo",
		Args:    args(1, 1, "one folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := a.makeNew(cmd.Context(), args[0], demo); err != nil {
				return err
			}
			a.say("%s is ready; look at %s, then run: opencowl check --workspace %s", args[0], filepath.Join(args[0], workspace.SettingsFile), args[0])
			return a.print(struct {
				Folder string `json:"folder"`
				Demo   bool   `json:"demo"`
			}{args[0], demo})
		},
	}
	cmd.Flags().BoolVar(&demo, "demo", false, "a full invented workspace")
	return cmd
}

func (a *app) makeNew(ctx context.Context, dir string, demo bool) error {
	if !demo {
		return workspace.Create(dir, content.Start(), nil)
	}
	return workspace.Create(dir, content.Demo(), func(dir string) error { return a.replay(ctx, dir) })
}

// history is what happened in a workspace before its demo begins.
type history struct {
	Decisions []struct {
		On    day.Date `yaml:"on"`
		By    string   `yaml:"by"`
		Units []string `yaml:"units"`
	} `yaml:"decisions"`
	Sent []struct {
		Week day.Week `yaml:"week"`
		On   day.Date `yaml:"on"`
		By   string   `yaml:"by"`
	} `yaml:"sent"`
}

// historyFile tells what happened before a demo begins. It does not stay in the
// workspace: the ledger has it then.
const historyFile = "history.yaml"

// membersFile is a demo's list of members.
const membersFile = "members.csv"

// replay takes a new demo through its past, day by day, by the same ways as the
// commands: the list of members, decisions, and editions frozen and sent.
func (a *app) replay(ctx context.Context, dir string) error {
	src, err := os.ReadFile(filepath.Join(dir, historyFile))
	if err != nil {
		return err
	}
	var h history
	if _, faults := reading.YAML(historyFile, src, &h); len(faults) > 0 {
		a.tell(faults)
		return &found{len(faults)}
	}
	if err := a.within(ctx, dir, day.Date{}, func(s *session) error { return s.bringIn(ctx, filepath.Join(dir, membersFile)) }); err != nil {
		return err
	}
	for _, on := range h.days() {
		if err := a.within(ctx, dir, on, func(s *session) error { return s.relive(ctx, h) }); err != nil {
			return fmt.Errorf("%s, %s: %w", historyFile, on, err)
		}
	}
	return os.Remove(filepath.Join(dir, historyFile))
}

// within opens a workspace on a day, does something, and closes it.
func (a *app) within(ctx context.Context, dir string, on day.Date, do func(*session) error) error {
	s, err := a.openOn(ctx, dir, "new", on, a.now)
	if err != nil {
		return err
	}
	defer s.close()
	return do(s)
}

// bringIn takes the demo's members in; the list stays, as an example of one.
func (s *session) bringIn(ctx context.Context, file string) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	r, err := member.Import(ctx, s.db, f, member.ImportOptions{Charity: s.ws.Settings.Charity, AllOrNothing: true, Words: member.WordingsIn(s.ws.Root)})
	s.app.tellRefused(membersFile, r)
	return err
}

// days lists the days on which something happened, in order.
func (h history) days() []day.Date {
	var days []day.Date
	for _, d := range h.Decisions {
		days = append(days, d.On)
	}
	for _, s := range h.Sent {
		days = append(days, s.On)
	}
	slices.SortFunc(days, func(a, b day.Date) int { return strings.Compare(a.String(), b.String()) })
	return slices.Compact(days)
}

// relive does what happened on one day.
func (s *session) relive(ctx context.Context, h history) error {
	for _, d := range h.Decisions {
		if d.On != s.today {
			continue
		}
		units, err := s.desk.Find(d.Units)
		if err != nil {
			return err
		}
		if err := s.desk.Decide(ctx, units, clearance.Decision{By: d.By, NothingReadable: true}); err != nil {
			return err
		}
	}
	for _, sent := range h.Sent {
		if sent.On != s.today {
			continue
		}
		if err := s.freeze(ctx, sent.Week, sent.By); err != nil {
			return err
		}
		week, at := sent.Week.String(), s.clock()
		if err := s.db.SetEditionState(ctx, week, store.Sending, at); err != nil {
			return err
		}
		if err := s.db.SetEditionState(ctx, week, store.Sent, at, store.Entry{At: at, Who: sent.By, Kind: "sent", Unit: "edition/" + week}); err != nil {
			return err
		}
	}
	return nil
}
