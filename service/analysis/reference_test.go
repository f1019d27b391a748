package analysis_test

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/stats/stattest"
)

// scenario reads a catch table of testdata/scenario whose test pattern is A, with the subgroups named.
func scenario(t testing.TB, name string, subgroups ...string) analysis.Input {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "scenario", name))
	if err != nil {
		t.Fatal(err)
	}
	table, faults, err := exchange.ReadCatchTable(bytes.NewReader(text), exchange.ReadOptions{Test: "A", Subgroups: subgroups})
	if err != nil || len(faults) > 0 {
		t.Fatalf("%s: %v %v", name, err, faults)
	}
	tallies, err := table.Tallies()
	if err != nil {
		t.Fatal(err)
	}
	return analysis.Input{Test: table.Test, Control: table.Control, Tallies: tallies, Subgroups: table.Subgroups}
}

func mustRun(t testing.TB, in analysis.Input, s analysis.Settings) analysis.Result {
	t.Helper()
	r, err := analysis.Run(in, s)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Encode(); err != nil {
		t.Fatal(err)
	}
	return r
}

// is compares a value of a result with one that must not be null.
func is(t testing.TB, name string, got *float64, want, tol float64) {
	t.Helper()
	if got == nil {
		t.Errorf("%s is null, want %g", name, want)
		return
	}
	stattest.Within(t, name, *got, want, tol)
}

// printed compares with a value as it was printed: to half a unit of its last digit.
func printed(t testing.TB, name string, got *float64, want string) {
	t.Helper()
	value, err := strconv.ParseFloat(want, 64)
	if err != nil {
		t.Fatal(err)
	}
	mantissa := strings.TrimPrefix(want, "-")
	decimals := 0
	if dot := strings.IndexByte(mantissa, '.'); dot >= 0 {
		decimals = len(mantissa) - dot - 1
	}
	if got == nil {
		t.Errorf("%s is null, want %s", name, want)
		return
	}
	stattest.Absolute(t, name, *got, value, .5000001*math.Pow10(-decimals))
}

// routine compares with a value printed by a routine whose root finder stops at a relative 1.2e-4: the tight values of the
// same tables are checked in stats/exact.
func routine(t testing.TB, name string, got *float64, want string) {
	t.Helper()
	value, err := strconv.ParseFloat(want, 64)
	if err != nil {
		t.Fatal(err)
	}
	if got == nil {
		t.Errorf("%s is null, want %s", name, want)
		return
	}
	stattest.Relative(t, name, *got, value, 5e-4)
}

func estimate(t testing.TB, r analysis.Result, estimator analysis.Estimator, adjustment analysis.Adjustment) analysis.CombinedEstimate {
	t.Helper()
	for _, e := range r.Combined.Estimates {
		if e.Estimator == estimator && e.Adjustment == adjustment {
			return e
		}
	}
	t.Fatalf("no row %s with %s", estimator, adjustment)
	return analysis.CombinedEstimate{}
}

// Quantiles of Student's t at .975, as printed in tables of the distribution (Fisher & Yates, Statistical Tables, table
// III).
var t975 = map[int]float64{5: 2.5705818, 7: 2.3646243}

