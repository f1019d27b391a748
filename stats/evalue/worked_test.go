package evalue_test

import (
	"testing"

	"evenrig/stats/evalue"
	"evenrig/stats/exact"
	"evenrig/stats/stattest"
)

// d1 is worked example D1, invented: 12 blocks of 4 + 4 fish.
func d1() []exact.Table {
	a := []int64{3, 4, 3, 4, 2, 3, 4, 3, 4, 3, 4, 3}
	b := []int64{2, 2, 1, 3, 2, 1, 2, 3, 1, 1, 2, 2}
	tables := make([]exact.Table, len(a))
	for i := range a {
		tables[i] = exact.Table{A: a[i], B: 4 - a[i], C: 4 - b[i], D: b[i]}
	}
	return tables
}

// coin returns the block as drawn by coin with the test pattern lower first.
func coin(t exact.Table) exact.DrawnBlock {
	return exact.DrawnBlock{Size: 1, TestFirst: true, First: exact.Takes{Lower: t.A, Upper: t.B}, Second: exact.Takes{Lower: t.D, Upper: t.C}}
}

type worked struct {
	TwoStream   []float64 `json:"two_stream"`
	Conditional []float64 `json:"conditional"`
	DesignBased []float64 `json:"design_based"`
	Spread05    float64   `json:"conditional_spread_0.5_end"`
	Spread2     float64   `json:"conditional_spread_2_end"`
}

// The worked example block by block, all blocks as one angler's. Values to four decimals:
// tolerance half of the last digit and a tenth more for rounding of the arithmetic.
func TestWorkedExample(t *testing.T) {
	t.Parallel()
	var want worked
	stattest.Load(t, "evalue/d1.json", &want)
	const tol = 0.000055
	// The same at 30 digits; 1e-12 for products of 12 terms.
	var exactly worked
	stattest.Load(t, "evalue/d1_30_digits.json", &exactly)
	var two evalue.TwoStream
	given, err := evalue.NewConditional(1)
	if err != nil {
		t.Fatal(err)
	}
	draw, err := evalue.NewDesignBased(nil)
	if err != nil {
		t.Fatal(err)
	}
	for j, block := range d1() {
		for _, err := range []error{two.Add("d1", block), given.Add(block), draw.Add("d1", coin(block))} {
			if err != nil {
				t.Fatal(err)
			}
		}
		stattest.Absolute(t, "two streams", two.Log().E(), want.TwoStream[j], tol)
		stattest.Absolute(t, "conditional", given.Log().E(), want.Conditional[j], tol)
		stattest.Absolute(t, "design", draw.Log().E(), want.DesignBased[j], tol)
		stattest.Relative(t, "two streams", two.Log().E(), exactly.TwoStream[j], 1e-12)
		stattest.Relative(t, "conditional", given.Log().E(), exactly.Conditional[j], 1e-12)
		stattest.Relative(t, "design", draw.Log().E(), exactly.DesignBased[j], 1e-12)
	}
	for spread, end := range map[float64][2]float64{0.5: {want.Spread05, exactly.Spread05}, 2: {want.Spread2, exactly.Spread2}} {
		c, err := evalue.NewConditional(spread)
		if err != nil {
			t.Fatal(err)
		}
		for _, block := range d1() {
			if err := c.Add(block); err != nil {
				t.Fatal(err)
			}
		}
		stattest.Absolute(t, "conditional, other spread", c.Log().E(), end[0], tol)
		stattest.Relative(t, "conditional, other spread", c.Log().E(), end[1], 1e-12)
	}
}
