package num_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// All expected values in this file: mpmath 1.3.0 at 50 digits, from gamma,
// incomplete gamma and incomplete beta functions, unless a test says otherwise.

// atDecimal is the tolerance of a quantile at a decimal p: 1e-13, and what is
// lost because p as a float64 is off by up to 6e-17, which matters in 1-p.
func atDecimal(p float64) float64 { return 1e-13 + 6e-17/(1-p) }

func TestQuantiles(t *testing.T) {
	for _, c := range []struct{ p, df, want float64 }{
		{0.6, 1, 0.32491969623290633},
		{0.95, 1, 6.3137515146750431},
		{0.975, 1, 12.706204736174705},
		{0.995, 1, 63.656741162871581},
		{0.999999, 1, 318309.88618274347},
		{0.975, 2, 4.3026527297494639},
		{0.999999, 2, 707.1057205259338},
		{0.6, 5, 0.26718086570414513},
		{0.975, 5, 2.5705818356363155},
		{0.999999, 5, 24.771029720515944},
		{0.95, 11, 1.7958848187040441},
		{0.975, 11, 2.2009851600916399},
		{0.975, 29, 2.0452296421327043},
		{0.975, 399, 1.9659272959208821},
		{0.999999, 399, 4.8246143530095548},
		{0.975, 4999, 1.9604386466615249},
		{0.999999, 4999, 4.7590390776164204},
	} {
		for _, side := range []float64{1, -1} {
			p := c.p
			if side < 0 {
				p = 1 - c.p
			}
			got, err := num.StudentQuantile(p, c.df)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "t quantile", got, side*c.want, atDecimal(c.p))
		}
	}
	for _, c := range []struct{ p, df, want float64 }{
		{0.000001, 1, 1.5707963267957191e-12},
		{0.025, 1, 0.00098206911717525591},
		{0.5, 1, 0.45493642311957275},
		{0.975, 1, 5.023886187314889},
		{0.999999, 1, 23.928126976934829},
		{0.025, 2, 0.050635615968579751},
		{0.000001, 5, 0.012896160206497097},
		{0.975, 5, 12.832501994030028},
		{0.025, 12, 4.4037885069817016},
		{0.975, 12, 23.336664158645339},
		{0.025, 17, 7.5641864495775694},
		{0.000001, 399, 278.80456747824603},
		{0.025, 399, 345.55113256898454},
		{0.975, 399, 456.23611133422855},
		{0.025, 4999, 4804.9243321590566},
		{0.5, 4999, 4998.3333491412723},
		{0.975, 4999, 5196.8641706051855},
		{0.999999, 4999, 5488.7723301183612},
	} {
		got, err := num.ChiSquaredQuantile(c.p, c.df)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "χ² quantile", got, c.want, atDecimal(c.p))
	}
	for _, c := range []struct{ p, want float64 }{
		{1e-300, -37.047096299361199},
		{1e-10, -6.3613409024040562},
		{0.025, -1.9599639845400542},
		{0.3, -0.52440051270804078},
		{0.975, 1.9599639845400542},
		{0.9999, 3.7190164854556806},
	} {
		stattest.Relative(t, "normal quantile", num.NormalQuantile(c.p), c.want, 1e-12)
	}
	if !math.IsInf(num.NormalQuantile(0), -1) || !math.IsInf(num.NormalQuantile(1), 1) {
		t.Error("the normal quantile has no infinite ends")
	}
}

func TestQuantileRanges(t *testing.T) {
	for _, p := range []float64{0, 1, -0.1, 1.1, math.NaN()} {
		if _, err := num.StudentQuantile(p, 3); !errors.Is(err, num.ErrRange) {
			t.Errorf("t quantile of %g: %v", p, err)
		}
		if _, err := num.ChiSquaredQuantile(p, 3); !errors.Is(err, num.ErrRange) {
			t.Errorf("χ² quantile of %g: %v", p, err)
		}
	}
	for _, df := range []float64{0, -1, math.Inf(1), math.NaN()} {
		if _, err := num.StudentQuantile(0.5, df); !errors.Is(err, num.ErrRange) {
			t.Errorf("t quantile on %g degrees of freedom: %v", df, err)
		}
		if _, err := num.ChiSquaredQuantile(0.5, df); !errors.Is(err, num.ErrRange) {
			t.Errorf("χ² quantile on %g degrees of freedom: %v", df, err)
		}
	}
}

