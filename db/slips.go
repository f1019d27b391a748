package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// SlipSheetsOf implements trial.ReadTx.
func (r readTx) SlipSheetsOf(ctx context.Context, id trial.ID) ([]trial.SlipSheet, error) {
	const slipSheetsOf = `
SELECT trial_id, n, enrolment_id, first_slip AS first, last_slip AS last, printed_by, printed_at FROM slip_sheets WHERE trial_id = @trial_id ORDER BY n`
	return list(ctx, r.tx, "sheets of slips", slipSheetsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.SlipSheet])
}

// InsertSlipSheet implements trial.Tx.
func (w writeTx) InsertSlipSheet(ctx context.Context, s trial.SlipSheet) error {
	const insertSlipSheet = `
INSERT INTO slip_sheets (trial_id, n, enrolment_id, first_slip, last_slip, printed_by, printed_at)
VALUES (@trial_id, @n, @enrolment_id, @first, @last, @printed_by, @printed_at)`
	return insert(ctx, w.tx, "sheet of slips", insertSlipSheet, pgx.StrictNamedArgs{
		"trial_id": s.TrialID, "n": s.N, "enrolment_id": s.EnrolmentID, "first": s.First, "last": s.Last, "printed_by": s.PrintedBy, "printed_at": s.PrintedAt,
	})
}
