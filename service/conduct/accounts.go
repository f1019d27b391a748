package conduct

import (
	"context"

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

func (s *Service) newToken(account trial.ID, name string) (string, trial.Token) {
	secret, hash := s.secret(tokenPrefix)
	return secret, trial.Token{ID: s.newID(), AccountID: account, Name: name, Hash: hash, CreatedAt: s.now()}
}

// Tokens lists the actor's tokens that are not revoked.
func (s *Service) Tokens(ctx context.Context, actor trial.Actor) (tokens []trial.Token, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		tokens, err = tx.TokensOf(ctx, actor.AccountID)
		return err
	})
	return tokens, err
}

// CreateToken makes another token of the actor's. The secret is returned this once and kept nowhere.
func (s *Service) CreateToken(ctx context.Context, actor trial.Actor, name string) (trial.Token, string, error) {
	if err := trial.CheckName("name", name); err != nil {
		return trial.Token{}, "", err
	}
	secret, token := s.newToken(actor.AccountID, name)
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error { return tx.InsertToken(ctx, token) })
	return token, secret, err
}

// RevokeToken ends one of the actor's tokens.
func (s *Service) RevokeToken(ctx context.Context, actor trial.Actor, token trial.ID) error {
	now := s.now()
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		return tx.RevokeToken(ctx, actor.AccountID, token, now)
	})
}
