package analysis_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"evenrig/service/analysis"
)

// club makes up a trial: every angler has 4 outings of 12 fish, and anglers and days differ.
func club(anglers int) analysis.Input {
	random := rand.New(rand.NewPCG(20, 7))
	in := input()
	for i := range anglers {
		u, v := .4*random.NormFloat64(), .3*random.NormFloat64()
		for o := range 4 {
			w := .3 * random.NormFloat64()
			r := rig{angler: fmt.Sprintf("angler %03d", i), outing: fmt.Sprintf("day %d", o)}
			for n := range 12 {
				c := float64(1 - 2*(n%2))
				test := random.Float64() < 1/(1+math.Exp(-(.4+u+(.3+v)*c+w)))
				switch {
				case test && c > 0:
					r.a++
				case c > 0:
					r.b++
				case test:
					r.c++
				default:
					r.d++
				}
			}
			in.Tallies = append(in.Tallies, r.tallies()...)
		}
	}
	return in
}

func BenchmarkRun(b *testing.B) {
	for _, anglers := range []int{12, 400} {
		for _, vary := range []analysis.Vary{analysis.VaryPatternPosition, analysis.VaryPatternPositionOuting} {
			in := club(anglers)
			b.Run(fmt.Sprintf("anglers=%d/vary=%s", anglers, vary), func(b *testing.B) {
				for b.Loop() {
					r, err := analysis.Run(in, analysis.Settings{Vary: vary})
					if err != nil || r.MixedModel.Status != analysis.Converged {
						b.Fatal(err, r.MixedModel)
					}
				}
			})
		}
	}
}
