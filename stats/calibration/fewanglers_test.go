package calibration_test

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"evenrig/stats/calibration"
	"evenrig/stats/stattest"
)

// sleep is the extra sleep of ten patients (Student 1908, Biometrika 6:1-25, difference of
// the two drugs, hours). Its 95 % t interval, .7001142 to 2.4598858, is printed in many
// textbooks and in R's help page of t.test.
var sleep = []float64{1.2, 2.4, 1.3, 1.3, 0, 1, 1.8, .8, 4.6, 1.4}

// normalW is 2[max ℓ - max ℓ given the mean], for normal values of unknown variance,
// written from the definition.
func normalW(x []float64, mean float64) float64 {
	n, own := float64(len(x)), 0.0
	for _, v := range x {
		own += v / n
	}
	logLikelihood := func(centre float64) float64 {
		variance := 0.0
		for _, v := range x {
			variance += (v - centre) * (v - centre) / n
		}
		sum := 0.0
		for _, v := range x {
			sum += distuv.Normal{Mu: centre, Sigma: math.Sqrt(variance)}.LogProb(v)
		}
		return sum
	}
	return 2 * (logLikelihood(own) - logLikelihood(mean))
}

func TestProfileLimitsOfNormalValuesAreStudents(t *testing.T) {
	t.Parallel()
	level, err := calibration.ProfileLevel(10, .95)
	if err != nil {
		t.Fatal(err)
	}
	cut := distuv.ChiSquared{K: 1}.Quantile(level)
	for _, limit := range []float64{.7001142, 2.4598858} {
		// The limits are printed to 7 digits; W moves by about 6 for each hour there.
		stattest.Absolute(t, "W at Student's limit", normalW(sleep, limit), cut, 1e-6)
	}
	// The p-value of "no difference" is printed as .002833.
	p, err := calibration.ProfileP(10, normalW(sleep, 0))
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "p", p, .002833, 5e-7)
}

func TestEffectiveAnglers(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		fish []int64
		want float64
	}{
		{"nobody", nil, 0},
		{"no fish", []int64{0, 0}, 0},
		{"one angler", []int64{17}, 1},
		{"equal", []int64{8, 8, 8, 8, 8, 8}, 6},
		{"an angler without fish does not count", []int64{8, 8, 0, 8, 8, 8}, 5},
		{"6, 4, 3, 2, 1, 1, 1: 7 and 18²/68", []int64{6, 4, 3, 2, 1, 1, 1}, math.Pow(7, 1./3) * math.Pow(324./68, 2./3)},
		{"one with most: at least 4", []int64{800, 20, 20, 20, 20, 20}, 4},
		{"three anglers: at least 3", []int64{800, 20, 20}, 3},
	} {
		stattest.Absolute(t, c.name, calibration.EffectiveAnglers(c.fish), c.want, 1e-12)
	}
}

func TestLevelAndPSayTheSame(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.Float64Range(1.5, 200).Draw(t, "m")
		level := rapid.Float64Range(.5, .99).Draw(t, "level")
		adjusted, err := calibration.ProfileLevel(m, level)
		if err != nil {
			t.Fatal(err)
		}
		if !(adjusted > level && adjusted < 1) {
			t.Fatalf("adjusted level %g for %g", adjusted, level)
		}
		p, err := calibration.ProfileP(m, distuv.ChiSquared{K: 1}.Quantile(adjusted))
		if err != nil {
			t.Fatal(err)
		}
		// The digits of 1 - level are lost as it nears 1: 1e-16 of a tail that is at least 1e-8 here.
		if math.Abs(p-(1-level)) > 1e-8 {
			t.Fatalf("p at the limit is %g, want %g", p, 1-level)
		}
	})
	// As anglers grow the cut is the χ² one.
	adjusted, err := calibration.ProfileLevel(1e7, .95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "level for very many anglers", adjusted, .95, 1e-6)
}

func TestProfileArgumentsRefused(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for _, c := range [][2]float64{{1, .95}, {nan, .95}, {5, 0}, {5, 1}, {5, nan}, {-3, .95}} {
		if _, err := calibration.ProfileLevel(c[0], c[1]); !errors.Is(err, calibration.ErrLimits) {
			t.Errorf("ProfileLevel(%g, %g): %v", c[0], c[1], err)
		}
	}
	for _, c := range [][2]float64{{1, 2}, {nan, 2}, {5, -1}, {5, nan}} {
		if _, err := calibration.ProfileP(c[0], c[1]); !errors.Is(err, calibration.ErrLimits) {
			t.Errorf("ProfileP(%g, %g): %v", c[0], c[1], err)
		}
	}
	if p, err := calibration.ProfileP(5, math.Inf(1)); err != nil || p != 0 {
		t.Errorf("p of an infinite statistic is %g, %v", p, err)
	}
}
