package db_test

import (
	"fmt"
	"io/fs"
	"log/slog"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/db/migrations"
	"evenrig/service/trial"
)

// rollingSince is the first step that is taken while the program before it runs on: from it on steps only add.
const rollingSince = 20

// termsSince is the step from which on the schema says which is the oldest program that may run on it.
const termsSince = 23

// notAdditions are the steps that do more, each with the reason why the program before it can live with that.
var notAdditions = map[string]string{
	"000022_free_ledger.up.sql": "it takes away two keys that refuse nothing which the program before it writes",
}

// TestStepsOnlyAdd: the program before a step runs on beside the program after it, so that a step makes new tables, new columns that
// may be empty, and indexes that refuse nothing; it takes nothing away, renames nothing and narrows nothing.
func TestStepsOnlyAdd(t *testing.T) {
	t.Parallel()
	steps, err := fs.Glob(migrations.FS, "*.up.sql")
	if err != nil {
		t.Fatal(err)
	}
	for i, file := range steps[rollingSince-1:] {
		text, err := fs.ReadFile(migrations.FS, file)
		if err != nil {
			t.Fatal(err)
		}
		faults, listed := takesAway(string(text)), notAdditions[file]
		if len(faults) > 0 && listed == "" {
			t.Errorf("%s does more than add: %q; make it two steps, one release apart, or say in notAdditions why the program before it can live with that", file, faults)
		}
		if len(faults) > 0 && i > termsSince-rollingSince && !setsTerms.Match(text) {
			t.Errorf("%s does more than add and does not say which is the oldest program that may run on it (UPDATE schema_terms SET oldest = its last step)", file)
		}
		if len(faults) == 0 && listed != "" {
			t.Errorf("%s only adds and is listed as if it did not", file)
		}
	}
	for file := range notAdditions {
		if !slices.Contains(steps, file) {
			t.Errorf("%s is listed and is not there", file)
		}
	}
}

var (
	sqlComment  = regexp.MustCompile(`--[^\n]*`)
	createTable = regexp.MustCompile(`^CREATE TABLE (\w+) `)
	createIndex = regexp.MustCompile(`^CREATE (UNIQUE )?INDEX \w+ ON (\w+)`)
	alterTable  = regexp.MustCompile(`^ALTER TABLE (\w+) (.*)$`)
	addColumn   = regexp.MustCompile(`^ADD COLUMN \w+ `)
	insertInto  = regexp.MustCompile(`^INSERT INTO (\w+) `)
	setsTerms   = regexp.MustCompile(`UPDATE schema_terms SET oldest = \d+;`)
)

// takesAway returns what of a step's statements does more than add.
func takesAway(step string) (faults []string) {
	made := map[string]bool{} // in this step, so that nobody else knows of it
	for statement := range strings.SplitSeq(sqlComment.ReplaceAllString(step, ""), ";") {
		statement = strings.Join(strings.Fields(statement), " ")
		if statement == "" {
			continue
		}
		if m := createTable.FindStringSubmatch(statement); m != nil {
			made[m[1]] = true
			continue
		}
		if m := createIndex.FindStringSubmatch(statement); m != nil && (m[1] == "" || made[m[2]]) {
			continue
		}
		if m := alterTable.FindStringSubmatch(statement); m != nil && (made[m[1]] || onlyAddsColumns(m[2])) {
			continue
		}
		if m := insertInto.FindStringSubmatch(statement); m != nil && made[m[1]] || setsTerms.MatchString(statement+";") {
			continue
		}
		faults = append(faults, statement)
	}
	return faults
}

// onlyAddsColumns reports whether what is done to a table adds columns that the program before it may leave empty.
func onlyAddsColumns(actions string) bool {
	for action := range strings.SplitSeq(actions, ", ADD ") {
		if !strings.HasPrefix(action, "ADD ") && !strings.HasPrefix(action, "ALTER ") && !strings.HasPrefix(action, "DROP ") {
			action = "ADD " + action
		}
		if !addColumn.MatchString(action) || strings.Contains(action, "NOT NULL") || strings.Contains(action, ", DROP ") || strings.Contains(action, ", ALTER ") {
			return false
		}
	}
	return true
}

