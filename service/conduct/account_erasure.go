package conduct

import (
	"context"

	"evenrig/service/trial"
)

// EraseAccount removes the actor's name, address, password, sessions, tokens, links and events. Current is the password that
// holds now, where there is one. Who is still a member leaves the clubs first; who has records in trials erases them there
// first, or says that they stay: then they belong to nobody, under their pseudonyms.
func (s *Service) EraseAccount(ctx context.Context, actor trial.Actor, current string, keepRecords bool) error {
	var hash string
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		hash, err = tx.PasswordOf(ctx, actor.AccountID)
		return err
	})
	if err != nil {
		return err
	}
	if hash != "" {
		same, err := s.hasher.matches(ctx, current, hash)
		if err != nil {
			return err
		}
		if !same {
			return trial.Fail(trial.Forbidden, "password.wrong", "current_password is not the password that holds now")
		}
	}
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		account, err := tx.AccountBy(ctx, actor.AccountID)
		if err != nil {
			return err
		}
		memberships, err := tx.MembershipsOf(ctx, actor.AccountID)
		if err != nil {
			return err
		}
		joined := 0
		for _, m := range memberships {
			own, err := tx.EnrolmentsIn(ctx, m.ClubID, actor.AccountID)
			if err != nil {
				return err
			}
			joined += len(own)
		}
		if err := account.Erases(memberships, joined, keepRecords); err != nil {
			return err
		}
		return tx.EraseAccount(ctx, actor.AccountID)
	})
}
