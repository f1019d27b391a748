package exact_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/exact"
	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// drawTables draws 1 to 6 strata, most of them small and some with zeros.
func drawTables(t *rapid.T) []exact.Table {
	cell := rapid.OneOf(rapid.Int64Range(0, 4), rapid.Int64Range(0, 30))
	table := rapid.Custom(func(t *rapid.T) exact.Table {
		return exact.Table{A: cell.Draw(t, "a"), B: cell.Draw(t, "b"), C: cell.Draw(t, "c"), D: cell.Draw(t, "d")}
	})
	return rapid.SliceOfN(table, 1, 6).Draw(t, "strata")
}

// drawInformative draws strata until one says something.
func drawInformative(t *rapid.T) []exact.Table {
	strata := drawTables(t)
	for _, s := range strata {
		if s.Informative() {
			return strata
		}
	}
	return append(strata, exact.Table{A: 3, B: 1, C: 2, D: 2})
}

// swapPatterns calls the test pattern control and the other way round; what lay lower stays lower.
func swapPatterns(strata []exact.Table) []exact.Table {
	swapped := make([]exact.Table, len(strata))
	for i, t := range strata {
		swapped[i] = exact.Table{A: t.D, B: t.C, C: t.B, D: t.A}
	}
	return swapped
}

// swapPositions calls the lower position upper and the other way round.
func swapPositions(strata []exact.Table) []exact.Table {
	swapped := make([]exact.Table, len(strata))
	for i, t := range strata {
		swapped[i] = exact.Table{A: t.C, B: t.D, C: t.A, D: t.B}
	}
	return swapped
}

func conditionalTest(t *rapid.T, strata []exact.Table, level float64) exact.Conditional {
	got, err := exact.ConditionalTest(strata, level)
	if err != nil {
		t.Fatalf("%+v: %v", strata, err)
	}
	return got
}

func near(t *rapid.T, name string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Max(1, math.Abs(want))) {
		t.Errorf("%s = %.15g, want %.15g", name, got, want)
	}
}

func sameEnd(t *rapid.T, name string, got, want exact.OddsRatio, sign float64) {
	t.Helper()
	end := want.End
	if sign < 0 && end != exact.Inside {
		end = exact.AtZero + exact.AtInfinity - end
	}
	if got.End != end {
		t.Errorf("%s lies %v, want %v", name, got.End, end)
	}
	near(t, name, got.Log, sign*want.Log, 1e-10)
}

// The distribution of the sum by plain convolution of the strata, all terms.
func convolution(strata []exact.Table) (least int64, logs []float64, seen int64) {
	p := []float64{1}
	for _, s := range strata {
		m, n, t := s.A+s.B, s.C+s.D, s.A+s.D
		lo, hi := max(0, t-n), min(m, t)
		next := make([]float64, len(p)+int(hi-lo))
		for x := lo; x <= hi; x++ {
			one := math.Exp(num.LogHypergeometric(x, m, n, t))
			for i, q := range p {
				next[i+int(x-lo)] += q * one
			}
		}
		p = next
		least += lo
		seen += s.A
	}
	logs = make([]float64, len(p))
	for i := range p {
		logs[i] = math.Log(p[i])
	}
	return least, logs, seen
}

// Against plain convolution: p-values, the estimating equation, and the tails at the limits.
func TestConditionalAgainstConvolution(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		strata := drawInformative(t)
		level := rapid.SampledFrom([]float64{0.5, 0.8, 0.95, 0.999}).Draw(t, "level")
		got := conditionalTest(t, strata, level)
		least, logs, seen := convolution(strata)
		at := int(seen - least)

		var minimum, lower, upper float64
		for i, l := range logs {
			if l <= logs[at]+math.Log1p(1e-7) {
				minimum += math.Exp(l)
			}
			if i <= at {
				lower += math.Exp(l)
			}
			if i >= at {
				upper += math.Exp(l)
			}
		}
		near(t, "p over its value", got.P/math.Min(1, minimum), 1, 1e-11)
		near(t, "central p over its value", got.PCentral/math.Min(1, 2*math.Min(lower, upper)), 1, 1e-11)

		// tilted gives mean and both tails under odds ratio exp(φ).
		tilted := func(phi float64) (mean, lower, upper float64) {
			terms := make([]float64, len(logs))
			for i, l := range logs {
				terms[i] = l + phi*float64(i-at)
			}
			total := logSum(terms)
			for i, term := range terms {
				p := math.Exp(term - total)
				mean += p * float64(i-at)
				if i <= at {
					lower += p
				}
				if i >= at {
					upper += p
				}
			}
			return mean, lower, upper
		}
		if got.Estimate.End == exact.Inside {
			mean, _, _ := tilted(got.Estimate.Log)
			near(t, "mean at the estimate", mean, 0, 1e-10)
		}
		if got.Low.End == exact.Inside {
			_, _, upper := tilted(got.Low.Log)
			near(t, "tail at the lower limit", upper/((1-level)/2), 1, 1e-10)
		} else if at != 0 {
			t.Error("the lower limit is open although smaller sums are possible")
		}
		if got.High.End == exact.Inside {
			_, lower, _ := tilted(got.High.Log)
			near(t, "tail at the upper limit", lower/((1-level)/2), 1, 1e-10)
		} else if at != len(logs)-1 {
			t.Error("the upper limit is open although larger sums are possible")
		}
	})
}

