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

// newRule makes the rule of n points by rescaling that for the weight exp(-x²).
func newRule(n int) rule {
	r := rule{make([]float64, n), make([]float64, n)}
	quad.Hermite{}.FixedLocations(r.nodes, r.weights, math.Inf(-1), math.Inf(1))
	for i := range r.nodes {
		r.nodes[i] *= math.Sqrt2
		r.weights[i] *= math.Exp(r.nodes[i]*r.nodes[i]/2) / math.SqrtPi
	}
	return r
}

// onePoint integrates a dimension without spread exactly.
var onePoint = rule{[]float64{0}, []float64{1}}

// quadrature returns ln of the integral of exp(f - f(mode)) for group g and adds the
// derivative of the group's log-likelihood to gradient.
//
// With H = C·Cᵀ and M = C⁻ᵀ, the points are b = mode + M·t. f falls from its mode,
// so no term exceeds its weight and nothing overflows. The derivative through
// the mode and through C is taken in reverse: first with respect to the mode, H
// and the rows, then from those to the parameters.
func (e *evaluator) quadrature(g int, ps params, gradient []float64) float64 {
	grp := &e.problem.groups[g]
	rows, cells := e.rows[:grp.rows.to-grp.rows.from], e.problem.rows[grp.rows.from:grp.rows.to]
	h := &e.arrow
	c11 := math.Sqrt(h.h11)
	c21 := h.h12 / c11
	c22 := math.Sqrt(h.h22 - c21*c21)
	m11, m12, m22 := 1/c11, -c21/(c11*c22), 1/c22
	b1, b2 := e.b[2*g], e.b[2*g+1]
	top := e.logIntegrand(g, ps)
	for i := range rows {
		rows[i].mean, rows[i].meanT1, rows[i].meanT2 = 0, 0, 0
	}
	inner, outer := e.rule, e.rule
	if ps.lu == 0 {
		inner = onePoint
	}
	if ps.lv == 0 {
		outer = onePoint
	}
	var mass, t1, t2, t11, t12, t22 float64
	points := len(inner.nodes)
	f := e.pointValue[:points]
	for j, y2 := range outer.nodes {
		p2 := b2 + m22*y2
		p1 := b1 + m12*y2
		for i, y1 := range inner.nodes {
			q1 := p1 + m11*y1
			f[i] = -(q1*q1+p2*p2)/2 - top
		}
		for k := range rows {
			row := &rows[k]
			addRow(cells[k], row.fixed+row.a1*p1+row.a2*p2, row.a1*m11, inner.nodes, f, e.pointResidual[k*points:])
		}
		var columnMass, columnT1 float64
		for i, y1 := range inner.nodes {
			weight := outer.weights[j] * inner.weights[i] * expNegative(f[i])
			f[i] = weight
			columnMass += weight
			columnT1 += weight * y1
			t11 += weight * y1 * y1
		}
		mass += columnMass
		t1 += columnT1
		t2 += columnMass * y2
		t12 += columnT1 * y2
		t22 += columnMass * y2 * y2
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
	t1, t2, t11, t12, t22 = t1/mass, t2/mass, t11/mass, t12/mass, t22/mass

	// Derivatives with respect to the mode (γ) and to M (n).
	gamma1 := -(b1 + m11*t1 + m12*t2)
	gamma2 := -(b2 + m22*t2)
	n11 := -(b1*t1 + m11*t11 + m12*t12)
	n12 := -(b1*t2 + m11*t12 + m12*t22)
	n21 := -(b2*t1 + m22*t12)
	n22 := -(b2*t2 + m22*t22)
	for k := range rows {
		row := &rows[k]
		row.mean /= mass
		row.meanT1 /= mass
		row.meanT2 /= mass
		gamma1 += row.a1 * row.mean
		gamma2 += row.a2 * row.mean
		n11 += row.a1 * row.meanT1
		n12 += row.a1 * row.meanT2
		n21 += row.a2 * row.meanT1
		n22 += row.a2 * row.meanT2
	}
	// dM = -M·dCᵀ·M, so the derivative with respect to C is -lower(M·nᵀ·M), and
	// -1/C on the diagonal for the determinant; then back through the Cholesky factor.
	p11, p21, p22 := m11*n11+m12*n12, m22*n12, m22*n22 // M·nᵀ
	dc11 := -p11*m11 - m11
	dc21 := -p21 * m11
	dc22 := -(p21*m12 + p22*m22) - m22
	dh22 := dc22 / (2 * c22)
	dc21 -= dc22 * c21 / c22
	dh12 := dc21 / c11
	dc11 -= dc21 * c21 / c11
	dh11 := dc11 / (2 * c11)
	a11, a12, a22 := dh11, dh12/2, dh22

	s1, s2 := gamma1, gamma2
	for k := range rows {
		row := &rows[k]
		q := a11*row.a1*row.a1 + 2*a12*row.a1*row.a2 + a22*row.a2*row.a2
		row.point = row.skew * q
		s1 += row.point * row.a1
		s2 += row.point * row.a2
	}
	k1, k2 := h.i11*s1+h.i12*s2, h.i12*s1+h.i22*s2
	w := e.problem.width
	for k := range rows {
		row, c := &rows[k], &cells[k]
		r := grp.rows.from + k
		coef := row.point - row.weight*(row.a1*k1+row.a2*k2)
		for j, x := range e.problem.x[r*w : (r+1)*w] {
			gradient[j] += (row.mean + coef) * x
		}
		direct1 := b1*row.mean + m11*row.meanT1 + m12*row.meanT2
		direct2 := b2*row.mean + m22*row.meanT2
		gradient[w] += c.zu * (direct1 + coef*b1 + 2*row.weight*(a11*row.a1+a12*row.a2) + row.residual*k1)
		gradient[w+1] += c.zv * (direct2 + coef*b2 + 2*row.weight*(a12*row.a1+a22*row.a2) + row.residual*k2)
	}
	return math.Log(mass) - math.Log(h.det)/2
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
