package glmm

import (
	"math"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// face is the model with some of its SDs free and the others held at 0.
type face struct {
	free   []int // indices of the free parameters
	starts []searchStart
	spare  []searchStart // tried if the first leave doubt
	found  *point        // the highest that the searches reached
}

// searchStart is where a search begins. inverse is an approximation of the inverse
// information of the free parameters; nil: none yet.
type searchStart struct {
	psi     []float64
	inverse *mat.SymDense
}

const (
	firstStartSD = .5
	otherStartSD = 1.5
	nearZero     = .15 // an SD below it earns a second start
	wideSD       = 3   // so does an SD above it
)

// faces are all choices of free SDs, those with fewer first, with their starts from the
// fixed-effects fit.
func (p *problem) faces(beta []float64) []face {
	all := p.freeParameters()
	terms := all[p.width:]
	list := make([]face, 0, 1<<len(terms))
	for size := range len(terms) + 1 {
		for set := range 1 << len(terms) {
			if bits.OnesCount(uint(set)) != size {
				continue
			}
			f := face{free: slices.Clone(all[:p.width])}
			for i, k := range terms {
				if set>>i&1 == 1 {
					f.free = append(f.free, k)
				}
			}
			f.starts = []searchStart{{psi: p.startAt(beta, firstStartSD, f.free)}}
			if size > 0 {
				f.spare = []searchStart{{psi: p.startAt(beta, otherStartSD, f.free)}}
			}
			list = append(list, f)
		}
	}
	return list
}

// startAt is the fixed-effects fit with every free SD such that the largest loading of its
// effect has the given spread, the other SDs at 0.
func (p *problem) startAt(beta []float64, sd float64, free []int) []float64 {
	psi := append(slices.Clone(beta), make([]float64, scales)...)
	for k, size := range p.largestLoadings() {
		if slices.Contains(free, p.width+k) {
			psi[p.width+k] = sd / size
		}
	}
	return psi
}

// startFromFound makes the point that was found, with a more exact likelihood, the first
// start. An SD near 0 starts some way off, because the exact likelihood may well have its
// maximum away from 0.
func (f *face) startFromFound(p *problem) {
	if !f.found.converged {
		return
	}
	start, size := searchStart{psi: slices.Clone(f.found.psi), inverse: f.found.inverse}, p.largestLoadings()
	for _, k := range f.free {
		if k >= p.width && math.Abs(start.psi[k])*size[k-p.width] < nearZero {
			start.psi[k], start.inverse = nearZero/size[k-p.width], nil
		}
	}
	f.starts, f.spare = []searchStart{start}, f.starts[:1]
}

// climb searches every face and returns the highest point; one that ran away counts with
// the height it had reached. Of points equally high the one with most SDs at 0 is taken:
// an interior search that ends there never quite reaches 0.
func (e *evaluator) climb(faces []face) *point {
	var best *point
	iterations := 0
	for i := range faces {
		f := &faces[i]
		f.found = e.highest(nil, f.free, f.starts)
		if e.doubtful(f.found) {
			f.found = e.highest(f.found, f.free, f.spare)
		}
		iterations += f.found.iterations
		best = e.higher(best, f.found)
	}
	best = e.leaveSaddle(best, &iterations)
	best.iterations = iterations
	return best
}

// highest searches from every start and returns the highest of the points reached and
// best, which may be nil.
func (e *evaluator) highest(best *point, free []int, starts []searchStart) *point {
	iterations := 0
	if best != nil {
		iterations = best.iterations
	}
	for _, s := range starts {
		found := e.search(s.psi, free, s.inverse)
		iterations += found.iterations
		best = e.higher(best, found)
	}
	best.iterations = iterations
	return best
}

// higher returns found if it is higher than best, or as high and, unlike best, a maximum.
func (e *evaluator) higher(best, found *point) *point {
	if best == nil || math.IsNaN(best.value) || found.value > best.value+e.tie(best) ||
		(!best.converged && !best.runaway && found.converged && found.value > best.value-e.tie(best)) {
		return found
	}
	return best
}

// leaveSaddle climbs on where the likelihood rises from an SD of 0.
func (e *evaluator) leaveSaddle(at *point, iterations *int) *point {
	w, size := e.problem.width, e.problem.largestLoadings()
	for _, k := range e.problem.freeParameters()[w:] {
		if slices.Contains(at.free, k) || !at.converged {
			continue
		}
		psi, gradient := slices.Clone(at.psi), make([]float64, len(at.psi))
		psi[k] = 1e-4 / size[k-w]
		if math.IsNaN(e.evaluate(psi, gradient)) || !(gradient[k] > 0) {
			continue
		}
		free := append(slices.Clone(at.free), k)
		slices.Sort(free)
		found := e.search(psi, free, nil)
		*iterations += found.iterations
		at = e.higher(at, found)
	}
	return at
}

// tie is the difference in log-likelihood below which two points count as equally
// high: far below anything statistical, above rounding error.
func (e *evaluator) tie(at *point) float64 { return 1e-8 + 1e-13*math.Abs(at.value) }

// doubtful reports whether another start is worth its cost: no maximum was reached, or a
// wide SD, where the surface may have another.
func (e *evaluator) doubtful(at *point) bool {
	if !at.converged {
		return true
	}
	for _, k := range at.free {
		if k >= e.problem.width && (math.Abs(at.psi[k]) > wideSD || math.Abs(at.psi[k]) < nearZero) {
			return true
		}
	}
	return false
}