func TestSymmetries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		strata := drawInformative(t)
		base := conditionalTest(t, strata, 0.95)
		for _, c := range []struct {
			name   string
			strata []exact.Table
			sign   float64
		}{
			{"patterns swapped", swapPatterns(strata), -1},
			{"positions swapped", swapPositions(strata), 1},
			{"strata in another order", rapid.Permutation(strata).Draw(t, "order"), 1},
			{"with strata that say nothing", append([]exact.Table{{}, {A: 5, B: 3}, {A: 4, D: 2}, {C: 7}}, strata...), 1},
		} {
			got := conditionalTest(t, c.strata, 0.95)
			low, high := base.Low, base.High
			if c.sign < 0 {
				low, high = high, low
			}
			sameEnd(t, c.name+": estimate", got.Estimate, base.Estimate, c.sign)
			sameEnd(t, c.name+": low", got.Low, low, c.sign)
			sameEnd(t, c.name+": high", got.High, high, c.sign)
			near(t, c.name+": p", got.P, base.P, 1e-11)
			near(t, c.name+": central p", got.PCentral, base.PCentral, 1e-11)
			sameAsymptotics(t, c.name, c.strata, strata, c.sign)
		}
	})
}

func sameAsymptotics(t *rapid.T, name string, strata, base []exact.Table, sign float64) {
	t.Helper()
	x, errX := exact.CochranMantelHaenszel(strata)
	y, errY := exact.CochranMantelHaenszel(base)
	if errX != nil || errY != nil {
		t.Fatalf("%s: %v, %v", name, errX, errY)
	}
	near(t, name+": X²", x.Statistic, y.Statistic, 1e-11)
	m, errM := exact.MantelHaenszel(strata, 0.95)
	n, errN := exact.MantelHaenszel(base, 0.95)
	if (errM == nil) != (errN == nil) {
		t.Fatalf("%s: %v, %v", name, errM, errN)
	}
	near(t, name+": ln OR", m.LogOR, sign*n.LogOR, 1e-11)
	near(t, name+": SE", m.StdErr, n.StdErr, 1e-11)
	h, errH := exact.TaroneHomogeneity(strata)
	g, errG := exact.TaroneHomogeneity(base)
	if (errH == nil) != (errG == nil) {
		t.Fatalf("%s: %v, %v", name, errH, errG)
	}
	near(t, name+": Tarone", h.Tarone, g.Tarone, 1e-9)
}

func TestWoolfSymmetries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.Int64Range(1, 1000)
		base := exact.Table{A: cell.Draw(t, "a"), B: cell.Draw(t, "b"), C: cell.Draw(t, "c"), D: cell.Draw(t, "d")}
		w, err := exact.Woolf(base, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		patterns, err := exact.Woolf(swapPatterns([]exact.Table{base})[0], 0.95)
		if err != nil {
			t.Fatal(err)
		}
		positions, err := exact.Woolf(swapPositions([]exact.Table{base})[0], 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "θ, patterns swapped", patterns.Theta, -w.Theta, 1e-14)
		near(t, "β, patterns swapped", patterns.Beta, w.Beta, 1e-14)
		near(t, "low, patterns swapped", patterns.Low, -w.High, 1e-14)
		near(t, "θ, positions swapped", positions.Theta, w.Theta, 1e-14)
		near(t, "β, positions swapped", positions.Beta, -w.Beta, 1e-14)
	})
}

