package meta

import "evenrig/stats/num"

// Heterogeneity says how much the estimates differ beyond their own error.
type Heterogeneity struct {
	Q        float64 // Cochran's Q: Σ(y-μ)²/v about the common effect
	DF       int     // k - 1
	P        float64 // χ² tail of Q on DF
	I2       float64 // max(0, (Q-DF)/Q), 0 to 1
	Tau2Low  float64 // Q-profile limits of τ²; 0, not absent, where Q is under the quantile
	Tau2High float64
}

// MeasureHeterogeneity returns Cochran's Q, I² by moments, and limits of τ² at
// the given level by the Q-profile: the τ² at which Q(τ²) = Σ(y-μ)²/(v+τ²) equals
// the upper and the lower (1-level)/2 quantile of χ² on k-1.
//
// Errors: ErrTooFewEffects for k < 2; ErrEffect; ErrLevel. Source: Cochran
// (1954), Biometrics 10:101-129; Higgins & Thompson (2002), Statistics in
// Medicine 21:1539-1558; Viechtbauer (2007), Statistics in Medicine 26:37-52.
func MeasureHeterogeneity(effects []Effect, level float64) (Heterogeneity, error) {
	if err := checkLevel(level); err != nil {
		return Heterogeneity{}, err
	}
	if err := checkEffects(effects, 2); err != nil {
		return Heterogeneity{}, err
	}
	effects = heaviestFirst(effects)
	h := Heterogeneity{Q: weigh(effects, 0).q, DF: len(effects) - 1}
	df := float64(h.DF)
	h.P = num.ChiSquaredTail(h.Q, df)
	if h.Q > df {
		h.I2 = (h.Q - df) / h.Q
	}
	upper, err := num.ChiSquaredQuantile((1+level)/2, df)
	if err != nil {
		return Heterogeneity{}, err
	}
	lower, err := num.ChiSquaredQuantile((1-level)/2, df)
	if err != nil {
		return Heterogeneity{}, err
	}
	if h.Tau2Low, err = qRoot(effects, upper); err != nil {
		return Heterogeneity{}, err
	}
	if h.Tau2High, err = qRoot(effects, lower); err != nil {
		return Heterogeneity{}, err
	}
	return h, nil
}
