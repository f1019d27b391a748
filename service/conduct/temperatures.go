package conduct

import (
	"cmp"
	"context"

	"evenrig/service/trial"
)

// TemperatureView is a reading of the water's temperature, and its outing with what the latest reading asks for.
type TemperatureView struct {
	Temperature trial.Temperature
	Outing      OutingView
	Created     bool
}

// MeasureWater saves a reading of the water's temperature during one of the actor's outings. The latest reading says whether
// fishing goes on.
func (s *Service) MeasureWater(ctx context.Context, actor trial.Actor, id trial.ID, in trial.Temperature) (view TemperatureView, err error) {
	in.TrialID, in.ReceivedAt = id, s.now()
	r, err := s.newRecord(
		fields{"temperature": in.ID, "outing": in.OutingID, "water_temperature": in.Water.String(), "week": week(in.At)},
		fields{"at": at(in.At)},
	)
	if err != nil {
		return view, err
	}
	in.SentDigest = r.digest
	err = s.keepFor(ctx, actor, id, in.ID, ofOuting(id, in.OutingID), func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, err := tx.TemperatureBy(ctx, id, in.ID)
		replay, err := o.sentBefore(err, stored.EnrolmentID, stored.SentDigest, in.ID, r)
		if err != nil {
			return err
		}
		outing, err := tx.OutingBy(ctx, id, in.OutingID)
		if err := o.mine(err, outing.EnrolmentID, "outing"); err != nil {
			return err
		}
		view = TemperatureView{Temperature: stored}
		if !replay {
			if err := cmp.Or(in.Check(outing, in.ReceivedAt), o.trial.Corrects(), o.takes(in.At)); err != nil {
				return err
			}
			in.EnrolmentID = o.enrolment.ID
			if err := tx.InsertTemperature(ctx, in); err != nil {
				return err
			}
			if _, err := o.append(ctx, tx, trial.LedgerTemperature, in.ID, r); err != nil {
				return err
			}
			view = TemperatureView{Temperature: in, Created: true}
		}
		view.Outing, err = s.viewOuting(ctx, tx, o, outing)
		return err
	})
	return view, err
}

// Temperatures lists the readings of one of the actor's outings, in the order of their times.
func (s *Service) Temperatures(ctx context.Context, actor trial.Actor, id, outing trial.ID) (list []trial.Temperature, err error) {
	err = s.readFor(ctx, actor, id, ofOuting(id, outing), func(ctx context.Context, tx trial.ReadTx, o own) error {
		stored, err := tx.OutingBy(ctx, id, outing)
		if err := o.mine(err, stored.EnrolmentID, "outing"); err != nil {
			return err
		}
		all, err := tx.TemperaturesOf(ctx, id, o.enrolment.ID)
		for _, r := range all {
			if r.OutingID == outing {
				list = append(list, r)
			}
		}
		return err
	})
	return list, err
}

// coolEnough returns nil unless one of the enrolment's outings that go on lies in water so warm that fishing stops.
func (s *Service) coolEnough(ctx context.Context, tx trial.ReadTx, o *own) error {
	outings, err := tx.OutingsOf(ctx, o.trial.ID, o.enrolment.ID, trial.Page{Limit: allRecords})
	if err != nil {
		return err
	}
	w := trial.Warmth{}
	if w.Readings, err = tx.TemperaturesOf(ctx, o.trial.ID, o.enrolment.ID); err != nil {
		return err
	}
	if w.Overrides, err = tx.WelfareOverridesOf(ctx, o.trial.ID); err != nil {
		return err
	}
	for _, w.Outing = range outings {
		if w.Outing.End != nil || w.Outing.Void {
			continue
		}
		p, err := s.rulesAt(ctx, tx, o.trial, w.Outing.ProtocolVersion)
		if err != nil {
			return err
		}
		if err := w.Stops(*p, w.Latest()); err != nil {
			return err
		}
	}
	return nil
}

// OverrideView is an override with the pseudonym of its angler, empty once that angler was erased.
type OverrideView struct {
	trial.WelfareOverride
	Angler string
}

// OverrideWelfare lets one angler, named by pseudonym, fish on for one day in water at the stop temperature. The reason stands
// in the organiser's chain and in the report.
func (s *Service) OverrideWelfare(ctx context.Context, actor trial.Actor, id trial.ID, angler string, w trial.WelfareOverride) (view OverrideView, err error) {
	now, salts := s.now(), s.salts()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.OverrideWelfare); err != nil {
			return err
		}
		if err := w.Check(); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if err := t.Overrides(); err != nil {
			return err
		}
		enrolments, err := tx.EnrolmentsOf(ctx, id)
		if err != nil {
			return err
		}
		view = OverrideView{WelfareOverride: w, Angler: angler}
		view.TrialID, view.At, view.By = id, now, actor.AccountID
		for _, e := range enrolments {
			if e.Pseudonym == angler && e.ErasedAt == nil {
				view.EnrolmentID = e.ID
			}
		}
		if view.EnrolmentID.IsZero() {
			return trial.Unknown("angler")
		}
		if view.N, err = tx.InsertWelfareOverride(ctx, view.WelfareOverride); err != nil {
			return err
		}
		r, err := recordOf(salts, fields{"override": view.N, "reason": w.Reason, "week": week(now)}, fields{"day": w.Day, "by": actor.AccountID, "at": at(now)})
		if err != nil {
			return err
		}
		return appendOrganisers(ctx, tx, id, trial.LedgerOverride, r)
	})
	if err != nil {
		return OverrideView{}, err
	}
	return view, nil
}

// WelfareOverrides lists a trial's overrides.
func (s *Service) WelfareOverrides(ctx context.Context, actor trial.Actor, id trial.ID) (views []OverrideView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadTrial); err != nil {
			return err
		}
		list, err := tx.WelfareOverridesOf(ctx, id)
		if err != nil {
			return err
		}
		enrolments, err := tx.EnrolmentsOf(ctx, id)
		if err != nil {
			return err
		}
		names := map[trial.ID]string{}
		for _, e := range enrolments {
			names[e.ID] = e.Pseudonym
		}
		for _, w := range list {
			views = append(views, OverrideView{w, names[w.EnrolmentID]})
		}
		return nil
	})
	return views, err
}
