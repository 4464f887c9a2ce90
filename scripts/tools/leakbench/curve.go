package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/leak/planted"
)

// curve prints what each threshold of the check for copied sentences finds and
// how often it alarms for nothing. Beside the planted notes it takes those of
// the demonstration workspace, and holds its public words against its log.
func curve(root string, stdout io.Writer) error {
	logged, err := bodies(root, "content/demo/log", "content/demo/parts")
	if err != nil {
		return err
	}
	public, err := bodies(root, "content/demo/wording", "content/demo/editions", "content/demo/glossary")
	if err != nil {
		return err
	}
	notes := planted.Notes()
	for _, text := range logged {
		for _, line := range strings.Split(text, "\n") {
			if len(strings.Fields(line)) >= 10 {
				notes = append(notes, line)
			}
		}
	}
	dropped, swapped := planted.Copies(notes)
	retold := planted.Retold(notes)
	for i, note := range notes {
		retold[note] = append(retold[note], public...)
		retold[note] = append(retold[note], notes[:i]...)
		retold[note] = append(retold[note], notes[i+1:]...)
	}
	d, s, r := score(dropped), score(swapped), score(retold)
	fmt.Fprintf(stdout, "%d notes, %d copies with every fourth word dropped, %d with every fourth swapped, %d pairs of a note and a text that was not copied from it.\n", len(notes), d.texts, s.texts, r.texts)
	return tables(stdout, []string{"dropped, found", "swapped, found", "not copied, alarms"}, func(l leak.Limits) []string {
		return []string{d.share(l), s.share(l), strconv.Itoa(r.count(l))}
	})
}

// curveOf prints the same for the cases of a file that have notes. Findings of
// other kinds, such as names, do not count here.
func curveOf(name string, in io.Reader, stdout, stderr io.Writer) error {
	var leaks, clean scored
	refused, err := readCases(name, in, stderr, func(c testCase) {
		if len(c.notes) == 0 || c.leaks == nil {
			return
		}
		var all []leak.Score
		for _, note := range c.notes {
			all = append(all, leak.Scores(note, c.text)...)
		}
		if *c.leaks {
			leaks.add(all)
		} else {
			clean.add(all)
		}
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%d cases with notes that leak, and %d with notes that do not.\n", leaks.texts, clean.texts)
	err = tables(stdout, []string{"leaks, found", "clean, alarms"}, func(l leak.Limits) []string {
		return []string{leaks.share(l), strconv.Itoa(clean.count(l))}
	})
	return errors.Join(err, incomplete(refused))
}

// tables prints one table for each threshold; the others stay as they are set.
func tables(stdout io.Writer, columns []string, row func(leak.Limits) []string) error {
	out := bufio.NewWriter(stdout)
	usual := leak.UsualLimits()
	table := func(title string, from, to, step float64, with func(float64) leak.Limits) {
		fmt.Fprintf(out, "\n| %s | %s |\n| ---%s |\n", title, strings.Join(columns, " | "), strings.Repeat(" | ---", len(columns)))
		for v := from; v < to+step/2; v += step {
			fmt.Fprintf(out, "| %.2f | %s |\n", v, strings.Join(row(with(v)), " | "))
		}
	}
	table("containment ≥", 0, 0.6, 0.05, func(v float64) leak.Limits { l := usual; l.Containment = v; return l })
	table("share of words in order ≥", 0.4, 0.8, 0.05, func(v float64) leak.Limits { l := usual; l.Share = v; return l })
	table("weight ≥", 1, 5, 0.5, func(v float64) leak.Limits { l := usual; l.Content = v; return l })
	return out.Flush()
}

// scored are the scores of some texts against their notes, one row a text.
type scored struct {
	texts  int
	scores [][]leak.Score
}

func score(texts map[string][]string) scored {
	var s scored
	for _, note := range slices.Sorted(maps.Keys(texts)) {
		for _, text := range texts[note] {
			s.add(leak.Scores(note, text))
		}
	}
	return s
}

func (s *scored) add(found []leak.Score) {
	s.texts++
	if len(found) > 0 {
		s.scores = append(s.scores, found)
	}
}

func (s scored) count(l leak.Limits) int {
	n := 0
	for _, found := range s.scores {
		if slices.ContainsFunc(found, l.Copied) {
			n++
		}
	}
	return n
}

func (s scored) share(l leak.Limits) string {
	return fmt.Sprintf("%.1f %%", 100*float64(s.count(l))/float64(max(s.texts, 1)))
}

// bodies are the texts of the files in some folders.
func bodies(root string, folders ...string) ([]string, error) {
	var all []string
	for _, folder := range folders {
		err := filepath.WalkDir(filepath.Join(root, folder), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || filepath.Ext(path) != ".md" {
				return err
			}
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			all = append(all, string(data))
			return nil
		})
		if err != nil {
			return nil, fmt.Errorf("the curve is measured from the root of the repository: %w", err)
		}
	}
	return all, nil
}
