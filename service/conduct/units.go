package conduct

import (
	"context"
	"errors"
	"time"

	"evenrig/service/trial"
)

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
// Its order is computed now and was stored nowhere before. The trial's first unit closes the list of words for the draw.
func (s *Service) FetchUnit(ctx context.Context, actor trial.Actor, id, unit trial.ID) (view UnitView, err error) {
	now := s.now()
	view, err = s.fetchUnit(ctx, actor, id, unit, now)
	if errors.Is(err, errDrawNight) {
		if err := s.closeByFirstUnit(ctx, id, now); err != nil {
			return UnitView{}, err
		}
		view, err = s.fetchUnit(ctx, actor, id, unit, now)
	}
	return view, err
}

func (s *Service) fetchUnit(ctx context.Context, actor trial.Actor, id, unit trial.ID, now time.Time) (view UnitView, err error) {
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
	night, err := tx.DrawNightOf(ctx, o.trial.ID)
	if err != nil {
		return none, err
	}
	if night.ClosedAt == nil {
		return none, errDrawNight
	}
	seed, err := s.key.open(o.trial.ID, o.trial.SealedSeed)
	if err != nil {
		return none, err
	}
	n := len(units) + 1
	key := trial.AllocationKey(seed, night.Texts(), o.enrolment.ID, o.enrolment.Code)
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
