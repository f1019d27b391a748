//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// makeFolder creates dir and what is missing above it.
func makeFolder(dir string) error {
	if err := os.MkdirAll(dir, 0o711); err != nil {
		return fmt.Errorf("create the database folder %s (choose one that you may write in): %w", dir, err)
	}
	return nil
}

// takeOwnership locks dir for this process. The kernel gives the lock back when the process ends, however it ends, and
// no child inherits it. The error names the process that has it.
func takeOwnership(dir string) (*os.File, error) {
	path := filepath.Join(dir, "owner.lock")
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("lock the database folder %s, which belongs to %s (use it as that user, or choose "+
			"another folder): %w", dir, ownerOf(dir), err)
	}
	if err := lockSoon(f); err != nil {
		defer f.Close()
		if !errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("lock %s (the file system must offer locks; choose a folder on a local disk): %w",
				path, err)
		}
		return nil, fmt.Errorf("the database folder %s is in use by %s: stop it, or choose another folder",
			dir, holder(f))
	}
	if err := writePid(f); err != nil {
		return nil, errors.Join(fmt.Errorf("write %s: %w", path, err), f.Close())
	}
	return f, nil
}

// lockSoon tries for as long as Attach, or a child that a dying owner was just starting, may have the lock.
func lockSoon(f *os.File) error {
	const patience = 300 * time.Millisecond
	for begin := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if !errors.Is(err, syscall.EWOULDBLOCK) || time.Since(begin) > patience {
			return err
		}
	}
}

// giveUp unlocks before it closes: a child just being started may hold a copy of the descriptor for an instant.
func giveUp(lock *os.File) error {
	err := syscall.Flock(int(lock.Fd()), syscall.LOCK_UN)
	if err := errors.Join(err, lock.Close()); err != nil {
		return fmt.Errorf("give up the database folder: %w", err)
	}
	return nil
}

func writePid(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err := f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

// holder reads who wrote the lock file last: its owner, but for the instant between locking and writing.
func holder(f *os.File) string {
	text, err := io.ReadAll(io.LimitReader(f, 32))
	pid := strings.TrimSpace(string(text))
	if err != nil || pid == "" {
		return "another process"
	}
	return "process " + pid
}
