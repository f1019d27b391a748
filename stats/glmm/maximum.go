package glmm

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

const maxSD = 10 // an estimate beyond is a runaway

// maximum is a polished maximum of the log-likelihood.
type maximum struct {
	*point
	evaluator   *evaluator
	covariance  *mat.SymDense // of the free parameters
	evaluations int
	singular    bool
}

// maximise finds the highest maximum with the given number of points per dimension. The
// likelihood can have several, also one with an SD at 0 beside one inside (an angler with
// nearly all fish makes such), so every choice of SDs held at 0, a face, is searched by
// itself: first by the Laplace approximation, whose cost is a fraction.
func (p *problem) maximise(points int) (*maximum, error) {
	beta, err := p.fixedOnly()
	if err != nil {
		return nil, err
	}
	faces := p.faces(beta)
	e := newEvaluator(p, 1)
	if points > 1 {
		e.tolerance = roughTolerance
	}
	best := e.climb(faces)
	evaluations, iterations := e.count, best.iterations
	if points > 1 {
		modes := e.b
		e = newEvaluator(p, points)
		copy(e.b, modes)
		for i := range faces {
			faces[i].startFromFound(p)
		}
		best = e.climb(faces)
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

// freeParameters are the indices of the model's parameters in the full vector, in its order.
func (p *problem) freeParameters() []int {
	var free []int
	for j := range p.width {
		free = append(free, j)
	}
	for k, has := range [scales]bool{
		atPattern: true, atPosition: p.vary.Position(), atOuting: p.vary.Outing(),
		atCorrelation: p.correlated, atDispersion: p.family == NegativeBinomial,
	} {
		if has {
			free = append(free, p.width+k)
		}
	}
	return free
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
