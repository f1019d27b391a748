package db_test

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"testing"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/service/trial"
)

// TestSpreadByTrial spreads a database with rows in it as deploy/partition.sql does: nothing is lost, the program goes on as it did, and
// it still tells by names what was wrong.
func TestSpreadByTrial(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var anglers []*angler
	for range 12 { // so that several partitions have more than one trial, and rows of several trials the same place in theirs
		anglers = append(anglers, w.enrolIn(t, w.newTrial(t).ID))
	}
	fish := func() (group []trial.CatchSubmission) {
		for _, a := range anglers {
			group = append(group, a.fish())
		}
		return group
	}
	created := slices.Repeat([]any{"created"}, len(anglers))
	first := fish()
	receipts := submit(t, w, first, created...)
	before, err := db.ContentsOf(t.Context(), w.store.URL())
	if err != nil {
		t.Fatal(err)
	}
	w.store.Close()

	for range 2 { // the second time, as after an upgrade, finds everything in its place
		if err := dbtest.Spread(t.Context(), w.store.URL(), 5); err != nil {
			t.Fatal(err)
		}
	}
	if err := dbtest.Spread(t.Context(), w.store.URL(), 4); err == nil {
		t.Error("tables that lie in 5 partitions are spread over 4")
	}
	conn := connect(t, w.store.URL())
	for _, left := range texts(t, conn, `
SELECT 'table ' || relname FROM pg_class c WHERE relnamespace = 'public'::regnamespace AND relkind = 'r'
   AND EXISTS (SELECT FROM pg_attribute WHERE attrelid = c.oid AND attname = 'trial_id')
UNION ALL
SELECT 'name ' || part.oid::regclass FROM pg_inherits JOIN pg_class part ON part.oid = inhrelid JOIN pg_class whole ON whole.oid = inhparent
WHERE part.relname <> whole.relname
UNION ALL
SELECT 'constraint ' || conname || ' on ' || conrelid::regclass FROM pg_constraint
WHERE connamespace <> 'public'::regnamespace AND conparentid <> 0 AND conname <> (SELECT conname FROM pg_constraint up WHERE up.oid = pg_constraint.conparentid)`) {
		t.Errorf("not as it should be: %s", left)
	}
	after, err := db.ContentsOf(t.Context(), w.store.URL())
	if err != nil {
		t.Fatal(err)
	}
	same(t, "the spread database", after, before)

	if w.store, err = db.Open(t.Context(), w.store.URL(), slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	defer w.store.Close()
	for i, o := range submit(t, w, first, slices.Repeat([]any{"replay"}, len(first))...) {
		same(t, "the receipt of a fish sent again", o.Receipt, receipts[i].Receipt)
	}
	submit(t, w, fish(), created...)
	for i, a := range anglers {
		checkChain(t, w.store, a.period.TrialID, a.enrolment.ChainID, 2)
		checkChain(t, w.store, a.period.TrialID, a.period.TrialID, 0)
		submit(t, w, []trial.CatchSubmission{a.fish()}, "created")
		checkChain(t, w.store, a.period.TrialID, a.enrolment.ChainID, 3)
		if i > 0 {
			checkChain(t, w.store, anglers[i-1].period.TrialID, anglers[i-1].enrolment.ChainID, 3)
		}
	}
	refused := func(kind trial.Kind, code string, do func(ctx context.Context, tx trial.Tx) error) {
		t.Helper()
		err := w.store.InTx(t.Context(), do)
		if told, ok := errors.AsType[*trial.Error](err); !ok || told.Kind != kind || told.Code != code {
			t.Errorf("got %v, want %v %s", err, kind, code)
		}
	}
	again, nowhere := anglers[0].enrolment, anglers[0].outing
	again.ID, again.Pseudonym = newID(), "OTHER1"
	refused(trial.Conflict, "enrolment.exists", func(ctx context.Context, tx trial.Tx) error { return tx.InsertEnrolment(ctx, again) })
	again.AccountID, again.Pseudonym = w.admin.ID, anglers[0].enrolment.Pseudonym
	refused(trial.Conflict, "enrolment.pseudonym", func(ctx context.Context, tx trial.Tx) error { return tx.InsertEnrolment(ctx, again) })
	nowhere.ID, nowhere.EnrolmentID = newID(), newID()
	refused(trial.NotFound, "not_found", func(ctx context.Context, tx trial.Tx) error { return tx.InsertOuting(ctx, nowhere) })
}