// The worked example D1: an invented trial whose values were computed with general-purpose packages.
func TestWorkedExampleD1(t *testing.T) {
	t.Parallel()
	var want struct {
		Pooled struct {
			LogOdds         string `json:"log_odds"`
			StdError        string `json:"std_error"`
			Share           string `json:"share"`
			ShareLow        string `json:"share_low"`
			ShareHigh       string `json:"share_high"`
			PositionLogOdds string `json:"position_log_odds"`
			RawShare        string `json:"raw_share"`
			FisherP         string `json:"fisher_p"`
			Conditional     string `json:"conditional_odds_ratio"`
			Low             string `json:"conditional_low"`
			High            string `json:"conditional_high"`
		} `json:"pooled_table"`
		Mixed map[string]string `json:"mixed_pattern_25"`
	}
	stattest.Load(t, "analysis/d1.json", &want)
	r := mustRun(t, scenario(t, "d1.csv"), analysis.Settings{Vary: analysis.VaryPattern, Points: 25})

	p := r.PooledTable
	printed(t, "log_odds", p.LogOdds, want.Pooled.LogOdds)
	printed(t, "std_error", p.StdError, want.Pooled.StdError)
	printed(t, "share", p.Share, want.Pooled.Share)
	printed(t, "share_low", p.ShareLow, want.Pooled.ShareLow)
	printed(t, "share_high", p.ShareHigh, want.Pooled.ShareHigh)
	printed(t, "position_log_odds", p.PositionLogOdds, want.Pooled.PositionLogOdds)
	printed(t, "raw_share", &r.RawShare.Estimate, want.Pooled.RawShare)
	printed(t, "fisher_p", p.FisherP, want.Pooled.FisherP)
	routine(t, "conditional_odds_ratio", p.Conditional, want.Pooled.Conditional)
	routine(t, "conditional_low", p.ConditionalLow, want.Pooled.Low)
	routine(t, "conditional_high", p.ConditionalHigh, want.Pooled.High)

	m := r.MixedModel
	printed(t, "mixed log_odds", m.LogOdds, want.Mixed["log_odds"])
	printed(t, "mixed position_log_odds", m.PositionLogOdds, want.Mixed["position_log_odds"])
	printed(t, "mixed std_error", m.StdError, want.Mixed["std_error"])
	is(t, "mixed sd_pattern", m.SDPattern, 0, 0)
	if !m.Singular {
		t.Error("the mixed model is not marked singular")
	}
	if r.Headline.Method != analysis.MixedModelProfile {
		t.Errorf("headline %s", r.Headline.Method)
	}
	is(t, "mixed low", m.Low, *m.LogOdds-t975[5]**m.StdError, 1e-6)
	is(t, "headline low", r.Headline.Low, *m.ProfileLow, 0)
	is(t, "headline df", r.Headline.DF, 5, 1e-12) // six anglers with 16 fish each count as six
}

// The same fish as one angler's: the strata are his twelve blocks.
func TestWorkedExampleD1AsOneAngler(t *testing.T) {
	t.Parallel()
	var want struct {
		Strata struct {
			Strata         int
			OddsRatio      string `json:"odds_ratio"`
			Statistic      string
			P              string
			Low            string
			High           string
			ExactP         string `json:"exact_p"`
			ExactOddsRatio string `json:"exact_odds_ratio"`
			ExactLow       string `json:"exact_low"`
			ExactHigh      string `json:"exact_high"`
		} `json:"strata_blocks"`
	}
	stattest.Load(t, "analysis/d1.json", &want)
	r := mustRun(t, scenario(t, "d1_alone.csv"), analysis.Settings{})
	s := r.Stratified
	if s.Strata != want.Strata.Strata {
		t.Errorf("%d strata, want %d", s.Strata, want.Strata.Strata)
	}
	printed(t, "statistic", s.Statistic, want.Strata.Statistic)
	printed(t, "p", s.P, want.Strata.P)
	printed(t, "odds_ratio", s.OddsRatio, want.Strata.OddsRatio)
	printed(t, "low", s.Low, want.Strata.Low)
	printed(t, "high", s.High, want.Strata.High)
	printed(t, "exact_p", s.ExactP, want.Strata.ExactP)
	routine(t, "exact_odds_ratio", s.ExactOddsRatio, want.Strata.ExactOddsRatio)
	routine(t, "exact_low", s.ExactLow, want.Strata.ExactLow)
	routine(t, "exact_high", s.ExactHigh, want.Strata.ExactHigh)
	h := r.Headline
	if h.Method != analysis.ExactStratified || r.Combined != nil || h.AverageShare != nil || h.DF != nil {
		t.Errorf("headline %+v, combined %v", h, r.Combined)
	}
	is(t, "headline log_odds", h.LogOdds, math.Log(*s.ExactOddsRatio)/2, 1e-12)
	is(t, "headline low", h.Low, math.Log(*s.ExactLow)/2, 1e-12)
	is(t, "headline high", h.High, math.Log(*s.ExactHigh)/2, 1e-12)
	is(t, "headline p", h.P, *s.ExactPCentral, 0)
	mustWarn(t, r, analysis.WarnOneAngler)
	if !strings.Contains(strings.Join(r.Verdict.Limits, " "), "One angler's answer") {
		t.Errorf("the limits do not say that it is one angler's answer: %q", r.Verdict.Limits)
	}
}

