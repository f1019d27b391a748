//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"
)

// ensurePassword returns the cluster's password, making one for a new cluster.
func ensurePassword(dir string, a account) (string, error) {
	path := filepath.Join(dir, "password")
	text, err := os.ReadFile(path)
	if err == nil {
		password := strings.TrimSpace(string(text))
		if password == "" {
			return "", fmt.Errorf("%s is empty: put back the password that belongs to these data, or, if there are "+
				"no data yet, remove the file", path)
		}
		return password, nil
	}
	if !errors.Is(err, os.ErrNotExist) {
		return "", fmt.Errorf("read the database password: %w", err)
	}
	if _, err := os.Lstat(filepath.Join(dir, "data")); err == nil {
		return "", fmt.Errorf("%s is missing, and without it nobody can log in to the data beside it: put it back from "+
			"a backup", path)
	}
	password := rand.Text()
	if err := writeSecret(path, password+"\n", a); err != nil {
		return "", fmt.Errorf("write the database password: %w", err)
	}
	return password, nil
}

// writeSecret writes a whole file or none, readable by the server's user (and root) only.
func writeSecret(path, text string, a account) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".new-*") // mode 0600
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	_, err = f.WriteString(text)
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := a.give(f.Name()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// ensureData makes the cluster's data when there are none: beside their place, under a name nobody used before, so
// that neither a half-made cluster nor what still writes into one can ever be taken for the data.
func ensureData(ctx context.Context, dir string, bin binaries, a account, o options, log *slog.Logger) error {
	data := filepath.Join(dir, "data")
	if _, err := os.Lstat(data); err == nil {
		return nil // findBinaries has looked at it
	}
	leftovers, _ := filepath.Glob(filepath.Join(dir, "data.new*")) // the only error is a malformed pattern
	for _, left := range leftovers {
		log.Warn("an earlier start was interrupted before its database was whole; what it left holds no data and may "+
			"be deleted by hand", "folder", left)
	}
	fresh, err := os.MkdirTemp(dir, "data.new-*") // mode 0700
	if err != nil {
		return fmt.Errorf("make the database: %w", err)
	}
	begin := time.Now()
	if err := initdb(ctx, dir, fresh, bin, a, o); err != nil {
		_ = os.Remove(fresh) // initdb empties it when it fails; if it could not, it is a leftover
		return err
	}
	if err := os.Rename(fresh, data); err != nil {
		return fmt.Errorf("put the new database in its place: %w", err)
	}
	if err := syncFolder(dir); err != nil {
		return fmt.Errorf("put the new database in its place: %w", err)
	}
	log.Info("made a new database", "folder", data, "version", bin.version,
		"took", time.Since(begin).Round(time.Millisecond))
	return nil
}

// initdb fills the empty folder fresh. The C locale sorts alike on every machine and with every version of its C
// library, so that no index is ever out of order after an upgrade of the system.
func initdb(ctx context.Context, dir, fresh string, bin binaries, a account, o options) error {
	if err := a.give(fresh); err != nil {
		return fmt.Errorf("make the database: %w", err)
	}
	args := []string{
		"--pgdata=" + fresh, "--username=" + role, "--pwfile=" + filepath.Join(dir, "password"),
		"--auth=scram-sha-256", "--encoding=UTF8", "--locale=C", "--data-checksums",
	}
	if o.ephemeral {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, filepath.Join(bin.dir, "initdb"), args...)
	cmd.Dir = dir
	cmd.Env = environment()
	cmd.SysProcAttr = a.sysProcAttr()
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) } // it tidies up
	cmd.WaitDelay = 10 * time.Second
	runtime.LockOSThread() // see launch
	defer runtime.UnlockOSThread()
	dieWithParent(cmd.SysProcAttr, syscall.SIGKILL)
	out, err := cmd.CombinedOutput()
	if ctx.Err() != nil {
		return fmt.Errorf("making the database was interrupted: %w", context.Cause(ctx))
	}
	if err != nil {
		return fmt.Errorf("make the database with %s: %w; it said:\n%s", cmd.Path, err, out)
	}
	return nil
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
