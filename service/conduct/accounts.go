package conduct

import (
	"context"
	"time"

	"evenrig/service/trial"
)

// Me is an account with its places in clubs.
type Me struct {
	Account trial.Account
	Clubs   []MyClub
}

// Me returns who the actor is.
func (s *Service) Me(ctx context.Context, actor trial.Actor) (me Me, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if me.Account, err = tx.AccountBy(ctx, actor.AccountID); err != nil {
			return err
		}
		me.Clubs, err = clubsOf(ctx, tx, actor)
		return err
	})
	return me, err
}

// FirstAdmin makes an admin's account and its token and returns the token's secret. Only who can run the program on
// the server can call it.
func (s *Service) FirstAdmin(ctx context.Context, name string) (secret string, err error) {
	if err := trial.CheckName("name", name); err != nil {
		return "", err
	}
	now, account := s.now(), s.newID()
	secret, token := s.newToken(account, "first token")
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if err := tx.InsertAccount(ctx, trial.Account{ID: account, Name: name, Admin: true, CreatedAt: now}); err != nil {
			return err
		}
		return tx.InsertToken(ctx, token)
	})
	return secret, err
}

// newToken makes the token that a person gets on joining: it can do everything and has no end.
func (s *Service) newToken(account trial.ID, name string) (string, trial.Token) {
	secret, hash := s.secret(tokenPrefix)
	return secret, trial.Token{ID: s.newID(), AccountID: account, Name: name, Hash: hash, Scopes: trial.AllScopes, CreatedAt: s.now()}
}

// programsToken makes a token with a name, scopes and an end, a year off unless said otherwise.
func (s *Service) programsToken(want trial.Token, scopes []string, maker trial.Scopes) (string, trial.Token, error) {
	secret, hash := s.secret(tokenPrefix)
	now := s.now()
	t := trial.Token{ID: s.newID(), Name: want.Name, Hash: hash, CreatedAt: now, ExpiresAt: want.ExpiresAt}
	if t.ExpiresAt == nil {
		end := now.Add(trial.TokenLife)
		t.ExpiresAt = &end
	}
	var err error
	t.Scopes, err = trial.CheckNewToken(t, scopes, maker)
	return secret, t, err
}

// Tokens lists the actor's tokens that still let in.
func (s *Service) Tokens(ctx context.Context, actor trial.Actor) (usable []trial.Token, err error) {
	now := s.now()
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.TokensOf(ctx, actor.AccountID)
		usable = nil
		for _, t := range all {
			if t.Usable(now) {
				usable = append(usable, t)
			}
		}
		return err
	})
	return usable, err
}

// CreateToken makes another token of the actor's, with a name, the scopes named (none means all that the actor's own
// credential has) and an end. The secret is returned this once and kept nowhere. A token makes none that outlasts itself.
func (s *Service) CreateToken(ctx context.Context, actor trial.Actor, want trial.Token, scopes []string) (trial.Token, string, error) {
	secret, token, err := s.programsToken(want, scopes, actor.Scopes)
	if err != nil {
		return trial.Token{}, "", err
	}
	token.AccountID = actor.AccountID
	made := trial.Event{ID: s.newID(), AccountID: actor.AccountID, Kind: trial.TokenMade, By: actor.AccountID, At: token.CreatedAt}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		mine, err := tx.TokensOf(ctx, actor.AccountID)
		if err != nil {
			return err
		}
		usable := 0
		for _, t := range mine {
			if t.ID == actor.TokenID && t.ExpiresAt != nil && token.ExpiresAt.After(*t.ExpiresAt) {
				token.ExpiresAt = t.ExpiresAt
			}
			if t.Usable(token.CreatedAt) {
				usable++
			}
		}
		if usable >= tokensMost {
			return trial.Fail(trial.Conflict, "token.many", "you have %d tokens; revoke one that is no longer used", usable)
		}
		if err := tx.InsertToken(ctx, token); err != nil {
			return err
		}
		return tx.InsertEvent(ctx, made)
	})
	return token, secret, err
}

// tokensMost is how many usable tokens an account has at most.
const tokensMost = 50

