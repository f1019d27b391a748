package db_test

import (
	"context"
	"errors"
	"testing"
	"time"

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
SELECT relname::text, sum(coalesce(seq_scan, 0))::bigint, sum(coalesce(idx_scan, 0))::bigint, sum(coalesce(idx_tup_fetch, 0))::bigint FROM pg_stat_user_tables
WHERE relname IN ('catches', 'periods', 'enrolments', 'ledger_heads', 'ledger_entries', 'ledger_parts', 'deviations', 'tombstones') GROUP BY relname`
	eventually(t, "the report", func() bool { return rows[scans](t, conn, scanned+` HAVING relname = 'catches'`)[0].ByIndex > 0 })
	for _, s := range rows[scans](t, conn, scanned) {
		if s.Whole > 0 {
			t.Errorf("table %s was read whole %d times", s.Table, s.Whole)
		}
		if s.Found > 2*s.ByIndex {
			t.Errorf("table %s: %d looks into an index found %d rows", s.Table, s.ByIndex, s.Found)
		}
	}
}
