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
	tau2, err := Tau2(effects, estimator)
	if err != nil {
		return Row{}, err
	}
	k := len(effects)
	s := weigh(effects, tau2)
	row := Row{Estimator: estimator, Adjustment: adjustment, K: k, Mu: s.mu, Tau2: tau2}
	row.StdErr = 1 / math.Sqrt(s.w)
	if adjustment != None {
		row.DF = k - 1
		q := s.q / float64(k-1)
		if adjustment == ModifiedHK {
			q = math.Max(1, q)
		}
		row.StdErr *= math.Sqrt(q)
	}
	critical, err := row.critical(level)
	if err != nil {
		return Row{}, err
	}
	row.Low, row.High = row.Mu-critical*row.StdErr, row.Mu+critical*row.StdErr
	row.P = row.pValue()
	return row, row.predict(level)
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

// critical returns the quantile that the limits of μ are made with.
func (r *Row) critical(level float64) (float64, error) {
	if r.DF == 0 {
		return num.NormalQuantile((1 + level) / 2), nil
	}
	return num.StudentQuantile((1+level)/2, float64(r.DF))
}

func (r *Row) pValue() float64 {
	switch {
	case r.Mu == 0:
		return 1
	case r.StdErr == 0:
		return 0
	case r.DF == 0:
		return num.NormalTwoSided(r.Mu / r.StdErr)
	}
	return num.StudentTwoSided(r.Mu/r.StdErr, float64(r.DF))
}

// predict fills in the prediction interval where there is one.
func (r *Row) predict(level float64) error {
	if r.Estimator == Common || r.K < 3 {
		return nil
	}
	critical, err := num.StudentQuantile((1+level)/2, float64(r.K-2))
	if err != nil {
		return err
	}
	reach := critical * math.Sqrt(r.Tau2+r.StdErr*r.StdErr)
	r.HasPrediction = true
	r.PredictionLow, r.PredictionHigh = r.Mu-reach, r.Mu+reach
	return nil
}
