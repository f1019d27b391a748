package meta_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/meta"
	"evenrig/stats/stattest"
)

var tests = map[string]meta.Adjustment{"z": meta.None, "knha": meta.HK, "adhoc": meta.ModifiedHK}

// Log risk ratios of Colditz et al. (1994) on absolute latitude, on latitude and
// year, and on two columns for the kind of allocation; R 4.2.2, metafor 3.8.1.
func TestRegressReference(t *testing.T) {
	t.Parallel()
	var bcg setsFile
	stattest.Load(t, "meta/sets.json", &bcg)
	all := effects(bcg.Sets[0].Y, bcg.Sets[0].V)
	var file struct {
		Cases []struct {
			Name, Method, Test string
			Columns            [][]float64
			Coef, P, Low, High []float64
			StdErr             []float64 `json:"std_error"`
			Tau2, QM, QE       float64
			QMDF               int     `json:"qm_df"`
			QMDF2              int     `json:"qm_df2"`
			QMP                float64 `json:"qm_p"`
			QEDF               int     `json:"qe_df"`
			QEP                float64 `json:"qe_p"`
			Vcov               [][]float64
		}
	}
	stattest.Load(t, "meta/regression.json", &file)
	if len(file.Cases) != 39 {
		t.Fatalf("%d cases", len(file.Cases))
	}
	for _, c := range file.Cases {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			estimator := meta.Estimator(c.Method)
			if c.Method == "EE" {
				estimator = meta.Common
			}
			r, err := meta.Regress(all, c.Columns, estimator, tests[c.Test], 0.95)
			if err != nil {
				t.Fatal(err)
			}
			// With calendar years as a column metafor's normal equations are conditioned
			// like (1950/15)²·(1/.04)², which leaves its own values 9 to 10 digits.
			const digits = 1e-8
			stattest.Within(t, "τ²", r.Tau2, c.Tau2, digits)
			stattest.Relative(t, "QE", r.QE, c.QE, digits)
			stattest.Relative(t, "QE p", r.QEP, c.QEP, 10*digits)
			stattest.Relative(t, "QM", r.QM, c.QM, digits)
			stattest.Relative(t, "QM p", r.QMP, c.QMP, 10*digits)
			if r.QEDF != c.QEDF || r.QMDF1 != c.QMDF || r.QMDF2 != c.QMDF2 || r.K != 13 || len(r.Coefficients) != len(c.Coef) {
				t.Errorf("degrees of freedom: %+v", r)
			}
			for i, b := range r.Coefficients {
				stattest.Relative(t, "coefficient", b.Estimate, c.Coef[i], digits)
				stattest.Relative(t, "SE", b.StdErr, c.StdErr[i], digits)
				stattest.Relative(t, "low", b.Low, c.Low[i], 10*digits)
				stattest.Relative(t, "high", b.High, c.High[i], 10*digits)
				stattest.Relative(t, "p", b.P, c.P[i], 10*digits)
				for j, v := range r.Vcov[i] {
					stattest.Relative(t, "covariance", v, c.Vcov[i][j], 10*digits)
				}
			}
		})
	}
}

