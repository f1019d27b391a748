package conduct

import (
	"cmp"
	"context"
	"errors"
	"slices"
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
	err = s.keepFor(ctx, actor, id, unit, ofUnit(id, unit), func(ctx context.Context, tx trial.Tx, o *own) error {
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
		r, err := unitRecord(salts, next)
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
	if err := o.enrolment.Draws(); err != nil {
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
	if err := s.coolEnough(ctx, tx, o); err != nil {
		return none, err
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
	next := o.protocol.Draw.Next(trial.AllocationKey(seed, night.Texts(), o.enrolment.ID, o.enrolment.Code), units)
	next.TrialID, next.ID, next.EnrolmentID = o.trial.ID, unit, o.enrolment.ID
	return next, nil
}

// unitRecord is what the chain holds of a unit. What drew it is said of those that the service did not draw, and their number in
// the draw of those after them.
func unitRecord(salts trial.Parts, u trial.Unit) (record, error) {
	public := fields{"unit": u.ID, "n": u.N, "first": u.First, "same_fly_check": u.SameFlyCheck}
	private := fields{"fetched_at": at(u.FetchedAt)}
	if u.DrawN != 0 && u.DrawN != u.N {
		public["draw_n"] = u.DrawN
	}
	if u.Own() {
		public["drawn_by"], private = u.DrawnBy, fields{"drawn_at": at(*u.DrawnAt)}
	}
	if u.Slip != 0 {
		public["slip"] = u.Slip
	}
	return recordOf(salts, public, private)
}

// KeepUnit saves a unit that was not drawn by the service: by a phone whose carried units ran out, by a sealed slip, or by the
// angler's own coin. The same one sent again returns what stands.
func (s *Service) KeepUnit(ctx context.Context, actor trial.Actor, id trial.ID, in trial.Unit) (view UnitView, err error) {
	in.TrialID, in.FetchedAt = id, s.now()
	salts := s.salts()
	err = s.keepFor(ctx, actor, id, in.ID, ofUnit(id, in.ID), func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, found := tx.UnitBy(ctx, id, in.ID)
		if found == nil && stored.EnrolmentID == o.enrolment.ID && sameOwnUnit(stored, in) {
			view = viewUnit(stored, o.protocol)
			return nil
		}
		if _, err := o.sentBefore(found, stored.EnrolmentID, trial.Digest{}, in.ID, record{digest: trial.Digest{1}}); err != nil {
			return err
		}
		unit, err := s.ownUnit(ctx, tx, o, in)
		if err != nil {
			return err
		}
		r, err := unitRecord(salts, unit)
		if err != nil {
			return err
		}
		if err := tx.InsertUnit(ctx, unit); err != nil {
			return err
		}
		view = viewUnit(unit, o.protocol)
		view.Created = true
		_, err = o.append(ctx, tx, trial.LedgerUnit, unit.ID, r)
		return err
	})
	return view, err
}

// sameOwnUnit reports whether a unit that stands is the one sent.
func sameOwnUnit(stored, sent trial.Unit) bool {
	return stored.DrawnBy == sent.DrawnBy && stored.First == sent.First && stored.Slip == sent.Slip && stored.DrawnAt != nil && sent.DrawnAt != nil &&
		stored.DrawnAt.Equal(sent.DrawnAt.Truncate(time.Microsecond))
}

// ownUnit checks a unit that the service did not draw, and numbers it.
func (s *Service) ownUnit(ctx context.Context, tx trial.ReadTx, o *own, unit trial.Unit) (trial.Unit, error) {
	sheets, err := tx.SlipSheetsOf(ctx, o.trial.ID)
	if err != nil {
		return unit, err
	}
	sheets = slices.DeleteFunc(sheets, func(s trial.SlipSheet) bool { return s.EnrolmentID != o.enrolment.ID })
	if err := unit.CheckOwn(sheets, unit.FetchedAt); err != nil {
		return unit, err
	}
	if err := cmp.Or(o.trial.TakesUnits(), o.takes(*unit.DrawnAt)); err != nil {
		return unit, err
	}
	units, err := tx.UnitsOf(ctx, o.trial.ID, o.enrolment.ID)
	if err != nil {
		return unit, err
	}
	if err := unit.MayToss(units); err != nil {
		return unit, err
	}
	unit.EnrolmentID, unit.N = o.enrolment.ID, len(units)+1
	unit.SameFlyCheck = unit.N <= o.protocol.Draw.SameFlyCheck
	return unit, nil
}

// LoseUnit closes a unit as lost with the phone that carried it. It is never dealt again, and counted.
func (s *Service) LoseUnit(ctx context.Context, actor trial.Actor, id, unit trial.ID, lostAt time.Time) (view UnitView, err error) {
	now := s.now()
	r, err := s.newRecord(fields{"unit": unit}, fields{"lost_at": at(lostAt)})
	if err != nil {
		return view, err
	}
	err = s.keepFor(ctx, actor, id, unit, ofUnit(id, unit), func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, err := tx.UnitBy(ctx, id, unit)
		if err := o.mine(err, stored.EnrolmentID, "unit"); err != nil {
			return err
		}
		if stored.LostAt != nil {
			view = viewUnit(stored, o.protocol)
			return nil
		}
		if err := cmp.Or(stored.Lose(lostAt, now), o.trial.Corrects()); err != nil {
			return err
		}
		if err := tx.LoseUnit(ctx, id, unit, lostAt); err != nil {
			return err
		}
		stored.LostAt = &lostAt
		view = viewUnit(stored, o.protocol)
		view.Created = true
		_, err = o.append(ctx, tx, trial.LedgerUnitLost, unit, r)
		return err
	})
	return view, err
}

// Units lists the units that the actor has fetched.
func (s *Service) Units(ctx context.Context, actor trial.Actor, id trial.ID) (views []UnitView, err error) {
	err = s.readFor(ctx, actor, id, nil, func(ctx context.Context, tx trial.ReadTx, o own) error {
		units, err := tx.UnitsOf(ctx, id, o.enrolment.ID)
		for _, u := range units {
			views = append(views, viewUnit(u, o.protocol))
		}
		return err
	})
	return views, err
}
