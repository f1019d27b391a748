package exact_test

import (
	"math"
	"testing"

	"evenrig/stats/exact"
	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// Tolerance of values that both sides compute in double precision by different
// routes. What is asked for is 1e-9; both are better.
const double = 1e-11

// rows is a table as the reference files write it: rows (a, b) and (c, d).
type rows [4]int64

func (r rows) table() exact.Table { return exact.Table{A: r[0], B: r[1], C: r[3], D: r[2]} }

func tables(strata []rows) []exact.Table {
	all := make([]exact.Table, len(strata))
	for i, r := range strata {
		all[i] = r.table()
	}
	return all
}

// conditional are the expected values of the exact conditional test.
type conditional struct {
	PMinLik  stattest.Number    `json:"p_minlik"`
	PDoubled stattest.Number    `json:"p_doubled"`
	Estimate stattest.Number    `json:"log_or_cond_mle"`
	Limits   [2]stattest.Number `json:"log_or_ci_exact"`
}

func (want conditional) check(t *testing.T, tables []exact.Table) {
	t.Helper()
	got, err := exact.ConditionalTest(tables, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Relative(t, "p by minimum likelihood", got.P, float64(want.PMinLik), double)
	stattest.Relative(t, "central p", got.PCentral, float64(want.PDoubled), double)
	sameOddsRatio(t, "estimate", got.Estimate, want.Estimate)
	sameOddsRatio(t, "lower limit", got.Low, want.Limits[0])
	sameOddsRatio(t, "upper limit", got.High, want.Limits[1])
}

func sameOddsRatio(t *testing.T, name string, got exact.OddsRatio, want stattest.Number) {
	t.Helper()
	switch {
	case math.IsInf(float64(want), -1):
		if got.End != exact.AtZero {
			t.Errorf("%s = %+v, want an odds ratio of 0", name, got)
		}
	case math.IsInf(float64(want), 1):
		if got.End != exact.AtInfinity {
			t.Errorf("%s = %+v, want no upper bound", name, got)
		}
	default:
		if got.End != exact.Inside {
			t.Errorf("%s = %+v, want %g", name, got, float64(want))
		}
		stattest.Within(t, name, got.Log, float64(want), double)
	}
}

// Clopper & Pearson (1934); R 4.2.2 binom.test. See the file for versions.
func TestBinomialReference(t *testing.T) {
	type row struct {
		X      int64           `json:"x"`
		N      int64           `json:"n"`
		P0     float64         `json:"p0"`
		P      float64         `json:"p_minlik"`
		Low95  stattest.Number `json:"cp95_lower"`
		High95 stattest.Number `json:"cp95_upper"`
		Low90  stattest.Number `json:"cp90_lower"`
		High90 stattest.Number `json:"cp90_upper"`
	}
	var file struct {
		AtHalf  []row `json:"at_half"`
		OtherP0 []row `json:"other_p0"`
	}
	stattest.Load(t, "exact/binomial.json", &file)
	for _, c := range append(file.AtHalf, file.OtherP0...) {
		p, err := exact.BinomialTwoSided(c.X, c.N, c.P0)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "p", p, c.P, double)
	}
	for _, c := range file.AtHalf {
		for _, interval := range []struct {
			level     float64
			low, high stattest.Number
		}{{0.95, c.Low95, c.High95}, {0.90, c.Low90, c.High90}} {
			low, high, err := exact.ClopperPearson(c.X, c.N, interval.level)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "low", low, float64(interval.low), double)
			stattest.Relative(t, "high", high, float64(interval.high), double)
		}
	}
	if len(file.AtHalf) < 30 || len(file.OtherP0) < 5 {
		t.Errorf("only %d and %d cases were read", len(file.AtHalf), len(file.OtherP0))
	}
}

