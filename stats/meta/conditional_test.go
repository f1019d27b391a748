package meta_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/exact"
	"evenrig/stats/meta"
	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// Catheters: Niel-Weise et al. (2007), the worked example of Stijnen, Hamza &
// Özdemir (2010); D1, D2: invented. R 4.2.2, metafor 3.8.1, rma.glmm with CM.EL,
// whose integrals and derivatives are numerical.
func TestConditionalReference(t *testing.T) {
	t.Parallel()
	var file struct {
		Cases []struct {
			Name           string
			Rows           [][4]int64 `json:"rows_a_b_c_d"`
			K              int
			LogOddsRatio   float64 `json:"log_odds_ratio"`
			StdErr         float64 `json:"std_error"`
			Tau2           float64
			LogLikelihood  float64 `json:"log_likelihood"`
			Common         float64 `json:"common_log_odds_ratio"`
			CommonStdErr   float64 `json:"common_std_error"`
			CommonLogLikel float64 `json:"common_log_likelihood"`
		}
	}
	stattest.Load(t, "meta/conditional.json", &file)
	for _, c := range file.Cases {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			var tables []exact.Table
			for _, r := range c.Rows {
				tables = append(tables, exact.Table{A: r[0], B: r[1], C: r[3], D: r[2]})
			}
			got, err := meta.ConditionalPool(tables, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			if got.K != c.K || got.DF != c.K-1 || got.K+got.Uninformative != len(tables) {
				t.Errorf("counts of anglers: %+v", got)
			}
			// Its optimiser stops at about 1e-6 of the parameters, its Hessian is by
			// differences of numerical integrals.
			const searched, differenced = 5e-6, 2e-4
			if got.Tau == 0 {
				// There its search over ln τ² ends at a small τ², with a log-likelihood
				// below that of its own fit without τ² and no Hessian: that fit is the reference.
				if c.LogLikelihood > c.CommonLogLikel {
					t.Error("τ is 0 although the reference is higher above it")
				}
				stattest.Relative(t, "ln OR", 2*got.Theta, c.Common, searched)
				stattest.Relative(t, "SE", 2*got.StdErr, c.CommonStdErr, differenced)
				stattest.Absolute(t, "log-likelihood", got.LogLikelihood, c.CommonLogLikel, 1e-9)
				return
			}
			stattest.Relative(t, "ln OR", 2*got.Theta, c.LogOddsRatio, searched)
			stattest.Relative(t, "SE", 2*got.StdErr, c.StdErr, differenced)
			stattest.Relative(t, "τ²", 4*got.Tau*got.Tau, c.Tau2, searched)
			stattest.Absolute(t, "log-likelihood", got.LogLikelihood, c.LogLikelihood, 2e-6)
			stattest.Absolute(t, "p of τ = 0", got.TauP, num.ChiSquaredTail(2*(c.LogLikelihood-c.CommonLogLikel), 1)/2, 1e-6)
		})
	}
}

