package db

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"evenrig/service/trial"
)

const (
	// catchUp is how long a reader waits for the replica to have what the database has; a healthy one takes milliseconds.
	catchUp = 250 * time.Millisecond
	// replicaRest is how long a replica is left alone that failed or lagged, so that not every reader waits for it in vain.
	replicaRest = 5 * time.Second
)

// errBehind says that the replica cannot stand for the database at the moment.
var errBehind = errors.New("it lacks what the database has, or is no replica of it")

// replica is a streaming replica of the database.
type replica struct {
	pool *pgxpool.Pool
	log  *slog.Logger

	mu    sync.Mutex
	until time.Time // when it may be asked again
	lost  bool      // it was not of use when it was last asked
}

// openReplica connects when first asked: a replica that is down is no reason not to start.
func openReplica(ctx context.Context, url string, log *slog.Logger) (*replica, error) {
	pool, err := openPooled(ctx, url)
	if err != nil {
		return nil, fmt.Errorf("the replica: %w", err)
	}
	return &replica{pool: pool, log: log}, nil
}

func (r *replica) connections() *pgxpool.Pool {
	if r == nil {
		return nil
	}
	return r.pool
}

// InLongReadTx implements trial.Store. What a replica answers is as current as what the database answers: it is asked only when
// it has replayed everything that had been committed when the call began, so that a permission that ended, a consent that was
// withdrawn or a result whose bytes are gone before somebody asks is so there too.
func (s *Store) InLongReadTx(ctx context.Context, do func(ctx context.Context, tx trial.ReadTx) error) error {
	if s.replica.rests() {
		return s.InReadTx(ctx, do)
	}
	at, err := s.position(ctx)
	if err != nil {
		return s.InReadTx(ctx, do)
	}
	err, lost := s.replica.read(ctx, at, do)
	if lost == nil || ctx.Err() != nil {
		return err
	}
	s.replica.failed(lost)
	return s.InReadTx(ctx, do)
}

// read runs do on the replica once it has come to the place. lost is why do was not begun or did not come to its end, where that is
// the replica's fault; else err is do's own.
func (r *replica) read(ctx context.Context, at position, do func(ctx context.Context, tx trial.ReadTx) error) (err, lost error) {
	conn, err := r.reach(ctx, at)
	if err != nil {
		return err, err
	}
	defer conn.Release()
	err = translate(once(ctx, conn, beginRead+localSettings, func(tx pgx.Tx) error { return do(ctx, readTx{tx}) }))
	if trial.KindOf(err) == trial.Unavailable {
		return err, err
	}
	r.answered()
	return err, nil
}

// position is a place in the history of one database: whose, in which of the branches that it takes with every failover, where.
type position struct {
	System   int64
	Timeline int32
	LSN      string
}

// position returns a place up to which everything lies that was committed before the call. What is visible was flushed, unless
// the server was told not to wait for that.
func (s *Store) position(ctx context.Context) (position, error) {
	const here = `
SELECT system_identifier, ('x' || left(pg_walfile_name(pg_current_wal_insert_lsn()), 8))::bit(32)::integer,
       (CASE current_setting('synchronous_commit') WHEN 'off' THEN pg_current_wal_insert_lsn() ELSE pg_current_wal_flush_lsn() END)::text
FROM pg_control_system()`
	rows, err := s.pool.Query(ctx, here)
	if err != nil {
		return position{}, err
	}
	return pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[position])
}

// reach returns a connection to the replica once it has come to the place. The caller's snapshot is taken after that.
func (r *replica) reach(ctx context.Context, at position) (_ *pgxpool.Conn, err error) {
	ctx, cancel := context.WithTimeout(ctx, catchUp)
	defer cancel()
	conn, err := r.pool.Acquire(ctx)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			conn.Release()
		}
	}()
	// The timeline is that of the last restart point, so that a replica that follows a failover is of use a while later, and
	// one that does not is of none.
	const reached = `
SELECT pg_is_in_recovery() AND system_identifier = $1 AND timeline_id = $2 AND coalesce(pg_last_wal_replay_lsn() >= $3::text::pg_lsn, false)
FROM pg_control_system(), pg_control_checkpoint()`
	for pause := time.Millisecond; ; pause *= 2 {
		var there bool
		if err := conn.QueryRow(ctx, reached, at.System, at.Timeline, at.LSN).Scan(&there); err != nil || there {
			return conn, err
		}
		select {
		case <-ctx.Done():
			return nil, errBehind
		case <-time.After(pause):
		}
	}
}

// rests reports whether the replica is not to be asked; one that is not there always rests.
func (r *replica) rests() bool {
	if r == nil {
		return true
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	return time.Now().Before(r.until)
}

func (r *replica) failed(reason error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.until = time.Now().Add(replicaRest)
	if !r.lost {
		r.log.Warn("the replica does not answer; the database does instead", "reason", reason)
	}
	r.lost = true
}

func (r *replica) answered() {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.lost {
		r.log.Info("the replica answers again")
	}
	r.lost = false
}
