package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// QueuedJobs are the jobs of one kind in one state of the queue's: available, running, retryable, discarded and so on.
// Discarded ones failed for good.
type QueuedJobs struct {
	Kind, State string
	Jobs        int64
}

// Queue counts the jobs in the queue, in order of kind and state. Finished ones are among them for a day.
func (s *Store) Queue(ctx context.Context) ([]QueuedJobs, error) {
	const queue = `SELECT kind, state::text AS state, count(*) AS jobs FROM jobs.river_job GROUP BY kind, state ORDER BY kind, state`
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
