package exact

import (
	"math"

	"evenrig/stats/num"
)

// negligible is the part of its largest term below which a term of a stratum's
// distribution is cut off; what is cut is under 1e-17 of the whole for any
// stratum that Validate lets pass.
const negligible = 1e-22

// stratum is one informative table as the noncentral hypergeometric sees it:
// of m fish in one arrangement and n in the other, t were taken lower; x of
// those t came in the first arrangement, and x could have been lo to hi.
type stratum struct {
	m, n, t, x, lo, hi int64
}

func newStratum(t Table) stratum {
	s := stratum{m: t.A + t.B, n: t.C + t.D, t: t.A + t.D, x: t.A}
	s.lo, s.hi = max(0, s.t-s.n), min(s.m, s.t)
	return s
}

// weights fills buffer with P_φ(X = k)/P_φ(X = mode) for k from first upwards,
// P_φ(X = k) ∝ C(m, k)·C(n, t-k)·e^{φk}, until the terms are negligible on both
// sides, and returns the filled slice (backed by buffer where that is large
// enough) with the sum of the weights. The terms are products of successive ratios outwards from the mode,
// all positive, so each keeps its relative accuracy: no factorials, no
// overflow. Source: Liao & Rosen (2001), The American Statistician 55:366-369.
func (s stratum) weights(phi float64, buffer []float64) (first, mode int64, w []float64, total float64) {
	psi := math.Exp(phi)
	m, t, rest := float64(s.m), float64(s.t), float64(s.n-s.t)
	mode = int64(math.Floor(balance(m+1, t+1, rest, psi)))
	mode = max(s.lo, min(s.hi, mode))

	below := buffer[:0]
	weight := 1.0
	for k := mode; k > s.lo; k-- {
		x := float64(k)
		weight *= x * (rest + x) / (psi * (m - x + 1) * (t - x + 1))
		if weight < negligible {
			break
		}
		below = append(below, weight)
		total += weight
	}
	first = mode - int64(len(below))
	for i, j := 0, len(below)-1; i < j; i, j = i+1, j-1 {
		below[i], below[j] = below[j], below[i]
	}
	w = append(below, 1)
	total++
	weight = 1
	for k := mode; k < s.hi; k++ {
		x := float64(k)
		weight *= psi * (m - x) * (t - x) / ((x + 1) * (rest + x + 1))
		if weight < negligible {
			break
		}
		w = append(w, weight)
		total += weight
	}
	return first, mode, w, total
}

// logNormaliser returns K(φ) - φx, K the cumulant generating function of X
// under φ = 0, from the mode and the sum of the weights under φ:
// e^{K(φ)} = e^{φ·mode}·P_0(mode)/P_φ(mode). Centred on x it stays moderate
// where φ fits the stratum, however many fish there are.
func (s stratum) logNormaliser(phi float64, mode int64, total float64) float64 {
	return phi*float64(mode-s.x) + num.LogHypergeometric(mode, s.m, s.n, s.t) + math.Log(total)
}

// balance returns the e inside the support with e(rest+e) = ψ(m-e)(t-e), the
// root of (1-ψ)e² + (rest + ψ(m+t))e - ψmt = 0 that lies in
// [max(0, -rest), min(m, t)], in the form without cancellation. It is the
// large-sample mean of the noncentral hypergeometric.
func balance(m, t, rest, psi float64) float64 {
	quad, linear, constant := 1-psi, rest+psi*(m+t), -psi*m*t
	root := math.Sqrt(math.Max(0, linear*linear-4*quad*constant))
	if linear >= 0 {
		return -2 * constant / (linear + root)
	}
	return (root - linear) / (2 * quad)
}
