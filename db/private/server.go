//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// socketName is the file that PostgreSQL makes in its socket folder; 5432 is only part of the name.
const socketName = ".s.PGSQL.5432"

// server is a running postgres process.
type server struct {
	cmd     *exec.Cmd
	ended   chan struct{} // closed when the process is gone
	exit    error         // why; read it after ended
	drained chan struct{} // closed when all it and its children said was read

	mu   sync.Mutex
	said []string // the last lines
}

// settings are what postgres is started with, whatever its configuration file says. They suit a small machine. The
// statement that failed and its values stay out of the log: they can hold what nobody may read yet.
func settings(socketDir string, o options) []string {
	set := []string{
		"listen_addresses=", "port=5432", "unix_socket_directories=" + quoteList(socketDir),
		"unix_socket_permissions=0700", "max_connections=120", "shared_buffers=128MB", "jit=off",
		"TimeZone=UTC", "log_timezone=UTC", "log_destination=stderr", "logging_collector=off", "log_line_prefix=",
		"log_min_error_statement=panic", "log_error_verbosity=terse",
	}
	if o.ephemeral {
		set = append(set, "fsync=off", "synchronous_commit=off", "full_page_writes=off")
	}
	return set
}

// quoteList quotes a path as the one element of a list setting.
func quoteList(path string) string {
	return `"` + strings.ReplaceAll(path, `"`, `""`) + `"`
}

// makeSocketDir returns an existing folder that only the server's user may enter and whose path is short enough for a
// socket: dir/run, or a temporary one.
func makeSocketDir(dir string, a account) (string, error) {
	run := filepath.Join(dir, "run")
	if fits(run) {
		err := os.Mkdir(run, 0o700)
		if errors.Is(err, os.ErrExist) {
			err = os.Chmod(run, 0o700)
		}
		if err == nil {
			err = a.give(run)
		}
		if err != nil {
			return "", fmt.Errorf("make the socket folder: %w", err)
		}
		return run, nil
	}
	for _, base := range []string{os.TempDir(), "/tmp"} {
		if !fits(filepath.Join(base, "evenrig-0000000000")) {
			continue
		}
		if closed, err := a.firstClosed(base); a.switched && (err != nil || closed != "") {
			continue
		}
		short, err := os.MkdirTemp(base, "evenrig-*") // mode 0700, at most ten digits
		if err == nil {
			err = a.give(short)
		}
		if err != nil {
			return "", fmt.Errorf("make a socket folder in %s, as the path %s is too long for a socket: %w", base, run, err)
		}
		return short, nil
	}
	return "", fmt.Errorf("the path %s is longer than a socket may have, and neither %s nor /tmp will do instead: "+
		"choose a shorter folder, or set TMPDIR to a short one that user %s may enter", run, os.TempDir(), a.name)
}

func fits(socketDir string) bool {
	return len(filepath.Join(socketDir, socketName)) < len(syscall.RawSockaddrUnix{}.Path) // a final zero byte
}

// launch starts postgres as a direct child.
func launch(dir, socketDir string, bin binaries, a account, o options, log *slog.Logger) (*server, error) {
	args := []string{"-D", filepath.Join(dir, "data")}
	for _, setting := range settings(socketDir, o) {
		args = append(args, "-c", setting)
	}
	cmd := exec.Command(filepath.Join(bin.dir, "postgres"), args...)
	cmd.Dir = dir
	cmd.Env = environment()
	cmd.SysProcAttr = a.sysProcAttr()
	dieWithParent(cmd.SysProcAttr, syscall.SIGINT)
	r, w, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("start PostgreSQL: %w", err)
	}
	cmd.Stdout, cmd.Stderr = w, w
	s := &server{cmd: cmd, ended: make(chan struct{}), drained: make(chan struct{})}
	started := make(chan error, 1)
	go func() {
		// To the kernel the child's parent is the thread that started it: were that thread to end, the server would
		// be told that its parent died. So this goroutine keeps its thread until the server is gone.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		_ = w.Close() // the child has its own
		started <- err
		if err != nil {
			return
		}
		s.exit = cmd.Wait()
		close(s.ended)
	}()
	go s.relay(r, log)
	if err := <-started; err != nil {
		return nil, fmt.Errorf("start %s as user %s: %w", cmd.Path, a.name, err)
	}
	return s, nil
}

