package conduct

import (
	"context"

	"evenrig/service/report"
	"evenrig/service/trial"
)

// FlyBatchView is a batch as members see it: who looked it over by name, if anybody did.
type FlyBatchView struct {
	Batch       trial.FlyBatch
	InspectedBy string
}

// EnvelopeView is an envelope with where it is; the holder by pseudonym.
type EnvelopeView struct {
	Envelope trial.FlyEnvelope
	State    trial.EnvelopeState
	Holder   string
}

// FlyStockView is a trial's flies: to who keeps or audits them all envelopes, to an angler his own.
type FlyStockView struct {
	Batches   []FlyBatchView
	Envelopes []EnvelopeView
}

// Flies returns a trial's flies, by envelope and never by what fish took.
func (s *Service) Flies(ctx context.Context, actor trial.Actor, id trial.ID) (view FlyStockView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		member, err := inClub(ctx, tx, actor, t.ClubID, trial.ReadOwnFlies, "trial")
		if err != nil {
			return err
		}
		own, err := tx.EnrolmentOf(ctx, id, actor.AccountID)
		if err != nil && trial.KindOf(err) != trial.NotFound {
			return err
		}
		stock, err := tx.FlyStockOf(ctx, id)
		if err != nil {
			return err
		}
		for _, b := range stock.Batches {
			name, err := nameOf(ctx, tx, b.InspectedBy)
			if err != nil {
				return err
			}
			view.Batches = append(view.Batches, FlyBatchView{b, name})
		}
		all := trial.Permit(trial.ReadFlies, member.Role) == nil
		for _, e := range stock.Envelopes {
			is := stock.Of(e)
			if !all && (is.Holder.IsZero() || is.Holder != own.ID) {
				continue
			}
			shown := EnvelopeView{Envelope: e, State: is}
			if !is.Holder.IsZero() {
				holder, err := tx.EnrolmentBy(ctx, id, is.Holder)
				if err != nil {
					return err
				}
				shown.Holder = holder.Pseudonym
			}
			view.Envelopes = append(view.Envelopes, shown)
		}
		return nil
	})
	return view, err
}

// keepFlies runs do in a transaction that holds the trial, so that batches and moves are numbered one after another, and writes
// what it returns into the organiser's chain.
func (s *Service) keepFlies(ctx context.Context, actor trial.Actor, id trial.ID, op trial.Operation, do func(ctx context.Context, tx trial.Tx, stock trial.FlyStock) (public, private fields, err error)) error {
	salts := s.salts()
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, op); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if err := t.KeepsFlies(); err != nil {
			return err
		}
		stock, err := tx.FlyStockOf(ctx, id)
		if err != nil {
			return err
		}
		public, private, err := do(ctx, tx, stock)
		if err != nil {
			return err
		}
		r, err := recordOf(salts, public, private)
		if err != nil {
			return err
		}
		return appendOrganisers(ctx, tx, id, trial.LedgerFlies, r)
	})
}

// AddFlies enters a batch of flies, in so many envelopes with so many flies of each pattern, and draws the envelopes' codes.
func (s *Service) AddFlies(ctx context.Context, actor trial.Actor, id trial.ID, b trial.FlyBatch, envelopes, perPattern int) (FlyStockView, error) {
	now := s.now()
	var random [trial.MostEnvelopes][8]byte
	for i := range random {
		s.fill(random[i][:])
	}
	err := s.keepFlies(ctx, actor, id, trial.KeepFlies, func(ctx context.Context, tx trial.Tx, stock trial.FlyStock) (public, private fields, err error) {
		if err := b.Check(envelopes, perPattern); err != nil {
			return nil, nil, err
		}
		b.TrialID, b.N, b.MadeBy, b.MadeAt = id, len(stock.Batches)+1, actor.AccountID, now
		packed := make([]trial.FlyEnvelope, envelopes)
		for i := range packed {
			packed[i] = trial.FlyEnvelope{TrialID: id, Code: trial.EnvelopeCode(random[i]), Batch: b.N, PerPattern: perPattern}
		}
		public = fields{
			"batch": b.N, "name": b.Batch, "tied_by": b.TiedBy, "hook_lot": b.HookLot, "materials": b.Materials, "envelopes": envelopes, "per_pattern": perPattern, "week": week(now),
		}
		return public, fields{"at": at(now)}, tx.InsertFlyBatch(ctx, b, packed)
	})
	if err != nil {
		return FlyStockView{}, err
	}
	return s.Flies(ctx, actor, id)
}

