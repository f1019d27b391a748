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
	psi := []float64{.4, .3, .7, -.5, .6, .35, 0}
	for _, vary := range []Vary{VaryPattern, VaryPatternPosition, VaryPatternOuting, VaryPatternPositionOuting} {
		for _, points := range []int{1, 2, 5, 15} {
			t.Run(fmt.Sprintf("%v/%d", vary, points), func(t *testing.T) {
				p, err := newProblem(inventedRows(1, 5, 3, 6, .4, .3, .8, .4, .5), Options{Vary: vary})
				if err != nil {
					t.Fatal(err)
				}
				psi := append([]float64(nil), psi...)
				if !vary.Position() {
					psi[3], psi[5] = 0, 0
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

// The derivatives of the modes in the parameters are those of the modes: compared with
// central differences.
func TestModeSlopes(t *testing.T) {
	trial := inventedRows(8, 10, 4, 8, .4, .5, .7, .6, .6)
	rates, err := rateRows(inventedRates(6, 16, 3, 1, .4, .6, .4, .4, .3))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		rows    []Row
		options Options
	}{
		{trial, Options{Vary: VaryPatternPosition, Points: 1}},
		{trial, Options{Vary: VaryPatternPositionOuting, Points: 1}},
		{trial, Options{Vary: VaryPatternPosition, Points: 1, Correlated: true}},
		{rates, Options{Vary: VaryPatternPositionOuting, Points: 1, Correlated: true, Family: NegativeBinomial}},
	} {
		vary := c.options
		m, _, err := fit(c.rows, c.options)
		if err != nil {
			t.Fatal(err)
		}
		if m.singular {
			t.Fatalf("%v: these data were to have every SD above 0", c.options)
		}
		e := m.evaluator
		out := effect{uSlope: make([]float64, len(m.free)), vSlope: make([]float64, len(m.free))}
		for g := range e.problem.groups {
			if !m.effectOf(g, &out) {
				t.Fatal("no mode")
			}
			for i, k := range m.free {
				const h = 1e-4
				var u, v [2]float64
				for side, sign := range []float64{1, -1} {
					psi := append([]float64(nil), m.psi...)
					psi[k] += sign * h
					ps := e.split(psi)
					if _, ok := e.findMode(g, ps); !ok {
						t.Fatal("no mode")
					}
					u[side], v[side] = ps.lu*e.b[2*g], ps.lc*e.b[2*g]+ps.lv*e.b[2*g+1]
				}
				if want := (u[0] - u[1]) / (2 * h); math.Abs(out.uSlope[i]-want) > 1e-6 {
					t.Errorf("%v: u of group %d in parameter %d: %v, differences %v", vary, g, k, out.uSlope[i], want)
				}
				if want := (v[0] - v[1]) / (2 * h); math.Abs(out.vSlope[i]-want) > 1e-6 {
					t.Errorf("%v: v of group %d in parameter %d: %v, differences %v", vary, g, k, out.vSlope[i], want)
				}
			}
		}
	}
}

func TestEvaluateAllocatesNothing(t *testing.T) {
	for _, o := range everyRateModel {
		rows, err := rateRows(inventedRates(1, 4, 3, 1, .4, .6, .4, .5, .3))
		if err != nil {
			t.Fatal(err)
		}
		p, err := newProblem(rows, o.general())
		if err != nil {
			t.Fatal(err)
		}
		e := newEvaluator(p, max(1, o.Points))
		psi, gradient := []float64{1.1, .3, .6, .4, .5, .2, .4}, make([]float64, 7)
		if n := testing.AllocsPerRun(10, func() { psi[0] += .01; e.evaluate(psi, gradient) }); n != 0 {
			t.Errorf("%+v: %v allocations", o, n)
		}
	}
	for _, o := range everyModel {
		p, err := newProblem(inventedRows(1, 9, 3, 6, .4, .3, .8, .4, .5), o)
		if err != nil {
			t.Fatal(err)
		}
		e := newEvaluator(p, o.Points)
		psi, gradient := []float64{.4, .3, .7, -.5, .4, 0, 0}, make([]float64, 7)
		if n := testing.AllocsPerRun(10, func() { psi[0] += .01; e.evaluate(psi, gradient) }); n != 0 {
			t.Errorf("%v, %d points: %v allocations", o.Vary, o.Points, n)
		}
	}
}
