package conduct

import (
	"context"

	"evenrig/service/trial"
)

// ConsentChange says which of an angler's ticks change; nil leaves one as it is. The ticks without which nobody takes part
// are taken back by leaving.
type ConsentChange struct {
	PublishOpen, PlaceCoarse, ContactAgain *bool
}

// ChangeConsent changes the actor's own ticks in a trial. Whether the records may be published stands in the public part of
// the chain; taking that back withdraws a package that was published, and another edition is made.
func (s *Service) ChangeConsent(ctx context.Context, actor trial.Actor, id trial.ID, change ConsentChange) (e trial.Enrolment, err error) {
	now, salts := s.now(), s.salts()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := s.ownIn(ctx, tx, actor, id); err != nil {
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
		if e, err = tx.EnrolmentOf(ctx, id, actor.AccountID); err != nil {
			return orMissing(err, "enrolment")
		}
		before := e.Consent
		for _, tick := range []struct {
			to *bool
			of *bool
		}{{change.PublishOpen, &e.Consent.PublishOpen}, {change.PlaceCoarse, &e.Consent.PlaceCoarse}, {change.ContactAgain, &e.Consent.ContactAgain}} {
			if tick.to != nil {
				*tick.of = *tick.to
			}
		}
		if e.Consent == before {
			return nil
		}
		if err := tx.SaveConsent(ctx, e); err != nil {
			return err
		}
		r, err := recordOf(salts,
			fields{"enrolment": e.ID, "publish_open": e.Consent.PublishOpen, "week": week(now)},
			fields{"place_coarse": e.Consent.PlaceCoarse, "contact_again": e.Consent.ContactAgain, "at": at(now)},
		)
		if err != nil {
			return err
		}
		if _, err := appendTo(ctx, tx, heads, e.ChainID, trial.LedgerConsent, e.ID, r.parts); err != nil {
			return err
		}
		if e.Consent.PublishOpen == before.PublishOpen && e.Consent.PlaceCoarse == before.PlaceCoarse {
			return nil // nothing that a package shows
		}
		return s.supersede(ctx, tx, t, trial.WithdrawnForConsent, now)
	})
	return e, err
}

// ConfirmGuardian notes that the actor has seen that the guardian of an angler under age agrees; until somebody has, no unit
// is handed to the angler. Of the guardian nothing is kept. Confirmed twice, the first stands.
func (s *Service) ConfirmGuardian(ctx context.Context, actor trial.Actor, id, enrolment trial.ID) error {
	now, salts := s.now(), s.salts()
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ConfirmGuardian); err != nil {
			return err
		}
		e, err := tx.EnrolmentBy(ctx, id, enrolment)
		if err != nil {
			return err
		}
		head, err := tx.LockHead(ctx, id, e.ChainID)
		if err != nil {
			return err
		}
		if e, err = tx.EnrolmentBy(ctx, id, enrolment); err != nil {
			return err
		}
		if err := e.ConfirmsGuardian(actor.AccountID); err != nil || e.GuardianAt != nil {
			return err
		}
		e.GuardianBy, e.GuardianAt = actor.AccountID, &now
		if err := tx.SaveConsent(ctx, e); err != nil {
			return err
		}
		r, err := recordOf(salts, fields{"enrolment": e.ID, "guardian": true, "week": week(now)}, fields{"by": actor.AccountID, "at": at(now)})
		if err != nil {
			return err
		}
		return tx.Append(ctx, head.Next(trial.LedgerConsent, e.ID, r.parts), r.parts)
	})
}
