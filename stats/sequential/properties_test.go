package sequential_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/sequential"
)

var schedule = rapid.Custom(func(t *rapid.T) []float64 {
	fractions := make([]float64, rapid.IntRange(1, 6).Draw(t, "looks"))
	at := 0.0
	for k := range fractions {
		at += rapid.Float64Range(0.02, 0.4).Draw(t, "step")
		fractions[k] = at
	}
	return fractions
})

var shape = rapid.SampledFrom([]sequential.Spending{sequential.OBrienFleming, sequential.Pocock})

func zs(bounds []sequential.Boundary) []float64 {
	z := make([]float64, len(bounds))
	for k, b := range bounds {
		z[k] = b.Z
	}
	return z
}

// Boundaries spend exactly what the function gives by each look; exits mirror each other under
// the opposite drift; the chance of stopping grows with the drift.
func TestBoundariesSpendTheFunction(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		fractions, spending := schedule.Draw(rt, "fractions"), shape.Draw(rt, "shape")
		alpha := rapid.Float64Range(0.001, 0.5).Draw(rt, "alpha")
		bounds, err := sequential.Boundaries(spending, fractions, alpha)
		if err != nil {
			rt.Fatal(err)
		}
		exits, err := sequential.Crossing(fractions, zs(bounds), 0)
		if err != nil {
			rt.Fatal(err)
		}
		sum := 0.0
		for k, b := range bounds {
			sum += exits.Upper[k] + exits.Lower[k]
			if want := spending.Spent(fractions[k], alpha); math.Abs(b.Spent-want) > 1e-15 && b.Z > 0 {
				rt.Fatalf("look %d has spent %g, the function gives %g", k+1, b.Spent, want)
			}
			// 1e-11: accuracy of the integration.
			if math.Abs(sum-b.Spent) > 1e-11 {
				rt.Fatalf("look %d: %g is crossed, %g spent", k+1, sum, b.Spent)
			}
		}
		drift := rapid.Float64Range(0, 6).Draw(rt, "drift")
		up, _ := sequential.Crossing(fractions, zs(bounds), drift)
		down, _ := sequential.Crossing(fractions, zs(bounds), -drift)
		for k := range fractions {
			if math.Abs(up.Upper[k]-down.Lower[k]) > 1e-12 || math.Abs(up.Lower[k]-down.Upper[k]) > 1e-12 {
				rt.Fatalf("look %d does not mirror: %v %v", k+1, up, down)
			}
		}
		if up.Total() < exits.Total()-1e-11 || up.Total() > 1+1e-11 {
			rt.Fatalf("a drift of %g crosses with chance %g, none with %g", drift, up.Total(), exits.Total())
		}
	})
}

// p falls as z grows, limits contain the estimate, mirror with the sign, and exclude 0 exactly
// where p is at most the level.
func TestStageWiseProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		fractions, spending := schedule.Draw(rt, "fractions"), shape.Draw(rt, "shape")
		bounds, err := sequential.Boundaries(spending, fractions, 0.05)
		if err != nil {
			rt.Fatal(err)
		}
		z := rapid.Float64Range(-8, 8).Draw(rt, "z")
		got, err := sequential.StageWise(bounds, z, 0.05)
		if err != nil {
			rt.Fatal(err)
		}
		if !(got.Low < got.Estimate && got.Estimate < got.High) {
			rt.Fatalf("limits %g to %g, estimate %g", got.Low, got.High, got.Estimate)
		}
		mirrored, err := sequential.StageWise(bounds, -z, 0.05)
		if err != nil {
			rt.Fatal(err)
		}
		if math.Abs(mirrored.Low+got.High)+math.Abs(mirrored.Estimate+got.Estimate) > 1e-7 || math.Abs(mirrored.P-got.P) > 1e-11 {
			rt.Fatalf("%+v does not mirror %+v", mirrored, got)
		}
		if math.Abs(got.P-0.05) > 1e-8 && (got.P < 0.05) != (got.Low > 0 || got.High < 0) {
			rt.Fatalf("p = %g, limits %g to %g", got.P, got.Low, got.High)
		}
		further, err := sequential.StageWise(bounds, z+math.Copysign(0.3, z), 0.05)
		if err != nil {
			rt.Fatal(err)
		}
		if further.P > got.P+1e-12 {
			rt.Fatalf("p rises from %g to %g further out", got.P, further.P)
		}
	})
}

