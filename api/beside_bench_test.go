//go:build linux

package api_test

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// BenchmarkIntakeBesideAnalysis is how long fish of 8 phones wait, at half the rate that the service can take, with and without an
// analysis that is computed in the same process all the while, by turns. An analysis takes one processor and holds no lock.
//
//	go test ./api -run - -bench IntakeBeside -benchtime 7x
func BenchmarkIntakeBesideAnalysis(b *testing.B) {
	in := newIntake(b)
	phones := in.sent[:8]
	for _, w := range phones {
		w.dial(b)
		defer w.conn.Close()
	}
	rate, _ := run(b, phones, time.Now().Add(intakeTime), 1, 0, (*water).put)
	every := time.Duration(float64(len(phones)) / (rate / 2) * float64(time.Second))
	p99 := func() float64 {
		_, waits := run(b, phones, time.Now().Add(pacedTime), 1, every, (*water).put)
		slices.Sort(waits)
		return float64(waits[len(waits)*99/100].Microseconds()) / 1000
	}
	var alone, beside, ratios []float64
	for b.Loop() {
		quiet := p99()
		ctx, stop := context.WithCancel(b.Context())
		var group sync.WaitGroup
		group.Go(func() {
			for ctx.Err() == nil {
				if _, err := analysis.Run(manyRods(60), analysis.Settings{}); err != nil {
					b.Error(err)
					return
				}
			}
		})
		busy := p99()
		stop()
		group.Wait()
		alone, beside, ratios = append(alone, quiet), append(beside, busy), append(ratios, busy/quiet)
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median(alone), "p99-ms")
	b.ReportMetric(median(beside), "p99-ms-beside")
	b.ReportMetric(median(ratios), "beside/alone")
}

// manyRods are the counts of so many anglers who differ.
func manyRods(n int) analysis.Input {
	in := analysis.Input{Test: "C", Control: "N"}
	for i := range n {
		for c, arrangement := range []trial.Arrangement{trial.TestLower, trial.ControlLower} {
			for t, taken := range []trial.Taken{trial.TookTest, trial.TookControl} {
				in.Tallies = append(in.Tallies, trial.Tally{Angler: fmt.Sprint("rod ", i), Arrangement: arrangement, Taken: taken, N: int64(3 + (i*7+c*5+t*3)%11)})
			}
		}
	}
	return in
}
