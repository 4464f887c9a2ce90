package cli

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"
)

func (a *app) membersExport() *cobra.Command {
	var state, basis, by, out string
	cmd := &cobra.Command{
		Use:   "export [-o FILE.csv] --by WHO",
		Short: "Write people out as a list that import takes again",
		Long: `Write people as CSV, to a file (for its owner alone) or to the standard output. Importing it
elsewhere brings in the same people, with what they agreed to last. It opens in
spreadsheets, and no cell of it can be taken for a formula: an apostrophe stands before
those that might.

Keep such lists few and short-lived. Where one was written outside the workspace is
remembered, and opencowl members forget names it.`,
		Example: "  opencowl members export -o out/members.csv --by nell\n  opencowl members export --state joined --basis consent --by nell > list.csv",
		Args:    args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			f, err := filter(state, basis)
			if err != nil {
				return err
			}
			if a.json && out == "" {
				return use(errors.New("--json needs -o FILE.csv, since both would go to the standard output"))
			}
			k, err := a.members(cmd.Context(), "", by)
			if err != nil {
				return err
			}
			defer k.close()
			outside, err := k.outside(out)
			if err != nil {
				return err
			}
			var text bytes.Buffer
			n, err := k.register.Export(cmd.Context(), &text, f, by, outside)
			if err != nil {
				return err
			}
			if out == "" {
				_, err := text.WriteTo(a.Out)
				return err
			}
			if err := k.ws.Writer.WriteFile(out, text.Bytes(), 0o600); err != nil {
				return err
			}
			a.say("%s: %s", out, count(n, "person", "people"))
			return a.print(struct {
				File   string `json:"file"`
				People int    `json:"people"`
			}{out, n})
		},
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "the file; the standard output if left out")
	filterFlags(cmd, &state, &basis)
	byFlag(cmd, &by)
	return cmd
}

// outside returns the whole path of a file that is not in the workspace; empty for one
// that is.
func (k *keeping) outside(file string) (string, error) {
	if file == "" {
		return "", nil
	}
	path, err1 := filepath.Abs(file)
	home, err2 := filepath.Abs(k.ws.Dir)
	if err := errors.Join(err1, err2); err != nil {
		return "", fmt.Errorf("%s: where it is cannot be told: %w", file, err)
	}
	if inside, err := filepath.Rel(home, path); err == nil && filepath.IsLocal(inside) {
		return "", nil
	}
	return path, nil
}
