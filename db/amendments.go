package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// AmendmentsOf implements trial.ReadTx: in order of number.
func (r readTx) AmendmentsOf(ctx context.Context, id, subject trial.ID) ([]trial.Amendment, error) {
	const amendmentsOf = `
SELECT trial_id, enrolment_id, kind, subject, n, at, by_account AS by, reason, old_values AS old, new_values AS new
FROM amendments WHERE trial_id = @trial_id AND subject = @subject ORDER BY n`
	return list(ctx, r.tx, "amendments", amendmentsOf, pgx.StrictNamedArgs{"trial_id": id, "subject": subject}, pgx.RowToStructByName[trial.Amendment])
}

// InsertAmendment implements trial.Tx. An amendment without a number gets the next one of its record.
func (w writeTx) InsertAmendment(ctx context.Context, a trial.Amendment) error {
	const insertAmendment = `
INSERT INTO amendments (trial_id, subject, n, enrolment_id, kind, at, by_account, reason, old_values, new_values)
SELECT @trial_id, @subject, CASE WHEN @n > 0 THEN @n ELSE coalesce(max(n), 0) + 1 END, @enrolment_id, @kind, @at, @by_account,
       @reason, @old_values, @new_values
FROM amendments WHERE trial_id = @trial_id AND subject = @subject`
	return insert(ctx, w.tx, "amendment", insertAmendment, pgx.StrictNamedArgs{
		"trial_id": a.TrialID, "subject": a.Subject, "n": a.N, "enrolment_id": a.EnrolmentID, "kind": a.Kind, "at": a.At,
		"by_account": a.By, "reason": a.Reason, "old_values": a.Old, "new_values": a.New,
	})
}
