package glmm

import (
	"fmt"
	"math"
	"slices"

	"evenrig/stats/num"
)

// Limits are two-sided likelihood-root limits of a parameter: the values at which
// twice the log-likelihood, maximised over all other parameters, lies below its maximum
// by the chi-square quantile of the level on one degree of freedom. A side on which the
// profile never falls so far has no limit: nil.
type Limits struct {
	Low, High *float64
}

// rootTolerance is how near the signed root of the deviance comes to its target; a limit
// then is good to about as many standard errors.
const rootTolerance = 1e-9

// profile is the log-likelihood as a function of one parameter, the others at their best.
type profile struct {
	e     *evaluator
	top   *point // the maximum
	k     int    // the parameter
	bound float64
	last  *point // the point asked for last, a start for the next
}

// target is the root of the chi-square quantile.
func target(level float64) (float64, error) {
	if !(level > 0 && level < 1) {
		return 0, fmt.Errorf("%w: level %v; accepted is above 0 and below 1", ErrInput, level)
	}
	return -num.NormalQuantile((1 - level) / 2), nil
}

// profileTheta returns the limits of θ.
func (f *inference) profileTheta(level float64) (Limits, error) {
	z, err := target(level)
	if err != nil {
		return Limits{}, err
	}
	p := &profile{e: f.fresh(), top: f.point, k: f.theta, bound: maxLinear}
	p.e.tolerance = profileTolerance
	se := math.Sqrt(f.covariance.at(f.theta, f.theta))
	var limits Limits
	if limits.Low, err = p.root(-1, z, z*se); err != nil {
		return Limits{}, err
	}
	limits.High, err = p.root(1, z, z*se)
	return limits, err
}

// scaleProfile is the profile of an SD, or of √dispersion, with the root to reach and the first step to try.
func (f *inference) scaleProfile(term Term, level float64) (p *profile, z, step float64, err error) {
	if z, err = target(level); err != nil {
		return nil, 0, 0, err
	}
	k, err := f.scale(term)
	if err != nil {
		return nil, 0, 0, err
	}
	if k == atPosition && f.evaluator.problem.correlated {
		// Written the other way round v is the one with an effect of its own.
		f, k = f.swapped(), atPattern
	}
	problem := f.evaluator.problem
	size := problem.largestLoadings()[k]
	p = &profile{e: f.fresh(), top: positive(f.point, problem.width+k), k: problem.width + k, bound: runawaySD / size}
	p.e.tolerance = profileTolerance
	step = p.top.psi[p.k]/2 + firstStartSD/2/size
	if i := slices.Index(p.top.free, p.k); p.e.settled(p.top, len(problem.freeParameters())) {
		step = z * math.Sqrt(p.top.inverse.at(i, i))
	}
	return p, z, step, nil
}

// upperScale returns the upper limit of profileScale.
func (f *inference) upperScale(term Term, level float64) (*float64, error) {
	p, z, step, err := f.scaleProfile(term, level)
	if err != nil {
		return nil, err
	}
	return p.root(1, z, step)
}

// profileScale returns the limits of an SD, or of √dispersion.
func (f *inference) profileScale(term Term, level float64) (limits Limits, err error) {
	p, z, step, err := f.scaleProfile(term, level)
	if err != nil {
		return Limits{}, err
	}
	if limits.High, err = p.root(1, z, step); err != nil {
		return Limits{}, err
	}
	zero, estimate := 0.0, p.top.psi[p.k]
	limits.Low = &zero
	if estimate == 0 {
		return limits, nil
	}
	p.last = nil
	at0, err := p.at(0)
	if err != nil {
		return Limits{}, err
	}
	if p.deviance(p.highest(at0, 0)) > z*z {
		p.last, p.bound = nil, estimate
		limits.Low, err = p.root(-1, z, min(step, estimate/2))
	}
	return limits, err
}

// profileTolerance ends the searches of a profile: the log-likelihood is then as good
// as exact, and the parameters to a hundred-thousandth of a standard error.
const profileTolerance = 1e-11

// positive is the point with the sign of a scale parameter, which is free, turned up.
func positive(at *point, k int) *point {
	if at.psi[k] >= 0 {
		return at
	}
	turned := *at
	turned.psi = slices.Clone(at.psi)
	turned.inverse = nil
	turned.psi[k] *= -1
	w := len(at.psi) - scales
	if k == w+atPattern {
		turned.psi[w+atCorrelation] *= -1
	}
	return &turned
}

// at maximises over the other parameters with the profiled one at x, from the point asked
// for before, and climbs on where an SD of 0 is a saddle.
func (p *profile) at(x float64) (*point, error) {
	from := p.last
	if from == nil {
		from = p.top
	}
	w := p.e.problem.width
	var free, keep, widest []int
	fixed := func(k int) bool {
		// Without u of its own v's loading on it says nothing.
		return k == p.k || (x == 0 && p.k == w+atPattern && k == w+atCorrelation)
	}
	for _, k := range p.e.problem.freeParameters() {
		if !fixed(k) {
			widest = append(widest, k)
		}
	}
	for i, k := range from.free {
		if !fixed(k) {
			free, keep = append(free, k), append(keep, i)
		}
	}
	start := searchStart{psi: slices.Clone(from.psi)}
	p.lead(start.psi, free, x)
	if x == 0 && p.k == w+atPattern {
		v, c := &start.psi[w+atPosition], &start.psi[w+atCorrelation]
		if *c != 0 && !slices.Contains(free, w+atPosition) {
			free = append(free, w+atPosition)
			slices.Sort(free)
			keep = nil
		}
		*v, *c = math.Hypot(*v, *c), 0
	}
	if from.inverse != nil && len(keep) == len(free) {
		if information, _, ok := from.inverse.inverse(); ok {
			start.inverse, _, _ = information.part(keep).inverse()
		}
	}
	found := p.e.search(start, free, math.Inf(-1))
	iterations := 0
	found = p.e.leaveSaddle(found, widest, &iterations)
	if math.IsNaN(found.value) || !(found.converged || found.runaway) {
		return nil, fmt.Errorf("%w: the profile at %.6g", ErrNotConverged, x)
	}
	p.last = found
	return found, nil
}