// As printed for the catheters by Stijnen, Hamza & Özdemir (2010), Table III: -1.353
// (.351), τ² .693 (from memory).
func TestConditionalAsPrinted(t *testing.T) {
	t.Parallel()
	r, err := meta.ConditionalPool(catheters(t), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	const half = 5e-4
	stattest.Absolute(t, "ln OR", 2*r.Theta, -1.353, half)
	stattest.Absolute(t, "SE", 2*r.StdErr, 0.351, half)
	stattest.Absolute(t, "τ²", 4*r.Tau*r.Tau, 0.693, half)
}

func catheters(t *testing.T) []exact.Table {
	t.Helper()
	var file setsFile
	stattest.Load(t, "meta/sets.json", &file)
	var tables []exact.Table
	for _, r := range file.Rare {
		tables = append(tables, exact.Table{A: r[0], B: r[1] - r[0], C: r[3] - r[2], D: r[2]})
	}
	return tables
}

// brute is the log-likelihood at (θ, τ) from its definition: probabilities from
// gamma functions, integrals by Simpson's rule on 4,001 points over 12 SDs either way.
func brute(tables []exact.Table, theta, tau float64) float64 {
	logChoose := func(n, k float64) float64 {
		a, _ := math.Lgamma(n + 1)
		b, _ := math.Lgamma(k + 1)
		c, _ := math.Lgamma(n - k + 1)
		return a - b - c
	}
	var total float64
	for _, t := range tables {
		m, n, drawn := float64(t.A+t.B), float64(t.C+t.D), float64(t.A+t.D)
		from, to := math.Max(0, drawn-n), math.Min(m, drawn)
		var base []float64
		for k := from; k <= to; k++ {
			base = append(base, logChoose(m, k)+logChoose(n, drawn-k))
		}
		probability := func(lambda float64) float64 {
			// Relative to the count seen, so that no exponential matters that overflows.
			var sum float64
			for i, b := range base {
				sum += math.Exp(b - base[t.A-int64(from)] + lambda*(from+float64(i)-float64(t.A)))
			}
			return 1 / sum
		}
		if tau == 0 {
			total += math.Log(probability(2 * theta))
			continue
		}
		const half, points = 12.0, 4000
		var sum float64
		for i := 0; i <= points; i++ {
			z := -half + 2*half*float64(i)/points
			w := 2.0 + 2*float64(i%2)
			if i == 0 || i == points {
				w = 1
			}
			sum += w * math.Exp(-z*z/2) * probability(2*theta+2*tau*z)
		}
		total += math.Log(sum * 2 * half / points / 3 / math.Sqrt(2*math.Pi))
	}
	return total
}

// small are tables of anglers who differ, none with more than 8 fish an arrangement.
var small = []exact.Table{
	{A: 4, B: 0, C: 3, D: 1},
	{A: 2, B: 2, C: 1, D: 3},
	{A: 5, B: 3, C: 0, D: 6},
	{A: 3, B: 1, C: 4, D: 0},
	{A: 8, B: 0, C: 6, D: 2},
	{A: 1, B: 5, C: 2, D: 2},
	{A: 6, B: 1, C: 5, D: 3},
	{A: 3, B: 0, C: 0, D: 0},
}

// By brute force from the definitions: value, highest point, curvature, and profile.
func TestConditionalByBruteForce(t *testing.T) {
	t.Parallel()
	r, err := meta.ConditionalPool(small, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	if r.Tau == 0 || r.K != 7 || r.Uninformative != 1 {
		t.Fatalf("the example should have a τ: %+v", r)
	}
	top := brute(small, r.Theta, r.Tau)
	stattest.Absolute(t, "log-likelihood", r.LogLikelihood, top, 1e-10)
	for _, d := range [][2]float64{{0.01, 0}, {-0.01, 0}, {0, 0.01}, {0, -0.01}, {0.01, 0.01}, {-0.01, 0.01}, {0.5, -0.2}, {0, 3}, {1, 1}, {0, -r.Tau}} {
		if l := brute(small, r.Theta+d[0], r.Tau+d[1]); l >= top {
			t.Errorf("(%g, %g) further the likelihood is higher by %g", d[0], d[1], l-top)
		}
	}
	const h = 1e-3 // second differences: truncation about h², rounding about 1e-13/h²
	at := func(i, j float64) float64 { return brute(small, r.Theta+i*h, r.Tau+j*h) }
	tt := (at(1, 0) - 2*top + at(-1, 0)) / (h * h)
	ss := (at(0, 1) - 2*top + at(0, -1)) / (h * h)
	ts := (at(1, 1) - at(1, -1) - at(-1, 1) + at(-1, -1)) / (4 * h * h)
	stattest.Relative(t, "SE", r.StdErr, 1/math.Sqrt(-tt+ts*ts/ss), 1e-5)
	// Half the χ² quantile on 1 at .9: the square of the normal quantile at .95, 1.6448536.
	drop := 1.6448536269514722 * 1.6448536269514722 / 2
	profile := func(theta float64) float64 {
		// Golden section over τ in [0, 5], where the profile has one maximum.
		low, high := 0.0, 5.0
		const golden = 0.6180339887498949
		for range 45 {
			a, b := high-golden*(high-low), low+golden*(high-low)
			if brute(small, theta, a) > brute(small, theta, b) {
				high = b
			} else {
				low = a
			}
		}
		return math.Max(brute(small, theta, 0), brute(small, theta, low))
	}
	if !r.HasProfileLow || !r.HasProfileHigh {
		t.Fatal("no likelihood-ratio limits")
	}
	stattest.Absolute(t, "profile low", profile(r.ProfileLow), top-drop, 1e-7)
	stattest.Absolute(t, "profile high", profile(r.ProfileHigh), top-drop, 1e-7)
	stattest.Absolute(t, "profile p", r.ProfileP, num.ChiSquaredTail(2*(top-profile(0)), 1), 1e-7)
	stattest.Absolute(t, "p of τ = 0", r.TauP, num.ChiSquaredTail(2*(top-commonTop(small)), 1)/2, 1e-7)
}

// commonTop is the highest likelihood without τ, by golden section.
func commonTop(tables []exact.Table) float64 {
	low, high := -5.0, 5.0
	const golden = 0.6180339887498949
	for range 60 {
		a, b := high-golden*(high-low), low+golden*(high-low)
		if brute(tables, a, 0) > brute(tables, b, 0) {
			high = b
		} else {
			low = a
		}
	}
	return brute(tables, low, 0)
}

func drawTables(t *rapid.T) []exact.Table {
	count := rapid.Int64Range(0, 9)
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) exact.Table {
		return exact.Table{A: count.Draw(t, "a"), B: count.Draw(t, "b"), C: count.Draw(t, "c"), D: count.Draw(t, "d")}
	}), 2, 7).Draw(t, "tables")
}

