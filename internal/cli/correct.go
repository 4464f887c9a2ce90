package cli

import (
	"errors"

	"github.com/spf13/cobra"
)

func (a *app) correctCommand() *cobra.Command {
	var say, by string
	cmd := &cobra.Command{
		Use:   "correct STORY --say WORDS --by WHO",
		Short: "A correction that goes out to whoever was told",
		Long: `Write a correction to a story. It is public text like any other: somebody else clears
it with opencowl decide. Once cleared it leads the next edition, to everybody, and stands
on the story's page in the archive.`,
		Example: `  opencowl correct floor-stiffener --say "The strip was not the original one." --by tam`,
		Args:    args(1, 1, "one story"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if say == "" || by == "" {
				return use(errors.New("--say and --by are needed; say what is right, and who says it"))
			}
			s, err := a.open(cmd.Context(), "correct")
			if err != nil {
				return err
			}
			defer s.close()
			stories, err := s.desk.About(args[0])
			if err != nil {
				return use(err)
			}
			if len(stories) > 1 {
				return use(errors.New("that part has several stories; name the story"))
			}
			u, err := s.desk.Correct(cmd.Context(), stories[0], say, by)
			if err != nil {
				return err
			}
			a.say("%s waits for a decision: opencowl decide %s", u.ID, u.ID)
			for _, f := range u.Findings {
				a.say("stops: %s", f.Error())
			}
			return a.print(report(u))
		},
	}
	cmd.Flags().StringVar(&say, "say", "", "the words of the correction")
	cmd.Flags().StringVar(&by, "by", "", "who writes it")
	return cmd
}