// environment is what PostgreSQL's programs see of ours: nothing that could change what they do.
func environment() []string {
	return []string{"PATH=" + os.Getenv("PATH"), "LC_ALL=C", "TZ=UTC"}
}

// waitReady returns when the server takes connections: then the eighth line of data/postmaster.pid says so. A server
// that recovers from a crash may take a while, so only ctx limits the time.
func (s *server) waitReady(ctx context.Context, dir string, log *slog.Logger) error {
	look := time.NewTicker(10 * time.Millisecond)
	defer look.Stop()
	remind := time.NewTicker(5 * time.Second)
	defer remind.Stop()
	for {
		select {
		case <-ctx.Done():
			return fmt.Errorf("starting PostgreSQL was interrupted: %w", context.Cause(ctx))
		case <-s.ended:
			return fmt.Errorf("PostgreSQL in %s would not start: %s", dir, s.lastWords())
		case <-remind.C:
			log.Info("PostgreSQL is still starting; after a crash it first replays what was committed", "folder", dir)
		case <-look.C:
		}
		lines := readLockFile(dir)
		if len(lines) >= 8 && lines[0] == strconv.Itoa(s.cmd.Process.Pid) && lines[7] == "ready" {
			return nil
		}
	}
}

// end sends a signal and waits for the process to be gone.
func (s *server) end(sig syscall.Signal, patience time.Duration) error {
	if err := s.cmd.Process.Signal(sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return fmt.Errorf("signal PostgreSQL: %w", err)
	}
	select {
	case <-s.ended:
		return nil
	case <-time.After(patience):
		return fmt.Errorf("process %d (postgres) still runs %v after signal %v", s.cmd.Process.Pid, patience, sig)
	}
}

// relay passes the server's log on, line by line, until its last process has closed it.
func (s *server) relay(r *os.File, log *slog.Logger) {
	defer close(s.drained)
	defer r.Close()
	in := bufio.NewReader(r)
	for {
		line, err := in.ReadString('\n')
		if line = strings.TrimSpace(line); line != "" {
			s.remember(line)
			log.Log(context.Background(), level(line), "PostgreSQL: "+line)
		}
		if err != nil {
			if !errors.Is(err, io.EOF) {
				log.Warn("PostgreSQL's log cannot be read any more", "reason", err)
			}
			return
		}
	}
}

// level ranks a line by the word it starts with. What its clients did wrong they are told themselves, and that a stop
// cuts off who has not hung up yet is what a stop does.
func level(line string) slog.Level {
	if strings.HasSuffix(line, "terminating connection due to administrator command") {
		return slog.LevelDebug
	}
	word, _, _ := strings.Cut(line, ":")
	switch word {
	case "PANIC":
		return slog.LevelError
	case "WARNING", "ERROR", "FATAL":
		return slog.LevelWarn
	default:
		return slog.LevelDebug
	}
}

func (s *server) remember(line string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	const keep = 12
	s.said = append(s.said, line)
	if len(s.said) > keep {
		s.said = s.said[len(s.said)-keep:]
	}
}

// lastWords tells how an ended server ended and what it said last.
func (s *server) lastWords() string {
	select {
	case <-s.drained:
	case <-time.After(time.Second): // a child of the server still holds its end open
	}
	how := "exit status 0"
	if s.exit != nil {
		how = s.exit.Error()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return how + "; it said:\n  " + strings.Join(s.said, "\n  ")
}
