package conduct

import (
	"cmp"
	"context"

	"evenrig/service/trial"
)

// OutingView is an outing and what its water temperature asks for. PlaceDropped says why nothing was kept of a place that was
// sent.
type OutingView struct {
	Outing       trial.Outing
	Welfare      trial.WelfareState
	PlaceDropped PlaceDropped
	Created      bool
}

func viewOuting(o trial.Outing, p *trial.Protocol) OutingView {
	return OutingView{Outing: o, Welfare: o.Welfare(p.Welfare)}
}

// OpenOuting saves an outing of the actor's, opened before the first cast. It takes what happened while the trial was
// open, whenever it arrives. Its Cell may be any place that holds the angler: what is kept of it is said at settlePlace.
func (s *Service) OpenOuting(ctx context.Context, actor trial.Actor, id trial.ID, in trial.Outing) (view OutingView, err error) {
	in.TrialID, in.ReceivedAt = id, s.now()
	place, salts := in.Cell, s.salts()
	err = s.keepOwn(ctx, actor, id, in.ID, func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, found := tx.OutingBy(ctx, id, in.ID)
		var err error
		var dropped PlaceDropped
		if in.Cell, dropped, err = o.settlePlace(place, stored, found); err != nil {
			return err
		}
		r, err := outingRecord(salts, in)
		if err != nil {
			return err
		}
		in.SentDigest = r.digest
		replay, err := o.sentBefore(found, stored.EnrolmentID, stored.SentDigest, in.ID, r)
		if err != nil {
			return err
		}
		if replay {
			view = viewOuting(stored, o.protocol)
			view.PlaceDropped = dropped
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
		view.PlaceDropped, view.Created = dropped, true
		_, err = o.append(ctx, tx, trial.LedgerOuting, in.ID, r)
		return err
	})
	return view, err
}

// outingRecord is what an angler says of an outing, its place already as coarse as it is kept.
func outingRecord(salts trial.Parts, o trial.Outing) (record, error) {
	public := fields{"outing": o.ID, "started_late": o.StartedLate, "water_temperature": measureOrNil(o.WaterTemperature), "week": week(o.StartedAt)}
	if o.Cell != "" {
		public["cell"] = o.Cell
	}
	return recordOf(salts, public, fields{"water": o.Water, "started_at": at(o.StartedAt), "conditions": o.Conditions, "note": o.Note})
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