// Fisher (1935), tea tasting and convictions, and invented tables; R 4.2.2
// fisher.test for p, tight root finding for estimate and limits.
func TestTwoByTwoReference(t *testing.T) {
	var file struct {
		Cases []struct {
			conditional
			Name     string             `json:"name"`
			Table    rows               `json:"table_a_b_c_d"`
			SampleOR stattest.Number    `json:"sample_or"`
			LogWald  stattest.Number    `json:"log_or_wald_half_if_zero"`
			StdErr   stattest.Number    `json:"se_wald"`
			Limits95 [2]stattest.Number `json:"log_or_wald_ci"`
		} `json:"cases"`
	}
	stattest.Load(t, "exact/two_by_two.json", &file)
	for _, c := range file.Cases {
		t.Run(c.Name, func(t *testing.T) {
			table := c.Table.table()
			p, err := exact.FisherTwoSided(table)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "Fisher p", p, float64(c.PMinLik), double)
			if table.Informative() {
				c.conditional.check(t, []exact.Table{table})
			} else if _, err := exact.ConditionalTest([]exact.Table{table}, 0.95); err == nil {
				t.Error("a table with an empty margin was given an estimate")
			}
			if table.HasZeroCell() {
				if _, err := exact.Woolf(table, 0.95); err == nil {
					t.Error("Woolf accepted a zero cell")
				}
				return
			}
			w, err := exact.Woolf(table, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Within(t, "ln OR", 2*w.Theta, float64(c.LogWald), double)
			stattest.Relative(t, "sample OR", math.Exp(2*w.Theta), float64(c.SampleOR), double)
			stattest.Relative(t, "SE", 2*w.StdErr, float64(c.StdErr), double)
			stattest.Within(t, "low", 2*w.Low, float64(c.Limits95[0]), double)
			stattest.Within(t, "high", 2*w.High, float64(c.Limits95[1]), double)
		})
	}
}

// Beitler & Landis (1985), Bickel et al. (1975) and invented strata; R 4.2.2
// mantelhaen.test and metafor 3.8.1 rma.mh.
func TestStratifiedReference(t *testing.T) {
	var file struct {
		Cases []struct {
			Name       string `json:"name"`
			Strata     []rows `json:"strata_a_b_c_d"`
			Asymptotic struct {
				ChiSq        float64            `json:"cmh_chisq"`
				P            float64            `json:"cmh_p"`
				NInformative int                `json:"n_informative"`
				LogOR        stattest.Number    `json:"log_or_mh"`
				StdErr       stattest.Number    `json:"se_log_or_rbg"`
				Limits       [2]stattest.Number `json:"or_ci_rbg"`
				BreslowDay   stattest.Number    `json:"breslow_day"`
				BreslowDayDF stattest.Number    `json:"breslow_day_df"`
				Tarone       stattest.Number    `json:"tarone"`
				TaroneP      stattest.Number    `json:"tarone_p"`
			} `json:"asymptotic"`
			Exact conditional `json:"exact_conditional"`
		} `json:"cases"`
	}
	stattest.Load(t, "exact/stratified.json", &file)
	for _, c := range file.Cases {
		t.Run(c.Name, func(t *testing.T) {
			strata, want := tables(c.Strata), c.Asymptotic
			plain, err := exact.CochranMantelHaenszel(strata)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "X²", plain.Statistic, want.ChiSq, double)
			stattest.Relative(t, "p", plain.P, want.P, double)
			if plain.Strata != want.NInformative {
				t.Errorf("%d informative strata, want %d", plain.Strata, want.NInformative)
			}
			mh, err := exact.MantelHaenszel(strata, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Within(t, "ln OR", mh.LogOR, float64(want.LogOR), double)
			stattest.Relative(t, "SE", mh.StdErr, float64(want.StdErr), double)
			stattest.Relative(t, "low", math.Exp(mh.Low), float64(want.Limits[0]), double)
			stattest.Relative(t, "high", math.Exp(mh.High), float64(want.Limits[1]), double)

			h, err := exact.TaroneHomogeneity(strata)
			if len(strata) == 1 {
				if err == nil {
					t.Error("one stratum was tested for homogeneity")
				}
			} else {
				if err != nil {
					t.Fatal(err)
				}
				stattest.Within(t, "Breslow-Day", h.BreslowDay, float64(want.BreslowDay), double)
				stattest.Within(t, "Tarone", h.Tarone, float64(want.Tarone), double)
				stattest.Relative(t, "Tarone p", h.P, float64(want.TaroneP), double)
				stattest.Absolute(t, "df", float64(h.DF), float64(want.BreslowDayDF), 0)
			}
			c.Exact.check(t, strata)
		})
	}
}

// Integer arithmetic at 60 digits, up to a million fish in a cell; see exact_integers.py.
func TestConditionalAgainstIntegers(t *testing.T) {
	var file struct {
		Cases []struct {
			conditional
			Name   string `json:"name"`
			Strata []rows `json:"strata_a_b_c_d"`
		} `json:"cases"`
	}
	stattest.Load(t, "exact/large.json", &file)
	for _, c := range file.Cases {
		t.Run(c.Name, func(t *testing.T) {
			if c.PMinLik == 0 { // below the smallest float64: lifted to it
				c.PMinLik, c.PDoubled = math.SmallestNonzeroFloat64, math.SmallestNonzeroFloat64
			}
			c.check(t, tables(c.Strata))
		})
	}
}

