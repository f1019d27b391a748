package db_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// TestTwoWriters lets several writers submit groups for the same two anglers at once, with replays among them.
func TestTwoWriters(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	anglers := []*angler{w.enrol(t), w.enrol(t)}
	const writers, groups, size = 4, 15, 7
	var mu sync.Mutex
	created := map[trial.ID]trial.Receipt{}
	var wait sync.WaitGroup
	for i := range writers {
		wait.Go(func() {
			var last []trial.CatchSubmission
			for range groups {
				var group []trial.CatchSubmission
				for j := range size {
					group = append(group, anglers[(i+j)%2].fish())
				}
				sent := append(group, last...) // what was sent before is sent again
				for k, o := range w.store.SubmitCatches(t.Context(), sent) {
					if o.Err != nil || o.Created != (k < len(group)) {
						t.Errorf("outcome %d of %d is %+v", k, len(group), o)
					}
					mu.Lock()
					if r, known := created[o.Catch.ID]; known && r != o.Receipt {
						t.Errorf("a replay has receipt %+v, the first was %+v", o.Receipt, r)
					}
					created[o.Catch.ID] = o.Receipt
					mu.Unlock()
				}
				last = group
			}
		})
	}
	wait.Wait()
	total := 0
	for _, a := range anglers {
		var n int
		read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
			all, err := tx.CatchesOf(ctx, w.trial.ID, a.enrolment.ID, trial.Page{Limit: 10_000})
			n = len(all)
			return err
		})
		subjects := map[trial.ID]bool{}
		for _, e := range checkChain(t, w.store, w.trial.ID, a.enrolment.ChainID, int64(n)) {
			subjects[e.Subject] = true
			if r := created[e.Subject]; r.N != e.N || r.Hash != e.Hash {
				t.Errorf("entry %d has the receipt %+v", e.N, r)
			}
		}
		if len(subjects) != n {
			t.Errorf("%d entries for %d catches", len(subjects), n)
		}
		total += n
	}
	if total != writers*groups*size {
		t.Errorf("%d catches are stored, %d were sent", total, writers*groups*size)
	}
}

// TestSameIDAtOnce lets two anglers send the same id at the same time: one gets it, the other a conflict, never a
// failure.
func TestSameIDAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	for range 30 {
		one, two := a.fish(), b.fish()
		two.Catch.ID = one.Catch.ID
		outcomes := make([]trial.CatchOutcome, 2)
		var wait sync.WaitGroup
		for i, c := range []trial.CatchSubmission{one, two} {
			wait.Go(func() { outcomes[i] = w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{c})[0] })
		}
		wait.Wait()
		if outcomes[0].Created == outcomes[1].Created {
			t.Fatalf("the outcomes are %+v", outcomes)
		}
		for _, o := range outcomes {
			if !o.Created && trial.KindOf(o.Err) != trial.Conflict {
				t.Fatalf("the later one fails with %v", o.Err)
			}
		}
	}
}

// TestSameIDMeets is TestSameIDAtOnce with the two made to meet: both have found the id free when the first one gets it.
func TestSameIDMeets(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	one, two := a.fish(), b.fish()
	two.Catch.ID = one.Catch.ID
	conn, watcher := connect(t, w.store.URL()), connect(t, w.store.URL())
	tx, err := conn.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), `LOCK TABLE ledger_entries IN EXCLUSIVE MODE`); err != nil {
		t.Fatal(err)
	}
	outcomes := make(chan trial.CatchOutcome, 2)
	for _, c := range []trial.CatchSubmission{one, two} {
		go func() { outcomes <- w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{c})[0] }()
	}
	eventually(t, "the meeting", func() bool {
		var waiting int
		const count = `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'`
		if err := watcher.QueryRow(t.Context(), count).Scan(&waiting); err != nil {
			t.Fatal(err)
		}
		return waiting == 2
	})
	if err := tx.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	created := 0
	for range 2 {
		switch o := <-outcomes; {
		case o.Created:
			created++
		case trial.KindOf(o.Err) != trial.Conflict:
			t.Errorf("the later one fails with %v", o.Err)
		default:
			if e, ok := errors.AsType[*trial.Error](o.Err); !ok || e.Code != "record.conflict" || e.Err != nil {
				t.Errorf("the later one was not settled by the rules: %v", o.Err)
			}
		}
	}
	if created != 1 {
		t.Errorf("%d were created", created)
	}
}

