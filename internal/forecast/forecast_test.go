package forecast

import (
	"errors"
	"math"
	"os/exec"
	"strings"
	"testing"

	"example.org/opencowl/internal/testtool"
)

// Eight weeks of one part each: nothing varies, so that X² is 0 and the next four
// weeks are Poisson with mean 4. By hand, with e⁻⁴ = 0.018316:
//
//	count      0      1      2      3      4      5      6      7
//	f       0.0183 0.0733 0.1465 0.1954 0.1954 0.1563 0.1042 0.0595
//	F − f/2 0.0092 0.0549 0.1648 0.3357 0.5311 0.7070 0.8372 0.9191
//
// The first that reaches 0.095 is 2; the last that does not pass 0.905 is 6.
func TestEvenWeeksAreAPoissonRange(t *testing.T) {
	got, err := Fits([]int{1, 1, 1, 1, 1, 1, 1, 1}, 28)
	if err != nil || got != (Range{2, 6}) {
		t.Errorf("got %v, %v; want 2 to 6", got, err)
	}
}

// With φ = 1, n = h and S = 1 the parts to come are negative binomial with size 3/2
// and probability 1/2. By hand: f(0) = 2^(−3/2) = 0.353553, and each next is
// (1.5 + y)/(y + 1)/2 times the one before: 0.265165, 0.165728, 0.096675, 0.054380.
func TestDispersionOfOneIsGammaPoissonWithJeffreysPrior(t *testing.T) {
	n, h, s := 8.0, 8.0, 1.0
	c := newCounts(h*(s+0.5)/n, 1+h/n)
	for y, want := range []float64{0.353553, 0.265165, 0.165728, 0.096675, 0.054380} {
		if got := c.next(); math.Abs(got-want) > 1e-6 {
			t.Errorf("f(%d) = %.6f, want %.6f", y, got, want)
		}
	}
	// For φ = 1 the mean and the ratio are those of size S + 1/2 and probability n/(n + h).
	for _, w := range []struct{ n, h, s float64 }{{8, 4, 3}, {16, 12, 40}, {52, 4, 26}} {
		c := newCounts(w.h*(w.s+0.5)/w.n, 1+w.h/w.n)
		if math.Abs(c.size-(w.s+0.5)) > 1e-9 || math.Abs(1/c.ratio-w.n/(w.n+w.h)) > 1e-12 {
			t.Errorf("n = %v, h = %v, S = %v: size %v and probability %v", w.n, w.h, w.s, c.size, 1/c.ratio)
		}
	}
}

// R: pnbinom(q=0, mu=1500, size=20, log.p=TRUE) = -86.61466680572661, as printed in
// the tests of SciPy (scipy/stats/tests/test_discrete_distns.py, test_nbinom_11465).
func TestFirstProbabilityIsThatOfR(t *testing.T) {
	if got, want := newCounts(1500, 1+1500.0/20).log, -86.61466680572661; math.Abs(got/want-1) > 1e-14 {
		t.Errorf("log f(0) = %.15g, want %.15g", got, want)
	}
}

// python returns the name of a Python that has SciPy.
func python(t *testing.T) string {
	t.Helper()
	testtool.Need(t, "python3")
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import scipy.stats").Run() == nil {
			return name
		}
	}
	testtool.Need(t, "a Python with SciPy (Debian package python3-scipy)")
	return ""
}

// theirs is the same range by SciPy's distributions: nbinom, poisson and chi2.
const theirs = `
import sys
import numpy as np
from scipy.stats import nbinom, poisson, chi2
for line in sys.stdin:
    h, *x = map(float, line.split())
    n, s = len(x), sum(x)
    m = s / n
    X2 = sum((v - m) ** 2 for v in x) / m
    y, mid = np.arange(2000), 0
    for phi in X2 / chi2.ppf((np.arange(40) + .5) / 40, n - 1.4):
        mean, ratio = h * (s + phi / 2) / n, phi * (1 + h / n)
        d = poisson(mean) if ratio <= 1 else nbinom(mean / (ratio - 1), 1 / ratio)
        mid = mid + (d.cdf(y) - d.pmf(y) / 2) / 40
    print(np.argmax(mid >= .095), np.argmax(mid > .905) - 1)
`

