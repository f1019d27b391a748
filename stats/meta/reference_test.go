package meta_test

import (
	"testing"

	"evenrig/stats/exact"
	"evenrig/stats/meta"
	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// Tolerance of values that both sides compute in double precision, τ² by root
// finding. 1e-7 is asked for.
const double = 1e-10

// row is one combination as the reference files write it.
type row struct {
	Method     string             `json:"method"`
	HK         bool               `json:"knapp_hartung"`
	Estimate   float64            `json:"estimate"`
	StdErr     float64            `json:"se"`
	P          float64            `json:"p"`
	Limits     [2]float64         `json:"ci"`
	Tau2       float64            `json:"tau2_independent"`
	Prediction [2]stattest.Number `json:"pi_hts_t_km2"`
	LeaveOne   []struct {
		Omitted  int     `json:"omitted"`
		Estimate float64 `json:"estimate"`
		StdErr   float64 `json:"se"`
		Low      float64 `json:"ci_lb"`
		High     float64 `json:"ci_ub"`
		P        float64 `json:"p"`
		Tau2     float64 `json:"tau2"`
	} `json:"leave_one_out"`
}

func (r row) adjustment() meta.Adjustment {
	if r.HK {
		return meta.HK
	}
	return meta.None
}

type set struct {
	Name   string    `json:"name"`
	Y      []float64 `json:"yi"`
	V      []float64 `json:"vi"`
	Common struct {
		Estimate float64    `json:"estimate"`
		StdErr   float64    `json:"se"`
		P        float64    `json:"p"`
		Limits   [2]float64 `json:"ci"`
		Q        float64    `json:"Q"`
		DF       int        `json:"df"`
		QP       float64    `json:"Qp"`
		I2       float64    `json:"I2_from_Q"`
	} `json:"common_effect"`
	Rows     []row      `json:"rows"`
	QProfile [2]float64 `json:"tau2_qprofile"`
}

type setsFile struct {
	BCG  [][4]int64 `json:"bcg_tables_tpos_tneg_cpos_cneg"`
	Rare [][4]int64 `json:"rare_tables_a_n1_c_n2"`
	Sets []set      `json:"sets"`
}

func effects(y, v []float64) []meta.Effect {
	all := make([]meta.Effect, len(y))
	for i := range y {
		all[i] = meta.Effect{Y: y[i], V: v[i]}
	}
	return all
}

// Colditz et al. (1994) and Niel-Weise et al. (2007), as log risk and odds
// ratios; R 4.2.2, metafor 3.8.1 and own root finding in R for τ².
func TestPoolReference(t *testing.T) {
	var file setsFile
	stattest.Load(t, "meta/sets.json", &file)
	for _, s := range file.Sets {
		t.Run(s.Name, func(t *testing.T) {
			all := effects(s.Y, s.V)
			common, err := meta.Pool(all, meta.Common, meta.None, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Within(t, "common", common.Mu, s.Common.Estimate, double)
			stattest.Relative(t, "common SE", common.StdErr, s.Common.StdErr, double)
			stattest.Relative(t, "common p", common.P, s.Common.P, double)
			stattest.Within(t, "common low", common.Low, s.Common.Limits[0], double)
			stattest.Within(t, "common high", common.High, s.Common.Limits[1], double)
			if common.HasPrediction || common.Tau2 != 0 || common.DF != 0 {
				t.Errorf("the common row has a prediction, a τ² or degrees of freedom: %+v", common)
			}
			h, err := meta.MeasureHeterogeneity(all, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "Q", h.Q, s.Common.Q, double)
			stattest.Relative(t, "Q p", h.P, s.Common.QP, double)
			stattest.Within(t, "I²", h.I2, s.Common.I2/100, double)
			stattest.Absolute(t, "df", float64(h.DF), float64(s.Common.DF), 0)
			stattest.Within(t, "τ² low", h.Tau2Low, s.QProfile[0], double)
			stattest.Within(t, "τ² high", h.Tau2High, s.QProfile[1], double)
			for _, want := range s.Rows {
				t.Run(want.Method+"/"+string(want.adjustment()), func(t *testing.T) { want.check(t, all) })
			}
		})
	}
}

func (r row) check(t *testing.T, all []meta.Effect) {
	got, err := meta.Pool(all, meta.Estimator(r.Method), r.adjustment(), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Within(t, "τ²", got.Tau2, r.Tau2, double)
	stattest.Within(t, "μ", got.Mu, r.Estimate, double)
	stattest.Relative(t, "SE", got.StdErr, r.StdErr, double)
	stattest.Relative(t, "p", got.P, r.P, double)
	stattest.Within(t, "low", got.Low, r.Limits[0], double)
	stattest.Within(t, "high", got.High, r.Limits[1], double)
	stattest.Within(t, "prediction low", got.PredictionLow, float64(r.Prediction[0]), double)
	stattest.Within(t, "prediction high", got.PredictionHigh, float64(r.Prediction[1]), double)
	if r.LeaveOne == nil {
		return
	}
	refits, err := meta.LeaveOneOut(all, meta.Estimator(r.Method), r.adjustment(), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if len(refits) != len(r.LeaveOne) {
		t.Fatalf("%d refits, want %d", len(refits), len(r.LeaveOne))
	}
	for i, want := range r.LeaveOne {
		// The package's own iteration, not tightened as in the full rows: its τ² is good to about 1e-10.
		const iterated = 1e-8
		stattest.Within(t, "refit τ²", refits[i].Tau2, want.Tau2, iterated)
		stattest.Within(t, "refit μ", refits[i].Mu, want.Estimate, iterated)
		stattest.Relative(t, "refit SE", refits[i].StdErr, want.StdErr, iterated)
		stattest.Within(t, "refit low", refits[i].Low, want.Low, iterated)
		stattest.Within(t, "refit high", refits[i].High, want.High, iterated)
		stattest.Relative(t, "refit p", refits[i].P, want.P, 10*iterated)
	}
}

// The log odds ratios of the same published tables by metafor's escalc (½ added
// to all four only where one is zero) are twice our θ.
func TestAnglerEffectReference(t *testing.T) {
	var file setsFile
	stattest.Load(t, "meta/sets.json", &file)
	bySet := map[string][]exact.Table{}
	for _, r := range file.BCG {
		bySet["bcg_logOR"] = append(bySet["bcg_logOR"], exact.Table{A: r[0], B: r[1], C: r[3], D: r[2]})
	}
	for _, r := range file.Rare {
		bySet["rare_logOR"] = append(bySet["rare_logOR"], exact.Table{A: r[0], B: r[1] - r[0], C: r[3] - r[2], D: r[2]})
	}
	for _, s := range file.Sets {
		for i, table := range bySet[s.Name] {
			e, half, err := meta.AnglerEffect(table)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Within(t, "2θ", 2*e.Y, s.Y[i], double)
			stattest.Relative(t, "4·variance", 4*e.V, s.V[i], double)
			if half != table.HasZeroCell() {
				t.Errorf("%+v: half added %v", table, half)
			}
		}
	}
	if len(bySet["bcg_logOR"]) != 13 || len(bySet["rare_logOR"]) != 18 {
		t.Error("tables are missing")
	}
}

// worked are the expected values of one worked example.
type worked struct {
	Y, V                 []float64
	Common               float64
	CommonStdErr         float64 `json:"common_se"`
	Q, I2                float64
	Tau2, Mu             map[string]float64
	StdErr               float64 `json:"reml_se"`
	HKStdErr             float64 `json:"hk_se"`
	ModifiedHKStdErr     float64 `json:"modified_hk_se"`
	Wald, HK             [2]float64
	ModifiedHK           [2]float64 `json:"modified_hk"`
	ModifiedHKPrediction [2]float64 `json:"modified_hk_prediction"`
	QProfile             [2]float64 `json:"tau2_qprofile"`
	Blups                []float64
	BlupStdErr           []float64 `json:"blup_se"`
}

// D1 and D2 are invented worked examples, BCG is Colditz et al. (1994): all by
// the formulas at 60 digits. The log odds ratio there is y = 2θ.
func TestWorkedExamples(t *testing.T) {
	var file struct {
		D1 struct {
			worked
			Angler    []string `json:"angler"`
			TestLower []int64  `json:"taken_lower_of_4_test_lower"`
			TestUpper []int64  `json:"taken_lower_of_4_test_upper"`
		} `json:"d1"`
		D2 struct {
			worked
			TestLower []int64 `json:"taken_lower_of_24_test_lower"`
			TestUpper []int64 `json:"taken_lower_of_24_test_upper"`
		} `json:"d2"`
		BCG worked `json:"bcg"`
	}
	stattest.Load(t, "meta/worked.json", &file)
	t.Run("D1", func(t *testing.T) {
		byAngler := make([]exact.Table, 6)
		for i, name := range file.D1.Angler {
			table := &byAngler[name[0]-'a']
			table.A += file.D1.TestLower[i]
			table.B += 4 - file.D1.TestLower[i]
			table.C += 4 - file.D1.TestUpper[i]
			table.D += file.D1.TestUpper[i]
		}
		file.D1.worked.check(t, file.D1.logOddsRatios(t, byAngler))
	})
	t.Run("D2", func(t *testing.T) {
		byAngler := make([]exact.Table, 6)
		for i := range byAngler {
			lower, upper := file.D2.TestLower[i], file.D2.TestUpper[i]
			byAngler[i] = exact.Table{A: lower, B: 24 - lower, C: 24 - upper, D: upper}
		}
		file.D2.worked.check(t, file.D2.logOddsRatios(t, byAngler))
	})
	t.Run("BCG", func(t *testing.T) { file.BCG.check(t, effects(file.BCG.Y, file.BCG.V)) })
}

func (want worked) logOddsRatios(t *testing.T, tables []exact.Table) []meta.Effect {
	t.Helper()
	all := make([]meta.Effect, len(tables))
	for i, table := range tables {
		e, _, err := meta.AnglerEffect(table)
		if err != nil {
			t.Fatal(err)
		}
		all[i] = meta.Effect{Y: 2 * e.Y, V: 4 * e.V}
		stattest.Within(t, "y", all[i].Y, want.Y[i], double)
		stattest.Relative(t, "v", all[i].V, want.V[i], double)
	}
	return all
}

func (want worked) check(t *testing.T, all []meta.Effect) {
	t.Helper()
	pool := func(estimator meta.Estimator, adjustment meta.Adjustment) meta.Row {
		r, err := meta.Pool(all, estimator, adjustment, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	limits := func(name string, r meta.Row, want [2]float64) {
		stattest.Within(t, name+" low", r.Low, want[0], double)
		stattest.Within(t, name+" high", r.High, want[1], double)
	}
	common := pool(meta.Common, meta.None)
	stattest.Within(t, "common", common.Mu, want.Common, double)
	stattest.Relative(t, "common SE", common.StdErr, want.CommonStdErr, double)
	for name, tau2 := range want.Tau2 {
		r := pool(meta.Estimator(name), meta.None)
		stattest.Within(t, "τ² "+name, r.Tau2, tau2, double)
		stattest.Within(t, "μ "+name, r.Mu, want.Mu[name], double)
	}
	wald, hk, modified := pool(meta.REML, meta.None), pool(meta.REML, meta.HK), pool(meta.REML, meta.ModifiedHK)
	stattest.Relative(t, "SE", wald.StdErr, want.StdErr, double)
	stattest.Relative(t, "HK SE", hk.StdErr, want.HKStdErr, double)
	stattest.Relative(t, "modified HK SE", modified.StdErr, want.ModifiedHKStdErr, double)
	limits("Wald", wald, want.Wald)
	limits("HK", hk, want.HK)
	limits("modified HK", modified, want.ModifiedHK)
	stattest.Within(t, "prediction low", modified.PredictionLow, want.ModifiedHKPrediction[0], double)
	stattest.Within(t, "prediction high", modified.PredictionHigh, want.ModifiedHKPrediction[1], double)
	h, err := meta.MeasureHeterogeneity(all, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Relative(t, "Q", h.Q, want.Q, double)
	stattest.Within(t, "I²", h.I2, want.I2, double)
	stattest.Within(t, "τ² low", h.Tau2Low, want.QProfile[0], double)
	stattest.Within(t, "τ² high", h.Tau2High, want.QProfile[1], double)
}

// The same examples as metafor 3.8.1 prints them under R 4.2.2, to half a unit
// of the last digit: the values its stopping rules do not touch.
func TestWorkedExamplesAsPrinted(t *testing.T) {
	d1 := effects([]float64{1.43508, 1.43508, 3.04452, 1.02165, 2.45674, 1.94591}, []float64{1.67619, 1.67619, 1.80952, 1.06667, 1.67619, 1.64286})
	r, err := meta.Pool(d1, meta.REML, meta.ModifiedHK, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	const rounding = 1e-5 // the effects themselves are given to five decimals
	stattest.Absolute(t, "D1 μ", r.Mu, 1.80084, rounding)
	stattest.Absolute(t, "D1 low", r.Low, 0.49727, rounding)
	stattest.Absolute(t, "D1 high", r.High, 3.10441, 2*rounding)
	stattest.Absolute(t, "D1 share low", num.Expit(r.Low/2), 0.5618, 5e-5)
	stattest.Absolute(t, "D1 share high", num.Expit(r.High/2), 0.8252, 5e-5)
	h, err := meta.MeasureHeterogeneity(d1, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "D1 Q", h.Q, 1.853053, rounding)
	stattest.Absolute(t, "D1 τ² high", h.Tau2High, 1.8443, 1e-4)
	if h.I2 != 0 || h.Tau2Low != 0 {
		t.Errorf("D1: I² = %g, τ² low = %g, want 0 and 0", h.I2, h.Tau2Low)
	}
}
