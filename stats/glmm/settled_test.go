package glmm

import (
	"testing"

	"evenrig/stats/stattest"
)

// With many anglers the search of one place finds what the search of all finds, also from near, and no higher point lies
// elsewhere on the profile at its limits. (Against itself: the maximum is compared with other programs' in reference_test.go.)
func TestSettledIsTheHighest(t *testing.T) {
	t.Parallel()
	for name, options := range map[string]Options{"plain": {Points: 5}, "laplace": {Points: 1}} {
		t.Run(name, func(t *testing.T) {
			cells := benchmarkCells(manyGroups+50, 1)
			fit, err := FitTrial(cells, options)
			if err != nil {
				t.Fatal(err)
			}
			top, all := fit.inference.point, len(fit.inference.evaluator.problem.freeParameters())
			if !fit.inference.fresh().settled(top, all) {
				t.Fatal("the maximum of many anglers is not settled")
			}
			options.Near = &Spread{Pattern: .9 * fit.SDPattern, Position: 1.1 * fit.SDPosition}
			near, err := FitTrial(cells, options)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Absolute(t, "theta", near.Theta, fit.Theta, 1e-9)
			stattest.Absolute(t, "its standard error", near.ThetaSE, fit.ThetaSE, 1e-9)
			stattest.Absolute(t, "SD of the pattern effect", near.SDPattern, fit.SDPattern, 1e-9)
			stattest.Absolute(t, "log-likelihood", near.LogLikelihood, fit.LogLikelihood, 1e-8)
			if near.Evaluations >= fit.Evaluations {
				t.Errorf("%d evaluations from near, %d from afar", near.Evaluations, fit.Evaluations)
			}
			limits, err := fit.ProfileTheta(.95)
			if err != nil {
				t.Fatal(err)
			}
			p := &profile{e: fit.inference.fresh(), top: top, k: 0, bound: maxLinear}
			for _, x := range []float64{*limits.Low, *limits.High, 0} {
				at, err := p.at(x)
				if err != nil {
					t.Fatal(err)
				}
				if best := p.e.higher(at, p.everywhere(x)); best != at {
					t.Errorf("at θ = %g the profile's %g is below %g elsewhere", x, at.value, best.value)
				}
			}
		})
	}
}

// An SD of 0, or few anglers, settles nothing.
func TestNotSettled(t *testing.T) {
	few, err := FitTrial(benchmarkCells(12, 1), Options{Points: 1})
	if err != nil {
		t.Fatal(err)
	}
	alike, err := FitTrial(func() (cells []Cell) {
		for i := range manyGroups + 1 {
			cells = append(cells, Cell{i, 0, true, 6, 4}, Cell{i, 0, false, 5, 5})
		}
		return cells
	}(), Options{Points: 1})
	if err != nil {
		t.Fatal(err)
	}
	for name, fit := range map[string]*TrialResult{"few anglers": few, "anglers alike": alike} {
		if f := fit.inference; f.fresh().settled(f.point, len(f.evaluator.problem.freeParameters())) {
			t.Errorf("%s: settled", name)
		}
	}
}
