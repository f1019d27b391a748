package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const catchColumns = `
c.trial_id, c.id, c.enrolment_id, c.period_id, c.taken_pattern, c.taken_position, c.outcome, c.foul_hooked, c.rig_intact,
c.double_id, c.species, c.origin, c.caught_at, c.caught_offset, c.noted_at, c.noted_offset, c.length_value, c.length_unit,
c.note, c.noted_by, c.received_at, c.sent_digest, c.version, c.void, coalesce(c.disputed, false) AS disputed, c.after_lock, c.reason,
coalesce(c.welfare, '') AS welfare,
coalesce(c.water_type, '') AS water_type, coalesce(c.fly, '') AS fly, coalesce(c.further, '') AS further`

const selectCatch = `SELECT ` + catchColumns + ` FROM catches c `

type catchRow struct {
	trial.Catch
	CaughtOffset *int16
	NotedOffset  *int16
	LengthValue  *float64
	LengthUnit   *string
}

func (r catchRow) record() trial.Catch {
	c := r.Catch
	c.CaughtAt, c.NotedAt = in(c.CaughtAt, r.CaughtOffset), in(c.NotedAt, r.NotedOffset)
	c.Length = measureOf(r.LengthValue, r.LengthUnit)
	return c
}

// CatchBy implements trial.ReadTx.
func (r readTx) CatchBy(ctx context.Context, id, catch trial.ID) (trial.Catch, error) {
	const catchBy = selectCatch + `WHERE c.trial_id = @trial_id AND c.id = @id`
	return oneSent(ctx, r.tx, "catch", catchBy, id, catch, through[catchRow])
}

// CatchesOf implements trial.ReadTx.
func (r readTx) CatchesOf(ctx context.Context, id, enrolment trial.ID, page trial.Page) ([]trial.Catch, error) {
	const catchesOf = selectCatch + `
WHERE c.trial_id = @trial_id AND c.enrolment_id = @enrolment_id AND (@after::uuid IS NULL OR c.id > @after)
ORDER BY c.id LIMIT @limit`
	return list(ctx, r.tx, "catches", catchesOf, paged(page, pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment}), through[catchRow])
}

// CatchesOfPeriod implements trial.ReadTx: in the order of their times.
func (r readTx) CatchesOfPeriod(ctx context.Context, id, period trial.ID) ([]trial.Catch, error) {
	const catchesOfPeriod = selectCatch + `
WHERE c.trial_id = @trial_id AND c.period_id = @period_id ORDER BY c.caught_at NULLS FIRST, c.id`
	return list(ctx, r.tx, "catches", catchesOfPeriod, pgx.StrictNamedArgs{"trial_id": id, "period_id": period}, through[catchRow])
}

// insertCatches adds any number of catches at once; ledger_n is null where a catch has no entry of its own. Arrays that stand in the list
// of what is selected are gone through side by side; as a table, each would first be copied.
const insertCatches = `
INSERT INTO catches (trial_id, id, enrolment_id, period_id, taken_pattern, taken_position, outcome, foul_hooked, rig_intact,
                     double_id, species, origin, caught_at, caught_offset, noted_at, noted_offset, length_value, length_unit,
                     note, noted_by, received_at, sent_digest, version, void, after_lock, reason, water_type, fly, further, welfare, disputed, ledger_n)
SELECT unnest($1::uuid[]), unnest($2::uuid[]), unnest($3::uuid[]), unnest($4::uuid[]), unnest($5::text[]), unnest($6::text[]), unnest($7::text[]),
       unnest($8::boolean[]), unnest($9::boolean[]), unnest($10::uuid[]), unnest($11::text[]), unnest($12::text[]), unnest($13::timestamptz[]),
       unnest($14::smallint[]), unnest($15::timestamptz[]), unnest($16::smallint[]), unnest($17::float8[]), unnest($18::text[]), unnest($19::text[]),
       unnest($20::uuid[]), unnest($21::timestamptz[]), unnest($22::bytea[]), unnest($23::integer[]), unnest($24::boolean[]), unnest($25::boolean[]),
       unnest($26::text[]), unnest($27::text[]), unnest($28::text[]), unnest($29::text[]), unnest($30::text[]), unnest($31::boolean[]),
       unnest($32::bigint[])`

