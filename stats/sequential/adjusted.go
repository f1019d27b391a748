package sequential

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Adjusted is a result that allows for the looks: where a trial stops early its plain
// estimate lies too far out, and its plain p and limits do not keep their level.
type Adjusted struct {
	P        float64 // two-sided
	Estimate float64 // median-unbiased: as likely too high as too low
	Low      float64 // limits at level 1 - α
	High     float64
}

// Adjusted returns the result of a trial that a look has ended, by [StageWise], on the
// scale of the method's estimate. With one look it is the plain one. Z is taken from the
// method's p and the sign of its estimate; where p is by Student's t the standard error
// is widened to fit it, |estimate|/|Z|, so that 0 lies outside the limits exactly if the
// trial stopped by its boundary.
//
// Errors: ErrNotFinished; ErrNoAdjustment where the last look was judged although its
// information had not grown; ErrNumeric.
func (m *Monitor) Adjusted() (Adjusted, error) {
	n := len(m.looks)
	if n == 0 || !m.looks[n-1].Crossed && !m.looks[n-1].Last {
		return Adjusted{}, fmt.Errorf("%w: %d of %d looks made", ErrNotFinished, n, m.plan.Looks)
	}
	bounds := m.judgedBounds()
	last := m.looks[n-1]
	if len(bounds) == 0 || bounds[len(bounds)-1].Fraction != last.Fraction {
		return Adjusted{}, fmt.Errorf("%w: %g of the plan at look %d", ErrNoAdjustment, last.Fraction, last.Number)
	}
	z, stdErr := m.results[n-1].signed()
	a, err := StageWise(bounds, z, m.plan.Alpha)
	if err != nil {
		return Adjusted{}, err
	}
	scale := stdErr * math.Sqrt(last.Fraction) // θ of a drift of 1
	a.Estimate, a.Low, a.High = a.Estimate*scale, a.Low*scale, a.High*scale
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

// MaxZ is the largest |Z| that is told from a larger one.
const MaxZ = 35

// StageWise returns p, median-unbiased estimate and limits of the drift, the mean of Z
// at information fraction 1, for a trial that went on past all looks but the last of
// bounds and had Z = z there, by the stage-wise order of outcomes: having crossed the
// upper boundary early is the most extreme outcome above, then having crossed it later;
// at the same look the larger Z. With G(δ) the chance of an outcome at least as high as
// the one seen,
//
//	p = 2·min(G(0), 1-G(0)),  G(low) = α/2,  G(estimate) = 1/2,  G(high) = 1-α/2.
//
// They depend on the looks made and not on those that would have followed. p is at most
// the α spent, and 0 outside the limits, exactly if z is at or beyond the boundary. A
// larger |z| than MaxZ counts as MaxZ. Accuracy about 1e-9.
//
// Errors: ErrPlan for alpha; ErrFractions; ErrBoundary; ErrResult if z is not finite;
// ErrNumeric. Sources: Fairbanks & Madsen (1982), Biometrika 69:69-74; Tsiatis, Rosner &
// Mehta (1984), Biometrics 40:797-803; Jennison & Turnbull (2000), sections 8.4 and 8.5.
func StageWise(bounds []Boundary, z, alpha float64) (Adjusted, error) {
	if err := checkAlpha(alpha); err != nil {
		return Adjusted{}, err
	}
	fractions := make([]float64, len(bounds))
	for k, b := range bounds {
		fractions[k] = b.Fraction
		if !(b.Z >= 0) || math.IsInf(b.Z, 1) {
			return Adjusted{}, fmt.Errorf("%w: look %d has %g; accepted: 0 for none, or above 0", ErrBoundary, k+1, b.Z)
		}
	}
	if err := checkFractions(fractions); err != nil {
		return Adjusted{}, err
	}
	if math.IsNaN(z) || math.IsInf(z, 0) {
		return Adjusted{}, fmt.Errorf("%w: Z is %g", ErrResult, z)
	}
	path := outcome{bounds: bounds, z: math.Max(-MaxZ, math.Min(MaxZ, z))}
	a := Adjusted{P: math.Min(1, 2*math.Min(path.atLeast(0), path.atMost(0)))}
	unit := 1 / math.Sqrt(fractions[len(fractions)-1])
	for _, part := range []struct {
		into *float64
		f    func(drift float64) float64 // rises with the drift, 0 at the value sought
	}{
		{&a.Low, func(d float64) float64 { return path.atLeast(d) - alpha/2 }},
		{&a.Estimate, func(d float64) float64 { return path.atLeast(d) - path.atMost(d) }},
		{&a.High, func(d float64) float64 { return alpha/2 - path.atMost(d) }},
	} {
		drift, err := num.IncreasingRoot(part.f, path.z*unit, unit/4, 1000*unit, 1e-11*unit)
		if err != nil {
			return Adjusted{}, fmt.Errorf("%w: adjusting Z = %g for %d looks: %w", ErrNumeric, z, len(bounds), err)
		}
		*part.into = drift
	}
	return a, nil
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
