package conduct

import (
	"cmp"
	"context"
	"strconv"

	"evenrig/service/trial"
)

// PeriodView is a period with the codes of the flies at the two positions, and how far the swap rule has come.
type PeriodView struct {
	Period       trial.Period
	Lower, Upper string
	Swap         trial.SwapState
	Created      bool
}

func (s *Service) viewPeriod(ctx context.Context, tx trial.ReadTx, p trial.Period, o *own) (PeriodView, error) {
	catches, err := tx.CatchesOfPeriod(ctx, p.TrialID, p.ID)
	if err != nil {
		return PeriodView{}, err
	}
	view := PeriodView{Period: p}
	view.Lower, view.Upper = o.protocol.Flies(p.Fished)
	view.Swap = p.Swap(*o.protocol, p.CountSwap(*o.protocol, catches), s.now())
	return view, nil
}

// BeginPeriod saves the beginning of a period: half 1 or 2 of a unit, rigged as drawn unless Fished says otherwise. Half
// 1 opens the unit.
func (s *Service) BeginPeriod(ctx context.Context, actor trial.Actor, id trial.ID, in trial.Period) (view PeriodView, err error) {
	in.TrialID, in.ReceivedAt, in.Version = id, s.now(), 1
	salts := s.salts()
	err = s.keepFor(ctx, actor, id, in.ID, ofOuting(id, in.OutingID), func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, found := tx.PeriodBy(ctx, id, in.ID)
		if found == nil && stored.EnrolmentID != o.enrolment.ID {
			_, err := o.sentBefore(nil, stored.EnrolmentID, stored.SentDigest, in.ID, record{})
			return err
		}
		unit, err := tx.UnitBy(ctx, id, in.UnitID)
		if err := o.names(err, unit.EnrolmentID, "unit"); err != nil {
			return err
		}
		period := in
		period.EnrolmentID, period.Block, period.Drawn = o.enrolment.ID, strconv.Itoa(unit.N), unit.Drawn(in.Half)
		period.Fished = cmp.Or(in.Fished, period.Drawn)
		r, err := periodRecord(salts, period)
		if err != nil {
			return err
		}
		period.SentDigest = r.digest
		replay, err := o.sentBefore(found, stored.EnrolmentID, stored.SentDigest, period.ID, r)
		if err != nil {
			return err
		}
		if replay {
			view, err = s.viewPeriod(ctx, tx, stored, o)
			return err
		}
		if err := s.begin(ctx, tx, o, period, unit); err != nil {
			return err
		}
		if err := tx.InsertPeriod(ctx, period); err != nil {
			return err
		}
		if period.Half == 1 {
			if err := tx.OpenUnit(ctx, id, period.UnitID, period.StartedAt); err != nil {
				return err
			}
		}
		if view, err = s.viewPeriod(ctx, tx, period, o); err != nil {
			return err
		}
		view.Created = true
		_, err = o.append(ctx, tx, trial.LedgerPeriod, period.ID, r)
		return err
	})
	return view, err
}

// begin checks that a period may begin.
func (s *Service) begin(ctx context.Context, tx trial.Tx, o *own, p trial.Period, unit trial.Unit) error {
	outing, err := tx.OutingBy(ctx, p.TrialID, p.OutingID)
	if err := o.names(err, outing.EnrolmentID, "outing"); err != nil {
		return err
	}
	if err := cmp.Or(p.Check(p.ReceivedAt), o.takes(p.StartedAt)); err != nil {
		return err
	}
	if err := s.goBy(ctx, tx, o, outing); err != nil {
		return err
	}
	b := trial.Beginning{Protocol: *o.protocol, Outing: outing, Unit: unit}
	if b.Readings, err = tx.TemperaturesOf(ctx, p.TrialID, o.enrolment.ID); err != nil {
		return err
	}
	if b.Overrides, err = tx.WelfareOverridesOf(ctx, p.TrialID); err != nil {
		return err
	}
	if b.Units, err = tx.UnitsOf(ctx, p.TrialID, o.enrolment.ID); err != nil {
		return err
	}
	if b.OfUnit, err = tx.PeriodsOfUnit(ctx, p.TrialID, p.UnitID); err != nil {
		return err
	}
	if unit.N > 1 {
		if b.OfBefore, err = tx.PeriodsOfUnit(ctx, p.TrialID, b.Units[unit.N-2].ID); err != nil {
			return err
		}
		if b.OutingBefore, err = firstOuting(ctx, tx, b.OfBefore); err != nil {
			return err
		}
	}
	if b.OfOuting, err = tx.PeriodsOf(ctx, p.TrialID, p.OutingID); err != nil {
		return err
	}
	if b.Deviations, err = tx.DeviationsOf(ctx, p.TrialID, p.OutingID); err != nil {
		return err
	}
	if b.FirstOuting, err = firstOuting(ctx, tx, b.OfUnit); err != nil {
		return err
	}
	return p.Begin(b)
}

