package num_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// logs are the expected logarithms of a probability and its two tails.
type logs struct {
	Mass  float64 `json:"log_mass"`
	Lower float64 `json:"log_lower"`
	Upper float64 `json:"log_upper"`
}

// check compares a mass to 1e-13 of the probability and as much of its logarithm (what
// rounding of the arguments costs in the far tail), tails to 1e-12 likewise; a tail below
// the smallest float64 must be 0.
func (want logs) check(t *testing.T, name string, logMass, lower, upper float64) {
	t.Helper()
	stattest.Within(t, name+" ln mass", logMass, want.Mass, 2e-13)
	for _, tail := range []struct {
		name      string
		got, want float64
	}{{" lower", lower, want.Lower}, {" upper", upper, want.Upper}} {
		if tail.want < -700 { // below 1e-304 a float64 loses its digits
			if tail.got > 1e-303 {
				t.Errorf("%s%s = %g, want exp(%g)", name, tail.name, tail.got, tail.want)
			}
			continue
		}
		stattest.Within(t, name+tail.name, math.Log(tail.got), tail.want, 1e-12)
	}
}

// Exact fractions; see testdata/reference/num/exact_rational.py.
func TestDistributionsAgainstFractions(t *testing.T) {
	var file struct {
		Hypergeometric []struct {
			logs
			X, Marked, Unmarked, Drawn int64
		}
		Noncentral []struct {
			logs
			X, First, Second, Drawn, Mode int64
			LogOdds                       float64 `json:"log_odds"`
			Mean, Variance                float64
		}
		Binomial []struct {
			logs
			K, N int64
			P, Q float64
		}
		Poisson []struct {
			logs
			K    int64
			Mean float64
		}
		NegativeBinomial []struct {
			logs
			K             int64
			Size, P, Mean float64
		} `json:"negative_binomial"`
	}
	stattest.Load(t, "num/distributions.json", &file)
	for _, c := range file.Hypergeometric {
		h, err := num.NewHypergeometric(c.Marked, c.Unmarked, c.Drawn)
		if err != nil {
			t.Fatal(err)
		}
		lower, upper := h.Tails(c.X)
		c.check(t, "hypergeometric", h.LogMass(c.X), lower, upper)
	}
	for _, c := range file.Noncentral {
		h, err := num.NewNoncentralHypergeometric(c.First, c.Second, c.Drawn, c.LogOdds)
		if err != nil {
			t.Fatal(err)
		}
		lower, upper := h.Tails(c.X)
		c.check(t, "noncentral", h.LogMass(c.X), lower, upper)
		stattest.Relative(t, "mean", h.Mean(), c.Mean, 1e-13)
		stattest.Relative(t, "variance", h.Variance(), c.Variance, 1e-11)
		if h.Mode() != c.Mode {
			t.Errorf("mode %d, want %d", h.Mode(), c.Mode)
		}
	}
	for _, c := range file.Binomial {
		lower, upper := num.Binomial{N: c.N, P: c.P, Q: c.Q}.Tails(c.K)
		c.check(t, "binomial", num.Binomial{N: c.N, P: c.P, Q: c.Q}.LogMass(c.K), lower, upper)
	}
	for _, c := range file.Poisson {
		lower, upper := num.PoissonTails(c.K, c.Mean)
		c.check(t, "Poisson", num.LogPoisson(c.K, c.Mean), lower, upper)
	}
	for _, c := range file.NegativeBinomial {
		d, err := num.NewNegativeBinomial(c.Size, c.P)
		if err != nil {
			t.Fatal(err)
		}
		lower, upper := d.Tails(c.K)
		c.check(t, "negative binomial", d.LogMass(c.K), lower, upper)
		d, err = num.NewNB2(c.Mean, c.Size)
		if err != nil {
			t.Fatal(err)
		}
		lower, upper = d.Tails(c.K)
		c.check(t, "NB2", d.LogMass(c.K), lower, upper)
		stattest.Relative(t, "variance", d.Variance(), c.Mean/c.P, 1e-12)
	}
	if len(file.Hypergeometric) < 12 || len(file.Noncentral) < 14 || len(file.Binomial) < 12 || len(file.Poisson) < 11 || len(file.NegativeBinomial) < 16 {
		t.Error("cases are missing")
	}
}

