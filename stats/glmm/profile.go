package glmm

import "fmt"

// Term names a random effect of the trial model.
type Term int

// The random effects u, v and w.
const (
	TermPattern Term = iota + 1
	TermPosition
	TermOuting
)

// Limits are two-sided likelihood-root limits of a parameter: the values at which
// twice the profile log-likelihood lies below its maximum by the chi-square quantile
// of the level. A side on which the profile never falls so far has no limit: nil.
type Limits struct {
	Low, High *float64
}

// ProfileTheta returns the likelihood-root limits of θ at the given level of
// coverage, above 0 and below 1.
func (r *TrialResult) ProfileTheta(level float64) (Limits, error) {
	return Limits{}, fmt.Errorf("%w: profile limits", ErrUnsupported)
}

// ProfileSD returns the likelihood-root limits of the SD of a term. The lower limit is
// 0 where the profile at 0 is high enough.
func (r *TrialResult) ProfileSD(term Term, level float64) (Limits, error) {
	return Limits{}, fmt.Errorf("%w: profile limits", ErrUnsupported)
}
