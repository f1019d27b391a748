package meta

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Adjustment names what is done to the standard error for having estimated τ².
type Adjustment string

// The adjustments of the standard error, with q = Σw(y-μ)²/(k-1).
const (
	None       Adjustment = "none"        // normal limits
	HK         Adjustment = "HK"          // SE² times q, t on k-1: Hartung & Knapp (2001), Statistics in Medicine 20:3875-3889
	ModifiedHK Adjustment = "modified_HK" // SE² times max(1, q), t on k-1: Röver, Knapp & Friede (2015), BMC Medical Research Methodology 15:99
)

// Row is one way of combining k estimates. All on the scale of the estimates.
type Row struct {
	Estimator      Estimator
	Adjustment     Adjustment
	K              int     // estimates combined
	Mu             float64 // pooled estimate
	StdErr         float64 // after the adjustment
	Low            float64 // limits of Mu
	High           float64
	P              float64 // two-sided, of μ = 0
	DF             int     // of the t distribution behind Low, High and P; 0 is the normal
	Tau2           float64 // variance between anglers, not an SD
	HasPrediction  bool    // false for Common and for k < 3; the two below are then 0
	PredictionLow  float64 // limits for a further angler's own effect
	PredictionHigh float64
}

// Pool returns one row: μ = Σwy/Σw with w = 1/(v+τ²), SE² = 1/Σw times 1, q or
// max(1, q), limits and p normal or t on k-1, and for k >= 3 the prediction
// interval μ ± t(k-2)·√(τ²+SE²) with the row's own SE. level, in (0, 1), is that of both intervals.
//
// With HK, q can be below 1, and the interval narrower than the unadjusted one;
// where all estimates are equal q is 0, so StdErr is 0, the limits meet and P is
// 0 (1 if μ is 0). ModifiedHK exists because of that.
//
// Errors: ErrTooFewEffects for k = 0, and for k = 1 in every row but Common: one
// estimate says nothing about τ²; ErrEffect; ErrLevel; ErrMethod for an unknown name, and for Common
// with an adjustment. Source of the prediction interval: Higgins, Thompson &
// Spiegelhalter (2009), Journal of the Royal Statistical Society A 172:137-159.
func Pool(effects []Effect, estimator Estimator, adjustment Adjustment, level float64) (Row, error) {
	if err := checkLevel(level); err != nil {
		return Row{}, err
	}
	if err := checkMethod(estimator, adjustment); err != nil {
		return Row{}, err
	}
	tau2, s, err := estimate(effects, estimator)
	if err != nil {
		return Row{}, err
	}
	quantiles, err := newQuantiles(estimator, adjustment, len(effects), level)
	if err != nil {
		return Row{}, err
	}
	row := Row{Estimator: estimator, Adjustment: adjustment, K: len(effects), Tau2: tau2}
	row.fill(s, quantiles)
	return row, nil
}

// quantiles are what the intervals of a row are made with; they depend on its
// method and number of effects alone.
type quantiles struct{ mu, prediction float64 }

func newQuantiles(estimator Estimator, adjustment Adjustment, k int, level float64) (quantiles, error) {
	q := quantiles{mu: num.NormalQuantile((1 + level) / 2)}
	var err error
	if adjustment != None {
		if q.mu, err = num.StudentQuantile((1+level)/2, float64(k-1)); err != nil {
			return q, err
		}
	}
	if estimator != Common && k > 2 {
		q.prediction, err = num.StudentQuantile((1+level)/2, float64(k-2))
	}
	return q, err
}

// fill computes a row of Estimator, Adjustment, K and Tau2 from the sums at its τ².
func (r *Row) fill(s sums, q quantiles) {
	r.Mu = s.mu
	r.StdErr = 1 / math.Sqrt(s.w)
	if r.Adjustment != None {
		r.DF = r.K - 1
		r.StdErr *= math.Sqrt(r.Adjustment.factor(s.q / float64(r.DF)))
	}
	r.Low, r.High = r.Mu-q.mu*r.StdErr, r.Mu+q.mu*r.StdErr
	r.P = twoSided(r.Mu, r.StdErr, r.DF)
	if r.Estimator != Common && r.K > 2 {
		reach := q.prediction * math.Sqrt(r.Tau2+r.StdErr*r.StdErr)
		r.HasPrediction = true
		r.PredictionLow, r.PredictionHigh = r.Mu-reach, r.Mu+reach
	}
}

// factor returns what the adjustment multiplies squared standard errors by.
func (a Adjustment) factor(q float64) float64 {
	switch a {
	case HK:
		return q
	case ModifiedHK:
		return math.Max(1, q)
	}
	return 1
}

func checkMethod(estimator Estimator, adjustment Adjustment) error {
	switch estimator {
	case Common, DL, PM, REML, ML:
	default:
		return fmt.Errorf("estimator %q: %w", string(estimator), ErrMethod)
	}
	switch adjustment {
	case None, HK, ModifiedHK:
	default:
		return fmt.Errorf("adjustment %q: %w", string(adjustment), ErrMethod)
	}
	if estimator == Common && adjustment != None {
		return fmt.Errorf("estimator common with adjustment %q: %w", string(adjustment), ErrMethod)
	}
	return nil
}

// twoSided returns the p-value of an estimate against 0, normal or by t on df > 0
// degrees of freedom; a standard error of 0 gives 0, or 1 for an estimate of 0.
func twoSided(estimate, stdErr float64, df int) float64 {
	switch {
	case estimate == 0:
		return 1
	case stdErr == 0:
		return 0
	case df == 0:
		return num.NormalTwoSided(estimate / stdErr)
	}
	return num.StudentTwoSided(estimate/stdErr, float64(df))
}
