package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// LooksOf implements trial.ReadTx: in order of number.
func (r readTx) LooksOf(ctx context.Context, id trial.ID) ([]trial.Look, error) {
	const looksOf = `
SELECT l.trial_id, l.n, l.analysis, l.checkpoint, l.at, l.by_account AS by, l.fish, l.anglers, l.decision, a.state = 'withdrawn' AS withdrawn,
       l.information, l.fraction, l.spent, l.boundary_p, l.p, l.log_odds, l.e_value, l.share_low, l.share_high
FROM looks l JOIN analyses a ON a.trial_id = l.trial_id AND a.n = l.analysis
WHERE l.trial_id = @trial_id ORDER BY l.n`
	return list(ctx, r.tx, "looks", looksOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Look])
}

// TrialsWatched implements trial.ReadTx.
func (r readTx) TrialsWatched(ctx context.Context) ([]trial.ID, error) {
	const trialsWatched = `
SELECT t.id
FROM trials t JOIN protocols p ON p.trial_id = t.id AND p.version = t.protocol_version
WHERE t.state IN ('open', 'paused', 'closed') AND t.source = 'drawn' AND p.protocol ->> 'stopping' <> 'fixed'
ORDER BY t.id`
	return list(ctx, r.tx, "trials", trialsWatched, pgx.StrictNamedArgs{}, pgx.RowTo[trial.ID])
}

// InsertLook implements trial.Tx.
func (w writeTx) InsertLook(ctx context.Context, l trial.Look) error {
	const insertLook = `
INSERT INTO looks (trial_id, n, analysis, checkpoint, at, by_account, fish, anglers, decision)
VALUES (@trial_id, @n, @analysis, @checkpoint, @at, @by, @fish, @anglers, '')`
	return insert(ctx, w.tx, "look", insertLook, pgx.StrictNamedArgs{
		"trial_id": l.TrialID, "n": l.N, "analysis": l.Analysis, "checkpoint": l.Checkpoint, "at": l.At, "by": l.By, "fish": l.Fish, "anglers": l.Anglers,
	})
}

// DecideLook implements trial.Tx. A look that is decided stays as it is.
func (w writeTx) DecideLook(ctx context.Context, l trial.Look) error {
	const decideLook = `
UPDATE looks
SET decision = @decision, information = @information, fraction = @fraction, spent = @spent, boundary_p = @boundary_p, p = @p,
    log_odds = @log_odds, e_value = @e_value, share_low = @share_low, share_high = @share_high
WHERE trial_id = @trial_id AND n = @n AND decision = ''`
	_, err := exec(ctx, w.tx, "decide look", decideLook, pgx.StrictNamedArgs{
		"trial_id": l.TrialID, "n": l.N, "decision": l.Decision, "information": l.Information, "fraction": l.Fraction, "spent": l.Spent,
		"boundary_p": l.BoundaryP, "p": l.P, "log_odds": l.LogOdds, "e_value": l.EValue, "share_low": l.ShareLow, "share_high": l.ShareHigh,
	})
	return err
}
