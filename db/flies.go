package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// FlyStockOf implements trial.ReadTx.
func (r readTx) FlyStockOf(ctx context.Context, id trial.ID) (s trial.FlyStock, err error) {
	const (
		batches = `
SELECT trial_id, n, batch, tied_by, hook_lot, materials, made_by, made_at, inspected_by, inspected_at, remarks
FROM fly_batches WHERE trial_id = @trial_id ORDER BY n`
		envelopes = `SELECT trial_id, code, batch, per_pattern FROM fly_envelopes WHERE trial_id = @trial_id ORDER BY batch, code`
		moves     = `
SELECT trial_id, n, code, kind, enrolment_id, flies, at, by_account AS by, note FROM fly_moves WHERE trial_id = @trial_id ORDER BY n`
		losses = `
SELECT enrolment_id, from_at AS at, coalesce(fly, 0) AS fly FROM deviations WHERE trial_id = @trial_id AND kind = 'fly_lost' ORDER BY from_at, id`
	)
	args := pgx.StrictNamedArgs{"trial_id": id}
	if s.Batches, err = list(ctx, r.tx, "batches of flies", batches, args, pgx.RowToStructByName[trial.FlyBatch]); err != nil {
		return s, err
	}
	if s.Envelopes, err = list(ctx, r.tx, "envelopes", envelopes, args, pgx.RowToStructByName[trial.FlyEnvelope]); err != nil {
		return s, err
	}
	if s.Moves, err = list(ctx, r.tx, "moves of envelopes", moves, args, pgx.RowToStructByName[trial.FlyMove]); err != nil {
		return s, err
	}
	s.Losses, err = list(ctx, r.tx, "lost flies", losses, args, pgx.RowToStructByName[trial.FlyLoss])
	return s, err
}

// InsertFlyBatch implements trial.Tx.
func (w writeTx) InsertFlyBatch(ctx context.Context, b trial.FlyBatch, envelopes []trial.FlyEnvelope) error {
	const (
		insertBatch = `
INSERT INTO fly_batches (trial_id, n, batch, tied_by, hook_lot, materials, made_by, made_at, inspected_by, inspected_at, remarks)
VALUES (@trial_id, @n, @batch, @tied_by, @hook_lot, @materials, @made_by, @made_at, @inspected_by, @inspected_at, @remarks)`
		insertEnvelope = `INSERT INTO fly_envelopes (trial_id, code, batch, per_pattern) VALUES (@trial_id, @code, @batch, @per_pattern)`
	)
	var batch pgx.Batch
	batch.Queue(insertBatch, pgx.StrictNamedArgs{
		"trial_id": b.TrialID, "n": b.N, "batch": b.Batch, "tied_by": b.TiedBy, "hook_lot": b.HookLot, "materials": b.Materials, "made_by": b.MadeBy,
		"made_at": b.MadeAt, "inspected_by": b.InspectedBy, "inspected_at": b.InspectedAt, "remarks": b.Remarks,
	})
	for _, e := range envelopes {
		batch.Queue(insertEnvelope, pgx.StrictNamedArgs{"trial_id": e.TrialID, "code": e.Code, "batch": e.Batch, "per_pattern": e.PerPattern})
	}
	if err := w.tx.SendBatch(ctx, &batch).Close(); err != nil {
		return fmt.Errorf("insert flies: %w", translate(err))
	}
	return nil
}

// InspectFlyBatch implements trial.Tx.
func (w writeTx) InspectFlyBatch(ctx context.Context, b trial.FlyBatch) error {
	const inspect = `
UPDATE fly_batches SET inspected_by = @inspected_by, inspected_at = @inspected_at, remarks = @remarks WHERE trial_id = @trial_id AND n = @n`
	return update(ctx, w.tx, "batch", inspect, pgx.StrictNamedArgs{
		"trial_id": b.TrialID, "n": b.N, "inspected_by": b.InspectedBy, "inspected_at": b.InspectedAt, "remarks": b.Remarks,
	})
}

// InsertFlyMove implements trial.Tx.
func (w writeTx) InsertFlyMove(ctx context.Context, m trial.FlyMove) error {
	const insertMove = `
INSERT INTO fly_moves (trial_id, n, code, kind, enrolment_id, flies, at, by_account, note)
VALUES (@trial_id, @n, @code, @kind, @enrolment_id, @flies, @at, @by, @note)`
	return insert(ctx, w.tx, "move", insertMove, pgx.StrictNamedArgs{
		"trial_id": m.TrialID, "n": m.N, "code": m.Code, "kind": m.Kind, "enrolment_id": m.EnrolmentID, "flies": m.Flies, "at": m.At, "by": m.By, "note": m.Note,
	})
}