// refusable are what ConditionalPool may answer for legal counts.
func refusable(err error) bool {
	return errors.Is(err, meta.ErrTooFewEffects) || errors.Is(err, meta.ErrUnbounded) || errors.Is(err, meta.ErrRunaway)
}

// With τ at 0 the estimate is the exact conditional one; where τ is above 0 the
// likelihood by its definition is that returned, and above that without τ.
func TestConditionalAgainstExact(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		tables := drawTables(t)
		r, err := meta.ConditionalPool(tables, 0.95)
		if err != nil {
			if !refusable(err) {
				t.Fatalf("%v: %v", tables, err)
			}
			return
		}
		one, err := exact.ConditionalTest(tables, 0.95)
		if err != nil || one.Strata != r.K {
			t.Fatal(one, err)
		}
		near(t, "log-likelihood", r.LogLikelihood, brute(tables, r.Theta, r.Tau), 1e-9)
		common := brute(tables, one.Estimate.Log/2, 0)
		if r.Tau == 0 {
			near(t, "θ", r.Theta, one.Estimate.Log/2, 1e-9)
			near(t, "log-likelihood without τ", r.LogLikelihood, common, 1e-11)
			if r.TauP != 1 {
				t.Errorf("p of τ = 0 is %g", r.TauP)
			}
			for _, tau := range []float64{0.05, 0.3, 1, 3} {
				if l := brute(tables, r.Theta, tau); l > r.LogLikelihood+1e-10 {
					t.Errorf("τ is 0, but τ = %g is likelier by %g", tau, l-r.LogLikelihood)
				}
			}
			return
		}
		if r.LogLikelihood < common {
			t.Errorf("log-likelihood %g with τ, %g without", r.LogLikelihood, common)
		}
	})
}

