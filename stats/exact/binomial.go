package exact

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// likelihoodFuzz is how much more probable than the outcome seen another may be
// and still count as no more probable: it keeps exact ties together when their
// computed probabilities differ in the last digits. 1e-7 is the common choice.
const likelihoodFuzz = 1e-7

// BinomialTwoSided returns the exact two-sided p-value, in (0, 1], of x successes
// in n trials under success probability p0 in [0, 1]: the probability of all
// outcomes no more probable than x (minimum likelihood, ties within 1+1e-7). It
// is 1 for n = 0. If x is impossible under p0 (p0 = 0 with x > 0, p0 = 1 with x < n), the p-value is 0.
//
// Errors: ErrCount unless 0 <= x <= n <= 4·MaxCount; ErrProbability. Accuracy 12
// digits; cost grows with √n. Source: Sterne (1954), Biometrika 41:275-278.
func BinomialTwoSided(x, n int64, p0 float64) (float64, error) {
	if err := checkTrials(x, n); err != nil {
		return 0, err
	}
	if !(p0 >= 0 && p0 <= 1) {
		return 0, fmt.Errorf("p0 = %g: %w", p0, ErrProbability)
	}
	null := num.Binomial{N: n, P: p0, Q: 1 - p0}
	logSeen := null.LogMass(x)
	if math.IsInf(logSeen, -1) {
		return 0, nil
	}
	bar := logSeen + math.Log1p(likelihoodFuzz)
	mode := min(n, int64(math.Floor(float64(n+1)*p0)))
	if null.LogMass(mode) <= bar {
		return 1, nil
	}
	low := lastAtMost(-1, mode, func(k int64) bool { return null.LogMass(k) <= bar })
	high := -lastAtMost(-n-1, -mode, func(k int64) bool { return null.LogMass(-k) <= bar })
	lower, _ := null.Tails(low)
	_, upper := null.Tails(high)
	return atLeastSmallest(math.Min(1, lower+upper)), nil
}

// ClopperPearson returns the central exact limits of a binomial success
// probability, at any level in (0, 1): low solves P(X >= x) = (1-level)/2, high
// solves P(X <= x) = (1-level)/2. low is 0 at x = 0 and high is 1 at x = n.
//
// Errors: ErrCount unless 0 <= x <= n <= 4·MaxCount; ErrNoCatches at n = 0; ErrLevel.
// Accuracy 11 digits of limit and of 1 - limit; cost grows with √n. Source: Clopper & Pearson (1934),
// Biometrika 26:404-413.
func ClopperPearson(x, n int64, level float64) (low, high float64, err error) {
	if err := checkTrials(x, n); err != nil {
		return 0, 0, err
	}
	if err := checkLevel(level); err != nil {
		return 0, 0, err
	}
	if n == 0 {
		return 0, 0, ErrNoCatches
	}
	high = 1
	if x > 0 {
		logit, err := lowerLimitLogit(x, n, (1-level)/2)
		if err != nil {
			return 0, 0, err
		}
		low = num.Expit(logit)
	}
	if x < n {
		logit, err := lowerLimitLogit(n-x, n, (1-level)/2)
		if err != nil {
			return 0, 0, err
		}
		high = num.Expit(-logit)
	}
	return low, high, nil
}

// lowerLimitLogit returns the logit of the p at which P(X >= x) = tail, x >= 1.
// On the logit scale the log tail is concave and smooth, and neither end of the
// range loses digits.
func lowerLimitLogit(x, n int64, tail float64) (float64, error) {
	start := num.Logit((float64(x) - 0.5) / float64(n))
	logTail := math.Log(tail)
	logit, err := num.IncreasingRoot(func(logit float64) float64 {
		_, upper := num.Binomial{N: n, P: num.Expit(logit), Q: num.Expit(-logit)}.Tails(x)
		return math.Log(upper) - logTail
	}, start, 0.5, 200, 1e-14)
	if err != nil {
		return 0, fmt.Errorf("exact limit of %d in %d: %w", x, n, err)
	}
	return logit, nil
}

// lastAtMost returns the last k in (below, top] for which small holds, given
// that it holds up to some point and not after, by bisection; below if none.
func lastAtMost(below, top int64, small func(int64) bool) int64 {
	for below < top {
		middle := below + (top-below+1)/2
		if small(middle) {
			below = middle
		} else {
			top = middle - 1
		}
	}
	return below
}

func checkTrials(x, n int64) error {
	if x < 0 || x > n || n > 4*MaxCount {
		return fmt.Errorf("%d successes in %d trials: %w", x, n, ErrCount)
	}
	return nil
}

// atLeastSmallest lifts a p-value that underflowed to the smallest float64
// above 0: what was seen is never impossible under a null that allows it.
func atLeastSmallest(p float64) float64 {
	return math.Max(p, math.SmallestNonzeroFloat64)
}
