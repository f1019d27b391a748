package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectTrial = `
SELECT id, club_id, title, state, design, source, revision, protocol_version, fingerprint, commitment, scheme,
       sealed_seed, seed, created_at, registered_at, closed_at, locked_at, original
FROM trials `

// TrialBy implements trial.ReadTx.
func (r readTx) TrialBy(ctx context.Context, id trial.ID) (trial.Trial, error) {
	const trialBy = selectTrial + `WHERE id = @id`
	return one(ctx, r.tx, "trial", trialBy, pgx.StrictNamedArgs{"id": id}, pgx.RowToStructByName[trial.Trial])
}

// TrialsOf implements trial.ReadTx.
func (r readTx) TrialsOf(ctx context.Context, club trial.ID, page trial.Page) ([]trial.Trial, error) {
	const trialsOf = selectTrial + `
WHERE club_id = @club_id AND (@after::uuid IS NULL OR id > @after)
ORDER BY id LIMIT @limit`
	return list(ctx, r.tx, "trials", trialsOf, paged(page, pgx.StrictNamedArgs{"club_id": club}), pgx.RowToStructByName[trial.Trial])
}

// RegisteredTrials implements trial.ReadTx: in order of id.
func (r readTx) RegisteredTrials(ctx context.Context) ([]trial.ID, error) {
	const registeredTrials = `SELECT id FROM trials WHERE registered_at IS NOT NULL ORDER BY id`
	return list(ctx, r.tx, "trials", registeredTrials, pgx.StrictNamedArgs{}, pgx.RowTo[trial.ID])
}

// InsertTrial implements trial.Tx.
func (w writeTx) InsertTrial(ctx context.Context, t trial.Trial) error {
	const insertTrial = `
INSERT INTO trials (id, club_id, title, state, design, source, revision, protocol_version, fingerprint, commitment, scheme,
                    sealed_seed, seed, created_at, registered_at, closed_at, locked_at, original)
VALUES (@id, @club_id, @title, @state, @design, @source, @revision, @protocol_version, @fingerprint, @commitment, @scheme,
        @sealed_seed, @seed, @created_at, @registered_at, @closed_at, @locked_at, @original)`
	args := trialArgs(t)
	args["club_id"], args["created_at"], args["original"] = t.ClubID, t.CreatedAt, t.Original
	return insert(ctx, w.tx, "trial", insertTrial, args)
}

// LockTrial implements trial.Tx. The lock lets others refer to the trial, so that intake does not wait for it.
func (w writeTx) LockTrial(ctx context.Context, id trial.ID) (trial.Trial, error) {
	const lockTrial = selectTrial + `WHERE id = @id FOR NO KEY UPDATE`
	return one(ctx, w.tx, "trial", lockTrial, pgx.StrictNamedArgs{"id": id}, pgx.RowToStructByName[trial.Trial])
}

// UpdateTrial implements trial.Tx. A trial's club, the time of its making and what it is a copy of never change.
func (w writeTx) UpdateTrial(ctx context.Context, t trial.Trial) error {
	const updateTrial = `
UPDATE trials
SET title = @title, state = @state, design = @design, source = @source, revision = @revision,
    protocol_version = @protocol_version, fingerprint = @fingerprint, commitment = @commitment, scheme = @scheme,
    sealed_seed = @sealed_seed, seed = @seed, registered_at = @registered_at, closed_at = @closed_at, locked_at = @locked_at
WHERE id = @id`
	return update(ctx, w.tx, "trial", updateTrial, trialArgs(t))
}

// trialArgs are the columns of a trial that may change, and its id.
func trialArgs(t trial.Trial) pgx.StrictNamedArgs {
	return pgx.StrictNamedArgs{
		"id": t.ID, "title": t.Title, "state": t.State, "design": t.Design, "source": t.Source, "revision": t.Revision,
		"protocol_version": t.ProtocolVersion, "fingerprint": t.Fingerprint, "commitment": t.Commitment, "scheme": t.Scheme,
		"sealed_seed": t.SealedSeed, "seed": t.Seed, "registered_at": t.RegisteredAt, "closed_at": t.ClosedAt, "locked_at": t.LockedAt,
	}
}

// protocolRow is a version's protocol with its canonical JSON.
type protocolRow struct {
	Protocol  trial.Protocol
	Canonical []byte
}

