package db_test

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/service/trial"
)

// replicated is a world on a server with a replica.
func replicated(t *testing.T) (*world, *dbtest.Replicated, *syncBuffer) {
	t.Helper()
	both := dbtest.NewReplicated(t)
	var log syncBuffer
	store, err := db.Open(t.Context(), both.URL, slog.New(slog.NewTextHandler(&log, nil)), db.Replica(both.ReplicaURL))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	return newWorldOn(t, store), both, &log
}

// readsAt says whether what is long to read is read from the replica, and which analyses it finds there.
func readsAt(t *testing.T, w *world) (replica bool, analyses []trial.Analysis) {
	t.Helper()
	if err := w.store.InLongReadTx(t.Context(), func(ctx context.Context, tx trial.ReadTx) (err error) {
		if replica, err = db.OnReplica(ctx, tx); err != nil {
			return err
		}
		analyses, err = tx.AnalysesOf(ctx, w.trial.ID)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return replica, analyses
}

// fromReplica waits until reading comes from the replica: it may have been left alone for a while.
func fromReplica(t *testing.T, w *world) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		if on, _ := readsAt(t, w); on {
			return
		}
	}
	t.Fatal("nothing is read from the replica")
}

// TestReplica: what is long to read comes from the replica and has everything that was committed before; a replica that lags is not
// asked, so that a result that was withdrawn is never read from it; nor is one that was made a server of its own, or is gone.
func TestReplica(t *testing.T) {
	t.Parallel()
	w, both, log := replicated(t)
	rod := w.enrol(t)
	enqueue(t, w, 1)
	a := trial.Analysis{
		TrialID: w.trial.ID, N: 1, State: trial.Done, FinishedAt: pointer(server), ProgramVersion: "test",
		Result: []byte("the closing result"), Input: []byte(`["` + rod.enrolment.Pseudonym + `"]`),
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		_, err := tx.FinishAnalysis(ctx, a)
		return err
	})
	fromReplica(t, w)

	// Everything that was written before, each time, without waiting.
	lags := 0
	for range 50 {
		fish := rod.fish()
		if o := w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{fish})[0]; o.Err != nil {
			t.Fatal(o.Err)
		}
		var on bool
		if err := w.store.InLongReadTx(t.Context(), func(ctx context.Context, tx trial.ReadTx) (err error) {
			if _, err := tx.CatchBy(ctx, w.trial.ID, fish.Catch.ID); err != nil {
				return err
			}
			on, err = db.OnReplica(ctx, tx)
			return err
		}); err != nil {
			t.Fatalf("the fish that was just saved: %v", err)
		}
		if !on {
			lags++
		}
	}
	t.Logf("%d of 50 times the database answered itself", lags)

	// The replica stands still: it still has the result, and nobody gets it once it is withdrawn.
	fromReplica(t, w)
	both.Pause(t)
	if on, found := readsAt(t, w); !on || found[0].State != trial.Done {
		t.Errorf("before anything happened a replica that stands still is asked: %v; the analysis is %s", on, found[0].State)
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return tx.WithdrawAnalyses(ctx, rod.enrolment, server.Add(time.Hour))
	})
	there := connect(t, both.ReplicaURL)
	if stale := texts(t, there, `SELECT state FROM analyses`); len(stale) != 1 || stale[0] != "done" {
		t.Fatalf("the replica was to lag, and has the analysis as %q", stale)
	}
	for range 3 {
		if on, found := readsAt(t, w); on || found[0].State != trial.Withdrawn || found[0].Result != nil {
			t.Errorf("read from the replica that lags: %v; the analysis is %s with %q", on, found[0].State, found[0].Result)
		}
	}
	if !strings.Contains(log.String(), "the replica does not answer") {
		t.Errorf("the log says nothing of a replica that lags:\n%s", log.String())
	}
	both.Resume(t)
	fromReplica(t, w)
	if !strings.Contains(log.String(), "the replica answers again") {
		t.Errorf("the log says nothing of a replica that is back:\n%s", log.String())
	}

	// What goes wrong in the reader himself is told once and is no fault of the replica's.
	mine, runs := errors.New("mine"), 0
	if err := w.store.InLongReadTx(t.Context(), func(context.Context, trial.ReadTx) error { runs++; return mine }); !errors.Is(err, mine) || runs != 1 {
		t.Errorf("a reader who fails gets %v after %d runs", err, runs)
	}

	// One that was promoted is never asked again, whatever it has.
	both.Promote(t)
	if on, found := readsAt(t, w); on || found[0].State != trial.Withdrawn {
		t.Errorf("a promoted replica was asked: %v", on)
	}
	both.End()
	if on, _ := readsAt(t, w); on {
		t.Error("a replica that ended answered")
	}
}

// TestReplicaIsDownFromTheStart: the database answers.
func TestReplicaIsDownFromTheStart(t *testing.T) {
	t.Parallel()
	url := dbtest.URL(t)
	store, err := db.Open(t.Context(), url, slog.New(slog.DiscardHandler), db.Replica("postgres://nobody@/nothing?host="+t.TempDir()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	if on, _ := readsAt(t, newWorldOn(t, store)); on {
		t.Error("a replica that is not there answered")
	}
}

// TestAnotherServerIsNoReplica: a server that is none of the database's is not asked.
func TestAnotherServerIsNoReplica(t *testing.T) {
	t.Parallel()
	url := dbtest.URL(t)
	store, err := db.Open(t.Context(), url, slog.New(slog.DiscardHandler), db.Replica(url))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	w := newWorldOn(t, store)
	if on, _ := readsAt(t, w); on {
		t.Error("the database itself passed for its replica")
	}
}
