package db_test

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/service/trial"
)

// Two stores on one database behind a pooler in transaction mode: catches by many at once and transactions of both kinds do
// what they do without one, and nothing that one transaction sets is found by another.
func TestBehindAPooler(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	direct := w.store.URL()
	pooled := dbtest.Pooler(t, direct)
	var stores []*db.Store
	for range 2 {
		store, err := db.Open(t.Context(), pooled, slog.New(slog.DiscardHandler), db.Direct(direct))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(store.Close)
		stores = append(stores, store)
	}
	const each = 40
	var rods []*angler
	for range 6 {
		rods = append(rods, w.enrol(t))
	}
	var fishing sync.WaitGroup
	for i, rod := range rods {
		fishing.Go(func() {
			for n := range each {
				sent := []trial.CatchSubmission{rod.fish()}
				for again := range 2 { // by the other process
					if o := stores[(i+n+again)%2].SubmitCatches(t.Context(), sent)[0]; o.Err != nil || o.Created == (again == 1) {
						t.Errorf("the fish was created: %v, %v", o.Created, o.Err)
					}
				}
				if err := stores[n%2].InReadTx(t.Context(), func(ctx context.Context, tx trial.ReadTx) error {
					_, err := tx.CatchBy(ctx, w.trial.ID, sent[0].Catch.ID)
					return err
				}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	fishing.Wait()
	for i, rod := range rods {
		checkChain(t, stores[i%2], w.trial.ID, rod.enrolment.ChainID, each)
	}
	// What the pooler itself carries from client to server is no matter.
	const kept = `SELECT name || ' = ' || setting FROM pg_settings WHERE source = 'session' AND name NOT IN ('application_name', 'client_encoding', 'DateStyle', 'TimeZone')`
	conn := connect(t, pooled+"&default_query_exec_mode=simple_protocol")
	for range 20 {
		if left := texts(t, conn, kept); len(left) > 0 {
			t.Errorf("a session of the server has %q", left)
		}
		if left := texts(t, conn, `SELECT name FROM pg_prepared_statements`); len(left) > 0 {
			t.Errorf("a session of the server has the prepared statements %q", left)
		}
	}
}

// What needs a session says so where a pooler stands, before anything is done.
func TestPoolerIsNoServer(t *testing.T) {
	t.Parallel()
	direct := dbtest.URL(t)
	pooled := dbtest.Pooler(t, direct)
	quiet := slog.New(slog.DiscardHandler)
	_, opened := db.Open(t.Context(), pooled, quiet)
	_, opened2 := db.Open(t.Context(), pooled, quiet, db.Direct(pooled))
	_, snapshot := db.OpenSnapshot(t.Context(), pooled)
	for what, err := range map[string]error{
		"opened without the server": opened, "opened with itself as the server": opened2, "a snapshot": snapshot,
		"the schema": db.MigrateUp(t.Context(), pooled),
	} {
		if !errors.Is(err, db.ErrPooler) {
			t.Errorf("%s by a pooler: %v; want %v", what, err, db.ErrPooler)
		}
	}
}

// BenchmarkBehindAPooler is what the way through a pooler costs: the same fish straight to the server and through it, in turns. Statements
// are parsed and planned anew each time behind a pooler, and the server of the tests does not wait for its disk, so that this is all there is.
func BenchmarkBehindAPooler(b *testing.B) {
	w := newWorld(b)
	direct := w.store.URL()
	through, err := db.Open(b.Context(), dbtest.Pooler(b, direct), slog.New(slog.DiscardHandler), db.Direct(direct))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(through.Close)
	pooled := *w
	pooled.store = through
	var rods []*angler
	for range 64 {
		rods = append(rods, w.enrol(b))
	}
	rate := func(w *world) float64 {
		fish := make([]trial.CatchSubmission, 640)
		for i := range fish {
			fish[i] = rods[i%len(rods)].fish()
		}
		begun := time.Now()
		submitAtOnce(b, w, fish, 8)
		return float64(len(fish)) / time.Since(begun).Seconds()
	}
	rate(w)
	rate(&pooled)
	var ratios []float64
	for b.Loop() {
		straight := rate(w)
		ratios = append(ratios, rate(&pooled)/straight)
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "pooled/straight")
}
