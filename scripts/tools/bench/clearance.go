package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// clearanceBench reads and checks a workspace of 10,000 entries and 2,000 stories,
// and one of a tenth of that. The budget: under 10 s, and at most 12 times the
// time of the tenth.
func clearanceBench(ctx context.Context) error {
	const entries, stories = 10_000, 2_000
	small, err := clear(ctx, entries/10, stories/10)
	if err != nil {
		return err
	}
	large, err := clear(ctx, entries, stories)
	if err != nil {
		return err
	}
	fmt.Printf("%6d entries, %5d stories: %6.2f s\n", entries/10, stories/10, small.Seconds())
	fmt.Printf("%6d entries, %5d stories: %6.2f s  (budget 10 s)\n", entries, stories, large.Seconds())
	fmt.Printf("ten times the size takes %.1f times as long  (budget 12)\n", large.Seconds()/small.Seconds())
	return nil
}

// clear times one reading and checking of a made workspace; of three runs the
// shortest, so that the first sight of the disk does not count.
func clear(ctx context.Context, entries, stories int) (time.Duration, error) {
	dir, err := os.MkdirTemp("", "opencowl-bench-")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(dir)
	if err := makeWorkspace(dir, entries, stories); err != nil {
		return 0, err
	}
	ws, problems, err := workspace.Open(dir)
	if err != nil || len(problems) > 0 {
		return 0, fmt.Errorf("%w %v", err, problems)
	}
	defer ws.Close()
	db, err := store.Open(ctx, ws.Database(), store.Options{})
	if err != nil {
		return 0, err
	}
	defer db.Close()
	best := time.Duration(0)
	for range 3 {
		start := time.Now()
		desk, err := clearance.Open(ctx, ws, db, clearance.Options{Today: day.MustParse("2031-02-12"), Now: time.Now})
		if err != nil {
			return 0, err
		}
		desk.Check()
		if took := time.Since(start); best == 0 || took < best {
			best = took
		}
	}
	return best, nil
}

var vocabulary = strings.Fields("salt water paint hull strip rivet bench frame metal wood cloth rope engine cable pulley rudder float wing tail spar rib web plate screw " +
	"bolt bearing hub pump tank strap wheel lamp glass leather brass bronze steel sheet edge corner worn cracked bent torn dry wet cold warm old new long short thin thick " +
	"we found cut made drew washed scraped folded pressed filed drilled fitted looked heard turned lifted under over behind beside along across before after with without and")

func makeWorkspace(dir string, entries, stories int) error {
	r := rand.New(rand.NewPCG(1, 2))
	text := func(words int) string {
		var all []string
		for range words {
			all = append(all, vocabulary[r.IntN(len(vocabulary))])
		}
		return strings.Join(all, " ") + "."
	}
	write := func(name, format string, values ...any) error {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		return os.WriteFile(path, fmt.Appendf(nil, format, values...), 0o644)
	}
	if err := write("workshop.yaml", `workshop: {name: Marram Sound Flying Boat Trust, machine: Oystercatcher FO-7, language: en-GB, timezone: Europe/London,
  postal_address: "The Slip Hangar", site: "https://example.org/"}
people: [{id: ines, name: Ines Hallow, roles: [engineer]}, {id: gus, name: Gus Penhallick, roles: [restorer]}]
areas: {hull: Hull}
clearing: {two_people: true, private_terms: ["Quayside Alloys"], run_of_words: 8}
post: {from: update@example.org, returns: returns@example.org}
`); err != nil {
		return err
	}
	parts := max(1, entries/4)
	for i := range parts {
		if err := write(fmt.Sprintf("parts/part-%d.md", i), "---\nname: part %d\narea: hull\nnumber: FO7-%04d-%d\ndrawing: D-%d sheet %d\nthickness: %d.%02d mm\n---\n%s\n",
			i, i, i%9, 1000+i, i%7, 1+i%5, i%100, text(20)); err != nil {
			return err
		}
	}
	first := day.MustParse("2030-01-01")
	for i := range entries {
		date := first.AddDays(i % 400)
		if err := write(fmt.Sprintf("log/%d/%s-entry-%d.md", date.Year, date, i), "---\ndate: %s\nby: gus\npart: part-%d\nstep: inspected\nfinding: {causes: [pitting], detail: %s}\npile: rework\n---\n%s\n",
			date, i%parts, text(12), text(30)); err != nil {
			return err
		}
	}
	for i := range stories {
		if err := write(fmt.Sprintf("wording/story-%d.md", i), "---\ntitle: Story %d\nwritten_by: gus\nparts: [part-%d]\narea: hull\ncame_off: %s\nfailed: %s\nreplaced: %s\ntalk: %s\nfor: [visitors]\n---\n%s\n\n%s\n",
			i, i%parts, text(15), text(20), text(15), text(60), text(80), text(60)); err != nil {
			return err
		}
	}
	return nil
}
