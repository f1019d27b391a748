package meta_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"evenrig/stats/exact"
	"evenrig/stats/meta"
	"evenrig/stats/num"
	"evenrig/stats/simulate"
	"evenrig/stats/stattest"
)

// expectedClub returns some 200,000 anglers of three fish an arrangement in the
// proportions that the model of a paired trial gives their tables: θ_i normal around
// theta with SD tau, position effect beta.
func expectedClub(theta, tau, beta float64) []exact.Table {
	const anglers = 200_000
	binomial := func(k int64, p float64) float64 { return math.Exp(num.LogBinomial(k, 3, p)) }
	var tables []exact.Table
	for a := range int64(4) {
		for c := range int64(4) {
			// Simpson's rule over 8 SDs either way; one point without tau.
			points := 400
			if tau == 0 {
				points = 0
			}
			var sum, weights float64
			for i := range points + 1 {
				z, w := 0.0, 1.0
				if points > 0 {
					z = -8 + 16*float64(i)/float64(points)
					w = math.Exp(-z*z/2) * (2 + 2*float64(i%2))
				}
				own := theta + tau*z
				sum += w * binomial(a, num.Expit(own+beta)) * binomial(c, num.Expit(own-beta))
				weights += w
			}
			for range int(math.Round(anglers * sum / weights)) {
				tables = append(tables, exact.Table{A: a, B: 3 - a, C: c, D: 3 - c})
			}
		}
	}
	return tables
}

// What the exact combination comes to with very many anglers. Where they do not
// differ: the truth. Where they do, it takes an angler's margins to say nothing about
// his θ_i, which holds the less the further the position effect is from 0: it ends
// beyond the truth, by less than a quarter of what the half correction is short of it.
func TestConditionalInTheLongRun(t *testing.T) {
	t.Parallel()
	for _, share := range []float64{0.5, 0.8} { // of fish at the lower position
		same, err := meta.ConditionalPool(expectedClub(0.6, 0, num.Logit(share)), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		// Tables rounded to whole anglers move θ by some 1e-5, and τ² likewise.
		stattest.Absolute(t, "θ", same.Theta, 0.6, 1e-4)
		stattest.Absolute(t, "τ²", same.Tau*same.Tau, 0, 1e-3)

		club := expectedClub(0.6, 0.4, num.Logit(share))
		differ, err := meta.ConditionalPool(club, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		effects := make([]meta.Effect, len(club))
		for i, table := range club {
			if effects[i], _, err = meta.AnglerEffect(table); err != nil {
				t.Fatal(err)
			}
		}
		halves, err := meta.Pool(effects, meta.REML, meta.ModifiedHK, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("share %.1f, τ .4: θ %.4f, τ %.4f; with halves θ %.4f", share, differ.Theta, differ.Tau, halves.Mu)
		if !(differ.Theta-0.6 >= 0 && differ.Theta-0.6 < (0.6-halves.Mu)/4) {
			t.Errorf("share %.1f: exact %.4f, with halves %.4f", share, differ.Theta, halves.Mu)
		}
	}
}

// Forty anglers of three fish an arrangement, θ = .6 with SD .4, four of five fish
// taken lower: most tables have an empty cell. The exact combination keeps its level
// within three binomial standard errors, and is nearer to the truth than the
// combination of estimates with the half correction, which is drawn towards 0.
func TestSparseClubs(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("a simulation of 300 clubs")
	}
	const clubs, anglers, theta, tau = 300, 40, 0.6, 0.4
	beta := num.Logit(0.8)
	type outcome struct {
		exact, halves                   float64
		fitted, covered, profileCovered bool
	}
	outcomes, err := simulate.Run(context.Background(), clubs, 2, 41, func(_ int, random *rand.Rand) outcome {
		tables := make([]exact.Table, anglers)
		var effects []meta.Effect
		for i := range tables {
			own := theta + tau*random.NormFloat64()
			for range 3 {
				if random.Float64() < num.Expit(own+beta) {
					tables[i].A++
				} else {
					tables[i].B++
				}
				if random.Float64() < num.Expit(own-beta) {
					tables[i].C++
				} else {
					tables[i].D++
				}
			}
			if e, _, err := meta.AnglerEffect(tables[i]); err == nil {
				effects = append(effects, e)
			}
		}
		r, err := meta.ConditionalPool(tables, 0.95)
		two, poolErr := meta.Pool(effects, meta.REML, meta.ModifiedHK, 0.95)
		if err != nil || poolErr != nil {
			return outcome{}
		}
		return outcome{
			exact: r.Theta, halves: two.Mu, fitted: true,
			covered:        r.Low <= theta && theta <= r.High,
			profileCovered: (!r.HasProfileLow || r.ProfileLow <= theta) && (!r.HasProfileHigh || theta <= r.ProfileHigh),
		}
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	var fitted, covered, profileCovered, mean, halves float64
	for _, o := range outcomes {
		if !o.fitted {
			continue
		}
		fitted++
		mean += o.exact
		halves += o.halves
		if o.covered {
			covered++
		}
		if o.profileCovered {
			profileCovered++
		}
	}
	mean, halves = mean/fitted, halves/fitted
	t.Logf("%g clubs: mean of exact %.3f, of halves %.3f; coverage %.3f, by likelihood ratio %.3f", fitted, mean, halves, covered/fitted, profileCovered/fitted)
	if fitted < 0.98*clubs {
		t.Errorf("only %g of %d clubs were fitted", fitted, clubs)
	}
	if math.Abs(mean-theta) >= math.Abs(halves-theta) {
		t.Errorf("the exact combination is no nearer to %g: %.3f against %.3f", theta, mean, halves)
	}
	band := 3 * math.Sqrt(0.95*0.05/fitted)
	stattest.Absolute(t, "coverage by t", covered/fitted, 0.95, band)
	stattest.Absolute(t, "coverage by likelihood ratio", profileCovered/fitted, 0.95, band)
}
