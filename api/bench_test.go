package api_test

import (
	"fmt"
	"io"
	"net/http"
	"runtime"
	"strings"
	"testing"

	"evenrig/openapi"
)

// A fish by PUT over HTTP to disk, all of one angler: by one client a processor and by 16; and by batches of 100.
func BenchmarkPutCatch(b *testing.B) {
	for _, clients := range []int{1, 16} {
		b.Run(fmt.Sprintf("clients=%d", clients*runtime.GOMAXPROCS(0)), func(b *testing.B) {
			r, period := benchRod(b)
			body := text(b, r.fish(period.ID, "C"))
			b.SetParallelism(clients)
			b.ResetTimer()
			b.RunParallel(func(pb *testing.PB) {
				for pb.Next() {
					benchSend(b, r, http.MethodPut, r.e.path("/catches/%s", newID()), body, http.StatusCreated)
				}
			})
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "fish/s")
		})
	}
}

func BenchmarkBatch(b *testing.B) {
	r, period := benchRod(b)
	fish := r.fish(period.ID, "C")
	for b.Loop() {
		items := make([]openapi.BatchCatch, 100)
		for i := range items {
			items[i] = openapi.BatchCatch{ID: newID(), Period: period.ID, TakenPattern: fish.TakenPattern, Species: fish.Species, CaughtAt: fish.CaughtAt, Length: fish.Length}
		}
		benchSend(b, r, http.MethodPost, r.e.path("/catches"), text(b, items), http.StatusOK)
	}
	b.ReportMetric(100*float64(b.N)/b.Elapsed().Seconds(), "fish/s")
}

func benchRod(b *testing.B) (*rod, openapi.Period) {
	b.Helper()
	c := newWorld(b).newClub("Wend Fly Fishers")
	r := c.opened(c.ruleSheet()).join("Bert")
	_, _, period := r.inAPeriod()
	return r, period
}

func benchSend(b *testing.B, r *rod, method, path, body string, want int) {
	request, err := http.NewRequest(method, r.w.url+path, strings.NewReader(body))
	if err != nil {
		b.Error(err)
		return
	}
	request.Header.Set("Authorization", "Bearer "+r.token)
	request.Header.Set("Content-Type", "application/json")
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		b.Error(err)
		return
	}
	defer answer.Body.Close()
	if _, err := io.Copy(io.Discard, answer.Body); err != nil || answer.StatusCode != want {
		b.Errorf("answered %d, %v", answer.StatusCode, err)
	}
}
