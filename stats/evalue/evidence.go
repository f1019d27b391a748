package evalue

import "math"

// LogE is the natural logarithm of an e-value. Evidence of independent anglers
// multiplies, so their LogE add up. The zero value is E = 1: no fish yet.
type LogE float64

// E returns the e-value: what a fair bet against the hypothesis, begun with 1, has
// come to. It is 0 or more, and math.MaxFloat64 where it is larger than that.
func (l LogE) E() float64 { return math.Min(math.Exp(float64(l)), math.MaxFloat64) }

// P returns min(1, 1/E), a p-value that holds whenever it is looked at.
func (l LogE) P() float64 { return math.Min(1, math.Exp(-float64(l))) }

// Reaches reports whether E >= 1/alpha, alpha above 0 and at most 1. If the hypothesis
// holds, the chance that this is ever so is at most alpha, however often and whenever
// it is asked. Source: Ville (1939), Étude critique de la notion de collectif.
func (l LogE) Reaches(alpha float64) bool { return float64(l) >= -math.Log(alpha) }

// Peak keeps the highest evidence of a trial: an e-value may fall again after it has
// reached 1/alpha, and the bound on ever reaching it still holds, so the decision stands.
// The highest e-value itself is no e-value: report the present one beside it. The
// zero value is a trial before its first look.
type Peak struct{ highest LogE }

// See takes the evidence at a look.
func (p *Peak) See(l LogE) { p.highest = max(p.highest, l) }

// Highest returns the highest evidence seen, at least that of E = 1.
func (p Peak) Highest() LogE { return p.highest }

// logSumExp returns ln Σ exp(x); x is not empty and has a finite maximum.
func logSumExp(x []float64) float64 {
	top := math.Inf(-1)
	for _, v := range x {
		if v > top {
			top = v
		}
	}
	sum := 0.0
	for _, v := range x {
		if !(v-top < -64) { // what is e^64 times smaller than the largest, 10^28, is lost in rounding, however many there are
			sum += math.Exp(v - top)
		}
	}
	return top + math.Log(sum)
}

// logAdd returns ln(e^a + e^b); either may be -Inf, not both.
func logAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	return a + math.Log1p(math.Exp(b-a))
}
