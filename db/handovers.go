package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectHandover = `
SELECT id, club_id, from_account AS from, to_account AS to, offered_at, expires_at, taken_at, ended_at FROM handovers `

// HandoverBy implements trial.ReadTx.
func (r readTx) HandoverBy(ctx context.Context, club, handover trial.ID) (trial.Handover, error) {
	const handoverBy = selectHandover + `WHERE id = @id AND club_id = @club_id`
	return one(ctx, r.tx, "handover", handoverBy, pgx.StrictNamedArgs{"id": handover, "club_id": club}, pgx.RowToStructByName[trial.Handover])
}

// HandoversOf implements trial.ReadTx.
func (r readTx) HandoversOf(ctx context.Context, club trial.ID) ([]trial.Handover, error) {
	const handoversOf = selectHandover + `WHERE club_id = @club_id AND taken_at IS NULL AND ended_at IS NULL ORDER BY id`
	return list(ctx, r.tx, "handovers", handoversOf, pgx.StrictNamedArgs{"club_id": club}, pgx.RowToStructByName[trial.Handover])
}

// InsertHandover implements trial.Tx.
func (w writeTx) InsertHandover(ctx context.Context, h trial.Handover) error {
	const insertHandover = `
INSERT INTO handovers (id, club_id, from_account, to_account, offered_at, expires_at, taken_at, ended_at)
VALUES (@id, @club_id, @from, @to, @offered_at, @expires_at, @taken_at, @ended_at)`
	return insert(ctx, w.tx, "handover", insertHandover, pgx.StrictNamedArgs{
		"id": h.ID, "club_id": h.ClubID, "from": h.From, "to": h.To, "offered_at": h.OfferedAt, "expires_at": h.ExpiresAt,
		"taken_at": h.TakenAt, "ended_at": h.EndedAt,
	})
}

// EndHandovers implements trial.Tx.
func (w writeTx) EndHandovers(ctx context.Context, club, account trial.ID, at time.Time) error {
	const endHandovers = `
UPDATE handovers SET ended_at = @at
WHERE club_id = @club_id AND (from_account = @account_id OR to_account = @account_id) AND taken_at IS NULL AND ended_at IS NULL`
	_, err := exec(ctx, w.tx, "end handovers", endHandovers, pgx.StrictNamedArgs{"club_id": club, "account_id": account, "at": at})
	return err
}

// EndHandover implements trial.Tx.
func (w writeTx) EndHandover(ctx context.Context, club, handover trial.ID, at time.Time) error {
	const endHandover = `UPDATE handovers SET ended_at = @at WHERE id = @id AND club_id = @club_id AND taken_at IS NULL AND ended_at IS NULL`
	return update(ctx, w.tx, "handover", endHandover, pgx.StrictNamedArgs{"id": handover, "club_id": club, "at": at})
}

// TakeHandover implements trial.Tx.
func (w writeTx) TakeHandover(ctx context.Context, club, handover trial.ID, at time.Time) error {
	const takeHandover = `UPDATE handovers SET taken_at = @at WHERE id = @id AND club_id = @club_id AND taken_at IS NULL AND ended_at IS NULL`
	return update(ctx, w.tx, "handover", takeHandover, pgx.StrictNamedArgs{"id": handover, "club_id": club, "at": at})
}
