package dbtest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"sync/atomic"
	"time"

	"evenrig/db/private"
)

// startCluster starts a private cluster in a temporary folder and returns its address. No test stops it, since none
// knows whether it is the last: it stops with the process.
func startCluster() (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	dir, err := os.MkdirTemp("", "evenrig-dbtest-*")
	if err != nil {
		return "", err
	}
	if err := errors.Join(os.Chmod(dir, 0o711), clearAfterDeath(dir)); err != nil { // root's server runs as another user
		return "", errors.Join(err, os.RemoveAll(dir))
	}
	cluster, err := private.Start(ctx, filepath.Join(dir, "cluster"), slog.New(slog.DiscardHandler), private.Ephemeral())
	if err != nil {
		return "", err
	}
	return cluster.URL("postgres"), nil
}

// lifeline is the pipe's end that keeps clearAfterDeath's child waiting. It is held in a variable so that it is never
// collected, and closed by the kernel with this process.
var lifeline atomic.Pointer[io.WriteCloser]

// clearAfterDeath starts a child that waits for the end of this process, also by a kill, then sees to it that the
// cluster in dir stops, and removes dir.
func clearAfterDeath(dir string) error {
	const script = `
read -r never
pidfile="$1/cluster/data/postmaster.pid"
tries=0
while [ -s "$pidfile" ] && [ "$tries" -lt 100 ]; do
	kill -INT "$(head -n 1 "$pidfile")" 2>/dev/null || break
	sleep 0.1
	tries=$((tries + 1))
done
rm -rf "$1"`
	cmd := exec.Command("/bin/sh", "-c", script, "sh", dir)
	cmd.SysProcAttr = ownGroup() // ^C is for the tests
	stdin, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("start the child that clears up: %w", err)
	}
	lifeline.Store(&stdin)
	return nil
}
