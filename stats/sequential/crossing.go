package sequential

import (
	"fmt"
	"math"
)

// MaxDrift is the largest drift accepted either way.
const MaxDrift = 50

// Exits are the chances that a trial stops at each look, by the upper and by the lower
// boundary, both of the length of the looks.
type Exits struct{ Upper, Lower []float64 }

// Total returns the chance of stopping at any look, in either direction.
func (e Exits) Total() float64 {
	sum := 0.0
	for k := range e.Upper {
		sum += e.Upper[k] + e.Lower[k]
	}
	return sum
}

// TotalUpper returns the chance of stopping at any look by the upper boundary: the
// power, where the drift is positive.
func (e Exits) TotalUpper() float64 {
	sum := 0.0
	for _, p := range e.Upper {
		sum += p
	}
	return sum
}

// Expected returns the mean of the fractions at which the trial ends, the last one
// where no look stops it. fractions has the length of the looks.
func (e Exits) Expected(fractions []float64) float64 {
	mean, goesOn, before := 0.0, 1.0, 0.0
	for k, t := range fractions {
		mean += goesOn * (t - before)
		goesOn -= e.Upper[k] + e.Lower[k]
		before = t
	}
	return mean
}

// Crossing returns the chances of crossing |Z| >= z[k] at the looks' information
// fractions, both of the same length, when Z at fraction t has mean drift·√t: drift
// = θ·√(information at t = 1). z[k] = 0 is a look that cannot stop. Absolute
// accuracy about 1e-12.
//
// Errors: ErrFractions; ErrBoundary; ErrDrift. Source: Armitage, McPherson & Rowe
// (1969), J. R. Stat. Soc. A 132:235-244.
func Crossing(fractions, z []float64, drift float64) (Exits, error) {
	if err := checkFractions(fractions); err != nil {
		return Exits{}, err
	}
	if err := checkDrift(drift); err != nil {
		return Exits{}, err
	}
	if len(z) != len(fractions) {
		return Exits{}, fmt.Errorf("%w: %d boundaries for %d looks", ErrBoundary, len(z), len(fractions))
	}
	for k, b := range z {
		if !(b >= 0) || math.IsInf(b, 1) {
			return Exits{}, fmt.Errorf("%w: look %d has %g; accepted: 0 for none, or above 0", ErrBoundary, k+1, b)
		}
	}
	return crossing(fractions, z, drift), nil
}

func crossing(fractions, z []float64, drift float64) Exits {
	e := Exits{Upper: make([]float64, len(z)), Lower: make([]float64, len(z))}
	w := begin(drift)
	for k, t := range fractions {
		if z[k] > 0 {
			edge := z[k] * math.Sqrt(t)
			e.Upper[k], e.Lower[k] = w.above(t, edge), w.below(t, -edge)
		}
		if k+1 < len(fractions) {
			w = w.step(t, fractions[k+1], Boundary{Fraction: t, Z: z[k]}.goingOn())
		}
	}
	return e
}
