package conduct

import (
	"cmp"
	"context"

	"evenrig/service/trial"
)

// DisputeView is a dispute as a member sees it. Who filed and who decided is told by role alone; the record's id to its angler
// and to who filed; decisions to everybody once both stand, before that to who made one. Facts are nothing that would tell
// which pattern was taken. Mine says that the reader filed it, Own that it is about a record of his, MayDecide that he is asked.
type DisputeView struct {
	Dispute   trial.Dispute
	Facts     trial.DisputeFacts
	Outcome   string
	Mine      bool
	Own       bool
	Decided   bool
	MayDecide bool
	Created   bool
}

// FileDispute says that a fish or an outing of the trial should not count, in a member's words. The same words about the same
// record again change nothing.
func (s *Service) FileDispute(ctx context.Context, actor trial.Actor, id, subject trial.ID, words string) (view DisputeView, err error) {
	d := trial.Dispute{TrialID: id, ID: s.newID(), Subject: subject, Words: words, FiledBy: actor.AccountID, FiledAt: s.now()}
	salts := s.salts()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		t, role, err := inTrialAs(ctx, tx, actor, id, trial.FileDispute)
		if err != nil {
			return err
		}
		if err := d.Check(); err != nil {
			return err
		}
		filed := d
		filed.FiledAs = role
		if filed.Kind, filed.EnrolmentID, err = ownerOf(ctx, tx, id, subject); err != nil {
			return err
		}
		records, head, err := s.disputed(ctx, tx, t, filed)
		if err != nil {
			return err
		}
		stands, err := tx.DisputeAbout(ctx, id, subject)
		switch {
		case err == nil && stands.FiledBy == actor.AccountID && stands.Words == words:
			view, err = s.viewDispute(ctx, tx, t, stands, records, actor)
			return err
		case err == nil:
			return trial.Fail(trial.Conflict, "dispute.exists", "the record is disputed already; a record is disputed once")
		case trial.KindOf(err) != trial.NotFound:
			return err
		}
		if err := tx.InsertDispute(ctx, filed); err != nil {
			return err
		}
		r, err := recordOf(salts, fields{"dispute": filed.ID, "subject": subject, "kind": filed.Kind, "by": role, "week": week(filed.FiledAt)},
			fields{"words": words, "at": at(filed.FiledAt)})
		if err != nil {
			return err
		}
		if err := tx.Append(ctx, head.Next(trial.LedgerDispute, subject, r.parts), r.parts); err != nil {
			return err
		}
		view, err = s.viewDispute(ctx, tx, t, filed, records, actor)
		view.Created = true
		return err
	})
	if err != nil {
		return DisputeView{}, err
	}
	return view, nil
}

// DecideDispute says keep or exclude, with the reason. Once two members have said exclude the record is left out of the
// analysis; else it stays.
func (s *Service) DecideDispute(ctx context.Context, actor trial.Actor, id, dispute trial.ID, made trial.DisputeDecision) (view DisputeView, err error) {
	made.By, made.At = actor.AccountID, s.now()
	salts := s.salts()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		t, role, err := inTrialAs(ctx, tx, actor, id, trial.DecideDispute)
		if err != nil {
			return err
		}
		d, err := tx.DisputeBy(ctx, id, dispute)
		if err != nil {
			return err
		}
		if err := made.Check(); err != nil {
			return err
		}
		records, head, err := s.disputed(ctx, tx, t, d)
		if err != nil {
			return err
		}
		// Read anew under the chain's lock: nobody else decides meanwhile.
		if d, err = tx.DisputeBy(ctx, id, dispute); err != nil {
			return err
		}
		if err := d.Decides(actor.AccountID, records.Involved(d)); err != nil {
			return err
		}
		decision := made
		decision.As, decision.N = role, len(d.Decisions)+1
		if err := tx.InsertDecision(ctx, id, dispute, decision); err != nil {
			return err
		}
		d.Decisions = append(d.Decisions, decision)
		if d.Outcome() == trial.Exclude {
			if err := tx.ExcludeDisputed(ctx, d); err != nil {
				return err
			}
		}
		r, err := recordOf(salts,
			fields{"dispute": d.ID, "subject": d.Subject, "n": decision.N, "decision": decision.Decision, "outcome": d.Outcome(), "by": role, "week": week(decision.At)},
			fields{"reason": decision.Reason, "at": at(decision.At)})
		if err != nil {
			return err
		}
		if err := tx.Append(ctx, head.Next(trial.LedgerDecision, d.Subject, r.parts), r.parts); err != nil {
			return err
		}
		view, err = s.viewDispute(ctx, tx, t, d, records, actor)
		return err
	})
	if err != nil {
		return DisputeView{}, err
	}
	return view, nil
}

