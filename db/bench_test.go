package db_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"evenrig/service/trial"
)

// BenchmarkSubmitCatches saves catches of 64 anglers, 1, 8 and 64 at once, and in the same run puts the same rows into
// the same table without a ledger, one INSERT and one transaction each, by as many connections: the ratio of the two is
// what the ledger and the locks cost; "asking" are those that ask how far the swap is, as a fish sent alone does. One writer collects what waits, as the service's does.
func BenchmarkSubmitCatches(b *testing.B) {
	for _, c := range []struct {
		name   string
		atOnce int
		swap   bool
	}{{"1", 1, false}, {"8", 8, false}, {"64", 64, false}, {"1 asking", 1, true}, {"8 asking", 8, true}, {"64 asking", 64, true}} {
		b.Run(c.name, func(b *testing.B) {
			w := newWorld(b)
			var anglers []*angler
			for range 64 {
				anglers = append(anglers, w.enrol(b))
			}
			raw := rawInserts(b, anglers, c.atOnce, b.N)
			fish := make([]trial.CatchSubmission, b.N)
			for i := range fish {
				fish[i] = anglers[i%len(anglers)].fish()
				fish[i].Swap = c.swap
			}
			b.ResetTimer()
			begin := time.Now()
			submitAtOnce(b, w, fish, c.atOnce)
			rate := float64(b.N) / time.Since(begin).Seconds()
			b.ReportMetric(rate, "catches/s")
			b.ReportMetric(raw, "raw/s")
			b.ReportMetric(rate/raw, "ratio")
		})
	}
}

// submitAtOnce lets so many senders wait for one writer, which takes what waits in one group.
func submitAtOnce(b *testing.B, w *world, fish []trial.CatchSubmission, atOnce int) {
	type waiting struct {
		catch trial.CatchSubmission
		done  chan error
	}
	queue := make(chan waiting, atOnce)
	var writer, senders sync.WaitGroup
	writer.Go(func() {
		for first := range queue {
			group := []waiting{first}
			for more := true; more && len(group) < 128; {
				select {
				case next, open := <-queue:
					if more = open; open {
						group = append(group, next)
					}
				default:
					more = false
				}
			}
			catches := make([]trial.CatchSubmission, len(group))
			for i, g := range group {
				catches[i] = g.catch
			}
			for i, o := range w.store.SubmitCatches(context.Background(), catches) {
				group[i].done <- o.Err
			}
		}
	})
	for i := range atOnce {
		senders.Go(func() {
			for j := i; j < len(fish); j += atOnce {
				done := make(chan error, 1)
				queue <- waiting{fish[j], done}
				if err := <-done; err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	senders.Wait()
	close(queue)
	writer.Wait()
}

// rawInserts returns how many catches a second plain INSERTs save, and removes them again.
func rawInserts(b *testing.B, anglers []*angler, atOnce, n int) float64 {
	config, err := pgxpool.ParseConfig(anglers[0].world.store.URL())
	if err != nil {
		b.Fatal(err)
	}
	config.MaxConns = int32(atOnce)
	pool, err := pgxpool.NewWithConfig(b.Context(), config)
	if err != nil {
		b.Fatal(err)
	}
	defer pool.Close()
	const raw = `
INSERT INTO catches (trial_id, id, enrolment_id, period_id, taken_pattern, taken_position, outcome, foul_hooked, rig_intact,
                     species, origin, caught_at, caught_offset, noted_at, noted_offset, length_value, length_unit, note, noted_by,
                     received_at, sent_digest, version, void, after_lock, reason)
VALUES ($1, $2, $3, $4, 'A', '', 'landed', false, true, 'Thymallus thymallus', 'wild', $5, 120, $6, 120, 31.5, 'cm', '', $7, $8, $9, 1, false, false, '')`
	fish := make([]trial.CatchSubmission, n)
	for i := range fish {
		fish[i] = anglers[i%len(anglers)].fish()
	}
	begin := time.Now()
	var wait sync.WaitGroup
	for i := range atOnce {
		wait.Go(func() {
			for j := i; j < n; j += atOnce {
				c := fish[j].Catch
				_, err := pool.Exec(b.Context(), raw, [16]byte(c.TrialID), [16]byte(c.ID), [16]byte(anglers[j%len(anglers)].enrolment.ID), [16]byte(c.PeriodID),
					c.CaughtAt, c.NotedAt, [16]byte(c.NotedBy), c.ReceivedAt, c.SentDigest[:])
				if err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	wait.Wait()
	rate := float64(n) / time.Since(begin).Seconds()
	if _, err := pool.Exec(b.Context(), `DELETE FROM catches`, pgx.QueryExecModeSimpleProtocol); err != nil {
		b.Fatal(err)
	}
	return rate
}

// BenchmarkRecordsOf reads an angler's season of 200 fish.
func BenchmarkRecordsOf(b *testing.B) {
	w := newWorld(b)
	a := w.enrol(b)
	for range 4 {
		fish := make([]trial.CatchSubmission, 50)
		for i := range fish {
			fish[i] = a.fish()
		}
		w.store.SubmitCatches(b.Context(), fish)
	}
	for b.Loop() {
		read(b, w.store, func(ctx context.Context, tx trial.ReadTx) error {
			records, err := tx.RecordsOf(ctx, w.trial.ID, a.enrolment.ID)
			if len(records.Catches) != 200 {
				b.Fatalf("%d catches", len(records.Catches))
			}
			return err
		})
	}
}
