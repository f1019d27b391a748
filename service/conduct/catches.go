package conduct

import (
	"context"

	"evenrig/service/trial"
)

// CatchView is a catch with what follows from its period: what it took and where, in which arrangement, and why it is
// not analysed, if so. NotedBy is trial.ByAngler or trial.ByHelper: who a helper was is kept from the answer. An answer to a catch just sent has a Receipt instead of what follows, which costs a read, and says how
// far the swap rule has come in its period.
type CatchView struct {
	Catch       trial.Catch
	NotedBy     string
	Arrangement trial.Arrangement
	Taken       trial.Taken
	Position    trial.Position
	Excluded    trial.Exclusion
	Receipt     *trial.Receipt
	Swap        *trial.SwapState
	Created     bool
}

// SubmitCatch saves a catch of the actor's and returns it once it is on disk. The same catch sent again, also after a
// correction or after closing, returns its current state.
func (s *Service) SubmitCatch(ctx context.Context, actor trial.Actor, id trial.ID, in trial.Catch) (CatchView, error) {
	protocol, ownOnly, err := s.intake(ctx, actor, id)
	if err != nil {
		return CatchView{}, err
	}
	submission, err := s.submission(actor, id, protocol, ownOnly, in)
	if err != nil {
		return CatchView{}, err
	}
	submission.Swap = true
	select {
	case o := <-s.writer.submit(ctx, submission):
		if o.Err != nil {
			return CatchView{}, o.Err
		}
		return CatchView{Catch: o.Catch, NotedBy: o.NotedBy, Receipt: &o.Receipt, Swap: o.Swap, Created: o.Created}, nil
	case <-ctx.Done():
		return CatchView{}, ctx.Err()
	}
}

// BatchOutcome says what became of one catch of a batch.
type BatchOutcome struct {
	View CatchView
	Err  error
}

// SubmitBatch saves the catches that can be saved and says of each what became of it, in the order given: one bad catch
// never spoils the rest.
func (s *Service) SubmitBatch(ctx context.Context, actor trial.Actor, id trial.ID, batch []trial.Catch) ([]BatchOutcome, error) {
	protocol, ownOnly, err := s.intake(ctx, actor, id)
	if err != nil {
		return nil, err
	}
	outcomes := make([]BatchOutcome, len(batch))
	waiting := make([]<-chan trial.CatchOutcome, len(batch))
	for i, in := range batch {
		submission, err := s.submission(actor, id, protocol, ownOnly, in)
		if err != nil {
			outcomes[i].Err = err
			continue
		}
		waiting[i] = s.writer.submit(ctx, submission)
	}
	for i, w := range waiting {
		if w == nil {
			continue
		}
		o := <-w
		outcomes[i] = BatchOutcome{View: CatchView{Catch: o.Catch, NotedBy: o.NotedBy, Receipt: &o.Receipt, Created: o.Created}, Err: o.Err}
	}
	return outcomes, nil
}

// intake returns the protocol by which a trial's catches are checked, to a member who may keep records in it. Whether
// the trial takes the catch, and whether its period is the actor's or that of an angler who lets him note, is settled under the
// chain's lock; ownOnly says that he may keep nobody's records but his own.
func (s *Service) intake(ctx context.Context, actor trial.Actor, id trial.ID) (p *trial.Protocol, ownOnly bool, err error) {
	now := s.now()
	if p = s.lately(id, actor.AccountID, now); p != nil {
		return p, false, nil
	}
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		member, err := inClub(ctx, tx, actor, t.ClubID, trial.KeepOwnRecords, "trial")
		if err != nil {
			return err
		}
		ownOnly = trial.Permit(trial.NoteForOthers, member.Role) != nil
		p, err = s.rulesOf(ctx, tx, t)
		return err
	})
	if err != nil || ownOnly {
		return p, ownOnly, err
	}
	s.saw(id, actor.AccountID, now)
	return p, false, nil
}

