package power

import (
	"math"

	"evenrig/stats/num"
)

// Conditions are what a trial meets at the water. The zero value is anglers who
// are all alike and a position that makes no difference.
type Conditions struct {
	// Beta is the position effect β in log odds: expit(Beta) of the fish take the
	// lower fly when the patterns are alike.
	Beta float64
	// SDPattern, SDPosition are the SDs between anglers of the pattern and the
	// position effect, SDOuting that between outings of the pattern effect, all in
	// log odds, 0 or more.
	SDPattern, SDPosition, SDOuting float64
	// FishPerOuting is the mean catch of an outing, read only with SDOuting > 0.
	FishPerOuting float64
}

// Information is the Fisher information about θ in one fish at θ = 0: p(1-p) with
// p the share of the lower position, averaged over anglers whose position
// effects differ; at most 1/4.
func (c Conditions) Information() float64 {
	if c.SDPosition == 0 {
		return logisticDensity(c.Beta)
	}
	// The trapezoidal rule on the whole line converges faster than any power of the
	// step for an analytic integrand (Trefethen & Weideman 2014, SIAM Review 56:385).
	const step, reach = .125, 8.5
	sum, weights := 0., 0.
	for z := -reach; z <= reach; z += step {
		w := math.Exp(-z * z / 2)
		sum += w * logisticDensity(c.Beta+c.SDPosition*z)
		weights += w
	}
	return sum / weights
}

// logisticDensity is expit(x)·(1-expit(x)), without loss at either end.
func logisticDensity(x float64) float64 { return num.Expit(x) * num.Expit(-x) }

// Variance is that of the estimate of θ from anglers who catch fishEach (both
// above 0) fish each:
//
//	τ²/K + σ_w²/(K·outings) + 1/(K·m·information),
//
// with m/FishPerOuting outings each, at least one.
func (c Conditions) Variance(anglers int, fishEach float64) float64 {
	k := float64(anglers)
	v := c.SDPattern*c.SDPattern + 1/(fishEach*c.Information())
	if c.SDOuting > 0 {
		outings := 1.
		if c.FishPerOuting > 0 {
			outings = math.Max(1, fishEach/c.FishPerOuting)
		}
		v += c.SDOuting * c.SDOuting / outings
	}
	return v / k
}
