package db

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"evenrig/service/trial"
)

// Snapshot is one state of a database, held open so that a backup program can copy the very state that was looked at.
type Snapshot struct {
	conn *pgx.Conn
	id   string
}

// Contents say what a database holds, so that a copy can be compared with it.
type Contents struct {
	SchemaVersion uint
	ServerMajor   int
	Trials        int
	// Tables has every table of the program and of its job queue by name, with its schema's in front.
	Tables map[string]TableContents
	// Last is the last checkpoint of each trial that has one, in order of trial.
	Last []trial.Checkpoint
}

// TableContents are a table's number of rows and a digest of them, which does not depend on their order.
type TableContents struct {
	Rows   int64  `json:"rows"`
	Digest string `json:"digest"`
}

// SealedSeed is a trial's sealed seed that has not been revealed.
type SealedSeed struct {
	ID         trial.ID
	SealedSeed []byte
}

// OpenSnapshot opens a snapshot of the database at the given address. It holds one connection until Close.
//
// Errors: the address cannot be read, the database does not answer.
func OpenSnapshot(ctx context.Context, url string) (_ *Snapshot, err error) {
	conn, err := openOne(ctx, url)
	if err != nil {
		return nil, err
	}
	s := &Snapshot{conn: conn}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close(ctx))
		}
	}()
	if _, err := conn.Exec(ctx, `BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY`); err != nil {
		return nil, fmt.Errorf("open a snapshot of the database: %w", translate(err))
	}
	if err := conn.QueryRow(ctx, `SELECT pg_export_snapshot()`).Scan(&s.id); err != nil {
		return nil, fmt.Errorf("open a snapshot of the database: %w", translate(err))
	}
	return s, nil
}

// openOne opens one connection on which values print alike on every server.
func openOne(ctx context.Context, url string) (*pgx.Conn, error) {
	pooled, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("read the database's address: %w", err)
	}
	config := pooled.ConnConfig
	for setting, value := range map[string]string{
		"TimeZone": "UTC", "DateStyle": "ISO", "IntervalStyle": "iso_8601", "bytea_output": "hex", "extra_float_digits": "1",
		// What stands in the way of reading everything at once: this is no client that may be forgotten.
		"statement_timeout": "0", "idle_in_transaction_session_timeout": "0", "application_name": applicationPrefix + "backup",
	} {
		config.RuntimeParams[setting] = value
	}
	conn, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", translate(explainPooler(err)))
	}
	registerTypes(conn.TypeMap())
	return conn, nil
}

// Close gives the snapshot up.
func (s *Snapshot) Close(ctx context.Context) error { return s.conn.Close(context.WithoutCancel(ctx)) }

// Contents goes through every table. It reads everything once.
//
// Errors: the schema is missing or was broken off, the database does not answer.
func (s *Snapshot) Contents(ctx context.Context) (Contents, error) { return contents(ctx, s.conn) }

// Seeds returns the sealed seeds of trials that have not revealed them, in order of trial.
func (s *Snapshot) Seeds(ctx context.Context) ([]SealedSeed, error) {
	const seeds = `SELECT id, sealed_seed FROM trials WHERE sealed_seed IS NOT NULL AND seed IS NULL AND state <> 'abandoned' ORDER BY id`
	rows, err := s.conn.Query(ctx, seeds)
	if err != nil {
		return nil, fmt.Errorf("read the sealed seeds: %w", translate(err))
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[SealedSeed])
	if err != nil {
		return nil, fmt.Errorf("read the sealed seeds: %w", translate(err))
	}
	return list, nil
}

// ContentsOf returns what the database at the given address holds; nobody should be writing to it.
//
// Errors: as OpenSnapshot's and Snapshot.Contents'.
func ContentsOf(ctx context.Context, url string) (c Contents, err error) {
	s, err := OpenSnapshot(ctx, url)
	if err != nil {
		return c, err
	}
	defer func() { err = errors.Join(err, s.Close(ctx)) }()
	return s.Contents(ctx)
}

