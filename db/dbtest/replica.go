package dbtest

import (
	"context"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/db"
	"evenrig/db/private"
)

// Replicated is a server of a test's own, which waits for its disk as a real one does, and a streaming replica of it.
type Replicated struct {
	URL, ReplicaURL string // of the migrated database
	end             func()
}

// NewReplicated starts both. They end with the test.
func NewReplicated(t testing.TB) *Replicated {
	t.Helper()
	require(t) // skips where there is no server to be had
	folder, err := os.MkdirTemp("", "evenrig-replica-*")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	if err := os.Chmod(folder, 0o711); err != nil {
		t.Fatal(err)
	}
	cluster, err := private.Start(t.Context(), filepath.Join(folder, "cluster"), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cluster.Stop() })
	r := &Replicated{URL: cluster.URL(private.Database)}
	if err := db.MigrateUp(t.Context(), r.URL); err != nil {
		t.Fatal(err)
	}
	if err := r.copy(t, folder); err != nil {
		t.Fatalf("start a replica: %v", err)
	}
	return r
}

// copy makes the replica's folder from the running server and starts a server on it.
func (r *Replicated) copy(t testing.TB, folder string) error {
	as, err := asOwnerOf(filepath.Join(folder, "cluster", "data"))
	if err != nil {
		return err
	}
	place := filepath.Join(folder, "replica")
	if err := os.Mkdir(place, 0o700); err != nil {
		return err
	}
	if err := giveTo(as, place); err != nil {
		return err
	}
	var number int
	if err := onOne(t.Context(), r.URL, func(conn *pgx.Conn) error {
		return conn.QueryRow(t.Context(), `SELECT current_setting('server_version_num')::integer`).Scan(&number)
	}); err != nil {
		return err
	}
	programs := map[string]string{"pg_basebackup": "", "postgres": ""}
	for name := range programs {
		if programs[name], err = private.Program(t.Context(), name, number/10_000); err != nil {
			return err
		}
	}
	data := filepath.Join(place, "data")
	copying := exec.Command(programs["pg_basebackup"], "--dbname="+r.URL, "--pgdata="+data, "--write-recovery-conf", "--checkpoint=fast", "--no-sync")
	copying.SysProcAttr, copying.Dir = as, "/"
	if said, err := copying.CombinedOutput(); err != nil {
		return fmt.Errorf("%w: %s", err, said)
	}
	// The connections are those that the private cluster's server is started with: a replica must allow as many.
	r.end = helper(t, as, programs["postgres"], "-D", data, "-c", "listen_addresses=", "-c", "port=5432", "-c", "unix_socket_directories="+place,
		"-c", "max_connections=120", "-c", "fsync=off")
	u, err := url.Parse(r.URL)
	if err != nil {
		return err
	}
	u.RawQuery = url.Values{"host": {place}}.Encode()
	r.ReplicaURL = u.String()
	for end := time.Now().Add(time.Minute); ; time.Sleep(20 * time.Millisecond) {
		if err = onOne(t.Context(), r.ReplicaURL, func(*pgx.Conn) error { return nil }); err == nil || time.Now().After(end) {
			return err
		}
	}
}

// Pause stops the replica at what it has replayed, until Resume.
func (r *Replicated) Pause(t testing.TB) { r.tell(t, `SELECT pg_wal_replay_pause()`) }

// Resume lets the replica go on.
func (r *Replicated) Resume(t testing.TB) { r.tell(t, `SELECT pg_wal_replay_resume()`) }

// Promote makes the replica a server of its own, which it must never be taken for a replica after.
func (r *Replicated) Promote(t testing.TB) { r.tell(t, `SELECT pg_promote()`) }

// End stops the replica.
func (r *Replicated) End() { r.end() }

func (r *Replicated) tell(t testing.TB, sql string) {
	t.Helper()
	if err := onOne(t.Context(), r.ReplicaURL, func(conn *pgx.Conn) error {
		_, err := conn.Exec(t.Context(), sql)
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

// onOne does something on one connection.
func onOne(ctx context.Context, address string, do func(conn *pgx.Conn) error) error {
	conn, err := pgx.Connect(ctx, address)
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx)) //nolint:errcheck // nothing is left to be lost
	return do(conn)
}
