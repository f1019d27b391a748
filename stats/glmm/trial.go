package glmm

import (
	"context"
	"fmt"
	"math"
)

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
	// Correlation of u and v, -1 to 1; nil unless asked for and both SDs are above 0.
	Correlation             *float64
	Singular                bool
	LogLikelihood           float64
	Vary                    Vary
	Method                  string
	Points                  int
	Iterations, Evaluations int
	GradientNorm            float64
	// Anglers holds one entry per angler with a fish, in the order of first appearance.
	Anglers []AnglerEffect

	inference *inference
}

// AnglerEffect is the prediction for one angler.
type AnglerEffect struct {
	GroupEffect
	// LogOdds is θ plus the mode of u: the angler's own pattern effect, shrunk.
	// LogOddsSE includes the conditional spread of u given the parameters, the
	// uncertainty of every parameter, and their covariance (delta method, as USE).
	LogOdds, LogOddsSE float64
}

// FitTrial fits the trial model to counts by maximum likelihood. Cells with no fish
// say nothing.
//
// Errors wrap one of the Err values of this package; there is no result then.
func FitTrial(cells []Cell, options Options) (*TrialResult, error) {
	if options.Family != Binomial {
		return nil, fmt.Errorf("%w: a trial's choices are binomial, not %v; see FitRates", ErrInput, options.Family)
	}
	rows, err := trialRows(cells)
	if err != nil {
		return nil, err
	}
	m, options, err := fit(rows, options)
	if err != nil {
		return nil, err
	}
	r := m.result(options)
	result := &TrialResult{
		Theta: r.Coef[0], ThetaSE: r.StdErr[0],
		Beta: r.Coef[1], BetaSE: r.StdErr[1],
		ThetaBetaCov:  r.Vcov[0][1],
		SDPattern:     r.SDPattern,
		SDPosition:    r.SDPosition,
		SDOuting:      r.SDOuting,
		Correlation:   r.Correlation,
		Singular:      r.Singular,
		LogLikelihood: r.LogLikelihood,
		Vary:          r.Vary,
		Method:        r.Method,
		Points:        r.Points,
		Iterations:    r.Iterations,
		Evaluations:   r.Evaluations,
		GradientNorm:  r.GradientNorm,
		Anglers:       make([]AnglerEffect, 0, len(m.evaluator.problem.groups)),
		inference:     &inference{m, 0, map[Term]int{TermPattern: atPattern, TermPosition: atPosition, TermOuting: atOuting}},
	}
	ok := m.groupEffects(func(public GroupEffect, inner *effect) {
		inner.uSlope[0]++ // of θ + u: θ is the first free parameter
		result.Anglers = append(result.Anglers, AnglerEffect{public, result.Theta + public.U, m.spread(inner.uVar, inner.uSlope)})
	})
	if !ok {
		return nil, fmt.Errorf("%w: the mode of an angler could not be found", ErrNotConverged)
	}
	return result, nil
}

// trialRows writes cells as rows of the general model, after refusing counts that
// cannot estimate θ and β.
func trialRows(cells []Cell) ([]Row, error) {
	var test, control [2]int // by arrangement: test pattern lower, upper
	lower, upper := []float64{1, 1}, []float64{1, -1}
	rows := make([]Row, 0, len(cells))
	for i, c := range cells {
		if c.Test < 0 || c.Control < 0 || c.Test > maxTotal || c.Control > maxTotal {
			return nil, fmt.Errorf("%w: cell %d (angler %d): %d test, %d control; accepted are counts of 0 or more", ErrInput, i, c.Angler, c.Test, c.Control)
		}
		row := Row{Group: c.Angler, Subgroup: c.Outing, Y: c.Test, N: c.Test + c.Control, X: lower, U: 1, V: 1}
		k := 0
		if !c.TestLower {
			k, row.X, row.V = 1, upper, -1
		}
		test[k] += c.Test
		control[k] += c.Control
		rows = append(rows, row)
	}
	return rows, checkTrial(test, control)
}