// periodRecord is what the chain holds of a period; the flies' numbers are in it where they are known.
func periodRecord(salts trial.Parts, p trial.Period) (record, error) {
	public := fields{
		"period": p.ID, "outing": p.OutingID, "unit": p.UnitID, "half": p.Half, "fished": p.Fished, "confirmed": p.Confirmed, "week": week(p.StartedAt),
	}
	if p.TestFly != 0 {
		public["test_fly"] = p.TestFly
	}
	if p.ControlFly != 0 {
		public["control_fly"] = p.ControlFly
	}
	return recordOf(salts, public, fields{"started_at": at(p.StartedAt)})
}

// firstOuting returns the outing of the first of a unit's periods, nil when there is none.
func firstOuting(ctx context.Context, tx trial.ReadTx, ofUnit []trial.Period) (*trial.Outing, error) {
	if len(ofUnit) == 0 {
		return nil, nil
	}
	o, err := tx.OutingBy(ctx, ofUnit[0].TrialID, ofUnit[0].OutingID)
	return &o, err
}

// EndPeriod saves how a period ended.
func (s *Service) EndPeriod(ctx context.Context, actor trial.Actor, id, period trial.ID, end trial.PeriodEnd) (view PeriodView, err error) {
	end.ReceivedAt = s.now()
	r, err := s.newRecord(
		fields{"period": period, "reason": end.Reason},
		fields{"ended_at": at(end.EndedAt), "swap_now_at": atOrNil(end.SwapNowAt)},
	)
	if err != nil {
		return view, err
	}
	end.SentDigest = r.digest
	err = s.keepFor(ctx, actor, id, period, ofPeriod(id, period), func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, err := tx.PeriodBy(ctx, id, period)
		if err := o.mine(err, stored.EnrolmentID, "period"); err != nil {
			return err
		}
		if stored.End != nil {
			if err := sameEnd("period", period, stored.End.SentDigest, r); err != nil {
				return err
			}
			view, err = s.viewPeriod(ctx, tx, stored, o)
			return err
		}
		if err := cmp.Or(end.Check(stored, end.ReceivedAt), o.trial.Corrects()); err != nil {
			return err
		}
		if err := tx.EndPeriod(ctx, id, period, end); err != nil {
			return err
		}
		stored.End = &end
		if view, err = s.viewPeriod(ctx, tx, stored, o); err != nil {
			return err
		}
		view.Created = true
		_, err = o.append(ctx, tx, trial.LedgerPeriodEnd, period, r)
		return err
	})
	return view, err
}

// Period returns one of the actor's periods.
func (s *Service) Period(ctx context.Context, actor trial.Actor, id, period trial.ID) (view PeriodView, err error) {
	err = s.readFor(ctx, actor, id, ofPeriod(id, period), func(ctx context.Context, tx trial.ReadTx, o own) error {
		stored, err := tx.PeriodBy(ctx, id, period)
		if err := o.mine(err, stored.EnrolmentID, "period"); err != nil {
			return err
		}
		view, err = s.viewPeriod(ctx, tx, stored, &o)
		return err
	})
	return view, err
}

// Periods lists the periods of one of the actor's outings.
func (s *Service) Periods(ctx context.Context, actor trial.Actor, id, outing trial.ID) (views []PeriodView, err error) {
	err = s.readFor(ctx, actor, id, ofOuting(id, outing), func(ctx context.Context, tx trial.ReadTx, o own) error {
		stored, err := tx.OutingBy(ctx, id, outing)
		if err := o.mine(err, stored.EnrolmentID, "outing"); err != nil {
			return err
		}
		periods, err := tx.PeriodsOf(ctx, id, outing)
		if err != nil {
			return err
		}
		for _, p := range periods {
			view, err := s.viewPeriod(ctx, tx, p, &o)
			if err != nil {
				return err
			}
			views = append(views, view)
		}
		return nil
	})
	return views, err
}
