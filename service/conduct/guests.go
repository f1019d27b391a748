package conduct

import (
	"context"
	"encoding/hex"
	"errors"

	"evenrig/service/trial"
)

// BringGuest joins a guest for a day to a trial, who has no account: the actor saw the guest, or the guest's guardian, give the
// consent on paper and notes for the guest from now on. The enrolment's id and code are made by the actor's own program, as
// anybody's. The same guest sent again returns what stands.
func (s *Service) BringGuest(ctx context.Context, actor trial.Actor, id trial.ID, e trial.Enrolment) (view EnrolmentView, err error) {
	var random [6]byte
	s.fill(random[:])
	e.TrialID, e.ChainID, e.AccountID, e.BroughtBy = id, e.ID, trial.ID{}, actor.AccountID
	e.Pseudonym, e.EnrolledAt = trial.Pseudonym(random), s.now()
	if e.Consent.Minor {
		e.GuardianBy, e.GuardianAt = actor.AccountID, &e.EnrolledAt // the actor saw the guardian sign
	}
	private := fields{"code": hex.EncodeToString(e.Code[:]), "consent": e.Consent}
	sent, err := s.newRecord(fields{"enrolment": e.ID}, private)
	if err != nil {
		return view, err
	}
	e.SentDigest = sent.digest
	// Who brought the guest stands beside the enrolment alone, where it can be erased without the chain.
	private["enrolled_at"] = at(e.EnrolledAt)
	entry, err := s.newRecord(fields{"enrolment": e.ID, "pseudonym": e.Pseudonym, "guest": true, "week": week(e.EnrolledAt)}, private)
	if err != nil {
		return view, err
	}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if _, err := inTrial(ctx, tx, actor, id, trial.BringGuest); err != nil {
			return err
		}
		if err := e.Check(); err != nil {
			return err
		}
		stands, err := tx.EnrolmentBy(ctx, id, e.ID)
		switch {
		case trial.KindOf(err) == trial.NotFound:
		case err != nil:
			return err
		case stands.ErasedAt != nil:
			return trial.Fail(trial.Gone, "record.erased", "the enrolment %s was erased on its angler's wish; join anew under a new id", e.ID)
		case stands.MayBeNotedBy(actor.AccountID) && stands.SentDigest == e.SentDigest:
			view.Enrolment = stands
			view.Receipt, err = firstReceipt(ctx, tx, stands)
			return err
		default:
			return trial.Fail(trial.Conflict, "record.conflict", "the id %s already stands for another enrolment; a guest joins under a new id", e.ID)
		}
		view, err = begin(ctx, tx, t, e, entry)
		return err
	})
	return view, err
}

// leaverIn finds the records of who leaves: the actor, or the guest whom actor.For names, for the member who brought the guest and
// for the organiser, who has the wish in writing.
func (s *Service) leaverIn(ctx context.Context, tx trial.ReadTx, actor trial.Actor, id trial.ID) (o own, err error) {
	if actor.For.IsZero() {
		return s.ownIn(ctx, tx, actor, id)
	}
	if o, err = s.noterIn(ctx, tx, actor, id, actor.For); errors.Is(err, errNotNoter) {
		if o.trial, err = inTrial(ctx, tx, actor, id, trial.WithdrawGuest); trial.KindOf(err) == trial.Forbidden {
			return own{}, trial.Unknown("for")
		}
		if err != nil {
			return o, err
		}
		if o.protocol, err = s.rulesOf(ctx, tx, o.trial); err != nil {
			return o, err
		}
		o.enrolment, err = tx.EnrolmentBy(ctx, id, actor.For)
	}
	switch {
	case trial.KindOf(err) == trial.NotFound && o.protocol != nil:
		return own{}, trial.Unknown("for")
	case err != nil:
		return o, err
	case o.enrolment.ErasedAt != nil:
		return o, trial.Fail(trial.Gone, "record.erased", "the enrolment %s was erased", actor.For)
	case !o.enrolment.Guest():
		return o, errOwnOnly
	}
	return o, nil
}
