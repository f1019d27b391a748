//go:build linux

package conduct_test

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// BenchmarkCold locks a trial none of whose fish were counted before, and makes its closing analysis: 10^5 fish of 100 anglers, or as
// many as EVENRIG_BENCH_FISH says, a thousand an angler. It reports the seconds of locking, which counts them, of reading the counts
// again and of the analysis's job, by the clock and by this process's processor time (PostgreSQL's comes on top), and the largest heap.
//
//	EVENRIG_BENCH_FISH=10000000 go test ./service/conduct -run - -bench Cold -benchtime 1x -timeout 2h
func BenchmarkCold(b *testing.B) {
	fish, each := 100_000, 1_000
	if said := os.Getenv("EVENRIG_BENCH_FISH"); said != "" {
		var err error
		if fish, err = strconv.Atoi(said); err != nil || fish < 10*each {
			b.Fatalf("EVENRIG_BENCH_FISH is %q; accepted: %d or more", said, 10*each)
		}
	}
	for b.Loop() {
		w, conn := newOpenWorld(b)
		e := w.manyFish(conn, fish/each, each)
		e.move(trial.Closed)
		w.clock.move(2 * time.Hour)
		var heap atomic.Uint64
		ctx, stop := context.WithCancel(b.Context())
		go watchHeap(ctx, &heap)
		for _, part := range []struct {
			name string
			do   func()
		}{
			{"locking", func() { e.move(trial.Locked) }},
			{"reading", func() {
				p := must(w.s.Progress(w.ctx, e.organiser, e.trial))(b)
				b.ReportMetric(float64(p.Catches), "fish")
			}},
			{"analysis", func() { w.ok(w.s.Analyse(w.ctx, e.trial, 1)) }},
		} {
			begun, busy := time.Now(), ownTime(b)
			part.do()
			b.ReportMetric(time.Since(begun).Seconds(), "s-"+part.name)
			b.ReportMetric((ownTime(b) - busy).Seconds(), "cpu-s-"+part.name)
		}
		stop()
		b.ReportMetric(float64(heap.Load())/(1<<20), "MiB-heap")
	}
}

// manyFish is an open trial in which so many anglers fished one block on one outing, and caught about so many fish each: one angler
// who is then copied, with other numbers of each fish.
func (w *world) manyFish(conn *pgx.Conn, anglers, each int) *contest {
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, outing, unit, first := e.inAPeriod(e.anglers[0])
	for half, period := 1, first; half <= 2; half++ {
		if half == 2 {
			period = r.begin(outing, unit, 2)
		}
		r.land(period, "C")
		r.land(period, "N")
		r.swap(period)
	}
	_, err := w.s.EndOuting(w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "planned"})
	w.ok(err)

	exec := func(sql string) {
		w.t.Helper()
		if _, err := conn.Exec(w.ctx, sql); err != nil {
			w.t.Fatalf("%s: %v", sql, err)
		}
	}
	exec(`SET session_replication_role = replica`) // the keys between tables need no checking here, they are made right
	copies := fmt.Sprintf("generate_series(2, %d) AS i", anglers)
	copied := func(table, from string, instead map[string]string) {
		w.t.Helper()
		var names, values []string
		rows, err := conn.Query(w.ctx, `SELECT column_name FROM information_schema.columns WHERE table_schema = 'public' AND table_name = $1`, table)
		w.ok(err)
		for _, column := range must(pgx.CollectRows(rows, pgx.RowTo[string]))(w.t) {
			value, ok := instead[column]
			if !ok {
				value = "t." + column
			}
			names, values = append(names, column), append(values, value)
		}
		exec(fmt.Sprintf(`INSERT INTO %s (%s) SELECT %s FROM %s AS t, %s`, table, strings.Join(names, ", "), strings.Join(values, ", "), table, from))
	}
	own := map[string]string{}
	for _, key := range []string{"id", "chain_id", "account_id", "enrolment_id", "outing_id", "unit_id", "period_id"} {
		own[key] = fmt.Sprintf("md5(t.%s::text || i)::uuid", key)
	}
	with := func(instead map[string]string) map[string]string {
		for column, value := range own {
			if _, ok := instead[column]; !ok {
				instead[column] = value
			}
		}
		return instead
	}
	copied("ledger_heads", copies+" WHERE chain_id IN (SELECT chain_id FROM enrolments)", own)
	copied("enrolments", copies, with(map[string]string{"pseudonym": "lpad(i::text, 6, '0')"}))
	for _, table := range []string{"outings", "units", "periods", "catches"} {
		copied(table, copies, own)
	}
	// From half as many to half as many again of each fish, in an order that has nothing to do with the halves.
	like := fmt.Sprintf(`LATERAL generate_series(2, greatest(2, round(%d * (.5 + ('x' || left(md5(t.id::text), 6))::bit(24)::integer / 16777216.0)))::integer) AS k`, each/4)
	copied("catches", like, map[string]string{"id": "md5(t.id::text || ' ' || k)::uuid", "ledger_n": "NULL", "caught_at": "t.caught_at + k * interval '1 ms'"})
	exec(`VACUUM ANALYZE`)
	return e
}

// ownTime is how long processors were busy with this process.
func ownTime(t testing.TB) time.Duration {
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		t.Fatal(err)
	}
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}

func watchHeap(ctx context.Context, most *atomic.Uint64) {
	var now runtime.MemStats
	for ctx.Err() == nil {
		runtime.ReadMemStats(&now)
		most.Store(max(most.Load(), now.HeapAlloc))
		time.Sleep(20 * time.Millisecond)
	}
}
