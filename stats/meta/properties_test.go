package meta_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/exact"
	"evenrig/stats/meta"
)

var (
	estimators  = []meta.Estimator{meta.DL, meta.PM, meta.REML, meta.ML}
	adjustments = []meta.Adjustment{meta.None, meta.HK, meta.ModifiedHK}
)

// drawEffects draws least to 12 effects whose variances differ by up to four orders.
func drawEffects(t *rapid.T, least int) []meta.Effect {
	effect := rapid.Custom(func(t *rapid.T) meta.Effect {
		return meta.Effect{
			Y: rapid.Float64Range(-5, 5).Draw(t, "y"),
			V: math.Exp(rapid.Float64Range(-7, 2).Draw(t, "ln v")),
		}
	})
	return rapid.SliceOfN(effect, least, 12).Draw(t, "effects")
}

func near(t *rapid.T, name string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Max(1, math.Abs(want))) {
		t.Errorf("%s = %.15g, want %.15g", name, got, want)
	}
}

func mustPool(t *rapid.T, all []meta.Effect, e meta.Estimator, a meta.Adjustment) meta.Row {
	r, err := meta.Pool(all, e, a, 0.95)
	if err != nil {
		t.Fatalf("%s %s of %v: %v", e, a, all, err)
	}
	return r
}

// Changing the sign of all effects mirrors every row; their order does not matter; a
// shift of all moves μ and nothing else; effects on another scale move with it.
func TestEquivariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := drawEffects(t, 2)
		shift := rapid.Float64Range(-3, 3).Draw(t, "shift")
		scale := rapid.SampledFrom([]float64{0.5, 2, 4}).Draw(t, "scale")
		mirrored, shifted, scaled := make([]meta.Effect, len(all)), make([]meta.Effect, len(all)), make([]meta.Effect, len(all))
		for i, e := range all {
			mirrored[i] = meta.Effect{Y: -e.Y, V: e.V}
			shifted[i] = meta.Effect{Y: e.Y + shift, V: e.V}
			scaled[i] = meta.Effect{Y: scale * e.Y, V: scale * scale * e.V}
		}
		permuted := rapid.Permutation(all).Draw(t, "order")
		for _, e := range estimators {
			for _, a := range adjustments {
				r := mustPool(t, all, e, a)
				m, s, p, c := mustPool(t, mirrored, e, a), mustPool(t, shifted, e, a), mustPool(t, permuted, e, a), mustPool(t, scaled, e, a)
				const tol = 1e-8 // a flat likelihood leaves τ² that uncertain
				near(t, "mirrored μ", m.Mu, -r.Mu, tol)
				near(t, "mirrored low", m.Low, -r.High, tol)
				near(t, "mirrored p", m.P, r.P, tol)
				near(t, "shifted μ", s.Mu, r.Mu+shift, tol)
				near(t, "shifted SE", s.StdErr, r.StdErr, tol)
				near(t, "shifted τ²", s.Tau2, r.Tau2, tol)
				near(t, "permuted μ", p.Mu, r.Mu, tol)
				near(t, "permuted high", p.High, r.High, tol)
				near(t, "scaled μ", c.Mu, scale*r.Mu, tol)
				near(t, "scaled τ²", c.Tau2, scale*scale*r.Tau2, tol)
			}
		}
	})
}

