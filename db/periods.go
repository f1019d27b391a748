package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectPeriod = `
SELECT trial_id, id, enrolment_id, outing_id, unit_id, block, half, drawn, fished, confirmed, coalesce(test_fly, 0) AS test_fly, coalesce(control_fly, 0) AS control_fly, started_at, started_offset,
       received_at, sent_digest, version, ended_at, ended_offset, swap_now_at, swap_now_offset, end_reason,
       end_received_at, end_digest
FROM periods `

type periodRow struct {
	trial.Period
	StartedOffset *int16
	EndedAt       time.Time
	EndedOffset   *int16
	SwapNowAt     *time.Time
	SwapNowOffset *int16
	EndReason     *string
	EndReceivedAt time.Time
	EndDigest     trial.Digest
}

func (r periodRow) record() trial.Period {
	p := r.Period
	p.StartedAt = in(p.StartedAt, r.StartedOffset)
	if r.EndReason != nil {
		p.End = &trial.PeriodEnd{
			EndedAt: in(r.EndedAt, r.EndedOffset), SwapNowAt: inPointer(r.SwapNowAt, r.SwapNowOffset), Reason: *r.EndReason,
			ReceivedAt: r.EndReceivedAt, SentDigest: r.EndDigest,
		}
	}
	return p
}

// PeriodBy implements trial.ReadTx.
func (r readTx) PeriodBy(ctx context.Context, id, period trial.ID) (trial.Period, error) {
	const periodBy = selectPeriod + `WHERE trial_id = @trial_id AND id = @id`
	return oneSent(ctx, r.tx, "period", periodBy, id, period, through[periodRow])
}

// inTime is the order of periods: a table's may have no times, its halves may.
const inTime = ` ORDER BY started_at NULLS FIRST, half, id`

// PeriodsOf implements trial.ReadTx: in the order of their times.
func (r readTx) PeriodsOf(ctx context.Context, id, outing trial.ID) ([]trial.Period, error) {
	const periodsOf = selectPeriod + `WHERE trial_id = @trial_id AND outing_id = @outing_id` + inTime
	return list(ctx, r.tx, "periods", periodsOf, pgx.StrictNamedArgs{"trial_id": id, "outing_id": outing}, through[periodRow])
}

// PeriodsOfUnit implements trial.ReadTx: half 1 first.
func (r readTx) PeriodsOfUnit(ctx context.Context, id, unit trial.ID) ([]trial.Period, error) {
	const periodsOfUnit = selectPeriod + `WHERE trial_id = @trial_id AND unit_id = @unit_id ORDER BY half`
	return list(ctx, r.tx, "periods", periodsOfUnit, pgx.StrictNamedArgs{"trial_id": id, "unit_id": unit}, through[periodRow])
}

// InsertPeriod implements trial.Tx.
func (w writeTx) InsertPeriod(ctx context.Context, p trial.Period) error {
	return insert(ctx, w.tx, "period", insertPeriod, periodArgs(p))
}

const insertPeriod = `
INSERT INTO periods (trial_id, id, enrolment_id, outing_id, unit_id, block, half, drawn, fished, confirmed, test_fly, control_fly, started_at,
                     started_offset, received_at, sent_digest, version, ended_at, ended_offset, swap_now_at,
                     swap_now_offset, end_reason, end_received_at, end_digest)
VALUES (@trial_id, @id, @enrolment_id, @outing_id, @unit_id, @block, @half, @drawn, @fished, @confirmed, @test_fly, @control_fly, @started_at,
        @started_offset, @received_at, @sent_digest, @version, @ended_at, @ended_offset, @swap_now_at,
        @swap_now_offset, @end_reason, @end_received_at, @end_digest)`

func periodArgs(p trial.Period) pgx.StrictNamedArgs {
	args := periodEndArgs(p.TrialID, p.ID, p.End)
	args["enrolment_id"], args["outing_id"], args["unit_id"] = p.EnrolmentID, p.OutingID, p.UnitID
	args["block"], args["half"], args["drawn"], args["fished"], args["confirmed"] = p.Block, p.Half, p.Drawn, p.Fished, p.Confirmed
	args["test_fly"], args["control_fly"] = numberOrNull(p.TestFly), numberOrNull(p.ControlFly)
	args["started_at"], args["started_offset"] = p.StartedAt, offsetOf(p.StartedAt)
	args["received_at"], args["sent_digest"], args["version"] = p.ReceivedAt, p.SentDigest, p.Version
	return args
}

func periodEndArgs(id, period trial.ID, end *trial.PeriodEnd) pgx.StrictNamedArgs {
	args := pgx.StrictNamedArgs{
		"trial_id": id, "id": period, "ended_at": nil, "ended_offset": nil, "swap_now_at": nil, "swap_now_offset": nil,
		"end_reason": nil, "end_received_at": nil, "end_digest": nil,
	}
	if end != nil {
		args["ended_at"], args["ended_offset"] = end.EndedAt, offsetOf(end.EndedAt)
		args["swap_now_at"], args["swap_now_offset"] = end.SwapNowAt, offsetOfPointer(end.SwapNowAt)
		args["end_reason"], args["end_received_at"], args["end_digest"] = end.Reason, end.ReceivedAt, end.SentDigest
	}
	return args
}

// EndPeriod implements trial.Tx. A period ends once.
func (w writeTx) EndPeriod(ctx context.Context, id, period trial.ID, end trial.PeriodEnd) error {
	const endPeriod = `
UPDATE periods
SET ended_at = @ended_at, ended_offset = @ended_offset, swap_now_at = @swap_now_at, swap_now_offset = @swap_now_offset,
    end_reason = @end_reason, end_received_at = @end_received_at, end_digest = @end_digest
WHERE trial_id = @trial_id AND id = @id AND end_reason IS NULL`
	n, err := exec(ctx, w.tx, "end period", endPeriod, periodEndArgs(id, period, &end))
	if err == nil && n == 0 {
		if _, err := w.PeriodBy(ctx, id, period); err != nil {
			return err
		}
		return trial.Fail(trial.Conflict, "period.ended", "the period has ended already")
	}
	return err
}

// UpdatePeriod implements trial.Tx.
func (w writeTx) UpdatePeriod(ctx context.Context, p trial.Period) error {
	const updatePeriod = `
UPDATE periods
SET fished = @fished, confirmed = @confirmed, test_fly = @test_fly, control_fly = @control_fly, started_at = @started_at,
    started_offset = @started_offset, version = @version
WHERE trial_id = @trial_id AND id = @id`
	return update(ctx, w.tx, "period", updatePeriod, pgx.StrictNamedArgs{
		"trial_id": p.TrialID, "id": p.ID, "fished": p.Fished, "confirmed": p.Confirmed, "test_fly": numberOrNull(p.TestFly),
		"control_fly": numberOrNull(p.ControlFly), "started_at": p.StartedAt, "started_offset": offsetOf(p.StartedAt), "version": p.Version,
	})
}
