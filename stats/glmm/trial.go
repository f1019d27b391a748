package glmm

// Cell is the count of analysed fish of one angler on one outing in one
// arrangement. Several cells may name the same; they are added up.
type Cell struct {
	Angler        int  // any integer as a label
	Outing        int  // any integer as a label, within the angler; read only with outings in the model
	TestLower     bool // the arrangement: test pattern lower (c = +1), else control pattern lower (c = -1)
	Test, Control int  // fish that took the test and the control pattern; 0 or more
}

// TrialResult is a converged fit of the trial model.
type TrialResult struct {
	// Theta is the pattern effect θ, Beta the position effect β (for c = ±1), in
	// log odds, with standard errors and covariance from the observed information
	// of all parameters.
	Theta, ThetaSE float64
	Beta, BetaSE   float64
	ThetaBetaCov   float64
	// SDPattern, SDPosition, SDOuting: see Result.
	SDPattern, SDPosition, SDOuting float64
	Singular                        bool
	LogLikelihood                   float64
	Vary                            Vary
	Method                          string
	Points                          int
	Iterations, Evaluations         int
	GradientNorm                    float64
	Status                          string
	// Anglers holds one entry per angler with a fish, in the order of first appearance.
	Anglers []AnglerEffect
}

// AnglerEffect is the prediction for one angler.
type AnglerEffect struct {
	GroupEffect
	// LogOdds is θ plus the mode of u: the angler's own pattern effect, shrunk.
	// LogOddsSE includes the conditional spread of u given the parameters, the
	// uncertainty of every parameter, and their covariance (delta method, as USE).
	LogOdds, LogOddsSE float64
}

// FitTrial fits the trial model to counts. Cells with no fish say nothing.
//
// Errors wrap one of the Err values of this package; there is no result then.
func FitTrial(cells []Cell, options Options) (*TrialResult, error) { return nil, ErrNotConverged }

// AverageShare is the share of the test pattern averaged over anglers, outings
// and both arrangements, at the estimates: see the function AverageShare.
func (r *TrialResult) AverageShare() float64 { return r.AverageShareAt(r.Theta) }

// AverageShareAt is AverageShare with θ replaced and every other estimate held,
// as for the limits of an interval.
func (r *TrialResult) AverageShareAt(theta float64) float64 {
	return AverageShare(theta, r.Beta, r.SDPattern, r.SDPosition, r.SDOuting)
}
