package conduct

import (
	"cmp"
	"context"
	"time"

	"evenrig/service/trial"
)

// OutingView is an outing and what its water temperature asks for.
type OutingView struct {
	Outing  trial.Outing
	Welfare trial.WelfareState
	Created bool
}

func viewOuting(o trial.Outing, p *trial.Protocol) OutingView {
	return OutingView{Outing: o, Welfare: o.Welfare(p.Welfare)}
}

// OpenOuting saves an outing of the actor's, opened before the first cast. It takes what happened while the trial was
// open, whenever it arrives.
func (s *Service) OpenOuting(ctx context.Context, actor trial.Actor, id trial.ID, in trial.Outing) (view OutingView, err error) {
	in.TrialID, in.ReceivedAt = id, s.now()
	r, err := s.newRecord(
		fields{"outing": in.ID, "started_late": in.StartedLate, "water_temperature": measureOrNil(in.WaterTemperature), "week": week(in.StartedAt)},
		fields{"water": in.Water, "started_at": at(in.StartedAt), "conditions": in.Conditions, "note": in.Note},
	)
	if err != nil {
		return view, err
	}
	in.SentDigest = r.digest
	err = s.keepOwn(ctx, actor, id, in.ID, func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, err := tx.OutingBy(ctx, id, in.ID)
		replay, err := o.sentBefore(err, stored.EnrolmentID, stored.SentDigest, in.ID, r)
		if err != nil {
			return err
		}
		if replay {
			view = viewOuting(stored, o.protocol)
			return nil
		}
		if err := in.Check(*o.protocol, in.ReceivedAt); err != nil {
			return err
		}
		if err := o.takes(in.StartedAt); err != nil {
			return err
		}
		in.EnrolmentID, in.ProtocolVersion = o.enrolment.ID, o.trial.ProtocolVersion
		if err := tx.InsertOuting(ctx, in); err != nil {
			return err
		}
		view = viewOuting(in, o.protocol)
		view.Created = true
		_, err = o.append(ctx, tx, trial.LedgerOuting, in.ID, r)
		return err
	})
	return view, err
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

// EndOuting closes an outing, a blank one too.
func (s *Service) EndOuting(ctx context.Context, actor trial.Actor, id, outing trial.ID, end trial.OutingEnd) (view OutingView, err error) {
	end.ReceivedAt = s.now()
	r, err := s.newRecord(
		fields{"outing": outing, "reason": end.Reason, "not_logged": end.NotLogged},
		fields{"ended_at": at(end.EndedAt)},
	)
	if err != nil {
		return view, err
	}
	end.SentDigest = r.digest
	err = s.keepOwn(ctx, actor, id, outing, func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, err := tx.OutingBy(ctx, id, outing)
		if err := o.mine(err, stored.EnrolmentID, "outing"); err != nil {
			return err
		}
		if stored.End != nil {
			view = viewOuting(stored, o.protocol)
			return sameEnd("outing", outing, stored.End.SentDigest, r)
		}
		if err := cmp.Or(end.Check(stored, end.ReceivedAt), o.trial.Corrects()); err != nil {
			return err
		}
		if err := tx.EndOuting(ctx, id, outing, end); err != nil {
			return err
		}
		stored.End = &end
		view = viewOuting(stored, o.protocol)
		view.Created = true
		_, err = o.append(ctx, tx, trial.LedgerOutingEnd, outing, r)
		return err
	})
	return view, err
}

// Outing returns one of the actor's outings.
func (s *Service) Outing(ctx context.Context, actor trial.Actor, id, outing trial.ID) (view OutingView, err error) {
	err = s.readOwn(ctx, actor, id, func(ctx context.Context, tx trial.ReadTx, o own) error {
		stored, err := tx.OutingBy(ctx, id, outing)
		if err := o.mine(err, stored.EnrolmentID, "outing"); err != nil {
			return err
		}
		view = viewOuting(stored, o.protocol)
		return nil
	})
	return view, err
}

// Outings lists the actor's outings.
func (s *Service) Outings(ctx context.Context, actor trial.Actor, id trial.ID, page trial.Page) (views []OutingView, err error) {
	err = s.readOwn(ctx, actor, id, func(ctx context.Context, tx trial.ReadTx, o own) error {
		list, err := tx.OutingsOf(ctx, id, o.enrolment.ID, page)
		for _, outing := range list {
			views = append(views, viewOuting(outing, o.protocol))
		}
		return err
	})
	return views, err
}

