package glmm

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// rule is a Gauss-Hermite rule for the standard normal distribution: nodes t and
// scaled weights w·exp(t²/2), as an integrand that already holds the normal
// density wants them.
type rule struct {
	nodes, weights []float64
}

// newRule makes the rule of n points (Golub & Welsch 1969, Math. Comp. 23:221). The library's
// nodes, rescaled from the weight exp(-x²), are polished by Newton's method on the
// orthonormal Hermite polynomials, since the library's smallest weights hold only nine digits.
func newRule(n int) rule {
	r := rule{make([]float64, n), make([]float64, n)}
	quad.Hermite{}.FixedLocations(r.nodes, r.weights, math.Inf(-1), math.Inf(1))
	for i := range r.nodes {
		t := r.nodes[i] * math.Sqrt2
		for range 3 {
			value, previous := hermite(n, t)
			t -= value / (math.Sqrt(float64(n)) * previous)
		}
		_, previous := hermite(n, t)
		r.nodes[i] = t
		r.weights[i] = math.Exp(t*t/2) / (float64(n) * previous * previous)
	}
	return r
}

// hermite returns the orthonormal polynomials of degree n and n-1 for the standard normal
// weight at t; the derivative of the first is √n times the second.
func hermite(n int, t float64) (value, previous float64) {
	value = 1
	for k := range n {
		value, previous = (t*value-math.Sqrt(float64(k))*previous)/math.Sqrt(float64(k+1)), value
	}
	return value, previous
}

// onePoint integrates a dimension without spread exactly.
var onePoint = rule{[]float64{0}, []float64{1}}

// scaling places the points of group g: with H = C·Cᵀ, C lower triangular, they are
// b = mode + M·t, M = C⁻ᵀ upper triangular.
type scaling struct {
	c11, c21, c22 float64
	m11, m12, m22 float64
}

func newScaling(h *arrow) scaling {
	c11 := math.Sqrt(h.h11)
	c21 := h.h12 / c11
	c22 := math.Sqrt(h.h22 - c21*c21)
	return scaling{c11, c21, c22, 1 / c11, -c21 / (c11 * c22), 1 / c22}
}

// moments are the integral of exp(f - f(mode)) over the points, up to the determinant of
// M, and the means of t and of its products under it.
type moments struct {
	mass                  float64
	t1, t2, t11, t12, t22 float64
}

// quadrature returns ln of the integral of exp(f - f(mode)) for group g, at its mode, and
// adds the derivative of the group's log-likelihood to gradient.
func (e *evaluator) quadrature(g int, ps params, gradient []float64) float64 {
	m := newScaling(&e.arrow)
	t := e.sumPoints(g, ps, m)
	e.quadratureGradient(g, m, t, gradient)
	return math.Log(t.mass) - math.Log(e.arrow.det)/2
}

// sumPoints sums over the points and leaves each row's mean residual, and mean of
// residual times t, in its state. f falls from its mode, so no term exceeds its
// weight and nothing overflows.
func (e *evaluator) sumPoints(g int, ps params, m scaling) (t moments) {
	grp := &e.problem.groups[g]
	rows, cells := e.rows[:grp.rows.to-grp.rows.from], e.problem.rows[grp.rows.from:grp.rows.to]
	b1, b2 := e.b[2*g], e.b[2*g+1]
	top := e.logIntegrand(g, ps)
	for k := range rows {
		rows[k].mean, rows[k].meanT1, rows[k].meanT2 = 0, 0, 0
	}
	inner, outer := e.rule, e.rule
	if ps.lu == 0 {
		inner = onePoint
	}
	if ps.lv == 0 {
		outer = onePoint
	}
	points := len(inner.nodes)
	f := e.pointValue[:points]
	for j, y2 := range outer.nodes {
		p1, p2 := b1+m.m12*y2, b2+m.m22*y2
		for i, y1 := range inner.nodes {
			q1 := p1 + m.m11*y1
			f[i] = -(q1*q1+p2*p2)/2 - top
		}
		for k := range rows {
			row := &rows[k]
			addRow(cells[k], row.fixed+row.a1*p1+row.a2*p2, row.a1*m.m11, inner.nodes, f, e.pointResidual[k*points:])
		}
		var mass, t1 float64
		for i, y1 := range inner.nodes {
			weight := outer.weights[j] * inner.weights[i] * expNegative(f[i])
			f[i] = weight
			mass += weight
			t1 += weight * y1
			t.t11 += weight * y1 * y1
		}
		t.mass += mass
		t.t1 += t1
		t.t2 += mass * y2
		t.t12 += t1 * y2
		t.t22 += mass * y2 * y2
		for k := range rows {
			residuals := e.pointResidual[k*points : (k+1)*points]
			var sum, sumT1 float64
			for i, y1 := range inner.nodes {
				v := f[i] * residuals[i]
				sum += v
				sumT1 += v * y1
			}
			rows[k].mean += sum
			rows[k].meanT1 += sumT1
			rows[k].meanT2 += sum * y2
		}
	}
	for k := range rows {
		rows[k].mean /= t.mass
		rows[k].meanT1 /= t.mass
		rows[k].meanT2 /= t.mass
	}
	return moments{t.mass, t.t1 / t.mass, t.t2 / t.mass, t.t11 / t.mass, t.t12 / t.mass, t.t22 / t.mass}
}

