//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// Attach returns the address of a database of the cluster that another process runs in dir, so that a second command
// can work beside the service. It is a secret, and of use only as long as that process runs.
//
// Errors: ErrNotRunning, the cluster is just starting or stopping, dir belongs to another user.
func Attach(dir, database string) (string, error) {
	lock, err := os.Open(filepath.Join(dir, "owner.lock"))
	if errors.Is(err, os.ErrNotExist) {
		return "", ErrNotRunning
	}
	if err != nil {
		return "", fmt.Errorf("look who owns the database folder: %w", err)
	}
	defer lock.Close()
	// Asking takes the lock for an instant when nobody has it; takeOwnership waits that long.
	err = syscall.Flock(int(lock.Fd()), syscall.LOCK_SH|syscall.LOCK_NB)
	if err == nil {
		return "", ErrNotRunning
	}
	if !errors.Is(err, syscall.EWOULDBLOCK) {
		return "", fmt.Errorf("look who owns the database folder: %w", err)
	}
	password, err := os.ReadFile(filepath.Join(dir, "password"))
	if errors.Is(err, os.ErrPermission) {
		return "", fmt.Errorf("the database in %s is run by %s for another user: give this command as that user, or as "+
			"root: %w", dir, holder(lock), err)
	}
	// The fifth line is the socket folder, the eighth the state.
	lines := readLockFile(dir)
	if err != nil || len(lines) < 8 || lines[7] != "ready" {
		return "", fmt.Errorf("the database in %s is just being started or stopped by %s: try again in a moment", dir,
			holder(lock))
	}
	c := Cluster{socketDir: lines[4], password: strings.TrimSpace(string(password))}
	return c.URL(database), nil
}
