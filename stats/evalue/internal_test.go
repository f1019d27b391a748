package evalue

import (
	"math"
	"testing"

	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// nullMean is the mean of one block's e under one chance p of a lower take in both halves, over all
// outcomes of 4 + 4 fish.
func nullMean(p, pa, pb float64) float64 {
	mean := 0.0
	for ya := int64(0); ya <= 4; ya++ {
		for yb := int64(0); yb <= 4; yb++ {
			chance := math.Exp(num.LogBinomial(ya, 4, p) + num.LogBinomial(yb, 4, p))
			mean += chance * math.Exp(twoStreamLog(counts{ya, 4, yb, 4}, pa, pb))
		}
	}
	return mean
}

// One block's mean without an effect is 1 at p = p_0 and at most 1 elsewhere: Turner, Ly and Grünwald
// (2024); .9932 at p = .7 for p_a = .73, p_b = .50 by enumeration in R.
func TestTwoStreamMeanOfOneBlock(t *testing.T) {
	t.Parallel()
	stattest.Absolute(t, "at p0", nullMean(0.615, 0.73, 0.5), 1, 1e-12)
	stattest.Absolute(t, "at .7", nullMean(0.7, 0.73, 0.5), 0.9932, 0.000051)
	for p := 0.01; p < 1; p += 0.01 {
		for _, plug := range [][2]float64{{0.73, 0.5}, {0.05, 0.9}, {0.5, 0.999}} {
			if mean := nullMean(p, plug[0], plug[1]); mean > 1+1e-12 {
				t.Errorf("p = %g, %v: mean %g", p, plug, mean)
			}
		}
	}
}
