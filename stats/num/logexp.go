// Package num holds the numerical steps that several methods share: exponentials
// and logarithms that do not overflow, log probabilities with safe edges, a
// bracketing root finder, and quantiles and tails with guarded ranges. Nothing
// in it is an estimator.
//
// Sections: logexp.go, logterms.go, root.go, quantile.go. All functions are
// pure; inputs are never modified.
package num

import "math"

// LogSumExp returns ln Σ exp(x_i) without overflow. The empty sum is -Inf (the
// log of 0), and so is a sum of terms that are all -Inf. A +Inf term gives +Inf.
func LogSumExp(x []float64) float64 {
	largest := math.Inf(-1)
	for _, v := range x {
		largest = math.Max(largest, v)
	}
	if math.IsInf(largest, 0) {
		return largest
	}
	var sum float64
	for _, v := range x {
		sum += math.Exp(v - largest)
	}
	return largest + math.Log(sum)
}

// Log1pExp returns ln(1 + exp(x)), accurate for every x: near exp(x) far below
// 0, near x far above. Source: Mächler (2012), Accurately computing
// log(1 - exp(-|a|)), equation 10.
func Log1pExp(x float64) float64 {
	switch {
	case x <= -37:
		return math.Exp(x)
	case x <= 18:
		return math.Log1p(math.Exp(x))
	case x <= 33.3:
		return x + math.Exp(-x)
	}
	return x
}

// Log1mExp returns ln(1 - exp(x)) for x < 0, and -Inf at x = 0. Above 0 there is
// no such number and the result is NaN: the caller must not pass one. Source:
// Mächler (2012), equation 7.
func Log1mExp(x float64) float64 {
	if x > -math.Ln2 {
		return math.Log(-math.Expm1(x))
	}
	return math.Log1p(-math.Exp(x))
}

// Expit returns exp(x)/(1+exp(x)), in [0, 1]; 0 at -Inf and 1 at +Inf.
func Expit(x float64) float64 {
	if x >= 0 {
		return 1 / (1 + math.Exp(-x))
	}
	e := math.Exp(x)
	return e / (1 + e)
}

// Logit returns ln(p/(1-p)) for p in [0, 1]: -Inf at 0 and +Inf at 1.
func Logit(p float64) float64 { return math.Log(p) - math.Log1p(-p) }
