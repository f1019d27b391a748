package glmm

import "math"

// With outings the points are those of the tensor rule over b and every w of the group.
// Given b the w's are independent, so the sum over all their combinations is a product
// of sums, one for each subgroup: the cost is linear in subgroups, whatever the points.

// sumNested is sumPoints with a spread of w: at each point of b it sums over the points τ
// of each subgroup. It leaves means in the states of rows and subgroups.
func (e *evaluator) sumNested(ps params, m scaling) moments {
	b1, b2 := e.effects()
	top := e.logIntegrand(ps)
	first, second := e.rules(ps)
	points := len(e.rule.nodes)
	for k := range e.row {
		row := &e.row[k]
		row.mean, row.meanT1, row.meanT2, row.meanTau, row.meanSlope = 0, 0, 0, 0, 0
	}
	for k := range e.sub {
		s, rows := &e.sub[k], e.rowsOf(k)
		s.follow()
		s.linear = 0
		powers(ps.lw*s.scale, e.rule.nodes, e.pointPower[k*points:])
		for r := range rows {
			rows[r].slope = ps.lw * s.scale
			s.linear += rows[r].y * rows[r].slope
		}
	}
	var t moments
	for j, t2 := range second.nodes {
		for i, t1 := range first.nodes {
			d1, d2 := m.m11*t1+m.m12*t2, m.m22*t2 // b less its mode
			q1, q2 := b1+d1, b2+d2
			log, product := -(q1*q1+q2*q2)/2-top, first.weights[i]*second.weights[j]
			for k := range e.sub {
				shift, mass := e.sumSubgroup(k, ps, q1, q2, d1, d2)
				log += shift
				product *= mass
				if product > 1e200 || product < 1e-200 {
					log += math.Log(product)
					product = 1
				}
			}
			weight := product * exponential(log)
			t.add(weight, t1, t2)
			for k := range e.row {
				row := &e.row[k]
				v := weight * row.now
				row.mean += v
				row.meanT1 += v * t1
				row.meanT2 += v * t2
				row.meanTau += weight * row.nowTau
				row.meanSlope += weight * row.nowSlope
			}
			for k := range e.sub {
				s := &e.sub[k]
				v := weight * s.now
				s.tau += v
				s.tau1 += v * t1
				s.tau2 += v * t2
				s.tauTau += weight * s.nowTau
			}
		}
	}
	for k := range e.row {
		e.row[k].divide(t.mass)
	}
	for k := range e.sub {
		s := &e.sub[k]
		s.tau /= t.mass
		s.tau1 /= t.mass
		s.tau2 /= t.mass
		s.tauTau /= t.mass
	}
	return t.mean()
}

// follow fills how the points of w follow b, and clears their sums.
func (s *subState) follow() {
	s.slope1, s.slope2, s.scale = -s.hd1/s.hdd, -s.hd2/s.hdd, 1/math.Sqrt(s.hdd)
	s.tau, s.tau1, s.tau2, s.tauTau = 0, 0, 0, 0
}

// sumSubgroup integrates the w of subgroup k at b = (q1, q2), which is its mode plus
// (d1, d2): the integral of its part of exp(f) is mass·exp(shift). Means of the
// residuals, and of τ, given b, stay in the states.
func (e *evaluator) sumSubgroup(k int, ps params, q1, q2, d1, d2 float64) (shift, mass float64) {
	s, rows, cells := &e.sub[k], e.rowsOf(k), e.cells[e.spans[k].from-e.from:]
	nodes := e.rule.nodes
	points := len(nodes)
	f := e.pointValue[:points]
	centre := e.w[k] + s.slope1*d1 + s.slope2*d2
	constant := 0.0
	for r := range rows {
		row := &rows[r]
		row.base = row.fixed + row.a1*q1 + row.a2*q2 + ps.lw*centre
		constant += row.y * row.base
	}
	for i, tau := range nodes {
		d := centre + s.scale*tau
		f[i] = constant + s.linear*tau - d*d/2
	}
	for r := range rows {
		e.addColumn(&cells[r], &rows[r], e.rule, e.pointPower[k*points:], f, e.pointResidual[r*points:], e.pointSlope[r*points:])
	}
	shift = f[0]
	for _, v := range f {
		shift = max(shift, v)
	}
	sum, sumTau, sumTauTau := weigh(f, shift, e.rule)
	s.now, s.nowTau = sumTau/sum, sumTauTau/sum
	for r := range rows {
		row := &rows[r]
		now, nowTau := weighted(f, e.pointResidual[r*points:], nodes)
		row.now, row.nowTau = now/sum, nowTau/sum
		if ps.alpha > 0 {
			row.nowSlope = dot(f, e.pointSlope[r*points:]) / sum
		}
	}
	return shift, sum
}