// TestLockingAgainstIntake locks a trial in the midst of intake: what was not flagged is in the chains that locking
// saw, and nothing else is.
func TestLockingAgainstIntake(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	anglers := []*angler{w.enrol(t), w.enrol(t), w.enrol(t)}
	stop := make(chan struct{})
	var wait sync.WaitGroup
	for _, a := range anglers {
		wait.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				for _, o := range w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{a.fish(), a.fish()}) {
					if o.Err != nil {
						t.Error(o.Err)
						return
					}
				}
			}
		})
	}
	time.Sleep(100 * time.Millisecond)
	var seen []trial.Head
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		locked, err := tx.LockTrial(ctx, w.trial.ID)
		if err != nil {
			return err
		}
		if seen, err = tx.LockHeads(ctx, w.trial.ID); err != nil {
			return err
		}
		time.Sleep(50 * time.Millisecond) // intake waits at the heads
		locked.State, locked.ClosedAt, locked.LockedAt = trial.Locked, pointer(dawn.Add(2*time.Hour)), pointer(dawn.Add(3*time.Hour))
		return tx.UpdateTrial(ctx, locked)
	})
	time.Sleep(100 * time.Millisecond)
	close(stop)
	wait.Wait()
	flagged := 0
	for _, h := range seen {
		read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
			entries, err := tx.EntriesOf(ctx, w.trial.ID, h.ChainID)
			for _, e := range entries {
				c, err := tx.CatchBy(ctx, w.trial.ID, e.Subject)
				if err != nil {
					return err
				}
				if c.AfterLock != (e.N > h.N) {
					t.Errorf("entry %d of a chain locked at %d is flagged %v", e.N, h.N, c.AfterLock)
				}
				if c.AfterLock {
					flagged++
				}
			}
			return err
		})
	}
	if flagged == 0 {
		t.Error("nothing arrived after locking: the test shows nothing")
	}
}

// TestLockingAgainstJoining: whoever takes every head of a trial misses no chain that is being started.
func TestLockingAgainstJoining(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	started, goOn := make(chan struct{}), make(chan struct{})
	joined := make(chan error, 1)
	chain := newID()
	go func() {
		joined <- w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
			err := tx.InsertHead(ctx, trial.Head{TrialID: w.trial.ID, ChainID: chain})
			close(started)
			<-goOn
			return err
		})
	}()
	<-started
	time.AfterFunc(100*time.Millisecond, func() { close(goOn) })
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		_, err := tx.LockTrial(ctx, w.trial.ID)
		heads, err2 := tx.LockHeads(ctx, w.trial.ID)
		if len(heads) != 2 {
			t.Errorf("locking took %d heads, want the organiser's and the new one", len(heads))
		}
		return first(err, err2)
	})
	if err := <-joined; err != nil {
		t.Error(err)
	}
}

// TestKilled kills the connection of a group in the midst of its transaction: nothing of it is saved.
func TestKilled(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	conn := connect(t, w.store.URL())
	tx, err := conn.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	// Hold the place of b's fish, so that the group waits at its last statement but one.
	held := b.fish()
	if _, err := tx.Exec(t.Context(), `LOCK TABLE ledger_parts IN EXCLUSIVE MODE`); err != nil {
		t.Fatal(err)
	}
	outcomes := make(chan []trial.CatchOutcome, 1)
	go func() { outcomes <- w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{a.fish(), held}) }()
	killer := connect(t, w.store.URL())
	for killed := 0; killed == 0; time.Sleep(10 * time.Millisecond) {
		const kill = `
SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity
WHERE datname = current_database() AND wait_event_type = 'Lock' AND query LIKE '%ledger_parts%' AND pid <> pg_backend_pid()`
		if err := killer.QueryRow(t.Context(), kill).Scan(&killed); err != nil {
			t.Fatal(err)
		}
	}
	for i, o := range <-outcomes {
		if trial.KindOf(o.Err) != trial.Unavailable {
			t.Errorf("outcome %d of a killed group is %+v", i, o)
		}
	}
	if err := tx.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, table := range []string{"catches", "ledger_entries", "ledger_parts"} {
		var n int
		if err := conn.QueryRow(t.Context(), `SELECT count(*) FROM `+pgx.Identifier{table}.Sanitize()).Scan(&n); err != nil || n != 0 {
			t.Errorf("%s has %d rows (%v)", table, n, err)
		}
	}
	submit(t, w, []trial.CatchSubmission{held}, "created")
}
