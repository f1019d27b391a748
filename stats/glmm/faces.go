package glmm

import (
	"math"
	"math/bits"
	"slices"
)

// face is the model with some of its scale parameters free and the others held at 0. The
// likelihood can have several maxima, also one with an SD at 0 beside one inside (an
// angler with nearly all fish makes such), so every face is searched by itself.
type face struct {
	free   []int         // indices of the free parameters
	starts []searchStart // all are tried
	spare  []searchStart // tried if the first leave doubt
	found  *point        // the highest that the searches reached; nil: not searched
}

// searchStart is where a search begins. inverse is an approximation of the inverse
// information of the free parameters; nil: none yet.
type searchStart struct {
	psi     []float64
	inverse *square
}

const (
	firstStartSD = .5
	otherStartSD = 1.5
	unevenShare  = .2
	nearZero     = .15 // an SD below it earns a second start
	wideSD       = 3   // so does an SD above it
)

// faces are all choices of free scale parameters, those with most first. Correlated effects
// have both signs of the correlation among their starts, since there can be a maximum at
// each end, and the faces of a correlation of exactly ±1: u and v one effect. without lists
// scale parameters to hold at 0 throughout.
func (p *problem) faces(beta []float64, without ...int) []face {
	all := p.freeParameters()
	var terms []int
	for _, k := range all[p.width:] {
		if !slices.Contains(without, k-p.width) {
			terms = append(terms, k)
		}
	}
	var list []face
	for size := len(terms); size >= 0; size-- {
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
			if p.possible(f.free, nil) {
				f.starts = p.startsAt(beta, firstStartSD, f.free)
				if size > 0 {
					f.spare = append(p.startsAt(beta, otherStartSD, f.free), p.unevenStarts(f)...)
				}
				list = append(list, f)
			}
		}
	}
	return list
}

// possible refuses a correlation without its first effect, and two correlated effects
// held uncorrelated. An effect is there if it is free or, at psi (which may be nil), held
// away from 0.
func (p *problem) possible(free []int, psi []float64) bool {
	has := func(k int) bool {
		k += p.width
		return slices.Contains(free, k) || (psi != nil && psi[k] != 0)
	}
	if has(atCorrelation) {
		return has(atPattern)
	}
	return !(p.correlated && has(atPattern) && has(atPosition))
}

// startsAt is the fixed-effects fit with every free SD such that the largest loading of its
// effect has the given spread, the other SDs at 0, and correlations of both signs.
func (p *problem) startsAt(beta []float64, sd float64, free []int) []searchStart {
	has := func(k int) bool { return slices.Contains(free, p.width+k) }
	psi := append(slices.Clone(beta), make([]float64, scales)...)
	size := p.largestLoadings()
	for _, k := range free[p.width:] {
		psi[k] = sd / size[k-p.width]
	}
	if !has(atCorrelation) {
		return []searchStart{{psi: psi}}
	}
	if has(atPosition) {
		psi[p.width+atPosition] *= math.Sqrt(.5)
		psi[p.width+atCorrelation] *= math.Sqrt(.5)
	}
	other := slices.Clone(psi)
	other[p.width+atCorrelation] *= -1
	return []searchStart{{psi: psi}, {psi: other}}
}

// unevenStarts have nearly all variation between anglers, or nearly all between outings: the
// two stand in for each other, and each can have a maximum.
func (p *problem) unevenStarts(f face) []searchStart {
	w := p.width + atOuting
	if len(f.free) < p.width+2 || !slices.Contains(f.free, w) {
		return nil
	}
	anglers, outings := searchStart{psi: slices.Clone(f.starts[0].psi)}, searchStart{psi: slices.Clone(f.starts[0].psi)}
	for _, k := range f.free[p.width:] {
		if k == w {
			anglers.psi[k] *= unevenShare
		} else {
			outings.psi[k] *= unevenShare
		}
	}
	return []searchStart{anglers, outings}
}

// startFromFound makes the point that was found, with a more exact likelihood, the first
// start. An SD near 0 starts some way off, because the exact likelihood may well have its
// maximum away from 0.
func (f *face) startFromFound(p *problem) {
	start, size := searchStart{psi: slices.Clone(f.found.psi), inverse: f.found.inverse}, p.largestLoadings()
	if f.found.runaway || math.IsNaN(f.found.value) {
		return
	}
	for _, k := range f.free[p.width:] {
		if k != p.width+atCorrelation && math.Abs(start.psi[k])*size[k-p.width] < nearZero {
			start.psi[k], start.inverse = nearZero/size[k-p.width], nil
		}
	}
	f.starts, f.spare = []searchStart{start}, f.starts
}

