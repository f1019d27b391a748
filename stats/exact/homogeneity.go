package exact

import (
	"math"

	"evenrig/stats/num"
)

// Homogeneity tests whether one odds ratio serves all strata.
type Homogeneity struct {
	BreslowDay float64 // Breslow and Day's statistic, for comparison
	Tarone     float64 // with Tarone's correction: the statistic P belongs to
	DF         int     // informative strata less one
	P          float64 // χ² tail of Tarone on DF
}

// TaroneHomogeneity returns the Breslow-Day test of equal odds ratios with
// Tarone's correction. With ψ the Mantel-Haenszel odds ratio, e_i the value of A
// at which the margins of stratum i give odds ratio ψ, and v_i = 1/(1/e + 1/(m-e) +
// 1/(t-e) + 1/(n-t+e)),
//
//	X²_BD = Σ(A-e)²/v,  X²_T = X²_BD - (ΣA - Σe)²/Σv.
//
// It is a large-stratum test: with few fish per stratum the statistic is not χ².
//
// Errors: ErrCount, ErrNoInformation; ErrTooFewStrata with one informative
// stratum; ErrUnbounded if ψ is 0 or infinite. Source: Breslow & Day (1980),
// Statistical Methods in Cancer Research I, section 4.4; Tarone (1985),
// Biometrika 72:91-95, equation 4.
func TaroneHomogeneity(tables []Table) (Homogeneity, error) {
	strata, err := informative(tables)
	if err != nil {
		return Homogeneity{}, err
	}
	if len(strata) < 2 {
		return Homogeneity{}, ErrTooFewStrata
	}
	r, s, _, _, _ := mantelHaenszelSums(strata)
	if r == 0 || s == 0 {
		return Homogeneity{}, ErrUnbounded
	}
	var h Homogeneity
	var distance, variance float64
	for _, t := range strata {
		m, n, lower := float64(t.A+t.B), float64(t.C+t.D), float64(t.A+t.D)
		e := num.FittedCell(m, lower, n-lower, r/s)
		v := 1 / (1/e + 1/(m-e) + 1/(lower-e) + 1/(n-lower+e))
		h.BreslowDay += (float64(t.A) - e) * (float64(t.A) - e) / v
		distance += float64(t.A) - e
		variance += v
	}
	h.Tarone = math.Max(0, h.BreslowDay-distance*distance/variance)
	h.DF = len(strata) - 1
	h.P = num.ChiSquaredTail(h.Tarone, float64(h.DF))
	return h, nil
}
