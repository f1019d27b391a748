package db_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// submit submits catches and fails the test unless each outcome is of the wanted kind: "created", "replay" or a kind
// of error.
func submit(t *testing.T, w *world, catches []trial.CatchSubmission, want ...any) []trial.CatchOutcome {
	t.Helper()
	outcomes := w.store.SubmitCatches(t.Context(), catches)
	if len(outcomes) != len(catches) {
		t.Fatalf("%d outcomes for %d catches", len(outcomes), len(catches))
	}
	for i, o := range outcomes {
		var got any
		switch {
		case o.Err != nil:
			got = trial.KindOf(o.Err)
			if o.Created || o.Catch != (trial.Catch{}) || o.Receipt != (trial.Receipt{}) {
				t.Errorf("outcome %d fails and still says %+v", i, o)
			}
		case o.Created:
			got = "created"
		default:
			got = "replay"
		}
		if got != want[i] {
			t.Errorf("outcome %d is %v (%v), want %v", i, got, o.Err, want[i])
		}
	}
	return outcomes
}

func TestSubmitReplay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	one, two := a.fish(), a.fish()
	created := submit(t, w, []trial.CatchSubmission{one, two}, "created", "created")
	// A replay may carry other salts and arrives later.
	again := one
	again.Parts, again.Catch.ReceivedAt = newParts("again"), server.Add(time.Hour)
	replayed := submit(t, w, []trial.CatchSubmission{again, a.fish(), two}, "replay", "created", "replay")
	same(t, "replayed catch", replayed[0].Catch, created[0].Catch)
	same(t, "first receipt", replayed[0].Receipt, created[0].Receipt)
	same(t, "second receipt", replayed[2].Receipt, created[1].Receipt)
	entries := checkChain(t, w.store, w.trial.ID, a.enrolment.ChainID, 3)
	for i, o := range []trial.CatchOutcome{created[0], created[1], replayed[1]} {
		if o.Receipt.N != int64(i+1) || o.Receipt.Hash != entries[i].Hash || entries[i].Subject != o.Catch.ID || entries[i].Kind != trial.LedgerCatch {
			t.Errorf("receipt %+v does not match entry %+v", o.Receipt, entries[i])
		}
	}
	// After a correction a replay gives the current state.
	corrected := created[0].Catch
	corrected.Void, corrected.Version = true, 2
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.UpdateCatch(ctx, corrected) })
	same(t, "replay of a corrected catch", submit(t, w, []trial.CatchSubmission{one}, "replay")[0].Catch, corrected)
}

func TestSubmitTwiceInOneCall(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	one := a.fish()
	changed, theirs := one, b.fish()
	changed.Catch.SentDigest = digest("changed")
	theirs.Catch.ID, theirs.Catch.SentDigest = one.Catch.ID, one.Catch.SentDigest
	outcomes := submit(t, w, []trial.CatchSubmission{one, one, changed, theirs}, "created", "replay", trial.Conflict, trial.Conflict)
	same(t, "replay in the same call", outcomes[1].Catch, outcomes[0].Catch)
	same(t, "its receipt", outcomes[1].Receipt, outcomes[0].Receipt)
	checkChain(t, w.store, w.trial.ID, a.enrolment.ChainID, 1)
	checkChain(t, w.store, w.trial.ID, b.enrolment.ChainID, 0)
}

func TestSubmitRefusals(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	taken := b.fish()
	submit(t, w, []trial.CatchSubmission{taken}, "created")

	anothersID, anothersPeriod, unknownPeriod, unknownTrial, disagreeing, fine := a.fish(), a.fish(), a.fish(), a.fish(), a.fish(), a.fish()
	anothersID.Catch.ID, anothersID.Catch.SentDigest = taken.Catch.ID, taken.Catch.SentDigest
	anothersPeriod.Catch.PeriodID = b.period.ID
	unknownPeriod.Catch.PeriodID = newID()
	unknownTrial.Catch.TrialID = newID()
	disagreeing.Catch.TakenPosition = trial.Upper // the test pattern is lower
	outcomes := submit(t, w, []trial.CatchSubmission{anothersID, anothersPeriod, unknownPeriod, unknownTrial, disagreeing, fine},
		trial.Conflict, trial.NotFound, trial.NotFound, trial.NotFound, trial.Invalid, "created")
	if e, ok := errors.AsType[*trial.Error](outcomes[0].Err); !ok || e.Code != "record.conflict" {
		t.Errorf("another's id gives %v", outcomes[0].Err)
	}
	checkChain(t, w.store, w.trial.ID, a.enrolment.ChainID, 1)
	checkChain(t, w.store, w.trial.ID, b.enrolment.ChainID, 1)

	// With the rig reported as the wrong way round from a time on, the same fish agrees.
	report := trial.Deviation{
		TrialID: w.trial.ID, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: a.outing.ID, PeriodID: a.period.ID,
		Kind: trial.WrongWayRound, FromAt: dawn.Add(30 * time.Minute), ReceivedAt: server,
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.InsertDeviation(ctx, report) })
	submit(t, w, []trial.CatchSubmission{disagreeing}, "created")
}

func TestSubmitNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	if outcomes := w.store.SubmitCatches(t.Context(), nil); len(outcomes) != 0 {
		t.Errorf("no catches give %d outcomes", len(outcomes))
	}
}

func TestSubmitMixedTrials(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	other := w.newTrial(t)
	anglers := []*angler{w.enrol(t), w.enrolIn(t, other.ID), w.enrol(t), w.enrolIn(t, other.ID)}
	var catches []trial.CatchSubmission
	var want []any
	for range 5 {
		for i := range anglers {
			catches = append(catches, anglers[len(anglers)-1-i].fish())
			want = append(want, "created")
		}
	}
	// The same id in two trials is two records.
	twin := anglers[1].fish()
	twin.Catch.ID = catches[3].Catch.ID
	submit(t, w, append(catches, twin), append(want, "created")...)
	for i, a := range anglers {
		n := int64(5)
		if i == 1 {
			n++
		}
		checkChain(t, w.store, a.enrolment.TrialID, a.enrolment.ChainID, n)
	}
}

func TestSubmitAfterClosingAndLocking(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	before := a.fish()
	submit(t, w, []trial.CatchSubmission{before}, "created")
	closed := w.trial
	closed.State, closed.ClosedAt = trial.Closed, pointer(dawn.Add(2*time.Hour))
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.UpdateTrial(ctx, closed) })
	inTime, late := a.fish(), a.fish()
	late.Catch.CaughtAt, late.Catch.NotedAt = dawn.Add(3*time.Hour), dawn.Add(3*time.Hour)
	outcomes := submit(t, w, []trial.CatchSubmission{inTime, late, before}, "created", trial.Conflict, "replay")
	if outcomes[0].Catch.AfterLock {
		t.Error("a fish that arrives after closing is flagged as after locking")
	}
	locked := closed
	locked.State, locked.LockedAt = trial.Locked, pointer(dawn.Add(80*time.Hour))
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.UpdateTrial(ctx, locked) })
	straggler := a.fish()
	outcomes = submit(t, w, []trial.CatchSubmission{straggler, late, inTime}, "created", trial.Conflict, "replay")
	if !outcomes[0].Catch.AfterLock || outcomes[2].Catch.AfterLock {
		t.Errorf("after locking, the new fish is flagged %v and the old one %v", outcomes[0].Catch.AfterLock, outcomes[2].Catch.AfterLock)
	}
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		c, err := tx.CatchBy(ctx, w.trial.ID, straggler.Catch.ID)
		if !c.AfterLock {
			t.Error("the flag was not stored")
		}
		return err
	})
}

