package db_test

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/db/private"
)

// programs returns pg_dump and pg_restore for a server of the given version.
func programs(t *testing.T, major int) (dump, restore string) {
	t.Helper()
	dump, err := private.Program(t.Context(), "pg_dump", major)
	if err != nil {
		t.Fatal(err)
	}
	if restore, err = private.Program(t.Context(), "pg_restore", major); err != nil {
		t.Fatal(err)
	}
	return dump, restore
}

// TestDumpAndLoad copies a database while another client writes into it: the copy is the state of the snapshot, row for
// row, and what was written since is not in it.
func TestDumpAndLoad(t *testing.T) {
	t.Parallel()
	from, to := dbtest.URL(t), dbtest.Empty(t)
	conn, err := pgx.Connect(t.Context(), strings.ReplaceAll(from, "&pool_max_conns=8", ""))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	const account = `
INSERT INTO accounts (id, name, admin, created_at) SELECT gen_random_uuid(), 'Ö' || n, false, now() FROM generate_series(1, 50) n`
	if _, err := conn.Exec(t.Context(), account); err != nil {
		t.Fatal(err)
	}
	s, err := db.OpenSnapshot(t.Context(), from)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close(t.Context())
	want, err := s.Contents(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if got := want.Tables["public.accounts"].Rows; got != 50 {
		t.Errorf("%d accounts are counted, 50 were made", got)
	}
	if _, err := conn.Exec(t.Context(), account); err != nil {
		t.Fatal(err)
	}
	dump, restore := programs(t, want.ServerMajor)
	file := filepath.Join(t.TempDir(), "records.dump")
	if err := s.Dump(t.Context(), dump, from, file); err != nil {
		t.Fatal(err)
	}
	if err := db.CheckDump(t.Context(), restore, file); err != nil {
		t.Error(err)
	}
	if _, err := db.Empty(t.Context(), to); err != nil {
		t.Fatal(err)
	}
	if err := db.Load(t.Context(), restore, to, file); err != nil {
		t.Fatal(err)
	}
	got, err := db.ContentsOf(t.Context(), to)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("the copy holds %+v, %v; want %+v", got, err, want)
	}
	if _, err := db.Empty(t.Context(), to); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("the full database passes for empty: %v", err)
	}
	if err := db.Load(t.Context(), restore, to, file); err == nil {
		t.Error("a dump was put on top of another")
	}
	if again, err := db.ContentsOf(t.Context(), to); err != nil || !reflect.DeepEqual(again, want) {
		t.Errorf("a refused dump changed the database: %v", err)
	}
	if later, err := db.ContentsOf(t.Context(), from); err != nil || later.Tables["public.accounts"] == want.Tables["public.accounts"] {
		t.Errorf("50 more rows do not change the digest: %v", err)
	}
}

// TestDigestSeesOneLetter: a table's digest depends on every letter and on no order.
func TestDigestSeesOneLetter(t *testing.T) {
	t.Parallel()
	url := dbtest.URL(t)
	digest := func() string {
		c, err := db.ContentsOf(t.Context(), url)
		if err != nil {
			t.Fatal(err)
		}
		return c.Tables["public.accounts"].Digest
	}
	conn, err := pgx.Connect(t.Context(), strings.ReplaceAll(url, "&pool_max_conns=8", ""))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	const account = `INSERT INTO accounts (id, name, admin, created_at) VALUES
    ('00000000-0000-4000-8000-000000000001', 'one', false, '2026-01-01Z'), ('00000000-0000-4000-8000-000000000002', 'two', false, '2026-01-01Z')`
	var seen []string
	for _, sql := range []string{account, `UPDATE accounts SET name = 'onE' WHERE name = 'one'`, `UPDATE accounts SET name = 'one' WHERE name = 'onE'`} {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
		seen = append(seen, digest())
	}
	if seen[0] == seen[1] || seen[0] != seen[2] { // the second update moved the row behind the other
		t.Errorf("digests %v: want the first and the last equal, the one between another", seen)
	}
}

// TestBrokenDump: a dump that lost its end is found out without a database, and changes none.
func TestBrokenDump(t *testing.T) {
	t.Parallel()
	url, to := dbtest.URL(t), dbtest.Empty(t)
	s, err := db.OpenSnapshot(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close(t.Context())
	c, err := s.Contents(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	dump, restore := programs(t, c.ServerMajor)
	file := filepath.Join(t.TempDir(), "records.dump")
	if err := s.Dump(t.Context(), dump, url, file); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(file, info.Size()/2); err != nil {
		t.Fatal(err)
	}
	if err := db.CheckDump(t.Context(), restore, file); err == nil {
		t.Error("half a dump passes")
	}
	if err := db.Load(t.Context(), restore, to, file); err == nil {
		t.Error("half a dump was put into a database")
	}
	if _, err := db.Empty(t.Context(), to); err != nil {
		t.Errorf("half a dump left something behind: %v", err)
	}
}
