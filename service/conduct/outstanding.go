package conduct

import (
	"context"

	"evenrig/service/trial"
)

// Outstanding lists, by name and for the organiser alone, what may still be on its way from each angler of a trial: whom to ring
// before locking. It says nothing of any fish.
func (s *Service) Outstanding(ctx context.Context, actor trial.Actor, id trial.ID) (list []trial.Outstanding, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadEnrolments); err != nil {
			return err
		}
		list, err = tx.OutstandingOf(ctx, id)
		return err
	})
	return list, err
}

// DeclareCardsIn keeps the organiser's word that every paper card of a closed trial was handed in, so that it can be locked before the
// time for cards is over. The word and its reason stand in the organiser's chain; the same said again changes nothing.
func (s *Service) DeclareCardsIn(ctx context.Context, actor trial.Actor, id trial.ID, reason string) (TrialView, error) {
	now, salts := s.now(), s.salts()
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.MoveTrial); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		before, err := tx.CardsInOf(ctx, id)
		if err != nil || before != nil && before.Reason == reason {
			return err
		}
		if before != nil {
			return trial.Fail(trial.Conflict, "cards.in", "that all cards are in was said before, with another reason; it stays as it was said")
		}
		if err := t.DeclareCardsIn(reason); err != nil {
			return err
		}
		if err := tx.InsertCardsIn(ctx, trial.CardsIn{TrialID: id, At: now, By: actor.AccountID, Reason: reason}); err != nil {
			return err
		}
		r, err := recordOf(salts, fields{"reason": reason, "week": week(now)}, fields{"by": actor.AccountID, "at": at(now)})
		if err != nil {
			return err
		}
		return appendOrganisers(ctx, tx, id, trial.LedgerCardsIn, r)
	})
	if err != nil {
		return TrialView{}, err
	}
	return s.Trial(ctx, actor, id)
}
