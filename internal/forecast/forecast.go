// Package forecast says how many parts a workshop may fit in the weeks to come,
// judged by how many it fitted in each week so far.
//
// It promises a range that holds four times in five when the weeks to come are
// like those that were: as busy on the whole, and as uneven. Each week is taken to
// stand by itself. The range allows for a mean that a few weeks do not settle, for
// counts being whole, and for benches that work by fits and starts. Where the past
// is too short to say that much, there is no range but a reason.
//
// It knows weekly counts and nothing else: no part, no date, no workshop.
//
// # The distribution
//
// Let S be the parts fitted in n weeks, and h the weeks ahead. For an even bench
// the counts are Poisson, and with Jeffreys' prior for their mean the parts to come
// follow the negative binomial distribution with size S + 1/2 and probability
// n/(n + h), the Gamma-Poisson predictive distribution (Bejleri and Nandram, 2018,
// "Bayesian and frequentist prediction limits for the Poisson distribution",
// Communications in Statistics 47(17)). Its variance is 1 + h/n times its mean.
//
// Real benches have bursts and idle weeks: their counts vary by a factor φ more.
// Then both the half of Jeffreys' prior and the variance grow by φ, as in a
// quasi-Poisson model (McCullagh and Nelder, "Generalized Linear Models", 2nd
// edition, section 6.2; from memory), and φ itself is not known: Pearson's
// statistic X² = Σ(x − S/n)²/(S/n) is taken for φ times a chi-squared variable.
// What is handed out are quantiles of the mixture of those negative binomials over
// φ, in equal slices. Where φ(1 + h/n) is 1 or less a negative binomial is the
// Poisson distribution, and no narrower one is used.
//
// The model was chosen by simulation, and so were two figures in it (dispersionPrior,
// tail); DEVELOPERS.md has the table and what else was tried.
package forecast

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

const (
	// LeastWeeks is the shortest history that a range is drawn from.
	LeastWeeks = 8
	// MostWeeks is how much of a longer history counts: the latest year.
	MostWeeks = 52
)

const (
	// cuts is into how many equal parts the dispersion's distribution is cut.
	cuts = 40
	// dispersionPrior are the degrees of freedom that the prior for the dispersion
	// adds to the n − 1 of the data: its density goes with φ^(−4/5). Jeffreys' prior
	// adds none, and left uneven benches with 8 weeks of history at 77 %.
	dispersionPrior = -0.4
	// tail is what is left out at each end, counting half of the last count kept
	// (mid-p). A tenth would be left out where counts are large; small ones come in
	// steps, and uneven benches stay under 78 % then.
	tail = 0.095
)

// Reasons for which there is no range.
var (
	ErrShort = errors.New("the history is too short")
	ErrIdle  = errors.New("nothing was fitted in these weeks")
	ErrFar   = errors.New("the day is too far off")
	ErrPast  = errors.New("the day is not in the future")
)

// Range is a number of parts from Low to High, both of them in it.
type Range struct {
	Low  int `json:"low"`
	High int `json:"high"`
}

// Fits returns the range for the parts that are fitted in so many days from now on.
// Weekly are the parts fitted in each whole week so far, the oldest first; all are 0
// or more. Days are sevenths of a week. An error wraps one of the reasons above and
// says it in words.
func Fits(weekly []int, days int) (Range, error) {
	if n := len(weekly); n < LeastWeeks {
		return Range{}, fmt.Errorf("%w: it has %d whole weeks, and a range needs %d", ErrShort, n, LeastWeeks)
	}
	weekly = weekly[max(0, len(weekly)-MostWeeks):]
	switch {
	case days <= 0:
		return Range{}, fmt.Errorf("%w: it is %d days off", ErrPast, days)
	// Twelve weeks from eight is as far as was simulated.
	case 2*days > 3*7*len(weekly):
		return Range{}, fmt.Errorf("%w: it is %d days off, and %d weeks of history tell of %d days at most", ErrFar, days, len(weekly), 3*7*len(weekly)/2)
	case sum(weekly) == 0:
		return Range{}, ErrIdle
	}
	return quantiles(mixture(weekly, float64(days)/7, chiSquared(len(weekly)))), nil
}

func sum(counts []int) int {
	total := 0
	for _, c := range counts {
		total += c
	}
	return total
}

// chiSquared returns the quantiles in the middle of each slice of what X² is over φ,
// for so many weeks.
func chiSquared(weeks int) []float64 {
	freedom := float64(weeks) - 1 + dispersionPrior
	all := make([]float64, cuts)
	for i := range all {
		// Chi-squared is twice a gamma variable.
		all[i] = 2 * mathext.GammaIncRegInv(freedom/2, (float64(i)+0.5)/cuts)
	}
	return all
}

// mixture is the predictive distribution for h weeks.
func mixture(weekly []int, h float64, chi []float64) []counts {
	n, s := float64(len(weekly)), float64(sum(weekly))
	mean := s / n
	pearson := 0.0
	for _, x := range weekly {
		pearson += (float64(x) - mean) * (float64(x) - mean) / mean
	}
	all := make([]counts, len(chi))
	for i := range all {
		dispersion := pearson / chi[i]
		all[i] = newCounts(h*(s+dispersion/2)/n, dispersion*(1+h/n))
	}
	return all
}

// quantiles returns the range between the tails of a mixture in equal shares.
func quantiles(mixed []counts) Range {
	r := Range{Low: -1}
	below := 0.0
	for y := 0; ; y++ {
		here := 0.0
		for i := range mixed {
			here += mixed[i].next() / float64(len(mixed))
		}
		middle := below + here/2
		if r.Low < 0 && middle >= tail {
			r.Low = y
		}
		if middle > 1-tail {
			r.Low = min(r.Low, r.High)
			return r
		}
		r.High = y
		below += here
	}
}

// counts is a negative binomial distribution by its mean and the ratio of its
// variance to its mean; a Poisson distribution where that ratio is 1 or less. It
// gives its probabilities one after another, from 0 on.
type counts struct {
	y     float64
	log   float64 // of the probability of y
	size  float64 // of the negative binomial; 0: Poisson
	mean  float64
	ratio float64
}

func newCounts(mean, ratio float64) counts {
	if ratio <= 1 {
		return counts{log: -mean, mean: mean, ratio: 1}
	}
	size := mean / (ratio - 1)
	return counts{log: -size * math.Log(ratio), size: size, mean: mean, ratio: ratio}
}

// next returns the probability of the count that is due, and goes on to the one above.
func (c *counts) next() float64 {
	p := math.Exp(c.log)
	if c.size == 0 {
		c.log += math.Log(c.mean / (c.y + 1))
	} else {
		c.log += math.Log((c.size + c.y) / (c.y + 1) * (1 - 1/c.ratio))
	}
	c.y++
	return p
}
