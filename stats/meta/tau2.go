package meta

import (
	"fmt"
	"math"
	"slices"

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
	tau2, _, err := estimate(effects, estimator)
	return tau2, err
}

// estimate returns τ² and the sums there, after checking effects.
func estimate(effects []Effect, estimator Estimator) (float64, sums, error) {
	if err := checkEffects(effects, estimator.least()); err != nil {
		return 0, sums{}, err
	}
	ordered := heaviestFirst(effects)
	tau2, err := estimateTau2(ordered, estimator)
	if err != nil {
		return 0, sums{}, err
	}
	return tau2, weigh(ordered, tau2), nil
}

// estimateTau2 is Tau2 of checked effects, the heaviest first.
func estimateTau2(effects []Effect, estimator Estimator) (float64, error) {
	at := func(tau2 float64) sums { return weigh(effects, tau2) }
	df := float64(len(effects) - 1)
	switch estimator {
	case Common:
		return 0, nil
	case DL:
		return at(0).momentTau2(df), nil
	case PM:
		return qRoot(effects, df)
	case REML, ML:
		spread, least, most := scales(effects)
		points := grid(least, math.Max(most, spread*spread))
		return highest(points, 1e-14*least, estimator == REML, at, func(tau2 float64) float64 { return sumOfLogs(effects, tau2) })
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

// sums are the weighted sums of one value of τ², w = 1/(v+τ²). In the regression
// on columns X, with W = diag(w), they are those about the fitted values, and
// trace and logDet are those of P = W - WX(X'WX)⁻¹X'W and of X'WX; here X is a
// column of ones.
type sums struct {
	w      float64 // Σw
	mu     float64 // Σwy/Σw; not set by the regression
	q      float64 // Σw(y-μ)²
	w2r2   float64 // Σw²(y-μ)²
	trace  float64 // tr P: Σw - Σw²/Σw
	logDet float64 // ln det X'WX: ln Σw
}

// weigh returns the sums of effects, the heaviest of them first (heaviestFirst).
// Where that one has nearly all the weight, its distance from μ and Σw - Σw²/Σw
// vanish by cancellation if they are computed as they are written; here both come
// from the others: w₁(y₁-μ) = -Σ'w(y-μ) and (Σw)² - Σw² = 2w₁Σ'w + (Σ'w)² - Σ'w²,
// Σ' the sum without the first.
func weigh(effects []Effect, tau2 float64) sums {
	first, others := effects[0], effects[1:]
	var w, w2, wd float64
	for _, e := range others {
		x := 1 / (e.V + tau2)
		w += x
		w2 += x * x
		wd += x * (e.Y - first.Y)
	}
	w1 := 1 / (first.V + tau2)
	var s sums
	s.w = w1 + w
	s.trace = (2*w1*w + w*w - w2) / s.w
	s.logDet = math.Log(s.w)
	mean := wd / s.w
	s.mu = first.Y + mean
	var wr float64
	for _, e := range others {
		r := e.Y - first.Y - mean
		xr := r / (e.V + tau2)
		wr += xr
		s.q += xr * r
		s.w2r2 += xr * xr
	}
	s.q += wr * wr / w1
	s.w2r2 += wr * wr
	return s
}

// heaviestFirst returns a copy of effects in which the one of least variance has
// changed places with the first.
func heaviestFirst(effects []Effect) []Effect {
	ordered := slices.Clone(effects)
	heaviest := 0
	for i, e := range ordered {
		if e.V < ordered[heaviest].V {
			heaviest = i
		}
	}
	ordered[0], ordered[heaviest] = ordered[heaviest], ordered[0]
	return ordered
}

// momentTau2 is the estimate by moments from the sums at τ² = 0, whose Q has
// expectation df + τ²·tr P.
func (s sums) momentTau2(df float64) float64 { return math.Max(0, (s.q-df)/s.trace) }

// slope returns twice the slope of the profile of the (restricted) likelihood in
// τ²: Σw²(y-μ)² - Σw, or with restriction Σw²(y-μ)² - tr P.
func (s sums) slope(restricted bool) float64 {
	if restricted {
		return s.w2r2 - s.trace
	}
	return s.w2r2 - s.w
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

// grid returns 0, a thousandth of least, and 4 points a decade from there to
// upper, which is the last. A likelihood over τ² is searched on it: its slope is
// negative for τ² >= max(v, R²), R the range of y, because there the sum Σw²(y-μ)²
// is at most max(w)·Σw·R²/4 <= Σw/4, while Σw²/Σw is at most 2/3 of Σw for k = 2
// and less for more.
func grid(least, upper float64) []float64 {
	const ratio = 1.7782794100389228 // 10^¼
	points := []float64{0}
	for to := math.Min(least, upper) * 1e-3; to < upper; to *= ratio {
		points = append(points, to)
	}
	return append(points, upper)
}

// highest returns the highest point of the profile of the (restricted) likelihood
// over τ² >= 0, from the sums and the Σ ln(v+τ²) at any τ²: every fall of the slope
// through 0 between two neighbours of points is refined to absTol.
func highest(points []float64, absTol float64, restricted bool, at func(float64) sums, logs func(float64) float64) (float64, error) {
	slope := func(tau2 float64) float64 { return at(tau2).slope(restricted) }
	var maxima []float64
	before := slope(0)
	if before <= 0 {
		maxima = append(maxima, 0)
	}
	for j, to := range points[1:] {
		after := slope(to)
		if before > 0 && after <= 0 {
			tau2, err := num.Root(slope, points[j], to, absTol)
			if err != nil {
				return 0, fmt.Errorf("τ² by maximum likelihood: %w", err)
			}
			maxima = append(maxima, tau2)
		}
		before = after
	}
	if len(maxima) == 1 {
		return maxima[0], nil
	}
	best, height := 0.0, math.Inf(-1)
	for _, tau2 := range maxima {
		s := at(tau2)
		l := -s.q - logs(tau2)
		if restricted {
			l -= s.logDet
		}
		if l > height {
			best, height = tau2, l
		}
	}
	return best, nil
}

// sumOfLogs returns Σ ln(v+τ²).
func sumOfLogs(effects []Effect, tau2 float64) float64 {
	var l float64
	for _, e := range effects {
		l += math.Log(e.V + tau2)
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
