package meta_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/meta"
	"evenrig/stats/stattest"
)

// Colditz et al. (1994) and Niel-Weise et al. (2007); R 4.2.2, metafor 3.8.1,
// influence() of rma.uni at tightened stopping rules: each refit there iterates on
// its own.
func TestInfluenceReference(t *testing.T) {
	t.Parallel()
	var file struct {
		Cases []struct {
			Name, Method string
			Y, V         []float64
			StdErr       float64 `json:"std_error"`
			Estimate     float64
			RStudent     []float64
			DFFITS       []float64
			Cook         []float64
			Tau2         []float64 `json:"tau2_deleted"`
			Hat          []float64
		}
	}
	stattest.Load(t, "meta/influence.json", &file)
	for _, c := range file.Cases {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			estimator := meta.Estimator(c.Method)
			if c.Method == "EE" {
				estimator = meta.Common
			}
			all := effects(c.Y, c.V)
			got, err := meta.MeasureInfluence(all, estimator, meta.None)
			if err != nil || len(got) != len(all) {
				t.Fatal(len(got), err)
			}
			refits, err := meta.LeaveOneOut(all, estimator, meta.None, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			shares, err := meta.InformationShares(all, estimator)
			if err != nil {
				t.Fatal(err)
			}
			for i, g := range got {
				const iterated = 1e-8 // τ² by Fisher scoring, stopped at steps of 1e-14, by bisection for PM
				stattest.Within(t, "τ² without", g.Tau2, c.Tau2[i], iterated)
				stattest.Within(t, "hat value", g.Share, c.Hat[i], iterated)
				stattest.Within(t, "share", shares[i], c.Hat[i], iterated)
				stattest.Within(t, "residual", g.Residual, c.RStudent[i], iterated)
				stattest.Within(t, "DFFITS", g.DFFITS, c.DFFITS[i], iterated)
				stattest.Within(t, "Cook's distance", g.Cook, c.Cook[i], iterated)
				stattest.Within(t, "change", g.Change, refits[i].Mu-c.Estimate, iterated)
				stattest.Within(t, "change in SEs", g.ChangeInStdErrs, (refits[i].Mu-c.Estimate)/c.StdErr, iterated)
				if g.Notable != (math.Abs(g.Change) > 0.25) {
					t.Errorf("effect %d: change %g, notable %v", i+1, g.Change, g.Notable)
				}
			}
		})
	}
}

// refit is Pool of all effects but the i-th.
func refit(t *rapid.T, all []meta.Effect, i int, e meta.Estimator, a meta.Adjustment) meta.Row {
	rest := append(append([]meta.Effect{}, all[:i]...), all[i+1:]...)
	return mustPool(t, rest, e, a)
}

// Leaving out is refitting the rest, by every estimator, with variances and
// estimates that let one effect outweigh all others.
func TestLeaveOneOutIsRefitting(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		all := drawEffects(t, 3)
		if rapid.Bool().Draw(t, "an outlier") {
			all[0].Y = rapid.Float64Range(-1000, 1000).Draw(t, "outlier")
		}
		if rapid.Bool().Draw(t, "a heavyweight") {
			all[len(all)-1].V = math.Exp(rapid.Float64Range(-25, -7).Draw(t, "ln v of the heavyweight"))
		}
		for _, e := range append([]meta.Estimator{meta.Common}, estimators...) {
			a := meta.None
			if e != meta.Common {
				a = rapid.SampledFrom(adjustments).Draw(t, "adjustment")
			}
			refits, err := meta.LeaveOneOut(all, e, a, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			for i, got := range refits {
				want := refit(t, all, i, e, a)
				scale := math.Max(1, math.Abs(all[0].Y))
				const tol = 1e-8 // a flat likelihood leaves τ² that uncertain, in both
				near(t, "τ²", got.Tau2/(scale*scale), want.Tau2/(scale*scale), tol)
				near(t, "μ", got.Mu/scale, want.Mu/scale, tol)
				near(t, "SE", got.StdErr/scale, want.StdErr/scale, tol)
				near(t, "low", got.Low/scale, want.Low/scale, 100*tol) // t on 1 degree of freedom: 12.7 SEs
				near(t, "prediction", got.PredictionHigh/scale, want.PredictionHigh/scale, 100*tol)
				near(t, "p", got.P, want.P, 100*tol)
				if got.Estimator != e || got.Adjustment != a || got.K != want.K || got.DF != want.DF || got.HasPrediction != want.HasPrediction {
					t.Errorf("row %+v, want %+v", got, want)
				}
			}
		}
	})
}

