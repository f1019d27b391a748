package db_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"evenrig/service/trial"
)

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
			tx.EraseEnrolment(ctx, w.trial.ID, a.enrolment.ID, erasedAt.Add(time.Hour)),                    // changes nothing more
			tx.SaveCount(ctx, w.trial.ID, trial.EnrolmentCount{EnrolmentID: a.enrolment.ID, CountedAt: 1}), // counted before, kept too late
		)
	})
	submit(t, w, []trial.CatchSubmission{mine, a.fish(), theirs}, trial.Gone, trial.NotFound, "replay")
	reused := b.fish() // an erased id cannot come back as another's
	reused.Catch.ID = mine.Catch.ID
	submit(t, w, []trial.CatchSubmission{reused}, trial.Gone)
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		e, err := tx.EnrolmentBy(ctx, w.trial.ID, a.enrolment.ID)
		same(t, "erased enrolment", e, trial.Enrolment{
			TrialID: w.trial.ID, ID: a.enrolment.ID, ChainID: a.enrolment.ID, EnrolledAt: a.enrolment.EnrolledAt, LeftAt: &erasedAt, ErasedAt: &erasedAt,
			ErasedOutings: 1, ErasedFish: 1,
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
		if last := counts[len(counts)-1]; !last.Erased || last.CountedAt != -1 || last.HeadN != 1 || last.ErasedFish != 1 || last.Pseudonym != "" {
			t.Errorf("the count is %+v", last)
		}
		// The chain still verifies link by link; its parts are gone.
		entries, err5 := tx.EntriesOf(ctx, w.trial.ID, a.enrolment.ChainID)
		if len(entries) != 1 || entries[0].Link(trial.Digest{}) != entries[0].Hash {
			t.Errorf("the chain is %+v", entries)
		}
		if entries[0].Subject != mine.Catch.ID.Public() || entries[0].Subject == mine.Catch.ID {
			t.Errorf("the chain still tells when the fish was noted: %s", entries[0].Subject)
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
	var records trial.TableRecords
	for i := range 2 {
		e := trial.Enrolment{TrialID: w.trial.ID, ID: newID(), ChainID: w.trial.ID, Pseudonym: fmt.Sprintf("%06d", i), EnrolledAt: server}
		o := trial.Outing{TrialID: w.trial.ID, ID: newID(), EnrolmentID: e.ID, ReceivedAt: server}
		records.Enrolments, records.Outings = append(records.Enrolments, e), append(records.Outings, o)
	}
	parts := newParts("file")
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		head, err := tx.LockHead(ctx, w.trial.ID, w.trial.ID)
		entry := head.Next(trial.LedgerImport, w.trial.ID, parts)
		return first(err, tx.InsertRecorded(ctx, records), tx.Append(ctx, entry, parts), tx.EraseEnrolment(ctx, w.trial.ID, records.Enrolments[0].ID, server))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := tx.OutingBy(ctx, w.trial.ID, records.Outings[0].ID); trial.KindOf(err) != trial.Gone {
			t.Errorf("the erased outing gives %v", err)
		}
		_, err := tx.OutingBy(ctx, w.trial.ID, records.Outings[1].ID)
		return err
	})
	checkChain(t, w.store, w.trial.ID, w.trial.ID, 1)
}
