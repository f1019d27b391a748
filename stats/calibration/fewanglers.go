package calibration

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Profile limits for few anglers. The likelihood root of θ is compared with a cut that
// would be exact if anglers' estimates were normal and equally precise. Then, with m
// anglers and t Student's statistic of their mean,
//
//	W(θ) = 2[max ℓ - max ℓ given θ] = m·ln(1 + t²/(m-1)),
//
// so that W is compared with c² = m·ln(1 + t_q²/(m-1)), t_q the quantile of Student's t
// on m-1. c² tends to the χ² quantile as m grows. Where anglers' numbers of fish differ
// m is the effective number of anglers; see EffectiveAnglers. The simulation study is
// the evidence that this serves counts of fish.

// ErrLimits: arguments of the profile limits outside their ranges.
var ErrLimits = errors.New("unusable arguments of the profile limits")

// leastEffective is the least effective number of anglers, unless there are fewer.
const leastEffective = 4

// EffectiveAnglers returns m = K^⅓·K'^⅔, but at least 4 (or K, if that is less), for
// anglers with n fish each: K is their number, K' = (Σn)²/Σn² how many with the same
// number of fish each would weigh as evenly (Kish 1965, Survey Sampling, section 11.7).
// Anglers without a fish do not count; m is 0 if none has one.
//
// Anglers weigh as their fish where they do not differ, so that K' of them decide, and
// nearly equally where they differ much, so that K do; m lies between. The exponents and
// the least of 4 were found by simulation: with K itself the limits are too narrow where
// one angler has four fifths of the fish, with √(KK') still at 40 anglers, with K' wider
// than need be.
func EffectiveAnglers(fish []int64) float64 {
	var anglers, sum, squares float64
	for _, n := range fish {
		if n > 0 {
			anglers++
			sum += float64(n)
			squares += float64(n) * float64(n)
		}
	}
	if anglers == 0 {
		return 0
	}
	even := sum * sum / squares
	return max(math.Cbrt(anglers*even*even), min(anglers, leastEffective))
}

// ProfileLevel returns the level at which the χ² quantile on one degree of freedom is
// c² = m·ln(1 + t²/(m-1)), t the quantile of Student's t for limits of the given level:
// the level at which profile limits by χ² are the limits for m anglers, m above 1. It
// is above level and below 1.
//
// Errors: ErrLimits for m or level outside its range.
func ProfileLevel(m, level float64) (float64, error) {
	if !(m > 1) || !(level > 0 && level < 1) {
		return 0, fmt.Errorf("%w: %g effective anglers at level %g; accepted is above 1, and between 0 and 1", ErrLimits, m, level)
	}
	t, err := num.StudentQuantile((1+level)/2, m-1)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", ErrLimits, err)
	}
	adjusted := 1 - num.ChiSquaredTail(m*math.Log1p(t*t/(m-1)), 1)
	if !(adjusted < 1) {
		return 0, fmt.Errorf("%w: level %g with %g effective anglers cannot be told from 1", ErrLimits, level, m)
	}
	return adjusted, nil
}

// ProfileP returns the two-sided p-value of a value of θ at which the profile statistic
// W is w >= 0, for m > 1 effective anglers: P(|T| >= √((m-1)(exp(w/m) - 1))), T on m-1.
// It is below 1 - level exactly where the limits of that level exclude the value.
//
// Errors: ErrLimits.
func ProfileP(m, w float64) (float64, error) {
	if !(m > 1) || !(w >= 0) {
		return 0, fmt.Errorf("%w: %g effective anglers, statistic %g; accepted is above 1, and 0 or more", ErrLimits, m, w)
	}
	return num.StudentTwoSided(math.Sqrt((m-1)*math.Expm1(w/m)), m-1), nil
}
