package meta_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"evenrig/stats/meta"
)

// club returns k invented effects with a true SD of 0.5 between anglers.
func club(k int) []meta.Effect {
	r := rand.New(rand.NewPCG(3, 7))
	all := make([]meta.Effect, k)
	for i := range all {
		v := 0.05 + 0.2*r.Float64()
		all[i] = meta.Effect{Y: 0.4 + 0.5*r.NormFloat64() + math.Sqrt(v)*r.NormFloat64(), V: v}
	}
	return all
}

func BenchmarkREMLModifiedHK5000(b *testing.B) {
	all := club(5000)
	for b.Loop() {
		if _, err := meta.Pool(all, meta.REML, meta.ModifiedHK, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

// Leaving out each of 5,000 costs some tens of single fits, not 5,000: the fits
// metric is the time of one call over that of one Pool in the same run.
func BenchmarkLeaveOneOut5000(b *testing.B) {
	all := club(5000)
	const singles = 20
	start := time.Now()
	for range singles {
		if _, err := meta.Pool(all, meta.REML, meta.ModifiedHK, 0.95); err != nil {
			b.Fatal(err)
		}
	}
	single := time.Since(start) / singles
	for b.Loop() {
		if _, err := meta.LeaveOneOut(all, meta.REML, meta.ModifiedHK, 0.95); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed())/float64(b.N)/float64(single), "fits")
}

func BenchmarkRegress5000(b *testing.B) {
	all := club(5000)
	columns := [][]float64{make([]float64, len(all)), make([]float64, len(all))}
	for i := range all {
		columns[0][i], columns[1][i] = float64(i%2), math.Sin(float64(i))
	}
	for b.Loop() {
		if _, err := meta.Regress(all, columns, meta.REML, meta.ModifiedHK, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}
