package db

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

// ErrPooler is returned where a session of the server's is needed and an address leads to a pooler, which has none to give.
var ErrPooler = errors.New("the address leads to a pooler and not to the PostgreSQL server itself")

// poolSize is the number of connections unless the address says otherwise (pool_max_conns). The writer of catches needs
// one of them; two cores are busy with far fewer. directSize is enough for the job queue beside a pooler.
const (
	poolSize   = 16
	directSize = 6
)

// applicationPrefix begins the application_name of the program's connections.
const applicationPrefix = "evenrig "

// Every statement has an index to go by, whatever its arguments. So the server plans it once and keeps the plan; and
// since one that it made while the tables were nearly empty would read them whole when they are not, such plans are
// priced out. That price must not make it think that compiling a statement or starting workers for it pays. Where no
// session keeps settings, each transaction begins with them; also with the time after which a client that died without a
// word no longer holds a chain.
const (
	planByIndex = `('plan_cache_mode', 'force_generic_plan'), ('enable_seqscan', 'off'), ('enable_hashjoin', 'off'), ('enable_mergejoin', 'off'), ('jit', 'off'),
('max_parallel_workers_per_gather', '0')`
	idleTimeout     = "60s"
	sessionSettings = `SELECT set_config(setting, value, false) FROM (VALUES ` + planByIndex + `) AS s (setting, value)`
	localSettings   = `SELECT set_config(setting, value, true)
FROM (VALUES ('idle_in_transaction_session_timeout', '` + idleTimeout + `'), ` + planByIndex + `) AS s (setting, value)`
)

// openSessions returns connections each of which is a session of the server's, marked as the process's.
func openSessions(ctx context.Context, url string, size int32, process string) (*pgxpool.Pool, error) {
	return openPool(ctx, url, size, func(config *pgxpool.Config) {
		config.ConnConfig.RuntimeParams["idle_in_transaction_session_timeout"] = idleTimeout
		config.ConnConfig.RuntimeParams["application_name"] = applicationPrefix + process
		config.AfterConnect = func(ctx context.Context, conn *pgx.Conn) error {
			registerTypes(conn.TypeMap())
			if err := isSession(ctx, conn); err != nil {
				return err
			}
			_, err := conn.Exec(ctx, sessionSettings)
			return err
		}
	})
}

// openPooled returns connections of which nothing is expected to last longer than a transaction: no settings, and no prepared
// statements, since each round trip may meet another server's connection. What a statement takes and returns is asked once and
// kept here. An address whose pooler knows of prepared statements may say so (default_query_exec_mode=cache_statement).
func openPooled(ctx context.Context, url string) (*pgxpool.Pool, error) {
	return openPool(ctx, url, poolSize, func(config *pgxpool.Config) {
		if !strings.Contains(url, "default_query_exec_mode") {
			config.ConnConfig.DefaultQueryExecMode = pgx.QueryExecModeCacheDescribe
		}
		config.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
			registerTypes(conn.TypeMap())
			return nil
		}
	})
}

func openPool(ctx context.Context, url string, size int32, prepare func(*pgxpool.Config)) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("read the database's address: %w", err)
	}
	if !strings.Contains(url, "pool_max_conns") {
		config.MaxConns = size
	}
	config.MaxConnLifetimeJitter = 10 * time.Minute
	prepare(config)
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", translate(err))
	}
	return pool, nil
}

// isSession returns ErrPooler unless the server process that answers is the one that was named when the connection was made: a
// pooler names none of the server's.
func isSession(ctx context.Context, conn *pgx.Conn) error {
	var answers uint32
	if err := conn.QueryRow(ctx, `SELECT pg_backend_pid()`).Scan(&answers); err != nil {
		return err
	}
	if answers != conn.PgConn().PID() {
		return ErrPooler
	}
	return nil
}

// explainPooler returns ErrPooler for the answer of one that refuses a setting which every server takes when a connection is made.
func explainPooler(err error) error {
	pgErr, ok := errors.AsType[*pgconn.PgError](err)
	if ok && pgErr.Code == protocolViolation && strings.Contains(pgErr.Message, "startup parameter") {
		return fmt.Errorf("%w: %w", ErrPooler, err)
	}
	return err
}

const protocolViolation = "08P01"
