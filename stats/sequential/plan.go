package sequential

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Plan is what a protocol fixes of its looks before the first fish.
type Plan struct {
	Looks       int      // in all, the closing one among them; 1 to MaxLooks
	Spending    Spending // how α is spread over them
	Alpha       float64  // two-sided level of all looks together, above 0 and below 1
	Power       float64  // against the smallest effect worth knowing, above Alpha/2 and below 1
	Information float64  // planned at the last look: 1/SE² of the one method that every look uses
}

// Check returns ErrPlan with the first number outside its range, or nil.
func (p Plan) Check() error {
	if p.Looks < 1 || p.Looks > MaxLooks {
		return fmt.Errorf("%w: %d looks; accepted: 1 to %d", ErrPlan, p.Looks, MaxLooks)
	}
	if err := checkSpending(p.Spending); err != nil {
		return err
	}
	if err := checkAlpha(p.Alpha); err != nil {
		return err
	}
	if err := checkPower(p.Power, p.Alpha); err != nil {
		return err
	}
	if !(p.Information > 0) || math.IsInf(p.Information, 1) {
		return fmt.Errorf("%w: planned information %g; accepted: above 0", ErrPlan, p.Information)
	}
	return nil
}

func checkPower(power, alpha float64) error {
	if !(power > alpha/2 && power <= 1-1e-9) {
		return fmt.Errorf("%w: power %g; accepted: above half the level, %g, and at most 1-1e-9", ErrPlan, power, alpha/2)
	}
	return nil
}

// Fractions returns the planned information fractions: equal steps, 1/Looks to 1.
func (p Plan) Fractions() []float64 {
	fractions := make([]float64, p.Looks)
	for k := range fractions {
		fractions[k] = float64(k+1) / float64(p.Looks)
	}
	return fractions
}

// Boundaries returns the boundaries of the looks if they come as planned. Errors:
// ErrPlan, ErrNumeric.
func (p Plan) Boundaries() ([]Boundary, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	return Boundaries(p.Spending, p.Fractions(), p.Alpha)
}

// Characteristics are what a plan costs and gives if its looks come as planned.
type Characteristics struct {
	Drift             float64   // of Z at the last look under the effect the plan has its power for
	Inflation         float64   // largest information over that of one fixed analysis with the same power
	ExpectedEffect    float64   // mean information at the end over that of the fixed analysis, under that effect
	ExpectedNoEffect  float64   // the same without an effect
	StopEffect        []float64 // chance of stopping at each look in the right direction under that effect; length Looks
	StopNoEffectTotal float64   // chance of stopping at any look without an effect: Alpha
}

// Characteristics returns the drift at which the looks have the plan's power, counting
// only stops in the right direction, and what follows from it. The fixed analysis
// that it is compared with has drift z(1-α/2) + z(power). Planned Information plays
// no part.
//
// Errors: ErrPlan, ErrNumeric. Source: Jennison & Turnbull (2000), section 2.3.
func (p Plan) Characteristics() (Characteristics, error) {
	bounds, err := p.Boundaries()
	if err != nil {
		return Characteristics{}, err
	}
	fractions, z := p.Fractions(), make([]float64, len(bounds))
	for k, b := range bounds {
		z[k] = b.Z
	}
	drift, err := num.Root(func(d float64) float64 { return crossing(fractions, z, d).TotalUpper() - p.Power }, 0, MaxDrift, 1e-12)
	if err != nil {
		return Characteristics{}, fmt.Errorf("%w: the drift with power %g: %w", ErrNumeric, p.Power, err)
	}
	inflation := math.Pow(drift/fixedDrift(p.Alpha, p.Power), 2)
	with, without := crossing(fractions, z, drift), crossing(fractions, z, 0)
	return Characteristics{
		Drift: drift, Inflation: inflation,
		ExpectedEffect:    inflation * with.Expected(fractions),
		ExpectedNoEffect:  inflation * without.Expected(fractions),
		StopEffect:        with.Upper,
		StopNoEffectTotal: without.Total(),
	}, nil
}

// PlanFor returns the plan whose looks, coming as planned, find an effect theta ≠ 0
// (on the scale of the method's estimate) with the given power: its Information is
// (drift/θ)². Errors: as [Plan.Characteristics]; ErrPlan for a theta of 0 or not finite.
func PlanFor(looks int, spending Spending, alpha, power, theta float64) (Plan, error) {
	if theta == 0 || math.IsNaN(theta) || math.IsInf(theta, 0) {
		return Plan{}, fmt.Errorf("%w: an effect of %g; accepted: any finite one but 0", ErrPlan, theta)
	}
	plan := Plan{Looks: looks, Spending: spending, Alpha: alpha, Power: power, Information: 1}
	c, err := plan.Characteristics()
	if err != nil {
		return Plan{}, err
	}
	plan.Information = math.Pow(c.Drift/theta, 2)
	return plan, plan.Check()
}

// fixedDrift is the drift at which one analysis has the power, counting one direction.
func fixedDrift(alpha, power float64) float64 {
	return num.NormalQuantile(power) - num.NormalQuantile(alpha/2)
}
