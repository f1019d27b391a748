package ranking

import (
	"fmt"

	"evenrig/stats/glmm"
)

// FitAnglers is Fit with anglers who differ, in how they see the control against the
// other patterns and in the position effect: the mixed model of the package's
// documentation, by maximum likelihood with adaptive quadrature (glmm.DefaultPoints),
// with limits and p-values by t on the number of anglers minus 1.
//
// Errors: those of Fit, and those of glmm.Fit, among them glmm.ErrOneAngler and
// glmm.ErrRunaway. Cost that of glmm.Fit on one row per angler and rig.
func FitAnglers(patterns []string, comparisons []Comparison, level float64) (*Result, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	pairs, err := newPairs(patterns, comparisons, true)
	if err != nil {
		return nil, err
	}
	if err := checkExistence(patterns, pairs); err != nil {
		return nil, err
	}
	rows := make([]glmm.Row, len(pairs))
	for i, p := range pairs {
		rows[i] = row(len(patterns), p)
	}
	fit, err := glmm.Fit(rows, glmm.Options{Vary: glmm.VaryPatternPosition})
	if err != nil {
		return nil, fmt.Errorf("patterns' strengths with anglers who differ: %w", err)
	}
	r := &Result{
		Patterns: append([]string(nil), patterns...), LogLikelihood: fit.LogLikelihood,
		Anglers: len(fit.Groups), SDPattern: fit.SDPattern, SDPosition: fit.SDPosition,
	}
	r.DF = r.Anglers - 1
	student, err := newInterval(level, r.DF)
	if err != nil {
		return nil, err
	}
	return r, r.fill(fit.Coef, fit.Vcov, student)
}

// row is one angler's count of fish that took the lower fly of one rig.
func row(patterns int, p pair) glmm.Row {
	r := glmm.Row{
		Group: p.angler, Y: int(p.taken[0]), N: int(p.taken[0] + p.taken[1]),
		X: make([]float64, patterns), V: 1,
	}
	r.X[patterns-1] = 1 // position
	for _, end := range []struct {
		pattern int
		sign    float64
	}{{p.lower, 1}, {p.upper, -1}} {
		if end.pattern == 0 {
			r.U = -end.sign
		} else {
			r.X[end.pattern-1] = end.sign
		}
	}
	return r
}
