package exact_test

import (
	"context"
	"math"
	"testing"

	"evenrig/stats/exact"
)

// Every count up to a million gives finite numbers or an error, and keeps its
// order: low <= estimate <= high, p in (0, 1].
func FuzzFiniteOrError(f *testing.F) {
	const million = 1_000_000
	for _, seed := range [][8]int64{
		{},
		{3, 1, 3, 1, 0, 0, 0, 0},
		{million, 0, 0, million, million, 0, 0, million},
		{million, 1, million, 1, 1, million, 1, million},
		{million, million, million, million, million, million, million, million},
		{million, 3, 17, million, 0, 2, 999_999, 1},
		{1, 0, 0, 0, million, 999_998, 7, 0},
		{0, million, million, 0, 5, 5, 5, 5},
	} {
		f.Add(seed[0], seed[1], seed[2], seed[3], seed[4], seed[5], seed[6], seed[7], 0.95)
	}
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g, h, i int64, level float64) {
		bounded := func(x int64) int64 {
			if x < -1 || x > million {
				return (x%(million+1) + million + 1) % (million + 1)
			}
			return x
		}
		strata := []exact.Table{
			{A: bounded(a), B: bounded(b), C: bounded(c), D: bounded(d)},
			{A: bounded(e), B: bounded(g), C: bounded(h), D: bounded(i)},
		}
		finite := func(name string, values ...float64) {
			t.Helper()
			for _, v := range values {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%+v at level %g: %s has %g", strata, level, name, values)
				}
			}
		}
		if got, err := exact.ConditionalTest(strata, level); err == nil {
			finite("conditional", got.Low.Log, got.Estimate.Log, got.High.Log)
			if !(got.P > 0 && got.P <= 1 && got.PCentral > 0 && got.PCentral <= 1) {
				t.Errorf("%+v: p = %g, central p = %g", strata, got.P, got.PCentral)
			}
			low, estimate, high := got.Low.Share(), got.Estimate.Share(), got.High.Share()
			if !(low <= estimate && estimate <= high) {
				t.Errorf("%+v at level %g: %g, %g, %g", strata, level, low, estimate, high)
			}
		} else if level == 0.95 && strata[0].Validate() == nil && strata[1].Validate() == nil && (strata[0].Informative() || strata[1].Informative()) {
			t.Errorf("%+v: %v", strata, err)
		}
		if got, err := exact.CochranMantelHaenszel(strata); err == nil {
			finite("Cochran-Mantel-Haenszel", got.Statistic, got.P)
		}
		if got, err := exact.MantelHaenszel(strata, level); err == nil {
			finite("Mantel-Haenszel", got.LogOR, got.StdErr, got.Low, got.High)
		}
		if got, err := exact.TaroneHomogeneity(strata); err == nil {
			finite("homogeneity", got.BreslowDay, got.Tarone, got.P)
		}
		pooled := added(strata)
		if got, err := exact.Woolf(pooled, level); err == nil {
			finite("Woolf", got.Theta, got.StdErr, got.Low, got.High, got.P, got.Beta)
		}
		if got, err := exact.FisherTwoSided(pooled); err == nil && !(got > 0 && got <= 1) {
			t.Errorf("%+v: Fisher p = %g", pooled, got)
		}
		if low, high, err := exact.ClopperPearson(pooled.A+pooled.C, pooled.Total(), level); err == nil && !(0 <= low && low <= high && high <= 1) {
			t.Errorf("%+v at level %g: limits %g, %g", pooled, level, low, high)
		}
		if got, err := exact.BinomialTwoSided(pooled.A+pooled.C, pooled.Total(), 0.5); err == nil && !(got > 0 && got <= 1) {
			t.Errorf("%+v: binomial p = %g", pooled, got)
		}
	})
}

