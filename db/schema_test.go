package db_test

import (
	"fmt"
	"io/fs"
	"log/slog"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/db/migrations"
)

// smallTables are not spread by trial. Everything else belongs to a trial.
var smallTables = []string{"accounts", "tokens", "clubs", "memberships", "invitations", "sessions", "links", "handovers", "events", "upkeep", "schema_terms"}

// smallLinks are the keys by which a trial's tables point at small ones, and the index that finds a club's trials.
var smallLinks = []string{"trials_club_fkey", "trials_club_idx", "enrolments_account_fkey"}

// config reads an address, without what is for a pool.
func config(t testing.TB, url string) *pgx.ConnConfig {
	t.Helper()
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		t.Fatal(err)
	}
	return config.ConnConfig
}

func connect(t testing.TB, url string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.ConnectConfig(t.Context(), config(t, url))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(t.Context()) }) //nolint:errcheck // its database is dropped next
	return conn
}

func rows[T any](t testing.TB, conn *pgx.Conn, sql string, args ...any) []T {
	t.Helper()
	found, err := conn.Query(t.Context(), sql, args...)
	if err != nil {
		t.Fatal(err)
	}
	records, err := pgx.CollectRows(found, pgx.RowToStructByPos[T])
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return records
}

func texts(t testing.TB, conn *pgx.Conn, sql string, args ...any) []string {
	t.Helper()
	found, err := conn.Query(t.Context(), sql, args...)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := pgx.CollectRows(found, pgx.RowTo[string])
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return lines
}

// dump describes every table, column, constraint, index and storage setting, line by line.
func dump(t testing.TB, conn *pgx.Conn) []string {
	return texts(t, conn, `
SELECT format('schema %s', nspname) AS line FROM pg_namespace WHERE nspname !~ '^pg_' AND nspname <> 'information_schema'
UNION ALL
SELECT format('%s %s.%s %s', relkind, nspname, relname, reloptions) FROM pg_class c JOIN pg_namespace n ON n.oid = relnamespace
WHERE nspname IN ('public', 'jobs') AND relkind <> 'i'
UNION ALL
SELECT format('column %s %s %s %s %s %s %s', attrelid::regclass, rank() OVER (PARTITION BY attrelid ORDER BY attnum), attname, format_type(atttypid, atttypmod), attnotnull,
              pg_get_expr(adbin, adrelid), attidentity)
FROM pg_attribute a JOIN pg_class c ON c.oid = attrelid JOIN pg_namespace n ON n.oid = relnamespace
LEFT JOIN pg_attrdef d ON adrelid = attrelid AND adnum = attnum
WHERE nspname IN ('public', 'jobs') AND attnum > 0 AND NOT attisdropped
UNION ALL
SELECT format('constraint %s %s %s', conrelid::regclass, conname, pg_get_constraintdef(c.oid))
FROM pg_constraint c JOIN pg_namespace n ON n.oid = connamespace WHERE nspname IN ('public', 'jobs')
UNION ALL
SELECT indexdef FROM pg_indexes WHERE schemaname IN ('public', 'jobs')
UNION ALL
SELECT format('function %s', p.oid::regprocedure) FROM pg_proc p JOIN pg_namespace n ON n.oid = pronamespace WHERE nspname IN ('public', 'jobs')
UNION ALL
SELECT format('type %s.%s %s', nspname, typname, typtype) FROM pg_type t JOIN pg_namespace n ON n.oid = typnamespace WHERE nspname IN ('public', 'jobs')
ORDER BY line`)
}

