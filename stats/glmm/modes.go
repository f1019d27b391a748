package glmm

import "math"

// params are the parameters of one evaluation: fixed effects, the signed standard
// deviations of u, v, w (that of v given u if the two are correlated), the loading of v on
// u's standardised effect, and the dispersion with its derivative in δ.
type params struct {
	beta       []float64
	lu, lv, lw float64
	lc         float64
	alpha      float64
	deltaSlope float64
}

// rowState is what the likelihood keeps of one row of the current group.
type rowState struct {
	fixed    float64 // part of ζ that no effect moves
	y, n     float64
	a1, a2   float64 // loadings on b (that on a standardised w is lw)
	eta      float64 // ζ at the current effects
	k        float64 // K(ζ)
	residual float64 // y - nK'
	weight   float64 // W = nK''
	skew     float64 // dW/dζ
	odds     float64 // e^ζ, with a dispersion
	// Quadrature: ζ at the middle of a column; means over the points of the residual,
	// of residual times t and times τ, and of the slope in the dispersion; and the
	// same over τ at the current b.
	base                          float64
	mean, meanT1, meanT2, meanTau float64
	meanSlope                     float64
	now, nowTau, nowSlope         float64
	ofWeight                      float64 // derivative of the log-likelihood with respect to W through H
	curvature                     float64 // and through that with respect to ζ
}

// subState is the part of the arrow-shaped H of one subgroup, and what quadrature
// keeps of it.
type subState struct {
	hdd, hd1, hd2 float64 // H for w, and between w and b1, b2
	gradient      float64
	step          float64
	// How the points of w follow b, and means over the points of τ, τ·t and τ², and
	// over τ at the current b.
	slope1, slope2, scale   float64
	tau, tau1, tau2, tauTau float64
	now, nowTau             float64
	ofSlope1, ofSlope2      float64 // derivatives of the log-likelihood
	ofScale                 float64
	ofHd1, ofHd2, ofHdd     float64
}

// arrow is the 2×2 corner of H for (b1, b2), the Schur complement S of the subgroups in
// it, and the inverse of S, which is that corner of H⁻¹.
type arrow struct {
	h11, h12, h22 float64
	s11, s12, s22 float64
	i11, i12, i22 float64
	det           float64 // of S
}

const (
	maxModeSteps   = 100
	modeTolerance  = 1e-11 // of the Newton decrement before the last step; quadratic convergence squares it
	carefulStep    = .5    // a step that moves no η by more needs no check of f
	maxStepHalving = 60
)

// findMode moves the standardised effects of group g to the mode of f, where f is
// the log-likelihood of its rows minus half the squared length of the effects,
// starting from where they are. It leaves row states, subgroup states and H at
// the mode and returns f there. f is concave, so Newton's method with halving
// converges from anywhere; false: it did not within maxModeSteps.
func (e *evaluator) findMode(g int, ps params) (f float64, ok bool) {
	grp := &e.problem.groups[g]
	rows := e.rows[:grp.rows.to-grp.rows.from]
	for i := range rows {
		r := grp.rows.from + i
		e.prepare(r, &e.problem.rows[r], &rows[i], ps)
	}
	for range maxModeSteps {
		g1, g2 := e.expand(g, ps)
		d1, d2, decrement, ok := e.newtonStep(g, g1, g2)
		if !ok {
			return math.NaN(), false
		}
		last := decrement < modeTolerance
		if e.largestMove(g, ps, d1, d2) <= carefulStep {
			e.move(g, 1, d1, d2)
		} else if !e.moveCarefully(g, ps, d1, d2) {
			return math.NaN(), false
		}
		if last {
			e.expand(g, ps)
			if _, _, _, ok := e.newtonStep(g, 0, 0); !ok {
				return math.NaN(), false
			}
			return e.logIntegrand(g, ps), true
		}
	}
	return math.NaN(), false
}

// expand fills row states, subgroup gradients and H at the current effects and
// returns the gradient of f in b1 and b2.
func (e *evaluator) expand(g int, ps params) (g1, g2 float64) {
	grp := &e.problem.groups[g]
	b1, b2 := e.b[2*g], e.b[2*g+1]
	g1, g2 = -b1, -b2
	h := arrow{h11: 1, h22: 1}
	for s := grp.subs.from; s < grp.subs.to; s++ {
		sub := &e.subs[s-grp.subs.from]
		d := e.d[s]
		*sub = subState{hdd: 1, gradient: -d}
		for r := e.problem.subs[s].from; r < e.problem.subs[s].to; r++ {
			row := &e.rows[r-grp.rows.from]
			row.eta = row.fixed + row.a1*b1 + row.a2*b2 + ps.lw*d
			k, mean, slope, skew := e.derivatives(row.eta)
			row.k = k
			row.residual = row.y - row.n*mean
			row.weight = row.n * slope
			row.skew = row.n * skew
			g1 += row.residual * row.a1
			g2 += row.residual * row.a2
			w1, w2 := row.weight*row.a1, row.weight*row.a2
			h.h11 += w1 * row.a1
			h.h12 += w1 * row.a2
			h.h22 += w2 * row.a2
			if ps.lw != 0 {
				sub.gradient += ps.lw * row.residual
				sub.hdd += ps.lw * ps.lw * row.weight
				sub.hd1 += ps.lw * w1
				sub.hd2 += ps.lw * w2
			}
		}
	}
	e.arrow = h
	return g1, g2
}

