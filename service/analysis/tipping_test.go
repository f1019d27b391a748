package analysis

import (
	"math"
	"testing"

	"evenrig/service/trial"
	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// Ten not-sure fish beside the 96 of the worked example D1, position left aside: crude shares of 62, 67 and 72 of 100 when none,
// half or all of them took the test pattern, that is 66, 71 and 76 of 106.
func TestMixtureOfSureAndUnsureFish(t *testing.T) {
	t.Parallel()
	theta := num.Logit(66. / 96)
	m := mixture{unsure: [2]float64{10. / 106, 10. / 106}}
	for _, c := range []struct{ delta, want float64 }{
		{-40, 66. / 106}, {-theta, 71. / 106}, {40, 76. / 106}, {0, 66. / 96},
	} {
		stattest.Within(t, "share", num.Expit(m.mixed(&theta, nil, c.delta)), c.want, 1e-12)
	}
	one := 1.
	if x := m.mixed(nil, &one, -1); !math.IsInf(x, 1) {
		t.Errorf("without a bound: %g", x)
	}
}

// The shift from which the verdict changes is found by the definition: just inside it the verdict stands, at it another one does.
func TestTippingPointIsWhereTheVerdictTips(t *testing.T) {
	t.Parallel()
	low, theta, high := .08, .6, 1.12
	in := Input{Test: "A", Control: "B", Tallies: []trial.Tally{
		{Angler: "a", Arrangement: trial.TestLower, Taken: trial.TookTest, N: 50},
		{Angler: "a", Arrangement: trial.ControlLower, Taken: trial.TookControl, N: 50},
		{Angler: "a", Arrangement: trial.TestLower, Taken: trial.TookUnknown, Exclusion: trial.NotSure, N: 10},
		{Angler: "a", Arrangement: trial.ControlLower, Taken: trial.TookUnknown, Exclusion: trial.NotSure, N: 6},
		{Angler: "a", Taken: trial.TookUnknown, Exclusion: trial.NotSure, N: 3},
	}}.filled()
	h := Headline{Method: ExactStratified, LogOdds: &theta, Low: &low, High: &high, Share: share(&theta), ShareLow: share(&low), ShareHigh: share(&high)}
	p := tippingPoint(Result{Headline: h}, in)
	if p == nil || p.NotSure != 16 || p.Delta == nil || p.Verdict != NotSettled {
		t.Fatalf("%+v", p)
	}
	// By hand: with f = 10/60 and 6/56 of the fish not sure and no position effect, the lower limit's mixture is even where the
	// mean of the two arrangements' log odds is 0.
	even := func(delta float64) float64 {
		sum := 0.
		for _, f := range []float64{10. / 60, 6. / 56} {
			sum += num.Logit((1-f)*num.Expit(low) + f*num.Expit(low+delta))
		}
		return sum
	}
	if even(*p.Delta) > 0 || even(*p.Delta+.01) < 0 {
		t.Errorf("at %.2f the limit's log odds are %g, just above %g", *p.Delta, even(*p.Delta), even(*p.Delta+.01))
	}
	turned := Headline{Method: ExactStratified, LogOdds: known(-theta), Low: known(-high), High: known(-low), Share: known(num.Expit(-theta)), ShareLow: known(num.Expit(-high)), ShareHigh: known(num.Expit(-low))}
	if q := tippingPoint(Result{Headline: turned}, in); q.Delta == nil || *q.Delta != -*p.Delta || q.Verdict != NotSettled {
		t.Errorf("with the patterns' names changed over: %v, want %g", q.Delta, -*p.Delta)
	}
}
