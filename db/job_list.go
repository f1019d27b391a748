package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// selectJobs reads jobs in trial's words. What comes before a job is what its queue fetches first.
const selectJobs = `
SELECT number, kind, trial_id, n, state, attempt, attempts, asked_at, due_at, begun_at, ended_at, step, steps,
       CASE WHEN queue_state <> 'available' THEN 0 ELSE (
           SELECT count(*) FROM jobs.river_job b
           WHERE b.queue = j.queue AND b.state IN ('available', 'running')
             AND (b.state = 'running' OR (b.priority, b.scheduled_at, b.id) < (j.priority, j.due_at, j.number))) END AS ahead
FROM (
    SELECT id AS number, kind, (args->>'trial_id')::uuid AS trial_id, (args->>'n')::int AS n, attempt, max_attempts AS attempts,
           created_at AS asked_at, scheduled_at AS due_at, attempted_at AS begun_at, finalized_at AS ended_at,
           CASE WHEN state = 'running' THEN coalesce((metadata->>'step')::int, 0) ELSE 0 END AS step,
           CASE WHEN state = 'running' THEN coalesce((metadata->>'steps')::int, 0) ELSE 0 END AS steps,
           CASE WHEN state = 'running' THEN 'running' WHEN state = 'completed' THEN 'done' WHEN state = 'cancelled' THEN 'cancelled'
                WHEN state = 'discarded' THEN 'dead' WHEN attempt > 0 THEN 'retrying' ELSE 'waiting' END AS state,
           state::text AS queue_state, queue, priority
    FROM jobs.river_job
    WHERE kind IN ('analysis', 'publication')
) j `

// JobOf implements trial.ReadTx.
func (r readTx) JobOf(ctx context.Context, id trial.ID, kind trial.JobKind, n int) (trial.Job, error) {
	const jobOf = selectJobs + `
WHERE number = (SELECT max(id) FROM jobs.river_job WHERE kind = @kind AND args @> jsonb_build_object('trial_id', @trial_id::text, 'n', @n::int))`
	return one(ctx, r.tx, "job", jobOf, pgx.StrictNamedArgs{"trial_id": id.String(), "kind": kind, "n": n}, pgx.RowToStructByName[trial.Job])
}

// JobBy implements trial.ReadTx.
func (r readTx) JobBy(ctx context.Context, number int64) (trial.Job, error) {
	const jobBy = selectJobs + `WHERE number = @number`
	return one(ctx, r.tx, "job", jobBy, pgx.StrictNamedArgs{"number": number}, pgx.RowToStructByName[trial.Job])
}

// Jobs implements trial.ReadTx.
func (r readTx) Jobs(ctx context.Context, states []trial.JobState, before int64, limit int) ([]trial.Job, error) {
	const jobs = selectJobs + `WHERE state = ANY(@states) AND number < @before ORDER BY number DESC LIMIT @limit`
	return list(ctx, r.tx, "jobs", jobs, pgx.StrictNamedArgs{"states": states, "before": before, "limit": limit}, pgx.RowToStructByName[trial.Job])
}

// RetryJob implements trial.Tx. It is refused where another analysis of the same checkpoint, or another edition, stands.
func (w writeTx) RetryJob(ctx context.Context, j trial.Job) error {
	const (
		analysis    = `UPDATE analyses SET state = 'queued', finished_at = NULL, failure = '' WHERE trial_id = @trial_id AND n = @n AND state = 'failed'`
		publication = `UPDATE publications SET state = 'queued', failure = '' WHERE trial_id = @trial_id AND edition = @n AND state = 'failed'`
	)
	statement := map[trial.JobKind]string{trial.AnalysisJob: analysis, trial.PublicationJob: publication}[j.Kind]
	n, err := exec(ctx, w.tx, "retry job", statement, pgx.StrictNamedArgs{"trial_id": j.TrialID, "n": j.N})
	switch {
	case err != nil:
		return err
	case n == 0:
		return trial.Fail(trial.Conflict, "job.outdated", "what job %d was for does not wait for it any more", j.Number)
	}
	if _, err := w.queue.JobRetryTx(ctx, w.tx, j.Number); err != nil {
		return fmt.Errorf("retry job: %w", translate(err))
	}
	return nil
}

// CancelJob implements trial.Tx.
func (w writeTx) CancelJob(ctx context.Context, j trial.Job) error {
	if _, err := w.queue.JobCancelTx(ctx, w.tx, j.Number); err != nil {
		return fmt.Errorf("cancel job: %w", translate(err))
	}
	return nil
}

// NoteStep implements trial.Store. A job that was taken from its process meanwhile notes nothing of harm.
func (s *Store) NoteStep(ctx context.Context, id trial.ID, n, step, steps int) error {
	const noteStep = `
UPDATE jobs.river_job SET metadata = metadata || jsonb_build_object('step', @step::int, 'steps', @steps::int)
WHERE kind = 'analysis' AND state = 'running' AND args @> jsonb_build_object('trial_id', @trial_id::text, 'n', @n::int)`
	_, err := s.pool.Exec(ctx, noteStep, pgx.StrictNamedArgs{"trial_id": id.String(), "n": n, "step": step, "steps": steps})
	if err != nil {
		return fmt.Errorf("note the step of a job: %w", translate(err))
	}
	return nil
}
