package meta

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Estimator names the way τ² is estimated.
type Estimator string

// The estimators of τ². Common takes it as 0.
const (
	Common Estimator = "common"
	DL     Estimator = "DL"   // moments: DerSimonian & Laird (1986), Controlled Clinical Trials 7:177-188
	PM     Estimator = "PM"   // Q(τ²) = k-1: Paule & Mandel (1982), Journal of Research of the NBS 87:377-385
	REML   Estimator = "REML" // restricted maximum likelihood: Viechtbauer (2005), Journal of Educational and Behavioral Statistics 30:261-293
	ML     Estimator = "ML"   // maximum likelihood: Hardy & Thompson (1996), Statistics in Medicine 15:619-629
)

// Tau2 returns the variance between anglers, at least 0, by the estimator given:
// 0 for Common; for DL max(0, (Q-(k-1))/(Σw - Σw²/Σw)) with w = 1/v; for PM the
// root of Σ(y-μ)²/(v+τ²) = k-1, or 0 if the left side is below k-1 at 0; for REML
// and ML the highest point of the (restricted) likelihood. That likelihood can
// have several maxima: all sign changes of its slope on a grid of 4 points a
// decade are refined and the highest point is taken, 0 included.
//
// Errors: ErrMethod; ErrEffect; ErrTooFewEffects with fewer than 2 effects (1
// for Common). Accuracy about 12 digits; cost O(k) for each of some 10 (PM) to 80 (REML, ML) steps.
func Tau2(effects []Effect, estimator Estimator) (float64, error) {
	if err := checkEffects(effects, estimator.least()); err != nil {
		return 0, err
	}
	switch estimator {
	case Common:
		return 0, nil
	case DL:
		return momentTau2(effects), nil
	case PM:
		return qRoot(effects, float64(len(effects)-1))
	case REML, ML:
		return likelihoodTau2(effects, estimator == REML)
	}
	return 0, fmt.Errorf("estimator %q: %w", string(estimator), ErrMethod)
}

// least returns how many effects the estimator needs.
func (e Estimator) least() int {
	if e == Common {
		return 1
	}
	return 2
}

// sums are the weighted sums of one value of τ², w = 1/(v+τ²).
type sums struct {
	w, w2 float64 // Σw, Σw²
	mu    float64 // Σwy/Σw
	q     float64 // Σw(y-μ)²
	w2r2  float64 // Σw²(y-μ)²
}

func weigh(effects []Effect, tau2 float64) sums {
	var s sums
	var wy float64
	for _, e := range effects {
		w := 1 / (e.V + tau2)
		s.w += w
		s.w2 += w * w
		wy += w * e.Y
	}
	s.mu = wy / s.w
	for _, e := range effects {
		w := 1 / (e.V + tau2)
		r := e.Y - s.mu
		s.q += w * r * r
		s.w2r2 += w * w * r * r
	}
	return s
}

func momentTau2(effects []Effect) float64 {
	s := weigh(effects, 0)
	return math.Max(0, (s.q-float64(len(effects)-1))/(s.w-s.w2/s.w))
}

// qRoot returns the τ² at which Q(τ²) = Σ(y-μ)²/(v+τ²) equals target > 0, or 0
// where Q(0) is no more. Q decreases. With R the range of y, Q <= kR²/(4τ²): no
// weighted variance exceeds R²/4, which gives the upper end of the bracket.
func qRoot(effects []Effect, target float64) (float64, error) {
	excess := func(tau2 float64) float64 { return weigh(effects, tau2).q - target }
	if excess(0) <= 0 {
		return 0, nil
	}
	spread, least, _ := scales(effects)
	upper := float64(len(effects)) * spread * spread / (4 * target)
	tau2, err := num.Root(excess, 0, upper, 1e-14*least)
	if err != nil {
		return 0, fmt.Errorf("τ² at which Q is %g: %w", target, err)
	}
	return tau2, nil
}

// likelihoodTau2 returns the highest point of the profile of the (restricted)
// likelihood over τ² >= 0. Its slope is ½ of
//
//	Σw²(y-μ)² - Σw + [restricted] Σw²/Σw,
//
// negative for τ² >= max(v, R²): there the first sum is at most max(w)·Σw·R²/4 <=
// Σw/4, while the last term is at most 2/3 of Σw for k = 2 and less for more.
func likelihoodTau2(effects []Effect, restricted bool) (float64, error) {
	slope := func(tau2 float64) float64 {
		s := weigh(effects, tau2)
		if restricted {
			return s.w2r2 - (s.w - s.w2/s.w)
		}
		return s.w2r2 - s.w
	}
	spread, least, most := scales(effects)
	upper := math.Max(most, spread*spread)
	best, height := 0.0, math.Inf(-1)
	keep := func(tau2 float64) {
		if l := logLikelihood(effects, tau2, restricted); l > height {
			best, height = tau2, l
		}
	}
	from, before := 0.0, slope(0)
	if before <= 0 {
		keep(0)
	}
	const ratio = 1.7782794100389228 // 10^¼
	for to := math.Min(least, upper) * 1e-3; from < upper; to *= ratio {
		to = math.Min(to, upper)
		after := slope(to)
		if before > 0 && after <= 0 {
			tau2, err := num.Root(slope, from, to, 1e-14*least)
			if err != nil {
				return 0, fmt.Errorf("τ² by maximum likelihood: %w", err)
			}
			keep(tau2)
		}
		from, before = to, after
	}
	return best, nil
}

// logLikelihood returns the profile log-likelihood of τ² but for constants.
func logLikelihood(effects []Effect, tau2 float64, restricted bool) float64 {
	s := weigh(effects, tau2)
	l := -s.q / 2
	for _, e := range effects {
		l -= math.Log(e.V+tau2) / 2
	}
	if restricted {
		l -= math.Log(s.w) / 2
	}
	return l
}

// scales returns the range of the estimates and the smallest and largest variance.
func scales(effects []Effect) (spread, least, most float64) {
	low, high := effects[0].Y, effects[0].Y
	least, most = effects[0].V, effects[0].V
	for _, e := range effects {
		low, high = math.Min(low, e.Y), math.Max(high, e.Y)
		least, most = math.Min(least, e.V), math.Max(most, e.V)
	}
	return high - low, least, most
}