// lead moves the profiled parameter to x and the free ones along with it, as the surface around the maximum tells: by their covariance
// with it. An SD that would so come near 0 or beyond, where the surface bends, stays.
func (p *profile) lead(psi []float64, free []int, x float64) {
	move, i := x-psi[p.k], slices.Index(p.top.free, p.k)
	psi[p.k] = x
	if i < 0 || p.top.inverse == nil {
		return
	}
	for j, k := range p.top.free {
		to := psi[k] + move*p.top.inverse.at(i, j)/p.top.inverse.at(i, i)
		if slices.Contains(free, k) && (k < p.e.problem.width || k == p.e.problem.width+atCorrelation || to/psi[k] > .5) {
			psi[k] = to
		}
	}
}

// highest is the higher of at, a point of the profile at x, and of what is found elsewhere, where that is worth looking.
func (p *profile) highest(at *point, x float64) *point {
	if at.converged && p.e.settled(p.top, len(p.e.problem.freeParameters())) {
		return at
	}
	return p.e.higher(at, p.everywhere(x))
}

// everywhere is at from scratch: the highest of all faces of the other parameters. The
// maximum that a profile follows need not stay the highest one.
func (p *profile) everywhere(x float64) *point {
	problem := p.e.problem
	w := problem.width
	var without []int
	if x == 0 && p.k >= w {
		if without = append(without, p.k-w); p.k == w+atPattern {
			without = append(without, atCorrelation)
		}
	}
	var faces []face
	for _, f := range problem.faces(p.top.psi[:w], without...) {
		if i := slices.Index(f.free, p.k); i >= 0 {
			f.free = slices.Delete(f.free, i, i+1)
		} else if without == nil {
			continue
		}
		for _, starts := range [][]searchStart{f.starts, f.spare} {
			for _, s := range starts {
				s.psi[p.k] = x
			}
		}
		faces = append(faces, f)
	}
	return p.e.climb(faces)
}

func (p *profile) deviance(at *point) float64 { return max(0, 2*(p.top.value-at.value)) }

// root finds where the root of the deviance reaches z on one side of the maximum, by
// Newton's method, with the slope from the gradient at the profile's points, inside a
// bracket. nil: it does not within the bound.
func (p *profile) root(side, z, step float64) (*float64, error) {
	p.last = nil
	estimate := p.top.psi[p.k]
	near, far := 0.0, math.Inf(1) // distances from the estimate with a root below z, and above
	limit := p.bound - side*estimate
	if side < 0 && p.k >= p.e.problem.width {
		limit = estimate // an SD goes down to 0
	}
	distance := min(step, limit)
	for range 100 {
		x := estimate + side*distance
		at, err := p.at(x)
		if err != nil {
			return nil, err
		}
		root := math.Sqrt(p.deviance(at))
		if math.Abs(root-z) < rootTolerance || far-near < 1e-12*(1+math.Abs(x)) {
			best := p.highest(at, x)
			if best == at {
				return &x, nil
			}
			// The limit lies further out: follow the higher maximum.
			at, p.last, far = best, best, math.Inf(1)
			root = math.Sqrt(p.deviance(at))
		}
		if root < z {
			if distance >= limit {
				return nil, nil
			}
			near = distance
		} else {
			far = distance
		}
		next := distance + (z-root)*root/(-side*at.gradient[p.k])
		switch {
		case next > near && next < far && next < 4*distance:
		case math.IsInf(far, 1):
			next = 2 * distance
		default:
			next = (near + far) / 2
		}
		distance = min(next, limit)
	}
	return nil, fmt.Errorf("%w: a limit of the profile", ErrNotConverged)
}

// swapped is the same fit with u and v in each other's place, for correlated effects.
func (f *inference) swapped() *inference {
	p := *f.evaluator.problem
	p.rows = slices.Clone(p.rows)
	for i := range p.rows {
		p.rows[i].zu, p.rows[i].zv = p.rows[i].zv, p.rows[i].zu
	}
	w := p.width
	at := *f.point
	at.psi, at.inverse = slices.Clone(f.psi), nil
	u, v, c := f.psi[w+atPattern], f.psi[w+atPosition], f.psi[w+atCorrelation]
	sd := math.Hypot(v, c)
	at.psi[w+atPattern], at.psi[w+atPosition], at.psi[w+atCorrelation] = sd, math.Abs(u), 0
	if sd > 0 {
		at.psi[w+atPosition], at.psi[w+atCorrelation] = math.Abs(u*v)/sd, u*c/sd
	}
	at.free = nil
	for k := range w {
		at.free = append(at.free, k)
	}
	for _, k := range []int{atPattern, atPosition, atOuting, atCorrelation, atDispersion} {
		if at.psi[w+k] != 0 {
			at.free = append(at.free, w+k)
		}
	}
	m := *f.maximum
	m.point = &at
	m.evaluator = newEvaluator(&p, f.evaluator.points)
	return &inference{&m, f.theta, f.terms}
}