// Abramowitz & Stegun (1964), 26.4.4-26.4.6, 26.7.3, 26.7.4 at 800 digits: tails
// forwards, quantiles backwards, down to 1e-300.
func TestTailsAndQuantilesFarOut(t *testing.T) {
	var file struct {
		T []struct {
			T, DF float64
			Upper float64 `json:"log_upper"`
		}
		ChiSquare []struct {
			X, DF float64
			Lower float64 `json:"log_lower"`
			Upper float64 `json:"log_upper"`
		} `json:"chi_square"`
	}
	stattest.Load(t, "num/quantiles.json", &file)
	quantiles := 0
	for _, c := range file.T {
		if c.Upper < -700 {
			continue
		}
		stattest.Within(t, "ln t tail", math.Log(num.StudentTwoSided(c.T, c.DF)/2), c.Upper, 1e-12)
		got, err := num.StudentUpperQuantile(math.Exp(c.Upper), c.DF)
		if err != nil {
			t.Fatal(err)
		}
		// exp and ln of the tail cost |ln p|·1e-16 of p, the density turns that into t; near
		// the middle t is lost as the tail rounds at one half.
		stattest.Relative(t, "t quantile", got, c.T, 1e-13*math.Max(1, -c.Upper/c.DF)+2e-16/math.Min(1, c.T))
		quantiles++
	}
	for _, c := range file.ChiSquare {
		if c.Upper > -700 {
			stattest.Within(t, "ln χ² tail", math.Log(num.ChiSquaredTail(c.X, c.DF)), c.Upper, 1e-12)
		}
		if c.Upper > -700 && c.Upper < -0.6 {
			got, err := num.ChiSquaredUpperQuantile(math.Exp(c.Upper), c.DF)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "χ² upper quantile", got, c.X, 1e-13)
			quantiles++
		}
		if c.Lower > -700 && c.Lower < -0.6 {
			got, err := num.ChiSquaredQuantile(math.Exp(c.Lower), c.DF)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "χ² quantile", got, c.X, 1e-13*math.Max(1, -c.Lower/c.DF))
			quantiles++
		}
	}
	if quantiles < 90 {
		t.Errorf("only %d quantiles were compared", quantiles)
	}
}

// Closed forms: on 1 degree of freedom t = cot(πp), on 2 t = (1-2p)/√(2p(1-p)), on 4
// by Shaw (2006), Journal of Computational Finance 9:37-73; χ² on 2 is -2 ln p; and t
// on very many is normal.
func TestQuantilesInClosedForm(t *testing.T) {
	for exponent := -300.0; exponent < 0; exponent += 7 {
		p := math.Pow(10, exponent)
		upper := func(df float64) float64 {
			got, err := num.StudentUpperQuantile(p, df)
			if err != nil {
				t.Fatal(err)
			}
			return got
		}
		tol := 4e-14 * math.Max(1, -exponent/10) // ln p carries |ln p|·1e-16
		stattest.Relative(t, "t on 1", upper(1), 1/math.Tan(math.Pi*p), tol)
		stattest.Relative(t, "t on 2", upper(2), (1-2*p)/math.Sqrt(2*p*(1-p)), tol)
		alpha := 4 * p * (1 - p)
		cosine := math.Cos(math.Acos(math.Sqrt(alpha))/3) / math.Sqrt(alpha)
		stattest.Relative(t, "t on 4", upper(4), 2*math.Sqrt(cosine-1), tol)
		stattest.Relative(t, "t on 1e20", upper(1e20), -num.NormalQuantile(p), 1e-12)
		chi, err := num.ChiSquaredUpperQuantile(p, 2)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "χ² on 2", chi, -2*math.Log(p), 1e-14)
		chi, err = num.ChiSquaredUpperQuantile(p, 1)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "χ² on 1", chi, math.Pow(num.NormalQuantile(p/2), 2), 1e-12)
	}
	if _, err := num.StudentUpperQuantile(1e-300, 0.5); !errors.Is(err, num.ErrRange) {
		t.Errorf("a quantile beyond float64: %v", err)
	}
	if got, err := num.ChiSquaredQuantile(1e-300, 1); err != nil || got != 0 {
		t.Errorf("a quantile below float64: %g, %v", got, err)
	}
}