func TestErase(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	mine, theirs := a.fish(), b.fish()
	submit(t, w, []trial.CatchSubmission{mine, theirs}, "created", "created")
	report := trial.Deviation{TrialID: w.trial.ID, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: a.outing.ID, PeriodID: a.period.ID, Kind: trial.ThirdFly, FromAt: dawn, ReceivedAt: server}
	amendment := trial.Amendment{TrialID: w.trial.ID, EnrolmentID: a.enrolment.ID, Kind: trial.LedgerCatch, Subject: mine.Catch.ID, N: 1, At: server, By: a.account.ID, Reason: "misread"}
	erasedAt := server.Add(time.Hour)
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(
			tx.InsertDeviation(ctx, report), tx.InsertAmendment(ctx, amendment),
			tx.SaveCount(ctx, w.trial.ID, trial.EnrolmentCount{EnrolmentID: a.enrolment.ID, CountedAt: 1}),
			tx.EraseEnrolment(ctx, w.trial.ID, a.enrolment.ID, erasedAt),
			tx.EraseEnrolment(ctx, w.trial.ID, a.enrolment.ID, erasedAt.Add(time.Hour)), // changes nothing more
		)
	})
	submit(t, w, []trial.CatchSubmission{mine, a.fish(), theirs}, trial.Gone, trial.NotFound, "replay")
	reused := b.fish() // an erased id cannot come back as another's
	reused.Catch.ID = mine.Catch.ID
	submit(t, w, []trial.CatchSubmission{reused}, trial.Gone)
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		e, err := tx.EnrolmentBy(ctx, w.trial.ID, a.enrolment.ID)
		same(t, "erased enrolment", e, trial.Enrolment{
			TrialID: w.trial.ID, ID: a.enrolment.ID, ChainID: a.enrolment.ID, Pseudonym: a.enrolment.Pseudonym, EnrolledAt: a.enrolment.EnrolledAt, LeftAt: &erasedAt, ErasedAt: &erasedAt,
		})
		if _, err := tx.EnrolmentOf(ctx, w.trial.ID, a.account.ID); trial.KindOf(err) != trial.NotFound {
			t.Errorf("the account is still enrolled: %v", err)
		}
		records, err2 := tx.RecordsOf(ctx, w.trial.ID, a.enrolment.ID)
		if n := len(records.Outings) + len(records.Units) + len(records.Periods) + len(records.Deviations) + len(records.Catches); n > 0 {
			t.Errorf("%d records are left", n)
		}
		for what, err := range map[string]error{
			"outing": errOf(tx.OutingBy(ctx, w.trial.ID, a.outing.ID)), "unit": errOf(tx.UnitBy(ctx, w.trial.ID, a.unit.ID)),
			"period": errOf(tx.PeriodBy(ctx, w.trial.ID, a.period.ID)), "deviation": errOf(tx.DeviationBy(ctx, w.trial.ID, report.ID)),
			"catch": errOf(tx.CatchBy(ctx, w.trial.ID, mine.Catch.ID)),
		} {
			if trial.KindOf(err) != trial.Gone {
				t.Errorf("an erased %s gives %v", what, err)
			}
		}
		amendments, err3 := tx.AmendmentsOf(ctx, w.trial.ID, mine.Catch.ID)
		if len(amendments) > 0 {
			t.Errorf("%d amendments are left", len(amendments))
		}
		counts, err4 := tx.CountsOf(ctx, w.trial.ID)
		if !counts[0].Erased || counts[0].CountedAt != -1 || counts[0].HeadN != 1 {
			t.Errorf("the count is %+v", counts[0])
		}
		// The chain still verifies link by link; its parts are gone.
		entries, err5 := tx.EntriesOf(ctx, w.trial.ID, a.enrolment.ChainID)
		if len(entries) != 1 || entries[0].Link(trial.Digest{}) != entries[0].Hash {
			t.Errorf("the chain is %+v", entries)
		}
		parts, err6 := tx.PartsOf(ctx, w.trial.ID, a.enrolment.ChainID)
		if len(parts) > 0 {
			t.Errorf("%d parts are left", len(parts))
		}
		return first(err, err2, err3, err4, err5, err6)
	})
	checkChain(t, w.store, w.trial.ID, b.enrolment.ChainID, 1)
}

func errOf[T any](_ T, err error) error { return err }

// TestEraseImported erases one of two anglers who share the organiser's chain.
func TestEraseImported(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	records := make([]trial.Records, 2)
	for i := range records {
		e := trial.Enrolment{TrialID: w.trial.ID, ID: newID(), ChainID: w.trial.ID, Pseudonym: fmt.Sprintf("%06d", i), EnrolledAt: server}
		o := trial.Outing{TrialID: w.trial.ID, ID: newID(), EnrolmentID: e.ID, ReceivedAt: server}
		records[i] = trial.Records{Enrolment: e, Outings: []trial.Outing{o}}
	}
	parts := newParts("file")
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		head, err := tx.LockHead(ctx, w.trial.ID, w.trial.ID)
		entry := head.Next(trial.LedgerImport, w.trial.ID, parts)
		return first(err, tx.InsertRecorded(ctx, records), tx.Append(ctx, entry, parts), tx.EraseEnrolment(ctx, w.trial.ID, records[0].Enrolment.ID, server))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := tx.OutingBy(ctx, w.trial.ID, records[0].Outings[0].ID); trial.KindOf(err) != trial.Gone {
			t.Errorf("the erased outing gives %v", err)
		}
		_, err := tx.OutingBy(ctx, w.trial.ID, records[1].Outings[0].ID)
		return err
	})
	checkChain(t, w.store, w.trial.ID, w.trial.ID, 1)
}

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
	started, go2 := make(chan struct{}), make(chan struct{})
	joined := make(chan error, 1)
	chain := newID()
	go func() {
		joined <- w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
			err := tx.InsertHead(ctx, trial.Head{TrialID: w.trial.ID, ChainID: chain})
			close(started)
			<-go2
			return err
		})
	}()
	<-started
	time.AfterFunc(100*time.Millisecond, func() { close(go2) })
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