// The central limits hold the estimate, and leave out OR = 1 just when the
// central p-value is below 1 - level.
func TestLimitsAndPAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		strata := drawInformative(t)
		level := rapid.Float64Range(0.01, 0.9999).Draw(t, "level")
		got := conditionalTest(t, strata, level)
		low, estimate, high := got.Low.Share(), got.Estimate.Share(), got.High.Share()
		if !(low <= estimate && estimate <= high) {
			t.Errorf("limits %g, %g do not hold the estimate %g", low, high, estimate)
		}
		if !(got.P > 0 && got.P <= 1 && got.PCentral > 0 && got.PCentral <= 1) {
			t.Errorf("p = %g, central p = %g", got.P, got.PCentral)
		}
		outside := low > 0.5 || high < 0.5
		if math.Abs(got.PCentral-(1-level)) > 1e-9 && outside != (got.PCentral < 1-level) {
			t.Errorf("central p = %g, limits %g to %g at level %g", got.PCentral, low, high, level)
		}
	})
}

// One stratum is Fisher's test; and its p-value by the plain sum of hypergeometric terms.
func TestOneStratumIsFisher(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		strata := drawInformative(t)
		for _, s := range strata {
			if s.Total() == 0 {
				continue
			}
			p, err := exact.FisherTwoSided(s)
			if err != nil {
				t.Fatal(err)
			}
			if !s.Informative() {
				if p != 1 {
					t.Errorf("%+v: p = %g with an empty margin", s, p)
				}
				continue
			}
			near(t, "p", p, conditionalTest(t, []exact.Table{s}, 0.95).P, 1e-13)
		}
	})
}

// The limits put exactly the asked tail beyond the count, by the plain sum of
// binomial terms; and a p-value by the definition.
func TestBinomialDefinitions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(1, 200).Draw(t, "n")
		x := rapid.Int64Range(0, n).Draw(t, "x")
		p0 := rapid.Float64Range(0.001, 0.999).Draw(t, "p0")
		level := rapid.SampledFrom([]float64{0.5, 0.8, 0.95, 0.9999}).Draw(t, "level")
		tail := func(from, to int64, p float64) (sum float64) {
			for k := from; k <= to; k++ {
				sum += math.Exp(num.LogBinomial(k, n, p))
			}
			return sum
		}
		low, high, err := exact.ClopperPearson(x, n, level)
		if err != nil {
			t.Fatal(err)
		}
		if x > 0 {
			near(t, "tail at low", tail(x, n, low)/((1-level)/2), 1, 1e-9)
		} else if low != 0 {
			t.Errorf("low = %g at 0 of %d", low, n)
		}
		if x < n {
			near(t, "tail at high", tail(0, x, high)/((1-level)/2), 1, 1e-9)
		} else if high != 1 {
			t.Errorf("high = %g at %d of %d", high, x, n)
		}
		got, err := exact.BinomialTwoSided(x, n, p0)
		if err != nil {
			t.Fatal(err)
		}
		var want float64
		bar := num.LogBinomial(x, n, p0) + math.Log1p(1e-7)
		for k := int64(0); k <= n; k++ {
			if l := num.LogBinomial(k, n, p0); l <= bar {
				want += math.Exp(l)
			}
		}
		if want < 1e-290 { // float64 has no digits left to compare
			near(t, "p", got, want, 1e-290)
			return
		}
		near(t, "p over its value", got/math.Min(1, want), 1, 1e-11)
	})
}

// One fish in n, and none: the limits in closed form, where the other outcome's
// probability is 1 to ten digits.
func TestClopperPearsonAtTheEnds(t *testing.T) {
	for _, n := range []int64{1, 20, 1_000_000, 4 * exact.MaxCount} {
		for _, level := range []float64{0.5, 0.95, 1 - 1e-10} {
			tail := (1 - level) / 2
			low, _, err := exact.ClopperPearson(1, n, level)
			if err != nil {
				t.Fatal(err)
			}
			_, high, err := exact.ClopperPearson(0, n, level)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "low at 1", low, -math.Expm1(math.Log1p(-tail)/float64(n)), 1e-11)
			stattest.Relative(t, "high at 0", high, -math.Expm1(math.Log(tail)/float64(n)), 1e-11)
		}
	}
}