// Fractional parameters: R 4.2.2 dnbinom, pnbinom, qt, qchisq; see tails.R. R's own
// accuracy is about 1e-12 of a logarithm; its pnbinom on the log scale gives some 1e-10
// where the tail is near 1.
func TestAgainstR(t *testing.T) {
	var file struct {
		NegativeBinomial []struct {
			logs
			K          int64
			Size, Mean float64
		} `json:"negative_binomial"`
		T         []struct{ Tail, DF, Upper_quantile float64 }
		ChiSquare []struct{ Tail, DF, Upper_quantile float64 } `json:"chi_square"`
	}
	stattest.Load(t, "num/tails.json", &file)
	for _, c := range file.NegativeBinomial {
		d, err := num.NewNB2(c.Mean, c.Size)
		if err != nil {
			t.Fatal(err)
		}
		lower, upper := d.Tails(c.K)
		stattest.Within(t, "ln mass", d.LogMass(c.K), c.Mass, 1e-12)
		stattest.Within(t, "ln lower", math.Log(lower), c.Lower, 1e-11)
		stattest.Within(t, "ln upper", math.Log(upper), c.Upper, 1e-11)
	}
	for _, c := range file.T {
		got, err := num.StudentUpperQuantile(c.Tail, c.DF)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "t quantile", got, c.Upper_quantile, 1e-11)
	}
	for _, c := range file.ChiSquare {
		got, err := num.ChiSquaredUpperQuantile(c.Tail, c.DF)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "χ² quantile", got, c.Upper_quantile, 1e-11)
	}
	if len(file.NegativeBinomial) < 8 || len(file.T) < 10 || len(file.ChiSquare) < 7 {
		t.Error("cases are missing")
	}
}

// A distribution's parts agree: masses add up to the tails, the quantile is the first
// value that reaches p, moments are those of the masses.
func TestHypergeometricParts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, n := rapid.Int64Range(0, 60).Draw(t, "first"), rapid.Int64Range(0, 60).Draw(t, "second")
		drawn := rapid.Int64Range(0, m+n).Draw(t, "drawn")
		phi := rapid.Float64Range(-8, 8).Draw(t, "log odds")
		if rapid.Bool().Draw(t, "central") {
			phi = 0
		}
		h, err := num.NewNoncentralHypergeometric(m, n, drawn, phi)
		if err != nil {
			t.Fatal(err)
		}
		least, most := h.Support()
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		quantile, err := h.Quantile(p)
		if err != nil {
			t.Fatal(err)
		}
		var sum, mean, square float64
		reached := false
		for x := least; x <= most; x++ {
			mass := math.Exp(h.LogMass(x))
			if phi == 0 && math.Abs(h.LogMass(x)-num.LogHypergeometric(x, m, n, drawn)) > 1e-12 {
				t.Errorf("ln mass of %d = %g without an effect", x, h.LogMass(x))
			}
			lower, upper := h.Tails(x)
			if math.Abs(upper-(1-sum)) > 1e-12 || math.Abs(lower-(sum+mass)) > 1e-12 {
				t.Errorf("tails of %d are %g, %g, want %g, %g", x, lower, upper, sum+mass, 1-sum)
			}
			sum += mass
			mean += mass * float64(x)
			square += mass * float64(x) * float64(x)
			if !reached && sum >= p-1e-11 {
				reached = true
				if quantile != x && math.Abs(sum-p) > 1e-11 {
					t.Errorf("quantile of %g is %d, want %d", p, quantile, x)
				}
			}
		}
		if math.Abs(h.Mean()-mean) > 1e-10 || math.Abs(h.Variance()-(square-mean*mean)) > 1e-9 {
			t.Errorf("moments %g, %g, want %g, %g", h.Mean(), h.Variance(), mean, square-mean*mean)
		}
		for _, x := range []int64{least - 1, most + 1} {
			lower, upper := h.Tails(x)
			if !math.IsInf(h.LogMass(x), -1) || lower+upper != 1 {
				t.Errorf("outside the support: %g, %g, %g", h.LogMass(x), lower, upper)
			}
		}
	})
}

