package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/tour"
	"example.org/opencowl/internal/workspace"
)

// planBench chooses among 40 stops. The budget: 100 ms.
func planBench(ctx context.Context) error {
	for _, stops := range []int{10, 40, 200} {
		t, err := tourOf(ctx, stops)
		if err != nil {
			return err
		}
		var took []time.Duration
		var plan tour.Plan
		for range 15 {
			start := time.Now()
			// The slot takes about half of the stops, which leaves most to choose from.
			plan = tour.Choose(t, time.Duration(stops)*3*time.Minute)
			took = append(took, time.Since(start))
		}
		slices.Sort(took)
		budget := ""
		if stops == 40 {
			budget = "  (budget 100 ms)"
		}
		fmt.Printf("%4d stops, %3d of them in: %8.2f ms, the slowest of %d %.2f ms%s\n", stops, len(plan.Visits),
			milliseconds(took[len(took)/2]), len(took), milliseconds(took[len(took)-1]), budget)
	}
	return nil
}

func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// tourOf makes a workspace with one long tour, and clears it.
func tourOf(ctx context.Context, stops int) (t cleared.Tour, err error) {
	dir, err := os.MkdirTemp("", "opencowl-bench-")
	if err != nil {
		return t, err
	}
	defer os.RemoveAll(dir)
	if err := makeWorkspace(dir, stops, 0); err != nil {
		return t, err
	}
	if err := os.MkdirAll(filepath.Join(dir, "wording"), 0o755); err != nil {
		return t, err
	}
	for i := range stops {
		// Plain words: what the other bench writes may contradict its record.
		story := fmt.Sprintf("---\ntitle: Story %d\nwritten_by: gus\nparts: [part-0]\narea: hull\ncame_off: A strip of metal.\nfailed: Salt got in.\nreplaced: A new strip.\ntalk: Look at it.\nfor: [visitors]\n---\nThere it lay.\n", i)
		if err := os.WriteFile(filepath.Join(dir, "wording", fmt.Sprintf("story-%d.md", i)), []byte(story), 0o644); err != nil {
			return t, err
		}
	}
	if err := os.MkdirAll(filepath.Join(dir, "tours"), 0o755); err != nil {
		return t, err
	}
	if err := os.WriteFile(filepath.Join(dir, "tours", "long.yaml"), []byte(longTour(stops)), 0o644); err != nil {
		return t, err
	}
	ws, problems, err := workspace.Open(dir)
	if err != nil || len(problems) > 0 {
		return t, fmt.Errorf("%w %v", err, problems)
	}
	defer ws.Close()
	db, err := store.Open(ctx, ws.Database(), store.Options{})
	if err != nil {
		return t, err
	}
	defer db.Close()
	desk, err := clearance.Open(ctx, ws, db, clearance.Options{Today: day.MustParse("2031-02-12"), Now: time.Now})
	if err != nil {
		return t, err
	}
	if err := desk.Decide(ctx, desk.Units(), clearance.Decision{By: "ines"}); err != nil {
		return t, err
	}
	return desk.Tour("long")
}

// longTour has stops up and down a hangar; one in eight must be in.
func longTour(stops int) string {
	var b strings.Builder
	b.WriteString("title: A long walk\nwritten_by: gus\nslot: 45m\nstops:\n")
	wants := []string{"must", "should", "could", "could", "should", "could", "should", "could"}
	for i := range stops {
		fmt.Fprintf(&b, "  - {id: stop-%d, at: \"Stop %d\", x: %d, y: %d, stories: [story-%d], wants: %s, minutes: %d}\n", i, i, i*7%61, i*5%23, i, wants[i%len(wants)], 3+i*i%7)
	}
	return b.String()
}
