package conduct

import (
	"context"
	"time"

	"evenrig/service/trial"
)

// checkpoint saves the next checkpoint over the given heads, which the caller has locked or reads in one snapshot.
// When nothing moved since the last one, that one is returned.
func (s *Service) checkpoint(ctx context.Context, tx trial.Tx, id trial.ID, heads []trial.Head, now time.Time) (trial.Checkpoint, error) {
	last, err := tx.LastCheckpoint(ctx, id)
	if err != nil {
		return trial.Checkpoint{}, err
	}
	next := trial.NextCheckpoint(id, last, heads, now)
	if last != nil && last.Root == next.Root {
		return *last, nil
	}
	return next, tx.InsertCheckpoint(ctx, next, heads)
}

// A trial that was locked settledAfter ago moves hardly any more: each process looks at those every settledInterval, at all others
// whenever it looks.
const (
	settledAfter    = 30 * 24 * time.Hour
	settledInterval = time.Hour
)

// Checkpoint takes a checkpoint of every trial whose records moved since its last one; of those locked long ago not each time.
func (s *Service) Checkpoint(ctx context.Context) error {
	begun := s.now()
	settled := begun.Add(-settledAfter)
	all := begun.Sub(time.Unix(s.lookedAtAll.Load(), 0)).Abs() >= settledInterval
	if all {
		settled = time.Time{}
	}
	var moved []trial.ID
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		moved, err = tx.TrialsMoved(ctx, settled)
		return err
	})
	if err != nil {
		return err
	}
	if all {
		defer s.lookedAtAll.Store(begun.Unix())
	}
	for _, id := range moved {
		now := s.now()
		err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
			if _, err := tx.LockTrial(ctx, id); err != nil {
				return err
			}
			heads, err := tx.HeadsOf(ctx, id)
			if err != nil {
				return err
			}
			_, err = s.checkpoint(ctx, tx, id, heads, now)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// Checkpoints lists a trial's checkpoints, oldest first.
func (s *Service) Checkpoints(ctx context.Context, actor trial.Actor, id trial.ID) (list []trial.Checkpoint, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadTrial); err != nil {
			return err
		}
		list, err = tx.CheckpointsOf(ctx, id)
		return err
	})
	return list, err
}
