package glmm

import (
	"math"
	"slices"
)

// point is a place on the likelihood surface: full parameter vector, the indices
// of those that are free, value and gradient there.
type point struct {
	psi      []float64
	free     []int
	value    float64
	gradient []float64
	// inverse approximates the inverse information of the free parameters.
	inverse    *square
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
	// A search whose value, with hopeFactor times what the quadratic model promises and
	// hopeMargin more, stays below the best found elsewhere is given up.
	hopeFactor = 4
	hopeMargin = 5
)

// search climbs from a start by a quasi-Newton method (BFGS, Nocedal & Wright 2006, Numerical
// Optimization, ch. 6) with backtracking over the free parameters, the others held. It
// gives up what cannot become as high as floor.
func (e *evaluator) search(start searchStart, free []int, floor float64) *point {
	at := &point{psi: slices.Clone(start.psi), free: free, gradient: make([]float64, len(start.psi)), inverse: start.inverse}
	fresh := at.inverse == nil
	scores := fresh && len(e.problem.groups) >= scoreGroups // stand in for the information
	e.collectScores(scores)
	defer e.collectScores(false)
	at.value = e.evaluate(at.psi, at.gradient)
	if math.IsNaN(at.value) {
		return at
	}
	if scores {
		at.inverse = e.scoreInverse(free)
		fresh = at.inverse == nil
	}
	if at.inverse == nil {
		at.inverse = invertBounded(e.information(at, false))
	}
	trial := &point{psi: make([]float64, len(at.psi)), gradient: make([]float64, len(at.psi))}
	n := len(free)
	direction, move, fall := make([]float64, n), make([]float64, n), make([]float64, n)
	for at.iterations < maxIterations {
		decrement := at.direction(direction)
		if decrement < e.tolerance {
			at.converged = true
			return at
		}
		if at.iterations > 0 && at.value+hopeFactor*decrement/2+hopeMargin < floor {
			return at
		}
		scale := 1.0
		for _, d := range direction {
			scale = min(scale, longestStep/math.Abs(d))
		}
		taken := e.backtrack(at, trial, direction, scale, decrement)
		if taken == 0 {
			if decrement < 1e-8 {
				at.converged = true // what is left is rounding error; polishing decides
				return at
			}
			if fresh {
				return at
			}
			fresh, scores = true, false
			e.collectScores(false)
			at.inverse = invertBounded(e.information(at, false))
			continue
		}
		fresh = false
		at.iterations++
		for i, k := range free {
			move[i] = trial.psi[k] - at.psi[k]
			fall[i] = at.gradient[k] - trial.gradient[k]
		}
		inverse := e.scoreInverse(free)
		// The products vanish with an SD, the information does not: near 0 their inverse
		// asks for steps far too long, and the search would creep.
		misled := scores && (inverse == nil || taken < 1)
		switch {
		case misled:
			scores = false
			e.collectScores(false)
		case scores:
			at.inverse = inverse
			scores = decrement > scoresUntil
			e.collectScores(scores)
		default:
			at.update(move, fall, direction)
		}
		at.psi, trial.psi = trial.psi, at.psi
		at.gradient, trial.gradient = trial.gradient, at.gradient
		at.value = trial.value
		if misled {
			at.inverse = invertBounded(e.information(at, false))
		}
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
			direction[i] += at.inverse.at(i, j) * at.gradient[k]
		}
		decrement += direction[i] * at.gradient[at.free[i]]
	}
	return decrement
}

// backtrack moves trial along direction until the value has risen enough (Armijo's
// condition, with slack for rounding), and returns what part of it it moved; 0: it did not rise.
func (e *evaluator) backtrack(at, trial *point, direction []float64, scale, decrement float64) (taken float64) {
	for range 30 {
		copy(trial.psi, at.psi)
		for i, k := range at.free {
			trial.psi[k] += scale * direction[i]
		}
		trial.value = e.evaluate(trial.psi, trial.gradient)
		if trial.value >= at.value+1e-4*scale*decrement-1e-13*math.Abs(at.value) {
			return scale
		}
		shrink := .25
		if !math.IsNaN(trial.value) {
			// Minimum of the parabola through value and slope here and the value there.
			shrink = scale * decrement / (2 * (scale*decrement + at.value - trial.value))
		}
		scale *= min(.5, max(.1, shrink))
	}
	return 0
}

// update is the BFGS update of the inverse for a move by which the gradient fell; scratch
// is overwritten.
func (at *point) update(move, fall, scratch []float64) {
	v := at.inverse
	product := dot(move, fall)
	if product <= 1e-10*math.Sqrt(dot(move, move)*dot(fall, fall)) {
		// The surface bends upward here: stride on.
		v = newSquare(v.n)
		for i, x := range at.inverse.v {
			v.v[i] = 2 * x
		}
		at.inverse = v
		return
	}
	v.multiply(fall, scratch)
	factor := (1 + dot(fall, scratch)/product) / product
	next := newSquare(v.n)
	for i := range v.n {
		for j := range v.n {
			next.set(i, j, v.at(i, j)+factor*move[i]*move[j]-(move[i]*scratch[j]+scratch[i]*move[j])/product)
		}
	}
	at.inverse = next
}
