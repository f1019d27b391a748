package glmm

import "math"

// evaluator computes the marginal log-likelihood of a problem and its gradient. It
// keeps the modes found last as starting points of the next evaluation, and all
// scratch space, so that an evaluation allocates nothing.
type evaluator struct {
	problem   *problem
	points    int // per dimension
	rule      rule
	tolerance float64   // of searches
	count     int       // evaluations so far
	b         []float64 // standardised u and v of each group, in pairs
	d         []float64 // standardised w of each subgroup
	// Scratch: of the current group, and of a column of quadrature points.
	rows          []rowState
	subs          []subState
	arrow         arrow
	pointValue    []float64
	pointResidual []float64 // row by row
}

func newEvaluator(p *problem, points int) *evaluator {
	e := &evaluator{problem: p, points: points, rule: newRule(points), tolerance: searchTolerance}
	mostRows, mostSubs := 0, 0
	for _, g := range p.groups {
		mostRows = max(mostRows, g.rows.to-g.rows.from)
		mostSubs = max(mostSubs, g.subs.to-g.subs.from)
	}
	e.b = make([]float64, 2*len(p.groups))
	e.d = make([]float64, len(p.subs))
	e.rows = make([]rowState, mostRows)
	e.subs = make([]subState, mostSubs)
	e.pointValue = make([]float64, points)
	e.pointResidual = make([]float64, points*mostRows)
	return e
}

// split names the parts of a full parameter vector: the fixed effects, then the signed
// SDs of u, v and w, of which those the model lacks stay 0.
func (e *evaluator) split(psi []float64) params {
	w := e.problem.width
	return params{psi[:w], psi[w], psi[w+1], psi[w+2]}
}

// evaluate returns the log-likelihood of single catches at psi and stores its
// gradient; NaN if a mode could not be found or a value is not finite.
func (e *evaluator) evaluate(psi, gradient []float64) float64 {
	e.count++
	ps := e.split(psi)
	clear(gradient)
	total := 0.0
	for g := range e.problem.groups {
		f, ok := e.findMode(g, ps)
		if !ok {
			// A start far off may be at fault: once more from the centre.
			e.recentre(g)
			if f, ok = e.findMode(g, ps); !ok {
				e.recentre(g)
				return math.NaN()
			}
		}
		if e.points == 1 {
			total += f - e.logDeterminant(g)/2
			e.laplaceGradient(g, ps, gradient)
		} else {
			total += f + e.quadrature(g, ps, gradient)
		}
	}
	if math.IsInf(total, 0) {
		return math.NaN()
	}
	for _, v := range gradient {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return math.NaN()
		}
	}
	return total
}

func (e *evaluator) recentre(g int) {
	e.b[2*g], e.b[2*g+1] = 0, 0
	subs := e.problem.groups[g].subs
	clear(e.d[subs.from:subs.to])
}

// laplaceGradient adds the derivative of f - ½·ln|H| of group g at its mode.
//
// H = I + Σ W·a·aᵀ depends on a parameter through W and the loadings a, and W through
// η directly and through the mode, whose own derivative is H⁻¹·∂(∇f). With
// q = aᵀH⁻¹a, s = -½·Σ skew·q·a and k = H⁻¹s, a row adds
//
//	(residual - ½·skew·q - W·aᵀk)·∂η + (residual·k - W·H⁻¹a)ᵀ·∂a
//
// where ∂η and ∂a hold the effects fixed.
func (e *evaluator) laplaceGradient(g int, ps params, gradient []float64) {
	grp := &e.problem.groups[g]
	h := &e.arrow
	e.invertSubgroups(g)
	// s in the space of (b1, b2, w's); those of the w's go where gradients were.
	s1, s2 := 0.0, 0.0
	for s := grp.subs.from; s < grp.subs.to; s++ {
		sub := &e.subs[s-grp.subs.from]
		sub.gradient = 0
		for r := e.problem.subs[s].from; r < e.problem.subs[s].to; r++ {
			row := &e.rows[r-grp.rows.from]
			row.curvature = -row.skew * e.linearVariance(row, sub, ps.lw) / 2
			s1 += row.curvature * row.a1
			s2 += row.curvature * row.a2
			sub.gradient += row.curvature * ps.lw
		}
	}
	k1, k2, _, _ := e.newtonStep(g, s1, s2)
	w := e.problem.width
	b1, b2 := e.b[2*g], e.b[2*g+1]
	for s := grp.subs.from; s < grp.subs.to; s++ {
		sub := &e.subs[s-grp.subs.from]
		for r := e.problem.subs[s].from; r < e.problem.subs[s].to; r++ {
			row, c := &e.rows[r-grp.rows.from], &e.problem.rows[r]
			coef := row.residual + row.curvature - row.weight*(row.a1*k1+row.a2*k2+ps.lw*sub.step)
			for j, x := range e.problem.x[r*w : (r+1)*w] {
				gradient[j] += coef * x
			}
			// H⁻¹a, the entries of b1, b2 and of this subgroup's w.
			v1 := h.i11*row.a1 + h.i12*row.a2 + sub.id1*ps.lw
			v2 := h.i12*row.a1 + h.i22*row.a2 + sub.id2*ps.lw
			gradient[w] += c.zu * (coef*b1 - row.weight*v1 + row.residual*k1)
			gradient[w+1] += c.zv * (coef*b2 - row.weight*v2 + row.residual*k2)
			if e.problem.vary.Outing() {
				vd := sub.id1*row.a1 + sub.id2*row.a2 + sub.idd*ps.lw
				gradient[w+2] += coef*e.d[s] - row.weight*vd + row.residual*sub.step
			}
		}
	}
}

// invertSubgroups fills the entries of H⁻¹ that concern each subgroup.
func (e *evaluator) invertSubgroups(g int) {
	h := &e.arrow
	grp := &e.problem.groups[g]
	subs := e.subs[:grp.subs.to-grp.subs.from]
	for i := range subs {
		s := &subs[i]
		q1, q2 := s.hd1/s.hdd, s.hd2/s.hdd
		s.id1 = -(h.i11*q1 + h.i12*q2)
		s.id2 = -(h.i12*q1 + h.i22*q2)
		s.idd = 1/s.hdd - q1*s.id1 - q2*s.id2
	}
}

// linearVariance is aᵀH⁻¹a of a row.
func (e *evaluator) linearVariance(row *rowState, sub *subState, lw float64) float64 {
	h := &e.arrow
	q := h.i11*row.a1*row.a1 + 2*h.i12*row.a1*row.a2 + h.i22*row.a2*row.a2
	return q + lw*(2*(sub.id1*row.a1+sub.id2*row.a2)+lw*sub.idd)
}
