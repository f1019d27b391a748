package glmm

import (
	"math"
	"slices"
)

// With manyGroups groups or more, and every SD farClear of its standard errors or more from 0, the log-likelihood is all but
// quadratic around a maximum: what makes others, an SD that trades places with another or a single group with nearly all of the
// counts, is then far too small. No other place is searched there.
const (
	manyGroups = 200
	farClear   = 6
)

// settled reports whether no search elsewhere is worth its cost beside the maximum found; free is how many parameters may be
// free at all.
func (e *evaluator) settled(at *point, free int) bool {
	p := e.problem
	if len(p.groups) < manyGroups || !at.converged || at.inverse == nil || len(at.free) < free {
		return false
	}
	for i, k := range at.free {
		if k >= p.width && k != p.width+atCorrelation && !(math.Abs(at.psi[k]) >= farClear*math.Sqrt(at.inverse.at(i, i))) {
			return false
		}
	}
	return true
}

// Spread are SDs of the effects.
type Spread struct{ Pattern, Position, Outing float64 }

// nearby searches from the fixed-effects fit and the SDs near which the maximum is expected, and nowhere else; nil where that does
// not settle it, or nothing is expected.
func (w *workspace) nearby(beta []float64, without []int) *point {
	p := w.exact.problem
	if p.near == nil || len(p.groups) < manyGroups || p.correlated || len(without) > 0 {
		return nil
	}
	psi := append(slices.Clone(beta), make([]float64, scales)...)
	free := p.freeParameters()
	for k, sd := range [3]float64{atPattern: p.near.Pattern, atPosition: p.near.Position, atOuting: p.near.Outing} {
		if slices.Contains(free, p.width+k) {
			psi[p.width+k] = max(sd, nearZero)
		}
	}
	w.exact.tolerance, w.exact.modeTolerance = profileTolerance, roughMode
	if found := w.exact.search(searchStart{psi: psi}, free, math.Inf(-1)); w.exact.settled(found, len(free)) {
		return found
	}
	return nil
}
