package db

import (
	"context"
	"fmt"
	"slices"

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
	return each(ctx, r.tx, "catches", catches, pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment}, through[catchRow], do)
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

// recordedChunk is how many imported catches one statement adds.
const recordedChunk = 5000

// InsertRecorded implements trial.Tx. An enrolment, outing or period that another file brought already stays as it is;
// a fish is never met twice.
func (w writeTx) InsertRecorded(ctx context.Context, all []trial.Records) error {
	const unlessThere = ` ON CONFLICT (trial_id, id) DO NOTHING`
	var batch pgx.Batch
	var catches []trial.Catch
	for _, r := range all {
		batch.Queue(insertEnrolment+unlessThere, enrolmentArgs(r.Enrolment))
		for _, o := range r.Outings {
			batch.Queue(insertOuting+unlessThere, outingArgs(o))
		}
		for _, p := range r.Periods {
			batch.Queue(insertPeriod+unlessThere, periodArgs(p))
		}
		catches = append(catches, r.Catches...)
	}
	for chunk := range slices.Chunk(catches, recordedChunk) {
		batch.Queue(insertCatches, insertCatchesArgs(chunk, make([]*int64, len(chunk)))...)
	}
	if err := w.tx.SendBatch(ctx, &batch).Close(); err != nil {
		return fmt.Errorf("insert imported records: %w", translate(err))
	}
	return nil
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