// k equal estimates: nothing between anglers, Q at 0, μ their common value.
func TestEqualEstimates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := drawEffects(t, 2)
		for i := range all {
			all[i].Y = all[0].Y
		}
		h, err := meta.MeasureHeterogeneity(all, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "Q", h.Q, 0, 1e-24)
		near(t, "p", h.P, 1, 1e-9)
		if h.I2 != 0 || h.Tau2Low != 0 || h.Tau2High != 0 {
			t.Errorf("%+v, want no heterogeneity", h)
		}
		for _, e := range estimators {
			common, row := mustPool(t, all, meta.Common, meta.None), mustPool(t, all, e, meta.None)
			if row.Tau2 != 0 {
				t.Errorf("%s: τ² = %g of equal estimates", e, row.Tau2)
			}
			near(t, "μ", row.Mu, all[0].Y, 1e-13)
			near(t, "SE", row.StdErr, common.StdErr, 1e-14)
			for _, a := range []meta.Adjustment{meta.HK, meta.ModifiedHK} {
				adjusted := mustPool(t, all, e, a)
				if a == meta.HK {
					near(t, "HK SE", adjusted.StdErr, 0, 1e-12)
				} else {
					near(t, "modified HK SE", adjusted.StdErr, row.StdErr, 1e-14)
				}
			}
		}
	})
}

// The definitions: PM solves Q(τ²) = k-1; REML and ML are not beaten anywhere on
// a fine grid; with equal variances all estimators but ML agree; the limits of τ²
// put Q at the quantiles; modified HK is never narrower than HK or, at equal degrees, q = 1.
func TestDefinitions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := drawEffects(t, 3)
		k := float64(len(all))
		pm := mustPool(t, all, meta.PM, meta.HK)
		if pm.Tau2 > 0 {
			near(t, "Q at PM", generalisedQ(all, pm.Tau2), k-1, 1e-9)
		} else if q := generalisedQ(all, 0); q > k-1 {
			t.Errorf("PM is 0 although Q = %g is above %g", q, k-1)
		}
		for _, e := range []meta.Estimator{meta.REML, meta.ML} {
			top := profile(all, mustPool(t, all, e, meta.None).Tau2, e == meta.REML)
			for tau2 := 1e-8; tau2 < 1e3; tau2 *= 1.02 {
				if l := profile(all, tau2, e == meta.REML); l > top+1e-10 {
					t.Fatalf("%s: τ² = %g is likelier by %g", e, tau2, l-top)
				}
			}
			if l := profile(all, 0, e == meta.REML); l > top+1e-10 {
				t.Fatalf("%s: τ² = 0 is likelier by %g", e, l-top)
			}
		}
		hk, modified := mustPool(t, all, meta.REML, meta.HK), mustPool(t, all, meta.REML, meta.ModifiedHK)
		if modified.High-modified.Low < (hk.High-hk.Low)*(1-1e-12) {
			t.Error("modified HK is narrower than HK")
		}
		h, err := meta.MeasureHeterogeneity(all, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		if !(h.Tau2Low <= pm.Tau2 && pm.Tau2 <= h.Tau2High) && h.Tau2High > 0 {
			t.Errorf("limits %g, %g of τ² do not hold PM's %g", h.Tau2Low, h.Tau2High, pm.Tau2)
		}
		for i := range all {
			all[i].V = all[0].V
		}
		dl := mustPool(t, all, meta.DL, meta.None).Tau2
		near(t, "PM at equal variances", mustPool(t, all, meta.PM, meta.None).Tau2, dl, 1e-9)
		near(t, "REML at equal variances", mustPool(t, all, meta.REML, meta.None).Tau2, dl, 1e-9)
	})
}

// generalisedQ and profile are written out here again, from the sources, so that
// the package is not checked with itself.
func generalisedQ(all []meta.Effect, tau2 float64) float64 {
	var w, wy, q float64
	for _, e := range all {
		w += 1 / (e.V + tau2)
		wy += e.Y / (e.V + tau2)
	}
	for _, e := range all {
		q += (e.Y - wy/w) * (e.Y - wy/w) / (e.V + tau2)
	}
	return q
}

func profile(all []meta.Effect, tau2 float64, restricted bool) float64 {
	l, w := -generalisedQ(all, tau2)/2, 0.0
	for _, e := range all {
		l -= math.Log(e.V+tau2) / 2
		w += 1 / (e.V + tau2)
	}
	if restricted {
		l -= math.Log(w) / 2
	}
	return l
}