// worked is one worked example of worked.json: values to 12 digits by plain formulas outside this program.
type worked struct {
	Theta    []float64
	Variance []float64
	Common   struct {
		Mu       float64
		StdError float64 `json:"std_error"`
	}
	Q    float64
	QP   float64 `json:"q_p"`
	I2   float64 `json:"i2"`
	Rows map[string]struct {
		Mu             float64
		StdError       float64 `json:"std_error"`
		Low            float64
		High           float64
		Tau2           float64 `json:"tau2"`
		PredictionLow  float64 `json:"prediction_low"`
		PredictionHigh float64 `json:"prediction_high"`
	}
	Tau2Low  float64            `json:"tau2_low"`
	Tau2High float64            `json:"tau2_high"`
	Laplace  map[string]float64 `json:"laplace"`
}

// The anglers' own answers of D1 and D2 and every way of combining them.
func TestCombinationOfWorkedExamples(t *testing.T) {
	t.Parallel()
	var want struct{ D1, D2 worked }
	stattest.Load(t, "analysis/worked.json", &want)
	for name, w := range map[string]worked{"d1.csv": want.D1, "d2.csv": want.D2} {
		r := mustRun(t, scenario(t, name), analysis.Settings{})
		for i, a := range r.Anglers {
			is(t, name+" angler "+a.Angler, a.LogOdds, w.Theta[i], 1e-9)
			is(t, name+" std_error of "+a.Angler, a.StdError, math.Sqrt(w.Variance[i]), 1e-9)
		}
		c := r.Combined
		if len(c.Estimates) != 1+len(w.Rows) {
			t.Errorf("%s: %d ways of combining, want %d", name, len(c.Estimates), 1+len(w.Rows))
		}
		common := estimate(t, r, analysis.CommonEffect, analysis.Unadjusted)
		is(t, name+" common", common.LogOdds, w.Common.Mu, 1e-9)
		is(t, name+" common std_error", common.StdError, w.Common.StdError, 1e-9)
		if common.PredictionLow != nil || common.PredictionHigh != nil {
			t.Errorf("%s: the common effect has prediction limits", name)
		}
		for key, row := range w.Rows {
			estimator, adjustment, _ := strings.Cut(key, " ")
			e := estimate(t, r, analysis.Estimator(estimator), analysis.Adjustment(adjustment))
			is(t, name+" "+key, e.LogOdds, row.Mu, 1e-7)
			is(t, name+" "+key+" std_error", e.StdError, row.StdError, 1e-7)
			is(t, name+" "+key+" low", e.Low, row.Low, 1e-7)
			is(t, name+" "+key+" high", e.High, row.High, 1e-7)
			is(t, name+" "+key+" tau2", e.Tau2, row.Tau2, 1e-7)
			is(t, name+" "+key+" prediction_low", e.PredictionLow, row.PredictionLow, 1e-7)
			is(t, name+" "+key+" prediction_high", e.PredictionHigh, row.PredictionHigh, 1e-7)
		}
		is(t, name+" q", &c.Q, w.Q, 1e-9)
		is(t, name+" q_p", &c.QP, w.QP, 1e-9)
		is(t, name+" i2", &c.I2, w.I2, 1e-9)
		is(t, name+" tau2_low", c.Tau2Low, w.Tau2Low, 1e-7)
		is(t, name+" tau2_high", c.Tau2High, w.Tau2High, 1e-7)
		if e := c.Estimates[c.Headline]; e.Estimator != analysis.REML || e.Adjustment != analysis.ModifiedHK {
			t.Errorf("%s: the combination's headline is %s with %s", name, e.Estimator, e.Adjustment)
		}
		if len(c.LeaveOneOut) != len(r.Anglers) || c.LeftOut != 0 || c.QDF != 5 {
			t.Errorf("%s: %d left out one by one, %d left out, %d degrees of freedom", name, len(c.LeaveOneOut), c.LeftOut, c.QDF)
		}
	}
}

