package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// ClubBy implements trial.ReadTx.
func (r readTx) ClubBy(ctx context.Context, club trial.ID) (trial.Club, error) {
	const clubBy = `SELECT id, name, created_at FROM clubs WHERE id = @id`
	return one(ctx, r.tx, "club", clubBy, pgx.StrictNamedArgs{"id": club}, pgx.RowToStructByName[trial.Club])
}

// ClubsOf implements trial.ReadTx: the clubs that the account is a member of, in order of id.
func (r readTx) ClubsOf(ctx context.Context, account trial.ID) ([]trial.Club, error) {
	const clubsOf = `
SELECT c.id, c.name, c.created_at
FROM memberships m JOIN clubs c ON c.id = m.club_id
WHERE m.account_id = @account_id AND m.role <> 'former'
ORDER BY c.id`
	return list(ctx, r.tx, "clubs", clubsOf, pgx.StrictNamedArgs{"account_id": account}, pgx.RowToStructByName[trial.Club])
}

// InsertClub implements trial.Tx.
func (w writeTx) InsertClub(ctx context.Context, c trial.Club) error {
	const insertClub = `INSERT INTO clubs (id, name, created_at) VALUES (@id, @name, @created_at)`
	return insert(ctx, w.tx, "club", insertClub, pgx.StrictNamedArgs{"id": c.ID, "name": c.Name, "created_at": c.CreatedAt})
}

const selectMembership = `
SELECT m.club_id, m.account_id, a.name, m.role, m.joined_at
FROM memberships m JOIN accounts a ON a.id = m.account_id `

// MembershipBy implements trial.ReadTx.
func (r readTx) MembershipBy(ctx context.Context, club, account trial.ID) (trial.Membership, error) {
	const membershipBy = selectMembership + `WHERE m.club_id = @club_id AND m.account_id = @account_id`
	return one(ctx, r.tx, "membership", membershipBy, pgx.StrictNamedArgs{"club_id": club, "account_id": account}, pgx.RowToStructByName[trial.Membership])
}

// MembershipsOf implements trial.ReadTx.
func (r readTx) MembershipsOf(ctx context.Context, account trial.ID) ([]trial.Membership, error) {
	const membershipsOf = selectMembership + `WHERE m.account_id = @account_id ORDER BY m.club_id`
	return list(ctx, r.tx, "memberships", membershipsOf, pgx.StrictNamedArgs{"account_id": account}, pgx.RowToStructByName[trial.Membership])
}

// MembersOf implements trial.ReadTx: in order of account.
func (r readTx) MembersOf(ctx context.Context, club trial.ID, page trial.Page) ([]trial.Membership, error) {
	const membersOf = selectMembership + `
WHERE m.club_id = @club_id AND m.role <> 'former' AND (@after::uuid IS NULL OR m.account_id > @after)
ORDER BY m.account_id LIMIT @limit`
	return list(ctx, r.tx, "members", membersOf, paged(page, pgx.StrictNamedArgs{"club_id": club}), pgx.RowToStructByName[trial.Membership])
}

// paged adds a page's bounds to a statement's arguments: no id after which to begin is NULL.
func paged(page trial.Page, args pgx.StrictNamedArgs) pgx.StrictNamedArgs {
	args["after"], args["limit"] = page.After, page.Limit
	return args
}

// LockClub implements trial.Tx. New members and trials are not kept out by it.
func (w writeTx) LockClub(ctx context.Context, club trial.ID) error {
	const lockClub = `SELECT id FROM clubs WHERE id = @id FOR NO KEY UPDATE`
	_, err := one(ctx, w.tx, "club", lockClub, pgx.StrictNamedArgs{"id": club}, pgx.RowTo[trial.ID])
	return err
}

