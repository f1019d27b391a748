package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectAccount = `SELECT id, name, coalesce(email, '') AS email, admin, created_at FROM accounts `

// AccountBy implements trial.ReadTx.
func (r readTx) AccountBy(ctx context.Context, account trial.ID) (trial.Account, error) {
	const accountBy = selectAccount + `WHERE id = @id`
	return one(ctx, r.tx, "account", accountBy, pgx.StrictNamedArgs{"id": account}, pgx.RowToStructByName[trial.Account])
}

// AccountByEmail implements trial.ReadTx.
func (r readTx) AccountByEmail(ctx context.Context, email string) (trial.Account, error) {
	const accountByEmail = selectAccount + `WHERE email = @email`
	return one(ctx, r.tx, "account", accountByEmail, pgx.StrictNamedArgs{"email": email}, pgx.RowToStructByName[trial.Account])
}

// PasswordOf implements trial.ReadTx.
func (r readTx) PasswordOf(ctx context.Context, account trial.ID) (string, error) {
	const passwordOf = `SELECT coalesce(password, '') FROM accounts WHERE id = @id`
	return one(ctx, r.tx, "account", passwordOf, pgx.StrictNamedArgs{"id": account}, pgx.RowTo[string])
}

// AnyAccount implements trial.ReadTx.
func (r readTx) AnyAccount(ctx context.Context) (bool, error) {
	const anyAccount = `SELECT EXISTS (SELECT FROM accounts)`
	return one(ctx, r.tx, "accounts", anyAccount, pgx.StrictNamedArgs{}, pgx.RowTo[bool])
}

// InsertAccount implements trial.Tx.
func (w writeTx) InsertAccount(ctx context.Context, a trial.Account) error {
	const insertAccount = `
INSERT INTO accounts (id, name, email, admin, created_at) VALUES (@id, @name, nullif(@email, ''), @admin, @created_at)`
	return insert(ctx, w.tx, "account", insertAccount, pgx.StrictNamedArgs{
		"id": a.ID, "name": a.Name, "email": a.Email, "admin": a.Admin, "created_at": a.CreatedAt,
	})
}

// SetEmail implements trial.Tx.
func (w writeTx) SetEmail(ctx context.Context, account trial.ID, email string) error {
	const setEmail = `UPDATE accounts SET email = @email WHERE id = @id`
	return update(ctx, w.tx, "account", setEmail, pgx.StrictNamedArgs{"id": account, "email": email})
}

// SetPassword implements trial.Tx.
func (w writeTx) SetPassword(ctx context.Context, account trial.ID, old, hash string) error {
	const setPassword = `UPDATE accounts SET password = @hash WHERE id = @id AND coalesce(password, '') = @old`
	n, err := exec(ctx, w.tx, "update password", setPassword, pgx.StrictNamedArgs{"id": account, "old": old, "hash": hash})
	if err == nil && n == 0 {
		return trial.Fail(trial.Conflict, "password.changed", "the password was changed meanwhile; send the same again with the one that holds now")
	}
	return err
}

const selectEvent = `SELECT id, account_id, kind, by_account AS by, club_id, at FROM events `

// EventsOf implements trial.ReadTx.
func (r readTx) EventsOf(ctx context.Context, account trial.ID) ([]trial.Event, error) {
	const eventsOf = selectEvent + `WHERE account_id = @account_id ORDER BY id DESC LIMIT 500`
	return list(ctx, r.tx, "events", eventsOf, pgx.StrictNamedArgs{"account_id": account}, pgx.RowToStructByName[trial.Event])
}

// EventsOfClub implements trial.ReadTx.
func (r readTx) EventsOfClub(ctx context.Context, club trial.ID) ([]trial.Event, error) {
	const eventsOfClub = selectEvent + `WHERE club_id = @club_id ORDER BY id DESC LIMIT 500`
	return list(ctx, r.tx, "events", eventsOfClub, pgx.StrictNamedArgs{"club_id": club}, pgx.RowToStructByName[trial.Event])
}

