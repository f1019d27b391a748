//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

func TestColdStartThenRestartKeepsTheData(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(folder(t), "club")
	c := start(t, dir)
	put(t, c, "grayling")

	// What is promised of a new cluster, as PostgreSQL itself reports it.
	for setting, want := range map[string]string{"data_checksums": "on", "listen_addresses": "", "fsync": "on"} {
		if got := query(t, c, "SELECT current_setting('"+setting+"')"); got != want {
			t.Errorf("%s is %q, want %q", setting, got, want)
		}
	}
	const secrets = `SELECT string_agg(left(rolpassword, 13), ',') FROM pg_authid WHERE rolpassword IS NOT NULL`
	if got := query(t, c, secrets); got != "SCRAM-SHA-256" {
		t.Errorf("passwords are kept as %q, want SCRAM-SHA-256", got)
	}
	for path, want := range map[string]os.FileMode{"password": 0o600, "run": 0o700, "data": 0o700} {
		info, err := os.Stat(filepath.Join(dir, path))
		if err != nil {
			t.Fatal(err)
		}
		if got := info.Mode().Perm(); got != want {
			t.Errorf("%s has mode %o, want %o", path, got, want)
		}
	}
	pid := serverPid(t, dir)
	if group, err := syscall.Getpgid(pid); err != nil || group != pid {
		t.Errorf("the server is in process group %d (%v), want its own, %d: ^C would reach it", group, err, pid)
	}

	stop(t, c)
	if err := c.Stop(); err != nil {
		t.Errorf("a second Stop: %v, want what the first returned", err)
	}
	select {
	case <-c.Done():
		t.Error("Done is closed after an ordinary Stop")
	default:
	}
	if left := readLockFile(dir); left != nil {
		t.Errorf("the lock file is left behind: %q", left)
	}

	c = start(t, dir)
	want(t, c, "grayling")
}

func TestLoginNeedsThePassword(t *testing.T) {
	t.Parallel()
	c := start(t, made(t), Ephemeral())
	config, err := pgx.ParseConfig(c.URL(Database))
	if err != nil {
		t.Fatal(err)
	}
	config.Password = "not it"
	conn, err := pgx.ConnectConfig(t.Context(), config)
	if err == nil {
		conn.Close(t.Context())
		t.Fatal("logged in with a wrong password")
	}
	if !strings.Contains(err.Error(), "28P01") { // invalid_password, PostgreSQL documentation, appendix A
		t.Errorf("a wrong password gives %v, want SQLSTATE 28P01", err)
	}
}

func TestSecondOwnerIsRefused(t *testing.T) {
	t.Parallel()
	dir := made(t)
	c := start(t, dir, Ephemeral())
	_, err := Start(t.Context(), dir, testLog(t))
	wantError(t, err, "is in use by process "+strconv.Itoa(os.Getpid()), "another folder")

	out, err := helper(dir).CombinedOutput()
	if err == nil || !bytes.Contains(out, []byte("is in use by process "+strconv.Itoa(os.Getpid()))) {
		t.Errorf("a second process: %v, %s; want a refusal that names process %d", err, out, os.Getpid())
	}
	if got := query(t, c, "SELECT 1"); got != "1" {
		t.Error("the first owner was disturbed")
	}
}

func TestAnotherProcessAttaches(t *testing.T) {
	t.Parallel()
	dir := made(t)
	if _, err := Attach(dir, Database); !errors.Is(err, ErrNotRunning) {
		t.Errorf("a stopped cluster: %v, want ErrNotRunning", err)
	}
	if _, err := Attach(filepath.Join(dir, "nowhere"), Database); !errors.Is(err, ErrNotRunning) {
		t.Errorf("no cluster: %v, want ErrNotRunning", err)
	}
	owner := startOwner(t, dir, "loach")
	url, err := Attach(dir, Database)
	if err != nil {
		t.Fatal(err)
	}
	execute(t, url, "INSERT INTO fish VALUES ('minnow')")
	kill(t, owner)
	c := start(t, dir)
	want(t, c, "loach,minnow")
}