// Likewise for rates, penalised tables, tables of more rows, and the randomisation test.
func FuzzFurtherFiniteOrError(f *testing.F) {
	const million = 1_000_000
	f.Add(int64(3), int64(1), int64(3), int64(1), int64(2), 1.5, 2.0, 0.95)
	f.Add(int64(million), int64(0), int64(0), int64(million), int64(0), 1e-6, 1e9, 0.999999)
	f.Add(int64(0), int64(0), int64(0), int64(0), int64(4), 0.0, 0.0, 0.5)
	f.Add(int64(million), int64(999_999), int64(1), int64(million), int64(1), 1e9, 1e-6, 1e-12)
	f.Fuzz(func(t *testing.T, a, b, c, d int64, size int64, testTime, controlTime, level float64) {
		bounded := func(x int64) int64 {
			if x < -1 || x > million {
				return (x%(million+1) + million + 1) % (million + 1)
			}
			return x
		}
		a, b, c, d = bounded(a), bounded(b), bounded(c), bounded(d)
		ordered := func(name string, p float64, values ...float64) {
			t.Helper()
			if !(p > 0 && p <= 1) {
				t.Errorf("%s of %d, %d, %d, %d, %g, %g at %g: p = %g", name, a, b, c, d, testTime, controlTime, level, p)
			}
			for i, v := range values {
				if math.IsNaN(v) || math.IsInf(v, 0) || i > 0 && v < values[i-1] {
					t.Errorf("%s of %d, %d, %d, %d, %g, %g at %g: %g", name, a, b, c, d, testTime, controlTime, level, values)
				}
			}
		}
		rates := []exact.Catch{
			{Test: a, TestTime: testTime, Control: b, ControlTime: controlTime},
			{Test: c, TestTime: controlTime, Control: d, ControlTime: testTime},
		}
		if got, err := exact.CompareRates(rates, level); err == nil {
			ordered("rates", got.P)
			ordered("rates", got.PCentral)
			ordered("rates", 1, exact.OddsRatio(got.Low).Share(), exact.OddsRatio(got.Estimate).Share(), exact.OddsRatio(got.High).Share())
		}
		if low, high, err := exact.PoissonLimits(a, level); err == nil {
			ordered("Poisson limits", 1, low, high)
		}
		if got, err := exact.Firth(exact.Table{A: a, B: b, C: c, D: d}, level); err == nil {
			ordered("Firth", math.Max(got.P, 1e-300), got.Low, got.Theta, got.High)
			ordered("Firth", 1, got.StdErr)
		}
		if p, err := exact.FisherFreemanHalton([][2]int64{{a % 500, b % 500}, {c % 500, d % 500}, {size % 20, 3}}); err == nil {
			ordered("Freeman-Halton", p)
		}
		if got, err := exact.RuleOfShare(size, a, level); err == nil {
			ordered("rule", 1, 0, got.Test)
			ordered("rule", 1, 0, got.FalseAlarm, 1)
		}
		takes := func(lower, upper int64) exact.Takes { return exact.Takes{Lower: lower, Upper: upper} }
		draw := exact.Draw{Sizes: []int{2, 4}, Anglers: [][]exact.DrawnBlock{{
			{Group: 1, Size: int(size), TestFirst: true, First: takes(a, b), Second: takes(c, d)},
			{Group: 1, Size: int(size), First: takes(b, c), Second: takes(d, a)},
			{Group: 2, Size: 1, First: takes(a, d), Second: takes(b, b)},
		}}}
		for _, statistic := range []exact.RandomisationStatistic{exact.ByBlock, exact.ByAngler} {
			if got, err := exact.Randomise(context.Background(), draw, statistic, exact.FewestRedraws, 1, 1); err == nil {
				ordered("randomisation", got.P, got.SmallestP, got.P+1e-12)
				ordered("randomisation", 1, 0, got.StdDev)
				ordered("randomisation", 1, got.Statistic)
			}
		}
	})
}

// added is the cell-by-cell sum of the tables.
func added(tables []exact.Table) (sum exact.Table) {
	for _, t := range tables {
		sum = exact.Table{A: sum.A + t.A, B: sum.B + t.B, C: sum.C + t.C, D: sum.D + t.D}
	}
	return sum
}

// club returns k anglers of 40 fish each, with some variety.
func club(k int64) []exact.Table {
	strata := make([]exact.Table, k)
	for i := range strata {
		n := int64(i)
		strata[i] = exact.Table{A: 12 + n%5, B: 8 - n%5, C: 11 - n%4, D: 9 + n%4}
	}
	return strata
}

func benchmarkConditional(b *testing.B, strata []exact.Table) {
	for b.Loop() {
		if _, err := exact.ConditionalTest(strata, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkConditional12x40(b *testing.B)  { benchmarkConditional(b, club(12)) }
func BenchmarkConditional400x40(b *testing.B) { benchmarkConditional(b, club(400)) }

func BenchmarkConditional12xFourMillion(b *testing.B) {
	strata := make([]exact.Table, 12)
	for i := range strata {
		strata[i] = exact.Table{A: 1_000_000, B: 999_000, C: 998_000, D: 1_000_000}
	}
	benchmarkConditional(b, strata)
}