// A second look that hardly adds information is hardly a second look; splitting a schedule never
// lets more be crossed.
func TestLooksThatShareTheirInformation(t *testing.T) {
	t.Parallel()
	exits, err := sequential.Crossing([]float64{1, 1 + sequential.SmallestStep}, []float64{1.96, 1.96}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if total := exits.Total(); total < 0.05 || total > 0.0545 { // two looks at equal steps would cross 0.083
		t.Errorf("two looks a thousandth apart cross %g", total)
	}
}

// Advice lies inside the boundaries, and the last look has none.
func TestFutilityAdvice(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		plan := sequential.Plan{
			Looks: rapid.IntRange(1, 6).Draw(rt, "looks"), Spending: shape.Draw(rt, "shape"), Alpha: 0.05,
			Power: rapid.Float64Range(0.5, 0.95).Draw(rt, "power"), Information: 1,
		}
		bounds, err := plan.Boundaries()
		if err != nil {
			rt.Fatal(err)
		}
		c, err := plan.Characteristics()
		if err != nil {
			rt.Fatal(err)
		}
		advice, err := sequential.FutileAbove(plan.Spending, bounds, plan.Power, c.Drift)
		if err != nil {
			rt.Fatal(err)
		}
		for k, p := range advice {
			if k == len(advice)-1 && p != 0 {
				rt.Fatalf("the last look has advice %g", p)
			}
			if p != 0 && (p < bounds[k].NominalP || p > 1) {
				rt.Fatalf("look %d advises from p = %g, its boundary is %g", k+1, p, bounds[k].NominalP)
			}
		}
	})
}

func FuzzMonitor(f *testing.F) {
	f.Add(4, 0, 0.05, 0.8, 30.0, 0.3, 0.4, 0.2, 0.25, 0.01, 0.3, false)
	f.Add(2, 1, 0.5, 0.6, 1e-3, -5.0, 40.0, 1e-9, 0.1, 0.0, 1.0, true)
	f.Fuzz(func(t *testing.T, looks, shape int, alpha, power, information, estimate, e1, e2, e3, p1, p2 float64, closing bool) {
		m, err := sequential.NewMonitor(sequential.Plan{Looks: looks % 8, Spending: sequential.Spending(shape), Alpha: alpha, Power: power, Information: information})
		if err != nil {
			return
		}
		for i, stdErr := range []float64{e1, e2, e3} {
			l, err := m.Look(sequential.Result{Estimate: estimate, StdErr: stdErr, P: []float64{p1, p2, p1 / 2}[i]}, closing && i == 1)
			if err != nil {
				continue
			}
			finite(t, l.Information, l.Fraction, l.Spent, l.NominalP, l.Z, l.FutileAbove)
			if l.Spent > alpha*(1+1e-12) || l.NominalP > alpha*(1+1e-9) {
				t.Fatalf("%+v spends more than %g", l, alpha)
			}
		}
		a, err := m.Adjusted()
		if err != nil {
			return
		}
		finite(t, a.P, a.Estimate, a.Low, a.High)
		if !(a.Low <= a.Estimate && a.Estimate <= a.High) {
			t.Fatalf("%+v", a)
		}
	})
}

func finite(t *testing.T, values ...float64) {
	t.Helper()
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("a value is not finite: %v", values)
		}
	}
}

// Whatever the information does, the looks that could be judged cross with exactly the α they spent,
// all of it at the end if the last look could be judged; a closing look without new information adds
// no more than what was left.
func TestMonitorKeepsTheLevel(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		plan := sequential.Plan{
			Looks: rapid.IntRange(1, 6).Draw(rt, "looks"), Spending: shape.Draw(rt, "shape"),
			Alpha: rapid.Float64Range(0.001, 0.2).Draw(rt, "alpha"), Power: 0.8, Information: 40,
		}
		m, err := sequential.NewMonitor(plan)
		if err != nil {
			rt.Fatal(err)
		}
		closing := rapid.IntRange(1, plan.Looks).Draw(rt, "closing at")
		var fractions, z []float64
		var last sequential.Look
		for k := 1; k <= closing && !last.Last; k++ {
			fraction := rapid.Float64Range(0.01, 1.3).Draw(rt, "fraction")
			if last, err = m.Look(at(plan, fraction, 0.9), k == closing); err != nil {
				rt.Fatal(err)
			}
			if n := len(fractions); n == 0 || last.Fraction >= fractions[n-1]+sequential.SmallestStep {
				fractions, z = append(fractions, last.Fraction), append(z, last.Z)
			}
		}
		exits, err := sequential.Crossing(fractions, z, 0)
		if err != nil {
			rt.Fatal(err)
		}
		total := exits.Total()
		if last.Fraction != fractions[len(fractions)-1] { // closed without new information
			total += last.NominalP
			if _, err := m.Adjusted(); !errors.Is(err, sequential.ErrNoAdjustment) {
				rt.Fatalf("adjusted: %v", err)
			}
		} else if a, err := m.Adjusted(); err != nil || a.P < plan.Alpha {
			rt.Fatalf("adjusted %+v, %v", a, err)
		}
		if math.Abs(total-plan.Alpha) > 1e-10 || last.Spent != plan.Alpha {
			rt.Fatalf("%g is crossed, %g spent, of %g", total, last.Spent, plan.Alpha)
		}
	})
}
