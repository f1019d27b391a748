package glmm_test

import (
	"errors"
	"math"
	"testing"

	"evenrig/stats/glmm"
	"evenrig/stats/num"
)

// The statistic is the square of the limits' quantile at the limits, 0 at the estimate and, at 0, what θ = 0 costs: a
// definition. The limits are good to some 1e-8 standard errors, so the statistic to about 1e-7.
func TestProfileStatisticIsTheLimitsOwn(t *testing.T) {
	cells := []glmm.Cell{
		{Angler: 1, TestLower: true, Test: 9, Control: 4},
		{Angler: 1, Test: 5, Control: 8},
		{Angler: 2, TestLower: true, Test: 12, Control: 2},
		{Angler: 2, Test: 8, Control: 6},
		{Angler: 3, TestLower: true, Test: 5, Control: 7},
		{Angler: 3, Test: 4, Control: 9},
		{Angler: 4, TestLower: true, Test: 11, Control: 3},
		{Angler: 4, Test: 9, Control: 4},
		{Angler: 5, TestLower: true, Test: 7, Control: 7},
		{Angler: 5, Test: 6, Control: 6},
	}
	fit, err := glmm.FitTrial(cells, glmm.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, level := range []float64{.5, .9, .95, .999} {
		limits, err := fit.ProfileTheta(level)
		if err != nil || limits.Low == nil || limits.High == nil {
			t.Fatalf("level %g: %v, %v", level, limits, err)
		}
		want := num.NormalQuantile((1 + level) / 2)
		for _, limit := range []float64{*limits.Low, *limits.High} {
			got, err := fit.ProfileStatistic(limit)
			if err != nil || math.Abs(got-want*want) > 1e-6 {
				t.Errorf("level %g: statistic %.9f (%v) at a limit, want %.9f", level, got, err, want*want)
			}
		}
	}
	if w, err := fit.ProfileStatistic(fit.Theta); err != nil || w > 1e-9 {
		t.Errorf("statistic %g (%v) at the estimate, want 0", w, err)
	}
	for _, theta := range []float64{math.NaN(), math.Inf(1), -21} {
		if _, err := fit.ProfileStatistic(theta); !errors.Is(err, glmm.ErrInput) {
			t.Errorf("θ = %g: %v", theta, err)
		}
	}
}

// One angler has four fish of five: held at θ = -.1628 the likelihood has a maximum without variation between anglers and a
// higher one with it. Log-likelihoods by lme4 1.1-31, nAGQ = 1, offset for θ, ten starts: -31.81366 at the maximum, -31.90026
// held there (five digits printed, so the statistic is good to 2e-5; 5e-5 allows for the stop of that search).
func TestProfileStatisticFindsTheHighest(t *testing.T) {
	tables := [][4]int{
		{74, 40, 50, 66}, {1, 2, 0, 2}, {2, 0, 1, 2}, {2, 1, 1, 1}, {0, 3, 0, 2}, {2, 1, 2, 0}, {3, 0, 0, 2}, {3, 0, 0, 2}, {1, 2, 1, 1}, {2, 0, 1, 2}, {2, 1, 0, 2}, {0, 2, 0, 3},
	}
	var cells []glmm.Cell
	for i, c := range tables {
		cells = append(cells, glmm.Cell{Angler: i, TestLower: true, Test: c[0], Control: c[1]}, glmm.Cell{Angler: i, Test: c[2], Control: c[3]})
	}
	fit, err := glmm.FitTrial(cells, glmm.Options{Points: 1})
	if err != nil {
		t.Fatal(err)
	}
	if w, err := fit.ProfileStatistic(-.1628); err != nil || math.Abs(w-2*(31.90026-31.81366)) > 5e-5 {
		t.Errorf("statistic %.6f (%v), want %.5f", w, err, 2*(31.90026-31.81366))
	}
}
