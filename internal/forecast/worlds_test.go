package forecast

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
)

var long = flag.Bool("long", false, "draw 10,000 histories for each cell of the table")

// world is a workshop whose truth is known: how its weekly counts come about.
type world struct {
	name string
	draw func(*rand.Rand) int
}

func newDice(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1883)) }

// worlds are even benches at several rates; benches with bursts, whose counts are
// negative binomial with size k; and benches that are idle in some weeks.
func worlds() []world {
	var all []world
	for _, rate := range []float64{0.5, 1, 2, 4, 8} {
		all = append(all, world{fmt.Sprintf("Poisson, %v a week", rate), func(d *rand.Rand) int { return poisson(d, rate) }})
	}
	for _, b := range []struct{ mean, k float64 }{{1, 1}, {2, 2}, {2, 1}, {4, 2}, {4, 1}, {8, 2}, {8, 1}} {
		all = append(all, world{fmt.Sprintf("bursts, %v a week, k = %v", b.mean, b.k), func(d *rand.Rand) int {
			return poisson(d, gamma(d, b.k)*b.mean/b.k)
		}})
	}
	for _, i := range []struct{ idle, rate float64 }{{0.3, 2}, {0.3, 5}, {0.5, 3}, {0.2, 8}} {
		all = append(all, world{fmt.Sprintf("idle %v of weeks, else %v", i.idle, i.rate), func(d *rand.Rand) int {
			if d.Float64() < i.idle {
				return 0
			}
			return poisson(d, i.rate)
		}})
	}
	return all
}

// poisson draws a count by multiplying uniform numbers (Knuth, "The Art of Computer
// Programming", volume 2, 3.4.1).
func poisson(d *rand.Rand, mean float64) int {
	n := 0
	for ; mean > 0; mean -= 20 { // in pieces, lest the product vanish
		limit := math.Exp(-min(mean, 20))
		for p := d.Float64(); p > limit; p *= d.Float64() {
			n++
		}
	}
	return n
}

// gamma draws from the gamma distribution of a shape of 1 or more and scale 1
// (Marsaglia and Tsang, 2000, "A simple method for generating gamma variables").
func gamma(d *rand.Rand, shape float64) float64 {
	a := shape - 1.0/3
	c := 1 / math.Sqrt(9*a)
	for {
		x := d.NormFloat64()
		v := math.Pow(1+c*x, 3)
		if v > 0 && math.Log(d.Float64()) < x*x/2+a-a*v+a*math.Log(v) {
			return a * v
		}
	}
}

func draw(d *rand.Rand, w world, weeks int) []int {
	weekly := make([]int, weeks)
	for i := range weekly {
		weekly[i] = w.draw(d)
	}
	return weekly
}

func line(numbers []int) string { return strings.Trim(fmt.Sprint(numbers), "[]") + "\n" }

// ahead are the weeks ahead, and behind those of history, for which worlds are drawn.
var (
	ahead  = [2]int{4, 12}
	behind = [3]int{8, 16, 52}
)

// covered is how often what came about lay in the range, in percent, of those
// histories that give a range.
type covered [len(behind)][len(ahead)]float64

// cover draws a world again and again and holds a way of making ranges against it.
func cover(w world, seed uint64, times int, ranges func([]int, int) (Range, error)) (c covered) {
	for i, n := range behind {
		d := newDice(seed<<8 + uint64(n))
		var held, shown [len(ahead)]int
		for range times {
			weekly := draw(d, w, n)
			future := draw(d, w, ahead[1])
			for j, h := range ahead {
				r, err := ranges(weekly, 7*h)
				if err != nil {
					continue // nothing was fitted: readers get no range
				}
				shown[j]++
				if came := sum(future[:h]); r.Low <= came && came <= r.High {
					held[j]++
				}
			}
		}
		for j := range ahead {
			c[i][j] = 100 * float64(held[j]) / float64(shown[j])
		}
	}
	return c
}

// coverOf covers all worlds, two at a time.
func coverOf(times int, ranges func([]int, int) (Range, error)) []covered {
	all := worlds()
	found := make([]covered, len(all))
	turns := make(chan struct{}, 2)
	var wait sync.WaitGroup
	for i, w := range all {
		turns <- struct{}{}
		wait.Go(func() {
			found[i] = cover(w, uint64(i), times, ranges)
			<-turns
		})
	}
	wait.Wait()
	return found
}

func row(name string, c covered) string {
	s := fmt.Sprintf("| %-28s |", name)
	for _, n := range c {
		for _, share := range n {
			s += fmt.Sprintf(" %4.1f |", share)
		}
	}
	return s
}

// A range that is to hold four times in five holds 78 to 86 times in a hundred,
// whatever the world. With fewer draws, three standard errors are allowed on top.
func TestRangesHoldFourTimesInFive(t *testing.T) {
	times, spare := 600, 3*100*math.Sqrt(0.8*0.2/600)
	if *long {
		times, spare = 10_000, 0
	}
	t.Logf("| %-28s | 8→4 | 8→12 | 16→4 | 16→12 | 52→4 | 52→12 |", "weeks of history → ahead")
	chi := map[int][]float64{}
	for _, n := range behind {
		chi[n] = chiSquared(n)
	}
	// As Fits does, with the quantiles that hang on the number of weeks alone kept.
	ranges := func(weekly []int, days int) (Range, error) {
		if sum(weekly) == 0 {
			return Range{}, ErrIdle
		}
		return quantiles(mixture(weekly, float64(days)/7, chi[len(weekly)])), nil
	}
	for i, c := range coverOf(times, ranges) {
		name := worlds()[i].name
		t.Log(row(name, c))
		for n, shares := range c {
			for h, share := range shares {
				if share < 78-spare || share > 86+spare {
					t.Errorf("%s, %d weeks of history, %d ahead: the range holds %.1f times in a hundred; want 78 to 86, give or take %.1f", name, behind[n], ahead[h], share, spare)
				}
			}
		}
	}
}

// The yardstick can tell: resampling the weeks, which takes the mean of a short
// history for certain, falls through it.
func TestPlainResamplingDoesNotHoldFourTimesInFive(t *testing.T) {
	low := 0
	d := newDice(3)
	var turn sync.Mutex
	found := coverOf(150, func(weekly []int, days int) (Range, error) {
		turn.Lock()
		defer turn.Unlock()
		return resampled(d, weekly, days/7), nil
	})
	for _, c := range found {
		if c[0][1] < 78-3*100*math.Sqrt(0.8*0.2/150) {
			low++
		}
	}
	if low < 5 {
		t.Errorf("with 8 weeks of history, 12 ahead, resampling falls short in %d of %d worlds; the table would pass anything", low, len(found))
	}
}

// resampled is the middle of what comes of drawing h past weeks, 200 times over.
func resampled(d *rand.Rand, weekly []int, h int) Range {
	var sums [200]int
	for i := range sums {
		for range h {
			sums[i] += weekly[d.IntN(len(weekly))]
		}
	}
	return middle(sums[:])
}

// middle leaves out a tenth at each end.
func middle(sums []int) Range {
	slices.Sort(sums)
	return Range{sums[len(sums)/10], sums[len(sums)-1-len(sums)/10]}
}
