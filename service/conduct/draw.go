package conduct

import (
	"context"

	"evenrig/service/trial"
)

// HandedOut lists the units that the draw has handed out, in order of pseudonym and number, with when they were fetched, opened and
// fished: an opened one that was never fished stands out. Until the trial is locked none says which way round it goes, since who
// knows an angler's orders so far can guess what is left of a group.
func (s *Service) HandedOut(ctx context.Context, actor trial.Actor, id trial.ID) (units []trial.HandedOut, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadDraw)
		if err != nil {
			return err
		}
		units, err = tx.HandedOutOf(ctx, id)
		for i := range units {
			if t.Hidden() || units[i].OpenedAt == nil {
				units[i].First = ""
			}
		}
		return err
	})
	return units, err
}
