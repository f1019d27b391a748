package glmm

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenrig/stats/stattest"
)

// unevenCells makes a trial whose anglers have anything from one to about a million fish.
func unevenCells(rng *rand.Rand) []Cell {
	anglers, outings := 2+rng.IntN(9), 1+rng.IntN(3)
	largest := float64(1 + rng.IntN(6))
	theta, beta := rng.NormFloat64()/2, rng.NormFloat64()/2
	su, sv, sw := rng.ExpFloat64()/2, rng.ExpFloat64()/2, rng.ExpFloat64()/2
	var cells []Cell
	for a := range anglers {
		fish := math.Pow(10, 1.5*rng.Float64())
		if a == 0 {
			fish = math.Pow(10, largest)
		}
		u, v := su*rng.NormFloat64(), sv*rng.NormFloat64()
		for o := range outings {
			w := sw * rng.NormFloat64()
			for _, c := range []float64{1, -1} {
				n := int(fish*rng.Float64()) + 1
				mean := 1 / (1 + math.Exp(-(theta + u + (beta+v)*c + w)))
				y := 0
				if n > 1000 {
					y = int(math.Round(float64(n)*mean + math.Sqrt(float64(n)*mean*(1-mean))*rng.NormFloat64()))
					y = min(max(y, 0), n)
				} else {
					for range n {
						if rng.Float64() < mean {
							y++
						}
					}
				}
				cells = append(cells, Cell{Angler: a, Outing: o, TestLower: c > 0, Test: y, Control: n - y})
			}
		}
	}
	return cells
}

// No fit is lower than what a search from anywhere reaches, with all SDs free or any of
// them held at 0: an angler with nearly all fish makes several maxima.
func TestNoSearchEndsHigher(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 5))
	trials, starts, fits := 120, 6, 0
	if testing.Short() {
		trials = 20
	}
	for n := range trials {
		fits += noSearchEndsHigher(t, fmt.Sprint("trial ", n), unevenCells(rng), starts, rng)
	}
	if fits < len(everyModel)*trials/2 {
		t.Errorf("only %d of %d fits succeeded", fits, len(everyModel)*trials)
	}
}

// Two million fish of one angler, with a maximum where anglers differ (SD of u .23) and one, .3
// lower, where only outings do. Test and control with the test pattern lower, then upper.
func TestAnglersOrOutings(t *testing.T) {
	var cells []Cell
	for a, outings := range [][][4]int{
		{{583838, 108398, 402942, 278079}, {169227, 26799, 582989, 340455}, {454240, 84236, 522226, 360644}},
		{{2, 0, 0, 1}, {1, 0, 1, 0}, {1, 0, 1, 0}},
		{{1, 0, 2, 1}, {2, 1, 1, 0}, {4, 0, 2, 1}},
		{{2, 1, 1, 0}, {0, 1, 2, 1}, {2, 0, 1, 1}},
		{{22, 4, 14, 4}, {4, 3, 10, 3}, {26, 1, 9, 0}},
		{{14, 1, 10, 1}, {7, 4, 5, 4}, {6, 0, 7, 1}},
		{{5, 3, 13, 4}, {1, 1, 2, 0}, {5, 0, 8, 0}},
		{{0, 1, 0, 1}, {1, 0, 2, 0}, {1, 0, 1, 0}},
	} {
		for o, x := range outings {
			cells = append(cells, Cell{a, o, true, x[0], x[1]}, Cell{a, o, false, x[2], x[3]})
		}
	}
	rng := rand.New(rand.NewPCG(1, 1))
	noSearchEndsHigher(t, "two maxima", cells, 30, rng)
	for _, points := range []int{1, 3} {
		stattest.Absolute(t, "sd_pattern", mustFit(t, cells, Options{Vary: VaryPatternOuting, Points: points}).SDPattern, .23, .01)
	}
}