func TestRefusals(t *testing.T) {
	good := exact.Table{A: 3, B: 1, C: 2, D: 2}
	for _, c := range []struct {
		name string
		err  error
		want error
	}{
		{"negative count", second(exact.ConditionalTest([]exact.Table{good, {A: -1}}, 0.95)), exact.ErrCount},
		{"count too large", second(exact.ConditionalTest([]exact.Table{{A: exact.MaxCount + 1, B: 1, C: 1, D: 1}}, 0.95)), exact.ErrCount},
		{"no strata", second(exact.ConditionalTest(nil, 0.95)), exact.ErrNoInformation},
		{"no informative stratum", second(exact.ConditionalTest([]exact.Table{{A: 5, B: 5}, {A: 3, D: 3}}, 0.95)), exact.ErrNoInformation},
		{"level 1", second(exact.ConditionalTest([]exact.Table{good}, 1)), exact.ErrLevel},
		{"level 0", second(exact.Woolf(good, 0)), exact.ErrLevel},
		{"level NaN", second(exact.MantelHaenszel([]exact.Table{good}, math.NaN())), exact.ErrLevel},
		{"Woolf at a zero", second(exact.Woolf(exact.Table{A: 3, C: 2, D: 2}, 0.95)), exact.ErrZeroCell},
		{"Woolf of nothing", second(exact.Woolf(exact.Table{}, 0.95)), exact.ErrNoCatches},
		{"Fisher of nothing", second(exact.FisherTwoSided(exact.Table{})), exact.ErrNoCatches},
		{"unbounded Mantel-Haenszel", second(exact.MantelHaenszel([]exact.Table{{A: 5, C: 4, D: 3}}, 0.95)), exact.ErrUnbounded},
		{"unbounded homogeneity", second(exact.TaroneHomogeneity([]exact.Table{{A: 5, C: 4, D: 3}, {A: 5, C: 4, D: 3}})), exact.ErrUnbounded},
		{"homogeneity of one", second(exact.TaroneHomogeneity([]exact.Table{good})), exact.ErrTooFewStrata},
		{"more successes than trials", second(exact.BinomialTwoSided(4, 3, 0.5)), exact.ErrCount},
		{"probability above 1", second(exact.BinomialTwoSided(1, 3, 1.5)), exact.ErrProbability},
		{"probability NaN", second(exact.BinomialTwoSided(1, 3, math.NaN())), exact.ErrProbability},
		{"limits of nothing", third(exact.ClopperPearson(0, 0, 0.95)), exact.ErrNoCatches},
		{"limits at level 1", third(exact.ClopperPearson(1, 2, 1)), exact.ErrLevel},
	} {
		if !errors.Is(c.err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, c.err, c.want)
		}
	}
}

func second[T any](_ T, err error) error        { return err }
func third[T, U any](_ T, _ U, err error) error { return err }

// An odds ratio at either end of its range, and one too large to write down.
func TestOddsRatioEnds(t *testing.T) {
	for _, c := range []struct {
		name    string
		o       exact.OddsRatio
		ratio   float64
		ratioOK bool
		thetaOK bool
		share   float64
	}{
		{"even", exact.OddsRatio{}, 1, true, true, 0.5},
		{"zero", exact.OddsRatio{End: exact.AtZero}, 0, true, false, 0},
		{"unbounded", exact.OddsRatio{End: exact.AtInfinity}, 0, false, false, 1},
		{"beyond float64", exact.OddsRatio{Log: 800}, 0, false, true, 1},
	} {
		ratio, ok := c.o.Ratio()
		if ratio != c.ratio || ok != c.ratioOK {
			t.Errorf("%s: ratio %g, %v", c.name, ratio, ok)
		}
		if _, ok := c.o.Theta(); ok != c.thetaOK {
			t.Errorf("%s: θ exists: %v", c.name, ok)
		}
		if share := c.o.Share(); share != c.share {
			t.Errorf("%s: share %g", c.name, share)
		}
	}
}

// logSum is the logarithm of Σ exp(x), from the largest on.
func logSum(x []float64) float64 {
	top, sum := slices.Max(x), 0.0
	for _, v := range x {
		sum += math.Exp(v - top)
	}
	return top + math.Log(sum)
}
