package glmm

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// point is a place on the likelihood surface: full parameter vector, the indices
// of those that are free, value and gradient there.
type point struct {
	psi      []float64
	free     []int
	value    float64
	gradient []float64
	// inverse approximates the inverse information of the free parameters.
	inverse    *mat.SymDense
	iterations int
	converged  bool
	runaway    bool
}

const (
	maxIterations = 200
	// The search ends when the decrement gᵀVg, twice the log-likelihood still to gain and
	// the square of the distance in standard errors, is below this.
	searchTolerance = 1e-13
	roughTolerance  = 1e-6 // for a start of another search
	longestStep     = 1.5  // of any parameter in one iteration
	runawaySD       = 30   // the search gives up beyond
)

// search climbs from start by a quasi-Newton method (BFGS, Nocedal & Wright 2006, Numerical
// Optimization, ch. 6) with backtracking over the free parameters, the others held.
// inverse is the first approximation of their inverse information; nil: from
// differences of the gradient.
func (e *evaluator) search(start []float64, free []int, inverse *mat.SymDense) *point {
	at := &point{psi: append([]float64(nil), start...), free: free, gradient: make([]float64, len(start))}
	at.value = e.evaluate(at.psi, at.gradient)
	if math.IsNaN(at.value) {
		return at
	}
	at.inverse = inverse
	fresh := inverse == nil
	if fresh {
		at.inverse = invertBounded(e.information(at, false))
	}
	trial := &point{psi: make([]float64, len(start)), gradient: make([]float64, len(start))}
	n := len(free)
	direction := make([]float64, n)
	for at.iterations < maxIterations {
		decrement := at.direction(direction)
		if decrement < e.tolerance {
			at.converged = true
			return at
		}
		scale := 1.0
		for _, d := range direction {
			scale = min(scale, longestStep/math.Abs(d))
		}
		if !e.backtrack(at, trial, direction, scale, decrement) {
			if decrement < 1e-8 {
				at.converged = true // what is left is rounding error; polishing decides
				return at
			}
			if fresh {
				return at
			}
			fresh = true
			at.inverse = invertBounded(e.information(at, false))
			continue
		}
		fresh = false
		at.iterations++
		at.update(trial)
		at.psi, trial.psi = trial.psi, at.psi
		at.gradient, trial.gradient = trial.gradient, at.gradient
		at.value = trial.value
		for _, sd := range at.psi[e.problem.width:] {
			if math.Abs(sd) > runawaySD {
				at.runaway = true
				return at
			}
		}
	}
	return at
}

// direction fills the quasi-Newton step and returns the decrement.
func (at *point) direction(direction []float64) (decrement float64) {
	for i := range direction {
		direction[i] = 0
		for j, k := range at.free {
			direction[i] += at.inverse.At(i, j) * at.gradient[k]
		}
		decrement += direction[i] * at.gradient[at.free[i]]
	}
	return decrement
}

// backtrack moves trial along direction until the value has risen enough (Armijo's
// condition, with slack for rounding).
func (e *evaluator) backtrack(at, trial *point, direction []float64, scale, decrement float64) bool {
	for range 30 {
		copy(trial.psi, at.psi)
		for i, k := range at.free {
			trial.psi[k] += scale * direction[i]
		}
		trial.value = e.evaluate(trial.psi, trial.gradient)
		if trial.value >= at.value+1e-4*scale*decrement-1e-13*math.Abs(at.value) {
			return true
		}
		shrink := .25
		if !math.IsNaN(trial.value) {
			// Minimum of the parabola through value and slope here and the value there.
			shrink = scale * decrement / (2 * (scale*decrement + at.value - trial.value))
		}
		scale *= min(.5, max(.1, shrink))
	}
	return false
}

// update is the BFGS update of the inverse for the move from at to trial.
func (at *point) update(trial *point) {
	n := len(at.free)
	s, y := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i, k := range at.free {
		s.SetVec(i, trial.psi[k]-at.psi[k])
		y.SetVec(i, at.gradient[k]-trial.gradient[k])
	}
	sy := mat.Dot(s, y)
	if sy <= 1e-10*mat.Norm(s, 2)*mat.Norm(y, 2) {
		at.inverse.ScaleSym(2, at.inverse) // the surface bends upward here: stride on
		return
	}
	var vy mat.VecDense
	vy.MulVec(at.inverse, y)
	at.inverse.SymRankOne(at.inverse, (1+mat.Dot(y, &vy)/sy)/sy, s)
	at.inverse.RankTwo(at.inverse, -1/sy, s, &vy)
}

// information is the negative Hessian of the log-likelihood in the free parameters,
// by differencing exact gradients: central (about eight digits) or forward.
func (e *evaluator) information(at *point, central bool) *mat.SymDense {
	n := len(at.free)
	full := mat.NewDense(n, n, nil)
	psi := append([]float64(nil), at.psi...)
	up, down := make([]float64, len(psi)), at.gradient
	if central {
		down = make([]float64, len(psi))
	}
	for i, k := range at.free {
		// A small part of the parameter's own standard error, where one is known.
		h := 1e-4
		if at.inverse != nil {
			h = 2e-4 * math.Sqrt(at.inverse.At(i, i))
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
			full.Set(i, j, (down[l]-up[l])/width)
		}
	}
	sym := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			sym.SetSym(i, j, (full.At(i, j)+full.At(j, i))/2)
		}
	}
	return sym
}

// invertBounded inverts an information matrix after replacing its eigenvalues by
// their absolute values, so that the step always climbs (saddle-free Newton).
func invertBounded(information *mat.SymDense) *mat.SymDense {
	n := information.SymmetricDim()
	var eigen mat.EigenSym
	inverse := mat.NewSymDense(n, nil)
	if !eigen.Factorize(information, true) {
		for i := range n {
			inverse.SetSym(i, i, 1)
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
		inverse.SymRankOne(inverse, 1/v, vectors.ColView(k))
	}
	return inverse
}
