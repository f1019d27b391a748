package power_test

import (
	"math"
	"testing"

	"evenrig/stats/num"
	"evenrig/stats/power"
	"evenrig/stats/stattest"
)

var usual = power.Test{Alpha: .05, Power: .80}

func lowerShare(p float64) power.Conditions { return power.Conditions{Beta: num.Logit(p)} }

// The numbers of fish by the formula as computed by hand to 10 digits of the normal
// quantiles, 1.959963985 and 0.8416212336 (any printed normal table), rounded up.
func TestFishWhenAnglersAreAlike(t *testing.T) {
	for _, row := range []struct {
		share float64
		fish  [3]float64 // lower share .50, .65, .75
	}{
		{.55, [3]float64{780, 857, 1040}},
		{.60, [3]float64{191, 210, 255}},
		{.65, [3]float64{82, 91, 110}},
		{.70, [3]float64{44, 49, 59}},
	} {
		for i, p := range []float64{.50, .65, .75} {
			n, err := usual.Fish(row.share, lowerShare(p))
			if err != nil {
				t.Fatal(err)
			}
			if math.Ceil(n) != row.fish[i] {
				t.Errorf("share %v, lower %v: %v fish, want %v", row.share, p, n, row.fish[i])
			}
		}
	}
}

// teams and noncentral t: see the file's own head for what they were computed with.
type outside struct {
	CDF []struct {
		T, DF, Delta, P float64
	} `json:"cdf"`
	Team []struct {
		Anglers         int
		Fish, SD, Power float64
	} `json:"team"`
	OneSample []struct {
		N                   int
		Delta, Alpha, Power float64
	} `json:"one_sample"`
}

func TestNoncentralTAgreesWithR(t *testing.T) {
	var want outside
	stattest.Load(t, "power/noncentral_t.json", &want)
	for _, c := range want.CDF {
		// R's pt(ncp) stops its series at an error bound of 1e-12 and says so.
		stattest.Absolute(t, "NoncentralT", power.NoncentralT(c.T, c.DF, c.Delta), c.P, 2e-12)
	}
	for _, c := range want.Team {
		p, err := usual.TeamPower(.60, power.Conditions{SDPattern: c.SD}, c.Anglers, c.Fish)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "TeamPower", p, c.Power, 2e-12)
	}
	for _, c := range want.OneSample {
		p, err := power.Test{Alpha: c.Alpha}.Of(c.Delta, 1/math.Sqrt(float64(c.N)), float64(c.N-1))
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "Of", p, c.Power, 2e-12)
	}
}