// The worked example D2: an invented trial of six anglers who differ. (A search that stops early gives .693330 with
// standard error .220638 and SD .436194 for the same approximation.)
func TestMixedModelOfD2(t *testing.T) {
	t.Parallel()
	var want struct{ D2 worked }
	stattest.Load(t, "analysis/worked.json", &want)
	r := mustRun(t, scenario(t, "d2.csv"), analysis.Settings{Points: 1})
	m, w := r.MixedModel, want.D2.Laplace
	is(t, "log_odds", m.LogOdds, w["log_odds"], 1e-6)
	is(t, "position_log_odds", m.PositionLogOdds, w["position_log_odds"], 1e-6)
	stattest.Relative(t, "std_error", *m.StdError, w["std_error"], 1e-4)
	stattest.Relative(t, "position_std_error", *m.PositionStdError, w["position_std_error"], 1e-4)
	is(t, "sd_pattern", m.SDPattern, w["sd_pattern"], 1e-5)
	is(t, "sd_position", m.SDPosition, 0, 0)
	is(t, "log_likelihood", m.LogLikelihood, w["log_likelihood"], 1e-6)
	if m.Method != "laplace" || m.Points != 1 || r.Settings.Points != 1 || !m.Singular {
		t.Errorf("mixed model %s with %d points, singular %v", m.Method, m.Points, m.Singular)
	}
	if r.Verdict.Code != analysis.TestTakesMore {
		t.Errorf("verdict %s", r.Verdict.Code)
	}
}

// Beitler & Landis (1985), Biometrics 41:991-1000, read as a rig trial.
func TestBeitlerLandisAsARigTrial(t *testing.T) {
	t.Parallel()
	var want struct {
		Rows       []struct{ Y, N int64 }
		Stratified struct {
			Statistic float64    `json:"cmh_chisq"`
			P         float64    `json:"cmh_p"`
			OddsRatio float64    `json:"or_mh"`
			Limits    [2]float64 `json:"or_ci_rbg"`
			Tarone    float64    `json:"tarone"`
			TaroneP   float64    `json:"tarone_p"`
			Strata    int        `json:"n_informative"`
		}
		Exact struct {
			P         float64    `json:"p_minlik"`
			PCentral  float64    `json:"p_doubled"`
			OddsRatio float64    `json:"or_cond_mle"`
			Limits    [2]float64 `json:"or_ci_exact"`
		}
		Mixed map[string]struct {
			Fixef  map[string]float64 `json:"fixef"`
			SE     map[string]float64 `json:"se"`
			SD     map[string]float64 `json:"sd"`
			LogLik float64            `json:"logLik"`
			Points int                `json:"nodes_per_dimension"`
		}
	}
	stattest.Load(t, "analysis/beitler_landis.json", &want)
	in := scenario(t, "beitler_landis.csv")
	binomials := 0.0
	for _, row := range want.Rows {
		binomials += logChoose(row.N, row.Y)
	}
	for name, fit := range want.Mixed {
		vary, _, _ := strings.Cut(name, "_")
		r := mustRun(t, in, analysis.Settings{Vary: analysis.Vary(vary), Points: fit.Points})
		m := r.MixedModel
		if m.Status != analysis.Converged {
			t.Fatalf("%s: %s", name, m.Status)
		}
		is(t, name+" log_odds", m.LogOdds, fit.Fixef["(Intercept)"], 1e-6)
		is(t, name+" position_log_odds", m.PositionLogOdds, fit.Fixef["x"]/2, 1e-6)
		stattest.Relative(t, name+" std_error", *m.StdError, fit.SE["(Intercept)"], 1e-4)
		stattest.Relative(t, name+" position_std_error", *m.PositionStdError, fit.SE["x"]/2, 1e-4)
		is(t, name+" sd_pattern", m.SDPattern, fit.SD["intercept"], 1e-5)
		if m.SDPosition != nil {
			is(t, name+" sd_position", m.SDPosition, fit.SD["x"]/2, 1e-5)
		}
		is(t, name+" log_likelihood", m.LogLikelihood, fit.LogLik-binomials, 1e-6)
		is(t, name+" low", m.Low, *m.LogOdds-t975[7]**m.StdError, 1e-6)
	}

	s := mustRun(t, in, analysis.Settings{}).Stratified
	if s.Strata != want.Stratified.Strata {
		t.Errorf("%d strata, want %d", s.Strata, want.Stratified.Strata)
	}
	is(t, "statistic", s.Statistic, want.Stratified.Statistic, 1e-9)
	is(t, "p", s.P, want.Stratified.P, 1e-9)
	is(t, "odds_ratio", s.OddsRatio, want.Stratified.OddsRatio, 1e-9)
	is(t, "low", s.Low, want.Stratified.Limits[0], 1e-9)
	is(t, "high", s.High, want.Stratified.Limits[1], 1e-9)
	is(t, "homogeneity_statistic", s.HomogeneityX2, want.Stratified.Tarone, 1e-9)
	is(t, "homogeneity_p", s.HomogeneityP, want.Stratified.TaroneP, 1e-9)
	is(t, "exact_p", s.ExactP, want.Exact.P, 1e-9)
	is(t, "exact_p_central", s.ExactPCentral, want.Exact.PCentral, 1e-9)
	is(t, "exact_odds_ratio", s.ExactOddsRatio, want.Exact.OddsRatio, 1e-9)
	is(t, "exact_low", s.ExactLow, want.Exact.Limits[0], 1e-9)
	is(t, "exact_high", s.ExactHigh, want.Exact.Limits[1], 1e-9)
}

