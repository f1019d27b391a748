package glmm

import (
	"math"
	"testing"

	"evenrig/stats/stattest"
)

type correlatedFit struct {
	ownFit
	Correlation float64 `json:"corr"`
}

type correlatedReference struct {
	Clinics map[string]correlatedFit `json:"beitler_landis"`
	Rig     map[string]correlatedFit `json:"beitler_landis_as_rig_trial"`
}

// Beitler & Landis's clinics with a correlated slope, by Laplace and by quadrature, as
// clinics and as a rig trial.
func TestCorrelated(t *testing.T) {
	var data binomialReference
	stattest.Load(t, "glmm/glmm_binomial.json", &data)
	var ref correlatedReference
	stattest.Load(t, "glmm/glmm_correlated.json", &ref)
	for name, want := range ref.Clinics {
		t.Run(name, func(t *testing.T) {
			rows, constant := centreRows(data.BeitlerLandis.Data)
			got, err := Fit(rows, Options{Vary: VaryPatternPosition, Points: want.Points, Correlated: true})
			if err != nil {
				t.Fatal(err)
			}
			compareFit(t, got, want.ownFit, []string{"(Intercept)", "x"}, []string{"intercept", "x"}, constant)
			stattest.Absolute(t, "correlation", *got.Correlation, want.Correlation, 5e-6)
		})
	}
	for name, want := range ref.Rig {
		t.Run("rig/"+name, func(t *testing.T) {
			cells, constant := centreCells(data.BeitlerLandisRig.Data)
			got := mustFit(t, cells, Options{Points: want.Points, Correlated: true})
			stattest.Absolute(t, "theta", got.Theta, want.Fixef["(Intercept)"], coefTolerance)
			stattest.Relative(t, "SE of theta", got.ThetaSE, want.SE["(Intercept)"], errorRelative)
			stattest.Absolute(t, "beta", got.Beta, want.Fixef["x"]/2, coefTolerance)
			stattest.Absolute(t, "sd_pattern", got.SDPattern, want.SD["intercept"], 2e-6)
			stattest.Absolute(t, "sd_position", got.SDPosition, want.SD["x"]/2, 2e-6)
			stattest.Absolute(t, "correlation", *got.Correlation, want.Correlation, 5e-6)
			stattest.Absolute(t, "log-likelihood", got.LogLikelihood, want.LogLik-constant, logTolerance)
			// The average share from its definition, by brute force over (u, v).
			x, weight := trapezoid(.1)
			sum := 0.0
			for i, z1 := range x {
				for j, z2 := range x {
					r := *got.Correlation
					u, v := got.SDPattern*z1, got.SDPosition*(r*z1+math.Sqrt(1-r*r)*z2)
					for _, c := range []float64{1, -1} {
						sum += weight[i] * weight[j] / 2 / (1 + math.Exp(-(got.Theta + u + (got.Beta+v)*c)))
					}
				}
			}
			stattest.Absolute(t, "average share", got.AverageShare(), sum, 1e-10)
		})
	}
}

// Anglers in whom u and v are one effect: the maximum lies at a correlation of exactly
// ±1, and says so.
func TestCorrelationAtItsEnd(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		var cells []Cell
		for a, u := range []float64{-1.2, -.8, -.3, 0, .2, .5, .9, 1.3} {
			const n = 40
			share := func(c float64) int { return int(math.Round(n / (1 + math.Exp(-(.3 + u + (.2+.6*sign*u)*c))))) }
			cells = append(cells, Cell{a, 0, true, share(1), n - share(1)}, Cell{a, 0, false, share(-1), n - share(-1)})
		}
		for _, points := range []int{1, 15} {
			r := mustFit(t, cells, Options{Points: points, Correlated: true})
			if r.Correlation == nil || *r.Correlation != sign || !r.Singular {
				t.Errorf("sign %v, %d points: correlation %v, singular %v", sign, points, r.Correlation, r.Singular)
			}
			stattest.Absolute(t, "ratio of the SDs", r.SDPosition/r.SDPattern, .6, .1)
		}
	}
}

// A correlation allowed never lowers the likelihood, and none of many searches from
// anywhere ends higher than the fit: there are several maxima.
func TestCorrelatedIsHighest(t *testing.T) {
	for seed := range uint64(12) {
		cells := inventedCells(100+seed, 6, 1, .7, .5, 0)
		plain, err := FitTrial(cells, Options{Points: 5})
		if err != nil {
			continue
		}
		r, err := FitTrial(cells, Options{Points: 5, Correlated: true})
		if err != nil {
			continue
		}
		if r.LogLikelihood < plain.LogLikelihood-1e-9 {
			t.Errorf("seed %d: log-likelihood %.9f correlated, %.9f not", seed, r.LogLikelihood, plain.LogLikelihood)
		}
		p := r.inference.evaluator.problem
		e := newEvaluator(p, 5)
		for i := range 24 {
			angle := float64(i) / 24 * 2 * math.Pi
			psi := []float64{r.Theta, r.Beta, .3 + float64(i%3)/2, .8 * math.Abs(math.Cos(angle)), 0, .8 * math.Sin(angle), 0}
			at := e.search(searchStart{psi: psi}, []int{0, 1, 2, 3, 5}, math.Inf(-1))
			if p.checkFinite(at) == nil && at.value > r.LogLikelihood+1e-6 {
				t.Errorf("seed %d: log-likelihood %.7f; a search ends at %.7f: %.4f", seed, r.LogLikelihood, at.value, at.psi)
			}
		}
	}
}

// Three anglers with 20 fish have no maximum with a correlation in some packages, whose
// SDs run into the thousands: here a finite fit or a refusal that names the runaway.
func TestCorrelatedFewAnglers(t *testing.T) {
	finite, refused := 0, 0
	for seed := range uint64(60) {
		cells := inventedCells(300+seed, 3, 1, 1.5, 1, 0)
		r, err := FitTrial(cells, Options{Correlated: true})
		if err != nil {
			if kindOf(err) == nil {
				t.Errorf("seed %d: %v", seed, err)
			}
			refused++
			continue
		}
		finite++
		if r.SDPattern > maxSD || r.SDPosition > maxSD {
			t.Errorf("seed %d: SDs %v, %v", seed, r.SDPattern, r.SDPosition)
		}
	}
	if finite == 0 {
		t.Errorf("no finite fit, %d refused", refused)
	}
}

// Swapping the patterns' labels turns θ and the correlation round and nothing else.
func TestCorrelatedSwap(t *testing.T) {
	cells := inventedCells(9, 14, 1, .8, .6, 0)
	swapped := make([]Cell, len(cells))
	for i, c := range cells {
		swapped[i] = Cell{c.Angler, c.Outing, !c.TestLower, c.Control, c.Test}
	}
	for _, points := range []int{1, 7} {
		a, b := mustFit(t, cells, Options{Points: points, Correlated: true}), mustFit(t, swapped, Options{Points: points, Correlated: true})
		stattest.Absolute(t, "theta", b.Theta, -a.Theta, 1e-9)
		stattest.Absolute(t, "beta", b.Beta, a.Beta, 1e-9)
		stattest.Absolute(t, "correlation", *b.Correlation, -*a.Correlation, 1e-7)
		stattest.Absolute(t, "log-likelihood", b.LogLikelihood, a.LogLikelihood, 1e-9)
		stattest.Absolute(t, "share", b.AverageShare(), 1-a.AverageShare(), 1e-9)
	}
}
