package glmm

import "math"

// With outings the points are those of the tensor rule over b and every w of the group.
// Given b the w's are independent, so the sum over all their combinations is a product
// of sums, one for each subgroup: the cost is linear in subgroups, whatever the points.

// sumNested is sumPoints with a spread of w: at each point of b it sums over the points τ
// of each subgroup. It leaves means in the states of rows and subgroups.
func (e *evaluator) sumNested(g int, ps params, m scaling) moments {
	grp := &e.problem.groups[g]
	rows, subs := e.rows[:grp.rows.to-grp.rows.from], e.subs[:grp.subs.to-grp.subs.from]
	b1, b2 := e.b[2*g], e.b[2*g+1]
	top := e.logIntegrand(g, ps)
	first, second := e.rules(ps)
	points := len(e.rule.nodes)
	for k := range rows {
		row := &rows[k]
		row.mean, row.meanT1, row.meanT2, row.meanTau, row.meanSlope = 0, 0, 0, 0, 0
	}
	for k := range subs {
		s := &subs[k]
		s.slope1, s.slope2 = -s.hd1/s.hdd, -s.hd2/s.hdd
		s.scale = 1 / math.Sqrt(s.hdd)
		s.tau, s.tau1, s.tau2, s.tauTau = 0, 0, 0, 0
		powers(ps.lw*s.scale, e.rule.nodes, e.pointPower[k*points:])
	}
	var t moments
	for j, t2 := range second.nodes {
		for i, t1 := range first.nodes {
			d1, d2 := m.m11*t1+m.m12*t2, m.m22*t2 // b less its mode
			q1, q2 := b1+d1, b2+d2
			log, product := -(q1*q1+q2*q2)/2-top, first.weights[i]*second.weights[j]
			for k := range subs {
				shift, mass := e.sumSubgroup(g, k, ps, q1, q2, d1, d2)
				log += shift
				product *= mass
				if product > 1e200 || product < 1e-200 {
					log += math.Log(product)
					product = 1
				}
			}
			weight := product * exponential(log)
			t.add(weight, t1, t2)
			for k := range rows {
				row := &rows[k]
				v := weight * row.now
				row.mean += v
				row.meanT1 += v * t1
				row.meanT2 += v * t2
				row.meanTau += weight * row.nowTau
				row.meanSlope += weight * row.nowSlope
			}
			for k := range subs {
				s := &subs[k]
				v := weight * s.now
				s.tau += v
				s.tau1 += v * t1
				s.tau2 += v * t2
				s.tauTau += weight * s.nowTau
			}
		}
	}
	for k := range rows {
		rows[k].divide(t.mass)
	}
	for k := range subs {
		s := &subs[k]
		s.tau /= t.mass
		s.tau1 /= t.mass
		s.tau2 /= t.mass
		s.tauTau /= t.mass
	}
	return t.mean()
}

// sumSubgroup integrates the w of subgroup k of group g at b = (q1, q2), which is its mode
// plus (d1, d2): the integral of its part of exp(f) is mass·exp(shift). Means of the
// residuals, and of τ, given b, stay in the states.
func (e *evaluator) sumSubgroup(g, k int, ps params, q1, q2, d1, d2 float64) (shift, mass float64) {
	grp := &e.problem.groups[g]
	at := grp.subs.from + k
	span := e.problem.subs[at]
	rows, cells := e.rows[span.from-grp.rows.from:span.to-grp.rows.from], e.problem.rows[span.from:span.to]
	s := &e.subs[k]
	nodes, points := e.rule.nodes, len(e.rule.nodes)
	power := e.pointPower[k*points : (k+1)*points]
	f := e.pointValue[:points]
	centre := e.d[at] + s.slope1*d1 + s.slope2*d2
	slope := ps.lw * s.scale
	constant, linear := 0.0, 0.0
	for r := range rows {
		row := &rows[r]
		row.base = row.fixed + row.a1*q1 + row.a2*q2 + ps.lw*centre
		constant += row.y * row.base
		linear += row.y * slope
	}
	for i, tau := range nodes {
		d := centre + s.scale*tau
		f[i] = constant + linear*tau - d*d/2
	}
	for r := range rows {
		from := r * points
		e.addColumn(&cells[r], &rows[r], rows[r].base, slope, e.rule, power, f, e.pointResidual[from:], e.pointSlope[from:])
	}
	shift = f[0]
	for _, v := range f {
		shift = max(shift, v)
	}
	var sum, sumTau, sumTauTau float64
	for i, tau := range nodes {
		weight := e.rule.weights[i] * exponential(f[i]-shift)
		f[i] = weight
		sum += weight
		sumTau += weight * tau
		sumTauTau += weight * tau * tau
	}
	s.now, s.nowTau = sumTau/sum, sumTauTau/sum
	for r := range rows {
		row := &rows[r]
		residuals := e.pointResidual[r*points : (r+1)*points]
		row.now, row.nowTau = 0, 0
		for i, tau := range nodes {
			v := f[i] * residuals[i]
			row.now += v
			row.nowTau += v * tau
		}
		row.now /= sum
		row.nowTau /= sum
		if ps.alpha > 0 {
			row.nowSlope = dot(f, e.pointSlope[r*points:]) / sum
		}
	}
	return shift, sum
}
