package db

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// RecordsOf implements trial.ReadTx.
func (r readTx) RecordsOf(ctx context.Context, id, enrolment trial.ID) (trial.Records, error) {
	records, err := r.FishingOf(ctx, id, enrolment)
	if err != nil {
		return records, err
	}
	records.Catches = []trial.Catch{}
	err = r.EachCatchOf(ctx, id, enrolment, func(c trial.Catch) error {
		records.Catches = append(records.Catches, c)
		return nil
	})
	return records, err
}

// EachCatchOf implements trial.ReadTx: in the order of their times.
func (r readTx) EachCatchOf(ctx context.Context, id, enrolment trial.ID, do func(trial.Catch) error) error {
	const catches = selectCatch + `WHERE c.trial_id = @trial_id AND c.enrolment_id = @enrolment_id ORDER BY c.caught_at NULLS FIRST, c.id`
	return each(ctx, r.tx, "catches", catches, pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment}, throughMany[catchRow](), do)
}

// FurtherColumnsOf implements trial.ReadTx.
func (r readTx) FurtherColumnsOf(ctx context.Context, id trial.ID) ([]string, error) {
	const furtherColumnsOf = `
SELECT key FROM (SELECT DISTINCT key FROM catches CROSS JOIN LATERAL json_object_keys(further::json) AS key
WHERE trial_id = @trial_id AND further IS NOT NULL) AS found ORDER BY key COLLATE "C"`
	return list(ctx, r.tx, "further columns", furtherColumnsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowTo[string])
}

// FishingOf implements trial.ReadTx.
func (r readTx) FishingOf(ctx context.Context, id, enrolment trial.ID) (records trial.Records, err error) {
	const (
		whose      = `WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id `
		outings    = selectOuting + whose + `ORDER BY started_at NULLS FIRST, id`
		units      = selectUnit + whose + `ORDER BY n`
		periods    = selectPeriod + whose + inTime
		deviations = selectDeviation + whose + `ORDER BY from_at, id`
	)
	if records.Enrolment, err = r.EnrolmentBy(ctx, id, enrolment); err != nil {
		return records, err
	}
	args := pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment}
	if records.Outings, err = list(ctx, r.tx, "outings", outings, args, through[outingRow]); err != nil {
		return records, err
	}
	if records.Units, err = list(ctx, r.tx, "units", units, args, through[unitRow]); err != nil {
		return records, err
	}
	if records.Periods, err = list(ctx, r.tx, "periods", periods, args, through[periodRow]); err != nil {
		return records, err
	}
	records.Deviations, err = list(ctx, r.tx, "deviations", deviations, args, through[deviationRow])
	return records, err
}

// LockImports implements trial.Tx. The lock is the transaction's, so that a pooler may stand between; two trials that share its number
// wait for each other.
func (w writeTx) LockImports(ctx context.Context, id trial.ID) error {
	const lockImports = `SELECT pg_advisory_xact_lock(hashtext('imports'), hashtext(@trial_id::text))`
	_, err := exec(ctx, w.tx, "lock imports", lockImports, pgx.StrictNamedArgs{"trial_id": id.String()})
	return err
}

const (
	insertTableOutings = `
INSERT INTO outings (trial_id, id, enrolment_id, protocol_version, water, started_at, started_offset, started_late, conditions, note, received_at,
                     version, void, disputed)
SELECT o.trial_id, o.id, o.enrolment_id, o.protocol_version, '', o.started_at, o.started_offset, false, '', '', o.received_at, 1, false, false
FROM unnest($1::uuid[], $2::uuid[], $3::uuid[], $4::integer[], $5::timestamptz[], $6::smallint[], $7::timestamptz[])
    AS o (trial_id, id, enrolment_id, protocol_version, started_at, started_offset, received_at)` + unlessThere
	insertTablePeriods = `
INSERT INTO periods (trial_id, id, enrolment_id, outing_id, block, half, drawn, fished, confirmed, started_at, started_offset, received_at, version)
SELECT p.trial_id, p.id, p.enrolment_id, p.outing_id, p.block, p.half, '', p.fished, p.confirmed, p.started_at, p.started_offset, p.received_at, p.version
FROM unnest($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::text[], $6::integer[], $7::text[], $8::boolean[], $9::timestamptz[], $10::smallint[],
            $11::timestamptz[], $12::integer[])
    AS p (trial_id, id, enrolment_id, outing_id, block, half, fished, confirmed, started_at, started_offset, received_at, version)` + unlessThere
	unlessThere = ` ON CONFLICT (trial_id, id) DO NOTHING`
)

