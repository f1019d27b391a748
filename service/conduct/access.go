package conduct

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"evenrig/service/trial"
)

// The prefixes say what a secret is good for, so that a leaked one can be recognised, and none passes for another.
const (
	tokenPrefix   = "rig_"
	sessionPrefix = "ses_"
	joinPrefix    = "join_"
	resetPrefix   = "reset_"
	firstPrefix   = "first_"
)

// secret makes a secret of 32 random bytes in base 64, and the hash that is kept of it.
func (s *Service) secret(prefix string) (string, trial.Digest) {
	b := s.bytes32()
	text := prefix + base64.RawURLEncoding.EncodeToString(b[:])
	return text, hashOf(text)
}

func hashOf(secret string) trial.Digest { return sha256.Sum256([]byte(secret)) }

// Authenticate returns whose token the secret is, and notes now and then that it was used.
func (s *Service) Authenticate(ctx context.Context, secret string) (trial.Actor, error) {
	refused := trial.Fail(trial.Unauthenticated, "token.invalid", "the token is unknown, was revoked or has expired; send Authorization: Bearer and a token that is yours")
	if !strings.HasPrefix(secret, tokenPrefix) {
		return trial.Actor{}, refused
	}
	var token trial.Token
	var account trial.Account
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		token, account, err = tx.TokenByHash(ctx, hashOf(secret))
		return err
	})
	now := s.now()
	if trial.KindOf(err) == trial.NotFound || err == nil && !token.Usable(now) {
		return trial.Actor{}, refused
	}
	if err != nil {
		return trial.Actor{}, err
	}
	if token.LastUsedAt == nil || now.Sub(*token.LastUsedAt) >= trial.UseNoted {
		s.noteUse(ctx, func(ctx context.Context, tx trial.Tx) error { return tx.TokenUsed(ctx, token.ID, now) })
	}
	return trial.Actor{AccountID: account.ID, Admin: account.Admin, Scopes: token.Scopes, TokenID: token.ID}, nil
}

// AuthenticateSession returns whose session the secret of a cookie is, and notes now and then that it was used.
func (s *Service) AuthenticateSession(ctx context.Context, secret string) (trial.Actor, error) {
	refused := trial.Fail(trial.Unauthenticated, "session.ended", "the session has ended; sign in again: what you noted meanwhile is kept on your phone and can be sent then")
	if !strings.HasPrefix(secret, sessionPrefix) {
		return trial.Actor{}, refused
	}
	var session trial.Session
	var account trial.Account
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		session, account, err = tx.SessionByHash(ctx, hashOf(secret))
		return err
	})
	now := s.now()
	if trial.KindOf(err) == trial.NotFound || err == nil && !now.Before(session.ExpiresAt()) {
		return trial.Actor{}, refused
	}
	if err != nil {
		return trial.Actor{}, err
	}
	if now.Sub(session.UsedAt) >= trial.UseNoted {
		s.noteUse(ctx, func(ctx context.Context, tx trial.Tx) error { return tx.SessionUsed(ctx, session.ID, now) })
	}
	return trial.Actor{AccountID: account.ID, Admin: account.Admin, Scopes: trial.AllScopes, SessionID: session.ID}, nil
}

// noteUse writes in a transaction of its own, so that no record waits for it or fails with it. What it does not manage to
// write is written an hour later.
func (s *Service) noteUse(ctx context.Context, do func(context.Context, trial.Tx) error) {
	_ = s.store.InTx(ctx, do) //nolint:errcheck // as said above
}

// inClub returns the actor's membership when it permits op in the club. Who is no member gets the same answer as for a
// club that does not exist.
func inClub(ctx context.Context, tx trial.ReadTx, actor trial.Actor, club trial.ID, op trial.Operation, what string) (trial.Membership, error) {
	m, err := tx.MembershipBy(ctx, club, actor.AccountID)
	if trial.KindOf(err) == trial.NotFound {
		return m, trial.Missing(what)
	}
	if err != nil {
		return m, err
	}
	err = trial.Permit(op, m.Role)
	if err != nil && m.Role == trial.Former {
		return trial.Membership{}, trial.Missing(what)
	}
	return m, err
}

// inTrial returns the trial when the actor's role in its club permits op.
func inTrial(ctx context.Context, tx trial.ReadTx, actor trial.Actor, id trial.ID, op trial.Operation) (trial.Trial, error) {
	t, err := tx.TrialBy(ctx, id)
	if err != nil {
		return trial.Trial{}, err
	}
	if _, err := inClub(ctx, tx, actor, t.ClubID, op, "trial"); err != nil {
		return trial.Trial{}, err
	}
	return t, nil
}
