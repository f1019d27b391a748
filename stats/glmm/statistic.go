package glmm

import (
	"fmt"
	"math"
)

// ProfileStatistic is twice the drop of the log-likelihood from its maximum to its largest
// value with θ held at theta, 0 or more: the statistic of which ProfileTheta's limits are
// the quantile. theta is in log odds, at most 20 either way.
//
// Errors: ErrInput for theta; ErrNotConverged where the profile could not be found there.
func (r *TrialResult) ProfileStatistic(theta float64) (float64, error) {
	if !(math.Abs(theta) <= maxLinear) {
		return 0, fmt.Errorf("%w: θ = %v; accepted is at most %d either way", ErrInput, theta, maxLinear)
	}
	return r.inference.statistic(theta)
}

func (f *inference) statistic(theta float64) (float64, error) {
	p := &profile{e: f.fresh(), top: f.point, k: f.theta, bound: maxLinear}
	p.e.tolerance = profileTolerance
	at, err := p.at(theta)
	if err != nil {
		return 0, err
	}
	return p.deviance(p.highest(at, theta)), nil
}