// Absolute latitude and year, REML, as printed to four decimals in Viechtbauer
// (2010), Journal of Statistical Software 36(3), in its section on moderators (from
// memory; equal to metafor 3.8.1 but for the stopping rule of the day).
func TestRegressAsPrinted(t *testing.T) {
	t.Parallel()
	var bcg setsFile
	stattest.Load(t, "meta/sets.json", &bcg)
	latitude := []float64{44, 55, 42, 52, 13, 44, 19, 13, 27, 42, 18, 33, 33}
	year := []float64{1948, 1949, 1960, 1977, 1973, 1953, 1973, 1980, 1968, 1961, 1974, 1969, 1976}
	r, err := meta.Regress(effects(bcg.Sets[0].Y, bcg.Sets[0].V), [][]float64{latitude, year}, meta.REML, meta.None, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	const half = 5e-5 // of the fourth decimal
	stattest.Absolute(t, "intercept", r.Coefficients[0].Estimate, -3.5455, 3e-4)
	stattest.Absolute(t, "latitude", r.Coefficients[1].Estimate, -0.0280, half)
	stattest.Absolute(t, "latitude SE", r.Coefficients[1].StdErr, 0.0102, half)
	stattest.Absolute(t, "year", r.Coefficients[2].Estimate, 0.0019, half)
	stattest.Absolute(t, "year SE", r.Coefficients[2].StdErr, 0.0147, half)
	stattest.Absolute(t, "τ²", r.Tau2, 0.1108, half)
	stattest.Absolute(t, "QE", r.QE, 28.3251, half)
	stattest.Absolute(t, "QM", r.QM, 12.2043, 2e-4)
}

// regressAt is weighted least squares at a given τ² by the normal equations and
// Gauss-Jordan, written out again: coefficients, (X'WX)⁻¹, q, Σw²r², tr P, ln det.
func regressAt(all []meta.Effect, columns [][]float64, tau2 float64) (b []float64, inverse [][]float64, q, w2r2, trace, logDet float64) {
	p := len(columns) + 1
	x := func(i, j int) float64 {
		if j == 0 {
			return 1
		}
		return columns[j-1][i]
	}
	a := make([][]float64, p)
	for j := range a {
		a[j] = make([]float64, 2*p+1)
		a[j][p+1+j] = 1
		for i, e := range all {
			w := 1 / (e.V + tau2)
			for l := range p {
				a[j][l] += w * x(i, j) * x(i, l)
			}
			a[j][p] += w * x(i, j) * e.Y
		}
	}
	for j := range p {
		pivot := a[j][j]
		logDet += math.Log(pivot)
		for l := range a[j] {
			a[j][l] /= pivot
		}
		for m := range p {
			if m != j {
				f := a[m][j]
				for l := range a[m] {
					a[m][l] -= f * a[j][l]
				}
			}
		}
	}
	for j := range p {
		b = append(b, a[j][p])
		inverse = append(inverse, a[j][p+1:])
	}
	for i, e := range all {
		w, r, hat := 1/(e.V+tau2), e.Y, 0.0
		for j := range p {
			r -= b[j] * x(i, j)
			for l := range p {
				hat += w * x(i, j) * inverse[j][l] * x(i, l)
			}
		}
		q += w * r * r
		w2r2 += w * w * r * r
		trace += w * (1 - hat)
	}
	return b, inverse, q, w2r2, trace, logDet
}

func drawRegression(t *rapid.T) ([]meta.Effect, [][]float64) {
	all := drawEffects(t, 6)
	columns := make([][]float64, rapid.IntRange(0, 2).Draw(t, "columns"))
	for j := range columns {
		columns[j] = make([]float64, len(all))
		for i := range all { // apart by position, so that no two columns are alike
			columns[j][i] = math.Cos(float64((j+1)*(i+1))) + rapid.Float64Range(-0.3, 0.3).Draw(t, "x")
		}
	}
	return all, columns
}

// By brute force: the fit at the τ² found is least squares, and that τ² satisfies
// its estimator's definition: no point of a fine grid is likelier.
func TestRegressByDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		all, columns := drawRegression(t)
		df := float64(len(all) - len(columns) - 1)
		for _, e := range estimators {
			r, err := meta.Regress(all, columns, e, meta.HK, 0.9)
			if err != nil {
				t.Fatal(err)
			}
			const tol = 1e-8 // normal equations with weights that differ by four orders
			b, inverse, q, _, _, _ := regressAt(all, columns, r.Tau2)
			for j := range b {
				near(t, "coefficient", r.Coefficients[j].Estimate, b[j], tol)
				near(t, "variance", r.Vcov[j][j], inverse[j][j]*q/df, tol)
			}
			_, _, q0, _, trace0, _ := regressAt(all, columns, 0)
			near(t, "QE", r.QE, q0, tol)
			switch e {
			case meta.DL:
				near(t, "DL", r.Tau2, math.Max(0, (q0-df)/trace0), tol)
			case meta.PM:
				if r.Tau2 > 0 {
					near(t, "Q at PM", q, df, tol)
				} else if q0 > df*(1+tol) {
					t.Errorf("PM is 0 although Q = %g is above %g", q0, df)
				}
			default:
				height := func(tau2 float64) float64 {
					_, _, q, _, _, logDet := regressAt(all, columns, tau2)
					l := -q
					for _, x := range all {
						l -= math.Log(x.V + tau2)
					}
					if e == meta.REML {
						l -= logDet
					}
					return l / 2
				}
				top := height(r.Tau2)
				for tau2 := 1e-6; tau2 < 1e3; tau2 *= 1.1 {
					if l := height(tau2); l > top+1e-9 {
						t.Fatalf("%s: τ² = %g is likelier than %g by %g", e, tau2, r.Tau2, l-top)
					}
				}
				if l := height(0); l > top+1e-9 {
					t.Fatalf("%s: τ² = 0 is likelier than %g by %g", e, r.Tau2, l-top)
				}
			}
		}
	})
}

