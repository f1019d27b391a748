package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// noteRoom remembers that a transaction found no room, until Ready finds some.
func (s *Store) noteRoom(err error) {
	if isFull(err) {
		s.full.Store(true)
	}
}

// room returns nil when the last transaction found room on the server's disk, or when there is some again: reading goes on
// without, so that only writing can tell. What is written to find out is a table of this transaction's own, which is gone
// with it.
func (s *Store) room(ctx context.Context) error {
	if !s.full.Load() {
		return nil
	}
	tx, err := s.pool.Begin(ctx)
	if err != nil {
		return fmt.Errorf("look for room: %w", translate(err))
	}
	defer func() { _ = tx.Rollback(context.WithoutCancel(ctx)) }()
	const write = `CREATE TEMP TABLE room AS SELECT repeat('x', 1000) FROM generate_series(1, 1000)` // 1 MB
	if _, err := tx.Exec(ctx, write, pgx.QueryExecModeExec); err != nil {
		return fmt.Errorf("look for room: %w", translate(err))
	}
	s.full.Store(false)
	return nil
}
