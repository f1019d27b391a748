package conduct

import (
	"context"
	"slices"

	"evenrig/service/trial"
)

// GuessView is a guess as it may be read: one's own at any time, everybody's once the trial is published.
type GuessView struct {
	trial.Guess
	Mine bool
}

// Guess seals the actor's guess: of 100 fish, how many will take the changed fly. It is given once; the same again changes
// nothing. The chain binds it, so that nobody can have guessed otherwise afterwards.
func (s *Service) Guess(ctx context.Context, actor trial.Actor, id trial.ID, share int) error {
	r, err := s.newRecord(fields{"week": week(s.now())}, fields{"share": share})
	if err != nil {
		return err
	}
	return s.keepOwn(ctx, actor, id, trial.ID{}, func(ctx context.Context, tx trial.Tx, o *own) error {
		if err := trial.CheckGuess(share); err != nil {
			return err
		}
		list, err := tx.GuessesOf(ctx, id)
		if err != nil {
			return err
		}
		for _, g := range list {
			switch {
			case g.EnrolmentID != o.enrolment.ID:
			case g.Share == share:
				return nil
			default:
				return trial.Fail(trial.Conflict, "record.conflict", "you have guessed already; a guess is sealed and stays as it is")
			}
		}
		if err := o.enrolment.Active(); err != nil {
			return err
		}
		if err := o.trial.Guesses(); err != nil {
			return err
		}
		if err := tx.SaveGuess(ctx, id, o.enrolment.ID, share); err != nil {
			return err
		}
		_, err = o.append(ctx, tx, trial.LedgerGuess, o.enrolment.ID, r)
		return err
	})
}

// Guesses lists the guesses that the actor may read, by pseudonym.
func (s *Service) Guesses(ctx context.Context, actor trial.Actor, id trial.ID) (views []GuessView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadTrial)
		if err != nil {
			return err
		}
		mine, err := tx.EnrolmentOf(ctx, id, actor.AccountID)
		if err != nil && trial.KindOf(err) != trial.NotFound {
			return err
		}
		list, err := tx.GuessesOf(ctx, id)
		if err != nil {
			return err
		}
		views = make([]GuessView, len(list))
		for i, g := range list {
			views[i] = GuessView{g, g.EnrolmentID == mine.ID}
		}
		if t.State != trial.Published {
			views = slices.DeleteFunc(views, func(g GuessView) bool { return !g.Mine })
		}
		return nil
	})
	return views, err
}
