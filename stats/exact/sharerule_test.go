package exact_test

import (
	"errors"
	"math"
	"testing"

	"evenrig/stats/exact"
	"evenrig/stats/stattest"
)

// The rule "55 of 100 fish settle it" by R 4.2.2 pbinom, threshold in whole numbers; the
// chances that are quoted of it, to the digits quoted.
func TestRuleOfShareReference(t *testing.T) {
	var file struct {
		Rule []struct {
			N       int64
			P       float64
			KMin    int64   `json:"k_min"`
			Any     float64 `json:"prob_declare_any"`
			Test    float64 `json:"prob_declare_test_side"`
			Control float64 `json:"prob_declare_wrong_side"`
		} `json:"rule_55_percent"`
	}
	stattest.Load(t, "exact/rule.json", &file)
	for _, c := range file.Rule {
		got, err := exact.RuleOfShare(55, c.N, c.P)
		if err != nil {
			t.Fatal(err)
		}
		if got.Least != c.KMin {
			t.Errorf("%d of %d declare, want %d", got.Least, c.N, c.KMin)
		}
		stattest.Relative(t, "test", got.Test, c.Test, double)
		stattest.Relative(t, "control", got.Control, c.Control, double)
		stattest.Relative(t, "either", got.Test+got.Control, c.Any, double)
		if c.P == 0.5 {
			stattest.Relative(t, "false alarm", got.FalseAlarm, c.Any, double)
		}
	}
	if len(file.Rule) < 18 {
		t.Error("cases are missing")
	}
	for n, printed := range map[int64]struct{ alarm, digit float64 }{
		20: {.824, 5e-4}, 50: {.480, 5e-4}, 100: {.368, 5e-4}, 200: {.179, 5e-4}, 400: {.051, 5e-4}, 1000: {.0017, 5e-5},
	} {
		got, err := exact.RuleOfShare(55, n, 0.55)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "false alarm", got.FalseAlarm, printed.alarm, printed.digit)
		if n >= 100 && math.Abs(got.Test+got.Control-0.54) > 0.04 {
			t.Errorf("the rule finds a share of 55 with chance %g among %d: near one half at every n", got.Test, n)
		}
	}
}

// Counts that are significant, their size and power, and the numbers of fish that reach a
// power, by R 4.2.2 pbinom.
func TestSmallestSignificantReference(t *testing.T) {
	var file struct {
		Counts []struct {
			N       int64
			K5      int64   `json:"k_5pct"`
			K1      int64   `json:"k_1pct"`
			Size    float64 `json:"size"`
			Lower   float64 `json:"size_one_lower_count"`
			Power55 float64 `json:"power_p55"`
			Power60 float64 `json:"power_p60"`
		} `json:"smallest_significant_count"`
		Small []struct {
			N  int64
			K5 *int64 `json:"k_5pct"`
		} `json:"smallest_significant_count_1_to_30"`
		Fish []struct {
			P, Power float64
			First    int64   `json:"n_first"`
			AtFirst  float64 `json:"power_at_n_first"`
			KFirst   int64   `json:"k_crit_at_first"`
			Stable   int64   `json:"n_stable"`
			AtStable float64 `json:"power_at_n_stable"`
			KStable  int64   `json:"k_crit_at_stable"`
		} `json:"sample_size"`
	}
	stattest.Load(t, "exact/rule.json", &file)
	least := func(n int64, alpha float64) int64 {
		k, ok, err := exact.SmallestSignificant(n, alpha)
		if err != nil || !ok {
			t.Fatalf("%d fish: %v, %v", n, ok, err)
		}
		return k
	}
	// power of the exact test, both sides, under share p: tails of the binomial summed one by one.
	power := func(n, k int64, p float64) (sum float64) {
		for x := int64(0); x <= n; x++ {
			if x >= k || x <= n-k {
				sum += math.Exp(lnChoose(n, x) + float64(x)*math.Log(p) + float64(n-x)*math.Log1p(-p))
			}
		}
		return sum
	}
	for _, c := range file.Counts {
		if k := least(c.N, 0.05); k != c.K5 {
			t.Errorf("%d of %d, want %d", k, c.N, c.K5)
		}
		if k := least(c.N, 0.01); k != c.K1 {
			t.Errorf("%d of %d at 1 %%, want %d", k, c.N, c.K1)
		}
		p, err := exact.BinomialTwoSided(c.K5, c.N, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "size", p, c.Size, double)
		p, err = exact.BinomialTwoSided(c.K5-1, c.N, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "size of one fewer", p, c.Lower, double)
		stattest.Relative(t, "power at .55", power(c.N, c.K5, 0.55), c.Power55, 1e-10)
		stattest.Relative(t, "power at .60", power(c.N, c.K5, 0.60), c.Power60, 1e-10)
	}
	for _, c := range file.Small {
		k, ok, err := exact.SmallestSignificant(c.N, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		if ok != (c.K5 != nil) || ok && k != *c.K5 {
			t.Errorf("%d of %d, %v", k, c.N, ok)
		}
	}
	for _, c := range file.Fish {
		for _, at := range []struct {
			n, k  int64
			power float64
		}{{c.First, c.KFirst, c.AtFirst}, {c.Stable, c.KStable, c.AtStable}} {
			if k := least(at.n, 0.05); k != at.k {
				t.Errorf("%d of %d, want %d", k, at.n, at.k)
			}
			stattest.Relative(t, "power", power(at.n, at.k, c.P), at.power, 1e-10)
		}
		if before := power(c.First-1, least(c.First-1, 0.05), c.P); before >= c.Power {
			t.Errorf("%d fish have power %g already", c.First-1, before)
		}
	}
	if len(file.Counts) < 6 || len(file.Small) < 30 || len(file.Fish) < 6 {
		t.Error("cases are missing")
	}
}

func lnChoose(n, k int64) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

func TestShareRuleRefusals(t *testing.T) {
	for _, c := range []struct {
		name string
		err  error
		want error
	}{
		{"half", second(exact.RuleOfShare(50, 100, 0.5)), exact.ErrPercent},
		{"above all", second(exact.RuleOfShare(101, 100, 0.5)), exact.ErrPercent},
		{"no fish", second(exact.RuleOfShare(55, 0, 0.5)), exact.ErrNoCatches},
		{"fewer than none", second(exact.RuleOfShare(55, -1, 0.5)), exact.ErrCount},
		{"share NaN", second(exact.RuleOfShare(55, 10, math.NaN())), exact.ErrProbability},
		{"alpha 0", third(exact.SmallestSignificant(10, 0)), exact.ErrLevel},
		{"negative count", third(exact.SmallestSignificant(-1, 0.05)), exact.ErrCount},
	} {
		if !errors.Is(c.err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, c.err, c.want)
		}
	}
	if _, ok, err := exact.SmallestSignificant(0, 0.05); ok || err != nil {
		t.Errorf("no fish: %v, %v", ok, err)
	}
}
