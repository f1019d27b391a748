package evalue_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/evalue"
	"evenrig/stats/exact"
	"evenrig/stats/simulate"
)

// all three methods on one stream of blocks of one or more anglers.
type evidence struct {
	two   evalue.TwoStream
	given *evalue.Conditional
	draw  *evalue.DesignBased
}

func newEvidence(t interface{ Fatal(...any) }, sizes []int) *evidence {
	given, err := evalue.NewConditional(1)
	if err != nil {
		t.Fatal(err)
	}
	draw, err := evalue.NewDesignBased(sizes)
	if err != nil {
		t.Fatal(err)
	}
	return &evidence{given: given, draw: draw}
}

func (e *evidence) add(angler string, b exact.DrawnBlock) error {
	t := evalue.TableOf(b)
	return errors.Join(e.two.Add(angler, t), e.given.Add(t), e.draw.Add(angler, b))
}

func (e *evidence) logs() [3]evalue.LogE {
	return [3]evalue.LogE{e.two.Log(), e.given.Log(), e.draw.Log()}
}

func TestBeforeTheFirstBlockEIsOne(t *testing.T) {
	t.Parallel()
	for _, l := range newEvidence(t, []int{2, 4}).logs() {
		if math.Abs(l.E()-1) > 1e-13 {
			t.Errorf("E = %g", l.E())
		}
	}
}

func near(a, b evalue.LogE) bool { return math.Abs(float64(a-b)) <= 1e-9*(1+math.Abs(float64(a))) }

// Calling the test pattern control and the control test changes no evidence and turns the limits
// over; so does calling upper lower, but for the limits.
func TestSwappingLabels(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		sizes := rapid.SampledFrom([][]int{nil, {2}, {2, 4}}).Draw(rt, "sizes")
		random := simulate.Stream(rapid.Uint64().Draw(rt, "seed"), 0)
		w := world{anglers: 3, blocks: 5, half: rapid.IntRange(1, 6).Draw(rt, "half"), sizes: sizes, theta: 0.5, betaSD: 1}
		plain, swapped, turned := newEvidence(rt, sizes), newEvidence(rt, sizes), newEvidence(rt, sizes)
		for _, d := range w.fish(random) {
			s, u := d.block, d.block
			s.TestFirst = !s.TestFirst
			u.First.Lower, u.First.Upper = u.First.Upper, u.First.Lower
			u.Second.Lower, u.Second.Upper = u.Second.Upper, u.Second.Lower
			if err := errors.Join(plain.add(d.angler, d.block), swapped.add(d.angler, s), turned.add(d.angler, u)); err != nil {
				rt.Fatal(err)
			}
		}
		for i, l := range plain.logs() {
			if !near(l, swapped.logs()[i]) || !near(l, turned.logs()[i]) {
				rt.Fatalf("method %d: %v, %v with patterns swapped, %v with positions", i, l, swapped.logs()[i], turned.logs()[i])
			}
		}
		a, err := plain.given.Limits(0.05)
		if err != nil {
			rt.Fatal(err)
		}
		b, err := swapped.given.Limits(0.05)
		if err != nil {
			rt.Fatal(err)
		}
		if (a.Low == nil) != (b.High == nil) || a.Low != nil && math.Abs(*a.Low+*b.High) > 1e-7 {
			rt.Fatalf("limits %v and %v do not mirror", a, b)
		}
	})
}

// A block in which all or none took lower, or with an empty half, changes no evidence given m; the
// order of blocks changes none either.
func TestConditionalIgnoresWhatSaysNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		blocks := tables.Draw(rt, "blocks")
		a, b := newEvidence(rt, nil).given, newEvidence(rt, nil).given
		for _, block := range blocks {
			if err := a.Add(block); err != nil {
				rt.Fatal(err)
			}
		}
		n := rapid.Int64Range(0, 5).Draw(rt, "n")
		for i := range blocks {
			for _, block := range []exact.Table{blocks[len(blocks)-1-i], {B: n, C: 3}, {A: n, D: 2}, {A: 2, B: n}, {}} {
				if err := b.Add(block); err != nil {
					rt.Fatal(err)
				}
			}
		}
		if !near(a.Log(), b.Log()) {
			rt.Fatalf("%v became %v", a.Log(), b.Log())
		}
	})
}

