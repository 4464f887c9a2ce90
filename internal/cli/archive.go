package cli

import (
	"context"
	"maps"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/site"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// archiveReport is the machine output of archive.
type archiveReport struct {
	Folder   string           `json:"folder"`
	Stories  int              `json:"stories"`
	Editions int              `json:"editions"`
	Files    int              `json:"files"`
	Change   workspace.Change `json:"change"`
}

func (a *app) archiveCommand() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "archive -o DIR",
		Short: "Build the public site",
		Long: `Build the public archive from what is cleared and whose day has come, and write it to
a folder that any web server can serve and that opens from the disk. Only files whose
bytes changed are written; those that are gone are removed.`,
		Example: "  opencowl archive -o public",
		Args:    args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := a.open(cmd.Context(), "archive")
			if err != nil {
				return err
			}
			defer s.close()
			if out == "" {
				out = s.ws.Path("out/archive")
			}
			r, err := s.buildArchive(cmd.Context(), out)
			if err != nil {
				return err
			}
			a.say("%s: %d stories, %d editions; %d files written, %d removed, %d the same", r.Folder, r.Stories, r.Editions, r.Change.Written, r.Change.Removed, r.Change.Same)
			for _, name := range r.Change.Foreign {
				a.say("left alone, since opencowl did not write it: %s", name)
			}
			a.say("open %s", filepath.Join(r.Folder, "index.html"))
			return a.print(r)
		},
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "the folder to write to (default: out/archive in the workspace)")
	return cmd
}

func (s *session) buildArchive(ctx context.Context, out string) (*archiveReport, error) {
	settings, err := s.desk.Settings()
	if err != nil {
		return nil, err
	}
	theme, err := s.ws.Theme()
	if err != nil {
		return nil, err
	}
	in := site.Archive{Settings: settings, Stories: s.desk.PublicStories(), Corrections: s.desk.PublicCorrections(), Words: s.desk.Words(), Tours: s.desk.ArchiveTours(), Theme: theme, On: s.today}
	editions, err := s.db.Editions(ctx)
	if err != nil {
		return nil, err
	}
	for _, e := range editions {
		if e.On == "" {
			continue
		}
		sent, err := day.Parse(e.On)
		if err != nil {
			return nil, err
		}
		from := sent.AddDays(int(s.ws.Settings.MembersFirst))
		if from.After(s.today) {
			continue // members first
		}
		if err := s.asFrozen(ctx, e); err != nil {
			return nil, err
		}
		record, err := recordOf(e)
		if err != nil {
			return nil, err
		}
		in.Editions = append(in.Editions, site.PublicEdition{Record: record, From: from})
	}
	if in.Withdrawn, err = s.withdrawals(ctx, in.Editions); err != nil {
		return nil, err
	}
	files, err := site.Build(ctx, in)
	if err != nil {
		return nil, err
	}
	if err := s.desk.Gate(files); err != nil {
		return nil, err
	}
	change, err := s.ws.Writer.WriteTree(out, files)
	if err != nil {
		return nil, err
	}
	if err := s.recordPublished(ctx, in); err != nil {
		return nil, err
	}
	return &archiveReport{Folder: out, Stories: len(in.Stories), Editions: len(in.Editions), Files: len(files), Change: change}, nil
}

// withdrawals lists the withdrawn stories that the archive has shown, or that one of
// its editions told.
func (s *session) withdrawals(ctx context.Context, editions []site.PublicEdition) ([]site.Withdrawal, error) {
	told := map[string]bool{}
	for _, e := range editions {
		for _, story := range e.Record.Stories {
			told[story.ID] = true
		}
	}
	var all []site.Withdrawal
	taken := s.desk.Withdrawn()
	for _, id := range slices.Sorted(maps.Keys(taken)) {
		shown, err := s.db.Ledger(ctx, store.Filter{Kind: "published", Unit: "story/" + id})
		if err != nil {
			return nil, err
		}
		if len(shown) > 0 || told[id] {
			all = append(all, site.Withdrawal{ID: id, On: taken[id]})
		}
	}
	return all, nil
}

// recordPublished writes down which stories and corrections the archive shows,
// once for each wording of theirs.
func (s *session) recordPublished(ctx context.Context, shown site.Archive) error {
	rows, err := s.db.Ledger(ctx, store.Filter{Kind: "published"})
	if err != nil {
		return err
	}
	last := map[string]string{}
	for _, r := range rows {
		last[r.Unit] = r.Digest
	}
	var entries []store.Entry
	record := func(unit, digest string) {
		if last[unit] != digest {
			entries = append(entries, store.Entry{At: s.db.Now(), Kind: "published", Unit: unit, Digest: digest})
		}
	}
	for _, story := range shown.Stories {
		record("story/"+story.ID(), story.Digest())
	}
	for _, c := range shown.Corrections {
		record("correction/"+c.ID(), c.Digest())
	}
	if len(entries) == 0 {
		return nil
	}
	_, err = s.db.Append(ctx, entries...)
	return err
}
