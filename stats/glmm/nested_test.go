package glmm

import (
	"math"
	"testing"

	"evenrig/stats/stattest"
)

// trapezoid is the rule of step h for the standard normal density from -8.5 to 8.5; on a
// smooth integrand of the width s its error falls like exp(-2(πs/h)²).
func trapezoid(h float64) (x, weight []float64) {
	n := int(8.5 / h)
	for k := -n; k <= n; k++ {
		z := float64(k) * h
		x = append(x, z)
		weight = append(weight, h*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi))
	}
	return x, weight
}

// bruteForce is the log-likelihood of rows from its definition, by trapezoidal rules over
// correlated u and v and, within them, w. density is a row's at a linear predictor.
func bruteForce(rows []Row, coef []float64, su, sv, correlation, sw float64, density func(r Row, eta float64) float64) float64 {
	x, weight := trapezoid(.3)
	groups := map[int]map[int][]Row{}
	for _, r := range rows {
		if groups[r.Group] == nil {
			groups[r.Group] = map[int][]Row{}
		}
		groups[r.Group][r.Subgroup] = append(groups[r.Group][r.Subgroup], r)
	}
	xv, weightV := x, weight
	if sv == 0 {
		xv, weightV = []float64{0}, []float64{1}
	}
	total := 0.0
	for _, subgroups := range groups {
		outer := 0.0
		for i, z1 := range x {
			for j, z2 := range xv {
				u, v := su*z1, sv*(correlation*z1+math.Sqrt(1-correlation*correlation)*z2)
				product := weight[i] * weightV[j]
				for _, subgroup := range subgroups {
					inner := 0.0
					for k, z3 := range x {
						p := weight[k]
						for _, r := range subgroup {
							eta := r.Offset + r.U*u + r.V*v + sw*z3
							for c, b := range coef {
								eta += b * r.X[c]
							}
							p *= density(r, eta)
						}
						inner += p
					}
					product *= inner
				}
				outer += product
			}
		}
		total += math.Log(outer)
	}
	return total
}

func bernoulli(r Row, eta float64) float64 {
	p := 1 / (1 + math.Exp(-eta))
	return math.Pow(p, float64(r.Y)) * math.Pow(1-p, float64(r.N-r.Y))
}

// The tensor rule converges to the likelihood as defined, correlated or not, with
// few fish an outing and wide SDs, where one mode is a poor guide. The brute force is
// good to ten digits. With 7 points the error stays below a thousandth of a log unit.
func TestNestedPointsConverge(t *testing.T) {
	for _, c := range []struct {
		name                     string
		fish                     int
		su, sv, correlation, sw  float64
		seven, fifteen, fortyOne float64
	}{
		{"ordinary", 4, .6, .4, 0, .5, 1e-4, 1e-7, 1e-9},
		{"correlated", 4, .6, .4, -.7, .5, 1e-4, 1e-7, 1e-9},
		{"wide", 2, 1.5, 1, .5, 1.5, 1e-3, 1e-5, 1e-9},
		{"no position", 3, .8, 0, 0, .9, 1e-3, 1e-6, 1e-9},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			rows := inventedRows(31, 3, 3, c.fish, .4, .3, c.su, c.sv, c.sw)
			want := bruteForce(rows, []float64{.4, .3}, c.su, c.sv, c.correlation, c.sw, bernoulli)
			p, err := newProblem(rows, Options{Vary: VaryPatternPositionOuting})
			if err != nil {
				t.Fatal(err)
			}
			psi := []float64{.4, .3, c.su, c.sv * math.Sqrt(1-c.correlation*c.correlation), c.sw, c.sv * c.correlation, 0}
			for points, tolerance := range map[int]float64{7: c.seven, 15: c.fifteen, 41: c.fortyOne} {
				got := newEvaluator(p, points).evaluate(psi, make([]float64, len(psi)))
				stattest.Absolute(t, "log-likelihood", got, want, tolerance)
			}
		})
	}
}
