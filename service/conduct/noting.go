package conduct

import (
	"context"
	"errors"

	"evenrig/service/trial"
)

// owner finds whose a record is: zero when it is not there.
type owner func(ctx context.Context, tx trial.ReadTx) (enrolment trial.ID, err error)

// ofOne is the owner of the record that read finds.
func ofOne[R any](id, record trial.ID, read func(trial.ReadTx, context.Context, trial.ID, trial.ID) (R, error), enrolment func(R) trial.ID) owner {
	return func(ctx context.Context, tx trial.ReadTx) (trial.ID, error) {
		one, err := read(tx, ctx, id, record)
		return enrolment(one), err
	}
}

func ofOuting(id, outing trial.ID) owner {
	return ofOne(id, outing, trial.ReadTx.OutingBy, func(o trial.Outing) trial.ID { return o.EnrolmentID })
}

func ofUnit(id, unit trial.ID) owner {
	return ofOne(id, unit, trial.ReadTx.UnitBy, func(u trial.Unit) trial.ID { return u.EnrolmentID })
}

func ofPeriod(id, period trial.ID) owner {
	return ofOne(id, period, trial.ReadTx.PeriodBy, func(p trial.Period) trial.ID { return p.EnrolmentID })
}

func ofDeviation(id, deviation trial.ID) owner {
	return ofOne(id, deviation, trial.ReadTx.DeviationBy, func(d trial.Deviation) trial.ID { return d.EnrolmentID })
}

func ofCatch(id, catch trial.ID) owner {
	return ofOne(id, catch, trial.ReadTx.CatchBy, func(c trial.Catch) trial.ID { return c.EnrolmentID })
}

// ofRecord is for a record of a kind that is not known.
func ofRecord(id, record trial.ID) owner {
	return func(ctx context.Context, tx trial.ReadTx) (enrolment trial.ID, err error) {
		for _, of := range []owner{ofCatch(id, record), ofPeriod(id, record), ofOuting(id, record)} {
			if enrolment, err = of(ctx, tx); trial.KindOf(err) != trial.NotFound {
				break
			}
		}
		return enrolment, err
	}
}

// readFor is readOwn for what the actor may also do for another angler: the one whom actor.For names, or whose record of finds.
// of may be nil.
func (s *Service) readFor(ctx context.Context, actor trial.Actor, id trial.ID, of owner, do func(ctx context.Context, tx trial.ReadTx, o own) error) error {
	return s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		o, err := s.whose(ctx, tx, actor, id, of)
		if err != nil {
			return err
		}
		return do(ctx, tx, o)
	})
}

// keepFor is keepOwn for what the actor may also do for another angler; see readFor.
func (s *Service) keepFor(ctx context.Context, actor trial.Actor, id, subject trial.ID, of owner, do func(ctx context.Context, tx trial.Tx, o *own) error) error {
	return s.keep(ctx, id, subject, func(ctx context.Context, tx trial.ReadTx) (own, error) { return s.whose(ctx, tx, actor, id, of) }, do)
}

// whose finds the records that the actor means: those of the angler whom he names, of the one whose record he means, if that
// angler lets him, else his own.
func (s *Service) whose(ctx context.Context, tx trial.ReadTx, actor trial.Actor, id trial.ID, of owner) (o own, err error) {
	if !actor.For.IsZero() {
		if o, err = s.noterIn(ctx, tx, actor, id, actor.For); errors.Is(err, errNotNoter) {
			return own{}, trial.Unknown("for")
		}
		return o, err
	}
	o, err = s.ownIn(ctx, tx, actor, id)
	if of == nil || err != nil && !errors.Is(err, errNotEnrolled) {
		return o, err
	}
	enrolment, found := of(ctx, tx)
	if found != nil || enrolment == o.enrolment.ID {
		return o, err // what is not there is told by the use case itself
	}
	if other, noting := s.noterIn(ctx, tx, actor, id, enrolment); noting == nil {
		return other, nil
	}
	return o, err
}

