package db_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/db"
	"evenrig/service/trial"
)

func enqueue(t *testing.T, w *world, checkpoint int64) (queued trial.Analysis) {
	t.Helper()
	write(t, w.store, func(ctx context.Context, tx trial.Tx) (err error) {
		queued, err = tx.EnqueueAnalysis(ctx, trial.Analysis{TrialID: w.trial.ID, State: trial.Queued, Checkpoint: checkpoint, RequestedAt: server, ProtocolVersion: 1})
		return err
	})
	return queued
}

// minute is the work of each minute, for tests.
func minute(do func(context.Context) error) []db.Task {
	return []db.Task{{Name: "checkpoints", Do: func(ctx context.Context) (int64, error) { return 0, do(ctx) }}}
}

func none(context.Context) error { return nil }

// work starts Jobs and stops them when the test ends.
func work(t *testing.T, s *db.Store, analyse trial.JobFunc, checkpoint func(context.Context) error) {
	t.Helper()
	jobs, err := db.NewJobs(s, db.Work{Analyse: analyse, EachMinute: minute(checkpoint)})
	if err != nil {
		t.Fatal(err)
	}
	if err := jobs.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		if err := jobs.Stop(ctx); err != nil {
			t.Errorf("stop: %v", err)
		}
	})
}

// eventually waits until ok, at most a minute.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); !ok(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%s did not happen", what)
		}
	}
}

func (w *world) analysis(t *testing.T, n int) (a trial.Analysis) {
	t.Helper()
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) (err error) {
		a, err = tx.AnalysisBy(ctx, w.trial.ID, n)
		return err
	})
	return a
}

func finish(s *db.Store) trial.JobFunc {
	return func(ctx context.Context, id trial.ID, n int) error {
		return s.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
			a, err := tx.AnalysisBy(ctx, id, n)
			a.State, a.FinishedAt, a.Result = trial.Done, &server, []byte("{}")
			_, err2 := tx.FinishAnalysis(ctx, a)
			return first(err, err2)
		})
	}
}

// TestJobs lets two processes work on the same queue: every analysis is computed once, whether it was queued before or
// after they started, and a checkpoint is asked for.
func TestJobs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var mu sync.Mutex
	calls := map[int]int{}
	checkpoints := 0
	analyse := func(ctx context.Context, id trial.ID, n int) error {
		mu.Lock()
		calls[n]++
		mu.Unlock()
		return finish(w.store)(ctx, id, n)
	}
	checkpoint := func(context.Context) error {
		mu.Lock()
		defer mu.Unlock()
		checkpoints++
		return nil
	}
	enqueue(t, w, 1)
	work(t, w.store, analyse, checkpoint)
	work(t, w.store, analyse, checkpoint)
	for i := range 8 {
		enqueue(t, w, int64(i+2))
		enqueue(t, w, int64(i+2)) // the same stands already
	}
	eventually(t, "every analysis", func() bool {
		for n := 1; n <= 9; n++ {
			if w.analysis(t, n).State != trial.Done {
				return false
			}
		}
		return true
	})
	eventually(t, "a checkpoint", func() bool {
		mu.Lock()
		defer mu.Unlock()
		return checkpoints > 0
	})
	mu.Lock()
	defer mu.Unlock()
	for n := 1; n <= 9; n++ {
		if calls[n] != 1 {
			t.Errorf("analysis %d was computed %d times", n, calls[n])
		}
	}
	if len(calls) != 9 {
		t.Errorf("%d analyses were computed, want 9", len(calls))
	}
}

// TestEnqueueWithItsTransaction: a transaction that fails enqueues nothing.
func TestEnqueueWithItsTransaction(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	stop := errors.New("stop")
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		_, err := tx.EnqueueAnalysis(ctx, trial.Analysis{TrialID: w.trial.ID, State: trial.Queued, Checkpoint: 1, RequestedAt: server})
		return first(err, stop)
	})
	if !errors.Is(err, stop) {
		t.Fatal(err)
	}
	conn := connect(t, w.store.URL())
	if jobs := texts(t, conn, `SELECT args::text FROM jobs.river_job`); len(jobs) != 0 {
		t.Errorf("the queue has %v", jobs)
	}
	enqueue(t, w, 1)
	jobs := texts(t, conn, `SELECT args::text FROM jobs.river_job`)
	if want := `{"n": 1, "trial_id": "` + w.trial.ID.String() + `"}`; len(jobs) != 1 || jobs[0] != want {
		t.Errorf("the queue has %v, want %s", jobs, want)
	}
}

