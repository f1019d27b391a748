package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

type ownedSession struct {
	session trial.Session
	owner   trial.Account
}

type ownedSessionRow struct {
	trial.Session
	ownerRow
}

func (r ownedSessionRow) record() ownedSession {
	return ownedSession{r.Session, r.account(r.AccountID)}
}

// SessionByHash implements trial.ReadTx.
func (r readTx) SessionByHash(ctx context.Context, hash trial.Digest) (trial.Session, trial.Account, error) {
	const sessionByHash = `SELECT s.id, s.account_id, s.hash, s.created_at, s.used_at, ` + ownerColumns + `
FROM sessions s JOIN accounts a ON a.id = s.account_id WHERE s.hash = @hash`
	found, err := one(ctx, r.tx, "session", sessionByHash, pgx.StrictNamedArgs{"hash": hash}, through[ownedSessionRow])
	return found.session, found.owner, err
}

// SessionsOf implements trial.ReadTx.
func (r readTx) SessionsOf(ctx context.Context, account trial.ID) ([]trial.Session, error) {
	const sessionsOf = `
SELECT id, account_id, hash, created_at, used_at FROM sessions WHERE account_id = @account_id ORDER BY used_at DESC, id DESC`
	return list(ctx, r.tx, "sessions", sessionsOf, pgx.StrictNamedArgs{"account_id": account}, pgx.RowToStructByName[trial.Session])
}

// InsertSession implements trial.Tx.
func (w writeTx) InsertSession(ctx context.Context, s trial.Session) error {
	const insertSession = `
INSERT INTO sessions (id, account_id, hash, created_at, used_at) VALUES (@id, @account_id, @hash, @created_at, @used_at)`
	return insert(ctx, w.tx, "session", insertSession, pgx.StrictNamedArgs{
		"id": s.ID, "account_id": s.AccountID, "hash": s.Hash, "created_at": s.CreatedAt, "used_at": s.UsedAt,
	})
}

// SessionUsed implements trial.Tx.
func (w writeTx) SessionUsed(ctx context.Context, session trial.ID, at time.Time) error {
	const sessionUsed = `UPDATE sessions SET used_at = greatest(used_at, @at) WHERE id = @id`
	return update(ctx, w.tx, "session", sessionUsed, pgx.StrictNamedArgs{"id": session, "at": at})
}

// RotateSession implements trial.Tx.
func (w writeTx) RotateSession(ctx context.Context, account, session trial.ID, hash trial.Digest) error {
	const rotateSession = `UPDATE sessions SET hash = @hash WHERE id = @id AND account_id = @account_id`
	return update(ctx, w.tx, "session", rotateSession, pgx.StrictNamedArgs{"id": session, "account_id": account, "hash": hash})
}

// EndSession implements trial.Tx.
func (w writeTx) EndSession(ctx context.Context, account, session trial.ID) error {
	const endSession = `DELETE FROM sessions WHERE id = @id AND account_id = @account_id`
	return update(ctx, w.tx, "session", endSession, pgx.StrictNamedArgs{"id": session, "account_id": account})
}

// EndSessions implements trial.Tx.
func (w writeTx) EndSessions(ctx context.Context, account, but trial.ID) error {
	const endSessions = `DELETE FROM sessions WHERE account_id = @account_id AND id IS DISTINCT FROM @but`
	_, err := exec(ctx, w.tx, "end sessions", endSessions, pgx.StrictNamedArgs{"account_id": account, "but": but})
	return err
}