func TestServerKilled(t *testing.T) {
	t.Parallel()
	dir := made(t)
	c := start(t, dir)
	put(t, c, "dace")
	if err := syscall.Kill(serverPid(t, dir), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	select {
	case <-c.Done():
	case <-time.After(time.Minute):
		t.Fatal("Done stays open a minute after the server was killed")
	}
	wantError(t, c.Stop(), "ended by itself", "killed")

	c = start(t, dir)
	want(t, c, "dace")
}

func TestOwnerKilled(t *testing.T) {
	t.Parallel()
	dir := made(t)
	owner := startOwner(t, dir, "perch")
	server := serverPid(t, dir)
	kill(t, owner)

	// At once, while the old server may still be shutting down.
	c := start(t, dir)
	want(t, c, "perch")
	if server == serverPid(t, dir) {
		t.Error("the old server still runs")
	}
	stop(t, c)

	if _, err := os.Readlink("/proc/self/cwd"); err != nil {
		t.Skip("only on Linux does a server notice that its owner was killed")
	}
	owner = startOwner(t, dir, "roach")
	kill(t, owner)
	for end := time.Now().Add(time.Minute); len(serversIn(filepath.Join(dir, "data"))) > 0; {
		if time.Now().After(end) {
			t.Fatal("the server runs on a minute after its owner was killed")
		}
		time.Sleep(10 * time.Millisecond)
	}
	if lines := readLockFile(dir); lines != nil {
		t.Error("the server did not shut down in order")
	}
}

// PostgreSQL would not start beside the lock file of a killed server if the process id in it has meanwhile gone to
// another process of the same user.
func TestOwnerAndServerKilledAndThePidReused(t *testing.T) {
	t.Parallel()
	dir := made(t)
	owner := startOwner(t, dir, "chub")
	data := filepath.Join(dir, "data")
	server := serverPid(t, dir)
	if err := syscall.Kill(server, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	kill(t, owner)

	a, err := serverAccount(dir)
	if err != nil {
		t.Fatal(err)
	}
	bystander := exec.Command("sleep", "60")
	bystander.Dir = "/"
	bystander.SysProcAttr = a.sysProcAttr()
	if err := bystander.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		_ = bystander.Process.Kill()
		_ = bystander.Wait()
	}()
	lock := filepath.Join(data, "postmaster.pid")
	text, err := os.ReadFile(lock)
	if err != nil {
		t.Fatal("the killed server left no lock file: ", err)
	}
	_, rest, _ := strings.Cut(string(text), "\n")
	text = []byte(strconv.Itoa(bystander.Process.Pid) + "\n" + rest)
	if err := os.WriteFile(lock, text, 0o600); err != nil {
		t.Fatal(err)
	}

	c := start(t, dir)
	want(t, c, "chub")
	if err := bystander.Process.Signal(syscall.Signal(0)); err != nil {
		t.Errorf("the process that got the old process id was disturbed: %v", err)
	}
}

func TestOwnerKilledWhileMakingTheDatabase(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	owner := helper(dir)
	if err := owner.Start(); err != nil {
		t.Fatal(err)
	}
	left := awaitFresh(t, dir)
	kill(t, owner)

	c := start(t, dir, Ephemeral())
	put(t, c, "rudd")
	if _, err := os.Stat(left); err != nil {
		t.Errorf("what the interrupted attempt left was touched: %v", err)
	}
}

func TestInterruptedStartLeavesNothing(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	ctx, cancel := context.WithCancel(t.Context())
	failed := make(chan error)
	go func() {
		_, err := Start(ctx, dir, testLog(t))
		failed <- err
	}()
	awaitFresh(t, dir)
	cancel()
	wantError(t, <-failed, "interrupted")
	if left, _ := filepath.Glob(filepath.Join(dir, "data*")); left != nil {
		t.Errorf("left behind: %q", left)
	}
	put(t, start(t, dir, Ephemeral()), "bleak")
}

func TestSocketPathLimit(t *testing.T) {
	t.Parallel()
	// unix(7): sun_path has 108 bytes on Linux, the last of which is zero.
	for length, want := range map[int]bool{107: true, 108: false} {
		run := "/" + strings.Repeat("x", length-len("/")-len("/"+socketName))
		if got := fits(run); got != want && len(syscall.RawSockaddrUnix{}.Path) == 108 {
			t.Errorf("a socket path of %d bytes fits: %v, want %v", length, got, want)
		}
	}

	dir := filepath.Join(folder(t), strings.Repeat("long-", 20), strings.Repeat("longer-", 10))
	c := start(t, dir, Ephemeral())
	put(t, c, "tench")
	short := c.socketDir
	if strings.HasPrefix(short, dir) {
		t.Errorf("the socket is in %s", short)
	}
	stop(t, c)
	if _, err := os.Stat(short); err == nil {
		t.Errorf("the temporary socket folder %s is left behind", short)
	}
	want(t, start(t, dir, Ephemeral()), "tench")
}

// awaitFresh waits until initdb has begun to fill its folder.
func awaitFresh(t *testing.T, dir string) string {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		made, err := filepath.Glob(filepath.Join(dir, "data.new-*", "base", "1"))
		if err != nil {
			t.Fatal(err)
		}
		if len(made) > 0 {
			return filepath.Dir(filepath.Dir(made[0]))
		}
	}
	t.Fatal("no database was begun within 20 s")
	return ""
}