// InsertRecorded implements trial.Tx.
func (w writeTx) InsertRecorded(ctx context.Context, r trial.TableRecords) error {
	var batch pgx.Batch
	for _, e := range r.Enrolments {
		batch.Queue(insertEnrolment+unlessThere, enrolmentArgs(e))
	}
	if len(r.Outings) > 0 {
		of := func(value func(*trial.Outing) any) any { return viewOf(r.Outings, value) }
		batch.Queue(
			insertTableOutings, of(func(o *trial.Outing) any { return &o.TrialID }), of(func(o *trial.Outing) any { return &o.ID }),
			of(func(o *trial.Outing) any { return &o.EnrolmentID }), of(func(o *trial.Outing) any { return int32(o.ProtocolVersion) }),
			of(func(o *trial.Outing) any { return &o.StartedAt }), of(func(o *trial.Outing) any { return offsetOf(o.StartedAt) }),
			of(func(o *trial.Outing) any { return &o.ReceivedAt }),
		)
	}
	if len(r.Periods) > 0 {
		of := func(value func(*trial.Period) any) any { return viewOf(r.Periods, value) }
		batch.Queue(
			insertTablePeriods, of(func(p *trial.Period) any { return &p.TrialID }), of(func(p *trial.Period) any { return &p.ID }),
			of(func(p *trial.Period) any { return &p.EnrolmentID }), of(func(p *trial.Period) any { return &p.OutingID }),
			of(func(p *trial.Period) any { return p.Block }), of(func(p *trial.Period) any { return int32(p.Half) }),
			of(func(p *trial.Period) any { return string(p.Fished) }), of(func(p *trial.Period) any { return p.Confirmed }),
			of(func(p *trial.Period) any { return &p.StartedAt }), of(func(p *trial.Period) any { return offsetOf(p.StartedAt) }),
			of(func(p *trial.Period) any { return &p.ReceivedAt }), of(func(p *trial.Period) any { return int32(p.Version) }),
		)
	}
	if err := w.tx.SendBatch(ctx, &batch).Close(); err != nil {
		return fmt.Errorf("insert imported records: %w", translate(err))
	}
	_, err := w.tx.CopyFrom(ctx, pgx.Identifier{"catches"}, tableCatchColumns, pgx.CopyFromSlice(len(r.Catches), func(i int) ([]any, error) { return tableCatch(&r.Catches[i]), nil }))
	if err != nil {
		return fmt.Errorf("insert imported catches: %w", translate(err))
	}
	return nil
}

var tableCatchColumns = strings.Split("trial_id id enrolment_id period_id taken_pattern taken_position outcome foul_hooked rig_intact species origin "+
	"caught_at caught_offset noted_at noted_offset length_value length_unit note noted_by received_at version void after_lock reason water_type fly further disputed", " ")

func tableCatch(c *trial.Catch) []any {
	value, unit := measureColumns(c.Length)
	return []any{
		&c.TrialID, &c.ID, &c.EnrolmentID, &c.PeriodID, c.TakenPattern, string(c.TakenPosition), string(c.Outcome), c.FoulHooked, c.RigIntact, c.Species, string(c.Origin),
		&c.CaughtAt, offsetOf(c.CaughtAt), &c.NotedAt, offsetOf(c.NotedAt), value, unit, c.Note, &c.NotedBy, &c.ReceivedAt, int32(c.Version), c.Void, c.AfterLock,
		string(c.Reason), textOrNull(c.WaterType), textOrNull(c.Fly), textOrNull(string(c.Further)), c.Disputed,
	}
}

// ImportBy implements trial.ReadTx.
func (r readTx) ImportBy(ctx context.Context, id trial.ID, file trial.Digest) (trial.Import, error) {
	const importBy = `
SELECT trial_id, file, at, by_account AS by, rows FROM imports WHERE trial_id = @trial_id AND file = @file`
	return one(ctx, r.tx, "import", importBy, pgx.StrictNamedArgs{"trial_id": id, "file": file}, pgx.RowToStructByName[trial.Import])
}

// InsertImport implements trial.Tx.
func (w writeTx) InsertImport(ctx context.Context, i trial.Import) error {
	const insertImport = `INSERT INTO imports (trial_id, file, at, by_account, rows) VALUES (@trial_id, @file, @at, @by_account, @rows)`
	return insert(ctx, w.tx, "import", insertImport, pgx.StrictNamedArgs{
		"trial_id": i.TrialID, "file": i.File, "at": i.At, "by_account": i.By, "rows": i.Rows,
	})
}
