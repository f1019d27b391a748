package conduct

import (
	"cmp"
	"context"

	"evenrig/service/trial"
)

// DeviationView is a report of what was not as planned.
type DeviationView struct {
	Deviation trial.Deviation
	Created   bool
}

// ReportDeviation saves a report of what was not as planned, in one of the actor's outings.
func (s *Service) ReportDeviation(ctx context.Context, actor trial.Actor, id trial.ID, in trial.Deviation) (view DeviationView, err error) {
	in.TrialID, in.ReceivedAt = id, s.now()
	public := fields{"deviation": in.ID, "outing": in.OutingID, "period": idOrNil(in.PeriodID), "kind": in.Kind, "week": week(in.FromAt)}
	if in.Fly != 0 {
		public["fly"] = in.Fly
	}
	r, err := s.newRecord(
		public,
		fields{"from": at(in.FromAt), "until": atOrNil(in.UntilAt), "water": in.Water, "note": in.Note},
	)
	if err != nil {
		return view, err
	}
	in.SentDigest = r.digest
	err = s.keepFor(ctx, actor, id, in.ID, ofOuting(id, in.OutingID), func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, err := tx.DeviationBy(ctx, id, in.ID)
		replay, err := o.sentBefore(err, stored.EnrolmentID, stored.SentDigest, in.ID, r)
		if err != nil {
			return err
		}
		if replay {
			view.Deviation = stored
			return nil
		}
		if err := in.Check(*o.protocol, in.ReceivedAt); err != nil {
			return err
		}
		if err := s.belongs(ctx, tx, o, in); err != nil {
			return err
		}
		if err := cmp.Or(o.trial.Corrects(), o.takes(in.FromAt)); err != nil {
			return err
		}
		in.EnrolmentID = o.enrolment.ID
		if err := tx.InsertDeviation(ctx, in); err != nil {
			return err
		}
		view = DeviationView{Deviation: in, Created: true}
		_, err = o.append(ctx, tx, trial.LedgerDeviation, in.ID, r)
		return err
	})
	return view, err
}

// belongs checks that the report's outing, and period if any, are the actor's and belong together.
func (s *Service) belongs(ctx context.Context, tx trial.ReadTx, o *own, d trial.Deviation) error {
	outing, err := tx.OutingBy(ctx, d.TrialID, d.OutingID)
	if err := o.names(err, outing.EnrolmentID, "outing"); err != nil {
		return err
	}
	if d.PeriodID.IsZero() {
		return nil
	}
	period, err := tx.PeriodBy(ctx, d.TrialID, d.PeriodID)
	if err := o.names(err, period.EnrolmentID, "period"); err != nil {
		return err
	}
	var f trial.Faults
	if period.OutingID != d.OutingID {
		f.Add("period", "belongs to outing %s; accepted: a period of outing %s", period.OutingID, d.OutingID)
	}
	return f.Err("deviation.invalid", "the report has faults")
}

// Deviation returns one of the actor's reports.
func (s *Service) Deviation(ctx context.Context, actor trial.Actor, id, deviation trial.ID) (d trial.Deviation, err error) {
	err = s.readFor(ctx, actor, id, ofDeviation(id, deviation), func(ctx context.Context, tx trial.ReadTx, o own) error {
		stored, err := tx.DeviationBy(ctx, id, deviation)
		if err := o.mine(err, stored.EnrolmentID, "deviation"); err != nil {
			return err
		}
		d = stored
		return nil
	})
	return d, err
}

// Deviations lists the reports of one of the actor's outings.
func (s *Service) Deviations(ctx context.Context, actor trial.Actor, id, outing trial.ID) (list []trial.Deviation, err error) {
	err = s.readFor(ctx, actor, id, ofOuting(id, outing), func(ctx context.Context, tx trial.ReadTx, o own) error {
		stored, err := tx.OutingBy(ctx, id, outing)
		if err := o.mine(err, stored.EnrolmentID, "outing"); err != nil {
			return err
		}
		list, err = tx.DeviationsOf(ctx, id, outing)
		return err
	})
	return list, err
}
