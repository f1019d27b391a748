package exact

import (
	"math"

	"evenrig/stats/num"
)

// tilted is a distribution P_0 that can be tilted: P_φ(k) ∝ P_0(k)·e^{φk}. It must be
// that of a sum of independent coins, as num.Hypergeometric and num.Binomial are.
type tilted interface {
	Support() (least, most int64)
	LogMass(k int64) float64 // under φ = 0
	Tilted(phi float64, buffer []float64) (first, mode int64, weights []float64, total float64)
}

// stratum is one independent part of the sum: x of lo..hi was seen.
type stratum struct {
	tilted
	x, lo, hi int64
}

func newStratum(x int64, distribution tilted) stratum {
	lo, hi := distribution.Support()
	return stratum{tilted: distribution, x: x, lo: lo, hi: hi}
}

// tableStratum is an informative table as the noncentral hypergeometric sees it: of
// A+B fish in one arrangement and C+D in the other, A+D were taken lower, A of them in
// the first; φ is the log odds ratio.
func tableStratum(t Table) (stratum, error) {
	h, err := num.NewHypergeometric(t.A+t.B, t.C+t.D, t.A+t.D)
	return newStratum(t.A, h), err
}

// logNormaliser returns K(φ) - φx, K the cumulant generating function of X
// under φ = 0, from the mode and the sum of the weights under φ:
// e^{K(φ)} = e^{φ·mode}·P_0(mode)/P_φ(mode). Centred on x it stays moderate
// where φ fits the stratum, however many fish there are.
func (s *stratum) logNormaliser(phi float64, mode int64, total float64) float64 {
	return phi*float64(mode-s.x) + s.LogMass(mode) + math.Log(total)
}
