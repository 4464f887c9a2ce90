package tour

import (
	"encoding/json"
	"os"
	"slices"
	"testing"
	"time"
)

// knapsackCase is a published problem: which things, each with a weight and a
// value, are worth most within a capacity.
type knapsackCase struct {
	Name      string `json:"name"`
	Capacity  int64  `json:"capacity"`
	Weights   []int64
	Values    []int
	Selection []int `json:"optimal_selection"`
	Value     int   `json:"optimal_value"`
	Weight    int64 `json:"optimal_weight"`
}

// asRoute is a tour without walks: weights are minutes that stops take.
func (c knapsackCase) asRoute() route {
	r := route{leg: func(int, int) time.Duration { return 0 }}
	for i := range c.Weights {
		r.stops = append(r.stops, candidate{at: i, worth: c.Values[i], stays: time.Duration(c.Weights[i])})
	}
	return r
}

// The cases of testdata/knapsack.json are P01 to P08 of KNAPSACK_01 (Florida State
// University data sets; John Burkardt, MIT licence) and two (X, Y) of the listing
// knapsack_values by the same author. Each has one best choice. For P06 that
// listing prints another selection (1001001), worth 1652; the data set's own
// weight of 169 belongs to the choice worth 1735.
//
// A walk of nothing makes a tour such a problem.
func TestPublishedKnapsacksComeOutBest(t *testing.T) {
	data, err := os.ReadFile("testdata/knapsack.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []knapsackCase
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) != 10 {
		t.Fatalf("%d cases; want 10", len(cases))
	}
	// The example of the function knapsack of the R package adagio: profit 280 with
	// the items 1, 2, 3, 4 and 6.
	cases = append(cases, knapsackCase{Name: "adagio", Capacity: 102, Weights: []int64{2, 20, 20, 30, 40, 30, 60, 10}, Values: []int{15, 100, 90, 60, 40, 15, 10, 1},
		Selection: []int{1, 1, 1, 1, 0, 1, 0, 0}, Value: 280, Weight: 102})
	for _, c := range cases {
		t.Run(c.Name, func(t *testing.T) {
			r := c.asRoute()
			kept, ok := r.best(time.Duration(c.Capacity))
			selection := make([]int, len(c.Weights))
			value := 0
			for _, i := range kept {
				selection[i] = 1
				value += c.Values[i]
			}
			if !ok || !slices.Equal(selection, c.Selection) || value != c.Value || r.takes(kept) != time.Duration(c.Weight) {
				t.Errorf("got %v, worth %d, weight %d; want %v, worth %d, weight %d", selection, value, r.takes(kept), c.Selection, c.Value, c.Weight)
			}
			if c.Name == "P06" && value != 1735 {
				t.Errorf("P06 is worth %d; want 1735", value)
			}
		})
	}
}
