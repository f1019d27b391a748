package db

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
)

// failAnalysis marks an analysis as failed for good.
func (s *Store) failAnalysis(ctx context.Context, a analysisArgs, at time.Time) error {
	const failAnalysis = `
UPDATE analyses SET state = 'failed', finished_at = @at, failure = @failure WHERE trial_id = @trial_id AND n = @n AND state = 'queued'`
	_, err := s.pool.Exec(ctx, failAnalysis, pgx.StrictNamedArgs{
		"trial_id": a.TrialID, "n": a.N, "at": at, "failure": "the analysis could not be computed; ask for another, and tell the server's admin if it fails again",
	})
	return translate(err)
}

// failPublication marks an edition as failed for good.
func (s *Store) failPublication(ctx context.Context, p publicationArgs) error {
	const failPublication = `
UPDATE publications SET state = 'failed', failure = @failure WHERE trial_id = @trial_id AND edition = @edition AND state = 'queued'`
	_, err := s.pool.Exec(ctx, failPublication, pgx.StrictNamedArgs{
		"trial_id": p.TrialID, "edition": p.N, "failure": "the package could not be made; ask for it again, and tell the server's admin if it fails again",
	})
	return translate(err)
}

// rescue frees the work of killed processes again and again until ctx ends. Every process does, beside the queue, so that
// it needs none of the killed one's jobs to be free, nor another election.
func (s *Store) rescue(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(rescueInterval):
		}
		if err := s.freeJobs(ctx); err != nil && ctx.Err() == nil {
			s.log.Warn("the jobs of processes that ended could not be freed", "reason", err)
		}
	}
}

// freeJobs frees the work of processes that live no more: a process lives as long as it has a connection. One that has
// only lost its connections may find its work done twice, of which the second finds the first's result and stores nothing.
func (s *Store) freeJobs(ctx context.Context) error {
	const free = `
UPDATE jobs.river_job j
SET state = (CASE WHEN attempt < max_attempts THEN 'available' ELSE 'discarded' END)::jobs.river_job_state,
    finalized_at = CASE WHEN attempt < max_attempts THEN NULL ELSE now() END
WHERE state = 'running' AND NOT EXISTS (
    SELECT FROM pg_stat_activity
    WHERE datname = current_database()
      AND application_name = @prefix || split_part(j.attempted_by[array_upper(j.attempted_by, 1)], '/', 1))`
	if _, err := s.pool.Exec(ctx, free, pgx.StrictNamedArgs{"prefix": applicationPrefix}); err != nil {
		return fmt.Errorf("free the jobs of processes that ended: %w", translate(err))
	}
	return nil
}

// failOrphans marks as failed what nobody will work on again: its last process was killed too, so that it could not do so
// itself. Of very many the rest is left to the next minute.
func (s *Store) failOrphans(ctx context.Context) error {
	const (
		without = ` q
WHERE state = 'queued' AND NOT EXISTS (
    SELECT FROM jobs.river_job
    WHERE kind = @kind AND args @> jsonb_build_object('trial_id', q.trial_id::text, 'n', q.n)
      AND state IN ('available', 'pending', 'retryable', 'running', 'scheduled'))
LIMIT 1000`
		analyses = `SELECT trial_id, n FROM analyses` + without
		editions = `SELECT trial_id, n FROM (SELECT trial_id, edition AS n, state FROM publications)` + without
	)
	err := failEach(ctx, s, analyses, func(a analysisArgs) error { return s.failAnalysis(ctx, a, time.Now()) })
	if err != nil {
		return fmt.Errorf("mark analyses without a job as failed: %w", err)
	}
	err = failEach(ctx, s, editions, func(p publicationArgs) error { return s.failPublication(ctx, p) })
	if err != nil {
		return fmt.Errorf("mark editions without a job as failed: %w", err)
	}
	return nil
}

// failEach marks what the query finds.
func failEach[T river.JobArgs](ctx context.Context, s *Store, query string, fail func(T) error) error {
	var kind T
	rows, err := s.pool.Query(ctx, query, pgx.StrictNamedArgs{"kind": kind.Kind()})
	if err != nil {
		return translate(err)
	}
	left, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
	if err != nil {
		return translate(err)
	}
	for _, job := range left {
		if err := fail(job); err != nil {
			return err
		}
	}
	return nil
}
