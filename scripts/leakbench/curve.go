package main

import (
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
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
	sets := []scored{score(dropped), score(swapped), score(retold)}
	usual := leak.UsualLimits()
	fmt.Fprintf(stdout, "%d notes, %d copies with every fourth word dropped, %d with every fourth swapped, %d pairs of a note and a text that was not copied from it.\n", len(notes), sets[0].texts, sets[1].texts, sets[2].texts)
	table := func(title string, from, to, step float64, with func(float64) leak.Limits) {
		fmt.Fprintf(stdout, "\n| %s | dropped, found | swapped, found | not copied, alarms |\n| --- | --- | --- | --- |\n", title)
		for v := from; v < to+step/2; v += step {
			fmt.Fprintf(stdout, "| %.2f | %.1f %% | %.1f %% | %d |\n", v, sets[0].share(with(v)), sets[1].share(with(v)), sets[2].count(with(v)))
		}
	}
	table("containment ≥", 0, 0.6, 0.05, func(v float64) leak.Limits { l := usual; l.Containment = v; return l })
	table("share of words in order ≥", 0.4, 0.8, 0.05, func(v float64) leak.Limits { l := usual; l.Share = v; return l })
	table("weight ≥", 1, 5, 0.5, func(v float64) leak.Limits { l := usual; l.Content = v; return l })
	return nil
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
			s.texts++
			if found := leak.Scores(note, text); len(found) > 0 {
				s.scores = append(s.scores, found)
			}
		}
	}
	return s
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

func (s scored) share(l leak.Limits) float64 {
	return 100 * float64(s.count(l)) / float64(max(s.texts, 1))
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
