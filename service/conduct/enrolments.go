package conduct

import (
	"context"
	"encoding/hex"
	"time"

	"evenrig/service/trial"
)

// EnrolmentView is an enrolment just sent, and its receipt.
type EnrolmentView struct {
	Enrolment trial.Enrolment
	Receipt   trial.Receipt
	Created   bool
}

// Enrol joins the actor to a trial under the enrolment id and with the code that the actor's own program made; both
// enter the draw. The same enrolment sent again returns what stands.
func (s *Service) Enrol(ctx context.Context, actor trial.Actor, id trial.ID, e trial.Enrolment) (view EnrolmentView, err error) {
	if err := e.Check(); err != nil {
		return view, err
	}
	var random [6]byte
	s.fill(random[:])
	e.TrialID, e.ChainID, e.AccountID = id, e.ID, actor.AccountID
	e.Pseudonym, e.EnrolledAt = trial.Pseudonym(random), s.now()
	sent, err := s.newRecord(fields{"enrolment": e.ID}, fields{"code": hex.EncodeToString(e.Code[:]), "consent": e.Consent})
	if err != nil {
		return view, err
	}
	e.SentDigest = sent.digest
	entry, err := s.newRecord(
		fields{"enrolment": e.ID, "pseudonym": e.Pseudonym, "week": week(e.EnrolledAt)},
		fields{"account": actor.AccountID, "code": hex.EncodeToString(e.Code[:]), "consent": e.Consent, "enrolled_at": at(e.EnrolledAt)},
	)
	if err != nil {
		return view, err
	}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		// Locked first, so that of the same enrolment sent twice at once the second finds the first, and nobody joins who is
		// removed from the club at the same moment.
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if _, err := inTrial(ctx, tx, actor, id, trial.Enrol); err != nil {
			return err
		}
		stands, err := tx.EnrolmentOf(ctx, id, actor.AccountID)
		switch {
		case err == nil && stands.ID == e.ID && stands.SentDigest == e.SentDigest:
			view.Enrolment = stands
			view.Receipt, err = firstReceipt(ctx, tx, stands)
			return err
		case err == nil && stands.LeftAt != nil:
			return trial.Fail(trial.Conflict, "enrolment.left", "you left this trial at %s; who has left does not join again", stands.LeftAt.Format(time.RFC3339))
		case err == nil:
			return trial.Fail(trial.Conflict, "enrolment.exists", "you have joined this trial already, as enrolment %s; its code cannot be changed", stands.ID)
		case trial.KindOf(err) != trial.NotFound:
			return err
		}
		if other, err := tx.EnrolmentBy(ctx, id, e.ID); err == nil && other.ErasedAt != nil {
			return trial.Fail(trial.Gone, "record.erased", "the enrolment %s was erased on its angler's wish; join anew under a new id", e.ID)
		}
		view, err = begin(ctx, tx, t, e, entry)
		return err
	})
	return view, err
}

// begin lets an enrolment into a trial that takes more, with a chain of its own that its entry opens.
func begin(ctx context.Context, tx trial.Tx, t trial.Trial, e trial.Enrolment, entry record) (view EnrolmentView, err error) {
	if err := t.Enrols(); err != nil {
		return view, err
	}
	if err := tx.InsertEnrolment(ctx, e); err != nil {
		return view, err
	}
	o := own{head: trial.Head{TrialID: e.TrialID, ChainID: e.ChainID}}
	if err := tx.InsertHead(ctx, o.head); err != nil {
		return view, err
	}
	receipt, err := o.append(ctx, tx, trial.LedgerEnrolment, e.ID, entry)
	return EnrolmentView{Enrolment: e, Receipt: receipt, Created: true}, err
}

// firstReceipt is the receipt that an enrolment was answered with.
func firstReceipt(ctx context.Context, tx trial.ReadTx, e trial.Enrolment) (trial.Receipt, error) {
	entries, err := tx.EntriesOf(ctx, e.TrialID, e.ChainID)
	if err != nil || len(entries) == 0 {
		return trial.Receipt{}, err
	}
	return trial.Receipt{ChainID: e.ChainID, N: entries[0].N, Hash: entries[0].Hash}, nil
}

// Enrolment returns the actor's own enrolment.
func (s *Service) Enrolment(ctx context.Context, actor trial.Actor, id trial.ID) (e trial.Enrolment, err error) {
	err = s.readOwn(ctx, actor, id, func(_ context.Context, _ trial.ReadTx, o own) error {
		e = o.enrolment
		return nil
	})
	return e, err
}

// Enrolments lists who has joined, with names, for the organiser.
func (s *Service) Enrolments(ctx context.Context, actor trial.Actor, id trial.ID) (list []trial.Enrolment, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadEnrolments); err != nil {
			return err
		}
		list, err = tx.EnrolmentsOf(ctx, id)
		return err
	})
	return list, err
}

// Withdraw ends the actor's part in a trial, or that of a guest. The records stay, or are erased.
func (s *Service) Withdraw(ctx context.Context, actor trial.Actor, id trial.ID, erase bool) error {
	now := s.now()
	r, err := s.newRecord(fields{"erased": erase, "week": week(now)}, fields{"at": at(now)})
	if err != nil {
		return err
	}
	whose := func(ctx context.Context, tx trial.ReadTx) (own, error) { return s.leaverIn(ctx, tx, actor, id) }
	if erase {
		return s.erase(ctx, id, whose, r, now)
	}
	return s.keep(ctx, id, trial.ID{}, whose, func(ctx context.Context, tx trial.Tx, o *own) error {
		if o.enrolment.LeftAt != nil {
			return nil
		}
		if _, err := o.append(ctx, tx, trial.LedgerWithdrawal, o.enrolment.ID, r); err != nil {
			return err
		}
		return tx.LeaveEnrolment(ctx, id, o.enrolment.ID, now)
	})
}
