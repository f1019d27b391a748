package sequential

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// FutileAbove returns, for each look before the last, the two-sided p from which on the
// trial is unlikely to find the effect that it was planned for; 0 for no advice. It is
// advice: the boundaries that stop a trial for an effect are made without it, so
// nothing is lost by going on.
//
// bounds are the boundaries of the looks, the last of them the final one or not. drift
// is that of the planned effect ([Characteristics].Drift). The trial's risk of missing
// that effect, β = 1 - power, is spent by the same shape of function as α, one-sided:
// look k advises to give up inside |Z| < a_k, with a_k such that the chance of being
// there, going on till then, is what β allows. a_k never exceeds the boundary.
//
// Errors: ErrPlan, ErrFractions, ErrDrift, ErrNumeric. Source: Pampallona, Tsiatis &
// Kim (2001), Drug Information Journal 35:1113-1121, for spending β; both-sided inner
// bounds as in Jennison & Turnbull (2000), chapter 5.
func FutileAbove(spending Spending, bounds []Boundary, power, drift float64) ([]float64, error) {
	if err := checkSpending(spending); err != nil {
		return nil, err
	}
	if err := checkPower(power, 0); err != nil {
		return nil, err
	}
	if err := checkDrift(drift); err != nil {
		return nil, err
	}
	fractions := make([]float64, len(bounds))
	for k, b := range bounds {
		fractions[k] = b.Fraction
	}
	if err := checkFractions(fractions); err != nil {
		return nil, err
	}
	advice := make([]float64, len(bounds))
	w, spent := begin(drift), 0.0
	for k, b := range bounds {
		if b.Fraction >= 1 {
			break // the last look decides; it needs no advice
		}
		// The one-sided function at β is half the two-sided one at 2β.
		share := spending.Spent(b.Fraction, 2*(1-power))/2 - spent
		inner, err := innerBound(w, b, share)
		if err != nil {
			return nil, fmt.Errorf("look %d: %w", k+1, err)
		}
		root := math.Sqrt(b.Fraction)
		if inner > 0 {
			spent += within(w, b.Fraction, inner*root)
			advice[k] = num.NormalTwoSided(inner)
		}
		if k+1 < len(bounds) {
			w = w.step(b.Fraction, bounds[k+1].Fraction, b.outside(inner))
		}
	}
	return advice, nil
}

// within returns the chance of going on before t and then |B(t)| < limit.
func within(w walk, t, limit float64) float64 { return w.above(t, -limit) - w.above(t, limit) }

// innerBound returns a with P(going on before, |Z| < a) = share, at most the boundary;
// 0 where share is too small to matter.
func innerBound(w walk, b Boundary, share float64) (float64, error) {
	if share < 1e-6 {
		return 0, nil
	}
	root := math.Sqrt(b.Fraction)
	most := b.Z
	if most == 0 {
		most = reach
	}
	if within(w, b.Fraction, most*root) <= share {
		return most, nil
	}
	inner, err := num.Root(func(a float64) float64 { return within(w, b.Fraction, a*root) - share }, 0, most, 1e-12)
	if err != nil {
		return 0, fmt.Errorf("%w: an inner bound that spends %g at information fraction %g: %w", ErrNumeric, share, b.Fraction, err)
	}
	return inner, nil
}

// outside is goingOn without the part where giving up is advised.
func (b Boundary) outside(inner float64) []interval {
	all := b.goingOn()[0]
	if inner == 0 {
		return []interval{all}
	}
	edge := inner * math.Sqrt(b.Fraction)
	return []interval{{all.lo, -edge}, {edge, all.hi}}
}
