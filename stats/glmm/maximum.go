package glmm

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

const (
	maxSD        = 10  // an estimate beyond is a runaway
	nearZero     = .15 // an SD below it is compared with 0
	wideSD       = 3   // an SD above it earns a second start
	manyAnglers  = 100 // with more, one start from an inside point is enough
	firstStartSD = .5
	otherStartSD = 1.5
)

// maximum is a polished maximum of the log-likelihood.
type maximum struct {
	*point
	evaluator   *evaluator
	covariance  *mat.SymDense // of the free parameters
	evaluations int
	singular    bool
}

// maximise finds the maximum with the given number of points per dimension, by way
// of the Laplace approximation, whose cost is a fraction.
func (p *problem) maximise(points int) (*maximum, error) {
	beta, err := p.fixedOnly()
	if err != nil {
		return nil, err
	}
	e := newEvaluator(p, 1)
	if points > 1 {
		e.tolerance = roughTolerance
	}
	first, other := searchStart{psi: p.startAt(beta, firstStartSD)}, searchStart{psi: p.startAt(beta, otherStartSD)}
	best := e.climb([]searchStart{first, other}, len(p.groups) < manyAnglers)
	evaluations, iterations := e.count, best.iterations
	if points > 1 {
		coarse := e
		e = newEvaluator(p, points)
		copy(e.b, coarse.b)
		starts := []searchStart{first, other}
		if best.converged {
			starts = []searchStart{{best.psi, best.free, best.inverse}, first}
		}
		best = e.climb(starts, false)
		evaluations += e.count
		iterations += best.iterations
	}
	if err := p.checkFinite(best); err != nil {
		return nil, err
	}
	before := e.count
	m, err := e.polish(best)
	if err != nil {
		return nil, err
	}
	if err := p.checkFinite(m.point); err != nil {
		return nil, err
	}
	m.evaluations = evaluations + e.count - before
	m.iterations = iterations
	m.singular = len(m.free) < len(p.freeParameters())
	return m, nil
}

// searchStart is where a search begins. free and inverse may be nil: all parameters,
// and no approximation yet.
type searchStart struct {
	psi     []float64
	free    []int
	inverse *mat.SymDense
}

// freeParameters are the indices of the model's parameters in the full vector.
func (p *problem) freeParameters() []int {
	var free []int
	for j := range p.width + 1 {
		free = append(free, j)
	}
	if p.vary.Position() {
		free = append(free, p.width+1)
	}
	if p.vary.Outing() {
		free = append(free, p.width+2)
	}
	return free
}

// startAt is the fixed-effects fit with every SD such that the largest loading of its
// effect has the given spread.
func (p *problem) startAt(beta []float64, sd float64) []float64 {
	psi := append(slices.Clone(beta), 0, 0, 0)
	loadings := p.largestLoadings()
	for k, size := range loadings {
		if slices.Contains(p.freeParameters(), p.width+k) {
			psi[p.width+k] = sd / size
		}
	}
	return psi
}

// largestLoadings are the largest absolute loadings of u, v and w.
func (p *problem) largestLoadings() [3]float64 {
	size := [3]float64{0, 0, 1}
	for _, c := range p.rows {
		size[0] = max(size[0], math.Abs(c.zu))
		size[1] = max(size[1], math.Abs(c.zv))
	}
	return size
}

// climb searches from the first start, and from the others if thorough or if the first
// outcome leaves doubt: no convergence, an SD at 0 or a wide one. It returns the
// highest point; one that ran away counts with the height it had reached.
func (e *evaluator) climb(starts []searchStart, thorough bool) *point {
	var best *point
	iterations := 0
	for i, s := range starts {
		if i > 0 && !thorough && !e.doubtful(best) {
			break
		}
		if s.free == nil {
			s.free = e.problem.freeParameters()
		}
		found := e.search(s.psi, s.free, s.inverse)
		iterations += found.iterations
		found = e.dropZeros(found, &iterations)
		if best == nil || math.IsNaN(best.value) || found.value > best.value+e.tie(best) ||
			(!best.converged && !best.runaway && found.converged && found.value > best.value-e.tie(best)) {
			best = found
		}
	}
	best.iterations = iterations
	return best
}

// tie is the difference in log-likelihood below which two points count as equally
// high: far below anything statistical, above rounding error.
func (e *evaluator) tie(at *point) float64 { return 1e-8 + 1e-13*math.Abs(at.value) }