// What the test above must find, and what it must not.
func TestTakesAway(t *testing.T) {
	t.Parallel()
	for step, adds := range map[string]bool{
		"-- new\nCREATE TABLE later (trial_id uuid NOT NULL);\nCREATE UNIQUE INDEX later_key ON later (trial_id);":                          true,
		"CREATE TABLE later (n bigint NOT NULL); INSERT INTO later (n) VALUES (1); UPDATE schema_terms SET oldest = 24;":                    true,
		"INSERT INTO trials (id) VALUES (gen_random_uuid())":                                                                                false,
		"CREATE INDEX catches_later_idx ON catches (trial_id, later);":                                                                      true,
		"ALTER TABLE catches\n    ADD COLUMN later text,\n    ADD COLUMN sooner text CONSTRAINT catches_sooner_check CHECK (sooner <> '');": true,
		"CREATE UNIQUE INDEX catches_later_key ON catches (trial_id, later);":                                                               false,
		"ALTER TABLE catches ADD COLUMN later text NOT NULL;":                                                                               false,
		"ALTER TABLE catches ADD COLUMN later text, DROP COLUMN note;":                                                                      false,
		"ALTER TABLE catches DROP COLUMN note;":                                                                                             false,
		"ALTER TABLE catches ADD COLUMN later text, ALTER COLUMN note TYPE bytea;":                                                          false,
		"ALTER TABLE catches ADD CONSTRAINT catches_note_check CHECK (note <> '');":                                                         false,
		"ALTER TABLE catches ADD COLUMN later text, ADD CONSTRAINT catches_note_check CHECK (note <> '');":                                  false,
		"ALTER TABLE catches RENAME COLUMN note TO words;":                                                                                  false,
		"DROP TABLE counts;":                     false,
		"DELETE FROM counts;":                    false,
		"UPDATE trials SET title = lower(title)": false,
	} {
		if faults := takesAway(step); (len(faults) == 0) != adds {
			t.Errorf("%s only adds: want %v, found %q", fmt.Sprintf("%.60s…", step), adds, faults)
		}
	}
}

// TestASkippedRelease: on a schema that later programs brought on, this one runs as long as nothing was taken away that it uses; else
// neither it starts nor says that it is ready.
func TestASkippedRelease(t *testing.T) {
	t.Parallel()
	url := dbtest.URL(t)
	conn := connect(t, url)
	store, err := db.Open(t.Context(), url, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	knows, err := db.LatestVersion()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		have, oldest uint
		runs         bool
	}{{knows + 1, 19, true}, {knows + 2, knows, true}, {knows + 2, knows + 1, false}} {
		for sql, n := range map[string]uint{`UPDATE schema_migrations SET version = $1`: c.have, `UPDATE schema_terms SET oldest = $1`: c.oldest} {
			if _, err := conn.Exec(t.Context(), sql, n); err != nil {
				t.Fatal(err)
			}
		}
		for what, err := range map[string]error{"starts": db.MigrateUp(t.Context(), url), "is ready": store.Ready(t.Context())} {
			says := err != nil && trial.KindOf(err) == trial.Unavailable && strings.Contains(err.Error(), fmt.Sprintf("at step %d, on which programs run that know step %d; this one knows no step after %d", c.have, c.oldest, knows))
			if (err == nil) != c.runs || err != nil && !says {
				t.Errorf("at step %d, for programs that know step %d: %s: %v", c.have, c.oldest, what, err)
			}
		}
	}
}

// TestStepsWaitInTurn: a step that changes a table which somebody is reading at length lets everybody else through meanwhile.
func TestStepsWaitInTurn(t *testing.T) {
	t.Parallel()
	url := dbtest.URL(t)
	const before = 18 // step 19 changes the enrolments
	version, err := db.MigrationVersion(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.MigrateDown(t.Context(), url, int(version)-before); err != nil {
		t.Fatal(err)
	}
	reader, other := connect(t, url), connect(t, url)
	for _, sql := range []string{`BEGIN`, `SELECT FROM enrolments`} {
		if _, err := reader.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	done := make(chan error, 1)
	go func() { done <- db.MigrateUp(t.Context(), url) }()
	eventually(t, "the step's turn", func() bool {
		return len(texts(t, other, `SELECT query FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'`)) > 0
	})
	if _, err := other.Exec(t.Context(), `SET statement_timeout = '30s'`); err != nil { // or it would wait as long as the reader reads
		t.Fatal(err)
	}
	texts(t, other, `SELECT pseudonym FROM enrolments`)
	select {
	case err := <-done:
		t.Fatalf("the step is done while its table is being read: %v", err)
	default:
	}
	if _, err := reader.Exec(t.Context(), `COMMIT`); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Error(err)
	}
	if now, err := db.MigrationVersion(t.Context(), url); err != nil || now != version {
		t.Errorf("the schema is at %d, %v; want %d", now, err, version)
	}
}
