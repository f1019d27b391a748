package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectCheckpoint = `SELECT trial_id, n, at, root, hash FROM checkpoints WHERE trial_id = @trial_id `

// LastCheckpoint implements trial.ReadTx: nil when there is none.
func (r readTx) LastCheckpoint(ctx context.Context, id trial.ID) (*trial.Checkpoint, error) {
	const lastCheckpoint = selectCheckpoint + `ORDER BY n DESC LIMIT 1`
	last, err := list(ctx, r.tx, "checkpoint", lastCheckpoint, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Checkpoint])
	if err != nil || len(last) == 0 {
		return nil, err
	}
	return &last[0], nil
}

// CheckpointsOf implements trial.ReadTx: in order of number.
func (r readTx) CheckpointsOf(ctx context.Context, id trial.ID) ([]trial.Checkpoint, error) {
	const checkpointsOf = selectCheckpoint + `ORDER BY n`
	return list(ctx, r.tx, "checkpoints", checkpointsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Checkpoint])
}

// TrialsMoved implements trial.ReadTx. Chains only grow, so that a trial has moved when it has more chains and entries
// than its last checkpoint covers. The heads of trials that are left out are not read.
func (r readTx) TrialsMoved(ctx context.Context, settled time.Time) ([]trial.ID, error) {
	const trialsMoved = `
SELECT h.trial_id
FROM (
    SELECT h.trial_id, sum(h.n + 1)::bigint AS size
    FROM trials t
    JOIN ledger_heads h ON h.trial_id = t.id
    WHERE NOT coalesce(t.state IN ('locked', 'published', 'abandoned') AND coalesce(t.locked_at, t.created_at) < @settled, false)
    GROUP BY h.trial_id
) h
LEFT JOIN LATERAL (SELECT covers FROM checkpoints c WHERE c.trial_id = h.trial_id ORDER BY c.n DESC LIMIT 1) last ON true
WHERE last.covers IS DISTINCT FROM h.size
ORDER BY h.trial_id`
	return list(ctx, r.tx, "trials", trialsMoved, pgx.StrictNamedArgs{"settled": settled}, pgx.RowTo[trial.ID])
}

// CheckpointMovesOf implements trial.ReadTx: in order of checkpoint and chain.
func (r readTx) CheckpointMovesOf(ctx context.Context, id trial.ID) ([]trial.CheckpointMove, error) {
	const checkpointMovesOf = `
SELECT checkpoint, chain_id, n FROM checkpoint_moves WHERE trial_id = @trial_id ORDER BY checkpoint, chain_id`
	return list(ctx, r.tx, "checkpoint moves", checkpointMovesOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.CheckpointMove])
}

// InsertCheckpoint implements trial.Tx. It notes how many chains and entries the checkpoint covers, unless they have
// moved on since their heads were read: then the trial counts as moved.
func (w writeTx) InsertCheckpoint(ctx context.Context, c trial.Checkpoint, heads []trial.Head) error {
	now, err := w.HeadsOf(ctx, c.TrialID)
	if err != nil {
		return err
	}
	var covers *int64
	if trial.HeadsRoot(now) == c.Root {
		covers = new(int64)
		for _, h := range now {
			*covers += h.N + 1
		}
	}
	const insertCheckpoint = `
INSERT INTO checkpoints (trial_id, n, at, root, hash, covers) VALUES (@trial_id, @n, @at, @root, @hash, @covers)`
	err = insert(ctx, w.tx, "checkpoint", insertCheckpoint, pgx.StrictNamedArgs{
		"trial_id": c.TrialID, "n": c.N, "at": c.At, "root": c.Root, "hash": c.Hash, "covers": covers,
	})
	if err != nil {
		return err
	}
	const insertMoves = `
INSERT INTO checkpoint_moves (trial_id, chain_id, n, checkpoint)
SELECT @trial_id, h.chain_id, h.n, @checkpoint FROM unnest(@chain_id::uuid[], @n::bigint[]) AS h (chain_id, n)
WHERE NOT EXISTS (SELECT FROM checkpoint_moves m WHERE m.trial_id = @trial_id AND m.chain_id = h.chain_id AND m.n = h.n)`
	return insert(ctx, w.tx, "checkpoint moves", insertMoves, pgx.StrictNamedArgs{
		"trial_id": c.TrialID, "checkpoint": c.N,
		"chain_id": column(heads, func(h trial.Head) trial.ID { return h.ChainID }), "n": column(heads, func(h trial.Head) int64 { return h.N }),
	})
}
