package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectTemperature = `
SELECT trial_id, id, enrolment_id, outing_id, at, at_offset, value, unit, received_at, sent_digest FROM temperatures `

type temperatureRow struct {
	trial.Temperature
	AtOffset *int16
	Value    float64
	Unit     string
}

func (r temperatureRow) record() trial.Temperature {
	t := r.Temperature
	t.At, t.Water = in(t.At, r.AtOffset), trial.Measure{Value: r.Value, Unit: r.Unit}
	return t
}

// TemperatureBy implements trial.ReadTx.
func (r readTx) TemperatureBy(ctx context.Context, id, temperature trial.ID) (trial.Temperature, error) {
	const temperatureBy = selectTemperature + `WHERE trial_id = @trial_id AND id = @id`
	return oneSent(ctx, r.tx, "temperature", temperatureBy, id, temperature, through[temperatureRow])
}

// TemperaturesOf implements trial.ReadTx.
func (r readTx) TemperaturesOf(ctx context.Context, id, enrolment trial.ID) ([]trial.Temperature, error) {
	const temperaturesOf = selectTemperature + `WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id ORDER BY at, received_at, id`
	return list(ctx, r.tx, "temperatures", temperaturesOf, pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment}, through[temperatureRow])
}

// InsertTemperature implements trial.Tx.
func (w writeTx) InsertTemperature(ctx context.Context, t trial.Temperature) error {
	const insertTemperature = `
INSERT INTO temperatures (trial_id, id, enrolment_id, outing_id, at, at_offset, value, unit, received_at, sent_digest)
VALUES (@trial_id, @id, @enrolment_id, @outing_id, @at, @at_offset, @value, @unit, @received_at, @sent_digest)`
	return insert(ctx, w.tx, "temperature", insertTemperature, pgx.StrictNamedArgs{
		"trial_id": t.TrialID, "id": t.ID, "enrolment_id": t.EnrolmentID, "outing_id": t.OutingID, "at": t.At, "at_offset": offsetOf(t.At),
		"value": t.Water.Value, "unit": t.Water.Unit, "received_at": t.ReceivedAt, "sent_digest": t.SentDigest,
	})
}

// WelfareOverridesOf implements trial.ReadTx.
func (r readTx) WelfareOverridesOf(ctx context.Context, id trial.ID) ([]trial.WelfareOverride, error) {
	const overridesOf = `
SELECT trial_id, n, enrolment_id, day, reason, at, by_account AS by FROM welfare_overrides WHERE trial_id = @trial_id ORDER BY n`
	return list(ctx, r.tx, "welfare overrides", overridesOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.WelfareOverride])
}

// InsertWelfareOverride implements trial.Tx.
func (w writeTx) InsertWelfareOverride(ctx context.Context, o trial.WelfareOverride) (int, error) {
	const insertOverride = `
INSERT INTO welfare_overrides (trial_id, n, enrolment_id, day, reason, at, by_account)
SELECT @trial_id, coalesce(max(n), 0) + 1, @enrolment_id, @day, @reason, @at, @by_account
FROM welfare_overrides WHERE trial_id = @trial_id RETURNING n`
	return one(ctx, w.tx, "welfare override", insertOverride, pgx.StrictNamedArgs{
		"trial_id": o.TrialID, "enrolment_id": o.EnrolmentID, "day": o.Day, "reason": o.Reason, "at": o.At, "by_account": o.By,
	}, pgx.RowTo[int])
}
