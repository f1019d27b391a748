package exact_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/exact"
	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

func sameRatio(t *testing.T, name string, got exact.RateRatio, want stattest.Number, tol float64) {
	t.Helper()
	ratio, ok := got.Ratio()
	if math.IsInf(float64(want), 1) {
		if ok || got.End != exact.AtInfinity {
			t.Errorf("%s = %+v, want no upper bound", name, got)
		}
		return
	}
	if !ok {
		t.Errorf("%s = %+v, want %g", name, got, float64(want))
	}
	stattest.Relative(t, name, ratio, float64(want), tol)
}

// Przyborowski & Wilenski's test by R 4.2.2 binom.test and poisson.test, and a worked
// example printed to six decimals.
func TestRatesReference(t *testing.T) {
	type row struct {
		X1, X2   int64
		T1, T2   float64
		Ratio    stattest.Number    `json:"rate_ratio"`
		P        float64            `json:"p_minlik"`
		PCentral float64            `json:"p_doubled"`
		Limits   [2]stattest.Number `json:"ci"`
		Printed  float64            `json:"p"`
		Low      float64
		High     float64
	}
	var file struct{ Cases, Printed []row }
	stattest.Load(t, "exact/rates.json", &file)
	compare := func(c row) exact.RateComparison {
		got, err := exact.CompareRates([]exact.Catch{{Test: c.X1, TestTime: c.T1, Control: c.X2, ControlTime: c.T2}}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	for _, c := range file.Cases {
		got := compare(c)
		stattest.Relative(t, "p", got.P, c.P, double)
		stattest.Relative(t, "central p", got.PCentral, c.PCentral, double)
		sameRatio(t, "ratio", got.Estimate, c.Ratio, double)
		sameRatio(t, "low", got.Low, c.Limits[0], double)
		sameRatio(t, "high", got.High, c.Limits[1], double)
	}
	for _, c := range file.Printed {
		got := compare(c)
		stattest.Absolute(t, "p", got.P, c.Printed, 5e-7)
		sameRatio(t, "ratio", got.Estimate, c.Ratio, double)
		low, _ := got.Low.Ratio()
		high, _ := got.High.Ratio()
		stattest.Absolute(t, "low", low, c.Low, 5e-7)
		stattest.Absolute(t, "high", high, c.High, 5e-7)
	}
	if len(file.Cases) < 4 || len(file.Printed) < 1 {
		t.Error("cases are missing")
	}
}

// Stratified: R 4.2.2 glm(family = poisson) with a factor for the stratum, and the sum of
// the binomials by convolve; see rates_rules.R.
func TestStratifiedRatesReference(t *testing.T) {
	var file struct {
		Rates []struct {
			Strata   [][4]float64
			LogRatio float64 `json:"log_ratio"`
			P        float64 `json:"p_minlik"`
			PCentral float64 `json:"p_central"`
		}
		Garwood []struct {
			X         int64
			Low, High float64
			Low99     float64 `json:"low_99"`
			High99    float64 `json:"high_99"`
		}
	}
	stattest.Load(t, "exact/rates_rules.json", &file)
	for _, c := range file.Rates {
		var strata []exact.Catch
		for _, s := range c.Strata {
			strata = append(strata, exact.Catch{Test: int64(s[0]), TestTime: s[1], Control: int64(s[2]), ControlTime: s[3]})
		}
		got, err := exact.CompareRates(strata, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Within(t, "ln ratio", got.Estimate.Log, c.LogRatio, 1e-9) // glm stops there
		stattest.Relative(t, "p", got.P, c.P, double)
		stattest.Relative(t, "central p", got.PCentral, c.PCentral, double)
	}
	for _, c := range file.Garwood {
		for _, want := range []struct{ level, low, high float64 }{{0.95, c.Low, c.High}, {0.99, c.Low99, c.High99}} {
			low, high, err := exact.PoissonLimits(c.X, want.level)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "low", low, want.low, double)
			stattest.Relative(t, "high", high, want.high, double)
		}
	}
	if len(file.Rates) < 3 || len(file.Garwood) < 6 {
		t.Error("cases are missing")
	}
}

func drawCatches(t *rapid.T) []exact.Catch {
	catch := rapid.Custom(func(t *rapid.T) exact.Catch {
		fish, hours := rapid.Int64Range(0, 12), rapid.Float64Range(0.25, 8)
		return exact.Catch{
			Test: fish.Draw(t, "test"), Control: fish.Draw(t, "control"),
			TestTime: hours.Draw(t, "test time"), ControlTime: hours.Draw(t, "control time"),
		}
	})
	return append(rapid.SliceOfN(catch, 0, 4).Draw(t, "strata"), exact.Catch{Test: 3, TestTime: 2, Control: 1, ControlTime: 3})
}

// Against plain convolution of the strata's binomials: p-values, the estimating equation
// and the tails at the limits.
func TestRatesAgainstConvolution(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		strata := drawCatches(t)
		got, err := exact.CompareRates(strata, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		under := func(logRatio float64) (p []float64, at int) {
			p = []float64{1}
			for _, c := range strata {
				n := c.Test + c.Control
				share := num.Expit(logRatio + math.Log(c.TestTime/c.ControlTime))
				next := make([]float64, len(p)+int(n))
				for x := int64(0); x <= n; x++ {
					one := math.Exp(num.LogBinomial(x, n, share))
					for i, q := range p {
						next[i+int(x)] += q * one
					}
				}
				p = next
				at += int(c.Test)
			}
			return p, at
		}
		tails := func(logRatio float64) (minimum, lower, upper, mean float64) {
			p, at := under(logRatio)
			for i, q := range p {
				if q <= p[at]*(1+1e-7) {
					minimum += q
				}
				if i <= at {
					lower += q
				}
				if i >= at {
					upper += q
				}
				mean += q * float64(i-at)
			}
			return minimum, lower, upper, mean
		}
		minimum, lower, upper, _ := tails(0)
		near(t, "p over its value", got.P/minimum, 1, 1e-10)
		near(t, "central p over its value", got.PCentral/math.Min(1, 2*math.Min(lower, upper)), 1, 1e-10)
		if got.Estimate.End == exact.Inside {
			_, _, _, mean := tails(got.Estimate.Log)
			near(t, "mean at the estimate", mean, 0, 1e-10)
		}
		if got.Low.End == exact.Inside {
			_, _, upper, _ = tails(got.Low.Log)
			near(t, "tail at the lower limit", upper/0.05, 1, 1e-9)
		}
		if got.High.End == exact.Inside {
			_, lower, _, _ = tails(got.High.Log)
			near(t, "tail at the upper limit", lower/0.05, 1, 1e-9)
		}
	})
}

// Calling the patterns the other way round turns the ratio over; the unit of time, and
// strata that say nothing, change nothing; more time with the test pattern divides the ratio.
func TestRatesSymmetries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		strata := drawCatches(t)
		base, err := exact.CompareRates(strata, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		check := func(name string, sign, shift float64, change func(exact.Catch) exact.Catch, more ...exact.Catch) {
			var changed []exact.Catch
			for _, c := range strata {
				changed = append(changed, change(c))
			}
			got, err := exact.CompareRates(append(changed, more...), 0.95)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			low, high := base.Low, base.High
			if sign < 0 {
				low, high = high, low
			}
			moved := func(name string, got, want exact.RateRatio) {
				if want.End == exact.Inside {
					want.Log += sign * shift
				}
				sameEnd(t, name, exact.OddsRatio(got), exact.OddsRatio(want), sign)
			}
			moved(name+": estimate", got.Estimate, base.Estimate)
			moved(name+": low", got.Low, low)
			moved(name+": high", got.High, high)
			if shift == 0 {
				near(t, name+": p", got.P, base.P, 1e-10)
			}
		}
		check("patterns swapped", -1, 0, func(c exact.Catch) exact.Catch {
			return exact.Catch{Test: c.Control, TestTime: c.ControlTime, Control: c.Test, ControlTime: c.TestTime}
		})
		check("minutes", 1, 0, func(c exact.Catch) exact.Catch {
			c.TestTime, c.ControlTime = 60*c.TestTime, 60*c.ControlTime
			return c
		}, exact.Catch{TestTime: 3, ControlTime: 1}, exact.Catch{Test: 4, TestTime: 3}, exact.Catch{})
		check("twice the time", 1, -math.Ln2, func(c exact.Catch) exact.Catch {
			c.TestTime *= 2
			return c
		})
	})
}

