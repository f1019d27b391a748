package conduct

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"evenrig/service/trial"
)

// tokenPrefix marks a secret as a token of this program, so that a leaked one can be recognised.
const tokenPrefix = "rig_"

// secret makes a secret of 32 random bytes in base 64, and the hash that is kept of it.
func (s *Service) secret(prefix string) (string, trial.Digest) {
	b := s.bytes32()
	text := prefix + base64.RawURLEncoding.EncodeToString(b[:])
	return text, hashOf(text)
}

func hashOf(secret string) trial.Digest { return sha256.Sum256([]byte(secret)) }

// Authenticate returns whose token the secret is.
func (s *Service) Authenticate(ctx context.Context, secret string) (trial.Actor, error) {
	refused := trial.Fail(trial.Unauthenticated, "token.invalid", "the token is unknown or was revoked; send Authorization: Bearer and a token that is yours")
	if !strings.HasPrefix(secret, tokenPrefix) {
		return trial.Actor{}, refused
	}
	var actor trial.Actor
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		_, account, err := tx.TokenByHash(ctx, hashOf(secret))
		actor = trial.Actor{AccountID: account.ID, Admin: account.Admin}
		return err
	})
	if trial.KindOf(err) == trial.NotFound {
		return trial.Actor{}, refused
	}
	return actor, err
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
	return m, trial.Permit(op, m.Role)
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
