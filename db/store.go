// Package db keeps everything in PostgreSQL: it implements trial's Store. The schema is in migrations; every statement
// stands beside the method that runs it; errors become trial's by the name of the constraint that was broken. Nothing
// outside this package sees the database, and nothing in it knows a rule: what may be saved is trial's business.
package db

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"evenrig/service/trial"
)

// Store is a pool of connections to one database. It may be used by many goroutines.
type Store struct {
	pool  *pgxpool.Pool
	queue *river.Client[pgx.Tx]
	log   *slog.Logger
	// process is random and names this store in its connections' application_name, by which others can tell whether it
	// lives.
	process string
}

var _ trial.Store = (*Store)(nil)

// poolSize is the number of connections unless the address says otherwise (pool_max_conns). The writer of catches needs
// one of them; two cores are busy with far fewer.
const poolSize = 16

// applicationPrefix begins the application_name of the program's connections.
const applicationPrefix = "evenrig "

// Open returns a Store on the database at the given address (postgres://…, by TCP or a unix socket), once it answers.
// It does not touch the schema.
//
// Errors: the address cannot be read, or the database does not answer.
func Open(ctx context.Context, url string, log *slog.Logger) (*Store, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("read the database's address: %w", err)
	}
	if !strings.Contains(url, "pool_max_conns") {
		config.MaxConns = poolSize
	}
	config.MaxConnLifetimeJitter = 10 * time.Minute
	config.AfterConnect = prepare
	// A client that dies without a word must not hold a chain for long.
	config.ConnConfig.RuntimeParams["idle_in_transaction_session_timeout"] = "60s"
	process := rand.Text()
	config.ConnConfig.RuntimeParams["application_name"] = applicationPrefix + process
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", translate(err))
	}
	if err := warnUnlessDurable(ctx, pool, log); err != nil {
		pool.Close()
		return nil, fmt.Errorf("open the database: %w", translate(err))
	}
	queue, err := river.NewClient(riverpgxv5.New(pool), &river.Config{Schema: jobsSchema, Logger: queueLog(log)})
	if err != nil {
		pool.Close()
		return nil, fmt.Errorf("open the job queue: %w", err)
	}
	return &Store{pool: pool, queue: queue, log: log, process: process}, nil
}

// prepare makes a new connection ready.
func prepare(ctx context.Context, conn *pgx.Conn) error {
	registerTypes(conn.TypeMap())
	// Every statement has an index to go by, whatever its arguments. So the server plans it once and keeps the plan; and
	// since one that it made while the tables were nearly empty would read them whole when they are not, such plans are
	// priced out.
	const planByIndex = `
SELECT set_config(setting, value, false)
FROM (VALUES ('plan_cache_mode', 'force_generic_plan'), ('enable_seqscan', 'off'), ('enable_hashjoin', 'off'), ('enable_mergejoin', 'off')) AS s (setting, value)`
	_, err := conn.Exec(ctx, planByIndex)
	return err
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
func (s *Store) Close() { s.pool.Close() }

// Ready returns nil when the database answers and its schema is at least this program's: a step only ever adds at
// first, so that the program before it runs on beside the program after it.
//
// Errors: Unavailable, saying which.
func (s *Store) Ready(ctx context.Context) error {
	want, err := LatestVersion()
	if err != nil {
		return err
	}
	have, err := schemaVersion(ctx, s.pool)
	if err != nil {
		return err
	}
	if have < want {
		return trial.Fail(trial.Unavailable, "database.schema", "the database's schema is at step %d and this program needs step %d; run migrate up", have, want)
	}
	return nil
}
