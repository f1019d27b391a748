package sequential

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Adjusted is the result of a trial with looks, once it has ended: where a trial stops
// early, its plain estimate lies too far out and its plain p and limits do not keep
// their level.
type Adjusted struct {
	P        float64 // two-sided
	Estimate float64 // median-unbiased: as likely too high as too low
	Low      float64 // limits at level 1 - Alpha
	High     float64
}

// Adjusted returns p, estimate and limits that allow for the looks, by the stage-wise
// order of outcomes: having crossed the upper boundary early is the most extreme
// outcome above, then having crossed it later; at the same look the larger Z. With G(θ)
// the chance of an outcome at least as high as the one seen,
//
//	p = 2·min(G(0), 1-G(0)),  G(low) = α/2,  G(estimate) = 1/2,  G(high) = 1-α/2.
//
// p depends on the looks made, not on those that would have followed. p <= Alpha, and 0
// outside the limits, exactly if the trial stopped by its boundary. With one look they
// are the plain ones. Z is taken from the method's p and the sign of the estimate; where
// p is by Student's t the standard error is widened to fit it, |estimate|/|Z|.
//
// Errors: ErrNotFinished; ErrNoAdjustment where the last look was judged although its
// information had not grown; ErrNumeric.
//
// Sources: Fairbanks & Madsen (1982), Biometrika 69:69-74; Tsiatis, Rosner & Mehta
// (1984), Biometrics 40:797-803; Jennison & Turnbull (2000), sections 8.4 and 8.5.
func (m *Monitor) Adjusted() (Adjusted, error) {
	n := len(m.looks)
	if n == 0 || !m.looks[n-1].Crossed && !m.looks[n-1].Last {
		return Adjusted{}, fmt.Errorf("%w: %d of %d looks made", ErrNotFinished, n, m.plan.Looks)
	}
	bounds := m.judgedBounds()
	last, result := m.looks[n-1], m.results[n-1]
	if len(bounds) == 0 || bounds[len(bounds)-1].Fraction != last.Fraction {
		return Adjusted{}, fmt.Errorf("%w: %g of the plan at look %d", ErrNoAdjustment, last.Fraction, last.Number)
	}
	z, stdErr := result.signed()
	path := outcome{bounds: bounds, z: z}
	a := Adjusted{P: math.Max(math.SmallestNonzeroFloat64, math.Min(1, 2*math.Min(path.atLeast(0), path.atMost(0))))}
	// θ = δ/√(planned information), stretched to the standard error that fits p.
	scale := stdErr * math.Sqrt(last.Fraction)
	for _, part := range []struct {
		into  *float64
		below func(drift float64) float64 // rises with the drift, 0 at the value sought
	}{
		{&a.Low, func(d float64) float64 { return path.atLeast(d) - m.plan.Alpha/2 }},
		{&a.Estimate, func(d float64) float64 { return path.atLeast(d) - path.atMost(d) }},
		{&a.High, func(d float64) float64 { return m.plan.Alpha/2 - path.atMost(d) }},
	} {
		unit := 1 / math.Sqrt(last.Fraction)
		drift, err := num.IncreasingRoot(part.below, z*unit, unit/4, 1000*unit+2*math.Abs(z)*unit, 1e-12*unit)
		if err != nil {
			return Adjusted{}, fmt.Errorf("%w: adjusting for %d looks: %w", ErrNumeric, n, err)
		}
		*part.into = drift * scale
	}
	return a, nil
}

// signed returns Z by the method's p with the sign of the estimate, and the standard
// error that goes with it.
func (r Result) signed() (z, stdErr float64) {
	z = -num.NormalQuantile(r.P / 2)
	if r.Estimate == 0 || z == 0 || math.IsInf(z, 0) {
		return r.Estimate / r.StdErr, r.StdErr
	}
	return math.Copysign(z, r.Estimate), math.Abs(r.Estimate) / z
}

// outcome is a trial that went on past all looks but the last of bounds and had Z = z there.
type outcome struct {
	bounds []Boundary
	z      float64
}

// atLeast returns the chance of an outcome as high or higher under the drift.
func (o outcome) atLeast(drift float64) float64 { return o.tail(drift, walk.above, 1) }

// atMost returns the chance of an outcome as low or lower under the drift.
func (o outcome) atMost(drift float64) float64 { return o.tail(drift, walk.below, -1) }

func (o outcome) tail(drift float64, beyond func(w walk, t, limit float64) float64, side float64) float64 {
	w, sum := begin(drift), 0.0
	for k, b := range o.bounds {
		root := math.Sqrt(b.Fraction)
		if k == len(o.bounds)-1 {
			return sum + beyond(w, b.Fraction, o.z*root)
		}
		if b.Z > 0 {
			sum += beyond(w, b.Fraction, side*b.Z*root)
		}
		w = w.step(b.Fraction, o.bounds[k+1].Fraction, b.goingOn())
	}
	return sum
}
