package power

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// mostEnumerated bounds the fish of an enumerated trial: its cost is their product.
const mostEnumerated = 2000

// OneAngler is the exact power of one angler's trial with lower fish in the
// arrangement that has the test pattern lower and upper in the other, 1 to 1000 each, by
// the sum over all outcomes of Fisher's exact method with central p-values: the
// chance that its interval at 1 - alpha leaves out one half, on either side. share is
// the true share, beta the position effect, log odds. The order of the fish and
// their blocks play no part.
//
// Errors: ErrArgument. Source: the definition; cost lower·upper.
func (t Test) OneAngler(share, beta float64, lower, upper int) (float64, error) {
	theta := num.Logit(share)
	switch {
	case lower < 1 || upper < 1 || lower+upper > mostEnumerated:
		return 0, fmt.Errorf("%w: %d and %d fish; accepted are 1 or more and at most %d together", ErrArgument, lower, upper, mostEnumerated)
	case !(t.Alpha > 0 && t.Alpha < 1):
		return 0, fmt.Errorf("%w: alpha %v; accepted is above 0 and below 1", ErrArgument, t.Alpha)
	case math.IsNaN(theta) || math.IsInf(theta, 0) || math.IsNaN(beta) || math.IsInf(beta, 0):
		return 0, fmt.Errorf("%w: share %v, position effect %v; accepted are a share above 0 and below 1, a number", ErrArgument, share, beta)
	}
	// By the fish that took the lower fly: P = expit(θ+β) and 1 - expit(θ-β).
	first, second := binomial(lower, num.Expit(theta+beta)), binomial(upper, num.Expit(beta-theta))
	var power float64
	for total := 0; total <= lower+upper; total++ {
		least, most := max(0, total-upper), min(total, lower)
		below, above := rejected(lower, upper, total, least, most, t.Alpha/2)
		for x := least; x <= most; x++ {
			if x < below || x > above {
				power += first[x] * second[total-x]
			}
		}
	}
	return math.Min(1, power), nil
}

// binomialPower is the exact power of a central binomial test of one half with n fish, the
// chance that the interval of Clopper and Pearson leaves it out on either side.
func (t Test) binomialPower(share float64, n int) float64 {
	null, actual := binomial(n, .5), binomial(n, share)
	var tail, power float64
	for x := 0; x < n/2; x++ {
		if tail += null[x]; tail > t.Alpha/2*(1+1e-9) {
			break
		}
		power += actual[x] + actual[n-x]
	}
	return power
}

// rejected returns the bounds of the outcomes that are kept: those below the first
// have a lower tail, those above the second an upper tail of at most tail.
func rejected(lower, upper, total, least, most int, tail float64) (below, above int) {
	p := func(x int) float64 {
		return math.Exp(num.LogHypergeometric(int64(x), int64(lower), int64(upper), int64(total)))
	}
	const fuzz = 1 + 1e-9 // a tail that equals its bound but for rounding is inside it
	below, above = least, most
	for sum := p(below); below <= most && sum <= tail*fuzz; sum += p(below) {
		below++
	}
	for sum := p(above); above >= least && sum <= tail*fuzz; sum += p(above) {
		above--
	}
	return below, above
}

func binomial(n int, p float64) []float64 {
	probabilities := make([]float64, n+1)
	for k := range probabilities {
		probabilities[k] = math.Exp(num.LogBinomial(int64(k), int64(n), p))
	}
	return probabilities
}
