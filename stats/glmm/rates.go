package glmm

import (
	"context"
	"fmt"
	"math"
)

// RateCell is the catch of one angler with one pattern over some time: an observation of
// the count. Several cells may name the same angler, outing and pattern.
type RateCell struct {
	Angler  int       // any integer as a label
	Outing  int       // any integer as a label, within the angler; read only with outings in the model
	Test    bool      // fished with the test pattern, else the control pattern
	Minutes float64   // fished, above 0
	Fish    int       // analysed, 0 or more
	Columns []float64 // further fixed effects, the same number in every cell, may be none
}

// RateOptions choose the model of rates.
type RateOptions struct {
	// Family is Poisson or NegativeBinomial.
	Family Family
	// PatternVaries: the log rate ratio differs between anglers (v).
	PatternVaries bool
	// Outings: outings differ in their level (w).
	Outings bool
	// Correlated lets an angler's level and log rate ratio be correlated; it needs
	// PatternVaries.
	Correlated bool
	// Points: see Options.
	Points int
}

// RateResult is a converged fit of the model of catch per hour,
//
//	ln E[fish] = ln hours + (level + u_a) + (θ + v_a)·x + w_o + columns,
//
// x = +½ with the test pattern and -½ with the control pattern.
type RateResult struct {
	// Theta is θ, the log of the rate with the test pattern over that with the control
	// pattern, for a typical angler; Level the log of fish per hour midway between the
	// two. Standard errors and covariance are from the observed information of all
	// parameters.
	Theta, ThetaSE float64
	Level, LevelSE float64
	ThetaLevelCov  float64
	// Columns are the coefficients of RateCell.Columns, in their order.
	Columns, ColumnsSE []float64
	// SDLevel, SDPattern and SDOuting are the SDs of u, v and w in log rate: see Result.
	SDLevel, SDPattern, SDOuting float64
	// Correlation of u and v, and Dispersion: see Result.
	Correlation             *float64
	Dispersion              float64
	Singular                bool
	LogLikelihood           float64 // of the counts
	Family                  Family
	Method                  string
	Points                  int
	Iterations, Evaluations int
	GradientNorm            float64
	// Anglers holds one entry per angler, in the order of first appearance.
	Anglers []RateEffect

	inference *inference
}

// RateEffect is the prediction for one angler: U and V of GroupEffect are those of the
// level and the log rate ratio.
type RateEffect struct {
	GroupEffect
	// LogRatio is θ plus the mode of v: the angler's own log rate ratio, shrunk. LogRatioSE
	// includes what AnglerEffect's LogOddsSE does.
	LogRatio, LogRatioSE float64
}

// FitRates fits the model of catch per hour to counts by maximum likelihood. An angler who
// caught nothing counts; so does every hour without a fish.
//
// Errors wrap one of the Err values of this package; there is no result then.
func FitRates(cells []RateCell, options RateOptions) (*RateResult, error) {
	if options.Family != Poisson && options.Family != NegativeBinomial {
		return nil, fmt.Errorf("%w: a rate's counts are poisson or negative binomial, not %v", ErrInput, options.Family)
	}
	if options.Correlated && !options.PatternVaries {
		return nil, fmt.Errorf("%w: without a log rate ratio that varies there is none to be correlated", ErrInput)
	}
	rows, err := rateRows(cells)
	if err != nil {
		return nil, err
	}
	m, general, err := fit(rows, options.general())
	if err != nil {
		return nil, err
	}
	r := m.result(general)
	result := &RateResult{
		Level: r.Coef[0], LevelSE: r.StdErr[0],
		Theta: r.Coef[1], ThetaSE: r.StdErr[1],
		ThetaLevelCov: r.Vcov[0][1],
		Columns:       r.Coef[2:], ColumnsSE: r.StdErr[2:],
		SDLevel:       r.SDPattern,
		SDPattern:     r.SDPosition,
		SDOuting:      r.SDOuting,
		Correlation:   r.Correlation,
		Dispersion:    r.Dispersion,
		Singular:      r.Singular,
		LogLikelihood: r.LogLikelihood,
		Family:        r.Family,
		Method:        r.Method,
		Points:        r.Points,
		Iterations:    r.Iterations,
		Evaluations:   r.Evaluations,
		GradientNorm:  r.GradientNorm,
		Anglers:       make([]RateEffect, 0, len(m.evaluator.problem.groups)),
		inference:     &inference{m, 1, map[Term]int{TermLevel: atPattern, TermPattern: atPosition, TermOuting: atOuting, TermDispersion: atDispersion}},
	}
	ok := m.groupEffects(func(public GroupEffect, inner *effect) {
		inner.vSlope[1]++ // of θ + v: θ is the second free parameter
		result.Anglers = append(result.Anglers, RateEffect{public, result.Theta + public.V, m.spread(inner.vVar, inner.vSlope)})
	})
	if !ok {
		return nil, fmt.Errorf("%w: the mode of an angler could not be found", ErrNotConverged)
	}
	return result, nil
}