// D1 (an invented worked example; R 4.2.2), Mantel (1963), Prince et al. (2002),
// Fisher (1935), Eagle et al. (2002). The printed values agree to half a unit of
// their last digit.
func TestWorkedTables(t *testing.T) {
	type worked struct {
		Name    string      `json:"name"`
		Strata  []rows      `json:"strata_a_b_c_d"`
		Exact   conditional `json:"exact"`
		Printed struct {
			OR       float64    `json:"or_mh"`
			ChiSq    float64    `json:"cmh_chisq"`
			P        float64    `json:"cmh_p"`
			Limits   [2]float64 `json:"or_ci_rbg"`
			SampleOR float64    `json:"sample_or"`
			Theta    float64    `json:"theta"`
			StdErr   float64    `json:"se"`
			Share    float64    `json:"share"`
			ShareCI  [2]float64 `json:"share_ci"`
			Beta     float64    `json:"beta"`
			PMinLik  float64    `json:"p_minlik"`
		} `json:"printed"`
	}
	var file struct {
		Cases []worked `json:"cases"`
	}
	stattest.Load(t, "exact/worked.json", &file)
	byName := map[string]worked{}
	for _, c := range file.Cases {
		byName[c.Name] = c
		c.Exact.check(t, tables(c.Strata))
	}

	d1, d1Tables := byName["D1 by block"].Printed, tables(byName["D1 by block"].Strata)
	cmh, err := exact.CochranMantelHaenszel(d1Tables)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "D1 X²", cmh.Statistic, d1.ChiSq, 5e-6)
	stattest.Absolute(t, "D1 X² p", cmh.P, d1.P, 5e-11)
	mh, err := exact.MantelHaenszel(d1Tables, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "D1 OR", math.Exp(mh.LogOR), d1.OR, 5e-7)
	stattest.Absolute(t, "D1 OR low", math.Exp(mh.Low), d1.Limits[0], 5e-7)
	stattest.Absolute(t, "D1 OR high", math.Exp(mh.High), d1.Limits[1], 5e-7)

	pooled := added(d1Tables)
	want := byName["D1 pooled"].Printed
	if pooled != byName["D1 pooled"].Strata[0].table() {
		t.Errorf("D1 pooled is %+v", pooled)
	}
	w, err := exact.Woolf(pooled, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "D1 sample OR", math.Exp(2*w.Theta), want.SampleOR, 5e-7)
	stattest.Absolute(t, "D1 θ", w.Theta, want.Theta, 5e-7)
	stattest.Absolute(t, "D1 SE", w.StdErr, want.StdErr, 5e-7)
	stattest.Absolute(t, "D1 β", w.Beta, want.Beta, 5e-7)
	stattest.Absolute(t, "D1 share", num.Expit(w.Theta), want.Share, 5e-7)
	stattest.Absolute(t, "D1 share low", num.Expit(w.Low), want.ShareCI[0], 5e-7)
	stattest.Absolute(t, "D1 share high", num.Expit(w.High), want.ShareCI[1], 5e-7)

	rabbits, rabbitTables := byName["penicillin"].Printed, tables(byName["penicillin"].Strata)
	mh, err = exact.MantelHaenszel(rabbitTables, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Relative(t, "penicillin OR", math.Exp(mh.LogOR), rabbits.OR, double)
	stattest.Absolute(t, "penicillin low", math.Exp(mh.Low), rabbits.Limits[0], 5e-7)
	stattest.Absolute(t, "penicillin high", math.Exp(mh.High), rabbits.Limits[1], 5e-4)

	sailfish := byName["sailfish"]
	w, err = exact.Woolf(sailfish.Strata[0].table(), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "sailfish OR", math.Exp(2*w.Theta), sailfish.Printed.SampleOR, 5e-4)
	for name, digit := range map[string]float64{"D1 by block": 5e-11, "D1 pooled": 5e-11, "penicillin": 5e-6, "sailfish": 5e-9} {
		got, err := exact.ConditionalTest(tables(byName[name].Strata), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, name+" exact p", got.P, byName[name].Printed.PMinLik, digit)
	}

	// Eagle et al. (2002) print p = .025 for 13, 5 and 5 fish: 13 in 23 against 1/3.
	p, err := exact.BinomialTwoSided(13, 23, 1./3)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "fly trial, as printed", p, 0.025, 5e-4)
	stattest.Absolute(t, "fly trial, R 4.2.2 binom.test", p, 0.02539, 5e-6)
	// Fisher (1935), chapter 2: all four cups right, 1 in 70; three or more, 17 in 70.
	four := math.Exp(num.LogHypergeometric(4, 4, 4, 4))
	stattest.Relative(t, "tea, four right", four, 1./70, double)
	stattest.Relative(t, "tea, three or more", four+math.Exp(num.LogHypergeometric(3, 4, 4, 4)), 17./70, double)
}