// InsertEvent implements trial.Tx.
func (w writeTx) InsertEvent(ctx context.Context, e trial.Event) error {
	const insertEvent = `
INSERT INTO events (id, account_id, kind, by_account, club_id, at) VALUES (@id, @account_id, @kind, @by_account, @club_id, @at)`
	return insert(ctx, w.tx, "event", insertEvent, pgx.StrictNamedArgs{
		"id": e.ID, "account_id": e.AccountID, "kind": e.Kind, "by_account": e.By, "club_id": e.ClubID, "at": e.At,
	})
}

// standing selects a link of a kind that can still be used.
const standing = `hash = @hash AND kind = @kind AND used_at IS NULL AND expires_at > @at`

const linkColumns = `id, kind, hash, account_id, club_id, made_by, made_at, expires_at, used_at`

// LinkByHash implements trial.ReadTx.
func (r readTx) LinkByHash(ctx context.Context, kind trial.LinkKind, hash trial.Digest, at time.Time) (trial.Link, error) {
	const linkByHash = `SELECT ` + linkColumns + ` FROM links WHERE ` + standing
	return one(ctx, r.tx, "link", linkByHash, pgx.StrictNamedArgs{"kind": kind, "hash": hash, "at": at}, pgx.RowToStructByName[trial.Link])
}

// InsertLink implements trial.Tx.
func (w writeTx) InsertLink(ctx context.Context, l trial.Link) error {
	const insertLink = `
INSERT INTO links (id, kind, hash, account_id, club_id, made_by, made_at, expires_at, used_at)
VALUES (@id, @kind, @hash, @account_id, @club_id, @made_by, @made_at, @expires_at, @used_at)`
	return insert(ctx, w.tx, "link", insertLink, pgx.StrictNamedArgs{
		"id": l.ID, "kind": l.Kind, "hash": l.Hash, "account_id": l.AccountID, "club_id": l.ClubID, "made_by": l.MadeBy,
		"made_at": l.MadeAt, "expires_at": l.ExpiresAt, "used_at": l.UsedAt,
	})
}

// UseLink implements trial.Tx. Of two at once the second waits for the first and then finds it used.
func (w writeTx) UseLink(ctx context.Context, kind trial.LinkKind, hash trial.Digest, at time.Time) (trial.Link, error) {
	const useLink = `UPDATE links SET used_at = @at WHERE ` + standing + ` RETURNING ` + linkColumns
	return one(ctx, w.tx, "link", useLink, pgx.StrictNamedArgs{"kind": kind, "hash": hash, "at": at}, pgx.RowToStructByName[trial.Link])
}

// EndLinks implements trial.Tx. A used one stays as it is.
func (w writeTx) EndLinks(ctx context.Context, account trial.ID) error {
	const endLinks = `DELETE FROM links WHERE account_id = @account_id AND used_at IS NULL`
	_, err := exec(ctx, w.tx, "end links", endLinks, pgx.StrictNamedArgs{"account_id": account})
	return err
}

// eraseAccount removes what the small tables hold of an account, in an order that the keys allow. An invitation that was made
// out in his name in one of his clubs loses it; records that stay in trials belong to nobody.
var eraseAccount = []string{
	`UPDATE invitations SET name = NULL
WHERE name = (SELECT name FROM accounts WHERE id = @id) AND club_id IN (SELECT club_id FROM memberships WHERE account_id = @id)`,
	`DELETE FROM sessions WHERE account_id = @id`,
	`DELETE FROM tokens WHERE account_id = @id`,
	`DELETE FROM links WHERE account_id = @id`,
	`DELETE FROM events WHERE account_id = @id`,
	`DELETE FROM handovers WHERE from_account = @id OR to_account = @id`,
	`UPDATE enrolments e SET account_id = NULL
FROM memberships m JOIN trials t ON t.club_id = m.club_id
WHERE m.account_id = @id AND e.trial_id = t.id AND e.account_id = @id`,
	`DELETE FROM memberships WHERE account_id = @id`,
}

// EraseAccount implements trial.Tx.
func (w writeTx) EraseAccount(ctx context.Context, account trial.ID) error {
	for _, sql := range eraseAccount {
		if _, err := exec(ctx, w.tx, "erase account", sql, pgx.StrictNamedArgs{"id": account}); err != nil {
			return err
		}
	}
	const eraseName = `UPDATE accounts SET name = '', email = NULL, password = NULL WHERE id = @id`
	return update(ctx, w.tx, "account", eraseName, pgx.StrictNamedArgs{"id": account})
}
