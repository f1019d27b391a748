package conduct

import (
	"context"

	"evenrig/service/trial"
)

// MakeReset hands out a reset link for an account, named by its id or by its e-mail address: a server's admin may. The
// secret is returned this once; links handed out before end. The account's holder reads of it in the account's events.
func (s *Service) MakeReset(ctx context.Context, actor trial.Actor, account trial.ID, email string) (trial.Link, string, error) {
	if !actor.Admin {
		return trial.Link{}, "", trial.Fail(trial.Forbidden, "forbidden", "only a server's admin hands out reset links for any account; a club's organiser does for an angler of that club alone")
	}
	if account.IsZero() == (email == "") {
		var f trial.Faults
		f.Add("account", "and email are both given or both missing; accepted: one of the two")
		return trial.Link{}, "", f.Err("sign_in.invalid", "whose link is wanted has a fault")
	}
	return s.makeReset(ctx, trial.Link{MadeBy: actor.AccountID}, func(ctx context.Context, tx trial.Tx) (a trial.Account, err error) {
		if email != "" {
			return tx.AccountByEmail(ctx, trial.Email(email))
		}
		return tx.AccountBy(ctx, account)
	})
}

// MakeMemberReset hands out a reset link for a plain angler of the actor's club and of no other.
func (s *Service) MakeMemberReset(ctx context.Context, actor trial.Actor, club, member trial.ID) (trial.Link, string, error) {
	return s.makeReset(ctx, trial.Link{ClubID: club, MadeBy: actor.AccountID}, func(ctx context.Context, tx trial.Tx) (a trial.Account, err error) {
		if _, err := inClub(ctx, tx, actor, club, trial.ResetMembers, "club"); err != nil {
			return a, err
		}
		m, err := tx.MembershipBy(ctx, club, member)
		if err != nil || m.Role == trial.Former {
			return a, orMissing(err, "member")
		}
		if a, err = tx.AccountBy(ctx, member); err != nil {
			return a, err
		}
		return a, resettable(ctx, tx, club, a)
	})
}

// orMissing returns err when it is another failure than that something is missing.
func orMissing(err error, what string) error {
	if err != nil && trial.KindOf(err) != trial.NotFound {
		return err
	}
	return trial.Missing(what)
}

func resettable(ctx context.Context, tx trial.ReadTx, club trial.ID, a trial.Account) error {
	all, err := tx.MembershipsOf(ctx, a.ID)
	if err != nil {
		return err
	}
	return trial.CanBeResetBy(club, a, all)
}

// makeReset saves a reset link for the account that whose allows.
func (s *Service) makeReset(ctx context.Context, l trial.Link, whose func(context.Context, trial.Tx) (trial.Account, error)) (trial.Link, string, error) {
	secret, hash := s.secret(resetPrefix)
	l.ID, l.Kind, l.Hash, l.MadeAt = s.newID(), trial.LinkReset, hash, s.now()
	l.ExpiresAt = l.MadeAt.Add(trial.LinkLife)
	made := trial.Event{ID: s.newID(), Kind: trial.ResetMade, By: l.MadeBy, ClubID: l.ClubID, At: l.MadeAt}
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		a, err := whose(ctx, tx)
		if err != nil {
			return err
		}
		l.AccountID, made.AccountID = a.ID, a.ID
		if err := tx.EndLinks(ctx, a.ID); err != nil {
			return err
		}
		if err := tx.InsertEvent(ctx, made); err != nil {
			return err
		}
		return tx.InsertLink(ctx, l)
	})
	if err != nil {
		return trial.Link{}, "", err
	}
	return l, secret, nil
}

// errNoLink answers a link that is unknown, used or older than an hour; which of them it is, is not said.
var errNoLink = trial.Missing("link (it may have been used, replaced by another or be older than an hour)")

// Reset is what a reset link's holder wants: a new password, an e-mail address, both, or, for who signs in by a token
// alone, neither.
type Reset struct {
	Secret          string
	Email, Password *string
	Want            Wanted
}

