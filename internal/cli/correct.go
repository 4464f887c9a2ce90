package cli

import (
	"errors"

	"github.com/spf13/cobra"
)

func (a *app) correctCommand() *cobra.Command {
	var say, by string
	cmd := &cobra.Command{
		Use:   "correct STORY --say WORDS --by WHO",
		Short: "Set right what a story told: a correction to everybody",
		Long: `Write a correction to a story that has been told: in an edition, on a printed card, or
in the archive. It is public text like any other, and may name released facts: somebody
else clears it with opencowl decide. Once cleared it leads the next edition, which goes to
every member, and stands on the story's page in the archive while that is public.

A correction is not edited afterwards: refuse one that is wrong and write another. The
story's own words are changed in its file, and cleared again.`,
		Example: `  opencowl correct floor-stiffener --say "The strip was a spare, and not the original one." --by tam`,
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
			a.show(s, u)
			a.say("it waits for a decision: opencowl decide %s --by WHO", u.ID)
			if err := a.print(s.report(u)); err != nil {
				return err
			}
			if u.Stops() {
				return &found{len(u.Findings)}
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&say, "say", "", "what is right, in the words that readers will get")
	cmd.Flags().StringVar(&by, "by", "", "who writes it: an id from workshop.yaml")
	return cmd
}
