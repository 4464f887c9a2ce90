package cli

import (
	"errors"

	"github.com/spf13/cobra"
)

func (a *app) withdrawCommand() *cobra.Command {
	var by, why string
	cmd := &cobra.Command{
		Use:   "withdraw STORY|PHOTO --by WHO --why REASON",
		Short: "Take a story or a photo back",
		Long: `Take back a story or a photo that was cleared. The archive says so at its next build
instead of showing it, its cards are held back, and no edition takes it. Where a story
has been told already stands in opencowl trace, and its printed cards in opencowl reprint.
Clearing it again lets it out again.`,
		Example: `  opencowl withdraw story/floor-stiffener --by ines --why "the date was wrong"
  opencowl withdraw photo/2031-01-14-stiffener.jpg --by ines --why "consent withdrawn"`,
		Args: args(1, 1, "one story or photo"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if by == "" || why == "" {
				return use(errors.New("--by and --why are needed; say who takes it back and why"))
			}
			s, err := a.open(cmd.Context(), "withdraw")
			if err != nil {
				return err
			}
			defer s.close()
			units, err := s.desk.Find(args)
			if err != nil {
				return use(err)
			}
			u := units[0]
			if err := s.desk.Withdraw(cmd.Context(), u, by, why); err != nil {
				return err
			}
			a.say("%s is withdrawn; build the archive again, and see where it was told:", u.ID)
			told, err := s.tellings(cmd.Context(), u)
			if err != nil {
				return err
			}
			for _, t := range told {
				a.say("  %s  %-8s %s", t.On, t.Where, t.What)
			}
			return a.print(struct {
				Unit  unitReport `json:"unit"`
				Where []telling  `json:"told"`
			}{s.report(u), told})
		},
	}
	cmd.Flags().StringVar(&by, "by", "", "who takes it back")
	cmd.Flags().StringVar(&why, "why", "", "the reason")
	return cmd
}
