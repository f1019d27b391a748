package glmm

import "math"

// effect is one group's modes and how they depend on the parameters.
type effect struct {
	u, v       float64
	uVar, vVar float64   // conditional, given the parameters
	uSlope     []float64 // derivative of u in each free parameter
	vSlope     []float64
}

// effectOf fills out with the modes of group g at the maximum. Their derivatives come from the
// implicit function theorem: ∇f = 0 stays true, so db = H⁻¹·∂(∇f).
func (m *maximum) effectOf(g int, out *effect) bool {
	e := m.evaluator
	ps := e.split(m.psi)
	if _, ok := e.findMode(g, ps); !ok {
		return false
	}
	b1, b2 := e.effects()
	h := &e.arrow
	out.u, out.v = ps.lu*b1, ps.lc*b1+ps.lv*b2
	out.uVar = ps.lu * ps.lu * h.i11
	out.vVar = ps.lc*ps.lc*h.i11 + 2*ps.lc*ps.lv*h.i12 + ps.lv*ps.lv*h.i22
	w := e.problem.width
	for i, k := range m.free {
		g1, g2 := e.gradientSlope(k, ps)
		d1, d2, _, ok := e.newtonStep(g1, g2)
		if !ok {
			return false
		}
		out.uSlope[i], out.vSlope[i] = ps.lu*d1, ps.lc*d1+ps.lv*d2
		switch k - w {
		case atPattern:
			out.uSlope[i] += b1
		case atCorrelation:
			out.vSlope[i] += b1
		case atPosition:
			out.vSlope[i] += b2
		}
	}
	return true
}

// gradientSlope is the derivative of the current group's ∇f in parameter k at fixed
// effects: for b1 and b2 as results, for the subgroups in their states.
func (e *evaluator) gradientSlope(k int, ps params) (g1, g2 float64) {
	for s := range e.sub {
		e.sub[s].gradient = 0
		for i := e.spans[s].from - e.from; i < e.spans[s].to-e.from; i++ {
			r1, r2, ofW := e.rowSlope(k, i, e.w[s], ps)
			g1, g2 = g1+r1, g2+r2
			e.sub[s].gradient += ofW
		}
	}
	if len(e.sub) == 0 {
		for i := range e.row {
			r1, r2, _ := e.rowSlope(k, i, 0, ps)
			g1, g2 = g1+r1, g2+r2
		}
	}
	return g1, g2
}

// rowSlope is row i's part of gradientSlope: for b1, b2 and its w, which stands at d.
func (e *evaluator) rowSlope(k, i int, d float64, ps params) (g1, g2, ofW float64) {
	row, c := &e.row[i], &e.cells[i]
	b1, b2 := e.effects()
	var dZeta, residual float64
	switch w := e.problem.width; k - w {
	case atPattern:
		dZeta = c.zu * b1
		g1 = row.residual * c.zu
	case atCorrelation:
		dZeta = c.zv * b1
		g1 = row.residual * c.zv
	case atPosition:
		dZeta = c.zv * b2
		g2 = row.residual * c.zv
	case atOuting:
		dZeta = d
		ofW = row.residual
	case atDispersion:
		residual, _ = dispersionSlopes(c, math.Exp(row.eta), ps.alpha)
		residual *= ps.deltaSlope
	default:
		dZeta = e.problem.x[(e.from+i)*w+k]
	}
	residual -= row.weight * dZeta
	return g1 + residual*row.a1, g2 + residual*row.a2, ofW + residual*ps.lw
}

// spread is the standard deviation of a prediction: its conditional variance plus
// slopeᵀ·covariance·slope.
func (m *maximum) spread(conditional float64, slope []float64) float64 {
	return math.Sqrt(max(conditional+m.covariance.quadratic(slope, slope), 0))
}

// groupEffects predicts every group; false if a mode cannot be found. visit sees each
// effect before the next overwrites it.
func (m *maximum) groupEffects(visit func(public GroupEffect, inner *effect)) bool {
	p := m.evaluator.problem
	inner := effect{uSlope: make([]float64, len(m.free)), vSlope: make([]float64, len(m.free))}
	for g, grp := range p.groups {
		if !m.effectOf(g, &inner) {
			return false
		}
		public := GroupEffect{Group: grp.label, U: inner.u, UCondSD: math.Sqrt(inner.uVar), V: inner.v, VCondSD: math.Sqrt(inner.vVar)}
		public.USE = m.spread(inner.uVar, inner.uSlope)
		public.VSE = m.spread(inner.vVar, inner.vSlope)
		visit(public, &inner)
	}
	return true
}
