package meta

// Estimator names the way τ² is estimated.
type Estimator string

// The estimators of τ². Common takes τ² as 0.
const (
	Common Estimator = "common"
	DL     Estimator = "DL"   // DerSimonian and Laird's moment estimator
	PM     Estimator = "PM"   // Paule and Mandel's
	REML   Estimator = "REML" // restricted maximum likelihood
	ML     Estimator = "ML"   // maximum likelihood
)

// Adjustment names what is done to the standard error for having estimated τ².
type Adjustment string

// The adjustments of the standard error.
const (
	None       Adjustment = "none"        // normal limits
	HK         Adjustment = "HK"          // Hartung and Knapp: SE² times q, t on k-1
	ModifiedHK Adjustment = "modified_HK" // SE² times max(1, q), t on k-1
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
	Tau2           float64 // variance between anglers
	HasPrediction  bool    // false for Common and for k < 3
	PredictionLow  float64 // limits for a further angler's θ
	PredictionHigh float64
}

// Pool returns one row. Errors: ErrTooFewEffects (k = 0; k = 1 for every row but
// Common with None), ErrEffect, ErrLevel, ErrMethod.
func Pool(effects []Effect, estimator Estimator, adjustment Adjustment, level float64) (Row, error) {
	return Row{}, ErrTooFewEffects
}

// Heterogeneity says how much the estimates differ beyond their own error.
type Heterogeneity struct {
	Q        float64 // Cochran's Q about the common effect
	DF       int     // k - 1
	P        float64 // χ² tail of Q; 1 at k = 1
	I2       float64 // max(0, (Q-DF)/Q), 0 to 1
	Tau2Low  float64 // Q-profile limits of τ²; 0, not absent, where Q is under the quantile
	Tau2High float64
}

// Heterogenize is filled below.
func MeasureHeterogeneity(effects []Effect, level float64) (Heterogeneity, error) {
	return Heterogeneity{}, ErrTooFewEffects
}

// LeaveOneOut returns the row refitted k times, the i-th without effects[i].
// The headline's is LeaveOneOut(effects, REML, ModifiedHK, level). Needs k >= 3
// (k >= 2 for Common).
func LeaveOneOut(effects []Effect, estimator Estimator, adjustment Adjustment, level float64) ([]Row, error) {
	return nil, ErrTooFewEffects
}

// Shrunken is an angler's empirical Bayes estimate.
type Shrunken struct{ Estimate, StdErr float64 }

// Shrink returns every angler's estimate drawn towards the row's pooled one.
func Shrink(effects []Effect, row Row) ([]Shrunken, error) { return nil, ErrTooFewEffects }
