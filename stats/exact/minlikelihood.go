package exact

import (
	"math"

	"evenrig/stats/num"
)

// minimumLikelihood returns the probability under OR = 1 of all sums no more
// probable than the one seen (ties within 1+likelihoodFuzz). tail is the
// probability of the sum seen and those beyond it; inward is the step from it
// towards the mean, +1 or -1.
//
// S is a sum of independent coins, so its distribution is log-concave and the
// sums sought are two tails. The far one starts about where the saddle point
// approximation says; the sums there are then compared one by one, exactly.
func (a *strata) minimumLikelihood(near lattice, tail float64, inward int64) (float64, error) {
	h := heights{all: a, current: near, null: a.logNormaliser(0)}
	seen, err := h.at(0)
	if err != nil {
		return 0, err
	}
	bar := seen + math.Log1p(likelihoodFuzz)

	// Sums a little further in can be ties with the one seen.
	middle := a.under(0).mean
	edge := int64(0)
	for {
		next := edge + inward
		if next < a.least || next > a.most {
			return 1, nil
		}
		height, err := h.at(next)
		if err != nil {
			return 0, err
		}
		if height > bar {
			break
		}
		// The mode is within 1 of the mean (Darroch 1964, Annals of Mathematical
		// Statistics 35:1317-1321): past it, no sum is more probable than the one seen.
		if float64(inward)*(float64(next)-middle) > 1 {
			return 1, nil
		}
		edge = next
		tail += math.Exp(height)
	}
	if a.logNullAtEnd(inward > 0) > bar {
		return math.Min(1, tail), nil
	}
	far, err := h.farTail(edge, inward, bar)
	return math.Min(1, tail+far), err
}

// heights gives ln P_0(offset) from a distribution tilted near to it.
type heights struct {
	all     *strata
	current lattice
	null    float64 // normaliser under φ = 0
}

// at returns ln P_0(offset), tilting anew when the current distribution is too
// small there to carry the digits.
func (h *heights) at(offset int64) (float64, error) {
	if !h.current.sees(offset) {
		phi, err := h.all.tiltTo(offset)
		if err != nil {
			return 0, err
		}
		h.current = h.all.at(phi)
	}
	log, _ := h.current.logSum(0, offset, offset)
	return log - h.null, nil
}

// farTail returns the probability under OR = 1 of the sums beyond edge in the
// direction inward, across the mode, whose log probability is at most bar. The
// last sum on that side must be one of them.
func (h *heights) farTail(edge, inward int64, bar float64) (float64, error) {
	phi := h.all.saddle(bar, inward)
	h.current = h.all.at(phi)
	mean := h.all.under(phi).mean
	end := h.all.least
	if inward > 0 {
		end = h.all.most
	}
	start := max(h.all.least, min(h.all.most, int64(math.Round(mean))))
	if inward*(start-edge) < 1 {
		start = edge + inward
	}
	// Outwards to a sum under the bar, then back to the first such.
	for start != end {
		height, err := h.at(start)
		if err != nil {
			return 0, err
		}
		if height <= bar {
			break
		}
		start += inward
	}
	for start-inward != edge {
		height, err := h.at(start - inward)
		if err != nil {
			return 0, err
		}
		if height > bar {
			break
		}
		start -= inward
	}
	if _, err := h.at(start); err != nil {
		return 0, err
	}
	log, _ := h.current.logSum(0, min(start, end), max(start, end))
	return math.Exp(log - h.null), nil
}

// sees reports whether the probability at an offset is large enough beside the
// peak to carry ten digits.
func (l lattice) sees(offset int64) bool {
	i := offset - l.first
	return i >= 0 && i < int64(len(l.p)) && l.p[i] > 1e-5*l.peak
}

// saddle returns the tilt under which the mean of S is about where ln P_0(S)
// equals bar, on the side inward points to. It uses the saddle point
// approximation ln P_0 ≈ K(φ) - φK'(φ) - ½ln(2πK”(φ)) (Daniels 1954, Annals of
// Mathematical Statistics 25:631-650) with 1 added under the logarithm: so it
// stays right at the end of the range, where K” = 0.
func (a *strata) saddle(bar float64, inward int64) float64 {
	null := a.under(0)
	under := func(u float64) (value, slope float64) { // the slope without that of the last term
		phi := u * float64(inward)
		t := a.under(phi)
		return bar - (t.logNormaliser - null.logNormaliser - phi*t.mean - math.Log1p(2*math.Pi*t.variance)/2), u * t.variance
	}
	short, _ := under(0)
	if short >= 0 {
		return 0
	}
	unit := 1 / math.Sqrt(null.variance+1)
	u, err := num.IncreasingRootBySlope(under, unit*math.Sqrt(-2*short), unit, farthest, unit/100)
	if err != nil {
		u = farthest // the bar is at the height of the last sum, and rounding hides the crossing
	}
	return u * float64(inward)
}

// tiltTo returns the tilt under which the mean of S is at the offset, or half a
// fish inside an end of the range.
func (a *strata) tiltTo(offset int64) (float64, error) {
	target := math.Max(float64(a.least)+0.5, math.Min(float64(a.most)-0.5, float64(offset)))
	return num.IncreasingRootBySlope(func(phi float64) (value, slope float64) {
		t := a.under(phi)
		return t.mean - target, t.variance
	}, 0, 1, farthest, 1e-6)
}