// insertCatchesArgs turns catches into columns. ledgerN is as long as catches.
func insertCatchesArgs(catches []trial.Catch, ledgerN []*int64) []any {
	of := func(value func(*trial.Catch) any) any { return viewOf(catches, value) }
	return []any{
		of(func(c *trial.Catch) any { return &c.TrialID }), of(func(c *trial.Catch) any { return &c.ID }),
		of(func(c *trial.Catch) any { return &c.EnrolmentID }), of(func(c *trial.Catch) any { return &c.PeriodID }),
		of(func(c *trial.Catch) any { return c.TakenPattern }), of(func(c *trial.Catch) any { return string(c.TakenPosition) }),
		of(func(c *trial.Catch) any { return string(c.Outcome) }), of(func(c *trial.Catch) any { return c.FoulHooked }), of(func(c *trial.Catch) any { return c.RigIntact }),
		of(func(c *trial.Catch) any { return &c.DoubleID }), of(func(c *trial.Catch) any { return c.Species }), of(func(c *trial.Catch) any { return string(c.Origin) }),
		of(func(c *trial.Catch) any { return &c.CaughtAt }), of(func(c *trial.Catch) any { return offsetOf(c.CaughtAt) }),
		of(func(c *trial.Catch) any { return &c.NotedAt }), of(func(c *trial.Catch) any { return offsetOf(c.NotedAt) }),
		of(func(c *trial.Catch) any { value, _ := measureColumns(c.Length); return value }), of(func(c *trial.Catch) any { _, unit := measureColumns(c.Length); return unit }),
		of(func(c *trial.Catch) any { return c.Note }), of(func(c *trial.Catch) any { return &c.NotedBy }), of(func(c *trial.Catch) any { return &c.ReceivedAt }),
		of(func(c *trial.Catch) any { return &c.SentDigest }), of(func(c *trial.Catch) any { return int32(c.Version) }),
		of(func(c *trial.Catch) any { return c.Void }), of(func(c *trial.Catch) any { return c.AfterLock }), of(func(c *trial.Catch) any { return string(c.Reason) }),
		of(func(c *trial.Catch) any { return textOrNull(c.WaterType) }), of(func(c *trial.Catch) any { return textOrNull(c.Fly) }),
		of(func(c *trial.Catch) any { return textOrNull(string(c.Further)) }), of(func(c *trial.Catch) any { return textOrNull(c.Welfare) }),
		of(func(c *trial.Catch) any { return c.Disputed }), viewOf(ledgerN, func(n **int64) any { return *n }),
	}
}

// column takes one value of each record.
func column[R, V any](records []R, value func(R) V) []V {
	values := make([]V, len(records))
	for i, r := range records {
		values[i] = value(r)
	}
	return values
}

// textOrNull is what stands for a text that may be missing.
func textOrNull(text string) *string {
	if text == "" {
		return nil
	}
	return &text
}

// UpdateCatch implements trial.Tx.
func (w writeTx) UpdateCatch(ctx context.Context, c trial.Catch) error {
	const updateCatch = `
UPDATE catches
SET period_id = @period_id, taken_pattern = @taken_pattern, taken_position = @taken_position, outcome = @outcome,
    foul_hooked = @foul_hooked, rig_intact = @rig_intact, double_id = @double_id, species = @species, origin = @origin,
    caught_at = @caught_at, caught_offset = @caught_offset, noted_at = @noted_at, noted_offset = @noted_offset,
    length_value = @length_value, length_unit = @length_unit, note = @note, version = @version, void = @void, disputed = @disputed, reason = @reason,
    water_type = @water_type, fly = @fly, further = @further, welfare = @welfare
WHERE trial_id = @trial_id AND id = @id`
	value, unit := measureColumns(c.Length)
	return update(ctx, w.tx, "catch", updateCatch, pgx.StrictNamedArgs{
		"trial_id": c.TrialID, "id": c.ID, "period_id": c.PeriodID, "taken_pattern": c.TakenPattern, "taken_position": c.TakenPosition,
		"outcome": c.Outcome, "foul_hooked": c.FoulHooked, "rig_intact": c.RigIntact, "double_id": c.DoubleID, "species": c.Species,
		"origin": c.Origin, "caught_at": c.CaughtAt, "caught_offset": offsetOf(c.CaughtAt), "noted_at": c.NotedAt,
		"noted_offset": offsetOf(c.NotedAt), "length_value": value, "length_unit": unit, "note": c.Note, "version": c.Version,
		"void": c.Void, "disputed": c.Disputed, "reason": c.Reason, "water_type": textOrNull(c.WaterType), "fly": textOrNull(c.Fly),
		"further": textOrNull(string(c.Further)), "welfare": textOrNull(c.Welfare),
	})
}
