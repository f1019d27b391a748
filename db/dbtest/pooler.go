package dbtest

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Pooler starts PgBouncer in transaction mode before the server of the given address and returns the address by which the same
// database is reached through it. It has few connections to the server and takes them in turn, so that what somebody leaves in a
// session meets somebody else. It ends with the test. Without the program tests are skipped, or fail when REQUIRE_POOLER is 1.
func Pooler(t testing.TB, address string) string {
	t.Helper()
	program, err := exec.LookPath("pgbouncer")
	if err != nil {
		program, err = exec.LookPath("/usr/sbin/pgbouncer") // not on everybody's path
	}
	if err != nil {
		if os.Getenv("REQUIRE_POOLER") == "1" {
			t.Fatalf("REQUIRE_POOLER is 1, but there is no pgbouncer: %v", err)
		}
		t.Skipf("SKIPPED, NOT TESTED: there is no pgbouncer (REQUIRE_POOLER=1 makes this a failure): %v", err)
	}
	server, err := parse(address)
	if err != nil {
		t.Fatal(err)
	}
	folder, err := os.MkdirTemp("", "evenrig-pooler-*")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	settings := filepath.Join(folder, "pgbouncer.ini")
	if err := os.WriteFile(settings, []byte(poolerSettings(server, folder)), 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{settings}
	if os.Geteuid() == 0 { // as whom it does not run
		name, err := giveAway(folder, settings)
		if err != nil {
			t.Fatal(err)
		}
		args = []string{"-u", name, settings}
	}
	helper(t, ownGroup(), program, args...)
	pooled := url.URL{Scheme: "postgres", User: url.User("anybody"), Path: server.Path, RawQuery: url.Values{"host": {folder}, "port": {poolerPort}, "pool_max_conns": {"8"}}.Encode()}
	if err := awaitPooler(t, pooled.String()); err != nil {
		t.Fatalf("pgbouncer does not answer: %v", err)
	}
	return pooled.String()
}

// poolerPort is only part of the name of the socket in the pooler's own folder.
const poolerPort = "6432"

// poolerSettings lead every database to the server. They take no setting that a client makes when it connects, as PgBouncer does
// unless told otherwise.
func poolerSettings(server *url.URL, folder string) string {
	quoted := func(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }
	host, port := server.Query().Get("host"), server.Query().Get("port")
	if host == "" {
		host, port = server.Hostname(), server.Port()
	}
	if port == "" {
		port = "5432"
	}
	password, _ := server.User.Password()
	return fmt.Sprintf(`[databases]
* = host=%s port=%s user=%s password=%s
[pgbouncer]
listen_addr =
listen_port = %s
unix_socket_dir = %s
auth_type = any
pool_mode = transaction
default_pool_size = 5
server_round_robin = 1
max_client_conn = 500
`, quoted(host), port, quoted(server.User.Username()), quoted(password), poolerPort, folder)
}

// giveAway gives the files to a user who is not root, whom the private cluster's server runs as too, and names him.
func giveAway(paths ...string) (name string, err error) {
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, uidErr := strconv.Atoi(u.Uid)
		gid, gidErr := strconv.Atoi(u.Gid)
		if err := errors.Join(uidErr, gidErr); err != nil {
			return "", err
		}
		for _, path := range paths {
			if err := os.Chown(path, uid, gid); err != nil {
				return "", err
			}
		}
		return name, nil
	}
	return "", errors.New("this machine has neither a user postgres nor a user nobody")
}

// awaitPooler returns once the address answers.
func awaitPooler(t testing.TB, address string) error {
	config, err := pgxpool.ParseConfig(address)
	if err != nil {
		return err
	}
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		conn, err := pgx.ConnectConfig(t.Context(), config.ConnConfig)
		if err == nil {
			return conn.Close(t.Context())
		}
		if time.Now().After(end) {
			return err
		}
	}
}
