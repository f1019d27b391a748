package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectOuting = `
SELECT trial_id, id, enrolment_id, protocol_version, water, coalesce(cell, '') AS cell, coalesce(card, 0) AS card, started_at, started_offset, started_late,
       water_temperature_value, water_temperature_unit, conditions, note, received_at, sent_digest,
       ended_at, ended_offset, end_reason, end_not_logged, end_received_at, end_digest,
       coalesce(version, 1) AS version, coalesce(void, false) AS void, coalesce(disputed, false) AS disputed
FROM outings `

type outingRow struct {
	trial.Outing
	StartedOffset         *int16
	WaterTemperatureValue *float64
	WaterTemperatureUnit  *string
	EndedAt               time.Time
	EndedOffset           *int16
	EndReason             *string
	EndNotLogged          *int
	EndReceivedAt         time.Time
	EndDigest             trial.Digest
}

func (r outingRow) record() trial.Outing {
	o := r.Outing
	o.StartedAt = in(o.StartedAt, r.StartedOffset)
	o.WaterTemperature = measureOf(r.WaterTemperatureValue, r.WaterTemperatureUnit)
	if r.EndReason != nil {
		o.End = &trial.OutingEnd{
			EndedAt: in(r.EndedAt, r.EndedOffset), Reason: *r.EndReason, NotLogged: *r.EndNotLogged, ReceivedAt: r.EndReceivedAt, SentDigest: r.EndDigest,
		}
	}
	return o
}

// measureOf joins the two columns of a measure, nil when there is none.
func measureOf(value *float64, unit *string) *trial.Measure {
	if value == nil {
		return nil
	}
	return &trial.Measure{Value: *value, Unit: *unit}
}

// measureColumns splits a measure into its two columns.
func measureColumns(m *trial.Measure) (value *float64, unit *string) {
	if m == nil {
		return nil, nil
	}
	return &m.Value, &m.Unit
}

// OutingBy implements trial.ReadTx.
func (r readTx) OutingBy(ctx context.Context, id, outing trial.ID) (trial.Outing, error) {
	const outingBy = selectOuting + `WHERE trial_id = @trial_id AND id = @id`
	return oneSent(ctx, r.tx, "outing", outingBy, id, outing, through[outingRow])
}

// OutingsOf implements trial.ReadTx.
func (r readTx) OutingsOf(ctx context.Context, id, enrolment trial.ID, page trial.Page) ([]trial.Outing, error) {
	const outingsOf = selectOuting + `
WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id AND (@after::uuid IS NULL OR id > @after)
ORDER BY id LIMIT @limit`
	return list(ctx, r.tx, "outings", outingsOf, paged(page, pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment}), through[outingRow])
}

// InsertOuting implements trial.Tx.
func (w writeTx) InsertOuting(ctx context.Context, o trial.Outing) error {
	return insert(ctx, w.tx, "outing", insertOuting, outingArgs(o))
}

const insertOuting = `
INSERT INTO outings (trial_id, id, enrolment_id, protocol_version, water, cell, card, started_at, started_offset, started_late,
                     water_temperature_value, water_temperature_unit, conditions, note, received_at, sent_digest,
                     ended_at, ended_offset, end_reason, end_not_logged, end_received_at, end_digest, version, void, disputed)
VALUES (@trial_id, @id, @enrolment_id, @protocol_version, @water, @cell, @card, @started_at, @started_offset, @started_late,
        @water_temperature_value, @water_temperature_unit, @conditions, @note, @received_at, @sent_digest,
        @ended_at, @ended_offset, @end_reason, @end_not_logged, @end_received_at, @end_digest, @version, @void, @disputed)`

func outingArgs(o trial.Outing) pgx.StrictNamedArgs {
	value, unit := measureColumns(o.WaterTemperature)
	args := outingEndArgs(o.TrialID, o.ID, o.End)
	args["enrolment_id"], args["protocol_version"], args["water"], args["cell"] = o.EnrolmentID, o.ProtocolVersion, o.Water, textOrNull(o.Cell)
	args["card"] = numberOrNull(o.Card)
	args["started_at"], args["started_offset"], args["started_late"] = o.StartedAt, offsetOf(o.StartedAt), o.StartedLate
	args["water_temperature_value"], args["water_temperature_unit"] = value, unit
	args["conditions"], args["note"], args["received_at"], args["sent_digest"] = o.Conditions, o.Note, o.ReceivedAt, o.SentDigest
	args["version"], args["void"], args["disputed"] = max(o.Version, 1), o.Void, o.Disputed
	return args
}

func outingEndArgs(id, outing trial.ID, end *trial.OutingEnd) pgx.StrictNamedArgs {
	args := pgx.StrictNamedArgs{
		"trial_id": id, "id": outing,
		"ended_at": nil, "ended_offset": nil, "end_reason": nil, "end_not_logged": nil, "end_received_at": nil, "end_digest": nil,
	}
	if end != nil {
		args["ended_at"], args["ended_offset"], args["end_reason"] = end.EndedAt, offsetOf(end.EndedAt), end.Reason
		args["end_not_logged"], args["end_received_at"], args["end_digest"] = end.NotLogged, end.ReceivedAt, end.SentDigest
	}
	return args
}

// EndOuting implements trial.Tx. An outing ends once.
func (w writeTx) EndOuting(ctx context.Context, id, outing trial.ID, end trial.OutingEnd) error {
	const endOuting = `
UPDATE outings
SET ended_at = @ended_at, ended_offset = @ended_offset, end_reason = @end_reason, end_not_logged = @end_not_logged,
    end_received_at = @end_received_at, end_digest = @end_digest
WHERE trial_id = @trial_id AND id = @id AND end_reason IS NULL`
	n, err := exec(ctx, w.tx, "end outing", endOuting, outingEndArgs(id, outing, &end))
	if err == nil && n == 0 {
		if _, err := w.OutingBy(ctx, id, outing); err != nil {
			return err
		}
		return trial.Fail(trial.Conflict, "outing.ended", "the outing has ended already")
	}
	return err
}

// UpdateOuting implements trial.Tx.
func (w writeTx) UpdateOuting(ctx context.Context, o trial.Outing) error {
	const updateOuting = `
UPDATE outings
SET water = @water, started_at = @started_at, started_offset = @started_offset, started_late = @started_late,
    water_temperature_value = @water_temperature_value, water_temperature_unit = @water_temperature_unit, conditions = @conditions,
    note = @note, version = @version, void = @void, ended_at = @ended_at, ended_offset = @ended_offset, end_reason = @end_reason,
    end_not_logged = @end_not_logged
WHERE trial_id = @trial_id AND id = @id AND (end_reason IS NULL) = (@end_reason::text IS NULL)`
	value, unit := measureColumns(o.WaterTemperature)
	args := outingEndArgs(o.TrialID, o.ID, o.End)
	delete(args, "end_received_at")
	delete(args, "end_digest")
	args["water"], args["started_at"], args["started_offset"], args["started_late"] = o.Water, o.StartedAt, offsetOf(o.StartedAt), o.StartedLate
	args["water_temperature_value"], args["water_temperature_unit"] = value, unit
	args["conditions"], args["note"], args["version"], args["void"] = o.Conditions, o.Note, o.Version, o.Void
	return update(ctx, w.tx, "outing", updateOuting, args)
}
