package conduct

import (
	"bytes"
	"context"
	"fmt"

	"evenrig/service/trial"
)

// Recomputed says what came of computing a stored analysis once more.
type Recomputed struct {
	TrialID trial.ID
	N       int
	Program string // version that computed the stored result
	Same    bool   // every byte of the result is as stored; promised for one program version on one kind of processor
}

// Recompute computes the last finished analysis of every registered trial from its stored counts and compares the result
// with the stored one. It changes nothing and tells nothing of what a result says.
func (s *Service) Recompute(ctx context.Context) ([]Recomputed, error) {
	var ids []trial.ID
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		ids, err = tx.RegisteredTrials(ctx)
		return err
	})
	if err != nil {
		return nil, err
	}
	var all []Recomputed
	for _, id := range ids {
		last, p, err := s.lastDone(ctx, id)
		if err != nil {
			return nil, fmt.Errorf("read the analyses of trial %s: %w", id, err)
		}
		if last.N == 0 {
			continue
		}
		again := Recomputed{TrialID: id, N: last.N, Program: last.ProgramVersion}
		result, err := s.computed(*p, last, nil)
		if err == nil {
			encoded, err := result.Encode()
			again.Same = err == nil && bytes.Equal(encoded, last.Result)
		}
		all = append(all, again)
	}
	return all, nil
}

// lastDone returns a trial's last finished analysis, one with N = 0 when there is none, and the trial's protocol.
func (s *Service) lastDone(ctx context.Context, id trial.ID) (last trial.Analysis, p *trial.Protocol, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		if p, err = s.rulesOf(ctx, tx, t); err != nil {
			return err
		}
		list, err := tx.AnalysesOf(ctx, id)
		if err != nil {
			return err
		}
		for _, a := range list {
			if a.State == trial.Done && a.N > last.N {
				last = a
			}
		}
		if last.N > 0 {
			last, err = tx.AnalysisBy(ctx, id, last.N)
		}
		return err
	})
	return last, p, err
}
