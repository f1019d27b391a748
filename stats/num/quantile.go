package num

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// ErrRange: a probability or a number of degrees of freedom outside its legal range.
var ErrRange = errors.New("argument outside its range")

// NormalQuantile returns the standard normal quantile of p: -Inf at 0 and +Inf at
// 1. It panics for p outside [0, 1]. (math.Erfcinv is not used: it works on 1-x
// and loses the lower tail.)
func NormalQuantile(p float64) float64 { return mathext.NormalQuantile(p) }

// NormalTwoSided returns P(|Z| >= |z|) for a standard normal Z, without
// cancellation in the far tail.
func NormalTwoSided(z float64) float64 { return math.Erfc(math.Abs(z) / math.Sqrt2) }

// ChiSquaredTail returns P(X >= x) for a χ² variable on df > 0 degrees of
// freedom; 1 for x <= 0.
func ChiSquaredTail(x, df float64) float64 {
	if x <= 0 {
		return 1
	}
	return mathext.GammaIncRegComp(df/2, x/2)
}

// ChiSquaredQuantile returns the quantile of p, 0 < p < 1, of a χ² variable on
// df > 0 degrees of freedom. Errors: ErrRange.
func ChiSquaredQuantile(p, df float64) (float64, error) {
	if !(p > 0 && p < 1) || !(df > 0) || math.IsInf(df, 1) {
		return 0, fmt.Errorf("χ² quantile of %g on %g degrees of freedom: %w", p, df, ErrRange)
	}
	return distuv.ChiSquared{K: df}.Quantile(p), nil
}

// StudentQuantile returns the quantile of p, 0 < p < 1, of Student's t on df > 0
// degrees of freedom. Errors: ErrRange.
func StudentQuantile(p, df float64) (float64, error) {
	if !(p > 0 && p < 1) || !(df > 0) || math.IsInf(df, 1) {
		return 0, fmt.Errorf("t quantile of %g on %g degrees of freedom: %w", p, df, ErrRange)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p), nil
}

// StudentTwoSided returns P(|T| >= |t|) for Student's t on df > 0 degrees of
// freedom, without cancellation in the far tail; 0 at an infinite t.
func StudentTwoSided(t, df float64) float64 {
	if math.IsInf(t, 0) {
		return 0
	}
	return mathext.RegIncBeta(df/2, 0.5, df/(df+t*t))
}
