package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"evenrig/service/trial"
)

// QueuedJobs are the jobs of one kind in one state, and for how many seconds the oldest of them has waited to be begun since it was
// due, or has run.
type QueuedJobs struct {
	Kind   string
	State  trial.JobState
	Jobs   int64
	Oldest float64
}

// Queue counts the jobs that are still to be done and those that failed for good, in order of kind and state.
func (s *Store) Queue(ctx context.Context) ([]QueuedJobs, error) {
	const queue = `
SELECT kind, state, count(*) AS jobs, greatest(extract(epoch FROM now() - min(since)), 0)::float8 AS oldest
FROM (
    SELECT kind, CASE WHEN state = 'running' THEN attempted_at WHEN state = 'discarded' THEN finalized_at ELSE scheduled_at END AS since,
           CASE WHEN state = 'running' THEN 'running' WHEN state = 'discarded' THEN 'dead' WHEN attempt > 0 THEN 'retrying' ELSE 'waiting' END AS state
    FROM jobs.river_job WHERE state NOT IN ('completed', 'cancelled')
) j
GROUP BY kind, state ORDER BY kind, state`
	rows, err := s.pool.Query(ctx, queue)
	if err != nil {
		return nil, fmt.Errorf("count the queued jobs: %w", translate(err))
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[QueuedJobs])
	if err != nil {
		return nil, fmt.Errorf("count the queued jobs: %w", translate(err))
	}
	return list, nil
}

// Size returns how much of the server's disk the database takes, in bytes.
func (s *Store) Size(ctx context.Context) (bytes int64, err error) {
	const size = `SELECT pg_database_size(current_database())`
	if err := s.pool.QueryRow(ctx, size).Scan(&bytes); err != nil {
		return 0, fmt.Errorf("ask for the database's size: %w", translate(err))
	}
	return bytes, nil
}

// Pool says how the pool of connections is used.
func (s *Store) Pool() *pgxpool.Stat { return s.pool.Stat() }
