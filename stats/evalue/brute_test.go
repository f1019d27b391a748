package evalue_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/evalue"
	"evenrig/stats/exact"
	"evenrig/stats/stattest"
)

// This file computes the two likelihood-based e-values a second time, straight from their
// definitions, and compares.

func binomial(n, k int64) float64 {
	if k < 0 || k > n {
		return 0
	}
	c := 1.0
	for i := int64(1); i <= k; i++ {
		c *= float64(n-k+i) / float64(i)
	}
	return c
}

// given is f(ya | m; λ) of a block, Fisher's noncentral hypergeometric law.
func given(b exact.Table, lambda float64) float64 {
	na, nb, m := b.A+b.B, b.C+b.D, b.A+b.D
	sum := 0.0
	for k := int64(0); k <= m; k++ {
		sum += binomial(na, k) * binomial(nb, m-k) * math.Exp(lambda*float64(k-b.A))
	}
	return binomial(na, b.A) * binomial(nb, b.D) / sum
}

// mixed is E(λ0) by Simpson's rule on -8..8.
func mixed(blocks []exact.Table, spread, null float64) float64 {
	const steps = 4000
	const h = 16.0 / steps
	sum := 0.0
	for i := range steps + 1 {
		lambda := -8 + float64(i)*h
		weight := 2.0 + 2*float64(i%2)
		if i == 0 || i == steps {
			weight = 1
		}
		density := math.Exp(-lambda*lambda/(2*spread*spread)) / (spread * math.Sqrt(2*math.Pi))
		for _, b := range blocks {
			density *= given(b, lambda) / given(b, null)
		}
		sum += weight * density
	}
	return sum * h / 3
}

// twoStreams is the product of e over one angler's blocks.
func twoStreams(blocks []exact.Table) float64 {
	e := 1.0
	var ya, na, yb, nb float64
	for _, b := range blocks {
		a, n1, d, n2 := float64(b.A), float64(b.A+b.B), float64(b.D), float64(b.C+b.D)
		ta, tb := (ya+0.18)/(na+0.36), (yb+0.18)/(nb+0.36)
		if n1 > 0 && n2 > 0 {
			t0 := (n1*ta + n2*tb) / (n1 + n2)
			e *= math.Pow(ta, a) * math.Pow(1-ta, n1-a) * math.Pow(tb, d) * math.Pow(1-tb, n2-d) /
				(math.Pow(t0, a+d) * math.Pow(1-t0, n1+n2-a-d))
		}
		ya, na, yb, nb = ya+a, na+n1, yb+d, nb+n2
	}
	return e
}

var table = rapid.Custom(func(t *rapid.T) exact.Table {
	cell := rapid.Int64Range(0, 6)
	return exact.Table{A: cell.Draw(t, "a"), B: cell.Draw(t, "b"), C: cell.Draw(t, "c"), D: cell.Draw(t, "d")}
})

var tables = rapid.SliceOfN(table, 0, 12)

// The hand-checked values of the worked example's first block, to their 5 digits, and the whole.
func TestBruteForceItselfAndTheFirstBlock(t *testing.T) {
	t.Parallel()
	stattest.Absolute(t, "f(3 | 5; 1)", given(d1()[0], 1), 0.54245, 0.0000051)
	stattest.Absolute(t, "f(3 | 5; 0)", given(d1()[0], 0), 0.42857, 0.0000051)
	stattest.Absolute(t, "two streams, D1", twoStreams(d1()), 629.5643, 0.000055)
	stattest.Absolute(t, "conditional, D1", mixed(d1(), 1, 0), 176.4635, 0.000055)
}

func TestAgainstBruteForce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		blocks := tables.Draw(rt, "blocks")
		var two evalue.TwoStream
		c, err := evalue.NewConditional(1)
		if err != nil {
			rt.Fatal(err)
		}
		for _, b := range blocks {
			if err := two.Add("a", b); err != nil {
				rt.Fatal(err)
			}
			if err := c.Add(b); err != nil {
				rt.Fatal(err)
			}
		}
		if got, want := two.Log().E(), twoStreams(blocks); math.Abs(got/want-1) > 1e-10 {
			rt.Fatalf("two streams %g, want %g", got, want)
		}
		want := mixed(blocks, 1, 0)
		// 1e-9: both sums are exact to rounding where the integrand is smooth over their steps.
		if got := c.Log().E(); math.Abs(got/want-1) > 1e-9 {
			rt.Fatalf("conditional %g, want %g", got, want)
		}
		limits, err := c.Limits(0.05)
		if err != nil {
			rt.Fatal(err)
		}
		for _, l := range []*float64{limits.Low, limits.High} {
			if l == nil {
				continue
			}
			if e := mixed(blocks, 1, *l); math.Abs(e/20-1) > 1e-6 {
				rt.Fatalf("E at the limit %g is %g, want 20", *l, e)
			}
		}
	})
}

