//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// How long a server may take to end after SIGINT (it writes a checkpoint first) and after SIGQUIT (it does not).
const (
	fastStop      = 30 * time.Second
	immediateStop = 10 * time.Second
)

// Cluster is a running private cluster, owned by this process. Its methods may be called from several goroutines.
type Cluster struct {
	dir       string
	socketDir string
	password  string
	lock      *os.File
	server    *server
	log       *slog.Logger

	stopping chan struct{} // closed by the first Stop
	died     chan struct{} // closed if the server ends before that
	stop     func() error
}

// Start starts the cluster in dir, which it creates when missing, and returns once the server takes connections and
// has the database "evenrig". A cluster whose server or owner was killed recovers here by itself, losing nothing that
// was committed.
//
// As root the server runs as the user who owns dir/data, for a new cluster as user postgres, else nobody; that user
// must be able to enter every folder on the way to dir. As anybody else it runs as that user.
//
// Ending ctx before Start returns makes it give up and leaves no process behind; later it has no effect: call Stop.
//
// Errors say what stands in the way and what to do about it: another process owns dir, PostgreSQL's programs are
// missing or of another version, dir belongs to another user or cannot be entered, its disk is full, the server would not
// start.
func Start(ctx context.Context, dir string, log *slog.Logger, opts ...Option) (_ *Cluster, err error) {
	var o options
	for _, option := range opts {
		option(&o)
	}
	dir, err = filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("find the database folder: %w", err)
	}
	if err := makeFolder(dir); err != nil {
		return nil, err
	}
	lock, err := takeOwnership(dir)
	if err != nil {
		return nil, err
	}
	c := &Cluster{dir: dir, lock: lock, log: log, stopping: make(chan struct{}), died: make(chan struct{})}
	c.stop = sync.OnceValue(c.stopServer)
	defer func() {
		if err != nil {
			err = errors.Join(fullDisk(dir, err), c.release())
		}
	}()

	account, err := serverAccount(dir)
	if err != nil {
		return nil, err
	}
	if err := account.admit(dir); err != nil {
		return nil, err
	}
	bin, err := findBinaries(ctx, dir, account)
	if err != nil {
		return nil, err
	}
	c.password, err = ensurePassword(dir, account)
	if err != nil {
		return nil, err
	}
	if err := ensureData(ctx, dir, bin, account, o, log); err != nil {
		return nil, err
	}
	if err := clearStale(ctx, dir, log); err != nil {
		return nil, err
	}
	c.socketDir, err = makeSocketDir(dir, account)
	if err != nil {
		return nil, err
	}

	begin := time.Now()
	c.server, err = launch(dir, c.socketDir, bin, account, o, log)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, c.endServer())
		}
	}()
	if err := c.server.waitReady(ctx, dir, log); err != nil {
		return nil, err
	}
	if err := c.ensureDatabase(ctx); err != nil {
		return nil, err
	}
	go c.watch()
	log.Info("private PostgreSQL is ready", "folder", dir, "version", bin.version, "pid", c.server.cmd.Process.Pid,
		"took", time.Since(begin).Round(time.Millisecond))
	return c, nil
}

// fullDisk puts first that the disk is full, where that is what stands in the way, here or in what PostgreSQL's programs said.
func fullDisk(dir string, err error) error {
	if !strings.Contains(err.Error(), syscall.ENOSPC.Error()) && !strings.Contains(err.Error(), "No space left on device") {
		return err
	}
	return fmt.Errorf("the disk of %s is full; nothing that was there was changed: make room, then start again: %w", dir, err)
}

// URL returns the address of a database of the cluster for a client on this machine: socket folder, role and password.
// It is a secret.
func (c *Cluster) URL(database string) string {
	u := url.URL{
		Scheme:   "postgres",
		User:     url.UserPassword(role, c.password),
		Path:     "/" + database,
		RawQuery: url.Values{"host": {c.socketDir}}.Encode(),
	}
	return u.String()
}

// Done returns a channel that is closed if the server ends without having been stopped. Stop then says why.
func (c *Cluster) Done() <-chan struct{} {
	return c.died
}

// Stop ends the server in order, breaking off what its clients are doing, and gives up ownership of the folder. It
// returns once the server is gone; further calls return what the first returned. A server that does not end within 30
// seconds is told to end without a checkpoint, which loses nothing but makes the next start recover.
//
// Errors: the server had ended by itself, or does not end.
func (c *Cluster) Stop() error {
	return c.stop()
}

func (c *Cluster) stopServer() error {
	close(c.stopping)
	select {
	case <-c.server.ended:
		err := fmt.Errorf("the private PostgreSQL had ended by itself: %s", c.server.lastWords())
		return errors.Join(err, c.release())
	default:
	}
	if err := c.endServer(); err != nil {
		return err // the server still runs: its folder stays owned
	}
	return c.release()
}

// endServer ends the server in order, and one that does not listen at once.
func (c *Cluster) endServer() error {
	err := c.server.end(syscall.SIGINT, fastStop)
	if err == nil {
		return nil
	}
	c.log.Warn("the private PostgreSQL is slow to stop; stopping it at once", "reason", err)
	return c.server.end(syscall.SIGQUIT, immediateStop)
}

// watch tells the two ends of a server apart.
func (c *Cluster) watch() {
	<-c.server.ended
	select {
	case <-c.stopping:
	default:
		c.log.Error("the private PostgreSQL ended by itself", "folder", c.dir, "reason", c.server.lastWords())
		close(c.died)
	}
}

// release gives up what Start took besides the server, in reverse order.
func (c *Cluster) release() error {
	if c.socketDir != "" && c.socketDir != filepath.Join(c.dir, "run") {
		// A temporary one. Only ever an empty folder: the server took its socket away.
		if err := os.Remove(c.socketDir); err != nil && !errors.Is(err, os.ErrNotExist) {
			c.log.Warn("the socket folder stays behind", "folder", c.socketDir, "reason", err)
		}
	}
	return giveUp(c.lock)
}

// ensureDatabase creates the application's database when it is missing.
func (c *Cluster) ensureDatabase(ctx context.Context) (err error) {
	conn, err := pgx.Connect(ctx, c.URL("postgres"))
	if err != nil {
		return fmt.Errorf("log in to the private PostgreSQL with the password in %s (put back the one that belongs "+
			"to these data if it was replaced): %w", filepath.Join(c.dir, "password"), err)
	}
	defer func() {
		err = errors.Join(err, conn.Close(context.WithoutCancel(ctx)))
	}()
	var exists bool
	const q = `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`
	if err := conn.QueryRow(ctx, q, Database).Scan(&exists); err != nil {
		return fmt.Errorf("look for the database %s: %w", Database, err)
	}
	if exists {
		return nil
	}
	if _, err := conn.Exec(ctx, "CREATE DATABASE "+pgx.Identifier{Database}.Sanitize()); err != nil {
		return fmt.Errorf("create the database %s: %w", Database, err)
	}
	return nil
}
