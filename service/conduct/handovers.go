package conduct

import (
	"cmp"
	"context"

	"evenrig/service/trial"
)

// Handovers lists the club's offers of the organiser's role that stand.
func (s *Service) Handovers(ctx context.Context, actor trial.Actor, club trial.ID) (standing []trial.Handover, err error) {
	now := s.now()
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.ReadClub, "club"); err != nil {
			return err
		}
		all, err := tx.HandoversOf(ctx, club)
		standing = nil
		for _, h := range all {
			if h.Open(now) == nil {
				standing = append(standing, h)
			}
		}
		return err
	})
	return standing, err
}

// OfferRole offers the actor's role of organiser to a member: the first of two confirmations. An earlier offer of the
// actor's ends.
func (s *Service) OfferRole(ctx context.Context, actor trial.Actor, club, to trial.ID) (trial.Handover, error) {
	now := s.now()
	h := trial.Handover{ID: s.newID(), ClubID: club, From: actor.AccountID, To: to, OfferedAt: now, ExpiresAt: now.Add(trial.HandoverLife)}
	offered := trial.Event{ID: s.newID(), AccountID: to, Kind: trial.RoleOffered, By: actor.AccountID, ClubID: club, At: now}
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if err := tx.LockClub(ctx, club); err != nil {
			return err
		}
		if _, err := inClub(ctx, tx, actor, club, trial.GiveRole, "club"); err != nil {
			return err
		}
		m, err := tx.MembershipBy(ctx, club, to)
		if err != nil || m.Role == trial.Former {
			return orMissing(err, "member")
		}
		if m.Role == trial.Organiser {
			return trial.Fail(trial.Conflict, "handover.organiser", "the member is an organiser already")
		}
		if err := tx.EndHandovers(ctx, club, actor.AccountID, now); err != nil {
			return err
		}
		if err := tx.InsertEvent(ctx, offered); err != nil {
			return err
		}
		return tx.InsertHandover(ctx, h)
	})
	if err != nil {
		return trial.Handover{}, err
	}
	return h, nil
}

// TakeRole takes an offered role: the second confirmation. The actor becomes an organiser and who offered it an angler.
func (s *Service) TakeRole(ctx context.Context, actor trial.Actor, club, handover trial.ID) error {
	now := s.now()
	taken := trial.Event{ID: s.newID(), AccountID: actor.AccountID, Kind: trial.RoleTaken, By: actor.AccountID, ClubID: club, At: now}
	given := trial.Event{ID: s.newID(), Kind: trial.RoleGiven, By: actor.AccountID, ClubID: club, At: now}
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		h, err := s.offer(ctx, tx, actor, club, handover, trial.TakeRole)
		if err != nil {
			return err
		}
		if h.To != actor.AccountID {
			return trial.Fail(trial.Forbidden, "forbidden", "the role was offered to somebody else")
		}
		if err := h.Open(now); err != nil {
			return err
		}
		giver, err := tx.MembershipBy(ctx, club, h.From)
		if err != nil {
			return err
		}
		if giver.Role != trial.Organiser {
			return trial.Fail(trial.Conflict, "handover.ended", "who offered the role is no organiser any more")
		}
		given.AccountID = h.From
		return cmp.Or(
			tx.TakeHandover(ctx, club, handover, now),
			tx.SetRole(ctx, club, actor.AccountID, trial.Organiser),
			tx.SetRole(ctx, club, h.From, trial.Angler),
			tx.EndHandovers(ctx, club, h.From, now),
			tx.EndHandovers(ctx, club, actor.AccountID, now),
			tx.EndLinks(ctx, actor.AccountID), // an organiser's link for a plain angler is none for an organiser
			tx.InsertEvent(ctx, taken),
			tx.InsertEvent(ctx, given),
		)
	})
}

// EndOffer withdraws the actor's offer, or declines one made to him.
func (s *Service) EndOffer(ctx context.Context, actor trial.Actor, club, handover trial.ID) error {
	now := s.now()
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		h, err := s.offer(ctx, tx, actor, club, handover, trial.ReadClub)
		if err != nil {
			return err
		}
		if err := h.Open(now); err != nil {
			return err
		}
		return tx.EndHandover(ctx, club, handover, now)
	})
}

// offer returns an offer that the actor made or was made, with the club locked. Other members' offers are not there for
// him to touch.
func (s *Service) offer(ctx context.Context, tx trial.Tx, actor trial.Actor, club, handover trial.ID, op trial.Operation) (trial.Handover, error) {
	if err := tx.LockClub(ctx, club); err != nil {
		return trial.Handover{}, err
	}
	if _, err := inClub(ctx, tx, actor, club, op, "club"); err != nil {
		return trial.Handover{}, err
	}
	h, err := tx.HandoverBy(ctx, club, handover)
	if err == nil && h.From != actor.AccountID && h.To != actor.AccountID {
		err = trial.Missing("handover")
	}
	return h, err
}
