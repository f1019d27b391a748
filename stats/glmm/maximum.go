package glmm

import (
	"fmt"
	"math"
	"slices"
)

const maxSD = 10 // an estimate beyond is a runaway

// maximum is a polished maximum of the log-likelihood.
type maximum struct {
	*point
	evaluator   *evaluator
	covariance  *square // of the free parameters
	evaluations int
	singular    bool
}

// workspace holds the evaluators of a fit: a problem with other counts in the same rows
// can use it again.
type workspace struct{ laplace, exact *evaluator }

func newWorkspace(p *problem, points int) *workspace {
	w := &workspace{laplace: newEvaluator(p, 1)}
	w.exact = w.laplace
	if points > 1 {
		w.exact = newEvaluator(p, points)
		w.exact.b, w.exact.d = w.laplace.b, w.laplace.d // modes carry over
	}
	return w
}

// use turns the workspace to a problem and forgets what it knew.
func (w *workspace) use(p *problem) {
	for _, e := range []*evaluator{w.laplace, w.exact} {
		e.problem, e.count = p, 0
		clear(e.b)
		clear(e.d)
	}
}

// maximise finds the highest maximum with the given number of points per dimension, with
// the scale parameters in without held at 0.
func (p *problem) maximise(points int, without ...int) (*maximum, error) {
	return newWorkspace(p, points).maximise(without...)
}

func (w *workspace) maximise(without ...int) (*maximum, error) {
	best, err := w.highest(without...)
	if err != nil {
		return nil, err
	}
	iterations := best.iterations
	m, err := w.exact.polish(best)
	if err != nil {
		return nil, err
	}
	p := w.exact.problem
	if err := p.checkFinite(m.point); err != nil {
		return nil, err
	}
	m.iterations = iterations
	m.evaluations = w.exact.count
	if w.exact != w.laplace {
		m.evaluations += w.laplace.count
	}
	m.singular = len(m.free) < len(p.freeParameters())
	return m, nil
}

// highest is maximise up to polishing: every face is searched by the Laplace
// approximation first, whose cost is a fraction.
func (w *workspace) highest(without ...int) (*point, error) {
	p := w.laplace.problem
	start, err := p.fixedOnly()
	if err != nil {
		return nil, err
	}
	if found := w.nearby(start.psi, without); found != nil {
		return found, p.checkFinite(found)
	}
	faces := p.faces(start.psi, without...)
	faces[len(faces)-1].starts[0].inverse = start.inverse
	w.laplace.tolerance, w.laplace.modeTolerance, w.exact.modeTolerance = searchTolerance, roughMode, roughMode
	if w.exact != w.laplace {
		w.laplace.tolerance = roughTolerance
	}
	best := w.laplace.climb(faces)
	if w.exact != w.laplace {
		iterations := best.iterations
		for i := range faces {
			if faces[i].found != nil {
				faces[i].startFromFound(p)
			}
		}
		best = w.exact.climb(faces)
		best.iterations += iterations
	}
	return best, p.checkFinite(best)
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

// largestLoadings are the largest absolute loadings of the scale parameters.
func (p *problem) largestLoadings() [scales]float64 {
	size := [scales]float64{atOuting: 1, atDispersion: 1}
	for _, c := range p.rows {
		size[atPattern] = max(size[atPattern], math.Abs(c.zu))
		size[atPosition] = max(size[atPosition], math.Abs(c.zv))
	}
	size[atCorrelation] = size[atPosition]
	return size
}

// checkFinite refuses a point that is no estimate.
func (p *problem) checkFinite(at *point) error {
	if math.IsNaN(at.value) {
		return fmt.Errorf("%w: the log-likelihood could not be computed", ErrNotConverged)
	}
	size := p.largestLoadings()
	scale := at.psi[p.width:]
	for k, sd := range [3]float64{scale[atPattern], math.Hypot(scale[atPosition], scale[atCorrelation]), scale[atOuting]} {
		if math.Abs(sd)*size[k] > maxSD {
			return fmt.Errorf("%w: the %s effect spreads by more than %d on the scale of the link and still grows; %s", ErrRunaway, termNames[k], maxSD, p.runawayReason())
		}
	}
	if scale[atDispersion] > maxSD {
		return fmt.Errorf("%w: the dispersion of the counts grows beyond %d", ErrRunaway, maxSD*maxSD)
	}
	if p.maxLinear(at.psi) > maxLinear {
		return fmt.Errorf("%w: a fixed effect grows beyond %d on the scale of the link", ErrSeparation, maxLinear)
	}
	if !at.converged {
		return fmt.Errorf("%w: the search ended after %d iterations", ErrNotConverged, at.iterations)
	}
	return nil
}

func (p *problem) runawayReason() string {
	if p.family == Binomial {
		return "nearly all of each angler's (or outing's) fish took one pattern"
	}
	return "nearly all fish were caught by few anglers (or on few outings)"
}

// polish ends a search by Newton steps with the observed information until nothing
// is left to gain but rounding error, and inverts that information.
func (e *evaluator) polish(at *point) (*maximum, error) {
	e.modeTolerance = modeTolerance
	step := make([]float64, len(at.free))
	renew := true
	for range 20 {
		if renew {
			inverse, _, ok := e.information(at, true).inverse()
			if !ok {
				return nil, fmt.Errorf("%w: the log-likelihood is flat in some direction", ErrNotConverged)
			}
			at.inverse = inverse
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