func TestTails(t *testing.T) {
	for _, c := range []struct{ x, df, want float64 }{
		{3.841, 1, 0.050013683763956699},
		{50, 1, 1.5374597944280349e-12},
		{700, 1, 2.9902269751246203e-154},
		{7.991840244134166, 7, 0.3333139732187678},
		{152.23300808237326, 12, 1.9967645908460002e-26},
		{500.5, 399, 0.00040402198836622749},
		{5500, 4999, 5.9025218856298885e-7},
		{0, 3, 1},
	} {
		stattest.Relative(t, "χ² tail", num.ChiSquaredTail(c.x, c.df), c.want, 1e-11)
	}
	for _, c := range []struct{ x, df, want float64 }{
		{12.7, 1, 0.05002432768934416},
		{4.3, 2, 0.050057154117091592},
		{30.0, 5, 7.718648620496052e-7},
		{3.952239886524809, 12, 0.0019200150960572931},
		{2.5, 399, 0.012819874131279738},
		{40.0, 4999, 8.564527647011081e-304},
		{math.Inf(1), 4, 0},
		{0, 4, 1},
	} {
		stattest.Relative(t, "t tail", num.StudentTwoSided(c.x, c.df), c.want, 1e-11)
		stattest.Relative(t, "t tail, negative", num.StudentTwoSided(-c.x, c.df), c.want, 1e-11)
	}
	stattest.Relative(t, "normal tail", num.NormalTwoSided(1.9599639845400542), 0.05, 1e-14)
}

func TestLogTerms(t *testing.T) {
	for _, c := range []struct {
		k, n    int64
		p, want float64
	}{
		{0, 5, 0.3, -1.7833747196936618},
		{5, 5, 0.3, -6.0198640216296801},
		{3, 10, 0.3, -1.3211512777668886},
		{480, 1000, 0.5, -4.4793323555820601},
		{1000000, 4000000, 0.2501, -7.7895005765773923},
		{7, 1000000000, 1e-09, -9.525161375565414},
		{999999999, 1000000000, 0.999999999, -0.9999999995000004},
		{10, 20, 1e-12, -264.18341984469303},
		{0, 0, 0.4, 0},
		{0, 9, 0, 0},
		{9, 9, 1, 0},
		{1, 9, 0, math.Inf(-1)},
		{8, 9, 1, math.Inf(-1)},
		{-1, 9, 0.5, math.Inf(-1)},
		{10, 9, 0.5, math.Inf(-1)},
	} {
		stattest.Within(t, "ln binomial", num.LogBinomial(c.k, c.n, c.p), c.want, 1e-13)
	}
	for _, c := range []struct {
		x, m, n, t int64
		want       float64
	}{
		{4, 4, 4, 4, -4.248495242049359},
		{3, 4, 4, 4, -1.4759065198095778},
		{40, 48, 48, 62, -9.242676281050534},
		{3, 1000, 1000, 12, -2.9301801254496787},
		{500300, 1000000, 1000000, 1000000, -7.1469730779470701},
		{999990, 1000010, 1000000, 1999990, -13.862938611450156},
		{1, 1000000000, 1000000000, 1, -0.69314718055994531},
		{0, 6, 5, 0, 0},
		{6, 6, 5, 11, 0},
		{5, 4, 4, 6, math.Inf(-1)},
		{1, 4, 4, 6, math.Inf(-1)},
	} {
		stattest.Within(t, "ln hypergeometric", num.LogHypergeometric(c.x, c.m, c.n, c.t), c.want, 1e-13)
	}
}

// Probabilities of a distribution add up to 1.
func TestLogTermsSumToOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.Int64Range(0, 300).Draw(t, "m")
		n := rapid.Int64Range(0, 300).Draw(t, "n")
		drawn := rapid.Int64Range(0, m+n).Draw(t, "drawn")
		var logs []float64
		for x := int64(0); x <= m; x++ {
			logs = append(logs, num.LogHypergeometric(x, m, n, drawn))
		}
		if got := logSum(logs); math.Abs(got) > 1e-12 {
			t.Errorf("hypergeometric probabilities add up to exp(%g)", got)
		}
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		logs = logs[:0]
		for k := int64(0); k <= n; k++ {
			logs = append(logs, num.LogBinomial(k, n, p))
		}
		if got := logSum(logs); math.Abs(got) > 1e-12 {
			t.Errorf("binomial probabilities add up to exp(%g)", got)
		}
	})
}

// logSum is the logarithm of Σ exp(x).
func logSum(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += math.Exp(v)
	}
	return math.Log(sum)
}

