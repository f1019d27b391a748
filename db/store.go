// Package db keeps everything in PostgreSQL: it implements trial's Store. The schema is in migrations; every statement
// stands beside the method that runs it; errors become trial's by the name of the constraint that was broken. Nothing
// outside this package sees the database, and nothing in it knows a rule: what may be saved is trial's business.
package db

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"sync/atomic"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"evenrig/service/trial"
)

// Store is a pool of connections to one database. It may be used by many goroutines.
type Store struct {
	// pool is what every transaction runs on. A pooler may stand behind it, so that nothing may rest in a session.
	pool *pgxpool.Pool
	// direct leads past a pooler to the server, for what needs a session of its own: the job queue, which listens, and the
	// name by which other processes see that this one lives. It is pool where no pooler stands between.
	direct  *pgxpool.Pool
	replica *replica // nil when there is none
	queue   *river.Client[pgx.Tx]
	log     *slog.Logger
	// full is whether the last transaction that wanted more room on the server's disk found none.
	full atomic.Bool
	// process is random and names this store in its connections' application_name, by which others can tell whether it
	// lives.
	process string
	// settings is queued at the beginning of each transaction; empty where the session has its settings.
	settings string
}

var _ trial.Store = (*Store)(nil)

// Option says how else the database is reached than by its address.
type Option func(*addresses)

type addresses struct{ direct, replica string }

// Direct says that the Store's address is that of a pooler, which hands each transaction to a connection of its choice, and at
// which address the server itself answers. An empty address says nothing.
func Direct(url string) Option { return func(a *addresses) { a.direct = url } }

// Replica names a streaming replica, which answers InLongReadTx while it can. An empty address says nothing.
func Replica(url string) Option { return func(a *addresses) { a.replica = url } }

// Open returns a Store on the database at the given address (postgres://…, by TCP or a unix socket), once it answers.
// It does not touch the schema. A replica need not answer.
//
// Errors: an address cannot be read, the database does not answer, ErrPooler.
func Open(ctx context.Context, url string, log *slog.Logger, options ...Option) (_ *Store, err error) {
	var to addresses
	for _, option := range options {
		option(&to)
	}
	s := &Store{log: log, process: rand.Text()}
	defer func() {
		if err != nil {
			s.Close()
		}
	}()
	if to.direct == "" {
		s.pool, err = openSessions(ctx, url, poolSize, s.process)
		s.direct = s.pool
	} else {
		s.settings = localSettings
		if s.pool, err = openPooled(ctx, url); err == nil {
			s.direct, err = openSessions(ctx, to.direct, directSize, s.process)
		}
	}
	if err == nil && to.replica != "" {
		s.replica, err = openReplica(ctx, to.replica, log)
	}
	if err != nil {
		return nil, err
	}
	if err := errors.Join(warnUnlessDurable(ctx, s.pool, log), s.direct.Ping(ctx)); err != nil {
		return nil, fmt.Errorf("open the database: %w", translate(explainPooler(err)))
	}
	s.queue, err = river.NewClient(riverpgxv5.New(s.pool), &river.Config{Schema: jobsSchema, Logger: queueLog(log)})
	if err != nil {
		return nil, fmt.Errorf("open the job queue: %w", err)
	}
	return s, nil
}

// warnUnlessDurable asks the server whether it keeps what it acknowledges, and says so if it does not.
func warnUnlessDurable(ctx context.Context, pool *pgxpool.Pool, log *slog.Logger) error {
	const durability = `SELECT current_setting('fsync') = 'on' AND current_setting('synchronous_commit') <> 'off'`
	var durable bool
	if err := pool.QueryRow(ctx, durability).Scan(&durable); err != nil {
		return err
	}
	if !durable {
		log.Warn("the database server does not wait for its disk (fsync or synchronous_commit is off): a power failure can lose catches that were acknowledged")
	}
	return nil
}

// Close ends all connections, waiting for those in use.
func (s *Store) Close() {
	for _, pool := range []*pgxpool.Pool{s.pool, s.direct, s.replica.connections()} {
		if pool != nil {
			pool.Close() // a second time does nothing
		}
	}
}

// Ready returns nil when the database answers, has room on its disk and its schema is at least this program's, and not so far beyond
// that it took away what this program uses: a step only ever adds at first, so that the program before it runs on beside the program after it.
//
// Errors: Unavailable, saying which.
func (s *Store) Ready(ctx context.Context) error {
	have, want, err := schemaSteps(ctx, s.pool)
	if err != nil {
		return err
	}
	if have < want {
		return trial.Fail(trial.Unavailable, "database.schema", "the database's schema is at step %d and this program needs step %d; run migrate up", have, want)
	}
	return s.room(ctx)
}
