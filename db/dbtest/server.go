package dbtest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"evenrig/db"
	"evenrig/db/migrations"
)

const (
	clonePrefix    = "evenrig_test_"
	templatePrefix = "evenrig_template_"
	// makingLock is held on the server by whoever makes a template or clears away what dead processes left.
	makingLock int64 = 0x72696774657374 // "rigtest"
)

// server is the server that this process tests on.
type server struct {
	base *url.URL
	// session names this process in its databases' names and in the name of the connection that it holds while it
	// lives, so that others can tell a living process's databases from a dead one's.
	session string

	mu   sync.Mutex // a connection serves one at a time
	conn *pgx.Conn

	migrated func() (string, error)
}

// testServer returns the process's server, which is looked for once.
var testServer = sync.OnceValues(func() (*server, error) {
	address := os.Getenv("EVENRIG_TEST_DATABASE_URL")
	if address == "" {
		var err error
		if address, err = startCluster(); err != nil {
			return nil, err
		}
	}
	return connect(address)
})

// connect opens the connection that the process holds while it lives.
func connect(address string) (*server, error) {
	base, err := parse(address)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	config, err := pgx.ParseConfig(address)
	if err != nil {
		return nil, err
	}
	id := sha256.Sum256(fmt.Appendf(nil, "%d %d", os.Getpid(), time.Now().UnixNano()))
	s := &server{base: base, session: hex.EncodeToString(id[:6])}
	config.RuntimeParams["application_name"] = clonePrefix + s.session
	if s.conn, err = pgx.ConnectConfig(ctx, config); err != nil {
		return nil, err
	}
	s.migrated = sync.OnceValues(s.template)
	return s, s.locked(ctx, s.clearDead)
}

// exec runs one statement on the process's own connection.
func (s *server) exec(ctx context.Context, sql string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, err := s.conn.Exec(ctx, sql)
	return err
}

// locked runs do while no other process makes or drops what is not its own.
func (s *server) locked(ctx context.Context, do func(ctx context.Context) error) (err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, err := s.conn.Exec(ctx, `SELECT pg_advisory_lock($1)`, makingLock); err != nil {
		return err
	}
	defer func() {
		_, unlockErr := s.conn.Exec(context.WithoutCancel(ctx), `SELECT pg_advisory_unlock($1)`, makingLock)
		err = errors.Join(err, unlockErr)
	}()
	return do(ctx)
}

// clearDead drops the databases of processes that live no more, which their tests could not drop.
func (s *server) clearDead(ctx context.Context) error {
	// A process opens its connection before it makes a database, and lists of both are taken in this order.
	databases, err := s.names(ctx, `SELECT datname FROM pg_database WHERE starts_with(datname, $1)`)
	if err != nil {
		return err
	}
	living, err := s.names(ctx, `SELECT application_name FROM pg_stat_activity WHERE starts_with(application_name, $1)`)
	if err != nil {
		return err
	}
	for _, database := range databases {
		owner := database[:strings.LastIndex(database, "_")]
		if len(living) == 0 || !contains(living, owner) {
			if _, err := s.conn.Exec(ctx, "DROP DATABASE IF EXISTS "+quote(database)+" WITH (FORCE)"); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *server) names(ctx context.Context, sql string) ([]string, error) {
	rows, err := s.conn.Query(ctx, sql, clonePrefix)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

func contains(names []string, name string) bool {
	for _, n := range names {
		if n == name {
			return true
		}
	}
	return false
}

// template returns the name of a database that stands at this program's schema. Its name carries a digest of every step
// and of the job queue's, so that no other schema is ever taken for it, and it gets that name only when it is whole.
func (s *server) template() (string, error) {
	digest, err := schemaDigest()
	if err != nil {
		return "", err
	}
	partitions, err := partitionsWanted()
	if err != nil {
		return "", err
	}
	name := templatePrefix + digest
	if partitions > 0 {
		name += fmt.Sprintf("_over_%d", partitions)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	return name, s.locked(ctx, func(ctx context.Context) error {
		var exists bool
		if err := s.conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name).Scan(&exists); err != nil || exists {
			return err
		}
		making := name + "_making"
		if _, err := s.conn.Exec(ctx, "DROP DATABASE IF EXISTS "+quote(making)+" WITH (FORCE)"); err != nil {
			return err
		}
		if _, err := s.conn.Exec(ctx, "CREATE DATABASE "+quote(making)); err != nil {
			return err
		}
		if err := db.MigrateUp(ctx, s.url(making)); err != nil {
			return err
		}
		if partitions > 0 {
			if err := Spread(ctx, s.url(making), partitions); err != nil {
				return err
			}
		}
		_, err := s.conn.Exec(ctx, "ALTER DATABASE "+quote(making)+" RENAME TO "+quote(name))
		return err
	})
}

// partitionsWanted reads over how many partitions EVENRIG_TEST_PARTITIONS wants the trials' tables spread, 0 for not.
func partitionsWanted() (int, error) {
	wanted := os.Getenv("EVENRIG_TEST_PARTITIONS")
	if wanted == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(wanted)
	if err != nil {
		return 0, fmt.Errorf("EVENRIG_TEST_PARTITIONS is %q; accepted: a number of partitions", wanted)
	}
	return n, nil
}

// schemaDigest is a digest of all that makes the schema.
func schemaDigest() (string, error) {
	h := sha256.New()
	err := fs.WalkDir(migrations.FS, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := fs.ReadFile(migrations.FS, path)
		fmt.Fprintf(h, "%q %q\n", path, text)
		return err
	})
	if err != nil {
		return "", err
	}
	queue, err := rivermigrate.New(riverpgxv5.New(nil), &rivermigrate.Config{Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return "", err
	}
	for _, step := range queue.AllVersions() {
		fmt.Fprintf(h, "%d %q\n", step.Version, step.SQLUp)
	}
	return hex.EncodeToString(h.Sum(nil)[:10]), nil
}
