package glmm

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// inventedRows makes a trial of anglers with outings, both arrangements in each.
func inventedRows(seed uint64, anglers, outings, fish int, theta, beta, su, sv, sw float64) []Row {
	rng := rand.New(rand.NewPCG(seed, 1))
	var rows []Row
	for a := range anglers {
		u, v := su*rng.NormFloat64(), sv*rng.NormFloat64()
		for o := range outings {
			w := sw * rng.NormFloat64()
			for _, c := range []float64{1, -1} {
				n := 1 + rng.IntN(2*fish)
				y := 0
				for range n {
					if rng.Float64() < 1/(1+math.Exp(-(theta+u+(beta+v)*c+w))) {
						y++
					}
				}
				rows = append(rows, Row{Group: a, Subgroup: o, Y: y, N: n, X: []float64{1, c}, U: 1, V: c})
			}
		}
	}
	return rows
}

// The gradient is that of the log-likelihood: compared with Richardson-extrapolated
// central differences of the log-likelihood itself.
func TestGradientIsDerivative(t *testing.T) {
	psi := []float64{.4, .3, .7, -.5, .6}
	for _, vary := range []Vary{VaryPattern, VaryPatternPosition, VaryPatternOuting, VaryPatternPositionOuting} {
		for _, points := range []int{1, 2, 5, 15} {
			if vary.Outing() && points > 1 {
				continue
			}
			t.Run(fmt.Sprintf("%v/%d", vary, points), func(t *testing.T) {
				p, err := newProblem(inventedRows(1, 5, 3, 6, .4, .3, .8, .4, .5), vary)
				if err != nil {
					t.Fatal(err)
				}
				psi := append([]float64(nil), psi...)
				if !vary.Position() {
					psi[3] = 0
				}
				if !vary.Outing() {
					psi[4] = 0
				}
				e := newEvaluator(p, points)
				gradient, scratch := make([]float64, len(psi)), make([]float64, len(psi))
				e.evaluate(psi, gradient)
				at := func(k int, h float64) float64 {
					moved := append([]float64(nil), psi...)
					moved[k] += h
					return e.evaluate(moved, scratch)
				}
				for k := range psi {
					if psi[k] == 0 {
						continue
					}
					const h = 1e-3
					coarse := (at(k, h) - at(k, -h)) / (2 * h)
					fine := (at(k, h/2) - at(k, -h/2)) / h
					want := (4*fine - coarse) / 3
					if math.Abs(gradient[k]-want) > 1e-8*math.Max(1, math.Abs(want)) {
						t.Errorf("parameter %d: gradient %.12g, differences %.12g", k, gradient[k], want)
					}
				}
			})
		}
	}
}

func BenchmarkEvaluate(b *testing.B) {
	for _, points := range []int{1, 7, 15} {
		b.Run(fmt.Sprint(points), func(b *testing.B) {
			p, _ := newProblem(inventedRows(1, 400, 1, 20, .4, .3, .5, .4, 0), VaryPatternPosition)
			e := newEvaluator(p, points)
			psi, gradient := []float64{.4, .3, .7, -.5, 0}, make([]float64, 5)
			b.ReportAllocs()
			i := 0
			for b.Loop() {
				i++
				psi[0] = .4 + .01*float64(i%2)
				e.evaluate(psi, gradient)
			}
		})
	}
}
