//go:build linux

package analysis_test

import (
	"fmt"
	"syscall"
	"testing"
	"time"

	"evenrig/service/analysis"
)

// BenchmarkScale is how the cost of a whole analysis grows: with the fish, at as many anglers and outings, and with the anglers.
// cpu-s is the processor time, which a busy machine sways less than the clock.
func BenchmarkScale(b *testing.B) {
	for _, c := range []struct{ anglers, outings, fish int }{
		{100, 2, 1e3},
		{100, 2, 1e4},
		{100, 2, 1e5},
		{100, 2, 1e6},
		{100, 2, 1e7},
		{10, 1, 1e4},
		{100, 1, 1e5},
		{1_000, 1, 1e6},
		{10_000, 1, 1e7},
		{100_000, 1, 1e8},
	} {
		b.Run(fmt.Sprintf("fish=%d/anglers=%d/outings=%d", c.fish, c.anglers, c.outings), func(b *testing.B) {
			in := season(c.anglers, c.outings, c.fish)
			busy := ownTime(b)
			for b.Loop() {
				r, err := analysis.Run(in, analysis.Settings{})
				if err != nil || r.Headline.Share == nil {
					b.Fatal(err, r.MixedModel)
				}
			}
			b.ReportMetric((ownTime(b)-busy).Seconds()/float64(b.N), "cpu-s")
		})
	}
}

// ownTime is how long processors were busy with this process.
func ownTime(b *testing.B) time.Duration {
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		b.Fatal(err)
	}
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}
