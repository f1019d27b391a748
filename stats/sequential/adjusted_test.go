package sequential_test

import (
	"math"
	"testing"

	"evenrig/stats/num"
	"evenrig/stats/sequential"
	"evenrig/stats/stattest"
)

// p, median and limits against multivariate normal probabilities by another program, from the
// definition. 1e-8: those probabilities are by Miwa's method with 2049 steps, about 1e-9.
func TestStageWiseOfTheReference(t *testing.T) {
	t.Parallel()
	var want struct {
		Alpha float64 `json:"alpha"`
		Cases []struct {
			Name      string    `json:"name"`
			Fractions []float64 `json:"fractions"`
			Bounds    []float64 `json:"z_boundaries"`
			Z         float64   `json:"z"`
			P         float64   `json:"p"`
			Median    float64   `json:"median"`
			Low       float64   `json:"low"`
			High      float64   `json:"high"`
		} `json:"cases"`
	}
	stattest.Load(t, "sequential/adjusted.json", &want)
	for _, c := range want.Cases {
		bounds := make([]sequential.Boundary, len(c.Fractions))
		for k := range bounds {
			bounds[k] = sequential.Boundary{Fraction: c.Fractions[k], Z: c.Bounds[k]}
		}
		got, err := sequential.StageWise(bounds, c.Z, want.Alpha)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, c.Name+" p", got.P, c.P, 1e-8)
		stattest.Absolute(t, c.Name+" median", got.Estimate, c.Median, 1e-8)
		stattest.Absolute(t, c.Name+" low", got.Low, c.Low, 1e-8)
		stattest.Absolute(t, c.Name+" high", got.High, c.High, 1e-8)
	}
}

// With one look the adjusted result is the plain one (from the definition).
func TestOneLookIsTheFixedAnalysis(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ estimate, stdErr float64 }{{0.9, 0.25}, {-0.4, 0.31}, {0, 0.2}, {3, 0.1}} {
		m := monitor(t, sequential.Plan{Looks: 1, Alpha: 0.05, Power: 0.8, Information: 10})
		p := num.NormalTwoSided(c.estimate / c.stdErr)
		look, err := m.Look(sequential.Result{Estimate: c.estimate, StdErr: c.stdErr, P: p}, true)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "nominal p", look.NominalP, 0.05, 1e-11)
		got, err := m.Adjusted()
		if err != nil {
			t.Fatal(err)
		}
		z := -num.NormalQuantile(0.025)
		stattest.Relative(t, "p", got.P, p, 1e-9)
		stattest.Absolute(t, "estimate", got.Estimate, c.estimate, 1e-9)
		stattest.Absolute(t, "low", got.Low, c.estimate-z*c.stdErr, 1e-9)
		stattest.Absolute(t, "high", got.High, c.estimate+z*c.stdErr, 1e-9)
	}
}

// At the boundary itself the adjusted p is the α spent so far and 0 is a limit, at any look.
func TestAtTheBoundaryPIsAlphaSpent(t *testing.T) {
	t.Parallel()
	for _, spending := range []sequential.Spending{sequential.OBrienFleming, sequential.Pocock} {
		bounds, err := sequential.Boundaries(spending, []float64{0.3, 0.45, 0.8, 1.1}, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		for k, b := range bounds {
			for _, side := range []float64{1, -1} {
				got, err := sequential.StageWise(bounds[:k+1], side*b.Z, b.Spent)
				if err != nil {
					t.Fatal(err)
				}
				stattest.Relative(t, "p", got.P, b.Spent, 1e-9)
				if math.Min(math.Abs(got.Low), math.Abs(got.High)) > 1e-8 {
					t.Errorf("%v look %d: limits %g to %g do not end at 0", spending, k+1, got.Low, got.High)
				}
			}
		}
	}
}

// A method with Student's t: p at the boundary is the boundary's, and 0 is a limit.
func TestAdjustedFollowsTheMethodsP(t *testing.T) {
	t.Parallel()
	quantile, err := num.StudentQuantile(0.975, 9)
	if err != nil {
		t.Fatal(err)
	}
	m := monitor(t, sequential.Plan{Looks: 1, Alpha: 0.05, Power: 0.8, Information: 10})
	if _, err := m.Look(sequential.Result{Estimate: quantile * 0.3, StdErr: 0.3, P: 0.05}, true); err != nil {
		t.Fatal(err)
	}
	got, err := m.Adjusted()
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "p", got.P, 0.05, 1e-11)
	stattest.Absolute(t, "estimate", got.Estimate, quantile*0.3, 1e-9)
	stattest.Absolute(t, "low", got.Low, 0, 1e-9)
	stattest.Absolute(t, "high", got.High, 2*quantile*0.3, 1e-9)
}

func monitor(t testing.TB, plan sequential.Plan) *sequential.Monitor {
	t.Helper()
	m, err := sequential.NewMonitor(plan)
	if err != nil {
		t.Fatal(err)
	}
	return m
}
