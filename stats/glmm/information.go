package glmm

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// scoreGroups is how many groups it takes for the sum of products of their gradients to
// stand in for the information where a search begins (Berndt, Hall, Hall & Hausman
// 1974, Ann. Econ. Soc. Meas. 3:653): it costs no evaluation. With fewer its error is
// dear, and evaluations are cheap.
const scoreGroups = 50

// evaluateWithInformation fills value, gradient and inverse, the latter from the products of
// the groups' gradients.
func (e *evaluator) evaluateWithInformation(at *point) {
	n := len(at.psi)
	e.crossProducts = make([]float64, n*n)
	at.value = e.evaluate(at.psi, at.gradient)
	all := square{n, e.crossProducts}
	e.crossProducts = nil
	if inverse, _, ok := all.part(at.free).inverse(); ok {
		at.inverse = inverse
	}
}

// information is the negative Hessian of the log-likelihood in the free parameters,
// by differencing exact gradients: central (about eight digits) or forward.
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
