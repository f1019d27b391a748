//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// clearStale makes way after an owner or a server that was killed. A server of the former owner may still be shutting
// down: it is asked to, and waited for. The lock file of a server that is gone is removed, since the process id in it
// may by now be somebody else's, for whom PostgreSQL would refuse to start; but only once no server has the data
// folder as its working directory.
func clearStale(ctx context.Context, dir string, log *slog.Logger) error {
	lines := readLockFile(dir)
	if lines == nil {
		return nil
	}
	data := filepath.Join(dir, "data")
	lockFile := filepath.Join(data, "postmaster.pid")
	pid, err := strconv.Atoi(lines[0])
	if err != nil || pid <= 1 {
		pid = 0
	}
	if _, err := os.Readlink("/proc/self/cwd"); err != nil {
		// No way here to see what a process is: leave the file to PostgreSQL unless a process of that number lives.
		if pid != 0 && !errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
			return fmt.Errorf("process %d seems to serve %s still: stop it (kill -INT %d), or, if it is no PostgreSQL "+
				"server, remove %s", pid, data, pid, lockFile)
		}
		return nil
	}
	if err := endServers(ctx, data, pid, log); err != nil {
		return err
	}
	for _, path := range []string{lockFile, filepath.Join(dir, "run", socketName+".lock")} {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("remove the lock of a server that is gone: %w", err)
		}
	}
	return nil
}

// endServers waits until no PostgreSQL process works in data. The main process, pid, is asked to shut down; what
// outlives it, or does not listen, is told to quit.
func endServers(ctx context.Context, data string, pid int, log *slog.Logger) error {
	running := serversIn(data)
	if len(running) == 0 {
		return nil
	}
	log.Warn("the server of an owner that was killed still runs; waiting for it to end", "folder", data, "pids", running)
	if slices.Contains(running, pid) {
		_ = syscall.Kill(pid, syscall.SIGINT) // it may have ended just now
	}
	begin, quit := time.Now(), false
	for len(running) > 0 {
		switch waited := time.Since(begin); {
		case waited > fastStop+immediateStop:
			return fmt.Errorf("the PostgreSQL processes %v of an earlier owner still work in %s: stop them by hand "+
				"(kill -QUIT), then try again", running, data)
		case waited > fastStop && !quit:
			quit = true
			for _, p := range running {
				_ = syscall.Kill(p, syscall.SIGQUIT)
			}
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("waiting for an earlier server in %s was interrupted: %w", data, context.Cause(ctx))
		case <-time.After(20 * time.Millisecond):
		}
		running = serversIn(data)
	}
	return nil
}

// serversIn lists the PostgreSQL processes whose working directory is data: every process of a cluster has it. Those
// of other users are seen only by root, but then data is not theirs either.
func serversIn(data string) []int {
	want, err := os.Stat(data)
	if err != nil {
		return nil
	}
	commands, _ := filepath.Glob("/proc/[0-9]*/comm") // the only error is a malformed pattern
	var pids []int
	for _, path := range commands {
		name, err := os.ReadFile(path)
		if err != nil || !strings.Contains(string(name), "postgres") {
			continue
		}
		process := filepath.Dir(path)
		cwd, err := os.Stat(filepath.Join(process, "cwd"))
		if err != nil || !os.SameFile(want, cwd) {
			continue
		}
		if pid, err := strconv.Atoi(filepath.Base(process)); err == nil {
			pids = append(pids, pid)
		}
	}
	return pids
}

// readLockFile returns the trimmed lines of data/postmaster.pid, at least one, or nil when there is none.
func readLockFile(dir string) []string {
	text, err := os.ReadFile(filepath.Join(dir, "data", "postmaster.pid"))
	if err != nil {
		return nil
	}
	lines := strings.Split(string(text), "\n")
	for i := range lines {
		lines[i] = strings.TrimSpace(lines[i])
	}
	return lines
}
