package glmm

// Wald is the interval estimate ± t·stdErr and the two-sided p-value of
// "the true value is 0", with t from Student's distribution on df degrees of
// freedom (df = +Inf: normal). level is the coverage, above 0 and below 1, e.g.
// .95; stdErr > 0; df > 0. Anything else is ErrInput.
func Wald(estimate, stdErr, level, df float64) (low, high, p float64, err error) {
	return 0, 0, 0, ErrInput
}

// AverageShare is the mean of expit(θ + u + (β + v)·c + w) over independent normal
// u, v, w with the given standard deviations and over c = +1 and c = -1 equally:
// the share of the test pattern, 0 to 1, for anglers and outings at large with
// each pattern lower half the time.
func AverageShare(theta, beta float64, sds ...float64) float64 { return 0 }
