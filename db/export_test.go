package db

import (
	"context"

	"evenrig/service/trial"
)

// URL returns the address of the store's database, for tests that look beneath it.
func (s *Store) URL() string { return s.pool.Config().ConnString() }

// OnReplica says whether a transaction runs on a replica.
func OnReplica(ctx context.Context, tx trial.ReadTx) (on bool, err error) {
	err = tx.(readTx).tx.QueryRow(ctx, `SELECT pg_is_in_recovery()`).Scan(&on)
	return on, err
}