// Patterns change places: the sign changes. Positions change places, or anglers
// another order: nothing changes; an angler who says nothing is counted.
func TestConditionalEquivariance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		tables := drawTables(t)
		r, err := meta.ConditionalPool(tables, 0.95)
		if err != nil {
			return
		}
		patterns, positions := make([]exact.Table, len(tables)), make([]exact.Table, len(tables))
		for i, x := range tables {
			patterns[i] = exact.Table{A: x.B, B: x.A, C: x.D, D: x.C}
			positions[i] = exact.Table{A: x.C, B: x.D, C: x.A, D: x.B}
		}
		pool := func(tables []exact.Table) meta.ConditionalRow {
			row, err := meta.ConditionalPool(tables, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			return row
		}
		const tol = 1e-6 // τ is found to 1e-9; a likelihood flat in τ near 0 leaves that of a root
		m, p := pool(patterns), pool(positions)
		near(t, "mirrored θ", m.Theta, -r.Theta, tol)
		near(t, "mirrored τ", m.Tau, r.Tau, tol)
		near(t, "mirrored low", m.Low, -r.High, 10*tol)
		near(t, "mirrored profile", m.ProfileLow, -r.ProfileHigh, 10*tol)
		near(t, "θ", p.Theta, r.Theta, tol)
		near(t, "profile", p.ProfileHigh, r.ProfileHigh, 10*tol)
		near(t, "profile p", p.ProfileP, r.ProfileP, tol)
		q := pool(append(rapid.Permutation(tables).Draw(t, "order"), exact.Table{A: 7, D: 2}))
		near(t, "θ in another order", q.Theta, r.Theta, tol)
		near(t, "SE in another order", q.StdErr, r.StdErr, 10*tol)
		if q.K != r.K || q.Uninformative != r.Uninformative+1 {
			t.Errorf("%+v, want %+v", q, r)
		}
		if r.HasProfileLow && r.HasProfileHigh && !(r.ProfileLow <= r.Theta && r.Theta <= r.ProfileHigh) {
			t.Errorf("profile limits %g to %g of %g", r.ProfileLow, r.ProfileHigh, r.Theta)
		}
	})
}