// Without columns the regression is Pool; another unit or origin of a column moves
// its coefficient alone.
func TestRegressEquivariance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		all, columns := drawRegression(t)
		e := rapid.SampledFrom(estimators).Draw(t, "estimator")
		a := rapid.SampledFrom(adjustments).Draw(t, "adjustment")
		const tol = 1e-8 // a flat likelihood leaves τ² that uncertain
		plain, err := meta.Regress(all, nil, e, a, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		row := mustPool(t, all, e, a)
		near(t, "μ", plain.Coefficients[0].Estimate, row.Mu, tol)
		near(t, "SE", plain.Coefficients[0].StdErr, row.StdErr, tol)
		near(t, "high", plain.Coefficients[0].High, row.High, 10*tol)
		near(t, "τ²", plain.Tau2, row.Tau2, tol)
		near(t, "p", plain.Coefficients[0].P, row.P, 10*tol)
		if plain.QM != 0 || plain.QMP != 1 || plain.QMDF1 != 0 {
			t.Errorf("a test of no columns: %+v", plain)
		}
		if len(columns) == 0 {
			return
		}
		r, err := meta.Regress(all, columns, e, a, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		inches := append([][]float64{}, columns...)
		inches[0] = make([]float64, len(all))
		for i, x := range columns[0] {
			inches[0][i] = x/2.54 + 3
		}
		s, err := meta.Regress(all, inches, e, a, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "slope in inches", s.Coefficients[1].Estimate, r.Coefficients[1].Estimate*2.54, 10*tol)
		near(t, "QM", s.QM, r.QM, 100*tol)
		near(t, "p", s.Coefficients[1].P, r.Coefficients[1].P, 100*tol)
		if len(columns) == 1 { // one column: QM is the square of its statistic
			near(t, "QM and p", r.QMP, r.Coefficients[1].P, 100*tol)
		}
	})
}

func TestRegressRefused(t *testing.T) {
	t.Parallel()
	all := []meta.Effect{{Y: 1, V: 1}, {Y: 2, V: 1}, {Y: 0, V: 1}, {Y: 3, V: 2}}
	x := []float64{1, 2, 3, 5}
	regress := func(columns [][]float64, e meta.Estimator, a meta.Adjustment, level float64) error {
		_, err := meta.Regress(all, columns, e, a, level)
		return err
	}
	for _, c := range []struct {
		name      string
		err, want error
	}{
		{"three columns for four", regress([][]float64{x, {1, 0, 0, 0}, {0, 1, 0, 0}}, meta.REML, meta.None, 0.95), meta.ErrTooFewEffects},
		{"a short column", regress([][]float64{{1, 2, 3}}, meta.REML, meta.None, 0.95), meta.ErrColumns},
		{"a constant column", regress([][]float64{{3, 3, 3, 3}}, meta.REML, meta.None, 0.95), meta.ErrColumns},
		{"a column twice", regress([][]float64{x, {2.5, 4.5, 6.5, 10.5}}, meta.REML, meta.None, 0.95), meta.ErrColumns},
		{"NaN", regress([][]float64{{1, 2, 3, math.NaN()}}, meta.REML, meta.None, 0.95), meta.ErrColumns},
		{"level", regress([][]float64{x}, meta.REML, meta.None, 0), meta.ErrLevel},
		{"estimator", regress([][]float64{x}, "KR", meta.None, 0.95), meta.ErrMethod},
		{"common with HK", regress([][]float64{x}, meta.Common, meta.HK, 0.95), meta.ErrMethod},
	} {
		if !errors.Is(c.err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, c.err, c.want)
		}
	}
}

func FuzzRegress(f *testing.F) {
	f.Add(1.0, 1e-12, 2.0, 1e12, 1e6, 3.0, 4.0, 0.95)
	f.Add(0.0, 1.0, 0.0, 1.0, 5e-324, 1.0, 1.0, 0.5)
	f.Add(-1e6, 1.0, 1e6, 1e-12, 1e6, -1e6, 1e-9, 0.999)
	f.Fuzz(func(t *testing.T, y1, v1, y2, v2, x1, x2, x3, level float64) {
		all := []meta.Effect{{Y: y1, V: v1}, {Y: y2, V: v2}, {Y: -y1, V: v2}, {Y: y2 / 2, V: v1}, {Y: 1, V: 1}}
		columns := [][]float64{{x1, x2, x3, 0, 1}, {1, x1, x1, x2, x3}}
		finite := func(name string, values ...float64) {
			for _, v := range values {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%s of %v on %v: %v", name, all, columns, values)
				}
			}
		}
		for _, e := range estimators {
			for _, a := range adjustments {
				r, err := meta.Regress(all, columns, e, a, level)
				if err != nil {
					continue
				}
				finite("Regress", r.Tau2, r.QE, r.QEP, r.QM, r.QMP)
				for i, c := range r.Coefficients {
					finite("coefficient", c.Estimate, c.StdErr, c.Low, c.High, c.P)
					finite("covariances", r.Vcov[i]...)
				}
			}
		}
		twelve := append(append(append([]meta.Effect{}, all...), all...), meta.Effect{Y: x1, V: 2}, meta.Effect{Y: x2, V: 3})
		for _, form := range []meta.Form{meta.Multiplicative, meta.MixedEffects} {
			if a, err := meta.Asymmetry(twelve, form); err == nil {
				finite("Asymmetry", a.Slope, a.StdErr, a.Statistic, a.P, a.Limit)
			}
		}
		if d, err := meta.Compare(all[0], all[1], level); err == nil {
			ratio, low, high, _ := d.Ratio()
			finite("Compare", d.Estimate, d.StdErr, d.Low, d.High, d.Z, d.P, ratio, low, high)
		}
		if by, _, err := meta.StagesApart(y1, v1, y2); err == nil {
			finite("StagesApart", by)
		}
	})
}
