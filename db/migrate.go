package db

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"time"

	"github.com/golang-migrate/migrate/v4"
	migratepgx "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"evenrig/db/migrations"
	"evenrig/service/trial"
)

// jobsSchema is the schema in which the job queue keeps its tables.
const jobsSchema = "jobs"

// schemaLock is the advisory lock under which the schema is changed, its own steps and the job queue's together.
const schemaLock int64 = 0x6576656e726967 // "evenrig"

// MigrateUp brings the schema of the database at the given address to this program's version. Several processes may
// call it at once: one works, the others wait and find nothing left to do. A schema that a newer program has brought further is
// left as it is: steps only add what this program need not know.
//
// Errors: the database does not answer, a newer program took away what this one uses, a step failed (then the schema is marked and MigrateUp refuses to go on), ctx
// ended while waiting; a step under way is finished first.
func MigrateUp(ctx context.Context, url string) error {
	return changeSchema(ctx, url, func(s *schema) error {
		have, knows, err := schemaSteps(ctx, s.pool)
		if err != nil || have > knows {
			return err
		}
		if err := s.steps.Up(); err != nil && !errors.Is(err, migrate.ErrNoChange) {
			return fmt.Errorf("bring the schema up: %w", err)
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if _, err := s.queue.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
			return fmt.Errorf("bring the job queue's tables up: %w", err)
		}
		return nil
	})
}

// MigrateDown takes the last steps (1 or more) back, with everything that they hold. Going back before the first step
// leaves an empty schema.
func MigrateDown(ctx context.Context, url string, steps int) error {
	if steps < 1 {
		return fmt.Errorf("%d steps cannot be taken back; accepted: 1 or more", steps)
	}
	return changeSchema(ctx, url, func(s *schema) error {
		version, err := schemaVersion(ctx, s.pool)
		if err != nil || version == 0 {
			return err
		}
		steps := min(steps, int(version))
		if target := int(version) - steps; target < migrations.Jobs && int(version) >= migrations.Jobs {
			if _, err := s.queue.Migrate(ctx, rivermigrate.DirectionDown, &rivermigrate.MigrateOpts{TargetVersion: -1}); err != nil {
				return fmt.Errorf("take the job queue's tables back: %w", err)
			}
		}
		if err := s.steps.Steps(-steps); err != nil {
			return fmt.Errorf("take the schema back: %w", err)
		}
		return nil
	})
}

// MigrationVersion returns the number of the last step taken, 0 when there is none.
//
// Errors: the database does not answer, or a step was broken off.
func MigrationVersion(ctx context.Context, url string) (uint, error) {
	pool, err := openForMigration(ctx, url)
	if err != nil {
		return 0, err
	}
	defer pool.Close()
	return schemaVersion(ctx, pool)
}

// rowQuerier is a pool or a connection.
type rowQuerier interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

func schemaVersion(ctx context.Context, pool rowQuerier) (uint, error) {
	var version int64
	var dirty bool
	const lastStep = `SELECT version, dirty FROM schema_migrations`
	switch err := pool.QueryRow(ctx, lastStep).Scan(&version, &dirty); {
	case errors.Is(err, pgx.ErrNoRows), isMissingTable(err):
		return 0, nil
	case err != nil:
		return 0, fmt.Errorf("read the schema's version: %w", translate(err))
	case dirty:
		return uint(version), trial.Fail(trial.Unavailable, "database.schema",
			"step %d of the database's schema was broken off; restore a backup or repair it by hand", version)
	}
	return uint(version), nil
}

// schemaSteps returns the last step that the schema has taken, and the last that this program knows.
//
// Errors: Unavailable where later steps took away what this program uses.
func schemaSteps(ctx context.Context, pool rowQuerier) (have, knows uint, err error) {
	if knows, err = LatestVersion(); err != nil {
		return 0, 0, err
	}
	if have, err = schemaVersion(ctx, pool); err != nil || have <= knows {
		return have, knows, err
	}
	var oldest uint
	const terms = `SELECT oldest FROM schema_terms`
	if err := pool.QueryRow(ctx, terms).Scan(&oldest); err != nil {
		return have, knows, fmt.Errorf("read which programs may run on the schema: %w", translate(err))
	}
	if oldest > knows {
		return have, knows, trial.Fail(trial.Unavailable, "database.schema", "the database's schema is at step %d, on which programs run that know step %d; "+
			"this one knows no step after %d: a release was skipped, or this program was left over; accepted: a newer one", have, oldest, knows)
	}
	return have, knows, nil
}