func (o RateOptions) general() Options {
	vary := VaryPattern
	switch {
	case o.PatternVaries && o.Outings:
		vary = VaryPatternPositionOuting
	case o.PatternVaries:
		vary = VaryPatternPosition
	case o.Outings:
		vary = VaryPatternOuting
	}
	return Options{Vary: vary, Points: o.Points, Correlated: o.Correlated, Family: o.Family}
}

// rateRows writes cells as rows of the general model, after refusing those that
// cannot estimate θ.
func rateRows(cells []RateCell) ([]Row, error) {
	names := [2]string{"test", "control"}
	var fish [2]int
	var fished [2]bool
	rows := make([]Row, 0, len(cells))
	for i, c := range cells {
		if c.Fish < 0 || c.Fish > maxTotal {
			return nil, fmt.Errorf("%w: cell %d (angler %d): %d fish; accepted is 0 or more", ErrInput, i, c.Angler, c.Fish)
		}
		if !(c.Minutes > 0) || math.IsInf(c.Minutes, 1) {
			return nil, fmt.Errorf("%w: cell %d (angler %d): %v minutes; accepted is above 0", ErrInput, i, c.Angler, c.Minutes)
		}
		k, x := 0, .5
		if !c.Test {
			k, x = 1, -.5
		}
		fish[k] += c.Fish
		fished[k] = true
		rows = append(rows, Row{
			Group: c.Angler, Subgroup: c.Outing, Y: c.Fish, Offset: math.Log(c.Minutes / 60),
			X: append([]float64{1, x}, c.Columns...), U: 1, V: x,
		})
	}
	for k, name := range names {
		switch {
		case len(cells) == 0 || fish[0]+fish[1] == 0:
			return nil, fmt.Errorf("%w: no angler has an analysed fish", ErrNoCatches)
		case !fished[k]:
			return nil, fmt.Errorf("%w: no time with the %s pattern, so the two cannot be compared", ErrNotIdentified, name)
		case fish[k] == 0:
			return nil, fmt.Errorf("%w: no fish with the %s pattern, so the ratio of the rates has no finite estimate", ErrSeparation, name)
		}
	}
	return rows, nil
}

// ProfileTheta returns the likelihood-root limits of θ: see the method of TrialResult.
func (r *RateResult) ProfileTheta(level float64) (Limits, error) {
	return r.inference.profileTheta(level)
}

// ProfileSD returns the likelihood-root limits of an SD of the model; for TermDispersion
// those of the square root of the dispersion. See the method of TrialResult.
func (r *RateResult) ProfileSD(term Term, level float64) (Limits, error) {
	return r.inference.profileScale(term, level)
}

// BoundaryTest tests that an SD of the model, or for TermDispersion the dispersion, is 0: see
// the method of TrialResult.
func (r *RateResult) BoundaryTest(term Term) (Boundary, error) {
	return r.inference.boundary(term)
}

// ParametricBootstrap refits the model to counts simulated from the fit, with the time fished
// given: see the method of TrialResult.
func (r *RateResult) ParametricBootstrap(ctx context.Context, draws int, seed uint64, workers int) (*Bootstrap, error) {
	return r.inference.bootstrap(ctx, draws, seed, workers)
}

// BootstrapBoundary is BoundaryTest with the p-value from refits: see the method of TrialResult.
func (r *RateResult) BootstrapBoundary(ctx context.Context, term Term, draws int, seed uint64, workers int) (Boundary, error) {
	return r.inference.bootstrapBoundary(ctx, term, draws, seed, workers)
}