// startFromWider puts the point found on a face with more free parameters first among
// the starts, and keeps the others for the case of doubt.
func (f *face) startFromWider(wide *point, p *problem) {
	if !wide.converged || f.free[len(f.free)-1] < p.width {
		return
	}
	if slices.Contains(f.free, p.width+atCorrelation) {
		return // one effect instead of two is not near the two
	}
	start := searchStart{psi: slices.Clone(wide.psi)}
	var keep []int
	for i, k := range wide.free {
		if slices.Contains(f.free, k) {
			keep = append(keep, i)
			continue
		}
		start.psi[k] = 0
	}
	if information, _, ok := wide.inverse.inverse(); ok {
		start.inverse, _, _ = information.part(keep).inverse()
	}
	f.starts, f.spare = []searchStart{start}, f.starts
}

// climb searches every face, the widest alone where that settles it, and returns the highest point; one that ran away counts
// with the height it had reached. Of points equally high the one with most parameters at 0 is
// taken: an interior search that ends there never quite reaches 0.
func (e *evaluator) climb(faces []face) *point {
	floor := math.Inf(-1)
	for i := range faces {
		f := &faces[i]
		if i > 0 && f.found == nil {
			f.startFromWider(faces[0].found, e.problem)
		}
		f.found = e.highest(nil, f.free, f.starts, floor)
		if !(f.found.value+hopeMargin < floor) && e.doubtful(f.found) {
			f.found = e.highest(f.found, f.free, f.spare, floor)
		}
		if f.found.value > floor {
			floor = f.found.value
		}
		if i == 0 && e.settled(f.found, len(f.free)) {
			faces = faces[:1]
			break
		}
	}
	var best *point
	iterations := 0
	for i := len(faces) - 1; i >= 0; i-- {
		iterations += faces[i].found.iterations
		best = e.higher(best, faces[i].found)
	}
	best = e.leaveSaddle(best, faces[0].free, &iterations)
	best.iterations = iterations
	return best
}

// highest searches from every start and returns the highest of the points reached and
// best, which may be nil.
func (e *evaluator) highest(best *point, free []int, starts []searchStart, floor float64) *point {
	iterations := 0
	if best != nil {
		iterations = best.iterations
	}
	for _, s := range starts {
		found := e.search(s, free, floor)
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

// leaveSaddle climbs on where the likelihood rises from an SD of 0; widest are the
// parameters that may be free.
func (e *evaluator) leaveSaddle(at *point, widest []int, iterations *int) *point {
	for _, k := range widest {
		if k < e.problem.width || slices.Contains(at.free, k) || !at.converged {
			continue
		}
		start, free := e.problem.awayFromZero(at, k)
		gradient := make([]float64, len(start))
		if free == nil || math.IsNaN(e.evaluate(start, gradient)) {
			continue
		}
		switch step := start[k]; {
		case step == 0 && gradient[k] != 0: // a correlation: 0 is no stationary point of it
		case gradient[k] > 0:
		case len(free) > len(at.free)+1: // with a correlation the sign of the step matters
			start[k] = -step
		default:
			continue
		}
		found := e.search(searchStart{psi: start}, free, math.Inf(-1))
		*iterations += found.iterations
		at = e.higher(at, found)
	}
	return at
}

// awayFromZero is a point a little way along scale parameter k from one where it is held at
// 0, and what is then free; nil if k cannot be free there.
func (p *problem) awayFromZero(at *point, k int) (psi []float64, free []int) {
	psi, free = slices.Clone(at.psi), append(slices.Clone(at.free), k)
	c, v := p.width+atCorrelation, p.width+atPosition
	if k != c {
		psi[k] = 1e-4 / p.largestLoadings()[k-p.width]
	}
	if !p.possible(free, psi) {
		if k == c {
			return psi, nil
		}
		// u beside v, or v beside u, comes with its correlation. That is felt at once if part
		// of v goes by u's standardised effect.
		free = append(free, c)
		if k != v {
			psi[c], psi[v] = psi[v]*math.Sqrt(.5), psi[v]*math.Sqrt(.5)
		}
	}
	slices.Sort(free)
	return psi, free
}

// tie is the difference in log-likelihood below which two points count as equally
// high: far below anything statistical, above rounding error.
func (e *evaluator) tie(at *point) float64 { return 1e-8 + 1e-13*math.Abs(at.value) }

// doubtful reports whether another start is worth its cost: no maximum was reached, or a
// wide SD or one near 0, where the surface may have another.
func (e *evaluator) doubtful(at *point) bool {
	if !at.converged {
		return true
	}
	for _, k := range at.free {
		if k >= e.problem.width && k != e.problem.width+atCorrelation && (math.Abs(at.psi[k]) > wideSD || math.Abs(at.psi[k]) < nearZero) {
			return true
		}
	}
	return false
}
