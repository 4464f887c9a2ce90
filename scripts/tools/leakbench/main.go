// Leakbench measures package leak against texts in which something private was
// planted.
//
//	scripts/leakbench                the project's own cases
//	scripts/leakbench FILE           cases as JSON, one a line
//	scripts/leakbench --curve        what each threshold for copied sentences would find
//	scripts/leakbench FILE --curve   the same for the cases of FILE
//
// A line of FILE is {"id", "text", "private": [{"kind", "value"}], "notes": [],
// "credited": [], "leak": true}; each key may be missing or null, notes may be a
// single text, and further keys are passed over. On stdout it prints id, "found" or
// "clean", and the codes of what was found with commas between, one case a line and
// tabs between; on stderr the cases that came out otherwise than "leak" says, and a
// summary. It exits 0 when every line was read and measured, whatever was found.
package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/leak/planted"
	"example.org/opencowl/internal/reading"
)

const usage = "usage: scripts/leakbench [FILE] [--curve]"

// errUsage is a wrong use of the command.
var errUsage = errors.New(usage)

func main() {
	err := run(os.Args[1:], os.Stdout, os.Stderr)
	if err == nil {
		return
	}
	fmt.Fprintln(os.Stderr, "leakbench:", err)
	if errors.Is(err, errUsage) {
		os.Exit(2)
	}
	os.Exit(1)
}

// asked is what was asked for on the command line.
type asked struct {
	root  string // of the repository
	file  string
	curve bool
	help  bool
}

func parse(args []string) (asked, error) {
	a := asked{root: "."}
	for len(args) > 0 {
		arg := args[0]
		args = args[1:]
		switch {
		case arg == "--curve" || arg == "-curve":
			a.curve = true
		case arg == "--help" || arg == "-help" || arg == "-h":
			a.help = true
		case arg == "--root" && len(args) > 0:
			a.root, args = args[0], args[1:]
		case strings.HasPrefix(arg, "-"):
			return a, fmt.Errorf("%s is no option of this command; %w", arg, errUsage)
		case a.file != "":
			return a, fmt.Errorf("there are two files, %s and %s; give one, or none for the project's own cases; %w", a.file, arg, errUsage)
		default:
			a.file = arg
		}
	}
	return a, nil
}

func run(args []string, stdout, stderr io.Writer) error {
	a, err := parse(args)
	switch {
	case err != nil:
		return err
	case a.help:
		_, err := fmt.Fprintln(stdout, usage)
		return err
	case a.file == "" && a.curve:
		return curve(a.root, stdout)
	case a.file == "":
		if err := measureOwn("usual", planted.Usual(), stdout, stderr); err != nil {
			return err
		}
		return measureOwn("other", planted.Other(), stdout, stderr)
	}
	file, err := os.Open(a.file)
	if err != nil {
		return fmt.Errorf("the cases cannot be opened (%w); check the name", err)
	}
	defer file.Close()
	if a.curve {
		return curveOf(a.file, file, stdout, stderr)
	}
	return measureFile(a.file, file, stdout, stderr)
}

func measureOwn(name string, cases []planted.Case, stdout, stderr io.Writer) error {
	b := newBench(stdout, stderr)
	for _, c := range cases {
		own := testCase{id: c.ID, text: c.Text, notes: c.Notes, credited: c.Credited, leaks: &c.Leak}
		for i, v := range c.Private {
			own.private = append(own.private, leak.Value{Kind: v.Kind, Value: v.Value, Where: fmt.Sprintf("private[%d]", i)})
		}
		b.measure(own)
	}
	return b.close(name)
}

func measureFile(name string, in io.Reader, stdout, stderr io.Writer) error {
	b := newBench(stdout, stderr)
	refused, err := readCases(name, in, stderr, b.measure)
	if err != nil {
		return err
	}
	if err := b.close(name); err != nil {
		return err
	}
	return incomplete(refused)
}

// incomplete says that the figures are not those of the whole file.
func incomplete(refused int) error {
	if refused == 0 {
		return nil
	}
	return fmt.Errorf("lines that are no cases and were left out: %d; mend them as said above, and measure again", refused)
}

// bench prints what becomes of each case, and counts.
type bench struct {
	out    *bufio.Writer
	err    io.Writer
	tally  planted.Tally
	untold int // cases of which nobody has said whether they leak
}

func newBench(stdout, stderr io.Writer) *bench {
	return &bench{out: bufio.NewWriter(stdout), err: stderr}
}

func (b *bench) measure(c testCase) {
	found := codes(c.index().Find(c.text))
	verdict := "clean"
	if len(found) > 0 {
		verdict = "found"
	}
	fmt.Fprintf(b.out, "%s\t%s\t%s\n", reading.Visible(c.id), verdict, strings.Join(found, ","))
	if c.leaks == nil {
		b.untold++
		return
	}
	b.tally.Add(planted.Case{Leak: *c.leaks}, len(found) > 0)
	if *c.leaks != (len(found) > 0) {
		fmt.Fprintf(b.err, "wrong: %s %s: %q %v\n", reading.Visible(c.id), verdict, short(c.text), found)
	}
}

// close prints the summary.
func (b *bench) close(name string) error {
	untold := ""
	if b.untold > 0 {
		untold = fmt.Sprintf("; %d cases do not say whether they leak", b.untold)
	}
	if err := b.out.Flush(); err != nil {
		return fmt.Errorf("the verdicts cannot be written: %w", err)
	}
	_, err := fmt.Fprintf(b.err, "%s: %s%s\n", name, b.tally, untold)
	return err
}

func codes(found []leak.Finding) []string {
	var all []string
	for _, f := range found {
		all = append(all, f.Code)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// short cuts a text to what fits on a screen.
func short(text string) string {
	const most = 400
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "…"
	}
	return text
}
