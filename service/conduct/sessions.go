package conduct

import (
	"context"

	"evenrig/service/trial"
)

// Wanted says what somebody who proves who he is gets: a session for a browser's cookie, or a token with a name for a
// phone or a program.
type Wanted struct {
	Token     *trial.Token // its name and end; nil for a session
	TokenUses []string     // the token's scopes
}

// SignedIn is a new credential. Secret is its secret, of Session or of Token, whichever is not nil; it is kept nowhere.
type SignedIn struct {
	Account trial.Account
	Secret  string
	Session *trial.Session
	Token   *trial.Token
}

// SignIn returns a credential for the account with the e-mail address and password. An address that nobody has, an account
// without a password and a wrong password answer alike and take as long.
func (s *Service) SignIn(ctx context.Context, email, password string, want Wanted) (SignedIn, error) {
	issue, err := s.issue(want)
	if err != nil {
		return SignedIn{}, err
	}
	var account trial.Account
	var hash string
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if account, err = tx.AccountByEmail(ctx, trial.Email(email)); err != nil {
			return err
		}
		hash, err = tx.PasswordOf(ctx, account.ID)
		return err
	})
	if err != nil && trial.KindOf(err) != trial.NotFound {
		return SignedIn{}, err
	}
	same, err := s.hasher.matches(ctx, password, hash)
	if err != nil {
		return SignedIn{}, err
	}
	if !same {
		return SignedIn{}, trial.Fail(trial.Unauthenticated, "sign_in.refused", "the e-mail address and the password do not belong together; who has forgotten the password asks the club's organiser or the server's admin for a reset link")
	}
	var in SignedIn
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		in, err = issue(ctx, tx, account)
		return err
	})
	return in, err
}

// issueFunc saves a credential that was made before its transaction began, so that no random byte is drawn inside.
type issueFunc func(ctx context.Context, tx trial.Tx, account trial.Account) (SignedIn, error)

// issue makes the credential that is wanted, for whoever it will be.
func (s *Service) issue(want Wanted) (issueFunc, error) {
	now := s.now()
	if want.Token == nil {
		secret, hash := s.secret(sessionPrefix)
		session := trial.Session{ID: s.newID(), Hash: hash, CreatedAt: now, UsedAt: now}
		return func(ctx context.Context, tx trial.Tx, a trial.Account) (SignedIn, error) {
			session.AccountID = a.ID
			if err := endStale(ctx, tx, session); err != nil {
				return SignedIn{}, err
			}
			return SignedIn{Account: a, Secret: secret, Session: &session}, tx.InsertSession(ctx, session)
		}, nil
	}
	secret, token, err := s.programsToken(*want.Token, want.TokenUses, trial.AllScopes)
	made := trial.Event{ID: s.newID(), Kind: trial.TokenMade, At: now}
	return func(ctx context.Context, tx trial.Tx, a trial.Account) (SignedIn, error) {
		token.AccountID, made.AccountID, made.By = a.ID, a.ID, a.ID
		if err := tx.InsertToken(ctx, token); err != nil {
			return SignedIn{}, err
		}
		return SignedIn{Account: a, Secret: secret, Token: &token}, tx.InsertEvent(ctx, made)
	}, err
}

// endStale makes room for a new session: those that have expired go, and of the others all but the ones used last.
func endStale(ctx context.Context, tx trial.Tx, next trial.Session) error {
	list, err := tx.SessionsOf(ctx, next.AccountID)
	if err != nil {
		return err
	}
	for i, old := range list {
		if next.CreatedAt.Before(old.ExpiresAt()) && i < trial.SessionsMost-1 {
			continue
		}
		if err := tx.EndSession(ctx, next.AccountID, old.ID); err != nil && trial.KindOf(err) != trial.NotFound {
			return err
		}
	}
	return nil
}

// Sessions lists the actor's sessions that have not expired, those used last first.
func (s *Service) Sessions(ctx context.Context, actor trial.Actor) (open []trial.Session, err error) {
	now := s.now()
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.SessionsOf(ctx, actor.AccountID)
		open = nil
		for _, one := range all {
			if now.Before(one.ExpiresAt()) {
				open = append(open, one)
			}
		}
		return err
	})
	return open, err
}

// EndSession ends one of the actor's sessions.
func (s *Service) EndSession(ctx context.Context, actor trial.Actor, session trial.ID) error {
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error { return tx.EndSession(ctx, actor.AccountID, session) })
}

// SignOut ends the session or token that the actor came with; everywhere, all of the account's.
func (s *Service) SignOut(ctx context.Context, actor trial.Actor, everywhere bool) error {
	now := s.now()
	done := trial.Event{ID: s.newID(), AccountID: actor.AccountID, Kind: trial.AllSignedOut, By: actor.AccountID, At: now}
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		switch {
		case everywhere:
			if err := endAll(ctx, tx, actor.AccountID, trial.Actor{}, now); err != nil {
				return err
			}
			return tx.InsertEvent(ctx, done)
		case !actor.SessionID.IsZero():
			return tx.EndSession(ctx, actor.AccountID, actor.SessionID)
		default:
			return tx.RevokeToken(ctx, actor.AccountID, actor.TokenID, now)
		}
	})
}

// RotateSession gives the actor's session another secret, for when what it may do has changed: a secret that leaked before
// is then worth nothing. It returns "" for an actor who came with a token.
func (s *Service) RotateSession(ctx context.Context, actor trial.Actor) (string, error) {
	if actor.SessionID.IsZero() {
		return "", nil
	}
	secret, hash := s.secret(sessionPrefix)
	return secret, s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		return tx.RotateSession(ctx, actor.AccountID, actor.SessionID, hash)
	})
}