// Disputes lists a trial's disputes, oldest first.
func (s *Service) Disputes(ctx context.Context, actor trial.Actor, id trial.ID) (views []DisputeView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, _, err := inTrialAs(ctx, tx, actor, id, trial.ReadDisputes)
		if err != nil {
			return err
		}
		list, err := tx.DisputesOf(ctx, id)
		if err != nil {
			return err
		}
		of := map[trial.ID]trial.Records{}
		for _, d := range list {
			records, known := of[d.EnrolmentID]
			if !known {
				if records, err = tx.RecordsOf(ctx, id, d.EnrolmentID); err != nil {
					return err
				}
				of[d.EnrolmentID] = records
			}
			view, err := s.viewDispute(ctx, tx, t, d, records, actor)
			if err != nil {
				return err
			}
			views = append(views, view)
		}
		return nil
	})
	return views, err
}

// inTrialAs is inTrial with the role in which the actor may do op.
func inTrialAs(ctx context.Context, tx trial.ReadTx, actor trial.Actor, id trial.ID, op trial.Operation) (trial.Trial, trial.Role, error) {
	t, err := tx.TrialBy(ctx, id)
	if err != nil {
		return trial.Trial{}, "", err
	}
	m, err := inClub(ctx, tx, actor, t.ClubID, op, "trial")
	if err != nil {
		return trial.Trial{}, "", err
	}
	return t, m.Role, nil
}

// ownerOf returns what kind of record the id stands for, a catch or an outing, and whose it is.
func ownerOf(ctx context.Context, tx trial.ReadTx, id, subject trial.ID) (kind string, enrolment trial.ID, err error) {
	fish, err := tx.CatchBy(ctx, id, subject)
	if trial.KindOf(err) != trial.NotFound {
		return trial.LedgerCatch, fish.EnrolmentID, err
	}
	outing, err := tx.OutingBy(ctx, id, subject)
	if trial.KindOf(err) == trial.NotFound {
		return "", trial.ID{}, trial.Unknown("subject")
	}
	return trial.LedgerOuting, outing.EnrolmentID, err
}

// disputed takes the chain of a disputed record, looks whether the trial still lets it be disputed, and returns the enrolment's
// records.
func (s *Service) disputed(ctx context.Context, tx trial.Tx, t trial.Trial, d trial.Dispute) (records trial.Records, head trial.Head, err error) {
	enrolment, err := tx.EnrolmentBy(ctx, t.ID, d.EnrolmentID)
	if err != nil {
		return records, head, err
	}
	if head, err = tx.LockHead(ctx, t.ID, enrolment.ChainID); err != nil {
		return records, head, err
	}
	// Locking the trial takes every chain: its state is settled once one is held.
	if t, err = tx.TrialBy(ctx, t.ID); err != nil {
		return records, head, err
	}
	if err := t.Disputes(); err != nil {
		return records, head, err
	}
	records, err = tx.RecordsOf(ctx, t.ID, d.EnrolmentID)
	return records, head, err
}

// viewDispute is what the actor may see of a dispute; records are those of its record's enrolment.
func (s *Service) viewDispute(ctx context.Context, tx trial.ReadTx, t trial.Trial, d trial.Dispute, records trial.Records, actor trial.Actor) (DisputeView, error) {
	p, err := s.rulesOf(ctx, tx, t)
	if err != nil {
		return DisputeView{}, err
	}
	view := DisputeView{Dispute: d, Outcome: d.Outcome(), Mine: d.FiledBy == actor.AccountID, Own: records.Enrolment.AccountID == actor.AccountID}
	view.MayDecide = cmp.Or(t.Disputes(), d.Decides(actor.AccountID, records.Involved(d))) == nil
	for _, c := range records.Catches {
		if c.ID == d.Subject {
			view.Facts = records.FactsOfCatch(*p, c)
		}
	}
	for _, o := range records.Outings {
		if d.Kind == trial.LedgerOuting && o.ID == d.Subject {
			view.Facts = records.FactsOfOuting(*p, o)
		}
	}
	settled := view.Outcome != trial.Undecided
	view.Dispute.Decisions = nil
	for _, made := range d.Decisions {
		mine := made.By == actor.AccountID
		view.Decided = view.Decided || mine
		if made.By = (trial.ID{}); settled || mine {
			view.Dispute.Decisions = append(view.Dispute.Decisions, made)
		}
	}
	view.Dispute.FiledBy, view.Dispute.EnrolmentID = trial.ID{}, trial.ID{}
	if !view.Mine && !view.Own {
		view.Dispute.Subject = trial.ID{}
	}
	return view, nil
}
