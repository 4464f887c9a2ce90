package cli

import (
	"github.com/spf13/cobra"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/reading"
)

func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "Read everything and report every problem with its place and its remedy",
		Long: `Read the log, the photos and the public words, set them side by side, and
report every problem with file, line and remedy. Advice is marked; it stops nothing.
Exit code 1 when something stops a unit from leaving.`,
		Example: "  opencowl check --workspace demo",
		Args:    args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := a.open(cmd.Context(), "check")
			if err != nil {
				return err
			}
			defer s.close()
			all := append(s.faults, s.desk.Check()...)
			stops := 0
			for _, p := range all {
				if !p.Advice {
					stops++
				}
			}
			a.tell(all)
			c := s.desk.Counts()
			a.say("read %d parts, %d entries, %d photos, %d stories, %d glossary words, %d tours, %d editions on %s",
				c.Parts, c.Entries, c.Photos, c.Stories, c.Words, c.Tours, c.Editions, s.today)
			if stops == 0 {
				a.say("nothing stops; %d pieces of advice", len(all)-stops)
			} else {
				a.say("%d problems and %d pieces of advice", stops, len(all)-stops)
			}
			if all == nil {
				all = []reading.Problem{}
			}
			if err := a.print(struct {
				Today    string            `json:"today"`
				Counts   clearance.Counts  `json:"counts"`
				Problems []reading.Problem `json:"problems"`
			}{s.today.String(), c, all}); err != nil {
				return err
			}
			if stops > 0 {
				return &found{stops}
			}
			return nil
		},
	}
}