// UseReset uses a reset link up: it sets what is wanted, ends all of the account's sessions and tokens, and signs in.
func (s *Service) UseReset(ctx context.Context, r Reset) (in SignedIn, err error) {
	issue, err := s.issue(r.Want)
	if err != nil {
		return in, err
	}
	now, hash := s.now(), hashOf(r.Secret)
	// Looked at first, without using it, so that a stranger's guess costs no hash and a password with faults no link.
	var account trial.Account
	var old string
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		l, err := tx.LinkByHash(ctx, trial.LinkReset, hash, now)
		if err != nil {
			return err
		}
		if account, err = tx.AccountBy(ctx, l.AccountID); err != nil {
			return err
		}
		old, err = tx.PasswordOf(ctx, account.ID)
		return err
	})
	if trial.KindOf(err) == trial.NotFound {
		return in, errNoLink
	}
	if err != nil {
		return in, err
	}
	save := func(context.Context, trial.Tx) (trial.Account, error) { return account, nil }
	if r.Email != nil || r.Password != nil {
		if save, err = s.signIn(ctx, account, trial.ID{}, old, r.Email, r.Password); err != nil {
			return in, err
		}
	}
	used := trial.Event{ID: s.newID(), AccountID: account.ID, Kind: trial.ResetUsed, At: now}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		l, err := tx.UseLink(ctx, trial.LinkReset, hash, now)
		if trial.KindOf(err) == trial.NotFound {
			return errNoLink
		}
		if err != nil {
			return err
		}
		if err := stillResettable(ctx, tx, l); err != nil {
			return err
		}
		used.By, used.ClubID = l.MadeBy, l.ClubID
		if err := tx.InsertEvent(ctx, used); err != nil {
			return err
		}
		if err := endAll(ctx, tx, l.AccountID, trial.Actor{}, now); err != nil {
			return err
		}
		saved, err := save(ctx, tx)
		if err != nil {
			return err
		}
		in, err = issue(ctx, tx, saved)
		return err
	})
	return in, err
}

// stillResettable refuses an organiser's link for who has become more than a plain angler meanwhile, and the link of who
// is no organiser any more.
func stillResettable(ctx context.Context, tx trial.ReadTx, l trial.Link) error {
	if l.ClubID.IsZero() {
		return nil
	}
	a, err := tx.AccountBy(ctx, l.AccountID)
	if err != nil {
		return err
	}
	maker, err := tx.MembershipBy(ctx, l.ClubID, l.MadeBy)
	if err != nil || trial.Permit(trial.ResetMembers, maker.Role) != nil {
		return errNoLink
	}
	if resettable(ctx, tx, l.ClubID, a) != nil {
		return errNoLink
	}
	return nil
}

// FirstAdminLink returns the secret of a link by which the first admin's account is made, "" when the server knows
// somebody already. Only who runs the program on the server can call it.
func (s *Service) FirstAdminLink(ctx context.Context) (secret string, err error) {
	text, hash := s.secret(firstPrefix)
	now := s.now()
	l := trial.Link{ID: s.newID(), Kind: trial.LinkFirstAdmin, Hash: hash, MadeAt: now, ExpiresAt: now.Add(trial.LinkLife)}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		secret = ""
		any, err := tx.AnyAccount(ctx)
		if err != nil || any {
			return err
		}
		secret = text
		return tx.InsertLink(ctx, l)
	})
	return secret, err
}

// NewAdmin is the first admin of a server, as its link's holder wants to be known and to sign in.
type NewAdmin struct {
	Secret, Name    string
	Email, Password *string
	Want            Wanted
}

// BecomeFirstAdmin uses the link up that the program printed and makes the first admin, while the server knows nobody.
func (s *Service) BecomeFirstAdmin(ctx context.Context, n NewAdmin) (in SignedIn, err error) {
	if err := trial.CheckName("name", n.Name); err != nil {
		return in, err
	}
	issue, err := s.issue(n.Want)
	if err != nil {
		return in, err
	}
	now, hash := s.now(), hashOf(n.Secret)
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		_, err := tx.LinkByHash(ctx, trial.LinkFirstAdmin, hash, now)
		return err
	})
	if trial.KindOf(err) == trial.NotFound {
		return in, errNoLink
	}
	if err != nil {
		return in, err
	}
	account := trial.Account{ID: s.newID(), Name: n.Name, Admin: true, CreatedAt: now}
	save := func(context.Context, trial.Tx) (trial.Account, error) { return account, nil }
	if n.Email != nil || n.Password != nil {
		if save, err = s.signIn(ctx, account, account.ID, "", n.Email, n.Password); err != nil {
			return in, err
		}
	}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		_, err := tx.UseLink(ctx, trial.LinkFirstAdmin, hash, now)
		if trial.KindOf(err) == trial.NotFound {
			return errNoLink
		}
		if err != nil {
			return err
		}
		if any, err := tx.AnyAccount(ctx); err != nil || any {
			return orNoLink(err)
		}
		if err := tx.InsertAccount(ctx, account); err != nil {
			return err
		}
		saved, err := save(ctx, tx)
		if err != nil {
			return err
		}
		in, err = issue(ctx, tx, saved)
		return err
	})
	return in, err
}

func orNoLink(err error) error {
	if err != nil {
		return err
	}
	return errNoLink
}
