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

// ErrNotRunning says that no process owns the folder's cluster: Start it instead.
var ErrNotRunning = errors.New("no running process owns the database folder")

// Attach returns the address of a database of the cluster that another process of this program runs in dir, so that a
// second command can work beside the service. It is a secret. ErrNotRunning says that nobody runs it.
func Attach(dir, database string) (string, error) {
	lock, err := os.Open(filepath.Join(dir, "owner.lock"))
	if errors.Is(err, os.ErrNotExist) {
		return "", ErrNotRunning
	}
	if err != nil {
		return "", fmt.Errorf("look who owns the database folder: %w", err)
	}
	defer lock.Close()
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_SH|syscall.LOCK_NB); err == nil {
		return "", ErrNotRunning
	}
	pidFile, err := os.ReadFile(filepath.Join(dir, "data", "postmaster.pid"))
	if err != nil {
		return "", fmt.Errorf("the cluster in %s is starting or stopping; try again in a moment: %w", dir, err)
	}
	lines := strings.Split(string(pidFile), "\n")
	if len(lines) < 8 || strings.TrimSpace(lines[7]) != "ready" {
		return "", fmt.Errorf("the cluster in %s is starting or stopping; try again in a moment", dir)
	}
	password, err := os.ReadFile(filepath.Join(dir, "password"))
	if err != nil {
		return "", fmt.Errorf("read the cluster's password (run this as the user who runs the service): %w", err)
	}
	c := Cluster{socketDir: strings.TrimSpace(lines[4]), password: strings.TrimSpace(string(password))}
	return c.URL(database), nil
}
