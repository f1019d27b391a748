package db

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const (
	analysisState = `trial_id, n, state, checkpoint, requested_at, requested_by, finished_at, withdrawn_at, protocol_version, program_version,
       settings, fingerprint, failure`
	whoseAnalysis  = ` FROM analyses WHERE trial_id = @trial_id `
	selectAnalysis = `
SELECT ` + analysisState + `, input, result` + whoseAnalysis
	selectAnalysisState = `
SELECT ` + analysisState + whoseAnalysis
)

// AnalysisBy implements trial.ReadTx.
func (r readTx) AnalysisBy(ctx context.Context, id trial.ID, n int) (trial.Analysis, error) {
	const analysisBy = selectAnalysis + `AND n = @n`
	return one(ctx, r.tx, "analysis", analysisBy, pgx.StrictNamedArgs{"trial_id": id, "n": n}, pgx.RowToStructByName[trial.Analysis])
}

// AnalysisStateBy implements trial.ReadTx.
func (r readTx) AnalysisStateBy(ctx context.Context, id trial.ID, n int) (trial.Analysis, error) {
	const analysisStateBy = selectAnalysisState + `AND n = @n`
	return one(ctx, r.tx, "analysis", analysisStateBy, pgx.StrictNamedArgs{"trial_id": id, "n": n}, pgx.RowToStructByNameLax[trial.Analysis])
}

// AnalysesOf implements trial.ReadTx: in order of number.
func (r readTx) AnalysesOf(ctx context.Context, id trial.ID) ([]trial.Analysis, error) {
	const analysesOf = selectAnalysisState + `ORDER BY n`
	return list(ctx, r.tx, "analyses", analysesOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByNameLax[trial.Analysis])
}

// EnqueueAnalysis implements trial.Tx. It locks the trial. An analysis that failed or was withdrawn does not stand in the way
// of another.
func (w writeTx) EnqueueAnalysis(ctx context.Context, a trial.Analysis) (trial.Analysis, error) {
	if _, err := w.LockTrial(ctx, a.TrialID); err != nil {
		return trial.Analysis{}, err
	}
	const stands = selectAnalysis + `AND checkpoint = @checkpoint AND state NOT IN ('failed', 'withdrawn')`
	standing, err := list(ctx, w.tx, "analyses", stands, pgx.StrictNamedArgs{"trial_id": a.TrialID, "checkpoint": a.Checkpoint}, pgx.RowToStructByName[trial.Analysis])
	if err != nil {
		return trial.Analysis{}, err
	}
	if len(standing) > 0 {
		return standing[0], nil
	}
	const nextNumber = `SELECT coalesce(max(n), 0) + 1 FROM analyses WHERE trial_id = @trial_id`
	if a.N, err = one(ctx, w.tx, "analyses", nextNumber, pgx.StrictNamedArgs{"trial_id": a.TrialID}, pgx.RowTo[int]); err != nil {
		return trial.Analysis{}, err
	}
	if err := w.InsertAnalysis(ctx, a); err != nil {
		return trial.Analysis{}, err
	}
	if _, err := w.queue.InsertTx(ctx, w.tx, analysisArgs{a.TrialID, a.N}, nil); err != nil {
		return trial.Analysis{}, fmt.Errorf("enqueue analysis: %w", translate(err))
	}
	return a, nil
}

// InsertAnalysis implements trial.Tx.
func (w writeTx) InsertAnalysis(ctx context.Context, a trial.Analysis) error {
	const insertAnalysis = `
INSERT INTO analyses (trial_id, n, state, checkpoint, requested_at, requested_by, finished_at, protocol_version,
                      program_version, settings, fingerprint, input, result, failure)
VALUES (@trial_id, @n, @state, @checkpoint, @requested_at, @requested_by, @finished_at, @protocol_version,
        @program_version, @settings, @fingerprint, @input, @result, @failure)`
	args := outcomeArgs(a)
	args["checkpoint"], args["requested_at"], args["requested_by"] = a.Checkpoint, a.RequestedAt, a.RequestedBy
	return insert(ctx, w.tx, "analysis", insertAnalysis, args)
}

// FinishAnalysis implements trial.Tx. It waits for a withdrawal under way.
func (w writeTx) FinishAnalysis(ctx context.Context, a trial.Analysis) (bool, error) {
	const finishAnalysis = `
UPDATE analyses
SET state = @state, finished_at = @finished_at, protocol_version = @protocol_version, program_version = @program_version,
    settings = @settings, fingerprint = @fingerprint, input = @input, result = @result, failure = @failure
WHERE trial_id = @trial_id AND n = @n AND state = 'queued'`
	n, err := exec(ctx, w.tx, "finish analysis", finishAnalysis, outcomeArgs(a))
	if err == nil && n == 0 {
		_, err = w.AnalysisBy(ctx, a.TrialID, a.N)
	}
	return n > 0, err
}

// WithdrawAnalyses implements trial.Tx. Every analysis asked for since the enrolment counts it, at least among those who
// joined; where two processes' clocks differ, the pseudonym in what was read tells too.
func (w writeTx) WithdrawAnalyses(ctx context.Context, e trial.Enrolment, at time.Time) error {
	const (
		withdraw = `
UPDATE analyses SET state = 'withdrawn', withdrawn_at = @at, input = NULL, result = NULL, failure = ''
WHERE trial_id = @trial_id AND state <> 'withdrawn'
  AND (requested_at >= @since OR position(convert_to('"' || @pseudonym || '"', 'UTF8') IN coalesce(input, '')) > 0)`
		decide = `
UPDATE looks l
SET decision = CASE decision WHEN '' THEN 'no_decision' ELSE decision END, information = NULL, fraction = NULL, spent = NULL,
    boundary_p = NULL, p = NULL, log_odds = NULL, e_value = NULL, share_low = NULL, share_high = NULL
FROM analyses a
WHERE l.trial_id = @trial_id AND a.trial_id = l.trial_id AND a.n = l.analysis AND a.state = 'withdrawn'`
	)
	args := pgx.StrictNamedArgs{"trial_id": e.TrialID, "at": at, "since": e.EnrolledAt, "pseudonym": e.Pseudonym}
	if _, err := exec(ctx, w.tx, "withdraw analyses", withdraw, args); err != nil {
		return err
	}
	_, err := exec(ctx, w.tx, "decide looks", decide, pgx.StrictNamedArgs{"trial_id": e.TrialID})
	return err
}

// outcomeArgs are the columns of an analysis that its computation may change, and its key.
func outcomeArgs(a trial.Analysis) pgx.StrictNamedArgs {
	return pgx.StrictNamedArgs{
		"trial_id": a.TrialID, "n": a.N, "state": a.State, "finished_at": a.FinishedAt, "protocol_version": a.ProtocolVersion,
		"program_version": a.ProgramVersion, "settings": a.Settings, "fingerprint": a.Fingerprint, "input": a.Input,
		"result": a.Result, "failure": a.Failure,
	}
}