func TestRatesRefusals(t *testing.T) {
	good := exact.Catch{Test: 3, TestTime: 1, Control: 2, ControlTime: 1}
	for _, c := range []struct {
		name string
		err  error
		want error
	}{
		{"nothing", second(exact.CompareRates(nil, 0.95)), exact.ErrNoCatches},
		{"one pattern only", second(exact.CompareRates([]exact.Catch{{Test: 3, TestTime: 1}}, 0.95)), exact.ErrNoCatches},
		{"fish in no time", second(exact.CompareRates([]exact.Catch{good, {Test: 3, Control: 1, ControlTime: 1}}, 0.95)), exact.ErrTime},
		{"negative time", second(exact.CompareRates([]exact.Catch{{TestTime: -1}}, 0.95)), exact.ErrTime},
		{"time NaN", second(exact.CompareRates([]exact.Catch{{TestTime: math.NaN()}}, 0.95)), exact.ErrTime},
		{"endless time", second(exact.CompareRates([]exact.Catch{{TestTime: math.Inf(1)}}, 0.95)), exact.ErrTime},
		{"negative count", second(exact.CompareRates([]exact.Catch{{Test: -1, TestTime: 1}}, 0.95)), exact.ErrCount},
		{"level 1", second(exact.CompareRates([]exact.Catch{good}, 1)), exact.ErrLevel},
		{"Poisson count below 0", third(exact.PoissonLimits(-1, 0.95)), exact.ErrCount},
		{"Poisson level 0", third(exact.PoissonLimits(1, 0)), exact.ErrLevel},
	} {
		if !errors.Is(c.err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, c.err, c.want)
		}
	}
}