// On a club of ordinary size the refits are equal to twelve digits.
func TestLeaveOneOutDigits(t *testing.T) {
	t.Parallel()
	all := club(400)
	for _, e := range estimators {
		refits, err := meta.LeaveOneOut(all, e, meta.ModifiedHK, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		rest := make([]meta.Effect, len(all)-1)
		for i := range all {
			copy(rest, all[:i])
			copy(rest[i:], all[i+1:])
			want, err := meta.Pool(rest, e, meta.ModifiedHK, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			const digits = 1e-12
			stattest.Relative(t, "τ²", refits[i].Tau2, want.Tau2, digits)
			stattest.Relative(t, "μ", refits[i].Mu, want.Mu, digits)
			stattest.Relative(t, "SE", refits[i].StdErr, want.StdErr, digits)
			stattest.Relative(t, "high", refits[i].High, want.High, digits)
		}
	}
}

// The definitions of Viechtbauer & Cheung (2010), worked from refits.
func TestInfluenceByDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		all := drawEffects(t, 4)
		for _, e := range estimators {
			row := mustPool(t, all, e, meta.None)
			headline := mustPool(t, all, e, meta.ModifiedHK)
			got, err := meta.MeasureInfluence(all, e, meta.ModifiedHK)
			if err != nil {
				t.Fatal(err)
			}
			var sum float64
			for i, g := range got {
				without := refit(t, all, i, e, meta.None)
				const tol = 1e-7 // ratios of differences of values good to 1e-8, as above
				hat := row.StdErr * row.StdErr / (all[i].V + row.Tau2)
				change := without.Mu - row.Mu
				near(t, "share", g.Share, hat, tol)
				near(t, "change", g.Change, change, tol)
				near(t, "change in SEs", g.ChangeInStdErrs, change/headline.StdErr, 1e3*tol)
				near(t, "residual", g.Residual, (all[i].Y-without.Mu)/math.Sqrt(all[i].V+without.Tau2+without.StdErr*without.StdErr), 1e3*tol)
				near(t, "DFFITS", g.DFFITS, -change/math.Sqrt(hat*(all[i].V+without.Tau2)), 1e4*tol)
				near(t, "Cook", g.Cook, change*change/(row.StdErr*row.StdErr), 1e4*tol)
				sum += g.Share
			}
			near(t, "sum of shares", sum, 1, 1e-14)
		}
	})
}

// All estimates equal: nobody changes anything, also where HK makes the standard error 0.
func TestNoInfluence(t *testing.T) {
	t.Parallel()
	all := []meta.Effect{{Y: 0.5, V: 1}, {Y: 0.5, V: 2}, {Y: 0.5, V: 4}}
	got, err := meta.MeasureInfluence(all, meta.REML, meta.HK)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{4. / 7, 2. / 7, 1. / 7} {
		stattest.Absolute(t, "share", got[i].Share, want, 1e-15)
		stattest.Absolute(t, "change", got[i].Change, 0, 1e-15)
		if got[i].Notable || got[i].Tau2 != 0 {
			t.Errorf("%+v", got[i])
		}
	}
}

func TestInfluenceRefused(t *testing.T) {
	t.Parallel()
	two := []meta.Effect{{Y: 1, V: 1}, {Y: 2, V: 1}}
	three := append(two, meta.Effect{Y: 3, V: 1})
	_, few := meta.MeasureInfluence(two, meta.REML, meta.None)
	_, method := meta.MeasureInfluence(three, "KR", meta.None)
	_, adjustment := meta.MeasureInfluence(three, meta.Common, meta.HK)
	_, effect := meta.MeasureInfluence([]meta.Effect{{Y: math.NaN(), V: 1}, {V: 1}, {V: 1}}, meta.DL, meta.None)
	_, level := meta.LeaveOneOut(three, meta.REML, meta.HK, 1)
	_, leaveMethod := meta.LeaveOneOut(three, "KR", meta.HK, 0.95)
	_, shares := meta.InformationShares(nil, meta.Common)
	for _, c := range []struct{ err, want error }{
		{few, meta.ErrTooFewEffects},
		{method, meta.ErrMethod},
		{adjustment, meta.ErrMethod},
		{effect, meta.ErrEffect},
		{level, meta.ErrLevel},
		{leaveMethod, meta.ErrMethod},
		{shares, meta.ErrTooFewEffects},
	} {
		if !errors.Is(c.err, c.want) {
			t.Errorf("%v, want %v", c.err, c.want)
		}
	}
	// Two suffice where τ² is not estimated.
	got, err := meta.MeasureInfluence(two, meta.Common, meta.None)
	if err != nil || math.Abs(got[0].Change-0.5) > 1e-15 {
		t.Errorf("%+v, %v", got, err)
	}
}

func FuzzInfluence(f *testing.F) {
	f.Add(1.0, 1e-12, 2.0, 1e12, 1e6, 1e-3)
	f.Add(0.0, 1.0, 0.0, 1.0, 5e-324, 1.0)
	f.Add(-1e6, 1.0, 1e6, 1e-12, 1e6, 1e-12)
	f.Fuzz(func(t *testing.T, y1, v1, y2, v2, y3, v3 float64) {
		all := []meta.Effect{{Y: y1, V: v1}, {Y: y2, V: v2}, {Y: y3, V: v3}, {Y: -y1, V: v2}}
		for _, e := range append([]meta.Estimator{meta.Common}, estimators...) {
			a := meta.HK
			if e == meta.Common {
				a = meta.None
			}
			got, err := meta.MeasureInfluence(all, e, a)
			if err != nil {
				continue
			}
			for _, g := range got {
				for _, x := range []float64{g.Share, g.Change, g.ChangeInStdErrs, g.Residual, g.DFFITS, g.Cook, g.Tau2} {
					if math.IsNaN(x) || math.IsInf(x, 0) {
						t.Errorf("%s of %v: %+v", e, all, g)
					}
				}
				if g.Share < 0 || g.Share > 1+1e-12 || g.Tau2 < 0 {
					t.Errorf("%s of %v: %+v", e, all, g)
				}
			}
			refits, err := meta.LeaveOneOut(all, e, a, 0.9)
			if err != nil {
				t.Errorf("%s of %v: %v", e, all, err)
			}
			shares, err := meta.InformationShares(all, e)
			var sum float64
			for _, share := range shares {
				sum += share
			}
			if err != nil || !(math.Abs(sum-1) < 1e-12) {
				t.Errorf("%s of %v: shares %v, %v", e, all, shares, err)
			}
			for _, r := range refits {
				for _, x := range []float64{r.Mu, r.StdErr, r.Low, r.High, r.P, r.Tau2, r.PredictionLow, r.PredictionHigh} {
					if math.IsNaN(x) || math.IsInf(x, 0) {
						t.Errorf("%s of %v: %+v", e, all, r)
					}
				}
			}
		}
	})
}
