package num

import (
	"fmt"
	"math"
	"slices"
)

// NoncentralHypergeometric is Fisher's noncentral hypergeometric distribution, that of
// one cell of a 2x2 table given its margins:
//
//	P(X = x) ∝ C(first, x)·C(second, drawn-x)·e^{φx},  max(0, drawn-second) <= x <= min(first, drawn)
//
// with φ the log odds ratio. Make it with NewNoncentralHypergeometric, which finds the
// terms near the mode once; a value of the type may be shared, not changed. Source: Fisher (1935), Journal of the
// Royal Statistical Society 98:39-82; Liao & Rosen (2001), The American Statistician
// 55:366-369.
type NoncentralHypergeometric struct {
	Hypergeometric // the distribution at φ = 0
	phi            float64
	mode           int64
	logTotal       float64 // ln Σ_k P(X = k)/P(X = mode)
	mean, variance float64
}

// NewNoncentralHypergeometric returns the distribution of the number of the first group
// among drawn from both, under the log odds ratio phi. Cost grows with the standard
// deviation: 30 µs at counts of 10^6. Errors: ErrRange as NewHypergeometric,
// and for |phi| above 300.
func NewNoncentralHypergeometric(first, second, drawn int64, phi float64) (NoncentralHypergeometric, error) {
	central, err := NewHypergeometric(first, second, drawn)
	if err != nil {
		return NoncentralHypergeometric{}, err
	}
	if !(math.Abs(phi) <= 300) {
		return NoncentralHypergeometric{}, fmt.Errorf("log odds ratio %g: %w", phi, ErrRange)
	}
	from, mode, weights, total := central.Tilted(phi, nil)
	h := NoncentralHypergeometric{Hypergeometric: central, phi: phi, mode: mode, logTotal: math.Log(total)}
	var m1, m2 float64
	for i, w := range weights {
		d := float64(from + int64(i) - mode)
		m1 += w * d
		m2 += w * d * d
	}
	m1, m2 = m1/total, m2/total
	h.mean, h.variance = float64(mode)+m1, math.Max(0, m2-m1*m1)
	return h, nil
}

// Mean returns E(X).
func (h NoncentralHypergeometric) Mean() float64 { return h.mean }

// Variance returns Var(X).
func (h NoncentralHypergeometric) Variance() float64 { return h.variance }

// Mode returns the most probable value, the larger one where two are.
func (h NoncentralHypergeometric) Mode() int64 { return h.mode }

// LogMass returns ln P(X = x), -Inf outside the support.
func (h NoncentralHypergeometric) LogMass(x int64) float64 {
	if x < h.least || x > h.most {
		return math.Inf(-1)
	}
	return h.phi*float64(x-h.mode) + h.Hypergeometric.LogMass(x) - h.Hypergeometric.LogMass(h.mode) - h.logTotal
}

// Tails returns P(X <= x) and P(X >= x); accuracy as Hypergeometric.Tails.
func (h NoncentralHypergeometric) Tails(x int64) (lower, upper float64) {
	switch {
	case x < h.least:
		return 0, 1
	case x > h.most:
		return 1, 0
	}
	psi := math.Exp(h.phi)
	return tailSums(math.Exp(h.LogMass(x)), x, h.least, h.most, h.mean, func(k int64) float64 {
		return psi * h.ratio(k)
	})
}

// Quantile returns the smallest x with P(X <= x) >= p, as Hypergeometric.Quantile.
func (h NoncentralHypergeometric) Quantile(p float64) (int64, error) {
	if !(p >= 0 && p <= 1) {
		return 0, fmt.Errorf("quantile of %g: %w", p, ErrRange)
	}
	return smallestReaching(p, h.least, h.most, h.Tails), nil
}

// negligible is the part of its largest term below which a term of a tilted
// distribution is cut off; what is cut is under 1e-17 of the whole for any counts
// up to 10^9.
const negligible = 1e-22

// Tilted returns P_φ(X = k)/P_φ(X = mode) for k from first upwards, where P_φ is the
// noncentral distribution of log odds ratio phi, until the terms are negligible on
// both sides, with the sum of these weights. The slice is backed by buffer where
// that is large enough. The weights are products of successive ratios outwards from
// the mode, all positive, so each keeps its relative accuracy: no factorials, no
// overflow. Source: Liao & Rosen (2001).
func (h Hypergeometric) Tilted(phi float64, buffer []float64) (first, mode int64, weights []float64, total float64) {
	psi := math.Exp(phi)
	m, t, rest := float64(h.marked), float64(h.drawn), float64(h.unmarked-h.drawn)
	mode = int64(math.Floor(FittedCell(m+1, t+1, rest, psi)))
	mode = max(h.least, min(h.most, mode))

	return tiltedFrom(mode, h.least, h.most, buffer, func(x float64) (up, down float64) {
		return psi * (m - x) * (t - x), (x + 1) * (rest + x + 1)
	})
}

// tiltedFrom returns what Tilted promises of a distribution on least..most, from its mode
// and P_φ(x+1)/P_φ(x) = up/down.
func tiltedFrom(mode, least, most int64, buffer []float64, ratio func(x float64) (up, down float64)) (first, at int64, weights []float64, total float64) {
	below := buffer[:0]
	weight := 1.0
	for k := mode; k > least; k-- {
		up, down := ratio(float64(k - 1))
		weight *= down / up
		if weight < negligible {
			break
		}
		below = append(below, weight)
		total += weight
	}
	slices.Reverse(below)
	weights = append(below, 1)
	total++
	weight = 1
	for k := mode; k < most; k++ {
		up, down := ratio(float64(k))
		weight *= up / down
		if weight < negligible {
			break
		}
		weights = append(weights, weight)
		total += weight
	}
	return mode - int64(len(below)), mode, weights, total
}

// FittedCell returns the first cell e of the 2x2 table (e, m-e; t-e, rest+e) whose odds
// ratio e(rest+e)/((m-e)(t-e)) is psi > 0: the root of (1-ψ)e² + (rest + ψ(m+t))e - ψmt =
// 0 that lies in [max(0, -rest), min(m, t)], in the form without cancellation. It is the
// large-sample mean of the noncentral hypergeometric.
func FittedCell(m, t, rest, psi float64) float64 {
	quad, linear, constant := 1-psi, rest+psi*(m+t), -psi*m*t
	root := math.Sqrt(math.Max(0, linear*linear-4*quad*constant))
	if linear >= 0 {
		return -2 * constant / (linear + root)
	}
	return (root - linear) / (2 * quad)
}
