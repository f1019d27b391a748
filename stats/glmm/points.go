package glmm

import "math"

// scaling places the points of a group. With S the Schur complement of the subgroups in
// H and S = C·Cᵀ, C lower triangular, they are b = mode + M·t, M = C⁻ᵀ upper triangular;
// and for the w of a subgroup, whose row of H is (hd, hdd),
//
//	d = mode - (hd/hdd)·(b - mode) + τ/√hdd
//
// so that (t, τ) are standard normal in the Gaussian approximation.
type scaling struct {
	c11, c21, c22 float64
	m11, m12, m22 float64
}

func newScaling(h *arrow) scaling {
	c11 := math.Sqrt(h.s11)
	c21 := h.s12 / c11
	c22 := math.Sqrt(h.s22 - c21*c21)
	return scaling{c11, c21, c22, 1 / c11, -c21 / (c11 * c22), 1 / c22}
}

// moments are the integral of exp(f - f(mode)) over the points, up to the determinant of
// the scaling, and the means of t and of its products under it.
type moments struct {
	mass                  float64
	t1, t2, t11, t12, t22 float64
}

// add adds a point.
func (t *moments) add(mass, t1, t2 float64) {
	t.mass += mass
	t.t1 += mass * t1
	t.t2 += mass * t2
	t.t11 += mass * t1 * t1
	t.t12 += mass * t1 * t2
	t.t22 += mass * t2 * t2
}

// mean divides by the mass.
func (t *moments) mean() moments {
	return moments{t.mass, t.t1 / t.mass, t.t2 / t.mass, t.t11 / t.mass, t.t12 / t.mass, t.t22 / t.mass}
}

// rules are those for the two dimensions of b; a dimension without spread has one point.
func (e *evaluator) rules(ps params) (first, second rule) {
	first, second = e.rule, e.rule
	if ps.lu == 0 && ps.lc == 0 {
		first = onePoint
	}
	if ps.lv == 0 {
		second = onePoint
	}
	return first, second
}

// sumPoints sums over the points of b, w having no spread, and leaves each row's mean
// residual, and mean of residual times t, in its state. f falls from its mode, so no
// term exceeds its weight and nothing overflows.
func (e *evaluator) sumPoints(ps params, m scaling) moments {
	b1, b2 := e.effects()
	top := e.logIntegrand(ps)
	inner, outer := e.rules(ps)
	nodes := inner.nodes
	points := len(nodes)
	linear := 0.0 // Σ y·ζ is constant + linear·t
	for k := range e.row {
		row := &e.row[k]
		row.mean, row.meanT1, row.meanT2, row.meanSlope = 0, 0, 0, 0
		row.slope = row.a1 * m.m11
		linear += row.y * row.slope
		powers(row.slope, nodes, e.pointPower[k*points:])
	}
	var t moments
	f := e.pointValue[:points]
	for j, y2 := range outer.nodes {
		p1, p2 := b1+m.m12*y2, b2+m.m22*y2
		constant := -p2*p2/2 - top
		for k := range e.row {
			row := &e.row[k]
			row.base = row.fixed + row.a1*p1 + row.a2*p2
			constant += row.y * row.base
		}
		for i, y1 := range nodes {
			q1 := p1 + m.m11*y1
			f[i] = constant + linear*y1 - q1*q1/2
		}
		for k := range e.row {
			at := k * points
			e.addColumn(&e.cells[k], &e.row[k], inner, e.pointPower[at:], f, e.pointResidual[at:], e.pointSlope[at:])
		}
		mass, t1, t11 := weigh(f, 0, inner)
		over := outer.weights[j]
		t.mass += over * mass
		t.t1 += over * t1
		t.t11 += over * t11
		t.t2 += over * mass * y2
		t.t12 += over * t1 * y2
		t.t22 += over * mass * y2 * y2
		for k := range e.row {
			row := &e.row[k]
			sum, sumT1 := weighted(f, e.pointResidual[k*points:], nodes)
			row.mean += over * sum
			row.meanT1 += over * sumT1
			row.meanT2 += over * sum * y2
			if ps.alpha > 0 {
				row.meanSlope += over * dot(f, e.pointSlope[k*points:])
			}
		}
	}
	for k := range e.row {
		e.row[k].divide(t.mass)
	}
	return t.mean()
}

// divide turns sums over points into means.
func (row *rowState) divide(mass float64) {
	row.mean /= mass
	row.meanT1 /= mass
	row.meanT2 /= mass
	row.meanTau /= mass
	row.meanSlope /= mass
}

// weighted sums v·w, and v·w·node.
func weighted(v, w, nodes []float64) (sum, sumNode float64) {
	w, nodes = w[:len(v)], nodes[:len(v)]
	for i, x := range v {
		x *= w[i]
		sum += x
		sumNode += x * nodes[i]
	}
	return sum, sumNode
}

func dot(a, b []float64) (sum float64) {
	b = b[:len(a)]
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}