func logChoose(n, k int64) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

func mustWarn(t testing.TB, r analysis.Result, codes ...string) {
	t.Helper()
	for _, code := range codes {
		found := false
		for _, w := range r.Warnings {
			found = found || w.Code == code
		}
		if !found {
			t.Errorf("no warning %s among %v", code, r.Warnings)
		}
	}
}

// Anglers with outings, invented data: by default outings are in the model. Its joint Laplace approximation is that of
// two general-purpose packages, which agree with each other to about 1e-6; its quadrature, 7 points by default, comes within what 7
// points leave of the exact likelihood, which a brute-force grid gave.
func TestOutingsAgainstPackages(t *testing.T) {
	t.Parallel()
	type set struct {
		Data []struct {
			Angler, Outing string
			C              int
			N, Y           int64
		}
		Fit struct {
			Laplace map[string]struct {
				Theta, Beta float64
				SE          float64 `json:"std_error_theta"`
				LogLik      float64 `json:"log_likelihood_single_catches"`
			} `json:"joint_laplace"`
			Exact struct {
				Estimate struct{ Theta, Beta float64 }
				SE       float64 `json:"std_error_theta"`
				LogLik   float64 `json:"log_likelihood_single_catches"`
			}
		} `json:"pattern_position_outing"`
	}
	var want struct{ Boundary, Interior set }
	stattest.Load(t, "glmm/glmm_outing.json", &want)
	for name, s := range map[string]set{"boundary": want.Boundary, "interior": want.Interior} {
		in := analysis.Input{Test: "A", Control: "B"}
		for _, row := range s.Data {
			r := rig{angler: row.Angler, outing: row.Outing, a: row.Y, b: row.N - row.Y}
			if row.C < 0 {
				r.a, r.b, r.c, r.d = 0, 0, row.Y, row.N-row.Y
			}
			in.Tallies = append(in.Tallies, r.tallies()...)
		}
		usual := mustRun(t, in, analysis.Settings{}).MixedModel
		is(t, name+" exact log_odds", usual.LogOdds, s.Fit.Exact.Estimate.Theta, 5e-6)
		is(t, name+" exact position_log_odds", usual.PositionLogOdds, s.Fit.Exact.Estimate.Beta, 5e-6)
		stattest.Relative(t, name+" exact std_error", *usual.StdError, s.Fit.Exact.SE, 2e-5)
		stattest.Absolute(t, name+" exact log_likelihood", *usual.LogLikelihood, s.Fit.Exact.LogLik, 5e-5)
		m := mustRun(t, in, analysis.Settings{Points: 1}).MixedModel
		if m.Vary != analysis.VaryPatternPositionOuting || m.Method != "laplace" || m.Singular != (name == "boundary") {
			t.Errorf("%s: %s by %s, singular %v", name, m.Vary, m.Method, m.Singular)
		}
		for program, fit := range s.Fit.Laplace {
			is(t, name+" "+program+" log_odds", m.LogOdds, fit.Theta, 2e-6)
			is(t, name+" "+program+" position_log_odds", m.PositionLogOdds, fit.Beta, 2e-6)
			stattest.Relative(t, name+" "+program+" std_error", *m.StdError, fit.SE, 1e-4)
			stattest.Absolute(t, name+" "+program+" log_likelihood", *m.LogLikelihood, fit.LogLik, 1e-6)
		}
	}
}
