// Leakbench measures package leak against texts in which something private was
// planted.
//
//	go run ./scripts/leakbench         the project's own cases
//	go run ./scripts/leakbench FILE    cases as JSON, one a line
//	go run ./scripts/leakbench --curve what each threshold would find
//
// A line of FILE is {"id", "text", "private": [{"kind", "value"}], "notes": [],
// "credited": [], "leak": true}. On stdout it prints id, "found" or "clean", and
// the codes of what was found, one case a line; on stderr a summary, and the
// cases that came out wrong.
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/leak/planted"
)

func main() {
	if err := run(os.Args[1:], os.Stdout, os.Stderr); err != nil {
		fmt.Fprintln(os.Stderr, "leakbench:", err)
		os.Exit(1)
	}
}

func run(args []string, stdout, stderr io.Writer) error {
	if len(args) > 1 {
		return fmt.Errorf("there are %d arguments; give one file of cases, or none for the project's own", len(args))
	}
	if len(args) == 1 && args[0] == "--curve" {
		return curve(".", stdout)
	}
	if len(args) == 1 {
		cases, err := read(args[0])
		if err != nil {
			return err
		}
		return measure(args[0], cases, stdout, stderr)
	}
	if err := measure("usual", planted.Usual(), stdout, stderr); err != nil {
		return err
	}
	return measure("other", planted.Other(), stdout, stderr)
}

func read(name string) ([]planted.Case, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	var cases []planted.Case
	lines := bufio.NewScanner(file)
	const longest = 16 << 20
	lines.Buffer(nil, longest)
	for n := 1; lines.Scan(); n++ {
		if strings.TrimSpace(lines.Text()) == "" {
			continue
		}
		var c planted.Case
		if err := json.Unmarshal(lines.Bytes(), &c); err != nil {
			return nil, fmt.Errorf("%s:%d: this line is not a case: %w", name, n, err)
		}
		cases = append(cases, c)
	}
	return cases, lines.Err()
}

func measure(name string, cases []planted.Case, stdout, stderr io.Writer) error {
	var tally planted.Tally
	out := bufio.NewWriter(stdout)
	for _, c := range cases {
		found := c.Index().Find(c.Text)
		tally.Add(c, len(found) > 0)
		verdict := "clean"
		if len(found) > 0 {
			verdict = "found"
		}
		fmt.Fprintf(out, "%s\t%s\t%s\n", c.ID, verdict, strings.Join(codes(found), ","))
		if c.Leak != (len(found) > 0) {
			fmt.Fprintf(stderr, "wrong: %s %s: %q %v %v\n", c.ID, verdict, c.Text, c.Private, codes(found))
		}
	}
	fmt.Fprintf(stderr, "%s: %s\n", name, tally)
	return out.Flush()
}

func codes(found []leak.Finding) []string {
	var all []string
	for _, f := range found {
		all = append(all, f.Code)
	}
	slices.Sort(all)
	return slices.Compact(all)
}
