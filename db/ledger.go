package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"evenrig/service/trial"
)

const selectHead = `SELECT trial_id, chain_id, n, hash FROM ledger_heads `

// HeadsOf implements trial.ReadTx: in order of chain id.
func (r readTx) HeadsOf(ctx context.Context, id trial.ID) ([]trial.Head, error) {
	const headsOf = selectHead + `WHERE trial_id = @trial_id ORDER BY chain_id`
	return list(ctx, r.tx, "heads", headsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Head])
}

// LockHead implements trial.Tx.
func (w writeTx) LockHead(ctx context.Context, id, chain trial.ID) (trial.Head, error) {
	const lockHead = selectHead + `WHERE trial_id = @trial_id AND chain_id = @chain_id FOR UPDATE`
	return one(ctx, w.tx, "chain", lockHead, pgx.StrictNamedArgs{"trial_id": id, "chain_id": chain}, pgx.RowToStructByName[trial.Head])
}

// LockHeads implements trial.Tx.
func (w writeTx) LockHeads(ctx context.Context, id trial.ID) ([]trial.Head, error) {
	const lockHeads = selectHead + `WHERE trial_id = @trial_id ORDER BY chain_id FOR UPDATE`
	return list(ctx, w.tx, "heads", lockHeads, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Head])
}

// InsertHead implements trial.Tx. It waits for a change of the trial's state under way, and such a change waits for it:
// so whoever takes every head of a trial misses none.
func (w writeTx) InsertHead(ctx context.Context, h trial.Head) error {
	const insertHead = `
INSERT INTO ledger_heads (trial_id, chain_id, n, hash)
SELECT id, @chain_id, @n, @hash FROM trials WHERE id = @trial_id FOR SHARE`
	n, err := exec(ctx, w.tx, "insert head", insertHead, pgx.StrictNamedArgs{"trial_id": h.TrialID, "chain_id": h.ChainID, "n": h.N, "hash": h.Hash})
	if err == nil && n == 0 {
		return trial.Missing("trial")
	}
	return err
}

// Append implements trial.Tx.
func (w writeTx) Append(ctx context.Context, e trial.LedgerEntry, parts trial.Parts) error {
	var batch pgx.Batch
	queueEntries(&batch, []trial.LedgerEntry{e}, []trial.Parts{parts})
	var moved int64
	const moveHead = `
UPDATE ledger_heads SET n = @n, hash = @hash WHERE trial_id = @trial_id AND chain_id = @chain_id AND n = @n - 1`
	args := pgx.StrictNamedArgs{"trial_id": e.TrialID, "chain_id": e.ChainID, "n": e.N, "hash": e.Hash}
	batch.Queue(moveHead, args).Exec(func(tag pgconn.CommandTag) error {
		moved = tag.RowsAffected()
		return nil
	})
	if err := w.tx.SendBatch(ctx, &batch).Close(); err != nil {
		return fmt.Errorf("append to chain: %w", translate(err))
	}
	if moved != 1 {
		return fmt.Errorf("entry %d does not follow the head of chain %s", e.N, e.ChainID)
	}
	return nil
}

// queueEntries queues the statement that adds entries and their parts, both equally long.
func queueEntries(batch *pgx.Batch, entries []trial.LedgerEntry, parts []trial.Parts) {
	const insertEntries = `
WITH entries AS (
    INSERT INTO ledger_entries (trial_id, chain_id, n, kind, subject, public_digest, private_digest, hash)
    SELECT unnest($1::uuid[]), unnest($2::uuid[]), unnest($3::bigint[]), unnest($4::text[]), unnest($5::uuid[]), unnest($6::bytea[]), unnest($7::bytea[]),
           unnest($8::bytea[]))
INSERT INTO ledger_parts (trial_id, chain_id, n, public, public_salt, private, private_salt)
SELECT unnest($1::uuid[]), unnest($2::uuid[]), unnest($3::bigint[]), unnest($9::bytea[]), unnest($10::bytea[]), unnest($11::bytea[]), unnest($12::bytea[])`
	entry := func(value func(*trial.LedgerEntry) any) any { return viewOf(entries, value) }
	part := func(value func(*trial.Parts) any) any { return viewOf(parts, value) }
	batch.Queue(insertEntries,
		entry(func(e *trial.LedgerEntry) any { return &e.TrialID }), entry(func(e *trial.LedgerEntry) any { return &e.ChainID }),
		entry(func(e *trial.LedgerEntry) any { return e.N }), entry(func(e *trial.LedgerEntry) any { return e.Kind }),
		entry(func(e *trial.LedgerEntry) any { return &e.Subject }), entry(func(e *trial.LedgerEntry) any { return &e.PublicDigest }),
		entry(func(e *trial.LedgerEntry) any { return &e.PrivateDigest }), entry(func(e *trial.LedgerEntry) any { return &e.Hash }),
		part(func(p *trial.Parts) any { return p.Public }), part(func(p *trial.Parts) any { return &p.PublicSalt }),
		part(func(p *trial.Parts) any { return p.Private }), part(func(p *trial.Parts) any { return &p.PrivateSalt }))
}

// EntriesOf implements trial.ReadTx: in order of number.
func (r readTx) EntriesOf(ctx context.Context, id, chain trial.ID) ([]trial.LedgerEntry, error) {
	const entriesOf = `
SELECT trial_id, chain_id, n, kind, subject, public_digest, private_digest, hash
FROM ledger_entries WHERE trial_id = @trial_id AND chain_id = @chain_id ORDER BY n`
	return list(ctx, r.tx, "entries", entriesOf, pgx.StrictNamedArgs{"trial_id": id, "chain_id": chain}, pgx.RowToStructByName[trial.LedgerEntry])
}

// partsRow is an entry's parts with its number.
type partsRow struct {
	N int64
	trial.Parts
}

// PartsOf implements trial.ReadTx.
func (r readTx) PartsOf(ctx context.Context, id, chain trial.ID) (map[int64]trial.Parts, error) {
	const partsOf = `
SELECT n, public, public_salt, private, private_salt FROM ledger_parts WHERE trial_id = @trial_id AND chain_id = @chain_id`
	rows, err := list(ctx, r.tx, "parts", partsOf, pgx.StrictNamedArgs{"trial_id": id, "chain_id": chain}, pgx.RowToStructByName[partsRow])
	if err != nil {
		return nil, err
	}
	parts := make(map[int64]trial.Parts, len(rows))
	for _, row := range rows {
		parts[row.N] = row.Parts
	}
	return parts, nil
}