func TestMigrations(t *testing.T) {
	t.Parallel()
	url := dbtest.Empty(t)
	conn := connect(t, url)
	ctx := t.Context()
	version := func(want uint) {
		t.Helper()
		if got, err := db.MigrationVersion(ctx, url); err != nil || got != want {
			t.Fatalf("the schema is at %d (%v), want %d", got, err, want)
		}
	}
	steps, err := fs.Glob(migrations.FS, "*.up.sql")
	if err != nil {
		t.Fatal(err)
	}
	last := uint(len(steps))

	version(0)
	if err := db.MigrateDown(ctx, url, 1); err != nil {
		t.Fatalf("down on an empty database: %v", err)
	}
	if err := db.MigrateUp(ctx, url); err != nil {
		t.Fatal(err)
	}
	version(last)
	whole := dump(t, conn)
	if len(whole) < 200 {
		t.Fatalf("the schema is described in only %d lines", len(whole))
	}
	if err := db.MigrateUp(ctx, url); err != nil {
		t.Fatalf("up when there is nothing to do: %v", err)
	}
	sameDump(t, "up twice", dump(t, conn), whole)

	// Down to each step, and from there up again.
	for step := last; step >= 1; step-- {
		if err := db.MigrateDown(ctx, url, int(last-step)+1); err != nil {
			t.Fatalf("down to %d: %v", step-1, err)
		}
		version(step - 1)
		if err := db.MigrateUp(ctx, url); err != nil {
			t.Fatalf("up from %d: %v", step-1, err)
		}
		sameDump(t, fmt.Sprintf("down to %d and up", step-1), dump(t, conn), whole)
	}

	// All at once, and more than there is.
	if err := db.MigrateDown(ctx, url, 100); err != nil {
		t.Fatal(err)
	}
	version(0)
	left := slices.DeleteFunc(dump(t, conn), func(line string) bool { return strings.Contains(line, "schema_migrations") || line == "schema public" })
	if len(left) > 0 {
		t.Errorf("all the way down leaves\n%s", strings.Join(left, "\n"))
	}
	store, err := db.Open(ctx, url, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if err := store.Ready(ctx); err == nil || !strings.Contains(err.Error(), "migrate up") {
		t.Errorf("without a schema the store is ready: %v", err)
	}
	if err := db.MigrateUp(ctx, url); err != nil {
		t.Fatal(err)
	}
	if err := store.Ready(ctx); err != nil {
		t.Errorf("with a schema the store is not ready: %v", err)
	}
	if err := db.MigrateDown(ctx, url, 0); err == nil {
		t.Error("0 steps down were taken")
	}
}

func sameDump(t *testing.T, what string, got, want []string) {
	t.Helper()
	for _, line := range got {
		if !slices.Contains(want, line) {
			t.Errorf("%s: the schema has gained %s", what, line)
		}
	}
	for _, line := range want {
		if !slices.Contains(got, line) {
			t.Errorf("%s: the schema has lost %s", what, line)
		}
	}
}

func TestMigrateAtOnce(t *testing.T) {
	t.Parallel()
	url := dbtest.Empty(t)
	done := make(chan error)
	const processes = 5
	for range processes {
		go func() { done <- db.MigrateUp(t.Context(), url) }()
	}
	for range processes {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func TestBrokenStep(t *testing.T) {
	t.Parallel()
	url := dbtest.URL(t)
	conn := connect(t, url)
	if _, err := conn.Exec(t.Context(), `UPDATE schema_migrations SET dirty = true`); err != nil {
		t.Fatal(err)
	}
	store, err := db.Open(t.Context(), url, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if err := store.Ready(t.Context()); err == nil || !strings.Contains(err.Error(), "broken off") {
		t.Errorf("after a step that was broken off the store is ready: %v", err)
	}
	if err := db.MigrateUp(t.Context(), url); err == nil {
		t.Error("after a step that was broken off the schema goes up")
	}
}

// TestSteps checks the names of the steps: numbered from 1 without gaps, a verb and an object, each with its way back.
func TestSteps(t *testing.T) {
	t.Parallel()
	files, err := fs.Glob(migrations.FS, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	form := regexp.MustCompile(`^(\d{6})_([a-z]+_[a-z_]+)\.(up|down)\.sql$`)
	for i, file := range files {
		m := form.FindStringSubmatch(file)
		if m == nil || m[1] != fmt.Sprintf("%06d", i/2+1) || m[3] != []string{"down", "up"}[i%2] {
			t.Errorf("file %d is %s", i, file)
		}
	}
	jobs := fmt.Sprintf("%06d_", migrations.Jobs)
	for _, file := range files {
		text, err := fs.ReadFile(migrations.FS, file)
		if err != nil {
			t.Fatal(err)
		}
		if makes := strings.Contains(string(text), "CREATE SCHEMA jobs"); makes != (strings.HasPrefix(file, jobs) && strings.HasSuffix(file, "up.sql")) {
			t.Errorf("%s makes the schema of the job queue: %v", file, makes)
		}
	}
}

// key is a constraint or index of a table with its columns in order.
type tableKey struct {
	Table, Name, Kind string
	Columns           []string
}

const trialKeys = `
SELECT conrelid::regclass::text, conname::text, contype::text,
       ARRAY(SELECT attname::text FROM unnest(conkey) WITH ORDINALITY k (n, i) JOIN pg_attribute ON attrelid = conrelid AND attnum = n ORDER BY i)
FROM pg_constraint WHERE connamespace = 'public'::regnamespace AND contype IN ('p', 'u', 'f') AND conparentid = 0
UNION ALL
SELECT indrelid::regclass::text, relname::text, 'i',
       ARRAY(SELECT attname::text FROM unnest(indkey) WITH ORDINALITY k (n, i) JOIN pg_attribute ON attrelid = indrelid AND attnum = n ORDER BY i)
FROM pg_index JOIN pg_class c ON c.oid = indexrelid WHERE relnamespace = 'public'::regnamespace`

func TestEveryKeyBeginsWithTheTrial(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.URL(t))
	for _, k := range rows[tableKey](t, conn, trialKeys) {
		if k.Table == "schema_migrations" || slices.Contains(smallTables, k.Table) || slices.Contains(smallLinks, k.Name) {
			continue
		}
		begins := "trial_id"
		if k.Table == "trials" {
			begins = "id" // the trial's own
		}
		if k.Columns[0] != begins {
			t.Errorf("%s of table %s begins with %s: it belongs to a trial", k.Name, k.Table, k.Columns[0])
		}
	}
}

func TestEveryConstraintIsNamed(t *testing.T) {
	t.Parallel()
	conn := connect(t, dbtest.URL(t))
	form := regexp.MustCompile(`^[a-z_]+_(pkey|key|fkey|check|idx)$`)
	for _, k := range rows[struct{ Table, Name, Definition string }](t, conn, `
SELECT conrelid::regclass::text, conname::text, pg_get_constraintdef(oid) FROM pg_constraint
WHERE connamespace = 'public'::regnamespace AND conparentid = 0 AND conrelid <> 0 AND conrelid <> 'schema_migrations'::regclass`) {
		if !form.MatchString(k.Name) || !strings.HasPrefix(k.Name, k.Table+"_") || regexp.MustCompile(`check\d`).MatchString(k.Name) {
			t.Errorf("constraint %s of %s (%s) has a name that it was not given", k.Name, k.Table, k.Definition)
		}
	}
	steps, err := fs.Glob(migrations.FS, "*.up.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range steps {
		text, err := fs.ReadFile(migrations.FS, file)
		if err != nil {
			t.Fatal(err)
		}
		for _, never := range []string{"DEFAULT", "now()", "AS ENUM", "serial", "timestamp "} {
			if strings.Contains(string(text), never) {
				t.Errorf("%s says %s", file, never)
			}
		}
	}
}
