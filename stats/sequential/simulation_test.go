package sequential_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"evenrig/stats/num"
	"evenrig/stats/sequential"
	"evenrig/stats/simulate"
)

// trialWithLooks walks one trial with true effect theta through the monitor: independent normal
// increments of the score, written from the definition of information.
func trialWithLooks(m *sequential.Monitor, informations []float64, theta float64, random *rand.Rand) error {
	score, before := 0.0, 0.0
	for k, information := range informations {
		score += theta*(information-before) + math.Sqrt(information-before)*random.NormFloat64()
		before = information
		stdErr := 1 / math.Sqrt(information)
		z := score * stdErr
		l, err := m.Look(sequential.Result{Estimate: score / information, StdErr: stdErr, P: num.NormalTwoSided(z)}, k == len(informations)-1)
		if err != nil {
			return err
		}
		if l.Crossed || l.Last {
			return nil
		}
	}
	return nil
}

// The level, the coverage of the adjusted limits and the median of the adjusted estimate, for looks
// at unplanned times, by simulation. Bands are four binomial standard errors.
func TestLevelCoverageAndMedianBySimulation(t *testing.T) {
	t.Parallel()
	n := 800
	if testing.Short() {
		n = 150
	}
	plan := sequential.Plan{Looks: 4, Spending: sequential.OBrienFleming, Alpha: 0.05, Power: 0.8, Information: 50}
	informations := []float64{14, 21, 40, 57}
	before, err := sequential.NewMonitor(plan) // the same for every trial
	if err != nil {
		t.Fatal(err)
	}
	for i, theta := range []float64{0, 0.25, 0.4, -0.7} {
		type result struct {
			crossed, covered, above bool
			err                     error
		}
		results, err := simulate.Run(context.Background(), n, 2, uint64(i+1), func(_ int, random *rand.Rand) result {
			m := *before
			if err := trialWithLooks(&m, informations, theta, random); err != nil {
				return result{err: err}
			}
			a, err := m.Adjusted()
			looks := m.Looks()
			return result{
				crossed: looks[len(looks)-1].Crossed, covered: a.Low <= theta && theta <= a.High, above: a.Estimate > theta, err: err,
			}
		}, nil)
		if err != nil {
			t.Fatal(err)
		}
		var crossed, covered, above float64
		for _, r := range results {
			if r.err != nil {
				t.Fatal(r.err)
			}
			crossed, covered, above = crossed+count(r.crossed), covered+count(r.covered), above+count(r.above)
		}
		band := func(p float64) float64 { return 4 * math.Sqrt(p*(1-p)/float64(n)) }
		if theta == 0 && math.Abs(crossed/float64(n)-0.05) > band(0.05) {
			t.Errorf("%g of %d trials without an effect crossed", crossed, n)
		}
		if math.Abs(covered/float64(n)-0.95) > band(0.95) {
			t.Errorf("effect %g: %g of %d limits cover it", theta, covered, n)
		}
		if math.Abs(above/float64(n)-0.5) > band(0.5) {
			t.Errorf("effect %g: %g of %d estimates lie above it", theta, above, n)
		}
	}
}

func count(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func BenchmarkBoundaries(b *testing.B) {
	for _, looks := range []int{4, 10, 20} {
		fractions := sequential.Plan{Looks: looks}.Fractions()
		b.Run(map[int]string{4: "4looks", 10: "10looks", 20: "20looks"}[looks], func(b *testing.B) {
			for b.Loop() {
				if _, err := sequential.Boundaries(sequential.OBrienFleming, fractions, 0.05); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkClassicTenLooks(b *testing.B) {
	fractions := sequential.Plan{Looks: 10}.Fractions()
	for b.Loop() {
		if _, err := sequential.Classic(sequential.Pocock, fractions, 0.05); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMonitorFourLooksAndAdjust(b *testing.B) {
	for b.Loop() {
		m := monitor(b, fourLooks)
		for _, fraction := range []float64{0.25, 0.5, 0.75, 1} {
			look(b, m, at(fourLooks, fraction, 0.3), false)
		}
		if _, err := m.Adjusted(); err != nil {
			b.Fatal(err)
		}
	}
}

// A method as the trial has it: the mean of the anglers' own estimates with the standard error of their
// spread and Student's t, so that the information is estimated, rough, and sometimes falls. Held to the
// nominal p the looks together keep the level nearly (Jennison & Turnbull 2000, section 3.6.1).
func TestLevelOfStudentsTByNominalP(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("simulation")
	}
	const anglers, looks, n = 8, 4, 1500
	plan := sequential.Plan{Looks: looks, Spending: sequential.Pocock, Alpha: 0.05, Power: 0.8, Information: 1 / (0.09/anglers + 0.25/(anglers*looks))}
	type outcome struct {
		crossed, fell bool
		err           error
	}
	before, err := sequential.NewMonitor(plan) // the same for every trial
	if err != nil {
		t.Fatal(err)
	}
	outcomes, err := simulate.Run(context.Background(), n, 2, 21, func(_ int, random *rand.Rand) outcome {
		var o outcome
		m := *before
		own, sum := make([]float64, anglers), make([]float64, anglers)
		for a := range own {
			own[a] = 0.3 * random.NormFloat64()
		}
		for k := 1; k <= looks; k++ {
			mean, square := 0.0, 0.0
			for a := range own {
				sum[a] += own[a] + 0.5*random.NormFloat64()
				mean += sum[a] / float64(k) / anglers
			}
			for a := range own {
				square += math.Pow(sum[a]/float64(k)-mean, 2)
			}
			stdErr := math.Sqrt(square / (anglers - 1) / anglers)
			l, err := m.Look(sequential.Result{Estimate: mean, StdErr: stdErr, P: num.StudentTwoSided(mean/stdErr, anglers-1)}, k == looks)
			if err != nil {
				return outcome{err: err}
			}
			o.fell = o.fell || l.Decision == sequential.NoDecision
			if o.crossed = l.Crossed; l.Crossed || l.Last {
				break
			}
		}
		return o
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	var crossed, fell float64
	for _, o := range outcomes {
		if o.err != nil {
			t.Fatal(o.err)
		}
		crossed, fell = crossed+count(o.crossed)/n, fell+count(o.fell)/n
	}
	t.Logf("crossed in %.3f, information fell in %.3f", crossed, fell)
	// Estimated information takes something: a hundredth beside the band of four standard errors.
	if limit := 0.06 + 4*math.Sqrt(0.05*0.95/n); crossed > limit {
		t.Errorf("%g of trials without an effect crossed, more than %g", crossed, limit)
	}
}