// ProtocolBy implements trial.ReadTx.
func (r readTx) ProtocolBy(ctx context.Context, id trial.ID, version int) (trial.Protocol, []byte, error) {
	const protocolBy = `SELECT protocol, canonical FROM protocols WHERE trial_id = @trial_id AND version = @version`
	row, err := one(ctx, r.tx, "protocol", protocolBy, pgx.StrictNamedArgs{"trial_id": id, "version": version}, pgx.RowToStructByName[protocolRow])
	return row.Protocol, row.Canonical, err
}

// SaveProtocol implements trial.Tx. A version that stands is replaced only while its trial is a draft.
func (w writeTx) SaveProtocol(ctx context.Context, id trial.ID, version int, p trial.Protocol, canonical []byte) error {
	const saveProtocol = `
INSERT INTO protocols AS stands (trial_id, version, protocol, canonical)
VALUES (@trial_id, @version, @protocol, @canonical)
ON CONFLICT (trial_id, version) DO UPDATE SET protocol = excluded.protocol, canonical = excluded.canonical
WHERE (SELECT state FROM trials WHERE id = stands.trial_id) = 'draft'`
	n, err := exec(ctx, w.tx, "save protocol", saveProtocol, pgx.StrictNamedArgs{
		"trial_id": id, "version": version, "protocol": p, "canonical": canonical,
	})
	if err == nil && n == 0 {
		return trial.Fail(trial.Conflict, "protocol.registered", "version %d of the protocol is registered and never changes", version)
	}
	return err
}

// ProtocolsOf implements trial.ReadTx. The first version has the time of registration.
func (r readTx) ProtocolsOf(ctx context.Context, id trial.ID) ([]trial.ProtocolVersion, error) {
	const protocolsOf = `
SELECT p.trial_id, p.version, p.protocol, p.canonical, coalesce(p.at, t.registered_at) AS at, p.by_account AS by, coalesce(p.reason, '') AS reason
FROM protocols p JOIN trials t ON t.id = p.trial_id WHERE p.trial_id = @trial_id ORDER BY p.version`
	return list(ctx, r.tx, "protocol versions", protocolsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.ProtocolVersion])
}

// InsertVersion implements trial.Tx.
func (w writeTx) InsertVersion(ctx context.Context, v trial.ProtocolVersion) error {
	const insertVersion = `
INSERT INTO protocols (trial_id, version, protocol, canonical, at, by_account, reason)
VALUES (@trial_id, @version, @protocol, @canonical, @at, @by_account, @reason)`
	return insert(ctx, w.tx, "protocol version", insertVersion, pgx.StrictNamedArgs{
		"trial_id": v.TrialID, "version": v.Version, "protocol": v.Protocol, "canonical": v.Canonical, "at": v.At, "by_account": v.By, "reason": v.Reason,
	})
}

// StateChangesOf implements trial.ReadTx: in order of number.
func (r readTx) StateChangesOf(ctx context.Context, id trial.ID) ([]trial.StateChange, error) {
	const stateChangesOf = `
SELECT trial_id, n, at, by_account AS by, from_state AS "from", to_state AS "to", reason
FROM state_changes WHERE trial_id = @trial_id ORDER BY n`
	return list(ctx, r.tx, "state changes", stateChangesOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.StateChange])
}

// InsertStateChange implements trial.Tx. A change without a number gets the next one.
func (w writeTx) InsertStateChange(ctx context.Context, c trial.StateChange) error {
	const insertStateChange = `
INSERT INTO state_changes (trial_id, n, at, by_account, from_state, to_state, reason)
SELECT @trial_id, CASE WHEN @n > 0 THEN @n ELSE coalesce(max(n), 0) + 1 END, @at, @by_account, @from_state, @to_state, @reason
FROM state_changes WHERE trial_id = @trial_id`
	return insert(ctx, w.tx, "state change", insertStateChange, pgx.StrictNamedArgs{
		"trial_id": c.TrialID, "n": c.N, "at": c.At, "by_account": c.By, "from_state": c.From, "to_state": c.To, "reason": c.Reason,
	})
}

// SealedSeed implements trial.ReadTx: of the trial that was made last.
func (r readTx) SealedSeed(ctx context.Context) (trial.ID, []byte, error) {
	const sealedSeed = `
SELECT id, sealed_seed FROM trials WHERE sealed_seed IS NOT NULL AND seed IS NULL AND state <> 'abandoned' ORDER BY id DESC LIMIT 1`
	found, err := one(ctx, r.tx, "sealed seed", sealedSeed, pgx.StrictNamedArgs{}, pgx.RowToStructByName[SealedSeed])
	if trial.KindOf(err) == trial.NotFound {
		return trial.ID{}, nil, nil
	}
	return found.ID, found.SealedSeed, err
}
