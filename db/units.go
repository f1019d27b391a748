package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectUnit = `
SELECT trial_id, id, enrolment_id, n, first, same_fly_check, coalesce(drawn_by, 'service') AS drawn_by,
       CASE WHEN drawn_by IS NULL THEN coalesce(draw_n, n) ELSE 0 END AS draw_n, coalesce(slip, 0) AS slip, drawn_at, drawn_offset,
       fetched_at, opened_at, opened_offset, lost_at, lost_offset
FROM units `

type unitRow struct {
	trial.Unit
	DrawnOffset  *int16
	OpenedOffset *int16
	LostOffset   *int16
}

func (r unitRow) record() trial.Unit {
	u := r.Unit
	u.DrawnAt, u.OpenedAt, u.LostAt = inPointer(u.DrawnAt, r.DrawnOffset), inPointer(u.OpenedAt, r.OpenedOffset), inPointer(u.LostAt, r.LostOffset)
	return u
}

// UnitBy implements trial.ReadTx.
func (r readTx) UnitBy(ctx context.Context, id, unit trial.ID) (trial.Unit, error) {
	const unitBy = selectUnit + `WHERE trial_id = @trial_id AND id = @id`
	return oneSent(ctx, r.tx, "unit", unitBy, id, unit, through[unitRow])
}

// UnitsOf implements trial.ReadTx: in order of number.
func (r readTx) UnitsOf(ctx context.Context, id, enrolment trial.ID) ([]trial.Unit, error) {
	const unitsOf = selectUnit + `WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id ORDER BY n`
	return list(ctx, r.tx, "units", unitsOf, pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment}, through[unitRow])
}

// UnitsOfTrial implements trial.ReadTx: in order of enrolment and number.
func (r readTx) UnitsOfTrial(ctx context.Context, id trial.ID) ([]trial.Unit, error) {
	const unitsOfTrial = selectUnit + `WHERE trial_id = @trial_id ORDER BY enrolment_id, n`
	return list(ctx, r.tx, "units", unitsOfTrial, pgx.StrictNamedArgs{"trial_id": id}, through[unitRow])
}

// handedOutRow is a unit with whose it is and when its second half ended.
type handedOutRow struct {
	unitRow
	Pseudonym    string
	FishedAt     *time.Time
	FishedOffset *int16
}

func (r handedOutRow) record() trial.HandedOut {
	return trial.HandedOut{Unit: r.unitRow.record(), Pseudonym: r.Pseudonym, FishedAt: inPointer(r.FishedAt, r.FishedOffset)}
}

// HandedOutOf implements trial.ReadTx: in order of pseudonym and number. A half that nobody ended ended with its outing.
func (r readTx) HandedOutOf(ctx context.Context, id trial.ID) ([]trial.HandedOut, error) {
	const handedOutOf = `
SELECT u.*, e.pseudonym, fished.fished_at, fished.fished_offset
FROM (` + selectUnit + `WHERE trial_id = @trial_id) u
JOIN enrolments e ON e.trial_id = @trial_id AND e.id = u.enrolment_id
LEFT JOIN LATERAL (
    SELECT coalesce(p.ended_at, o.ended_at) AS fished_at, coalesce(p.ended_offset, o.ended_offset) AS fished_offset
    FROM periods p JOIN outings o ON o.trial_id = @trial_id AND o.id = p.outing_id
    WHERE p.trial_id = @trial_id AND p.unit_id = u.id AND p.half = 2
) fished ON true
WHERE e.erased_at IS NULL
ORDER BY e.pseudonym, u.n`
	return list(ctx, r.tx, "units", handedOutOf, pgx.StrictNamedArgs{"trial_id": id}, through[handedOutRow])
}

// InsertUnit implements trial.Tx.
func (w writeTx) InsertUnit(ctx context.Context, u trial.Unit) error {
	const insertUnit = `
INSERT INTO units (trial_id, id, enrolment_id, n, first, same_fly_check, drawn_by, draw_n, slip, drawn_at, drawn_offset, fetched_at,
                   opened_at, opened_offset, lost_at, lost_offset)
VALUES (@trial_id, @id, @enrolment_id, @n, @first, @same_fly_check, @drawn_by, @draw_n, @slip, @drawn_at, @drawn_offset, @fetched_at,
        @opened_at, @opened_offset, @lost_at, @lost_offset)`
	args := pgx.StrictNamedArgs{
		"trial_id": u.TrialID, "id": u.ID, "enrolment_id": u.EnrolmentID, "n": u.N, "first": u.First, "same_fly_check": u.SameFlyCheck,
		"drawn_by": nil, "draw_n": numberOrNull(u.DrawN), "slip": numberOrNull(u.Slip), "drawn_at": u.DrawnAt, "drawn_offset": offsetOfPointer(u.DrawnAt),
		"fetched_at": u.FetchedAt, "opened_at": u.OpenedAt, "opened_offset": offsetOfPointer(u.OpenedAt),
		"lost_at": u.LostAt, "lost_offset": offsetOfPointer(u.LostAt),
	}
	if u.Own() {
		args["drawn_by"] = u.DrawnBy
	}
	return insert(ctx, w.tx, "unit", insertUnit, args)
}

// numberOrNull is what stands for a number that counts from 1.
func numberOrNull(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

// LoseUnit implements trial.Tx. A unit that was fished meanwhile is not lost.
func (w writeTx) LoseUnit(ctx context.Context, id, unit trial.ID, at time.Time) error {
	const loseUnit = `
UPDATE units SET lost_at = @lost_at, lost_offset = @lost_offset WHERE trial_id = @trial_id AND id = @id AND opened_at IS NULL`
	return update(ctx, w.tx, "unit", loseUnit, pgx.StrictNamedArgs{"trial_id": id, "id": unit, "lost_at": at, "lost_offset": offsetOf(at)})
}

// OpenUnit implements trial.Tx.
func (w writeTx) OpenUnit(ctx context.Context, id, unit trial.ID, at time.Time) error {
	const openUnit = `
UPDATE units SET opened_at = @opened_at, opened_offset = @opened_offset WHERE trial_id = @trial_id AND id = @id`
	return update(ctx, w.tx, "unit", openUnit, pgx.StrictNamedArgs{"trial_id": id, "id": unit, "opened_at": at, "opened_offset": offsetOf(at)})
}