func TestSubmitCancelled(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if o := w.store.SubmitCatches(ctx, []trial.CatchSubmission{a.fish()})[0]; !errors.Is(o.Err, context.Canceled) {
		t.Errorf("a cancelled call gives %v", o.Err)
	}
	ctx, cancel = context.WithDeadline(t.Context(), time.Now().Add(-time.Second))
	defer cancel()
	if o := w.store.SubmitCatches(ctx, []trial.CatchSubmission{a.fish()})[0]; trial.KindOf(o.Err) != trial.Unavailable {
		t.Errorf("a call past its deadline gives %v", o.Err)
	}
	checkChain(t, w.store, w.trial.ID, a.enrolment.ChainID, 0)
}

// TestChainNotHeld: a period whose chain could not be held does not take a fish.
func TestChainNotHeld(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	headless := a.enrolment
	headless.ID, headless.ChainID, headless.AccountID, headless.Pseudonym = newID(), newID(), w.admin.ID, "HEAD1E"
	outing, period := a.outing, a.period
	outing.ID, outing.EnrolmentID = newID(), headless.ID
	period.ID, period.EnrolmentID, period.OutingID, period.UnitID = newID(), headless.ID, outing.ID, trial.ID{}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertEnrolment(ctx, headless), tx.InsertOuting(ctx, outing), tx.InsertPeriod(ctx, period))
	})
	lost := a.fish()
	lost.Account, lost.Catch.PeriodID = w.admin.ID, period.ID
	submit(t, w, []trial.CatchSubmission{lost, a.fish()}, trial.NotFound, "created")
}

// TestPlans: no statement on the way of a catch reads a whole table or index, however its plan came about. The server
// counts what it scans.
func TestPlans(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	anglers, other := []*angler{w.enrol(t), w.enrol(t), w.enrol(t)}, w.enrol(t)
	for range 40 {
		var group []trial.CatchSubmission
		for i := range 12 {
			group = append(group, anglers[i%3].fish())
		}
		w.store.SubmitCatches(t.Context(), append(group, group[:4]...))
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		for i := range 40 {
			a := anglers[i%3]
			d := trial.Deviation{TrialID: w.trial.ID, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: a.outing.ID, Kind: trial.OffTrial, FromAt: dawn, ReceivedAt: server}
			if i >= 3 {
				d.OutingID, d.EnrolmentID = other.outing.ID, other.enrolment.ID
			}
			if err := tx.InsertDeviation(ctx, d); err != nil {
				return err
			}
		}
		return nil
	})
	for range 40 {
		w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{anglers[0].fish(), anglers[1].fish(), anglers[2].fish()})
	}
	conn := connect(t, w.store.URL())
	w.store.Close() // a session reports what it scanned when it ends
	type scans struct {
		Table                 string
		Whole, ByIndex, Found int64
	}
	const scanned = `
SELECT relname::text, seq_scan, coalesce(idx_scan, 0), coalesce(idx_tup_fetch, 0) FROM pg_stat_user_tables
WHERE relname IN ('catches', 'periods', 'enrolments', 'ledger_heads', 'ledger_entries', 'ledger_parts', 'deviations', 'tombstones')`
	eventually(t, "the report", func() bool { return rows[scans](t, conn, scanned+` AND relname = 'catches'`)[0].ByIndex > 0 })
	for _, s := range rows[scans](t, conn, scanned) {
		if s.Whole > 0 {
			t.Errorf("table %s was read whole %d times", s.Table, s.Whole)
		}
		if s.Found > 2*s.ByIndex {
			t.Errorf("table %s: %d looks into an index found %d rows", s.Table, s.ByIndex, s.Found)
		}
	}
}
