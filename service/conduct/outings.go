package conduct

import (
	"cmp"
	"context"

	"evenrig/service/trial"
)

// OutingView is an outing, the water's temperature as last measured and what it asks for. PlaceDropped says why nothing was kept
// of a place that was sent; Warnings, in the answer to opening alone, what is past its end.
type OutingView struct {
	Outing       trial.Outing
	Water        *trial.Measure
	Welfare      trial.WelfareState
	PlaceDropped PlaceDropped
	Warnings     []trial.Warning
	Created      bool
}

// viewOuting goes by the version of the protocol that the outing's phone carried.
func (s *Service) viewOuting(ctx context.Context, tx trial.ReadTx, o *own, outing trial.Outing) (OutingView, error) {
	views, err := s.viewOutings(ctx, tx, o, []trial.Outing{outing})
	if err != nil {
		return OutingView{}, err
	}
	return views[0], nil
}

func (s *Service) viewOutings(ctx context.Context, tx trial.ReadTx, o *own, list []trial.Outing) ([]OutingView, error) {
	readings, err := tx.TemperaturesOf(ctx, o.trial.ID, o.enrolment.ID)
	if err != nil {
		return nil, err
	}
	views := make([]OutingView, len(list))
	for i, outing := range list {
		p, err := s.rulesAt(ctx, tx, o.trial, outing.ProtocolVersion)
		if err != nil {
			return nil, err
		}
		water := trial.Warmth{Outing: outing, Readings: readings}.Latest()
		views[i] = OutingView{Outing: outing, Water: water, Welfare: p.WelfareIn(water)}
	}
	return views, nil
}

// viewOpened is viewOuting with a word on what is past its end: the season by the version in force, the fish as last counted.
func (s *Service) viewOpened(ctx context.Context, tx trial.ReadTx, o *own, outing trial.Outing) (OutingView, error) {
	view, err := s.viewOuting(ctx, tx, o, outing)
	if err != nil {
		return OutingView{}, err
	}
	p, err := s.rulesOf(ctx, tx, o.trial)
	if err != nil {
		return OutingView{}, err
	}
	analysed, err := tx.AnalysedLately(ctx, o.trial.ID)
	view.Warnings = outing.PastItsEnd(*p, analysed)
	return view, err
}

// goBy makes o go by the version of the protocol that the outing's phone carried.
func (s *Service) goBy(ctx context.Context, tx trial.ReadTx, o *own, outing trial.Outing) (err error) {
	o.protocol, err = s.rulesAt(ctx, tx, o.trial, outing.ProtocolVersion)
	return err
}

// OpenOuting saves an outing of the actor's, opened before the first cast. It takes what happened while the trial was
// open, whenever it arrives. Its Cell may be any place that holds the angler: what is kept of it is said at settlePlace.
func (s *Service) OpenOuting(ctx context.Context, actor trial.Actor, id trial.ID, in trial.Outing) (view OutingView, err error) {
	in.TrialID, in.ReceivedAt = id, s.now()
	place, carried, salts := in.Cell, in.ProtocolVersion, s.salts()
	err = s.keepFor(ctx, actor, id, in.ID, ofOuting(id, in.ID), func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, found := tx.OutingBy(ctx, id, in.ID)
		var err error
		if found == nil && stored.EnrolmentID == o.enrolment.ID {
			if err := s.goBy(ctx, tx, o, stored); err != nil {
				return err
			}
		}
		var dropped PlaceDropped
		if in.Cell, dropped, err = o.settlePlace(place, stored, found); err != nil {
			return err
		}
		r, err := outingRecord(salts, in, carried)
		if err != nil {
			return err
		}
		in.SentDigest = r.digest
		replay, err := o.sentBefore(found, stored.EnrolmentID, stored.SentDigest, in.ID, r)
		if err != nil {
			return err
		}
		if replay {
			view, err = s.viewOpened(ctx, tx, o, stored)
			view.PlaceDropped = dropped
			return err
		}
		if err := in.Check(*o.protocol, in.ReceivedAt); err != nil {
			return err
		}
		if err := o.takes(in.StartedAt); err != nil {
			return err
		}
		if in.ProtocolVersion, err = o.trial.VersionSent(carried); err != nil {
			return err
		}
		in.EnrolmentID, in.Version = o.enrolment.ID, 1
		if err := tx.InsertOuting(ctx, in); err != nil {
			return err
		}
		if view, err = s.viewOpened(ctx, tx, o, in); err != nil {
			return err
		}
		view.PlaceDropped, view.Created = dropped, true
		_, err = o.append(ctx, tx, trial.LedgerOuting, in.ID, r)
		return err
	})
	return view, err
}

// outingRecord is what an angler says of an outing, its place already as coarse as it is kept; carried is the version of the
// protocol that the phone says it carried, 0 if it does not say.
func outingRecord(salts trial.Parts, o trial.Outing, carried int) (record, error) {
	public := fields{"outing": o.ID, "started_late": o.StartedLate, "water_temperature": measureOrNil(o.WaterTemperature), "week": week(o.StartedAt)}
	if o.Cell != "" {
		public["cell"] = o.Cell
	}
	if carried != 0 {
		public["protocol_version"] = carried
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
	err = s.keepFor(ctx, actor, id, outing, ofOuting(id, outing), func(ctx context.Context, tx trial.Tx, o *own) error {
		stored, err := tx.OutingBy(ctx, id, outing)
		if err := o.mine(err, stored.EnrolmentID, "outing"); err != nil {
			return err
		}
		if stored.End != nil {
			if err := sameEnd("outing", outing, stored.End.SentDigest, r); err != nil {
				return err
			}
			view, err = s.viewOuting(ctx, tx, o, stored)
			return err
		}
		if err := cmp.Or(end.Check(stored, end.ReceivedAt), o.trial.Corrects()); err != nil {
			return err
		}
		if err := tx.EndOuting(ctx, id, outing, end); err != nil {
			return err
		}
		stored.End = &end
		if view, err = s.viewOuting(ctx, tx, o, stored); err != nil {
			return err
		}
		view.Created = true
		_, err = o.append(ctx, tx, trial.LedgerOutingEnd, outing, r)
		return err
	})
	return view, err
}

// Outing returns one of the actor's outings.
func (s *Service) Outing(ctx context.Context, actor trial.Actor, id, outing trial.ID) (view OutingView, err error) {
	err = s.readFor(ctx, actor, id, ofOuting(id, outing), func(ctx context.Context, tx trial.ReadTx, o own) error {
		stored, err := tx.OutingBy(ctx, id, outing)
		if err := o.mine(err, stored.EnrolmentID, "outing"); err != nil {
			return err
		}
		view, err = s.viewOuting(ctx, tx, &o, stored)
		return err
	})
	return view, err
}

// Outings lists the actor's outings.
func (s *Service) Outings(ctx context.Context, actor trial.Actor, id trial.ID, page trial.Page) (views []OutingView, err error) {
	err = s.readFor(ctx, actor, id, nil, func(ctx context.Context, tx trial.ReadTx, o own) error {
		list, err := tx.OutingsOf(ctx, id, o.enrolment.ID, page)
		if err != nil {
			return err
		}
		views, err = s.viewOutings(ctx, tx, &o, list)
		return err
	})
	return views, err
}