// newtonStep solves H·step = gradient by eliminating the subgroups, so its cost is
// linear in them. The steps of the subgroups stay in their states; the decrement
// is gradient·step.
func (e *evaluator) newtonStep(g int, g1, g2 float64) (d1, d2, decrement float64, ok bool) {
	h := &e.arrow
	grp := &e.problem.groups[g]
	subs := e.subs[:grp.subs.to-grp.subs.from]
	s11, s12, s22 := h.h11, h.h12, h.h22
	r1, r2 := g1, g2
	for i := range subs {
		s := &subs[i]
		if s.hdd == 1 {
			continue
		}
		q1, q2 := s.hd1/s.hdd, s.hd2/s.hdd
		s11 -= q1 * s.hd1
		s12 -= q1 * s.hd2
		s22 -= q2 * s.hd2
		r1 -= q1 * s.gradient
		r2 -= q2 * s.gradient
	}
	det := s11*s22 - s12*s12
	if !(det > 0) || math.IsInf(det, 1) {
		return 0, 0, 0, false
	}
	h.s11, h.s12, h.s22, h.det = s11, s12, s22, det
	h.i11, h.i12, h.i22 = s22/det, -s12/det, s11/det
	d1, d2 = h.i11*r1+h.i12*r2, h.i12*r1+h.i22*r2
	decrement = g1*d1 + g2*d2
	for i := range subs {
		s := &subs[i]
		s.step = (s.gradient - s.hd1*d1 - s.hd2*d2) / s.hdd
		decrement += s.gradient * s.step
	}
	return d1, d2, decrement, true
}

// logDeterminant is ln|H| after a newtonStep.
func (e *evaluator) logDeterminant(g int) float64 {
	grp := &e.problem.groups[g]
	total, product := 0.0, e.arrow.det
	for i := range e.subs[:grp.subs.to-grp.subs.from] {
		product *= e.subs[i].hdd
		if product > 1e200 {
			total += math.Log(product)
			product = 1
		}
	}
	return total + math.Log(product)
}

// largestMove is the largest change of any η of the group by the step.
func (e *evaluator) largestMove(g int, ps params, d1, d2 float64) float64 {
	grp := &e.problem.groups[g]
	largest := 0.0
	for s := grp.subs.from; s < grp.subs.to; s++ {
		dw := ps.lw * e.subs[s-grp.subs.from].step
		for r := e.problem.subs[s].from; r < e.problem.subs[s].to; r++ {
			row := &e.rows[r-grp.rows.from]
			largest = max(largest, math.Abs(row.a1*d1+row.a2*d2+dw))
		}
	}
	return largest
}

// move adds scale times the step to the group's effects.
func (e *evaluator) move(g int, scale, d1, d2 float64) {
	grp := &e.problem.groups[g]
	e.b[2*g] += scale * d1
	e.b[2*g+1] += scale * d2
	for s := grp.subs.from; s < grp.subs.to; s++ {
		e.d[s] += scale * e.subs[s-grp.subs.from].step
	}
}

// moveCarefully halves the step until f does not fall.
func (e *evaluator) moveCarefully(g int, ps params, d1, d2 float64) bool {
	before := e.logIntegrand(g, ps)
	tolerance := 1e-12 * math.Abs(before)
	at, scale := 0.0, 1.0
	for range maxStepHalving {
		e.move(g, scale-at, d1, d2)
		at = scale
		e.relocate(g, ps)
		if e.logIntegrand(g, ps) >= before-tolerance {
			return true
		}
		scale /= 2
	}
	return false
}

// relocate recomputes η of the group's rows at the current effects.
func (e *evaluator) relocate(g int, ps params) {
	grp := &e.problem.groups[g]
	b1, b2 := e.b[2*g], e.b[2*g+1]
	for s := grp.subs.from; s < grp.subs.to; s++ {
		for r := e.problem.subs[s].from; r < e.problem.subs[s].to; r++ {
			row := &e.rows[r-grp.rows.from]
			row.eta = row.fixed + row.a1*b1 + row.a2*b2 + ps.lw*e.d[s]
			row.k, _, _, _ = e.derivatives(row.eta)
		}
	}
}

// logIntegrand is f at the group's current row states and effects.
func (e *evaluator) logIntegrand(g int, ps params) float64 {
	grp := &e.problem.groups[g]
	b1, b2 := e.b[2*g], e.b[2*g+1]
	f := -(b1*b1 + b2*b2) / 2
	if ps.lw != 0 {
		for _, d := range e.d[grp.subs.from:grp.subs.to] {
			f -= d * d / 2
		}
	}
	for i := range e.rows[:grp.rows.to-grp.rows.from] {
		row := &e.rows[i]
		f += row.y*row.eta - row.n*row.k
	}
	return f
}