// quadratureGradient takes the derivative through the mode and through C in reverse: first
// with respect to the mode, H and the rows, then from those to the parameters.
func (e *evaluator) quadratureGradient(g int, m scaling, t moments, gradient []float64) {
	grp := &e.problem.groups[g]
	rows, cells := e.rows[:grp.rows.to-grp.rows.from], e.problem.rows[grp.rows.from:grp.rows.to]
	h := &e.arrow
	b1, b2 := e.b[2*g], e.b[2*g+1]

	// The means of ∇f, with respect to the mode (s), and of ∇f·tᵀ, with respect to M (n).
	s1 := -(b1 + m.m11*t.t1 + m.m12*t.t2)
	s2 := -(b2 + m.m22*t.t2)
	n11 := -(b1*t.t1 + m.m11*t.t11 + m.m12*t.t12)
	n12 := -(b1*t.t2 + m.m11*t.t12 + m.m12*t.t22)
	n22 := -(b2*t.t2 + m.m22*t.t22)
	for k := range rows {
		row := &rows[k]
		s1 += row.a1 * row.mean
		s2 += row.a2 * row.mean
		n11 += row.a1 * row.meanT1
		n12 += row.a1 * row.meanT2
		n22 += row.a2 * row.meanT2
	}
	// dM = -M·dCᵀ·M, so the derivative with respect to C is the lower triangle of -M·nᵀ·M,
	// and -1/C on the diagonal for the determinant; then back through the factor to H.
	p11, p21, p22 := m.m11*n11+m.m12*n12, m.m22*n12, m.m22*n22 // M·nᵀ
	dc11 := -p11*m.m11 - m.m11
	dc21 := -p21 * m.m11
	dc22 := -(p21*m.m12 + p22*m.m22) - m.m22
	a22 := dc22 / (2 * m.c22)
	dc21 -= dc22 * m.c21 / m.c22
	a12 := dc21 / m.c11 / 2
	dc11 -= dc21 * m.c21 / m.c11
	a11 := dc11 / (2 * m.c11)

	for k := range rows {
		row := &rows[k]
		row.curvature = row.skew * (a11*row.a1*row.a1 + 2*a12*row.a1*row.a2 + a22*row.a2*row.a2)
		s1 += row.curvature * row.a1
		s2 += row.curvature * row.a2
	}
	k1, k2 := h.i11*s1+h.i12*s2, h.i12*s1+h.i22*s2
	w := e.problem.width
	for k := range rows {
		row, c := &rows[k], &cells[k]
		r := grp.rows.from + k
		coef := row.curvature - row.weight*(row.a1*k1+row.a2*k2)
		for j, x := range e.problem.x[r*w : (r+1)*w] {
			gradient[j] += (row.mean + coef) * x
		}
		direct1 := b1*row.mean + m.m11*row.meanT1 + m.m12*row.meanT2
		direct2 := b2*row.mean + m.m22*row.meanT2
		gradient[w] += c.zu * (direct1 + coef*b1 + 2*row.weight*(a11*row.a1+a12*row.a2) + row.residual*k1)
		gradient[w+1] += c.zv * (direct2 + coef*b2 + 2*row.weight*(a12*row.a1+a22*row.a2) + row.residual*k2)
	}
}

// addRow adds a row's log-likelihood at η = base + slope·t to f and stores its residuals,
// for each node t. This is where the time of a fit goes: the body of logistic is
// written out so that the loop makes no call.
func addRow(c cell, base, slope float64, nodes, f, residuals []float64) {
	f, residuals = f[:len(nodes)], residuals[:len(nodes)]
	for i, t := range nodes {
		eta := base + slope*t
		x := math.Abs(eta)
		if !(x < tailEnd) {
			mean, _, logTerm := logistic(eta)
			f[i] += c.y*eta - c.n*logTerm
			residuals[i] = c.y - c.n*mean
			continue
		}
		k := int(x*tailKnots + .5)
		a := &tailTable[k]
		d := x - float64(k)*(1./tailKnots)
		logTerm := a[0] + d*(a[1]+d*(a[2]+d*(a[3]+d*(a[4]+d*(a[5]+d*a[6])))))
		mean := -(a[1] + d*(2*a[2]+d*(3*a[3]+d*(4*a[4]+d*(5*a[5]+d*(6*a[6]))))))
		if eta >= 0 {
			mean = 1 - mean
			logTerm += eta
		}
		f[i] += c.y*eta - c.n*logTerm
		residuals[i] = c.y - c.n*mean
	}
}