func (e *evaluator) doubtful(at *point) bool {
	if !at.converged || len(at.free) < len(e.problem.freeParameters()) {
		return true
	}
	for _, sd := range at.psi[e.problem.width:] {
		if math.Abs(sd) > wideSD {
			return true
		}
	}
	return false
}

// dropZeros compares each small SD, smallest first, with the fit that holds it at 0,
// and keeps that fit if it is as high.
func (e *evaluator) dropZeros(at *point, iterations *int) *point {
	tried := map[int]bool{}
	for !math.IsNaN(at.value) && !at.runaway {
		smallest := -1
		for i, k := range at.free {
			if k < e.problem.width || tried[k] || math.Abs(at.psi[k]) >= nearZero {
				continue
			}
			if smallest < 0 || math.Abs(at.psi[k]) < math.Abs(at.psi[at.free[smallest]]) {
				smallest = i
			}
		}
		if smallest < 0 {
			break
		}
		k := at.free[smallest]
		tried[k] = true
		psi := slices.Clone(at.psi)
		psi[k] = 0
		free := slices.Delete(slices.Clone(at.free), smallest, smallest+1)
		without := e.search(psi, free, at.inverseWithout(smallest))
		*iterations += without.iterations
		if without.converged && without.value >= at.value-e.tie(at) {
			at = without
		}
	}
	return at
}

// inverseWithout is the inverse information without free parameter i. At an SD of 0
// its cross terms vanish, so the rest is the inverse of the rest.
func (at *point) inverseWithout(i int) *mat.SymDense {
	n := at.inverse.SymmetricDim()
	var kept []int
	for k := range n {
		if k != i {
			kept = append(kept, k)
		}
	}
	rest := mat.NewSymDense(n-1, nil)
	for r, from := range kept {
		for c := range r + 1 {
			rest.SetSym(r, c, at.inverse.At(from, kept[c]))
		}
	}
	return rest
}

// checkFinite refuses a point that is no estimate.
func (p *problem) checkFinite(at *point) error {
	if math.IsNaN(at.value) {
		return fmt.Errorf("%w: the log-likelihood could not be computed", ErrNotConverged)
	}
	for k, size := range p.largestLoadings() {
		if sd := math.Abs(at.psi[p.width+k]) * size; sd > maxSD {
			return fmt.Errorf("%w: the %s effect spreads by more than %d in log odds and still grows; nearly all of each angler's (or outing's) fish took one pattern", ErrRunaway, []string{"pattern", "position", "outing"}[k], maxSD)
		}
	}
	if p.maxLinear(at.psi) > maxLinear {
		return fmt.Errorf("%w: a fixed effect grows beyond %d in log odds", ErrSeparation, maxLinear)
	}
	if !at.converged {
		return fmt.Errorf("%w: the search ended after %d iterations", ErrNotConverged, at.iterations)
	}
	return nil
}

// polish ends a search by Newton steps with the observed information until nothing
// is left to gain but rounding error, and inverts that information.
func (e *evaluator) polish(at *point) (*maximum, error) {
	var factor mat.Cholesky
	step := make([]float64, len(at.free))
	renew := true
	for range 20 {
		if renew {
			if !factor.Factorize(e.information(at, true)) {
				return nil, fmt.Errorf("%w: the log-likelihood is flat in some direction", ErrNotConverged)
			}
			at.inverse = mat.NewSymDense(len(at.free), nil)
			if err := factor.InverseTo(at.inverse); err != nil {
				return nil, fmt.Errorf("%w: the log-likelihood is flat in some direction", ErrNotConverged)
			}
		}
		decrement := at.direction(step)
		if decrement < 1e-20 {
			return &maximum{point: at, evaluator: e, covariance: at.inverse}, nil
		}
		next := &point{psi: slices.Clone(at.psi), free: at.free, inverse: at.inverse, gradient: make([]float64, len(at.gradient)), converged: true}
		for i, k := range at.free {
			next.psi[k] += step[i]
		}
		next.value = e.evaluate(next.psi, next.gradient)
		after := next.direction(step)
		if math.IsNaN(next.value) || after > decrement/4 {
			// Rounding error bounds the gain, or this is no maximum.
			if decrement < 1e-12 {
				return &maximum{point: at, evaluator: e, covariance: at.inverse}, nil
			}
			return nil, fmt.Errorf("%w: Newton steps do not settle (%.1e left)", ErrNotConverged, decrement)
		}
		renew = decrement > 1e-9
		at = next
	}
	return nil, fmt.Errorf("%w: Newton steps do not settle", ErrNotConverged)
}