// The position effects of anglers are their own: evidence multiplies over anglers where each has
// his own state.
func TestTwoStreamMultipliesOverAnglers(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		a, b := tables.Draw(rt, "a"), tables.Draw(rt, "b")
		var both evalue.TwoStream
		for i := range max(len(a), len(b)) {
			if i < len(a) {
				if err := both.Add("a", a[i]); err != nil {
					rt.Fatal(err)
				}
			}
			if i < len(b) {
				if err := both.Add("b", b[i]); err != nil {
					rt.Fatal(err)
				}
			}
		}
		if want := math.Log(twoStreams(a)) + math.Log(twoStreams(b)); !near(both.Log(), evalue.LogE(want)) {
			rt.Fatalf("%v, want %g", both.Log(), want)
		}
	})
}

func TestEvidenceScales(t *testing.T) {
	t.Parallel()
	if e := evalue.LogE(1e6).E(); e != math.MaxFloat64 {
		t.Errorf("a huge e-value is %g", e)
	}
	if e := evalue.LogE(-1e6).E(); e != 0 {
		t.Errorf("a tiny e-value is %g", e)
	}
	if p := evalue.LogE(math.Log(40)).P(); math.Abs(p-0.025) > 1e-15 {
		t.Errorf("p of 40 is %g", p)
	}
	if p := evalue.LogE(-3).P(); p != 1 {
		t.Errorf("p of an e-value below 1 is %g", p)
	}
	if evalue.LogE(math.Log(19.999)).Reaches(0.05) || !evalue.LogE(math.Log(20.001)).Reaches(0.05) {
		t.Error("20 is not where level 0.05 is reached")
	}
	var peak evalue.Peak
	for _, l := range []evalue.LogE{-1, 2, 1} {
		peak.See(l)
	}
	if peak.Highest() != 2 || (&evalue.Peak{}).Highest() != 0 {
		t.Errorf("highest %v", peak.Highest())
	}
}

func TestRunningLimitsCanMeetNowhere(t *testing.T) {
	t.Parallel()
	one, two := 1.0, 2.0
	var r evalue.Running
	r.See(evalue.Limits{Low: &two})
	if _, ok := r.Limits(); !ok {
		t.Error("a half line is not empty")
	}
	r.See(evalue.Limits{High: &one})
	if l, ok := r.Limits(); ok || *l.Low != 2 || *l.High != 1 {
		t.Errorf("%+v %t", l, ok)
	}
}

