//go:build linux

package api_test

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// BenchmarkExport downloads the catch table of a million fish by 20 anglers: rows a second, by the clock and by this process's
// processor time, and the largest heap, service and reader together.
//
//	go test ./api -run - -bench Export -benchtime 1x
func BenchmarkExport(b *testing.B) {
	w := newWorld(b)
	e := w.newClub("Loop and Knot").opened(w.newClub("Drift and Mend").ruleSheet())
	const anglers, each = 20, 50_000
	for i := range anglers {
		r := e.join(fmt.Sprintf("Rod %d", i))
		_, _, period := r.inAPeriod()
		r.land(period.ID, []string{"C", "N"}[i%2])
	}
	multiply(b, w.database, each)
	w.wait(time.Hour)
	e.move(string(trial.Closed))
	w.wait(31 * 24 * time.Hour)
	for range 20 { // counting goes on where a slow machine was cut off
		if moved, err := e.organiser.MoveTrialWithResponse(b.Context(), e.trial, openapi.TrialMove{State: string(trial.Locked)}); err == nil && moved.StatusCode() == http.StatusOK {
			break
		}
	}
	rows := 0
	for b.Loop() {
		var most atomic.Uint64
		ctx, stop := context.WithCancel(b.Context())
		go watchHeap(ctx, &most)
		runtime.GC()
		begun, busy := time.Now(), ownTime(b)
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, w.url+e.path("/catches.csv"), nil)
		if err != nil {
			b.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+e.organiser.token)
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			b.Fatal(err)
		}
		lines := &lineCounter{}
		if _, err := io.Copy(lines, answer.Body); err != nil || answer.StatusCode != http.StatusOK {
			b.Fatal(answer.Status, err)
		}
		answer.Body.Close()
		stop()
		rows = lines.n - 1
		b.ReportMetric(float64(rows)/time.Since(begun).Seconds(), "rows/s")
		b.ReportMetric(float64(rows)/(ownTime(b)-busy).Seconds(), "rows/cpu-s")
		b.ReportMetric(float64(most.Load())/(1<<20), "MiB-heap")
	}
	if rows != anglers*each {
		b.Errorf("%d rows", rows)
	}
}

// multiply gives every fish of the database so many copies as make it count in all.
func multiply(b *testing.B, database string, count int) {
	conn, err := pgxpool.New(b.Context(), database)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close()
	const columns = `
SELECT string_agg(column_name, ', '), string_agg(CASE column_name WHEN 'id' THEN 'gen_random_uuid()' WHEN 'ledger_n' THEN 'NULL'
    WHEN 'caught_at' THEN 'caught_at - n * interval ''10 ms''' ELSE column_name END, ', ')
FROM information_schema.columns WHERE table_schema = 'public' AND table_name = 'catches'`
	var names, values string
	if err := conn.QueryRow(b.Context(), columns).Scan(&names, &values); err != nil {
		b.Fatal(err)
	}
	if _, err := conn.Exec(b.Context(), fmt.Sprintf(`INSERT INTO catches (%s) SELECT %s FROM catches, generate_series(2, %d) n`, names, values, count)); err != nil {
		b.Fatal(err)
	}
	if _, err := conn.Exec(b.Context(), `VACUUM ANALYZE catches`); err != nil {
		b.Fatal(err)
	}
}

func watchHeap(ctx context.Context, most *atomic.Uint64) {
	var now runtime.MemStats
	for ctx.Err() == nil {
		runtime.ReadMemStats(&now)
		most.Store(max(most.Load(), now.HeapAlloc))
		time.Sleep(20 * time.Millisecond)
	}
}

type lineCounter struct{ n int }

func (c *lineCounter) Write(b []byte) (int, error) {
	for _, x := range b {
		if x == '\n' {
			c.n++
		}
	}
	return len(b), nil
}
