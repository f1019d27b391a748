package glmm

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Wald is the interval estimate ± t·stdErr and the two-sided p-value of
// "the true value is 0", with t from Student's distribution on df degrees of
// freedom (df = +Inf: normal). level is the coverage, above 0 and below 1, e.g.
// .95; stdErr > 0; df > 0. Anything else is ErrInput.
func Wald(estimate, stdErr, level, df float64) (low, high, p float64, err error) {
	if math.IsNaN(estimate) || math.IsInf(estimate, 0) || !(stdErr > 0) || math.IsInf(stdErr, 1) {
		return 0, 0, 0, fmt.Errorf("%w: estimate %v with standard error %v; accepted are finite numbers, the second above 0", ErrInput, estimate, stdErr)
	}
	if !(level > 0 && level < 1) {
		return 0, 0, 0, fmt.Errorf("%w: level %v; accepted is above 0 and below 1", ErrInput, level)
	}
	if !(df > 0) {
		return 0, 0, 0, fmt.Errorf("%w: %v degrees of freedom; accepted is above 0", ErrInput, df)
	}
	tail := (1 - level) / 2
	if math.IsInf(df, 1) {
		half := -num.NormalQuantile(tail) * stdErr
		return estimate - half, estimate + half, num.NormalTwoSided(estimate / stdErr), nil
	}
	t, err := num.StudentQuantile(1-tail, df)
	if err != nil {
		return 0, 0, 0, fmt.Errorf("%w: %w", ErrInput, err)
	}
	return estimate - t*stdErr, estimate + t*stdErr, num.StudentTwoSided(estimate/stdErr, df), nil
}

// AverageShare is the mean of expit(θ + u + (β + v)·c + w) over independent normal
// u, v, w with the given standard deviations and over c = +1 and c = -1 equally:
// the share of the test pattern, 0 to 1, for anglers and outings at large with
// each pattern lower half the time.
func AverageShare(theta, beta float64, sds ...float64) float64 {
	variance := 0.0
	for _, sd := range sds {
		variance += sd * sd
	}
	sd := math.Sqrt(variance)
	return (meanExpit(theta+beta, sd) + meanExpit(theta-beta, sd)) / 2
}

// meanExpit is the mean of expit(mu + sd·Z), Z standard normal, by the trapezoidal rule.
// The rule's error falls like exp(-2π·π/(sd·h)): expit has its nearest pole at a
// distance π/sd from the real line. Beyond 9 the normal density is nothing.
func meanExpit(mu, sd float64) float64 {
	const reach = 9.0
	h := .25
	if sd > 0 {
		h = min(h, .45/sd)
	}
	sum := 0.0
	steps := int(reach / h)
	for k := -steps; k <= steps; k++ {
		z := float64(k) * h
		mean, _, _ := logistic(mu + sd*z)
		sum += mean * math.Exp(-z*z/2)
	}
	return sum * h / math.Sqrt(2*math.Pi)
}
