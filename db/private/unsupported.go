//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package private

import (
	"context"
	"fmt"
	"log/slog"
	"runtime"
)

// Cluster is never made on this system.
type Cluster struct{}

// Start always fails: a private cluster needs the locks, sockets and signals of a Unix.
func Start(context.Context, string, *slog.Logger, ...Option) (*Cluster, error) {
	return nil, fmt.Errorf("there is no private PostgreSQL on %s: install PostgreSQL and give the service its "+
		"database URL; the commands that need no database work as they are", runtime.GOOS)
}

// URL returns nothing.
func (*Cluster) URL(string) string { return "" }

// Done returns a channel that is never closed.
func (*Cluster) Done() <-chan struct{} { return nil }

// Stop does nothing.
func (*Cluster) Stop() error { return nil }

// Attach always fails, as Start does.
func Attach(string, string) (string, error) { return "", ErrNotRunning }