// submission checks a catch and makes it ready for the writer.
func (s *Service) submission(actor trial.Actor, id trial.ID, p *trial.Protocol, ownOnly bool, in trial.Catch) (trial.CatchSubmission, error) {
	in.TrialID, in.NotedBy, in.ReceivedAt = id, actor.AccountID, s.now()
	if err := in.Check(*p, in.ReceivedAt); err != nil {
		return trial.CatchSubmission{}, err
	}
	public, private := catchFields(in)
	r, err := s.newRecord(public, private)
	in.SentDigest = r.digest
	return trial.CatchSubmission{Account: actor.AccountID, OwnOnly: ownOnly, Protocol: p, Catch: in, Parts: r.parts}, err
}

// catchFields splits what an angler says of a catch into what a published table shows and the rest.
func catchFields(c trial.Catch) (public, private fields) {
	public = fields{
		"catch": c.ID, "period": c.PeriodID, "taken_pattern": c.TakenPattern, "taken_position": string(c.TakenPosition), "outcome": string(c.Outcome),
		"foul_hooked": c.FoulHooked, "rig_intact": c.RigIntact, "double": idOrNil(c.DoubleID), "species": c.Species, "origin": string(c.Origin),
		"length_cm": wholeCM(c.Length), "week": week(c.CaughtAt),
	}
	if c.Welfare != "" {
		public["welfare"] = trial.WelfareSigns(c.Welfare)
	}
	private = fields{"caught_at": at(c.CaughtAt), "noted_at": at(c.NotedAt), "length": measureOrNil(c.Length), "note": c.Note}
	return public, private
}

// Catch returns one of the actor's catches.
func (s *Service) Catch(ctx context.Context, actor trial.Actor, id, catch trial.ID) (view CatchView, err error) {
	err = s.readFor(ctx, actor, id, ofCatch(id, catch), func(ctx context.Context, tx trial.ReadTx, o own) error {
		c, err := tx.CatchBy(ctx, id, catch)
		if err := o.typed(err, c); err != nil {
			return err
		}
		views, err := viewCatches(ctx, tx, o, []trial.Catch{c})
		if err != nil {
			return err
		}
		view = views[0]
		return nil
	})
	return view, err
}

// Catches lists the actor's own catches, without totals; of another angler's those that the actor typed.
func (s *Service) Catches(ctx context.Context, actor trial.Actor, id trial.ID, page trial.Page) (views []CatchView, err error) {
	err = s.readFor(ctx, actor, id, nil, func(ctx context.Context, tx trial.ReadTx, o own) error {
		list, err := o.catches(ctx, tx, page)
		if err != nil {
			return err
		}
		views, err = viewCatches(ctx, tx, o, list)
		return err
	})
	return views, err
}

// viewCatches derives what follows from the catches' periods, units and reports, each read once.
func viewCatches(ctx context.Context, tx trial.ReadTx, o own, list []trial.Catch) ([]CatchView, error) {
	periods := map[trial.ID]trial.Period{}
	outings := map[trial.ID]trial.Outing{}
	units := map[trial.ID]trial.Unit{}
	deviations := map[trial.ID][]trial.Deviation{}
	views := make([]CatchView, len(list))
	for i, c := range list {
		period, known := periods[c.PeriodID]
		if !known {
			var err error
			if period, err = tx.PeriodBy(ctx, o.trial.ID, c.PeriodID); err != nil {
				return nil, err
			}
			if units[period.UnitID], err = tx.UnitBy(ctx, o.trial.ID, period.UnitID); err != nil {
				return nil, err
			}
			outing, err := tx.OutingBy(ctx, o.trial.ID, period.OutingID)
			if err != nil {
				return nil, err
			}
			outings[period.OutingID] = outing
			period = period.EndedWith(outing)
			if deviations[period.OutingID], err = tx.DeviationsOf(ctx, o.trial.ID, period.OutingID); err != nil {
				return nil, err
			}
			periods[c.PeriodID] = period
		}
		reports := deviations[period.OutingID]
		c = c.In(outings[period.OutingID])
		v := CatchView{Catch: c, NotedBy: trial.KeptBy(o.enrolment.AccountID, c.NotedBy), Arrangement: period.ArrangementAt(c.CaughtAt, reports)}
		v.Taken, v.Position = c.TakenIn(*o.protocol, v.Arrangement)
		v.Excluded = c.Excluded(*o.protocol, period, units[period.UnitID], reports)
		views[i] = v
	}
	return views, nil
}