// As the size of NB2 grows it becomes Poisson, and its tails are those of a binomial
// read backwards: X <= k before the r-th success just when r successes come in k+r trials.
func TestNegativeBinomialLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mean := rapid.Float64Range(1e-9, 60).Draw(t, "mean")
		k := rapid.Int64Range(0, 150).Draw(t, "k")
		d, err := num.NewNB2(mean, 1e15)
		if err != nil {
			t.Fatal(err)
		}
		lower, upper := d.Tails(k)
		wantLower, wantUpper := num.PoissonTails(k, mean)
		if math.Abs(lower-wantLower) > 1e-11 || math.Abs(upper-wantUpper) > 1e-11 {
			t.Errorf("tails %g, %g, Poisson %g, %g", lower, upper, wantLower, wantUpper)
		}
		r := rapid.Int64Range(1, 40).Draw(t, "size")
		p := rapid.Float64Range(0.01, 1).Draw(t, "p")
		d, err = num.NewNegativeBinomial(float64(r), p)
		if err != nil {
			t.Fatal(err)
		}
		lower, _ = d.Tails(k)
		if _, want := (num.Binomial{N: k + r, P: p, Q: 1 - p}).Tails(r); math.Abs(lower-want) > 1e-12 {
			t.Errorf("lower tail %g, binomial %g", lower, want)
		}
	})
}

func TestDistributionRanges(t *testing.T) {
	second := func(_ any, err error) error { return err }
	for name, err := range map[string]error{
		"marked below 0":    second(num.NewHypergeometric(-1, 3, 2)),
		"more drawn":        second(num.NewHypergeometric(1, 3, 5)),
		"too many":          second(num.NewHypergeometric(math.MaxInt64, math.MaxInt64, 5)),
		"infinite odds":     second(num.NewNoncentralHypergeometric(3, 3, 2, math.Inf(1))),
		"odds NaN":          second(num.NewNoncentralHypergeometric(3, 3, 2, math.NaN())),
		"size 0":            second(num.NewNegativeBinomial(0, 0.5)),
		"probability 0":     second(num.NewNegativeBinomial(1, 0)),
		"probability NaN":   second(num.NewNegativeBinomial(1, math.NaN())),
		"negative mean":     second(num.NewNB2(-1, 2)),
		"infinite size":     second(num.NewNB2(1, math.Inf(1))),
		"upper tail 0":      second(num.StudentUpperQuantile(0, 3)),
		"upper χ² tail 1":   second(num.ChiSquaredUpperQuantile(1, 3)),
		"upper χ² tail NaN": second(num.ChiSquaredUpperQuantile(math.NaN(), 3)),
	} {
		if !errors.Is(err, num.ErrRange) {
			t.Errorf("%s: %v", name, err)
		}
	}
	h, err := num.NewHypergeometric(3, 4, 2)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Quantile(math.NaN()); !errors.Is(err, num.ErrRange) {
		t.Errorf("quantile of NaN: %v", err)
	}
}
