//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"bufio"
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// The test binary runs itself as another owner of a cluster when this names a folder.
const ownerOfEnv = "EVENRIG_PRIVATE_TEST_OWNER_OF"

// With this it only attaches to the one that another owns.
const attachEnv = "EVENRIG_PRIVATE_TEST_ATTACH"

func TestMain(m *testing.M) {
	if dir := os.Getenv(ownerOfEnv); dir != "" {
		own(dir)
	}
	os.Exit(runTests(m))
}

// own is what another owner does: it starts the cluster, prints its URL and waits to be killed.
func own(dir string) {
	if os.Getenv(attachEnv) != "" {
		if _, err := Attach(dir, Database); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	c, err := Start(context.Background(), dir, slog.New(slog.DiscardHandler))
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println(c.URL(Database))
	select {}
}

// shared is a folder for the whole run: this program, and a cluster to be copied.
var shared string

func runTests(m *testing.M) int {
	var err error
	shared, err = os.MkdirTemp("/tmp", "evenrig-private-")
	if err == nil {
		defer os.RemoveAll(shared)
		err = os.Chmod(shared, 0o755)
	}
	if err == nil {
		err = copyBinary(filepath.Join(shared, "private.test"))
	}
	if err != nil {
		fmt.Println(err)
		return 1
	}
	return m.Run()
}

// TestAsPlainUser runs every test of this package once more as user nobody.
func TestAsPlainUser(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("this is a plain user already")
	}
	requireServer(t)
	cmd := exec.Command(filepath.Join(shared, "private.test"), "-test.v", "-test.timeout=3m")
	cmd.Dir = "/"
	cmd.Env = append(os.Environ(), "HOME=/nonexistent")
	cmd.SysProcAttr = account{uid: 65534, gid: 65534, switched: true}.sysProcAttr()
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("as user nobody: %v\n%s", err, out)
	}
	passed := regexp.MustCompile(`(?m)^--- PASS`).FindAll(out, -1)
	if len(passed) < 10 {
		t.Errorf("as user nobody only %d tests passed:\n%s", len(passed), out)
	}
}

// requireServer skips a test where no PostgreSQL is installed, or fails it where one must be.
func requireServer(t *testing.T) {
	t.Helper()
	a, err := serverAccount("/nowhere")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := findBinaries(t.Context(), "/", a); err != nil {
		if os.Getenv("REQUIRE_DB") == "1" {
			t.Fatal("REQUIRE_DB=1, but ", err)
		}
		t.Skip("NOT TESTED, FOR WANT OF POSTGRESQL: ", err)
	}
}

// folder returns a new folder on a short path that every user may enter, as those of testing.T are not.
func folder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/tmp", "evenrig-private-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// template makes one cluster, to be copied by the tests that are not about making one.
var template = sync.OnceValues(func() (string, error) {
	dir := filepath.Join(shared, "template")
	c, err := Start(context.Background(), dir, slog.New(slog.DiscardHandler), Ephemeral())
	if err != nil {
		return "", err
	}
	return dir, c.Stop()
})

// made returns a folder with a cluster that is whole, empty and stopped.
func made(t *testing.T) string {
	t.Helper()
	requireServer(t)
	from, err := template()
	if err != nil {
		t.Fatal(err)
	}
	dir := folder(t)
	if out, err := exec.Command("cp", "-Rp", from+"/.", dir).CombinedOutput(); err != nil {
		t.Fatalf("copy a cluster: %v, %s", err, out)
	}
	return dir
}

// start starts a cluster that is stopped with the test.
func start(t *testing.T, dir string, opts ...Option) *Cluster {
	t.Helper()
	requireServer(t)
	c, err := Start(t.Context(), dir, testLog(t), opts...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Stop() }) // says nothing new after one in the test
	return c
}

func stop(t *testing.T, c *Cluster) {
	t.Helper()
	if err := c.Stop(); err != nil {
		t.Fatal("stop: ", err)
	}
}

func testLog(t *testing.T) *slog.Logger {
	return slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelInfo}))
}

// helper is a process of its own that owns the cluster in dir.
func helper(dir string) *exec.Cmd {
	cmd := exec.Command(filepath.Join(shared, "private.test"))
	cmd.Dir = "/"
	cmd.Env = append(os.Environ(), ownerOfEnv+"="+dir)
	return cmd
}

// startOwner starts a helper and commits a fish through it.
func startOwner(t *testing.T, dir, fish string) *exec.Cmd {
	t.Helper()
	requireServer(t)
	cmd := helper(dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil || !strings.HasPrefix(line, "postgres://") {
		t.Fatalf("the other owner says %q (%v)", line, err)
	}
	execute(t, strings.TrimSpace(line), "CREATE TABLE IF NOT EXISTS fish (name text)")
	execute(t, strings.TrimSpace(line), "INSERT INTO fish VALUES ('"+fish+"')")
	return cmd
}

func kill(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if err := cmd.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // "signal: killed"
}

// copyBinary puts this test's program where every user may run it. Before any test starts a process: a child just being
// started holds a copy of the open file for an instant, and a file open for writing cannot be run.
func copyBinary(path string) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	program, err := os.ReadFile(self)
	if err != nil {
		return err
	}
	return os.WriteFile(path, program, 0o755)
}

func serverPid(t *testing.T, dir string) int {
	t.Helper()
	lines := readLockFile(dir)
	if lines == nil {
		t.Fatal("no server runs in ", dir)
	}
	pid, err := strconv.Atoi(lines[0])
	if err != nil {
		t.Fatal(err)
	}
	return pid
}

func put(t *testing.T, c *Cluster, fish string) {
	t.Helper()
	execute(t, c.URL(Database), "CREATE TABLE fish (name text)")
	execute(t, c.URL(Database), "INSERT INTO fish VALUES ('"+fish+"')")
}

func want(t *testing.T, c *Cluster, fish string) {
	t.Helper()
	if got := query(t, c, "SELECT string_agg(name, ',') FROM fish"); got != fish {
		t.Errorf("fish: %q, want %q", got, fish)
	}
}

func execute(t *testing.T, url, q string) {
	t.Helper()
	conn := connect(t, url)
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), q); err != nil {
		t.Fatal(err)
	}
}

func query(t *testing.T, c *Cluster, q string) (s string) {
	t.Helper()
	conn := connect(t, c.URL(Database))
	defer conn.Close(context.Background())
	if err := conn.QueryRow(t.Context(), q).Scan(&s); err != nil {
		t.Fatal(err)
	}
	return s
}

func connect(t *testing.T, url string) *pgx.Conn {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	return conn
}

func wantError(t *testing.T, err error, parts ...string) {
	t.Helper()
	if err == nil {
		t.Fatalf("no error, want one that says %q", parts)
	}
	for _, part := range parts {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("the error does not say %q: %v", part, err)
		}
	}
}
