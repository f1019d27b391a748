package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// AccountBy implements trial.ReadTx.
func (r readTx) AccountBy(ctx context.Context, account trial.ID) (trial.Account, error) {
	const accountBy = `SELECT id, name, admin, created_at FROM accounts WHERE id = @id`
	return one(ctx, r.tx, "account", accountBy, pgx.StrictNamedArgs{"id": account}, pgx.RowToStructByName[trial.Account])
}

// InsertAccount implements trial.Tx.
func (w writeTx) InsertAccount(ctx context.Context, a trial.Account) error {
	const insertAccount = `INSERT INTO accounts (id, name, admin, created_at) VALUES (@id, @name, @admin, @created_at)`
	return insert(ctx, w.tx, "account", insertAccount, pgx.StrictNamedArgs{"id": a.ID, "name": a.Name, "admin": a.Admin, "created_at": a.CreatedAt})
}

// tokenRow is a token with its account.
type tokenRow struct {
	trial.Token
	AccountName      string
	AccountAdmin     bool
	AccountCreatedAt time.Time
}

// TokenByHash implements trial.ReadTx.
func (r readTx) TokenByHash(ctx context.Context, hash trial.Digest) (trial.Token, trial.Account, error) {
	const tokenByHash = `
SELECT t.id, t.account_id, t.name, t.hash, t.created_at, t.revoked_at,
       a.name AS account_name, a.admin AS account_admin, a.created_at AS account_created_at
FROM tokens t JOIN accounts a ON a.id = t.account_id
WHERE t.hash = @hash AND t.revoked_at IS NULL`
	row, err := one(ctx, r.tx, "token", tokenByHash, pgx.StrictNamedArgs{"hash": hash}, pgx.RowToStructByName[tokenRow])
	if err != nil {
		return trial.Token{}, trial.Account{}, err
	}
	return row.Token, trial.Account{ID: row.AccountID, Name: row.AccountName, Admin: row.AccountAdmin, CreatedAt: row.AccountCreatedAt}, nil
}

// TokensOf implements trial.ReadTx: the tokens that are not revoked, oldest first.
func (r readTx) TokensOf(ctx context.Context, account trial.ID) ([]trial.Token, error) {
	const tokensOf = `
SELECT id, account_id, name, hash, created_at, revoked_at
FROM tokens WHERE account_id = @account_id AND revoked_at IS NULL
ORDER BY id`
	return list(ctx, r.tx, "tokens", tokensOf, pgx.StrictNamedArgs{"account_id": account}, pgx.RowToStructByName[trial.Token])
}

// InsertToken implements trial.Tx.
func (w writeTx) InsertToken(ctx context.Context, t trial.Token) error {
	const insertToken = `
INSERT INTO tokens (id, account_id, name, hash, created_at, revoked_at)
VALUES (@id, @account_id, @name, @hash, @created_at, @revoked_at)`
	return insert(ctx, w.tx, "token", insertToken, pgx.StrictNamedArgs{
		"id": t.ID, "account_id": t.AccountID, "name": t.Name, "hash": t.Hash, "created_at": t.CreatedAt, "revoked_at": t.RevokedAt,
	})
}

// RevokeToken implements trial.Tx. A token that was revoked before keeps that time.
func (w writeTx) RevokeToken(ctx context.Context, account, token trial.ID, at time.Time) error {
	const revokeToken = `UPDATE tokens SET revoked_at = coalesce(revoked_at, @at) WHERE id = @id AND account_id = @account_id`
	return update(ctx, w.tx, "token", revokeToken, pgx.StrictNamedArgs{"id": token, "account_id": account, "at": at})
}
