package db_test

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"evenrig/db"
	"evenrig/service/trial"
)

// TestDeadlock lets two transactions take two heads in opposite order: PostgreSQL ends one of them, which is tried
// again, and both commit.
func TestDeadlock(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	var meet sync.WaitGroup
	meet.Add(2)
	var runs atomic.Int32
	lock := func(one, two trial.ID) error {
		firstRun := true
		return w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
			runs.Add(1)
			if _, err := tx.LockHead(ctx, w.trial.ID, one); err != nil {
				return err
			}
			if firstRun {
				firstRun = false
				meet.Done()
				meet.Wait()
			}
			head, err := tx.LockHead(ctx, w.trial.ID, two)
			if err != nil {
				return err
			}
			parts := newParts("x")
			return tx.Append(ctx, head.Next(trial.LedgerOuting, newID(), parts), parts)
		})
	}
	done := make(chan error, 2)
	go func() { done <- lock(a.enrolment.ID, b.enrolment.ID) }()
	go func() { done <- lock(b.enrolment.ID, a.enrolment.ID) }()
	for range 2 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	if n := runs.Load(); n != 3 {
		t.Errorf("the two transactions ran %d times, want 3", n)
	}
	checkChain(t, w.store, w.trial.ID, a.enrolment.ID, 1)
	checkChain(t, w.store, w.trial.ID, b.enrolment.ID, 1)
}

func TestRetries(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for _, c := range []struct {
		name  string
		fails error
		runs  int
		kind  trial.Kind
	}{
		{"serialisation failure", &pgconn.PgError{Code: "40001"}, 4, trial.Unavailable},
		{"deadlock", &pgconn.PgError{Code: "40P01"}, 4, trial.Unavailable},
		{"a rule's answer", trial.Fail(trial.Conflict, "x", "no"), 1, trial.Conflict},
		{"unique violation", &pgconn.PgError{Code: "23505", ConstraintName: "units_n_key"}, 1, trial.Conflict},
		{"anything else", errors.New("other"), 1, trial.Internal},
	} {
		runs := 0
		err := w.store.InTx(t.Context(), func(context.Context, trial.Tx) error {
			runs++
			return c.fails
		})
		if runs != c.runs || trial.KindOf(err) != c.kind || !errors.Is(err, c.fails) {
			t.Errorf("%s: %d runs and %v, want %d and kind %d", c.name, runs, err, c.runs, c.kind)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	runs := 0
	err := w.store.InTx(ctx, func(context.Context, trial.Tx) error {
		runs++
		cancel()
		return &pgconn.PgError{Code: "40001"}
	})
	if runs != 1 || !errors.Is(err, context.Canceled) {
		t.Errorf("after its context ended a transaction ran %d times and gave %v", runs, err)
	}
}

func TestRollback(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	account := trial.Account{ID: newID(), Name: "Nobody", CreatedAt: server}
	gone := func(what string) {
		t.Helper()
		read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
			if _, err := tx.AccountBy(ctx, account.ID); trial.KindOf(err) != trial.NotFound {
				t.Errorf("after %s the account is there: %v", what, err)
			}
			return nil
		})
	}
	wanted := errors.New("stop")
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertAccount(ctx, account), wanted)
	})
	if !errors.Is(err, wanted) {
		t.Errorf("the transaction gives %v", err)
	}
	gone("an error")
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		_ = w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
			if err := tx.InsertAccount(ctx, account); err != nil {
				return err
			}
			panic("stop")
		})
	}()
	gone("a panic")
}

// TestSnapshot: a reading transaction does not see what is committed while it lasts, and cannot write.
func TestSnapshot(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		_, err := tx.AccountBy(ctx, w.admin.ID)
		id := newID()
		write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
			return tx.InsertAccount(ctx, trial.Account{ID: id, Name: "New", CreatedAt: server})
		})
		if _, err := tx.AccountBy(ctx, id); trial.KindOf(err) != trial.NotFound {
			t.Errorf("the snapshot saw an account that was made after it: %v", err)
		}
		return err
	})
}

