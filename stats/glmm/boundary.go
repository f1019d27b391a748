package glmm

import "evenrig/stats/num"

// Boundary is the likelihood-ratio test of "this SD is 0".
type Boundary struct {
	Statistic float64 // twice the difference in log-likelihood, 0 or more
	P         float64 // the chance of as much or more if the SD is 0
}

// boundary tests a scale parameter. Under the null hypothesis it lies on the edge of what
// is possible, so the statistic is not a chi-square but a mixture: half χ²(0), half χ²(1)
// for an SD alone (5 % point 2.706), half χ²(1), half χ²(2) for one with its correlation
// (5.139): Self & Liang 1987, J. Am. Stat. Assoc. 82:605, cases 5 and 6; Stram & Lee 1994,
// Biometrics 50:1171. With another SD at 0 as well the p-value is too large.
func (f *inference) boundary(term Term) (Boundary, error) {
	k, err := f.scale(term)
	if err != nil {
		return Boundary{}, err
	}
	without := f.without(k)
	null, err := newWorkspace(f.evaluator.problem, f.evaluator.points).highest(without...)
	if err != nil {
		return Boundary{}, err
	}
	b := Boundary{Statistic: f.ratio(null)}
	b.P = mixtureTail(b.Statistic, len(without) > 1)
	return b, nil
}

// ratio is twice the log-likelihood by which the fit exceeds a restricted one: exactly 0
// within what counts as equally high.
func (f *inference) ratio(null *point) float64 {
	difference := f.value - null.value
	if difference <= f.evaluator.tie(null) {
		return 0
	}
	return 2 * difference
}

// mixtureTail is the chance that the mixture is x or more.
func mixtureTail(x float64, correlated bool) float64 {
	switch {
	case x <= 0:
		return 1
	case correlated:
		return (num.ChiSquaredTail(x, 1) + num.ChiSquaredTail(x, 2)) / 2
	}
	return num.ChiSquaredTail(x, 1) / 2
}
