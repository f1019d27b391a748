package conduct

import (
	"cmp"
	"context"
	"errors"
	"time"

	"evenrig/service/trial"
)

// own is what a use case knows about the actor's own records in a trial. In a writing one head is the locked head of
// the angler's chain, and trial is its state as read under that lock.
type own struct {
	trial     trial.Trial
	protocol  *trial.Protocol
	enrolment trial.Enrolment
	head      trial.Head
	noter     trial.ID // the account that acts for the angler, zero for the angler's own
}

// errNotEnrolled answers a member of the club who has no records in the trial.
var errNotEnrolled = trial.Fail(trial.NotFound, "not_enrolled", "you have not joined this trial; send your enrolment first")

// readOwn runs do on one snapshot of the actor's own records.
func (s *Service) readOwn(ctx context.Context, actor trial.Actor, id trial.ID, do func(ctx context.Context, tx trial.ReadTx, o own) error) error {
	return s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		o, err := s.ownIn(ctx, tx, actor, id)
		if err != nil {
			return err
		}
		return do(ctx, tx, o)
	})
}

// keepOwn runs do in a transaction that holds the actor's chain, so that it may append to it. subject is the record that
// do is about: when the actor's enrolment was erased, the record's erasure is told instead.
func (s *Service) keepOwn(ctx context.Context, actor trial.Actor, id, subject trial.ID, do func(ctx context.Context, tx trial.Tx, o *own) error) error {
	return s.keep(ctx, id, subject, func(ctx context.Context, tx trial.ReadTx) (own, error) { return s.ownIn(ctx, tx, actor, id) }, do)
}

// keep runs do in a transaction that holds the chain of the records that whose finds.
func (s *Service) keep(ctx context.Context, id, subject trial.ID, whose func(ctx context.Context, tx trial.ReadTx) (own, error), do func(ctx context.Context, tx trial.Tx, o *own) error) error {
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		o, err := whose(ctx, tx)
		if errors.Is(err, errNotEnrolled) {
			return erasedOr(ctx, tx, id, subject, err)
		}
		if err != nil {
			return err
		}
		head, err := tx.LockHead(ctx, id, o.enrolment.ChainID)
		if err != nil {
			return err
		}
		// What decides may be read only once the head is held: locking a trial takes every head first, and the angler may
		// have left meanwhile on another device.
		if o, err = whose(ctx, tx); errors.Is(err, errNotEnrolled) {
			return erasedOr(ctx, tx, id, subject, err)
		}
		if err != nil {
			return err
		}
		o.head = head
		return do(ctx, tx, &o)
	})
}

// erasedOr returns the Gone error of an erased record, of whatever kind it was, else err.
func erasedOr(ctx context.Context, tx trial.ReadTx, id, record trial.ID, err error) error {
	if _, found := tx.OutingBy(ctx, id, record); trial.KindOf(found) == trial.Gone {
		return found
	}
	return err
}

// ownIn finds the actor's own records.
func (s *Service) ownIn(ctx context.Context, tx trial.ReadTx, actor trial.Actor, id trial.ID) (o own, err error) {
	if !actor.For.IsZero() {
		return o, errOwnOnly
	}
	if o.trial, err = inTrial(ctx, tx, actor, id, trial.KeepOwnRecords); err != nil {
		return o, err
	}
	o.enrolment, err = tx.EnrolmentOf(ctx, id, actor.AccountID)
	if trial.KindOf(err) == trial.NotFound {
		return o, errNotEnrolled
	}
	if err != nil {
		return o, err
	}
	o.protocol, err = s.rulesOf(ctx, tx, o.trial)
	return o, err
}

// takes returns nil when a new record of something that happened at the given time may be kept.
func (o *own) takes(happened time.Time) error {
	return cmp.Or(o.trial.Takes(happened), o.enrolment.Takes(happened))
}

// takesMoved returns nil when a correction may put what was taken once to another time.
func (o *own) takesMoved(before, after time.Time) error {
	if after.Equal(before) {
		return nil
	}
	return o.takes(after)
}

// append adds a record to the angler's chain.
func (o *own) append(ctx context.Context, tx trial.Tx, kind string, subject trial.ID, r record) (trial.Receipt, error) {
	entry := o.head.Next(kind, subject, r.parts)
	if err := tx.Append(ctx, entry, r.parts); err != nil {
		return trial.Receipt{}, err
	}
	o.head = entry.Head()
	return trial.Receipt{ChainID: entry.ChainID, N: entry.N, Hash: entry.Hash}, nil
}

// sentBefore settles a record that arrives under an id that may be taken. found is the error of looking it up. It
// reports true for the same record sent again, false for a new id, and fails for any other content and for another
// angler's record, about which it says nothing.
func (o *own) sentBefore(found error, owner trial.ID, stored trial.Digest, subject trial.ID, r record) (bool, error) {
	switch {
	case trial.KindOf(found) == trial.NotFound:
		return false, nil
	case found != nil:
		return false, found
	case owner == o.enrolment.ID && stored == r.digest:
		return true, nil
	}
	return false, trial.Fail(trial.Conflict, "record.conflict", "the id %s already stands for another record; a new record has a new id, a catch or a period is corrected by an amendment", subject)
}

// sameEnd returns nil when the end of a record of the angler's is the one that stands, sent again.
func sameEnd(what string, subject trial.ID, stored trial.Digest, r record) error {
	if stored == r.digest {
		return nil
	}
	return trial.Fail(trial.Conflict, "record.conflict", "the end of %s %s was sent before, with other content; it stays as it was first sent", what, subject)
}

// mine returns found's error, or Missing when the record is another angler's.
func (o *own) mine(found error, owner trial.ID, what string) error {
	if found == nil && owner != o.enrolment.ID {
		return trial.Missing(what)
	}
	return found
}

// names is mine for a record that another one names in the given field.
func (o *own) names(found error, owner trial.ID, field string) error {
	if trial.KindOf(o.mine(found, owner, field)) == trial.NotFound {
		return trial.Unknown(field)
	}
	return found
}