// InsertMembership implements trial.Tx. The name is the account's and not kept here.
func (w writeTx) InsertMembership(ctx context.Context, m trial.Membership) error {
	const insertMembership = `
INSERT INTO memberships (club_id, account_id, role, joined_at) VALUES (@club_id, @account_id, @role, @joined_at)
ON CONFLICT (club_id, account_id) DO UPDATE SET role = @role, joined_at = @joined_at WHERE memberships.role = 'former'`
	n, err := exec(ctx, w.tx, "insert membership", insertMembership, pgx.StrictNamedArgs{
		"club_id": m.ClubID, "account_id": m.AccountID, "role": m.Role, "joined_at": m.JoinedAt,
	})
	if err == nil && n == 0 {
		return trial.Fail(trial.Conflict, "membership.exists", "the account is a member of the club already")
	}
	return err
}

// SetRole implements trial.Tx.
func (w writeTx) SetRole(ctx context.Context, club, account trial.ID, role trial.Role) error {
	const setRole = `UPDATE memberships SET role = @role WHERE club_id = @club_id AND account_id = @account_id`
	return update(ctx, w.tx, "member", setRole, pgx.StrictNamedArgs{"club_id": club, "account_id": account, "role": role})
}

const selectInvitation = `
SELECT id, club_id, role, coalesce(name, '') AS name, hash, uses, used, created_by, created_at, expires_at, revoked_at
FROM invitations `

// InvitationsOf implements trial.ReadTx: in order of id.
func (r readTx) InvitationsOf(ctx context.Context, club trial.ID) ([]trial.Invitation, error) {
	const invitationsOf = selectInvitation + `WHERE club_id = @club_id ORDER BY id`
	return list(ctx, r.tx, "invitations", invitationsOf, pgx.StrictNamedArgs{"club_id": club}, pgx.RowToStructByName[trial.Invitation])
}

// InsertInvitation implements trial.Tx.
func (w writeTx) InsertInvitation(ctx context.Context, i trial.Invitation) error {
	const insertInvitation = `
INSERT INTO invitations (id, club_id, role, name, hash, uses, used, created_by, created_at, expires_at, revoked_at)
VALUES (@id, @club_id, @role, nullif(@name, ''), @hash, @uses, @used, @created_by, @created_at, @expires_at, @revoked_at)`
	return insert(ctx, w.tx, "invitation", insertInvitation, pgx.StrictNamedArgs{
		"id": i.ID, "club_id": i.ClubID, "role": i.Role, "name": i.Name, "hash": i.Hash, "uses": i.Uses, "used": i.Used,
		"created_by": i.CreatedBy, "created_at": i.CreatedAt, "expires_at": i.ExpiresAt, "revoked_at": i.RevokedAt,
	})
}

// UseInvitation implements trial.Tx. One that is used up is returned as it is, so that the caller can say so.
func (w writeTx) UseInvitation(ctx context.Context, hash trial.Digest) (trial.Invitation, error) {
	const lockInvitation = selectInvitation + `WHERE hash = @hash FOR UPDATE`
	before, err := one(ctx, w.tx, "invitation", lockInvitation, pgx.StrictNamedArgs{"hash": hash}, pgx.RowToStructByName[trial.Invitation])
	if err != nil {
		return trial.Invitation{}, err
	}
	const useInvitation = `UPDATE invitations SET used = used + 1 WHERE id = @id AND used < uses`
	_, err = exec(ctx, w.tx, "use invitation", useInvitation, pgx.StrictNamedArgs{"id": before.ID})
	return before, err
}

// RevokeInvitation implements trial.Tx. One that was revoked before keeps that time.
func (w writeTx) RevokeInvitation(ctx context.Context, club, invitation trial.ID, at time.Time) error {
	const revokeInvitation = `
UPDATE invitations SET revoked_at = coalesce(revoked_at, @at) WHERE id = @id AND club_id = @club_id`
	return update(ctx, w.tx, "invitation", revokeInvitation, pgx.StrictNamedArgs{"id": invitation, "club_id": club, "at": at})
}