// A likelihood with two maxima in τ²: precise estimates close together pull to 0,
// imprecise ones far apart pull away. The higher one is taken, whichever it is.
func TestTwoMaxima(t *testing.T) {
	seen := map[bool]int{}
	for spread := 1.0; spread < 12; spread += 0.25 {
		all := []meta.Effect{
			{Y: 0, V: 0.0001},
			{Y: 0.001, V: 0.0001},
			{Y: -spread, V: 0.5},
			{Y: spread, V: 0.5},
			{Y: 0.9 * spread, V: 0.5},
		}
		for _, restricted := range []bool{true, false} {
			e := meta.ML
			if restricted {
				e = meta.REML
			}
			tau2, err := meta.Tau2(all, e)
			if err != nil {
				t.Fatal(err)
			}
			maxima := 0
			best, before, rising := 0.0, profile(all, 0, restricted), true
			for x := 1e-9; x < 1e3; x *= 1.01 {
				l := profile(all, x, restricted)
				if l < before && rising {
					maxima++
				}
				rising = l >= before
				if l > profile(all, best, restricted) {
					best = x
				}
				before = l
			}
			seen[maxima > 1]++
			if profile(all, tau2, restricted) < profile(all, best, restricted)-1e-9 {
				t.Errorf("spread %g, %s: τ² = %g is less likely than %g", spread, e, tau2, best)
			}
		}
	}
	if seen[true] == 0 {
		t.Error("none of these likelihoods has two maxima: the test tests nothing")
	}
}

func TestRefusals(t *testing.T) {
	one := []meta.Effect{{Y: 1, V: 1}}
	two := []meta.Effect{{Y: 1, V: 1}, {Y: 2, V: 1}}
	pool := func(all []meta.Effect, e meta.Estimator, a meta.Adjustment, level float64) error {
		_, err := meta.Pool(all, e, a, level)
		return err
	}
	_, looErr := meta.LeaveOneOut(two, meta.REML, meta.ModifiedHK, 0.95)
	_, hetErr := meta.MeasureHeterogeneity(one, 0.95)
	_, levelErr := meta.MeasureHeterogeneity(two, 0)
	_, _, emptyErr := meta.AnglerEffect(exact.Table{A: 3, B: 2})
	_, _, countErr := meta.AnglerEffect(exact.Table{A: -3, B: 2})
	for _, c := range []struct {
		name string
		err  error
		want error
	}{
		{"none", pool(nil, meta.Common, meta.None, 0.95), meta.ErrTooFewEffects},
		{"one, REML", pool(one, meta.REML, meta.None, 0.95), meta.ErrTooFewEffects},
		{"one, adjusted", pool(one, meta.DL, meta.ModifiedHK, 0.95), meta.ErrTooFewEffects},
		{"common, adjusted", pool(two, meta.Common, meta.HK, 0.95), meta.ErrMethod},
		{"unknown estimator", pool(two, "EB", meta.None, 0.95), meta.ErrMethod},
		{"unknown adjustment", pool(two, meta.DL, "KR", 0.95), meta.ErrMethod},
		{"level 1", pool(two, meta.DL, meta.None, 1), meta.ErrLevel},
		{"variance 0", pool([]meta.Effect{{Y: 1}, {Y: 2, V: 1}}, meta.DL, meta.None, 0.95), meta.ErrEffect},
		{"NaN", pool([]meta.Effect{{Y: math.NaN(), V: 1}, {Y: 2, V: 1}}, meta.DL, meta.None, 0.95), meta.ErrEffect},
		{"infinite variance", pool([]meta.Effect{{Y: 1, V: math.Inf(1)}, {Y: 2, V: 1}}, meta.DL, meta.None, 0.95), meta.ErrEffect},
		{"leave one of two out", looErr, meta.ErrTooFewEffects},
		{"heterogeneity of one", hetErr, meta.ErrTooFewEffects},
		{"heterogeneity at level 0", levelErr, meta.ErrLevel},
		{"an empty arrangement", emptyErr, meta.ErrEmptyArrangement},
		{"a negative count", countErr, exact.ErrCount},
	} {
		if !errors.Is(c.err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, c.err, c.want)
		}
	}
	// One estimate is its own common effect.
	r, err := meta.Pool(one, meta.Common, meta.None, 0.95)
	if err != nil || r.Mu != 1 || r.StdErr != 1 {
		t.Errorf("one estimate: %+v, %v", r, err)
	}
	// Two give t on 1 degree of freedom and no prediction.
	r, err = meta.Pool(two, meta.REML, meta.ModifiedHK, 0.95)
	if err != nil || r.DF != 1 || r.HasPrediction {
		t.Errorf("two estimates: %+v, %v", r, err)
	}
}

