package meta_test

import (
	"errors"
	"math"
	"testing"

	"evenrig/stats/meta"
	"evenrig/stats/stattest"
)

// Altman & Bland (2003): relative risks .67 (.46 to .98) and .88 (.71 to 1.08);
// difference of logs, standard error, z, p and ratio with its limits as worked
// from those limits with R (values in the paper, from memory: -.2726, .2206, .76,
// .49 to 1.17).
func TestCompare(t *testing.T) {
	t.Parallel()
	effect := func(rr, low, high float64) meta.Effect {
		se := (math.Log(high) - math.Log(low)) / (2 * 1.96)
		return meta.Effect{Y: math.Log(rr), V: se * se}
	}
	d, err := meta.Compare(effect(0.67, 0.46, 0.98), effect(0.88, 0.71, 1.08), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ratio, low, high, ok := d.Ratio()
	for _, c := range []struct {
		name                 string
		got, want, tolerance float64 // half a unit of the last digit given
	}{
		{"difference", d.Estimate, -0.2726, 5e-5},
		{"SE", d.StdErr, 0.2206, 5e-5},
		{"z", d.Z, -1.24, 5e-3},
		{"p", d.P, 0.2165, 5e-5},
		{"ratio", ratio, 0.761, 5e-4},
		{"ratio low", low, 0.494, 5e-4},
		{"ratio high", high, 1.173, 5e-4},
	} {
		stattest.Absolute(t, c.name, c.got, c.want, c.tolerance)
	}
	if !ok {
		t.Error("no ratio")
	}
	far, err := meta.Compare(meta.Effect{Y: 1e6, V: 1}, meta.Effect{Y: -1e6, V: 1}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, _, ok := far.Ratio(); ok {
		t.Error("a ratio beyond every float64")
	}
	if _, err := meta.Compare(meta.Effect{Y: 1}, meta.Effect{Y: 1, V: 1}, 0.95); !errors.Is(err, meta.ErrEffect) {
		t.Error(err)
	}
	if _, err := meta.Compare(meta.Effect{V: 1}, meta.Effect{V: 1}, 1); !errors.Is(err, meta.ErrLevel) {
		t.Error(err)
	}
}

// The example D2 of the reference values: one stage .710829 (.229018), two stages
// half of 1.383251, apart by .084 standard errors.
func TestStagesApart(t *testing.T) {
	t.Parallel()
	by, apart, err := meta.StagesApart(0.710829, 0.229018, 1.383251/2)
	if err != nil || apart {
		t.Errorf("%v, %v", apart, err)
	}
	stattest.Absolute(t, "apart by", by, (0.6916255-0.710829)/0.229018, 1e-9)
	if _, apart, _ = meta.StagesApart(0, 1, -0.26); !apart {
		t.Error("a difference of .26 standard errors is not seen")
	}
	for _, se := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, _, err := meta.StagesApart(0, se, 0); !errors.Is(err, meta.ErrEffect) {
			t.Errorf("standard error %g: %v", se, err)
		}
	}
}