// noSearchEndsHigher fits every model and searches each from many places; it returns how many
// fits succeeded.
func noSearchEndsHigher(t *testing.T, name string, cells []Cell, starts int, rng *rand.Rand) (fits int) {
	t.Helper()
	for _, options := range everyModel {
		r, err := FitTrial(cells, options)
		if err != nil {
			continue
		}
		fits++
		rows, err := trialRows(cells)
		if err != nil {
			t.Fatal(err)
		}
		p, err := newProblem(rows, options)
		if err != nil {
			t.Fatal(err)
		}
		e := newEvaluator(p, options.Points)
		for _, f := range p.faces([]float64{0, 0}) {
			for range starts {
				psi := []float64{rng.NormFloat64(), rng.NormFloat64(), 0, 0, 0, 0, 0}
				for _, k := range f.free[2:] {
					psi[k] = math.Exp(2 * rng.NormFloat64())
				}
				at := e.search(searchStart{psi: psi}, f.free, math.Inf(-1))
				if p.checkFinite(at) == nil && at.value > r.LogLikelihood+1e-6 {
					t.Errorf("%s, %v: log-likelihood %.6f with SDs %.4f %.4f %.4f; from %.3f a search ends at %.6f, %.4f", name, options,
						r.LogLikelihood, r.SDPattern, r.SDPosition, r.SDOuting, psi, at.value, at.psi)
				}
			}
		}
	}
	return fits
}

// No search creeps: whatever the variation, also where SDs are 0 and the estimates on the
// boundary, a fit takes at most ten times the evaluations that fits of its size usually take.
func TestNoSearchCreeps(t *testing.T) {
	for _, anglers := range []int{12, 60, 150} {
		for _, vary := range []Vary{VaryPattern, VaryPatternPosition, VaryPatternOuting, VaryPatternPositionOuting} {
			var evaluations []int
			for seed := range uint64(3) {
				for _, outings := range []int{2, 3} {
					for _, fish := range []int{2, 6} {
						for _, sd := range []float64{0, .1, .5, 1} {
							var cells []Cell
							for _, r := range inventedRows(seed, anglers, outings, fish, .1, .5, sd, .3, 0) {
								cells = append(cells, Cell{r.Group, r.Subgroup, r.V > 0, r.Y, r.N - r.Y})
							}
							r := mustFit(t, cells, Options{Vary: vary, Points: 1})
							evaluations = append(evaluations, r.Evaluations)
						}
					}
				}
			}
			slices.Sort(evaluations)
			median, most := evaluations[len(evaluations)/2], evaluations[len(evaluations)-1]
			if most > 10*median {
				t.Errorf("%d anglers, %v: %d evaluations at most, %d in the middle", anglers, vary, most, median)
			}
		}
	}
}

// The case that made the rule: an angler with a million fish and five with six each. The
// fit with no variation is higher than the one inside by three log units.
func TestOneAnglerWithNearlyAllFish(t *testing.T) {
	var cells []Cell
	for a, x := range [][4]int{{300000, 200000, 220000, 280000}, {5, 1, 4, 2}, {3, 3, 2, 4}, {1, 5, 2, 4}, {4, 2, 3, 3}, {6, 0, 5, 1}} {
		cells = append(cells, Cell{Angler: a, TestLower: true, Test: x[0], Control: x[1]}, Cell{Angler: a, Test: x[2], Control: x[3]})
	}
	pooled := []Cell{{Test: 300019, Control: 200011}, {Test: 220016, Control: 280014}}
	alone := saturated(pooled)
	for _, options := range []Options{{Vary: VaryPattern, Points: 1}, {Vary: VaryPattern, Points: 15}, {Vary: VaryPatternPosition, Points: 1}, {Vary: VaryPatternPosition, Points: 15}} {
		if r := mustFit(t, cells, options); r.LogLikelihood < alone-1e-6 {
			t.Errorf("%v: log-likelihood %.6f, without variation %.6f", options, r.LogLikelihood, alone)
		}
	}
}