// Counts up to a million and effects of any size give finite rows or an error.
func FuzzFiniteOrError(f *testing.F) {
	f.Add(int64(0), int64(1), int64(2), int64(1_000_000), 1e9, 1e-9, 1e-300, 0.95)
	f.Add(int64(8), int64(0), int64(0), int64(8), 0.0, 1.0, 1e300, 0.999999)
	f.Add(int64(24), int64(24), int64(24), int64(24), 0.0, 0.2, 0.0, 0.5)
	f.Fuzz(func(t *testing.T, a, b, c, d int64, y1, v1, y2, level float64) {
		var all []meta.Effect
		if e, _, err := meta.AnglerEffect(exact.Table{A: a, B: b, C: c, D: d}); err == nil {
			all = append(all, e, meta.Effect{Y: -e.Y, V: 2 * e.V})
		}
		all = append(all, meta.Effect{Y: y1, V: v1}, meta.Effect{Y: y2, V: 1})
		finite := func(name string, values ...float64) {
			t.Helper()
			for _, v := range values {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%v at level %g: %s has %v", all, level, name, values)
				}
			}
		}
		for _, e := range append([]meta.Estimator{meta.Common}, estimators...) {
			for _, adjustment := range adjustments {
				r, err := meta.Pool(all, e, adjustment, level)
				if err != nil {
					continue
				}
				finite(string(e)+" "+string(adjustment), r.Mu, r.StdErr, r.Low, r.High, r.P, r.Tau2, r.PredictionLow, r.PredictionHigh)
				if r.P < 0 || r.P > 1 || r.Tau2 < 0 {
					t.Errorf("%v: %+v", all, r)
				}
			}
		}
		if h, err := meta.MeasureHeterogeneity(all, level); err == nil {
			finite("heterogeneity", h.Q, h.P, h.I2, h.Tau2Low, h.Tau2High)
		}
	})
}

// Two estimates: τ² is half of (y₁-y₂)² - v₁ - v₂, or 0, by moments and by restricted
// likelihood alike (from the formulas by hand), and so it must be to the last digits
// however unequal the two variances are.
func TestTwoEstimatesClosedForm(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v1 := math.Exp(rapid.Float64Range(-27, 2).Draw(t, "ln v1"))
		v2 := math.Exp(rapid.Float64Range(-27, 2).Draw(t, "ln v2"))
		y := math.Sqrt(v1+v2) * rapid.Float64Range(0, 10).Draw(t, "distance in SEs")
		want := math.Max(0, (y*y-v1-v2)/2)
		for _, e := range []meta.Estimator{meta.DL, meta.PM, meta.REML} {
			got, err := meta.Tau2([]meta.Effect{{Y: y, V: v1}, {Y: 0, V: v2}}, e)
			// Of the difference of y² and v₁ + v₂ no more digits are left than these.
			if err != nil || !(math.Abs(got-want) <= 1e-12*(y*y+v1+v2)) {
				t.Errorf("%s: τ² = %.15g of distance %g, variances %g, %g; want %.15g; %v", e, got, y, v1, v2, want, err)
			}
		}
	})
}
