package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// tokenRow is a token as it stands in its table. One without scopes is older than they are and has them all.
type tokenRow struct {
	trial.Token
	ScopeNames []string
}

func (r tokenRow) record() trial.Token {
	t := r.Token
	t.Scopes = trial.AllScopes
	if r.ScopeNames != nil {
		t.Scopes, _ = trial.ParseScopes(r.ScopeNames) // the table takes no other words
	}
	return t
}

// ownerRow is the account that a token or a session is of.
type ownerRow struct {
	AccountName      string
	AccountEmail     string
	AccountAdmin     bool
	AccountCreatedAt time.Time
}

func (r ownerRow) account(id trial.ID) trial.Account {
	return trial.Account{ID: id, Name: r.AccountName, Email: r.AccountEmail, Admin: r.AccountAdmin, CreatedAt: r.AccountCreatedAt}
}

type ownedToken struct {
	token trial.Token
	owner trial.Account
}

type ownedTokenRow struct {
	tokenRow
	ownerRow
}

func (r ownedTokenRow) record() ownedToken {
	return ownedToken{r.tokenRow.record(), r.account(r.AccountID)}
}

const (
	tokenColumns = `t.id, t.account_id, t.name, t.hash, t.scopes AS scope_names, t.created_at, t.expires_at, t.last_used_at, t.revoked_at`
	ownerColumns = `a.name AS account_name, coalesce(a.email, '') AS account_email, a.admin AS account_admin, a.created_at AS account_created_at`
)

// TokenByHash implements trial.ReadTx.
func (r readTx) TokenByHash(ctx context.Context, hash trial.Digest) (trial.Token, trial.Account, error) {
	const tokenByHash = `SELECT ` + tokenColumns + `, ` + ownerColumns + `
FROM tokens t JOIN accounts a ON a.id = t.account_id
WHERE t.hash = @hash AND t.revoked_at IS NULL`
	found, err := one(ctx, r.tx, "token", tokenByHash, pgx.StrictNamedArgs{"hash": hash}, through[ownedTokenRow])
	return found.token, found.owner, err
}

// TokensOf implements trial.ReadTx.
func (r readTx) TokensOf(ctx context.Context, account trial.ID) ([]trial.Token, error) {
	const tokensOf = `SELECT ` + tokenColumns + ` FROM tokens t WHERE t.account_id = @account_id AND t.revoked_at IS NULL ORDER BY t.id`
	return list(ctx, r.tx, "tokens", tokensOf, pgx.StrictNamedArgs{"account_id": account}, through[tokenRow])
}

// InsertToken implements trial.Tx.
func (w writeTx) InsertToken(ctx context.Context, t trial.Token) error {
	const insertToken = `
INSERT INTO tokens (id, account_id, name, hash, scopes, created_at, expires_at, last_used_at, revoked_at)
VALUES (@id, @account_id, @name, @hash, @scopes, @created_at, @expires_at, @last_used_at, @revoked_at)`
	return insert(ctx, w.tx, "token", insertToken, pgx.StrictNamedArgs{
		"id": t.ID, "account_id": t.AccountID, "name": t.Name, "hash": t.Hash, "scopes": t.Scopes.Names(), "created_at": t.CreatedAt,
		"expires_at": t.ExpiresAt, "last_used_at": t.LastUsedAt, "revoked_at": t.RevokedAt,
	})
}

// RevokeToken implements trial.Tx. A token that was revoked before keeps that time.
func (w writeTx) RevokeToken(ctx context.Context, account, token trial.ID, at time.Time) error {
	const revokeToken = `UPDATE tokens SET revoked_at = coalesce(revoked_at, @at) WHERE id = @id AND account_id = @account_id`
	return update(ctx, w.tx, "token", revokeToken, pgx.StrictNamedArgs{"id": token, "account_id": account, "at": at})
}

// RevokeTokens implements trial.Tx.
func (w writeTx) RevokeTokens(ctx context.Context, account, but trial.ID, at time.Time) error {
	const revokeTokens = `
UPDATE tokens SET revoked_at = @at WHERE account_id = @account_id AND revoked_at IS NULL AND id IS DISTINCT FROM @but`
	_, err := exec(ctx, w.tx, "revoke tokens", revokeTokens, pgx.StrictNamedArgs{"account_id": account, "but": but, "at": at})
	return err
}

// TokenUsed implements trial.Tx.
func (w writeTx) TokenUsed(ctx context.Context, token trial.ID, at time.Time) error {
	const tokenUsed = `UPDATE tokens SET last_used_at = greatest(last_used_at, @at) WHERE id = @id`
	return update(ctx, w.tx, "token", tokenUsed, pgx.StrictNamedArgs{"id": token, "at": at})
}
