package glmm

import (
	"fmt"
	"math"
)

// Family is the distribution of a row's count, with its link.
type Family int

// Binomial counts have a logit link; Poisson and NegativeBinomial counts a log link.
// The negative binomial is the one with variance μ + dispersion·μ² ("NB2", Lawless
// 1987, Can. J. Stat. 15:209); at dispersion 0 it is the Poisson distribution.
const (
	Binomial Family = iota
	Poisson
	NegativeBinomial
)

var familyNames = map[Family]string{Binomial: "binomial", Poisson: "poisson", NegativeBinomial: "negative binomial"}

// String is the family's name in words; "Family(n)" for a value that is none of the three.
func (f Family) String() string {
	if name, ok := familyNames[f]; ok {
		return name
	}
	return fmt.Sprintf("Family(%d)", int(f))
}

// Every family has the log-likelihood y·ζ - n·K(ζ) for a row, up to terms without ζ:
//
//	binomial            ζ = η                n trials          K = ln(1+e^ζ)
//	Poisson             ζ = η + ln exposure  n rows            K = e^ζ
//	negative binomial   ζ = η + ln exposure  n = y + rows/α    K = ln(1+e^ζ)
//	                        + ln α
//
// with α the dispersion, so the code that integrates knows two functions K only.

// derivatives returns K, K', K” and K”' at zeta.
func (e *evaluator) derivatives(zeta float64) (k, k1, k2, k3 float64) {
	if e.exponential {
		v := math.Exp(zeta)
		return v, v, v, v
	}
	x := math.Abs(zeta)
	logTerm, q := tail(x)
	slope := q * (1 - q)
	skew := slope * (1 - 2*q) // of q's side
	if zeta >= 0 {
		return logTerm + x, 1 - q, slope, -skew
	}
	return logTerm, q, slope, skew
}

// prepare fills what a row's likelihood needs at the parameters: its count of trials
// and the part of ζ that no effect moves.
func (e *evaluator) prepare(r int, c *cell, row *rowState, ps params) {
	row.fixed = e.problem.linear(r, ps.beta) + c.shift
	row.y, row.n = c.y, c.n
	if ps.alpha > 0 {
		row.fixed += e.logAlpha
		row.n = c.y + c.n/ps.alpha
	}
	row.a1 = ps.lu*c.zu + ps.lc*c.zv
	row.a2 = ps.lv * c.zv
}
