package conduct

import (
	"context"
	"time"

	"evenrig/service/trial"
)

// erase removes the enrolment that whose finds and all its records from a trial, in one transaction that holds the trial and
// every chain. What stays is the chain's hashes, public ids by which a replay is known, and how many outings and fish there were.
//
// Analyses that counted the angler are withdrawn, not run again: a look keeps what it decided, one that is still queued
// decides nothing. Once the trial is locked the closing analysis is asked for anew, from what remains. The old one's bytes
// are gone by then, and the looks keep no number, so that no difference tells what was erased.
func (s *Service) erase(ctx context.Context, id trial.ID, whose func(context.Context, trial.ReadTx) (own, error), withdrawal record, now time.Time) error {
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := whose(ctx, tx); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		heads, err := tx.LockHeads(ctx, id)
		if err != nil {
			return err
		}
		// Read again under the locks: the angler may have erased it meanwhile on another device.
		o, err := whose(ctx, tx)
		if err != nil {
			return err
		}
		e := o.enrolment
		if heads, err = appendTo(ctx, tx, heads, e.ChainID, trial.LedgerWithdrawal, e.ID, withdrawal.parts); err != nil {
			return err
		}
		if err := tx.WithdrawAnalyses(ctx, e, now); err != nil {
			return err
		}
		if err := tx.EraseEnrolment(ctx, id, e.ID, now); err != nil {
			return err
		}
		if t.State != trial.Locked && t.State != trial.Published {
			return nil
		}
		c, err := s.checkpoint(ctx, tx, id, heads, now)
		if err != nil {
			return err
		}
		if _, err = s.enqueue(ctx, tx, t, c, trial.ID{}, now, 0); err != nil {
			return err
		}
		return s.supersede(ctx, tx, t, trial.WithdrawnForErasure, now)
	})
}

// appendTo adds a record to one of the trial's chains, of which all heads are held, and returns the heads as they stand
// then.
func appendTo(ctx context.Context, tx trial.Tx, heads []trial.Head, chain trial.ID, kind string, subject trial.ID, parts trial.Parts) ([]trial.Head, error) {
	for i, h := range heads {
		if h.ChainID != chain {
			continue
		}
		entry := h.Next(kind, subject, parts)
		if err := tx.Append(ctx, entry, parts); err != nil {
			return nil, err
		}
		heads[i] = entry.Head()
	}
	return heads, nil
}