func TestConditionalRefused(t *testing.T) {
	t.Parallel()
	twice := func(x exact.Table) []exact.Table { return []exact.Table{x, x, x} }
	mixed := exact.Table{A: 3, B: 1, C: 2, D: 2}
	for _, c := range []struct {
		name   string
		tables []exact.Table
		level  float64
		want   error
	}{
		{"nobody", nil, 0.95, meta.ErrTooFewEffects},
		{"one and a silent one", []exact.Table{mixed, {A: 4, B: 4}}, 0.95, meta.ErrTooFewEffects},
		{"all for the test pattern", twice(exact.Table{A: 4, C: 4}), 0.95, meta.ErrUnbounded},
		{"half for, half against", []exact.Table{{A: 4, C: 4}, {A: 4, C: 4}, {B: 4, D: 4}, {B: 4, D: 4}}, 0.95, meta.ErrRunaway},
		{"a negative count", []exact.Table{mixed, {A: -1}}, 0.95, exact.ErrCount},
		{"more fish than can be", []exact.Table{mixed, {A: 1_000_000, C: 1}}, 0.95, meta.ErrLargeTable},
		{"level", []exact.Table{mixed, mixed}, 1, meta.ErrLevel},
	} {
		if _, err := meta.ConditionalPool(c.tables, c.level); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	// With many fish each, the conditional and the normal combination come together.
	large := []exact.Table{
		{A: 60_000, B: 40_000, C: 55_000, D: 45_000},
		{A: 50_000, B: 50_000, C: 52_000, D: 48_000},
		{A: 30_000, B: 70_000, C: 70_000, D: 30_000},
	}
	got, err := meta.ConditionalPool(large, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	var effects []meta.Effect
	for _, x := range large {
		e, _, err := meta.AnglerEffect(x)
		if err != nil {
			t.Fatal(err)
		}
		effects = append(effects, e)
	}
	want, err := meta.Pool(effects, meta.ML, meta.None, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	const asymptotic = 1e-4 // of order 1/fish
	stattest.Absolute(t, "θ", got.Theta, want.Mu, asymptotic)
	stattest.Absolute(t, "τ²", got.Tau*got.Tau, want.Tau2, asymptotic)
}

// club of k anglers with two to five fish an arrangement, invented.
func sparseClub(k int) []exact.Table {
	r := rand.New(rand.NewPCG(5, 11))
	tables := make([]exact.Table, k)
	for i := range tables {
		theta, beta := 0.4+0.5*r.NormFloat64(), 0.6+0.4*r.NormFloat64()
		for range 2 + r.IntN(4) {
			if r.Float64() < num.Expit(theta+beta) {
				tables[i].A++
			} else {
				tables[i].B++
			}
		}
		for range 2 + r.IntN(4) {
			if r.Float64() < num.Expit(theta-beta) {
				tables[i].C++
			} else {
				tables[i].D++
			}
		}
	}
	return tables
}

// A thousand sparse anglers whose truth is known: within three standard errors.
func TestConditionalFindsTheTruth(t *testing.T) {
	t.Parallel()
	r, err := meta.ConditionalPool(sparseClub(1000), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "θ", r.Theta, 0.4, 3*r.StdErr)
	stattest.Absolute(t, "τ", r.Tau, 0.5, 0.3) // its SE here is about .1
}

func BenchmarkConditionalPool5000(b *testing.B) {
	tables := sparseClub(5000)
	for b.Loop() {
		if _, err := meta.ConditionalPool(tables, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func FuzzConditionalPool(f *testing.F) {
	f.Add(int64(4), int64(0), int64(3), int64(1), int64(0), int64(2), int64(5), int64(5), 0.95)
	f.Add(int64(1000), int64(0), int64(1), int64(1000), int64(7), int64(7), int64(7), int64(7), 0.5)
	f.Add(int64(0), int64(9), int64(9), int64(0), int64(1), int64(1), int64(1), int64(1), 0.999999)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g, h, i int64, level float64) {
		const most = 20_000 // for the fuzzer's pace
		for _, n := range []*int64{&a, &b, &c, &d, &e, &g, &h, &i} {
			if *n > most {
				*n %= most
			}
		}
		tables := []exact.Table{{A: a, B: b, C: c, D: d}, {A: e, B: g, C: h, D: i}, {A: b, B: e, C: 3, D: 2}}
		r, err := meta.ConditionalPool(tables, level)
		if err != nil {
			if !refusable(err) && !errors.Is(err, meta.ErrLevel) && !errors.Is(err, exact.ErrCount) {
				t.Errorf("%v: %v", tables, err)
			}
			return
		}
		for _, x := range []float64{r.Theta, r.StdErr, r.Low, r.High, r.P, r.Tau, r.TauP, r.LogLikelihood, r.ProfileLow, r.ProfileHigh, r.ProfileP} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Errorf("%v at level %g: %+v", tables, level, r)
			}
		}
		if r.Tau < 0 || r.P < 0 || r.P > 1 || r.LogLikelihood > 1e-9 {
			t.Errorf("%v: %+v", tables, r)
		}
	})
}

// A likelihood that is flat at its highest point, from a simulated trial of five anglers: refused, with no number.
func TestConditionalPoolFlat(t *testing.T) {
	tables := []exact.Table{{A: 3, C: 1, D: 1}, {A: 3, D: 2}, {A: 2, B: 1, D: 2}, {A: 2, B: 1, D: 2}, {A: 3, D: 2}}
	if row, err := meta.ConditionalPool(tables, .95); !errors.Is(err, meta.ErrNoMaximum) || row != (meta.ConditionalRow{}) {
		t.Errorf("%+v, %v; want nothing and %v", row, err, meta.ErrNoMaximum)
	}
}

// Many fish of many anglers are refused before any work; the same anglers with few fish are not.
func TestConditionalPoolOfManyTerms(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		anglers, fish int64
		refused       bool
	}{{200, 40, false}, {1_000, 1_000, true}, {10_000, 1_000, true}} {
		var tables []exact.Table
		for i := range c.anglers {
			a, b := c.fish/4+i%(c.fish/5), c.fish/8+i%(c.fish/7)
			tables = append(tables, exact.Table{A: a, B: c.fish/2 - a, C: c.fish/2 - b, D: b})
		}
		if _, err := meta.ConditionalPool(tables, .95); errors.Is(err, meta.ErrManyTerms) != c.refused {
			t.Errorf("%d anglers with %d fish: %v", c.anglers, c.fish, err)
		}
	}
}