func TestConflicts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{a.fish()})
	half := a.period
	half.ID = newID()
	unit := a.unit
	unit.ID = newID()
	samePseudonym, sameAccount := b.enrolment, b.enrolment
	samePseudonym.ID, samePseudonym.AccountID, samePseudonym.Pseudonym = newID(), w.admin.ID, a.enrolment.Pseudonym
	sameAccount.ID, sameAccount.Pseudonym = newID(), "XXXXXX"
	strangersPeriod := a.period
	strangersPeriod.ID, strangersPeriod.EnrolmentID, strangersPeriod.UnitID = newID(), b.enrolment.ID, b.unit.ID
	strangersPeriod.Half = 2
	for _, c := range []struct {
		name string
		do   func(ctx context.Context, tx trial.Tx) error
		kind trial.Kind
		code string
	}{
		{"outing again", func(ctx context.Context, tx trial.Tx) error { return tx.InsertOuting(ctx, a.outing) }, trial.Conflict, "record.conflict"},
		{"half again", func(ctx context.Context, tx trial.Tx) error { return tx.InsertPeriod(ctx, half) }, trial.Conflict, "period.half"},
		{"unit number again", func(ctx context.Context, tx trial.Tx) error { return tx.InsertUnit(ctx, unit) }, trial.Conflict, "unit.order"},
		{"pseudonym again", func(ctx context.Context, tx trial.Tx) error { return tx.InsertEnrolment(ctx, samePseudonym) }, trial.Conflict, "enrolment.pseudonym"},
		{"account again", func(ctx context.Context, tx trial.Tx) error { return tx.InsertEnrolment(ctx, sameAccount) }, trial.Conflict, "enrolment.exists"},
		{"period in another's outing", func(ctx context.Context, tx trial.Tx) error { return tx.InsertPeriod(ctx, strangersPeriod) }, trial.NotFound, "not_found"},
		{"trial of no club", func(ctx context.Context, tx trial.Tx) error {
			other := w.trial
			other.ID, other.ClubID = newID(), newID()
			return tx.InsertTrial(ctx, other)
		}, trial.NotFound, "not_found"},
		{"membership again", func(ctx context.Context, tx trial.Tx) error {
			m := trial.Membership{ClubID: w.club.ID, AccountID: w.admin.ID, Role: trial.Angler, JoinedAt: server}
			return first(tx.InsertMembership(ctx, m), tx.InsertMembership(ctx, m))
		}, trial.Conflict, "membership.exists"},
		{"import again", func(ctx context.Context, tx trial.Tx) error {
			i := trial.Import{TrialID: w.trial.ID, File: digest("f"), At: server, By: w.admin.ID}
			return first(tx.InsertImport(ctx, i), tx.InsertImport(ctx, i))
		}, trial.Conflict, "import.repeated"},
		{"an id that is none", func(ctx context.Context, tx trial.Tx) error {
			return tx.InsertAccount(ctx, trial.Account{Name: "x", CreatedAt: server})
		}, trial.Internal, ""},
	} {
		err := w.store.InTx(t.Context(), c.do)
		code := ""
		if e, ok := errors.AsType[*trial.Error](err); ok {
			code = e.Code
		}
		if err == nil || trial.KindOf(err) != c.kind || code != c.code {
			t.Errorf("%s gives %v, want kind %d and code %q", c.name, err, c.kind, c.code)
		}
	}
}

func TestNoDatabase(t *testing.T) {
	t.Parallel()
	quiet := slog.New(slog.DiscardHandler)
	// Port 9 of this machine: the discard service, which nobody runs.
	const nobody = "postgres://nobody@127.0.0.1:9/none?connect_timeout=2"
	if _, err := db.Open(t.Context(), nobody, quiet); trial.KindOf(err) != trial.Unavailable {
		t.Errorf("opening a database that does not answer gives %v", err)
	}
	if err := db.MigrateUp(t.Context(), nobody); trial.KindOf(err) != trial.Unavailable {
		t.Errorf("migrating a database that does not answer gives %v", err)
	}
	if _, err := db.Open(t.Context(), "not an address", quiet); err == nil {
		t.Error("an address that is none was taken")
	}
}

// TestServerGone: connections that the server ended give Unavailable once, then new ones are made.
func TestServerGone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	killer := connect(t, w.store.URL())
	if _, err := killer.Exec(t.Context(), `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()`); err != nil {
		t.Fatal(err)
	}
	deadline := time.Now().Add(time.Minute)
	for {
		err := w.store.Ready(t.Context())
		if err == nil {
			return
		}
		if trial.KindOf(err) != trial.Unavailable || time.Now().After(deadline) {
			t.Fatalf("a connection that the server ended gives %v", err)
		}
	}
}
