package analysis

import (
	"fmt"

	"evenrig/service/trial"
	"evenrig/stats/glmm"
	"evenrig/stats/num"
)

// chooseVary returns the form of the mixed model: as asked for, else pattern and position, with outings where the records
// can tell them apart. Where days are not known for every fish, or none has two, w cannot be in it.
func chooseVary(d dataset, in Input, s Settings, n *notes) Vary {
	why := ""
	switch {
	case !d.outingsKnown():
		why = "the day is not known for every analysed fish"
	case !outingsShared(in.Tallies):
		why = "no day has two analysed fish, so that days cannot be told from single fish"
	case s.Vary != "":
		return s.Vary
	case in.Design == trial.PairedByOuting || d.outingsRepeat():
		return VaryPatternPositionOuting
	default:
		why = "that takes two anglers with two outings each and two fish an outing on average"
	}
	if s.Vary == VaryPattern || s.Vary == VaryPatternPosition {
		return s.Vary
	}
	if len(d.withFish()) > 1 {
		n.add(WarnOutingsLeftOut, "outings are not in the mixed model: %s", why)
	}
	return VaryPatternPosition
}

// choosePoints returns the quadrature points per dimension for a form of the model, k anglers and so many fish. An angler's many fish
// make the integrand all but normal: with 1,000 each, 5 points give log odds and limits as 7 do to 2e-9, with 100 each 7 as 15 do to 5e-9.
func choosePoints(vary Vary, points, k int, fish int64) int {
	const manyFish = 500
	switch {
	case points > 0:
		return points
	case k >= manyAnglers && vary != VaryPatternPositionOuting && fish >= manyFish*int64(k):
		return 5
	case k >= manyAnglers:
		return pointsOfRows(vary == VaryPatternPositionOuting)
	case vary == VaryPatternPositionOuting:
		return glmm.DefaultOutingPoints
	}
	return glmm.DefaultPoints
}

// form is how the mixed model is fitted.
type form struct {
	vary       Vary
	points     int
	correlated bool
	near       *glmm.Spread // SDs near which the maximum is expected, nil for none
	quick      bool         // limits by the standard error in place of the profile
	limitsOnly bool         // nobody asks for the p-value of θ = 0
}

// mixedModel fits the model in the given form. Where it is refused the status says why and every number is null; fit is
// nil then. It is nil, nil without an analysed fish.
func mixedModel(d dataset, f form, level float64, n *notes) (*MixedModel, *glmm.TrialResult, error) {
	if d.counts.Analysed == 0 {
		return nil, nil, nil
	}
	vary, err := glmm.ParseVary(string(f.vary))
	if err != nil {
		return nil, nil, fmt.Errorf("mixed model: %w", err)
	}
	m := &MixedModel{Vary: f.vary, Method: glmm.MethodQuadrature, Points: f.points}
	if f.points == 1 {
		m.Method = glmm.MethodLaplace
	}
	if len(d.withFish()) < 2 {
		m.Status = NotFitted // WarnOneAngler says why
		return m, nil, nil
	}
	fit, err := glmm.FitTrial(d.cells(vary.Outing()), glmm.Options{Vary: vary, Points: f.points, Correlated: f.correlated, Near: f.near})
	if err != nil {
		status, code, reason, ok := fitOutcome(err)
		if !ok {
			return nil, nil, fmt.Errorf("mixed model: %w", err)
		}
		m.Status = status
		if code != "" {
			n.add(code, "the mixed model is not given: %s", reason)
		}
		return m, nil, nil
	}
	if err := m.fill(fit, float64(len(fit.Anglers)-1), level); err != nil {
		return nil, nil, err
	}
	limits := m.profile
	switch {
	case f.limitsOnly && !f.quick:
		limits = m.profileLimits
	case f.quick:
		limits = m.quick
	}
	if err := limits(fit, d, level, n); err != nil {
		return nil, nil, err
	}
	if fit.Singular {
		n.add(WarnSingular, "these data show no variation %s beyond that of single fish: the estimate is 0, which does not mean that there is none", zeroTerms(m))
	}
	return m, fit, nil
}

// fill copies a fit, with limits by t on df.
func (m *MixedModel) fill(fit *glmm.TrialResult, df, level float64) error {
	low, high, p, err := glmm.Wald(fit.Theta, fit.ThetaSE, level, df)
	if err != nil {
		return fmt.Errorf("mixed model limits: %w", err)
	}
	m.Status, m.Method, m.Points, m.Singular = Converged, fit.Method, fit.Points, fit.Singular
	m.LogOdds, m.StdError, m.Low, m.High, m.P = known(fit.Theta), known(fit.ThetaSE), known(low), known(high), known(p)
	m.Share, m.ShareLow, m.ShareHigh = known(num.Expit(fit.Theta)), known(num.Expit(low)), known(num.Expit(high))
	m.AverageShare, m.AverageLow, m.AverageHigh = known(fit.AverageShare()), known(fit.AverageShareAt(low)), known(fit.AverageShareAt(high))
	m.PositionLogOdds, m.PositionStdError = known(fit.Beta), known(fit.BetaSE)
	m.SDPattern, m.LogLikelihood, m.Correlation = known(fit.SDPattern), known(fit.LogLikelihood), fit.Correlation
	if fit.Vary.Position() {
		m.SDPosition = known(fit.SDPosition)
	}
	if fit.Vary.Outing() {
		m.SDOuting = known(fit.SDOuting)
	}
	return nil
}

// zeroTerms names what a singular fit sees no variation in.
func zeroTerms(m *MixedModel) string {
	var words []string
	for _, term := range []struct {
		sd   *float64
		word string
	}{{m.SDPattern, "in the pattern effect between anglers"}, {m.SDPosition, "in the position effect between anglers"}, {m.SDOuting, "between outings"}} {
		if term.sd != nil && *term.sd == 0 {
			words = append(words, term.word)
		}
	}
	return listed(words)
}

// mayDropOutings reports whether a refused fit may be tried again without outings: they were our choice, not asked for, and
// the design does not need them.
func mayDropOutings(m *MixedModel, in Input, s Settings) bool {
	return m != nil && m.Status != Converged && m.Status != NotFitted && m.Status != Separated &&
		m.Vary == VaryPatternPositionOuting && s.Vary == "" && s.Points == 0 && in.Design != trial.PairedByOuting
}
