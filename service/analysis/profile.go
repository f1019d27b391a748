package analysis

import (
	"fmt"

	"evenrig/stats/calibration"
	"evenrig/stats/glmm"
	"evenrig/stats/num"
)

// profile fills in the profile limits of θ with the cut that fits few anglers, and the p that goes with them. Where the search for
// one does not end all of them stay null, with a warning.
func (m *MixedModel) profile(fit *glmm.TrialResult, d dataset, level float64, n *notes) error {
	if err := m.profileLimits(fit, d, level, n); err != nil || m.ProfileDF == nil {
		return err
	}
	w, err := fit.ProfileStatistic(0)
	if err != nil {
		m.ProfileLow, m.ProfileHigh, m.ProfileDF = nil, nil, nil
		return profileRefused(err, n)
	}
	p, err := calibration.ProfileP(*m.ProfileDF+1, w)
	if err != nil {
		return fmt.Errorf("profile limits: %w", err)
	}
	m.ProfileP = known(p)
	return nil
}

// profileLimits is profile without the p.
func (m *MixedModel) profileLimits(fit *glmm.TrialResult, d dataset, level float64, n *notes) error {
	effective, raised, err := d.profileLevel(level)
	if err != nil {
		return err
	}
	limits, err := fit.ProfileTheta(raised)
	if err != nil {
		return profileRefused(err, n)
	}
	m.ProfileLow, m.ProfileHigh, m.ProfileDF = limits.Low, limits.High, known(effective-1)
	m.averageLow, m.averageHigh = 0, 1
	if limits.Low != nil {
		m.averageLow = fit.AverageShareAt(*limits.Low)
	}
	if limits.High != nil {
		m.averageHigh = fit.AverageShareAt(*limits.High)
	}
	return nil
}

// profileRefused notes why there is no profile, where the data are the reason.
func profileRefused(err error, n *notes) error {
	_, code, reason, ok := fitOutcome(err)
	if !ok {
		return fmt.Errorf("profile limits: %w", err)
	}
	n.add(code, "the mixed model's profile limits are not given: %s", reason)
	return nil
}

// profileLevel is the level at which a profile is cut, raised for few anglers, and how many anglers with as many fish each they
// are worth.
func (d dataset) profileLevel(level float64) (effective, raised float64, err error) {
	var fish []int64
	for _, a := range d.withFish() {
		fish = append(fish, a.table.Total())
	}
	effective = calibration.EffectiveAnglers(fish)
	if raised, err = calibration.ProfileLevel(effective, level); err != nil {
		err = fmt.Errorf("profile limits: %w", err)
	}
	return effective, raised, err
}

// quick fills in limits of θ by the standard error where the profile's would be: with many anglers they are the same but for a
// small part of it.
func (m *MixedModel) quick(fit *glmm.TrialResult, d dataset, level float64, _ *notes) error {
	effective, raised, err := d.profileLevel(level)
	if err != nil {
		return err
	}
	reach := -num.NormalQuantile((1-raised)/2) * fit.ThetaSE
	m.ProfileLow, m.ProfileHigh, m.ProfileDF = known(fit.Theta-reach), known(fit.Theta+reach), known(effective-1)
	z := fit.Theta / fit.ThetaSE
	p, err := calibration.ProfileP(effective, z*z)
	if err != nil {
		return fmt.Errorf("limits by the standard error: %w", err)
	}
	m.ProfileP = known(p)
	m.averageLow, m.averageHigh = fit.AverageShareAt(*m.ProfileLow), fit.AverageShareAt(*m.ProfileHigh)
	return nil
}

// besideMixed fills in how far anglers may differ: the upper limit of the SD of the pattern effect, and the test that it is 0.
func (m *MixedModel) besideMixed(fit *glmm.TrialResult, level float64, n *notes) error {
	if fit == nil {
		return nil
	}
	high, err := fit.SDUpper(glmm.TermPattern, level)
	if err == nil {
		m.SDPatternHigh = high
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
func (m *MixedModel) speaks() bool { return m != nil && m.Status == Converged && m.ProfileDF != nil }
