package analysis_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"evenrig/service/analysis"
	"evenrig/stats/glmm"
)

// invented draws a trial: k anglers with fish caught in each arrangement, θ and β the same but for normal departures.
func invented(rng *rand.Rand, k, fish int, theta, beta, sdPattern, sdPosition float64) analysis.Input {
	var rigs []rig
	for i := range k {
		u, v := sdPattern*rng.NormFloat64(), sdPosition*rng.NormFloat64()
		took := func(c float64) (n int64) {
			for range fish {
				if rng.Float64() < 1/(1+math.Exp(-(theta+u+(beta+v)*c))) {
					n++
				}
			}
			return n
		}
		lower, upper := took(1), took(-1)
		rigs = append(rigs, rig{angler: fmt.Sprintf("angler %02d", i), a: lower, b: int64(fish) - lower, c: upper, d: int64(fish) - upper})
	}
	return input(rigs...)
}

// The headline's interval covers the truth at least as often as it says: 8 and 12 anglers of 24 fish who do not differ, differ
// and differ much. Allowed is what chance does to a rate of 95 % in so many trials (three standard errors, common practice);
// above is allowed because with a spread estimated as 0 Student's t is wider than need be. COVERAGE_TRIALS asks for more trials.
func TestHeadlineCovers(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("a simulation of some seconds")
	}
	trials := 200
	if n, err := strconv.Atoi(os.Getenv("COVERAGE_TRIALS")); err == nil {
		trials = n
	}
	const theta, beta = .4, .5
	for _, k := range []int{8, 12} {
		for _, sd := range []float64{0, .3, .6} {
			t.Run(fmt.Sprintf("%d anglers, SD %g", k, sd), func(t *testing.T) {
				t.Parallel()
				rng := rand.New(rand.NewPCG(uint64(k), uint64(100*sd)))
				average := glmm.AverageShare(theta, beta, sd, sd/2)
				var covered, coveredAverage, spoke, singular int
				var width float64
				for range trials {
					r, err := analysis.Answer(invented(rng, k, 12, theta, beta, sd, sd/2), analysis.Settings{})
					if err != nil {
						t.Fatal(err)
					}
					h := r.Headline
					if h.Method != analysis.MixedModelProfile {
						continue
					}
					spoke++
					if *h.Low <= theta && theta <= *h.High {
						covered++
					}
					if *h.AverageLow <= average && average <= *h.AverageHigh {
						coveredAverage++
					}
					if *r.MixedModel.SDPattern == 0 {
						singular++
					}
					width += *h.ShareHigh - *h.ShareLow
				}
				least := .95 - 3*math.Sqrt(.95*.05/float64(spoke))
				t.Logf("θ covered in %.3f, average share in %.3f of %d (least accepted %.3f); spread 0 in %.2f, mean width of the share's interval %.3f",
					float64(covered)/float64(spoke), float64(coveredAverage)/float64(spoke), spoke, least, float64(singular)/float64(spoke), width/float64(spoke))
				if spoke < trials*99/100 {
					t.Errorf("the mixed model spoke in %d of %d trials", spoke, trials)
				}
				if float64(covered) < least*float64(spoke) || float64(coveredAverage) < least*float64(spoke) {
					t.Errorf("θ covered %d times, the average share %d times of %d; least accepted %.3f", covered, coveredAverage, spoke, least)
				}
			})
		}
	}
}
