package conduct

import (
	"context"
	"fmt"

	"evenrig/service/trial"
)

// Rekeyed says what Rekey did.
type Rekeyed struct {
	Draws int // seeds that were sealed anew
	// Recorded is how many trials hold imported tables. Their anglers are known by digests under the key, so that a table
	// imported into them from now on brings anglers that count as new.
	Recorded int
}

// Rekey seals every sealed seed under another key, all of them or none. From then on only a Service with that key can work
// on them; nobody may be working with the old one.
//
// Errors: a seed of a trial that was not abandoned was not sealed under this service's key.
func (s *Service) Rekey(ctx context.Context, to SealKey) (done Rekeyed, err error) {
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		done = Rekeyed{}
		ids, err := tx.RegisteredTrials(ctx)
		if err != nil {
			return err
		}
		for _, id := range ids {
			t, err := tx.LockTrial(ctx, id)
			if err != nil {
				return err
			}
			if t.Source == trial.Recorded {
				done.Recorded++
			}
			if len(t.SealedSeed) == 0 {
				continue
			}
			seed, err := s.key.open(id, t.SealedSeed)
			if err != nil && t.State == trial.Abandoned {
				continue // its key was lost: nothing that is still needed
			}
			if err != nil {
				return fmt.Errorf("trial %s: %w", id, err)
			}
			if t.SealedSeed, err = to.seal(s.random, id, seed); err != nil {
				return fmt.Errorf("seal the seed of trial %s: %w", id, err)
			}
			if err := tx.UpdateTrial(ctx, t); err != nil {
				return err
			}
			done.Draws++
		}
		return nil
	})
	return done, err
}