func TestWhatTheDrawCannotHaveGiven(t *testing.T) {
	t.Parallel()
	plus := func(group, size int) exact.DrawnBlock {
		return exact.DrawnBlock{Group: group, Size: size, TestFirst: true}
	}
	minus := func(group, size int) exact.DrawnBlock { return exact.DrawnBlock{Group: group, Size: size} }
	for name, c := range map[string]struct {
		sizes  []int
		blocks []exact.DrawnBlock // the last one is refused
	}{
		"both first in a pair":         {[]int{2}, []exact.DrawnBlock{plus(1, 0), plus(1, 2)}},
		"both first, known pair":       {[]int{2, 4}, []exact.DrawnBlock{plus(1, 2), plus(1, 2)}},
		"a third of a pair":            {[]int{2}, []exact.DrawnBlock{plus(1, 0), minus(1, 2), plus(1, 0)}},
		"a pair that goes on":          {[]int{2, 4}, []exact.DrawnBlock{plus(1, 0), minus(1, 2), plus(1, 0)}},
		"a group left too early":       {[]int{4}, []exact.DrawnBlock{plus(1, 0), minus(1, 0), plus(2, 0)}},
		"a size of another protocol":   {[]int{2, 4}, []exact.DrawnBlock{plus(1, 6)}},
		"two sizes of one group":       {[]int{2, 4}, []exact.DrawnBlock{plus(1, 4), minus(1, 2)}},
		"a group where coins are used": {nil, []exact.DrawnBlock{plus(1, 0)}},
	} {
		e := designBased(t, c.sizes)
		for _, b := range c.blocks[:len(c.blocks)-1] {
			add(t, e, "a", b)
		}
		if err := e.Add("a", c.blocks[len(c.blocks)-1]); !errors.Is(err, evalue.ErrDraw) {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Coins may come between the blocks of a group; they break no pair.
	e := designBased(t, []int{2})
	for _, b := range []exact.DrawnBlock{plus(1, 0), plus(2, 1), plus(3, 1), minus(1, 2), minus(4, 0), plus(4, 2)} {
		add(t, e, "a", b)
	}
	for _, sizes := range [][]int{{-2}, {3}, {18}, {2, 0}} {
		if _, err := evalue.NewDesignBased(sizes); !errors.Is(err, evalue.ErrSizes) {
			t.Errorf("sizes %v: %v", sizes, err)
		}
	}
}

func TestWhatABlockRefuses(t *testing.T) {
	t.Parallel()
	for _, b := range []exact.DrawnBlock{
		{Size: 1, First: exact.Takes{Lower: -1}},
		{Size: 1, Second: exact.Takes{Upper: evalue.MaxFish + 1}},
		{Size: 1, Second: exact.Takes{Lower: evalue.MaxFish, Upper: 1}},
		{Size: 1, First: exact.Takes{Lower: math.MaxInt64, Upper: math.MaxInt64}},
	} {
		e := newEvidence(t, nil)
		table := evalue.TableOf(b)
		for i, err := range []error{e.two.Add("a", table), e.given.Add(table), e.draw.Add("a", b)} {
			if !errors.Is(err, evalue.ErrCount) {
				t.Errorf("%+v, method %d: %v", b, i, err)
			}
		}
		if e.logs() != newEvidence(t, nil).logs() {
			t.Errorf("%+v was refused and counted", b)
		}
	}
	for _, spread := range []float64{0, 0.09, 4.1, math.NaN()} {
		if _, err := evalue.NewConditional(spread); !errors.Is(err, evalue.ErrSpread) {
			t.Errorf("spread %g: %v", spread, err)
		}
	}
	for _, alpha := range []float64{0, 1, math.NaN()} {
		if _, err := newEvidence(t, nil).given.Limits(alpha); !errors.Is(err, evalue.ErrAlpha) {
			t.Errorf("alpha %g: %v", alpha, err)
		}
	}
}

func FuzzEvidence(f *testing.F) {
	f.Add([]byte{3, 1, 2, 2, 4, 0, 1, 3}, uint16(4), 1.0, 0.05)
	f.Add([]byte{255, 0, 0, 255, 255, 255, 1, 1}, uint16(500), 4.0, 1e-9)
	f.Fuzz(func(t *testing.T, cells []byte, scale uint16, spread, alpha float64) {
		given, err := evalue.NewConditional(spread)
		if err != nil {
			return
		}
		e := newEvidence(t, []int{2, 4})
		e.given = given
		for i := 0; i+4 <= min(len(cells), 64); i += 4 {
			n := func(j int) int64 { return int64(cells[i+j]) * int64(scale) / 256 }
			b := exact.DrawnBlock{
				Group: i, Size: int(cells[i] % 3), TestFirst: cells[i+1]%2 == 0,
				First: exact.Takes{Lower: n(0), Upper: n(1)}, Second: exact.Takes{Lower: n(2), Upper: n(3)},
			}
			_ = e.add("a", b) // an error is an answer
		}
		for i, l := range e.logs() {
			if v := float64(l); math.IsNaN(v) || math.IsInf(v, 0) || math.IsInf(l.E(), 0) {
				t.Fatalf("method %d: %g", i, v)
			}
		}
		limits, err := given.Limits(alpha)
		if err != nil {
			return
		}
		for _, l := range []*float64{limits.Low, limits.High} {
			if l != nil && (math.IsNaN(*l) || math.IsInf(*l, 0)) {
				t.Fatalf("limit %g", *l)
			}
		}
		if limits.Low != nil && limits.High != nil && *limits.Low > *limits.High {
			t.Fatalf("limits %g to %g", *limits.Low, *limits.High)
		}
	})
}
