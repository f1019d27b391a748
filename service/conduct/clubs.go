package conduct

import (
	"cmp"
	"context"

	"evenrig/service/trial"
)

// MyClub is a club and the actor's role in it.
type MyClub struct {
	Club trial.Club
	Role trial.Role
}

// Clubs lists the clubs that the actor is a member of.
func (s *Service) Clubs(ctx context.Context, actor trial.Actor) (clubs []MyClub, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		clubs, err = clubsOf(ctx, tx, actor)
		return err
	})
	return clubs, err
}

func clubsOf(ctx context.Context, tx trial.ReadTx, actor trial.Actor) ([]MyClub, error) {
	clubs, err := tx.ClubsOf(ctx, actor.AccountID)
	if err != nil {
		return nil, err
	}
	mine := make([]MyClub, len(clubs))
	for i, c := range clubs {
		m, err := tx.MembershipBy(ctx, c.ID, actor.AccountID)
		if err != nil {
			return nil, err
		}
		mine[i] = MyClub{Club: c, Role: m.Role}
	}
	return mine, nil
}

// CreateClub founds a club with the actor, a server's admin, as its first organiser.
func (s *Service) CreateClub(ctx context.Context, actor trial.Actor, name string) (trial.Club, error) {
	if !actor.Admin {
		return trial.Club{}, trial.Fail(trial.Forbidden, "forbidden", "only a server's admin founds clubs")
	}
	if err := trial.CheckName("name", name); err != nil {
		return trial.Club{}, err
	}
	club := trial.Club{ID: s.newID(), Name: name, CreatedAt: s.now()}
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if err := tx.InsertClub(ctx, club); err != nil {
			return err
		}
		return tx.InsertMembership(ctx, trial.Membership{ClubID: club.ID, AccountID: actor.AccountID, Role: trial.Organiser, JoinedAt: club.CreatedAt})
	})
	return club, err
}

// Club returns a club of the actor's.
func (s *Service) Club(ctx context.Context, actor trial.Actor, id trial.ID) (club MyClub, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		m, err := inClub(ctx, tx, actor, id, trial.ReadClub, "club")
		if err != nil {
			return err
		}
		club.Role = m.Role
		club.Club, err = tx.ClubBy(ctx, id)
		return err
	})
	return club, err
}

// Members lists a club's members.
func (s *Service) Members(ctx context.Context, actor trial.Actor, club trial.ID, page trial.Page) (members []trial.Membership, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.ReadClub, "club"); err != nil {
			return err
		}
		members, err = tx.MembersOf(ctx, club, page)
		return err
	})
	return members, err
}

// Invite makes an invitation to a club, for the person with the name or, when that is empty, for whoever gets it. The
// secret is returned this once.
func (s *Service) Invite(ctx context.Context, actor trial.Actor, club trial.ID, role trial.Role, uses int, name string) (trial.Invitation, string, error) {
	secret, hash := s.secret(joinPrefix)
	now := s.now()
	inv := trial.Invitation{
		ID: s.newID(), ClubID: club, Role: role, Name: name, Hash: hash, Uses: uses,
		CreatedBy: actor.AccountID, CreatedAt: now, ExpiresAt: now.Add(trial.InvitationLife),
	}
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.InviteMembers, "club"); err != nil {
			return err
		}
		if err := trial.CheckInvitation(role, uses, name); err != nil {
			return err
		}
		return tx.InsertInvitation(ctx, inv)
	})
	if err != nil {
		return trial.Invitation{}, "", err
	}
	return inv, secret, nil
}

// Invitations lists a club's invitations.
func (s *Service) Invitations(ctx context.Context, actor trial.Actor, club trial.ID) (list []trial.Invitation, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.InviteMembers, "club"); err != nil {
			return err
		}
		list, err = tx.InvitationsOf(ctx, club)
		return err
	})
	return list, err
}

// RevokeInvitation ends an invitation.
func (s *Service) RevokeInvitation(ctx context.Context, actor trial.Actor, club, invitation trial.ID) error {
	now := s.now()
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.InviteMembers, "club"); err != nil {
			return err
		}
		return tx.RevokeInvitation(ctx, club, invitation, now)
	})
}

// Joined is what accepting an invitation gave: a new account's token, or its session where that was wanted, and nothing of
// the two when an existing account joined.
type Joined struct {
	SignedIn
	Club trial.Club
	Role trial.Role
}

// AcceptInvitation joins a club. Without an actor it makes an account with the given name, or the one that the invitation
// names when that is empty, and returns its token, or a session if one is wanted; with one, that account becomes a member.
func (s *Service) AcceptInvitation(ctx context.Context, actor *trial.Actor, secret, name string, session bool) (Joined, error) {
	account := trial.Account{ID: s.newID(), CreatedAt: s.now()}
	var issue issueFunc
	switch {
	case actor != nil:
	case session:
		var err error
		if issue, err = s.issue(Wanted{}); err != nil {
			return Joined{}, err
		}
	default:
		secret, token := s.newToken(account.ID, "first token")
		issue = func(ctx context.Context, tx trial.Tx, a trial.Account) (SignedIn, error) {
			return SignedIn{Account: a, Secret: secret, Token: &token}, tx.InsertToken(ctx, token)
		}
	}
	var joined Joined
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		joined = Joined{}
		inv, err := tx.UseInvitation(ctx, hashOf(secret))
		if trial.KindOf(err) == trial.NotFound {
			return trial.Missing("invitation (it may have been used up, revoked or be older than 14 days)")
		}
		if err != nil {
			return err
		}
		if err := inv.Usable(account.CreatedAt); err != nil {
			return err
		}
		if actor != nil {
			joined.Account.ID = actor.AccountID
		} else {
			account.Name = cmp.Or(name, inv.Name)
			if err := trial.CheckName("name", account.Name); err != nil {
				return err
			}
			if err := tx.InsertAccount(ctx, account); err != nil {
				return err
			}
			if joined.SignedIn, err = issue(ctx, tx, account); err != nil {
				return err
			}
		}
		joined.Role = inv.Role
		if joined.Club, err = tx.ClubBy(ctx, inv.ClubID); err != nil {
			return err
		}
		return tx.InsertMembership(ctx, trial.Membership{ClubID: inv.ClubID, AccountID: joined.Account.ID, Role: inv.Role, JoinedAt: account.CreatedAt})
	})
	if err != nil {
		return Joined{}, err
	}
	return joined, nil
}