// UnitView is a unit with the codes of the flies at the two positions in its first period.
type UnitView struct {
	Unit         trial.Unit
	Lower, Upper string
	Created      bool
}

func viewUnit(u trial.Unit, p *trial.Protocol) UnitView {
	lower, upper := p.Flies(u.First)
	return UnitView{Unit: u, Lower: lower, Upper: upper}
}

// allRecords is more records of a kind than an enrolment can have.
const allRecords = 1 << 20

// FetchUnit hands the actor the next unit under an id of the actor's making; the same id again returns the same unit.
// Its order is computed now and was stored nowhere before.
func (s *Service) FetchUnit(ctx context.Context, actor trial.Actor, id, unit trial.ID) (view UnitView, err error) {
	now := s.now()
	salts := s.salts()
	err = s.keepOwn(ctx, actor, id, unit, func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, err := tx.UnitBy(ctx, id, unit)
		if err == nil && stored.EnrolmentID == o.enrolment.ID {
			view = viewUnit(stored, o.protocol)
			return nil
		}
		if _, err := o.sentBefore(err, stored.EnrolmentID, trial.Digest{}, unit, record{}); err != nil {
			return err
		}
		next, err := s.draw(ctx, tx, o, unit)
		if err != nil {
			return err
		}
		next.FetchedAt = now
		r, err := recordOf(salts, fields{"unit": unit, "n": next.N, "first": next.First, "same_fly_check": next.SameFlyCheck}, fields{"fetched_at": at(now)})
		if err != nil {
			return err
		}
		if err := tx.InsertUnit(ctx, next); err != nil {
			return err
		}
		view = viewUnit(next, o.protocol)
		view.Created = true
		_, err = o.append(ctx, tx, trial.LedgerUnit, unit, r)
		return err
	})
	return view, err
}

// draw computes the enrolment's next unit, when the trial and the fish's welfare let one be fished.
func (s *Service) draw(ctx context.Context, tx trial.ReadTx, o *own, unit trial.ID) (trial.Unit, error) {
	none := trial.Unit{}
	if !unit.SentByPhone() {
		return none, &trial.Error{
			Kind: trial.Invalid, Code: "unit.invalid", Detail: "the unit has faults",
			Fields: []trial.FieldError{{Field: "unit", Detail: "is " + unit.String() + "; accepted: a UUID of version 7, made by the phone"}},
		}
	}
	if err := o.enrolment.Active(); err != nil {
		return none, err
	}
	if err := o.trial.Draws(); err != nil {
		return none, err
	}
	units, err := tx.UnitsOf(ctx, o.trial.ID, o.enrolment.ID)
	if err != nil {
		return none, err
	}
	if err := o.protocol.Draw.NextUnit(units); err != nil {
		return none, err
	}
	outings, err := tx.OutingsOf(ctx, o.trial.ID, o.enrolment.ID, trial.Page{Limit: allRecords})
	if err != nil {
		return none, err
	}
	for _, outing := range outings {
		if outing.End != nil {
			continue
		}
		if err := outing.Stops(o.protocol.Welfare); err != nil {
			return none, err
		}
	}
	seed, err := s.key.open(o.trial.ID, o.trial.SealedSeed)
	if err != nil {
		return none, err
	}
	n := len(units) + 1
	key := trial.AllocationKey(seed, nil, o.enrolment.ID, o.enrolment.Code)
	return trial.Unit{
		TrialID: o.trial.ID, ID: unit, EnrolmentID: o.enrolment.ID, N: n,
		First: o.protocol.Draw.UnitArrangement(key, n), SameFlyCheck: n <= o.protocol.Draw.SameFlyCheck,
	}, nil
}

// Units lists the units that the actor has fetched.
func (s *Service) Units(ctx context.Context, actor trial.Actor, id trial.ID) (views []UnitView, err error) {
	err = s.readOwn(ctx, actor, id, func(ctx context.Context, tx trial.ReadTx, o own) error {
		units, err := tx.UnitsOf(ctx, id, o.enrolment.ID)
		for _, u := range units {
			views = append(views, viewUnit(u, o.protocol))
		}
		return err
	})
	return views, err
}