// errOwnOnly answers who would do for another angler what only that angler may do.
var errOwnOnly = trial.Fail(trial.Forbidden, "for.own_only", "this is the angler's own to do; nobody does it for another")

// errNotNoter says that an angler does not let the actor note for him, or is not there.
var errNotNoter = errors.New("not a noter")

// noterIn finds the records of an angler who lets the actor note for him.
func (s *Service) noterIn(ctx context.Context, tx trial.ReadTx, actor trial.Actor, id, enrolment trial.ID) (o own, err error) {
	if o.trial, err = inTrial(ctx, tx, actor, id, trial.NoteForOthers); err != nil {
		return o, err
	}
	o.enrolment, err = tx.EnrolmentBy(ctx, id, enrolment)
	if trial.KindOf(err) == trial.NotFound || err == nil && !o.enrolment.MayBeNotedBy(actor.AccountID) {
		return own{}, errNotNoter
	}
	if err != nil {
		return o, err
	}
	o.noter = actor.AccountID
	o.protocol, err = s.rulesOf(ctx, tx, o.trial)
	return o, err
}

// typed is mine for a catch: who notes for another sees the fish that he typed, and no other.
func (o *own) typed(found error, c trial.Catch) error {
	if found == nil && !o.noter.IsZero() && c.NotedBy != o.noter {
		return trial.Missing("catch")
	}
	return o.mine(found, c.EnrolmentID, "catch")
}

// catches lists the angler's fish that are the actor's to see.
func (o *own) catches(ctx context.Context, tx trial.ReadTx, page trial.Page) ([]trial.Catch, error) {
	if o.noter.IsZero() {
		return tx.CatchesOf(ctx, o.trial.ID, o.enrolment.ID, page)
	}
	return tx.CatchesNotedBy(ctx, o.trial.ID, o.enrolment.ID, o.noter, page)
}

// Noters lists the accounts that the actor lets note for him.
func (s *Service) Noters(ctx context.Context, actor trial.Actor, id trial.ID) (accounts []trial.ID, err error) {
	err = s.readOwn(ctx, actor, id, func(_ context.Context, _ trial.ReadTx, o own) error {
		accounts = o.enrolment.Noters
		return nil
	})
	return accounts, err
}

// SetNoters says who may note for the actor from now on, and nobody else.
func (s *Service) SetNoters(ctx context.Context, actor trial.Actor, id trial.ID, accounts []trial.ID) error {
	// Who they are stands in the list alone, where it can be erased without the chain.
	r, err := s.newRecord(fields{"noters": len(accounts)}, fields{})
	if err != nil {
		return err
	}
	return s.keepOwn(ctx, actor, id, trial.ID{}, func(ctx context.Context, tx trial.Tx, o *own) error {
		members, err := tx.MembersOf(ctx, o.trial.ClubID, trial.Page{Limit: allRecords})
		if err != nil {
			return err
		}
		if err := o.enrolment.CheckNoters(accounts, members); err != nil {
			return err
		}
		if err := o.enrolment.Active(); err != nil {
			return err
		}
		if err := tx.SetNoters(ctx, id, o.enrolment.ID, accounts); err != nil {
			return err
		}
		_, err = o.append(ctx, tx, trial.LedgerNoters, o.enrolment.ID, r)
		return err
	})
}

// NotedFor is an angler for whom the actor may note: by name, a guest by the pseudonym that stands on the guest's card.
type NotedFor struct {
	Enrolment trial.ID
	Name      string
	Pseudonym string
	Guest     bool
}

// NotedFor lists the anglers of a trial for whom the actor may note.
func (s *Service) NotedFor(ctx context.Context, actor trial.Actor, id trial.ID) (list []NotedFor, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.NoteForOthers); err != nil {
			return err
		}
		anglers, err := tx.EnrolmentsNotedBy(ctx, id, actor.AccountID)
		for _, e := range anglers {
			n := NotedFor{Enrolment: e.ID, Name: e.Name, Guest: e.Guest()}
			if n.Guest {
				n.Pseudonym = e.Pseudonym
			}
			list = append(list, n)
		}
		return err
	})
	return list, err
}
