package calibration

import (
	"math"
	"slices"
	"testing"

	"evenrig/stats/exact"
	"evenrig/stats/stattest"
)

// enumerate lists the interval of every sequence of n throws with p = .5, all equally
// likely, so that summarise gives exact coverage, without simulation. The scale is that
// of p.
func enumerate(n int, of func(k int) (low, high float64)) []interval {
	var list []interval
	for k := range n + 1 {
		low, high := of(k)
		i := interval{true, float64(k) / float64(n), low, high}
		list = append(list, slices.Repeat([]interval{i}, int(math.Round(math.Exp(lchoose(n, k)))))...)
	}
	return list
}

func lchoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// Exact coverage of two binomial intervals at p = .5. Wald: the values for n = 10, 12, 13,
// 15, 17, 18 are from Brown, Cai & DasGupta (2001), Statistical Science 16:101-133, table
// 1 (lucky and unlucky n at p = .5, three decimals, from memory), and each is the sum of
// binomial terms that the test's comment gives. Clopper-Pearson: by hand from its limits
// (it covers k = 2..8 of 10: 1002/1024), as Agresti & Coull (1998), The American
// Statistician 52:119-126, describe: never below 95 %.
func TestCoverageOfBinomialIntervalsByEnumeration(t *testing.T) {
	t.Parallel()
	for n, want := range map[int]float64{10: .891, 12: .854, 13: .908, 15: .882, 17: .951, 18: .904} {
		wald := func(k int) (low, high float64) {
			p := float64(k) / float64(n)
			reach := student(0) * math.Sqrt(p*(1-p)/float64(n))
			return p - reach, p + reach
		}
		p := summarise(enumerate(n, wald), .5)
		stattest.Absolute(t, "coverage of Wald's interval", p.Coverage.Value, want, .0005) // printed to three decimals
		stattest.Absolute(t, "bias of k/n", p.Bias.Value, 0, 1e-12)
		stattest.Absolute(t, "RMSE of k/n: its standard deviation", p.RMSE.Value, .5/math.Sqrt(float64(n)), 1e-12)
	}
	clopperPearson := func(k int) (low, high float64) {
		low, high, err := exact.ClopperPearson(int64(k), 10, level)
		if err != nil {
			t.Fatal(err)
		}
		return low, high
	}
	p := summarise(enumerate(10, clopperPearson), .5)
	stattest.Absolute(t, "coverage of Clopper and Pearson's interval", p.Coverage.Value, 1002./1024, 1e-12)
}

func TestFiguresByTheirFormulas(t *testing.T) {
	t.Parallel()
	inf := math.Inf(1)
	intervals := []interval{
		{true, .5, -.5, 1.5},   // holds 0, width 2
		{true, 1, .5, 1.5},     // excludes 0, misses
		{true, -.5, -1, 0},     // holds 0 at its limit
		{true, inf, .25, inf},  // estimate and limit unbounded: no error, excludes 0
		{},                     // no fit: a miss that calls nothing
		{true, 0, -1.25, 1.25}, // width 2.5
		{true, 0, -1.5, 1.5},   // width 3
		{true, 0, -1.5, 1.5},   // width 3
	}
	p := summarise(intervals, 0)
	stattest.Absolute(t, "coverage", p.Coverage.Value, 5./8, 1e-15)
	stattest.Absolute(t, "its error, √(p(1-p)/n)", p.Coverage.MCError, math.Sqrt(5./8*3./8/8), 1e-15)
	stattest.Absolute(t, "excludes 0", p.ExcludesZero.Value, 2./8, 1e-15)
	stattest.Absolute(t, "not fitted", p.NotFitted.Value, 1./8, 1e-15)
	stattest.Absolute(t, "median width", p.OddsWidth.Value, 2.5, 1e-15) // of 1, 1, 2, 2.5, 3, 3, unbounded
	stattest.Absolute(t, "bias", p.Bias.Value, 1./6, 1e-15)             // of .5, 1, -.5, 0, 0, 0
	stattest.Absolute(t, "RMSE", p.RMSE.Value, .5, 1e-15)               // √((.25+1+.25)/6)
	// Errors of bias and RMSE, by hand: Σ(e-1/6)² = 4/3 and Σ(e²-.25)² = .75.
	stattest.Absolute(t, "error of bias", p.Bias.MCError, math.Sqrt(4./3/5/6), 1e-15)
	stattest.Absolute(t, "error of RMSE", p.RMSE.MCError, math.Sqrt(.75/5/6)/(2*.5), 1e-15)
	unbounded := summarise([]interval{{true, inf, 0, inf}, {true, inf, 0, inf}, {true, 0, -1, 1}}, 0)
	if unbounded.OddsWidth.Known || !unbounded.ShareWidth.Known {
		t.Errorf("with most intervals unbounded the width in log odds is %v, in shares %v", unbounded.OddsWidth, unbounded.ShareWidth)
	}
	if none := summarise([]interval{{}, {}}, 0); none.ShareWidth.Known || none.Bias.Known || none.Coverage.Value != 0 || none.NotFitted.Value != 1 {
		t.Errorf("without a fit: %+v", none)
	}
}

// The Monte Carlo error of a median: for normal values it is near the textbook's
// √(π/2)/√n (Stuart & Ord, Kendall's Advanced Theory of Statistics I, section 10.12).
func TestMedianError(t *testing.T) {
	t.Parallel()
	const n = 10_000
	var x []float64
	for i := range n {
		x = append(x, normalAt((float64(i)+.5)/n))
	}
	got := median(x)
	stattest.Absolute(t, "median", got.Value, 0, 1e-9)
	stattest.Relative(t, "its error", got.MCError, math.Sqrt(math.Pi/2/n), .02) // quantiles in steps of 1 %
}
