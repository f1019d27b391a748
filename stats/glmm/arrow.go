package glmm

import "math"

// arrow is H without the rows of the subgroups: the 2×2 corner for (b1, b2), the Schur
// complement S of the subgroups in it, and the inverse of S, which is that corner of H⁻¹.
type arrow struct {
	h11, h12, h22 float64
	s11, s12, s22 float64
	i11, i12, i22 float64
	det           float64 // of S
}

// expand fills row states, subgroup gradients and H at the current effects and
// returns the gradient of f in b1 and b2.
func (e *evaluator) expand(ps params) (g1, g2 float64) {
	b1, b2 := e.effects()
	h := arrow{h11: 1, h22: 1}
	if len(e.sub) == 0 {
		g1, g2 = e.expandRows(e.row, &h, b1, b2, 0, nil)
	}
	for k := range e.sub {
		sub := &e.sub[k]
		sub.hdd, sub.hd1, sub.hd2, sub.gradient = 0, 0, 0, 0
		s1, s2 := e.expandRows(e.rowsOf(k), &h, b1, b2, ps.lw*e.w[k], sub)
		g1 += s1
		g2 += s2
		sub.gradient = ps.lw*sub.gradient - e.w[k]
		sub.hdd = 1 + ps.lw*ps.lw*sub.hdd
		sub.hd1 *= ps.lw
		sub.hd2 *= ps.lw
	}
	e.arrow = h
	return g1 - b1, g2 - b2
}

// expandRows is expand for rows that share w, whose part of ζ is given: their sums are
// added to h and, unless nil, with unit loadings to sub.
func (e *evaluator) expandRows(rows []rowState, h *arrow, b1, b2, w float64, sub *subState) (g1, g2 float64) {
	for r := range rows {
		row := &rows[r]
		row.eta = row.fixed + row.a1*b1 + row.a2*b2 + w
		var mean, slope, skew float64
		row.k, mean, slope, skew = e.derivatives(row.eta)
		row.residual = row.y - row.n*mean
		row.weight = row.n * slope
		row.skew = row.n * skew
		g1 += row.residual * row.a1
		g2 += row.residual * row.a2
		w1, w2 := row.weight*row.a1, row.weight*row.a2
		h.h11 += w1 * row.a1
		h.h12 += w1 * row.a2
		h.h22 += w2 * row.a2
		if sub != nil {
			sub.gradient += row.residual
			sub.hdd += row.weight
			sub.hd1 += w1
			sub.hd2 += w2
		}
	}
	return g1, g2
}

// newtonStep solves H·step = gradient by eliminating the subgroups, so its cost is
// linear in them. The steps of the subgroups stay in their states; the decrement
// is gradient·step.
func (e *evaluator) newtonStep(g1, g2 float64) (d1, d2, decrement float64, ok bool) {
	h := &e.arrow
	s11, s12, s22 := h.h11, h.h12, h.h22
	r1, r2 := g1, g2
	for k := range e.sub {
		s := &e.sub[k]
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
	inverse := 1 / det
	h.i11, h.i12, h.i22 = s22*inverse, -s12*inverse, s11*inverse
	d1, d2 = h.i11*r1+h.i12*r2, h.i12*r1+h.i22*r2
	decrement = g1*d1 + g2*d2
	for k := range e.sub {
		s := &e.sub[k]
		s.step = (s.gradient - s.hd1*d1 - s.hd2*d2) / s.hdd
		decrement += s.gradient * s.step
	}
	return d1, d2, decrement, true
}

// logDeterminant is ln|H| after a newtonStep.
func (e *evaluator) logDeterminant() float64 {
	total, product := 0.0, e.arrow.det
	for k := range e.sub {
		product *= e.sub[k].hdd
		if product > 1e200 {
			total += math.Log(product)
			product = 1
		}
	}
	return total + math.Log(product)
}