func TestRangesAreThoseOfSciPy(t *testing.T) {
	var in, want strings.Builder
	for seed := range uint64(6) {
		for _, w := range worlds() {
			d := newDice(seed)
			weekly := draw(d, w, 8+int(seed)*8)
			if sum(weekly) == 0 {
				continue
			}
			h := 1 + 2*int(seed)
			got, err := Fits(weekly, 7*h)
			if err != nil {
				t.Fatal(err)
			}
			in.WriteString(line(append([]int{h}, weekly...)))
			want.WriteString(line([]int{got.Low, got.High}))
		}
	}
	cmd := exec.Command(python(t), "-c", theirs)
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	ours, scipys, asked := strings.Split(want.String(), "\n"), strings.Split(string(out), "\n"), strings.Split(in.String(), "\n")
	if len(ours) != len(scipys) || len(ours) < 80 {
		t.Fatalf("%d ranges of ours, %d of SciPy's", len(ours), len(scipys))
	}
	for i := range ours {
		if ours[i] != scipys[i] {
			t.Errorf("weeks ahead and history %s: got %s, SciPy %s", asked[i], ours[i], scipys[i])
		}
	}
}

func TestNoRangeSaysWhy(t *testing.T) {
	eight := []int{0, 2, 0, 1, 3, 0, 0, 1}
	for _, c := range []struct {
		weekly []int
		days   int
		want   error
	}{
		{nil, 28, ErrShort}, {eight[1:], 28, ErrShort}, {eight, 28, nil}, {eight, 84, nil}, {eight, 85, ErrFar},
		{eight, 0, ErrPast}, {eight, -3, ErrPast}, {make([]int, 8), 28, ErrIdle}, {make([]int, 60), 28, ErrIdle},
		// What was fitted more than a year ago does not count.
		{append([]int{9, 9, 9}, make([]int, 52)...), 28, ErrIdle},
	} {
		r, err := Fits(c.weekly, c.days)
		if !errors.Is(err, c.want) || (err == nil) != (c.want == nil) {
			t.Errorf("%v, %d days: got %v, want %v", c.weekly, c.days, err, c.want)
		}
		if err != nil && r != (Range{}) {
			t.Errorf("%v: an error with the range %v", c.weekly, r)
		}
	}
}

// Farther ahead a range begins and ends no lower, and an uneven history of the same
// sum never makes a narrower one.
func TestRangesGrowWithTimeAndUnevenness(t *testing.T) {
	for _, w := range worlds() {
		weekly := draw(newDice(7), w, 20)
		last := Range{}
		for days := 7; days <= 210; days += 7 {
			r, err := Fits(weekly, days)
			if err != nil {
				t.Fatal(err)
			}
			if r.Low < last.Low || r.High < last.High {
				t.Errorf("%s: %v in %d days, and %v a week before", w.name, r, days, last)
			}
			last = r
		}
	}
	even, uneven := []int{2, 2, 2, 2, 2, 2, 2, 2, 2, 2}, []int{0, 0, 10, 0, 0, 0, 0, 10, 0, 0}
	a, _ := Fits(even, 56)
	b, _ := Fits(uneven, 56)
	if b.High-b.Low <= 2*(a.High-a.Low) {
		t.Errorf("even weeks give %v, and bursts %v", a, b)
	}
}

// A great many parts must not make probabilities vanish in rounding.
func TestManyPartsHaveARange(t *testing.T) {
	weekly := make([]int, 52)
	for i := range weekly {
		weekly[i] = 60 + i%7
	}
	r, err := Fits(weekly, 7*52)
	if err != nil || r.Low < 3000 || r.High > 3600 || r.Low >= r.High {
		t.Errorf("got %v, %v; want a range about 3,270", r, err)
	}
}