// RevokeToken ends one of the actor's tokens.
func (s *Service) RevokeToken(ctx context.Context, actor trial.Actor, token trial.ID) error {
	now := s.now()
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		return tx.RevokeToken(ctx, actor.AccountID, token, now)
	})
}

// Events lists what happened to the actor's account, the newest first.
func (s *Service) Events(ctx context.Context, actor trial.Actor) (list []trial.Event, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		list, err = tx.EventsOf(ctx, actor.AccountID)
		return err
	})
	return list, err
}

// NewSignIn is what an account signs in with from now on: an e-mail address, a password, or both. Current is the password
// that holds now, where there is one. EndOthers ends every session and token but the one that asks.
type NewSignIn struct {
	Email, Password *string
	Current         string
	EndOthers       bool
}

// SetSignIn changes what the actor signs in with. Reset links that are under way end.
func (s *Service) SetSignIn(ctx context.Context, actor trial.Actor, n NewSignIn) (account trial.Account, err error) {
	var old string
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if account, err = tx.AccountBy(ctx, actor.AccountID); err != nil {
			return err
		}
		old, err = tx.PasswordOf(ctx, actor.AccountID)
		return err
	})
	if err != nil {
		return account, err
	}
	if old != "" {
		same, err := s.hasher.matches(ctx, n.Current, old)
		if err != nil {
			return account, err
		}
		if !same {
			return account, trial.Fail(trial.Forbidden, "password.wrong", "current_password is not the password that holds now")
		}
	}
	save, err := s.signIn(ctx, account, actor.AccountID, old, n.Email, n.Password)
	if err != nil {
		return account, err
	}
	now := s.now()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if account, err = save(ctx, tx); err != nil {
			return err
		}
		if n.EndOthers {
			return endAll(ctx, tx, actor.AccountID, actor, now)
		}
		return nil
	})
	return account, err
}

// signIn checks an account's new e-mail address and password, hashes the password, and returns what saves them.
func (s *Service) signIn(ctx context.Context, a trial.Account, by trial.ID, old string, email, password *string) (func(context.Context, trial.Tx) (trial.Account, error), error) {
	var f trial.Faults
	if email != nil {
		a.Email = trial.Email(*email)
		trial.CheckEmail(&f, "email", a.Email)
	}
	if password != nil {
		trial.CheckPassword(&f, "password", *password, a)
	}
	if email == nil && password == nil {
		f.Add("password", "is missing, and so is email; accepted: one of the two, or both")
	}
	if err := f.Err("sign_in.invalid", "what you want to sign in with has faults"); err != nil {
		return nil, err
	}
	var hash string
	if password != nil {
		var err error
		if hash, err = s.hasher.hash(ctx, *password); err != nil {
			return nil, err
		}
	}
	now := s.now()
	emailSet := trial.Event{ID: s.newID(), AccountID: a.ID, Kind: trial.EmailSet, By: by, At: now}
	passwordSet := trial.Event{ID: s.newID(), AccountID: a.ID, Kind: trial.PasswordSet, By: by, At: now}
	return func(ctx context.Context, tx trial.Tx) (trial.Account, error) {
		if email != nil {
			if err := tx.SetEmail(ctx, a.ID, a.Email); err != nil {
				return a, err
			}
			if err := tx.InsertEvent(ctx, emailSet); err != nil {
				return a, err
			}
		}
		if password != nil {
			if err := tx.SetPassword(ctx, a.ID, old, hash); err != nil {
				return a, err
			}
			if err := tx.InsertEvent(ctx, passwordSet); err != nil {
				return a, err
			}
		}
		return a, tx.EndLinks(ctx, a.ID)
	}, nil
}

// endAll ends an account's sessions and tokens, but the one that the actor came with.
func endAll(ctx context.Context, tx trial.Tx, account trial.ID, but trial.Actor, now time.Time) error {
	if err := tx.EndSessions(ctx, account, but.SessionID); err != nil {
		return err
	}
	return tx.RevokeTokens(ctx, account, but.TokenID, now)
}
