package glmm

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// scoreGroups is how many groups it takes for the sum of products of their gradients to
// stand in for the information while a search is far off, its decrement above scoresUntil
// (Berndt, Hall, Hall & Hausman 1974, Ann. Econ. Soc. Meas. 3:653): it costs no
// evaluation. With fewer its error is dear, and evaluations are cheap. A step along it
// that must be shortened ends its use.
const (
	scoreGroups = 50
	scoresUntil = .1
)

// collectScores makes evaluations collect the products of the groups' gradients, or not.
func (e *evaluator) collectScores(on bool) {
	n := e.problem.width + scales
	switch {
	case !on:
		e.crossProducts = nil
	case e.crossProducts == nil:
		e.crossProducts = make([]float64, n*n)
	}
}

// scoreInverse inverts the products the last evaluation collected; nil if it collected
// none or they are singular.
func (e *evaluator) scoreInverse(free []int) *square {
	if e.crossProducts == nil {
		return nil
	}
	all := square{e.problem.width + scales, e.crossProducts}
	inverse, _, _ := all.part(free).inverse()
	return inverse
}

// information is the negative Hessian of the log-likelihood in the free parameters,
// by differencing exact gradients: central (about eight digits) or forward. A fixed effect moves the groups alone in whose rows its
// column stands, so that the levels of a factor that no group has two of cost as much as one column.
func (e *evaluator) information(at *point, central bool) *square {
	n := len(at.free)
	full := newSquare(n)
	psi := slices.Clone(at.psi)
	up, down := make([]float64, len(psi)), at.gradient
	if central {
		down = make([]float64, len(psi))
	}
	for i, k := range at.free {
		// A small part of the parameter's own standard error, where one is known.
		h := 1e-4
		if at.inverse != nil {
			h = 2e-4 * math.Sqrt(at.inverse.at(i, i))
		}
		if e.part = nil; central && k < e.problem.width {
			e.part = e.problem.in[k]
		}
		psi[k] = at.psi[k] + h
		width := psi[k] - at.psi[k]
		e.evaluate(psi, up)
		if central {
			psi[k] = at.psi[k] - h
			width += at.psi[k] - psi[k]
			e.evaluate(psi, down)
		}
		psi[k] = at.psi[k]
		for j, l := range at.free {
			full.set(i, j, (down[l]-up[l])/width)
		}
	}
	e.part = nil
	for i := range n {
		for j := range i {
			mean := (full.at(i, j) + full.at(j, i)) / 2
			full.set(i, j, mean)
			full.set(j, i, mean)
		}
	}
	return full
}

// invertBounded inverts an information matrix, after replacing its eigenvalues by
// their absolute values if it is not positive definite, so that the step always climbs
// (saddle-free Newton).
func invertBounded(information *square) *square {
	if inverse, _, ok := information.inverse(); ok {
		return inverse
	}
	n := information.n
	var eigen mat.EigenSym
	inverse := newSquare(n)
	if !eigen.Factorize(mat.NewSymDense(n, information.v), true) {
		for i := range n {
			inverse.set(i, i, 1)
		}
		return inverse
	}
	values := eigen.Values(nil)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	largest := 0.0
	for _, v := range values {
		largest = max(largest, math.Abs(v))
	}
	for k, v := range values {
		v = max(math.Abs(v), 1e-8*largest, 1e-8)
		for i := range n {
			for j := range n {
				inverse.v[i*n+j] += vectors.At(i, k) * vectors.At(j, k) / v
			}
		}
	}
	return inverse
}