// TestFailingJob: what went wrong is in the log and nowhere in the queue; at the last attempt the analysis is marked.
func TestFailingJob(t *testing.T) {
	t.Parallel()
	const secret = "the test pattern took 41 of 60"
	for _, panics := range []bool{false, true} {
		w := newWorld(t)
		var log syncBuffer
		store, err := db.Open(t.Context(), w.store.URL(), slog.New(slog.NewTextHandler(&log, nil)))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(store.Close)
		enqueue(t, w, 1)
		conn := connect(t, store.URL())
		// The first attempt is the last one.
		if _, err := conn.Exec(t.Context(), `UPDATE jobs.river_job SET max_attempts = 1`); err != nil {
			t.Fatal(err)
		}
		work(t, store, func(context.Context, trial.ID, int) error {
			if panics {
				panic(secret)
			}
			return errors.New(secret)
		}, none)
		eventually(t, "the failure", func() bool { return w.analysis(t, 1).State == trial.Failed })
		if a := w.analysis(t, 1); strings.Contains(a.Failure, secret) || a.Failure == "" || a.FinishedAt == nil {
			t.Errorf("the failed analysis is %+v", a)
		}
		eventually(t, "the job's end", func() bool {
			return len(texts(t, conn, `SELECT state::text FROM jobs.river_job WHERE kind = 'analysis' AND state = 'discarded'`)) == 1
		})
		if jobs := strings.Join(texts(t, conn, `SELECT j::text FROM jobs.river_job j`), "\n"); strings.Contains(jobs, secret) {
			t.Errorf("the queue has %s", jobs)
		}
		if !strings.Contains(log.String(), "a job failed") {
			t.Errorf("the log says nothing of the failure:\n%s", log.String())
		}
	}
}

// TestStopInTheMidst: an analysis under way when time is up is cancelled and taken up by the next process.
func TestStopInTheMidst(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	enqueue(t, w, 1)
	running := make(chan struct{})
	jobs, err := db.NewJobs(w.store, db.Work{Analyse: func(ctx context.Context, _ trial.ID, _ int) error {
		close(running)
		<-ctx.Done()
		return ctx.Err()
	}, EachMinute: minute(none)})
	if err != nil {
		t.Fatal(err)
	}
	if err := jobs.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	<-running
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	if err := jobs.Stop(ctx); err != nil {
		t.Fatal(err)
	}
	if a := w.analysis(t, 1); a.State != trial.Queued {
		t.Errorf("the analysis is %+v", a)
	}
	given := texts(t, connect(t, w.store.URL()), `SELECT state || ' ' || attempt || ' ' || coalesce(cardinality(errors), 0) FROM jobs.river_job WHERE kind = 'analysis'`)
	if want := "available 0 0"; len(given) != 1 || given[0] != want {
		t.Errorf("the job given back is %v, want %s: that it was begun does not count against it", given, want)
	}
	work(t, w.store, finish(w.store), none)
	eventually(t, "the analysis", func() bool { return w.analysis(t, 1).State == trial.Done })
}

// TestKilledInTheMidst: the analyses of a process that was killed are taken up at once by the next to start, those of a
// living one are left to it, and one whose last attempt was killed counts as failed.
func TestKilledInTheMidst(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	conn := connect(t, w.store.URL())
	for i := range 3 {
		enqueue(t, w, int64(i+1))
	}
	// What a process that worked on them would have left.
	running := func(n int, by string, attempt int) {
		t.Helper()
		const take = `
UPDATE jobs.river_job SET state = 'running', attempt = $3, attempted_at = now(), attempted_by = ARRAY['somebody/before', $2]
WHERE args->>'n' = $1::text`
		if _, err := conn.Exec(t.Context(), take, strconv.Itoa(n), by, attempt); err != nil {
			t.Fatal(err)
		}
	}
	running(1, "killed/client", 1)
	running(2, "killed/client", 5)
	running(3, "living/client", 1)
	living := config(t, w.store.URL())
	living.RuntimeParams["application_name"] = "evenrig living"
	other, err := pgx.ConnectConfig(t.Context(), living)
	if err != nil {
		t.Fatal(err)
	}
	work(t, w.store, finish(w.store), none)
	eventually(t, "the analysis of the killed process", func() bool { return w.analysis(t, 1).State == trial.Done })
	if a := w.analysis(t, 2); a.State != trial.Failed || a.Failure == "" {
		t.Errorf("the analysis whose last attempt was killed is %+v", a)
	}
	if a := w.analysis(t, 3); a.State != trial.Queued {
		t.Errorf("the analysis of the living process is %+v", a)
	}
	if err := other.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	work(t, w.store, finish(w.store), none)
	eventually(t, "the third analysis", func() bool { return w.analysis(t, 3).State == trial.Done })
}