func TestConfidenceSequenceOfTheWorkedExample(t *testing.T) {
	t.Parallel()
	type limit struct {
		Block  int     `json:"block"`
		Low    float64 `json:"low"`
		High   float64 `json:"high"`
		Digits int     `json:"digits"`
	}
	var exactly struct {
		Limits []limit `json:"limits"`
	}
	stattest.Load(t, "evalue/d1_30_digits.json", &exactly)
	var want struct {
		Limits []limit `json:"limits"`
		Share  struct {
			Low         float64 `json:"low"`
			High        float64 `json:"high"`
			RunningHigh float64 `json:"running_high"`
		} `json:"share_percent_after_12"`
	}
	stattest.Load(t, "evalue/d1.json", &want)
	c, err := evalue.NewConditional(1)
	if err != nil {
		t.Fatal(err)
	}
	var running evalue.Running
	var last evalue.Limits
	next := 0
	for j, b := range d1() {
		if err := c.Add(b); err != nil {
			t.Fatal(err)
		}
		if last, err = c.Limits(0.05); err != nil {
			t.Fatal(err)
		}
		running.See(last)
		if next < len(want.Limits) && want.Limits[next].Block == j+1 {
			w := want.Limits[next]
			tol := 0.55 * math.Pow10(-w.Digits)
			stattest.Absolute(t, "low", *last.Low, w.Low, tol)
			stattest.Absolute(t, "high", *last.High, w.High, tol)
			stattest.Absolute(t, "low", *last.Low, exactly.Limits[next].Low, 1e-9) // the root's tolerance is 1e-10
			stattest.Absolute(t, "high", *last.High, exactly.Limits[next].High, 1e-9)
			next++
		}
	}
	if next != 3 {
		t.Errorf("%d limits checked, want 3", next)
	}
	low, high := last.Share()
	stattest.Absolute(t, "share low", 100*low, want.Share.Low, 0.055)
	stattest.Absolute(t, "share high", 100*high, want.Share.High, 0.055)
	meet, ok := running.Limits()
	_, high = meet.Share()
	stattest.Absolute(t, "running share high", 100*high, want.Share.RunningHigh, 0.055)
	stattest.Absolute(t, "running high", *meet.High, 3.291, 0.00055)
	if !ok {
		t.Error("the intersection is empty")
	}
	thetaLow, thetaHigh := last.Theta()
	stattest.Absolute(t, "theta low", *thetaLow, *last.Low/2, 0)
	stattest.Absolute(t, "theta high", *thetaHigh, *last.High/2, 0)
}

// Blocks that all point one way bound one side only; no block bounds none.
func TestLimitsWithoutAnEnd(t *testing.T) {
	t.Parallel()
	c, err := evalue.NewConditional(1)
	if err != nil {
		t.Fatal(err)
	}
	if l, err := c.Limits(0.05); err != nil || l.Low != nil || l.High != nil {
		t.Errorf("before the first block: %+v, %v", l, err)
	}
	for range 40 {
		if err := c.Add(exact.Table{A: 4, C: 4}); err != nil {
			t.Fatal(err)
		}
	}
	l, err := c.Limits(0.05)
	if err != nil || l.Low == nil || l.High != nil || *l.Low <= 0 {
		t.Fatalf("all the test pattern: %+v, %v", l, err)
	}
	low, high := l.Share()
	if high != 1 || low <= 0.5 {
		t.Errorf("share %g to %g", low, high)
	}
	mirrored, err := evalue.NewConditional(1)
	if err != nil {
		t.Fatal(err)
	}
	for range 40 {
		if err := mirrored.Add(exact.Table{B: 4, D: 4}); err != nil {
			t.Fatal(err)
		}
	}
	m, err := mirrored.Limits(0.05)
	if err != nil || m.Low != nil || m.High == nil {
		t.Fatalf("all the control: %+v, %v", m, err)
	}
	stattest.Absolute(t, "mirrored limit", *m.High, -*l.Low, 1e-8)
}
