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
	largest        float64 // of |t|
}

// newRule makes the rule of n points (Golub & Welsch 1969, Math. Comp. 23:221). The library's
// nodes, rescaled from the weight exp(-x²), are polished by Newton's method on the
// orthonormal Hermite polynomials, since the library's smallest weights hold only nine digits.
func newRule(n int) rule {
	r := rule{make([]float64, n), make([]float64, n), 0}
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
		r.largest = max(r.largest, math.Abs(t))
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
var onePoint = rule{[]float64{0}, []float64{1}, 0}