func checkTrial(test, control [2]int) error {
	arrangements := [2]string{"the test pattern lower", "the control pattern lower"}
	switch {
	case test[0]+control[0]+test[1]+control[1] == 0:
		return fmt.Errorf("%w: no angler has an analysed fish", ErrNoCatches)
	case test[0]+test[1] == 0:
		return fmt.Errorf("%w: all %d took the control pattern", ErrNoVariation, control[0]+control[1])
	case control[0]+control[1] == 0:
		return fmt.Errorf("%w: all %d took the test pattern", ErrNoVariation, test[0]+test[1])
	}
	for k, name := range arrangements {
		if test[k]+control[k] == 0 {
			return fmt.Errorf("%w: no fish with %s, so the pattern cannot be told from the position", ErrOneArrangement, name)
		}
	}
	for k, name := range arrangements {
		if test[k] == 0 {
			return fmt.Errorf("%w: with %s all %d fish took the control pattern", ErrSeparation, name, control[k])
		}
		if control[k] == 0 {
			return fmt.Errorf("%w: with %s all %d fish took the test pattern", ErrSeparation, name, test[k])
		}
	}
	return nil
}

// AverageShare is the share of the test pattern averaged over anglers, outings
// and both arrangements, at the estimates: see the function AverageShare.
func (r *TrialResult) AverageShare() float64 { return r.AverageShareAt(r.Theta) }

// AverageShareAt is AverageShare with θ replaced and every other estimate held,
// as for the limits of an interval. A correlation of u and v makes anglers more alike in
// one arrangement than in the other, which the average takes in.
func (r *TrialResult) AverageShareAt(theta float64) float64 {
	variance := r.SDPattern*r.SDPattern + r.SDPosition*r.SDPosition + r.SDOuting*r.SDOuting
	covariance := 0.0
	if r.Correlation != nil {
		covariance = *r.Correlation * r.SDPattern * r.SDPosition
	}
	lower := meanExpit(theta+r.Beta, math.Sqrt(max(variance+2*covariance, 0)))
	upper := meanExpit(theta-r.Beta, math.Sqrt(max(variance-2*covariance, 0)))
	return (lower + upper) / 2
}

// ProfileTheta returns the likelihood-root limits of θ at the given level of
// coverage, above 0 and below 1: those of the profile log-likelihood, which follow its
// skewness where Wald limits do not (Cox & Hinkley 1974, Theoretical Statistics,
// section 9.3). They are a matter of χ², thus too narrow with few anglers.
//
// Errors: ErrInput, ErrNotConverged.
func (r *TrialResult) ProfileTheta(level float64) (Limits, error) {
	return r.inference.profileTheta(level)
}

// ProfileSD returns the likelihood-root limits of the SD of a term of the model. The lower
// limit is 0 where the profile at 0 is high enough. Level and errors as ProfileTheta.
func (r *TrialResult) ProfileSD(term Term, level float64) (Limits, error) {
	return r.inference.profileScale(term, level)
}

// SDUpper is the upper limit of ProfileSD, for a fraction of its cost: nil where there is none. Level and errors as ProfileTheta.
func (r *TrialResult) SDUpper(term Term, level float64) (*float64, error) {
	return r.inference.upperScale(term, level)
}

// BoundaryTest tests that the SD of a term of the model, and with it any correlation, is 0,
// by the likelihood ratio and its distribution for many anglers, a mixture (Self & Liang
// 1987, J. Am. Stat. Assoc. 82:605; Stram & Lee 1994, Biometrics 50:1171). With few
// anglers see BootstrapBoundary.
//
// Errors wrap one of the Err values of this package.
func (r *TrialResult) BoundaryTest(term Term) (Boundary, error) {
	return r.inference.boundary(term)
}

// ParametricBootstrap refits the model to draws sets of counts simulated from the fit, with
// the fish of each cell given, on the given number of workers. The answer depends
// on the seed, not on the workers.
//
// Errors: ErrInput; the context's error as soon as it ends.
func (r *TrialResult) ParametricBootstrap(ctx context.Context, draws int, seed uint64, workers int) (*Bootstrap, error) {
	return r.inference.bootstrap(ctx, draws, seed, workers)
}

// BootstrapBoundary is BoundaryTest with the p-value from draws refits to counts
// simulated from the fit without the term. Arguments and errors as ParametricBootstrap.
func (r *TrialResult) BootstrapBoundary(ctx context.Context, term Term, draws int, seed uint64, workers int) (Boundary, error) {
	return r.inference.bootstrapBoundary(ctx, term, draws, seed, workers)
}
