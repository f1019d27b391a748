// Package num holds the numerical steps that several methods share: the logistic
// function, log probabilities with safe edges, distributions with both tails and
// quantiles far out, and a bracketing root finder. Nothing in it is an estimator.
//
// Sections: logistic.go, logterms.go (probabilities), tails.go (binomial and Poisson),
// hypergeometric.go, noncentral.go, negativebinomial.go, incomplete.go (tails of gamma
// and beta), quantile.go (normal, t, χ²), root.go. All functions are pure; inputs are
// never modified.
package num

import "math"

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
