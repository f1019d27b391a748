package analysis

import (
	"fmt"

	"evenrig/stats/calibration"
	"evenrig/stats/glmm"
)

// profile fills in the profile limits of θ with the cut that fits few anglers. Where the search for one does not end all of
// them stay null, with a warning.
func (m *MixedModel) profile(fit *glmm.TrialResult, d dataset, level float64, n *notes) error {
	var fish []int64
	for _, a := range d.withFish() {
		fish = append(fish, a.table.Total())
	}
	effective := calibration.EffectiveAnglers(fish)
	raised, err := calibration.ProfileLevel(effective, level)
	if err != nil {
		return fmt.Errorf("profile limits: %w", err)
	}
	limits, err := fit.ProfileTheta(raised)
	if err == nil {
		var w float64
		if w, err = fit.ProfileStatistic(0); err == nil {
			var p float64
			if p, err = calibration.ProfileP(effective, w); err != nil {
				return fmt.Errorf("profile limits: %w", err)
			}
			m.ProfileLow, m.ProfileHigh, m.ProfileP, m.ProfileDF = limits.Low, limits.High, known(p), known(effective-1)
			m.averageLow, m.averageHigh = 0, 1
			if limits.Low != nil {
				m.averageLow = fit.AverageShareAt(*limits.Low)
			}
			if limits.High != nil {
				m.averageHigh = fit.AverageShareAt(*limits.High)
			}
			return nil
		}
	}
	_, code, reason, ok := fitOutcome(err)
	if !ok {
		return fmt.Errorf("profile limits: %w", err)
	}
	n.add(code, "the mixed model's profile limits are not given: %s", reason)
	return nil
}

// besideMixed fills in how far anglers may differ: the upper limit of the SD of the pattern effect, and the test that it is 0.
func (m *MixedModel) besideMixed(fit *glmm.TrialResult, level float64, n *notes) error {
	if fit == nil {
		return nil
	}
	limits, err := fit.ProfileSD(glmm.TermPattern, level)
	if err == nil {
		m.SDPatternHigh = limits.High
		var test glmm.Boundary
		if test, err = fit.BoundaryTest(glmm.TermPattern); err == nil {
			m.BoundaryP = known(test.P)
		}
	}
	switch _, _, reason, ok := fitOutcome(err); {
	case ok:
		n.add(WarnPartRefused, "how far anglers may differ is not given whole: %s", reason)
	case err != nil:
		return fmt.Errorf("how far anglers may differ: %w", err)
	case m.SDPatternHigh == nil:
		n.add(WarnPartRefused, "how far anglers may differ has no upper limit in these fish")
	}
	return nil
}

// speaks reports whether the model has limits that may speak.
func (m *MixedModel) speaks() bool { return m != nil && m.Status == Converged && m.ProfileP != nil }