// InspectFlies signs a batch as looked over, by a member who did not tie it.
func (s *Service) InspectFlies(ctx context.Context, actor trial.Actor, id trial.ID, batch int, notTyer bool, remarks string) error {
	now := s.now()
	return s.keepFlies(ctx, actor, id, trial.InspectFlies, func(ctx context.Context, tx trial.Tx, stock trial.FlyStock) (public, private fields, err error) {
		if batch < 1 || batch > len(stock.Batches) {
			return nil, nil, trial.Missing("batch")
		}
		b := stock.Batches[batch-1]
		if err := b.Inspect(actor.AccountID, notTyer, remarks); err != nil {
			return nil, nil, err
		}
		b.InspectedBy, b.InspectedAt, b.Remarks = actor.AccountID, &now, remarks
		return fields{"batch": batch, "inspected": true, "week": week(now)}, fields{"remarks": remarks, "at": at(now)}, tx.InspectFlyBatch(ctx, b)
	})
}

// MoveFlies notes that an envelope was issued, topped up, returned or lost, now unless the move says when.
func (s *Service) MoveFlies(ctx context.Context, actor trial.Actor, id trial.ID, m trial.FlyMove) (FlyStockView, error) {
	now := s.now()
	if m.At.IsZero() {
		m.At = now
	}
	err := s.keepFlies(ctx, actor, id, trial.KeepFlies, func(ctx context.Context, tx trial.Tx, stock trial.FlyStock) (public, private fields, err error) {
		var envelope *trial.FlyEnvelope
		for i, e := range stock.Envelopes {
			if e.Code == m.Code {
				envelope = &stock.Envelopes[i]
			}
		}
		if envelope == nil {
			return nil, nil, trial.Missing("envelope")
		}
		if err := stock.Next(*envelope, m, now); err != nil {
			return nil, nil, err
		}
		if m.Kind == trial.Issued {
			e, err := tx.EnrolmentBy(ctx, id, m.EnrolmentID)
			if trial.KindOf(err) == trial.NotFound {
				return nil, nil, trial.Unknown("enrolment")
			}
			if err != nil {
				return nil, nil, err
			}
			if err := e.Active(); err != nil {
				return nil, nil, err
			}
		}
		m.TrialID, m.N, m.By = id, len(stock.Moves)+1, actor.AccountID
		public = fields{"envelope": m.Code, "kind": m.Kind, "flies": m.Flies, "week": week(m.At)}
		return public, fields{"enrolment": idOrNil(m.EnrolmentID), "at": at(m.At), "note": m.Note}, tx.InsertFlyMove(ctx, m)
	})
	if err != nil {
		return FlyStockView{}, err
	}
	return s.Flies(ctx, actor, id)
}

// aboutFlies is what a report says of a trial's flies, batch by batch.
func aboutFlies(ctx context.Context, tx trial.ReadTx, id trial.ID) (packs []report.FlyPack, err error) {
	stock, err := tx.FlyStockOf(ctx, id)
	if err != nil {
		return nil, err
	}
	for _, b := range stock.Batches {
		pack := report.FlyPack{Batch: b.Batch, TiedBy: b.TiedBy, Hook: b.HookLot}
		if b.InspectedAt != nil {
			pack.Inspected = "a member who did not tie them"
		}
		for _, e := range stock.Envelopes {
			if e.Batch != b.N {
				continue
			}
			is := stock.Of(e)
			pack.Lost, pack.Retied = pack.Lost+int64(is.Lost), pack.Retied+int64(is.Retied)
			if is.State != "stock" || is.Back > 0 {
				pack.Issued += 2 * int64(is.PerPattern)
			}
		}
		packs = append(packs, pack)
	}
	return packs, nil
}