// LatestVersion returns the number of this program's last step.
func LatestVersion() (uint, error) {
	steps, err := fs.Glob(migrations.FS, "*.up.sql")
	if err != nil {
		return 0, err
	}
	return uint(len(steps)), nil // they are numbered from 1 without gaps
}

// openForMigration returns a pool that is closed after the schema was looked at or changed.
func openForMigration(ctx context.Context, url string) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("read the database's address: %w", err)
	}
	config.MaxConns = 4
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", translate(err))
	}
	return pool, nil
}

// schema is what changes a database's schema: the program's steps and the job queue's.
type schema struct {
	pool  *pgxpool.Pool
	steps *migrate.Migrate
	queue *rivermigrate.Migrator[pgx.Tx]
}

// changeSchema runs change while no other process changes the schema.
func changeSchema(ctx context.Context, url string, change func(*schema) error) (err error) {
	pool, err := openForMigration(ctx, url)
	if err != nil {
		return err
	}
	defer pool.Close()
	lock, err := lockSchema(ctx, pool)
	if err != nil {
		return fmt.Errorf("wait for the schema's lock: %w", translate(err))
	}
	defer func() {
		// Ending the session gives up its locks, whatever state it is in.
		err = errors.Join(err, lock.Close(context.WithoutCancel(ctx)))
	}()
	source, err := iofs.New(migrations.FS, ".")
	if err != nil {
		return fmt.Errorf("read the schema's steps: %w", err)
	}
	// Connections of its own: a driver that fails to open keeps one, for which the pool would wait for ever.
	database := stdlib.OpenDB(*pool.Config().ConnConfig)
	defer func() { err = errors.Join(err, database.Close()) }()
	driver, err := migratepgx.WithInstance(database, &migratepgx.Config{})
	if err != nil {
		return fmt.Errorf("open the database: %w", translate(err))
	}
	s := &schema{pool: pool}
	if s.steps, err = migrate.NewWithInstance("embedded", source, "pgx5", &wholeSteps{Driver: driver, ctx: ctx}); err != nil {
		return fmt.Errorf("prepare the schema's steps: %w", err)
	}
	defer func() {
		sourceErr, databaseErr := s.steps.Close()
		err = errors.Join(err, sourceErr, databaseErr)
	}()
	stop := context.AfterFunc(ctx, func() { s.steps.GracefulStop <- true })
	defer stop()
	quiet := slog.New(slog.DiscardHandler) // it would write to standard output
	if s.queue, err = rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: jobsSchema, Logger: quiet}); err != nil {
		return fmt.Errorf("prepare the job queue's tables: %w", err)
	}
	return change(s)
}

// lockSchema returns a connection that holds the schema's lock. It asks again and again instead of waiting inside the
// server, since a statement that waits can itself block the building of an index.
func lockSchema(ctx context.Context, pool *pgxpool.Pool) (*pgx.Conn, error) {
	pooled, err := pool.Acquire(ctx)
	if err != nil {
		return nil, err
	}
	conn := pooled.Hijack()
	if err := isSession(ctx, conn); err != nil { // a lock that a pooler's session held would never be given up
		return nil, errors.Join(err, conn.Close(context.WithoutCancel(ctx)))
	}
	const tryLock = `SELECT pg_try_advisory_lock($1)`
	for {
		var locked bool
		err := conn.QueryRow(ctx, tryLock, schemaLock).Scan(&locked)
		if err == nil && locked {
			return conn, nil
		}
		if err == nil {
			select {
			case <-ctx.Done():
				err = ctx.Err()
			case <-time.After(50 * time.Millisecond):
				continue
			}
		}
		return nil, errors.Join(err, conn.Close(context.WithoutCancel(ctx)))
	}
}