// syncBuffer is a buffer that several goroutines may write to.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// TestFaultsThatStay: what would fail again is not tried again; what may pass is, after a pause that grows.
func TestFaultsThatStay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for i := range 2 {
		enqueue(t, w, int64(i+1))
	}
	var mu sync.Mutex
	calls := map[int]int{}
	work(t, w.store, func(_ context.Context, _ trial.ID, n int) error {
		mu.Lock()
		defer mu.Unlock()
		calls[n]++
		if n == 1 {
			return fmt.Errorf("no such number: %w", trial.ErrLasting)
		}
		return errors.New("the disk is busy")
	}, none)
	conn := connect(t, w.store.URL())
	eventually(t, "two attempts at the second", func() bool {
		mu.Lock()
		defer mu.Unlock()
		return calls[2] == 2
	})
	eventually(t, "its pause", func() bool {
		return len(texts(t, conn, `SELECT 'yes' FROM jobs.river_job WHERE args->>'n' = '2' AND state = 'retryable' AND scheduled_at > now() + interval '5 seconds'`)) == 1
	})
	if a := w.analysis(t, 1); a.State != trial.Failed {
		t.Errorf("the first is %+v", a)
	}
	if a := w.analysis(t, 2); a.State != trial.Queued {
		t.Errorf("the second is %+v", a)
	}
	mu.Lock()
	defer mu.Unlock()
	if calls[1] != 1 {
		t.Errorf("the first was tried %d times", calls[1])
	}
}

// TestKilledUpkeep: a process killed in the midst of the work of a minute keeps the others from it no longer than a rescue takes,
// whoever was elected.
func TestKilledUpkeep(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	conn := connect(t, w.store.URL())
	// What the killed process left: its work of a minute, under way.
	const left = `
INSERT INTO jobs.river_job (kind, args, queue, state, max_attempts, attempt, attempted_at, attempted_by, unique_key, unique_states)
SELECT kind, args, queue, 'running', max_attempts, 1, now(), ARRAY['killed/client'], unique_key, unique_states FROM jobs.river_job WHERE kind = 'checkpoint'`
	jobs, err := db.NewJobs(w.store, db.Work{EachMinute: minute(none)})
	if err == nil {
		err = jobs.Start(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	defer jobs.Stop(t.Context()) //nolint:errcheck // tested elsewhere
	eventually(t, "the first minute", func() bool {
		return len(texts(t, conn, `SELECT 'yes' FROM jobs.river_job WHERE kind = 'checkpoint' AND state = 'completed'`)) == 1
	})
	if _, err := conn.Exec(t.Context(), left); err != nil {
		t.Fatal(err)
	}
	// The rescue comes each 15 s, also to processes that started before the other was killed.
	eventually(t, "the rescue", func() bool {
		return len(texts(t, conn, `SELECT 'yes' FROM jobs.river_job WHERE kind = 'checkpoint' AND state = 'discarded'`)) == 1
	})
}

// TestUpkeepIsNoted: what came of a task is kept, a failure beside the last success, and a task of each day is done once a day.
func TestUpkeepIsNoted(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	conn := connect(t, w.store.URL())
	var mu sync.Mutex
	days := 0
	jobs, err := db.NewJobs(w.store, db.Work{
		EachMinute: []db.Task{{Name: "checkpoints", Do: func(context.Context) (int64, error) { return 0, errors.New("no") }}},
		EachDay: []db.Task{{Name: "check", Do: func(context.Context) (int64, error) {
			mu.Lock()
			defer mu.Unlock()
			days++
			return 3, nil
		}}},
	})
	if err == nil {
		err = jobs.Start(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	defer jobs.Stop(t.Context()) //nolint:errcheck // tested elsewhere
	runs := func() map[string]trial.Upkeep {
		list, err := w.store.Upkeep(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		by := map[string]trial.Upkeep{}
		for _, u := range list {
			by[u.Task] = u
		}
		return by
	}
	eventually(t, "both tasks", func() bool { return len(runs()) == 2 })
	by := runs()
	if u := by["checkpoints"]; !u.Failed || u.GoodAt != nil || u.Faults != 0 {
		t.Errorf("a task that failed: %+v", u)
	}
	if u := by["check"]; u.Failed || u.GoodAt == nil || u.Faults != 3 {
		t.Errorf("a task that found faults: %+v", u)
	}
	// The next minute asks for nothing more; a day later it does.
	again := func() {
		t.Helper()
		const next = `
INSERT INTO jobs.river_job (kind, args, queue, state, max_attempts) VALUES ('checkpoint', '{}', 'checkpoint', 'available', 1)`
		before := len(texts(t, conn, `SELECT 'x' FROM jobs.river_job WHERE kind = 'checkpoint' AND state = 'discarded'`))
		if _, err := conn.Exec(t.Context(), next); err != nil {
			t.Fatal(err)
		}
		eventually(t, "another minute", func() bool {
			return len(texts(t, conn, `SELECT 'x' FROM jobs.river_job WHERE kind = 'checkpoint' AND state = 'discarded'`)) > before
		})
	}
	again()
	if _, err := conn.Exec(t.Context(), `UPDATE upkeep SET begun_at = begun_at - interval '25 hours' WHERE task = 'check'`); err != nil {
		t.Fatal(err)
	}
	again()
	eventually(t, "the next day", func() bool {
		mu.Lock()
		defer mu.Unlock()
		return days == 2
	})
}