func contents(ctx context.Context, conn *pgx.Conn) (Contents, error) {
	c := Contents{Tables: map[string]TableContents{}}
	var err error
	if c.ServerMajor, err = serverMajor(ctx, conn); err != nil {
		return c, err
	}
	version, err := schemaVersion(ctx, conn)
	if err != nil {
		return c, err
	}
	if c.SchemaVersion = version; version == 0 {
		return c, nil
	}
	const tables = `SELECT schemaname, tablename FROM pg_tables WHERE schemaname IN ('public', 'jobs') ORDER BY schemaname, tablename`
	rows, err := conn.Query(ctx, tables)
	if err != nil {
		return c, fmt.Errorf("list the database's tables: %w", translate(err))
	}
	type table struct{ Schemaname, Tablename string }
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[table])
	if err != nil {
		return c, fmt.Errorf("list the database's tables: %w", translate(err))
	}
	for _, t := range list {
		// The sum of 60 bits of each row's MD5: whatever the order, whoever the server.
		digest := `SELECT count(*), to_hex((coalesce(sum(('x' || substr(md5(r::text), 1, 15))::bit(60)::bigint::numeric), 0) % 1152921504606846976)::bigint) FROM ` +
			pgx.Identifier{t.Schemaname, t.Tablename}.Sanitize() + ` r`
		var found TableContents
		if err := conn.QueryRow(ctx, digest).Scan(&found.Rows, &found.Digest); err != nil {
			return c, fmt.Errorf("go through table %s.%s: %w", t.Schemaname, t.Tablename, translate(err))
		}
		c.Tables[t.Schemaname+"."+t.Tablename] = found
	}
	c.Trials = int(c.Tables["public.trials"].Rows)
	const lastCheckpoints = `SELECT DISTINCT ON (trial_id) trial_id, n, at, root, hash FROM checkpoints ORDER BY trial_id, n DESC`
	if rows, err = conn.Query(ctx, lastCheckpoints); err != nil {
		return c, fmt.Errorf("read the last checkpoints: %w", translate(err))
	}
	if c.Last, err = pgx.CollectRows(rows, pgx.RowToStructByName[trial.Checkpoint]); err != nil {
		return c, fmt.Errorf("read the last checkpoints: %w", translate(err))
	}
	return c, nil
}

// serverMajor returns the server's major version.
func serverMajor(ctx context.Context, conn *pgx.Conn) (int, error) {
	var number int
	if err := conn.QueryRow(ctx, `SELECT current_setting('server_version_num')::integer`).Scan(&number); err != nil {
		return 0, fmt.Errorf("ask the database server for its version: %w", translate(err))
	}
	return number / 10_000, nil
}

// Empty returns the server's major version when nothing of anybody's is in the database at the given address.
//
// Errors: it holds something, naming the first; it does not answer.
func Empty(ctx context.Context, url string) (major int, err error) {
	conn, err := openOne(ctx, url)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	const belongings = `
SELECT coalesce(string_agg(thing, ', ' ORDER BY thing), '') FROM (
    SELECT 'table ' || n.nspname || '.' || c.relname AS thing
    FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
    WHERE c.relkind IN ('r', 'p', 'v', 'm', 'f', 'S') AND n.nspname <> 'information_schema' AND NOT starts_with(n.nspname, 'pg_')
      AND NOT EXISTS (SELECT FROM pg_depend d WHERE d.objid = c.oid AND d.deptype = 'e')
    UNION ALL
    SELECT 'schema ' || nspname FROM pg_namespace
    WHERE nspname NOT IN ('public', 'information_schema') AND NOT starts_with(nspname, 'pg_')
    LIMIT 3) found`
	var found string
	if err := conn.QueryRow(ctx, belongings).Scan(&found); err != nil {
		return 0, fmt.Errorf("look what the database holds: %w", translate(err))
	}
	if found != "" {
		return 0, fmt.Errorf("the database is not empty (it has %s)", found)
	}
	return serverMajor(ctx, conn)
}
