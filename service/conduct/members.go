package conduct

import (
	"context"
	"time"

	"evenrig/service/trial"
)

// RemoveMember ends a membership: an organiser removes a member, and anybody leaves himself; the last organiser stays. The
// member's part in the club's running trials ends as if he had withdrawn: his records stay, he can still send what he
// noted before, read his own and have them erased.
func (s *Service) RemoveMember(ctx context.Context, actor trial.Actor, club, member trial.ID) error {
	now := s.now()
	done := trial.Event{ID: s.newID(), AccountID: member, Kind: trial.MemberRemoved, By: actor.AccountID, ClubID: club, At: now}
	if member == actor.AccountID {
		done.Kind = trial.MemberLeft
	}
	withdrawals, err := s.withdrawals(ctx, actor, club, member, now)
	if err != nil {
		return err
	}
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if err := tx.LockClub(ctx, club); err != nil {
			return err
		}
		m, err := removable(ctx, tx, actor, club, member)
		if err != nil {
			return err
		}
		if m.Role == trial.Organiser {
			if err := notLast(ctx, tx, club, member); err != nil {
				return err
			}
		}
		if err := leaveTrials(ctx, tx, club, member, withdrawals, now); err != nil {
			return err
		}
		if err := tx.EndHandovers(ctx, club, member, now); err != nil {
			return err
		}
		if err := tx.EndLinks(ctx, member); err != nil {
			return err
		}
		if err := tx.InsertEvent(ctx, done); err != nil {
			return err
		}
		return tx.SetRole(ctx, club, member, trial.Former)
	})
}

// removable returns the member's membership when the actor may end it.
func removable(ctx context.Context, tx trial.ReadTx, actor trial.Actor, club, member trial.ID) (trial.Membership, error) {
	own, err := inClub(ctx, tx, actor, club, trial.ReadClub, "club")
	if err != nil || member == actor.AccountID {
		return own, err
	}
	if err := trial.Permit(trial.RemoveMembers, own.Role); err != nil {
		return own, err
	}
	m, err := tx.MembershipBy(ctx, club, member)
	if err != nil || m.Role == trial.Former {
		return m, orMissing(err, "member")
	}
	return m, nil
}

// notLast refuses what would leave a club without an organiser. The club is locked.
func notLast(ctx context.Context, tx trial.ReadTx, club, organiser trial.ID) error {
	for page := (trial.Page{Limit: 500}); ; {
		members, err := tx.MembersOf(ctx, club, page)
		if err != nil {
			return err
		}
		for _, m := range members {
			if m.Role == trial.Organiser && m.AccountID != organiser {
				return nil
			}
		}
		if len(members) < page.Limit {
			return trial.Fail(trial.Conflict, "club.last_organiser", "a club has an organiser: hand the role over first, or invite another")
		}
		page.After = members[len(members)-1].AccountID
	}
}

// running reports whether anglers of the trial still take part in it.
func running(t trial.Trial) bool {
	return t.State == trial.Registered || t.State == trial.Open || t.State == trial.Paused || t.State == trial.Closed
}

// withdrawals makes the ledger records of a member's leaving, by enrolment, before the transaction that appends them: no
// random byte is drawn inside one. It asks first whether the actor may, so that nobody else finds out anything.
func (s *Service) withdrawals(ctx context.Context, actor trial.Actor, club, member trial.ID, now time.Time) (map[trial.ID]record, error) {
	var joined []trial.Enrolment
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		if _, err := removable(ctx, tx, actor, club, member); err != nil {
			return err
		}
		joined, err = tx.EnrolmentsIn(ctx, club, member)
		return err
	})
	if err != nil {
		return nil, err
	}
	made := map[trial.ID]record{}
	for _, e := range joined {
		if made[e.ID], err = s.newRecord(fields{"erased": false, "week": week(now)}, fields{"at": at(now)}); err != nil {
			return nil, err
		}
	}
	return made, nil
}

// leaveTrials ends the member's part in the club's running trials. They are locked first, so that he does not join one
// meanwhile, then his chains.
func leaveTrials(ctx context.Context, tx trial.Tx, club, member trial.ID, withdrawals map[trial.ID]record, now time.Time) error {
	open := map[trial.ID]bool{}
	for page := (trial.Page{Limit: 500}); ; {
		trials, err := tx.TrialsOf(ctx, club, page)
		if err != nil {
			return err
		}
		for _, t := range trials {
			if !running(t) {
				continue
			}
			locked, err := tx.LockTrial(ctx, t.ID)
			if err != nil {
				return err
			}
			open[t.ID] = running(locked)
		}
		if len(trials) < page.Limit {
			break
		}
		page.After = trials[len(trials)-1].ID
	}
	joined, err := tx.EnrolmentsIn(ctx, club, member)
	if err != nil {
		return err
	}
	for _, e := range joined {
		if !open[e.TrialID] {
			continue
		}
		r, made := withdrawals[e.ID]
		if !made {
			return trial.Fail(trial.Conflict, "trial.state", "the member joined a trial at this moment; send the same again")
		}
		head, err := tx.LockHead(ctx, e.TrialID, e.ChainID)
		if err != nil {
			return err
		}
		// Read again under the head: he may have left on his own meanwhile.
		if e, err = tx.EnrolmentBy(ctx, e.TrialID, e.ID); err != nil || e.LeftAt != nil {
			if err != nil {
				return err
			}
			continue
		}
		if err := tx.Append(ctx, head.Next(trial.LedgerWithdrawal, e.ID, r.parts), r.parts); err != nil {
			return err
		}
		if err := tx.LeaveEnrolment(ctx, e.TrialID, e.ID, now); err != nil {
			return err
		}
	}
	return nil
}

// ClubEvents lists what was done in a club's name to its members' accounts: reset links, the organiser's role, removals.
func (s *Service) ClubEvents(ctx context.Context, actor trial.Actor, club trial.ID) (list []trial.Event, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.ReadEvents, "club"); err != nil {
			return err
		}
		list, err = tx.EventsOfClub(ctx, club)
		return err
	})
	return list, err
}