func TestExpitAndLogit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-30, 30).Draw(t, "x")
		if got := num.Logit(num.Expit(x)); math.Abs(got-x) > 1e-15*math.Exp(math.Abs(x))+1e-13 {
			t.Errorf("logit(expit(%g)) = %g", x, got)
		}
		if got := num.Expit(x) + num.Expit(-x); math.Abs(got-1) > 1e-15 {
			t.Errorf("expit(%g) + expit(-%g) = %g", x, x, got)
		}
	})
	if num.Expit(math.Inf(1)) != 1 || num.Expit(math.Inf(-1)) != 0 {
		t.Error("expit has wrong ends")
	}
	if !math.IsInf(num.Logit(0), -1) || !math.IsInf(num.Logit(1), 1) {
		t.Error("logit has wrong ends")
	}
}

// Roots known in closed form.
func TestRoot(t *testing.T) {
	for _, c := range []struct {
		name   string
		f      func(float64) float64
		lo, hi float64
		want   float64
	}{
		{"cos x = x", func(x float64) float64 { return math.Cos(x) - x }, 0, 1, 0.7390851332151607}, // Dottie number, OEIS A003957
		{"cube root of 2", func(x float64) float64 { return x*x*x - 2 }, 0, 2, math.Cbrt(2)},
		{"flat", func(x float64) float64 { return math.Pow(x-0.3, 9) }, 0, 1, 0.3},
		{"step", func(x float64) float64 { return math.Copysign(1, x-0.125) }, -3, 7, 0.125},
		{"infinite at an end", func(x float64) float64 { return math.Log(x) + 50 }, 0, 1, math.Exp(-50)},
		{"decreasing", func(x float64) float64 { return 1 - x }, -5, 5, 1},
		{"at an end", func(x float64) float64 { return x }, 0, 5, 0},
	} {
		got, err := num.Root(c.f, c.lo, c.hi, 0)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		tol := 1e-14
		if c.name == "flat" {
			tol = 1e-12
		}
		stattest.Within(t, c.name, got, c.want, tol)
	}
	if _, err := num.Root(math.Exp, 0, 1, 0); !errors.Is(err, num.ErrNoBracket) {
		t.Errorf("no sign change: %v", err)
	}
	wall := func(x float64) float64 {
		if x > 0.4 && x < 0.6 {
			return math.NaN()
		}
		return x - 0.5
	}
	if _, err := num.Root(wall, 0, 1, 0); !errors.Is(err, num.ErrNoRoot) {
		t.Errorf("a NaN inside: %v", err)
	}
}

// By a slope, right or wrong by a factor, the root of the arc tangent, whose Newton's steps alone run away from far off, is the one put in.
func TestIncreasingRootBySlope(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.Float64Range(-200, 200).Draw(t, "root")
		start := rapid.Float64Range(-50, 50).Draw(t, "start")
		wrong := rapid.Float64Range(.5, 2).Draw(t, "slope wrong by")
		f := func(wrong float64) func(float64) (float64, float64) {
			return func(x float64) (value, slope float64) {
				d := x - want
				return math.Atan(d), wrong / (1 + d*d)
			}
		}
		got, err := num.IncreasingRootBySlope(f(1), start, 0.1, 300, 1e-9)
		rough, err2 := num.IncreasingRootBySlope(f(wrong), start, 0.1, 300, 1e-6)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if least := 1e-12 * math.Max(1, math.Abs(want)); math.Abs(got-want) > least || math.Abs(rough-want) > 2e-6 {
			t.Errorf("roots %g and %g, want %g", got, rough, want)
		}
	})
	slope := func(f func(float64) float64) func(float64) (float64, float64) {
		return func(x float64) (float64, float64) { return f(x), f(x) }
	}
	if _, err := num.IncreasingRootBySlope(slope(math.Exp), 0, 1, 100, 0); !errors.Is(err, num.ErrNoSignChange) {
		t.Errorf("no root: %v", err)
	}
	if _, err := num.IncreasingRootBySlope(slope(func(float64) float64 { return math.NaN() }), 0, 1, 100, 0); !errors.Is(err, num.ErrNoRoot) {
		t.Errorf("NaN at the start: %v", err)
	}
}

func TestIncreasingRoot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.Float64Range(-200, 200).Draw(t, "root")
		start := rapid.Float64Range(-50, 50).Draw(t, "start")
		got, err := num.IncreasingRoot(func(x float64) float64 { return math.Atan(x - want) }, start, 0.1, 300, 0)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got-want) > 1e-12*math.Max(1, math.Abs(want)) {
			t.Errorf("root %g, want %g", got, want)
		}
	})
	if _, err := num.IncreasingRoot(math.Exp, 0, 1, 100, 0); !errors.Is(err, num.ErrNoSignChange) {
		t.Errorf("no root: %v", err)
	}
	if _, err := num.IncreasingRoot(func(float64) float64 { return math.NaN() }, 0, 1, 100, 0); !errors.Is(err, num.ErrNoRoot) {
		t.Errorf("NaN at the start: %v", err)
	}
}
