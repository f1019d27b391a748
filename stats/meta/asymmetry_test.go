package meta_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/meta"
	"evenrig/stats/stattest"
)

// The three sets, by R's lm and metafor's regtest.
func TestAsymmetryReference(t *testing.T) {
	t.Parallel()
	var sets setsFile
	stattest.Load(t, "meta/sets.json", &sets)
	byName := map[string][]meta.Effect{}
	for _, s := range sets.Sets {
		byName[s.Name] = effects(s.Y, s.V)
	}
	var file struct {
		Cases []struct {
			Set            string
			Multiplicative struct {
				Limit, Slope, T, P float64
				StdErr             float64 `json:"std_error"`
				DF                 int
			}
			MixedEffects struct{ Z, P, Limit float64 } `json:"mixed_effects"`
		}
	}
	stattest.Load(t, "meta/asymmetry.json", &file)
	for _, c := range file.Cases {
		m, err := meta.Asymmetry(byName[c.Set], meta.Multiplicative)
		if err != nil {
			t.Fatal(err)
		}
		want := c.Multiplicative
		stattest.Within(t, "slope", m.Slope, want.Slope, double)
		stattest.Within(t, "SE", m.StdErr, want.StdErr, double)
		stattest.Within(t, "limit", m.Limit, want.Limit, double)
		stattest.Within(t, "t", m.Statistic, want.T, double)
		stattest.Relative(t, "p", m.P, want.P, 10*double)
		x, err := meta.Asymmetry(byName[c.Set], meta.MixedEffects)
		if err != nil {
			t.Fatal(err)
		}
		const iterated = 1e-8 // regtest refits at metafor's own stopping rule
		stattest.Within(t, "z", x.Statistic, c.MixedEffects.Z, iterated)
		stattest.Within(t, "limit", x.Limit, c.MixedEffects.Limit, iterated)
		stattest.Relative(t, "p", x.P, c.MixedEffects.P, 10*iterated)
		if m.DF != want.DF || x.DF != 0 {
			t.Errorf("degrees of freedom %d and %d", m.DF, x.DF)
		}
	}
}

// Egger et al. (1997) wrote their test as y/SE on 1/SE, unweighted: its intercept is our slope.
func TestAsymmetryAsEggerWroteIt(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		all := append(drawEffects(t, 5), drawEffects(t, 5)...)
		all[0].V, all[1].V = 0.5, 2
		var n, sx, sy, sxx, sxy float64
		for _, e := range all {
			x, y := 1/math.Sqrt(e.V), e.Y/math.Sqrt(e.V)
			n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
		}
		slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
		got, err := meta.Asymmetry(all, meta.Multiplicative)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "bias", got.Slope, (sy-slope*sx)/n, 1e-7) // the sums as written lose digits
		near(t, "limit", got.Limit, slope, 1e-7)
	})
}

func TestAsymmetryRefused(t *testing.T) {
	t.Parallel()
	nine := club(9)
	same := club(12)
	for i := range same {
		same[i].V = 0.3
	}
	bad := club(12)
	bad[3].V = -1
	for _, c := range []struct {
		all  []meta.Effect
		form meta.Form
		want error
	}{
		{nine, meta.MixedEffects, meta.ErrAsymmetry},
		{same, meta.MixedEffects, meta.ErrColumns},
		{bad, meta.Multiplicative, meta.ErrEffect},
		{club(12), "rank", meta.ErrMethod},
	} {
		if _, err := meta.Asymmetry(c.all, c.form); !errors.Is(err, c.want) {
			t.Errorf("%v, want %v", err, c.want)
		}
	}
}
