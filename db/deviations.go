package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectDeviation = `
SELECT trial_id, id, enrolment_id, outing_id, period_id, kind, water, coalesce(fly, 0) AS fly, from_at, from_offset, until_at, until_offset, note,
       received_at, sent_digest
FROM deviations `

type deviationRow struct {
	trial.Deviation
	FromOffset  *int16
	UntilOffset *int16
}

func (r deviationRow) record() trial.Deviation {
	d := r.Deviation
	d.FromAt, d.UntilAt = in(d.FromAt, r.FromOffset), inPointer(d.UntilAt, r.UntilOffset)
	return d
}

// DeviationBy implements trial.ReadTx.
func (r readTx) DeviationBy(ctx context.Context, id, deviation trial.ID) (trial.Deviation, error) {
	const deviationBy = selectDeviation + `WHERE trial_id = @trial_id AND id = @id`
	return oneSent(ctx, r.tx, "deviation", deviationBy, id, deviation, through[deviationRow])
}

// DeviationsOf implements trial.ReadTx: in the order of their times.
func (r readTx) DeviationsOf(ctx context.Context, id, outing trial.ID) ([]trial.Deviation, error) {
	const deviationsOf = selectDeviation + `WHERE trial_id = @trial_id AND outing_id = @outing_id ORDER BY from_at, id`
	return list(ctx, r.tx, "deviations", deviationsOf, pgx.StrictNamedArgs{"trial_id": id, "outing_id": outing}, through[deviationRow])
}

// InsertDeviation implements trial.Tx.
func (w writeTx) InsertDeviation(ctx context.Context, d trial.Deviation) error {
	const insertDeviation = `
INSERT INTO deviations (trial_id, id, enrolment_id, outing_id, period_id, kind, water, fly, from_at, from_offset, until_at,
                        until_offset, note, received_at, sent_digest)
VALUES (@trial_id, @id, @enrolment_id, @outing_id, @period_id, @kind, @water, @fly, @from_at, @from_offset, @until_at,
        @until_offset, @note, @received_at, @sent_digest)`
	return insert(ctx, w.tx, "deviation", insertDeviation, pgx.StrictNamedArgs{
		"trial_id": d.TrialID, "id": d.ID, "enrolment_id": d.EnrolmentID, "outing_id": d.OutingID, "period_id": d.PeriodID,
		"kind": d.Kind, "water": d.Water, "fly": numberOrNull(d.Fly), "from_at": d.FromAt, "from_offset": offsetOf(d.FromAt), "until_at": d.UntilAt,
		"until_offset": offsetOfPointer(d.UntilAt), "note": d.Note, "received_at": d.ReceivedAt, "sent_digest": d.SentDigest,
	})
}
