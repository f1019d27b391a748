package evalue_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/evalue"
	"evenrig/stats/exact"
	"evenrig/stats/simulate"
	"evenrig/stats/stattest"
)

// Swapping the labels of the patterns leaves an effect of order as it is; swapping the halves, or lower
// and upper, turns its sign.
func TestCheckOrderSymmetries(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		w := world{anglers: 1, blocks: 12, half: 5, theta: 0.3, shift: 0.4}
		var plain, labels, halves, positions []exact.DrawnBlock
		for _, d := range w.fish(simulate.Stream(rapid.Uint64().Draw(rt, "seed"), 0)) {
			b := d.block
			plain = append(plain, b)
			l, h, p := b, b, b
			l.TestFirst = !l.TestFirst
			h.TestFirst, h.First, h.Second = !h.TestFirst, h.Second, h.First
			p.First = exact.Takes{Lower: b.First.Upper, Upper: b.First.Lower}
			p.Second = exact.Takes{Lower: b.Second.Upper, Upper: b.Second.Lower}
			labels, halves, positions = append(labels, l), append(halves, h), append(positions, p)
		}
		want, err := evalue.CheckOrder([][]exact.DrawnBlock{plain}, 0.95)
		if errors.Is(err, evalue.ErrOrder) {
			rt.Skip("one order only")
		}
		if err != nil {
			rt.Fatal(err)
		}
		for i, c := range []struct {
			blocks []exact.DrawnBlock
			sign   float64
		}{{labels, 1}, {halves, -1}, {positions, -1}} {
			got, err := evalue.CheckOrder([][]exact.DrawnBlock{c.blocks}, 0.95)
			if err != nil {
				rt.Fatal(err)
			}
			if math.Abs(got.LogOdds-c.sign*want.LogOdds) > 1e-10 || math.Abs(got.P-want.P) > 1e-10 {
				rt.Fatalf("%d: %+v, was %+v", i, got, want)
			}
		}
	})
}

// One large block of each order: Woolf's ln OR of each by hand, ω half their difference.
func TestCheckOrderByHand(t *testing.T) {
	t.Parallel()
	blocks := []exact.DrawnBlock{
		{Size: 1, TestFirst: true, First: exact.Takes{Lower: 40, Upper: 10}, Second: exact.Takes{Lower: 20, Upper: 30}},
		{Size: 1, First: exact.Takes{Lower: 30, Upper: 20}, Second: exact.Takes{Lower: 25, Upper: 25}},
	}
	got, err := evalue.CheckOrder([][]exact.DrawnBlock{blocks}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	first := math.Log(40. * 30 / (10 * 20))
	second := math.Log(25. * 20 / (25 * 30))
	stattest.Relative(t, "shift", got.LogOdds, (first-second)/2, 1e-12)
	// With one stratum the variance of Robins, Breslow and Greenland is Woolf's.
	variance := (1./40 + 1./30 + 1./10 + 1./20 + 1./25 + 1./20 + 1./25 + 1./30) / 4
	stattest.Relative(t, "standard error", got.StdErr, math.Sqrt(variance), 1e-12)
}

func TestCheckOrderNeedsBothOrders(t *testing.T) {
	t.Parallel()
	one := []exact.DrawnBlock{{Size: 1, TestFirst: true, First: exact.Takes{Lower: 3, Upper: 1}, Second: exact.Takes{Lower: 1, Upper: 3}}}
	if _, err := evalue.CheckOrder([][]exact.DrawnBlock{one}, 0.95); !errors.Is(err, evalue.ErrOrder) {
		t.Errorf("one order: %v", err)
	}
	if _, err := evalue.CheckOrder(nil, 0.95); !errors.Is(err, evalue.ErrOrder) {
		t.Errorf("no block: %v", err)
	}
	if _, err := evalue.CheckOrder([][]exact.DrawnBlock{one}, 1); !errors.Is(err, evalue.ErrAlpha) {
		t.Errorf("level 1: %v", err)
	}
	one[0].First.Lower = -3
	if _, err := evalue.CheckOrder([][]exact.DrawnBlock{one}, 0.95); !errors.Is(err, evalue.ErrCount) {
		t.Errorf("a negative count: %v", err)
	}
}
