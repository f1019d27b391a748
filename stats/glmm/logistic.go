package glmm

import "math"

// The likelihood needs ln(1+e^-x) and its derivative at hundreds of points per
// angler and evaluation. A Taylor polynomial of degree tailDegree about the nearest
// of a table of knots gives both to rounding error, several times faster than the
// exponential and the logarithm.
const (
	tailDegree = 6
	tailKnots  = 64 // per unit of x
	tailEnd    = 40 // beyond, ln(1+e^-x) = e^-x to rounding error
)

// tailTable holds the Taylor coefficients at each knot, padded to a cache line.
var tailTable = newTailTable()

func newTailTable() *[tailEnd*tailKnots + 1][8]float64 {
	var table [tailEnd*tailKnots + 1][8]float64
	for k := range table {
		x := float64(k) / tailKnots
		q := 1 / (1 + math.Exp(x)) // = -d/dx ln(1+e^-x); dq/dx = -q(1-q)
		// Each derivative is a polynomial in q: poly[i] is the coefficient of q^i.
		poly := []float64{0, -1}
		table[k][0] = math.Log1p(math.Exp(-x))
		factorial := 1.0
		for order := 1; order <= tailDegree; order++ {
			factorial *= float64(order)
			value := 0.0
			for i := len(poly) - 1; i >= 0; i-- {
				value = value*q + poly[i]
			}
			table[k][order] = value / factorial
			next := make([]float64, len(poly)+1)
			for i := 1; i < len(poly); i++ { // d/dx q^i = i·q^(i+1) - i·q^i
				next[i+1] += float64(i) * poly[i]
				next[i] -= float64(i) * poly[i]
			}
			poly = next
		}
	}
	return &table
}

// tail returns ln(1+e^-x) and q = 1/(1+e^x) for x ≥ 0.
func tail(x float64) (logTerm, q float64) {
	if !(x < tailEnd) {
		e := math.Exp(-x)
		return e, e
	}
	k := int(x*tailKnots + .5)
	c := &tailTable[k]
	d := x - float64(k)*(1./tailKnots)
	logTerm = c[0] + d*(c[1]+d*(c[2]+d*(c[3]+d*(c[4]+d*(c[5]+d*c[6])))))
	q = -(c[1] + d*(2*c[2]+d*(3*c[3]+d*(4*c[4]+d*(5*c[5]+d*6*c[6])))))
	return logTerm, q
}

// logistic returns expit(η), expit(η)·(1-expit(η)) and ln(1+e^η) for any η; NaN for NaN.
func logistic(eta float64) (mean, slope, logOnePlusExp float64) {
	if eta < 0 {
		logTerm, q := tail(-eta)
		return q, q * (1 - q), logTerm
	}
	logTerm, q := tail(eta)
	return 1 - q, q * (1 - q), eta + logTerm
}
